# A capture played onto a bus arrives whole, in order and at its pace; a bus on which others talk is refused until told twice.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
configure
start_daemon vcan0
capture=$(dirname "$LIVE_ROSTER")/capture.pcapng.zst
# Every frame of a recording: PGN, source, destination, payload, in order. (What is put together of them says less.)
frames() {
  "$LIVE_TRAMLOG" decode --transport --data --format json "$@" | grep '"data":' | grep -v '"transfer":' |
    sed -E 's/.*"pgn":([0-9]+).*"source":([0-9]+).*"destination":([0-9]+).*"data":"([0-9a-f]*)".*/\1 \2 \3 \4/'
}
begun=$SECONDS
"$LIVE_TRAMLOG" replay --onto vcan0 --to 20 --speed 2 "$capture" >"$work/replay" 2>&1
check "exit code of replay" $? -eq 0
check "seconds of ten played and three of listening" $((SECONDS - begun)) -ge 12
sed 's/^/  replay: /' "$work/replay"
sleep 1.5
cp "$(captures)" "$work/played.pcapng"
frames "$work/played.pcapng" >"$work/played"
frames --to 20 "$capture" >"$work/original"
check "frames played" "$(wc -l <"$work/played")" -ge 1000
check "frames arrived as they are in the capture" "$(cmp "$work/played" "$work/original" && echo same)" = same

launch traffic vcan0 --rate 50 --seconds 12 >"$work/sent"
talker=$launched
sleep 0.5
"$LIVE_TRAMLOG" replay --onto vcan0 --from 2 --to 4 "$capture" >"$work/refused" 2>&1
check "exit code of replay where others talk" $? -eq 4
sed 's/^/  refused: /' "$work/refused"
"$LIVE_TRAMLOG" replay --onto vcan0 --from 2 --to 4 --despite-traffic "$capture" >"$work/refused" 2>&1
check "exit code when told once" $? -eq 4
wait "$talker"
sleep 0.5
stop_daemon
# While it was refused nothing was played. (live_traffic: address 144, PGN 65296.)
check "frames of the capture in the recording" "$(frames $(captures) | grep -vc "^65296 144 ")" -eq "$(wc -l <"$work/played")"
count_recording
check_readable

check_numbered vcan0/90 "$(told "$work/sent" numbered)"
check "told as lost" "$(field bus=vcan0 lost)" -eq 0
finish
