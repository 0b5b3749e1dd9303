//! Times from a video: frames counted between two events, with what counting rounds off.
//!
//! # Settled here
//! - **Clocks** of film and box are joined where the load comes to rest: there the pressure has its sharpest corner.

/// A time from counted frames.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct FrameTime {
    /// Frames from the first event's to the second's.
    pub frames: f64,
    /// Frames a second.
    pub rate_hz: f64,
    /// Time, s.
    pub time_s: f64,
    /// Standard deviation of what counting rounds off, s.
    pub sd_s: f64,
}

impl FrameTime {
    /// n / f, with the standard deviation 1/(f √6).
    ///
    /// Each event is seen in the first frame after it, up to one frame late and equally likely anywhere in between:
    /// a uniform distribution of standard deviation 1/(f √12). The difference of two such is triangular, with √2
    /// times that.
    #[must_use]
    pub fn new(frames: f64, rate_hz: f64) -> Self {
        Self { frames, rate_hz, time_s: frames / rate_hz, sd_s: 1.0 / (rate_hz * 6.0_f64.sqrt()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pair of phases on a fine grid: the mean is unbiased and the scatter is what is stated.
    #[test]
    fn rounding_has_the_stated_scatter() {
        let (rate, length_s) = (50.0, 1.2345);
        let n = 400;
        let (mut sum, mut square, mut count) = (0.0, 0.0, 0.0);
        for i in 0..n {
            let start = f64::from(i) / f64::from(n) / rate;
            // The end's phase is as free as the start's.
            for j in 0..n {
                let end = start + length_s + f64::from(j) / f64::from(n) / rate;
                let frames = (end * rate).ceil() - (start * rate).ceil();
                let off = FrameTime::new(frames, rate).time_s - (end - start);
                sum += off;
                square += off * off;
                count += 1.0;
            }
        }
        let mean: f64 = sum / count;
        let sd = (square / count - mean * mean).sqrt();
        let stated = FrameTime::new(62.0, rate).sd_s;
        assert!(mean.abs() < 1e-4 && (sd / stated - 1.0).abs() < 0.01, "{mean} {sd} {stated}");
    }
}
