#!/usr/bin/env bash
# The sampler on 64-bit Arm: the same bits as on this machine, with one run in a register and with four. Builds it for
# Linux there with rustup's target, or with Debian's rustc-web, and runs it in QEMU; installs what is missing (as root
# or with sudo).
set -euo pipefail
cd "$(dirname "$0")"
chip=aarch64-unknown-linux-gnu
folder=${CARGO_TARGET_DIR:-$PWD/../../target}/arm64
needed=()
command -v aarch64-linux-gnu-gcc >/dev/null || needed+=(gcc-aarch64-linux-gnu libc6-dev-arm64-cross)
command -v qemu-aarch64 >/dev/null || needed+=(qemu-user)
stock=$(rustup target list --installed 2>/dev/null | grep -x "$chip" || true)
if [ -z "$stock" ]; then
    [ -x /usr/bin/rustc ] || needed+=(rustc-web)
    [ -x /usr/bin/cargo ] || needed+=(cargo-web)
    [ -d "$(/usr/bin/rustc --print sysroot 2>/dev/null || true)/lib/rustlib/src/rust/library" ] || needed+=(rust-web-src)
fi
if [ ${#needed[@]} -gt 0 ]; then
    echo "installing: ${needed[*]}"
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${needed[@]}" >/dev/null
fi
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_LINKER=aarch64-linux-gnu-gcc
# As the tests are built: checked arithmetic, and on this machine nothing that they have not compiled already.
build=(build --quiet --locked --package landfall-arm64 --target "$chip" --target-dir "$folder")
if [ -n "$stock" ]; then
    cargo "${build[@]}"
else
    RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc /usr/bin/cargo "${build[@]}" -Z build-std=std,panic_unwind
fi
LANDFALL_HERE=$folder/here.txt cargo test --quiet --locked --workspace --test here
qemu-aarch64 -L /usr/aarch64-linux-gnu "$folder/$chip/debug/landfall-arm64" >"$folder/there.txt"
diff "$folder/here.txt" "$folder/there.txt"
echo "64-bit Arm in QEMU, the same bits: $(tail -n 1 "$folder/there.txt")"
