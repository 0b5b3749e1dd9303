//! Boxes that a command follows: at ports, or on the computed bag of a site.

use anyhow::{anyhow, bail};
use landfall_box::arm::{ArmError, NEEDED, look};
use landfall_box::sim::{Plan, Riders};
use landfall_box::sources::{Place, SIMULATED, Source, Typed, happenings, twice};
use landfall_core::watch::WatchSettings;
use landfall_plan::plan::box_settings::BoxSensor;
use landfall_plan::plan::compute;
use landfall_plan::plan::results::Results;
use landfall_plan::site::{Sensor, Site};
use landfall_sampling::Stop;

use super::note;

/// Runs of each rider behind a simulated box: they only set how its riders come.
const SIMULATED_SAMPLES: u64 = 20_000;

/// What computed bags are run with.
pub(crate) struct Bags<'a> {
    /// The site whose bag it is.
    pub site: &'a Site,
    /// At pressure at the start.
    pub full: bool,
    /// What happens, each line with a box's name before it or for all.
    pub happenings: &'a [String],
}

impl Bags<'_> {
    /// What each of several computed bags runs with.
    fn plans(&self, names: &[String]) -> anyhow::Result<Vec<(Site, Plan)>> {
        let scripts = happenings(self.happenings, names).map_err(|fault| anyhow!(fault))?;
        let samples = self.site.spread.samples.min(SIMULATED_SAMPLES);
        let site = self.site.with_value("spread.samples", samples.to_string().as_str())?;
        let results = compute(&site, NEEDED, &Stop::default())?;
        let settings = settings(&site, &results)?;
        let range_pa = settings.map_or(BoxSensor::of(Sensor::default()).range_pa, |settings| settings.sensor_high_pa);
        let riders = Riders::of(&site, &results);
        let one = |(script, n): (_, u64)| {
            // No two bags breathe alike.
            let seed = site.spread.seed.wrapping_add(n);
            (site.clone(), Plan { settings, range_pa, riders, script, seed, full: self.full })
        };
        Ok(scripts.into_iter().zip(0..).map(one).collect())
    }
}

/// What a box on the site's bag goes by; none where the plan lets none be armed: it shows red.
fn settings(site: &Site, results: &Results) -> anyhow::Result<Option<WatchSettings>> {
    match look(site, results, None, 1) {
        Ok(armed) => Ok(Some(armed.settings)),
        Err(error @ ArmError::Stop(_)) => {
            note(&format!("{error}\nthe simulated box has no settings"));
            Ok(None)
        }
        Err(error) => Err(error.into()),
    }
}

/// Every box that was named, each by a name of its own; `bags` is asked for where one of them is simulated.
pub(crate) fn sources(typed: &[Typed], bags: Option<&Bags<'_>>) -> anyhow::Result<Vec<Source>> {
    let names: Vec<String> = typed.iter().map(Typed::called).collect();
    if let Some(name) = twice(&names) {
        bail!("two boxes are called {name}; write a name of its own before each: left=…, right=…");
    }
    let is_simulated = |one: &Typed| one.port == SIMULATED;
    for (one, name) in typed.iter().zip(&names).filter(|(one, _)| !is_simulated(one)) {
        let of_it = |line: &&String| line.split_once(':').is_some_and(|(to, _)| to.trim() == name);
        if let Some(line) = bags.and_then(|bags| bags.happenings.iter().find(of_it)) {
            bail!(
                "--do {line:?}: {name} is a box at {}, and nothing is made to happen there; name a simulated one",
                one.port
            );
        }
    }
    let mut simulated = match (bags, typed.iter().any(is_simulated)) {
        (Some(bags), true) => bags.plans(&names)?,
        (None, true) => bail!("a simulated box needs a bag: name its site with --site SITE, or say --demo"),
        (_, false) => Vec::new(),
    };
    let all = typed.iter().zip(names).enumerate().map(|(index, (one, name))| {
        let place = match simulated.get_mut(index) {
            Some((site, plan)) if is_simulated(one) => Place::Simulated(Box::new((site.clone(), plan.clone()))),
            _ => Place::Port(one.port.clone()),
        };
        Source { name, place }
    });
    Ok(all.collect())
}
