//! A loaded deflation: what a dead load on a board tells of the force area, without any model of the skin.
//!
//! While the load sinks slowly the gas carries it, p A(x) = M g cos φ, so every moment is a point (x, M g cos φ / p).
//! Points count where it sinks slower than 0.2 m/s (*assumed*: faster, its inertia and a film's timing come in). The
//! fast stretch at the end is the load breaking away; from there on, and on the ground, nothing counts.
//!
//! # Settled here
//! - **Force area of a load**: A = M g cos φ / p at each depth, where the load sinks slower than 0.2 m/s (speed: the
//!   straight through 0.35 s to either side) and before it breaks away (a fast stretch of 0.15 m or more after which
//!   it sinks less than 0.1 m on) or lies on the ground (its smoothed depth stays and the pressure under it goes on
//!   falling by a quarter). The curve is the weighted isotonic regression of depth over area of each load, loads put
//!   together by the mean of ln A weighted by their own errors (the gauge's zero counts the more the lighter the
//!   load), and thinned: a knot goes that moves the curve by less than 2 %.

use super::knots::Seen;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Fault, Faults};
use landfall_tables::{Column, Holds, Row, read_table};

/// Fastest sinking that counts, m/s.
pub const SLOW_MPS: f64 = 0.2;
/// Half of the time over which a speed is taken, s.
const HALF_WINDOW_S: f64 = 0.35;
/// A fast stretch shorter than this is a slip of the skin, not a breaking away, m.
const FALL_M: f64 = 0.15;
/// How far a load goes on sinking after a slip, at least, m.
const ON_M: f64 = 0.1;
/// Points are put together while the pressure has fallen by less than this share of it.
const STEP_SHARE: f64 = 0.03;
/// And while the load has sunk by less than this, m.
const STEP_M: f64 = 0.04;
/// A load lies on the ground where it stays and the pressure under it goes on falling by this share.
const GROUND_SHARE: f64 = 0.25;

/// Columns of a loaded deflation, and of an empty one (without the depth).
pub const COLUMNS: &[Column] = &[
    Column::word("note", Holds::Text),
    Column::value("time", Holds::Quantity(Dimension::Time), -1e7, 1e8),
    Column::value("gauge", Holds::Quantity(Dimension::Pressure), -2e3, 30e3),
    Column::value("depth", Holds::Quantity(Dimension::Length), -1.0, 15.0),
];

/// Errors of the measurement, standard deviations.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Errors {
    /// Of a gauge's reading, over the reading.
    pub gauge: f64,
    /// Of the gauge's zero, Pa.
    pub zero_pa: f64,
    /// Noise of a single reading on top, Pa.
    pub noise_pa: f64,
    /// Of a filmed depth, m.
    pub depth_m: f64,
    /// Of the load's mass, over the mass.
    pub mass: f64,
}

impl Errors {
    /// A filmed gauge and a filmed depth (*assumed*).
    pub const FILMED: Self = Self { gauge: 0.02, zero_pa: 12.5, noise_pa: 0.0, depth_m: 0.025, mass: 0.01 };

    /// Of one reading's area, over the area; the mass is the same in all readings and not in it.
    fn area(&self, gauge_pa: f64) -> f64 {
        self.gauge.hypot(self.noise_pa.hypot(self.zero_pa) / gauge_pa.max(1.0))
    }
}

/// One line of a table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Time, s.
    pub time_s: f64,
    /// Gauge pressure, Pa.
    pub gauge_pa: f64,
    /// Depth, m.
    pub depth_m: f64,
    /// Its line in the file.
    pub line: usize,
}

/// A table as it was read: each line may have a gauge, a depth, or both.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// File name, for messages.
    pub file: String,
    rows: Vec<Row>,
    /// Times and pressures.
    pub gauge: Vec<(f64, f64)>,
    /// Times, depths and lines.
    pub depth: Vec<(f64, f64, usize)>,
}

impl Table {
    /// What is wrong at the n-th pressure, or what is wrong with the depths, where that is wanted.
    #[must_use]
    pub fn gauge_fault(&self, n: usize, message: String, cure: &str) -> Faults {
        let with_gauge = |row: &&Row| row.value("time").is_some() && row.value("gauge").is_some();
        let line = self.rows.iter().filter(with_gauge).nth(n).map_or(1, |row| row.line);
        self.fault(line, "gauge", message, cure)
    }

