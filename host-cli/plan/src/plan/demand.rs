//! What the riders ask of the bag: how hard, how heavy, how light, how long from the stop line, at a start height.
//!
//! One bag serves all groups of riders, so that the worst of all of them counts.

use super::PlanError;
use super::model::Model;
use super::parts::{DETAIL, Single, peak_load_mps2, single, stop_line};
use super::results::{OrWhy, SpeedsBy, Why};
use super::sampled::Landings;
use super::search::Draws;
use crate::site::Site;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag::Outcome;
use landfall_core::ground_chance::{NormalSpeeds, TwoNormals};
use landfall_core::inputs::{Uncertain, Uncertainty};
use landfall_core::levels::MeanLanding;
use landfall_core::spread::{Mixture, mixture};
use landfall_sampling::quantile::Histogram;
use std::sync::Arc;

/// The mass that lands for a rider's mass.
pub fn landing_kg(site: &Site, rider_kg: f64) -> f64 {
    rider_kg + if site.rider.lands_with_bike { site.rider.bike_mass_kg } else { 0.0 }
}

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

    /// What scatters where nobody starts above a height.
    fn under(&self, highest_start_m: f64) -> Uncertainty {
        if highest_start_m < self.start_m() { self.starting_at(highest_start_m) } else { self.model.uncertainty }
    }

    /// The divided differences of the three riders with `uncertainty`.
    pub fn spreads(&self, uncertainty: &Uncertainty) -> Vec<Option<Mixture>> {
        self.model.setups.iter().map(|setup| mixture(setup, uncertainty, &DETAIL)).collect()
    }
}

/// Speeds into the top of one rider's sampled landings.
#[derive(Clone, Debug)]
pub struct DrawnSpeeds {
    hard_mps: f64,
    low_mps: f64,
    bin_mps: f64,
    /// Share of the landings over the lower bound of each bin, and over the upper bound of the last one.
    over: Vec<f64>,
}

impl DrawnSpeeds {
    /// Those that a histogram counted; `None` where it counted none.
    fn new(histogram: &Histogram) -> Option<Self> {
        let hard_mps = histogram.quantile(1.0 - f64::from(HARD_CHANCE))?;
        let total = histogram.total() as f64;
        let (mut bounds, mut over) = (Vec::new(), Vec::new());
        for (bound_mps, count) in histogram.cumulative() {
            bounds.push(bound_mps);
            over.push(1.0 - count as f64 / total);
        }
        // The last count is of what lies beyond the bounds.
        over.pop();
        let [low_mps, next_mps, ..] = bounds[..] else { return None };
        Some(Self { hard_mps, low_mps, bin_mps: next_mps - low_mps, over })
    }
}

impl NormalSpeeds for DrawnSpeeds {
    /// Share of the landings over it, straight within a bin; the slowest and the fastest are those that were drawn.
    fn survival(&self, normal_mps: f32) -> f32 {
        let at = (f64::from(normal_mps) - self.low_mps) / self.bin_mps;
        let last = self.over.len() - 1;
        if !(at > 0.0) {
            return 1.0;
        }
        let bin = (at as usize).min(last);
        let (here, next) = (self.over[bin], self.over[(bin + 1).min(last)]);
        (here + (next - here) * (at - bin as f64).min(1.0)) as f32
    }
}

/// Speeds into the top of one rider's landings.
#[derive(Clone, Debug)]
pub enum Speeds {
    /// By the divided differences: two normals.
    Normal(TwoNormals),
    /// Of the sampled landings, where a run of the differences does not come down.
    Drawn(Arc<DrawnSpeeds>),
}

impl Speeds {
    /// Whether both are the same speeds: nothing is computed twice then.
    pub fn same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Normal(a), Self::Normal(b)) => a == b,
            (Self::Drawn(a), Self::Drawn(b)) => Arc::ptr_eq(a, b),
            _ => false,
        }
    }
}

impl NormalSpeeds for Speeds {
    fn survival(&self, normal_mps: f32) -> f32 {
        match self {
            Self::Normal(normals) => normals.survival(normal_mps),
            Self::Drawn(drawn) => drawn.survival(normal_mps),
        }
    }
}

