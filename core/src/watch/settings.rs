//! The thresholds that the watch uses, and the checks that refuse a set that cannot work.
//!
//! Nobody types these in: the planner computes them from the site. The box checks them again before
//! it uses them, since a file can be old, foreign or damaged.

use super::box_pressures::{BoxPressures, DEADBAND_SHARE};
use super::parts::Parts;
use crate::error::{InputError, within};

/// Layout number of [`WatchSettings`] without parts; a set with a number that is neither this nor [`PARTS_VERSION`] is refused.
pub const SETTINGS_VERSION: u16 = 2;
/// Layout number of settings with [`Parts`].
pub const PARTS_VERSION: u16 = 3;
/// Added to the layout number where a board at the top of the roll-in must answer ([`crate::top`]). The layout is the same, so
/// that settings from before are read as ever; a program that knows nothing of that board refuses the number.
pub const WITH_TOP: u16 = 0x100;

/// What rounding may take of a pressure, as a share of the operating pressure: a stop pressure at the very end of its
/// room is taken.
const ROUNDING: f32 = 1e-5;

/// Everything that differs from site to site, in pascal and seconds; all pressures are gauge.
///
/// Make one with all fields and call [`WatchSettings::validate`]; [`Watch::new`](super::Watch::new)
/// does so as well, on the device too.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WatchSettings {
    /// Layout number: [`SETTINGS_VERSION`], or [`PARTS_VERSION`] where there are parts; and [`WITH_TOP`] where that is asked for.
    pub version: u16,
    /// Which site these were computed for (a checksum of the site's name and dimensions, not 0).
    pub site_id: u32,
    /// Counts up with every set made for the site: a box refuses one lower than it has.
    pub revision: u32,

    /// Stop pressure: at or under it the siren sounds. 1 Pa to 20 kPa.
    pub stop_pa: f32,
    /// Wait pressure: at or under it no new rider starts. At least `stop_pa`.
    pub wait_pa: f32,
    /// Half-way between `stop_pa` and `operating_pa` (checked to 1 % of their difference).
    pub half_way_pa: f32,
    /// The bag's pressure with the blowers running and nobody on it.
    pub operating_pa: f32,
    /// Smaller of the firm pressure and `pressure_max_pa`: held above it, no new rider starts.
    pub high_pa: f32,
    /// Top of the bag maker's range.
    pub pressure_max_pa: f32,
    /// Commitment + alarm delay + reaction: how long the bag must hold for whoever is already
    /// rolling. 0.5 s to 120 s.
    pub needed_s: f32,

    /// Time in which the dip after a landing is expected to be over. 3 s to 120 s: where the
    /// computed one is shorter, 3 s.
    pub recovery_s: f32,
    /// Deepest dip under the resting pressure that a landing is expected to leave. At least 10 Pa:
    /// where the computed one is smaller, 10 Pa.
    pub landing_dip_pa: f32,
    /// Rise over the resting pressure from which a bump counts as a landing: half of the light
    /// landing's rise, *assumed*. At least six times `noise_low_pa`.
    pub landing_spike_pa: f32,
    /// Highest pressure that any expected landing reaches. The sensor must reach it as well.
    pub landing_peak_pa: f32,
    /// Least time between riders. More than `recovery_s` + 2 s, or there is no quiet air in which a
    /// leak could be seen.
    pub interval_s: f32,

    /// The box senses the blowers' supply; then an input without that sense is a fault.
    pub supply_sense: bool,

    /// Lowest reading that is believed. -20 kPa to 0; a bag is never under outside pressure, so only
    /// zero offset and noise belong here.
    pub sensor_low_pa: f32,
    /// Highest reading that is believed: the end of the sensor's range.
    pub sensor_high_pa: f32,
    /// One count of the sensor. More than 0, at most `noise_low_pa`: else a sound, quiet sensor
    /// would look frozen.
    pub sensor_step_pa: f32,
    /// Largest error of a filtered reading (accuracy, drift since zeroing, noise left by the
    /// filter). The stop and wait pressures are raised by it. At least half of `noise_low_pa`.
    pub sensor_error_pa: f32,
    /// Least standard deviation of the readings on a live bag with the blowers running. Readings
    /// whose whole span over two seconds is no more than this are frozen.
    pub noise_low_pa: f32,
    /// Largest standard deviation that is still usual. Readings with twice to three times this are
    /// a fault.
    pub noise_high_pa: f32,
    /// Fastest change between readings that air in a bag can make, Pa/s.
    pub rate_limit_paps: f32,
    /// Largest zero offset that is believed.
    pub zero_limit_pa: f32,
    /// Largest standard deviation of the sensor's own readings at a steady pressure, its steps included: what is left when
    /// the tube is shut. 1 mPa to 20 Pa.
    pub sensor_noise_pa: f32,

    /// What else is fitted; [`WatchSettings::with_parts`] sets it and the layout number.
    pub parts: Parts,
}

