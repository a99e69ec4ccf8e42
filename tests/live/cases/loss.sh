# A daemon that gets no processor time loses frames: what the socket dropped is told to the frame, and nothing else is
# missing.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
configure
start_daemon vcan0
program traffic vcan0 --count 500 --rate 1000 >"$work/before"
sleep 0.3
kill -STOP "$daemon"
program traffic vcan0 --first 501 --count 60000 >"$work/during"
kill -CONT "$daemon"
sleep 1.5
program traffic vcan0 --first 60501 --count 500 --rate 1000 >"$work/after"
sleep 0.3
stop_daemon
count_recording
check_readable
check "told as lost" "$(field bus=vcan0 lost)" -gt 0
# A few may not even reach the socket: those stand in the interface's own counter.
lost=$(($(field bus=vcan0 lost) + $(field bus=vcan0 dropped)))
check "told as lost and recorded" $((lost + $(field bus=vcan0 frames))) -eq 61000
check "missing numbers" "$(field sender=vcan0/90 missing)" -eq "$lost"
check "last number" "$(field sender=vcan0/90 last)" -eq 61000
grep -q "$lost frames lost" "$folder/summary.json" || fail "the summary does not tell $lost lost frames"
finish
