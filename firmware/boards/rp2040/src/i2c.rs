//! I²C master on block 0 with a deadline on every transfer, and the clearing of a held bus.
//!
//! A part that lost count of the clock can hold the data line low for ever. After a transfer that ran
//! into its deadline, the next one first clocks the line up to nine times by hand.

use crate::clocks::CLOCK_HZ;
use crate::pins::{self, SCL, SDA};
use crate::time::now_us32;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation, SevenBitAddress};
use rp2040_pac as pac;

/// Longest transfer, µs: 25 bytes at 400 kHz take 0.6 ms.
const DEADLINE_US: u32 = 1_500;
/// SCL low and high, in clock periods: 400 kHz at 3 to 2.
const LOW: u16 = (CLOCK_HZ / 400_000 * 3 / 5) as u16;
const HIGH: u16 = (CLOCK_HZ / 400_000 * 2 / 5) as u16;

/// How a transfer failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// Not acknowledged.
    Nack,
    /// Another master won.
    Arbitration,
    /// Past the deadline: the bus is held.
    Deadline,
    /// The block gave up for another reason.
    Other,
}

impl embedded_hal::i2c::Error for Error {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::Nack => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown),
            Self::Arbitration => ErrorKind::ArbitrationLoss,
            Self::Deadline => ErrorKind::Bus,
            Self::Other => ErrorKind::Other,
        }
    }
}

/// The bus.
pub struct Bus {
    block: pac::I2C0,
    held: bool,
}

impl Bus {
    /// Sets up the block, which must be out of reset.
    pub fn new(block: pac::I2C0) -> Self {
        block.ic_enable().write(|w| w.enable().disabled());
        block.ic_con().write(|w| {
            w.speed().fast().master_mode().enabled().ic_slave_disable().slave_disabled();
            w.ic_restart_en().enabled().tx_empty_ctrl().enabled().rx_fifo_full_hld_ctrl().enabled()
        });
        // SAFETY: these fields take any value that fits.
        unsafe {
            block.ic_tx_tl().write(|w| w.tx_tl().bits(0));
            block.ic_rx_tl().write(|w| w.rx_tl().bits(0));
            block.ic_fs_scl_hcnt().write(|w| w.ic_fs_scl_hcnt().bits(HIGH));
            block.ic_fs_scl_lcnt().write(|w| w.ic_fs_scl_lcnt().bits(LOW));
            block.ic_fs_spklen().write(|w| w.ic_fs_spklen().bits((LOW / 16) as u8));
            // 300 ns of hold time.
            block.ic_sda_hold().write(|w| w.ic_sda_tx_hold().bits((CLOCK_HZ / 1_000_000 * 3 / 10 + 1) as u16));
        }
        Self { block, held: false }
    }

    fn aborted(&self) -> Result<(), Error> {
        let source = self.block.ic_tx_abrt_source().read().bits();
        if source & 0x1_FFFF == 0 {
            return Ok(());
        }
        let _ = self.block.ic_clr_tx_abrt().read();
        Err(match source {
            _ if source & 0x1F != 0 => Error::Nack,
            _ if source & 1 << 12 != 0 => Error::Arbitration,
            _ => Error::Other,
        })
    }

    /// Gives up: abort, a bounded wait, and the block off, which empties its queues.
    fn give_up(&mut self) -> Error {
        self.block.ic_enable().modify(|_, w| w.abort().set_bit());
        let begin = now_us32();
        while self.block.ic_enable().read().abort().bit_is_set() && now_us32().wrapping_sub(begin) < 200 {}
        let _ = self.block.ic_clr_intr().read();
        self.block.ic_enable().write(|w| w.enable().disabled());
        self.held = true;
        Error::Deadline
    }

    /// Clocks by hand until the data line is free, at most nine times, then makes a stop.
    fn clear(&mut self) {
        pins::open_drain(SDA);
        pins::open_drain(SCL);
        for _ in 0..9 {
            if pins::is_high(SDA) {
                break;
            }
            pins::pull(SCL, true);
            half_period();
            pins::pull(SCL, false);
            half_period();
        }
        pins::pull(SDA, true);
        half_period();
        pins::pull(SDA, false);
        half_period();
        pins::to_i2c(SDA);
        pins::to_i2c(SCL);
        self.held = false;
    }

    fn transfer(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Error> {
        if self.held {
            self.clear();
        }
        self.block.ic_enable().write(|w| w.enable().disabled());
        let _ = self.block.ic_clr_intr().read();
        // SAFETY: any seven-bit address is a valid target.
        self.block.ic_tar().write(|w| unsafe { w.ic_tar().bits(u16::from(address)) });
        self.block.ic_enable().write(|w| w.enable().enabled());
        let begin = now_us32();
        let late = || now_us32().wrapping_sub(begin) > DEADLINE_US;
        let count = operations.len();
        for (index, operation) in operations.iter_mut().enumerate() {
            let last = index + 1 == count;
            match operation {
                Operation::Write(bytes) => {
                    let length = bytes.len();
                    for (at, byte) in bytes.iter().enumerate() {
                        while self.block.ic_status().read().tfnf().bit_is_clear() {
                            self.aborted()?;
                            if late() {
                                return Err(self.give_up());
                            }
                        }
                        self.block.ic_data_cmd().write(|w| {
                            w.stop().bit(last && at + 1 == length).restart().bit(index > 0 && at == 0);
                            // SAFETY: any byte is valid data.
                            unsafe { w.dat().bits(*byte) }
                        });
                    }
                }
                Operation::Read(bytes) => {
                    let length = bytes.len();
                    for (at, byte) in bytes.iter_mut().enumerate() {
                        self.block.ic_data_cmd().write(|w| {
                            w.cmd().read().stop().bit(last && at + 1 == length).restart().bit(index > 0 && at == 0)
                        });
                        while self.block.ic_rxflr().read().bits() == 0 {
                            self.aborted()?;
                            if late() {
                                return Err(self.give_up());
                            }
                        }
                        *byte = self.block.ic_data_cmd().read().dat().bits();
                    }
                }
            }
        }
        // The block makes the stop after an abort as well.
        while self.block.ic_raw_intr_stat().read().stop_det().bit_is_clear() {
            if late() {
                return Err(self.give_up());
            }
        }
        let _ = self.block.ic_clr_stop_det().read();
        self.aborted()
    }
}

/// 5 µs: 100 kHz by hand.
fn half_period() {
    cortex_m::asm::delay(CLOCK_HZ / 200_000);
}

impl ErrorType for Bus {
    type Error = Error;
}

impl I2c<SevenBitAddress> for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), Error> {
        self.transfer(address, operations)
    }
}
