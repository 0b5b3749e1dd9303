//! The thirteen inputs that vary from run to run, with their standard deviations and their clips.

use crate::error::{InputError, within};
use crate::lane::Lane;

/// How many inputs vary.
pub const COUNT: usize = 13;

/// Largest standard deviation of the yaw: beyond it the sine's polynomial would leave its range.
pub const MAX_YAW_SD_RAD: f32 = 0.25;

/// An input that varies from run to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Uncertain {
    /// Height of the start above the take-off's foot, m.
    StartHeight,
    /// Speed at the start, m/s.
    PushOff,
    /// Rolling resistance coefficient.
    RollingResistance,
    /// Drag area while rolling, m².
    DragAreaRolling,
    /// Drag area while flying, m².
    DragAreaFlying,
    /// Added to the speed at the lip, m/s.
    LipSpeed,
    /// Share of the bike's lag made up at the lip.
    Carry,
    /// Speed added normal to the surface at the lip, m/s.
    Pop,
    /// Direction of the flight about the vertical, to the left positive, rad.
    Yaw,
    /// Where the run leaves the lip, to the left positive, m.
    Line,
    /// Tail wind, m/s.
    WindAlong,
    /// Wind from the right, m/s.
    WindAcross,
    /// Height of the centre of mass above what touches first, m.
    ContactHeight,
}

impl Uncertain {
    /// All of them, in the order of [`Inputs`].
    pub const ALL: [Self; COUNT] = [
        Self::StartHeight,
        Self::PushOff,
        Self::RollingResistance,
        Self::DragAreaRolling,
        Self::DragAreaFlying,
        Self::LipSpeed,
        Self::Carry,
        Self::Pop,
        Self::Yaw,
        Self::Line,
        Self::WindAlong,
        Self::WindAcross,
        Self::ContactHeight,
    ];

    /// Its name as site files and results print it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::StartHeight => "start_height",
            Self::PushOff => "push_off",
            Self::RollingResistance => "rolling_resistance",
            Self::DragAreaRolling => "drag_area_rolling",
            Self::DragAreaFlying => "drag_area_flying",
            Self::LipSpeed => "lip_speed",
            Self::Carry => "carry",
            Self::Pop => "pop",
            Self::Yaw => "yaw",
            Self::Line => "line",
            Self::WindAlong => "wind_along",
            Self::WindAcross => "wind_across",
            Self::ContactHeight => "contact_height",
        }
    }
}

/// One value for each of [`Uncertain::ALL`], in that order.
#[derive(Clone, Copy, Debug)]
pub struct Inputs<L>(pub [L; COUNT]);

impl<L: Lane> Inputs<L> {
    /// The value of one input.
    #[inline(always)]
    pub fn get(&self, which: Uncertain) -> L {
        self.0[which as usize]
    }

    /// The same inputs with one value kept between two bounds.
    #[inline(always)]
    fn kept(mut self, which: Uncertain, low: f32, high: f32) -> Self {
        let slot = &mut self.0[which as usize];
        *slot = slot.max(L::splat(low)).min(L::splat(high));
        self
    }

    /// The same inputs with one value changed.
    #[inline(always)]
    #[must_use]
    pub fn with(mut self, which: Uncertain, value: L) -> Self {
        self.0[which as usize] = value;
        self
    }
}

/// The inputs that scatter more in a botched try.
pub const BOTCHED: [Uncertain; 4] = [Uncertain::Carry, Uncertain::Pop, Uncertain::Yaw, Uncertain::ContactHeight];

/// Largest factor of a botched try.
pub const MAX_BOTCHED_FACTOR: f32 = 10.0;

