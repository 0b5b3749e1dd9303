//! All that the pictures are drawn from: the results, the models behind them, and traces of the core's own runs.

use crate::plan::model::{Model, Supply};
use crate::plan::parts::{DETAIL, Single, single};
use crate::plan::results::Results;
use crate::plan::{PlanError, supply};
use crate::site::Site;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag::Outcome;
use landfall_core::flight::{Drag, Motion, step};
use landfall_core::inputs::{COUNT, Inputs, Uncertain};
use landfall_core::path::Shape;
use landfall_core::run::Setup;
use landfall_core::short_zone::short_run;
use landfall_sampling::random::{DRAWN, draw_tries};
use rayon::prelude::*;

/// Runs behind the band of flights and the points of the plan view: the first of the sampling's own, mean rider.
pub const RUNS: usize = 80 * DRAWN;
/// Places along the flight at which the band is taken.
const STATIONS: usize = 72;
/// Deeper than any ground.
const BELOW_M: f64 = -100.0;
/// Time between two steps of a drawn flight.
const STEP_S: f32 = 0.02;

/// Everything that a report shows.
pub struct Sheet<'a> {
    /// The site.
    pub site: &'a Site,
    /// What was computed.
    pub results: &'a Results,
    /// Ride and flight.
    pub model: Model,
    /// The air supply.
    pub supply: Supply,
    /// The surface from the start to the lip.
    pub surface: Vec<Piece>,
    /// The ride down, mean rider.
    pub ride: Vec<RideMark>,
    /// From the rider's centre of mass to the wheels.
    pub wheels: Wheels,
    /// The highest centre of mass of that rider.
    pub apex: Option<(f64, f64)>,
    /// The flight of the wheels, mean rider, all inputs at their site values.
    pub flight: Vec<(f64, f64)>,
    /// Where 999 of 1,000 flights of the wheels pass: x, the height of 1 in 2,000, of half, of 1,999 in 2,000.
    pub band: Vec<[f64; 4]>,
    /// Contact points of the first runs: along, across, what the run is called.
    pub points: Vec<Point>,
    /// Flights of the short zone: the lowest point of rider and bike over x, until something is met.
    pub short: Vec<Vec<(f64, f64)>>,
    /// The touch-down: time, depth, load, pressure.
    pub touchdown: Vec<[f64; 4]>,
}

/// Where the wheels are under the rider's centre of mass: at the lip on its edge, at the contact below it along the top's
/// normal, and between the two turned evenly over the way.
#[derive(Clone, Copy, Debug)]
pub struct Wheels {
    /// The centre of mass at the release.
    pub release: (f64, f64),
    /// Where it is at the contact.
    pub end_x: f64,
    /// From the wheels to the centre of mass at the release, and at the contact.
    pub lever: [(f64, f64); 2],
}

impl Wheels {
    fn of(setup: &Setup, inputs: &Inputs<f32>, one: &Single) -> Self {
        let release = place(&setup.release(one.end.speed_mps, inputs));
        let (climb, height_m) = (f64::from(setup.bag().climb()), f64::from(inputs.get(Uncertain::ContactHeight)));
        let cos = 1.0 / climb.hypot(1.0);
        let behind = f64::from(setup.bag().gap_m() + 0.5 * setup.bag().length_m());
        let end_x = one.run.filter(|run| run.landed()).map_or(behind, |run| place(&run.contact).0);
        let lip = f64::from(setup.takeoff().height_m());
        Self {
            release,
            end_x: end_x.max(release.0 + 0.5),
            lever: [(release.0, release.1 - lip), (-climb * cos * height_m, cos * height_m)],
        }
    }

    /// The lever over the way flown, where the centre of mass is at `x`.
    #[must_use]
    pub fn lever_at(&self, x: f64) -> (f64, f64) {
        let share = ((x - self.release.0) / (self.end_x - self.release.0)).clamp(0.0, 1.0);
        let [from, to] = self.lever;
        (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1))
    }

    /// The wheels under a place of the centre of mass.
    #[must_use]
    pub fn under(&self, (x, z): (f64, f64)) -> (f64, f64) {
        let lever = self.lever_at(x);
        (x - lever.0, z - lever.1)
    }
}

/// One piece of the surface.
#[derive(Clone, Debug)]
pub struct Piece {
    /// What it is.
    pub kind: PieceKind,
    /// Places on the surface, from the start's side on.
    pub places: Vec<(f64, f64)>,
}

