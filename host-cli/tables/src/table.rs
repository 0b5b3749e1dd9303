//! Tables of measurements, as people bring them: separated values with a line of headings, every fault at once.
//!
//! A heading is a column's name, and for a quantity its unit: `lip_speed_kmh`, `Lip speed (km/h)`, `lip speed [km/h]`. A
//! cell is a number in that unit, or a text with its own unit (`27 km/h`); it may be blank, any column may be missing.
//! Lines that begin with `#` are remarks. Commas, semicolons or tabs separate, whichever the heading has most of; where
//! it is not commas, a comma in a number is a decimal mark, as spreadsheets write it in many countries.

use crate::torn;
use landfall_plan::outside;
use landfall_plan::site::{Dimension, Fault, Faults, QuantityError, UNITS, nearest, parse_quantity, plain};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// A text.
    Text,
    /// Yes or no.
    Flag,
    /// A number without a unit.
    Number,
    /// A quantity; the heading ends in its unit.
    Quantity(Dimension),
}

/// A column that a table may have.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name, without the unit.
    pub name: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// Lowest value taken, in SI.
    pub low: f64,
    /// Highest value taken, in SI.
    pub high: f64,
}

impl Column {
    /// A text or a flag.
    pub const fn word(name: &'static str, holds: Holds) -> Self {
        Self { name, holds, low: f64::MIN, high: f64::MAX }
    }

    /// A number or a quantity with its range (*assumed*: wide enough for what is measured, narrow enough to refuse a
    /// slipped digit or a wrong unit).
    pub const fn value(name: &'static str, holds: Holds, low: f64, high: f64) -> Self {
        Self { name, holds, low, high }
    }

    /// The heading with the SI unit.
    #[must_use]
    pub fn heading(&self) -> String {
        match self.holds {
            Holds::Quantity(dimension) => match SUFFIXES.iter().find(|(d, _, _)| *d == dimension) {
                Some((_, suffix, _)) => format!("{}_{suffix}", self.name),
                None => self.name.to_owned(),
            },
            _ => self.name.to_owned(),
        }
    }
}

/// How a heading's unit is written, and the unit's name in the site file; the SI unit of each dimension first.
const SUFFIXES: &[(Dimension, &str, &str)] = &[
    (Dimension::Length, "m", "m"),
    (Dimension::Length, "cm", "cm"),
    (Dimension::Length, "mm", "mm"),
    (Dimension::Length, "ft", "ft"),
    (Dimension::Length, "in", "in"),
    (Dimension::Speed, "mps", "m/s"),
    (Dimension::Speed, "kmh", "km/h"),
    (Dimension::Speed, "kph", "km/h"),
    (Dimension::Speed, "mph", "mph"),
    (Dimension::Speed, "kn", "kn"),
    (Dimension::Time, "s", "s"),
    (Dimension::Time, "ms", "ms"),
    (Dimension::Time, "min", "min"),
    (Dimension::Mass, "kg", "kg"),
    (Dimension::Mass, "lb", "lb"),
    (Dimension::Pressure, "pa", "Pa"),
    (Dimension::Pressure, "kpa", "kPa"),
    (Dimension::Pressure, "hpa", "hPa"),
    (Dimension::Pressure, "mbar", "mbar"),
    (Dimension::Pressure, "psi", "psi"),
    (Dimension::Pressure, "inh2o", "inH2O"),
    (Dimension::Pressure, "mmh2o", "mmH2O"),
    (Dimension::Pressure, "cmh2o", "cmH2O"),
    (Dimension::Area, "m2", "m2"),
    (Dimension::Area, "cm2", "cm2"),
    (Dimension::Area, "ft2", "ft2"),
    (Dimension::Temperature, "degc", "degC"),
    (Dimension::Temperature, "degf", "degF"),
    (Dimension::Angle, "deg", "deg"),
];

/// A cell that is not blank.
#[derive(Clone, Debug, PartialEq)]
enum Cell {
    Text(String),
    Value(f64),
}

