//! What a builder sets out: the pieces of the ride down, the take-off's face, the bag's corners.

use super::Table;
use super::sheet::{PieceKind, Sheet};
use super::words::{fixed, long};
use crate::shown::{Shown, Toward};

/// The pieces of the surface, one row each.
pub fn pieces(sheet: &Sheet<'_>) -> Table {
    let u = Shown::of(sheet.site);
    let head = ["piece", "along the surface", "run, level", "rise", "begins before the lip, level", "slope or radius"];
    let mut table = Table::new("Pieces of the ride down, from the start to the lip", &head);
    for piece in &sheet.surface {
        let (name, length_m, shape) = match piece.kind {
            PieceKind::Straight { length_m, slope_rad } => {
                ("straight", length_m, format!("{}° down", fixed(slope_rad.to_degrees(), 1)))
            }
            PieceKind::Arc { radius_m, turn_rad } => {
                let way = if turn_rad > 0.0 { "upward" } else { "downward" };
                let turn = fixed(turn_rad.abs().to_degrees(), 1);
                ("arc", radius_m * turn_rad.abs(), format!("radius {}, {turn}° {way}", long(u, radius_m)))
            }
            PieceKind::TakeOff { radius_m, turn_rad } => {
                let lip = fixed(turn_rad.to_degrees(), 1);
                ("take-off", radius_m * turn_rad, format!("radius {}, lip {lip}°", long(u, radius_m)))
            }
        };
        table.row([
            name.to_owned(),
            long(u, length_m),
            long(u, piece.run_m()),
            long(u, piece.rise_m()),
            long(u, -piece.first().0),
            shape,
        ]);
    }
    table
}

/// Heights of the take-off's face at level distances from its foot, to cut a template by: R − √(R² − x²).
pub fn face(sheet: &Sheet<'_>) -> Table {
    let takeoff = &sheet.model.setups[0].takeoff();
    let (radius_m, base_m) = (f64::from(takeoff.radius_m()), f64::from(takeoff.base_m()));
    let u = Shown::of(sheet.site);
    let step_m = match (u.is_imperial(), base_m > 2.5) {
        (false, true) => 0.5,
        (false, false) => 0.25,
        (true, true) => 0.609_6,
        (true, false) => 0.304_8,
    };
    let mut table =
        Table::new("The take-off's face: height over level distance from its foot", &["from the foot", "height"]);
    let count = (base_m / step_m).floor() as u32;
    let mut distances: Vec<f64> = (0..=count).map(|i| f64::from(i) * step_m).collect();
    if base_m - f64::from(count) * step_m > 0.01 {
        distances.push(base_m);
    }
    for x in distances {
        let z = radius_m - (radius_m * radius_m - x * x).max(0.0).sqrt();
        table.row([long(u, x), u.cut(z, Toward::Nearest)]);
    }
    table
}

/// Measures of the bag's place, with diagonals to square it up by.
pub fn bag(sheet: &Sheet<'_>) -> Table {
    let setup = &sheet.model.setups[0];
    let (bag, takeoff) = (&sheet.site.bag, &setup.takeoff());
    let gap_m = f64::from(setup.bag().gap_m());
    let lip_m = f64::from(takeoff.height_m());
    let base_m = f64::from(takeoff.base_m());
    let mut table = Table::new("Heights and distances", &["measure", "on the tape"]);
    let u = Shown::of(sheet.site);
    let start_m = sheet.surface.first().map_or(0.0, |piece| piece.first().1);
    let rows = [
        ("start above the take-off's foot", start_m),
        ("lip above the take-off's foot", lip_m),
        ("foot to lip, level", base_m),
        ("foot to lip, straight line", base_m.hypot(lip_m)),
        ("take-off width", sheet.site.takeoff.width_m),
        ("gap: lip edge to the bag's front edge, level", gap_m),
        ("bag's centre line left of the take-off's (right: minus)", bag.offset_m),
        ("ground under the bag above the take-off's foot", bag.base_level_m),
        ("bag length", bag.length_m),
        ("bag width", bag.width_m),
        ("bag diagonal, corner to corner", bag.length_m.hypot(bag.width_m)),
        ("bag front edge above its ground", bag.front_height_m),
        ("bag back edge above its ground", bag.back_height_m),
        ("lip edge to a front corner, level, left", gap_m.hypot(bag.offset_m + 0.5 * bag.width_m)),
        ("lip edge to a front corner, level, right", gap_m.hypot(bag.offset_m - 0.5 * bag.width_m)),
    ];
    for (what, length_m) in rows {
        table.row([what.to_owned(), long(u, length_m)]);
    }
    table
}
