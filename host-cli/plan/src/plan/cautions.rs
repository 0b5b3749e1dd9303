//! The cautions that go with every report.

/// In the order in which they are printed.
pub const CAUTIONS: [&str; 7] = [
    "These are computed figures from the inputs stated and the assumptions listed; they judge nothing that was not put in.",
    "No bag makes a head-first landing harmless: a published test of a large inflatable bag found a broken neck in a head-first fall of 8.2 m (Power, Bauer & Hayes).",
    "The bag maker's instructions come first: mass and height limits, pressure, anchoring, wind, inspection. Where they say less, do less.",
    "Local codes and the ground's owner decide what may be built and used; have the structure, the ground and the electrics checked by qualified people.",
    "Walk the whole line, check bag, anchors, blowers and air by hand before each session, and keep people off the landing and its surroundings.",
    "The pressure box is a supplementary alarm, not a certified device: somebody watches the bag and can stop the session without it.",
    "Ride with protective gear, somebody trained in first aid and a way to call help; nobody rides alone.",
];
