//! Why a value of the results is null.

/// Makes the reasons with their names and their words.
macro_rules! reasons {
    ($($name:ident: $words:expr,)*) => {
        /// Why a value is null, one a cause.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Why {
            $(#[doc = $words] $name,)*
        }

        impl Why {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$name),*];

            /// Its name, which nobody reads.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$name => stringify!($name),)*
                }
            }

            /// Why, as it is said after "because"; `{target}` stands for the chance of a miss to plan for.
            #[must_use]
            pub const fn words(self) -> &'static str {
                match self {
                    $(Self::$name => $words,)*
                }
            }
        }
    };
}

reasons! {
    NotAsked: "it was not asked for",
    // The ride and the flight.
    Stalls: "the rider comes to rest before the lip",
    LeavesSurface: "the bike leaves the surface on the ride down",
    OffPlane: "the mean rider does not come down on the bag's plane",
    OffBag: "the mean rider does not come down on the bag",
    NoStall: "the rider does not come to rest before the lip",
    StaysOn: "the bike stays on the surface",
    EndedBefore: "the ride ends at the first of the two, stall or leaving the surface",
    RiderEnds: "that rider's run ends on the ride down or against the bag's front",
    // Where landings fall.
    FewOfRider: "too few runs of that rider come down on the bag's plane",
    FewLand: "too few sampled runs come down on the bag's plane",
    NoCorrelation: "landings do not vary both along and across, or too few come down on the bag's plane",
    NoDifferences: "with a little more or less of one input a run has no landing",
    NoSpeeds: "with a little more or less of one input a run has no landing, and fewer than 100 of the sampled \
               runs have one",
    // Where the bag should stand.
    Committed: "a rider who brakes that hard does not stop before the take-off's foot from anywhere: committed from \
                the start",
    NoLine: "there is no last stop line to count from",
    NothingClears: "no lip speed looked at clears the gap",
    NoFrontFirst: "below the clearing speed no lip speed meets the bag's front first",
    FrontNotReached: "at that lip speed the bike does not come as far as the bag's front edge",
    NoGap: "no gap keeps the chance of a miss at the target for every rider",
    NoBestGap: "fewer than 100 of the sampled runs come down on the bag's plane, or all miss at every gap",
    NoClearingStart: "no start height up to 40 m, or none that the roll-in's sections can make, keeps runs from coming \
                      down short at the target",
    NoStartInGust: "no start height keeps to the target with the gust as added tail wind, or the roll-in's sections \
                    cannot make others",
    MissInWind: "the chance of a miss passes {target} already in the wind of the site",
    // The air and the landing.
    NoLift: "the blowers do not lift the bag's skin",
    NotFilled: "95 % of the operating pressure is not reached within the time looked at",
    NoHardLanding: "there is no hard landing to try: with a little more or less of one input a run has no landing, and \
                    fewer than 100 of the sampled runs have one",
    NoGas: "the bag holds no gas to land on",
    HardRefused: "the hard landing is out of the range of what the models take",
    MeetsGround: "the body meets the ground",
    NoGround: "the body does not meet the ground",
    DoesNotSink: "the body does not sink on to the ground after it has come to rest",
    SlopesDown: "the top slopes down in the direction of travel",
    NoSlopeDown: "the top does not slope down in the direction of travel",
    NotRecovered: "99 % of the operating pressure is not reached again within the time looked at",
    NoEnd: "the landing has no end within the time looked at",
    // The pressures to ride between.
    NotKept: "no pressure up to 20 kPa keeps the hard landing within the depth limit",
    NotBounded: "the load limit is kept up to 20 kPa: it does not bound the pressure",
    BandEmpty: "the ride band is empty",
    NoWait: "even from the operating pressure the stop pressure is nearer than a committed rider's touch-down, or the \
             time that such a rider needs has no value",
    NoStopAfterCut: "after a power cut the stop pressure is not reached within the time looked at",
    HoldsLong: "after a power cut the hard landing keeps the depth limit for longer than 120 s",
    NeverToStop: "with one blower lost the bag never comes to the stop pressure",
    OneBlower: "there is one blower",
    NoFirstDay: "no lower start is clear of what the unmeasured bag brings about",
    NoFirstDaySampled: "from no lower start do all runs come down that would have to, or none is clear of what the \
                        unmeasured bag brings about",
    NothingLifted: "measuring the bag would lift nothing",
    NoAlarmTime: "without supply sense the time to the alarm has no value: the pressure does not fall half-way to a \
                  stop pressure, or no rider comes down on the bag",
    NoCommitment: "the time from the line to touch-down has no value",
    // The marks to ride by.
    NoStart: "until the bag is measured there is no start, or from so low riders do not reach the field",
    StopAtStart: "at the stated start something about the ride, the flight or where landings fall is a stop already",
    NotArmed: "the box cannot be armed",
    HoldsLongOrNever: "after a power cut the bag holds for longer than 120 s, or there are no pressures",
    BrakesTooLate: "a rider who brakes does not stop before the take-off's foot from anywhere",
    NoLimitBroken: "no limit is broken",
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reason is found again by its name, and no two say the same.
    #[test]
    fn each_has_its_own_name_and_words() {
        for (i, why) in Why::ALL.iter().enumerate() {
            for other in &Why::ALL[i + 1..] {
                assert!(why.name() != other.name() && why.words() != other.words(), "{why:?} and {other:?}");
            }
            assert!(!why.words().ends_with('.') && !why.words().contains("  "), "{why:?}");
        }
    }
}
