//! Logs over defmt: a ring in RAM, emptied into UART1 between steps. Drops what does not fit and
//! never waits.

use crate::uart::Uart;
use core::cell::UnsafeCell;

const SIZE: usize = 512;

struct Ring {
    encoder: defmt::Encoder,
    bytes: [u8; SIZE],
    write: usize,
    read: usize,
    taken: bool,
    interrupts_were_on: bool,
}

struct Shared(UnsafeCell<Ring>);
// SAFETY: touched with interrupts masked only, on the one core that runs.
unsafe impl Sync for Shared {}

static RING: Shared = Shared(UnsafeCell::new(Ring {
    encoder: defmt::Encoder::new(),
    bytes: [0; SIZE],
    write: 0,
    read: 0,
    taken: false,
    interrupts_were_on: false,
}));

#[defmt::global_logger]
struct Logger;

fn push(bytes: &[u8]) {
    let ring = RING.0.get();
    for byte in bytes {
        // SAFETY: between `acquire` and `release`, so with interrupts masked.
        unsafe {
            let next = ((*ring).write + 1) % SIZE;
            if next == (*ring).read {
                continue; // the frame is lost; the decoder finds the next one
            }
            (&raw mut (*ring).bytes).cast::<u8>().add((*ring).write % SIZE).write(*byte);
            (*ring).write = next;
        }
    }
}

// SAFETY: `acquire` masks interrupts, `release` restores them.
unsafe impl defmt::Logger for Logger {
    fn acquire() {
        let were_on = cortex_m::register::primask::read().is_active();
        cortex_m::interrupt::disable();
        let ring = RING.0.get();
        // SAFETY: interrupts are masked.
        unsafe {
            if (*ring).taken {
                return;
            }
            (*ring).taken = true;
            (*ring).interrupts_were_on = were_on;
            (*ring).encoder.start_frame(push);
        }
    }

    unsafe fn flush() {}

    unsafe fn release() {
        let ring = RING.0.get();
        // SAFETY: interrupts are masked since `acquire`.
        unsafe {
            (*ring).encoder.end_frame(push);
            (*ring).taken = false;
            if (*ring).interrupts_were_on {
                cortex_m::interrupt::enable();
            }
        }
    }

    unsafe fn write(bytes: &[u8]) {
        // SAFETY: as above.
        unsafe { (*RING.0.get()).encoder.write(bytes, push) }
    }
}

defmt::timestamp!("{=u64:us}", crate::time::now_us());

/// What a failed assertion inside defmt does; none is used.
#[defmt::panic_handler]
fn stop() -> ! {
    crate::halt::halt()
}

/// Moves what fits into the UART's queue.
pub fn drain(uart: &mut Uart) {
    let ring = RING.0.get();
    for _ in 0..32 {
        let byte = cortex_m::interrupt::free(|_| {
            // SAFETY: interrupts are masked.
            unsafe {
                let at = (*ring).read;
                (at != (*ring).write).then(|| (&raw const (*ring).bytes).cast::<u8>().add(at % SIZE).read())
            }
        });
        let Some(byte) = byte else { return };
        if !uart.put(byte) {
            return;
        }
        cortex_m::interrupt::free(|_| {
            // SAFETY: interrupts are masked.
            unsafe { (*ring).read = ((*ring).read + 1) % SIZE }
        });
    }
}