    /// The same at the first depth.
    #[must_use]
    pub fn depth_fault(&self, message: String, cure: &str) -> Faults {
        self.fault(self.depth.first().map_or(1, |depth| depth.2), "depth", message, cure)
    }

    fn fault(&self, line: usize, column: &str, message: String, cure: &str) -> Faults {
        let row = self.rows.iter().find(|row| row.line == line).or_else(|| self.rows.last());
        let fault = row.map_or_else(
            || Fault { key: column.to_owned(), message: message.clone(), cure: cure.to_owned(), ..Fault::default() },
            |row| row.fault(column, message.clone(), cure),
        );
        Faults { file: self.file.clone(), faults: vec![fault] }
    }
}

/// Reads a table with times and a gauge, and depths where they are asked for.
///
/// # Errors
/// Everything that is wrong with it, with line and column; a column that is missing.
pub fn read(text: &str, file: &str, wants_gauge: bool, wants_depth: bool) -> Result<Table, Faults> {
    let rows = read_table(COLUMNS, text, file)?;
    let mut table = Table { file: file.to_owned(), ..Table::default() };
    let mut faults = Vec::new();
    let mut last_s = f64::NEG_INFINITY;
    for row in &rows {
        let (gauge, depth) = (row.value("gauge"), row.value("depth"));
        let Some(time_s) = row.value("time") else {
            if gauge.is_some() || depth.is_some() {
                faults.push(row.fault("time", "a reading without its time", "write the seconds under time_s"));
            }
            continue;
        };
        if time_s <= last_s {
            let message = format!("{time_s} s does not come after {last_s} s");
            faults.push(row.fault("time", message, "put the lines in the order of time; each time once"));
        }
        last_s = time_s;
        table.gauge.extend(gauge.map(|pa| (time_s, pa)));
        table.depth.extend(depth.map(|m| (time_s, m, row.line)));
    }
    table.rows = rows;
    if !faults.is_empty() {
        return Err(Faults { file: file.to_owned(), faults });
    }
    let missing = [
        ("time", table.gauge.is_empty() && table.depth.is_empty(), "seconds under the heading time_s"),
        (
            "gauge",
            wants_gauge && table.gauge.is_empty(),
            "the gauge under gauge_pa, gauge_kpa, gauge_mbar, gauge_inh2o or gauge_psi",
        ),
        (
            "depth",
            wants_depth && table.depth.is_empty(),
            "how deep the load lies below the lath under depth_m, depth_cm or depth_in",
        ),
    ];
    for (name, missing, cure) in missing {
        if missing {
            let message = format!("the table has no {name}");
            return Err(table.fault(1, name, message, &format!("write {cure}")));
        }
    }
    Ok(table)
}

/// Half of the time over which a gauge that is read often is averaged, s.
const AVERAGED_S: f64 = 0.15;

/// Pressure at a time: the mean of the readings about it where there are three or more, else straight between two; none
/// outside of them.
fn pressure_at(gauge: &[(f64, f64)], time_s: f64) -> Option<f64> {
    let from = gauge.partition_point(|(at_s, _)| *at_s < time_s - AVERAGED_S);
    let to = gauge.partition_point(|(at_s, _)| *at_s <= time_s + AVERAGED_S);
    let near = gauge.get(from..to).unwrap_or(&[]);
    let (before, after) = (from > 0, to < gauge.len());
    if near.len() >= 3 && before && after {
        let mean_s = near.iter().map(|p| p.0).sum::<f64>() / near.len() as f64;
        let mean_pa = near.iter().map(|p| p.1).sum::<f64>() / near.len() as f64;
        return Some(mean_pa + slope(near.iter().copied()) * (time_s - mean_s));
    }
    let after = gauge.partition_point(|(at_s, _)| *at_s < time_s);
    let (to, from) = (gauge.get(after), after.checked_sub(1).and_then(|i| gauge.get(i)));
    match (from, to) {
        (_, Some((at_s, pa))) if *at_s == time_s => Some(*pa),
        (Some((a_s, a_pa)), Some((b_s, b_pa))) => Some(a_pa + (b_pa - a_pa) * (time_s - a_s) / (b_s - a_s)),
        _ => None,
    }
}

