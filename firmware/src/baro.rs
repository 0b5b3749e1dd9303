//! A pair of barometers of the DPS310 kind: one in the bag, one outside.
//!
//! The difference of the two is the gauge pressure, the outside one also gives the air's density. Each
//! part alone may be off by ±100 Pa, so the pair must be zeroed against the vented bag.
//! Registers and their bits are as Linux's `drivers/iio/pressure/dps310.c` has them, the scale factors as the maker's own
//! library (both read). That library and others read the ready flag before the result; that reading a result takes the
//! flag away stands in a public driver's comment alone, and is held to here. The averaging times are from memory: compare
//! them with Infineon's data sheet before a part is trusted.

use crate::sensor::{Fault, GaugeSensor, Kind, Outside, RESTART_AFTER, Reading, fault_of, read_from};
use embedded_hal::i2c::I2c;

/// Address of the part in the bag (SDO open).
pub const ADDRESS_BAG: u8 = 0x77;
/// Address of the part outside (SDO to ground).
pub const ADDRESS_OUTSIDE: u8 = 0x76;

/// Registers, by their data sheet names.
mod register {
    pub const PSR_B2: u8 = 0x00;
    pub const PRS_CFG: u8 = 0x06;
    pub const TMP_CFG: u8 = 0x07;
    pub const MEAS_CFG: u8 = 0x08;
    pub const CFG_REG: u8 = 0x09;
    pub const RESET: u8 = 0x0C;
    pub const PRODUCT_ID: u8 = 0x0D;
    pub const COEF: u8 = 0x10;
    pub const COEF_SRCE: u8 = 0x28;
}

/// Highest gauge pressure that two parts can tell: 1,200 hPa, less the highest outside pressure ever likely (*assumed*
/// 1,060 hPa), Pa.
pub const RANGE_PA: f32 = 14_000.0;
const SOFT_RESET: u8 = 0x09;
const PRODUCT: u8 = 0x10;
/// 64 pressure results a second, each the mean of 4: 8.4 ms apiece.
const PRESSURE_64_HZ_X4: u8 = 0x62;
/// 8 temperature results a second, unaveraged: 3.6 ms apiece.
const TEMPERATURE_8_HZ_X1: u8 = 0x30;
/// Measure both, for ever.
const BOTH_FOR_EVER: u8 = 0x07;
const PRESSURE_READY: u8 = 0x10;
const PARTS_READY: u8 = 0xC0;
/// Scale factor of pressure at 4 samples and of temperature at 1 (data sheet table 9).
const SCALE_X4: f32 = 3_670_016.0;
const SCALE_X1: f32 = 524_288.0;
/// A start takes at most this many steps from reset to the first pressure (*assumed*: data sheet 40 ms
/// for the coefficients, then one result).
const START_STEPS: u8 = 10;

/// A part's calibration, from its own memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coefficients {
    c0: i32,
    c1: i32,
    c00: i32,
    c10: i32,
    c01: i32,
    c11: i32,
    c20: i32,
    c21: i32,
    c30: i32,
}

/// Two's complement of the lowest `bits` bits.
const fn signed(value: u32, bits: u32) -> i32 {
    let shift = 32 - bits;
    ((value << shift) as i32) >> shift
}

impl Coefficients {
    /// Decodes the 18 bytes from register 0x10.
    pub fn decode(bytes: [u8; 18]) -> Self {
        let b = bytes.map(u32::from);
        let [b0, b1, b2, b3, b4, b5, b6, b7, rest @ ..] = b;
        let [c01h, c01l, c11h, c11l, c20h, c20l, c21h, c21l, c30h, c30l] = rest;
        Self {
            c0: signed((b0 << 4) | (b1 >> 4), 12),
            c1: signed(((b1 & 0xF) << 8) | b2, 12),
            c00: signed((b3 << 12) | (b4 << 4) | (b5 >> 4), 20),
            c10: signed(((b5 & 0xF) << 16) | (b6 << 8) | b7, 20),
            c01: signed((c01h << 8) | c01l, 16),
            c11: signed((c11h << 8) | c11l, 16),
            c20: signed((c20h << 8) | c20l, 16),
            c21: signed((c21h << 8) | c21l, 16),
            c30: signed((c30h << 8) | c30l, 16),
        }
    }

