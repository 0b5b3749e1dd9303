//! Two values of a draft against each other.

use super::draft::Draft;
use super::fault::Complaint;
use super::ranges::{names, show, single};

/// Complains unless `smaller < larger` (or `<=` where they may be equal).
pub(super) fn ordered(draft: &Draft, smaller: &str, larger: &str, equal: bool, blame: &str, out: &mut Vec<Complaint>) {
    let (Some(a), Some(b)) = (draft.n(smaller), draft.n(larger)) else { return };
    if single(a) < single(b) || (equal && a == b) {
        return;
    }
    let must = if equal { "must not be more than" } else { "must be less than" };
    let (less, more) = (names(&[smaller]), names(&[larger]));
    out.push(Complaint::new(
        blame,
        format!("{less} ({}) {must} {more} ({})", show(smaller, a), show(larger, b)),
        format!("correct {less} or {more}; perhaps they are swapped"),
    ));
}

/// A concave radius must be larger than the height of the centre of mass, or the model has no answer.
pub(super) fn above_mass_height(dotted: &str, draft: &Draft, out: &mut Vec<Complaint>) {
    if let (Some(radius), Some(height)) = (draft.n(dotted), draft.n("rider.mass_height"))
        && single(radius) <= single(height)
    {
        out.push(Complaint::new(
            dotted,
            format!("{} is not above rider.mass_height ({})", show(dotted, radius), show("rider.mass_height", height)),
            "check the radius and its unit: a rider's centre of mass must fit inside the arc",
        ));
    }
}
