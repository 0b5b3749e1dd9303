//! What a user made is kept: the one place where the command writes files, and where files that were torn are read.
//!
//! [`write()`] is for whole outputs, [`edit`] for a site file that a command changes, [`begin`] for a file that grows.
//! All of them:
//!
//! - replace regular files only; what exists and is something else (a pipe, a terminal, `/dev/stdout`) is opened and
//!   written, and a folder is refused;
//! - follow links, and keep owner, group and permissions of what they replace; new files follow the umask;
//! - replace no file that may not be written and none of another owner;
//! - replace no file that the same command has read or written, no database, no file of another [`Kind`] of ours, and
//!   nothing that was measured or typed, unless told to;
//! - write beside the target first and put that in its place in one step, so that a crash or a full disk leaves the old
//!   file or the whole new one. What a killed run left there is removed by the next.

#[cfg(test)]
mod kind_tests;
mod place;
mod put;
mod temporary;

pub use landfall_tables::Kind;
pub use place::FileId;
pub use put::{How, WriteError, begin, edit, write};
