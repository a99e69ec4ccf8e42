# A serial-line adapter whose faults are commanded: each error frame is recorded, the states up to bus-off are told, and
# a bus of which only errors arrive is called so.
source "$(dirname "$0")/common.sh"
modprobe slcan || skip "the kernel has no driver for serial-line adapters"
mkfifo "$work/commands"
exec 7<>"$work/commands"
"$LIVE_PROGRAMS/live_adapter" <"$work/commands" >"$work/adapter" 2>&1 &
wait_until 5 grep -q interface "$work/adapter" || { fail "no adapter"; finish; }
# A name of its own, whatever other controllers the machine has.
ip link set "$(awk '/^interface/ {print $2}' "$work/adapter")" name serial0
ip link set serial0 type can bitrate 250000
ip link set serial0 up
order() {  # and wait until it was obeyed
  local before
  before=$(grep -c done "$work/adapter")
  echo "$*" >&7
  obeyed() { (($(grep -c done "$work/adapter") > before)); }
  wait_until 20 obeyed || fail "the adapter does not obey '$*'"
}
configure listen='["serial*"]'
start_daemon serial0
said=''
for ((i = 0; i < 10; ++i)); do
  order error stuff
  order error ack
  sleep 0.3
  ((i < 4)) || ! knows 'only errors' || said=1  # while they come: some time after the last one it is a silent bus
done
status | sed 's/^/  status: /' | head -n 20
[[ -n $said ]] || fail "status does not say that only errors arrive"
order numbered 300
order error crc
order error form
order error rx-overrun
order state warning 100 20
sleep 1.2
order state passive 130 140
sleep 1.2
order state bus-off 0 255
sleep 1.2
status | sed 's/^/  status: /' | head -n 20
knows 'bus-off' || fail "status does not say bus-off"
ip link set serial0 down
sleep 0.3
ip link set serial0 up
order state active 0 0
order numbered 300 301
sleep 0.5
order unplug
sleep 1
status | sed 's/^/  status: /' | head -n 20
stop_daemon
exec 7>&-
count_recording
check_readable
# 20 + 3 errors and 3 changes to a worse state at least; changes back may be told, too.
check "error frames" "$(field bus=serial0 errors)" -ge 26
check "error frames" "$(field bus=serial0 errors)" -le 32
check_numbered serial0/91 600
check "told as down" "$(field bus=serial0 downs)" -ge 1
grep -q 'bus-off' "$folder/summary.json" || fail "the summary does not speak of bus-off"
finish
