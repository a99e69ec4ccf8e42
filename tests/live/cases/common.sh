# Sourced by every case; runs inside the virtual machine as root. Gives a case its folder, daemon, buses and checks.
#
# From outside: LIVE_TRAMLOG, LIVE_TRAMLOGD, LIVE_PROGRAMS (folder of the live_* programs), LIVE_ROSTER, and what makes a
# case longer (README.md). A case ends with `finish`: exit code 0 passed, 1 failed, 77 skipped.
set -uo pipefail

case_name=$(basename "$0" .sh)
work=/run/live/$case_name
folder=$work/recording
socket=$work/control
config=$work/tramlogd.toml
daemon=''
failures=0
rm -rf "$work"
mkdir -p "$work"

say() { echo "  $*"; }
fail() {
  say "FAILED: $*"
  failures=$((failures + 1))
}
skip() {
  echo "skipped: $*"
  cleanup
  exit 77
}
# check TEXT ACTUAL OPERATOR EXPECTED: numbers by -eq -ne -le -ge -lt -gt, texts by = and !=.
check() {
  if [ "$2" "$3" "$4" ] 2>/dev/null; then say "ok: $1: $2"; else fail "$1 is '$2', wanted $3 $4"; fi
}
finish() {
  cleanup
  ((failures == 0)) || { [[ ! -s $work/daemon.log ]] || tail -n 40 "$work/daemon.log" | sed 's/^/  daemon: /'; }
  exit $((failures > 0))
}
cleanup() {
  local job
  for job in $(jobs -p); do kill -KILL "$job" 2>/dev/null || true; done
  local link
  for link in /sys/class/net/vcan*; do [[ ! -e $link ]] || ip link del "$(basename "$link")"; done
  cd /
}

# wait_until SECONDS COMMAND...: every 0.1 s; false when time is up.
wait_until() {
  local tries=$(($1 * 10))
  shift
  while ((tries-- > 0)); do
    "$@" >/dev/null 2>&1 && return 0
    sleep 0.1
  done
  return 1
}

program() { "$LIVE_PROGRAMS/live_$1" "${@:2}"; }
# In the background; its number is in $launched. (A function sent there would be a shell that signals do not pass.)
launch() {
  "$LIVE_PROGRAMS/live_$1" "${@:2}" &
  launched=$!
}

# ---- buses

# A fresh virtual bus. All its frames go through one processor, so that their order is that of the senders.
make_vcan() {
  local name
  for name; do
    ip link add "$name" type vcan
    echo 1 >"/sys/class/net/$name/queues/rx-0/rps_cpus"
    ip link set "$name" up
  done
}

# ---- daemon

# configure KEY=VALUE...: TOML values over the usual ones; `more` is appended as it is.
configure() {
  local listen='["vcan*"]' segment_mib=64 segment_minutes=15 buffer_mib=64 compress=true keep_gib=8.0 keep_free_mib=16 roster='' more=''
  (($# == 0)) || local "$@"
  cat >"$config" <<TOML
[interfaces]
listen = $listen
$more
[recording]
folder = "$folder"
segment_mib = $segment_mib
segment_minutes = $segment_minutes
buffer_mib = $buffer_mib
compress = $compress
keep_gib = $keep_gib
keep_free_mib = $keep_free_mib
keep_days = 90
protect_minutes = 5
[machine]
roster = "$roster"
schema = []
[summary]
every_s = 10
earlier = 20
[control]
socket = "$socket"
TOML
}

# Exit code 1 of status: something deserves attention. It answers all the same.
status() { "$LIVE_TRAMLOG" status --socket "$socket" || (($? == 1)); }
knows() { status | grep -q -- "$1"; }

# start_daemon [INTERFACE...]: returns when it answers and speaks of these interfaces.
start_daemon() {
  "$LIVE_TRAMLOGD" --config "$config" >>"$work/daemon.log" 2>&1 &
  daemon=$!
  wait_until 20 status || { fail "the daemon does not answer on its socket"; status; kill -KILL "$daemon"; finish; }
  local interface
  for interface; do
    wait_until 10 knows "$interface" || { fail "the daemon does not speak of $interface"; status; finish; }
  done
  sleep 0.3
}

stop_daemon() {
  kill -TERM "$daemon"
  local begin=$SECONDS code=0
  (sleep 30; kill -KILL "$daemon") 2>/dev/null &
  local guard=$!
  wait "$daemon" || code=$?
  kill "$guard" 2>/dev/null
  check "exit code of the daemon after SIGTERM" "$code" -eq 0
  check "seconds to stop" $((SECONDS - begin)) -le 15
}

# CPU time of a process with its ended children, in ms.
cpu_ms() { awk -v hz="$(getconf CLK_TCK)" '{sub(/.*\) /, ""); print int(($12 + $13 + $14 + $15) * 1000 / hz)}' "/proc/$1/stat"; }

# ---- recordings

captures() { find "${1:-$folder}" -maxdepth 1 -name 'run-*.pcapng' -o -maxdepth 1 -name 'run-*.pcapng.zst' | sort; }

# count_recording [live_count's options]: into $work/count, for the next ones.
count_recording() {
  local files
  mapfile -t files < <(captures)
  ((${#files[@]} > 0)) || { fail "there is no recording in $folder"; : >"$work/count"; return; }
  program count "${files[@]}" "$@" >"$work/count" || fail "a capture cannot be read"
  grep -v '^note' "$work/count" | sed 's/^/  /'
}
# field LINE KEY: of the line that begins with LINE: "bus=vcan0", "sender=vcan0/90", "all". Missing: -1.
field() {
  awk -v line="$1" -v key="$2=" '$1 == line {for (i = 2; i <= NF; ++i) if (index($i, key) == 1) {print substr($i, length(key) + 1); found = 1}}
    END {if (!found) print -1}' "$work/count"
}
# Of what live_traffic or live_loop printed into a file.
told() {
  awk -v key="$2=" '{for (i = 1; i <= NF; ++i) if (index($i, key) == 1) {print substr($i, length(key) + 1); found = 1}} END {if (!found) print -1}' "$1"
}
check_readable() {
  check "captures that our reader cannot read" "$(field all unreadable)" -eq 0
  check "captures that libpcap cannot read" "$(field all pcap_refuses)" -eq 0
  check "damage in captures" "$(field all damages)" -eq 0
  check "packets by libpcap" "$(field all pcap)" -eq "$(field all packets)"
}
# check_numbered SENDER COUNT: all numbers from the first to the last, each once, in order.
check_numbered() {
  check "numbered frames of $1" "$(field "sender=$1" numbered)" -eq "$2"
  check "missing of $1" "$(field "sender=$1" missing)" -eq 0
  check "twice of $1" "$(field "sender=$1" repeated)" -eq 0
  check "spoiled of $1" "$(field "sender=$1" spoiled)" -eq 0
}

[[ -x ${LIVE_TRAMLOGD:-} ]] || skip "no tramlogd in the build folder"
[[ -x ${LIVE_TRAMLOG:-} ]] || skip "no tramlog in the build folder"
