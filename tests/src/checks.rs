//! The tables of checks: what each compares, with what, and the largest deviation that it saw. What nobody here wrote
//! stands apart from a second solution of the same equations, and both from what only holds the code to itself.
//!
//! A test notes its comparisons in a [`Check`] and ends with [`Check::finish`], which fails where a deviation is larger
//! than the tolerance and writes a line to `target/checks`. `cargo run -p landfall-tests --bin checks-table` puts all
//! the lines into the README.
#![allow(clippy::expect_used, clippy::panic)] // made for tests: it ends them where a check fails

use serde::{Deserialize, Serialize};
use std::fmt::Display;
use std::path::PathBuf;

/// How much a comparison says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// With published figures that were read, with exact solutions, or with a library's own functions.
    Outside,
    /// With a second solution that shares the equations: it checks the arithmetic, not the physics.
    Second,
    /// With the same code run another way, with figures from memory, or with constants typed once more.
    Own,
}

/// One line of a table, before it is computed.
pub struct Row {
    /// In which of the tables it stands.
    pub kind: Kind,
    /// Name of the check: its file, and the test's word for it.
    pub id: &'static str,
    /// What is checked.
    pub model: &'static str,
    /// What it is compared with, by other people or other code.
    pub source: &'static str,
}

const fn outside(id: &'static str, model: &'static str, source: &'static str) -> Row {
    Row { kind: Kind::Outside, id, model, source }
}

const fn second(id: &'static str, model: &'static str, source: &'static str) -> Row {
    Row { kind: Kind::Second, id, model, source }
}

const fn own(id: &'static str, model: &'static str, source: &'static str) -> Row {
    Row { kind: Kind::Own, id, model, source }
}

/// Every line of the table, in its order.
pub const ROWS: &[Row] = &[
    outside("air_pressure", "Air pressure at altitude", "ISO 2533:1975"),
    outside("air_density", "Air density at altitude", "ISO 2533:1975"),
    outside("take_off", "Take-off: lip angle, base, face, lag, release", "circle geometry in double precision"),
    outside("straight", "Speed down a straight with drag and rolling resistance", "closed form in double precision"),
    outside("arc", "Speed round an arc without drag, with rolling resistance", "closed form in double precision"),
    outside(
        "coasting",
        "Force on a coasting rider",
        "worked example of Martin et al. 1998, J. Appl. Biomech. 14(3):276–291",
    ),
    second("ride_sections", "Speed and time over single sections", "SciPy DOP853, rtol 1e-11"),
    outside("vacuum", "Flight without air", "parabola in double precision"),
    outside("fall_in_air", "Fall from rest and vertical throw in air", "closed form with terminal speed"),
    own(
        "taylor",
        "Flight with quadratic drag",
        "Taylor, Classical Mechanics (2005), example 2.6 (from memory, to 1 m)",
    ),
    second("projectiles", "Flight with quadratic drag", "SciPy DOP853, rtol 1e-12"),
    second("flights", "Flight in wind over sloped planes", "SciPy DOP853, rtol 1e-11"),
    own("fall_height", "Equivalent fall height", "drag-free form of Hubbard 2009, J. ASTM Int. 6(10) (from memory)"),
    own(
        "landing_shape_closed",
        "Surface of one equivalent fall height, without air",
        "closed equation of Hubbard 2009 (from memory), SciPy RK45",
    ),
    second(
        "landing_shape",
        "Surface of one equivalent fall height, with air and wind",
        "SciPy DOP853, brentq and RK45",
    ),
    outside("clopper_pearson", "95 % interval of a chance", "SciPy beta quantiles"),
    outside("normal_quantile", "Quantiles of the drawn deviations", "SciPy normal quantiles"),
    second("site_lengths", "45 sites: lengths and places", "second solution in double precision, SciPy"),
    second("site_speeds", "45 sites: speeds", "second solution in double precision, SciPy"),
    second("site_times", "45 sites: times", "second solution in double precision, SciPy"),
    second("site_pressures", "45 sites: pressures", "second solution in double precision, SciPy"),
    second("site_loads", "45 sites: loads, flows, gas, forces", "second solution in double precision, SciPy"),
    second("site_shares", "45 sites: shares of the spread", "second solution in double precision, SciPy"),
    second("site_means", "45 sites: sampled means and standard deviations", "100,000 independent runs, NumPy"),
    second("site_outcomes", "45 sites: sampled outcomes", "100,000 independent runs, NumPy"),
    own("million", "Sampled means, 100,000 runs", "1,000,000 other runs of the same kernel"),
    own(
        "mixed_tries",
        "Sampled outcomes of good and botched tries together",
        "good and botched tries sampled apart, in their shares",
    ),
    own("tails", "Chance of a miss, 1 in 3,000 to 1 in 8 million", "1,000,000,000 plain runs of the same kernel"),
    second(
        "fit_least_squares",
        "Fit of runs: means and standard deviations, in standard deviations",
        "SciPy least_squares over the second solution",
    ),
    second(
        "fit_emcee",
        "Fit of runs with unknown scatter: the same, in standard deviations",
        "emcee over the second solution",
    ),
    outside("orifice_flux", "Mass flux through an opening", "isentropic flow, γ = 1.4"),
    outside("fan_laws", "Fan laws", "published example of the affinity laws (AMCA, ISO 5801)"),
    outside("pchip", "Blower curve", "SciPy PchipInterpolator"),
    outside("equilibrium", "Operating point", "parabolic fan against a power-law leak, exact"),
    outside("emptying", "Emptying at constant pressure", "V/(C_d A √(2Δp/ρ))"),
    outside("sealed_spring", "Sealed bag: stored energy", "energy integral of the adiabat"),
    second("constant_pressure", "Very large bag: depth", "energy integral at constant pressure, SciPy brentq"),
    second("supply_scipy", "Operating point, filling, recovery, power loss", "SciPy brentq and DOP853"),
    second("touchdown_scipy", "Touch-down: depth, load, pressure, times", "SciPy DOP853, rtol 1e-10"),
    second("ride_pressures_scipy", "Stop and firm pressure, hold, landings", "SciPy DOP853 and brentq"),
    outside("browning_peak", "Vented bag: peak load, 22 drop tests", "Browning, ARC C.P. 751 (1963), theory"),
    outside("browning_speed", "Vented bag: speed ratio, 23 drop tests", "Browning, ARC C.P. 751 (1963), theory"),
    outside("browning_time", "Vented bag: time, 23 drop tests", "Browning, ARC C.P. 751 (1963), theory"),
    outside("browning_measured", "Vented bag: peak load, 17 drop tests", "Browning, ARC C.P. 751 (1963), measured"),
    outside("ross_closed", "Closed bag: height and peak load", "Ross, NATICK/TR-88/021 (1988)"),
    outside("ross_vents", "Fixed vents: time and speed at the end", "Ross, NATICK/TR-88/021 (1988)"),
    own("wind_force", "Wind pressure and side force", "EN 14960-1:2019 Annex A (from memory)"),
    own("gust_factor", "Gust over mean wind", "EN 1991-1-4 terrain II at 10 m (from memory)"),
    own("loose_fill", "Loose fill and fall height", "US CPSC Publication 325, table 2"),
];

