//! The force area that loaded deflations measure, how well, and whether it can be believed.
//!
//! # Settled here
//! - **unknown.area** is the root of gauge², mass², (zero × A_m/(M g))², scatter²/points and 0.15² (*assumed*: who
//!   lands is not the board); the last does not become less by measuring again. Doubts: root mean square of the
//!   points' distances over 2.5 stated errors, two loads or a load and the file more than 8 % apart, fewer than 8
//!   points, never past 0.3 m.

use super::knots::{Curve, apart, fitted, thin, together};
use super::loaded::{Errors, Load};
use landfall_plan::shown::{Shown, Toward};

/// What stays unknown of who lands, since the load is a board: standard deviation of the area's logarithm (*assumed*).
pub const BOARD_SD: f64 = 0.15;
/// Root mean square of the points' distances from the curve, in stated errors, over which it is not sure.
const WORST_RMS: f64 = 2.5;
/// Two loads whose areas are further apart than this, as a share, contradict each other.
const WORST_APART: f64 = 0.08;
/// Fewest points.
const FEWEST: usize = 8;
/// A load that has not sunk this deep tells only of the first part, m.
const LEAST_SUNK_M: f64 = 0.3;
/// A load is heavy enough where the gauge's zero is at most this part of the pressure that it makes.
const ZERO_PARTS: f64 = 15.0;
/// A point so far from the curve, in stated errors, is named.
const FAR: f64 = 3.5;

/// A point that contradicts the rest.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Contradicts {
    /// Its file.
    pub file: String,
    /// Its line.
    pub line: usize,
    /// Depth, m.
    pub depth_m: f64,
    /// Area that it says, m².
    pub area_m2: f64,
    /// Area of the curve there, m².
    pub curve_m2: f64,
    /// Distance in stated errors.
    pub errors_off: f64,
}

/// What the loads say of the force area.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Area {
    /// The knots, with what the site had already measured put in.
    pub knots: Curve,
    /// Of the loads alone.
    pub of_loads: Curve,
    /// What is not known of it: standard deviation of the common factor's logarithm (`unknown.area`).
    pub sd: f64,
    /// How far the points scatter about the curve: standard deviation of the area's logarithm.
    pub scatter: f64,
    /// How many points.
    pub points: usize,
    /// Root mean square of their distances from the curve, in stated errors.
    pub rms: f64,
    /// Depth of the last knot, m.
    pub reach_m: f64,
    /// A load went to the ground: nothing deeper can be met.
    pub to_the_ground: bool,
    /// Points that contradict the rest, the worst first.
    pub contradicts: Vec<Contradicts>,
    /// Measured knots of the site that were put in.
    pub merged: bool,
    /// Why it is not sure.
    pub doubts: Vec<String>,
    /// What would make it better.
    pub advice: Vec<String>,
}

fn root(sum: f64) -> f64 {
    sum.max(0.0).sqrt()
}

/// What a measurement tells, less what no board tells: for weighing two with each other.
fn own_sd(sd: f64) -> f64 {
    root(sd * sd - BOARD_SD * BOARD_SD).max(0.02)
}