/// The readings of a film beside those of a gauge whose clock shows `offset_s` more than the film's.
#[must_use]
pub fn joined(depth: &[(f64, f64, usize)], gauge: &[(f64, f64)], offset_s: f64) -> Vec<Reading> {
    depth
        .iter()
        .filter_map(|(time_s, depth_m, line)| {
            let gauge_pa = pressure_at(gauge, time_s + offset_s)?;
            Some(Reading { time_s: *time_s, gauge_pa, depth_m: *depth_m, line: *line })
        })
        .collect()
}

/// Slope of the least-squares straight through (time, value) pairs.
pub(super) fn slope(points: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let (n, t, v) = points.clone().fold((0.0, 0.0, 0.0), |(n, t, v), p| (n + 1.0, t + p.0, v + p.1));
    let (t, v) = (t / n, v / n);
    let (above, below) = points.fold((0.0, 0.0), |(a, b), p| (a + (p.0 - t) * (p.1 - v), b + (p.0 - t).powi(2)));
    if below > 0.0 { above / below } else { 0.0 }
}

/// The points within a time of one of them, at least its neighbours.
fn around<T>(points: &[T], at: usize, time_s: impl Fn(&T) -> f64) -> &[T] {
    let Some(here) = points.get(at) else { return &[] };
    let here_s = time_s(here);
    let from = points.partition_point(|p| time_s(p) < here_s - HALF_WINDOW_S).min(at.saturating_sub(1));
    let to = points.partition_point(|p| time_s(p) <= here_s + HALF_WINDOW_S).max(at + 2).min(points.len());
    points.get(from..to).unwrap_or(&[])
}

/// How fast the load sinks at each of the depths of a film, m/s.
#[must_use]
pub fn speeds(depth: &[(f64, f64)]) -> Vec<f64> {
    (0..depth.len()).map(|i| slope(around(depth, i, |p| p.0).iter().copied())).collect()
}

/// Where a load broke away.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct BreakAway {
    /// When, by the film's clock, s.
    pub time_s: f64,
    /// How deep it lay then, m.
    pub depth_m: f64,
    /// When it came to rest, s.
    pub rest_s: f64,
    /// How deep it lay then, m.
    pub rest_m: f64,
}

/// The fast stretch at the end of a film, if there is one.
#[must_use]
pub fn break_away(depth: &[(f64, f64)]) -> Option<BreakAway> {
    let speeds = speeds(depth);
    let mut at = 0;
    let mut found: Option<BreakAway> = None;
    let deepest = depth.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    while at < depth.len() {
        let end = speeds.iter().skip(at).position(|v| *v <= SLOW_MPS).map_or(depth.len(), |n| at + n);
        let (from, to) = (depth.get(at), end.checked_sub(1).and_then(|i| depth.get(i)));
        if let (true, Some(from), Some(to)) = (end > at, from, to)
            && to.1 - from.1 >= FALL_M
            && deepest - to.1 < ON_M
        {
            found = Some(BreakAway { time_s: from.0, depth_m: from.1, rest_s: to.0, rest_m: to.1 });
            break;
        }
        at = end + 1;
    }
    found
}

/// When the load of a film comes to rest at its deepest, s: where the straight through its last way meets the depth at
/// which it stays. None where the film ends before, or it hardly sank.
#[must_use]
pub fn comes_to_rest(film: &[(f64, f64)], depth_sd_m: f64) -> Option<f64> {
    let end_m = middle(film.iter().rev().take(5).map(|p| p.1));
    let begin_m = middle(film.iter().take(3).map(|p| p.1));
    let stays = (0..film.len()).rev().take_while(|i| {
        let near = around(film, *i, |p| p.0);
        let mean_m = near.iter().map(|p| p.1).sum::<f64>() / near.len() as f64;
        (mean_m - end_m).abs() <= 1.5 * depth_sd_m
    });
    let stays = stays.count();
    if stays < 4 || end_m - begin_m < 0.3 {
        return None;
    }
    let before = film.get(..film.len() - stays)?;
    let way = before.iter().rev().take_while(|p| p.1 > end_m - 0.35).filter(|p| p.1 < end_m - 2.0 * depth_sd_m);
    let way: Vec<(f64, f64)> = way.copied().collect();
    let speed = slope(way.iter().copied());
    if way.len() < 2 || speed < 0.02 {
        return None;
    }
    // It lies: for a second or more, and not sinking on as before.
    let lies = film.get(film.len() - stays..)?;
    if lies.last()?.0 - lies.first()?.0 < 1.0 || slope(lies.iter().copied()) > 0.3 * speed {
        return None;
    }
    let n = way.len() as f64;
    let (mean_s, mean_m) = (way.iter().map(|p| p.0).sum::<f64>() / n, way.iter().map(|p| p.1).sum::<f64>() / n);
    Some(mean_s + (end_m - mean_m) / speed)
}

