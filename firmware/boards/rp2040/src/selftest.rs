//! The box's tests of itself, a slice between two steps: the program in flash, the memory that nothing uses, the clocks.
//!
//! The watchdog of this chip counts the crystal's ticks, so it has no clock of its own: the only other one is the ring
//! oscillator, which is coarse. The frequency counter counts the processor's clock and the ring's against the crystal.

use crate::clocks::CLOCK_HZ;
use crate::flash;
use landfall_core::watch::selftest::{Memory, SelfTest, Tested, clocks_believed};
use landfall_firmware::selftest::{MemoryCheck, ProgramCheck};
use rp2040_pac as pac;

/// What `firmware/seal.py` looks for and writes to.
#[repr(C)]
struct Seal {
    mark: [u8; 16],
    length: u32,
    sum: u32,
}

#[used]
static SEAL: Seal = Seal { mark: *b"landfall's seal\0", length: u32::MAX, sum: u32::MAX };

unsafe extern "C" {
    /// End of what is linked into memory.
    static mut __sheap: u32;
    /// End of memory, where the stack begins.
    static mut _stack_start: u32;
}

/// Left to the stack, bytes: more than it is deep while memory is tried, which is never within a computation.
const STACK: usize = 8 * 1024;
/// Slices in which a count must be over.
const PATIENCE: u8 = 50;

/// Memory between the statics and the stack.
struct Unused {
    from: usize,
    words: usize,
}

impl Unused {
    fn new() -> Self {
        let from = (&raw const __sheap) as usize;
        let to = ((&raw const _stack_start) as usize).saturating_sub(STACK);
        Self { from, words: to.saturating_sub(from) / 4 }
    }
}

impl Memory for Unused {
    fn read(&self, at: usize) -> u32 {
        // SAFETY: within the memory that nothing uses, aligned.
        if at < self.words { unsafe { ((self.from + 4 * at) as *const u32).read_volatile() } } else { 0 }
    }

    fn write(&mut self, at: usize, word: u32) {
        if at < self.words {
            // SAFETY: as above.
            unsafe { ((self.from + 4 * at) as *mut u32).write_volatile(word) };
        }
    }
}

/// What is being counted.
#[derive(Clone, Copy, PartialEq)]
enum Counting {
    Nothing,
    Processor(u8),
    Ring(u8, u32),
    Over,
}

/// The tests.
pub struct Tests {
    found: SelfTest,
    program: ProgramCheck,
    memory: MemoryCheck,
    counting: Counting,
}

impl Tests {
    /// None done yet.
    pub const fn new() -> Self {
        Self {
            found: SelfTest::PENDING,
            program: ProgramCheck::new(),
            memory: MemoryCheck::new(),
            counting: Counting::Nothing,
        }
    }

    /// The next slice, at most 2 ms; what is found so far.
    #[inline(never)]
    pub fn slice(&mut self) -> SelfTest {
        if self.found.program == Tested::Pending {
            let seal_at = (&raw const SEAL.length) as usize - flash::MAPPED as usize;
            self.found.program = self.program.slice(flash::program(), seal_at);
        }
        if self.found.memory == Tested::Pending {
            let mut unused = Unused::new();
            let words = unused.words;
            self.found.memory = self.memory.slice(&mut unused, words);
        }
        self.count();
        self.found
    }

    /// All are over.
    pub fn over(&self) -> bool {
        self.found.over()
    }

    fn count(&mut self) {
        // SAFETY: the counter's registers are used here alone.
        let clocks = unsafe { &*pac::CLOCKS::ptr() };
        let counted =
            || clocks.fc0_status().read().done().bit_is_set().then(|| clocks.fc0_result().read().khz().bits());
        self.counting = match self.counting {
            Counting::Nothing => {
                // SAFETY: these fields take any value that fits: 12 MHz, no bounds, 2 ms a count.
                unsafe {
                    clocks.fc0_ref_khz().write(|w| w.bits(12_000));
                    clocks.fc0_min_khz().write(|w| w.bits(0));
                    clocks.fc0_max_khz().write(|w| w.bits(0x1FF_FFFF));
                    clocks.fc0_interval().write(|w| w.bits(11));
                }
                clocks.fc0_src().write(|w| w.fc0_src().clk_sys());
                Counting::Processor(0)
            }
            Counting::Processor(tried) => match counted() {
                Some(khz) => {
                    clocks.fc0_src().write(|w| w.fc0_src().rosc_clksrc());
                    Counting::Ring(0, khz)
                }
                None if tried < PATIENCE => Counting::Processor(tried + 1),
                None => self.counted(0, 0),
            },
            Counting::Ring(tried, processor_khz) => match counted() {
                Some(khz) => self.counted(processor_khz, khz),
                None if tried < PATIENCE => Counting::Ring(tried + 1, processor_khz),
                None => self.counted(processor_khz, 0),
            },
            Counting::Over => Counting::Over,
        };
    }

    fn counted(&mut self, processor_khz: u32, ring_khz: u32) -> Counting {
        let good = clocks_believed(processor_khz, CLOCK_HZ / 1000, ring_khz);
        self.found.clock = if good { Tested::Good } else { Tested::Failed };
        Counting::Over
    }
}
