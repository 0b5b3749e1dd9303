//! Fitted values into the site file: each key keeps its place and comment, and a line at the end says where they are
//! from.
//!
//! # Settled here
//! - **What is written**: a parameter whose standard deviation came to 0.8 of the site's or less, a scatter whose
//!   scale is known to 35 %, and the same measurements (by their SHA-256) only once.

use landfall_core::inputs::Uncertain;
use sha2::{Digest, Sha256};

use super::fit::{Fit, Parameter, Prepared};
use landfall_plan::shown::Shown;
use landfall_plan::site::{Dimension, Faults, Kind, SiteFile, find_key, plain};

/// A value to write.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Edit {
    /// Key of the site file.
    pub key: &'static str,
    /// Its value as the file has it.
    pub text: String,
}

/// To four significant digits.
fn four_digits(value: f64) -> f64 {
    let digits = if value == 0.0 { 0.0 } else { 10f64.powf(3.0 - value.abs().log10().floor()) };
    if digits > 0.0 && digits.is_finite() { (value * digits).round() / digits } else { value }
}

/// An edit in the site's units, to four significant digits and kept in the key's range.
pub(super) fn edit(here: Shown, key: &'static str, si: f64) -> Option<Edit> {
    let known = find_key(key)?;
    let si = si.clamp(known.low, known.high);
    if let Kind::Quantity(dimension) = known.kind
        && here.is_imperial()
        && dimension != Dimension::Angle
        && let Some(unit) = dimension.units().find(|unit| unit.name == here.unit(dimension))
    {
        let rounded = four_digits(unit.from_si(si));
        // At an end of the range the rounding must not lead out of it.
        if (known.low..=known.high).contains(&unit.to_si(rounded)) {
            return Some(Edit { key, text: format!("{} {}", plain(rounded), unit.name) });
        }
    }
    let rounded = four_digits(si);
    // Angles are shown in degrees: rounded there.
    let text = known.show(rounded);
    let text = match text.split_once(' ') {
        Some((number, unit)) if unit == "deg" => {
            let degrees: f64 = number.parse().ok()?;
            format!("{} {unit}", plain((degrees * 1000.0).round() / 1000.0))
        }
        _ => text,
    };
    Some(Edit { key, text })
}

/// What the fit would write: only what the runs told.
///
/// The site file has one standard deviation for each input, which the plan takes as what a run's input deviates from
/// the stated value: it becomes √(what is not known of the mean² + scatter²). The lip speed's and the line's mean have
/// no key and are 0 in every plan: their fitted mean goes into the standard deviation, √(sd² + scatter² + mean²).
#[must_use]
pub fn edits(fit: &Fit, prepared: &Prepared) -> Vec<Edit> {
    let here = prepared.here;
    let of = |which: Uncertain| fit.parameters.iter().find(|p| p.name == which.name() && p.learnt);
    let scatter = |which: Uncertain| {
        let inputs = fit.scatter.iter().filter(|group| group.learnt).flat_map(|group| &group.inputs);
        inputs.filter(|input| input.name == which.name()).map(|input| input.sd).next()
    };
    let mut out = Vec::new();
    if let Some(p) = of(Uncertain::RollingResistance) {
        out.push(edit(here, "roll_in.rolling_resistance", p.value));
        out.push(edit(here, "spread.rolling_resistance", p.sd));
    }
    for (which, value, sd) in [
        (Uncertain::DragAreaRolling, "rider.drag_area_rolling", "spread.drag_area_rolling"),
        (Uncertain::DragAreaFlying, "rider.drag_area_flying", "spread.drag_area_flying"),
    ] {
        if let Some(p) = of(which) {
            out.push(edit(here, value, p.value));
            out.push(edit(here, sd, p.sd / p.value));
        }
    }
    let total = |p: &Parameter, scatter: f64| p.sd.hypot(scatter);
    for (which, value, sd) in
        [(Uncertain::Carry, "rider.carry", "spread.carry"), (Uncertain::Pop, "rider.pop", "spread.pop")]
    {
        if let (Some(p), Some(scatter)) = (of(which), scatter(which)) {
            out.push(edit(here, value, p.value));
            out.push(edit(here, sd, total(p, scatter)));
        }
    }
    if let (Some(p), Some(scatter)) = (of(Uncertain::LipSpeed), scatter(Uncertain::LipSpeed)) {
        out.push(edit(here, "spread.lip_speed", total(p, scatter).hypot(p.value)));
    }
    if let (Some(scatter), true) = (scatter(Uncertain::PushOff), prepared.push_off_is_measured()) {
        out.push(edit(here, "spread.push_off", scatter));
    }
    if prepared.across_is_measured() {
        if let (Some(p), Some(scatter)) = (of(Uncertain::Line), scatter(Uncertain::Line)) {
            out.push(edit(here, "spread.line", total(p, scatter).hypot(p.value)));
        }
        if let Some(scatter) = scatter(Uncertain::Yaw) {
            out.push(edit(here, "spread.yaw", scatter));
        }
    }
    out.into_iter().flatten().collect()
}

/// SHA-256 of a file's bytes, in hexadecimal.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Why nothing was written.
#[derive(Debug)]
#[non_exhaustive]
pub enum WriteError {
    /// The same measurements are in the file already: they would count twice.
    Twice(String),
    /// Nothing was learnt.
    Nothing,
    /// The file does not take it.
    Faults(Faults),
}

