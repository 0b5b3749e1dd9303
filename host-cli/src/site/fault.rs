//! What is wrong with a site file: all of it at once, each with its place, what was meant, and a cure.

use std::fmt;

use serde::Serialize;

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
    fn write(&self, f: &mut fmt::Formatter<'_>, file: &str) -> fmt::Result {
        if self.line > 0 {
            write!(f, "{file}:{}:{}: ", self.line, self.column)?;
        }
        if !self.key.is_empty() {
            write!(f, "{}: ", self.key)?;
        }
        writeln!(f, "{}", self.message)?;
        if self.line > 0 {
            // A tab stays a tab in the line of marks, so that both lines are indented alike.
            let indent: String = self
                .excerpt
                .chars()
                .take(self.column.saturating_sub(1))
                .map(|c| if c == '\t' { '\t' } else { ' ' })
                .collect();
            writeln!(f, "{:>5} | {}", self.line, self.excerpt)?;
            writeln!(f, "      | {indent}{}", "^".repeat(self.width.max(1)))?;
        }
        write!(f, "      = {}", self.cure)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write(f, "line")
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, fault) in self.faults.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            fault.write(f, &self.file)?;
        }
        Ok(())
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
