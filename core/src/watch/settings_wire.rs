//! How settings are written: layout 2 without parts, layout 3 with them behind all else.
//!
//! Settings without parts are the same bytes as ever, so that boxes and files of before are read, and read them.

use core::fmt;

use serde::de::{Error, MapAccess, SeqAccess, Visitor};
use serde::ser::SerializeStruct as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::parts::Parts;
use super::settings::{PARTS_VERSION, WatchSettings};

macro_rules! written {
    ($($field:ident: $kind:ty),* $(,)?) => {
        /// All fields in the order in which they are written.
        const FIELDS: &[&str] = &[$(stringify!($field),)* "parts"];

        #[allow(non_camel_case_types)]
        #[derive(Deserialize)]
        #[serde(field_identifier)]
        enum Key { $($field,)* parts }

        impl Serialize for WatchSettings {
            fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                let with_parts = self.layout() == PARTS_VERSION;
                let count = if with_parts { FIELDS.len() } else { FIELDS.len() - 1 };
                let mut out = to.serialize_struct("WatchSettings", count)?;
                $(out.serialize_field(stringify!($field), &self.$field)?;)*
                if with_parts {
                    out.serialize_field("parts", &self.parts)?;
                }
                out.end()
            }
        }

        impl<'de> Visitor<'de> for Reader {
            type Value = WatchSettings;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("settings of the watch")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<WatchSettings, A::Error> {
                $(let $field: $kind =
                    from.next_element()?.ok_or_else(|| A::Error::missing_field(stringify!($field)))?;)*
                let mut settings = WatchSettings { $($field,)* parts: Parts::NONE };
                if settings.layout() == PARTS_VERSION {
                    settings.parts = from.next_element()?.ok_or_else(|| A::Error::missing_field("parts"))?;
                }
                Ok(settings)
            }

            fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<WatchSettings, A::Error> {
                $(let mut $field: Option<$kind> = None;)*
                let mut parts = Parts::NONE;
                while let Some(key) = from.next_key()? {
                    match key {
                        $(Key::$field => $field = Some(from.next_value()?),)*
                        Key::parts => parts = from.next_value()?,
                    }
                }
                Ok(WatchSettings { $($field: $field.ok_or_else(|| A::Error::missing_field(stringify!($field)))?,)* parts })
            }
        }
    };
}

struct Reader;

written! {
    version: u16, site_id: u32, revision: u32,
    stop_pa: f32, wait_pa: f32, half_way_pa: f32, operating_pa: f32, high_pa: f32, pressure_max_pa: f32, needed_s: f32,
    recovery_s: f32, landing_dip_pa: f32, landing_spike_pa: f32, landing_peak_pa: f32, interval_s: f32,
    supply_sense: bool,
    sensor_low_pa: f32, sensor_high_pa: f32, sensor_step_pa: f32, sensor_error_pa: f32, noise_low_pa: f32,
    noise_high_pa: f32, rate_limit_paps: f32, zero_limit_pa: f32, sensor_noise_pa: f32,
}

impl<'de> Deserialize<'de> for WatchSettings {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_struct("WatchSettings", FIELDS, Reader)
    }
}