/// The site values of the inputs and their standard deviations, with the clips that both methods of
/// finding the spread apply.
///
/// A share of the runs are *botched tries*: something goes wrong at the take-off, and the inputs of [`BOTCHED`] scatter
/// by a factor more. Share and factor are *assumed*.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertainty {
    /// Site values.
    pub mean: [f32; COUNT],
    /// Standard deviations, in the same units.
    pub sd: [f32; COUNT],
    /// Share of the runs that are botched, 0..1.
    pub botched: f32,
    /// How many times as large the standard deviations of [`BOTCHED`] are in a botched try.
    pub botched_factor: f32,
    /// Lowest start height that the roll-in's straight can make.
    pub lowest_start_m: f32,
    /// Height of the centre of mass, which the contact height cannot pass.
    pub mass_height_m: f32,
}

/// Ranges of the means: low, high.
const MEAN_RANGES: [(&str, f32, f32); COUNT] = [
    ("roll_in.start_height_m", 0.0, 100.0),
    ("roll_in.push_off_mps", 0.0, 15.0),
    ("roll_in.rolling_resistance", 0.0, 0.5),
    ("rider.drag_area_rolling_m2", 0.0, 5.0),
    ("rider.drag_area_flying_m2", 0.0, 5.0),
    ("lip_speed_mps", -5.0, 5.0),
    ("rider.carry", 0.0, 1.0),
    ("rider.pop_mps", -5.0, 5.0),
    ("yaw_rad", -0.5, 0.5),
    ("line_m", -20.0, 20.0),
    ("wind.along_mps", -30.0, 30.0),
    ("wind.across_mps", -30.0, 30.0),
    ("rider.contact_height_m", 0.2, 3.0),
];

/// Their standard deviations, in the same order: name and largest.
const SD_RANGES: [(&str, f32); COUNT] = [
    ("standard deviation of start_height_m", 5.0),
    ("standard deviation of push_off_mps", 5.0),
    ("standard deviation of rolling_resistance", 0.2),
    ("standard deviation of drag_area_rolling_m2", 2.0),
    ("standard deviation of drag_area_flying_m2", 2.0),
    ("standard deviation of lip_speed_mps", 5.0),
    ("standard deviation of carry", 2.0),
    ("standard deviation of pop_mps", 5.0),
    ("standard deviation of yaw_rad", MAX_YAW_SD_RAD),
    ("standard deviation of line_m", 10.0),
    ("standard deviation of wind_along_mps", 10.0),
    ("standard deviation of wind_across_mps", 10.0),
    ("standard deviation of contact_height_m", 2.0),
];

impl Uncertainty {
    /// Checks the values; no try is botched until [`Uncertainty::with_botched`] says so.
    ///
    /// # Errors
    /// [`InputError`] where a mean or a standard deviation is out of range or not a number.
    pub fn new(
        mean: [f32; COUNT],
        sd: [f32; COUNT],
        lowest_start_m: f32,
        mass_height_m: f32,
    ) -> Result<Self, InputError> {
        for ((value, (name, low, high)), (sd, (sd_name, limit))) in
            mean.iter().zip(MEAN_RANGES).zip(sd.iter().zip(SD_RANGES))
        {
            within(name, *value, low, high)?;
            within(sd_name, *sd, 0.0, limit)?;
        }
        within("lowest_start_m", lowest_start_m, 0.0, 100.0)?;
        within("rider.mass_height_m", mass_height_m, 0.2, 3.0)?;
        Ok(Self { mean, sd, botched: 0.0, botched_factor: 1.0, lowest_start_m, mass_height_m })
    }

    /// The same with a share of botched tries.
    ///
    /// # Errors
    /// [`InputError`] where the share is not in 0..1 or the factor not in 1..10.
    pub fn with_botched(self, share: f32, factor: f32) -> Result<Self, InputError> {
        within("spread.botched", share, 0.0, 1.0)?;
        within("spread.botched_factor", factor, 1.0, MAX_BOTCHED_FACTOR)?;
        Ok(Self { botched: share, botched_factor: factor, ..self })
    }

    /// The good tries alone.
    #[must_use]
    pub fn good_tries(&self) -> Self {
        Self { botched: 0.0, botched_factor: 1.0, ..*self }
    }