/// How long a film shows the load sink before it comes to rest or breaks away, s: from a tenth of a metre deeper than at
/// first.
#[must_use]
pub fn sinking_s(film: &[(f64, f64)], until_s: f64) -> f64 {
    let begin_m = middle(film.iter().take(3).map(|p| p.1));
    film.iter().find(|p| p.1 > begin_m + 0.1).map_or(0.0, |p| (until_s - p.0).max(0.0))
}

/// What a load tells.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Load {
    /// Name of its file.
    pub file: String,
    /// Its mass, kg.
    pub mass_kg: f64,
    /// The points that count, one a reading.
    #[serde(skip)]
    pub points: Vec<Seen>,
    /// The line of each.
    #[serde(skip)]
    pub lines: Vec<usize>,
    /// The same put together to fewer.
    #[serde(skip)]
    pub grouped: Vec<Seen>,
    /// How many readings count.
    pub counted: usize,
    /// How many readings there are.
    pub readings: usize,
    /// Where it broke away.
    pub break_away: Option<BreakAway>,
    /// It lay on the ground at the end.
    pub on_the_ground: bool,
    /// How far it sank, m.
    pub sank_to_m: f64,
    /// Pressures at its first and its last point, Pa.
    pub gauge_pa: (f64, f64),
}

/// Mean of the middle values: outliers do not move it.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let cut = values.len() / 4;
    let inside = values.get(cut..values.len() - cut).unwrap_or(&[]);
    inside.iter().sum::<f64>() / inside.len().max(1) as f64
}

/// The points of a load of `mass_kg` with `weight_n` across the top: M g cos φ.
///
/// `thickness_m` is the bag's where the load lies: nothing deeper is a depth of the skin.
///
/// # Errors
/// A pressure that rises, or one that is not above 0: not a deflation.
pub fn points(
    table: &Table,
    readings: &[Reading],
    (mass_kg, weight_n): (f64, f64),
    thickness_m: f64,
    errors: &Errors,
    here: Shown,
) -> Result<Load, Faults> {
    let film: Vec<(f64, f64)> = readings.iter().map(|r| (r.time_s, r.depth_m)).collect();
    let away = break_away(&film);
    let speeds = speeds(&film);
    let few = 3.min(readings.len());
    let first_pa = middle(readings.iter().take(few).map(|r| r.gauge_pa));
    let last_pa = middle(readings.iter().rev().take(few).map(|r| r.gauge_pa));
    let last_line = readings.last().map_or(1, |r| r.line);
    if readings.len() > 2 && last_pa > 1.02 * first_pa {
        let (from, to) = (here.pressure(first_pa, Toward::Nearest), here.pressure(last_pa, Toward::Nearest));
        let message = format!("the gauge rises from {from} to {to}: no deflation");
        let cure =
            "film from the moment at which the blowers are switched off, and look whether two columns are swapped";
        return Err(table.fault(last_line, "gauge", message, cure));
    }
    // Depth at which it stays, and since when; the pressure must go on falling under it.
    let end_m = middle(readings.iter().rev().take(5).map(|r| r.depth_m));
    let smooth: Vec<f64> = (0..film.len())
        .map(|i| {
            let near = around(&film, i, |p| p.0);
            near.iter().map(|p| p.1).sum::<f64>() / near.len() as f64
        })
        .collect();
    let stays = smooth.iter().rev().take_while(|depth_m| (**depth_m - end_m).abs() <= 1.5 * errors.depth_m).count();
    let stays_from = readings.len() - stays;
    let begins_m = middle(readings.iter().take(few).map(|r| r.depth_m));
    let stays_pa = readings.get(stays_from).map_or(0.0, |r| r.gauge_pa);
    let stayed = stays >= 4 && end_m - begins_m > 0.3 && last_pa < (1.0 - GROUND_SHARE) * stays_pa;
    let on_the_ground = stayed || away.is_some_and(|away| away.rest_s < film.last().map_or(0.0, |p| p.0));
    let end_s = away.map(|away| away.time_s);
    let counts = |i: usize, r: &Reading| {
        speeds.get(i).is_some_and(|v| *v < SLOW_MPS)
            && end_s.is_none_or(|end_s| r.time_s < end_s)
            && !(stayed && i >= stays_from)
            && r.depth_m < thickness_m - 0.05
    };
    let counted: Vec<Reading> = readings.iter().enumerate().filter(|(i, r)| counts(*i, r)).map(|(_, r)| *r).collect();
    check_falls(table, &counted, errors, here)?;
    let seen = |r: &Reading, n: f64| Seen {
        depth_m: r.depth_m,
        area_m2: weight_n / r.gauge_pa,
        depth_sd_m: errors.depth_m,
        area_sd: errors.area(r.gauge_pa),
        readings: n,
    };
    let counted: Vec<Reading> = counted.into_iter().filter(|r| r.gauge_pa > 1.0).collect();
    Ok(Load {
        file: table.file.clone(),
        mass_kg,
        points: counted.iter().map(|r| seen(r, 1.0)).collect(),
        lines: counted.iter().map(|r| r.line).collect(),
        grouped: grouped(&counted).iter().map(|(r, n)| seen(r, *n)).collect(),
        counted: counted.len(),
        readings: readings.len(),
        break_away: away,
        on_the_ground,
        sank_to_m: readings.iter().map(|r| r.depth_m).fold(0.0, f64::max),
        gauge_pa: (counted.first().map_or(0.0, |r| r.gauge_pa), counted.last().map_or(0.0, |r| r.gauge_pa)),
    })
}

