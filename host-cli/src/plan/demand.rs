//! What the riders ask of the bag: how hard, how heavy, how light, how long from the stop line, at a start height.
//!
//! One bag serves all groups of riders, so that the worst of all of them counts.

use super::PlanError;
use super::model::Model;
use super::parts::{DETAIL, Single, peak_load_mps2, single, stop_line};
use super::supply::landing_kg;
use crate::site::Site;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag::Outcome;
use landfall_core::ground_chance::TwoNormals;
use landfall_core::inputs::{Uncertain, Uncertainty};
use landfall_core::levels::MeanLanding;
use landfall_core::spread::{Mixture, mixture};

/// Chance of a faster landing than the hard one.
const HARD_CHANCE: f32 = 0.001;

/// Riders who start, fly and land alike: a group of the site, or all of them where it has none.
#[derive(Clone, Debug)]
pub struct Crew {
    /// Name of the group; none where the site has none.
    pub group: Option<String>,
    /// The site as this group has it.
    pub site: Site,
    /// Its ride and flight.
    pub model: Model,
}

/// The groups of a site.
///
/// # Errors
/// [`PlanError`] for what the models refuse.
pub fn crews(site: &Site) -> Result<Vec<Crew>, PlanError> {
    if site.groups.is_empty() {
        return Ok(vec![Crew { group: None, site: site.clone(), model: Model::new(site)? }]);
    }
    site.groups
        .iter()
        .map(|group| {
            // The reader has checked each group's combinations.
            let own = site.for_group(group).map_err(|_| PlanError::Group(group.name.clone()))?;
            let model = Model::new(&own)?;
            Ok(Crew { group: Some(group.name.clone()), site: own, model })
        })
        .collect()
}

impl Crew {
    /// Their start height.
    pub fn start_m(&self) -> f64 {
        f64::from(self.model.uncertainty.mean[Uncertain::StartHeight as usize])
    }

    /// What scatters, at another start height.
    pub fn starting_at(&self, start_m: f64) -> Uncertainty {
        super::search::moved(&self.model.uncertainty, Uncertain::StartHeight, start_m as f32)
    }

    /// The divided differences of the three riders with `uncertainty`.
    pub fn spreads(&self, uncertainty: &Uncertainty) -> Vec<Option<Mixture>> {
        self.model.setups.iter().map(|setup| mixture(setup, uncertainty, &DETAIL)).collect()
    }
}

/// One rider in one crew.
#[derive(Clone, Copy, Debug)]
pub struct Lander {
    /// 0 mean, 1 lightest, 2 heaviest.
    pub which: usize,
    /// Mass that lands, with the bike where it lands too.
    pub landing_kg: f64,
    /// Normal speeds of the landings.
    pub speeds: TwoNormals,
}

/// What the riders ask of the bag.
#[derive(Clone, Debug)]
pub struct Demand {
    /// All riders of all crews.
    pub landers: Vec<Lander>,
    /// Speed into the top that one landing in a thousand passes, the largest of all riders'.
    pub hard_speed_mps: f64,
    /// Thickness at the thinnest place where landings fall.
    pub thickness_m: f64,
    /// Mass of the hard landing.
    pub heaviest_kg: f64,
    /// Mass of the light landing.
    pub lightest_kg: f64,
    /// The mean landing that takes most out of the bag; none where none comes down on it.
    pub mean: Option<MeanLanding>,
    /// From the last stop line, or the start, to touch-down, the longest of the crews'; none without a touch-down.
    pub commitment_s: Option<f64>,
    /// Whether a crew has no last stop line.
    pub from_start: bool,
    /// Highest load on the ride down, of the crews' mean riders.
    pub peak_load_g: f64,
}

/// What one crew gives to a demand.
struct Share<'a> {
    crew: &'a Crew,
    spreads: Vec<Mixture>,
    along_m: (f64, f64),
    one: Single,
    uncertainty: Uncertainty,
}

