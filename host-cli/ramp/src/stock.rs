//! Rectangles onto stock sheets, lengths onto stock timbers: shelves and first fit, the largest first.
//!
//! Shelf packing by first fit of decreasing height (Coffman, Garey, Johnson & Tarjan, SIAM J. Comput. 9, 1980; from
//! memory): every cut goes through, as a panel saw makes it. A hand layout of pieces that are no rectangles can do
//! with less.

use serde::Serialize;

/// A rectangle to cut.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cut {
    /// What it is.
    pub name: String,
    /// One side.
    pub length_m: f64,
    /// The other.
    pub width_m: f64,
    /// How many are alike.
    pub count: usize,
}

/// A rectangle in its place on a sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Placed {
    /// Sheet, from 1.
    pub sheet: usize,
    /// What it is.
    pub name: String,
    /// From the sheet's corner along its longer side.
    pub x_m: f64,
    /// From the same corner along its shorter side.
    pub y_m: f64,
    /// Along the sheet's longer side.
    pub length_m: f64,
    /// Along its shorter side.
    pub width_m: f64,
}

/// A stock sheet: longer and shorter side, and the saw's cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sheet {
    /// Longer side.
    pub length_m: f64,
    /// Shorter side.
    pub width_m: f64,
    /// Lost with every cut.
    pub kerf_m: f64,
}

struct Shelf {
    sheet: usize,
    y_m: f64,
    height_m: f64,
    used_m: f64,
}

/// A hair, so that pieces made to a sheet's own size fit it.
const HAIR_M: f64 = 1e-6;

/// Lays rectangles onto sheets, with shelves as low or as high as the first piece on them makes them, whichever takes
/// fewer sheets. `None` where a piece fits no sheet either way round.
#[must_use]
pub fn lay(cuts: &[Cut], sheet: &Sheet) -> Option<(usize, Vec<Placed>)> {
    let mut pieces: Vec<(&str, f64, f64)> = Vec::new();
    for cut in cuts {
        let (long_m, short_m) = (cut.length_m.max(cut.width_m), cut.length_m.min(cut.width_m));
        if long_m > sheet.length_m + HAIR_M || short_m > sheet.width_m + HAIR_M {
            return None;
        }
        pieces.extend(std::iter::repeat_n((cut.name.as_str(), long_m, short_m), cut.count));
    }
    let low = shelve(pieces.iter().map(|(name, long_m, short_m)| (*name, *long_m, *short_m)).collect(), sheet);
    let upright = |(name, long_m, short_m): &(_, f64, f64)| {
        if *long_m <= sheet.width_m + HAIR_M { (*name, *short_m, *long_m) } else { (*name, *long_m, *short_m) }
    };
    let high = shelve(pieces.iter().map(upright).collect(), sheet);
    Some(if high.0 < low.0 { high } else { low })
}

/// Pieces as (name, along a shelf, up); each may be turned to fit a shelf that is there.
fn shelve(mut pieces: Vec<(&str, f64, f64)>, sheet: &Sheet) -> (usize, Vec<Placed>) {
    pieces.sort_by(|a, b| b.2.total_cmp(&a.2).then(b.1.total_cmp(&a.1)));
    let mut shelves: Vec<Shelf> = Vec::new();
    // Height used on each sheet.
    let mut sheets: Vec<f64> = Vec::new();
    let mut placed = Vec::new();
    for (name, along_m, up_m) in pieces {
        let fits = |shelf: &Shelf, along_m: f64, up_m: f64| {
            up_m <= shelf.height_m + HAIR_M && shelf.used_m + along_m <= sheet.length_m + HAIR_M
        };
        let straight = shelves.iter().position(|shelf| fits(shelf, along_m, up_m)).map(|at| (at, along_m, up_m));
        let turned = shelves.iter().position(|shelf| fits(shelf, up_m, along_m)).map(|at| (at, up_m, along_m));
        // The way that takes less of the shelf's length.
        let found = match (straight, turned) {
            (Some(a), Some(b)) => Some(if b.1 < a.1 { b } else { a }),
            (a, b) => a.or(b),
        };
        let (index, length_m, width_m) = found.unwrap_or_else(|| {
            let room = sheets.iter().position(|used_m| used_m + up_m <= sheet.width_m + HAIR_M);
            let at = room.unwrap_or_else(|| {
                sheets.push(0.0);
                sheets.len() - 1
            });
            shelves.push(Shelf { sheet: at, y_m: sheets[at], height_m: up_m, used_m: 0.0 });
            sheets[at] += up_m + sheet.kerf_m;
            (shelves.len() - 1, along_m, up_m)
        });
        let shelf = &mut shelves[index];
        placed.push(Placed {
            sheet: shelf.sheet + 1,
            name: name.to_owned(),
            x_m: shelf.used_m,
            y_m: shelf.y_m,
            length_m,
            width_m,
        });
        shelf.used_m += length_m + sheet.kerf_m;
    }
    placed.sort_by(|a, b| a.sheet.cmp(&b.sheet).then(a.y_m.total_cmp(&b.y_m)).then(a.x_m.total_cmp(&b.x_m)));
    (sheets.len(), placed)
}

