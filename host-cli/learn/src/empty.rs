//! An empty deflation: what the fall of the pressure with the blowers off and nobody on the bag tells of the stretch,
//! and of the leak where no settled pressure gives it.
//!
//! dp/dt = −(Q_out + backflow)(p) / (V0 (β + 1/P_a)), as the core's slow gas has it. Vents, flaps and volume are the
//! site's: their errors stay in the answer.
//!
//! # Settled here
//! - **Stretch** is fitted with the first pressure and the gauge's zero, and with the leak where no settled pressure
//!   gives it; vents, flaps and volume are taken as stated, for which 0.15 (*assumed*) is added to what the fit
//!   knows.

use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::Feed;
use nalgebra::DMatrix;

use super::loaded::{Errors, Table};
use super::small_fit::find;
use landfall_plan::plan::model::Supply;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Faults, Site, plain};

/// Points kept of a deflation.
const POINTS: usize = 24;
/// Fewest readings of one.
const FEWEST: usize = 8;
/// What vents, volume and gas leave unknown of a stretch: standard deviation of its logarithm (*assumed*).
const STRETCH_LEFT: f64 = 0.15;
/// Leak that a site without one begins with, m³/s at 1 Pa, and how well a leak is known before: standard deviation of
/// the logarithm (*assumed*).
const LEAK: (f64, f64) = (0.003, 1.0);
/// Stretch that a site without one begins with, 1/Pa (*assumed*, the default).
const STRETCH: f64 = 3e-5;
/// Root mean square of the points over their errors from which the fall is not the stated openings'.
const WORST_RMS: f64 = 2.5;

/// The fall of a pressure: seconds since its start, pressures, and how many readings each is the mean of.
#[derive(Clone, Debug, PartialEq)]
pub struct Fall {
    /// (s, Pa, readings), falling.
    pub points: Vec<(f64, f64, f64)>,
}

/// A rise that the errors of a gauge do not make: over this share of the highest pressure, and over so many Pa.
const RISE: (f64, f64) = (0.1, 30.0);

/// The pressures of a table that somebody wrote of an empty deflation.
///
/// # Errors
/// A table of a loaded one, and one whose pressure rises on the way, with the line at which it does.
pub fn gauge_of(table: &Table, here: Shown) -> Result<&[(f64, f64)], Faults> {
    if !table.depth.is_empty() {
        return Err(table.depth_fault(
            "a depth: this is the table of a load that sinks, and not of an empty bag".to_owned(),
            "name it with --loaded, and its load with --mass",
        ));
    }
    let all = table.gauge.as_slice();
    let Some((from, at, to)) = rise(all) else { return Ok(all) };
    let shown = |at: usize| all.get(at).map_or_else(String::new, |p| here.pressure(p.1, Toward::Nearest));
    let time = |at: usize| all.get(at).map_or(0.0, |p| p.0);
    let message = format!(
        "the gauge rises here: from {} at {} s to {} at {} s, and an empty deflation only falls",
        shown(from),
        plain(time(from)),
        shown(to),
        plain(time(to))
    );
    let cure = if all.iter().take(from).any(|p| p.1 > 1.5 * all.get(from).map_or(0.0, |p| p.1)) {
        "leave out what follows if the blowers ran again or somebody stepped on the bag; else read the gauge anew, with the blowers off until the bag is soft"
    } else {
        "leave out what was read before the blowers were switched off; the lines begin with the full bag and go on until it is soft"
    };
    Err(table.gauge_fault(at, message, cure))
}

/// Where the pressure rises although the bag has been full: the lowest reading before, the first higher one, and the
/// highest after it; also where it only rises. What comes before the bag is full, and after it is empty, does not count.
fn rise(all: &[(f64, f64)]) -> Option<(usize, usize, usize)> {
    let highest = all.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let least = (RISE.0 * highest).max(RISE.1);
    let full = all.iter().position(|p| p.1 >= 0.97 * highest)?;
    let empties = all.iter().skip(full).any(|p| p.1 <= 0.7 * highest);
    // Full only at the end: it rises from its lowest on.
    let begin = if empties { full } else { 0 };
    let mut lowest = begin;
    let mut found: Option<(usize, usize, usize)> = None;
    for (i, p) in all.iter().enumerate().skip(begin) {
        if let Some((_, _, to)) = &mut found {
            if p.1 < all.get(*to)?.1 {
                break;
            }
            *to = i;
        } else if p.1 <= all.get(lowest)?.1 {
            lowest = i;
        } else if p.1 > all.get(lowest)?.1 + least {
            found = Some((lowest, lowest + 1, i));
        }
        if empties && p.1 < 0.05 * highest {
            break;
        }
    }
    found
}

