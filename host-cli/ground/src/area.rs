//! What polygons enclose.

/// Area of a simple polygon by the shoelace rule, positive whichever way round its corners are given:
/// `|Σ (x_i y_(i+1) − x_(i+1) y_i)| / 2`.
#[must_use]
pub fn polygon_m2(corners: &[(f64, f64)]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    let twice: f64 = corners.iter().zip(next).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum();
    twice.abs() / 2.0
}
