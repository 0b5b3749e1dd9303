//! The core's constructors on whatever numbers the fuzzer finds: no panic, no hang, and what is taken gives numbers.
#![no_main]

use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput};
use landfall_core::bag_gas::Chamber;
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::path::{Path, Section};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::spread::differences;
use landfall_core::stop_line::last_stop_line;
use landfall_core::supply::operating_point;
use landfall_core::takeoff::TakeOff;
use libfuzzer_sys::fuzz_target;

/// Numbers one after the other; 1 when there are no more.
struct Numbers<'a>(&'a [u8]);

impl Numbers<'_> {
    fn next(&mut self) -> f32 {
        let Some((four, rest)) = self.0.split_first_chunk::<4>() else { return 1.0 };
        self.0 = rest;
        f32::from_le_bytes(*four)
    }
}

fn air_side(n: &mut Numbers<'_>) {
    let Ok(air) = Air::new(n.next(), n.next(), None) else { return };
    let points = [(); 5].map(|()| CurvePoint { flow_m3ps: n.next(), pressure_pa: n.next() });
    let openings = OpeningsInput {
        vent_area_m2: n.next(),
        relief_area_m2: n.next(),
        relief_opens_pa: n.next(),
        relief_full_pa: n.next(),
        leak_coefficient: n.next(),
        leak_exponent: n.next(),
        ..OpeningsInput::default()
    };
    let (Ok(curve), Ok(openings)) = (BlowerCurve::new(&points), Openings::new(openings, &air)) else { return };
    let fan = BlowersInput {
        speed: n.next(),
        duct_loss: n.next(),
        duct_diameter_m: n.next(),
        ..BlowersInput::default()
    };
    let Ok(blowers) = Blowers::new(&curve, &fan, &air) else { return };
    let point = operating_point(&blowers, &openings);
    assert!(point.pressure_pa.is_finite() && point.flow_m3ps.is_finite());
    let _ = Chamber::new(&air, n.next(), point.pressure_pa, n.next(), n.next());
}

fn run_side(n: &mut Numbers<'_>) {
    let mass_height_m = n.next();
    let path = if n.next() > 0.0 {
        Path::simple(n.next(), n.next(), n.next(), n.next(), mass_height_m)
    } else {
        let sections = [
            Section::Straight { length_m: n.next(), slope_rad: Some(n.next()) },
            Section::Arc { radius_m: n.next(), turn_rad: n.next() },
            Section::Straight { length_m: n.next(), slope_rad: None },
            Section::Arc { radius_m: n.next(), turn_rad: n.next() },
        ];
        Path::from_sections(&sections, n.next(), mass_height_m)
    };
    let takeoff = TakeOff::new(n.next(), n.next(), n.next(), mass_height_m);
    let bag = BagInput {
        length_m: n.next(),
        width_m: n.next(),
        front_height_m: n.next(),
        back_height_m: n.next(),
        gap_m: n.next(),
        offset_m: n.next(),
        base_level_m: n.next(),
        edge_front_m: n.next(),
        edge_back_m: n.next(),
        edge_side_m: n.next(),
    };
    let (Ok(path), Ok(takeoff), Ok(bag)) = (path, takeoff, Bag::new(bag)) else { return };
    let mean = [(); COUNT].map(|()| n.next());
    let sd = [(); COUNT].map(|()| n.next());
    let lowest_m = path.lowest_start_m();
    let Ok(uncertainty) = Uncertainty::new(mean, sd, lowest_m, mass_height_m) else { return };
    let Ok(setup) = Setup::new(path, takeoff, bag, n.next(), n.next(), n.next()) else { return };
    let inputs = uncertainty.at_mean();
    let run = setup.run(&inputs, &Steps::FINE);
    let _ = run.outcome(&setup.bag, 0);
    let _ = differences(&setup, &uncertainty, &Steps::FINE);
    let braking = n.next();
    if let Some(line) = last_stop_line(&setup, &inputs, braking) {
        assert!(line.before_foot_m.is_finite() && line.to_foot_s.is_finite());
    }
}

fuzz_target!(|data: &[u8]| {
    air_side(&mut Numbers(data));
    run_side(&mut Numbers(data));
});
