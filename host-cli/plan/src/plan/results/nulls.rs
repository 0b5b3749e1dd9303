//! What is null in the results, under which keys and why: found by walking over what is printed, so that no key can be
//! left out.

use std::fmt::Display;

use serde::Serialize;
use serde::ser::{Error as _, Impossible, SerializeMap, SerializeSeq, SerializeStruct, Serializer};
use serde_json::{Error, Value};

use super::Why;

/// One null.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Null {
    /// Its dotted key, a list's entries counted from 0.
    pub key: String,
    /// Why; none of what carries no reason.
    pub why: Option<Why>,
}

/// The nulls of a value, in their order.
#[must_use]
pub fn nulls(of: &impl Serialize) -> Vec<Null> {
    let mut found = Vec::new();
    // Plain structs with text keys always serialise; were it ever otherwise, what was found before is returned.
    let _ = of.serialize(Walk { key: String::new(), found: &mut found });
    found
}

/// At one key.
struct Walk<'a> {
    key: String,
    found: &'a mut Vec<Null>,
}

/// In one list or table.
struct Within<'a> {
    key: String,
    found: &'a mut Vec<Null>,
    entries: usize,
    named: String,
}

impl<'a> Walk<'a> {
    fn null(self, why: Option<Why>) {
        self.found.push(Null { key: self.key, why });
    }

    fn within(self) -> Within<'a> {
        Within { key: self.key, found: self.found, entries: 0, named: String::new() }
    }
}

impl Within<'_> {
    fn entry<T: Serialize + ?Sized>(&mut self, name: &str, value: &T) -> Result<(), Error> {
        let key = if self.key.is_empty() { name.to_owned() } else { format!("{}.{name}", self.key) };
        value.serialize(Walk { key, found: self.found })
    }
}

/// Values that are not null.
macro_rules! values {
    ($($name:ident($of:ty))*) => {
        $(fn $name(self, _: $of) -> Result<(), Error> {
            Ok(())
        })*
    };
}

impl<'a> Serializer for Walk<'a> {
    type Ok = ();
    type Error = Error;
    type SerializeSeq = Within<'a>;
    type SerializeMap = Within<'a>;
    type SerializeStruct = Within<'a>;
    type SerializeTuple = Within<'a>;
    type SerializeTupleStruct = Impossible<(), Error>;
    type SerializeTupleVariant = Impossible<(), Error>;
    type SerializeStructVariant = Impossible<(), Error>;

    values! {
        serialize_bool(bool)
        serialize_i8(i8)
        serialize_i16(i16)
        serialize_i32(i32)
        serialize_i64(i64)
        serialize_u8(u8)
        serialize_u16(u16)
        serialize_u32(u32)
        serialize_u64(u64)
        serialize_char(char)
        serialize_str(&str)
        serialize_bytes(&[u8])
    }

    fn serialize_f32(self, value: f32) -> Result<(), Error> {
        self.serialize_f64(f64::from(value))
    }

    /// JSON has no other form for what is not finite than null.
    fn serialize_f64(self, value: f64) -> Result<(), Error> {
        if !value.is_finite() {
            self.null(None);
        }
        Ok(())
    }

    fn serialize_none(self) -> Result<(), Error> {
        self.null(None);
        Ok(())
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), Error> {
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), Error> {
        self.serialize_none()
    }

    fn serialize_unit_struct(self, name: &'static str) -> Result<(), Error> {
        self.null(Why::ALL.iter().copied().find(|why| why.name() == name));
        Ok(())
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> Result<(), Error> {
        Ok(())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Result<(), Error> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Result<(), Error> {
        self.within().entry(variant, value)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Within<'a>, Error> {
        Ok(self.within())
    }

    fn serialize_tuple(self, _: usize) -> Result<Within<'a>, Error> {
        Ok(self.within())
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Within<'a>, Error> {
        Ok(self.within())
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Within<'a>, Error> {
        Ok(self.within())
    }

    fn serialize_tuple_struct(self, name: &'static str, _: usize) -> Result<Impossible<(), Error>, Error> {
        Err(no_form(name))
    }

    fn serialize_tuple_variant(
        self,
        name: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Impossible<(), Error>, Error> {
        Err(no_form(name))
    }

    fn serialize_struct_variant(
        self,
        name: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Impossible<(), Error>, Error> {
        Err(no_form(name))
    }
}

/// Forms that no value of the results has.
fn no_form(name: impl Display) -> Error {
    Error::custom(format_args!("{name} has a form that is not looked into"))
}

impl SerializeSeq for Within<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
        let name = self.entries.to_string();
        self.entries += 1;
        self.entry(&name, value)
    }

    fn end(self) -> Result<(), Error> {
        Ok(())
    }
}

impl serde::ser::SerializeTuple for Within<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
        SerializeSeq::serialize_element(self, value)
    }

    fn end(self) -> Result<(), Error> {
        Ok(())
    }
}

impl SerializeMap for Within<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<(), Error> {
        let Value::String(named) = serde_json::to_value(key)? else { return Err(no_form("a key")) };
        self.named = named;
        Ok(())
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Error> {
        let name = std::mem::take(&mut self.named);
        self.entry(&name, value)
    }

    fn end(self) -> Result<(), Error> {
        Ok(())
    }
}

impl SerializeStruct for Within<'_> {
    type Ok = ();
    type Error = Error;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, name: &'static str, value: &T) -> Result<(), Error> {
        self.entry(name, value)
    }

    fn end(self) -> Result<(), Error> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::OrWhy;
    use super::*;
    use std::collections::BTreeMap;

    #[derive(Serialize)]
    struct Table {
        known: OrWhy<f64>,
        unknown: OrWhy<f64>,
        left_out: Option<f64>,
        not_finite: f64,
        list: Vec<OrWhy<Inner>>,
        map: BTreeMap<&'static str, Option<f64>>,
        pair: [f64; 2],
    }

    #[derive(Serialize)]
    struct Inner {
        inside: OrWhy<bool>,
    }

    fn table() -> Table {
        Table {
            known: OrWhy::Value(1.0),
            unknown: Why::Stalls.into(),
            left_out: None,
            not_finite: f64::NAN,
            list: vec![OrWhy::Value(Inner { inside: Why::NoGas.into() }), Why::OffBag.into()],
            map: BTreeMap::from([("a", Some(1.0)), ("b", None)]),
            pair: [0.0, f64::INFINITY],
        }
    }

    #[test]
    fn every_null_is_found_under_its_key_with_its_reason() {
        let found: Vec<(String, Option<Why>)> = nulls(&table()).into_iter().map(|null| (null.key, null.why)).collect();
        let expected = [
            ("unknown", Some(Why::Stalls)),
            ("left_out", None),
            ("not_finite", None),
            ("list.0.inside", Some(Why::NoGas)),
            ("list.1", Some(Why::OffBag)),
            ("map.b", None),
            ("pair.1", None),
        ];
        assert_eq!(found, expected.map(|(key, why)| (key.to_owned(), why)));
    }

    /// What is printed is the value, or null.
    #[test]
    fn a_reason_is_printed_as_null() {
        let text = serde_json::to_string(&table()).unwrap();
        let expected = "{\"known\":1.0,\"unknown\":null,\"left_out\":null,\"not_finite\":null,\
                        \"list\":[{\"inside\":null},null],\"map\":{\"a\":1.0,\"b\":null},\"pair\":[0.0,null]}";
        assert_eq!(text, expected);
    }
}