/// A row: the cells by the table's columns.
#[derive(Clone, Debug)]
pub struct Row {
    /// Line in the file, from 1.
    pub line: usize,
    text: String,
    columns: &'static [Column],
    cells: Vec<Option<Cell>>,
    starts: Vec<Option<(usize, usize)>>,
}

impl Row {
    fn at(&self, name: &str) -> Option<&Cell> {
        let index = self.columns.iter().position(|column| column.name == name)?;
        self.cells.get(index)?.as_ref()
    }

    /// A number or quantity in SI; a flag as 0 or 1.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<f64> {
        match self.at(name)? {
            Cell::Value(value) => Some(*value),
            Cell::Text(_) => None,
        }
    }

    /// A text.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<&str> {
        match self.at(name)? {
            Cell::Text(text) => Some(text),
            Cell::Value(_) => None,
        }
    }

    /// The line as it stands in the table.
    #[must_use]
    pub fn whole(&self) -> &str {
        &self.text
    }

    /// Whether a flag is set.
    #[must_use]
    pub fn flag(&self, name: &str) -> bool {
        self.value(name).is_some_and(|value| value != 0.0)
    }

    /// A fault of this row, at the cell of a column where the table has it.
    #[must_use]
    pub fn fault(&self, name: &str, message: impl Into<String>, cure: impl Into<String>) -> Fault {
        let index = self.columns.iter().position(|column| column.name == name);
        let place = index.and_then(|index| self.starts.get(index).copied().flatten());
        let (column, width) = place.unwrap_or((1, self.text.chars().count()));
        fault_at(self.line, (column, width), &self.text, name, message.into(), cure.into())
    }
}

fn fault_at(
    line: usize,
    (column, width): (usize, usize),
    text: &str,
    key: &str,
    message: String,
    cure: String,
) -> Fault {
    Fault { line, column, key: key.to_owned(), message, cure, excerpt: text.to_owned(), width }
}

/// A table's heading: where each column stands and in which unit.
#[derive(Clone, Debug)]
pub struct Heading {
    columns: &'static [Column],
    separator: u8,
    /// For each column of the file, the column it is and its unit's name.
    places: Vec<Option<(usize, &'static str)>>,
}

/// Where each cell of a line stands: first character (from 1) and how many.
fn places_of(text: &str, separator: u8) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let (mut quoted, mut from, mut at) = (false, 0, 0);
    let mut ends = Vec::new();
    for c in text.chars() {
        if c == '"' {
            quoted = !quoted;
        } else if c == char::from(separator) && !quoted {
            ends.push(at);
        }
        at += 1;
    }
    ends.push(at);
    for end in ends {
        let cell: String = text.chars().skip(from).take(end - from).collect();
        let before = cell.chars().take_while(|c| c.is_whitespace()).count();
        let inside = cell.trim().chars().count();
        out.push(if inside == 0 { (from + 1, 1) } else { (from + before + 1, inside) });
        from = end + 1;
    }
    out
}

/// The separator that a heading has most of outside quotes and brackets; commas where there is none.
#[must_use]
pub fn separator_of(text: &str) -> u8 {
    let (mut quoted, mut depth) = (false, 0u32);
    let mut counts = [(b',', 0usize), (b';', 0), (b'\t', 0)];
    for byte in text.bytes() {
        match byte {
            b'"' => quoted = !quoted,
            b'(' | b'[' => depth += 1,
            b')' | b']' => depth = depth.saturating_sub(1),
            _ if quoted || depth > 0 => {}
            _ => counts.iter_mut().filter(|(one, _)| *one == byte).for_each(|(_, count)| *count += 1),
        }
    }
    // The first of the largest.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(one, _)| *one)
}

/// Whether a line holds no cells: blank, a remark, or the line by which spreadsheets name their separator.
#[must_use]
pub fn is_remark(line: &str) -> bool {
    let line = line.trim_start_matches('\u{feff}').trim();
    line.is_empty() || line.starts_with('#') || (line.len() <= 6 && line.to_lowercase().starts_with("sep="))
}

fn split(text: &str, separator: u8) -> Option<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let record = reader.records().next()?.ok()?;
    Some(record.iter().map(str::to_owned).collect())
}

