//! The finite part: which state follows from the facts.
//!
//! Nothing here but small integers and enums, so that every reachable combination can be visited by a
//! test. What the facts mean in pascal is decided in [`machine`](super::machine).

use super::event::{Fault, Reason, State};

/// Where the filtered pressure stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Air {
    /// At or under the stop pressure, or not known.
    Gone,
    /// Above it, at or under the wait pressure.
    Low,
    /// Above the wait pressure by less than the deadband.
    Between,
    /// High enough to ride.
    Ready,
    /// Held above the firm pressure.
    Firm,
    /// Held above the bag maker's range.
    Over,
    /// High enough, but no pressure is known to ride at.
    Unsuited,
}

/// What the slow trend says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Leak {
    /// No fall.
    No,
    /// The resting pressure sinks.
    Seen,
    /// It will reach the stop pressure too soon for another rider.
    Soon,
}

/// Whether the zero is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ZeroState {
    /// Being taken.
    Pending,
    /// Known.
    Known,
    /// Neither measured nor stored.
    Refused,
}

/// What withholds the permit, besides the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Held {
    /// A test at the start has failed.
    SelfTest,
    /// One of several blowers stands still.
    Blower,
    /// The battery does not last.
    Battery,
}

impl Held {
    const fn reason(self) -> Reason {
        match self {
            Self::SelfTest => Reason::SelfTestFailed,
            Self::Blower => Reason::BlowerStill,
            Self::Battery => Reason::BatteryLow,
        }
    }
}

/// What is true at one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Facts {
    /// Time since the step before, ms.
    pub dt_ms: u16,
    /// The sensor is not believed, now.
    pub fault: Option<Fault>,
    /// The supply is off, confirmed.
    pub supply_cut: bool,
    /// Where the pressure stands.
    pub air: Air,
    /// Past half-way and falling too fast, with no landing to explain it.
    pub falling: bool,
    /// A landing is under way.
    pub landing: bool,
    /// A landing's dip lasts too long.
    pub slow: bool,
    /// The slow trend.
    pub leak: Leak,
    /// The button is down.
    pub button: bool,
    /// Steps were missed: how long the button was down is not known.
    pub gap: bool,
    /// A trial of lamps and siren is asked for.
    pub test: bool,
    /// The zero.
    pub zero: ZeroState,
    /// Nothing has shown lately that the tube from the bag to the sensor is open.
    pub unproven: bool,
    /// Why the board at the top withholds the permit, if it does.
    pub top: Option<Reason>,
    /// All blowers that are sensed stand still.
    pub blowers_still: bool,
    /// What withholds the permit besides, if anything.
    pub held: Option<Held>,
}

impl Facts {
    /// Nothing blows: the supply is off, or all blowers stand still.
    const fn cut(&self) -> bool {
        self.supply_cut || self.blowers_still
    }

    const fn cut_reason(&self) -> Reason {
        if self.supply_cut { Reason::SupplyCut } else { Reason::BlowerStill }
    }
}

/// How long things must last, ms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Durations {
    /// Lamp and siren trial at start.
    pub check_ms: u16,
    /// Pressure ready before the first ride, and after an acknowledgement.
    pub settle_ms: u16,
    /// Pressure ready before going from wait back to ride.
    pub back_ms: u16,
    /// All well before a press of the button counts.
    pub clear_ms: u16,
    /// Button held to acknowledge.
    pub hold_ms: u16,
    /// No fault before the sensor is believed again.
    pub trust_ms: u16,
    /// Lamp and siren trial on request.
    pub test_ms: u16,
    /// A press of at least this and less than `hold_ms` asks for a trial.
    pub tap_ms: u16,
    /// Button held to end the day.
    pub end_ms: u16,
    /// Supply off and the bag flat for so long after a stop: nobody is here any more.
    pub left_ms: u32,
}

impl Durations {
    /// The times in use, with the bag's recovery time to settle, and to end the day a second more than whoever rolls
    /// when the permit goes needs (2 s into the hold). All *assumed*.
    #[must_use]
    pub fn standard(recovery_s: f32, needed_s: f32) -> Self {
        Self {
            check_ms: 2500,
            settle_ms: (recovery_s.clamp(3.0, 60.0) * 1000.0) as u16,
            back_ms: 1000,
            clear_ms: 1000,
            hold_ms: 2000,
            trust_ms: 3000,
            test_ms: 2500,
            tap_ms: 60,
            end_ms: ((needed_s + 3.0).clamp(8.0, 25.0) * 1000.0) as u16,
            left_ms: 300_000,
        }
    }
}

/// What was told at the last step.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Told {
    /// The permit was on.
    pub permit: bool,
    /// The siren was called for.
    pub siren: bool,
    /// Somebody may be riding.
    pub duty: bool,
    /// The day was over.
    pub over: bool,
}

