# Two real controllers (sja1000) on one wire: bit rate and listen-only as configured, frames confirmed by the sender's
# controller, overruns of the receiving one, and an adapter pulled out and put back.
source "$(dirname "$0")/common.sh"
[[ -e /sys/class/net/can0 && -e /sys/class/net/can1 ]] || skip "the machine has no two CAN controllers (vm/run --can 2)"
ip link set can0 down; ip link set can1 down
ip link set can0 type can bitrate 250000 restart-ms 100 berr-reporting on
ip link set can0 up
configure listen='["can1"]' more='[[interfaces.settings]]
name = "can1"
bitrate = 250000
listen_only = true
error_reporting = true'
start_daemon can1
is_up() { [[ $(ip -d link show can1) == *'bitrate 250000'* && $(ip link show can1) == *',UP'* ]]; }
wait_until 5 is_up || { fail "can1 was not set up"; ip -d link show can1; }
check "listen-only" "$(ip -d link show can1 | grep -c LISTEN-ONLY)" -eq 1
status | sed 's/^/  status: /' | head -n 20
program traffic can0 --count 2000 --rate 1000 --confirm >"$work/1"
check "confirmed by the sender's controller" "$(told "$work/1" unconfirmed)" -eq 0
# Faster than any wire, and each controller served by a processor of its own: the 64 bytes of the receiving one overflow.
for i in 0 1; do
  irq=$(awk -F: -v name="can$i" '$0 ~ name "$" {print $1 + 0}' /proc/interrupts)
  [[ -z $irq ]] || echo $((i + 1)) >"/proc/irq/$irq/smp_affinity"
done
program traffic can0 --first 2001 --count 30000 >"$work/2"
sleep 1
grep can /proc/interrupts | sed 's/^/  /'
overruns=$(ip -s -s link show can1 | awk '/RX errors/ {getline; print $NF; exit}')
say "by the driver: $(ip -s -s link show can1 | tr '\n' ' ')"
device=$(basename "$(readlink /sys/class/net/can1/device)")
echo "$device" >/sys/bus/pci/drivers/kvaser_pci/unbind
sleep 1
status | sed 's/^/  status: /' | head -n 20
echo "$device" >/sys/bus/pci/drivers/kvaser_pci/bind
wait_until 10 is_up || { fail "can1 was not set up again after its return"; ip -d link show can1; }
sleep 0.5
program traffic can0 --first 32001 --count 1000 --rate 1000 --confirm >"$work/3"
sleep 0.3
stop_daemon
count_recording
check_readable
say "overruns by the driver: $overruns, error frames: $(field bus=can1 errors)"
check "buses" "$(grep -c '^bus=' "$work/count")" -eq 1
check "last number" "$(field sender=can1/90 last)" -eq 33000
check "twice" "$(field sender=can1/90 repeated)" -eq 0
if (($(field bus=can1 errors) == 0)); then
  check "missing without an overrun" "$(field sender=can1/90 missing)" -eq "$(field bus=can1 lost)"
else
  check "error frames of overruns" "$(field bus=can1 errors)" -ge 1
fi
check "told as down or removed" "$(field bus=can1 downs)" -ge 1
ip link set can0 down; ip link set can1 down
finish