impl Heading {
    /// Reads the heading's line; what is wrong with it goes to `faults`.
    pub fn read(columns: &'static [Column], text: &str, line: usize, faults: &mut Vec<Fault>) -> Self {
        let text = text.trim_start_matches('\u{feff}');
        let separator = separator_of(text);
        let cells = split(text, separator).unwrap_or_default();
        let at = places_of(text, separator);
        let mut places: Vec<Option<(usize, &'static str)>> = Vec::new();
        for (index, cell) in cells.iter().enumerate() {
            let place = at.get(index).copied().unwrap_or((1, 1));
            let mut wrong = |message: String, cure: String| {
                faults.push(fault_at(line, place, text, cell, message, cure));
            };
            let found = find(columns, cell);
            match found {
                Ok((column, _)) if places.iter().flatten().any(|(other, _)| *other == column) => {
                    wrong("this column stands twice".to_owned(), "keep one of the two".to_owned());
                    places.push(None);
                }
                Ok(found) => places.push(Some(found)),
                Err((message, cure)) => {
                    if !cell.is_empty() {
                        wrong(message, cure);
                    }
                    places.push(None);
                }
            }
        }
        Self { columns, separator, places }
    }

    /// Reads one line of cells; nothing for a blank line, a remark, or a row with a fault.
    pub fn row(&self, text: &str, line: usize, faults: &mut Vec<Fault>) -> Option<Row> {
        if is_remark(text) {
            return None;
        }
        let whole = (1, text.chars().count().max(1));
        let mut wrong = |place, key: &str, message: String, cure: &str| {
            faults.push(fault_at(line, place, text, key, message, cure.to_owned()));
        };
        let at = places_of(text, self.separator);
        let Some(found) = split(text, self.separator) else {
            wrong(whole, "", "this line is no row of the table".to_owned(), "close the quotes on the same line");
            return None;
        };
        if text.chars().filter(|c| *c == '"').count() % 2 == 1 {
            wrong(whole, "", "a quote is not closed on its line".to_owned(), "close the quotes on the same line");
            return None;
        }
        let mut spare = found.iter().skip(self.places.len());
        if spare.any(|cell| !cell.is_empty()) {
            let message = format!("{} cells under {} headings", found.len(), self.places.len());
            let cure = if self.separator == b',' {
                "a comma inside a cell needs quotes round the cell; where commas are decimal marks, separate the columns by semicolons"
            } else {
                "give as many cells as there are headings; a cell that holds a separator needs quotes round it"
            };
            wrong(whole, "", message, cure);
            return None;
        }
        let mut cells = vec![None; self.columns.len()];
        let mut starts = vec![None; self.columns.len()];
        let mut good = true;
        for (index, place) in self.places.iter().enumerate() {
            let (Some((column, unit)), Some(cell)) = (place, found.get(index)) else { continue };
            let Some(spec) = self.columns.get(*column) else { continue };
            let here = at.get(index).copied().unwrap_or(whole);
            let read = read_cell(spec, unit, &tidy(spec, self.separator, cell));
            let slot = cells.get_mut(*column).zip(starts.get_mut(*column));
            match (read, slot) {
                (Ok(value), Some((slot, start))) => {
                    *slot = value;
                    *start = Some(here);
                }
                (Err((message, cure)), _) => {
                    good = false;
                    faults.push(fault_at(line, here, text, spec.name, message, cure));
                }
                _ => {}
            }
        }
        good.then(|| Row { line, text: text.to_owned(), columns: self.columns, cells, starts })
    }
}

/// A number as it is parsed: a true minus as the usual one, and a decimal comma as a point where commas separate nothing.
fn tidy(column: &Column, separator: u8, cell: &str) -> String {
    if matches!(column.holds, Holds::Text | Holds::Flag) {
        return cell.to_owned();
    }
    let cell = cell.replace(['−', '–'], "-").replace(['\u{a0}', '\u{202f}'], " ");
    let between_digits = |at: usize| {
        let (before, after) = cell.split_at_checked(at).unwrap_or((&cell, ""));
        before.ends_with(|c: char| c.is_ascii_digit())
            && after.get(1..).is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
    };
    let mut commas = cell.match_indices(',').map(|(at, _)| at);
    match (commas.next(), commas.next()) {
        (Some(at), None) if separator != b',' && !cell.contains('.') && between_digits(at) => {
            cell.replacen(',', ".", 1)
        }
        _ => cell,
    }
}

/// A heading without its bracket, and what stands in the bracket.
fn bracket(cell: &str) -> (&str, Option<&str>) {
    let found = cell.find(['(', '[']).and_then(|at| cell.split_at_checked(at));
    let Some((name, rest)) = found else { return (cell, None) };
    (name, Some(rest.trim().trim_matches(['(', ')', '[', ']']).trim()))
}

/// The unit that a heading names, as the site file spells it.
fn unit_of(dimension: Dimension, written: &str) -> Result<&'static str, String> {
    let short = written.to_lowercase();
    if let Some((_, _, unit)) = SUFFIXES.iter().find(|(d, name, _)| *d == dimension && *name == short) {
        return Ok(unit);
    }
    match parse_quantity(&format!("1 {written}"), dimension) {
        Ok(quantity) => Ok(quantity.unit),
        Err(QuantityError::WrongDimension { measures, .. }) => {
            Err(format!("{written:?} is a unit of {}, not of {}", measures.article(), dimension.article()))
        }
        Err(QuantityError::UnknownUnit { nearest: Some(near), .. }) => {
            Err(format!("{written:?} is no unit of {}; {near:?} was perhaps meant", dimension.article()))
        }
        Err(_) => Err(format!("{written:?} is no unit of {}", dimension.article())),
    }
}

