# tramlog rollcall --live --ask: with a standing machine everybody is asked and answers, the address is given back; with a
# moving one nothing is sent, and the recording proves it.
source "$(dirname "$0")/common.sh"
make_vcan vcan0
modprobe can-j1939 || skip "the kernel has no j1939"
configure
start_daemon vcan0
launch traffic vcan0 --healthy --speed-kmh 0 --quiet --rate 1 --seconds 40 >"$work/standing"
standing=$launched
launch party vcan0 --address 160 --name A00C80007D020001 --software 'MTR 4.12*build 7*' --ecu 'P-1*S-1*cart*meter*ours*2*' --product 'C1*Larkfield*Drill 9*' \
  --fault 168/18/1 --no-fault-messages --seconds 40 >"$work/one"
launch party vcan0 --address 161 --name A00C80007D020002 --software 'SEC 2.0 with a rather long text that needs a transfer*' --busy 1 --seconds 40 >"$work/two"
sleep 5
ask() { "$LIVE_TRAMLOG" rollcall --live --ask --bus vcan0 --socket "$socket" --format json "$@"; }
ask >"$work/asked.json" 2>"$work/asked.words"
check "exit code of asking" $? -eq 0
cat "$work/asked.words" | sed 's/^/  /'
for text in 'MTR 4.12, build 7' 'SEC 2.0 with a rather long text that needs a transfer' 'P-1, S-1, cart, meter, ours, 2' 'C1, Larkfield, Drill 9'; do
  grep -qF "$text" "$work/asked.json" || { fail "nobody answered '$text'"; cat "$work/asked.json"; }
done
grep -q '"complete": true' "$work/asked.json" || fail "not everybody was asked"
grep -qi moving "$work/asked.words" || fail "no caution was shown"
# The live report knows by now what was answered.
"$LIVE_TRAMLOG" report --live --socket "$socket" --format json >"$work/live.json" || [[ $? == 1 ]] || fail "no live report"
grep -qF 'MTR 4.12' "$work/live.json" || fail "the live report does not know the software"
"$LIVE_TRAMLOG" rollcall --live --socket "$socket" 2>"$work/no-roster" && fail "a roll call without a roster"
grep -q -- --roster "$work/no-roster" || fail "no word about the roster"
before=$("$LIVE_TRAMLOG" decode --controller 249 --controller 254 --format json $(captures) 2>/dev/null | wc -l)
check "messages of the service tool" "$before" -ge 5
"$LIVE_TRAMLOG" decode --controller 254 --format json $(captures) 2>/dev/null | tail -n 1 >"$work/farewell"
grep -q '60928' "$work/farewell" || fail "the address was not given back: $(cat "$work/farewell")"
kill "$standing"
# Now it moves.
launch traffic vcan0 --healthy --speed-kmh 7 --quiet --rate 1 --seconds 15 >"$work/moving"
sleep 2
ask >"$work/refused" 2>&1
check "exit code while the machine moves" $? -eq 4
sed 's/^/  /' "$work/refused"
grep -q 'nothing was sent' "$work/refused" || fail "it does not say that nothing was sent"
grep -q 'km/h' "$work/refused" || fail "the refusal does not name the speed"
sleep 1
after=$("$LIVE_TRAMLOG" decode --controller 249 --controller 254 --format json $(captures) 2>/dev/null | wc -l)
check "messages of the service tool after the refusal" "$after" -eq "$before"
stop_daemon
finish
