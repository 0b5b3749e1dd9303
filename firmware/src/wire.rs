//! Writing in postcard's format, without a path to a panic at any level of optimisation.
//!
//! Postcard's own writer is proven free of them only where the compiler unrolls its loops, which makes the program larger than the
//! budget. Reading is postcard's. The tests hold every message against it, byte for byte.

use core::fmt;
use serde::{Serialize, ser};

/// What does not fit, or cannot be written: lists of unknown length, maps, characters, doubles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotWritten;

impl fmt::Display for NotWritten {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not written")
    }
}

impl ser::Error for NotWritten {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Self
    }
}

impl core::error::Error for NotWritten {}

/// Where bytes go.
pub trait Sink {
    /// Takes one.
    ///
    /// # Errors
    /// [`NotWritten`] if there is no room.
    fn put(&mut self, byte: u8) -> Result<(), NotWritten>;
}

/// Bytes into a slice.
struct Slice<'a> {
    bytes: &'a mut [u8],
    length: usize,
}

impl Sink for Slice<'_> {
    #[inline(never)]
    fn put(&mut self, byte: u8) -> Result<(), NotWritten> {
        *self.bytes.get_mut(self.length).ok_or(NotWritten)? = byte;
        self.length = self.length.saturating_add(1);
        Ok(())
    }
}

/// Writes `value` to the beginning of `bytes`; how many it took.
///
/// # Errors
/// [`NotWritten`].
pub fn write<T: Serialize + ?Sized>(value: &T, bytes: &mut [u8]) -> Result<usize, NotWritten> {
    let mut slice = Slice { bytes, length: 0 };
    write_to(value, &mut slice)?;
    Ok(slice.length)
}

/// Writes `value` to a sink.
///
/// # Errors
/// [`NotWritten`].
pub fn write_to<T: Serialize + ?Sized, S: Sink>(value: &T, to: &mut S) -> Result<(), NotWritten> {
    value.serialize(&mut Writer(to))
}

struct Writer<'a, S>(&'a mut S);

impl<S: Sink> Writer<'_, S> {
    /// Seven bits a byte, lowest first; the top bit says that more follow.
    #[inline(never)]
    fn varint(&mut self, value: u32) -> Result<(), NotWritten> {
        let mut rest = value;
        while rest >= 0x80 {
            self.0.put(rest as u8 | 0x80)?;
            rest >>= 7;
        }
        self.0.put(rest as u8)
    }

    #[inline(never)]
    fn long_varint(&mut self, value: u64) -> Result<(), NotWritten> {
        let mut rest = value;
        while rest >= 0x80 {
            self.0.put(rest as u8 | 0x80)?;
            rest >>= 7;
        }
        self.0.put(rest as u8)
    }

    #[inline(never)]
    fn word(&mut self, value: u32) -> Result<(), NotWritten> {
        value.to_le_bytes().into_iter().try_for_each(|byte| self.0.put(byte))
    }
}

/// What of serde's model is never written here.
macro_rules! refused {
    ($($name:ident: $kind:ty),*) => {
        $(fn $name(self, _: $kind) -> Result<(), NotWritten> {
            Err(NotWritten)
        })*
    };
}