/// A heading's column and unit, or what is wrong with it and a cure.
fn find(columns: &'static [Column], cell: &str) -> Result<(usize, &'static str), (String, String)> {
    let (name, inside) = bracket(cell);
    let typed = name.trim().to_lowercase().replace([' ', '-'], "_");
    for (index, column) in columns.iter().enumerate() {
        let Holds::Quantity(dimension) = column.holds else {
            if typed == column.name {
                return Ok((index, ""));
            }
            continue;
        };
        let Some(rest) = typed.strip_prefix(column.name) else { continue };
        let cure = || format!("write {}", headings(column, dimension));
        match (rest, rest.strip_prefix('_'), inside) {
            ("", _, Some(unit)) if !unit.is_empty() => {
                return unit_of(dimension, unit).map(|unit| (index, unit)).map_err(|message| (message, cure()));
            }
            ("", _, _) => return Err((format!("{cell:?} has no unit"), cure())),
            (_, Some(suffix), None) => {
                // Underscores stand for the signs of a unit too: km_h.
                let slashed = suffix.replace('_', "/");
                let found = unit_of(dimension, suffix).or_else(|wrong| unit_of(dimension, &slashed).map_err(|_| wrong));
                match found {
                    Ok(unit) => return Ok((index, unit)),
                    Err(message) => {
                        let longer = columns.iter().any(|other| {
                            other.name != column.name
                                && typed.starts_with(other.name)
                                && other.name.len() > column.name.len()
                        });
                        if !longer {
                            return Err((message, cure()));
                        }
                    }
                }
            }
            _ => {}
        }
    }
    let all: Vec<String> = columns.iter().map(Column::heading).collect();
    let near = nearest(&typed, all.iter().map(String::as_str))
        .or_else(|| nearest(&typed, columns.iter().map(|column| column.name)));
    let message = match near {
        Some(near) => format!("no column is called {cell:?}; {near:?} was perhaps meant"),
        None => format!("no column is called {cell:?}"),
    };
    Err((message, format!("the columns are {}", all.join(", "))))
}

/// Whether most cells of a line name such columns: that is how a table of them begins.
#[must_use]
pub fn is_heading_of(columns: &'static [Column], cells: &[&str]) -> bool {
    let known = cells.iter().filter(|cell| find(columns, cell).is_ok()).count();
    known >= 2 && 2 * known > cells.len()
}

