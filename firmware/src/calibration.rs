//! What was found when the sensor was last held against a reference: zero, span, when, and against what.
//!
//! The box measures p = k (r − r₀): r the sensor's reading, r₀ the zero that the watch takes each day on the vented bag, k the
//! span that is kept here; 1 without one. The zero that is kept here is what the daily one is compared with; nothing is
//! computed with it. The box knows no date: the laptop states it. It is set over the link with the button held, and lies
//! beside the settings ([`crate::store::Store::beside`]), so that settings of an older program are read as ever.

use core::fmt::{Formatter, Result as Told};
use serde::de::{Error, SeqAccess, Visitor};
use serde::ser::SerializeTuple as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Layout of a calibration.
pub const CALIBRATION_VERSION: u16 = 1;
/// Furthest that a span lies from 1 (*assumed*: makers state 1 % and less for these parts; more is a mistake or a broken
/// part, and not for a factor to mend).
pub const SPAN_OFF: f32 = 0.03;
/// Most bytes of a reference's name.
pub const NAME: usize = 16;

/// What the sensor was held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Reference {
    /// A column of water.
    Water,
    /// Another gauge.
    Gauge,
}

/// A calibration of the sensor, for the laptop; a box keeps and sends it [`Packed`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// When, in seconds since 1970, as the laptop stated it.
    pub at_s: u32,
    /// What it was held against.
    pub reference: Reference,
    /// The reference's name in UTF-8, zeros behind it.
    pub name: [u8; NAME],
    /// Pressure of the reference, Pa.
    pub reference_pa: f32,
    /// How far off that may be, Pa.
    pub reference_error_pa: f32,
    /// What the sensor read with both ports open, Pa, before the span.
    pub zero_pa: f32,
    /// Factor on every reading.
    pub span: f32,
    /// How far off the factor may be.
    pub span_error: f32,
}

/// Bytes of a packed calibration.
pub const PACKED: usize = 43;
/// Where the span stands in them.
const SPAN_AT: usize = 2;

/// A calibration as it lies in flash and goes over the line: version u16, span f32, time u32, reference u8 (0 water, 1
/// gauge), name 16 × u8, pressure of the reference, its error, zero, error of the span f32 each, all low byte first, in a
/// fixed length. All zeros: none. A box reads version and span alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Packed(pub [u8; PACKED]);

impl Packed {
    /// There is none.
    pub const NONE: Self = Self([0; PACKED]);

    /// From a record's bytes; none where they are of another length or make no sense.
    pub fn of(bytes: &[u8]) -> Self {
        bytes.first_chunk().map(|bytes| Self(*bytes)).filter(Self::is_good).unwrap_or(Self::NONE)
    }

    fn version(&self) -> u16 {
        self.0.first_chunk().map_or(0, |bytes| u16::from_le_bytes(*bytes))
    }

    /// The factor on every reading; 1 without a calibration.
    pub fn span(&self) -> f32 {
        let bytes = self.0.get(SPAN_AT..).and_then(<[u8]>::first_chunk);
        bytes.filter(|_| self.version() != 0).map_or(1.0, |bytes| f32::from_le_bytes(*bytes))
    }

    /// Whether a box takes it: none, or the layout and a span within [`SPAN_OFF`].
    pub fn is_good(&self) -> bool {
        let off = self.span() - 1.0;
        self.version() <= CALIBRATION_VERSION && (-SPAN_OFF..=SPAN_OFF).contains(&off)
    }

    /// What it says; none: there is none.
    pub fn unpacked(&self) -> Option<Calibration> {
        let mut rest = self.0.get(SPAN_AT..).filter(|_| self.version() == CALIBRATION_VERSION)?;
        let mut number = || {
            let (first, behind) = rest.split_first_chunk::<4>()?;
            rest = behind;
            Some(*first)
        };
        let (span, at_s) = (f32::from_le_bytes(number()?), u32::from_le_bytes(number()?));
        let (reference, behind) = rest.split_first()?;
        let (name, behind) = behind.split_first_chunk::<NAME>()?;
        rest = behind;
        let mut number = || {
            let (first, behind) = rest.split_first_chunk::<4>()?;
            rest = behind;
            Some(f32::from_le_bytes(*first))
        };
        Some(Calibration {
            at_s,
            reference: if *reference == 0 { Reference::Water } else { Reference::Gauge },
            name: *name,
            reference_pa: number()?,
            reference_error_pa: number()?,
            zero_pa: number()?,
            span,
            span_error: number()?,
        })
    }
}

impl Calibration {
    /// As a box keeps it.
    pub fn packed(&self) -> Packed {
        let mut bytes = [0; PACKED];
        let numbers = [self.reference_pa, self.reference_error_pa, self.zero_pa, self.span_error].map(f32::to_le_bytes);
        let reference = [u8::from(self.reference == Reference::Gauge)];
        let (version, span, at_s) =
            (CALIBRATION_VERSION.to_le_bytes(), self.span.to_le_bytes(), self.at_s.to_le_bytes());
        let parts: [&[u8]; 6] = [&version, &span, &at_s, &reference, &self.name, numbers.as_flattened()];
        bytes.iter_mut().zip(parts.iter().copied().flatten()).for_each(|(to, from)| *to = *from);
        Packed(bytes)
    }
}

impl Serialize for Packed {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut tuple = to.serialize_tuple(PACKED)?;
        self.0.iter().try_for_each(|byte| tuple.serialize_element(byte))?;
        tuple.end()
    }
}

impl<'de> Deserialize<'de> for Packed {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_tuple(PACKED, Bytes)
    }
}

/// Reads the bytes one by one: what serde brings for arrays is unrolled, and takes a kilobyte of flash.
struct Bytes;

impl<'de> Visitor<'de> for Bytes {
    type Value = Packed;

    fn expecting(&self, f: &mut Formatter<'_>) -> Told {
        f.write_str("a calibration")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Packed, A::Error> {
        let mut bytes = [0; PACKED];
        for byte in &mut bytes {
            *byte = from.next_element()?.ok_or_else(|| A::Error::custom("short"))?;
        }
        Ok(Packed(bytes))
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    pub(crate) fn sample() -> Calibration {
        Calibration {
            at_s: 1_777_716_000,
            reference: Reference::Gauge,
            name: *b"lent, certified\0",
            reference_pa: 2936.0,
            reference_error_pa: 13.0,
            zero_pa: 1.5,
            span: 1.0125,
            span_error: 0.0046,
        }
    }

    #[test]
    fn what_is_no_calibration_is_not_taken() {
        let packed = sample().packed();
        assert!(packed.is_good() && Packed::NONE.is_good());
        assert_eq!((packed.unpacked(), Packed::NONE.unpacked()), (Some(sample()), None));
        assert_eq!((packed.span(), Packed::NONE.span()), (1.0125, 1.0));
        let with = |span| Calibration { span, ..sample() }.packed().is_good();
        assert!(with(0.9701) && with(1.0299));
        for bad in [1.0301, 0.9699, f32::NAN, f32::INFINITY, 0.0, -1.0] {
            assert!(!with(bad), "{bad}");
        }
        let mut later = packed;
        later.0[0] = 2;
        assert!(!later.is_good() && later.unpacked().is_none());
        assert_eq!(
            (Packed::of(&packed.0), Packed::of(&later.0), Packed::of(&packed.0[1..])),
            (packed, Packed::NONE, Packed::NONE)
        );
        // By hand: version 1, and 1.0125 as IEEE 754 has it.
        assert_eq!(packed.0[..6], [1, 0, 0x9A, 0x99, 0x81, 0x3F]);
    }
}