/// Lengths that are sawn from equal stock timbers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Timbers {
    /// Stock timbers needed.
    pub count: usize,
    /// Length of one.
    pub stock_m: f64,
    /// Sum of the lengths sawn.
    pub sawn_m: f64,
    /// How each is sawn: lengths in order.
    pub sawing: Vec<Vec<f64>>,
}

/// Saws (length, count) pairs from stock by first fit, the longest first. `None` where one is longer than the stock.
#[must_use]
pub fn saw(lengths: &[(f64, usize)], stock_m: f64, kerf_m: f64) -> Option<Timbers> {
    let mut all: Vec<f64> = lengths.iter().flat_map(|(m, count)| std::iter::repeat_n(*m, *count)).collect();
    all.sort_by(|a, b| b.total_cmp(a));
    let mut sawing: Vec<(f64, Vec<f64>)> = Vec::new();
    for length_m in &all {
        if *length_m > stock_m + HAIR_M {
            return None;
        }
        let room = sawing.iter_mut().find(|(used_m, _)| used_m + length_m <= stock_m + HAIR_M);
        match room {
            Some((used_m, list)) => {
                *used_m += length_m + kerf_m;
                list.push(*length_m);
            }
            None => sawing.push((length_m + kerf_m, vec![*length_m])),
        }
    }
    Some(Timbers {
        count: sawing.len(),
        stock_m,
        sawn_m: all.iter().sum(),
        sawing: sawing.into_iter().map(|(_, list)| list).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: Sheet = Sheet { length_m: 2.44, width_m: 1.22, kerf_m: 0.004 };

    fn cut(length_m: f64, width_m: f64, count: usize) -> Cut {
        Cut { name: "piece".to_owned(), length_m, width_m, count }
    }

    /// Every piece is there, inside its sheet, and a saw's cut apart from every other.
    fn sound(cuts: &[Cut]) -> usize {
        let (sheets, placed) = lay(cuts, &SHEET).unwrap();
        assert_eq!(placed.len(), cuts.iter().map(|cut| cut.count).sum::<usize>());
        let area = |list: &[Placed]| list.iter().map(|p| p.length_m * p.width_m).sum::<f64>();
        let wanted: f64 = cuts.iter().map(|c| c.length_m * c.width_m * c.count as f64).sum();
        assert!((area(&placed) - wanted).abs() < 1e-9);
        for (i, a) in placed.iter().enumerate() {
            assert!(a.x_m + a.length_m <= SHEET.length_m + 2e-6 && a.y_m + a.width_m <= SHEET.width_m + 2e-6, "{a:?}");
            for b in placed.iter().take(i).filter(|b| b.sheet == a.sheet) {
                let apart = |a0: f64, a1: f64, b0: f64, b1: f64| a0 >= b1 + 0.004 - 1e-9 || b0 >= a1 + 0.004 - 1e-9;
                assert!(
                    apart(a.x_m, a.x_m + a.length_m, b.x_m, b.x_m + b.length_m)
                        || apart(a.y_m, a.y_m + a.width_m, b.y_m, b.y_m + b.width_m),
                    "{a:?} {b:?}"
                );
            }
        }
        sheets
    }

    #[test]
    fn pieces_keep_apart_and_inside() {
        assert_eq!(sound(&[cut(2.44, 1.22, 3)]), 3);
        // Two halves of a sheet do not fit beside a cut; 2 mm less each do.
        assert_eq!(sound(&[cut(1.22, 1.22, 2)]), 2);
        assert_eq!(sound(&[cut(1.218, 1.22, 2)]), 1);
        let mut many = Vec::new();
        let mut state = 12345_u64;
        for _ in 0..80 {
            let mut draw = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (state >> 40) as f64 / 16_777_216.0
            };
            many.push(cut(0.1 + 2.3 * draw(), 0.1 + 1.1 * draw(), 1 + (3.0 * draw()) as usize));
        }
        let sheets = sound(&many);
        let area: f64 = many.iter().map(|c| c.length_m * c.width_m * c.count as f64).sum();
        // The published bound of this packing: 1.7 times the least height, and one shelf.
        assert!((sheets as f64) < 2.0 * area / (2.44 * 1.22) + 3.0, "{sheets} sheets for {area} m²");
        assert_eq!(lay(&[cut(2.5, 0.1, 1)], &SHEET), None);
        assert_eq!(lay(&[cut(1.3, 1.23, 1)], &SHEET), None);
    }

    #[test]
    fn timbers_are_sawn_whole() {
        let sawn = saw(&[(1.19, 10), (2.4, 3)], 4.8, 0.004).unwrap();
        assert_eq!(sawn.sawing.iter().map(Vec::len).sum::<usize>(), 13);
        assert!((sawn.sawn_m - 19.1).abs() < 1e-9);
        for list in &sawn.sawing {
            let used_m: f64 = list.iter().sum::<f64>() + 0.004 * (list.len() - 1) as f64;
            assert!(used_m <= 4.8 + 1e-6, "{list:?}");
        }
        assert_eq!(saw(&[(5.0, 1)], 4.8, 0.004), None);
    }
}