impl WatchSettings {
    /// An invented bag to try a watch with: 1 kPa operating, 600 Pa stop. For examples and tests; no site has these.
    pub const EXAMPLE: Self = Self {
        version: SETTINGS_VERSION,
        site_id: 7,
        revision: 1,
        stop_pa: 600.0,
        wait_pa: 750.0,
        half_way_pa: 800.0,
        operating_pa: 1000.0,
        high_pa: 1300.0,
        pressure_max_pa: 1400.0,
        needed_s: 4.0,
        recovery_s: 5.0,
        landing_dip_pa: 120.0,
        landing_spike_pa: 150.0,
        landing_peak_pa: 3500.0,
        interval_s: 20.0,
        supply_sense: true,
        sensor_low_pa: -60.0,
        sensor_high_pa: 4900.0,
        sensor_step_pa: 0.2,
        sensor_error_pa: 12.0,
        noise_low_pa: 0.5,
        noise_high_pa: 20.0,
        rate_limit_paps: 100_000.0,
        zero_limit_pa: 30.0,
        sensor_noise_pa: 0.15,
        parts: Parts::NONE,
    };

    /// The same settings for a box with `parts`.
    #[must_use]
    pub fn with_parts(self, parts: Parts) -> Self {
        let layout = if parts == Parts::NONE { SETTINGS_VERSION } else { PARTS_VERSION };
        Self { version: layout | self.version & WITH_TOP, parts, ..self }
    }

    /// Takes the set if every value is in range and they stand in an order that can work.
    ///
    /// # Errors
    /// The first [`InputError`] found, with the value and its bounds.
    pub fn validate(&self) -> Result<(), InputError> {
        let without = self.layout() == SETTINGS_VERSION && self.parts == Parts::NONE;
        if !(without || self.layout() == PARTS_VERSION) {
            return Err(InputError::Inconsistent {
                quantity: "watch.version",
                why: "settings of another program's layout; compute them anew",
                off_by: f32::from(self.version) - f32::from(SETTINGS_VERSION),
            });
        }
        if self.site_id == 0 {
            return Err(InputError::Inconsistent {
                quantity: "watch.site_id",
                why: "0 stands for no site",
                off_by: 0.0,
            });
        }
        self.validate_ranges()?;
        self.validate_order()
    }

    /// The layout number alone.
    pub(super) const fn layout(&self) -> u16 {
        self.version & !WITH_TOP
    }

    /// A board at the top of the roll-in must answer, or there is no permit.
    #[must_use]
    pub const fn with_top(&self) -> bool {
        self.version & WITH_TOP != 0
    }

    fn validate_ranges(&self) -> Result<(), InputError> {
        within("watch.stop_pa", self.stop_pa, 1.0, 20_000.0)?;
        within("watch.wait_pa", self.wait_pa, 1.0, 20_000.0)?;
        within("watch.half_way_pa", self.half_way_pa, 1.0, 20_000.0)?;
        within("watch.operating_pa", self.operating_pa, 1.0, 20_000.0)?;
        within("watch.high_pa", self.high_pa, 1.0, 20_000.0)?;
        within("watch.pressure_max_pa", self.pressure_max_pa, 1.0, 20_000.0)?;
        within("watch.needed_s", self.needed_s, 0.5, 120.0)?;
        within("watch.recovery_s", self.recovery_s, 3.0, 120.0)?;
        within("watch.landing_dip_pa", self.landing_dip_pa, 10.0, 20_000.0)?;
        within("watch.landing_spike_pa", self.landing_spike_pa, 1.0, 20_000.0)?;
        within("watch.landing_peak_pa", self.landing_peak_pa, 1.0, 100_000.0)?;
        within("watch.interval_s", self.interval_s, 1.0, 3600.0)?;
        within("watch.sensor_low_pa", self.sensor_low_pa, -20_000.0, 0.0)?;
        within("watch.sensor_high_pa", self.sensor_high_pa, 1.0, 100_000.0)?;
        within("watch.sensor_step_pa", self.sensor_step_pa, 1e-4, 100.0)?;
        within("watch.sensor_error_pa", self.sensor_error_pa, 0.1, 1000.0)?;
        within("watch.noise_low_pa", self.noise_low_pa, 0.01, 100.0)?;
        within("watch.noise_high_pa", self.noise_high_pa, 0.1, 1000.0)?;
        within("watch.rate_limit_paps", self.rate_limit_paps, 1000.0, 1e7)?;
        within("watch.zero_limit_pa", self.zero_limit_pa, 0.1, 1000.0)?;
        within("watch.sensor_noise_pa", self.sensor_noise_pa, 0.001, 20.0)?;
        self.parts.validate()
    }

