//! Where the site comes from.

use std::fs;
use std::io::Read as _;
use std::path::Path;

use anyhow::Context as _;
use landfall::site::{Site, demo, read_site};

use super::args::{Sampling, SiteArg};

/// A site file's text and the name that messages call it by; `-` is stdin.
pub(crate) fn text(path: &Path) -> anyhow::Result<(String, String)> {
    if path.as_os_str() == "-" {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).context("stdin could not be read")?;
        return Ok((text, "stdin".to_owned()));
    }
    let name = path.display().to_string();
    let text = fs::read_to_string(path).with_context(|| format!("{name} could not be read"))?;
    Ok((text, name))
}

/// The site, or all its faults.
pub(crate) fn site(arg: &SiteArg) -> anyhow::Result<Site> {
    match &arg.site {
        None => Ok(demo()),
        Some(path) => {
            let (text, name) = text(path)?;
            Ok(read_site(&text, &name)?)
        }
    }
}

/// The site with the sampling that the arguments ask for.
pub(crate) fn sampled_site(arg: &SiteArg, sampling: &Sampling) -> anyhow::Result<Site> {
    with_sampling(site(arg)?, sampling)
}

/// A site with the sampling that the arguments ask for.
pub(crate) fn with_sampling(mut site: Site, sampling: &Sampling) -> anyhow::Result<Site> {
    for (key, value) in [("spread.samples", sampling.samples), ("spread.seed", sampling.seed)] {
        if let Some(value) = value {
            site = site.with_value(key, value.to_string().as_str())?;
        }
    }
    Ok(site)
}
