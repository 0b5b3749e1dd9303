//! The ground that a site stands on: whether it fits, what to dig, what is near, how to set it out.
//!
//! The geometry is that of `landfall_ground`; here a site's values become its inputs.
//!
//! # Settled here
//! - **Ground**: heights hold all across; beyond the profile the ground goes on level. A rider on platform and
//!   roll-in reaches 2.3 m up, in the air 1.2 m up and down and 1 m to the sides of the centre of mass (*assumed*);
//!   the band is the hull of 256 drawn runs of each rider. An obstacle stands on the highest ground along it, a wire
//!   hangs over the lowest. Distances are to boxes that hold what lies between two places, so that none is
//!   overstated. What is spare at one end helps the other, since all of it can be moved.
//! - **Run-out behind the bag**: what the 99.9 % landing has left to slide past the back edge; on a top that falls,
//!   braking from the speed of riding out, the reaction before it.

pub mod cures;
pub mod pictures;
pub mod said;
pub mod text;

use crate::plan::error::PlanError;
use crate::plan::model::Model;
use crate::plan::results::Results;
use crate::shown::Shown;
use crate::site::Site;
use landfall_core::flight::step;
use landfall_core::inputs::{COUNT, Inputs, Uncertain};
use landfall_core::path::Shape;
use landfall_core::ride::Steps as RideSteps;
use landfall_core::run::Setup;
use landfall_ground::clearance::{Body, Clearance, Slice, clearances};
use landfall_ground::earth::{Pad, Strip, balanced, least_digging, pad};
use landfall_ground::fit::{Fit, fit};
use landfall_ground::set_out::{Tape, set_out, usual_pegs};
use landfall_ground::supports::{Steps, Support, steps, supports};
use landfall_ground::water::{Water, water};
use landfall_ground::{BagBox, Ground, Layout, Profile};
use landfall_sampling::random::{DRAWN, draw_tries};
use serde::Serialize;

/// Kept free of everything round the bag where the site states nothing (*assumed*).
pub const FALL_ZONE_M: f64 = 2.0;
/// Length of the platform where the site states none: that of the build sheet.
pub const PLATFORM_M: f64 = 2.4;
/// Wanted to what stands near where the site states nothing (*assumed*).
pub const CLEARANCE_M: f64 = 1.5;
/// Wanted to what hangs near where the site states nothing (*assumed*: of a power line its owner says how much).
pub const WIRE_CLEARANCE_M: f64 = 3.0;
/// Most between two rows of legs: a sheet's width (*assumed*).
pub const BAY_M: f64 = 1.22;
/// Highest rise of a step up to the platform (*assumed*).
pub const RISE_M: f64 = 0.25;
/// Run of a bank for each metre of its height (*assumed*: earth that stands by itself).
pub const BANK: f64 = 1.5;
/// Dug wider than the bag on each side, to work (*assumed*).
pub const WORKING_M: f64 = 0.5;
/// What rider and bike reach up, down and to the sides from their centre of mass in the air (*assumed*).
const REACH_M: [f64; 3] = [1.2, 1.2, 1.0];
/// What a rider on the platform or on the way down reaches up from the deck, an arm raised (*assumed*).
const STANDING_M: f64 = 2.3;
/// Drawn runs behind the band of flights, of each rider.
const RUNS: usize = 256;
/// Between two places of the band.
const STATION_M: f64 = 0.25;
/// Time between two steps of a drawn flight.
const STEP_S: f32 = 0.02;

