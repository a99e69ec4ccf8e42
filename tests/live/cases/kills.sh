# SIGKILL at random moments, LIVE_KILLS times (5), each followed by a new start: every capture can be read, a killed run
# lacks at most the last second, and nothing is missing within a run.
source "$(dirname "$0")/common.sh"
kills=${LIVE_KILLS:-5}
rate=1000
make_vcan vcan0
configure segment_mib=1 keep_free_mib=1
launch traffic vcan0 --rate "$rate" --progress "$work/progress" >"$work/sent"
sender=$launched
RANDOM=${LIVE_SEED:-$$}
before=''
worst=0
inspect() {  # run number, number that was last sent when it was killed
  local files missing
  mapfile -t files < <(captures | grep "/run-0*$1-")
  ((${#files[@]} > 0)) || { fail "run $1 left no capture"; return; }
  program count "${files[@]}" >"$work/count" || fail "run $1 cannot be read"
  check "run $1: damage" "$(field all damages)" -eq 0
  check "run $1: packets by libpcap" "$(field all pcap)" -eq "$(field all packets)"
  check "run $1: missing within" "$(field sender=vcan0/90 missing)" -eq 0
  missing=$(($2 - $(field sender=vcan0/90 last)))
  check "run $1: frames missing before the kill" "$missing" -le "$rate"
  ((missing > worst)) && worst=$missing
}
current_run() { captures | sed -n 's#.*/run-0*\([0-9]*\)-.*#\1#p' | sort -n | tail -n 1; }
run=''
for ((i = 1; i <= kills; ++i)); do
  if ((i % 2 == 0)); then  # also while it starts and mends
    "$LIVE_TRAMLOGD" --config "$config" >>"$work/daemon.log" 2>&1 &
    early=$!
    sleep "0.$((RANDOM % 400 + 100))"
    kill -KILL "$early"
    wait "$early" 2>/dev/null
  fi
  start_daemon vcan0
  [[ -z $run ]] || inspect "$run" "$before"  # now that the new start has mended it
  sleep "$((RANDOM % 3)).$((RANDOM % 900 + 100))"
  run=$(current_run)
  kill -KILL "$daemon"
  before=$((10#$(cat "$work/progress")))
  wait "$daemon" 2>/dev/null
done
start_daemon vcan0
inspect "$run" "$before"
sleep 1
kill -TERM "$sender"
wait "$sender"
sleep 0.3
stop_daemon
count_recording
check_readable
check "runs begun" "$(field all begins)" -ge $((kills + 1))
check "runs ended in good order" "$(field all ends)" -eq 1
check "twice" "$(field sender=vcan0/90 repeated)" -eq 0
check "packed only in part" "$(find "$folder" -name '*.part' | wc -l)" -eq 0
say "measured: $kills kills, most frames missing before a kill: $worst (at $rate a second)"
finish
