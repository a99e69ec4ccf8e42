# An interface that appears after the start, goes down and up, is removed and comes back is one bus, and is heard from
# its return on.
source "$(dirname "$0")/common.sh"
configure
start_daemon
make_vcan vcan5
sleep 1
program traffic vcan5 --count 500 --rate 1000 >"$work/1"
ip link set vcan5 down
sleep 1
ip link set vcan5 up
sleep 1
program traffic vcan5 --first 501 --count 500 --rate 1000 >"$work/2"
sleep 0.5
ip link del vcan5
sleep 1
status | sed 's/^/  status: /' | head -n 20
make_vcan vcan5
sleep 1
program traffic vcan5 --first 1001 --count 500 --rate 1000 >"$work/3"
sleep 0.3
stop_daemon
count_recording
check_readable
check "buses" "$(grep -c '^bus=' "$work/count")" -eq 1
check_numbered vcan5/90 1500
check "told as lost" "$(field bus=vcan5 lost)" -eq 0
check "told as down or removed" "$(field bus=vcan5 downs)" -ge 2
check "told as up" "$(field bus=vcan5 ups)" -ge 2
finish