/// How a deviation is measured and printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Scale {
    /// As a share of the expected value, in percent.
    Relative,
    /// In metres.
    Metres,
    /// In metres per second.
    MetresPerSecond,
    /// In seconds.
    Seconds,
    /// In pascals.
    Pascals,
    /// In standard errors.
    StandardErrors,
    /// A number without a unit.
    Plain,
    /// As a share of the tolerance, where one check holds several kinds of quantity.
    OfTolerance,
    /// As a share of the expected value, with its sign: of measurements that scatter the mean and the root mean square
    /// are told, and the root mean square is what the tolerance bounds.
    Scatter,
}

/// One line of the table, computed.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Line {
    /// Name of the check.
    pub id: String,
    /// How it is measured.
    pub scale: Scale,
    /// Largest deviation.
    pub largest: f64,
    /// Largest that is allowed.
    pub tolerance: f64,
    /// How many values were compared.
    pub values: u64,
    /// Mean of the deviations with their signs, and their root mean square; of [`Scale::Scatter`] alone.
    #[serde(default)]
    pub mean_and_rms: Option<(f64, f64)>,
}

/// A check in the making.
#[derive(Debug)]
pub struct Check {
    line: Line,
    at: String,
    over: Vec<String>,
    signed: Vec<f64>,
}

/// Folder of the lines.
#[must_use]
pub fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../target/checks")
}

impl Check {
    /// Begins the check with this name.
    ///
    /// # Panics
    /// Where the name is not in [`ROWS`].
    #[must_use]
    pub fn new(id: &'static str, scale: Scale, tolerance: f64) -> Self {
        assert!(ROWS.iter().any(|row| row.id == id), "no check is called {id}");
        let line = Line { id: id.to_owned(), scale, largest: 0.0, tolerance, values: 0, mean_and_rms: None };
        Self { line, at: String::new(), over: Vec::new(), signed: Vec::new() }
    }

