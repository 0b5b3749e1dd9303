#!/usr/bin/env bash
# Installs what the tests need (Debian or Ubuntu packages, a Python environment in target/, npm packages beside the
# emulator) and passes them all. Works as root or with sudo. One line per stage; stops at the first that fails.
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TERM_COLOR=never
begin=$SECONDS
stage() { echo "== $* ($((SECONDS - begin)) s)"; }

stage "packages"
needed=()
command -v cc >/dev/null || needed+=(gcc)
command -v python3 >/dev/null || needed+=(python3)
python3 -c 'import ensurepip, venv' 2>/dev/null || needed+=(python3-venv)
command -v node >/dev/null || needed+=(nodejs)
command -v npm >/dev/null || needed+=(npm)
command -v valgrind >/dev/null || needed+=(valgrind)
if [ ${#needed[@]} -gt 0 ]; then
    echo "installing: ${needed[*]}"
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${needed[@]}" >/dev/null
fi

stage "format"
cargo fmt --all --check

stage "licences, sources and versions of what is built upon"
python3 tests/bill.py --check

stage "lints"
cargo clippy --workspace --all-targets --quiet -- -D warnings
for features in serde defmt serde,defmt; do
    cargo clippy --package landfall-core --quiet --features "$features" -- -D warnings
done

stage "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --quiet

stage "tests"
cargo test --workspace --quiet

stage "tables and pasted output in README.md"
bash tests/readme.sh --check

stage "instruction counts"
bash tests/bench/counts.sh --check

stage "report, card and page in Chromium"
bash tests/browser/run.sh </dev/null

stage "reference solution recomputed"
bash tests/reference/check.sh

stage "templates of the ramp read back"
target/reference-venv/bin/python tests/reference/ramp_readback.py "${CARGO_TARGET_DIR:-target}/debug/landfall"

stage "sampler on 64-bit Arm"
bash tests/arm64/run.sh

stage "firmware: images, emulators, proofs"
bash firmware/prove.sh

stage "done"