/// The fall in a list of times and pressures: from the last reading above 97 % of the highest to the first below 5 % of
/// it (the skin's own weight holds what is left), put together to a few points.
///
/// # Errors
/// Why it is none, and what to do.
pub fn fall(all: &[(f64, f64)], here: Shown) -> Result<Fall, String> {
    let shown = |pa: f64| here.pressure(pa, Toward::Nearest);
    let highest = all.iter().map(|point| point.1).fold(f64::NEG_INFINITY, f64::max);
    if !(highest > 50.0) {
        return Err(format!(
            "the gauge is never above {}: begin with a full bag, and look at the heading's unit",
            shown(50.0)
        ));
    }
    let last_pa = all.last().map_or(0.0, |point| point.1);
    let first_pa = all.first().map_or(0.0, |point| point.1);
    if last_pa > 1.02 * first_pa && last_pa > 0.9 * highest {
        return Err(format!(
            "the gauge rises from {} to {}: no deflation. Record from the moment at which the blowers are switched off",
            shown(first_pa),
            shown(last_pa)
        ));
    }
    let first = all.iter().rposition(|point| point.1 >= 0.97 * highest).unwrap_or(0);
    let fall: Vec<(f64, f64)> = all.iter().skip(first).take_while(|point| point.1 >= 0.05 * highest).copied().collect();
    let (Some((begin_s, _)), Some((end_s, end_pa))) = (fall.first(), fall.last()) else {
        return Err("the gauge does not fall: record from the moment at which the blowers are switched off".to_owned());
    };
    if fall.len() < FEWEST || *end_pa > 0.7 * highest {
        return Err(format!(
            "the gauge falls only to {} of {}, in {}; {FEWEST} readings and a fall to 70 % are needed: record on until the bag is soft, once a second or oftener",
            shown(*end_pa),
            shown(highest),
            if fall.len() == 1 { "1 reading".to_owned() } else { format!("{} readings", fall.len()) }
        ));
    }
    // Equal parts of time, the readings of each averaged.
    let parts = POINTS.min(fall.len() / 2).max(FEWEST.min(fall.len()));
    let width_s = (end_s - begin_s) / parts as f64;
    let points = (0..parts)
        .filter_map(|part| {
            let from_s = begin_s + part as f64 * width_s;
            let last = part + 1 == parts;
            let inside = || fall.iter().filter(|p| p.0 >= from_s && (p.0 < from_s + width_s || last));
            let n = inside().count() as f64;
            let mean = |of: fn(&(f64, f64)) -> f64| inside().map(of).sum::<f64>() / n;
            (n > 0.0).then(|| (mean(|p| p.0) - begin_s, mean(|p| p.1), n))
        })
        .collect();
    Ok(Fall { points })
}

/// What a fall tells.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Stretch {
    /// Before, 1/Pa.
    pub site_value: f64,
    /// Now, 1/Pa.
    pub value: f64,
    /// Standard deviation of its logarithm (`unknown.skin_stretch`).
    pub sd: f64,
    /// Leak at 1 Pa, m³/s, where it was fitted.
    pub leak: Option<f64>,
    /// Points used.
    pub points: usize,
    /// Their distance from the fit, in stated errors.
    pub rms: f64,
    /// Why it is not sure.
    pub doubts: Vec<String>,
}

