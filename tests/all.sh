#!/usr/bin/env bash
# Installs what the tests need (Debian or Ubuntu packages, a Python environment in target/, npm packages beside the
# scripts that use them) and passes them all. Works as root or with sudo.
#
# Two lanes run side by side, since compiling and emulating seldom keep two cores busy by themselves: one is the
# workspace's own compiler, the other what has a compiler or an interpreter of its own. Each stage writes its log into
# target/stages and says in one line how long it took; the first that fails ends the run, and its log is printed.
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TERM_COLOR=never
target=${CARGO_TARGET_DIR:-target}
logs=$target/stages
rm -rf "$logs"
mkdir -p "$logs"
begin=$SECONDS

# stage NAME COMMAND…: runs it, its output in a log; says how long it took, and how much of the processors' time.
stage() {
    local name=$1 from=$SECONDS TIMEFORMAT='%U %S' code=0 cpu
    shift
    cpu=$({ time "$@" >"$logs/$name.log" 2>&1 </dev/null; } 2>&1) || code=$?
    cpu=$(awk '{ printf "%.0f", $1 + $2 }' <<<"${cpu##*$'\n'}")
    if [ "$code" = 0 ]; then
        printf '== %-16s %4d s, %4d s of a processor  (at %d s)\n' "$name" $((SECONDS - from)) "$cpu" $((SECONDS - begin))
    else
        printf '== %-16s FAILED after %d s; the end of its log:\n' "$name" $((SECONDS - from))
        tail -n 120 "$logs/$name.log"
        return 1
    fi
}

packages() {
    local needed=()
    command -v cc >/dev/null || needed+=(gcc)
    command -v python3 >/dev/null || needed+=(python3)
    python3 -c 'import ensurepip, venv' 2>/dev/null || needed+=(python3-venv)
    command -v node >/dev/null || needed+=(nodejs)
    command -v npm >/dev/null || needed+=(npm)
    command -v valgrind >/dev/null || needed+=(valgrind)
    command -v arm-none-eabi-objdump >/dev/null || needed+=(binutils-arm-none-eabi)
    command -v qemu-system-arm >/dev/null || needed+=(qemu-system-arm)
    command -v aarch64-linux-gnu-gcc >/dev/null || needed+=(gcc-aarch64-linux-gnu libc6-dev-arm64-cross)
    command -v qemu-aarch64 >/dev/null || needed+=(qemu-user)
    [ -x /usr/bin/chromium ] || needed+=(chromium)
    # Without rustup's targets Debian's compiler builds for bare metal, 64-bit Arm and WebAssembly.
    local stock
    stock=$(rustup target list --installed 2>/dev/null | grep -cE '^(thumbv6m|thumbv7em|wasm32-unknown|aarch64-unknown-linux-gnu)' || true)
    if [ "$stock" -lt 4 ]; then
        [ -x /usr/bin/rustc ] || needed+=(rustc-web)
        [ -x /usr/bin/cargo ] || needed+=(cargo-web)
        [ -d /usr/lib/rustlib ] && find /usr/lib/rustlib/src /usr/src -maxdepth 2 -name library 2>/dev/null | grep -q . || needed+=(rust-web-src)
    fi
    [ ${#needed[@]} -eq 0 ] && return
    echo "installing: ${needed[*]}"
    local sudo
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq || return
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${needed[@]}"
}

# Each says by itself that it failed: in a stage, `set -e` does not hold.
lints() {
    cargo clippy --workspace --all-targets --quiet -- -D warnings || return
    for features in serde defmt serde,defmt; do
        cargo clippy --package landfall-core --quiet --features "$features" -- -D warnings || return
    done
    RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --quiet || return
    # What another project would take: the package of core alone, compiled from its own files.
    cargo package --package landfall-core --allow-dirty --quiet
}

# What does not need the workspace's own compiler; the pages want the command, which is compiled long before their turn.
beside() {
    stage page-module bash host-cli/page-wasm/build.sh
    stage firmware bash firmware/prove.sh
    stage arm64 bash tests/arm64/run.sh
    stage reference bash tests/reference/check.sh
    until [ -e "$logs/compiled" ]; do sleep 1; done
    stage browser bash tests/browser/run.sh
    stage ramp-read-back target/reference-venv/bin/python tests/reference/ramp_readback.py "$target/debug/landfall"
    stage counts bash tests/bench/counts.sh --check
}

stage packages packages
stage format cargo fmt --all --check
stage licences python3 tests/bill.py --check
beside &
others=($!)
trap 'kill "${others[@]}" 2>/dev/null || true' EXIT
stage compile cargo test --workspace --no-run --quiet
touch "$logs/compiled"
stage plan-alone cargo check --package landfall --no-default-features --quiet
stage tests cargo test --workspace --quiet
grep -E '^(test result|running [1-9])' "$logs/tests.log" || true
stage readme bash tests/readme.sh --check
stage lints-and-docs lints
wait "${others[0]}"
trap - EXIT
stage done true
