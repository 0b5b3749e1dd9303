//! A bag, a sensor, a flash and a line that are only numbers, for a box that runs in an emulator.

use core::cell::{Cell, RefCell};
use core::convert::Infallible;
use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::i2c::{self, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::{self, NorFlash, NorFlashErrorKind, ReadNorFlash};
use landfall_firmware::board::Watchdog;

/// Size of a flash sector and of the flash.
const SECTOR: usize = 4096;
const FLASH: usize = 6 * SECTOR;

/// The outside of the box.
pub struct World {
    /// Pressure in the bag, Pa.
    pub gauge_pa: Cell<f32>,
    /// The sensor does not answer.
    pub silent: Cell<bool>,
    /// The button is down.
    pub button: Cell<bool>,
    /// The blowers' supply is on.
    pub supply: Cell<bool>,
    /// Outputs: red, amber, green, siren, permit.
    pub levels: [Cell<bool>; 5],
    /// How often the watchdog was fed.
    pub feeds: Cell<u32>,
    noise: Cell<u32>,
    counts: Cell<u32>,
    flash: RefCell<[u8; FLASH]>,
    to_box: RefCell<([u8; 256], usize, usize)>,
    sent: Cell<u32>,
}

impl World {
    /// An empty bag with the supply on.
    pub const fn new() -> Self {
        Self {
            gauge_pa: Cell::new(0.0),
            silent: Cell::new(false),
            button: Cell::new(false),
            supply: Cell::new(true),
            levels: [const { Cell::new(false) }; 5],
            feeds: Cell::new(0),
            noise: Cell::new(1),
            counts: Cell::new(0x80_0000),
            flash: RefCell::new([0xFF; FLASH]),
            to_box: RefCell::new(([0; 256], 0, 0)),
            sent: Cell::new(0),
        }
    }

    /// Queues bytes for the box.
    pub fn send(&self, bytes: &[u8]) {
        let mut queue = self.to_box.borrow_mut();
        queue.1 = 0;
        queue.2 = 0;
        for byte in bytes {
            let end = queue.2;
            if let Some(place) = queue.0.get_mut(end) {
                *place = *byte;
                queue.2 += 1;
            }
        }
    }

    /// Bytes that the box has sent.
    pub fn sent(&self) -> u32 {
        self.sent.get()
    }
}

/// The bridge sensor's registers.
pub struct Bus<'a>(pub &'a World);

impl i2c::ErrorType for Bus<'_> {
    type Error = ErrorKind;
}

impl I2c for Bus<'_> {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        if address != 0x29 || self.0.silent.get() {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        for operation in operations {
            match operation {
                Operation::Write(_) => {
                    let noise = self.0.noise.get().wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    self.0.noise.set(noise);
                    let pa = self.0.gauge_pa.get() + (noise >> 8) as f32 / 16_777_216.0 * 6.0 - 3.0;
                    self.0.counts.set(((pa / (50.0 * 249.088_91) + 0.5) * 16_777_216.0) as u32);
                }
                Operation::Read(bytes) => {
                    let [_, high, middle, low] = self.0.counts.get().to_be_bytes();
                    for (to, from) in bytes.iter_mut().zip([0x40, high, middle, low, 0x80, 0, 0]) {
                        *to = from;
                    }
                }
            }
        }
        Ok(())
    }
}

/// One output.
pub struct Out<'a>(pub &'a Cell<bool>);

impl digital::ErrorType for Out<'_> {
    type Error = Infallible;
}

impl OutputPin for Out<'_> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.set(true);
        Ok(())
    }
}

/// One input; `true` turns the level over.
pub struct In<'a>(pub &'a Cell<bool>, pub bool);

impl digital::ErrorType for In<'_> {
    type Error = Infallible;
}

impl InputPin for In<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get() != self.1)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get() == self.1)
    }
}

/// The flash.
pub struct Nor<'a>(pub &'a World);

impl nor_flash::ErrorType for Nor<'_> {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Nor<'_> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let flash = self.0.flash.borrow();
        let from = flash.get(offset as usize..).and_then(|rest| rest.get(..bytes.len()));
        bytes.copy_from_slice(from.ok_or(NorFlashErrorKind::OutOfBounds)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        FLASH
    }
}

impl NorFlash for Nor<'_> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        let mut flash = self.0.flash.borrow_mut();
        flash.get_mut(from as usize..to as usize).ok_or(NorFlashErrorKind::OutOfBounds)?.fill(0xFF);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let mut flash = self.0.flash.borrow_mut();
        let to = flash.get_mut(offset as usize..).and_then(|rest| rest.get_mut(..bytes.len()));
        for (to, from) in to.ok_or(NorFlashErrorKind::OutOfBounds)?.iter_mut().zip(bytes) {
            *to &= from;
        }
        Ok(())
    }
}

/// The line.
pub struct Line<'a>(pub &'a World);

impl embedded_io::ErrorType for Line<'_> {
    type Error = Infallible;
}

impl ReadReady for Line<'_> {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        let queue = self.0.to_box.borrow();
        Ok(queue.1 < queue.2)
    }
}

impl Read for Line<'_> {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut queue = self.0.to_box.borrow_mut();
        let byte = queue.0.get(queue.1).copied();
        match (bytes.first_mut(), byte) {
            (Some(place), Some(byte)) => {
                *place = byte;
                queue.1 += 1;
                Ok(1)
            }
            _ => Ok(0),
        }
    }
}

impl WriteReady for Line<'_> {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}

impl Write for Line<'_> {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.0.sent.set(self.0.sent.get() + bytes.len() as u32);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

/// The watchdog: counts.
pub struct Dog<'a>(pub &'a World);

impl Watchdog for Dog<'_> {
    fn feed(&mut self, _: u32) {
        self.0.feeds.set(self.0.feeds.get() + 1);
    }
}
