# Sourced by `run` and `power-cuts`: where things are. First argument: the build folder. Each path may come from outside.
[[ -n ${1:-} ]] || { echo "usage: $0 BUILD ... (the build folder; see the head of the script)" >&2; exit 2; }
[[ -d $1 ]] || { echo "$0: no build folder '$1'" >&2; exit 2; }
live_build=$(cd "$1" && pwd)
live_source=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
LIVE_CACHE=${LIVE_CACHE:-$live_source/build/live}
LIVE_TRAMLOG=${LIVE_TRAMLOG:-$live_build/src/tramlog}
LIVE_TRAMLOGD=${LIVE_TRAMLOGD:-$live_build/src/tramlogd}
LIVE_PROGRAMS=${LIVE_PROGRAMS:-$live_build/tests/live}
LIVE_ROSTER=${LIVE_ROSTER:-$live_source/captures/controller-lost/roster.toml}
[[ -x $LIVE_PROGRAMS/live_count ]] || { echo "$0: no $LIVE_PROGRAMS/live_count: build the tests first (libpcap-dev is needed)" >&2; exit 2; }
live_environment=(env)
for live_name in LIVE_TRAMLOG LIVE_TRAMLOGD LIVE_PROGRAMS LIVE_ROSTER LIVE_KILLS LIVE_SEED LIVE_LOAD_SECONDS LIVE_BURST_SEARCH \
  LIVE_BURST_SECONDS LIVE_CASE_SECONDS LIVE_RANDOM_FRAMES LIVE_RANDOM_RATE; do
  [[ -z ${!live_name:-} ]] || live_environment+=("$live_name=${!live_name}")
done