/// What a piece of the surface is.
#[derive(Clone, Copy, Debug)]
pub enum PieceKind {
    /// A straight: length along it and slope, down positive.
    Straight {
        /// Length.
        length_m: f64,
        /// Slope.
        slope_rad: f64,
    },
    /// An arc of the roll-in.
    Arc {
        /// Radius.
        radius_m: f64,
        /// Turn, upward positive.
        turn_rad: f64,
    },
    /// The take-off.
    TakeOff {
        /// Radius.
        radius_m: f64,
        /// Angle at the lip.
        turn_rad: f64,
    },
}

impl Piece {
    /// Its first place.
    #[must_use]
    pub fn first(&self) -> (f64, f64) {
        self.places.first().copied().unwrap_or_default()
    }

    /// Its last place.
    #[must_use]
    pub fn last(&self) -> (f64, f64) {
        self.places.last().copied().unwrap_or_default()
    }

    /// Horizontal run.
    #[must_use]
    pub fn run_m(&self) -> f64 {
        self.last().0 - self.first().0
    }

    /// Rise.
    #[must_use]
    pub fn rise_m(&self) -> f64 {
        self.last().1 - self.first().1
    }
}

/// One place of the ride.
#[derive(Clone, Copy, Debug)]
pub struct RideMark {
    /// Arc length before the take-off's foot; negative on the take-off.
    pub before_foot_m: f64,
    /// Height of the centre of mass.
    pub mass_z_m: f64,
    /// Speed.
    pub speed_mps: f64,
    /// Felt load.
    pub load_g: f64,
    /// Since the start.
    pub time_s: f64,
}

impl<'a> Sheet<'a> {
    /// Gathers the traces.
    ///
    /// # Errors
    /// [`PlanError`], as the plan itself.
    pub fn gather(site: &'a Site, results: &'a Results) -> Result<Self, PlanError> {
        Self::gather_runs(site, results, RUNS)
    }

    /// The same with fewer runs behind the band and the points: a whole number of [`DRAWN`], or none.
    ///
    /// # Errors
    /// As [`Sheet::gather`].
    pub fn gather_runs(site: &'a Site, results: &'a Results, runs: usize) -> Result<Self, PlanError> {
        let blocks = (runs / DRAWN).min(RUNS / DRAWN);
        let (model, air) = (Model::new(site)?, Supply::new(site)?);
        let setup = &model.setups[0];
        let inputs = model.uncertainty.at_mean();
        let one = single(setup, &inputs);
        let mut touchdown = Vec::new();
        if let Some(run) = one.run.filter(|run| run.landed()) {
            supply::touchdown_traced(site, &air, setup.bag(), &run, |point| {
                touchdown.push([point.time_s, point.depth_m, point.load_g, point.pressure_pa].map(f64::from));
            })?;
        }
        let wheels = Wheels::of(setup, &inputs, &one);
        let (mut band, points) = if blocks > 0 && results.spread.sampling.is_some() && one.run.is_some() {
            flights(&model, results, site.spread.seed, blocks)
        } else {
            (Vec::new(), Vec::new())
        };
        for row in &mut band {
            let lever = wheels.lever_at(row[0]);
            *row = [row[0] - lever.0, row[1] - lever.1, row[2] - lever.1, row[3] - lever.1];
        }
        // All leave from the lip's edge.
        if band.first().is_some_and(|row| row[0] > 0.0) {
            let lip = f64::from(setup.takeoff().height_m());
            band.insert(0, [0.0, lip, lip, lip]);
        }
        let flown = flight(setup, &inputs, &one);
        Ok(Self {
            surface: surface(setup),
            ride: ride(setup, &inputs, results),
            apex: flown.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)),
            flight: flown.into_iter().map(|at| wheels.under(at)).collect(),
            wheels,
            band,
            points,
            short: short(&model, results),
            touchdown,
            site,
            results,
            model,
            supply: air,
        })
    }
}

