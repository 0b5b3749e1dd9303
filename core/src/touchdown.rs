//! Touch-down: a body sinks into the bag, is slowed by its gas, and is given back.
//!
//! m u̇ = m g cos φ − f p A(x), ẋ = u, Ġ = Q_in(p) − Q_out(p), p from the quick gas law of [`Adiabat`].
//! f is 1 on the way in and 1 − skin_loss on the way back; a body that the reduced force cannot lift and the full
//! force can carry rests where it is; one that has come to rest and sinks on lies on the ground once it is there.
//!
//! Integrated with the 5(4) pair of Dormand & Prince (1980), the step chosen by its error estimate; after each step
//! the pressure is put back on the gas law. Turning, ground, leaving and the change between slack and taut are
//! located within the step on a quintic through both ends' depth, speed and acceleration.

use crate::air::STANDARD_GRAVITY_MPS2;
use crate::bag_gas::Adiabat;
use crate::dormand_prince::{State, Step, step};
use crate::error::{InputError, Status, within};
use crate::flows::Flows;
use crate::force_area::ForceArea;
use crate::hermite::{Quintic, cubic_peak};
use crate::sinking::{
    Body, Dense, Event, Mode, Phase, corner_share, first_event, first_step_s, knot_share, step_factor,
};

/// What a landing is made from: plain numbers, checked by [`Landing::new`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LandingInput {
    /// Mass that lands, kg.
    pub mass_kg: f32,
    /// Speed into the top at contact, m/s.
    pub normal_speed_mps: f32,
    /// Slope of the top, rad.
    pub slope_rad: f32,
    /// Share of the force that is not given back (*assumed* 0.65).
    pub skin_loss: f32,
    /// Area with which the bag pushes back on the body.
    pub area: ForceArea,
    /// Thickness of the bag normal to its top where the body lands, m; none: no ground under it.
    pub thickness_m: Option<f32>,
}

/// Who lands, how fast and on what.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Landing {
    input: LandingInput,
}

impl Landing {
    /// Valid: 1 to 10,000 kg, 0 to 60 m/s, slope within ±1.4 rad, skin loss 0 to 1, thickness 0.05 to 30 m.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn new(input: LandingInput) -> Result<Self, InputError> {
        within("landing.mass_kg", input.mass_kg, 1.0, 10_000.0)?;
        within("landing.normal_speed_mps", input.normal_speed_mps, 0.0, 60.0)?;
        within("landing.slope_rad", input.slope_rad, -1.4, 1.4)?;
        within("bag.skin_loss", input.skin_loss, 0.0, 1.0)?;
        if let Some(thickness_m) = input.thickness_m {
            within("bag.thickness_m", thickness_m, 0.05, 30.0)?;
        }
        Ok(Self { input })
    }

    /// The numbers that it was made from, to make another.
    #[must_use]
    pub const fn input(&self) -> LandingInput {
        self.input
    }

    /// The same at another speed, kept within 0 to 60 m/s.
    #[must_use]
    pub fn at_speed(&self, normal_speed_mps: f32) -> Self {
        let normal_speed_mps = libm::fminf(libm::fmaxf(normal_speed_mps, 0.0), 60.0);
        Self { input: LandingInput { normal_speed_mps, ..self.input } }
    }

    /// The same with no ground under the bag.
    #[must_use]
    pub const fn without_ground(&self) -> Self {
        Self { input: LandingInput { thickness_m: None, ..self.input } }
    }

    /// The same with the ground at a depth.
    ///
    /// # Errors
    /// As [`Landing::new`].
    pub fn over_ground(&self, thickness_m: f32) -> Result<Self, InputError> {
        Self::new(LandingInput { thickness_m: Some(thickness_m), ..self.input })
    }

    /// Mass that lands, kg.
    #[must_use]
    pub const fn mass_kg(&self) -> f32 {
        self.input.mass_kg
    }

    /// Speed into the top at contact, m/s.
    #[must_use]
    pub const fn normal_speed_mps(&self) -> f32 {
        self.input.normal_speed_mps
    }

    /// Slope of the top, rad.
    #[must_use]
    pub const fn slope_rad(&self) -> f32 {
        self.input.slope_rad
    }

    /// Share of the force that is not given back (*assumed* 0.65).
    #[must_use]
    pub const fn skin_loss(&self) -> f32 {
        self.input.skin_loss
    }

    /// Area with which the bag pushes back on the body.
    #[must_use]
    pub const fn area(&self) -> ForceArea {
        self.input.area
    }

    /// Thickness of the bag normal to its top where the body lands, m; none: no ground under it.
    #[must_use]
    pub const fn thickness_m(&self) -> Option<f32> {
        self.input.thickness_m
    }
}