/// The stretch from a fall. The leak is fitted with it unless the site has a settled pressure.
///
/// None where the site's bag gives no answer.
#[must_use]
pub fn stretch(site: &Site, fall: &Fall, errors: &Errors) -> Option<Stretch> {
    let stated = site.bag.skin_stretch_per_pa;
    let before = if stated > 0.0 { stated } else { STRETCH };
    let leak = if site.bag.leak_coefficient > 0.0 { site.bag.leak_coefficient } else { LEAK.0 };
    let fits_leak = site.bag.settled_pressure_pa.is_none();
    let first_pa = fall.points.first()?.1;
    // Stretch, first pressure, the gauge's zero, leak.
    let mut known =
        vec![(before.ln(), site.unknown.skin_stretch.max(0.05)), (first_pa.ln(), 0.1), (0.0, errors.zero_pa.max(0.1))];
    if fits_leak {
        known.push((leak.ln(), LEAK.1));
    }
    let predict = |at: &[f64]| -> Option<Vec<f64>> {
        let [stretch, first, zero_pa, ..] = at else { return None };
        let mut site = site.clone();
        // The chamber refuses a skin that would fold up at once.
        site.bag.skin_stretch_per_pa = stretch.exp().min(4e-4);
        if let Some(leak) = at.get(3) {
            site.bag.leak_coefficient = leak.exp();
        }
        let supply = Supply::new(&site).ok()?;
        let chamber = supply.chamber.as_ref().ok()?;
        let slow = SlowGas { chamber, flows: supply.flows(Feed::Lost) };
        let start = chamber.at_pressure(first.exp() as f32);
        let out: Vec<f64> = fall
            .points
            .iter()
            .map(|(s, _, _)| f64::from(slow.after_loss(&start, *s as f32).0.pressure_pa) + zero_pa)
            .collect();
        out.iter().all(|pa| pa.is_finite()).then_some(out)
    };
    let measured: Vec<f64> = fall.points.iter().map(|p| p.1).collect();
    let n = measured.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| match fall.points.get(i) {
        Some((_, pa, readings)) if i == j => ((errors.gauge * pa).powi(2) + errors.noise_pa.powi(2)) / readings + 1.0,
        _ => 0.0,
    });
    let found = find(&known, &measured, &covariance, &predict)?;
    let value = found.at.first()?.exp();
    let sd = found.sd.first()?.hypot(STRETCH_LEFT).min(site.unknown.skin_stretch.max(STRETCH_LEFT));
    let mut doubts = Vec::new();
    if found.rms > WORST_RMS {
        doubts.push(format!(
            "the pressure does not fall as the stated vents, flaps and volume let it ({:.1} times the readings' errors): measure the openings again, and look whether a blower without a closing flap was open",
            found.rms
        ));
    }
    Some(Stretch {
        site_value: stated,
        value,
        sd,
        leak: found.at.get(3).map(|leak| leak.exp()),
        points: n,
        rms: found.rms,
        doubts,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_fall_is_told_with_a_cure() {
        let said = |points: &[(f64, f64)]| fall(points, Shown::default()).unwrap_err();
        let rising: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i), 100.0 + 40.0 * f64::from(i))).collect();
        assert!(said(&rising).contains("rises from 0.10 kPa to 0.86 kPa"), "{}", said(&rising));
        let seven: Vec<(f64, f64)> = (0..7).map(|i| (f64::from(i), 1_000.0 - 140.0 * f64::from(i))).collect();
        assert!(said(&seven).contains("in 7 readings; 8 readings"), "{}", said(&seven));
        let flat: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i), 1_000.0 - f64::from(i))).collect();
        assert!(said(&flat).contains("until the bag is soft"), "{}", said(&flat));
        assert!(said(&[(0.0, 1.0), (1.0, 0.9)]).contains("heading's unit"));
    }

    fn refused(pressures: &[f64]) -> Option<String> {
        let rows: Vec<String> = pressures.iter().enumerate().map(|(i, pa)| format!("{i},{pa}\n")).collect();
        let text = format!("# by hand\ntime_s,gauge_pa\n{}", rows.concat());
        let table = crate::loaded::read(&text, "off.csv", true, false).unwrap();
        gauge_of(&table, Shown::default()).err().map(|faults| faults.to_string())
    }

    #[test]
    fn a_rise_is_told_with_its_line_and_a_cure() {
        let falling: Vec<f64> = (0..20).map(|i| 1_000.0 - 50.0 * f64::from(i)).collect();
        assert_eq!(refused(&falling), None);
        // Filling the bag before, a gauge's flutter, and the skin's own weight at the end are no rise.
        let mut whole = vec![200.0, 600.0, 990.0, 1_000.0, 980.0, 1_010.0];
        whole.extend(&falling);
        whole.extend([30.0, 45.0, 90.0]);
        assert_eq!(refused(&whole), None);
        let mut again = falling[..11].to_vec();
        again.extend([560.0, 700.0, 980.0, 700.0, 300.0]);
        let said = refused(&again).unwrap();
        assert!(said.contains("off.csv:14:") && said.contains("from 0.50 kPa at 10 s to 0.98 kPa at 13 s"), "{said}");
        assert!(said.contains("blowers ran again"), "{said}");
        let rising: Vec<f64> = (0..20).map(|i| 100.0 + 40.0 * f64::from(i)).collect();
        let said = refused(&rising).unwrap();
        assert!(said.contains("off.csv:4:") && said.contains("from 0.10 kPa at 0 s to 0.86 kPa at 19 s"), "{said}");
        assert!(said.contains("before the blowers were switched off"), "{said}");
    }

    #[test]
    fn the_table_of_a_load_is_no_empty_deflation() {
        let text = "time_s,gauge_pa,depth_m\n0,1000,0.1\n1,900,0.2\n";
        let table = crate::loaded::read(text, "water.csv", true, false).unwrap();
        let said = gauge_of(&table, Shown::default()).unwrap_err().to_string();
        assert!(said.contains("water.csv:2:8") && said.contains("--loaded"), "{said}");
    }
}
