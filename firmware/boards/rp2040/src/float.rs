//! The run-time calls for sum and product of floats, on [`landfall_firmware::float`]: strong symbols in the place of
//! the compiler's weak ones. Floats are passed in ordinary registers on this processor, so as whole numbers here.
//!
//! The product of two normal numbers with a normal result is written in assembly (some 65 cycles instead of 105); all
//! else goes to the library. `boards/agree` compares the two on the emulated chip.

use landfall_firmware::float::{add, mul, sub};

#[unsafe(no_mangle)]
extern "C" fn __aeabi_fadd(a: u32, b: u32) -> u32 {
    add(a, b)
}

#[unsafe(no_mangle)]
extern "C" fn __aeabi_fsub(a: u32, b: u32) -> u32 {
    sub(a, b)
}

#[inline(never)]
extern "C" fn in_full(a: u32, b: u32) -> u32 {
    mul(a, b)
}

#[unsafe(no_mangle)]
#[unsafe(naked)]
extern "C" fn __aeabi_fmul(a: u32, b: u32) -> u32 {
    core::arch::naked_asm!(
        "push {{r4, r5, r6, lr}}",
        // Biased exponents, each 1 to 254.
        "lsls r2, r0, #1",
        "lsrs r2, r2, #24",
        "lsls r3, r1, #1",
        "lsrs r3, r3, #24",
        "subs r4, r2, #1",
        "cmp r4, #253",
        "bhi 9f",
        "subs r4, r3, #1",
        "cmp r4, #253",
        "bhi 9f",
        // That of the product if it is under 2; it must stay in 1 to 253, as it may go up by one.
        "adds r2, r2, r3",
        "subs r2, #127",
        "subs r4, r2, #1",
        "cmp r4, #252",
        "bhi 9f",
        "movs r4, r0",
        "eors r4, r1",
        "lsrs r4, r4, #31",
        "lsls r4, r4, #31",
        "mov r12, r4",
        // Mantissas at the top of a word, cut into 16 and 8 bits.
        "movs r4, #1",
        "lsls r4, r4, #31",
        "lsls r0, r0, #8",
        "orrs r0, r4",
        "lsls r1, r1, #8",
        "orrs r1, r4",
        "lsrs r3, r0, #16",
        "lsls r0, r0, #16",
        "lsrs r0, r0, #24",
        "lsrs r4, r1, #16",
        "lsls r1, r1, #16",
        "lsrs r1, r1, #24",
        "movs r5, r0",
        "muls r5, r1, r5",
        "muls r0, r4, r0",
        "muls r1, r3, r1",
        "muls r3, r4, r3",
        // The upper 32 bits of the product's 48, and whether any of the lower 16 is set in the last of them.
        "adds r0, r0, r1",
        "lsrs r1, r5, #8",
        "adds r0, r0, r1",
        "lsrs r1, r0, #8",
        "adds r3, r3, r1",
        "orrs r0, r5",
        "lsls r0, r0, #24",
        "beq 1f",
        "movs r0, #1",
        "orrs r3, r0",
        "1: cmp r3, #0",
        "bmi 2f",
        "lsls r3, r3, #1",
        "subs r2, #1",
        "2: lsls r2, r2, #23",
        // Round to nearest, ties to even.
        "lsrs r0, r3, #8",
        "bcc 4f",
        "lsls r3, r3, #25",
        "bne 3f",
        "lsrs r1, r0, #1",
        "bcc 4f",
        "3: adds r0, #1",
        "4: adds r0, r0, r2",
        "add r0, r12",
        "pop {{r4, r5, r6, pc}}",
        "9: bl {in_full}",
        "pop {{r4, r5, r6, pc}}",
        in_full = sym in_full,
    )
}
