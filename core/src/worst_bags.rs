//! Finding the possible bag at the 95 % place without trying all of them in full.
//!
//! All bags are put in order by a closed form; the one at the place by that order is tried in full, and one landing at
//! its level tells of each bag round the place whether it is the worse. Those nearest to the place are then tried in
//! full. What lies far from the place by the closed form is taken to lie on its side of it: looking ends when
//! [`RUN`] bags in a row did. Tests compare with trying all.

use crate::error::InputError;
use crate::possible_bags::{PLACE_05, POSSIBLE_BAGS, PossibleBag, PossibleBags};

/// How many bags in a row must lie on their side of the place before looking further ends.
const RUN: usize = 12;
/// Bags to either side of the place that are tried in full.
const NEAR: usize = 2;
/// Times that a place by the closed form may turn out too far off before all are tried.
const ROUNDS: u8 = 4;
const N: usize = POSSIBLE_BAGS as usize;
/// Index of the place in an order from the worst.
const PLACE: usize = PLACE_05 as usize - 1;

/// What a possible bag is put to. Larger is worse throughout.
pub(crate) trait Ordeal {
    /// By closed form.
    fn estimate(&self, bag: &PossibleBag) -> Result<f32, InputError>;
    /// By one landing at a level that [`Ordeal::exact`] gave: above 0 where the bag is the worse.
    fn against(&self, bag: &PossibleBag, level: f32) -> Result<f32, InputError>;
    /// In full.
    fn exact(&self, bag: &PossibleBag) -> Result<f32, InputError>;
    /// Whether a level is one that a landing can be made at: not an end of the search, where many bags may lie.
    fn is_level(&self, level: f32) -> bool;
    /// What decides between bags of the same value.
    fn tie(&self, _bag: &PossibleBag) -> Result<f32, InputError> {
        Ok(0.0)
    }
}

/// A possible bag and its value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    pub(crate) number: u16,
    pub(crate) value: f32,
}

const NOWHERE: Placed = Placed { number: 1, value: 0.0 };

/// All bags in order from the worst by closed form.
pub(crate) fn in_order(bags: &PossibleBags, ordeal: &impl Ordeal) -> Result<[Placed; N], InputError> {
    let mut order = [NOWHERE; N];
    for (slot, number) in order.iter_mut().zip(1..) {
        *slot = Placed { number, value: ordeal.estimate(&bags.bag(number))? };
    }
    sort(&mut order);
    Ok(order)
}

/// From the worst; equal values in the order of their numbers.
fn sort(placed: &mut [Placed]) {
    placed.sort_unstable_by(|a, b| b.value.total_cmp(&a.value).then(a.number.cmp(&b.number)));
}

fn get(placed: &[Placed], index: usize) -> Placed {
    placed.get(index).copied().unwrap_or(NOWHERE)
}

/// The bag at the place, and its value.
pub(crate) fn at_place(bags: &PossibleBags, ordeal: &impl Ordeal) -> Result<Placed, InputError> {
    let order = in_order(bags, ordeal)?;
    let mut candidate = get(&order, PLACE).number;
    for _ in 0..ROUNDS {
        let level = ordeal.exact(&bags.bag(candidate))?;
        if !ordeal.is_level(level) {
            break;
        }
        // The bags from `first` to `end` of the order are landed on.
        let mut tried = order;
        let mut try_one = |index: usize| -> Result<bool, InputError> {
            let number = get(&order, index).number;
            let value = ordeal.against(&bags.bag(number), level)?;
            if let Some(slot) = tried.get_mut(index) {
                slot.value = value;
            }
            Ok(value > 0.0)
        };
        let (first, end) = window(&mut try_one)?;
        let tried = tried.get_mut(first..end).unwrap_or(&mut []);
        sort(tried);
        let place = PLACE - first.min(PLACE);
        let found = get(tried, place);
        // How many lie between the candidate and the place: further off, its level tells too little of what is near.
        let own = tried.iter().position(|placed| placed.number == candidate).unwrap_or(place);
        if own.abs_diff(place) > 3 * NEAR {
            candidate = found.number;
            continue;
        }
        let (from, to) = (place.saturating_sub(NEAR), (place + NEAR + 1).min(tried.len()));
        let near = tried.get_mut(from..to).unwrap_or(&mut []);
        for placed in &mut *near {
            placed.value = if placed.number == candidate { level } else { ordeal.exact(&bags.bag(placed.number))? };
        }
        sort(near);
        let found = get(near, place - from);
        if ordeal.is_level(found.value) {
            return Ok(found);
        }
        break;
    }
    at_place_of_all(bags, ordeal)
}