impl<S: Sink> ser::Serializer for &mut Writer<'_, S> {
    type Ok = ();
    type Error = NotWritten;
    type SerializeSeq = ser::Impossible<(), NotWritten>;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = ser::Impossible<(), NotWritten>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    refused! { serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64, serialize_f64: f64,
    serialize_char: char, serialize_bytes: &[u8] }

    fn is_human_readable(&self) -> bool {
        false
    }

    fn serialize_bool(self, value: bool) -> Result<(), NotWritten> {
        self.0.put(u8::from(value))
    }

    fn serialize_u8(self, value: u8) -> Result<(), NotWritten> {
        self.0.put(value)
    }

    fn serialize_u16(self, value: u16) -> Result<(), NotWritten> {
        self.varint(u32::from(value))
    }

    fn serialize_u32(self, value: u32) -> Result<(), NotWritten> {
        self.varint(value)
    }

    fn serialize_u64(self, value: u64) -> Result<(), NotWritten> {
        self.long_varint(value)
    }

    fn serialize_f32(self, value: f32) -> Result<(), NotWritten> {
        self.word(value.to_bits())
    }

    fn serialize_str(self, value: &str) -> Result<(), NotWritten> {
        self.varint(u32::try_from(value.len()).map_err(|_| NotWritten)?)?;
        value.bytes().try_for_each(|byte| self.0.put(byte))
    }

    fn serialize_none(self) -> Result<(), NotWritten> {
        self.0.put(0)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), NotWritten> {
        self.0.put(1)?;
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), NotWritten> {
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Result<(), NotWritten> {
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Result<(), NotWritten> {
        self.varint(index)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Result<(), NotWritten> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), NotWritten> {
        self.varint(index)?;
        value.serialize(self)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Self::SerializeSeq, NotWritten> {
        Err(NotWritten)
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, NotWritten> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, NotWritten> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, NotWritten> {
        self.varint(index)?;
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, NotWritten> {
        Err(NotWritten)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, NotWritten> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, NotWritten> {
        self.varint(index)?;
        Ok(self)
    }

    fn collect_str<T: fmt::Display + ?Sized>(self, _: &T) -> Result<(), NotWritten> {
        Err(NotWritten)
    }
}

/// One value after the other, without a word between.
macro_rules! plain {
    ($($kind:ident $element:ident),*) => {
        $(impl<S: Sink> ser::$kind for &mut Writer<'_, S> {
            type Ok = ();
            type Error = NotWritten;

            fn $element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NotWritten> {
                value.serialize(&mut **self)
            }

            fn end(self) -> Result<(), NotWritten> {
                Ok(())
            }
        })*
    };
}

plain! { SerializeTuple serialize_element, SerializeTupleStruct serialize_field, SerializeTupleVariant serialize_field }

/// The same with names, which are not written.
macro_rules! named {
    ($($kind:ident),*) => {
        $(impl<S: Sink> ser::$kind for &mut Writer<'_, S> {
            type Ok = ();
            type Error = NotWritten;

            fn serialize_field<T: Serialize + ?Sized>(&mut self, _: &'static str, value: &T) -> Result<(), NotWritten> {
                value.serialize(&mut **self)
            }

            fn end(self) -> Result<(), NotWritten> {
                Ok(())
            }
        })*
    };
}

named! { SerializeStruct, SerializeStructVariant }

#[cfg(test)]
mod tests {
    use super::*;
    use crate::link::tests::{longest, most_parts, sample};
    use crate::link::{Entry, Hour, Kept, Noted, Refusal, ToBox};
    use landfall_core::watch::{Fault, Reason, ResetCause, SelfTest, SensorFault, State, TimeUs, What};

    fn same<T: Serialize + ?Sized>(value: &T) {
        let (mut ours, mut theirs) = ([0; 1024], [0; 1024]);
        let length = write(value, &mut ours).unwrap();
        let theirs = postcard::to_slice(value, &mut theirs).unwrap();
        assert_eq!(ours.get(..length), Some(&*theirs));
        assert_eq!(write(value, &mut [0; 1024][..length.saturating_sub(1)]).is_err(), length > 0, "no room");
    }

    #[test]
    fn every_message_is_written_as_postcard_writes_it() {
        longest().iter().for_each(same);
        for settings in [sample(), sample().with_parts(most_parts())] {
            same(&settings);
            same(&ToBox::Offer(settings));
        }
        for value in [0_u32, 1, 127, 128, 16_383, 16_384, 1 << 21, 1 << 28, u32::MAX] {
            same(&ToBox::ReadLog { from: value });
            same(&TimeUs(u64::from(value) << 32 | 5));
            same(&(value as u16));
        }
        same(&TimeUs(u64::MAX));
        same("a text");
        for refusal in [Refusal::Impossible, Refusal::SensorRange { range_pa: -1.5 }, Refusal::OnDuty] {
            same(&crate::link::FromBox::Refused(refusal));
        }
        let changed = |reason| What::Changed { from: State::Ride, to: State::Ended, reason, gauge_pa: Some(f32::NAN) };
        for what in [
            Noted::Watch(changed(Reason::SelfTestFailed)),
            Noted::Watch(What::Faulted(Fault::SecondLost)),
            Noted::Watch(What::SelfTested(SelfTest::IMPOSSIBLE)),
            Noted::Watch(What::Blower { which: 3, runs: true }),
            Noted::Watch(What::Battery { voltage_v: 12.5, left_s: f32::INFINITY }),
            Noted::Kept(Kept { zero_pa: None, unacknowledged: true, duty: false }),
            Noted::Booted(ResetCause::Unknown),
            Noted::Forgotten,
            Noted::Hour(Hour::EMPTY),
        ] {
            same(&Entry { boot: 300, at: TimeUs(1 << 40), what });
        }
        same(&Result::<f32, SensorFault>::Err(SensorFault::Disagree));
    }

    #[test]
    fn what_is_never_written_is_refused() {
        assert_eq!(write(&1.5_f64, &mut [0; 64]), Err(NotWritten));
        assert_eq!(write(&[1_u8, 2].as_slice(), &mut [0; 64]), Err(NotWritten));
        assert_eq!(write(&'x', &mut [0; 64]), Err(NotWritten));
    }
}