/// The 0.1 % to 99.9 % interval of `along` of all three riders, by the mixtures.
pub fn along_interval(spreads: &[Mixture]) -> (f64, f64) {
    spreads.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), spread| {
        (low.min(f64::from(spread.along_quantile_m(0.001))), high.max(f64::from(spread.along_quantile_m(0.999))))
    })
}

impl Demand {
    /// The demand of the crews, each at its own start but none above `highest_start_m`; `None` where a run of the
    /// divided differences does not land. `drawn` has the interval of `along` from the sampling, crew by crew.
    pub fn new(crews: &[Crew], highest_start_m: f64, drawn: &[Option<(f64, f64)>]) -> Option<Self> {
        let shares: Option<Vec<Share<'_>>> = crews
            .iter()
            .enumerate()
            .map(|(i, crew)| {
                let uncertainty = if highest_start_m < crew.start_m() {
                    crew.starting_at(highest_start_m)
                } else {
                    crew.model.uncertainty
                };
                let spreads: Vec<Mixture> = crew.spreads(&uncertainty).into_iter().collect::<Option<_>>()?;
                let along_m = drawn.get(i).copied().flatten().unwrap_or_else(|| along_interval(&spreads));
                let one = single(&crew.model.setups[0], &uncertainty.at_mean());
                Some(Share { crew, spreads, along_m, one, uncertainty })
            })
            .collect();
        Some(Self::of(&shares?))
    }

    fn of(shares: &[Share<'_>]) -> Self {
        let mut demand = Self {
            landers: Vec::new(),
            hard_speed_mps: 0.0,
            thickness_m: f64::INFINITY,
            heaviest_kg: 0.0,
            lightest_kg: f64::INFINITY,
            mean: None,
            commitment_s: Some(0.0),
            from_start: false,
            peak_load_g: 0.0,
        };
        for Share { crew, spreads, along_m, one, uncertainty } in shares {
            let site = &crew.site;
            let bag = &crew.model.setups[0].bag;
            for (which, (spread, rider_kg)) in spreads.iter().zip(crew.model.masses_kg).enumerate() {
                let two = |kind: &landfall_core::spread::Differences| (kind.mean_normal_mps, kind.sd_normal_mps);
                let speeds = TwoNormals {
                    good_mps: two(&spread.good),
                    botched_mps: two(&spread.botched),
                    botched: spread.share,
                };
                demand.landers.push(Lander { which, landing_kg: landing_kg(site, rider_kg), speeds });
                demand.hard_speed_mps = demand.hard_speed_mps.max(f64::from(spread.normal_passed_mps(HARD_CHANCE)));
            }
            let thickness_m = f64::from(bag.thinnest_m(along_m.0 as f32, along_m.1 as f32));
            demand.thickness_m = demand.thickness_m.min(thickness_m);
            demand.heaviest_kg = demand.heaviest_kg.max(landing_kg(site, site.rider.heaviest_kg));
            demand.lightest_kg = demand.lightest_kg.min(site.rider.lightest_kg);
            let inputs = uncertainty.at_mean();
            let line = stop_line(&crew.model.setups[0], &inputs, one, site.rider.braking);
            demand.commitment_s = demand.commitment_s.zip(line.to_touchdown_s).map(|(a, b)| a.max(b));
            demand.from_start |= line.before_foot_m.is_none();
            let (peak_mps2, _) = peak_load_mps2(&crew.model.setups[0], &inputs, f64::NEG_INFINITY);
            demand.peak_load_g = demand.peak_load_g.max(f64::from(peak_mps2 / STANDARD_GRAVITY_MPS2));
            if let Some(run) = one.run
                && matches!(run.outcome(bag, 0), Outcome::On | Outcome::Edge)
            {
                let landing = MeanLanding {
                    mass_kg: landing_kg(site, site.rider.mass_kg) as f32,
                    normal_speed_mps: run.normal_mps,
                    thickness_m: bag.thickness_m(run.along_m),
                };
                let energy = |l: &MeanLanding| l.mass_kg * l.normal_speed_mps * l.normal_speed_mps;
                if demand.mean.is_none_or(|other| energy(&landing) > energy(&other)) {
                    demand.mean = Some(landing);
                }
            }
        }
        demand
    }
}
