//! Writing: the starter file, the embedded demo site, and edits that keep comments and order.

use std::fmt;

use toml_edit::{DocumentMut, Item, Table};

use super::fault::{Complaint, Fault, Faults};
use super::group::{group_key, no_group};
use super::keys::{Key, Kind, Preset};
use super::model::Site;
use super::read::read_site;
use super::sweep::{item_of, known, losers, parse_setting};

const DEMO: &str = include_str!("demo.toml");

/// The text of the embedded demo site: an invented training ground.
#[must_use]
pub fn demo_text() -> &'static str {
    DEMO
}

/// The embedded demo site.
#[must_use]
pub fn demo() -> Site {
    // The embedded text is read without faults: a test holds it to that.
    read_site(DEMO, "demo.toml").unwrap_or_default()
}

/// A site file's text that can be edited without losing its comments or order.
#[derive(Clone, Debug)]
pub struct SiteFile {
    document: DocumentMut,
}

impl SiteFile {
    /// Takes a text that may have other faults, but is TOML.
    ///
    /// # Errors
    /// The fault of TOML's syntax, with its place.
    pub fn parse(text: &str, file_name: &str) -> Result<Self, Faults> {
        match text.parse::<DocumentMut>() {
            Ok(document) => Ok(Self { document }),
            Err(error) => Err(match read_site(text, file_name) {
                Err(faults) => faults,
                Ok(_) => Faults::one(Complaint::new("", error.message(), "correct the file").without_place()),
            }),
        }
    }

    /// States a value, written as in the file (quotes may be left out). A key that is there keeps its place and its
    /// comment; a new one goes where the file shows it commented out, else to the end of its table.
    ///
    /// What [`Site::set_si`] lets go for it is removed: a measure of the take-off where both others are stated, the leak
    /// or the settled pressure, the assumed areas of a bag whose areas are measured.
    ///
    /// # Errors
    /// An unknown key, an unreadable value or one out of range; the file is then left as it was.
    pub fn set(&mut self, key: &str, text: &str) -> Result<(), Fault> {
        let first = |faults: Faults| faults.faults.into_iter().next().unwrap_or_default();
        if let Some((_, of_group)) = group_key(key) {
            parse_setting(of_group, text).map_err(first)?;
            return self.write(key, text);
        }
        parse_setting(known(key).map_err(first)?, text).map_err(first)?;
        self.write(key, text)
    }

    /// The same without a look at the value: what cannot be read stands in the file as it was typed, and
    /// [`SiteFile::site`] says what is wrong with it.
    ///
    /// # Errors
    /// An unknown key, or a table that is no table; the file is then left as it was.
    pub fn write(&mut self, key: &str, text: &str) -> Result<(), Fault> {
        if let Some((at, of_group)) = group_key(key) {
            return self.write_group(key, at, of_group, text);
        }
        let key = known(key).map_err(|faults| faults.faults.into_iter().next().unwrap_or_default())?;
        let has = |dotted: &str| self.value(dotted).is_some();
        for lost in losers(key.dotted, has) {
            self.remove(lost);
        }
        let mut item = item_of(key, text);
        if self.value(key.dotted).is_none() && self.uncomment(key.table(), key.name(), &item) {
            return Ok(());
        }
        let Some(table) = self.table(key.table()) else {
            let cure = "make it a table, and its keys stand below";
            return Err(Complaint::new(key.table(), "is a table of the site file, not a value", cure).without_place());
        };
        match table.get_mut(key.name()) {
            Some(old) => {
                if let (Some(old), Some(new)) = (old.as_value(), item.as_value_mut()) {
                    *new.decor_mut() = old.decor().clone();
                    let behind = old.decor().suffix().and_then(|suffix| suffix.as_str()).map(no_example);
                    behind.into_iter().for_each(|behind| new.decor_mut().set_suffix(behind));
                }
                *old = item;
            }
            None => {
                if let Some(new) = item.as_value_mut() {
                    // With the usual blank after the equals sign.
                    new.decor_mut().clear();
                }
                table.insert(key.name(), item);
            }
        }
        Ok(())
    }

    /// A value of a group, whose list stands in the file.
    fn write_group(&mut self, dotted: &str, at: usize, key: &Key, text: &str) -> Result<(), Fault> {
        let mut count = 0;
        let mut item = item_of(key, text);
        let group: Option<&mut dyn toml_edit::TableLike> = match self.document.get_mut("group") {
            Some(Item::ArrayOfTables(list)) => {
                count = list.len();
                list.get_mut(at).map(|table| table as &mut dyn toml_edit::TableLike)
            }
            Some(Item::Value(toml_edit::Value::Array(list))) => {
                count = list.len();
                let table = list.get_mut(at).and_then(toml_edit::Value::as_inline_table_mut);
                table.map(|table| table as &mut dyn toml_edit::TableLike)
            }
            _ => None,
        };
        let Some(group) = group else { return Err(no_group(dotted, count).without_place()) };
        if let Some(new) = item.as_value_mut() {
            match group.get(key.name()).and_then(Item::as_value) {
                Some(old) => *new.decor_mut() = old.decor().clone(),
                None => new.decor_mut().clear(),
            }
        }
        group.insert(key.name(), item);
        Ok(())
    }

    /// The value of a key as it stands in the file.
    #[must_use]
    pub fn value(&self, dotted: &str) -> Option<String> {
        let (table, name) = dotted.split_once('.')?;
        self.document.get(table)?.as_table_like()?.get(name).map(|item| item.to_string().trim().to_owned())
    }