/// What the sampling of one crew says of its landings.
#[derive(Clone, Debug, Default)]
pub struct Drawn {
    /// From the lowest 0.1 % to the highest 99.9 % of `along`, of all three riders; none where too few land.
    pub along_m: Option<(f64, f64)>,
    /// Speeds of the riders whose differences do not all come down; none of the others, or where too few land.
    pub speeds: [Option<Arc<DrawnSpeeds>>; 3],
}

impl Drawn {
    /// That of the landings of a crew.
    pub fn of(model: &Model, landings: &Landings, spreads: &[Option<Mixture>]) -> Self {
        let mut speeds: [Option<Arc<DrawnSpeeds>>; 3] = [None, None, None];
        for rider in 0..speeds.len() {
            let stands = model.stands_for(rider);
            if spreads.get(rider).is_some_and(Option::is_some) {
                continue;
            }
            speeds[rider] = match speeds.get(stands).filter(|_| stands < rider) {
                Some(same) => same.clone(),
                None => landings.histogram(model, rider, 2).and_then(DrawnSpeeds::new).map(Arc::new),
            };
        }
        Self { along_m: landings.along_interval(), speeds }
    }

    /// That of new landings of the crews, with nobody starting above `start_m`.
    ///
    /// # Errors
    /// [`PlanError::Stopped`].
    pub fn draw(crews: &[Crew], start_m: f64, draws: &Draws<'_>) -> Result<Vec<Self>, PlanError> {
        crews
            .iter()
            .map(|crew| {
                let model = Model { uncertainty: crew.under(start_m), ..crew.model.clone() };
                let spreads = crew.spreads(&model.uncertainty);
                let landings = Landings::draw(&model, &spreads, draws, false)?;
                Ok(Self::of(&model, &landings, &spreads))
            })
            .collect()
    }
}

/// One rider in one crew.
#[derive(Clone, Debug)]
pub struct Lander {
    /// 0 mean, 1 lightest, 2 heaviest.
    pub which: usize,
    /// Mass that lands, with the bike where it lands too.
    pub landing_kg: f64,
    /// Normal speeds of the landings.
    pub speeds: Speeds,
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
    pub commitment_s: OrWhy<f64>,
    /// Whether a crew has no last stop line.
    pub from_start: bool,
    /// Highest load on the ride down, of the crews' mean riders.
    pub peak_load_g: f64,
    /// Whether the speeds of all landers are those of the divided differences.
    pub speeds_by: SpeedsBy,
}

/// What one crew gives to a demand.
struct Share<'a> {
    crew: &'a Crew,
    /// Of the three riders, with the speed that one landing in a thousand passes.
    speeds: Vec<(Speeds, f64)>,
    along_m: (f64, f64),
    one: Single,
    uncertainty: Uncertainty,
}

/// Speeds by the divided differences, and the one that one landing in a thousand passes.
fn by_differences(spread: &Mixture) -> (Speeds, f64) {
    let two = |kind: &landfall_core::spread::Differences| (kind.mean_normal_mps, kind.sd_normal_mps);
    let speeds = TwoNormals { good_mps: two(&spread.good), botched_mps: two(&spread.botched), botched: spread.share };
    (Speeds::Normal(speeds), f64::from(spread.normal_passed_mps(HARD_CHANCE)))
}

/// The same of sampled landings.
fn by_sampling(drawn: &Arc<DrawnSpeeds>) -> (Speeds, f64) {
    (Speeds::Drawn(Arc::clone(drawn)), drawn.hard_mps)
}

/// The 0.1 % to 99.9 % interval of `along` of all three riders, by the mixtures.
pub fn along_interval(spreads: &[Mixture]) -> (f64, f64) {
    spreads.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), spread| {
        (low.min(f64::from(spread.along_quantile_m(0.001))), high.max(f64::from(spread.along_quantile_m(0.999))))
    })
}