    /// Compares a value with what is expected.
    pub fn note(&mut self, case: impl Display, got: f64, expected: f64) {
        let off = (got - expected).abs();
        let off = match self.line.scale {
            Scale::Relative | Scale::Scatter if off > 0.0 => off / expected.abs(),
            _ => off,
        };
        self.signed.push(if got < expected { -off } else { off });
        self.deviation(format_args!("{case}: {got} for {expected}"), off);
    }

    /// Notes a deviation that was computed elsewhere, in the check's scale.
    pub fn deviation(&mut self, case: impl Display, off: f64) {
        // A result that is no number must fail too.
        let off = if off.is_nan() { f64::INFINITY } else { off };
        self.line.values += 1;
        if off > self.line.tolerance && self.line.scale != Scale::Scatter {
            self.over.push(format!("{case} (off by {off:e})"));
        }
        if off > self.line.largest {
            self.line.largest = off;
            self.at = case.to_string();
        }
    }

    /// Notes a yes or no: what is not as it should be is an infinite deviation.
    pub fn holds(&mut self, case: impl Display, is_so: bool) {
        self.deviation(case, if is_so { 0.0 } else { f64::INFINITY });
    }

    /// What is wrong so far.
    #[must_use]
    pub fn faults(&self) -> &[String] {
        &self.over
    }

    /// Writes the line; fails where nothing was compared or a deviation is larger than the tolerance.
    ///
    /// # Panics
    /// Where the check fails.
    pub fn finish(mut self) {
        if self.line.scale == Scale::Scatter {
            let count = self.signed.len() as f64;
            let mean = self.signed.iter().sum::<f64>() / count;
            let rms = (self.signed.iter().map(|off| off * off).sum::<f64>() / count).sqrt();
            self.line.mean_and_rms = Some((mean, rms));
            if !(rms <= self.line.tolerance) {
                self.over.push(format!("root mean square {rms} of {}", self.line.tolerance));
            }
        }
        let Line { id, largest, tolerance, values, .. } = &self.line;
        println!("{id}: {values} values, largest deviation {largest:.3e} of {tolerance:e} at {}", self.at);
        assert!(*values > 0, "{id} compared nothing");
        assert!(self.over.is_empty(), "{id}: {} of {values} values differ\n{}", self.over.len(), self.over.join("\n"));
        let folder = folder();
        std::fs::create_dir_all(&folder).expect("target/checks can be made");
        let text = serde_json::to_string_pretty(&self.line).expect("a line is JSON");
        std::fs::write(folder.join(format!("{id}.json")), text).expect("target/checks can be written");
    }
}

/// Two figures, rounded up: never less than what was seen, and the same where the last bits differ.
fn two_figures(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return "0".to_owned();
    }
    let mut exponent = value.abs().log10().floor() as i32;
    let mut figures = (value / 10f64.powi(exponent) * 10.0 - 1e-6).ceil();
    if figures >= 100.0 {
        figures = 10.0;
        exponent += 1;
    }
    if (-4..=3).contains(&exponent) {
        let places = (1 - exponent).max(0) as usize;
        let text = format!("{:.places$}", figures * 10f64.powi(exponent - 1));
        match text.contains('.') {
            true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
            false => text,
        }
    } else {
        format!("{}e{exponent}", figures / 10.0)
    }
}

/// A deviation in the words of the table.
#[must_use]
pub fn in_words(scale: Scale, value: f64) -> String {
    match scale {
        // What is left of double precision is no figure: it differs from one library of functions to the next.
        Scale::Relative if value < 1e-9 => "< 1e-7 %".to_owned(),
        Scale::Relative => format!("{} %", two_figures(value * 100.0)),
        Scale::Metres => format!("{} mm", two_figures(value * 1e3)),
        Scale::MetresPerSecond => format!("{} mm/s", two_figures(value * 1e3)),
        Scale::Seconds => format!("{} ms", two_figures(value * 1e3)),
        Scale::Pascals => format!("{} Pa", two_figures(value)),
        Scale::StandardErrors => format!("{} standard errors", two_figures(value)),
        Scale::Plain => two_figures(value),
        Scale::OfTolerance => format!("{} % of the tolerance", two_figures(value * 100.0)),
        Scale::Scatter => format!("rms {} %", two_figures(value * 100.0)),
    }
}