/// How long to follow the body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Until {
    /// To the deepest point, for the depth alone: loads and pressures on the way are not looked for.
    Depth,
    /// To the deepest point: enough for depth, load and pressure.
    Deepest,
    /// Until it is back at the skin, meets the ground, or the time is over.
    Back,
}

/// Accuracy and extent of the integration.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Options {
    /// Error allowed in one step, relative to depth, contact speed and gas lost. Taken to 1e-6..1e-2.
    pub tolerance: f32,
    /// Most steps, refused ones included.
    pub max_steps: u16,
    /// Time after contact at which the body is left, s.
    pub window_s: f32,
    /// How long to follow it.
    pub until: Until,
    /// Time between two points of the trace, s; 0: one point a step.
    pub trace_interval_s: f32,
}

impl Default for Options {
    /// Follows the body back for 3 s, with results within 0.1 % and 1 ms.
    fn default() -> Self {
        Self { tolerance: 2e-5, max_steps: 2_000, window_s: 3.0, until: Until::Back, trace_interval_s: 0.0 }
    }
}

/// One point of a touch-down, for drawing.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TracePoint {
    /// Time after contact, s.
    pub time_s: f32,
    /// Depth x, m.
    pub depth_m: f32,
    /// Speed into the top, m/s.
    pub speed_mps: f32,
    /// Force of the bag over the weight of the body (with the skin loss on the way back).
    pub load_g: f32,
    /// Gauge pressure, Pa.
    pub pressure_pa: f32,
    /// Gas lost since contact, m³ of outside air (below 0: gained).
    pub gas_lost_m3: f32,
}

/// Meeting the ground under the bag.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GroundContact {
    /// Time after contact with the bag, s.
    pub time_s: f32,
    /// Speed left, m/s.
    pub speed_mps: f32,
    /// The fall that gives this speed, u²/2g, m.
    pub fall_height_m: f32,
}

/// What a touch-down comes to. Loads and pressure are the largest up to the deepest point, or the ground; with
/// [`Until::Depth`] those at contact.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Touchdown {
    /// Depth at the first stop, m; the thickness where the ground is met first.
    pub depth_m: f32,
    /// Thickness less depth, m; none where no thickness was given.
    pub clearance_m: Option<f32>,
    /// Largest force over weight, max(p A)/(m g).
    pub felt_load_g: f32,
    /// Largest gauge pressure, Pa.
    pub peak_pressure_pa: f32,
    /// Time from contact to the deepest point (or the ground), s.
    pub time_to_deepest_s: f32,
    /// Gas lost to the deepest point, m³ of outside air.
    pub gas_lost_m3: f32,
    /// Speed at which the body leaves the bag, m/s; 0 if it has not left within the time followed; none after the
    /// ground was met, or where the way back was not followed.
    pub rebound_mps: Option<f32>,
    /// The ground, where a body that had come to a stop above it sank on to it, and lay there. It is no depth, and ends
    /// nothing.
    pub sank_on: Option<GroundContact>,
    /// Gas lost until the body was back at the skin, met the ground, or the time was over, m³.
    pub gas_lost_in_all_m3: f32,
    /// That time, s.
    pub end_s: f32,
    /// The ground, where it was met before the first stop.
    pub ground: Option<GroundContact>,
    /// Steps taken, refused ones included.
    pub steps: u16,
    /// `Converged`; `NoAnswer` where the body had not stopped when the time was over (depth is then a lower bound).
    pub status: Status,
}

#[cfg(test)]
std::thread_local! {
    static LANDINGS: core::cell::Cell<u32> = const { core::cell::Cell::new(0) };
}

