//! The site file's reader on arbitrary input: no panic, no NaN, no fault without a place.
#![allow(clippy::panic)] // helpers of tests

use landfall_plan::site::{
    Dimension, Faults, ForceAreaStated, KEYS, Kind, Preset, RollInKind, Section, Site, SiteFile, UNITS, demo,
    demo_text, parse_quantity, plain, read_site, starter,
};
use landfall_tests::site_text::imperial;
use proptest::prelude::*;

/// Whatever comes out is either a site of finite values, each in its range, or at least one fault with its place.
fn holds(text: &str) {
    match read_site(text, "x.toml") {
        Ok(site) => sound(&site),
        Err(faults) => {
            assert!(!faults.faults.is_empty(), "refused without a fault: {text:?}");
            let lines = text.split('\n').count();
            for fault in &faults.faults {
                assert!((1..=lines).contains(&fault.line), "{fault:?} in {text:?}");
                assert!(fault.column >= 1 && fault.width >= 1, "{fault:?}");
                assert!(!fault.message.is_empty() && !fault.cure.is_empty(), "{fault:?}");
            }
            let _ = faults.to_string();
        }
    }
}

fn sound(site: &Site) {
    for key in KEYS.iter().filter(|k| k.is_numeric() || k.kind == Kind::Flag) {
        match key.get(site) {
            // What is derived from others need not lie in the range for what is stated.
            Some(si) if site.given.contains(key.dotted) || matches!(key.preset, Preset::Is(_)) => {
                assert!((key.low..=key.high).contains(&si), "{} = {si}", key.dotted);
            }
            Some(si) => assert!(si.is_finite(), "{} = {si}", key.dotted),
            None => {}
        }
    }
    assert!(site.blower.curve.iter().all(|(flow, pressure)| flow.is_finite() && pressure.is_finite()));
    assert!(site.blower.curve.windows(2).all(|w| w[1].1 > w[0].1 && w[1].0 < w[0].0));
    assert!(site.rider.lightest_kg <= site.rider.mass_kg && site.rider.mass_kg <= site.rider.heaviest_kg);
    assert!(site.takeoff.radius_m > site.rider.mass_height_m && site.takeoff.lip_angle_rad.to_degrees() <= 85.0);
    let circle = site.takeoff.radius_m * (1.0 - site.takeoff.lip_angle_rad.cos());
    assert!((circle - site.takeoff.height_m).abs() < 1e-3);
    if let RollInKind::Sections(sections) = &site.roll_in.kind {
        for section in sections {
            let (Section::Straight { length_m: a, slope_rad: b } | Section::Arc { radius_m: a, turn_rad: b }) = section;
            assert!(a.is_finite() && b.is_finite());
        }
    }
}

/// A text that is near to a value of the file.
fn value() -> impl Strategy<Value = String> {
    let unit = proptest::sample::select(UNITS).prop_map(|u| u.name);
    let number = prop_oneof![
        any::<f64>().prop_map(|n| n.to_string()),
        (-1e4..1e4).prop_map(|n| format!("{n:.3}")),
        (-100i32..1000).prop_map(|n| n.to_string()),
        Just("1e400".to_owned()),
        Just("nan".to_owned()),
    ];
    prop_oneof![
        4 => (number.clone(), unit).prop_map(|(n, u)| format!("\"{n} {}\"", u.replace('"', "\\\""))),
        2 => number,
        1 => "[ -~]{0,12}".prop_map(|text| format!("'{}'", text.replace('\'', ""))),
        1 => Just("true".to_owned()),
        1 => Just("[[\"1 m3/s\", \"0 Pa\"], [\"0 m3/s\", \"1 kPa\"], 3]".to_owned()),
        1 => Just("[{straight = \"4 m\", slope = \"30 deg\"}, {arc = \"6 m\", turn = \"30 deg\"}]".to_owned()),
        1 => Just("[[\"0.1 m\", \"0.9 m2\"], [\"2 ft\", \"2.6 m2\"]]".to_owned()),
        1 => Just("{a = 1}".to_owned()),
        1 => Just("1979-05-27".to_owned()),
    ]
}

