//! Tables that people and boxes write: separators, headings with units, numbers of either comma, lines that were torn.
#![deny(unsafe_code)]

mod table;
pub mod torn;

pub use table::{Column, Heading, Holds, Row, is_heading_of, is_remark, read_table, separator_of};
