//! Intervals of parameters of which one leaves the posterior skew: it is walked along, the others are normal beside it.
//!
//! At each station of the path the walked parameter is held, the others have a normal posterior for given scales of the
//! errors, averaged over the scales; the density of the data there is the station's weight. Between stations the
//! logarithm of the density is a cubic through the four nearest and the normals move linearly. Each parameter's 2.5 %,
//! 50 % and 97.5 % points are those of the sum: the approximation of Tierney and Kadane 1986, J. Am. Stat. Assoc.
//! 81(393):82–86, nested as by Rue, Martino and Chopin 2009, J. R. Stat. Soc. B 71(2):319–392 (both from memory).

use nalgebra::{DMatrix, DVector};

/// Parts of the way from one station to the next.
const PARTS: usize = 4;

/// Normal posterior of all parameters (no variance of the walked one) with its share of a station.
#[derive(Clone, Debug)]
pub struct Cloud {
    /// Share of the station.
    pub share: f64,
    /// Mean of each parameter.
    pub mean: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
}

/// The posterior with the walked parameter held at a place. All stations have the same number of clouds.
#[derive(Clone, Debug)]
pub struct Station {
    /// The walked parameter.
    pub place: f64,
    /// Logarithm of the density there, but for a constant.
    pub log_density: f64,
    /// The other parameters.
    pub clouds: Vec<Cloud>,
}

/// What is known of one parameter.
#[derive(Clone, Copy, Debug)]
pub struct Marginal {
    /// 2.5 % point.
    pub low: f64,
    /// 50 % point.
    pub median: f64,
    /// 97.5 % point.
    pub high: f64,
}

/// The posterior of all parameters.
#[derive(Clone, Debug)]
pub struct Joint {
    /// Each parameter's own.
    pub marginals: Vec<Marginal>,
    /// Covariance.
    pub covariance: DMatrix<f64>,
}

/// Weights over `parts` of each interval: (place, width, station before, share of the way, mass).
struct Cell {
    place: f64,
    width: f64,
    before: usize,
    way: f64,
    mass: f64,
}

/// The stations' sum; `walked` is the index of the parameter that they walk along, `stations` in its rising order.
/// None where there are fewer than four stations.
#[must_use]
pub fn joint(stations: &[Station], walked: usize) -> Option<Joint> {
    let cells = cells(stations)?;
    let n = stations.first()?.clouds.first()?.mean.len();
    let mut clouds: Vec<Cloud> = Vec::new();
    for cell in &cells {
        let (a, b) = (stations.get(cell.before)?, stations.get(cell.before + 1)?);
        let mean_of = |station: &Station| -> DVector<f64> {
            station.clouds.iter().fold(DVector::zeros(n), |sum, cloud| sum + &cloud.mean * cloud.share)
        };
        let apart = mean_of(b) - mean_of(a);
        for (station, share, by) in [(a, 1.0 - cell.way, cell.way), (b, cell.way, cell.way - 1.0)] {
            for cloud in &station.clouds {
                let mass = cell.mass * share * cloud.share;
                if mass < 1e-8 {
                    continue;
                }
                let mut mean = &cloud.mean + &apart * by;
                *mean.get_mut(walked)? = cell.place;
                clouds.push(Cloud { share: mass, mean, covariance: cloud.covariance.clone() });
            }
        }
    }
    let total: f64 = clouds.iter().map(|cloud| cloud.share).sum();
    let mean = clouds.iter().fold(DVector::zeros(n), |sum, cloud| sum + &cloud.mean * (cloud.share / total));
    let mut covariance = DMatrix::zeros(n, n);
    for cloud in &clouds {
        let off = &cloud.mean - &mean;
        covariance += (&cloud.covariance + &off * off.transpose()) * (cloud.share / total);
    }
    let marginals = (0..n)
        .map(|i| {
            if i == walked {
                return Some(Marginal {
                    low: quantile_of_cells(&cells, 0.025)?,
                    median: quantile_of_cells(&cells, 0.5)?,
                    high: quantile_of_cells(&cells, 0.975)?,
                });
            }
            let normals: Vec<(f64, f64, f64)> = clouds
                .iter()
                .map(|cloud| (cloud.share / total, cloud.mean[i], cloud.covariance[(i, i)].sqrt()))
                .collect();
            let (centre, sd) = (mean[i], covariance[(i, i)].sqrt());
            let point = |share| quantile(&normals, share, centre, sd);
            Some(Marginal { low: point(0.025), median: point(0.5), high: point(0.975) })
        })
        .collect::<Option<Vec<_>>>()?;
    Some(Joint { marginals, covariance })
}