/// The force area from loads; `before` is what the site file has measured already, with its `unknown.area`.
///
/// None where no point counts.
#[must_use]
pub fn area(
    loads: &[Load],
    errors: &Errors,
    before: Option<(&Curve, f64)>,
    gravity_mps2: f64,
    here: Shown,
) -> Option<Area> {
    let of_loads =
        loads.iter().map(|load| (fitted(&load.grouped), load.mass_kg)).filter(|one| !one.0.knots().is_empty());
    // Each load's own error: reading and mass, and the gauge's zero, which weighs the more the lighter the load.
    let own = |mass_kg: f64| {
        move |area_m2: f64| {
            let zero = errors.zero_pa * area_m2 / (mass_kg * gravity_mps2);
            root(errors.gauge.powi(2) + errors.mass.powi(2) + zero * zero)
        }
    };
    let (of_loads, _) = of_loads.reduce(|(a, a_kg), (b, b_kg)| {
        let both = together((&a, &own(a_kg)), (&b, &own(b_kg)));
        // Their zeros are the same gauge's: the heavier load's counts from here on.
        (both, a_kg.max(b_kg))
    })?;
    let points = loads.iter().map(|load| load.points.len()).sum::<usize>();
    let all = || loads.iter().flat_map(|load| &load.points);
    let rms = root(all().map(|point| of_loads.distance(point).powi(2)).sum::<f64>() / points.max(1) as f64);
    let first_m = of_loads.knots().first().map_or(0.0, |knot| knot.0);
    let logs = all().filter(|p| p.depth_m >= first_m).map(|p| (p.area_m2 / of_loads.area_m2(p.depth_m)).ln());
    let (n, squares) = logs.fold((0.0, 0.0), |(n, sum), log| (n + 1.0, sum + log * log));
    let scatter = root(squares / f64::max(n, 1.0));
    // The gauge's zero moves all areas of a load alike, the most where its pressure is lowest.
    let zero = loads
        .iter()
        .map(|load| errors.zero_pa * of_loads.limit_m2() / (load.mass_kg * gravity_mps2))
        .fold(f64::INFINITY, f64::min);
    let own2 = errors.gauge.powi(2) + errors.mass.powi(2) + zero * zero + scatter * scatter / points.max(1) as f64;
    let sd = root(own2 + BOARD_SD * BOARD_SD);
    let mut found = Area {
        knots: of_loads.clone(),
        sd,
        scatter,
        points,
        rms,
        reach_m: of_loads.reach_m(),
        to_the_ground: loads.iter().any(|load| load.on_the_ground),
        contradicts: contradicts(loads, &of_loads),
        merged: false,
        doubts: Vec::new(),
        advice: Vec::new(),
        of_loads,
    };
    judge(&mut found, loads, here);
    if let Some((known, known_sd)) = before {
        merge(&mut found, known, known_sd);
    }
    for load in loads {
        let wanted_kg = ZERO_PARTS * errors.zero_pa * found.of_loads.limit_m2() / gravity_mps2;
        if load.mass_kg < wanted_kg && zero > 1.0 / ZERO_PARTS {
            found.advice.push(format!(
                "{} is light for an area of {}: a gauge whose zero is {:.0} Pa off moves the answer by {:.0} %. Take {} or more.",
                here.mass(load.mass_kg, Toward::Nearest),
                here.area(found.of_loads.limit_m2(), Toward::Nearest),
                errors.zero_pa,
                100.0 * zero,
                here.mass((wanted_kg / 10.0).ceil() * 10.0, Toward::Up)
            ));
        }
    }
    Some(found)
}

fn contradicts(loads: &[Load], curve: &Curve) -> Vec<Contradicts> {
    let mut out: Vec<Contradicts> = loads
        .iter()
        .flat_map(|load| load.points.iter().zip(&load.lines).map(move |(point, line)| (load, point, *line)))
        .map(|(load, point, line)| Contradicts {
            file: load.file.clone(),
            line,
            depth_m: point.depth_m,
            area_m2: point.area_m2,
            curve_m2: curve.area_m2(point.depth_m),
            errors_off: curve.distance(point),
        })
        .filter(|point| point.errors_off > FAR)
        .collect();
    out.sort_by(|a, b| b.errors_off.total_cmp(&a.errors_off));
    out
}

fn judge(found: &mut Area, loads: &[Load], here: Shown) {
    if found.points < FEWEST {
        let read: usize = loads.iter().map(|load| load.readings).sum();
        found.doubts.push(format!(
            "only {} of {read} readings count, and {FEWEST} are needed: film on until the load is down, and read depth and gauge at least once a second",
            found.points
        ));
    }
    if loads.iter().all(|load| load.sank_to_m < LEAST_SUNK_M) {
        let deepest = loads.iter().map(|load| load.sank_to_m).fold(0.0, f64::max);
        found.doubts.push(format!(
            "the load sank only {} and never past {}: were all blowers off, was it filmed until the bag was soft, does it hang on something? Else take more load",
            here.small(deepest, Toward::Nearest),
            here.small(LEAST_SUNK_M, Toward::Nearest)
        ));
    }
    if found.rms > WORST_RMS {
        found.doubts.push(format!(
            "the points lie {:.1} times their errors off the curve, and {WORST_RMS} is the most: the points that contradict it are listed",
            found.rms
        ));
    }
    let curves: Vec<Curve> = loads.iter().map(|load| thin(&fitted(&load.grouped))).collect();
    for (i, a) in curves.iter().enumerate() {
        for (j, b) in curves.iter().enumerate().skip(i + 1) {
            let (Some(off), Some(first), Some(second)) = (apart(a, b), loads.get(i), loads.get(j)) else { continue };
            if off.abs() > (1.0 + WORST_APART).ln() {
                found.doubts.push(format!(
                    "{} and {} are {:.0} % apart in area: weigh the loads again, zero the gauge with its hose off, look whether the lath lay on the crest",
                    first.file,
                    second.file,
                    100.0 * (off.abs().exp() - 1.0)
                ));
            }
        }
    }
}