/// What is known of the ground and of what stands on it. Units: m, m³, radians.
#[derive(Clone, Debug, Serialize)]
pub struct Look {
    /// Name of the site.
    pub site: String,
    /// Version of the program.
    pub version: String,
    /// Values that the site file leaves out, as words.
    pub assumed: Vec<String>,
    /// Room along and across.
    pub fit: Fit,
    /// Where a rider who comes off the bag's back needs room behind it.
    pub run_out_m: f64,
    /// Heights over the ground, from the platform's back to the take-off's foot.
    pub supports: Vec<Support>,
    /// Up to the platform; null where it is no higher than the ground.
    pub steps: Option<Steps>,
    /// Earth under the take-off, level at its foot.
    pub takeoff_earth: Pad,
    /// Earth under the bag at its stated level.
    pub bag_earth: Pad,
    /// The level under the bag with the least earth moved.
    pub bag_least: Pad,
    /// The level under the bag at which what is dug away is what is brought in.
    pub bag_balanced: Pad,
    /// Where water stands under the bag.
    pub water: Water,
    /// The nearest of everything, what is missing first.
    pub clearances: Vec<Clearance>,
    /// Pegs A and B, as along and across.
    pub pegs_m: [(f64, f64); 2],
    /// Every corner by two tapes held level.
    pub tapes: Vec<Tape>,
    /// What it stands on.
    #[serde(skip)]
    pub ground: Ground,
    /// What is built.
    #[serde(skip)]
    pub layout: Layout,
    /// The band of flights.
    #[serde(skip)]
    pub band: Vec<Slice>,
    /// The mean flight of the centre of mass.
    #[serde(skip)]
    pub flight: Vec<(f64, f64)>,
    /// In which units its text stands.
    #[serde(skip)]
    pub shown: Shown,
}

/// The ground as the geometry takes it.
#[must_use]
pub fn ground_of(site: &Site) -> Ground {
    let g = &site.ground;
    Ground {
        // The reader has refused what is no profile.
        profile: Profile::new(g.profile.clone()).ok(),
        width_m: g.width_m,
        middle_m: g.middle_m.unwrap_or(0.0),
        edge_ahead_m: g.edge_m,
        edge_behind_m: g.edge_behind_m,
        obstacles: g.obstacles.iter().map(Into::into).collect(),
    }
}

/// What is built, without the run-out.
#[must_use]
pub fn layout_of(site: &Site, setup: &Setup) -> Layout {
    let bag = &site.bag;
    Layout {
        surface: surface(setup),
        foot_x_m: -f64::from(setup.takeoff().base_m()),
        platform_m: site.ground.platform_m.unwrap_or(PLATFORM_M),
        roll_in_width_m: site.takeoff.width_m,
        takeoff_width_m: site.takeoff.width_m,
        bag: BagBox {
            gap_m: f64::from(setup.bag().gap_m()),
            length_m: bag.length_m,
            width_m: bag.width_m,
            offset_m: bag.offset_m,
            base_level_m: bag.base_level_m,
            front_height_m: bag.front_height_m,
            back_height_m: bag.back_height_m,
        },
        fall_zone_m: site.ground.fall_zone_m.unwrap_or(FALL_ZONE_M),
        run_out_m: 0.0,
    }
}

/// Places of the ridden surface from the start to the lip; of an arc one for each 3° or so.
#[must_use]
pub fn surface(setup: &Setup) -> Vec<(f64, f64)> {
    let foot_x = -f64::from(setup.takeoff().base_m());
    let mut back: Vec<(f64, f64)> = vec![(foot_x, 0.0)];
    let mut end = (foot_x, 0.0);
    for segment in setup.path().segments().iter().rev() {
        let length = f64::from(segment.length_m);
        match segment.shape {
            Shape::Straight { sin_up, cos } => {
                end = (end.0 - length * f64::from(cos), end.1 - length * f64::from(sin_up));
                back.push(end);
            }
            Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
                let (radius, turn) = (f64::from(radius_m), f64::from(turn_rad));
                let first = f64::from(sin0).atan2(f64::from(cos0));
                let bend = turn.signum() * radius;
                let at = |angle: f64| {
                    let last = first + turn;
                    (end.0 - bend * (last.sin() - angle.sin()), end.1 - bend * (angle.cos() - last.cos()))
                };
                let parts = (turn.abs() / 0.05).ceil().max(1.0) as usize;
                back.extend((0..parts).rev().map(|i| at(first + turn * i as f64 / parts as f64)));
                end = at(first);
            }
        }
    }
    back.reverse();
    let (radius, lip) = (f64::from(setup.takeoff().radius_m()), f64::from(setup.takeoff().lip_rad()));
    let parts = (lip / 0.05).ceil().max(1.0) as usize;
    back.extend((1..=parts).map(|i| {
        let angle = lip * i as f64 / parts as f64;
        (foot_x + radius * angle.sin(), radius * (1.0 - angle.cos()))
    }));
    back
}

