//! The arguments of `page`.

use super::args_shared::{Output, SiteArg};

/// Make the page to try values on: one file that a phone opens without a network
///
/// Every value of the site has a control; results and pictures follow. The page computes with the same functions as
/// this command, inside the file itself, and sends nothing anywhere. Edited sites are saved as site files.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall page hill.toml --output hill.html
  landfall page --demo --output try.html

Open the file in a browser that runs its script (2023 or later); a viewer of attachments may not.
Exit code 2: the site has a fault, or this command was built without the page's module.")]
pub(crate) struct Page {
    #[command(flatten)]
    pub site: SiteArg,
    #[command(flatten)]
    pub output: Output,
}