impl Demand {
    /// The demand of the crews, each at its own start but none above `highest_start_m`. `drawn` has what the sampling says,
    /// crew by crew: the interval of `along`, and the speeds of those riders of whose divided differences a run does not
    /// come down. `None` where neither gives them.
    pub fn new(crews: &[Crew], highest_start_m: f64, drawn: &[Drawn]) -> Option<Self> {
        let shares: Option<Vec<Share<'_>>> = crews
            .iter()
            .enumerate()
            .map(|(i, crew)| {
                let uncertainty = crew.under(highest_start_m);
                let spreads = crew.spreads(&uncertainty);
                let drawn = drawn.get(i);
                let all = || spreads.iter().copied().collect::<Option<Vec<Mixture>>>();
                let along_m = match drawn.and_then(|drawn| drawn.along_m) {
                    Some(along_m) => along_m,
                    None => along_interval(&all()?),
                };
                let speeds = spreads
                    .iter()
                    .enumerate()
                    .map(|(rider, spread)| match spread {
                        Some(spread) => Some(by_differences(spread)),
                        None => drawn?.speeds.get(rider)?.as_ref().map(by_sampling),
                    })
                    .collect::<Option<_>>()?;
                let one = single(&crew.model.setups[0], &uncertainty.at_mean());
                Some(Share { crew, speeds, along_m, one, uncertainty })
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
            commitment_s: OrWhy::Value(0.0),
            from_start: false,
            peak_load_g: 0.0,
            speeds_by: SpeedsBy::Differences,
        };
        for Share { crew, speeds, along_m, one, uncertainty } in shares {
            let site = &crew.site;
            let bag = &crew.model.setups[0].bag();
            for (which, ((speeds, hard_mps), rider_kg)) in speeds.iter().zip(crew.model.masses_kg).enumerate() {
                if matches!(speeds, Speeds::Drawn(_)) {
                    demand.speeds_by = SpeedsBy::Sampling;
                }
                let speeds = speeds.clone();
                demand.landers.push(Lander { which, landing_kg: landing_kg(site, rider_kg), speeds });
                demand.hard_speed_mps = demand.hard_speed_mps.max(*hard_mps);
            }
            let thickness_m = f64::from(bag.thinnest_m(along_m.0 as f32, along_m.1 as f32));
            demand.thickness_m = demand.thickness_m.min(thickness_m);
            demand.heaviest_kg = demand.heaviest_kg.max(landing_kg(site, site.rider.heaviest_kg));
            demand.lightest_kg = demand.lightest_kg.min(site.rider.lightest_kg);
            let inputs = uncertainty.at_mean();
            let airtime_s = one.airtime_s().ok_or(Why::NoCommitment);
            let line = stop_line(&crew.model.setups[0], &inputs, one, airtime_s, site.rider.braking);
            demand.commitment_s = demand.commitment_s.zip(line.to_touchdown_s).map(|(a, b)| a.max(b));
            demand.from_start |= line.before_foot_m.get().is_none();
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Speeds 0.5, 1.5, … 9.5 m/s, a hundred of each: over 3 m/s are 7 of 10, over the fastest none, over 0 all.
    #[test]
    fn drawn_speeds_are_shares_of_what_was_drawn() {
        let mut histogram = Histogram::new(0.0, 30.0);
        for i in 0..1_000_u16 {
            histogram.add(f32::from(i % 10) + 0.5);
        }
        let drawn = DrawnSpeeds::new(&histogram).unwrap();
        for (mps, share) in [(-1.0, 1.0), (0.0, 1.0), (3.0, 0.7), (9.0, 0.1), (9.6, 0.0), (15.0, 0.0), (99.0, 0.0)] {
            assert!((drawn.survival(mps) - share).abs() < 1e-6, "{mps}: {} for {share}", drawn.survival(mps));
        }
        assert!((drawn.hard_mps - 9.5).abs() < 0.01, "{}", drawn.hard_mps);
        // It does not rise with the speed.
        let all: Vec<f32> = (0..3_000_u16).map(|i| drawn.survival(0.005 * f32::from(i))).collect();
        assert!(all.is_sorted_by(|a, b| a >= b));
        assert!(DrawnSpeeds::new(&Histogram::new(0.0, 30.0)).is_none());
    }
}
