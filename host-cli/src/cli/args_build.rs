//! The arguments of `ramp` and `progress`.

use std::path::PathBuf;

use clap::{ValueEnum, ValueHint};
use landfall_plan::landings::text::TABLES_AND_BUILT as LANDING_TABLES;
use landfall_ramp::TABLES;
use landfall_ramp::tiles::Paper;

use super::args_shared::{Format, Output, SiteArg, angle, length};

/// Paper to print a template on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Tiles {
    /// 210 mm by 297 mm.
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

impl From<Tiles> for Paper {
    fn from(tiles: Tiles) -> Self {
        match tiles {
            Tiles::A4 => Self::A4,
            Tiles::Letter => Self::Letter,
        }
    }
}

/// Make the build sheet of the take-off and of the roll-in's transitions
///
/// Offsets to set out the side panels by, joist places, sheet and timber lengths, a cut list laid onto stock sheets, and
/// what a millimetre of error at the lip does. Templates at full size as SVG, DXF or PDF. Loads are not checked: a
/// qualified builder decides what carries the ramp.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall ramp hill.toml
  landfall ramp hill.toml --format csv --table offsets --offsets \"50 mm\"
  landfall ramp hill.toml --template take-off.dxf --template take-off.svg
  landfall ramp hill.toml --template take-off.pdf --tiles a4
  landfall ramp hill.toml --part transition-1 --template bottom.dxf
  landfall ramp hill.toml --sheet-length \"2.5 m\" --sheet-width \"1.25 m\" --joists \"16 in\"

Offsets are of the panel's upper edge, under the deck, and of the ridden surface. Where an arc does
not stand on the ground, ribs of one depth take the panels' place. Measure the 100 mm bar of a
printed template before anything is cut.")]
pub(crate) struct Ramp {
    #[command(flatten)]
    pub site: SiteArg,
    /// Between the rows of the offsets table; by default 100 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub offsets: Option<f64>,
    /// Most between joists, along the surface; by default 200 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub joists: Option<f64>,
    /// Thickness of a joist; by default 45 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub joist_width: Option<f64>,
    /// Depth of a joist; by default 95 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub joist_depth: Option<f64>,
    /// Most between panels or ribs, across the ramp; by default 1.22 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub panels: Option<f64>,
    /// Thickness of panels and ribs; by default 18 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub panel_thickness: Option<f64>,
    /// Depth of a rib; by default 300 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub rib_depth: Option<f64>,
    /// Layers of riding sheets; by default 2.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=6))]
    pub layers: Option<u8>,
    /// Thickness of one layer; by default 9 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub layer: Option<f64>,
    /// Longer side of a stock sheet; by default 2.44 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub sheet_length: Option<f64>,
    /// Shorter side of a stock sheet; by default 1.22 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub sheet_width: Option<f64>,
    /// Width of the saw's cut; by default 4 mm.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub kerf: Option<f64>,
    /// Length of a stock timber; by default 4.8 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub timber: Option<f64>,
    /// Width of the roll-in; by default the take-off's.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub roll_in_width: Option<f64>,
    /// Length of the platform at the start; by default 2.4 m, and 0 m for none.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub platform: Option<f64>,
    /// Write the template of a part here, at full size; the ending says how: .svg, .dxf or .pdf. Give it more than once
    /// for more files. An older file is replaced.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, num_args = 1)]
    pub template: Vec<PathBuf>,
    /// Part of the template: take-off, or transition-1 and so on from the start.
    #[arg(long, value_name = "NAME", default_value = "take-off", requires = "template")]
    pub part: String,
    /// Cut a PDF template into sheets of this paper.
    #[arg(long, value_enum, requires = "template")]
    pub tiles: Option<Tiles>,
    /// Form of the build sheet.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Table of a CSV.
    #[arg(long, value_name = "TABLE", default_value = TABLES[0], value_parser = TABLES)]
    pub table: String,
    #[command(flatten)]
    pub output: Output,
}

/// Compare the same jump onto other landings than the bag
///
/// Plane landings of some slopes, with the equivalent fall height of the mean and of a hard landing against a published
/// table of loose fill; and the surface on which no run falls more than a limit, whatever its speed. Dirt does not
/// forgive the tries that fail.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall progress hill.toml
  landfall progress hill.toml --limit \"1 m\" --slope \"20 deg,30 deg,35 deg\"
  landfall progress --demo --format csv --table slopes
  landfall progress hill.toml --report landings.html

Every plane passes through the place where the mean run comes down on the bag; the surface begins
at the near end of the plausible landings, as high as the bag's top.
Exit code 1: the surface would be steeper than --steepest, or there is none.")]
pub(crate) struct Progress {
    #[command(flatten)]
    pub site: SiteArg,
    /// Slopes of plane landings, down positive, with commas.
    #[arg(long, value_name = "ANGLE,…", value_parser = angle, value_delimiter = ',', num_args = 1, allow_hyphen_values = true,
        default_values = ["0 deg", "10 deg", "20 deg", "30 deg", "40 deg"], hide_default_value = true)]
    pub slope: Vec<f64>,
    /// Equivalent fall height that the surface keeps; by default 1.5 m.
    #[arg(long, value_name = "HEIGHT", value_parser = length)]
    pub limit: Option<f64>,
    /// Steepest surface that can be built and ridden; by default 40 deg.
    #[arg(long, value_name = "ANGLE", value_parser = angle)]
    pub steepest: Option<f64>,
    #[command(flatten)]
    pub landing: super::args_ground::LandingArgs,
    /// Write a page with a picture to scale as well: one HTML file, to read and to print. An older file is replaced.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub report: Option<PathBuf>,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Table of a CSV.
    #[arg(long, value_name = "TABLE", default_value = LANDING_TABLES[0], value_parser = LANDING_TABLES)]
    pub table: String,
    #[command(flatten)]
    pub output: Output,
}