fn cells(stations: &[Station]) -> Option<Vec<Cell>> {
    if stations.len() < 4 {
        return None;
    }
    let largest = stations.iter().map(|station| station.log_density).fold(f64::NEG_INFINITY, f64::max);
    let mut out = Vec::new();
    for (before, pair) in stations.windows(2).enumerate() {
        let (from, to) = (pair.first()?.place, pair.last()?.place);
        let near = stations.get(before.saturating_sub(1).min(stations.len() - 4)..)?.get(..4)?;
        for part in 0..PARTS {
            let way = (part as f64 + 0.5) / PARTS as f64;
            let place = from + way * (to - from);
            let log: f64 = near
                .iter()
                .map(|a| {
                    let others = near.iter().filter(|b| b.place != a.place);
                    a.log_density * others.map(|b| (place - b.place) / (a.place - b.place)).product::<f64>()
                })
                .sum();
            let width = (to - from) / PARTS as f64;
            out.push(Cell { place, width, before, way, mass: (log - largest).exp() * width });
        }
    }
    let total: f64 = out.iter().map(|cell| cell.mass).sum();
    out.iter_mut().for_each(|cell| cell.mass /= total);
    (total > 0.0 && total.is_finite()).then_some(out)
}

fn quantile_of_cells(cells: &[Cell], share: f64) -> Option<f64> {
    let mut below = 0.0;
    for cell in cells {
        if below + cell.mass >= share {
            return Some(cell.place + cell.width * ((share - below) / cell.mass - 0.5));
        }
        below += cell.mass;
    }
    cells.last().map(|cell| cell.place + 0.5 * cell.width)
}

/// Where the sum of normals (share, mean, standard deviation) reaches a share: Newton's method inside a bracket.
fn quantile(normals: &[(f64, f64, f64)], share: f64, centre: f64, sd: f64) -> f64 {
    let (mut low, mut high) = (centre - 10.0 * sd, centre + 10.0 * sd);
    let mut at = centre
        + sd * if share < 0.4 {
            -1.96
        } else if share > 0.6 {
            1.96
        } else {
            0.0
        };
    for _ in 0..60 {
        let (mut below, mut density) = (0.0, 0.0);
        for (weight, mean, sd) in normals {
            let z = (at - mean) / sd;
            below += weight * 0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2);
            density += weight * (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt());
        }
        if below < share {
            low = at;
        } else {
            high = at;
        }
        let step = at + (share - below) / density;
        let next = if step > low && step < high { step } else { 0.5 * (low + high) };
        let moved = (next - at).abs();
        at = next;
        if moved < 1e-5 * sd {
            break;
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A path with known sums: the walked x is a skew gamma density's logarithm, the other is 2 x plus a normal.
    #[test]
    fn a_skew_density_has_its_own_quantiles() {
        // x = ln g, g of a gamma density of shape 3: log density 3 x − exp x.
        let stations: Vec<Station> = (0..34)
            .map(|i| {
                let x = -3.6 + 0.2 * f64::from(i);
                let mut covariance = DMatrix::zeros(2, 2);
                covariance[(1, 1)] = 0.01;
                let mean = DVector::from_vec(vec![x, 2.0 * x]);
                let cloud = Cloud { share: 0.5, mean, covariance };
                Station { place: x, log_density: 3.0 * x - x.exp(), clouds: vec![cloud.clone(), cloud] }
            })
            .collect();
        let joint = joint(&stations, 0).unwrap();
        let x = joint.marginals[0];
        // Chi-square of 6 degrees of freedom over 2: 1.2373, 5.3481 and 14.4494 of published tables.
        for (got, chi) in [(x.low, 1.2373f64), (x.median, 5.3481), (x.high, 14.4494)] {
            assert!((got - (chi / 2.0).ln()).abs() < 2e-3, "{got} for {}", (chi / 2.0).ln());
        }
        // Variance of ln g is the trigamma function at 3, π²/6 − 1 − 1/4.
        let variance = std::f64::consts::PI.powi(2) / 6.0 - 1.25;
        assert!((joint.covariance[(0, 0)] / variance - 1.0).abs() < 5e-3, "{}", joint.covariance[(0, 0)]);
        assert!((joint.covariance[(1, 1)] / (4.0 * variance + 0.01) - 1.0).abs() < 5e-3);
        // A normal of a tenth beside it moves the other's points by less than 1 %.
        assert!((joint.marginals[1].median - 2.0 * x.median).abs() < 0.02);
        assert!((joint.marginals[1].low - 2.0 * x.low).abs() < 0.02);
    }

    #[test]
    fn three_stations_are_no_path() {
        let cloud = Cloud { share: 1.0, mean: DVector::zeros(1), covariance: DMatrix::zeros(1, 1) };
        let station = |place| Station { place, log_density: 0.0, clouds: vec![cloud.clone()] };
        assert!(joint(&[station(0.0), station(1.0), station(2.0)], 0).is_none());
    }
}
