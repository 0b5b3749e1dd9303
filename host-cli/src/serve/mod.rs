//! A local server for the page: one machine, one user, nothing from outside.
//!
//! It answers three fixed routes: `GET /` is the page, `POST /answer` is [`landfall_plan::page::answer`], `GET /box` is what the
//! box says ([`live`] describes it). No file is ever served, so that there is no path to leave. [`guard`] says what is
//! let through: a Host that is this server's own address, no request that another site's page has caused, and the token
//! that only this server's page was given. [`http`] reads requests within bounds of size and time; each connection
//! carries one request and has a thread of its own, so that a slow one holds up none of the others; [`doors`] bounds how
//! many there are, and keeps a share for those who have the token. [`turns`] lets the
//! newest evaluation run first and ends those that nobody waits for any more.

pub mod doors;
pub mod guard;
pub mod http;
pub mod live;
pub mod server;
pub mod turns;

pub use server::{Options, Server};