    /// The value of a key as it stands in the file, a text without its quotes.
    #[must_use]
    pub fn plain_value(&self, dotted: &str) -> Option<String> {
        let (table, name) = dotted.split_once('.')?;
        let item = self.document.get(table)?.as_table_like()?.get(name)?;
        Some(match (item.as_str(), item.as_value()) {
            (Some(text), _) => text.to_owned(),
            // Without the comment behind it.
            (None, Some(value)) => value.clone().decorated("", "").to_string(),
            (None, None) => item.to_string().trim().to_owned(),
        })
    }

    /// The rows of a list of lists, or of a list of small tables, as the texts that stand in it; `None` for anything
    /// else.
    #[must_use]
    pub fn rows(&self, dotted: &str) -> Option<Vec<Vec<(String, String)>>> {
        let (table, name) = dotted.split_once('.')?;
        let list = self.document.get(table)?.as_table_like()?.get(name)?.as_array()?;
        let plain = |value: &toml_edit::Value| {
            value.as_str().map_or_else(|| value.clone().decorated("", "").to_string(), str::to_owned)
        };
        list.iter()
            .map(|row| match (row.as_array(), row.as_inline_table()) {
                (Some(cells), _) => Some(cells.iter().map(|cell| (String::new(), plain(cell))).collect()),
                (_, Some(cells)) => Some(cells.iter().map(|(name, cell)| (name.to_owned(), plain(cell))).collect()),
                _ => None,
            })
            .collect()
    }

    /// Removes a key, with the comment behind it; without effect where it is not there.
    pub fn remove(&mut self, dotted: &str) {
        if let Some((table, name)) = dotted.split_once('.')
            && let Some(table) = self.document.get_mut(table).and_then(Item::as_table_like_mut)
        {
            table.remove(name);
        }
    }

    /// Reads the text as it now stands.
    ///
    /// # Errors
    /// As [`read_site`].
    pub fn site(&self, file_name: &str) -> Result<Site, Faults> {
        read_site(&self.to_string(), file_name)
    }

    /// The table of that name, made where there is none.
    fn table(&mut self, name: &str) -> Option<&mut dyn toml_edit::TableLike> {
        let root = self.document.as_table_mut();
        root.entry(name).or_insert_with(|| Item::Table(Table::new())).as_table_like_mut()
    }

    /// Puts a value in place of the line that shows its key commented out; says whether there was one.
    fn uncomment(&mut self, table: &str, name: &str, item: &Item) -> bool {
        let text = self.document.to_string();
        let mut within = "";
        let mut done = false;
        let mut lines: Vec<String> = Vec::new();
        for line in text.lines() {
            if let Some(header) = line.trim().strip_prefix('[') {
                within = header.split(']').next().unwrap_or("").trim();
            }
            let shown = line.trim_start().strip_prefix('#').map(str::trim_start).and_then(|l| l.strip_prefix(name));
            let shown = shown.map(str::trim_start).and_then(|rest| rest.strip_prefix('=')).map(split_comment);
            match shown {
                // Prose that only looks like a key is left alone.
                Some((value, comment)) if within == table && !done && value.parse::<toml_edit::Value>().is_ok() => {
                    lines.push(format!("{name} = {}{}", item.to_string().trim(), no_example(comment)));
                    done = true;
                }
                _ => lines.push(line.to_owned()),
            }
        }
        // A line inside a longer text only looks like a comment: then the key is not there after the change.
        let Ok(document) = (lines.join("\n") + "\n").parse::<DocumentMut>() else { return false };
        let changed = Self { document };
        if done && changed.value(&format!("{table}.{name}")).is_some() {
            *self = changed;
            return true;
        }
        false
    }
}

impl fmt::Display for SiteFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.document.fmt(f)
    }
}

/// A value and the comment behind it, with the spaces that set it off.
fn split_comment(text: &str) -> (&str, &str) {
    let (value, comment) = text.find("  #").and_then(|i| text.split_at_checked(i)).unwrap_or((text, ""));
    (value.trim(), comment)
}

/// A comment behind a value that is no example any more.
fn no_example(comment: &str) -> String {
    comment.replacen("# (example) ", "# ", 1)
}

/// What stands for a key that is left out, in words.
pub(super) fn preset_words(preset: Preset, kind: Kind) -> String {
    match preset {
        Preset::Required => "required".to_owned(),
        Preset::Is(text) => match kind {
            Kind::Quantity(_) | Kind::Choice(_) => format!("default \"{text}\""),
            _ => format!("default {text}"),
        },
        Preset::Of(other) => format!("default: as {other}"),
        Preset::From(how) => format!("default: {how}"),
        Preset::Absent(when) => when.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::example::starter;
    use super::*;

    /// What stands in the file once it is stated is no example any more, and neither is what somebody stated by hand.
    #[test]
    fn a_value_that_is_written_is_no_example_any_more() {
        let knots = "[[\"0.2 m\", \"1.5 m2\"], [\"0.6 m\", \"3 m2\"]]";
        let by_hand = starter().replacen("# area = [", "area = [", 1);
        for text in [starter(), &by_hand] {
            let mut file = SiteFile::parse(text, "a").unwrap();
            file.set("bag.area", knots).unwrap();
            let written = file.to_string();
            let line = written.lines().find(|line| line.starts_with("area = [[\"0.2 m\"")).unwrap();
            assert!(line.ends_with("instead of area_body, area_growth and area_limit"), "{line}");
            assert!(line.contains("  # measured in an afternoon") && !line.contains("example"), "{line}");
            // All others stay as they were.
            assert!(written.contains("# lightest = \"62 kg\"  # (example) "), "{written}");
        }
    }
}
