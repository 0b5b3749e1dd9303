//! What the model says of a run that was measured, and how that hangs on the thirteen inputs: the same core functions
//! that plan.
//!
//! Derivatives are central differences over 0.3 of each input's standard deviation. The core computes in single
//! precision: an observed quantity carries about 2e-6 of itself as noise (at most 2e-5 m, 2e-6 s, 4e-6 m/s here), so
//! that a derivative over a step that moves the quantity by a millimetre or more is good to about 1 %, and by the
//! usual several centimetres to 0.1 %; the third-order error of the difference is smaller still.

use landfall_core::inputs::{COUNT, Inputs, Uncertain, Uncertainty};
use landfall_core::path::Shape;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use nalgebra::{DMatrix, DVector};

use super::runs::{Measured, Method, RunRow, Split, Start};
use landfall_plan::plan::model::Model;
use landfall_plan::site::{Fault, Site};

/// Step of the derivatives, in standard deviations.
const STEP: f64 = 0.3;

/// A quantity that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Quantity {
    /// Speed at the start.
    PushOff,
    /// Time between two marks, m before the foot; from the start where there is no first.
    Split {
        /// First mark.
        from_m: Option<f64>,
        /// Second mark.
        to_m: f64,
    },
    /// Speed at the lip.
    LipSpeed(Method),
    /// From lip to touch-down.
    AirTime,
    /// Landing point from the front edge.
    Along,
    /// Landing point from the centre line.
    Across,
}

impl Quantity {
    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::PushOff => "push-off",
            Self::Split { .. } => "time between marks",
            Self::LipSpeed(_) => "lip speed",
            Self::AirTime => "air time",
            Self::Along => "landing along",
            Self::Across => "landing across",
        }
    }

    /// Its unit.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            Self::PushOff | Self::LipSpeed(_) => "m/s",
            Self::Split { .. } | Self::AirTime => "s",
            Self::Along | Self::Across => "m",
        }
    }
}

/// A measured quantity of a run.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// What.
    pub quantity: Quantity,
    /// Its value.
    pub value: f64,
    /// Its standard deviation as measured.
    pub sd: f64,
}

/// A measured run as the model takes it.
#[derive(Clone, Debug)]
pub struct Trial {
    /// What it is called.
    pub label: String,
    /// Who rode.
    pub rider: Option<String>,
    /// Surface, bag, masses.
    pub setup: Setup,
    /// The inputs as planned, with what the table states of start and wind.
    pub inputs: [f64; COUNT],
    /// What was measured.
    pub seen: Vec<Seen>,
}

/// A value for each input: what is added to all runs alike.
pub type Shift = [f64; COUNT];

/// The site's values and standard deviations, in double precision.
#[derive(Clone, Debug)]
pub struct Base {
    /// The resolved site.
    pub model: Model,
    /// Site values.
    pub mean: [f64; COUNT],
    /// Standard deviations.
    pub sd: [f64; COUNT],
}

impl Base {
    /// Of a site.
    ///
    /// # Errors
    /// What the models refuse.
    pub fn new(site: &Site) -> Result<Self, landfall_plan::plan::PlanError> {
        let model = Model::new(site)?;
        let mean = model.uncertainty.mean.map(f64::from);
        let sd = model.uncertainty.sd.map(f64::from);
        Ok(Self { model, mean, sd })
    }

    /// Site value and standard deviation of one input.
    #[must_use]
    pub fn of(&self, which: Uncertain) -> (f64, f64) {
        let at = which as usize;
        (self.mean.get(at).copied().unwrap_or_default(), self.sd.get(at).copied().unwrap_or_default())
    }

