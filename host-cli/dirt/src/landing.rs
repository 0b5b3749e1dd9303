//! A landing that is built: level deck, knuckle, slope, round transition, level roll-out.

use serde::Serialize;

/// Its shape. Slopes are down positive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Landing {
    /// Where the level deck before the knuckle begins.
    pub deck_from_m: f64,
    /// The knuckle (x, z): where the slope begins.
    pub knuckle_m: (f64, f64),
    /// Of the slope.
    pub slope_rad: f64,
    /// Length of the slope along it.
    pub slope_m: f64,
    /// Of the transition's surface.
    pub radius_m: f64,
    /// Length of the level roll-out.
    pub run_out_m: f64,
    /// Across.
    pub width_m: f64,
}

/// A part of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// In the gap, or against the deck's front.
    Front,
    /// On the deck or on the knuckle: too short.
    Deck,
    /// On the slope.
    Slope,
    /// In the transition.
    Transition,
    /// Past the transition: too long.
    RollOut,
    /// Past the end of the roll-out.
    Beyond,
}

/// A place of the surface.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// Part.
    pub part: Part,
    /// Place.
    pub place_m: (f64, f64),
    /// Direction away from the surface there, as (x, z).
    pub normal: (f64, f64),
    /// How far off the surface along it.
    pub distance_m: f64,
}

impl Landing {
    /// Where the slope ends and the transition begins.
    #[must_use]
    pub fn slope_end_m(&self) -> (f64, f64) {
        let (sin, cos) = self.slope_rad.sin_cos();
        (self.knuckle_m.0 + self.slope_m * cos, self.knuckle_m.1 - self.slope_m * sin)
    }

    /// Middle of the transition's circle.
    #[must_use]
    pub fn centre_m(&self) -> (f64, f64) {
        let (sin, cos) = self.slope_rad.sin_cos();
        let end = self.slope_end_m();
        (end.0 + self.radius_m * sin, end.1 + self.radius_m * cos)
    }

    /// Height of the roll-out.
    #[must_use]
    pub fn floor_m(&self) -> f64 {
        self.centre_m().1 - self.radius_m
    }

    /// Where the roll-out ends.
    #[must_use]
    pub fn end_x_m(&self) -> f64 {
        self.centre_m().0 + self.run_out_m
    }

    /// The place of the surface that is nearest to a place above it. Before the deck there is nothing.
    #[must_use]
    pub fn touch(&self, (x, z): (f64, f64)) -> Option<Touch> {
        if x < self.deck_from_m {
            return None;
        }
        let k = self.knuckle_m;
        if x <= k.0 {
            return Some(Touch { part: Part::Deck, place_m: (x, k.1), normal: (0.0, 1.0), distance_m: z - k.1 });
        }
        let (sin, cos) = self.slope_rad.sin_cos();
        let (dx, dz) = (x - k.0, z - k.1);
        let along_m = dx * cos - dz * sin;
        if along_m < 0.0 {
            // Over the knuckle, between the deck's normal and the slope's.
            let distance_m = dx.hypot(dz);
            let normal = if distance_m > 0.0 { (dx / distance_m, dz / distance_m) } else { (0.0, 1.0) };
            return Some(Touch { part: Part::Deck, place_m: k, normal, distance_m });
        }
        if along_m <= self.slope_m {
            return Some(Touch {
                part: Part::Slope,
                place_m: (k.0 + along_m * cos, k.1 - along_m * sin),
                normal: (sin, cos),
                distance_m: dx * sin + dz * cos,
            });
        }
        let c = self.centre_m();
        if x < c.0 {
            let off = (c.0 - x, c.1 - z);
            let far_m = off.0.hypot(off.1).max(1e-9);
            let normal = (off.0 / far_m, off.1 / far_m);
            return Some(Touch {
                part: Part::Transition,
                place_m: (c.0 - normal.0 * self.radius_m, c.1 - normal.1 * self.radius_m),
                normal,
                distance_m: self.radius_m - far_m,
            });
        }
        let part = if x <= self.end_x_m() { Part::RollOut } else { Part::Beyond };
        let floor_m = self.floor_m();
        Some(Touch { part, place_m: (x, floor_m), normal: (0.0, 1.0), distance_m: z - floor_m })
    }

    /// Height of the surface.
    #[must_use]
    pub fn height_m(&self, x_m: f64) -> f64 {
        let (end, c) = (self.slope_end_m(), self.centre_m());
        if x_m <= self.knuckle_m.0 {
            self.knuckle_m.1
        } else if x_m <= end.0 {
            self.knuckle_m.1 - (x_m - self.knuckle_m.0) * self.slope_rad.tan()
        } else if x_m < c.0 {
            c.1 - (self.radius_m.powi(2) - (x_m - c.0).powi(2)).max(0.0).sqrt()
        } else {
            self.floor_m()
        }
    }

    /// Slope of the surface, down positive.
    #[must_use]
    pub fn slope_at_rad(&self, x_m: f64) -> f64 {
        let (end, c) = (self.slope_end_m(), self.centre_m());
        if x_m <= self.knuckle_m.0 || x_m >= c.0 {
            0.0
        } else if x_m <= end.0 {
            self.slope_rad
        } else {
            ((c.0 - x_m) / self.radius_m).clamp(0.0, 1.0).asin()
        }
    }

