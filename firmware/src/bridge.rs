//! Bridge differential pressure sensor with a 24-bit ratiometric output, of the DLH/DLHR kind.
//!
//! Ranges of a few kilopascals make it the default gauge of the box. The part sends no checksum: each
//! result is read twice and both must agree byte for byte, and the status byte must be exactly
//! "powered, idle, no error". The frame of seven bytes, the good status and the transfer function are as Linux's
//! `drivers/iio/pressure/dlhl60d.c` has them (read; it names data sheet DS-0355). The command that averages two, the busy
//! bit and the time that it takes are from memory: compare them with the maker's data sheet before a part is trusted.

use crate::sensor::{Fault, GaugeSensor, Kind, RESTART_AFTER, Reading, fault_of, read};
use embedded_hal::i2c::I2c;

/// Address of the standard variant.
pub const ADDRESS: u8 = 0x29;

/// Address of a second part, which is ordered with it; another one is said to [`Gauge::with_second`](crate::gauge::Gauge::with_second).
pub const SECOND_ADDRESS: u8 = 0x28;

/// Measure twice and average: done 8.2 ms later at 18 bits, well inside a 20 ms step.
const AVERAGE_2: u8 = 0xAC;
const STATUS_GOOD: u8 = 0x40;
const STATUS_BUSY: u8 = 0x20;
/// Conventional inch of water, Pa (NIST SP 811).
const INH2O_PA: f32 = 249.088_91;

/// Range of the fitted part. It cannot be read over the bus: it must be told, and checked against a
/// water column before first use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Part {
    /// −10 to +10 inH2O: ±2.49 kPa.
    Differential10,
    /// −20 to +20 inH2O: ±4.98 kPa, the default.
    Differential20,
    /// −30 to +30 inH2O: ±7.47 kPa.
    Differential30,
    /// 0 to +20 inH2O: 0 to 4.98 kPa.
    Gauge20,
}

impl Part {
    /// Highest pressure that the part is made for, Pa.
    pub const fn range_pa(self) -> f32 {
        match self {
            Self::Differential10 => 10.0 * INH2O_PA,
            Self::Differential20 | Self::Gauge20 => 20.0 * INH2O_PA,
            Self::Differential30 => 30.0 * INH2O_PA,
        }
    }

    /// Full-scale span, Pa, and the output at zero pressure as a share of the full count.
    const fn span_and_zero(self) -> (f32, f32) {
        match self {
            Self::Gauge20 => (self.range_pa(), 0.1),
            _ => (2.0 * self.range_pa(), 0.5),
        }
    }
}

/// Pressure, Pa, of one result frame: status, 24 bits of pressure, 24 bits of temperature.
///
/// p = 1.25 · (counts / 2²⁴ − zero) · span, with zero 0.5 (differential) or 0.1 (gauge).
///
/// # Errors
/// [`Fault::NotReady`] while it converts, [`Fault::Broken`] for any other status than good (memory
/// check, arithmetic, configuration, not powered), [`Fault::OutOfRange`] more than 5 % of the range
/// outside it.
///
/// ```
/// use landfall_firmware::bridge::{Part, decode};
/// // 0xE66666 is 90 % of the full count: the top of the range.
/// let pressure_pa = decode(Part::Differential10, [0x40, 0xE6, 0x66, 0x66, 0x80, 0x00, 0x00]).unwrap();
/// assert!((pressure_pa - 2490.889).abs() < 0.001);
/// ```
pub fn decode(part: Part, frame: [u8; 7]) -> Result<f32, Fault> {
    let [status, p2, p1, p0, ..] = frame;
    match status {
        STATUS_GOOD => {}
        _ if status == STATUS_GOOD | STATUS_BUSY => return Err(Fault::NotReady),
        _ => return Err(Fault::Broken),
    }
    let counts = u32::from_be_bytes([0, p2, p1, p0]);
    let (span_pa, zero) = part.span_and_zero();
    // 24 bits fit a single-precision significand.
    let pressure_pa = 1.25 * (counts as f32 / 16_777_216.0 - zero) * span_pa;
    let low_pa = if zero == 0.5 { -part.range_pa() } else { 0.0 };
    let slack_pa = 0.05 * part.range_pa();
    if pressure_pa >= low_pa - slack_pa && pressure_pa <= part.range_pa() + slack_pa {
        Ok(pressure_pa)
    } else {
        Err(Fault::OutOfRange)
    }
}

/// Driver of one such part.
pub struct Bridge {
    address: u8,
    part: Part,
    converting: bool,
    faults: u8,
}

impl Bridge {
    /// A driver for the part at `address`.
    pub const fn new(address: u8, part: Part) -> Self {
        Self { address, part, converting: false, faults: 0 }
    }