fn headings(column: &Column, dimension: Dimension) -> String {
    let all: Vec<String> = SUFFIXES
        .iter()
        .filter(|(d, _, _)| *d == dimension)
        .take(4)
        .map(|(_, suffix, _)| format!("{}_{suffix}", column.name))
        .collect();
    let unit = dimension.usual().get(1).copied().unwrap_or("");
    format!("{}, or \"{} ({unit})\"", all.join(" or "), column.name.replace('_', " "))
}

fn read_cell(column: &Column, unit: &str, cell: &str) -> Result<Option<Cell>, (String, String)> {
    if cell.is_empty() {
        return Ok(None);
    }
    let si = match column.holds {
        // Shown in reports and messages.
        Holds::Text => return Ok(Some(Cell::Text(outside::plain(cell).into_owned()))),
        Holds::Flag => match cell.to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" | "x" => 1.0,
            "no" | "n" | "false" | "0" => 0.0,
            _ => return Err((format!("{cell:?} is neither yes nor no"), "write yes, no or nothing".to_owned())),
        },
        Holds::Number => number(cell)?,
        Holds::Quantity(dimension) => match cell.parse::<f64>() {
            Ok(value) if value.is_finite() => UNITS
                .iter()
                .find(|u| u.dimension == dimension && u.name == unit)
                .map_or(value, |unit| unit.to_si(value)),
            _ => {
                parse_quantity(cell, dimension)
                    .map_err(|error| (error.to_string(), format!("write a number in {unit}, or leave the cell blank")))?
                    .si
            }
        },
    };
    if si >= column.low && si <= column.high {
        return Ok(Some(Cell::Value(si)));
    }
    let Holds::Quantity(dimension) = column.holds else {
        let message = format!("{} is outside {} to {}", plain(si), plain(column.low), plain(column.high));
        return Err((message, "look at the digits".to_owned()));
    };
    let show = |si: f64| dimension.show_in(si, unit);
    let message = format!("{} is outside {} to {}", show(si), show(column.low), show(column.high));
    // A number that fits in another unit was perhaps written in that one.
    let fits = cell.parse::<f64>().ok().and_then(|number| {
        let others = dimension.units().filter(|u| u.name != unit && dimension.usual().contains(&u.name));
        others.into_iter().find(|u| (column.low..=column.high).contains(&u.to_si(number)))
    });
    let cure = match fits {
        Some(other) => format!("look at the digits and at the heading's unit: {cell} {} would be taken", other.name),
        None => "look at the digits and at the heading's unit".to_owned(),
    };
    Err((message, cure))
}

fn number(cell: &str) -> Result<f64, (String, String)> {
    match cell.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err((format!("{cell:?} is no number"), "write digits with a point, or leave the cell blank".to_owned())),
    }
}

/// What a text is whose first line is no line of headings, such as a site file given in place of a table.
fn no_table(text: &str) -> Option<&'static str> {
    let first = text.lines().find(|line| !is_remark(line))?.trim();
    if first.starts_with('{') {
        Some("JSON, such as the results of a plan")
    } else if first.starts_with('<') {
        Some("a page or a picture")
    } else if (first.starts_with('[') && first.ends_with(']')) || first.contains(" = ") {
        Some("a site file")
    } else {
        None
    }
}

