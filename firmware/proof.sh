#!/bin/bash
# The long proof of the box: deflations, restarts, hours of riding and a season of the log, with the box's own program on
# numbers; then the season's flash in the emulated image. Prints a line for each; exit code 0 if all hold. About five minutes
# on one processor once it is compiled; smaller with the variables below. `prove.sh` does not call it.
set -euo pipefail
cd "$(dirname "$0")"
mkdir -p emulator/build
export LANDFALL_PROOF_DEFLATIONS=${LANDFALL_PROOF_DEFLATIONS:-10000}
# Of each state, cause and air: seven, three and two.
export LANDFALL_PROOF_RESTARTS=${LANDFALL_PROOF_RESTARTS:-1000}
export LANDFALL_PROOF_HOURS=${LANDFALL_PROOF_HOURS:-1000}
export LANDFALL_SEASON_DAYS=${LANDFALL_SEASON_DAYS:-120} LANDFALL_SEASON_HOURS=${LANDFALL_SEASON_HOURS:-10}
export LANDFALL_SEASON_IMAGE=$PWD/emulator/build/season.bin
lines() { grep -E '^\.*(deflations|restarts|riding|a season)|FAILED|panicked|false ' | sed 's/^\.*//'; }
cargo test -q --release -p landfall-firmware --test proof -- --nocapture --test-threads 1 2>&1 | lines
season=$(cargo test -q --release -p landfall-firmware --lib a_season_of_landings -- --nocapture 2>&1 | lines) || { echo "$season"; exit 1; }
echo "$season"
LANDFALL_SEASON_RECORDS=$(echo "$season" | sed -n 's/.* \([0-9]*\) events, .* \([0-9]*\) landings one by one.*/\1 + \2/p')
export LANDFALL_SEASON_RECORDS=$((${LANDFALL_SEASON_RECORDS:?no count in the line above}))
if [ -f emulator/build/rp2040.bin ] && [ -d emulator/node_modules/rp2040js ]; then
    (cd emulator && node run.mjs season)
else
    echo "the emulated image is not there: run prove.sh first, then this again for the season's flash"
fi