impl std::fmt::Display for WriteError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Twice(hash) => write!(
                f,
                "the site file was fitted to these very measurements already (SHA-256 {}…): they would count twice; nothing was written",
                hash.get(..12).unwrap_or(hash)
            ),
            Self::Nothing => {
                f.write_str("the measurements tell nothing that the site file does not have; nothing was written")
            }
            Self::Faults(faults) => faults.fmt(f),
        }
    }
}

impl std::error::Error for WriteError {}

/// Where fitted values are from.
#[derive(Clone, Copy, Debug)]
pub struct From<'a> {
    /// The day, as it is to stand in the file.
    pub date: &'a str,
    /// What was fitted, such as `10 runs of day.csv`.
    pub what: &'a str,
    /// [`sha256`] of the measurements.
    pub hash: &'a str,
}

/// The site file's text with the edits and a closing remark.
///
/// # Errors
/// [`WriteError`]; the text is then of no use.
pub fn written(site_text: &str, file: &str, edits: &[Edit], from: From<'_>) -> Result<String, WriteError> {
    let remark = format!("fitted {} to {}, SHA-256 {}:", from.date, from.what, from.hash);
    changed(site_text, file, edits, &[], &Remark { lines: &[remark], hashes: &[from.hash.to_owned()] })
}

/// What a change leaves in the file of itself.
#[derive(Clone, Copy, Debug)]
pub struct Remark<'a> {
    /// Lines, without the sign of a remark.
    pub lines: &'a [String],
    /// [`sha256`] of each measurement: none may be in the file already.
    pub hashes: &'a [String],
}

/// The site file's text with the edits, without the keys that they take the place of, and with a closing remark.
///
/// # Errors
/// [`WriteError`]; the text is then of no use.
pub fn changed(
    site_text: &str,
    file: &str,
    edits: &[Edit],
    removed: &[&str],
    remark: &Remark<'_>,
) -> Result<String, WriteError> {
    if let Some(hash) = remark.hashes.iter().find(|hash| site_text.contains(hash.as_str())) {
        return Err(WriteError::Twice(hash.clone()));
    }
    if edits.is_empty() {
        return Err(WriteError::Nothing);
    }
    let mut document = SiteFile::parse(site_text, file).map_err(WriteError::Faults)?;
    removed.iter().for_each(|key| document.remove(key));
    for Edit { key, text } in edits {
        document
            .set(key, text)
            .map_err(|fault| WriteError::Faults(Faults { file: file.to_owned(), faults: vec![fault] }))?;
    }
    let mut text = document.to_string();
    if !text.ends_with('\n') {
        text.push('\n');
    }
    for line in remark.lines {
        text.push_str(&format!("# {line}\n"));
    }
    let keys: Vec<&str> = edits.iter().map(|edit| edit.key).collect();
    for line in textwrap::wrap(&keys.join(", "), 110) {
        text.push_str(&format!("#   {line}\n"));
    }
    landfall_plan::site::read_site(&text, file).map_err(WriteError::Faults)?;
    // The editor of the file ends lines its own way.
    Ok(if site_text.contains("\r\n") { text.replace("\r\n", "\n").replace('\n', "\r\n") } else { text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_plan::site::demo_text;

    /// The digest of "abc" is that of FIPS 180-4's example.
    #[test]
    fn the_hash_is_sha_256() {
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn an_imperial_site_is_written_to_in_its_own_units() {
        let here = Shown::new(landfall_plan::site::Units::Imperial, landfall_plan::site::Gauge::InH2O);
        let of = |key, si| edit(here, key, si).unwrap().text;
        // 1 mph is 0.44704 m/s, 1 inH2O 249.089 Pa.
        assert_eq!(of("rider.pop", 0.123_456), "0.2762 mph");
        assert_eq!(of("bag.settled_pressure", 1_290.0), "5.179 inH2O");
        assert_eq!(of("spread.line", 0.3048), "1 ft");
        assert_eq!(of("spread.yaw", 0.03), "1.719 deg");
    }

    #[test]
    fn comments_and_order_stay_and_the_same_runs_are_not_taken_twice() {
        let here = Shown::default();
        let edits = [edit(here, "rider.pop", 0.123_456).unwrap(), edit(here, "spread.yaw", 0.03).unwrap()];
        assert_eq!(edits[0].text, "0.1235 m/s");
        assert_eq!(edits[1].text, "1.719 deg");
        let from = From { date: "2026-05-02", what: "10 runs of day.csv", hash: "abcdef0123456789" };
        let text = written(demo_text(), "demo.toml", &edits, from).unwrap();
        assert!(text.contains("# platform deck above the take-off's foot"));
        assert!(text.contains("pop = \"0.1235 m/s\"") && text.contains("yaw = \"1.719 deg\""));
        assert!(text.contains(
            "# fitted 2026-05-02 to 10 runs of day.csv, SHA-256 abcdef0123456789:\n#   rider.pop, spread.yaw\n"
        ));
        for line in demo_text().lines() {
            assert!(text.contains(line), "{line}");
        }
        let windows = written(&demo_text().replace('\n', "\r\n"), "demo.toml", &edits, from).unwrap();
        assert_eq!(windows, text.replace('\n', "\r\n"));
        assert!(matches!(written(&text, "demo.toml", &edits, from), Err(WriteError::Twice(_))));
        assert!(matches!(written(demo_text(), "demo.toml", &[], from), Err(WriteError::Nothing)));
    }
}