/// The surface, from the start to the lip.
pub(super) fn surface(setup: &Setup) -> Vec<Piece> {
    let takeoff = &setup.takeoff();
    let curve = |(x, z): (f64, f64), radius_m: f64, from: f64, turn: f64, parts: u16| -> Vec<(f64, f64)> {
        let sense = turn.signum() * radius_m;
        (0..=parts)
            .map(|i| {
                let at = from + turn * f64::from(i) / f64::from(parts);
                (x + sense * (at.sin() - from.sin()), z + sense * (from.cos() - at.cos()))
            })
            .collect()
    };
    let mut pieces = Vec::new();
    let mut at = (0.0, f64::from(setup.path().start_height_m()));
    for segment in setup.path().segments() {
        at.1 = f64::from(segment.z_start_m);
        let piece = match segment.shape {
            Shape::Straight { sin_up, cos } => {
                let (length_m, up, cos) = (f64::from(segment.length_m), f64::from(sin_up), f64::from(cos));
                let end = (at.0 + length_m * cos, at.1 + length_m * up);
                Piece { kind: PieceKind::Straight { length_m, slope_rad: -up.atan2(cos) }, places: vec![at, end] }
            }
            Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
                let (radius_m, turn_rad) = (f64::from(radius_m), f64::from(turn_rad));
                let from = f64::from(sin0).atan2(f64::from(cos0));
                Piece { kind: PieceKind::Arc { radius_m, turn_rad }, places: curve(at, radius_m, from, turn_rad, 24) }
            }
        };
        at = piece.last();
        pieces.push(piece);
    }
    let (radius_m, turn_rad) = (f64::from(takeoff.radius_m()), f64::from(takeoff.lip_rad()));
    pieces.push(Piece {
        kind: PieceKind::TakeOff { radius_m, turn_rad },
        places: curve((at.0, 0.0), radius_m, 0.0, turn_rad, 32),
    });
    // The lip is x = 0.
    let lip_x = pieces.last().map_or(0.0, |piece| piece.last().0);
    for place in pieces.iter_mut().flat_map(|piece| &mut piece.places) {
        place.0 -= lip_x;
    }
    pieces
}

fn ride(setup: &Setup, inputs: &Inputs<f32>, results: &Results) -> Vec<RideMark> {
    let ended =
        results.ride.stall.get().or(results.ride.leaves_surface.get()).map_or(f64::NEG_INFINITY, |at| at.before_foot_m);
    let mut marks = Vec::new();
    setup.ride::<f32, true>(inputs, &DETAIL, |point| {
        let before_foot_m = f64::from(point.before_foot_m);
        if before_foot_m >= ended {
            marks.push(RideMark {
                before_foot_m,
                mass_z_m: f64::from(point.mass_z_m),
                speed_mps: f64::from(point.energy_m2ps2.max(0.0)).sqrt(),
                load_g: f64::from(point.load_mps2 / STANDARD_GRAVITY_MPS2),
                time_s: f64::from(point.time_s),
            });
        }
    });
    marks
}

/// Steps on until `past` says so, at most ten seconds.
pub(super) fn follow(start: &Motion<f32>, drag: &Drag<f32>, step_s: f32, mut past: impl FnMut(&Motion<f32>) -> bool) {
    let mut motion = *start;
    let most = (10.0 / step_s) as u32;
    for _ in 0..most {
        if past(&motion) {
            return;
        }
        motion = step(&motion, step_s, drag);
    }
}

fn place(motion: &Motion<f32>) -> (f64, f64) {
    (f64::from(motion.place_m[0]), f64::from(motion.place_m[2]))
}

/// The flight at the site values, up to the contact.
fn flight(setup: &Setup, inputs: &Inputs<f32>, one: &Single) -> Vec<(f64, f64)> {
    let Some(run) = one.run else { return Vec::new() };
    let start = setup.release(one.end.speed_mps, inputs);
    let contact = run.landed().then(|| place(&run.contact));
    let mut list = Vec::new();
    follow(&start, &setup.drag(inputs), STEP_S, |motion| {
        let at = place(motion);
        let over = contact.map_or(at.1 < 0.0, |contact| at.0 >= contact.0 && motion.velocity_mps[2] < 0.0);
        if !over {
            list.push(at);
        }
        over
    });
    list.extend(contact);
    list
}

/// Far end of the band: beyond the bag and beyond nearly all landings.
fn far_m(setup: &Setup, results: &Results) -> f64 {
    let bag = f64::from(setup.bag().gap_m() + setup.bag().length_m());
    let landings = results.spread.sampling.as_ref().and_then(|s| s.along_p999_m.get()).unwrap_or(0.0);
    (f64::from(setup.bag().gap_m()) + landings + 1.0).max(bag + 0.5).min(bag + 30.0)
}

/// A contact point: along, across, what the run is called.
type Point = (f64, f64, Outcome);
/// Heights at the stations and contact points of a block of runs.
type Flown = (Vec<[f32; STATIONS]>, Vec<Point>);