/// State, latches and timers.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Decider {
    state: State,
    reason: Reason,
    /// Somebody may be riding: the permit has been given since the day began, in this run of the program or before it.
    duty: bool,
    /// A stop or a fault while somebody may have been riding, which no person has acknowledged.
    pending: bool,
    /// Fault that is not over yet.
    fault: Option<Fault>,
    trust_ms: u16,
    timer_ms: u16,
    /// What `timer_ms` must reach before ride: settle, or the shorter back.
    long: bool,
    clear_ms: u16,
    button: bool,
    holding: bool,
    hold_ms: u16,
    tap_ms: Option<u16>,
    /// How long the button has been down since it was last seen up, unless that press has done something already.
    down_ms: Option<u16>,
    test_ms: u16,
    left_ms: u32,
    /// In ended: the supply has been off.
    dark: bool,
}

/// What one step changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Change {
    /// State before, if it is another now.
    pub from: Option<State>,
    /// A person acknowledged.
    pub acknowledged: bool,
    /// A trial of lamps and siren began.
    pub test_began: bool,
    /// A fault began.
    pub fault_began: Option<Fault>,
    /// The zero must be taken again.
    pub rezero: bool,
}

impl Decider {
    /// At the start. `unacknowledged`: a stop or fault was pending when the box went down; `duty`: somebody may have been
    /// riding then, so it does not begin with a trial, and sounds the siren if the air is gone.
    #[must_use]
    pub fn new(unacknowledged: bool, duty: bool) -> Self {
        let (state, reason) = match (duty, unacknowledged) {
            (true, true) => (State::Stop, Reason::Unacknowledged),
            (true, false) => (State::Wait, Reason::Starting),
            (false, _) => (State::Check, Reason::Starting),
        };
        Self {
            state,
            reason,
            duty,
            pending: unacknowledged,
            fault: None,
            trust_ms: 0,
            timer_ms: 0,
            long: true,
            clear_ms: 0,
            // As if it had been down before the start: only a release and a press count.
            button: true,
            holding: false,
            hold_ms: 0,
            tap_ms: None,
            down_ms: None,
            test_ms: 0,
            left_ms: 0,
            dark: false,
        }
    }

    /// The state.
    #[must_use]
    pub fn state(&self) -> State {
        self.state
    }

    /// Why.
    #[must_use]
    pub fn reason(&self) -> Reason {
        self.reason
    }

    /// The fault that is not over yet.
    #[must_use]
    pub fn fault(&self) -> Option<Fault> {
        self.fault
    }

    /// Riding may go on.
    #[must_use]
    pub fn permit(&self) -> bool {
        self.state == State::Ride
    }

    /// The siren is called for.
    #[must_use]
    pub fn siren(&self) -> bool {
        matches!(self.state, State::Stop | State::Fault)
    }

    /// A person must acknowledge, also after a reset.
    #[must_use]
    pub fn unacknowledged(&self) -> bool {
        self.pending
    }

    /// Somebody may be riding.
    #[must_use]
    pub fn duty(&self) -> bool {
        self.duty
    }

    /// What the parts beside must know of the last step.
    pub(super) fn told(&self) -> Told {
        Told { permit: self.permit(), siren: self.siren(), duty: self.duty, over: self.state == State::Ended }
    }

    /// Lamps and siren are being tried.
    #[must_use]
    pub fn testing(&self) -> bool {
        self.test_ms > 0
    }

    /// One step.
    pub fn step(&mut self, facts: &Facts, times: &Durations) -> Change {
        let before = self.state;
        let mut change = Change { fault_began: self.follow_fault(facts, times), ..Change::default() };
        let pressed = facts.button && !self.button;
        self.button = facts.button;
        change.acknowledged = self.follow_button(pressed, facts, times);
        let tapped = self.follow_tap(pressed, facts, times);
        let ends = self.follow_end(pressed, change.acknowledged, facts, times);
        // A fault that is cleared before anybody rides says nothing of a stop from the day before.
        if change.acknowledged && (self.duty || self.state != State::Fault) {
            self.pending = false;
        }
        match self.state {
            State::Ended => {
                if self.day_begins(tapped, facts) {
                    self.enter(State::Check, Reason::Starting);
                    change.rezero = true;
                }
            }
            _ if ends => self.end(Reason::Ending),
            State::Check => self.in_check(facts, times),
            State::Fill => self.in_fill(facts, times),
            State::Ride | State::Wait => self.on_duty(facts, times),
            State::Stop => {
                if change.acknowledged {
                    self.enter(State::Wait, Reason::Settling);
                } else if self.left_alone(facts, times) {
                    // The stop stays to be acknowledged, by whoever comes to ride next.
                    self.end(Reason::LeftOff);
                }
            }
            State::Fault => {
                if change.acknowledged && self.duty {
                    self.enter(State::Wait, Reason::Settling);
                } else if change.acknowledged {
                    self.enter(State::Check, Reason::Starting);
                    change.rezero = true;
                } else if self.duty && self.fault.is_none() && facts.air == Air::Gone {
                    self.enter(State::Stop, Reason::AirLost);
                }
            }
        }
        self.run_test(facts, times, tapped, &mut change);
        if self.state != before {
            change.from = Some(before);
            self.clear_ms = 0;
            self.holding = false;
        }
        change
    }

