#!/usr/bin/env bash
# Writes the parts of README.md and of the guide that are computed, or with --check fails where they are not true any more.
set -euo pipefail
cd "$(dirname "$0")/.."
mode=${1:---write}
fresh=$(mktemp)
trap 'rm -f "$fresh"' EXIT
# The programs that the tests are built with: any other form of the command compiles everything anew.
cargo test --workspace --no-run --quiet
programs=${CARGO_TARGET_DIR:-target}/debug
"$programs/landfall" plan --demo --color never >"$fresh" || [ $? = 1 ]
python3 - "$mode" "$fresh" <<'PY'
import sys, pathlib
mode, fresh = sys.argv[1], pathlib.Path(sys.argv[2]).read_text().rstrip("\n")
readme = pathlib.Path("README.md")
text = readme.read_text()
begin, end = "<!-- demo:begin -->", "<!-- demo:end -->"
head, rest = text.split(begin)
tail = rest.split(end)[1]
new = f"{head}{begin}\n```text\n{fresh}\n```\n{end}{tail}"
if mode == "--check":
    if new != text:
        sys.exit("README.md: the demo's output has changed; run tests/readme.sh and look at the difference")
else:
    readme.write_text(new)
PY
"$programs/checks-table" "$mode"
# The guide's commands and what they print.
if [ "$mode" = --check ]; then python3 tests/guide.py "$programs/landfall" --check; else python3 tests/guide.py "$programs/landfall"; fi
