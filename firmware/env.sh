# Sourced by prove.sh: how to build for bare-metal Arm on this machine.
#
# With rustup's targets the stock toolchain is used. Where they cannot be had, Debian's rustc-web,
# cargo-web and rust-web-src build the core library on the way.
TARGETS="thumbv6m-none-eabi thumbv7em-none-eabihf"
installed=$(rustup target list --installed 2>/dev/null || true)
have_targets() { for t in $TARGETS; do case " $(echo $installed) " in *" $t "*) ;; *) return 1 ;; esac; done; }

if have_targets; then
    bare_cargo() { cargo "$@"; }
    BARE_RUSTC=rustc
else
    lld=$(find "$(rustc --print sysroot 2>/dev/null)/lib/rustlib" -name rust-lld 2>/dev/null | head -n 1)
    lld=${lld:-ld.lld}
    bare_cargo() {
        RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc \
        CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER=$lld CARGO_TARGET_THUMBV7EM_NONE_EABIHF_LINKER=$lld \
            /usr/bin/cargo "$@" -Z build-std=core
    }
    BARE_RUSTC=/usr/bin/rustc
fi
export DEFMT_LOG=${DEFMT_LOG:-info}
