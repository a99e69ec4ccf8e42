# Two buses of 1,000 frames a second for LIVE_LOAD_SECONDS (20): nothing is lost; the daemon's processor time beside that
# of the bare loop (live_loop) on the same traffic, and its memory.
source "$(dirname "$0")/common.sh"
seconds=${LIVE_LOAD_SECONDS:-20}
make_vcan vcan0 vcan1
configure
start_daemon vcan0 vcan1
launch loop vcan0 vcan1 >"$work/loop"
loop=$launched
sleep 0.5
begin_ms=$(cpu_ms "$daemon")
launch traffic vcan0 --healthy --speed-kmh 8 --rate 988 --seconds "$seconds" >"$work/0"
first=$launched
launch traffic vcan1 --rate 1000 --seconds "$seconds" >"$work/1"
second=$launched
sleep "$((seconds / 2))"
half_kib=$(awk '/^VmRSS/ {print $2}' "/proc/$daemon/status")
wait "$first" "$second"
used_ms=$(($(cpu_ms "$daemon") - begin_ms))
end_kib=$(awk '/^VmRSS/ {print $2}' "/proc/$daemon/status")
peak_kib=$(awk '/^VmHWM/ {print $2}' "/proc/$daemon/status")
sleep 0.3
kill -TERM "$loop"
wait "$loop"
stop_daemon
count_recording
check_readable
for bus in 0 1; do
  check "frames of vcan$bus" "$(field bus=vcan$bus frames)" -eq "$(told "$work/$bus" sent)"
  check "told as lost on vcan$bus" "$(field bus=vcan$bus lost)" -eq 0
  check_numbered vcan$bus/90 "$(told "$work/$bus" numbered)"
done
check "frames of the bare loop" "$(told "$work/loop" frames)" -eq $(($(told "$work/0" sent) + $(told "$work/1" sent)))
loop_ms=$(told "$work/loop" cpu_ms)
awk -v used="$used_ms" -v loop="$loop_ms" -v s="$seconds" 'BEGIN {
  printf "  measured: daemon %.0f ms = %.1f %% of one emulated processor, bare loop %.0f ms = %.1f %%, ratio %.2f\n",
    used, used / s / 10, loop, loop / s / 10, used / loop}'
say "measured: memory $half_kib KiB at half time, $end_kib KiB at the end, at most $peak_kib KiB"
finish