/// How many touch-downs this thread has computed: what a search costs.
#[cfg(test)]
pub(crate) fn landings_made() -> u32 {
    LANDINGS.with(core::cell::Cell::get)
}

/// Follows a body from contact into the bag and back.
///
/// `gas` is the state at contact, `flows` what enters and leaves. `trace` is called at contact and along the way;
/// give `|_| {}` where nothing is drawn. Depth, load and pressure are within 0.1 % and times within 1 ms of a
/// double-precision solution with the default [`Options`].
///
/// Loads and pressure count up to the first stop, where the deepest push is; on the way back the skin gives less.
///
/// The landing's and the gas's values are checked where they are made ([`Landing::new`], [`Adiabat::new`]); the
/// loop ends after `max_steps` in any case, with [`Status::OutOfSteps`].
pub fn touch_down(
    gas: &Adiabat,
    flows: &Flows<'_>,
    landing: &Landing,
    options: &Options,
    mut trace: impl FnMut(TracePoint),
) -> Touchdown {
    #[cfg(test)]
    LANDINGS.with(|count| count.set(count.get() + 1));
    let start = *gas.start();
    let body = Body {
        gas,
        flows,
        area: landing.area(),
        pull_mps2: STANDARD_GRAVITY_MPS2 * libm::cosf(landing.slope_rad()),
        per_mass: 1.0 / landing.mass_kg(),
        kept: 1.0 - landing.skin_loss(),
        skin_rise_pa: gas.skin_rise_pa(),
    };
    let tolerance = options.tolerance.clamp(1e-6, 1e-2);
    let speed_scale = landing.normal_speed_mps().max(0.5);
    // Gas whose loss would move the pressure by 10 Pa.
    let lost_scale = 10.0 * gas.content_per_pa_m3();
    let mut mode = Mode { phase: Phase::In, taut: start.is_taut() };
    let mut s = State { x: 0.0, u: landing.normal_speed_mps(), lost: 0.0, rise: 0.0 };
    let mut time_s = 0.0;
    let mut h = first_step_s(&body);
    let mut k1 = body.rates(mode, &s);
    let mut out = Touchdown {
        depth_m: 0.0,
        clearance_m: None,
        felt_load_g: body.push_mps2(mode, &s) / STANDARD_GRAVITY_MPS2,
        peak_pressure_pa: start.pressure_pa,
        time_to_deepest_s: 0.0,
        gas_lost_m3: 0.0,
        rebound_mps: None,
        sank_on: None,
        gas_lost_in_all_m3: 0.0,
        end_s: 0.0,
        ground: None,
        steps: 0,
        status: Status::OutOfSteps,
    };
    let mut turned = false;
    let mut next_trace_s = options.trace_interval_s;
    let mut emit = |mode: Mode, time_s: f32, s: &State| {
        let kept = if mode.phase == Phase::Out { body.kept } else { 1.0 };
        trace(TracePoint {
            time_s,
            depth_m: s.x,
            speed_mps: s.u,
            load_g: kept * body.push_mps2(mode, s) / STANDARD_GRAVITY_MPS2,
            pressure_pa: body.pressure_pa(mode, s.rise),
            gas_lost_m3: s.lost,
        });
    };
    emit(mode, 0.0, &s);
    let corners = flows.corners_pa().map(|corner| corner.map(|gauge_pa| gauge_pa - start.pressure_pa));
    while out.steps < options.max_steps {
        out.steps += 1;
        let last_step = time_s + h >= options.window_s;
        if last_step {
            h = options.window_s - time_s;
        }
        let Step { to, to_rate: k7, off } = step(&s, &k1, h, |s| body.rates(mode, s), |s| body.settle(mode, s));
        let error = (off.x.abs() / to.x.abs().max(0.05))
            .max(off.u.abs() / speed_scale)
            .max(off.lost.abs() / to.lost.abs().max(lost_scale))
            / tolerance;
        // Written so that an error that is no number refuses the step too.
        let good = error <= 1.0;
        if !good {
            if h > 1e-5 {
                h *= if error.is_finite() { step_factor(error).clamp(0.2, 0.9) } else { 0.2 };
                continue;
            }
            if !error.is_finite() || !(to.x + to.u + to.lost + to.rise).is_finite() {
                // The gas is pressed to nothing: what single precision holds ends here.
                break;
            }
        }
        let corner = corner_share(&corners, mode, (&s, &k1), (&to, &k7), h);
        let depth = Quintic::new((s.x, h * k1.x, h * h * k1.u), (to.x, h * k7.x, h * h * k7.u));
        if let Some(share) = corner.or_else(|| knot_share(&body.area, &depth, &s, &to, h)) {
            // A step across a corner of the flow or the force is of low order: end this one there.
            h *= share;
            continue;
        }
        let dense = Dense { body: &body, mode, h, from: s, to, from_rate: k1, to_rate: k7, depth };
        let event = first_event(&dense, landing.thickness_m());
        let share = event.map_or(1.0, |(share, _)| share);
        let reached = dense.at(share);
        let reached_rate = if share < 1.0 { body.rates(mode, &reached) } else { k7 };
        if !turned && options.until != Until::Depth {
            // The largest push and pressure may lie within the step.
            let span = share * h;
            let ends = (body.push_mps2(mode, &s), body.push_mps2(mode, &reached));
            let rates = (body.push_rate(mode, &s, &k1), body.push_rate(mode, &reached, &reached_rate));
            let mut push = ends.1;
            if let Some(at) = cubic_peak(ends.0, span * rates.0, ends.1, span * rates.1) {
                push = push.max(body.push_mps2(mode, &dense.at(at * share)));
            }
            out.felt_load_g = out.felt_load_g.max(push / STANDARD_GRAVITY_MPS2);
            let mut rise = reached.rise;
            if let Some(at) = cubic_peak(s.rise, span * k1.rise, reached.rise, span * reached_rate.rise) {
                rise = rise.max(dense.at(at * share).rise);
            }
            out.peak_pressure_pa = out.peak_pressure_pa.max(body.pressure_pa(mode, rise));
        }
        if options.trace_interval_s > 0.0 {
            // Bounded: no more points than the step is long.
            while next_trace_s < time_s + share * h {
                emit(mode, next_trace_s, &dense.at((next_trace_s - time_s) / h));
                next_trace_s += options.trace_interval_s.max(1e-4);
            }
        }
        time_s += share * h;
        s = reached;
        if options.trace_interval_s <= 0.0 {
            emit(mode, time_s, &s);
        }
        if share >= 1.0 {
            k1 = k7;
            h *= if error > 1e-4 { step_factor(error) } else { 5.0 };
        }
        let mut over = last_step && share >= 1.0;
        if let Some((_, event)) = event {
            match event {
                Event::Stop => {
                    s.u = 0.0;
                    if !turned {
                        turned = true;
                        out.depth_m = s.x;
                        out.time_to_deepest_s = time_s;
                        out.gas_lost_m3 = s.lost;
                        out.status = Status::Converged;
                        if options.until != Until::Back {
                            over = true;
                        }
                    }
                    let push = body.push_mps2(mode, &s);
                    mode.phase = if body.kept * push > body.pull_mps2 {
                        Phase::Out
                    } else if push < body.pull_mps2 {
                        Phase::In
                    } else {
                        Phase::Rest
                    };
                }
                Event::Ground => {
                    let fall_height_m = s.u * s.u / (2.0 * STANDARD_GRAVITY_MPS2);
                    let contact = Some(GroundContact { time_s, speed_mps: s.u, fall_height_m });
                    if turned {
                        out.sank_on = contact;
                        s.u = 0.0;
                        mode.phase = Phase::Lying;
                    } else {
                        out.ground = contact;
                        out.depth_m = landing.thickness_m().unwrap_or(s.x);
                        out.time_to_deepest_s = time_s;
                        out.gas_lost_m3 = s.lost;
                        out.status = Status::Converged;
                        over = true;
                    }
                }
                Event::Back => {
                    s.x = 0.0;
                    out.rebound_mps = Some(-s.u);
                    over = true;
                }
                Event::Slack => mode.taut = false,
                Event::Taut => {
                    mode.taut = true;
                    s.rise = body.skin_rise_pa;
                }
                Event::Leave(phase) => mode.phase = phase,
            }
            k1 = body.rates(mode, &s);
            h *= 0.5;
        }
        h = h.max(1e-5);
        if over {
            break;
        }
    }
    let followed = time_s >= options.window_s * 0.999_99;
    if !turned && out.ground.is_none() {
        out.depth_m = s.x;
        out.time_to_deepest_s = time_s;
        out.gas_lost_m3 = s.lost;
        out.status = if followed { Status::NoAnswer } else { Status::OutOfSteps };
    } else if turned && options.until == Until::Back && out.ground.is_none() && out.rebound_mps.is_none() {
        out.rebound_mps = Some(0.0);
        if !followed {
            out.status = Status::OutOfSteps;
        }
    }
    out.clearance_m = landing.thickness_m().map(|thickness_m| (thickness_m - out.depth_m).max(0.0));
    out.gas_lost_in_all_m3 = s.lost;
    out.end_s = time_s;
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::Air;
    use crate::bag_gas::{Chamber, QUICK_EXPONENT};
    use crate::flows::Feed;
    use crate::openings::{Openings, OpeningsInput};

    fn landing(thickness_m: Option<f32>) -> LandingInput {
        LandingInput {
            mass_kg: 92.0,
            normal_speed_mps: 8.0,
            slope_rad: 0.1,
            skin_loss: 0.65,
            area: ForceArea::assumed(0.5, 6.0, 4.0).unwrap(),
            thickness_m,
        }
    }

    fn land(landing: &Landing, start_pa: f32, vent_m2: f32, stretch: f32, volume_m3: f32) -> Touchdown {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let chamber = Chamber::new(&air, volume_m3, 1_500.0, stretch, 0.65).unwrap();
        let openings =
            Openings::new(OpeningsInput { vent_area_m2: vent_m2, ..OpeningsInput::default() }, &air).unwrap();
        let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
        let gas = Adiabat::new(&chamber, chamber.at_pressure(start_pa), QUICK_EXPONENT).unwrap();
        touch_down(&gas, &flows, landing, &Options::default(), |_| {})
    }

    #[test]
    fn a_huge_bag_stops_a_body_by_constant_pressure() {
        // ½ m v² + m g cos φ x = p V_d(x) for V0 → ∞: what is off falls with 1/V0, so two volumes give the limit.
        let landing = landing(None);
        let ratio = |volume_m3: f32| {
            let done = land(&Landing::new(landing).unwrap(), 1_500.0, 0.0, 0.0, volume_m3);
            assert_eq!(done.status, Status::Converged);
            let x = done.depth_m;
            let energy = 0.5 * 92.0 * 64.0 + 92.0 * STANDARD_GRAVITY_MPS2 * libm::cosf(0.1) * x;
            1_500.0 * landing.area.volume_m3(x) / energy
        };
        let (near, far) = (ratio(25_000.0), ratio(100_000.0));
        assert!(((4.0 * far - near) / 3.0 - 1.0).abs() < 2e-4, "{near} {far}");
    }

    /// Over a range of vents the way back ends with less and less speed, down to bodies that stay; whatever the
    /// step, none is followed beyond the skin.
    #[test]
    fn a_body_that_leaves_slowly_has_left() {
        for tolerance in [1e-3, 1e-4, 2e-5, 1e-6] {
            let (mut left, mut stayed) = (0, 0);
            for part in 0..60_u8 {
                let air = Air::new(0.0, 288.15, None).unwrap();
                let vent_area_m2 = 0.004 * f32::from(part);
                let openings = Openings::new(OpeningsInput { vent_area_m2, ..OpeningsInput::default() }, &air).unwrap();
                let chamber = Chamber::new(&air, 257.4, 1_033.4, 3e-5, 0.65).unwrap();
                let gas = Adiabat::new(&chamber, chamber.at_pressure(1_033.4), QUICK_EXPONENT).unwrap();
                let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
                let landing =
                    Landing::new(LandingInput { normal_speed_mps: 5.5, slope_rad: 0.0, ..landing(None) }).unwrap();
                let options = Options { tolerance, ..Options::default() };
                let done = touch_down(&gas, &flows, &landing, &options, |point| {
                    assert!(point.depth_m > -1e-3, "{point:?}");
                });
                if done.rebound_mps.unwrap() > 0.0 { left += 1 } else { stayed += 1 }
            }
            assert!(left > 0 && stayed > 0, "{left} left, {stayed} stayed");
        }
    }

    #[test]
    fn the_ground_ends_it() {
        let done = land(&Landing::new(landing(Some(0.5))).unwrap(), 300.0, 0.2, 3e-5, 150.0);
        let ground = done.ground.unwrap();
        assert_eq!((done.depth_m, done.clearance_m, done.rebound_mps), (0.5, Some(0.0), None));
        assert!(ground.speed_mps > 1.0 && done.sank_on.is_none());
    }

    /// A body that turns just past the last knot: the step that turns it may begin and end on one side of the knot. With
    /// coarse and with fine steps the load is the same, also where the knot is passed by a few millimetres alone.
    #[test]
    fn a_knot_passed_on_the_turn_is_not_missed() {
        let load = |speed: f32, tolerance: f32| {
            let air = Air::new(0.0, 288.15, None).unwrap();
            let chamber = Chamber::new(&air, 150.0, 2_100.0, 3e-5, 0.65).unwrap();
            let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
            let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
            let gas = Adiabat::new(&chamber, chamber.at_pressure(2_100.0), QUICK_EXPONENT).unwrap();
            let landing =
                Landing::new(LandingInput { mass_kg: 62.0, normal_speed_mps: speed, slope_rad: 0.0, ..landing(None) })
                    .unwrap();
            let options = Options { tolerance, until: Until::Deepest, ..Options::default() };
            let done = touch_down(&gas, &flows, &landing, &options, |_| {});
            (done.felt_load_g, done.depth_m)
        };
        let mut near = 0;
        for step in 0..400_u16 {
            let speed = 8.0 + 0.005 * f32::from(step);
            let ((usual, depth_m), (fine, _)) = (load(speed, 2e-5), load(speed, 1e-6));
            // 0.03 %: ten steps of 2e-5, and the peak's own.
            assert!((usual / fine - 1.0).abs() < 3e-4, "{speed} m/s, {depth_m} m: {usual} {fine}");
            near += u16::from((0.0..0.01).contains(&(depth_m - 3.5 / 6.0)));
        }
        assert!(near > 10, "{near}");
    }

    /// A soft bag that stops a body and does not carry it: it sinks on, and lies on the ground until the time is over.
    #[test]
    fn a_body_that_sinks_on_lies_on_the_ground() {
        let soft = Landing::new(LandingInput { normal_speed_mps: 1.5, ..landing(Some(2.6)) }).unwrap();
        let done = land(&soft, 110.0, 0.3, 3e-5, 300.0);
        let (ground, sank) = (done.ground, done.sank_on);
        assert!(ground.is_none() && sank.is_some_and(|sank| sank.speed_mps > 0.0), "{done:?}");
        assert!(done.depth_m < 2.6 && done.clearance_m.unwrap() > 0.0, "{done:?}");
        assert!(done.rebound_mps == Some(0.0) && (done.end_s - 3.0).abs() < 1e-3, "{done:?}");
        assert!(done.gas_lost_in_all_m3 > done.gas_lost_m3);
    }

    #[test]
    fn a_body_too_heavy_to_be_lifted_by_the_reduced_force_stays() {
        let done =
            land(&Landing::new(LandingInput { skin_loss: 1.0, ..landing(None) }).unwrap(), 1_500.0, 0.0, 3e-5, 150.0);
        assert_eq!(done.rebound_mps, Some(0.0));
        assert!((done.end_s - 3.0).abs() < 1e-3);
        let lively =
            land(&Landing::new(LandingInput { skin_loss: 0.0, ..landing(None) }).unwrap(), 1_500.0, 0.0, 3e-5, 150.0);
        assert!((lively.rebound_mps.unwrap() - 8.0).abs() < 5e-3, "{lively:?}");
    }
}
