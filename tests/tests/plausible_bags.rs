//! Twelve plausible bags under one ramp and its riders: what each comes to unmeasured, from where it may be ridden until it
//! is measured, and what it comes to once it is measured to what was assumed.
//!
//! What is expected follows from the kind of bag alone: well-fed bags are inside or wait for the measurement alone; weakly
//! fed and shallow ones are a stop, measured or not. Of which kind a bag is follows from its thickness and the pressure at
//! which it rests. That a mark is the highest clear one is checked by planning it, and the next higher one, for themselves.
#![allow(clippy::panic)]

use landfall_box::arm::NEEDED;
use landfall_plan::plan::compute;
use landfall_plan::plan::results::{Results, Standing};
use landfall_plan::site::{Site, read_site};
use landfall_sampling::Stop;
use rayon::prelude::*;

/// Blower curves: a usual one, one of high pressure, a weak one.
const USUAL: &str = r#"[["1.10 m3/s", "0 Pa"], ["0.95 m3/s", "0.4 kPa"], ["0.75 m3/s", "0.8 kPa"], ["0.50 m3/s", "1.2 kPa"], ["0.20 m3/s", "1.5 kPa"], ["0 m3/s", "1.7 kPa"]]"#;
const HIGH: &str = r#"[["1.3 m3/s", "0 Pa"], ["1.2 m3/s", "1.0 kPa"], ["1.0 m3/s", "2.0 kPa"], ["0.6 m3/s", "2.8 kPa"], ["0 m3/s", "3.2 kPa"]]"#;
const WEAK: &str = r#"[["0.8 m3/s", "0 Pa"], ["0.6 m3/s", "0.3 kPa"], ["0.3 m3/s", "0.6 kPa"], ["0 m3/s", "0.8 kPa"]]"#;

/// What kind of bag it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// 2 m thick or more, resting over 0.8 kPa.
    WellFed,
    /// Resting under 0.6 kPa.
    WeaklyFed,
    /// Thinner than 1.6 m.
    Shallow,
}

impl Kind {
    /// The kind of a bag by its thickness and the pressure at which it rests.
    fn of(height_m: f64, rests_pa: f64) -> Option<Self> {
        match (height_m, rests_pa) {
            (..1.6, _) => Some(Self::Shallow),
            (2.0.., 800.0..) => Some(Self::WellFed),
            (_, ..600.0) => Some(Self::WeaklyFed),
            _ => None,
        }
    }
}

/// A bag: height m, vents cm², leak, maker's range kPa, blowers, curve; its kind.
struct Bag {
    name: &'static str,
    height_m: f64,
    vents_cm2: u32,
    leak: f64,
    range_kpa: (f64, f64),
    blowers: (u32, &'static str),
    kind: Kind,
}

const fn bag(
    name: &'static str,
    (height_m, vents_cm2, leak, range_kpa): (f64, u32, f64, (f64, f64)),
    blowers: (u32, &'static str),
    kind: Kind,
) -> Bag {
    Bag { name, height_m, vents_cm2, leak, range_kpa, blowers, kind }
}

use Kind::{Shallow, WeaklyFed, WellFed};
use Standing::{Inside, Outside, Provisional};

const BAGS: [Bag; 12] = [
    bag("firm, 2.9 kPa", (2.4, 50, 0.004, (1.2, 3.0)), (2, HIGH), WellFed),
    bag("firm and taller", (2.6, 80, 0.004, (1.0, 3.0)), (2, HIGH), WellFed),
    bag("two blowers", (2.2, 100, 0.010, (0.7, 1.5)), (2, USUAL), WellFed),
    bag("three blowers, more vent", (2.2, 200, 0.010, (0.7, 1.6)), (3, USUAL), WellFed),
    bag("one blower of high pressure", (2.4, 300, 0.006, (0.7, 1.8)), (1, HIGH), WellFed),
    bag("tall", (2.6, 150, 0.012, (0.6, 1.6)), (2, USUAL), WellFed),
    bag("tall, three blowers", (2.7, 300, 0.012, (0.5, 1.6)), (3, USUAL), WellFed),
    bag("lower, little vent", (2.0, 60, 0.008, (0.8, 1.6)), (2, USUAL), WellFed),
    bag("one weak fan", (2.2, 100, 0.010, (0.3, 1.0)), (1, WEAK), WeaklyFed),
    bag("much vent", (2.2, 2_500, 0.010, (0.3, 1.0)), (2, USUAL), WeaklyFed),
    bag("shallow", (1.2, 100, 0.008, (0.7, 1.6)), (2, USUAL), Shallow),
    bag("shallow and weakly fed", (1.5, 400, 0.010, (0.5, 1.4)), (1, USUAL), Shallow),
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
    let rows: Vec<(String, Standing, Vec<String>)> = BAGS
        .par_iter()
        .map(|bag| {
            let unmeasured = planned(&bag.site(false, "6 m"));
            let measured = planned(&bag.site(true, "6 m"));
            let mark_m = unmeasured.pressures.first_day_start_m();
            let (now, then) = (unmeasured.verdict.standing, measured.verdict.standing);
            let rests_pa = unmeasured.air.operating_pressure_pa;
            let mut faults = Vec::new();
            let mut expect = |so: bool, what: &str| {
                if !so {
                    faults.push(format!("{}: {what}", bag.name));
                }
            };
            expect(Kind::of(bag.height_m, rests_pa) == Some(bag.kind), "is of another kind");
            match bag.kind {
                WellFed => {
                    expect(then == Inside, "well fed, and not inside once it is measured to what was assumed");
                    expect(matches!(now, Inside | Provisional), "well fed, and a stop until it is measured");
                    expect((now == Provisional) == mark_m.is_some(), "provisional without a mark, or inside with one");
                }
                WeaklyFed | Shallow => {
                    expect((now, then) == (Outside, Outside), "weakly fed or shallow, and no stop");
                    expect(mark_m.is_none(), "a mark for a bag that measuring does not mend");
                }
            }
            if let Some(mark_m) = mark_m {
                // Planned for itself, nothing of the bag stands in the way from the mark, and something does 5 cm higher.
                let clear = |start_m: f64| {
                    let there = planned(&bag.site(false, &format!("{start_m:.2} m")));
                    there.pressures.provisional.as_ref().is_none()
                };
                expect(mark_m < 6.0, "a mark that is no lower than the start");
                expect(clear(mark_m), "not clear from its mark");
                expect(!clear(mark_m + 0.05), "clear above its mark");
            }
            let row = format!(
                "{:<28} {rests_pa:>6.0} Pa  {:<12} {:>5}  {then:?}",
                bag.name,
                format!("{now:?}"),
                mark_m.map_or_else(|| "-".to_owned(), |m| format!("{m:.2}")),
            );
            (row, now, faults)
        })
        .collect();
    let table: Vec<&str> = rows.iter().map(|(row, ..)| row.as_str()).collect();
    println!("{}", table.join("\n"));
    let faults: Vec<&str> = rows.iter().flat_map(|(.., faults)| faults).map(String::as_str).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    // All three verdicts are met, or the table shows nothing.
    for standing in [Inside, Provisional, Outside] {
        assert!(rows.iter().any(|(_, now, _)| *now == standing), "no bag is {standing:?}");
    }
}
