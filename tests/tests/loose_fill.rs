//! Figures that the planner itself holds: the table of loose fill, and the wind that anchors are for.

use landfall_plan::plan::dirt::LOOSE_FILL;
use landfall_tests::checks::{Check, Scale};

#[test]
fn the_wind_that_anchors_are_for_is_38_kmh() {
    // EN 14960-1:2019 Annex A (from memory).
    assert!((landfall_plan::site::demo().anchors.wind_mps / (38.0 / 3.6) - 1.0).abs() < 1e-6);
}

#[test]
fn the_loose_fill_table() {
    // US CPSC Publication 325, table 2, in inches of compressed depth and feet of fall.
    let mut check = Check::new("loose_fill", Scale::Relative, 1e-8);
    let table = [
        ("shredded rubber", 6.0, 10.0),
        ("sand", 9.0, 4.0),
        ("pea gravel", 9.0, 5.0),
        ("wood mulch", 9.0, 7.0),
        ("wood chips", 9.0, 10.0),
    ];
    assert_eq!(LOOSE_FILL.len(), table.len());
    for (material, inches, feet) in table {
        let ours = LOOSE_FILL.iter().find(|row| row.0 == material).unwrap();
        check.note(format!("{material} depth"), ours.1, inches * 0.0254);
        check.note(format!("{material} fall"), ours.2, feet * 0.3048);
        // Just below the table's fall height it is within, just above not.
        for (factor, within) in [(0.999, true), (1.001, false)] {
            let dirt = landfall_plan::plan::dirt::compare(
                feet * 0.3048 * factor,
                landfall_plan::plan::results::OrWhy::default(),
            );
            let row = dirt.loose_fill.iter().find(|row| row.material == material).unwrap();
            assert_eq!(row.within, within, "{material} {factor}");
        }
    }
    check.finish();
}
