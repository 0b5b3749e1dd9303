//! A value, or why there is none.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use super::Why;

/// A value of the results, or the reason why it is null: put in where the value would have been made, and nowhere
/// else. It is printed as the value or as null; [`super::nulls`] finds the reasons.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OrWhy<T> {
    /// The value.
    Value(T),
    /// Why there is none.
    Null(Why),
}

impl<T> OrWhy<T> {
    /// The value where there is one.
    #[must_use]
    pub fn get(self) -> Option<T>
    where
        T: Copy,
    {
        self.into()
    }

    /// The same, lent.
    #[must_use]
    pub const fn as_ref(&self) -> Option<&T> {
        match self {
            Self::Value(value) => Some(value),
            Self::Null(_) => None,
        }
    }

    /// The same, to change.
    #[must_use]
    pub const fn as_mut(&mut self) -> Option<&mut T> {
        match self {
            Self::Value(value) => Some(value),
            Self::Null(_) => None,
        }
    }

    /// Why it is null, where it is.
    #[must_use]
    pub const fn why(&self) -> Option<Why> {
        match self {
            Self::Value(_) => None,
            Self::Null(why) => Some(*why),
        }
    }

    /// What follows from the value; null for the same reason where there is none.
    #[must_use]
    pub fn map<U>(self, of: impl FnOnce(T) -> U) -> OrWhy<U> {
        match self {
            Self::Value(value) => OrWhy::Value(of(value)),
            Self::Null(why) => OrWhy::Null(why),
        }
    }

    /// What follows from the value, if it does; null for the first reason that there is.
    #[must_use]
    pub fn and_then<U>(self, of: impl FnOnce(T) -> OrWhy<U>) -> OrWhy<U> {
        match self {
            Self::Value(value) => of(value),
            Self::Null(why) => OrWhy::Null(why),
        }
    }

    /// Both values; null for the first reason that there is.
    #[must_use]
    pub fn zip<U>(self, other: OrWhy<U>) -> OrWhy<(T, U)> {
        self.and_then(|value| other.map(|other| (value, other)))
    }

    /// This value or else the other.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        match self {
            Self::Value(_) => self,
            Self::Null(_) => other,
        }
    }

    /// The same; null for this reason instead, but that what was not asked for stays that.
    #[must_use]
    pub fn because(self, why: Why) -> Self {
        match self {
            Self::Null(was) if was != Why::NotAsked => Self::Null(why),
            same => same,
        }
    }
}

impl<T> From<Result<T, Why>> for OrWhy<T> {
    fn from(result: Result<T, Why>) -> Self {
        match result {
            Ok(value) => Self::Value(value),
            Err(why) => Self::Null(why),
        }
    }
}

impl<T> From<Why> for OrWhy<T> {
    fn from(why: Why) -> Self {
        Self::Null(why)
    }
}

impl<T> From<OrWhy<T>> for Option<T> {
    fn from(value: OrWhy<T>) -> Self {
        match value {
            OrWhy::Value(value) => Some(value),
            OrWhy::Null(_) => None,
        }
    }
}

/// Not asked for.
impl<T> Default for OrWhy<T> {
    fn default() -> Self {
        Self::Null(Why::NotAsked)
    }
}

/// A null is a unit struct of its reason's name: null in every format, and a name for who looks for it.
impl<T: Serialize> Serialize for OrWhy<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Value(value) => serializer.serialize_some(value),
            Self::Null(why) => serializer.serialize_unit_struct(why.name()),
        }
    }
}

/// That of a value or null.
impl<T: JsonSchema> JsonSchema for OrWhy<T> {
    fn inline_schema() -> bool {
        Option::<T>::inline_schema()
    }

    fn schema_name() -> Cow<'static, str> {
        Option::<T>::schema_name()
    }

    fn schema_id() -> Cow<'static, str> {
        Option::<T>::schema_id()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Option::<T>::json_schema(generator)
    }

    // What decides, of an option too, whether a key is named among the required ones.
    fn _schemars_private_is_option() -> bool {
        true
    }
}
