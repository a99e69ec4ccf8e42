# Controllers by the kernel's own j1939 sockets: their claims, messages in several packets to all (BAM) and to one
# (RTS/CTS), and a long one (ETP) are put together from the recording exactly as they were sent.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
modprobe can-j1939 || skip "the kernel has no j1939"
configure
start_daemon vcan0
launch party vcan0 --address 160 --name A00C80007D020000 --received "$work/received" >"$work/receiver"
receiver=$launched
sleep 0.6
launch party vcan0 --send 255/65300/100/7 --send 160/61184/500/8 --send 160/61184/1785/9 --send 160/61184/20000/10 \
  --send 200/61184/50/11 --seconds 9 >"$work/sent"
sender=$launched
sleep 3
# A lower NAME takes address 128 away: the first one has to move.
program party vcan0 --name 200C80007D030000 --address 128 --seconds 3 >"$work/rival"
wait "$sender"
kill -TERM "$receiver"
wait "$receiver"
sleep 0.3
stop_daemon
count_recording
check_readable
check "transfers that ended well" "$(grep -c 'result=done' "$work/sent")" -eq 4
"$LIVE_TRAMLOG" decode --format json --data $(captures) >"$work/decoded" || fail "decode ends with $?"
while read -r _ from to pgn size result hex; do
  [[ $result == result=done ]] || continue
  # As many bytes as a line of decode shows.
  found=$(grep -F "\"pgn\":${pgn#pgn=}," "$work/decoded" | grep -cF "\"data\":\"${hex#hex=}\"")
  check "${size#size=} bytes, ${pgn}, ${to}: found as sent" "$found" -eq 1
done <"$work/sent"
for name in a00c80007d012345 a00c80007d020000 200c80007d030000; do
  grep -qiF "$name" "$folder/summary.json" || fail "the summary does not know NAME $name"
done
"$LIVE_TRAMLOG" report --format json $(captures) >"$work/report.json" || [[ $? == 1 ]] || fail "no report"
cmp -s "$work/report.json" "$folder/summary.json" || { fail "summary.json is not the report"; diff "$folder/summary.json" "$work/report.json" | head; }
finish
