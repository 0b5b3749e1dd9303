//! What a builder chooses: spacings, stock, thicknesses; each with an assumed default.

use serde::Serialize;

/// Choices of the builder. Units: m. The defaults are usual sizes of plywood and sawn timber, and are assumed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Choices {
    /// Between the rows of the offsets table.
    pub offset_spacing_m: f64,
    /// Between joists, along the surface.
    pub joist_spacing_m: f64,
    /// Thickness of a joist, along the surface.
    pub joist_width_m: f64,
    /// Depth of a joist, across the surface.
    pub joist_depth_m: f64,
    /// Most between two panels or ribs, across the ramp.
    pub panel_spacing_m: f64,
    /// Thickness of a panel or rib.
    pub panel_thickness_m: f64,
    /// Depth of a rib under an arc that does not stand on the ground.
    pub rib_depth_m: f64,
    /// Layers of riding sheets.
    pub layers: u8,
    /// Thickness of one layer.
    pub layer_thickness_m: f64,
    /// Longer side of a stock sheet.
    pub sheet_length_m: f64,
    /// Shorter side of a stock sheet.
    pub sheet_width_m: f64,
    /// Width of the saw's cut.
    pub kerf_m: f64,
    /// Length of a stock timber.
    pub timber_length_m: f64,
    /// Width of the roll-in; `None`: the take-off's.
    pub roll_in_width_m: Option<f64>,
    /// Length of the level platform at the start.
    pub platform_m: f64,
}

impl Default for Choices {
    fn default() -> Self {
        Self {
            offset_spacing_m: 0.1,
            joist_spacing_m: 0.2,
            joist_width_m: 0.045,
            joist_depth_m: 0.095,
            panel_spacing_m: 1.22,
            panel_thickness_m: 0.018,
            rib_depth_m: 0.3,
            layers: 2,
            layer_thickness_m: 0.009,
            sheet_length_m: 2.44,
            sheet_width_m: 1.22,
            kerf_m: 0.004,
            timber_length_m: 4.8,
            roll_in_width_m: None,
            platform_m: 2.4,
        }
    }
}

/// Why there is no build sheet.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum BuildError {
    /// A choice outside its range.
    Choice {
        /// Its option on the command line.
        option: &'static str,
        /// Stated, m.
        got: f64,
        /// Lowest taken.
        low: f64,
        /// Highest taken.
        high: f64,
    },
    /// An arc that turns downward so tightly that nothing is left under its surface.
    Tight {
        /// Name of the part.
        part: String,
        /// Its radius.
        radius_m: f64,
        /// Deck and rib together.
        needed_m: f64,
    },
    /// A template of a part that there is not.
    NoPart {
        /// What was asked for.
        asked: String,
        /// What there is.
        parts: Vec<String>,
    },
    /// A page that the format does not hold.
    TooLarge {
        /// Longer side of the drawing.
        longest_mm: f64,
        /// What the format holds.
        most_mm: f64,
    },
}

impl std::fmt::Display for BuildError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Choice { option, got, low, high } => {
                write!(f, "{option}: {got} m is outside {low} m to {high} m")
            }
            Self::Tight { part, radius_m, needed_m } => write!(
                f,
                "{part}: its radius of {radius_m} m turns downward and leaves no room for the {needed_m} m of deck and \
                 rib under it; take thinner ones (--rib-depth, --layer)"
            ),
            Self::NoPart { asked, parts } => {
                write!(f, "there is no part {asked:?}; the parts with a template are {}", parts.join(", "))
            }
            Self::TooLarge { longest_mm, most_mm } => write!(
                f,
                "the drawing is {longest_mm:.0} mm long and a PDF page holds {most_mm:.0} mm; take --tiles, or an SVG \
                 or DXF file"
            ),
        }
    }
}

impl std::error::Error for BuildError {}

impl Choices {
    /// Tests every choice; NaN falls out.
    ///
    /// # Errors
    /// [`BuildError::Choice`] for the first that is out of range.
    pub fn check(&self) -> Result<(), BuildError> {
        let ranges = [
            ("--offsets", self.offset_spacing_m, 0.005, 2.0),
            ("--joists", self.joist_spacing_m, 0.05, 2.0),
            ("--joist-width", self.joist_width_m, 0.01, 0.3),
            ("--joist-depth", self.joist_depth_m, 0.01, 0.5),
            ("--panels", self.panel_spacing_m, 0.1, 5.0),
            ("--panel-thickness", self.panel_thickness_m, 0.005, 0.1),
            ("--rib-depth", self.rib_depth_m, 0.05, 2.0),
            ("--layer", self.layer_thickness_m, 0.002, 0.05),
            ("--sheet (longer side)", self.sheet_length_m, 0.3, 20.0),
            ("--sheet (shorter side)", self.sheet_width_m, 0.3, self.sheet_length_m),
            ("--kerf", self.kerf_m, 0.0, 0.02),
            ("--timber", self.timber_length_m, 0.5, 20.0),
            ("--roll-in-width", self.roll_in_width_m.unwrap_or(1.0), 0.3, 20.0),
            ("--platform", self.platform_m, 0.0, 20.0),
        ];
        for (option, got, low, high) in ranges {
            if !(got >= low && got <= high) {
                return Err(BuildError::Choice { option, got, low, high });
            }
        }
        Ok(())
    }

    /// Thickness of all layers of riding sheets.
    #[must_use]
    pub fn deck_m(&self) -> f64 {
        f64::from(self.layers) * self.layer_thickness_m
    }

    /// Panels or ribs side by side under a width, and the clear length of a joist between two of them.
    #[must_use]
    pub fn panels(&self, width_m: f64) -> (usize, f64) {
        let bays = ((width_m - self.panel_thickness_m) / self.panel_spacing_m - 1e-9).ceil().max(1.0);
        let panels = bays + 1.0;
        (panels as usize, ((width_m - panels * self.panel_thickness_m) / bays).max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_are_inside_and_faults_are_named() {
        let usual = Choices::default();
        assert_eq!(usual.check(), Ok(()));
        assert_eq!(usual.panels(2.4384), (3, (2.4384 - 0.054) / 2.0));
        for (wrong, option) in [
            (Choices { kerf_m: f64::NAN, ..usual }, "--kerf"),
            (Choices { sheet_width_m: 3.0, ..usual }, "--sheet (shorter side)"),
            (Choices { joist_spacing_m: 0.0, ..usual }, "--joists"),
        ] {
            assert!(matches!(wrong.check(), Err(BuildError::Choice { option: o, .. }) if o == option));
        }
    }
}
