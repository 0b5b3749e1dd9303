//! Twelve plausible bags under one ramp and its riders: what each comes to unmeasured, from where it may be ridden until it
//! is measured, and what it comes to once it is measured to what was assumed.
//!
//! Well-fed bags are inside or wait for the measurement alone; weakly fed and shallow ones are a stop, measured or not. The
//! expected verdicts and marks are this program's own, kept so that a change of them is seen; that a mark is the highest
//! clear one is checked by planning it, and the next higher one, for themselves.
#![allow(clippy::panic)]

use landfall::box_side::arm::NEEDED;
use landfall::plan::compute;
use landfall::plan::results::{Results, Standing};
use landfall::sampling::Stop;
use landfall::site::{Site, read_site};
use rayon::prelude::*;

/// Blower curves: a usual one, one of high pressure, a weak one.
const USUAL: &str = r#"[["1.10 m3/s", "0 Pa"], ["0.95 m3/s", "0.4 kPa"], ["0.75 m3/s", "0.8 kPa"], ["0.50 m3/s", "1.2 kPa"], ["0.20 m3/s", "1.5 kPa"], ["0 m3/s", "1.7 kPa"]]"#;
const HIGH: &str = r#"[["1.3 m3/s", "0 Pa"], ["1.2 m3/s", "1.0 kPa"], ["1.0 m3/s", "2.0 kPa"], ["0.6 m3/s", "2.8 kPa"], ["0 m3/s", "3.2 kPa"]]"#;
const WEAK: &str = r#"[["0.8 m3/s", "0 Pa"], ["0.6 m3/s", "0.3 kPa"], ["0.3 m3/s", "0.6 kPa"], ["0 m3/s", "0.8 kPa"]]"#;

