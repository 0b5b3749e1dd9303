//! The same jump onto dirt: the equivalent fall height against a published table of loose fill.

use super::results::{Dirt, LooseFill, OrWhy};

/// US CPSC Publication 325 (Public Playground Safety Handbook), Table 2: compressed depth and fall height of loose fill.
/// The table is about falls of children from playground equipment, and is a comparison, not a limit for riders.
pub const LOOSE_FILL: [(&str, f64, f64); 5] = [
    ("shredded rubber", 0.1524, 3.048),
    ("sand", 0.2286, 1.2192),
    ("pea gravel", 0.2286, 1.524),
    ("wood mulch", 0.2286, 2.1336),
    ("wood chips", 0.2286, 3.048),
];

/// Loose fill is compressed in use; it is filled in deeper by this factor (the handbook: at least 25 % compression, 12 in for 9 in).
pub const FILL_FACTOR: f64 = 12.0 / 9.0;

/// Compares a fall height with the table.
pub fn compare(equivalent_fall_height_m: f64, hard_fall_height_m: OrWhy<f64>) -> Dirt {
    let loose_fill = LOOSE_FILL
        .iter()
        .map(|(material, depth_m, table_fall_height_m)| LooseFill {
            material,
            depth_m: *depth_m,
            table_fall_height_m: *table_fall_height_m,
            within: equivalent_fall_height_m <= *table_fall_height_m,
        })
        .collect();
    Dirt { equivalent_fall_height_m, hard_fall_height_m, loose_fill }
}