    /// Places along the surface to draw it and to reckon its earth by; of the transition one for each 2°.
    #[must_use]
    pub fn outline_m(&self) -> Vec<(f64, f64)> {
        let c = self.centre_m();
        let mut line = Vec::new();
        if self.deck_from_m < self.knuckle_m.0 {
            line.push((self.deck_from_m, self.knuckle_m.1));
        }
        line.extend([self.knuckle_m, self.slope_end_m()]);
        let turns = (self.slope_rad.to_degrees() / 2.0).ceil().max(1.0) as usize;
        line.extend((1..=turns).map(|i| {
            let left = self.slope_rad * (1.0 - i as f64 / turns as f64);
            (c.0 - self.radius_m * left.sin(), c.1 - self.radius_m * left.cos())
        }));
        line.push((self.end_x_m(), self.floor_m()));
        line
    }

    /// Offsets to set it out by: distance from the lip, height, slope, every so far from the deck's beginning, and where
    /// it bends.
    #[must_use]
    pub fn offsets(&self, step_m: f64) -> Vec<Offset> {
        let bends = [self.deck_from_m, self.knuckle_m.0, self.slope_end_m().0, self.centre_m().0, self.end_x_m()];
        let steps = ((self.end_x_m() - self.deck_from_m) / step_m).floor().max(0.0) as usize;
        let mut places: Vec<(f64, bool)> = bends.into_iter().map(|x| (x, true)).collect();
        places.extend((0..=steps).map(|i| (self.deck_from_m + i as f64 * step_m, false)));
        places.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
        places.dedup_by(|b, a| (a.0 - b.0).abs() < 0.05 * step_m && !b.1);
        let named = |x: f64| {
            let names = ["deck begins", "knuckle", "slope ends", "transition ends", "roll-out ends"];
            bends.iter().zip(names).find(|(bend, _)| (*bend - x).abs() < 1e-9).map_or("", |(_, name)| name)
        };
        places
            .into_iter()
            .map(|(x, bend)| Offset {
                x_m: x,
                height_m: self.height_m(x),
                slope_rad: self.slope_at_rad(x),
                what: if bend { named(x) } else { "" },
            })
            .collect()
    }
}

/// One row of the offsets.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Offset {
    /// From the lip.
    pub x_m: f64,
    /// Over the take-off's foot.
    pub height_m: f64,
    /// Of the surface, down positive.
    pub slope_rad: f64,
    /// What begins or ends here.
    pub what: &'static str,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one() -> Landing {
        Landing {
            deck_from_m: 4.0,
            knuckle_m: (7.0, 2.0),
            slope_rad: 0.6,
            slope_m: 6.0,
            radius_m: 8.0,
            run_out_m: 10.0,
            width_m: 5.0,
        }
    }

    #[test]
    fn the_pieces_meet_without_a_step_or_a_kink() {
        let l = one();
        for x in [l.knuckle_m.0, l.slope_end_m().0, l.centre_m().0] {
            assert!((l.height_m(x - 1e-7) - l.height_m(x + 1e-7)).abs() < 1e-6, "{x}");
        }
        for x in [l.slope_end_m().0, l.centre_m().0] {
            assert!((l.slope_at_rad(x - 1e-7) - l.slope_at_rad(x + 1e-7)).abs() < 1e-6, "{x}");
        }
        // A circle's drop: R (1 − cos).
        assert!((l.slope_end_m().1 - l.floor_m() - 8.0 * (1.0 - 0.6_f64.cos())).abs() < 1e-12);
        for (x, z) in l.outline_m() {
            assert!((l.height_m(x) - z).abs() < 1e-9);
        }
    }

    #[test]
    fn the_nearest_place_is_along_the_normal() {
        let l = one();
        for i in 0..400 {
            let (x, z) = (4.2 + f64::from(i % 80) * 0.3, 3.2 + f64::from(i / 80) * 0.4);
            let touch = l.touch((x, z)).unwrap();
            let (px, pz) = touch.place_m;
            assert!((x - px - touch.normal.0 * touch.distance_m).abs() < 1e-9);
            assert!((z - pz - touch.normal.1 * touch.distance_m).abs() < 1e-9);
            assert!((l.height_m(px) - pz).abs() < 1e-6, "{touch:?}");
            // No place of the outline is nearer.
            let nearest = (0..4000).map(|j| 4.0 + f64::from(j) * 0.0065).map(|q| (x - q).hypot(z - l.height_m(q)));
            let nearest = nearest.fold(f64::INFINITY, f64::min);
            assert!(nearest > touch.distance_m - 1e-5, "{x} {z} {touch:?} {nearest}");
        }
        assert!(l.touch((3.9, 5.0)).is_none());
    }

    #[test]
    fn offsets_name_every_bend() {
        let rows = one().offsets(0.5);
        let named: Vec<&str> = rows.iter().map(|r| r.what).filter(|w| !w.is_empty()).collect();
        assert_eq!(named, ["deck begins", "knuckle", "slope ends", "transition ends", "roll-out ends"]);
        assert!(
            rows.windows(2)
                .all(|w| w[1].x_m > w[0].x_m && w[1].x_m - w[0].x_m < 0.55 && w[1].height_m <= w[0].height_m)
        );
    }
}
