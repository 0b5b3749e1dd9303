#!/usr/bin/env bash
# Builds the page's WebAssembly module into target/page-wasm/landfall-page.wasm, where the command's build finds it.
# With rustup's wasm32-unknown-unknown target that toolchain is used, else Debian's rustc-web builds the standard
# library on the way; what is missing of it is installed (as root or with sudo).
set -euo pipefail
cd "$(dirname "$0")"
root=$(cd ../.. && pwd)
target=${CARGO_TARGET_DIR:-$root/target}/page-wasm
# The same versions as the command's; what the module does not need falls out.
cp ../../Cargo.lock Cargo.lock
# Four runs at a time in a register; every browser since 2023 has them.
flags="-C target-feature=+simd128"
build=(build --quiet --release --target wasm32-unknown-unknown --target-dir "$target")
if rustup target list --installed 2>/dev/null | grep -qx wasm32-unknown-unknown; then
    RUSTFLAGS=$flags cargo "${build[@]}"
else
    needed=()
    [ -x /usr/bin/rustc ] || needed+=(rustc-web)
    [ -x /usr/bin/cargo ] || needed+=(cargo-web)
    [ -d "$(/usr/bin/rustc --print sysroot 2>/dev/null || true)/lib/rustlib/src/rust/library" ] || needed+=(rust-web-src)
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
# Put in place in one step, so that a build going on beside never sees half of it.
cp "$target/wasm32-unknown-unknown/release/landfall_page.wasm" "$target/landfall-page.wasm.new"
mv "$target/landfall-page.wasm.new" "$target/landfall-page.wasm"
echo "$target/landfall-page.wasm: $(stat -c %s "$target/landfall-page.wasm") bytes"
