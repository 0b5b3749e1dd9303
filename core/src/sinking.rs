//! A body in the bag from moment to moment: forces and rates, reading within a step, and what ends one early.

use crate::bag_gas::Adiabat;
use crate::dormand_prince::State;
use crate::flows::Flows;
use crate::force_area::ForceArea;
use crate::hermite::{Quintic, cubic, first_crossing};

/// Going in, coming back, resting between the two forces, or lying on the ground after it has sunk on.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Phase {
    In,
    Out,
    Rest,
    Lying,
}

impl Phase {
    /// Whether the body stays where it is.
    pub(crate) const fn stays(self) -> bool {
        matches!(self, Self::Rest | Self::Lying)
    }
}

/// The problem, with what does not change worked out.
pub(crate) struct Body<'a> {
    pub(crate) gas: &'a Adiabat,
    pub(crate) flows: &'a Flows<'a>,
    pub(crate) area: ForceArea,
    pub(crate) pull_mps2: f32,
    pub(crate) per_mass: f32,
    pub(crate) kept: f32,
    pub(crate) skin_rise_pa: f32,
}

/// Which way the body goes and whether the skin is taut; it stays for a step.
#[derive(Clone, Copy)]
pub(crate) struct Mode {
    pub(crate) phase: Phase,
    pub(crate) taut: bool,
}

impl Body<'_> {
    pub(crate) fn pressure_pa(&self, mode: Mode, rise: f32) -> f32 {
        self.gas.start().pressure_pa + if mode.taut { rise } else { self.skin_rise_pa }
    }

    /// Time derivatives of the state.
    pub(crate) fn rates(&self, mode: Mode, s: &State) -> State {
        let pressure_pa = self.pressure_pa(mode, s.rise);
        let (area_m2, displaced_m3) = self.area.area_and_volume(s.x);
        let lost = self.flows.net_outflow_m3ps(pressure_pa);
        let (x, u) = match mode.phase {
            Phase::In => (s.u, self.pull_mps2 - pressure_pa * area_m2 * self.per_mass),
            Phase::Out => (s.u, self.pull_mps2 - self.kept * pressure_pa * area_m2 * self.per_mass),
            Phase::Rest | Phase::Lying => (0.0, 0.0),
        };
        let rise =
            if mode.taut { self.gas.pressure_rate_paps(s.rise, displaced_m3, s.lost, area_m2 * x, lost) } else { 0.0 };
        State { x, u, lost, rise }
    }

    /// Puts the pressure back on the gas law.
    pub(crate) fn settle(&self, mode: Mode, s: &mut State) {
        s.rise = if mode.taut { self.gas.rise_pa(self.area.volume_m3(s.x), s.lost, s.rise) } else { self.skin_rise_pa };
    }

    /// Acceleration that the full force of the bag gives, m/s².
    pub(crate) fn push_mps2(&self, mode: Mode, s: &State) -> f32 {
        self.pressure_pa(mode, s.rise) * self.area.area_m2(s.x) * self.per_mass
    }

    /// Its rate, m/s³.
    pub(crate) fn push_rate(&self, mode: Mode, s: &State, k: &State) -> f32 {
        self.per_mass
            * (self.area.area_growth_m(s.x) * k.x * self.pressure_pa(mode, s.rise) + self.area.area_m2(s.x) * k.rise)
    }
}

/// One step between two states, to read in between.
pub(crate) struct Dense<'a> {
    pub(crate) body: &'a Body<'a>,
    pub(crate) mode: Mode,
    pub(crate) h: f32,
    pub(crate) from: State,
    pub(crate) to: State,
    pub(crate) from_rate: State,
    pub(crate) to_rate: State,
    pub(crate) depth: Quintic,
}

impl Dense<'_> {
    pub(crate) fn lost(&self, share: f32) -> f32 {
        cubic(self.from.lost, self.h * self.from_rate.lost, self.to.lost, self.h * self.to_rate.lost, share)
    }

    pub(crate) fn at(&self, share: f32) -> State {
        if share >= 1.0 {
            return self.to;
        }
        let rise = cubic(self.from.rise, self.h * self.from_rate.rise, self.to.rise, self.h * self.to_rate.rise, share);
        let mut s =
            State { x: self.depth.value(share), u: self.depth.slope(share) / self.h, lost: self.lost(share), rise };
        self.body.settle(self.mode, &mut s);
        s
    }
}

/// What ends a step early.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Event {
    Stop,
    Ground,
    Back,
    Slack,
    Taut,
    Leave(Phase),
}

