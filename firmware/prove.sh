#!/bin/bash
# Proves what can be proven of the firmware without a board. One line per check, a closing count, exit
# code 0 if all hold. Installs what is missing (Debian packages, one npm package).
set -uo pipefail
cd "$(dirname "$0")"
work=$PWD/emulator/build
mkdir -p "$work"
passed=0 failed=0
good() { passed=$((passed + 1)); echo "pass  $1"; }
bad() { failed=$((failed + 1)); echo "FAIL  $1"; }
check() { local what=$1; shift; if "$@"; then good "$what"; else bad "$what"; fi; }
begin=$SECONDS
note() { echo "--    $* ($((SECONDS - begin)) s)"; }

# --- tools
packages=()
command -v arm-none-eabi-objdump >/dev/null || packages+=(binutils-arm-none-eabi)
command -v qemu-system-arm >/dev/null || packages+=(qemu-system-arm)
. ./env.sh
if ! have_targets; then
    for t in $TARGETS; do timeout 20 rustup target add "$t" >/dev/null 2>&1 || true; done
    installed=$(rustup target list --installed 2>/dev/null)
    . ./env.sh
fi
command -v node >/dev/null || packages+=(nodejs npm)
if ! have_targets && ! [ -x /usr/bin/cargo ]; then packages+=(rustc-web cargo-web rust-web-src); fi
if ! have_targets && [ "$lld" = ld.lld ]; then packages+=(lld); fi
if [ ${#packages[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq && $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${packages[@]}" >/dev/null || exit 1
fi
. ./env.sh
note "tools: $($BARE_RUSTC --version)"

# What runs on this machine: the planner, and the core's results beside the chips'. They are built as the workspace's tests are:
# any other form compiles everything anew. Where another compiler is at that already, this waits for it.
host=${CARGO_TARGET_DIR:-$(cd .. && pwd)/target}
host_cargo() { (unset RUSTFLAGS RUSTC_BOOTSTRAP; cd .. && cargo "$@"); }
host_cargo test --workspace -q --no-run >"$work/host-build.txt" 2>&1 &
host_build=$!
sites=$(grep -c '^    Site {' agree/src/sites.in)

# One set of flags for all, so that nothing is built twice. The frame sizes do not change the code.
export RUSTC_BOOTSTRAP=1 RUSTFLAGS="-Z emit-stack-sizes"

# --- the core on both chips, with each set of features; the images make code of it
for target in $TARGETS; do
    for features in "" serde defmt serde,defmt; do
        check "core compiles for $target with features ${features:-none}" \
            bare_cargo check -q --release --manifest-path ../Cargo.toml --target-dir boards/target -p landfall-core --target "$target" --features "$features"
    done
done
note "core"

# --- the images. The released RP2040 image is the one that links only without panic paths.
build() { (cd boards && bare_cargo build -q --release --locked "$@"); }
check "RP2040 image links: it holds no panic path" build -p landfall-rp2040 --target thumbv6m-none-eabi
image=boards/target/thumbv6m-none-eabi/release/landfall-rp2040
cp "$image" "$work/rp2040.elf"
check "it is sealed with its length and checksum" python3 seal.py "$work/rp2040.elf"
arm-none-eabi-objcopy -O binary "$work/rp2040.elf" "$work/rp2040.bin" || exit 1
check "so does the one with logs" build -p landfall-rp2040 --target thumbv6m-none-eabi --features log
cp "$image" "$work/rp2040-log.elf"
check "and sealed" python3 seal.py "$work/rp2040-log.elf"
check "the one with the advisory links without panic paths" build -p landfall-rp2040 --target thumbv6m-none-eabi --features advisory
cp "$image" "$work/rp2040-advisory.elf"
check "and is sealed" python3 seal.py "$work/rp2040-advisory.elf"
arm-none-eabi-objcopy -O binary "$work/rp2040-advisory.elf" "$work/rp2040-advisory.bin" || exit 1
check "the one with the line to the top links without panic paths" build -p landfall-rp2040 --target thumbv6m-none-eabi --features top
cp "$image" "$work/rp2040-top.elf"
check "and is sealed as well" python3 seal.py "$work/rp2040-top.elf"
arm-none-eabi-objcopy -O binary "$work/rp2040-top.elf" "$work/rp2040-top.bin" || exit 1
check "and the one with both" build -p landfall-rp2040 --target thumbv6m-none-eabi --features advisory,top
cp "$image" "$work/rp2040-both.elf"
check "and is sealed too" python3 seal.py "$work/rp2040-both.elf"
arm-none-eabi-objcopy -O binary "$work/rp2040-both.elf" "$work/rp2040-both.bin" || exit 1
check "so does that of the board at the top" build -p landfall-signal --target thumbv6m-none-eabi
cp boards/target/thumbv6m-none-eabi/release/landfall-signal "$work/signal.elf" && arm-none-eabi-objcopy -O binary "$work/signal.elf" "$work/signal.bin" || exit 1
check "Cortex-M4F image builds" build -p landfall-m4f --target thumbv7em-none-eabihf
for chip in rp2040:thumbv6m-none-eabi m0:thumbv6m-none-eabi m4f:thumbv7em-none-eabihf; do
    check "the core's results for ${chip%:*} build" build -p landfall-agree-board --target "${chip#*:}" --features "${chip%:*}"
    cp "boards/target/${chip#*:}/release/landfall-agree-board" "$work/agree-${chip%:*}.elf" || exit 1
done
arm-none-eabi-objcopy -O binary "$work/agree-rp2040.elf" "$work/agree-rp2040.bin"
note "images"

# --- lints, where the stock toolchain has the targets (Debian's brings no clippy for them)
if have_targets; then
    lint() { (cd boards && cargo clippy -q --release --locked "$@" -- -D warnings); }
    check "no clippy warning in the RP2040 board" lint -p landfall-rp2040 --target thumbv6m-none-eabi --features log
    check "nor with the advisory" lint -p landfall-rp2040 --target thumbv6m-none-eabi --features advisory
    check "nor with the line to the top, nor in the board there" lint -p landfall-rp2040 -p landfall-signal --target thumbv6m-none-eabi --features landfall-rp2040/top
    check "nor in the Cortex-M4F's and the comparison" \
        lint -p landfall-m4f -p landfall-agree-board --target thumbv7em-none-eabihf --features landfall-agree-board/m4f
    note "lints"
fi

# --- sizes, stack, and the routine that runs while the flash is away
static_of() { arm-none-eabi-size -A "$work/$1.elf" | awk '$1 == ".data" || $1 == ".bss" || $1 == ".uninit" { sum += $2 } END { print sum }'; }
flash=$(stat -c %s "$work/rp2040.bin")
static=$(static_of rp2040)
echo "--    flash $flash bytes of 65536; static RAM $static bytes"
check "flash at most 64 KiB" [ "$flash" -le 65536 ]
check "static RAM and worst-case stack at most 8 KiB" \
    python3 stack.py "$work/rp2040.elf" Reset TIMER_IRQ_0 --static "$static" --budget 8192 --ram 262144
flash_advisory=$(stat -c %s "$work/rp2040-advisory.bin")
static_advisory=$(static_of rp2040-advisory)
echo "--    with the advisory: flash $flash_advisory bytes of 163840; static RAM $static_advisory bytes"
check "with the advisory: flash at most 160 KiB" [ "$flash_advisory" -le 163840 ]
check "with the advisory: static RAM and worst-case stack at most 16 KiB" \
    python3 stack.py "$work/rp2040-advisory.elf" Reset TIMER_IRQ_0 TIMER_IRQ_1 --static "$static_advisory" --budget 16384 --ram 262144
flash_both=$(stat -c %s "$work/rp2040-both.bin") static_both=$(static_of rp2040-both)
echo "--    with the advisory and the line to the top: flash $flash_both bytes of 163840; static RAM $static_both bytes"
check "with both: flash at most 160 KiB" [ "$flash_both" -le 163840 ]
check "with both: static RAM and worst-case stack at most 16 KiB" \
    python3 stack.py "$work/rp2040-both.elf" Reset TIMER_IRQ_0 TIMER_IRQ_1 --static "$static_both" --budget 16384 --ram 262144
flash_top=$(stat -c %s "$work/rp2040-top.bin") flash_signal=$(stat -c %s "$work/signal.bin")
static_top=$(static_of rp2040-top) static_signal=$(static_of signal)
echo "--    with the line to the top: flash $flash_top bytes of 73728; static RAM $static_top bytes"
check "with the line to the top: flash at most 72 KiB" [ "$flash_top" -le 73728 ]
check "with the line to the top: static RAM and worst-case stack at most 8 KiB" \
    python3 stack.py "$work/rp2040-top.elf" Reset TIMER_IRQ_0 --static "$static_top" --budget 8192 --ram 262144
echo "--    the board at the top: flash $flash_signal bytes of 16384; static RAM $static_signal bytes"
check "the board at the top: flash at most 16 KiB" [ "$flash_signal" -le 16384 ]
check "the board at the top: static RAM and worst-case stack at most 4 KiB" \
    python3 stack.py "$work/signal.elf" Reset TIMER_IRQ_0 --static "$static_signal" --budget 4096 --ram 262144
check "no panic function in the images" \
    sh -c "! { for name in rp2040 rp2040-advisory rp2040-top signal; do arm-none-eabi-nm -C '$work'/\$name.elf; done; } | grep -E 'core::panicking|panic_fmt|unwrap_failed|slice_index_fail'"
routine() { arm-none-eabi-objdump -d --no-show-raw-insn --section=.data --disassemble-all "$work/$1.elf" | awk '/^[0-9a-f]+ <.*flash.*operate/ { on = 1; next } /^$/ { on = 0 } on'; }
for name in rp2040 rp2040-advisory rp2040-top signal; do
    check "the flash routine of $name lies in RAM and calls nothing" \
        sh -c '[ "$(echo "$1" | wc -l)" -gt 50 ] && ! echo "$1" | grep -E "\sblx?\s" && ! echo "$1" | grep -E "\sb[a-z.]*\s+1[0-9a-f]{7}\b"' - "$(routine $name)"
done
note "static checks"

# --- the very image in the emulator, and the core's results, side by side
if ! [ -d emulator/node_modules/rp2040js ]; then (cd emulator && npm ci --silent) || exit 1; fi
(cd emulator && node run.mjs 1 >"$work/run1.txt" 2>"$work/time1.txt") &
(cd emulator && node run.mjs 2 >"$work/run2.txt" 2>"$work/time2.txt") &
(cd emulator && node agree.mjs "$work/agree-rp2040.bin" "$sites" >"$work/agree-rp2040.txt" 2>"$work/agree-cost.txt")
wait "$host_build" || { bad "the planner builds"; cat "$work/host-build.txt"; }
rm -f "$work/agree-host.txt"
LANDFALL_AGREE=$work/agree-host.txt host_cargo test --workspace -q --test table >"$work/agree-test.txt" 2>&1 || cat "$work/agree-test.txt"
touch "$work/agree-host.txt"
qemu() { timeout 300 qemu-system-arm -M "$1" -nographic -monitor none -serial none -semihosting -icount shift=5,sleep=off -kernel "$work/agree-$2.elf" | tee "$work/agree-$2.all" | grep -v '^end' >"$work/agree-$2.txt"; }
qemu microbit m0
qemu mps2-an386 m4f
same() { [ "$(wc -l <"$work/agree-$1.txt")" = "$sites" ] && diff "$work/agree-host.txt" "$work/agree-$1.txt"; }
# The table is held to the site files by the same test.
on_host() { [ "$(wc -l <"$work/agree-host.txt")" = "$sites" ] && ! grep -qE "FAILED|error" "$work/agree-test.txt" && grep -q "2 passed" "$work/agree-test.txt"; }
check "the core's results on the host: $sites sites, as their files say" on_host
check "Cortex-M0+ (rp2040js), all sites: the host's bits" same rp2040
check "Cortex-M0 (QEMU, 16 KiB of RAM), all sites: the host's bits" same m0
check "Cortex-M4F (QEMU), all sites: the host's bits" same m4f
# Of a site: three riders' spreads of 27 runs, placement, operating point, touch-downs, ride pressures, thresholds.
echo "--    advisory on the M0+: $(tail -n 1 "$work/agree-cost.txt")"
advisory_m0=$(sed -n 's/.*the longest, [^,]*, \([0-9]*\) cycles.*/\1/p' "$work/agree-cost.txt")
advisory_m4f=$(sed -n 's/^end of sites, the longest \([0-9]*\) instructions/\1/p' "$work/agree-m4f.all")
echo "--    advisory on the M4F: ${advisory_m4f:-?} instructions, image $(stat -c %s "$work/agree-rp2040.bin") bytes on the M0+ with all sites and without the watch"
check "advisory of the longest of all sites within 1 s at 125 MHz on the M0+" [ "${advisory_m0:-999999999}" -le 125000000 ]
check "and within 50 ms at 100 MHz, an instruction a clock, on the M4F" [ "${advisory_m4f:-999999999}" -le 5000000 ]
check "sums and products of floats in assembly: the library's bits" grep -q '^sums and products: 0 of' "$work/agree-cost.txt"
wait
for half in 1 2; do
    cat "$work/run$half.txt"
    read -r p f < <(awk '/passed, .* failed$/ { print $1, $3 }' "$work/run$half.txt" | tail -n 1)
    passed=$((passed + ${p:-0})) failed=$((failed + ${f:-1}))
done
deepest=$(awk '/deepest stack seen/ { print $5 }' "$work/run1.txt")
bound=$(python3 stack.py "$work/rp2040.elf" Reset TIMER_IRQ_0 | awk '/worst case/ { print $4 }')
check "deepest stack seen (${deepest:-?}) is within the computed bound ($bound)" [ "${deepest:-999999}" -le "${bound:-0}" ]
# --- the box's own thresholds against the planner's
IMAGE=$work/rp2040-advisory.bin LANDFALL=$host/debug/landfall node emulator/today.mjs | tee "$work/today.txt"
read -r p f < <(awk '/passed, .* failed$/ { print $1, $3 }' "$work/today.txt" | tail -n 1)
passed=$((passed + ${p:-0})) failed=$((failed + ${f:-1}))
deepest=$(awk '/deepest stack seen/ { print $5 }' "$work/today.txt")
bound=$(python3 stack.py "$work/rp2040-advisory.elf" Reset TIMER_IRQ_0 TIMER_IRQ_1 | awk '/worst case/ { print $4 }')
check "deepest stack seen with the advisory (${deepest:-?}) is within the computed bound ($bound)" [ "${deepest:-999999}" -le "${bound:-0}" ]
note "advisory"
# --- both programs on one line
IMAGE=$work/rp2040-top.bin SIGNAL=$work/signal.bin PLAIN=$work/rp2040.bin node emulator/signal.mjs | tee "$work/signal.txt"
read -r p f < <(awk '/passed, .* failed$/ { print $1, $3 }' "$work/signal.txt" | tail -n 1)
passed=$((passed + ${p:-0})) failed=$((failed + ${f:-1}))
deepest=$(awk '/deepest stack seen/ { print $8 }' "$work/signal.txt")
bound=$(python3 stack.py "$work/signal.elf" Reset TIMER_IRQ_0 | awk '/worst case/ { print $4 }')
check "deepest stack seen at the top (${deepest:-?}) is within the computed bound ($bound)" [ "${deepest:-999999}" -le "${bound:-0}" ]
note "the line to the top"
check "the image with logs logs" node emulator/log.mjs "$work/rp2040-log.elf"
note "emulated RP2040"

# --- Cortex-M4F
timeout 300 qemu-system-arm -M mps2-an386 -nographic -monitor none -serial none -semihosting -icount shift=5,sleep=off \
    -kernel boards/target/thumbv7em-none-eabihf/release/landfall-m4f | tee "$work/m4f.txt"
read -r p f < <(awk '/passed, .* failed$/ { print $1, $3 }' "$work/m4f.txt" | tail -n 1)
passed=$((passed + ${p:-0})) failed=$((failed + ${f:-1}))
note "emulated Cortex-M4F"

# --- counted work against what was landed
{
    sed -n 's/.*"instructions_mean":\([0-9]*\).*/rp2040_step_instructions_mean = \1/p; s/.*"instructions_max":\([0-9]*\).*/rp2040_step_instructions_most = \1/p; s/.*"cycles_max":\([0-9]*\).*/rp2040_step_cycles_most = \1/p' <(tr ',' '\n' <"$work/results.json")
    echo "rp2040_advisory_cycles = $advisory_m0"
    echo "m4f_advisory_instructions = $advisory_m4f"
    sed -n 's/.*longest step on the Cortex-M4F: about \([0-9]*\) instructions.*/m4f_step_instructions_most = \1/p' "$work/m4f.txt"
} >"$work/counts.toml"
check "counted work has not grown by more than 5 %" python3 ../tests/counts.py counts.toml ../CHANGELOG.md "$work/counts.toml"

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
