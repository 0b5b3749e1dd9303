#!/usr/bin/env bash
# Instruction counts of the work that everything else is made of, by valgrind's callgrind.
#     bash tests/bench/counts.sh --check    # compares with counts.toml; fails where one grew by more than 5 %
#     bash tests/bench/counts.sh --write    # writes counts.toml anew
# `tests/counts.py` says what a count may grow by. The sampler's width is fixed (one lane, and the 128-bit registers
# that every x86-64 has), so that the counts do not hang on the processor. A count is that of one portion of work:
# half the difference between three portions and one, so that what the program does besides falls out.
set -euo pipefail
cd "$(dirname "$0")/../.."
mode=${1:---check}
if ! command -v valgrind >/dev/null; then
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends valgrind >/dev/null
fi
cargo build --release --quiet --package landfall-bench
program=target/release/bench-sampler

total() { # lanes, what, times
    LANDFALL_LANES=$1 RAYON_NUM_THREADS=1 valgrind --tool=callgrind --callgrind-out-file=/dev/null \
        "$program" count demo "$2" "$3" 2>&1 | sed -n 's/.*Collected : \([0-9]*\)$/\1/p'
}

measured=target/counts.toml
: >"$measured"
note() { # name, lanes, what
    local one three
    one=$(total "$2" "$3" 1)
    three=$(total "$2" "$3" 3)
    echo "$1 = $(((three - one) / 2))" >>"$measured"
}
note run_with_fine_steps 1 run_with_fine_steps
note spread_by_divided_differences 1 spread_by_divided_differences
note touch_down 1 touch_down
note sampler_16384_runs_one_lane 1 sampler_16384_runs
note sampler_16384_runs_128_bit 4 sampler_16384_runs
note plan_of_1000_samples 4 plan_of_1000_samples

if [ "$mode" = --write ]; then
    python3 tests/counts.py tests/bench/counts.toml CHANGELOG.md "$measured" --write
else
    python3 tests/counts.py tests/bench/counts.toml CHANGELOG.md "$measured"
fi