/// Lands on bags outward from the place until [`RUN`] in a row lie on their side; gives the range landed on.
fn window(try_one: &mut impl FnMut(usize) -> Result<bool, InputError>) -> Result<(usize, usize), InputError> {
    let (mut first, mut run) = (PLACE + 1, 0);
    while first > 0 && run < RUN {
        first -= 1;
        run = if try_one(first)? || first == PLACE { run + 1 } else { 0 };
    }
    let (mut end, mut run) = (PLACE + 1, 0);
    while end < N && run < RUN {
        run = if try_one(end)? { 0 } else { run + 1 };
        end += 1;
    }
    Ok((first, end))
}

/// The same by trying every bag in full.
pub(crate) fn at_place_of_all(bags: &PossibleBags, ordeal: &impl Ordeal) -> Result<Placed, InputError> {
    let mut all = [(0.0_f32, 0.0_f32, 0_u16); N];
    for (slot, number) in all.iter_mut().zip(1..) {
        let bag = bags.bag(number);
        *slot = (ordeal.exact(&bag)?, 0.0, number);
    }
    let by_value =
        |a: &(f32, f32, u16), b: &(f32, f32, u16)| b.0.total_cmp(&a.0).then(b.1.total_cmp(&a.1)).then(a.2.cmp(&b.2));
    all.sort_unstable_by(by_value);
    let (value, _, _) = all.get(PLACE).copied().unwrap_or_default();
    // Only where several come to the value of the place does it matter what decides between them.
    if all.iter().filter(|one| one.0 == value).count() > 1 {
        for one in all.iter_mut().filter(|one| one.0 == value) {
            one.1 = ordeal.tie(&bags.bag(one.2))?;
        }
        all.sort_unstable_by(by_value);
    }
    let (value, _, number) = all.get(PLACE).copied().unwrap_or_default();
    Ok(Placed { number, value })
}

/// How many bags are worse than a level, by one landing each round the place where the order crosses it.
pub(crate) fn count_worse(bags: &PossibleBags, ordeal: &impl Ordeal, level: f32) -> Result<u16, InputError> {
    let order = in_order(bags, ordeal)?;
    let mut known = [None::<bool>; N];
    let mut worse = |index: usize| -> Result<bool, InputError> {
        let Some(slot) = known.get_mut(index) else { return Ok(false) };
        if let Some(known) = *slot {
            return Ok(known);
        }
        let found = ordeal.against(&bags.bag(get(&order, index).number), level)? > 0.0;
        *slot = Some(found);
        Ok(found)
    };
    let (mut low, mut high) = (0, N);
    while low < high {
        let middle = usize::midpoint(low, high);
        if worse(middle)? { low = middle + 1 } else { high = middle }
    }
    let (mut first, mut run) = (low, 0);
    while first > 0 && run < RUN {
        first -= 1;
        run = if worse(first)? { run + 1 } else { 0 };
    }
    let (mut end, mut run) = (low, 0);
    while end < N && run < RUN {
        run = if worse(end)? { 0 } else { run + 1 };
        end += 1;
    }
    let mut count = u16::try_from(first).unwrap_or(POSSIBLE_BAGS);
    for index in first..end {
        count += u16::from(worse(index)?);
    }
    Ok(count)
}