    /// The botched tries alone: their larger standard deviations, and none botched on top.
    #[must_use]
    pub fn botched_tries(&self) -> Self {
        let mut other = self.good_tries();
        for which in BOTCHED {
            if let Some(sd) = other.sd.get_mut(which as usize) {
                *sd *= self.botched_factor;
            }
        }
        other
    }

    /// The site values, clipped as a run's are.
    #[must_use]
    pub fn at_mean(&self) -> Inputs<f32> {
        self.clip(Inputs(self.mean))
    }

    /// The inputs at a number of standard deviations from the means, clipped.
    #[inline(always)]
    pub fn at<L: Lane>(&self, deviations: &[L; COUNT]) -> Inputs<L> {
        let mut values = *deviations;
        for ((value, mean), sd) in values.iter_mut().zip(self.mean).zip(self.sd) {
            *value = *value * sd + mean;
        }
        self.clip(Inputs(values))
    }

    /// Start height (not below what the straight can make), push-off, rolling resistance and drag
    /// areas at or above 0, carry in 0..1, contact height in 0.2 m..h; yaw within a quarter turn.
    #[inline(always)]
    pub fn clip<L: Lane>(&self, inputs: Inputs<L>) -> Inputs<L> {
        let quarter = core::f32::consts::FRAC_PI_2;
        inputs
            .kept(Uncertain::StartHeight, self.lowest_start_m, f32::MAX)
            .kept(Uncertain::PushOff, 0.0, f32::MAX)
            .kept(Uncertain::RollingResistance, 0.0, f32::MAX)
            .kept(Uncertain::DragAreaRolling, 0.0, f32::MAX)
            .kept(Uncertain::DragAreaFlying, 0.0, f32::MAX)
            .kept(Uncertain::Carry, 0.0, 1.0)
            .kept(Uncertain::Yaw, -quarter, quarter)
            .kept(Uncertain::ContactHeight, 0.2, self.mass_height_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_and_clips() {
        for (index, which) in Uncertain::ALL.iter().enumerate() {
            assert_eq!(*which as usize, index);
        }
        let mut mean = [0.0; COUNT];
        mean[0] = 4.0;
        mean[12] = 0.7;
        let u = Uncertainty::new(mean, [0.1; COUNT], 1.0, 1.0).unwrap();
        let far = u.at(&[-100.0; COUNT]);
        assert_eq!(far.get(Uncertain::StartHeight), 1.0);
        assert_eq!(far.get(Uncertain::PushOff), 0.0);
        assert_eq!(far.get(Uncertain::Carry), 0.0);
        assert_eq!(far.get(Uncertain::ContactHeight), 0.2);
        assert_eq!(u.at(&[100.0; COUNT]).get(Uncertain::ContactHeight), 1.0);
        mean[3] = f32::NAN;
        assert!(Uncertainty::new(mean, [0.1; COUNT], 1.0, 1.0).is_err());
    }

    #[test]
    fn a_botched_try_scatters_more_at_the_take_off_only() {
        let u = Uncertainty::new([0.5; COUNT], [0.1; COUNT], 0.0, 1.0).unwrap().with_botched(0.05, 2.0).unwrap();
        let botched = u.botched_tries();
        for which in Uncertain::ALL {
            let more = matches!(which, Uncertain::Carry | Uncertain::Pop | Uncertain::Yaw | Uncertain::ContactHeight);
            assert_eq!(botched.sd[which as usize], if more { 0.2 } else { 0.1 });
            assert_eq!(u.good_tries().sd[which as usize], 0.1);
        }
        assert_eq!((botched.mean, botched.botched, botched.botched_factor), (u.mean, 0.0, 1.0));
        assert!(u.with_botched(1.01, 2.0).is_err() && u.with_botched(-0.01, 2.0).is_err());
        assert!(u.with_botched(0.05, 0.9).is_err() && u.with_botched(0.05, f32::NAN).is_err());
    }
}
