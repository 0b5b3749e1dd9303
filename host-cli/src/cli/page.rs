//! `landfall page`.

use landfall::page::{Behind, html};
use landfall_plan::site::{demo_text, read_site};

use super::args_page::Page;
use super::{End, input};

/// The WebAssembly module that was there when the command was built; empty where there was none.
const MODULE: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/page.wasm"));
/// `ready`, `absent` or `old`.
const STATE: &str = env!("LANDFALL_PAGE_STATE");
const CURE: &str = "from the sources, run `bash host-cli/page-wasm/build.sh`, then build the command again";

pub(crate) fn run(args: &Page) -> anyhow::Result<End> {
    match STATE {
        "ready" => {}
        "old" => anyhow::bail!(
            "this command holds a WebAssembly module of older sources, whose figures may differ from its own; {CURE}"
        ),
        _ => anyhow::bail!(
            "this command was built without the page's WebAssembly module; {CURE}. `landfall serve` shows the same page without it"
        ),
    }
    let (site, name) = match &args.site.site {
        None => (demo_text().to_owned(), "demo.toml".to_owned()),
        Some(path) => input::text(path)?,
    };
    read_site(&site, &name)?;
    // The page saves under the file's name, without the folders before it.
    let file = name.rsplit(['/', '\\']).next().unwrap_or("site.toml");
    let file = if file == "stdin" { "site.toml" } else { file };
    args.output.put(&html(&Behind::Inside { module: MODULE, site: &site, file }))?;
    Ok(End::Inside)
}