/// What the reader takes, the core takes: every constructor that a plan begins with.
fn core_takes(site: &Site) {
    use landfall_core::air::Air;
    use landfall_core::bag::{Bag, BagInput};
    use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
    use landfall_core::force_area::{ForceArea, Knot};
    use landfall_core::openings::{Discharge, Openings, OpeningsInput};
    use landfall_core::path::{self, Path};
    use landfall_core::takeoff::TakeOff;
    let f = |x: f64| x as f32;
    let (rider, bag, blower, roll_in) = (&site.rider, &site.bag, &site.blower, &site.roll_in);
    let height = f(rider.mass_height_m);
    let path = match &roll_in.kind {
        RollInKind::Simple { slope_rad, bottom_radius_m, flat_run_m } => {
            Path::simple(f(roll_in.start_height_m), f(*slope_rad), f(*bottom_radius_m), f(*flat_run_m), height)
        }
        RollInKind::Sections(list) => {
            let sections: Vec<path::Section> = list
                .iter()
                .map(|section| match *section {
                    Section::Straight { length_m, slope_rad } => {
                        path::Section::Straight { length_m: f(length_m), slope_rad: Some(f(slope_rad)) }
                    }
                    Section::Arc { radius_m, turn_rad } => {
                        path::Section::Arc { radius_m: f(radius_m), turn_rad: f(turn_rad) }
                    }
                })
                .collect();
            Path::from_sections(&sections, f(roll_in.start_height_m), height)
        }
    };
    path.unwrap_or_else(|e| panic!("{e}: {roll_in:?}"));
    TakeOff::new(f(site.takeoff.height_m), f(site.takeoff.radius_m), f(rider.wheelbase_m), height)
        .unwrap_or_else(|e| panic!("{e}: {:?}", site.takeoff));
    let air = Air::new(f(site.site.altitude_m), f(site.site.air_temperature_k), site.site.air_pressure_pa.map(f))
        .unwrap_or_else(|e| panic!("{e}: {:?}", site.site));
    Bag::new(BagInput {
        length_m: f(bag.length_m),
        width_m: f(bag.width_m),
        front_height_m: f(bag.front_height_m),
        back_height_m: f(bag.back_height_m),
        gap_m: f(bag.gap_m.unwrap_or(0.0)),
        offset_m: f(bag.offset_m),
        base_level_m: f(bag.base_level_m),
        edge_front_m: f(bag.edge_front_m),
        edge_back_m: f(bag.edge_back_m),
        edge_side_m: f(bag.edge_side_m),
    })
    .unwrap_or_else(|e| panic!("{e}: {bag:?}"));
    match &bag.force_area {
        ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } => {
            ForceArea::assumed(f(*body_m2), f(*growth_m), f(*limit_m2))
        }
        ForceAreaStated::Measured(knots) => ForceArea::measured(
            &knots.iter().map(|&(depth, area)| Knot { depth_m: f(depth), area_m2: f(area) }).collect::<Vec<_>>(),
        ),
    }
    .unwrap_or_else(|e| panic!("{e}: {bag:?}"));
    Openings::new(
        OpeningsInput {
            vent_area_m2: f(bag.vent_area_m2),
            relief_area_m2: f(bag.relief_area_m2),
            relief_opens_pa: f(bag.relief_opens_pa.unwrap_or(0.0)),
            relief_full_pa: f(bag.relief_full_pa.unwrap_or(0.0)),
            leak_coefficient: f(bag.leak_coefficient),
            leak_exponent: f(bag.leak_exponent),
            discharge: Discharge::LowPressure { coefficient: f(bag.vent_coefficient) },
        },
        &air,
    )
    .unwrap_or_else(|e| panic!("{e}: {bag:?}"));
    let points: Vec<CurvePoint> = blower
        .curve
        .iter()
        .map(|&(flow, pressure)| CurvePoint { flow_m3ps: f(flow), pressure_pa: f(pressure) })
        .collect();
    let curve = BlowerCurve::new(&points).unwrap_or_else(|e| panic!("{e}: {points:?}"));
    let input = BlowersInput {
        count: blower.count.try_into().unwrap_or(0),
        speed: f(blower.speed),
        duct_loss: f(blower.duct_loss),
        duct_diameter_m: f(blower.duct_diameter_m.unwrap_or(0.0)),
        closing_flap: blower.closing_flap,
        backflow_area_m2: blower.backflow_area_m2.map(f),
    };
    Blowers::new(&curve, &input, &air).unwrap_or_else(|e| panic!("{e}: {input:?}"));
}

