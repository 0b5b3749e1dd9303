//! Invented bags of many kinds, for tests that compare ways to compute the same.

use crate::air::Air;
use crate::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use crate::levels::{LevelsBag, LevelsInput, LevelsRiders, MeanLanding, Sensing, SensorError};
use crate::openings::{Openings, OpeningsInput};
use crate::possible_bags::{PossibleBags, StatedArea, Unknown};
use crate::supply::operating_point;
use crate::touchdown::Options;

/// One bag with what it stands in.
pub(crate) struct Site {
    pub(crate) name: &'static str,
    air: Air,
    openings: Openings,
    blowers: Blowers,
    volume_m3: f32,
    pub(crate) thickness_m: f32,
    pub(crate) hard_speed_mps: f32,
    pub(crate) stretch_per_pa: f32,
    pub(crate) area: StatedArea,
}

/// Name; blowers, speed, flaps; vents (m²), leak; volume, thickness, hard speed; stretch; three numbers of the area.
type Row = (&'static str, (u8, f32, bool), (f32, f32), (f32, f32, f32), f32, (f32, f32, f32));

const ROWS: [Row; 10] = [
    ("well fed", (2, 1.0, true), (0.02, 0.004), (250.0, 2.2, 7.0), 3e-5, (0.5, 6.0, 4.0)),
    ("thick and soft", (1, 0.7, true), (0.10, 0.002), (600.0, 4.0, 8.0), 3e-5, (0.5, 6.0, 4.0)),
    ("shallow", (2, 1.0, true), (0.05, 0.002), (120.0, 1.5, 6.0), 3e-5, (0.5, 6.0, 4.0)),
    ("weakly fed", (1, 0.5, true), (0.25, 0.010), (300.0, 2.5, 8.0), 3e-5, (0.5, 6.0, 4.0)),
    ("no flaps", (3, 0.8, false), (0.05, 0.002), (200.0, 2.5, 7.5), 3e-5, (0.5, 6.0, 4.0)),
    ("tight", (1, 1.0, true), (0.0, 0.0005), (200.0, 2.5, 6.5), 2e-5, (0.4, 5.0, 3.0)),
    ("stiff skin", (2, 0.9, true), (0.30, 0.0), (350.0, 3.0, 9.0), 0.0, (0.6, 8.0, 5.0)),
    ("stretchy", (1, 0.9, true), (0.02, 0.004), (150.0, 2.0, 6.0), 1e-4, (0.5, 4.0, 2.5)),
    ("slow", (1, 0.8, true), (0.03, 0.004), (250.0, 3.5, 3.0), 3e-5, (0.5, 6.0, 4.0)),
    ("hopeless", (1, 0.4, true), (0.20, 0.010), (60.0, 1.0, 10.0), 3e-5, (0.5, 6.0, 2.0)),
];

/// All of them.
pub(crate) fn sites() -> impl Iterator<Item = Site> {
    ROWS.into_iter().map(|(name, blower, vent, size, stretch_per_pa, area)| {
        let air = Air::new(300.0, 288.15, None).unwrap();
        let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
            .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
        let curve = BlowerCurve::new(&points).unwrap();
        let input = BlowersInput {
            count: blower.0,
            speed: blower.1,
            closing_flap: blower.2,
            backflow_area_m2: if blower.2 { None } else { Some(0.05) },
            ..BlowersInput::default()
        };
        let openings = OpeningsInput { vent_area_m2: vent.0, leak_coefficient: vent.1, ..OpeningsInput::default() };
        Site {
            name,
            openings: Openings::new(openings, &air).unwrap(),
            blowers: Blowers::new(&curve, &input, &air).unwrap(),
            air,
            volume_m3: size.0,
            thickness_m: size.1,
            hard_speed_mps: size.2,
            stretch_per_pa,
            area: StatedArea::Assumed { body_m2: area.0, growth_m: area.1, limit_m2: area.2 },
        }
    })
}

impl Site {
    pub(crate) fn bags(&self) -> PossibleBags {
        PossibleBags::new(self.area, self.stretch_per_pa, Unknown::default()).unwrap()
    }

    pub(crate) fn input(&self) -> LevelsInput<'_> {
        LevelsInput {
            air: &self.air,
            openings: &self.openings,
            blowers: &self.blowers,
            operating_pa: operating_point(&self.blowers, &self.openings).pressure_pa,
            bag: LevelsBag {
                volume_m3: self.volume_m3,
                skin_kgpm2: 0.65,
                skin_loss: 0.65,
                pressure_min_pa: 400.0,
                pressure_max_pa: 2_500.0,
                depth_limit: 0.8,
                load_stop_g: 20.0,
                stop_floor: 0.6,
                thickness_m: self.thickness_m,
                slope_rad: 0.1,
            },
            load_limit_g: 15.0,
            riders: LevelsRiders {
                heaviest_kg: 110.0,
                lightest_kg: 45.0,
                hard_speed_mps: self.hard_speed_mps,
                mean_landing: Some(MeanLanding {
                    mass_kg: 80.0,
                    normal_speed_mps: 0.8 * self.hard_speed_mps,
                    thickness_m: self.thickness_m,
                }),
                commitment_s: Some(4.0),
                reaction_s: 1.0,
            },
            sensing: Sensing { supply_sense: true, sensor: SensorError { error_pa: 12.5, noise_pa: 20.0 } },
            options: Options::default(),
        }
    }
}

/// A value with something about it changed.
pub(crate) fn changed<T>(mut value: T, change: impl FnOnce(&mut T)) -> T {
    change(&mut value);
    value
}
