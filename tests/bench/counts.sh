#!/usr/bin/env bash
# Instruction counts of the work that everything else is made of, by valgrind's callgrind.
#     bash tests/bench/counts.sh --check    # compares with counts.toml; fails where one grew by more than 5 %
#     bash tests/bench/counts.sh --write    # writes counts.toml anew
# A count may grow if CHANGELOG.md has under "### Instruction counts" a line such as
#     - `touch_down`: 412,345; the reason
# which names it and the count that it may come to. The sampler's width is fixed (one lane, and the 128-bit registers
# that every x86-64 has), so that the counts do not hang on the processor. A count is that of one portion of work:
# half the difference between three portions and one, so that what the program does besides falls out.
#
# target/device-counts.toml (written by the firmware's proof, "name = count" a line) is compared with
# tests/bench/device_counts.toml by the same rule where both exist.
set -euo pipefail
cd "$(dirname "$0")/../.."
mode=${1:---check}
if ! command -v valgrind >/dev/null; then
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends valgrind >/dev/null
fi
cargo build --release --quiet --package landfall-tests --bin bench-sampler
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
    { echo "# Instructions of one portion of work, as counts.sh counts them."; cat "$measured"; } >tests/bench/counts.toml
fi
python3 - tests/bench/counts.toml "$measured" tests/bench/device_counts.toml target/device-counts.toml <<'PYTHON'
import re
import sys
from pathlib import Path

MOST = 1.05


def read(path):
    lines = [line.split("#")[0].strip() for line in Path(path).read_text().splitlines()]
    return {name.strip(): int(count.replace("_", "")) for name, count in (line.split("=") for line in lines if line)}


def allowed():
    text = Path("CHANGELOG.md").read_text()
    parts = re.findall(r"^### Instruction counts\n(.*?)(?=^##|\Z)", text, re.S | re.M)
    lines = re.findall(r"^- `([a-z0-9_]+)`: ([0-9,]+)", "\n".join(parts), re.M)
    return {name: int(count.replace(",", "")) for name, count in lines}


grown = []
entries = allowed()
for stored, found in (sys.argv[1:3], sys.argv[3:5]):
    if not (Path(stored).exists() and Path(found).exists()):
        continue
    before, now = read(stored), read(found)
    for name in sorted(before.keys() | now.keys()):
        if name not in before or name not in now:
            grown.append(f"{name} is {'not stored' if name in now else 'no longer counted'}")
            continue
        change = 100 * (now[name] / before[name] - 1)
        print(f"{name:32} {before[name]:>13,} -> {now[name]:>13,}  {change:+.2f} %")
        if now[name] > MOST * max(before[name], entries.get(name, 0)):
            grown.append(f"{name} grew by {change:.1f} % without an entry under Instruction counts in CHANGELOG.md")
if grown:
    sys.exit("\n".join(grown))
PYTHON