/// The line of a check, as its test left it.
fn line_of(id: &str) -> Option<Line> {
    serde_json::from_str(&std::fs::read_to_string(folder().join(format!("{id}.json"))).ok()?).ok()
}

/// One row in the words of a table.
fn in_table(row: &Row, line: &Line) -> String {
    let tolerance = match line.scale {
        Scale::OfTolerance => "see the test".to_owned(),
        Scale::Relative => format!("{} %", two_figures(line.tolerance * 100.0)),
        scale => in_words(scale, line.tolerance),
    };
    let largest = match line.mean_and_rms {
        Some((mean, rms)) => format!(
            "mean {}{} %, rms {} %, largest {} %",
            if mean < 0.0 { '−' } else { '+' },
            two_figures(mean.abs() * 100.0),
            two_figures(rms * 100.0),
            two_figures(line.largest * 100.0)
        ),
        None => in_words(line.scale, line.largest),
    };
    format!("| {} | {} | {} | {largest} | {tolerance} |\n", row.model, row.source, line.values)
}

/// The tables of all lines that are in [`folder`], one for each [`Kind`].
///
/// # Errors
/// Names the checks that have not been run.
pub fn tables() -> Result<String, String> {
    let heads = [
        (
            Kind::Outside,
            "**With what nobody here wrote**: published figures that were read, exact solutions, a library's own functions.",
        ),
        (
            Kind::Second,
            "**With a second solution** in double precision with SciPy, written from the same equations by somebody who \
             had not read this code. It shares the equations: it checks the arithmetic, not the physics.",
        ),
        (
            Kind::Own,
            "**With itself**: the same code run another way, figures from memory that could not be looked up, constants \
             typed once more. It finds slips, and says nothing of the world.",
        ),
    ];
    let mut text = String::new();
    let mut missing = Vec::new();
    for (kind, words) in heads {
        text.push_str(&format!(
            "\n{words}\n\n| model | compared with | values | largest deviation | tolerance |\n| --- | --- | ---: | ---: | ---: |\n"
        ));
        for row in ROWS.iter().filter(|row| row.kind == kind) {
            match line_of(row.id) {
                Some(line) => text.push_str(&in_table(row, &line)),
                None => missing.push(row.id),
            }
        }
    }
    text.push('\n');
    if missing.is_empty() {
        Ok(text)
    } else {
        Err(format!("not run yet: {}; run `cargo test -p landfall-tests` first", missing.join(", ")))
    }
}

/// The mark before the table.
pub const BEGIN: &str = "<!-- checks:begin -->";
/// The mark after it.
pub const END: &str = "<!-- checks:end -->";

/// A text with the table put between its marks.
///
/// # Errors
/// Where a mark is missing.
pub fn put_between_marks(text: &str, table: &str) -> Result<String, String> {
    let (before, rest) = text.split_once(BEGIN).ok_or_else(|| format!("no mark {BEGIN}"))?;
    let (_, after) = rest.split_once(END).ok_or_else(|| format!("no mark {END}"))?;
    Ok(format!("{before}{BEGIN}\n{table}{END}{after}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_rounded_up() {
        let cases = [
            (0.0, "0"),
            (1.0, "1"),
            (0.1, "0.1"),
            (1.234, "1.3"),
            (0.012_01, "0.013"),
            (9.96, "10"),
            (99.6, "100"),
            (123.0, "130"),
            (3.3e-7, "3.3e-7"),
            (0.000_99, "0.00099"),
            (5.0, "5"),
            (0.05, "0.05"),
            (100.0, "100"),
            (0.000_1, "0.0001"),
        ];
        for (value, text) in cases {
            assert_eq!(two_figures(value), text, "{value}");
        }
    }

    #[test]
    fn a_table_goes_between_its_marks() {
        let text = format!("a\n{BEGIN}\nold\n{END}\nb\n");
        assert_eq!(put_between_marks(&text, "new\n").unwrap(), format!("a\n{BEGIN}\nnew\n{END}\nb\n"));
        assert!(put_between_marks("a", "b").is_err());
    }

    #[test]
    #[should_panic(expected = "1 of 2 values differ")]
    fn a_deviation_fails() {
        let mut check = Check::new("vacuum", Scale::Plain, 0.1);
        check.note("near", 1.05, 1.0);
        check.note("no number", f64::NAN, 1.0);
        check.finish();
    }

    #[test]
    fn names_are_different() {
        let mut ids: Vec<_> = ROWS.iter().map(|row| row.id).collect();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), ROWS.len());
    }
}
