//! Every reachable state of the watch's finite part, under every combination of facts at every step.
//!
//! The very code of the box runs, with its durations shortened to a few steps so that the set of states is
//! small enough to visit all of it (a timer that runs to 3 passes the same branches as one that runs to 3000). A
//! second, independent bookkeeping of the facts, written here, says what would have had to happen.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{HashMap, VecDeque};

use landfall_core::watch::decide::{Air, Decider, Durations, Facts, Held, Leak, ZeroState};
use landfall_core::watch::{Fault, Reason, State};

const TIMES: Durations = Durations {
    check_ms: 2,
    settle_ms: 3,
    back_ms: 2,
    clear_ms: 2,
    hold_ms: 2,
    trust_ms: 2,
    test_ms: 2,
    tap_ms: 1,
    end_ms: 3,
    left_ms: 1,
};

fn all_facts() -> Vec<Facts> {
    let mut out = Vec::new();
    let both = [false, true];
    for fault in [None, Some(Fault::Crc)] {
        for supply_cut in both {
            for air in [Air::Gone, Air::Low, Air::Between, Air::Ready, Air::Firm, Air::Over, Air::Unsuited] {
                for (falling, landing, slow) in [
                    (false, false, false),
                    (true, false, false),
                    (false, true, false),
                    (false, false, true),
                    (true, true, true),
                ] {
                    for leak in [Leak::No, Leak::Seen, Leak::Soon] {
                        for (button, gap) in [(false, false), (false, true), (true, false), (true, true)] {
                            // A trial may be asked for at any time, and is where the air is good or gone.
                            let may_test = matches!(air, Air::Gone | Air::Ready);
                            for test in both.into_iter().filter(|test| !test || may_test) {
                                for zero in [ZeroState::Pending, ZeroState::Known, ZeroState::Refused] {
                                    let one = Facts {
                                        dt_ms: 1,
                                        fault,
                                        supply_cut,
                                        air,
                                        falling,
                                        landing,
                                        slow,
                                        leak,
                                        button,
                                        gap,
                                        test,
                                        zero,
                                        unproven: false,
                                        top: None,
                                        blowers_still: false,
                                        held: None,
                                    };
                                    out.push(one);
                                    // Parts beside: they matter where the air is good or has just gone.
                                    if may_test && !test && leak == Leak::No {
                                        out.push(Facts { blowers_still: true, ..one });
                                        out.push(Facts { held: Some(Held::Blower), ..one });
                                    }
                                    // It matters where nothing else is wrong.
                                    if air == Air::Ready && !test {
                                        out.push(Facts { unproven: true, ..one });
                                    }
                                    if matches!(air, Air::Ready | Air::Between) && !test {
                                        out.push(Facts { top: Some(Reason::TopSilent), ..one });
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
    out
}

/// Nothing blows, as far as is known.
fn cut(f: &Facts) -> bool {
    f.supply_cut || f.blowers_still
}

/// What has happened, as far as the promises need it; kept without looking at the watch.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Ghost {
    /// The button was up at the last step (before the start: down).
    up: bool,
    /// Steps since the last fault, up to 2; a fault never seen counts as long ago.
    quiet: u8,
    /// Steps for which the button has been down without a missed step since it was last seen up, with the air back
    /// and no fault all the while; up to 3. None: it is up, or something broke the hold.
    held: Option<u8>,
    /// The same for a hold in which the air does not matter.
    held_no_air: Option<u8>,
    /// Steps for which the button has been down without a missed step since it was last seen up; up to 3.
    down: Option<u8>,
    /// The supply is off and the air gone.
    left: bool,
    /// The permit has been given, or the box went down while somebody may have been riding.
    duty: bool,
}

impl Ghost {
    fn after(&self, f: &Facts) -> Self {
        let quiet = if f.fault.is_some() { 0 } else { (self.quiet + 1).min(2) };
        let air = f.air == Air::Ready && f.zero == ZeroState::Known && !cut(f) && !f.falling;
        let hold = |before: Option<u8>, good: bool| {
            if !f.button || !good {
                None
            } else if self.up {
                Some(0)
            } else if f.gap {
                None
            } else {
                before.map(|n| (n + 1).min(2))
            }
        };
        Self {
            up: !f.button,
            quiet,
            held: hold(self.held, air && quiet == 2),
            held_no_air: hold(self.held_no_air, quiet == 2),
            down: if !f.button || f.gap {
                None
            } else if self.up {
                Some(1)
            } else {
                self.down.map(|n| (n + 1).min(3))
            },
            left: cut(f) && f.air == Air::Gone && !f.landing,
            duty: self.duty,
        }
    }
}

/// Checks every promise on one step.
fn check(before: &Decider, ghost: &Ghost, f: &Facts, after: &Decider) {
    let (from, to) = (before.state(), after.state());
    let here = || format!("{before:?}\n{ghost:?}\n{f:?}\n{after:?}");
    // Outputs follow the state, and the permit is in ride only.
    assert_eq!(after.permit(), to == State::Ride, "{}", here());
    assert_eq!(after.siren(), matches!(to, State::Stop | State::Fault), "{}", here());
    // In ride nothing is wrong, and the zero is known.
    if to == State::Ride {
        let well = f.fault.is_none()
            && ghost.quiet == 2
            && after.fault().is_none()
            && !cut(f)
            && f.held.is_none()
            && !f.falling
            && !f.landing
            && !f.slow
            && f.leak != Leak::Soon
            && matches!(f.air, Air::Between | Air::Ready)
            && f.zero == ZeroState::Known
            && !(f.unproven && f.air == Air::Ready)
            && f.top.is_none()
            && !after.unacknowledged();
        assert!(well, "rides though something is wrong\n{}", here());
        assert!(from == State::Ride || f.air == Air::Ready, "{}", here());
        assert!(matches!(from, State::Fill | State::Wait | State::Ride), "{}", here());
    }
    // Nothing but a person ends a stop, with the air back and the sensor believed; but for a bag that was left off and
    // flat, whose stop then stays to be acknowledged.
    if from == State::Stop && to != State::Stop {
        match to {
            State::Wait => assert_eq!(ghost.held, Some(2), "left stop without a person\n{}", here()),
            State::Ended if after.unacknowledged() => assert!(ghost.left, "{}", here()),
            State::Ended => assert_eq!(ghost.down, Some(3), "{}", here()),
            other => panic!("stop to {other:?}\n{}", here()),
        }
    }
    // The day is ended by the long hold, or by being left alone after a stop, and then nobody has the permit.
    if to == State::Ended {
        assert!(!after.duty(), "{}", here());
        let by_hand = ghost.down == Some(3) && !f.landing && from != State::Check;
        assert!(from == State::Ended || by_hand || (from == State::Stop && ghost.left), "{}", here());
    }
    if from == State::Ended {
        assert!(matches!(to, State::Ended | State::Check), "{}", here());
    }
    // A stop is forgotten by a person at the button alone.
    if before.unacknowledged() && !after.unacknowledged() {
        assert!(ghost.held == Some(2) || ghost.down == Some(3), "{}", here());
    }
    if from == State::Fault && to != State::Fault {
        match to {
            State::Wait => assert_eq!(ghost.held, Some(2), "{}", here()),
            State::Ended => assert_eq!(ghost.down, Some(3), "{}", here()),
            State::Check => {
                assert!(!ghost.duty, "{}", here());
                assert_eq!(ghost.held_no_air, Some(2), "{}", here());
            }
            State::Stop => assert!(f.air == Air::Gone && ghost.quiet == 2, "{}", here()),
            other => panic!("fault to {other:?}\n{}", here()),
        }
    }
    // Danger is acted on in the same step.
    if matches!(from, State::Ride | State::Wait) && to != State::Ended {
        if f.fault.is_some() {
            assert_eq!(to, State::Fault, "{}", here());
        } else if f.air == Air::Gone || cut(f) || f.falling {
            assert!(after.siren(), "{}", here());
        }
    }
    if matches!(from, State::Check | State::Fill) && to != State::Ended && f.fault.is_some() {
        assert_eq!(to, State::Fault, "{}", here());
    }
    // Once somebody may be riding, there is no quiet way back to the start.
    if ghost.duty && to != State::Ended {
        assert!(after.duty() && !matches!(to, State::Check | State::Fill), "{}", here());
        assert_eq!(after.unacknowledged(), after.siren(), "{}", here());
    }
}

/// All well, button as given.
fn good(button: bool) -> Facts {
    Facts {
        dt_ms: 1,
        fault: None,
        supply_cut: false,
        air: Air::Ready,
        falling: false,
        landing: false,
        slow: false,
        leak: Leak::No,
        button,
        gap: false,
        test: false,
        zero: ZeroState::Known,
        unproven: false,
        top: None,
        blowers_still: false,
        held: None,
    }
}

#[test]
fn every_reachable_state_keeps_every_promise() {
    let facts = all_facts();
    let mut seen: HashMap<(Decider, Ghost), ()> = HashMap::new();
    let mut queue = VecDeque::new();
    for (unacknowledged, duty) in [(false, false), (true, false), (false, true), (true, true)] {
        let ghost = Ghost { up: false, quiet: 2, held: None, held_no_air: None, down: None, left: false, duty };
        let node = (Decider::new(unacknowledged, duty), ghost);
        seen.insert(node.clone(), ());
        queue.push_back(node);
    }
    let mut steps = 0u64;
    let mut by_state = [0usize; State::ALL.len()];
    while let Some((decider, ghost)) = queue.pop_front() {
        by_state[State::ALL.iter().position(|s| *s == decider.state()).unwrap()] += 1;
        for f in &facts {
            let mut next = decider.clone();
            next.step(f, &TIMES);
            let mut ghost_next = ghost.after(f);
            check(&decider, &ghost_next, f, &next);
            ghost_next.duty = (ghost_next.duty && next.state() != State::Ended) || next.permit();
            steps += 1;
            let node = (next, ghost_next);
            if !seen.contains_key(&node) {
                seen.insert(node.clone(), ());
                queue.push_back(node);
            }
        }
        assert!(seen.len() < 300_000, "the set of states is not small");
    }
    // Every state is visited, and a person with good air gets back to riding from each.
    assert!(by_state.iter().all(|n| *n > 0), "{by_state:?}");
    for (decider, _) in seen.keys() {
        let mut d = decider.clone();
        for _ in 0..6 {
            // What the lamps ask for: hold, tap, or leave it alone.
            let held = match d.state() {
                State::Stop | State::Fault => 3,
                State::Fill if d.unacknowledged() => 3,
                State::Ended => 1,
                _ => 0,
            };
            for button in [false; 6].into_iter().chain([true; 3].into_iter().take(held)).chain([false; 8]) {
                d.step(&good(button), &TIMES);
            }
        }
        assert_eq!(d.state(), State::Ride, "no way back to riding from {decider:?}");
    }
    println!(
        "explored: {} states (with bookkeeping), {} combinations of facts at each, {steps} steps; \
         check {}, fill {}, ride {}, wait {}, stop {}, fault {}, ended {}",
        seen.len(),
        facts.len(),
        by_state[0],
        by_state[1],
        by_state[2],
        by_state[3],
        by_state[4],
        by_state[5],
        by_state[6]
    );
}
