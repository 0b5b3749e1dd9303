//! Settings and log in the flash that the program runs from.
//!
//! The boot ROM has routines for this, but they end with the ROM's slow read mode and need a call back
//! into the boot stage; here one routine in RAM speaks to the flash through the serial interface itself.
//! That is simple because the boot stage is the plain one (command 0x03): the flash never is in a mode
//! that must be left first, any serial NOR flash will do, and afterwards three registers are put back.
//! While the routine runs nothing may touch the flash: interrupts are off, and the routine calls nothing. It sleeps
//! between two looks at the flash, woken by the timer's first alarm, whose handler does not run meanwhile.
//!
//! Proven in emulation with a model of interface and flash (`firmware/emulator`), where an instruction
//! fetched from flash meanwhile is an error. Not proven: on silicon.

use core::arch::asm;
use core::ptr::{read_volatile, write_volatile};
use embedded_storage::nor_flash::{
    ErrorType, MultiwriteNorFlash, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Sectors set aside: 2 for settings, 192 for the log, a third of them for landings.
const SECTORS: usize = 194;
const SECTOR: usize = 4096;
const PAGE: usize = 256;
/// Where they begin in the flash: at its end.
const BEGIN: u32 = 2 * 1024 * 1024 - (SECTORS * SECTOR) as u32;
/// The flash as memory.
pub const MAPPED: u32 = 0x1000_0000;

/// The flash before settings and log, which holds the program.
pub fn program() -> &'static [u8] {
    // SAFETY: it can be read at any time but while the routine below runs, and it never changes.
    unsafe { core::slice::from_raw_parts(MAPPED as *const u8, BEGIN as usize) }
}

const WRITE_ENABLE: u8 = 0x06;
const READ_STATUS: u8 = 0x05;
const PROGRAM: u8 = 0x02;
const ERASE_4K: u8 = 0x20;

/// Longest waits, µs: the slowest parts erase in 400 ms and program in 3 ms.
const ERASE_US: u32 = 600_000;
const PROGRAM_US: u32 = 10_000;
/// Between two looks at a busy flash, µs.
const LOOK_US: u32 = 50;

/// A failed flash operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// Outside the region, or not on the needed boundary.
    Place,
    /// The flash did not become ready.
    Busy,
}

impl NorFlashError for Error {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Place => NorFlashErrorKind::OutOfBounds,
            Self::Busy => NorFlashErrorKind::Other,
        }
    }
}

mod register {
    pub const CTRLR0: *mut u32 = 0x1800_0000 as *mut u32;
    pub const CTRLR1: *mut u32 = 0x1800_0004 as *mut u32;
    pub const SSIENR: *mut u32 = 0x1800_0008 as *mut u32;
    pub const SER: *mut u32 = 0x1800_0010 as *mut u32;
    pub const SR: *mut u32 = 0x1800_0028 as *mut u32;
    pub const DR0: *mut u32 = 0x1800_0060 as *mut u32;
    pub const SPI_CTRLR0: *mut u32 = 0x1800_00F4 as *mut u32;
    /// Control of the chip select pin; bits 9:8 override its output.
    pub const SS_CTRL: *mut u32 = 0x4001_800C as *mut u32;
    pub const XIP_FLUSH: *mut u32 = 0x1400_0004 as *mut u32;
    pub const TIMERAWL: *mut u32 = 0x4005_4028 as *mut u32;
    /// First alarm, and the flags of all.
    pub const ALARM0: *mut u32 = 0x4005_4010 as *mut u32;
    pub const TIMER_INTR: *mut u32 = 0x4005_4034 as *mut u32;
    /// Takes back pending interrupts; bit 0 is that of the first alarm.
    pub const NVIC_ICPR: *mut u32 = 0xE000_E280 as *mut u32;
}

/// The serial interface busy and its receive queue not empty.
const SR_BUSY: u32 = 1;
const SR_RFNE: u32 = 1 << 3;
/// Plain serial, eight bits a frame, send and receive.
const CTRLR0_BYTES: u32 = 7 << 16;

