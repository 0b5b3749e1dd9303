#!/usr/bin/env bash
# Makes what somebody without Rust installs: `bash host-cli/release.sh [FOLDER]`, by default into target/release-VERSION.
#
#   landfall_VERSION_ARCH.deb           the command with the page's module in it, manual pages, completions, licences
#   landfall-VERSION-linux-ARCH.tar.gz  the same without a package manager
#   landfall-box-VERSION-rp2040.uf2     the box's program, to be copied onto the board's drive; .elf for a probe
#   landfall-VERSION.cdx.json           the bill of materials (CycloneDX)
#   SHA256SUMS
#
# With --twice it is all made a second time from a clone in another folder, and every byte is compared. What a release is made
# of is what is committed: a changed work tree is refused. Installs nothing but the converter to UF2 (a Rust package).
set -euo pipefail
cd "$(dirname "$0")/.."
root=$PWD
die() { echo "error: $*" >&2; exit 1; }

twice=no
[ "${1:-}" = --twice ] && twice=yes && shift
version=$(sed -n 's/^version = "\(.*\)"$/\1/p' Cargo.toml | head -n 1)
into=$(realpath -m "${1:-target/release-$version}")
grep -qx "## $version" CHANGELOG.md || die "CHANGELOG.md has no heading \"## $version\""
[ ! -e "$into" ] || die "$into is there already; name another folder, or take it away"
[ -z "$(git status --porcelain --untracked-files=no)" ] || die "the work tree has changes: commit them first"
for tool in dpkg-deb dpkg strip gzip sha256sum; do command -v "$tool" >/dev/null || die "$tool is missing: apt-get install dpkg-dev binutils"; done

