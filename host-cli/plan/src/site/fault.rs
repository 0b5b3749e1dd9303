//! What is wrong with a site file: all of it at once, each with its place, what was meant, and a cure.

use std::fmt;

use serde::Serialize;

use crate::outside;

/// Most characters of a line that are shown, and of them before the place that is meant.
const EXCERPT: usize = 160;
const BEFORE: usize = 80;
/// Most characters of a message: words from the file may stand in it.
const MESSAGE: usize = 600;

/// One fault.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// Line in the file, from 1; 0 where no file is involved (a value set by a program).
    pub line: usize,
    /// Column in the line in characters, from 1; 0 with line 0.
    pub column: usize,
    /// The dotted key that it is about; empty for a fault of the file's syntax.
    pub key: String,
    /// What is wrong, and what was meant.
    pub message: String,
    /// What to do about it.
    pub cure: String,
    /// The line as it stands in the file.
    pub excerpt: String,
    /// How many characters of the line are meant, from the column.
    pub width: usize,
}

/// All faults of one site file, in the order of their lines.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Faults {
    /// The file's name, as given to the reader.
    pub file: String,
    /// What is wrong; never empty where it is returned as an error.
    pub faults: Vec<Fault>,
}

impl Faults {
    pub(super) fn one(fault: Fault) -> Self {
        Self { file: String::new(), faults: vec![fault] }
    }

    /// Whether some fault is about this dotted key.
    #[must_use]
    pub fn concerns(&self, key: &str) -> bool {
        self.faults.iter().any(|f| f.key == key)
    }
}

impl Fault {
    /// What stands in the file, and what a user typed, comes from outside: it is shown so that it acts on no terminal.
    fn write(&self, f: &mut fmt::Formatter<'_>, file: &str) -> fmt::Result {
        if self.line > 0 {
            write!(f, "{}:{}:{}: ", outside::plain(file), self.line, self.column)?;
        }
        if !self.key.is_empty() {
            write!(f, "{}: ", outside::plain(&self.key))?;
        }
        writeln!(f, "{}", outside::short(&outside::lines(&self.message), MESSAGE))?;
        if self.line > 0 {
            let (part, indent, width) = self.part();
            writeln!(f, "{:>5} | {part}", self.line)?;
            writeln!(f, "      | {indent}{}", "^".repeat(width))?;
        }
        write!(f, "      = {}", outside::lines(&self.cure))
    }

    /// The part of the line about what is meant, the blanks before the marks below it, and how many marks.
    fn part(&self) -> (String, String, usize) {
        let meant = self.column.saturating_sub(1);
        let from = meant.saturating_sub(BEFORE);
        let mut part = String::new();
        let mut indent = String::new();
        let mut width = 0;
        if from > 0 {
            part.push_str("… ");
            indent.push_str("  ");
        }
        for (at, c) in self.excerpt.chars().enumerate().skip(from).take(EXCERPT) {
            let shown = match c {
                // A tab stays a tab in the line of marks, so that both lines are indented alike.
                '\t' => "\t".to_owned(),
                c if outside::acts(c) => c.escape_unicode().to_string(),
                c => c.to_string(),
            };
            if at < meant {
                indent.extend(shown.chars().map(|c| if c == '\t' { '\t' } else { ' ' }));
            } else if at < meant + self.width {
                width += shown.chars().count();
            }
            part.push_str(&shown);
        }
        if self.excerpt.chars().nth(from + EXCERPT).is_some() {
            part.push_str(" …");
        }
        (part, indent, width.max(1))
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write(f, "line")
    }
}

/// Most faults that a text shows: a table of thousands of lines may have one in each.
const MOST_SHOWN: usize = 100;

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().take(MOST_SHOWN).enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            fault.write(f, &self.file)?;
        }
        match self.faults.len().saturating_sub(MOST_SHOWN) {
            0 => Ok(()),
            more => write!(f, "\nand {more} more faults further down; the first often bring the others with them"),
        }
    }
}

impl std::error::Error for Fault {}
impl std::error::Error for Faults {}

/// A complaint about a value, before its place in the file is looked up.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Complaint {
    pub key: String,
    pub message: String,
    pub cure: String,
}

impl Complaint {
    pub fn new(key: impl Into<String>, message: impl Into<String>, cure: impl Into<String>) -> Self {
        Self { key: key.into(), message: message.into(), cure: cure.into() }
    }

    pub fn without_place(self) -> Fault {
        Fault { key: self.key, message: self.message, cure: self.cure, ..Fault::default() }
    }
}