/// Level room behind the bag's back edge for whoever comes off it fastest: what is left to slide, or braking from the
/// speed of riding out.
fn run_out_m(site: &Site, results: Option<&Results>) -> f64 {
    let Some(results) = results else { return 0.0 };
    let Some(touch) = results.touchdown.as_ref() else { return 0.0 };
    let far_m = results.spread.sampling.as_ref().and_then(|s| s.along_p999_m.get());
    let slides_m = far_m.zip(touch.run_out_m.get()).map(|(far, out)| far + out - site.bag.length_m);
    let rides_m = touch
        .ride_out_mps
        .get()
        .map(|speed| speed * site.rider.reaction_s + speed * speed / (2.0 * site.rider.braking * 9.806_65));
    slides_m.into_iter().chain(rides_m).fold(0.0, f64::max)
}

/// Looks at the ground of a site whose `bag.gap` is stated, with its plan where there is one.
///
/// # Errors
/// [`PlanError`].
pub fn look(site: &Site, results: Option<&Results>, pegs_m: Option<[(f64, f64); 2]>) -> Result<Look, PlanError> {
    let model = Model::new(site)?;
    let ground = ground_of(site);
    let mut layout = layout_of(site, &model.setups[0]);
    layout.run_out_m = run_out_m(site, results);
    let (band, flight) = flights(&model, site.spread.seed);
    let stated = &site.ground;
    let level = Profile::level(layout.back_x_m(), layout.end_x_m(), 0.0);
    let profile = ground.profile.as_ref().unwrap_or(&level);
    let along_m = layout.bag.along_m();
    let strip = |width_m: f64| Strip { width_m: width_m + 2.0 * WORKING_M, bank: BANK };
    let under_bag = strip(layout.bag.width_m);
    let pegs_m = pegs_m.unwrap_or_else(|| usual_pegs(&layout, &ground));
    let bodies = bodies(&layout, &ground, &band);
    Ok(Look {
        site: site.site.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        assumed: assumed(site),
        fit: fit(&layout, &ground),
        run_out_m: layout.run_out_m,
        supports: supports(&layout, &ground, BAY_M),
        steps: steps(&layout, &ground, RISE_M),
        takeoff_earth: pad(0.0, (layout.foot_x_m, 0.0), profile, &strip(layout.takeoff_width_m)),
        bag_earth: pad(layout.bag.base_level_m, along_m, profile, &under_bag),
        bag_least: least_digging(along_m, profile, &under_bag),
        bag_balanced: balanced(along_m, profile, &under_bag),
        water: water(&layout, &ground),
        clearances: clearances(
            &bodies,
            &ground,
            stated.clearance_m.unwrap_or(CLEARANCE_M),
            stated.wire_clearance_m.unwrap_or(WIRE_CLEARANCE_M),
        ),
        tapes: set_out(&layout, pegs_m),
        pegs_m,
        ground,
        layout,
        band,
        flight,
        shown: Shown::of(site),
    })
}

/// What the site leaves out and is assumed here.
fn assumed(site: &Site) -> Vec<String> {
    let (g, u) = (&site.ground, Shown::of(site));
    let near = crate::shown::Toward::Nearest;
    let mut list = Vec::new();
    let mut say = |stated: bool, words: String| {
        if !stated {
            list.push(words);
        }
    };
    say(!g.profile.is_empty(), "level ground at the take-off's foot".to_owned());
    say(g.platform_m.is_some(), format!("a platform {} long", u.length(PLATFORM_M, near)));
    say(g.fall_zone_m.is_some(), format!("{} free round the bag", u.length(FALL_ZONE_M, near)));
    if !g.obstacles.is_empty() {
        say(g.clearance_m.is_some(), format!("{} to what stands near", u.length(CLEARANCE_M, near)));
        say(g.wire_clearance_m.is_some(), format!("{} to what hangs near", u.length(WIRE_CLEARANCE_M, near)));
        list.push(format!(
            "riders reach {} up and down and {} to the sides from their centre of mass",
            u.length(REACH_M[0], near),
            u.length(REACH_M[2], near)
        ));
    }
    list.push(format!(
        "legs at most {} apart, steps at most {} high, banks {BANK} out for each 1 up, {} more than bag and take-off on each side to work",
        u.length(BAY_M, near),
        u.small(RISE_M, near),
        u.length(WORKING_M, near)
    ));
    list
}

