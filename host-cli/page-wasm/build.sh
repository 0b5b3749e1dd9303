#!/usr/bin/env bash
# Builds the page's WebAssembly module into target/page-wasm/landfall-page.wasm, where the command's build finds it.
# With --keep the module is also put beside this script, where it is kept for whoever builds the command alone; with
# --compiler nothing is built, and the compiler that would be taken is named, if it is there.
# With rustup's wasm32-unknown-unknown target that toolchain is used, else Debian's rustc-web builds the standard
# library on the way; what is missing of it is installed (as root or with sudo).
set -euo pipefail
cd "$(dirname "$0")"
root=$(cd ../.. && pwd -P)
target=${CARGO_TARGET_DIR:-$root/target}/page-wasm
ready() { rustup target list --installed 2>/dev/null | grep -qx wasm32-unknown-unknown; }
library() { [ -d "$(/usr/bin/rustc --print sysroot 2>/dev/null || true)/lib/rustlib/src/rust/library" ]; }
compiler() {
    if ready; then
        rustc --version
    elif [ -x /usr/bin/rustc ] && [ -x /usr/bin/cargo ] && library; then
        /usr/bin/rustc --version
    fi
}
if [ "${1:-}" = --compiler ]; then
    compiler
    exit
fi
# Four runs at a time in a register; every browser since 2023 has them.
flags="-C target-feature=+simd128"
# No folder of this machine stands in the module: the same sources give the same bytes wherever they are built.
flags+=" --remap-path-prefix=$root=landfall"
cargo fetch --quiet --locked
for registry in "${CARGO_HOME:-$HOME/.cargo}"/registry/src/*; do
    flags+=" --remap-path-prefix=$registry=registry"
done
build=(build --quiet --locked --package landfall-page --profile page --target wasm32-unknown-unknown --target-dir "$target")
if ready; then
    RUSTFLAGS=$flags cargo "${build[@]}"
else
    needed=()
    [ -x /usr/bin/rustc ] || needed+=(rustc-web)
    [ -x /usr/bin/cargo ] || needed+=(cargo-web)
    library || needed+=(rust-web-src)
    if [ ${#needed[@]} -gt 0 ]; then
        sudo=$([ "$(id -u)" = 0 ] || echo sudo)
        $sudo apt-get update -qq
        DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${needed[@]}" >/dev/null
    fi
    lld=$(find "$(rustc --print sysroot 2>/dev/null)/lib/rustlib" -name rust-lld 2>/dev/null | head -n 1)
    RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc RUSTFLAGS=$flags \
        CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=${lld:-rust-lld} \
        /usr/bin/cargo "${build[@]}" -Z build-std=std,panic_abort
fi
# Put in place in one step, so that a build going on beside never sees half of it; the same bytes are left alone, or all that
# holds them would be linked anew, also under the feet of tests that are running.
put() {
    if ! cmp -s "$built" "$1"; then
        cp "$built" "$1.new"
        chmod 644 "$1.new"
        mv "$1.new" "$1"
    fi
    echo "$1: $(stat -c %s "$1") bytes"
}
built=$target/wasm32-unknown-unknown/page/landfall_page.wasm
put "$target/landfall-page.wasm"
if [ "${1:-}" = --keep ]; then
    put "$PWD/landfall-page.wasm"
    # What else the bytes hang on: the compiler, and the packages that the module is linked from.
    {
        compiler
        cargo tree --quiet --locked --package landfall-page --target wasm32-unknown-unknown --edges normal --prefix none |
            sed -n 's/^\([^ ]*\) v\([^ ]*\).*/\1 \2/p' | LC_ALL=C sort -u
    } >landfall-page.txt
fi