/// Sends `command` at `address` with `length` bytes from `data` and waits until the flash is ready.
/// Runs from RAM. True if it became ready within `wait_us`.
///
/// # Safety
/// Interrupts are off and the timer's first alarm may wake; `data` is in RAM and `length` bytes long; nothing else uses
/// the flash or the alarm.
#[unsafe(link_section = ".data.flash_operate")]
#[inline(never)]
unsafe extern "C" fn operate(command: u32, address: u32, data: *const u8, length: u32, wait_us: u32) -> bool {
    use register::{ALARM0, CTRLR0, CTRLR1, DR0, NVIC_ICPR, SER, SPI_CTRLR0, SR, SS_CTRL, SSIENR};
    use register::{TIMER_INTR, TIMERAWL, XIP_FLUSH};
    // All bodies are spliced in: a call would leave RAM.
    macro_rules! select {
        ($on:expr) => {{
            let level = if $on { 2 << 8 } else { 3 << 8 };
            write_volatile(SS_CTRL, (read_volatile(SS_CTRL) & !(3 << 8)) | level);
            let _ = read_volatile(SS_CTRL); // the write has arrived
        }};
    }
    macro_rules! exchange {
        ($byte:expr) => {{
            write_volatile(DR0, u32::from($byte));
            let mut left = 10_000_u32;
            while read_volatile(SR) & SR_RFNE == 0 && left > 0 {
                left -= 1;
            }
            read_volatile(DR0) as u8
        }};
    }
    // SAFETY: device registers, and `data` as promised by the caller.
    unsafe {
        let mut left = 10_000_u32;
        while read_volatile(SR) & SR_BUSY != 0 && left > 0 {
            left -= 1;
        }
        let before = (read_volatile(CTRLR0), read_volatile(CTRLR1), read_volatile(SPI_CTRLR0));
        write_volatile(SSIENR, 0);
        write_volatile(CTRLR0, CTRLR0_BYTES);
        write_volatile(CTRLR1, 0);
        write_volatile(SER, 1);
        write_volatile(SSIENR, 1);

        select!(true);
        exchange!(WRITE_ENABLE);
        select!(false);

        select!(true);
        exchange!(command as u8);
        exchange!((address >> 16) as u8);
        exchange!((address >> 8) as u8);
        exchange!(address as u8);
        let mut index = 0;
        while index < length {
            exchange!(read_volatile(data.add(index as usize)));
            index += 1;
        }
        select!(false);

        let begin = read_volatile(TIMERAWL);
        let mut ready = false;
        while !ready && read_volatile(TIMERAWL).wrapping_sub(begin) < wait_us {
            // Pending is enough to end WFI with interrupts off. The flag is taken back before anybody could act on it.
            write_volatile(ALARM0, read_volatile(TIMERAWL).wrapping_add(LOOK_US));
            asm!("dsb", "wfi", options(nomem, nostack, preserves_flags));
            write_volatile(TIMER_INTR, 1);
            write_volatile(NVIC_ICPR, 1);
            select!(true);
            exchange!(READ_STATUS);
            ready = exchange!(0_u8) & 1 == 0;
            select!(false);
        }

        write_volatile(SSIENR, 0);
        write_volatile(CTRLR0, before.0);
        write_volatile(CTRLR1, before.1);
        write_volatile(SPI_CTRLR0, before.2);
        write_volatile(SSIENR, 1);
        write_volatile(SS_CTRL, read_volatile(SS_CTRL) & !(3 << 8));
        // What the cache holds may be old now. Reading the register back waits until it is empty.
        write_volatile(XIP_FLUSH, 1);
        let _ = read_volatile(XIP_FLUSH);
        ready
    }
}

/// The region for settings and log.
pub struct Region(());

impl Region {
    /// The region. Make only one.
    pub const fn new() -> Self {
        Self(())
    }

    fn place(offset: u32, length: usize) -> Result<u32, Error> {
        let end = (offset as usize).checked_add(length).ok_or(Error::Place)?;
        if end <= SECTORS * SECTOR { Ok(BEGIN + offset) } else { Err(Error::Place) }
    }
}

fn run(command: u8, address: u32, data: &[u8], wait_us: u32) -> Result<(), Error> {
    let done = cortex_m::interrupt::free(|_| {
        // SAFETY: interrupts are off, the second core never starts, nobody sleeps on the alarm while this runs, and
        // `data` is the caller's RAM.
        unsafe { operate(u32::from(command), address, data.as_ptr(), data.len() as u32, wait_us) }
    });
    if done { Ok(()) } else { Err(Error::Busy) }
}

impl ErrorType for Region {
    type Error = Error;
}

impl ReadNorFlash for Region {
    const READ_SIZE: usize = 1;

    #[inline(never)]
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error> {
        let from = Self::place(offset, bytes.len())? + MAPPED;
        for (index, byte) in bytes.iter_mut().enumerate() {
            // SAFETY: within the region, which is mapped as memory. Volatile, as it changes under the compiler.
            *byte = unsafe { read_volatile((from as usize + index) as *const u8) };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        SECTORS * SECTOR
    }
}

impl NorFlash for Region {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Error> {
        let length = to.checked_sub(from).ok_or(Error::Place)? as usize;
        if !(from as usize).is_multiple_of(SECTOR) || !length.is_multiple_of(SECTOR) {
            return Err(Error::Place);
        }
        let address = Self::place(from, length)?;
        for sector in 0..length / SECTOR {
            run(ERASE_4K, address + (sector * SECTOR) as u32, &[], ERASE_US)?;
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error> {
        let mut address = Self::place(offset, bytes.len())?;
        let mut rest = bytes;
        while !rest.is_empty() {
            // Up to the end of the page, from a copy in RAM: the bytes may be constants in flash.
            let room = PAGE - address as usize % PAGE;
            let (now, later) = rest.split_at_checked(room.min(rest.len())).ok_or(Error::Place)?;
            let mut page = [0; PAGE];
            let page = page.get_mut(..now.len()).ok_or(Error::Place)?;
            page.copy_from_slice(now);
            run(PROGRAM, address, page, PROGRAM_US)?;
            address += now.len() as u32;
            rest = later;
        }
        Ok(())
    }
}

impl MultiwriteNorFlash for Region {}