    /// Pressure, Pa, and temperature, °C, of scaled raw values.
    ///
    /// p = c00 + P(c10 + P(c20 + P·c30)) + T·c01 + T·P(c11 + P·c21) and t = c0/2 + c1·T, where P and T
    /// are the raw counts over their scale factors.
    pub fn compensate(&self, raw_pressure: f32, raw_temperature: f32) -> Outside {
        let (p, t) = (raw_pressure, raw_temperature);
        let f = |value: i32| value as f32;
        let along = p * (f(self.c10) + p * (f(self.c20) + p * f(self.c30)));
        let cross = t * f(self.c01) + t * p * (f(self.c11) + p * f(self.c21));
        Outside { pressure_pa: f(self.c00) + along + cross, temperature_c: f(self.c0) * 0.5 + f(self.c1) * t }
    }

    /// Pressure and temperature of the six result bytes from register 0x00, at 4 pressure samples and
    /// 1 temperature sample.
    ///
    /// # Errors
    /// [`Fault::OutOfRange`] outside the part's 300–1200 hPa and −40–85 °C.
    pub fn decode_result(&self, bytes: [u8; 6]) -> Result<Outside, Fault> {
        let [p2, p1, p0, t2, t1, t0] = bytes;
        let count = |high, mid, low| signed(u32::from_be_bytes([0, high, mid, low]), 24) as f32;
        let air = self.compensate(count(p2, p1, p0) / SCALE_X4, count(t2, t1, t0) / SCALE_X1);
        let good = (30_000.0..=120_000.0).contains(&air.pressure_pa) && (-40.0..=85.0).contains(&air.temperature_c);
        if good { Ok(air) } else { Err(Fault::OutOfRange) }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Stage {
    Reset,
    Calibrate,
    Run(Coefficients, u8),
}

/// Driver of one barometer.
pub struct Barometer {
    address: u8,
    stage: Stage,
    waited: u8,
    last: Option<Outside>,
    faults: u8,
}

impl Barometer {
    /// A driver for the part at `address`.
    pub const fn new(address: u8) -> Self {
        Self { address, stage: Stage::Reset, waited: 0, last: None, faults: 0 }
    }

    fn write<B: I2c>(&self, bus: &mut B, register: u8, value: u8) -> Result<(), Fault> {
        bus.write(self.address, &[register, value]).map_err(fault_of)
    }

    fn advance<B: I2c>(&mut self, bus: &mut B) -> Result<Outside, Fault> {
        match self.stage {
            Stage::Reset => {
                self.last = None;
                self.waited = 0;
                let [product] = read_from(bus, self.address, register::PRODUCT_ID)?;
                if product != PRODUCT {
                    return Err(Fault::WrongPart);
                }
                self.write(bus, register::RESET, SOFT_RESET)?;
                self.stage = Stage::Calibrate;
                Err(Fault::NotReady)
            }
            Stage::Calibrate => self.calibrate(bus),
            Stage::Run(coefficients, temperature_source) => self.run(bus, &coefficients, temperature_source),
        }
    }

    fn calibrate<B: I2c>(&mut self, bus: &mut B) -> Result<Outside, Fault> {
        let [status] = read_from(bus, self.address, register::MEAS_CFG)?;
        if status & PARTS_READY != PARTS_READY {
            self.waited += 1;
            if self.waited < START_STEPS {
                return Err(Fault::NotReady);
            }
            self.stage = Stage::Reset;
            return Err(Fault::Broken);
        }
        // No checksum: read the calibration twice and compare.
        let first: [u8; 18] = read_from(bus, self.address, register::COEF)?;
        let second: [u8; 18] = read_from(bus, self.address, register::COEF)?;
        let [source] = read_from(bus, self.address, register::COEF_SRCE)?;
        if first != second || first.iter().all(|b| *b == 0) || first.iter().all(|b| *b == 0xFF) {
            return Err(Fault::Corrupt);
        }
        // Some parts report temperature wrongly until this is written, as the vendor's own library does.
        for (register, value) in [(0x0E, 0xA5), (0x0F, 0x96), (0x62, 0x02), (0x0E, 0x00), (0x0F, 0x00)] {
            self.write(bus, register, value)?;
        }
        let source = source & 0x80;
        self.write(bus, register::PRS_CFG, PRESSURE_64_HZ_X4)?;
        self.write(bus, register::TMP_CFG, source | TEMPERATURE_8_HZ_X1)?;
        self.write(bus, register::CFG_REG, 0)?;
        self.write(bus, register::MEAS_CFG, BOTH_FOR_EVER)?;
        self.waited = 0;
        self.stage = Stage::Run(Coefficients::decode(first), source);
        Err(Fault::NotReady)
    }

    fn run<B: I2c>(&mut self, bus: &mut B, coefficients: &Coefficients, source: u8) -> Result<Outside, Fault> {
        // Settings and the ready flag first, results after: reading a result takes its flag away, so that a burst over
        // both might never see one. A part that lost its supply for a moment shows it in the settings.
        let [prs_cfg, tmp_cfg, meas_cfg] = read_from(bus, self.address, register::PRS_CFG)?;
        if prs_cfg != PRESSURE_64_HZ_X4 || tmp_cfg != source | TEMPERATURE_8_HZ_X1 || meas_cfg & 0x07 != BOTH_FOR_EVER {
            self.stage = Stage::Reset;
            return Err(Fault::Corrupt);
        }
        if meas_cfg & PRESSURE_READY == 0 {
            // 64 results a second for 50 steps: two steps in a row without one do not happen.
            self.waited += 1;
            let allowed = if self.last.is_some() { 1 } else { START_STEPS };
            return match self.last {
                Some(air) if self.waited <= allowed => Ok(air),
                None if self.waited <= allowed => Err(Fault::NotReady),
                _ => {
                    self.stage = Stage::Reset;
                    Err(Fault::Broken)
                }
            };
        }
        self.waited = 0;
        let air = coefficients.decode_result(read_from(bus, self.address, register::PSR_B2)?)?;
        self.last = Some(air);
        Ok(air)
    }

    /// One step of this part: see [`GaugeSensor::step`].
    ///
    /// # Errors
    /// As there.
    pub fn step<B: I2c>(&mut self, bus: &mut B) -> Result<Outside, Fault> {
        let result = self.advance(bus);
        match result {
            Ok(_) | Err(Fault::NotReady | Fault::OutOfRange) => self.faults = 0,
            Err(_) if self.faults + 1 >= RESTART_AFTER => {
                self.faults = 0;
                self.stage = Stage::Reset;
            }
            Err(_) => self.faults += 1,
        }
        result
    }
}

/// Driver of the pair.
pub struct Pair {
    bag: Barometer,
    outside: Barometer,
}

impl Pair {
    /// The pair at the two addresses that such parts can have.
    pub const fn new() -> Self {
        Self { bag: Barometer::new(ADDRESS_BAG), outside: Barometer::new(ADDRESS_OUTSIDE) }
    }
}

impl Default for Pair {
    fn default() -> Self {
        Self::new()
    }
}

impl<B: I2c> GaugeSensor<B> for Pair {
    fn step(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        // Both are stepped even if one fails, so that they start together.
        let (bag, outside) = (self.bag.step(bus), self.outside.step(bus));
        let (bag, outside) = (bag?, outside?);
        Ok(Reading { gauge_pa: bag.pressure_pa - outside.pressure_pa, outside: Some(outside) })
    }

    fn kind(&self) -> Option<Kind> {
        Some(Kind::Barometers)
    }

    fn range_pa(&self) -> f32 {
        RANGE_PA
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Act, Script};
    use std::vec::Vec;

    /// Calibration and results read from a real part, as held by QEMU's model of it
    /// (hw/sensor/dps310.c, registers 0x10–0x21 and 0x00–0x05).
    const REAL_COEF: [u8; 18] =
        [0x0E, 0x1E, 0xDD, 0x13, 0xCA, 0x5F, 0x21, 0x52, 0xF9, 0xC6, 0x04, 0xD1, 0xDB, 0x47, 0x00, 0x5B, 0xFB, 0x3A];
    const REAL_RESULT: [u8; 6] = [0xFE, 0x2F, 0xEE, 0x02, 0x69, 0xA6];

    #[test]
    fn calibration_of_a_real_part() {
        let expected = Coefficients {
            c0: 225,
            c1: -291,
            c00: 81_061,
            c10: -57_006,
            c01: -1594,
            c11: 1233,
            c20: -9401,
            c21: 91,
            c30: -1222,
        };
        assert_eq!(Coefficients::decode(REAL_COEF), expected);
    }

    #[test]
    fn compensation_against_exact_rationals() {
        // The data sheet's polynomial on the real part's registers in exact rational arithmetic (Python
        // `fractions`): at 1 sample 92 946.311 Pa (what that part saw), at 4 samples 82 403.793 Pa; 24.738 °C.
        let c = Coefficients::decode(REAL_COEF);
        let single = c.compensate(-118_802.0 / 524_288.0, 158_118.0 / 524_288.0);
        assert!((single.pressure_pa - 92_946.31).abs() < 0.02, "{single:?}"); // single precision: 0.008 Pa a step
        assert!((single.temperature_c - 24.738_43).abs() < 1e-4);
        let four = c.decode_result(REAL_RESULT).unwrap();
        assert!((four.pressure_pa - 82_403.79).abs() < 0.02, "{four:?}");
        assert_eq!(c.decode_result([0x7F, 0xFF, 0xFF, 0x02, 0x69, 0xA6]), Err(Fault::OutOfRange));
    }

    fn start(address: u8) -> Vec<[Act; 1]> {
        let w = |r, v| [Act::write(address, &[r, v])];
        vec![
            [Act::write_read(address, 0x0D, &[0x10])],
            w(0x0C, 0x09),
            [Act::write_read(address, 0x08, &[0xC0])],
            [Act::write_read(address, 0x10, &REAL_COEF)],
            [Act::write_read(address, 0x10, &REAL_COEF)],
            [Act::write_read(address, 0x28, &[0x80])],
            w(0x0E, 0xA5),
            w(0x0F, 0x96),
            w(0x62, 0x02),
            w(0x0E, 0x00),
            w(0x0F, 0x00),
            w(0x06, 0x62),
            w(0x07, 0xB0),
            w(0x09, 0x00),
            w(0x08, 0x07),
        ]
    }

    fn flags(address: u8, meas: u8) -> Act {
        Act::write_read(address, 0x06, &[0x62, 0xB0, meas])
    }

    /// A step that finds a result.
    fn result(address: u8, meas: u8) -> [Act; 2] {
        [flags(address, meas), Act::write_read(address, 0x00, &REAL_RESULT)]
    }

    #[test]
    fn starts_reads_and_notices_a_reset_part() {
        let mut acts: Vec<Act> = start(0x77).concat();
        acts.push(flags(0x77, 0xC7)); // nothing yet
        acts.extend(result(0x77, 0xD7));
        acts.push(flags(0x77, 0xC7)); // between two results: the last one holds once
        acts.push(flags(0x77, 0xC7)); // but not twice
        acts.extend(start(0x77).concat());
        acts.extend(result(0x77, 0xF7));
        acts.push(Act::write_read(0x77, 0x06, &[0, 0, 0xC0])); // it was reset
        acts.extend(start(0x77).concat());
        let mut bus = Script::new(&acts);
        let mut part = Barometer::new(0x77);
        let mut step = || part.step(&mut bus).map(|air| air.pressure_pa.round());
        assert_eq!([step(), step(), step()], [Err(Fault::NotReady); 3]);
        assert_eq!([step(), step(), step()], [Ok(82_404.0), Ok(82_404.0), Err(Fault::Broken)]);
        assert_eq!([step(), step(), step()], [Err(Fault::NotReady), Err(Fault::NotReady), Ok(82_404.0)]);
        assert_eq!(step(), Err(Fault::Corrupt));
        assert_eq!([step(), step()], [Err(Fault::NotReady); 2]);
        bus.done();
    }

    #[test]
    fn the_pair_takes_the_difference() {
        let mut acts = Vec::new();
        for step in [0..2, 2..15] {
            acts.extend(start(0x77)[step.clone()].concat());
            acts.extend(start(0x76)[step].concat());
        }
        acts.extend(result(0x77, 0xD7));
        acts.push(flags(0x76, 0xD7));
        // 2000 counts more outside are 30.3 Pa less: the part's pressure falls as its counts rise.
        acts.push(Act::write_read(0x76, 0x00, &[0xFE, 0x37, 0xBE, 0x02, 0x69, 0xA6]));
        let mut bus = Script::new(&acts);
        let mut pair = Pair::new();
        assert_eq!(pair.step(&mut bus), Err(Fault::NotReady));
        assert_eq!(pair.step(&mut bus), Err(Fault::NotReady));
        let reading = pair.step(&mut bus).unwrap();
        assert!((reading.gauge_pa - 30.5).abs() < 0.5, "{reading:?}");
        bus.done();
    }

    #[test]
    fn another_chip_at_the_address_is_refused() {
        let mut bus = Script::new(&[Act::write_read(0x77, 0x0D, &[0x58])]);
        assert_eq!(Barometer::new(0x77).step(&mut bus), Err(Fault::WrongPart));
    }
}