    /// A run of the table as the model takes it; what does not fit the site goes to `faults`.
    pub fn trial(&self, site: &Site, run: &RunRow, faults: &mut Vec<Fault>) -> Option<Trial> {
        let before = faults.len();
        let mut setup = self.model.setups[0].clone();
        if let Some(mass_kg) = run.rider_mass_kg {
            match setup.with_mass_kg((mass_kg + site.rider.bike_mass_kg) as f32) {
                Ok(other) => setup = other,
                Err(error) => faults.push(run.row.fault("rider_mass", error.to_string(), "look at the rider's mass")),
            }
        }
        let mut inputs = self.mean;
        let mut put = |which: Uncertain, value: Option<f64>| {
            if let (Some(value), Some(slot)) = (value, inputs.get_mut(which as usize)) {
                *slot = value;
            }
        };
        put(Uncertain::WindAlong, run.wind_along_mps);
        put(Uncertain::WindAcross, run.wind_across_mps);
        let planned_m = f64::from(setup.path().start_height_m());
        let height_m = match run.start {
            None => planned_m,
            Some(Start::Height(height_m)) => height_m,
            Some(Start::BeforeFoot(before_m)) => {
                planned_m + (before_m - f64::from(setup.path().length_m())) * self.drop_per_m(&setup)
            }
        };
        put(Uncertain::StartHeight, Some(height_m));
        let lowest_m = f64::from(setup.path().lowest_start_m());
        let adjusts = setup.path().segments().iter().any(|segment| segment.adjusts);
        let key = if matches!(run.start, Some(Start::BeforeFoot(_))) { "start_before_foot" } else { "start_height" };
        if height_m < lowest_m {
            let message = format!("the roll-in cannot start lower than {lowest_m:.2} m above the take-off's foot");
            faults.push(run.row.fault(key, message, "look at the value, or at the site's roll-in"));
        } else if !adjusts && (height_m - planned_m).abs() > 0.01 {
            let message = "no straight of the roll-in slopes: it has only the site's own start";
            faults.push(run.row.fault(key, message, "leave it blank, or change the site's roll-in"));
        }
        let length_m = self.length_m(&setup, height_m);
        if let Some(Split { from_m, to_m, .. }) = run.split {
            let lip_m =
                -f64::from(setup.takeoff().radius_m() * (setup.takeoff().lip_rad() - setup.takeoff().lag_rad()));
            for (name, mark_m) in [("mark_1_before_foot", from_m), ("mark_2_before_foot", Some(to_m))] {
                let Some(mark_m) = mark_m else { continue };
                if mark_m > length_m + 1e-6 {
                    let message = format!("the mark lies before the start, which is {length_m:.2} m before the foot");
                    faults.push(run.row.fault(name, message, "measure along the surface from the take-off's foot"));
                } else if mark_m < lip_m {
                    let message = format!("the mark lies beyond the lip's last {:.2} m", -lip_m);
                    faults.push(run.row.fault(name, message, "marks on the take-off count below 0, up to the lip"));
                }
            }
        }
        let trial = Trial { label: run.label.clone(), rider: run.rider.clone(), setup, inputs, seen: seen(run) };
        if faults.len() == before && trial.predict(&self.model.uncertainty, &[0.0; COUNT]).is_none() {
            let message = "with the site's values this run does not come down on the bag";
            let cure = "look at start, wind and mass; leave the run out with a reason where it really did not";
            faults.push(run.row.fault("run", message, cure));
        }
        (faults.len() == before).then_some(trial)
    }

    /// How far the start rises for a metre along the straight that adjusts.
    fn drop_per_m(&self, setup: &Setup) -> f64 {
        let adjusting = setup.path().segments().iter().find(|segment| segment.adjusts);
        match adjusting.map(|segment| segment.shape) {
            Some(Shape::Straight { sin_up, .. }) => -f64::from(sin_up),
            _ => 0.0,
        }
    }

    /// Length of the ride down to the foot for a start height.
    fn length_m(&self, setup: &Setup, height_m: f64) -> f64 {
        let per_m = self.drop_per_m(setup);
        let longer_m = if per_m == 0.0 { 0.0 } else { (height_m - f64::from(setup.path().start_height_m())) / per_m };
        f64::from(setup.path().length_m()) + longer_m
    }
}