# The commit's own time stands for all times; no folder of this machine stands in a program.
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH LC_ALL=C TZ=UTC
umask 022
arch=$(dpkg --print-architecture)
work=$root/target/release-made
cargo fetch --quiet --locked
flags="--remap-path-prefix=$root=landfall"
for registry in "${CARGO_HOME:-$HOME/.cargo}"/registry/src/*; do flags+=" --remap-path-prefix=$registry=registry"; done
cc_flags="-ffile-prefix-map=$root=landfall -ffile-prefix-map=${CARGO_HOME:-$HOME/.cargo}=registry"

echo "the command"
RUSTFLAGS="$flags" CFLAGS="$cc_flags" cargo build --quiet --release --locked --bin landfall --target-dir "$work"
rm -rf "$work/tree" "$work/deb"
tree=$work/tree/landfall-$version
mkdir -p "$tree/bin" "$tree/share/man/man1" "$tree/share/doc/landfall" "$into"
cp "$work/release/landfall" "$tree/bin/landfall"
strip --strip-all "$tree/bin/landfall"
"$tree/bin/landfall" page --demo --output "$work/page.html" >"$work/page.txt" 2>&1 ||
    die "this command makes no page: renew the module with \`bash host-cli/page-wasm/build.sh --keep\` and commit it ($(tail -n 1 "$work/page.txt"))"
rm -f "$work/page.html"
"$tree/bin/landfall" man --folder "$tree/share/man/man1" >/dev/null
gzip -n -9 "$tree"/share/man/man1/*
mkdir -p "$tree/share/bash-completion/completions" "$tree/share/zsh/vendor-completions" "$tree/share/fish/vendor_completions.d"
"$tree/bin/landfall" completions bash >"$tree/share/bash-completion/completions/landfall"
"$tree/bin/landfall" completions zsh >"$tree/share/zsh/vendor-completions/_landfall"
"$tree/bin/landfall" completions fish >"$tree/share/fish/vendor_completions.d/landfall.fish"
cp README.md CHANGELOG.md LICENSE-APACHE LICENSE-MIT "$tree/share/doc/landfall/"
python3 tests/bill.py >"$into/landfall-$version.cdx.json"
cp "$into/landfall-$version.cdx.json" "$tree/share/doc/landfall/bill-of-materials.cdx.json"
cat >"$tree/share/doc/landfall/copyright" <<END
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/
Upstream-Name: landfall

Files: *
Copyright: the Landfall contributors
License: MIT or Apache-2.0
 The texts are beside this file as LICENSE-MIT and LICENSE-APACHE; those of what the
 program is built from are named, package by package, in bill-of-materials.cdx.json.
END
find "$work/tree" -exec touch --no-dereference --date="@$SOURCE_DATE_EPOCH" {} +
tar --directory "$work/tree" --sort=name --format=ustar --owner=0 --group=0 --numeric-owner --mtime="@$SOURCE_DATE_EPOCH" \
    --create "landfall-$version" | gzip -n -9 >"$into/landfall-$version-linux-$arch.tar.gz"

echo "the package"
deb=$work/deb
mkdir -p "$deb/DEBIAN" "$deb/usr"
cp -a "$tree/." "$deb/usr/"
# The C library's newest symbol that the program asks for.
needs=$(objdump -T "$deb/usr/bin/landfall" | grep -o 'GLIBC_[0-9.]*' | sort -uV | tail -n 1 | cut -d_ -f2)
cat >"$deb/DEBIAN/control" <<END
Package: landfall
Version: $version
Architecture: $arch
Maintainer: the Landfall contributors <landfall@localhost>
Installed-Size: $(du -sk --apparent-size "$deb/usr" | cut -f1)
Depends: libc6 (>= $needs), libgcc-s1
Section: science
Priority: optional
Description: plan, place and check a roll-in, a take-off and a landing bag
 Says before anyone rides how high the roll-in must be, what the ramp does, where
 every plausible try comes down, where the bag must stand, whether its air stops a
 body before the ground, and how fast it goes soft when the power fails.
 It judges nothing that was not put in.
END
find "$deb" -exec touch --no-dereference --date="@$SOURCE_DATE_EPOCH" {} +
dpkg-deb --root-owner-group -Zxz --build "$deb" "$into/landfall_${version}_$arch.deb" >/dev/null

echo "the box's program"
tool=$root/target/tools/bin/elf2uf2-rs
[ -x "$tool" ] || cargo install --quiet --locked --version 2.2.0 --no-default-features --root target/tools elf2uf2-rs
. firmware/env.sh
# The boards are a workspace of their own, and the compiler names what lies outside it by its folder on the machine: it is always
# built in the same one.
place=/tmp/landfall-box-source
[ ! -e "$place" ] || die "$place is there already; take it away"
trap 'rm -rf "$place"' EXIT
git clone --quiet --no-hardlinks "$root" "$place"
git -C "$place" checkout --quiet "$(git rev-parse HEAD)"
flags+=" --remap-path-prefix=$place=landfall"
(cd "$place/firmware/boards" && RUSTFLAGS="$flags" bare_cargo build --quiet --release --locked --target-dir "$place/target" -p landfall-rp2040 --target thumbv6m-none-eabi)
elf=$into/landfall-box-$version-rp2040.elf
cp "$place/target/thumbv6m-none-eabi/release/landfall-rp2040" "$elf"
rm -rf "$place"
python3 firmware/seal.py "$elf"
"$tool" "$elf" "${elf%.elf}.uf2" >/dev/null 2>&1 || "$tool" convert "$elf" "${elf%.elf}.uf2"
(cd "$into" && sha256sum -- * >SHA256SUMS)
(cd "$into" && sha256sum --quiet --check SHA256SUMS && ls -l)

if [ "$twice" = yes ]; then
    echo "once more, elsewhere"
    there=$(mktemp -d)
    trap 'rm -rf "$there"' EXIT
    git clone --quiet --no-hardlinks "$root" "$there/again"
    git -C "$there/again" checkout --quiet "$(git rev-parse HEAD)"
    mkdir -p "$there/again/target"
    [ ! -d target/tools ] || cp -a target/tools "$there/again/target/tools"
    bash "$there/again/host-cli/release.sh" "$there/made" >/dev/null
    diff -r "$into" "$there/made" && echo "the same bytes"
fi
