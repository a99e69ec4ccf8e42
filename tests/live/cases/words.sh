# The words between tramlog and tramlogd: mark, status, decode --live, a live report that equals the report on the recording
# up to that byte, a reload that changes the roster and one that is refused.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
configure
start_daemon vcan0
launch traffic vcan0 --healthy --speed-kmh 8 --rate 300 --seconds 25 >"$work/sent"
sender=$launched
"$LIVE_TRAMLOG" decode --live --socket "$socket" --message 65096 --format json >"$work/followed" 2>&1 &
follower=$!
sleep 3
"$LIVE_TRAMLOG" mark --socket "$socket" "seed hose of row 3 refitted" || fail "mark ends with $?"
status | sed 's/^/  status: /'
# Several live reports in the middle of traffic: each equals the report on the recording cut at the byte that it names.
for number in 1 2 3 4 5; do
  sleep 0.7
  "$LIVE_TRAMLOG" report --live --socket "$socket" --format json --position "$work/position" >"$work/live-$number.json" || [[ $? == 1 ]] || fail "no live report"
  read -r segment bytes <"$work/position"
  wait_until 5 eval "[ \$(stat -c %s $folder/$segment) -ge $bytes ]" || fail "the segment does not get to byte $bytes"
  head -c "$bytes" "$folder/$segment" >"$work/cut.pcapng"
  "$LIVE_TRAMLOG" report --format json "$work/cut.pcapng" >"$work/cut.json" || [[ $? == 1 ]] || fail "no report on the cut recording"
  cmp -s "$work/cut.json" "$work/live-$number.json" && say "ok: live report $number equals that of the first $bytes bytes" ||
    { fail "live report $number differs"; diff "$work/cut.json" "$work/live-$number.json" | head -n 20; }
done
kill "$follower"
# Who was heard before the follower came is known to it all the same.
"$LIVE_TRAMLOG" decode --live --socket "$socket" --controller "tractor ECU" --format json >"$work/named" 2>&1 &
named=$!
sleep 2
kill "$named"
check "messages of a controller that claimed long ago" "$(grep -c WheelBasedSpeed "$work/named")" -ge 5
lines=$(grep -c WheelBasedSpeed "$work/followed")
check "messages followed live" "$lines" -ge 20
# A reload: nonsense is refused and changes nothing; a roster is taken.
cp "$config" "$work/good.toml"
echo 'nonsense = [' >>"$config"
kill -HUP "$daemon"
sleep 1
grep -q 'old configuration stays' "$work/daemon.log" || fail "nonsense was not refused"
sed "s|^roster = .*|roster = \"$LIVE_ROSTER\"|" "$work/good.toml" >"$config"
kill -HUP "$daemon"
sleep 1
"$LIVE_TRAMLOG" rollcall --live --socket "$socket" >"$work/roll"
check "exit code of the roll call" $? -eq 1
head -n 12 "$work/roll" | sed 's/^/  /'
wait "$sender"
stop_daemon
count_recording
check_readable
check "notes of the technician" "$(field all marks)" -eq 1
grep -q 'seed hose of row 3 refitted' "$folder/summary.txt" || fail "the summary does not hold the note"
grep -q '"event":"note"' "$folder/events.jsonl" || fail "the events do not hold the note"
finish
