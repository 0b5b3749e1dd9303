//! Site files to begin with: the starter, and others like it in another size.

use super::example::starter;
use super::write::SiteFile;

/// What an example is like.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub enum Like {
    /// A low practice kicker with a thick bag, for whoever learns it.
    Small,
    /// A high kicker from a platform: the starter file itself.
    #[default]
    Big,
    /// A ride down on a hill's own slope, of sections, with a long bag.
    Hill,
}

impl Like {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Small, Self::Big, Self::Hill];

    /// Its name.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Small => "small",
            Self::Big => "big",
            Self::Hill => "hill",
        }
    }

    /// What differs from the starter file, as the file has it; `None` takes a key out.
    const fn edits(self) -> &'static [(&'static str, Option<&'static str>)] {
        match self {
            Self::Big => &[],
            Self::Small => &[
                ("site.name", Some("Our practice kicker")),
                ("rider.mass", Some("62 kg")),
                ("rider.lightest", Some("38 kg")),
                ("rider.heaviest", Some("92 kg")),
                ("roll_in.start_height", Some("3.5 m")),
                ("roll_in.slope", Some("25 deg")),
                ("roll_in.bottom_radius", Some("5 m")),
                ("roll_in.flat_run", Some("3 m")),
                ("takeoff.height", Some("1.1 m")),
                ("takeoff.radius", Some("3.4 m")),
                ("bag.length", Some("8 m")),
                ("bag.width", Some("6 m")),
                ("bag.front_height", Some("1.8 m")),
                ("bag.back_height", Some("1.8 m")),
                ("bag.gap", Some("0.2 m")),
                ("bag.base_level", Some("-0.8 m")),
            ],
            Self::Hill => &[
                ("site.name", Some("Our hill")),
                ("rider.lightest", Some("58 kg")),
                ("rider.heaviest", Some("95 kg")),
                ("roll_in.start_height", Some("5.22 m")),
                ("roll_in.slope", None),
                ("roll_in.bottom_radius", None),
                ("roll_in.flat_run", None),
                (
                    "roll_in.section",
                    Some(
                        "[{straight = \"12 m\", slope = \"22 deg\"}, {arc = \"10 m\", turn = \"22 deg\"}, {straight = \"5 m\"}]",
                    ),
                ),
                ("roll_in.rolling_resistance", Some("0.02")),
                ("takeoff.height", Some("1.8 m")),
                ("takeoff.radius", Some("5.5 m")),
                ("bag.length", Some("14 m")),
                ("bag.width", Some("9 m")),
                ("bag.front_height", Some("2.4 m")),
                ("bag.back_height", Some("2.4 m")),
                ("bag.gap", Some("0.6 m")),
                ("bag.base_level", Some("-1.2 m")),
                ("blower.count", Some("2")),
                ("anchors.count", Some("10")),
            ],
        }
    }
}

/// A commented site file to begin with, like one of a few.
#[must_use]
pub fn starter_like(like: Like) -> String {
    let edited = || -> Option<String> {
        let mut file = SiteFile::parse(starter(), "starter.toml").ok()?;
        for (key, value) in like.edits() {
            match value {
                Some(value) => file.set(key, value).ok()?,
                None => file.remove(key),
            }
        }
        Some(file.to_string())
    };
    // The embedded text takes every edit: a test holds it to that.
    edited().unwrap_or_else(|| starter().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{questions, read_site};

    #[test]
    fn every_example_reads_and_states_what_differs() {
        assert_eq!(starter_like(Like::Big), starter());
        for like in Like::ALL {
            let text = starter_like(like);
            let site = read_site(&text, "x.toml").unwrap_or_else(|faults| panic!("{like:?}: {faults}"));
            for (key, value) in like.edits() {
                assert_eq!(site.given.contains(key), value.is_some(), "{like:?} {key}");
            }
            assert_eq!(questions(&text), [], "{like:?}");
            // Comments stay: each line still says how to measure its value.
            assert!(text.lines().filter(|line| line.contains("  # ")).count() > 90, "{like:?}");
        }
    }
}