/// The first thing that happens within a step, and where.
pub(crate) fn first_event(dense: &Dense<'_>, thickness_m: Option<f32>) -> Option<(f32, Event)> {
    let Dense { body, mode, to, .. } = dense;
    let mut first: Option<(f32, Event)> = None;
    let mut note = |share: f32, event: Event| {
        if first.is_none_or(|(earliest, _)| share < earliest) {
            first = Some((share, event));
        }
    };
    let mut deepest_share = 1.0;
    match mode.phase {
        Phase::In => {
            if to.u <= 0.0 {
                deepest_share = first_crossing(|share| -dense.depth.slope(share));
                note(deepest_share, Event::Stop);
            }
            if let Some(thickness_m) = thickness_m {
                let deepest_m = if deepest_share < 1.0 { dense.depth.value(deepest_share) } else { to.x };
                if deepest_m >= thickness_m {
                    let share = first_crossing(|share| dense.depth.value(share * deepest_share) - thickness_m);
                    note(share * deepest_share * 0.999_999, Event::Ground);
                }
            }
        }
        Phase::Out => {
            if to.u >= 0.0 {
                deepest_share = first_crossing(|share| dense.depth.slope(share));
                note(deepest_share, Event::Stop);
            }
            // It may leave the skin and turn within one step: then it left, and the turn is none of the bag's.
            let shallowest_m = if deepest_share < 1.0 { dense.depth.value(deepest_share) } else { to.x };
            if shallowest_m <= 0.0 {
                let share = first_crossing(|share| -dense.depth.value(share * deepest_share));
                note(share * deepest_share * 0.999_999, Event::Back);
            }
        }
        Phase::Rest | Phase::Lying => {
            let push = body.push_mps2(*mode, to);
            if push < body.pull_mps2 && mode.phase == Phase::Rest {
                let share = first_crossing(|share| body.pull_mps2 - body.push_mps2(*mode, &dense.at(share)));
                note(share, Event::Leave(Phase::In));
            } else if body.kept * push > body.pull_mps2 {
                let over = |share| body.kept * body.push_mps2(*mode, &dense.at(share)) - body.pull_mps2;
                note(first_crossing(over), Event::Leave(Phase::Out));
            }
        }
    }
    let excess = |share: f32| {
        let x = if mode.phase.stays() { dense.from.x } else { dense.depth.value(share) };
        body.gas.slack_excess(body.area.volume_m3(x), dense.lost(share))
    };
    // A fiftieth of a pascal keeps rounding from switching back and forth.
    let turns_slack = mode.taut && to.rise < body.skin_rise_pa - 0.02;
    let turns_taut = !mode.taut
        && body.gas.slack_excess(body.area.volume_m3(dense.at(deepest_share).x), dense.lost(deepest_share)) < 0.0;
    if turns_slack {
        note(first_crossing(excess), Event::Slack);
    } else if turns_taut {
        note(deepest_share * first_crossing(|share| -excess(share * deepest_share)), Event::Taut);
    }
    first
}

/// A pressure this near to a corner of the flow is at it, Pa.
const AT_CORNER_PA: f32 = 1.0;

/// Share of a step at which the pressure crosses the first corner of the flow, unless the step begins or ends there.
pub(crate) fn corner_share(
    corners: &[Option<f32>; 3],
    mode: Mode,
    from: (&State, &State),
    to: (&State, &State),
    h: f32,
) -> Option<f32> {
    if !mode.taut {
        return None;
    }
    let mut first: Option<f32> = None;
    for &corner in corners.iter().flatten() {
        let (before, after) = (from.0.rise - corner, to.0.rise - corner);
        if before * after < 0.0 && before.abs() > AT_CORNER_PA && after.abs() > AT_CORNER_PA {
            let over = |share: f32| {
                let rise = cubic(from.0.rise, h * from.1.rise, to.0.rise, h * to.1.rise, share) - corner;
                if after > 0.0 { rise } else { -rise }
            };
            let share = first_crossing(over).max(0.02);
            first = Some(first.map_or(share, |earliest| earliest.min(share)));
        }
    }
    first
}

/// A depth this near to a knot of the force area is at it, m.
const AT_KNOT_M: f32 = 2e-4;

/// Share of a step at which the body passes the first knot of the force area, where the force has a corner, unless the
/// step begins or ends there. A body that turns within the step may pass a knot that both ends of the step are on one side
/// of: there the way to where it turns counts.
pub(crate) fn knot_share(area: &ForceArea, depth: &Quintic, from: &State, to: &State, h: f32) -> Option<f32> {
    let (mut end, mut last_m) = (1.0, to.x);
    if from.u * to.u < 0.0 {
        end = first_crossing(|share| if from.u > 0.0 { -depth.slope(share) } else { depth.slope(share) });
        last_m = depth.value(end);
    }
    let mut first: Option<f32> = None;
    for knot in area.knots() {
        let (before, after) = (from.x - knot.depth_m, last_m - knot.depth_m);
        if before * after < 0.0 && before.abs() > AT_KNOT_M && after.abs() > AT_KNOT_M {
            let over = |share: f32| {
                let x =
                    if end < 1.0 { depth.value(share * end) } else { cubic(from.x, h * from.u, to.x, h * to.u, share) };
                let past = x - knot.depth_m;
                if after > 0.0 { past } else { -past }
            };
            let share = (end * first_crossing(over)).max(0.02);
            first = Some(first.map_or(share, |earliest| earliest.min(share)));
        }
    }
    first
}

/// A third of a radian of the spring that the bag is at contact, at most 40 ms.
pub(crate) fn first_step_s(body: &Body<'_>) -> f32 {
    let start = body.gas.start();
    let area_m2 = body.area.area_m2(0.0);
    let stiffness = start.pressure_pa * body.area.area_growth_m(0.0)
        + area_m2 * area_m2 * start.content_m3 / (start.volume_m3 * body.gas.content_per_pa_m3());
    let rate2 = (stiffness * body.per_mass).max(70.0);
    0.33 / libm::sqrtf(rate2)
}

/// How much longer the next step may be: 0.9 / error^(1/4), close enough to the fifth root and far cheaper where
/// every operation is done in software.
pub(crate) fn step_factor(error: f32) -> f32 {
    0.9 / libm::sqrtf(libm::sqrtf(error))
}