    fn validate_order(&self) -> Result<(), InputError> {
        at_most("watch.stop_pa", self.stop_pa, "watch.wait_pa", self.wait_pa)?;
        less("watch.stop_pa", self.stop_pa, "watch.operating_pa", self.operating_pa)?;
        at_most("watch.operating_pa", self.operating_pa, "watch.high_pa", self.high_pa)?;
        at_most("watch.high_pa", self.high_pa, "watch.pressure_max_pa", self.pressure_max_pa)?;
        let gap_pa = self.operating_pa - self.stop_pa;
        let off_pa = self.half_way_pa - 0.5 * (self.stop_pa + self.operating_pa);
        let half_way = off_pa.abs() <= 0.01 * gap_pa;
        if !half_way {
            return Err(InputError::Inconsistent {
                quantity: "watch.half_way_pa",
                why: "not half-way between stop_pa and operating_pa",
                off_by: off_pa,
            });
        }
        // The bag at rest must be able to get the permit, and an expected landing must not sound the siren.
        let rounding_pa = ROUNDING * self.operating_pa;
        at_most(
            "watch.ready_pa + watch.noise_high_pa (computed)",
            self.ready_pa() + self.noise_high_pa - rounding_pa,
            "watch.operating_pa",
            self.operating_pa,
        )?;
        at_most(
            "watch.trip_pa (computed)",
            self.trip_pa() - rounding_pa,
            "watch.operating_pa - watch.landing_dip_pa",
            self.operating_pa - self.landing_dip_pa,
        )?;
        less(
            "watch.operating_pa + watch.landing_spike_pa",
            self.operating_pa + self.landing_spike_pa,
            "watch.landing_peak_pa",
            self.landing_peak_pa,
        )?;
        at_most("watch.landing_peak_pa", self.landing_peak_pa, "watch.sensor_high_pa", self.sensor_high_pa)?;
        at_most("watch.pressure_max_pa", self.pressure_max_pa, "watch.sensor_high_pa", self.sensor_high_pa)?;
        at_most("watch.recovery_s + 2 s", self.recovery_s + 2.0, "watch.interval_s", self.interval_s)?;
        at_most("watch.sensor_step_pa", self.sensor_step_pa, "watch.noise_low_pa", self.noise_low_pa)?;
        less("watch.noise_low_pa", self.noise_low_pa, "watch.noise_high_pa", self.noise_high_pa)?;
        at_most("watch.noise_low_pa / 2", 0.5 * self.noise_low_pa, "watch.sensor_error_pa", self.sensor_error_pa)?;
        at_most("6 watch.noise_low_pa", 6.0 * self.noise_low_pa, "watch.landing_spike_pa", self.landing_spike_pa)?;
        less("watch.zero_limit_pa", self.zero_limit_pa, "watch.stop_pa", self.stop_pa)?;
        at_most("watch.zero_limit_pa", self.zero_limit_pa, "-watch.sensor_low_pa", -self.sensor_low_pa)?;
        Ok(())
    }

    /// When siren and permit change.
    #[must_use]
    pub fn pressures(&self) -> BoxPressures {
        BoxPressures::new(self.stop_pa, self.wait_pa, self.operating_pa, self.sensor_error_pa)
    }

    /// What separates an alarm from its return: [`DEADBAND_SHARE`] of the operating pressure.
    #[must_use]
    pub fn deadband_pa(&self) -> f32 {
        DEADBAND_SHARE * self.operating_pa
    }

    /// Filtered pressure at or under which the siren sounds.
    #[must_use]
    pub fn trip_pa(&self) -> f32 {
        self.pressures().siren_pa
    }

    /// Filtered pressure at or under which the permit goes off.
    #[must_use]
    pub fn hold_pa(&self) -> f32 {
        self.pressures().permit_off_pa
    }