/// Reads a whole table; a last line that was torn is left out ([`torn::mended`] says so).
///
/// # Errors
/// Everything that is wrong with it, each with its line, column and a cure.
pub fn read_table(columns: &'static [Column], text: &str, file: &str) -> Result<Vec<Row>, Faults> {
    let mut faults = Vec::new();
    if let Some(what) = no_table(text) {
        let cure = "give the table, whose first line has its headings; perhaps two file names are swapped".to_owned();
        let line = text.lines().position(|line| !is_remark(line)).unwrap_or(0);
        let excerpt = text.lines().nth(line).unwrap_or("").trim_end();
        let place = (1, excerpt.chars().count().max(1));
        let message = format!("this is {what}, not a table of measurements");
        faults.push(fault_at(line + 1, place, excerpt, "", message, cure));
        return Err(Faults { file: file.to_owned(), faults });
    }
    let mut heading: Option<Heading> = None;
    let mut rows = Vec::new();
    for (index, line) in torn::mended(text).text.lines().enumerate() {
        match &heading {
            None if is_remark(line) => {}
            None => heading = Some(Heading::read(columns, line, index + 1, &mut faults)),
            Some(heading) => rows.extend(heading.row(line, index + 1, &mut faults)),
        }
    }
    if heading.is_none() {
        let all: Vec<String> = columns.iter().map(Column::heading).collect();
        let cure = format!("begin with a line of headings out of {}", all.join(", "));
        faults.push(fault_at(1, (1, 1), "", "", "the table is empty".to_owned(), cure));
    }
    if faults.is_empty() { Ok(rows) } else { Err(Faults { file: file.to_owned(), faults }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: &[Column] = &[
        Column::word("run", Holds::Text),
        Column::word("excluded", Holds::Flag),
        Column::value("lip_speed", Holds::Quantity(Dimension::Speed), 0.5, 40.0),
        Column::value("lip_speed_sd", Holds::Quantity(Dimension::Speed), 0.001, 5.0),
        Column::value("air_frames", Holds::Number, 1.0, 1e5),
    ];

    #[test]
    fn units_of_headings_and_cells() {
        let text = "# day 1\nrun, Lip Speed kmh ,lip_speed_sd_mps,air_frames\n\"a, b\",36,0.1,30\n2,12 m/s,,\n";
        let rows = read_table(COLUMNS, text, "t.csv").unwrap();
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[0].text("run"), Some("a, b"));
        assert!((rows[0].value("lip_speed").unwrap() - 10.0).abs() < 1e-12);
        assert_eq!(rows[0].value("lip_speed_sd"), Some(0.1));
        assert_eq!(rows[1].value("lip_speed"), Some(12.0));
        assert_eq!(rows[1].value("air_frames"), None);
        let semicolons = read_table(COLUMNS, "run;lip_speed_mps\n1;8.5\n", "t.csv").unwrap();
        assert_eq!(semicolons[0].value("lip_speed"), Some(8.5));
    }

    #[test]
    fn every_fault_comes_at_once_with_its_place() {
        let text = "run,lip_speed,lip_sped_mps,lip_speed_furlongs,air_frames,air_frames\n1,2,3,4,5,6,7\n";
        let faults = read_table(COLUMNS, text, "t.csv").unwrap_err();
        let said = faults.to_string();
        assert_eq!(faults.faults.len(), 5, "{said}");
        assert!(said.contains("t.csv:1:5: lip_speed: \"lip_speed\" has no unit"), "{said}");
        assert!(said.contains("lip_speed_mps\" was perhaps meant"), "{said}");
        assert!(said.contains("\"furlongs\" is no unit of a speed"), "{said}");
        assert!(said.contains("t.csv:1:58: air_frames: this column stands twice"), "{said}");
        assert!(said.contains("7 cells under 6 headings"), "{said}");
        let text = "run,lip_speed_kmh,excluded\n1,\"8,1\",no\n2,800,perhaps\n3,x,\n";
        let said = read_table(COLUMNS, text, "t.csv").unwrap_err().to_string();
        assert!(said.contains("t.csv:2:3: lip_speed: a comma is no decimal point"), "{said}");
        assert!(said.contains("t.csv:3:3: lip_speed: 800 km/h is outside 1.8 km/h to 144 km/h"), "{said}");
        assert!(said.contains("t.csv:3:7: excluded: \"perhaps\" is neither yes nor no"), "{said}");
        assert!(said.contains("t.csv:4:3: lip_speed"), "{said}");
        assert!(read_table(COLUMNS, "\n", "t.csv").unwrap_err().to_string().contains("the table is empty"));
    }

    /// As a spreadsheet writes it where commas are decimal marks.
    #[test]
    fn semicolons_tabs_and_decimal_commas() {
        let text = "sep=;\nrun;lip speed (km/h);lip_speed_sd_mps;air_frames;excluded\n1;36,5;0,1;30;\n\"a; b\";27,5 km/h;;;x\n";
        let rows = read_table(COLUMNS, text, "t.csv").unwrap_or_else(|faults| panic!("{faults}"));
        assert!((rows[0].value("lip_speed").unwrap() - 36.5 / 3.6).abs() < 1e-12);
        assert_eq!(rows[0].value("lip_speed_sd"), Some(0.1));
        assert_eq!(rows[1].text("run"), Some("a; b"));
        assert!((rows[1].value("lip_speed").unwrap() - 27.5 / 3.6).abs() < 1e-12);
        assert!(rows[1].flag("excluded"));
        let tabs = read_table(COLUMNS, "run\tLip speed [mph]\n1\t20,5\n", "t.csv").unwrap();
        // 1 mph = 0.44704 m/s.
        assert!((tabs[0].value("lip_speed").unwrap() - 20.5 * 0.447_04).abs() < 1e-12);
        // A thousands' mark is no decimal mark, and is not guessed at.
        let said = read_table(COLUMNS, "run;lip_speed_mps\n1;1.234,5\n", "t.csv").unwrap_err().to_string();
        assert!(said.contains("t.csv:2:3: lip_speed"), "{said}");
    }

    #[test]
    fn units_in_brackets_and_behind_the_name() {
        for (heading, factor) in [
            ("lip speed (km/h)", 1.0 / 3.6),
            ("Lip Speed [kph]", 1.0 / 3.6),
            ("lip_speed_km_h", 1.0 / 3.6),
            ("lip_speed (m/s)", 1.0),
            ("lip speed(mph)", 0.447_04),
            ("lip-speed-ft/s", 0.3048),
            ("lip_speed_sd (m/s)", f64::NAN),
        ] {
            let rows = read_table(COLUMNS, &format!("{heading}\n3\n"), "t.csv").unwrap_or_else(|f| panic!("{f}"));
            match rows[0].value("lip_speed") {
                Some(value) => assert!((value - 3.0 * factor).abs() < 1e-12, "{heading}"),
                None => assert_eq!(rows[0].value("lip_speed_sd"), Some(3.0), "{heading}"),
            }
        }
        let said = |heading: &str| read_table(COLUMNS, &format!("{heading}\n3\n"), "t.csv").unwrap_err().to_string();
        assert!(said("lip speed (kg)").contains("\"kg\" is a unit of a mass, not of a speed"));
        assert!(said("lip speed ()").contains("has no unit"));
        assert!(said("lip speed").contains("write lip_speed_mps or lip_speed_kmh"));
        assert!(said("lip speed").contains("\"lip speed (km/h)\""));
        assert!(said("lip sped (km/h)").contains("was perhaps meant"));
    }

    #[test]
    fn a_number_in_another_unit_is_asked_about() {
        let said = read_table(COLUMNS, "lip_speed_mps\n42\n", "t.csv").unwrap_err().to_string();
        assert!(said.contains("42 m/s is outside 0.5 m/s to 40 m/s"), "{said}");
        assert!(said.contains("42 km/h would be taken"), "{said}");
    }

    #[test]
    fn another_file_in_place_of_the_table_is_named() {
        for (text, what) in [
            ("# mine\n[site]\nname = \"A\"\n", "a site file"),
            ("name = \"A\"\n", "a site file"),
            ("{\"ride\": 1}\n", "JSON"),
            ("<!doctype html>\n", "a page"),
        ] {
            let faults = read_table(COLUMNS, text, "hill.toml").unwrap_err();
            assert_eq!(faults.faults.len(), 1, "{faults}");
            assert!(faults.faults[0].message.contains(what) && faults.faults[0].cure.contains("swapped"), "{faults}");
        }
    }

    /// A comma as the decimal mark in a table that commas separate splits the cell: that is said, not computed with.
    #[test]
    fn a_decimal_comma_between_commas_is_told() {
        let said = read_table(COLUMNS, "run,lip_speed_mps\n1,8,5\n", "t.csv").unwrap_err().to_string();
        assert!(said.contains("3 cells under 2 headings") && said.contains("semicolons"), "{said}");
    }
}