    /// True when the button has been held long enough to end the day. A press that has acknowledged does not count on.
    fn follow_end(&mut self, pressed: bool, used: bool, facts: &Facts, times: &Durations) -> bool {
        if used || !facts.button || facts.gap {
            self.down_ms = None;
            return false;
        }
        if pressed {
            self.down_ms = Some(0);
        }
        let Some(down_ms) = self.down_ms else { return false };
        let down_ms = add(down_ms, facts.dt_ms, times.end_ms);
        self.down_ms = Some(down_ms);
        let ends = down_ms >= times.end_ms && !facts.landing && !matches!(self.state, State::Check | State::Ended);
        if ends {
            self.down_ms = None;
            // A person at the button has seen what there was to see.
            self.pending = false;
        }
        ends
    }

    /// The button is being held to end the day: no new rider meanwhile.
    fn ending(&self, times: &Durations) -> bool {
        self.down_ms.is_some_and(|ms| ms >= times.hold_ms)
    }

    /// True when after a stop the supply has been off and the bag flat for long: nobody rides.
    fn left_alone(&mut self, facts: &Facts, times: &Durations) -> bool {
        let left = facts.cut() && facts.air == Air::Gone && !facts.landing;
        self.left_ms = if left { self.left_ms.saturating_add(u32::from(facts.dt_ms)).min(times.left_ms) } else { 0 };
        self.left_ms >= times.left_ms
    }

    fn end(&mut self, reason: Reason) {
        self.duty = false;
        self.dark = false;
        self.enter(State::Ended, reason);
    }

    /// In ended: a short press, or the supply coming on again.
    fn day_begins(&mut self, tapped: bool, facts: &Facts) -> bool {
        let on_again = self.dark && !facts.supply_cut;
        self.dark |= facts.supply_cut;
        tapped || on_again
    }

    fn follow_fault(&mut self, facts: &Facts, times: &Durations) -> Option<Fault> {
        let Some(fault) = facts.fault else {
            self.trust_ms = add(self.trust_ms, facts.dt_ms, times.trust_ms);
            if self.trust_ms >= times.trust_ms {
                self.fault = None;
            }
            return None;
        };
        let began = self.fault.is_none();
        self.trust_ms = 0;
        self.fault = Some(fault);
        began.then_some(fault)
    }

    /// True when a held button acknowledges.
    fn follow_button(&mut self, pressed: bool, facts: &Facts, times: &Durations) -> bool {
        let air_back = facts.air == Air::Ready
            && facts.zero == ZeroState::Known
            && !facts.cut()
            && !facts.falling
            && self.fault.is_none();
        let clear = match self.state {
            State::Stop => air_back,
            State::Fault => self.fault.is_none() && (air_back || !self.duty),
            State::Fill => self.pending && air_back,
            _ => false,
        };
        if !clear {
            self.clear_ms = 0;
            self.holding = false;
            return false;
        }
        if self.holding {
            if !facts.button || facts.gap {
                self.holding = false;
            } else {
                self.hold_ms = add(self.hold_ms, facts.dt_ms, times.hold_ms);
            }
        } else if pressed && self.clear_ms >= times.clear_ms {
            self.holding = true;
            self.hold_ms = 0;
        }
        self.clear_ms = add(self.clear_ms, facts.dt_ms, times.clear_ms);
        self.holding && self.hold_ms >= times.hold_ms
    }

    /// True when a short press has ended in a state in which lamps and siren may be tried.
    fn follow_tap(&mut self, pressed: bool, facts: &Facts, times: &Durations) -> bool {
        if facts.gap || !matches!(self.state, State::Fill | State::Wait | State::Ended) {
            self.tap_ms = None;
            return false;
        }
        let Some(down_ms) = self.tap_ms else {
            if pressed {
                self.tap_ms = Some(0);
            }
            return false;
        };
        let down_ms = add(down_ms, facts.dt_ms, times.hold_ms);
        self.tap_ms = facts.button.then_some(down_ms);
        !facts.button && down_ms >= times.tap_ms && down_ms < times.hold_ms
    }

    fn in_check(&mut self, facts: &Facts, times: &Durations) {
        self.timer_ms = add(self.timer_ms, facts.dt_ms, times.check_ms);
        if self.fault.is_some() {
            self.enter(State::Fault, Reason::NotBelieved);
        } else if self.timer_ms >= times.check_ms && facts.zero == ZeroState::Known {
            self.enter(State::Fill, Reason::Filling);
        }
    }