/// The band of flights and the contact points.
fn flights(model: &Model, results: &Results, seed: u64, count: usize) -> (Vec<[f64; 4]>, Vec<Point>) {
    let setup = &model.setups[0];
    let steps = model.steps(&[&model.uncertainty]);
    let first_x = setup.takeoff().release(1.0_f32).x_m;
    let last_x = far_m(setup, results) as f32;
    let station = |i: usize| first_x + (last_x - first_x) * i as f32 / (STATIONS - 1) as f32;
    let blocks: Vec<Flown> = (0..count)
        .into_par_iter()
        .map(|block| {
            let mut drawn = [[0.0_f32; DRAWN]; COUNT];
            draw_tries((block * DRAWN) as u64, seed, &model.uncertainty, &mut drawn);
            let mut heights = Vec::with_capacity(DRAWN);
            let mut points = Vec::with_capacity(DRAWN);
            for lane in 0..DRAWN {
                let deviations = drawn.each_ref().map(|list| list[lane]);
                let inputs: Inputs<f32> = model.uncertainty.at(&deviations);
                let end = setup.ride::<f32, false>(&inputs, &steps, |_| {});
                let run = setup.run_from(&end, &inputs, &steps);
                let outcome = run.outcome(setup.bag(), 0);
                points.push((f64::from(run.along_m), f64::from(run.across_m), outcome));
                if end.stalled || end.left {
                    continue;
                }
                let mut row = [f32::NEG_INFINITY; STATIONS];
                let mut next = 0;
                let mut before: Option<Motion<f32>> = None;
                follow(&setup.release(end.speed_mps, &inputs), &setup.drag(&inputs), STEP_S, |motion| {
                    let here = motion.place_m;
                    while next < STATIONS && station(next) <= here[0] {
                        row[next] = before.map_or(here[2], |before| {
                            let there = before.place_m;
                            let share = (station(next) - there[0]) / (here[0] - there[0]);
                            there[2] + share * (here[2] - there[2])
                        });
                        next += 1;
                    }
                    before = Some(*motion);
                    next >= STATIONS
                });
                heights.push(row);
            }
            (heights, points)
        })
        .collect();
    let rows: Vec<&[f32; STATIONS]> = blocks.iter().flat_map(|(heights, _)| heights).collect();
    let mut band = Vec::new();
    if rows.len() * 10 >= count * DRAWN * 9 {
        for i in 0..STATIONS {
            let mut list: Vec<f32> = rows.iter().map(|row| row[i]).collect();
            list.sort_unstable_by(f32::total_cmp);
            let at = |share: f64| f64::from(list[((list.len() - 1) as f64 * share).round() as usize]);
            // A run that does not come so far is below all that do.
            let figures = [at(0.000_5), at(0.5), at(0.999_5)];
            if figures[2].is_finite() {
                let [low, half, high] = figures.map(|z| z.max(BELOW_M));
                band.push([f64::from(station(i)), low, half, high]);
            }
        }
    }
    (band, blocks.into_iter().flat_map(|(_, points)| points).collect())
}

/// Height of the take-off's face at a place before the lip: R − √(R² − x²), x from the foot; 0 before the foot.
pub fn face_z(setup: &Setup, x: f64) -> f64 {
    let radius_m = f64::from(setup.takeoff().radius_m());
    let from_foot_m = (x + f64::from(setup.takeoff().base_m())).max(0.0);
    radius_m - (radius_m * radius_m - from_foot_m * from_foot_m).max(0.0).sqrt()
}

/// The flights of the short zone's lip speeds, as the lowest point of rider and bike.
fn short(model: &Model, results: &Results) -> Vec<Vec<(f64, f64)>> {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean().with(Uncertain::LipSpeed, 0.0);
    let bag = &setup.bag();
    let low = f64::from(inputs.get(Uncertain::ContactHeight));
    let ground = f64::from(bag.base_level_m());
    let runs = results.placement.short_zone.iter();
    runs.map(|row| {
        let speed = row.lip_speed_mps as f32;
        let cleared = short_run(setup, &inputs, speed).height_at_gap_m + bag.base_level_m() > bag.front_z_m();
        let mut list = Vec::new();
        follow(&setup.release(speed, &inputs), &setup.drag(&inputs), 0.01, |motion| {
            let (x, z) = (f64::from(motion.place_m[0]), f64::from(motion.place_m[2]) - low);
            let front = x >= f64::from(bag.gap_m()) && !cleared;
            let top = x >= f64::from(bag.gap_m())
                && z <= f64::from(bag.front_z_m()) + f64::from(bag.climb()) * (x - f64::from(bag.gap_m()));
            let below = if x <= 0.0 { face_z(setup, x) } else { ground };
            list.push((x, z.max(below)));
            front || top || z <= below || x > f64::from(bag.gap_m()) + 3.0
        });
        // The wheels leave from the lip's edge; what is met is met by the lowest point below the centre of mass.
        if let Some(first) = list.first().copied() {
            let lip = f64::from(setup.takeoff().height_m());
            let last = (list.len() - 1).max(1) as f64;
            for (i, place) in list.iter_mut().enumerate() {
                let left = 1.0 - i as f64 / last;
                let x = place.0 - left * first.0;
                let below = if x <= 0.0 { face_z(setup, x) } else { ground };
                *place = (x, (place.1 - left * (first.1 - lip)).max(below));
            }
        }
        list
    })
    .collect()
}