fn seen(run: &RunRow) -> Vec<Seen> {
    let of =
        |quantity, measured: Option<Measured>| measured.map(|Measured { value, sd, .. }| Seen { quantity, value, sd });
    let split = run.split.map(|s| (Quantity::Split { from_m: s.from_m, to_m: s.to_m }, s.time));
    [
        of(Quantity::PushOff, run.push_off),
        split.and_then(|(quantity, time)| of(quantity, Some(time))),
        run.lip_speed.and_then(|(speed, method)| of(Quantity::LipSpeed(method), Some(speed))),
        of(Quantity::AirTime, run.air_time),
        of(Quantity::Along, run.along),
        of(Quantity::Across, run.across),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A place on the ride with its time, for the time at a mark.
#[derive(Clone, Copy)]
struct Passed {
    before_m: f64,
    time_s: f64,
    speed_mps: f64,
}

impl Trial {
    /// What the model gives for each measured quantity with `shift` added to the run's inputs; nothing where the run
    /// does not get that far.
    #[must_use]
    pub fn predict(&self, clips: &Uncertainty, shift: &Shift) -> Option<DVector<f64>> {
        let values: Vec<Quantity> = self.seen.iter().map(|seen| seen.quantity).collect();
        self.predict_of(&values, clips, shift)
    }

    /// The same for any quantities.
    #[must_use]
    pub fn predict_of(&self, quantities: &[Quantity], clips: &Uncertainty, shift: &Shift) -> Option<DVector<f64>> {
        let inputs = self.clipped(clips, shift);
        let timed = quantities.iter().any(|quantity| matches!(quantity, Quantity::Split { .. }));
        let mut passed: Vec<Passed> = Vec::new();
        let height_m = f64::from(self.setup.takeoff().mass_height_m());
        let end = if timed {
            self.setup.ride::<f32, true>(&inputs, &Steps::FINE, |point| {
                // The surface passes under the wheels faster or slower than the centre of mass moves.
                let stretch = 1.0 + f64::from(point.curvature_pm) * height_m;
                passed.push(Passed {
                    before_m: f64::from(point.before_foot_m),
                    time_s: f64::from(point.time_s),
                    speed_mps: f64::from(point.energy_m2ps2).max(0.0).sqrt() * stretch,
                });
            })
        } else {
            self.setup.ride::<f32, false>(&inputs, &Steps::FINE, |_| {})
        };
        if end.stalled || end.left {
            return None;
        }
        let run = self.setup.run_from(&end, &inputs, &Steps::FINE);
        let mut out = DVector::zeros(quantities.len());
        for (slot, quantity) in out.iter_mut().zip(quantities) {
            *slot = match *quantity {
                Quantity::PushOff => f64::from(inputs.get(Uncertain::PushOff)),
                Quantity::Split { from_m, to_m } => {
                    time_at(&passed, to_m)? - from_m.map_or(Some(0.0), |from_m| time_at(&passed, from_m))?
                }
                Quantity::LipSpeed(_) => f64::from(end.speed_mps + inputs.get(Uncertain::LipSpeed)),
                Quantity::AirTime | Quantity::Along | Quantity::Across if !run.landed() => return None,
                Quantity::AirTime => f64::from(run.airtime_s),
                Quantity::Along => f64::from(run.along_m),
                Quantity::Across => f64::from(run.across_m),
            };
        }
        out.iter().all(|value| value.is_finite()).then_some(out)
    }

    /// The inputs with a shift, clipped as a planned run's are.
    fn clipped(&self, clips: &Uncertainty, shift: &Shift) -> Inputs<f32> {
        let mut values = [0.0_f32; COUNT];
        for ((value, at), by) in values.iter_mut().zip(self.inputs).zip(shift) {
            *value = (at + by) as f32;
        }
        clips.clip(Inputs(values))
    }

    /// The prediction at a shift and its derivatives with respect to the inputs that `wanted` picks; the other columns
    /// are zero.
    #[must_use]
    pub fn derivatives(
        &self,
        base: &Base,
        shift: &Shift,
        wanted: impl Fn(Uncertain) -> bool,
    ) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let quantities: Vec<Quantity> = self.seen.iter().map(|seen| seen.quantity).collect();
        self.derivatives_of(&quantities, base, shift, wanted)
    }

    /// The same for any quantities.
    #[must_use]
    pub fn derivatives_of(
        &self,
        quantities: &[Quantity],
        base: &Base,
        shift: &Shift,
        wanted: impl Fn(Uncertain) -> bool,
    ) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let clips = &base.model.uncertainty;
        let middle = self.predict_of(quantities, clips, shift)?;
        let mut slopes = DMatrix::zeros(quantities.len(), COUNT);
        let at_middle = self.clipped(clips, shift);
        for which in Uncertain::ALL {
            let (_, sd) = base.of(which);
            if sd <= 0.0 || !wanted(which) {
                continue;
            }
            let side = |sign: f64| {
                let mut moved = *shift;
                if let Some(slot) = moved.get_mut(which as usize) {
                    *slot += sign * STEP * sd;
                }
                // What the clips and single precision leave of the step.
                let reached = self.clipped(clips, &moved).get(which) - at_middle.get(which);
                (f64::from(reached), self.predict_of(quantities, clips, &moved))
            };
            let ((up, above), (down, below)) = (side(1.0), side(-1.0));
            // At a clip, or where the run would not come down any more, the difference is one-sided.
            let slope = match (above, below) {
                (Some(above), Some(below)) if up > down => (above - below) / (up - down),
                (Some(above), None) if up > 0.0 => (above - &middle) / up,
                (None, Some(below)) if down < 0.0 => (below - &middle) / down,
                _ => return None,
            };
            slopes.set_column(which as usize, &slope);
        }
        Some((middle, slopes))
    }
}

/// When a mark is passed: the inverse of the cubic place(time) through places and speeds at both ends of a step.
fn time_at(passed: &[Passed], before_m: f64) -> Option<f64> {
    let (a, b) = passed
        .windows(2)
        .filter_map(|pair| <[Passed; 2]>::try_from(pair).ok())
        .map(|[a, b]| (a, b))
        .find(|(a, b)| a.before_m >= before_m && before_m >= b.before_m && b.time_s > a.time_s)
        .or_else(|| {
            // A mark at the very start, which rounding may put just before it.
            let first = passed.first()?;
            ((before_m - first.before_m).abs() < 1e-3).then_some((*first, *first))
        })?;
    let span_s = b.time_s - a.time_s;
    if span_s <= 0.0 {
        return Some(a.time_s);
    }
    let length_m = a.before_m - b.before_m;
    let (v0, v1) = (a.speed_mps * span_s, b.speed_mps * span_s);
    let place = |u: f64| {
        let (u2, u3) = (u * u, u * u * u);
        v0 * (u3 - 2.0 * u2 + u) + v1 * (u3 - u2) + length_m * (3.0 * u2 - 2.0 * u3)
    };
    let goal_m = a.before_m - before_m;
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..48 {
        let middle = 0.5 * (low + high);
        if place(middle) < goal_m {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(a.time_s + 0.5 * (low + high) * span_s)
}
