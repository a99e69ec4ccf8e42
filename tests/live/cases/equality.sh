# The daemon's last summary is the report on its recording, byte for byte: with a healthy bus, a controller that has
# trouble codes, one that falls silent and one that leaves, in several segments.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
configure segment_mib=1 roster="$LIVE_ROSTER"
start_daemon vcan0
launch traffic vcan0 --healthy --speed-kmh 9 --rate 1700 --seconds 12 >"$work/sent"
sender=$launched
launch party vcan0 --address 160 --name A00C80007D020001 --fault 520200/9/3 --fault 168/18/1 --seconds 12 >"$work/parties"
launch party vcan0 --address 170 --name A00C80007D020002 --silent-after 5 --seconds 12 >>"$work/parties"
launch party vcan0 --address 171 --name A00C80007D020003 --leave-after 5 >>"$work/parties"
sleep 6
"$LIVE_TRAMLOG" report --live --socket "$socket" --format json >"$work/live.json" || [[ $? == 1 ]] || fail "no live report"
wait "$sender"
sleep 0.5
stop_daemon
count_recording
check_readable
check_numbered vcan0/90 "$(told "$work/sent" numbered)"
mapfile -t files < <(captures)
check "segments" "${#files[@]}" -ge 2
code=0
"$LIVE_TRAMLOG" report --roster "$LIVE_ROSTER" --format json "${files[@]}" >"$work/report.json" || code=$?
check "exit code of the report" "$code" -le 1
check "bytes of the report" "$(stat -c %s "$work/report.json")" -ge 1000
check "bytes of the live report" "$(stat -c %s "$work/live.json")" -ge 1000
if cmp -s "$work/report.json" "$folder/summary.json"; then
  say "ok: summary.json equals the report on the recording"
else
  fail "summary.json is not the report on the recording"
  diff "$folder/summary.json" "$work/report.json" | head -n 40
fi
[[ -s $folder/summary.txt ]] || fail "there is no summary.txt"
finish
