# Random frames as fast as they go, LIVE_RANDOM_FRAMES of them (300,000): memory stays where it is, what was lost is told,
# and the caps that were hit are named.
source "$(dirname "$0")/common.sh"
frames=${LIVE_RANDOM_FRAMES:-300000}
make_vcan vcan0
configure keep_gib=0.5
start_daemon vcan0
program traffic vcan0 --random --seed 11 --rate "${LIVE_RANDOM_RATE:-20000}" --count $((frames / 2)) >"$work/first"
half_kib=$(awk '/^VmRSS/ {print $2}' "/proc/$daemon/status")
program traffic vcan0 --random --seed 12 --rate "${LIVE_RANDOM_RATE:-20000}" --count $((frames - frames / 2)) >"$work/second"
end_kib=$(awk '/^VmRSS/ {print $2}' "/proc/$daemon/status")
peak_kib=$(awk '/^VmHWM/ {print $2}' "/proc/$daemon/status")
sent=$(($(told "$work/first" sent) + $(told "$work/second" sent)))
stop_daemon
count_recording
check_readable
lost=$(($(field bus=vcan0 lost) + $(field bus=vcan0 dropped)))  # at the socket, and before it
check "recorded and told as lost" $(($(field bus=vcan0 frames) + lost)) -eq "$sent"
grep -q 'limit' "$folder/summary.txt" || fail "the report does not name the caps that were hit"
grep -A3 'limit' "$folder/summary.txt" | head -n 8 | sed 's/^/  /'
check "KiB more at the end than at half time" $((end_kib - half_kib)) -le $((half_kib / 4))
say "measured: $sent random frames, $lost told as lost, memory $half_kib KiB at half time, $end_kib KiB at the end, at most $peak_kib KiB"
finish