/// Puts in what the site has measured before. What no board tells is common to both and does not become less.
fn merge(found: &mut Area, known: &Curve, known_sd: f64) {
    if let Some(off) = apart(known, &found.of_loads)
        && off.abs() > (1.0 + WORST_APART).ln()
    {
        found.doubts.push(format!(
            "this test and the knots that the site file has are {:.0} % apart in area: take the old knots out of the file if the bag has changed",
            100.0 * (off.abs().exp() - 1.0)
        ));
    }
    // A file that knows the area better than any board has it from landings: those count as a whole.
    let by_landings = known_sd < BOARD_SD;
    let (old, new) = if by_landings { (known_sd.max(0.02), found.sd) } else { (own_sd(known_sd), own_sd(found.sd)) };
    found.knots = together((known, &|_| old), (&found.of_loads, &|_| new));
    let both2 = 1.0 / (1.0 / (old * old) + 1.0 / (new * new));
    found.sd = root(if by_landings { both2 } else { both2 + BOARD_SD * BOARD_SD });
    found.reach_m = found.knots.reach_m();
    found.merged = true;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::knots::Seen;

    fn load(factor: f64, to_m: f64, mass_kg: f64, file: &str) -> Load {
        let points: Vec<Seen> = (10..)
            .map(|i| f64::from(i) * 0.02)
            .take_while(|x| *x <= to_m)
            .map(|x| Seen {
                depth_m: x,
                area_m2: factor * (0.5 + 2.0 * x),
                depth_sd_m: 0.025,
                area_sd: 0.02,
                readings: 1.0,
            })
            .collect();
        Load {
            file: file.to_owned(),
            mass_kg,
            lines: (2..points.len() + 2).collect(),
            grouped: points.clone(),
            counted: points.len(),
            readings: points.len() + 5,
            points,
            break_away: None,
            on_the_ground: true,
            sank_to_m: to_m,
            gauge_pa: (1_000.0, 250.0),
        }
    }

    fn of(loads: &[Load], before: Option<(&Curve, f64)>) -> Area {
        area(loads, &Errors::FILMED, before, 9.80665, Shown::default()).unwrap()
    }

    #[test]
    fn what_is_not_known_is_the_stated_sum() {
        let found = of(&[load(1.0, 1.2, 100.0, "a")], None);
        assert!(found.doubts.is_empty() && found.advice.is_empty(), "{found:?}");
        let zero = 12.5 * found.of_loads.limit_m2() / (100.0 * 9.80665);
        let expected = 0.0004 + 0.0001 + zero * zero + found.scatter.powi(2) / found.points as f64 + 0.0225;
        assert!((found.sd * found.sd - expected).abs() < 1e-9);
        assert!(found.sd > 0.15 && found.sd < 0.17);
    }

    #[test]
    fn doubts_say_what_and_which() {
        let light = of(&[load(1.0, 1.2, 30.0, "light.csv")], None);
        assert!(light.advice[0].contains("30 kg is light") && light.advice[0].contains("kg or more"), "{light:?}");
        let two = of(&[load(1.0, 1.2, 90.0, "a.csv"), load(1.12, 1.2, 180.0, "b.csv")], None);
        assert!(two.doubts.iter().any(|d| d.contains("a.csv and b.csv are 12 % apart")), "{:?}", two.doubts);
        let agree = of(&[load(1.0, 1.0, 90.0, "a.csv"), load(1.05, 1.6, 180.0, "b.csv")], None);
        assert!(agree.doubts.is_empty() && agree.reach_m > 1.55, "{:?}", agree.doubts);
        let shallow = of(&[load(1.0, 0.28, 90.0, "a.csv")], None);
        assert!(shallow.doubts.iter().any(|d| d.contains("never past 30 cm")), "{:?}", shallow.doubts);
        assert!(shallow.doubts.iter().any(|d| d.contains("only 5 of 10 readings count")), "{:?}", shallow.doubts);
        let mut bent = load(1.0, 1.2, 90.0, "a.csv");
        for (i, point) in bent.points.iter_mut().enumerate() {
            point.area_m2 *= if i % 2 == 0 { 1.4 } else { 0.7 };
        }
        bent.grouped.clone_from(&bent.points);
        let bent = of(&[bent], None);
        assert!(bent.doubts.iter().any(|d| d.contains("times their errors")), "{:?}", bent.doubts);
        assert!(!bent.contradicts.is_empty() && bent.contradicts[0].line >= 2);
    }

    /// Two equal tests: what a board does not tell stays, the rest becomes less.
    #[test]
    fn a_second_test_narrows_only_what_a_test_can() {
        let first = of(&[load(1.0, 1.2, 100.0, "a.csv")], None);
        let second = of(&[load(1.0, 1.6, 100.0, "b.csv")], Some((&first.knots, first.sd)));
        assert!(second.merged && second.doubts.is_empty(), "{:?}", second.doubts);
        assert!(second.sd < first.sd && second.sd > BOARD_SD, "{} {}", second.sd, first.sd);
        assert!(second.reach_m > 1.55 && second.knots.knots().len() <= 12);
        let changed = of(&[load(1.3, 1.2, 100.0, "c.csv")], Some((&first.knots, first.sd)));
        assert!(changed.doubts.iter().any(|d| d.contains("the site file has are 30 % apart")), "{:?}", changed.doubts);
    }
}
