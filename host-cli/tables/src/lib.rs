//! Files that people and boxes write: what one is by how it begins; tables with their separators, headings with units,
//! numbers of either comma, lines that were torn, and lines that hold together.
#![deny(unsafe_code)]

pub mod chain;
pub mod columns;
mod kind;
mod table;
pub mod torn;

pub use kind::Kind;
pub use table::{Column, Heading, Holds, Row, is_heading_of, is_remark, read_table, separator_of};