/// The same site written in feet, pounds, miles an hour and inches of water is the same site.
#[test]
fn metric_and_imperial_files_give_the_same_site() {
    let written = |si: f64, dimension: Dimension| format!("\"{}\"", imperial(si, dimension));
    for base in [demo_text(), starter()] {
        let site = read_site(base, "x.toml").unwrap_or_else(|f| panic!("{f}"));
        let mut file = SiteFile::parse(base, "x.toml").unwrap_or_else(|f| panic!("{f}"));
        let mut changed = 0;
        for key in KEYS.iter().filter(|key| site.given.contains(key.dotted)) {
            let text = match (key.kind, key.get(&site)) {
                (Kind::Quantity(dimension), Some(si)) => written(si, dimension),
                (Kind::Curve, _) => {
                    let point = |&(flow, pressure): &(f64, f64)| {
                        format!("[{}, {}]", written(flow, Dimension::Flow), written(pressure, Dimension::Pressure))
                    };
                    format!("[{}]", site.blower.curve.iter().map(point).collect::<Vec<_>>().join(", "))
                }
                _ => continue,
            };
            file.set(key.dotted, &text).unwrap_or_else(|f| panic!("{} = {text}: {f}", key.dotted));
            changed += 1;
        }
        assert!(changed > 15, "only {changed} values were written anew");
        let other = file.site("x.toml").unwrap_or_else(|f| panic!("{f}\n{file}"));
        let close = |a: f64, b: f64| (a - b).abs() <= 1e-12 * a.abs().max(1.0);
        for key in KEYS {
            match (key.get(&site), key.get(&other)) {
                (Some(a), Some(b)) => assert!(close(a, b), "{}: {a} and {b}", key.dotted),
                (a, b) => assert_eq!(a, b, "{}", key.dotted),
            }
        }
        let points = site.blower.curve.iter().zip(&other.blower.curve);
        assert!(points.into_iter().all(|(a, b)| close(a.0, b.0) && close(a.1, b.1)));
        assert_eq!(site.given, other.given);
    }
}

