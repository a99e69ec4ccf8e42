# The disk is read-only at the start: it examines, says so, and records as soon as it can.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
mkdir -p "$folder"
mount -t tmpfs -o size=24m small "$folder"
mount -o remount,ro "$folder"
configure keep_free_mib=1
start_daemon vcan0
program traffic vcan0 --count 500 --rate 1000 >"$work/1"
sleep 3
status | sed 's/^/  status: /' | head -n 30
knows 'read-only' || fail "status does not say that the disk is read-only"
"$LIVE_TRAMLOG" report --live --socket "$socket" >"$work/report" 2>"$work/report.errors" || true
check "the live report knows the sender" "$(grep -c 'vcan0' "$work/report")" -ge 1
check "it says what is not in the recording" "$(grep -c 'not in the recording' "$work/report.errors")" -ge 1
check "captures so far" "$(captures | wc -l)" -eq 0
mount -o remount,rw "$folder"
writes() { [[ -n $(captures) ]]; }
wait_until 30 writes || fail "no recording after the disk can be written"
program traffic vcan0 --first 501 --count 2000 --rate 1000 >"$work/2"
sleep 1
status | sed 's/^/  status: /' | head -n 30
stop_daemon
count_recording
check_readable
check_numbered vcan0/90 2000
"$LIVE_TRAMLOG" report --format json -o "$work/report.json" $(captures) || true
check "summary.json is the report of the recording" "$(cmp "$folder/summary.json" "$work/report.json" && echo same)" = same
umount -l "$folder"
finish