/// Before it breaks away the pressure must not rise again: somebody has switched a blower on.
fn check_falls(table: &Table, counted: &[Reading], errors: &Errors, here: Shown) -> Result<(), Faults> {
    let mut lowest = f64::INFINITY;
    for i in 0..counted.len() {
        let near = around(counted, i, |r| r.time_s);
        let (pa, n) = (middle(near.iter().map(|r| r.gauge_pa)), near.len() as f64);
        let noise = 4.0 * (errors.area(pa) * pa) / n.sqrt();
        if pa > 1.1 * lowest + noise + 5.0 {
            let (from, to) = (here.pressure(lowest, Toward::Nearest), here.pressure(pa, Toward::Nearest));
            let message = format!("the gauge rises again, from {from} to {to}, while the load sinks");
            let cure = "switch every blower off and leave it off until the load is down; then measure again";
            return Err(table.fault(counted.get(i).map_or(1, |r| r.line), "gauge", message, cure));
        }
        lowest = lowest.min(pa);
    }
    Ok(())
}

/// Readings that hardly differ, as one: a long wait before the blowers stop is one point of the curve. Groups are told
/// apart by the smoothed pressure and depth, so that noise does not choose its own group.
fn grouped(readings: &[Reading]) -> Vec<(Reading, f64)> {
    let mut out: Vec<(Reading, f64)> = Vec::new();
    let mut begun: Option<(f64, f64)> = None;
    for (i, reading) in readings.iter().enumerate() {
        let near = around(readings, i, |r| r.time_s);
        let n = near.len() as f64;
        let pa = near.iter().map(|r| r.gauge_pa).sum::<f64>() / n;
        let m = near.iter().map(|r| r.depth_m).sum::<f64>() / n;
        let goes_on = begun.is_some_and(|(from_pa, from_m)| pa > (1.0 - STEP_SHARE) * from_pa && m < from_m + STEP_M);
        match out.last_mut() {
            Some((sum, count)) if goes_on => {
                sum.gauge_pa += reading.gauge_pa;
                sum.depth_m += reading.depth_m;
                *count += 1.0;
            }
            _ => {
                begun = Some((pa, m));
                out.push((*reading, 1.0));
            }
        }
    }
    for (sum, count) in &mut out {
        sum.gauge_pa /= *count;
        sum.depth_m /= *count;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> String {
        match read(text, "load.csv", true, true) {
            Err(faults) => faults.to_string(),
            Ok(table) => {
                let readings = joined(&table.depth, &table.gauge, 0.0);
                points(&table, &readings, (80.0, 784.5), 2.2, &Errors::FILMED, Shown::default())
                    .unwrap_err()
                    .to_string()
            }
        }
    }

    #[test]
    fn what_is_no_loaded_deflation_is_told_with_place_and_cure() {
        let text = said("time_s,gauge_pa,depth_m\n0,400,0.1\n1,500,0.2\n2,600,0.3\n3,700,0.4\n");
        assert!(text.contains("load.csv:5") && text.contains("rises from 0.50 kPa to 0.60 kPa"), "{text}");
        let text = said("time_s,gauge_pa\n0,400\n1,300\n");
        assert!(text.contains("the table has no depth") && text.contains("depth_cm"), "{text}");
        let text = said("time_s,depth_cm\n0,40\n1,50\n");
        assert!(text.contains("the table has no gauge") && text.contains("gauge_inh2o"), "{text}");
        let text = said("seconds,gauge_pa,depth_m\n0,400,0.1\n");
        assert!(text.contains("load.csv:1:1") && text.contains("time_s"), "{text}");
        let text = said("time_s,gauge_pa,depth_m\n0,400,0.1\n2,300,0.2\n1,200,0.3\n");
        assert!(text.contains("load.csv:4") && text.contains("order of time"), "{text}");
    }

    /// A load that sinks 5 cm a second on an area that grows with depth, then goes down at 1 m/s.
    fn film() -> Vec<Reading> {
        (0..400)
            .map(|i| {
                let t = f64::from(i) * 0.1;
                let depth = if t < 20.0 { 0.1 + 0.05 * t } else { (1.1 + (t - 20.0)).min(2.0) };
                let area = (0.5 + 2.0 * depth).min(2.7);
                let gauge = if t < 20.9 { 800.0 / area } else { 800.0 / 2.7 * (-(t - 20.9)).exp() };
                Reading { time_s: t, gauge_pa: gauge, depth_m: depth, line: i as usize + 2 }
            })
            .collect()
    }

    #[test]
    fn nothing_counts_from_the_breaking_away_on() {
        let film = film();
        let load = points(&Table::default(), &film, (80.0, 800.0), 2.2, &Errors::FILMED, Shown::default()).unwrap();
        let away = load.break_away.unwrap();
        assert!((away.time_s - 20.0).abs() < 0.3 && (away.rest_m - 2.0).abs() < 0.1, "{away:?}");
        assert!(load.on_the_ground && load.points.len() > 180);
        for point in &load.points {
            assert!(point.depth_m < 1.13 && (point.area_m2 - 0.5 - 2.0 * point.depth_m).abs() < 1e-6, "{point:?}");
        }
        assert!(load.grouped.len() < 60 && load.grouped.len() > 20, "{}", load.grouped.len());
    }

    #[test]
    fn a_load_that_comes_to_the_ground_slowly_counts_until_there() {
        let slow: Vec<Reading> = (0..300)
            .map(|i| {
                let t = f64::from(i) * 0.1;
                let depth = (0.1 + 0.1 * t).min(1.9);
                let gauge = if depth < 1.9 { 800.0 / (0.5 + 2.0 * depth) } else { 186.0 * (-(t - 18.0)).exp() };
                Reading { time_s: t, gauge_pa: gauge, depth_m: depth, line: 1 }
            })
            .collect();
        let load = points(&Table::default(), &slow, (80.0, 800.0), 2.2, &Errors::FILMED, Shown::default()).unwrap();
        assert!(load.on_the_ground && load.break_away.is_none());
        assert!(load.points.iter().all(|p| p.area_m2 < 4.31), "{:?}", load.points.last());
    }

    #[test]
    fn a_gauge_read_at_other_times_than_the_depth_is_taken_between() {
        let text = "time_s,gauge_kpa,depth_cm\n0,1.2,\n1,,10\n2,1.0,\n3,,15\n4,0.8,\n";
        let table = read(text, "a.csv", true, true).unwrap();
        let readings = joined(&table.depth, &table.gauge, 0.0);
        assert_eq!(readings.len(), 2);
        assert!((readings[0].gauge_pa - 1_100.0).abs() < 1e-9 && (readings[1].depth_m - 0.15).abs() < 1e-12);
        let later = joined(&table.depth, &table.gauge, 1.0);
        assert!((later[0].gauge_pa - 1_000.0).abs() < 1e-9);
    }
}
