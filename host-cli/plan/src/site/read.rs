//! The reader: a text in, a resolved [`Site`] or all its faults out.

use std::collections::HashMap;
use std::ops::Range;

use toml_edit::{Item, TableLike};

use super::convert::{Given, convert};
use super::draft::{Draft, GroupDraft};
use super::element::Placed;
use super::example::example;
use super::fault::{Complaint, Fault, Faults};
use super::keys::{GROUP_KEYS, KEYS, MOST_GROUPS, TABLES, find_key, nearest};
use super::model::Site;
use super::resolve::resolve;
use super::syntax;
use super::unknown::{GROUP, Meant, unknown_at_root, unknown_in_table};

/// Longest text that is read; a site file is a few kilobytes.
const LONGEST_FILE: usize = 1 << 17;
/// Most faults that are reported: a text with more is no site file, and nobody reads them.
const MOST_FAULTS: usize = 200;

/// Reads a site file's text; `file_name` is used in the messages only.
///
/// # Errors
/// Every fault of the file at once, in the order of their lines. A line that is no TOML is told and passed over; where
/// too little of the text is TOML, nothing behind it is read.
///
/// ```
/// let faults = landfall_plan::site::read_site("[rider]\nmass = 78\n", "hill.toml").unwrap_err();
/// assert!(faults.to_string().contains("hill.toml:2:8: rider.mass: a mass needs its unit"));
/// assert!(faults.concerns("site.name"));
/// ```
pub fn read_site(text: &str, file_name: &str) -> Result<Site, Faults> {
    // A byte order mark is no part of the text.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = Reader { text, file_name, draft: Draft::empty(), spans: HashMap::new(), faults: Vec::new() };
    if text.len() > LONGEST_FILE {
        reader.fault(
            Complaint::new("", "the file is longer than 128 KiB; it is no site file", "give the site file"),
            None,
        );
        return Err(reader.finish());
    }
    let parsed = syntax::parse(text);
    for (complaint, span) in parsed.faults {
        reader.fault(complaint, Some(span));
    }
    let Some(document) = parsed.document else { return Err(reader.finish()) };
    // What could not be read is not also missing.
    let lost = parsed.lost.iter().filter_map(|dotted| find_key(dotted));
    reader.draft.faulty.extend(lost.map(|key| key.dotted));
    reader.root(document.as_table());
    reader.resolve()
}

struct Reader<'a> {
    text: &'a str,
    file_name: &'a str,
    draft: Draft,
    /// Where keys, tables (by name) and elements of lists stand.
    spans: HashMap<String, Range<usize>>,
    faults: Vec<(usize, Fault)>,
}

