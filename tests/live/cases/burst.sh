# A burst of 20,000 frames as fast as they go: recorded or told as lost, to the frame. With LIVE_BURST_SEARCH=1 also the
# highest rate without loss of the daemon and of the bare loop, each found by halving, LIVE_BURST_SECONDS (5) a try.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
configure
start_daemon vcan0
program traffic vcan0 --count 20000 >"$work/sent"
sleep 2
# The kernel tells a loss with the next frame only.
program traffic vcan0 --first 20001 --count 1 >"$work/last"
sleep 0.5
stop_daemon
count_recording
check_readable
lost=$(($(field bus=vcan0 lost) + $(field bus=vcan0 dropped)))  # at the socket, and before it
check "recorded and told as lost" $((lost + $(field bus=vcan0 frames))) -eq 20001
check "missing numbers" "$(field sender=vcan0/90 missing)" -eq "$lost"
say "measured: burst at $(awk -v s="$(told "$work/sent" seconds)" 'BEGIN {printf "%.0f", 20000 / s}') frames/s, $lost lost"

seconds=${LIVE_BURST_SECONDS:-5}
daemon_keeps_up() {  # rate; sets sent_rate to what really went out
  rm -rf "$folder"
  start_daemon vcan0
  program traffic vcan0 --rate "$1" --seconds "$seconds" >"$work/sent"
  sleep 1
  program traffic vcan0 --first 2000000000 --count 1 >/dev/null
  sleep 0.3
  stop_daemon >/dev/null
  count_recording >/dev/null
  sent_rate=$(($(told "$work/sent" sent) / seconds))
  (($(field bus=vcan0 lost) + $(field bus=vcan0 dropped) == 0 && $(field bus=vcan0 frames) == $(told "$work/sent" sent) + 1))
}
loop_keeps_up() {
  launch loop vcan0 >"$work/loop"
  local loop=$launched
  sleep 0.5
  program traffic vcan0 --rate "$1" --seconds "$seconds" >"$work/sent"
  sleep 0.5
  kill -TERM "$loop"
  wait "$loop"
  sent_rate=$(($(told "$work/sent" sent) / seconds))
  (($(told "$work/loop" frames) == $(told "$work/sent" sent)))
}
search() {  # by halving between what held and what did not
  local low=0 high=131072 middle=8192 best=0
  while ((high - low > high / 16)); do
    if "$1" "$middle"; then
      low=$middle
      ((sent_rate > best)) && best=$sent_rate
      # The sender itself is at its end.
      ((sent_rate >= middle * 9 / 10)) || break
    else
      high=$middle
    fi
    say "$1 $middle frames/s: really $sent_rate, holds from $low below $high"
    middle=$(((low + high) / 2))
    ((high < 131072)) || middle=$((low * 2))
  done
  say "measured: $1: $best frames/s without loss"
}
if [[ -n ${LIVE_BURST_SEARCH:-} ]]; then
  search loop_keeps_up
  search daemon_keeps_up
fi
finish