/// The band of flights by what riders and bikes take up, and the mean flight of the centre of mass.
fn flights(model: &Model, seed: u64) -> (Vec<Slice>, Vec<(f64, f64)>) {
    let mean = &model.setups[0];
    let flight: Vec<(f64, f64)> =
        followed(mean, &model.uncertainty.at_mean()).iter().map(|place| (place[0], place[2])).collect();
    let mut slices: Vec<Slice> = Vec::new();
    let mut take = |path: &[[f64; 3]]| {
        let mut next = path.first().map_or(0, |p| (p[0] / STATION_M).ceil() as i64);
        for pair in path.windows(2) {
            let [a, b] = pair else { continue };
            while (next as f64) * STATION_M <= b[0] {
                let x_m = next as f64 * STATION_M;
                let share = ((x_m - a[0]) / (b[0] - a[0]).max(1e-9)).clamp(0.0, 1.0);
                let (y, z) = (a[1] + share * (b[1] - a[1]), a[2] + share * (b[2] - a[2]));
                match slices.iter_mut().find(|slice| (slice.x_m - x_m).abs() < 1e-6) {
                    Some(slice) => {
                        slice.y_m = (slice.y_m.0.min(y), slice.y_m.1.max(y));
                        slice.z_m = (slice.z_m.0.min(z), slice.z_m.1.max(z));
                    }
                    None => slices.push(Slice { x_m, y_m: (y, y), z_m: (z, z) }),
                }
                next += 1;
            }
        }
    };
    for rider in model.distinct() {
        let setup = &model.setups[rider];
        for block in 0..RUNS / DRAWN {
            let mut drawn = [[0.0_f32; DRAWN]; COUNT];
            draw_tries((block * DRAWN) as u64, seed, &model.uncertainty, &mut drawn);
            for lane in 0..DRAWN {
                let deviations = drawn.each_ref().map(|list| list[lane]);
                take(&followed(setup, &model.uncertainty.at(&deviations)));
            }
        }
    }
    slices.sort_by(|a, b| a.x_m.total_cmp(&b.x_m));
    for slice in &mut slices {
        slice.y_m = (slice.y_m.0 - REACH_M[2], slice.y_m.1 + REACH_M[2]);
        slice.z_m = (slice.z_m.0 - REACH_M[1], slice.z_m.1 + REACH_M[0]);
    }
    (slices, flight)
}

/// Places of a flight until it comes down on the bag, or beside it to the ground.
fn followed(setup: &Setup, inputs: &Inputs<f32>) -> Vec<[f64; 3]> {
    let end = setup.ride::<f32, false>(inputs, &RideSteps::FINE, |_| {});
    if end.stalled || end.left {
        return Vec::new();
    }
    let (bag, drag) = (&setup.bag(), setup.drag(inputs));
    let contact_m = inputs.get(Uncertain::ContactHeight);
    let mut motion = setup.release(end.speed_mps, inputs);
    let mut path = Vec::new();
    for _ in 0..600 {
        let [x, y, z] = motion.place_m;
        path.push([x, y, z].map(f64::from));
        let along = x - bag.gap_m();
        let over_bag = along >= 0.0 && along <= bag.length_m();
        let under = if over_bag { bag.front_z_m() + along * bag.climb() } else { bag.base_level_m() };
        if motion.velocity_mps[2] < 0.0 && z - contact_m <= under {
            break;
        }
        motion = step(&motion, STEP_S, &drag);
    }
    path
}

