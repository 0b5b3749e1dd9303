//! The arguments of `landfall serve`.

use std::net::IpAddr;

use clap::ValueHint;
use landfall_box::sources::{Typed, good_name};

use super::args_shared::SiteArg;

/// Serve a page on this machine to try values on
///
/// Every site value has a control; results and pictures follow. The page works without the internet, and what it shows
/// is computed here by the same functions as `landfall plan`. Ctrl-C ends it. The page's address goes to stdout.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall serve --demo                          then open the address that it prints
  landfall serve hill.toml --port /dev/ttyACM0   with live data of the box on the bag; its page has a large view
  landfall serve hill.toml --simulated-box       with a box on the computed bag instead
  landfall serve --demo --simulated-box --full --do \"20 s: cut for 10 s\"
  landfall serve hill.toml --port left=/dev/ttyACM0 --port right=/dev/ttyACM1
  landfall serve --demo --simulated-box=left --simulated-box=right --full --do \"right: 20 s: cut for 10 s\"
  landfall serve hill.toml --listen 192.168.1.20 for another device in the same network

Only this machine can reach the page, unless --listen names another address; then the page opens only
with the token that is printed on stderr, and whoever reads along on that network can use it too.
Exit code 0 when it is ended.")]
pub(crate) struct Serve {
    #[command(flatten)]
    pub site: SiteArg,
    /// Address of this machine to listen at.
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1")]
    pub listen: IpAddr,
    /// Port of the page's address; 0 takes a free one.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub http_port: u16,
    /// Serial port of the box, with its name before it where it has one. May be given more than once: several boxes have one
    /// permit, and the worst of them rules.
    #[arg(long, value_name = "[NAME=]PORT", num_args = 1, value_parser = Typed::parse, value_hint = ValueHint::AnyPath, conflicts_with = "simulated_box")]
    pub port: Vec<Typed>,
    /// A box on the site's computed bag, as `landfall simulate` runs it. May be given more than once, with different names.
    #[arg(long, value_name = "NAME", num_args = 0..=1, require_equals = true, default_missing_value = "simulated box", value_parser = good_name)]
    pub simulated_box: Vec<String>,
    /// The simulated bag is at pressure at the start.
    #[arg(long, requires = "simulated_box")]
    pub full: bool,
    /// A happening of the simulation, as for `landfall simulate`; with a box's name before it (NAME: TIME: WHAT) for that one
    /// only. May be given more than once.
    #[arg(long = "do", value_name = "HAPPENING", num_args = 1, requires = "simulated_box")]
    pub happenings: Vec<String>,
}