    fn in_fill(&mut self, facts: &Facts, times: &Durations) {
        if self.fault.is_some() {
            self.enter(State::Fault, Reason::NotBelieved);
            return;
        }
        let block = if facts.cut() { Some(facts.cut_reason()) } else { self.block(facts) };
        self.toward_ride(facts, times, block);
    }

    fn on_duty(&mut self, facts: &Facts, times: &Durations) {
        if self.fault.is_some() {
            self.enter(State::Fault, Reason::NotBelieved);
        } else if facts.air == Air::Gone {
            self.enter(State::Stop, Reason::AirLost);
        } else if facts.cut() {
            self.enter(State::Stop, facts.cut_reason());
        } else if facts.falling {
            self.enter(State::Stop, Reason::AirFalling);
        } else if self.state == State::Wait {
            let block = self.block(facts);
            self.toward_ride(facts, times, block);
        } else {
            // In ride the deadband is not a reason to leave.
            let block = self.block(facts);
            let block = if self.ending(times) { Some(Reason::Ending) } else { block };
            match block.filter(|reason| facts.air != Air::Between || *reason != Reason::LowAir) {
                Some(reason) => {
                    self.long = false;
                    self.enter(State::Wait, reason);
                }
                None if facts.leak == Leak::Seen => self.reason = Reason::SlowLeak,
                None => self.reason = Reason::Normal,
            }
        }
    }

    /// Why no rider may start, if so.
    fn block(&self, facts: &Facts) -> Option<Reason> {
        if facts.zero != ZeroState::Known {
            return Some(Reason::Starting);
        }
        if facts.falling {
            return Some(Reason::AirFalling);
        }
        if facts.landing {
            return Some(Reason::Landing);
        }
        if facts.slow {
            return Some(Reason::SlowRecovery);
        }
        if facts.leak == Leak::Soon && matches!(facts.air, Air::Ready | Air::Between) {
            return Some(Reason::SlowLeak);
        }
        // Before the bag is up as well, so that it is seen while there is time to mend it.
        let matters = self.state == State::Fill || matches!(facts.air, Air::Ready | Air::Between);
        if let Some(held) = facts.held.filter(|_| matters) {
            return Some(held.reason());
        }
        // Also between wait and ready pressure, where a ride goes on.
        if let (Some(reason), Air::Ready | Air::Between) = (facts.top, facts.air) {
            return Some(reason);
        }
        match facts.air {
            Air::Gone if self.state == State::Fill => Some(Reason::Filling),
            Air::Gone | Air::Low | Air::Between => Some(Reason::LowAir),
            Air::Firm => Some(Reason::TooFirm),
            Air::Over => Some(Reason::OverPressure),
            Air::Unsuited => Some(Reason::NoBand),
            Air::Ready if facts.unproven => Some(Reason::TubeUnproven),
            Air::Ready => None,
        }
    }

    fn toward_ride(&mut self, facts: &Facts, times: &Durations, block: Option<Reason>) {
        let held_up = match block {
            _ if self.ending(times) => Some(Reason::Ending),
            None if self.pending => Some(Reason::Unacknowledged),
            other => other,
        };
        if let Some(reason) = held_up {
            self.timer_ms = 0;
            self.reason = reason;
            return;
        }
        if self.testing() {
            self.timer_ms = 0;
            self.reason = Reason::Testing;
            return;
        }
        let need_ms = if self.long { times.settle_ms } else { times.back_ms };
        self.timer_ms = add(self.timer_ms, facts.dt_ms, need_ms);
        self.reason = Reason::Settling;
        if self.timer_ms >= need_ms {
            self.duty = true;
            self.enter(State::Ride, Reason::Normal);
        }
    }

    fn enter(&mut self, state: State, reason: Reason) {
        if matches!(state, State::Stop | State::Fault | State::Check) {
            self.long = true;
        }
        self.pending |= self.duty && matches!(state, State::Stop | State::Fault);
        self.left_ms = 0;
        self.state = state;
        self.reason = reason;
        self.timer_ms = 0;
    }

    fn run_test(&mut self, facts: &Facts, times: &Durations, tapped: bool, change: &mut Change) {
        if !matches!(self.state, State::Fill | State::Wait) {
            self.test_ms = 0;
        } else if self.test_ms > 0 {
            self.test_ms = self.test_ms.saturating_sub(facts.dt_ms);
        } else if (facts.test || tapped) && !facts.landing {
            self.test_ms = times.test_ms;
            change.test_began = true;
        }
    }
}

/// `value + dt`, no more than `cap`: keeps the number of states finite.
fn add(value: u16, dt: u16, cap: u16) -> u16 {
    value.saturating_add(dt).min(cap)
}
