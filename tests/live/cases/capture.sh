# Two buses with random and numbered frames, error frames and a mark: every frame is in the recording, unchanged and in
# order, by our reader and by libpcap's count.
source "$(dirname "$0")/common.sh"
make_vcan vcan0 vcan1
configure
start_daemon vcan0 vcan1
launch traffic vcan0 --random --seed 5 --count 10000 --rate 3000 >"$work/random"
random=$launched
launch traffic vcan1 --healthy --speed-kmh 7.2 --count 5000 --rate 1500 >"$work/numbered"
numbered=$launched
wait "$random" "$numbered"
program traffic vcan1 --error-frames 20 >"$work/errors"
"$LIVE_TRAMLOG" mark --socket "$socket" "row units lowered" || fail "a mark is refused"
sleep 0.3
stop_daemon
count_recording --random vcan0=5
check_readable
check "frames of vcan0" "$(field bus=vcan0 frames)" -eq "$(told "$work/random" sent)"
check "frames of vcan0 that are not the ones sent" "$(field bus=vcan0 random_wrong)" -eq 0
check "frames of vcan1" "$(field bus=vcan1 frames)" -eq "$(told "$work/numbered" sent)"
check "error frames of vcan1" "$(field bus=vcan1 errors)" -eq 20
check_numbered vcan1/90 5000
check "out of order" "$(field sender=vcan1/90 disordered)" -eq 0
check "told as lost on vcan0" "$(field bus=vcan0 lost)" -eq 0
check "told as lost on vcan1" "$(field bus=vcan1 lost)" -eq 0
check "runs begun" "$(field all begins)" -eq 1
check "runs ended in good order" "$(field all ends)" -eq 1
check "marks" "$(field all marks)" -eq 1
finish
