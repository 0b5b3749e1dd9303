//! The posterior of the bag's values along its leak.
//!
//! From the most probable point the logarithm of the leak is walked up and down in half standard deviations, further
//! out in growing ones, until the density has fallen to e^−9 of the largest or the bag does not stand. At each station
//! the other parameters are fitted anew with the leak held ([`super::along`] sums up).

use nalgebra::{DMatrix, DVector};

use super::along::{Cloud, Joint, Station, joint};
use super::bag_fit::{Bench, Part};

/// First steps, in standard deviations of the leak's logarithm about the most probable point.
const STEP_SD: f64 = 0.5;
/// So many of them, then each is longer by [`GROWTH`].
const EVEN_STEPS: usize = 5;
const GROWTH: f64 = 1.2;
/// Most steps to a side.
const MOST_STEPS: usize = 30;
/// Logarithm of the density below the largest at which the walk ends.
const END: f64 = 9.0;
/// The others are fitted again where they moved by more than this share of their standard deviation, at most so often.
const MOVED_SD: f64 = 0.2;
const MOST_FITS: usize = 4;

/// What is known of each parameter's logarithm. `here` and `log_scales` are the most probable ones, `covariance` that
/// of all parameters about them.
pub(super) fn marginals(
    bench: &Bench<'_>,
    measured: &[Part],
    here: &[f64],
    log_scales: &[f64],
    covariance: &DMatrix<f64>,
) -> Option<Joint> {
    let leak = bench.leak_at()?;
    let first_step = STEP_SD * covariance.get((leak, leak))?.sqrt();
    let middle = station(bench, measured, leak, here.to_vec(), log_scales)?;
    let mut largest = middle.station.log_density;
    let mut sides = [Vec::new(), Vec::new()];
    for (side, sign) in sides.iter_mut().zip([-1.0, 1.0]) {
        let (mut step, mut last, mut earlier) = (first_step * sign, middle.clone(), None::<Found>);
        for count in 0..MOST_STEPS {
            // Where the others are on the line through the last two stations.
            let place = last.station.place + step;
            let mut start = last.mode.clone();
            if let Some(earlier) = &earlier {
                let way = step / (last.station.place - earlier.station.place);
                for (value, before) in start.iter_mut().zip(&earlier.mode) {
                    *value += way * (*value - before);
                }
            }
            *start.get_mut(leak)? = place;
            let Some(found) = station(bench, measured, leak, start, &last.log_scales) else { break };
            largest = largest.max(found.station.log_density);
            let over = found.station.log_density < largest - END;
            side.push(found.station.clone());
            if over {
                break;
            }
            earlier = Some(std::mem::replace(&mut last, found));
            if count + 1 >= EVEN_STEPS {
                step *= GROWTH;
            }
        }
    }
    let [down, up] = sides;
    let stations: Vec<Station> = down.into_iter().rev().chain([middle.station]).chain(up).collect();
    joint(&stations, leak)
}

/// A station and where the next one begins.
#[derive(Clone)]
struct Found {
    station: Station,
    mode: Vec<f64>,
    log_scales: Vec<f64>,
}

fn station(bench: &Bench<'_>, measured: &[Part], leak: usize, start: Vec<f64>, log_scales: &[f64]) -> Option<Found> {
    let others: Vec<usize> = (0..start.len()).filter(|index| *index != leak).collect();
    let (mut at, mut scales) = (start, log_scales.to_vec());
    for fit in 1..=MOST_FITS {
        let (linear, _) = bench.linear(measured, &at, &others)?;
        let (mode, curvature) = linear.most_probable(&scales, None)?;
        scales = mode;
        let best = linear.given(&scales, None)?;
        let sds = best.covariance.diagonal().map(f64::sqrt);
        let moved = best.mean.component_div(&sds).amax();
        if moved > MOVED_SD && fit < MOST_FITS {
            for (index, by) in others.iter().zip(best.mean.iter()) {
                *at.get_mut(*index)? += by;
            }
            continue;
        }
        let nodes = linear.nodes(&scales, &curvature)?;
        let largest = nodes.iter().map(|node| node.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = nodes.iter().map(|node| (node.log_weight - largest).exp()).sum();
        let n = at.len();
        let mut clouds = Vec::new();
        for node in &nodes {
            let mut mean = DVector::from_column_slice(&at);
            let mut covariance = DMatrix::zeros(n, n);
            for (i, to_i) in others.iter().enumerate() {
                *mean.get_mut(*to_i)? += node.given.mean.get(i)?;
                for (j, to_j) in others.iter().enumerate() {
                    *covariance.get_mut((*to_i, *to_j))? = *node.given.covariance.get((i, j))?;
                }
            }
            clouds.push(Cloud { share: (node.log_weight - largest).exp() / sum, mean, covariance });
        }
        let place = *at.get(leak)?;
        let prior = (place - bench.before.get(leak)?) / bench.before_sd.get(leak)?;
        let log_density = largest + sum.ln() - 0.5 * prior * prior;
        for (index, by) in others.iter().zip(best.mean.iter()) {
            *at.get_mut(*index)? += by;
        }
        return Some(Found { station: Station { place, log_density, clouds }, mode: at, log_scales: scales });
    }
    None
}