impl Reader<'_> {
    fn root(&mut self, root: &dyn TableLike) {
        let known = |name: &str| TABLES.iter().find(|(table, _)| *table == name).map(|(table, _)| *table);
        for (name, item) in root.iter() {
            if self.is_full() {
                return;
            }
            let span = root.get_key_value(name).and_then(|(k, _)| k.span()).or_else(|| item.span());
            if name == GROUP {
                self.groups(item, span);
                continue;
            }
            let table_name = match known(name) {
                Some(table_name) => table_name,
                None => {
                    let (complaint, meant) = unknown_at_root(name, item);
                    self.fault(complaint, span.clone());
                    match meant {
                        // What stands in a misspelt table is still read, and not also reported as missing.
                        Some(Meant::Table(table)) if !root.contains_key(table) => table,
                        Some(Meant::Key(dotted)) => {
                            self.draft.faulty.insert(dotted);
                            continue;
                        }
                        Some(Meant::Groups) if !root.contains_key(GROUP) => {
                            self.groups(item, span);
                            continue;
                        }
                        _ => continue,
                    }
                }
            };
            if let Some(span) = span.clone().or_else(|| item.span()) {
                self.spans.insert(table_name.to_owned(), span);
            }
            match item.as_table_like() {
                Some(table) => self.table(table_name, table),
                None => {
                    let cure = format!("write [{table_name}] once, on a line of its own, and its keys below");
                    let message = if item.is_array_of_tables() {
                        "is a single table, not a list of tables"
                    } else {
                        "is a table, not a value"
                    };
                    self.fault(Complaint::new(name, message, cure), span);
                    for key in KEYS.iter().filter(|k| k.table() == table_name) {
                        self.draft.faulty.insert(key.dotted);
                    }
                }
            }
        }
    }

    fn table(&mut self, table_name: &str, table: &dyn TableLike) {
        for (name, item) in table.iter() {
            if self.is_full() {
                return;
            }
            let dotted = format!("{table_name}.{name}");
            let at = table.get_key_value(name).and_then(|(k, _)| k.span());
            let Some(key) = find_key(&dotted) else {
                let (complaint, meant) = unknown_in_table(table_name, name, table);
                // What was misspelt is not also reported as missing.
                if let Some(key) = meant.as_deref().and_then(find_key) {
                    self.draft.faulty.insert(key.dotted);
                }
                self.fault(complaint, at);
                continue;
            };
            let span = item.span().filter(|s| !s.is_empty()).or(at);
            if let Some(span) = span.clone() {
                self.spans.insert(dotted, span);
            }
            let mut complaints: Vec<Placed> = Vec::new();
            let mut places = Vec::new();
            let given = convert(key, item, &mut complaints, &mut places);
            self.spans.extend(places.into_iter().filter_map(|(name, place)| Some((name, place?))));
            for (complaint, place) in complaints {
                self.fault(complaint, place.or_else(|| span.clone()));
            }
            match given {
                Some(Given::Number(si)) => self.draft.state(key.dotted, si),
                Some(Given::Text(text)) => self.draft.name = Some(text),
                Some(Given::Curve(points)) => self.draft.curve = Some(points),
                Some(Given::Sections(list)) => self.draft.sections = Some(list),
                Some(Given::Knots(list)) => self.draft.knots = Some(list),
                Some(Given::Profile(list)) => self.draft.profile = Some(list),
                Some(Given::Obstacles(list)) => self.draft.obstacles = Some(list),
                None => {
                    self.draft.faulty.insert(key.dotted);
                    continue;
                }
            }
            self.draft.given.insert(key.dotted);
        }
    }

    /// The list of groups.
    fn groups(&mut self, item: &Item, span: Option<Range<usize>>) {
        type Listed<'a> = (Option<&'a dyn TableLike>, Option<Range<usize>>);
        let list: Vec<Listed<'_>> = if let Some(tables) = item.as_array_of_tables() {
            tables.iter().map(|t| (Some(t as &dyn TableLike), t.span())).collect()
        } else if let Some(array) = item.as_array() {
            array.iter().map(|v| (v.as_inline_table().map(|t| t as &dyn TableLike), v.span())).collect()
        } else {
            let message = "is a list of groups, each with a header of its own";
            let cure = "write [[group]], in double brackets, above each group's keys";
            self.fault(Complaint::new(GROUP, message, cure), span);
            return;
        };
        if list.len() > MOST_GROUPS {
            let message = format!("up to {MOST_GROUPS} groups are taken, not {}", list.len());
            self.fault(Complaint::new(GROUP, message, "join groups that may start from the same height"), span.clone());
        }
        for (i, (table, at)) in list.into_iter().enumerate().take(MOST_GROUPS) {
            let place = format!("{GROUP}[{}]", i + 1);
            let at = at.or_else(|| span.clone());
            self.spans.extend(at.clone().map(|at| (place.clone(), at)));
            match table {
                Some(table) => self.group(&place, table, at),
                None => {
                    let cure = "write {name = \"kids\", mass = \"45 kg\"}, or [[group]] and the keys below";
                    self.fault(Complaint::new(place, "a group is a table", cure), at);
                }
            }
        }
    }

    fn group(&mut self, place: &str, table: &dyn TableLike, at: Option<Range<usize>>) {
        let mut group = GroupDraft::default();
        for (name, item) in table.iter() {
            if self.is_full() {
                return;
            }
            let dotted = format!("{place}.{name}");
            let key_span = table.get_key_value(name).and_then(|(k, _)| k.span()).or_else(|| at.clone());
            let Some(key) = GROUP_KEYS.iter().find(|key| key.name() == name) else {
                group.faulty = true;
                let open = GROUP_KEYS.iter().map(super::keys::Key::name).filter(|known| !table.contains_key(known));
                let all = GROUP_KEYS.iter().map(super::keys::Key::name).collect::<Vec<_>>().join(", ");
                let (message, cure) = match nearest(name, open) {
                    Some(near) => (
                        format!("is unknown; {near:?} was perhaps meant"),
                        format!("rename it to {near}, or remove it"),
                    ),
                    None => ("is unknown".to_owned(), format!("remove it; a group may state {all}")),
                };
                self.fault(Complaint::new(dotted, message, cure), key_span);
                continue;
            };
            let span = item.span().filter(|s| !s.is_empty()).or(key_span);
            self.spans.extend(span.clone().map(|span| (dotted.clone(), span)));
            let mut complaints: Vec<Placed> = Vec::new();
            match convert(key, item, &mut complaints, &mut Vec::new()) {
                Some(Given::Number(si)) => group.values.push((key.name(), si)),
                Some(Given::Text(text)) => group.name = Some(text),
                _ => group.faulty = true,
            }
            for (complaint, _) in complaints {
                self.fault(Complaint { key: dotted.clone(), ..complaint }, span.clone());
            }
        }
        if !table.contains_key("name") {
            let cure = format!("add it under [[group]]: {}", example("group.name"));
            self.fault(Complaint::new(place, "name is missing: what the riders of the group are called", cure), at);
            group.faulty = true;
        }
        self.draft.groups.push(group);
    }

    fn is_full(&self) -> bool {
        self.faults.len() >= MOST_FAULTS
    }

    fn resolve(mut self) -> Result<Site, Faults> {
        if self.is_full() {
            self.faults.truncate(MOST_FAULTS);
            let message = format!("more than {MOST_FAULTS} faults; the rest of the file was not looked at");
            let last = self.text.len();
            self.fault(Complaint::new("", message, "is this a site file?"), Some(last..last));
            return Err(self.finish());
        }
        let missing: Vec<_> = self.draft.missing().collect();
        for key in missing {
            let cure = format!("add it under [{}]: {}", key.table(), example(key.dotted));
            self.complain(Complaint::new(key.dotted, format!("is missing: {}", key.help), cure));
        }
        match resolve(std::mem::replace(&mut self.draft, Draft::empty())) {
            Ok(site) if self.faults.is_empty() => return Ok(site),
            Ok(_) => {}
            Err(complaints) => complaints.into_iter().for_each(|complaint| self.complain(complaint)),
        }
        Err(self.finish())
    }

    /// A fault at the place of its key, else of its table's header, else on the last line.
    fn complain(&mut self, complaint: Complaint) {
        let table = complaint.key.split_once('.').map_or(complaint.key.as_str(), |(table, _)| table);
        let span = self.spans.get(&complaint.key).or_else(|| self.spans.get(table)).cloned();
        // What is missing with its whole table is missing at the end.
        let end = self.text.trim_end().rfind('\n').map_or(0, |i| i + 1);
        let has_place = span.is_some();
        self.fault(complaint, span.or(Some(end..end)));
        // Behind what is wrong with the last line itself.
        if let Some((start, _)) = self.faults.last_mut().filter(|_| !has_place) {
            *start = self.text.len();
        }
    }

    fn fault(&mut self, complaint: Complaint, span: Option<Range<usize>>) {
        let span = span.unwrap_or(0..0);
        let (line, column, excerpt) = place(self.text, span.start);
        let room = excerpt.chars().count().saturating_sub(column.saturating_sub(1));
        let length = self.text.get(span.clone()).map_or(1, |part| part.lines().next().map_or(0, |l| l.chars().count()));
        let fault = Fault { line, column, excerpt, width: length.min(room).max(1), ..complaint.without_place() };
        self.faults.push((span.start, fault));
    }

    fn finish(mut self) -> Faults {
        self.faults.sort_by_key(|(start, _)| *start);
        Faults { file: self.file_name.to_owned(), faults: self.faults.into_iter().map(|(_, fault)| fault).collect() }
    }
}

/// Line, column and text of the line, for a byte offset.
pub(super) fn place(text: &str, offset: usize) -> (usize, usize, String) {
    let mut offset = offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let (before, after) = text.split_at_checked(offset).unwrap_or((text, ""));
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    let line = before.matches('\n').count() + 1;
    let head = before.get(start..).unwrap_or("");
    let tail = after.split('\n').next().unwrap_or("");
    let excerpt = format!("{head}{tail}").trim_end().replace(|c: char| c.is_control() && c != '\t', " ");
    (line, head.chars().count() + 1, excerpt)
}