/// Both ends of every range, from the demo and from the starter.
#[test]
fn the_core_takes_the_ends_of_every_range() {
    let starter = read_site(starter(), "starter.toml").unwrap_or_else(|f| panic!("{f}"));
    let mut taken = 0;
    for base in [demo(), starter] {
        core_takes(&base);
        for key in KEYS.iter().filter(|k| k.is_numeric() || k.kind == Kind::Flag) {
            for si in [key.low, key.high] {
                if let Ok(site) = base.with_value(key.dotted, si) {
                    core_takes(&site);
                    taken += 1;
                }
            }
        }
    }
    assert!(taken > 200, "only {taken} settings were taken at all");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn any_text(text in ".{0,200}") {
        holds(&text);
    }

    #[test]
    fn any_text_of_several_lines(text in "([a-z_.\\[\\]=\"' 0-9{}#,\\-]{0,30}\n){0,12}") {
        holds(&text);
    }

    /// Bytes put in place of others anywhere in the demo, which may cut a character of several bytes.
    #[test]
    fn any_bytes_in_the_demo(at in 0usize..2000, remove in 0usize..40, insert in prop::collection::vec(any::<u8>(), 0..12)) {
        let mut bytes = demo_text().as_bytes().to_vec();
        let at = at.min(bytes.len());
        let end = (at + remove).min(bytes.len());
        bytes.splice(at..end, insert);
        holds(&String::from_utf8_lossy(&bytes));
    }

    /// Any key of the demo or of the starter set to anything.
    #[test]
    fn any_values_in_the_demo(edits in prop::collection::vec((proptest::sample::select(KEYS), value()), 1..5)) {
        for base in [demo_text(), starter()] {
            let mut lines: Vec<String> = base.lines().map(str::to_owned).collect();
            for (key, value) in &edits {
                let header = format!("[{}]", key.table());
                let Some(at) = lines.iter().position(|l| *l == header) else {
                    lines.push(header);
                    lines.push(format!("{} = {value}", key.name()));
                    continue;
                };
                let name = format!("{} = ", key.name());
                let end = lines.iter().skip(at + 1).position(|l| l.starts_with('[')).map_or(lines.len(), |i| at + 1 + i);
                match lines.iter().take(end).skip(at).position(|l| l.starts_with(&name)) {
                    Some(i) => lines[at + i] = format!("{name}{value}"),
                    None => lines.insert(at + 1, format!("{name}{value}")),
                }
            }
            holds(&lines.join("\n"));
        }
    }

    /// Setting a resolved site to anything either leaves a sound site or is refused.
    #[test]
    fn any_setting(key in proptest::sample::select(KEYS), si in prop_oneof![any::<f64>(), -10.0..100.0], text in value()) {
        for site in [demo().with_value(key.dotted, si), demo().with_value(key.dotted, text.as_str())] {
            match site {
                Ok(site) => sound(&site),
                Err(faults) => assert!(!faults.faults.is_empty()),
            }
        }
    }

    /// Several values anywhere in their ranges: where the reader takes them together, so does the core.
    #[test]
    fn the_core_takes_what_the_reader_takes(
        edits in prop::collection::vec((proptest::sample::select(KEYS), 0.0..1.0f64), 1..6),
    ) {
        let mut site = demo();
        for (key, share) in edits.iter().filter(|(key, _)| key.is_numeric()) {
            // Often near the low end, where lengths are met in practice.
            let si = key.low + share.powi(3) * (key.high - key.low);
            if let Ok(next) = site.with_value(key.dotted, if key.kind == Kind::Count { si.round() } else { si }) {
                site = next;
            }
        }
        core_takes(&site);
    }

    /// What a sweep sets is what the same edit of the file reads.
    #[test]
    fn a_sweep_and_an_edit_agree(
        key in proptest::sample::select(KEYS.iter().filter(|k| k.is_numeric()).collect::<Vec<_>>()),
        share in 0.0..1.0f64,
    ) {
        let si = key.low + share * (key.high - key.low).min(100.0);
        let si = if key.kind == Kind::Count { si.round() } else { si };
        let text = match key.kind {
            // All digits, in the unit of the SI.
            Kind::Quantity(dimension) => {
                let unit = dimension.units().find(|u| u.factor == 1.0 && u.offset == 0.0).map_or("", |u| u.name);
                format!("{si:e} {unit}")
            }
            _ => format!("{si}"),
        };
        let swept = demo().with_value(key.dotted, si);
        let mut file = SiteFile::parse(demo_text(), "x.toml").unwrap_or_else(|f| panic!("{f}"));
        file.set(key.dotted, &text).unwrap_or_else(|f| panic!("{f}"));
        match (swept, file.site("x.toml")) {
            (Ok(a), Ok(b)) => assert_eq!(a, b),
            (Err(a), Err(b)) => {
                // A file has its faults in the order of its lines.
                let keys = |faults: &Faults| {
                    let mut keys: Vec<String> = faults.faults.iter().map(|f| f.key.clone()).collect();
                    keys.sort();
                    keys
                };
                assert_eq!(keys(&a), keys(&b));
            }
            (a, b) => panic!("{} = {text}: {a:?} but {b:?}", key.dotted),
        }
    }

    #[test]
    fn any_quantity(text in ".{0,24}", dimension in proptest::sample::select(&Dimension::ALL[..])) {
        if let Ok(q) = parse_quantity(&text, dimension) {
            prop_assert!(q.si.is_finite());
        }
    }

    /// What is shown in a message is read back as the same value, to the six digits shown.
    #[test]
    fn what_is_shown_can_be_typed(n in prop_oneof![-1e6..1e6f64, -1e-6..1e-6f64], dimension in proptest::sample::select(&Dimension::ALL[..])) {
        let shown = dimension.show(n);
        let read = parse_quantity(&shown, dimension).unwrap_or_else(|e| panic!("{shown}: {e}")).si;
        let scale = if dimension == Dimension::Temperature { n.abs().max(300.0) } else { n.abs() };
        prop_assert!((read - n).abs() <= 1e-5 * scale + 1e-12, "{shown} is {read}, not {n}");
        prop_assert!(plain(n).len() < 16);
    }
}