    /// Filtered pressure from which the permit may come back.
    #[must_use]
    pub fn ready_pa(&self) -> f32 {
        self.pressures().permit_back_pa
    }
}

fn less(smaller: &'static str, a: f32, larger: &'static str, b: f32) -> Result<(), InputError> {
    if a < b { Ok(()) } else { Err(InputError::Order { smaller, smaller_got: a, larger, larger_got: b }) }
}

fn at_most(smaller: &'static str, a: f32, larger: &'static str, b: f32) -> Result<(), InputError> {
    if a <= b { Ok(()) } else { Err(InputError::Order { smaller, smaller_got: a, larger, larger_got: b }) }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::watch::parts::{BatteryPart, SecondKind, SecondSensor};

    pub(crate) fn sample() -> WatchSettings {
        WatchSettings::EXAMPLE
    }

    /// Everything fitted.
    pub(crate) const ALL: Parts = Parts {
        permit_pulses: true,
        readback_s: Some(0.15),
        second: Some(SecondSensor { kind: SecondKind::Bridge, error_pa: 12.5, noise_pa: 0.15, zero_limit_pa: 30.0 }),
        battery: Some(BatteryPart { full_v: 12.8, empty_v: 11.6, lasts_s: 43_200.0, session_s: 14_400.0 }),
        blowers: 3,
    };

    #[test]
    fn parts_change_the_layout_number_and_nothing_else() {
        let with = sample().with_parts(ALL);
        with.validate().unwrap();
        assert_eq!((with.version, sample().with_parts(Parts::NONE).version), (PARTS_VERSION, SETTINGS_VERSION));
        assert_eq!(with.with_parts(Parts::NONE), sample());
    }

    #[test]
    fn sample_is_taken_and_levels_stand_in_order() {
        let s = sample();
        s.validate().unwrap();
        assert!(s.stop_pa < s.trip_pa() && s.trip_pa() < s.hold_pa());
        assert!(s.hold_pa() < s.ready_pa() && s.ready_pa() < s.operating_pa);
        // By hand: max(750, 800 + 0.1·200) + 12 = 832, + 2 % of 1000 = 852.
        assert!((s.hold_pa() - 832.0).abs() < 1e-3 && (s.ready_pa() - 852.0).abs() < 1e-3);
    }

    #[test]
    fn the_top_is_asked_for_in_the_layout_number() {
        let plain = sample();
        let with = WatchSettings { version: SETTINGS_VERSION | WITH_TOP, ..plain };
        with.validate().unwrap();
        assert!(with.with_top() && !plain.with_top());
    }

    #[test]
    fn every_wrong_set_is_refused() {
        type Spoil = fn(&mut WatchSettings);
        let wrong: &[(&str, Spoil)] = &[
            ("version", |s| s.version = 1),
            ("a later version", |s| s.version = 4),
            ("parts in a layout without them", |s| s.parts.permit_pulses = true),
            ("a relay that may take for ever", |s| *s = s.with_parts(Parts { readback_s: Some(2.0), ..ALL })),
            ("five blowers", |s| *s = s.with_parts(Parts { blowers: 5, ..ALL })),
            ("a battery that is empty when full", |s| {
                *s = s.with_parts(Parts { battery: ALL.battery.map(|b| BatteryPart { empty_v: 12.7, ..b }), ..ALL });
            }),
            ("a session longer than the battery lasts", |s| {
                *s = s.with_parts(Parts { battery: ALL.battery.map(|b| BatteryPart { session_s: 5e4, ..b }), ..ALL });
            }),
            ("a second sensor of no accuracy", |s| {
                *s =
                    s.with_parts(Parts { second: ALL.second.map(|p| SecondSensor { error_pa: f32::NAN, ..p }), ..ALL });
            }),
            ("version of an unknown kind", |s| s.version |= 0x200),
            ("site", |s| s.site_id = 0),
            ("stop above wait", |s| s.stop_pa = 751.0),
            ("stop zero", |s| s.stop_pa = 0.0),
            ("wait at operating", |s| s.wait_pa = 1000.0),
            ("wait so high that the permit never comes", |s| s.wait_pa = 949.0),
            ("operating above high", |s| s.high_pa = 999.9),
            ("high above max", |s| s.high_pa = 1401.0),
            ("half-way not half-way", |s| s.half_way_pa = 805.0),
            ("recovery under 3 s", |s| s.recovery_s = 2.9),
            ("dip under 10 Pa", |s| s.landing_dip_pa = 9.0),
            ("dip reaches the siren", |s| s.landing_dip_pa = 388.1),
            ("recovery longer than the interval", |s| s.recovery_s = 19.0),
            ("peak above the sensor", |s| s.landing_peak_pa = 4901.0),
            ("maker's maximum above the sensor", |s| s.sensor_high_pa = 1350.0),
            ("spike above the peak", |s| s.landing_spike_pa = 2600.0),
            ("spike within the noise", |s| s.landing_spike_pa = 2.0),
            ("sensor step above the noise", |s| s.sensor_step_pa = 0.6),
            ("noise bounds crossed", |s| s.noise_high_pa = 0.4),
            ("no error allowed", |s| s.sensor_error_pa = 0.2),
            ("zero limit above stop", |s| s.zero_limit_pa = 601.0),
            ("zero limit outside the range", |s| s.zero_limit_pa = 61.0),
            ("rate", |s| s.rate_limit_paps = 10.0),
            ("needed", |s| s.needed_s = 0.0),
        ];
        for (name, spoil) in wrong {
            let mut s = sample();
            spoil(&mut s);
            assert!(s.validate().is_err(), "{name} was taken");
        }
    }

    #[test]
    fn values_at_their_bounds_are_taken_and_a_little_beyond_are_not() {
        type Set = fn(&mut WatchSettings, f32);
        let bounds: &[(&str, Set, f32, f32)] = &[
            // 0.5 Pa of noise: six times that.
            ("spike over the noise", |s, v| s.landing_spike_pa = v, 3.0, 2.99),
            ("spike under the peak", |s, v| s.landing_spike_pa = v, sample().landing_peak_pa - 1_000.5, 1e4),
            ("stop at wait", |s, v| (s.stop_pa, s.half_way_pa) = (v, 0.5 * (v + 1_000.0)), 750.0, 751.0),
            ("high at operating", |s, v| s.high_pa = v, 1_000.0, 999.9),
            ("high at the maximum", |s, v| s.high_pa = v, sample().pressure_max_pa, sample().pressure_max_pa + 0.5),
            ("half-way within a hundredth", |s, v| s.half_way_pa = v, 803.9, 804.1),
            ("half-way within a hundredth below", |s, v| s.half_way_pa = v, 796.1, 795.9),
            ("recovery and 2 s in the interval", |s, v| s.recovery_s = v, 18.0, 18.01),
            ("peak at the sensor's end", |s, v| s.landing_peak_pa = v, 4_900.0, 4_900.5),
            ("maximum at the sensor's end", |s, v| s.sensor_high_pa = v, sample().landing_peak_pa, 1_399.0),
            ("step at the noise", |s, v| s.sensor_step_pa = v, 0.5, 0.501),
            ("error at half the noise", |s, v| s.sensor_error_pa = v, 0.25, 0.249),
            ("zero limit in the range", |s, v| s.zero_limit_pa = v, 60.0, 60.1),
        ];
        for (name, set, good, bad) in bounds {
            let with = |value: f32| {
                let mut settings = sample();
                set(&mut settings, value);
                settings.validate()
            };
            assert_eq!(with(*good), Ok(()), "{name} {good}");
            assert!(with(*bad).is_err(), "{name} {bad}");
        }
    }

    #[test]
    fn not_a_number_is_refused_in_every_field() {
        type Field = fn(&mut WatchSettings) -> &mut f32;
        let fields: &[Field] = &[
            |s| &mut s.stop_pa,
            |s| &mut s.wait_pa,
            |s| &mut s.half_way_pa,
            |s| &mut s.operating_pa,
            |s| &mut s.high_pa,
            |s| &mut s.pressure_max_pa,
            |s| &mut s.needed_s,
            |s| &mut s.recovery_s,
            |s| &mut s.landing_dip_pa,
            |s| &mut s.landing_spike_pa,
            |s| &mut s.landing_peak_pa,
            |s| &mut s.interval_s,
            |s| &mut s.sensor_low_pa,
            |s| &mut s.sensor_high_pa,
            |s| &mut s.sensor_step_pa,
            |s| &mut s.sensor_error_pa,
            |s| &mut s.noise_low_pa,
            |s| &mut s.noise_high_pa,
            |s| &mut s.rate_limit_paps,
            |s| &mut s.zero_limit_pa,
            |s| &mut s.sensor_noise_pa,
        ];
        for (i, field) in fields.iter().enumerate() {
            for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
                let mut s = sample();
                *field(&mut s) = bad;
                assert!(s.validate().is_err(), "field {i} took {bad}");
            }
        }
    }
}