fn bodies(layout: &Layout, ground: &Ground, band: &[Slice]) -> Vec<Body> {
    let half_m = layout.roll_in_width_m.max(layout.takeoff_width_m) / 2.0;
    let mut riding = vec![layout.back_x_m()];
    riding.extend(layout.surface.iter().map(|p| p.0));
    let on_deck = |x_m: f64| {
        let z = layout.surface_m(x_m).unwrap_or(0.0);
        Slice { x_m, y_m: (-half_m, half_m), z_m: (z, z + STANDING_M) }
    };
    let (from, to) = layout.bag.along_m();
    let across = layout.bag.across_m();
    let at_bag = |x_m: f64| {
        let low = layout.bag.base_level_m.min(ground.height_m(x_m));
        Slice { x_m, y_m: across, z_m: (low, layout.bag.top_m(x_m)) }
    };
    vec![
        Body { name: "the flights", slices: band.to_vec() },
        Body { name: "riders on platform and roll-in", slices: riding.into_iter().map(on_deck).collect() },
        Body { name: "the bag", slices: vec![at_bag(from), at_bag(to)] },
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Parts, compute};
    use crate::site::{demo, demo_text, read_site};
    use landfall_sampling::Stop;

    #[test]
    fn the_surface_is_the_ride() {
        for sections in [false, true] {
            let mut text = demo_text().to_owned();
            if sections {
                let list = "section = [{straight = \"8 m\", slope = \"30 deg\"}, {arc = \"7 m\", turn = \"38 deg\"}, {arc = \"6 m\", turn = \"-8 deg\"}, {straight = \"3 m\"}]";
                // 8 sin 30° + 7 (1 − cos 30°) − 7 (1 − cos 8°) − 6 (1 − cos 8°).
                text = text.replace("start_height = \"6.0 m\"", "start_height = \"4.811 m\"");
                text = text.replace("slope = \"35 deg\"\n", "").replace("flat_run = \"4 m\"\n", "");
                text = text.replace("bottom_radius = \"6 m\"", list);
            }
            let site = read_site(&text, "t.toml").unwrap_or_else(|faults| panic!("{faults}"));
            let setup = &Model::new(&site).unwrap().setups[0];
            let line = surface(setup);
            let long: f64 = line.windows(2).map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1)).sum();
            let core = f64::from(setup.path().length_m() + setup.takeoff().face_m());
            // Chords of 3° are shorter than their arcs by a ten-thousandth.
            assert!((long / core - 1.0).abs() < 2e-4, "{long} {core}");
            let (first, last) = (line[0], line[line.len() - 1]);
            assert!((first.1 - f64::from(setup.path().start_height_m())).abs() < 1e-5, "{first:?}");
            assert!(last.0.abs() < 1e-5 && (last.1 - f64::from(setup.takeoff().height_m())).abs() < 1e-5, "{last:?}");
            assert!(line.windows(2).all(|p| p[1].0 > p[0].0 - 1e-9));
        }
    }

    #[test]
    fn the_band_holds_the_mean_flight_and_a_site_without_ground_says_nothing() {
        let site = demo();
        let looked = look(&site, None, None).unwrap();
        assert!(looked.band.len() > 10 && looked.flight.len() > 10);
        for slice in &looked.band {
            let z = landfall_ground_height(&looked.flight, slice.x_m);
            assert!(z.is_none_or(|z| slice.z_m.0 <= z && z <= slice.z_m.1), "{slice:?} {z:?}");
        }
        assert!(looked.clearances.is_empty() && looked.fit.missing().is_empty());
        let quick = compute(&site, Parts { ground: true, ..Parts::QUICK }, &Stop::default()).unwrap();
        assert!(quick.findings.iter().all(|finding| finding.topic != crate::plan::results::About::Land));
    }

    fn landfall_ground_height(line: &[(f64, f64)], x: f64) -> Option<f64> {
        line.windows(2).find(|p| p[0].0 <= x && x <= p[1].0).map(|p| {
            let share = (x - p[0].0) / (p[1].0 - p[0].0).max(1e-9);
            p[0].1 + share * (p[1].1 - p[0].1)
        })
    }
}
