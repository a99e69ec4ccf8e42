# The disk is full for six seconds at 2,000 frames a second: nothing is lost, it waits in memory.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
mkdir -p "$folder"
mount -t tmpfs -o size=24m small "$folder"
configure keep_free_mib=1
start_daemon vcan0
launch traffic vcan0 --rate 2000 --seconds 12 >"$work/sent"
sender=$launched
sleep 2
dd if=/dev/zero of="$folder/ballast" bs=64k 2>/dev/null
say "disk full: $(df --output=avail "$folder" | tail -n 1) KiB free"
sleep 6
status | sed 's/^/  status: /' | head -n 30
rm "$folder/ballast"
wait "$sender"
sleep 1
stop_daemon
count_recording
check_readable
check_numbered vcan0/90 "$(told "$work/sent" numbered)"
check "told as lost" "$(field bus=vcan0 lost)" -eq 0
check "not recorded" "$(field all not_recorded)" -eq 0
umount -l "$folder"
finish
