# The disk answers nothing for ten seconds at 2,000 frames a second: nothing is lost.
source "$(dirname "$0")/common.sh"
[[ -b /dev/vda ]] || skip "the machine has no disk (vm/run --disk)"
make_vcan vcan0
mkdir -p "$folder"
mkfs.ext4 -q -F /dev/vda && mount /dev/vda "$folder" || skip "no ext4 file system on the disk"
configure keep_free_mib=1
start_daemon vcan0
launch traffic vcan0 --rate 2000 --seconds 15 >"$work/sent"
sender=$launched
sleep 2
fsfreeze -f "$folder" || fail "the file system cannot be frozen"
sleep 10
timeout 5 "$LIVE_TRAMLOG" status --socket "$socket" | sed 's/^/  status: /' | head -n 30
# 1: something stands open, and a bus this full is told.
check "status answers while the disk stalls" "${PIPESTATUS[0]}" -le 1
fsfreeze -u "$folder"
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