/// A bag: height m, vents cm², leak, maker's range kPa, blowers, curve; verdict unmeasured, first-day mark in cm, verdict
/// measured.
struct Bag {
    name: &'static str,
    height_m: f64,
    vents_cm2: u32,
    leak: f64,
    range_kpa: (f64, f64),
    blowers: (u32, &'static str),
    unmeasured: Standing,
    mark_cm: Option<i64>,
    measured: Standing,
}

const fn bag(
    name: &'static str,
    (height_m, vents_cm2, leak, range_kpa): (f64, u32, f64, (f64, f64)),
    blowers: (u32, &'static str),
    (unmeasured, mark_cm, measured): (Standing, Option<i64>, Standing),
) -> Bag {
    Bag { name, height_m, vents_cm2, leak, range_kpa, blowers, unmeasured, mark_cm, measured }
}

use Standing::{Inside, Outside, Provisional};

const BAGS: [Bag; 12] = [
    bag("firm, 2.9 kPa", (2.4, 50, 0.004, (1.2, 3.0)), (2, HIGH), (Inside, None, Inside)),
    bag("firm and taller", (2.6, 80, 0.004, (1.0, 3.0)), (2, HIGH), (Inside, None, Inside)),
    bag("two blowers", (2.2, 100, 0.010, (0.7, 1.5)), (2, USUAL), (Provisional, Some(450), Inside)),
    bag("three blowers, more vent", (2.2, 200, 0.010, (0.7, 1.6)), (3, USUAL), (Provisional, Some(475), Inside)),
    bag("one blower of high pressure", (2.4, 300, 0.006, (0.7, 1.8)), (1, HIGH), (Provisional, Some(475), Inside)),
    bag("tall", (2.6, 150, 0.012, (0.6, 1.6)), (2, USUAL), (Provisional, Some(510), Inside)),
    bag("tall, three blowers", (2.7, 300, 0.012, (0.5, 1.6)), (3, USUAL), (Provisional, Some(515), Inside)),
    bag("lower, little vent", (2.0, 60, 0.008, (0.8, 1.6)), (2, USUAL), (Provisional, Some(425), Inside)),
    bag("one weak fan", (2.2, 100, 0.010, (0.3, 1.0)), (1, WEAK), (Outside, None, Outside)),
    bag("much vent", (2.2, 2_500, 0.010, (0.3, 1.0)), (2, USUAL), (Outside, None, Outside)),
    bag("shallow", (1.2, 100, 0.008, (0.7, 1.6)), (2, USUAL), (Outside, None, Outside)),
    bag("shallow and weakly fed", (1.5, 400, 0.010, (0.5, 1.4)), (1, USUAL), (Outside, None, Outside)),
];

impl Bag {
    fn site(&self, measured: bool, start: &str) -> Site {
        let (knots, unknown) = if measured {
            // The assumed area itself: 0.5 m² + 6 m x, to 4 m².
            (
                "area = [[\"0.1 m\", \"1.1 m2\"], [\"0.58333 m\", \"4 m2\"]]",
                "[unknown]\narea = 0.15\nskin_stretch = 0.15",
            )
        } else {
            ("", "")
        };
        let Self { name, height_m, vents_cm2, leak, range_kpa: (low, high), blowers: (count, curve), .. } = self;
        let text = format!(
            "[site]\nname = \"{name}\"\naltitude = \"420 m\"\nair_temperature = \"16 degC\"\n\
             [rider]\nmass = \"78 kg\"\nlightest = \"62 kg\"\nheaviest = \"95 kg\"\n\
             [roll_in]\nstart_height = \"{start}\"\nslope = \"35 deg\"\nbottom_radius = \"6 m\"\nflat_run = \"4 m\"\n\
             [takeoff]\nheight = \"8 ft\"\nradius = \"15 ft\"\n\
             [bag]\nlength = \"14 m\"\nwidth = \"9 m\"\nfront_height = \"{height_m} m\"\nback_height = \"{height_m} m\"\n\
             gap = \"0.2 m\"\nedge_front = \"0.5 m\"\nvent_area = \"{vents_cm2} cm2\"\nleak_coefficient = {leak}\n\
             pressure_min = \"{low} kPa\"\npressure_max = \"{high} kPa\"\n{knots}\n\
             [blower]\ncount = {count}\ncurve = {curve}\n[session]\ninterval = \"25 s\"\n[anchors]\ncount = 30\n\
             [spread]\nsamples = 20000\n{unknown}\n"
        );
        read_site(&text, name).unwrap_or_else(|faults| panic!("{name}: {faults}"))
    }
}

fn planned(site: &Site) -> Results {
    compute(site, NEEDED, &Stop::default()).unwrap_or_else(|error| panic!("{}: {error}", site.site.name))
}

#[test]
fn twelve_bags_unmeasured_from_the_first_day_mark_and_measured() {
    let rows: Vec<(String, bool)> = BAGS
        .par_iter()
        .map(|bag| {
            let unmeasured = planned(&bag.site(false, "6 m"));
            let measured = planned(&bag.site(true, "6 m"));
            let mark_m = unmeasured.pressures.first_day_start_m();
            let mark_cm = mark_m.map(|m| (100.0 * m).round() as i64);
            let found = (unmeasured.verdict.standing, mark_cm, measured.verdict.standing);
            if let Some(mark_m) = mark_m {
                // Planned for itself, nothing of the bag stands in the way from the mark, and something does 5 cm higher.
                let clear = |start_m: f64| {
                    let there = planned(&bag.site(false, &format!("{start_m:.2} m")));
                    there.pressures.provisional.is_none()
                };
                assert!(clear(mark_m), "{}: not clear from {mark_m}", bag.name);
                assert!(!clear(mark_m + 0.05), "{}: clear above {mark_m}", bag.name);
            }
            let row = format!(
                "{:<28} {:>6.0} Pa  {:<12} {:>5}  {:?}",
                bag.name,
                unmeasured.air.operating_pressure_pa,
                format!("{:?}", found.0),
                mark_cm.map_or_else(|| "-".to_owned(), |cm| format!("{:.2}", cm as f64 / 100.0)),
                found.2
            );
            (row, found == (bag.unmeasured, bag.mark_cm, bag.measured))
        })
        .collect();
    let table: Vec<&str> = rows.iter().map(|(row, _)| row.as_str()).collect();
    println!("{}", table.join("\n"));
    let off: Vec<&str> = rows.iter().filter(|(_, same)| !same).map(|(row, _)| row.as_str()).collect();
    assert!(off.is_empty(), "these came out otherwise:\n{}", off.join("\n"));
}