    fn advance<B: I2c>(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        let result = if self.converting {
            let (first, second) = (read::<7, B>(bus, self.address)?, read::<7, B>(bus, self.address)?);
            if first == second { decode(self.part, first) } else { Err(Fault::Corrupt) }
        } else {
            Err(Fault::NotReady)
        };
        // A busy part keeps converting; anything else gets the next command.
        if !self.converting || result != Err(Fault::NotReady) {
            self.converting = false;
            bus.write(self.address, &[AVERAGE_2]).map_err(fault_of)?;
            self.converting = true;
        }
        result.map(|gauge_pa| Reading { gauge_pa, outside: None })
    }
}

impl<B: I2c> GaugeSensor<B> for Bridge {
    fn step(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        let result = self.advance(bus);
        match result {
            Ok(_) | Err(Fault::OutOfRange) => self.faults = 0,
            Err(_) if self.faults + 1 >= RESTART_AFTER => {
                self.faults = 0;
                self.converting = false;
            }
            Err(_) => self.faults += 1,
        }
        result
    }

    fn kind(&self) -> Option<Kind> {
        Some(Kind::Bridge)
    }

    fn range_pa(&self) -> f32 {
        self.part.range_pa()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Act, Script};

    #[test]
    fn transfer_function_of_the_data_sheet() {
        // Half the count is zero for a differential part; 10 % and 90 % are the ends of the range.
        let at = |part, p: [u8; 3]| decode(part, [0x40, p[0], p[1], p[2], 0x66, 0x66, 0x66]);
        assert_eq!(at(Part::Differential20, [0x80, 0x00, 0x00]), Ok(0.0));
        let top = at(Part::Differential20, [0xE6, 0x66, 0x66]).unwrap();
        assert!((top - 4981.778).abs() < 0.002, "{top}");
        let bottom = at(Part::Differential20, [0x19, 0x99, 0x9A]).unwrap();
        assert!((bottom + 4981.778).abs() < 0.002, "{bottom}");
        // 0x1999 9A is 10 %: zero for a gauge part.
        assert!(at(Part::Gauge20, [0x19, 0x99, 0x9A]).unwrap().abs() < 0.001);
        // The Linux driver's integers (drivers/iio/pressure/dlhl60d.c) scaled to a 20 inH2O span of ±20:
        // scale = 1.25·40·249.09 Pa / 2²⁴ per count. 0x900000 is 1 048 576 counts above zero.
        let linux = 1.25 * 40.0 * 249.09 / 16_777_216.0 * 1_048_576.0;
        assert!((f64::from(at(Part::Differential20, [0x90, 0x00, 0x00]).unwrap()) - linux).abs() < 0.005);
        assert_eq!(at(Part::Differential20, [0xFF, 0xFF, 0xFF]), Err(Fault::OutOfRange));
        assert_eq!(at(Part::Differential20, [0x00, 0x00, 0x00]), Err(Fault::OutOfRange));
    }

    #[test]
    fn every_status_but_one_is_refused() {
        for status in 0..=255_u8 {
            let result = decode(Part::Differential20, [status, 0x80, 0, 0, 0x80, 0, 0]);
            match status {
                0x40 => assert_eq!(result, Ok(0.0)),
                0x60 => assert_eq!(result, Err(Fault::NotReady)),
                _ => assert_eq!(result, Err(Fault::Broken), "status {status:#04x}"),
            }
        }
    }

    #[test]
    fn starts_reads_twice_and_recovers() {
        let frame = [0x40, 0x90, 0x00, 0x00, 0x80, 0x00, 0x00];
        let bent = [0x40, 0x90, 0x00, 0x01, 0x80, 0x00, 0x00];
        let busy = [0x60, 0x90, 0x00, 0x00, 0x80, 0x00, 0x00];
        let go = || Act::write(0x29, &[0xAC]);
        let get = |bytes: &[u8]| Act::read(0x29, bytes);
        let mut bus = Script::new(&[
            go().nack(),
            go(),
            get(&busy),
            get(&busy),
            get(&frame),
            get(&frame),
            go(),
            get(&frame),
            get(&bent),
            go(),
            get(&frame).nack(),
            get(&frame).held(),
            get(&frame),
            get(&frame),
            go(),
        ]);
        let mut sensor = Bridge::new(ADDRESS, Part::Differential20);
        let mut step = || sensor.step(&mut bus).map(|r| r.gauge_pa.round());
        assert_eq!(step(), Err(Fault::NoAnswer));
        assert_eq!(step(), Err(Fault::NotReady));
        assert_eq!(step(), Err(Fault::NotReady));
        assert_eq!(step(), Ok(778.0));
        assert_eq!(step(), Err(Fault::Corrupt));
        assert_eq!(step(), Err(Fault::NoAnswer));
        assert_eq!(step(), Err(Fault::Bus));
        assert_eq!(step(), Ok(778.0));
        bus.done();
    }
}
