//! What a box's state means for the people round the bag: one word that can be read from afar, whether the next rider may
//! go, and what to do now.

use super::beside;
use landfall_core::watch::Thresholds;
use landfall_core::watch::{Fault, Reason, State, WatchSettings};
use landfall_firmware::link::{Status, check_of};

/// How grave it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Riding may go on.
    Go,
    /// No new rider.
    Wait,
    /// Danger, or nothing is known.
    Stop,
}

impl Level {
    /// The page's word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Go => "note",
            Self::Wait => "caution",
            Self::Stop => "stop",
        }
    }

    /// A sign, so that colour is not alone.
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Go => "●",
            Self::Wait => "▲",
            Self::Stop => "■",
        }
    }
}

/// What people see first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// How grave.
    pub level: Level,
    /// In letters as large as there is room for.
    pub head: &'static str,
    /// Whether the next rider may go.
    pub next: &'static str,
    /// What to do now, a whole sentence.
    pub todo: String,
}

/// Acknowledging, in words.
const HOLD: &str = "then hold the button 2 s";

/// What a status means; none: nothing is known of the bag here.
pub fn told(status: Option<&Status>) -> Told {
    let wait = |todo: &str| Told { level: Level::Wait, head: "WAIT", next: "next rider: wait", todo: todo.to_owned() };
    let stop = |head, todo: String| Told { level: Level::Stop, head, next: "next rider: NO", todo };
    let Some(status) = status else {
        return stop("NO LINK", "Nothing is known of the bag here. Look at the box's own lamps.".to_owned());
    };
    let Some((state, reason)) = status.state else {
        return stop(
            "NO SETTINGS",
            "The box watches nothing. Nobody rides; `landfall arm` makes the settings.".to_owned(),
        );
    };
    match state {
        State::Ride if reason == Reason::SlowLeak => Told {
            level: Level::Go,
            head: "RIDE",
            next: "next rider: go",
            todo: "The bag is losing air: look for the leak now.".to_owned(),
        },
        State::Ride => Told {
            level: Level::Go,
            head: "RIDE",
            next: "next rider: go",
            todo: "Look that the bag is clear before each rider.".to_owned(),
        },
        State::Check => wait("The box tries its lamps and siren: look whether red, amber, green and the siren come."),
        State::Ended => Told {
            head: "DAY ENDED",
            ..wait("Nobody rides. A short press on the button, or the blowers switched on again, begins a new day.")
        },
        State::Fill | State::Wait => wait(todo(state, reason)),
        State::Stop => stop("ALL STOP", stop_todo(reason)),
        State::Fault => stop("ALL STOP", fault_todo(status.fault)),
    }
}

const fn todo(state: State, reason: Reason) -> &'static str {
    match reason {
        Reason::Landing => "Somebody has landed: off the bag, and wait until it is up again.",
        Reason::SlowRecovery => "The bag is not back in the computed time: look at blowers and seams.",
        Reason::SlowLeak => "The bag is losing air: nobody starts; look for the leak.",
        Reason::TooFirm => "The bag is too firm: open a vent or stop a blower.",
        Reason::OverPressure => "The bag is over its maker's range: open a vent or stop a blower now.",
        Reason::NoBand => "In today's air there is no pressure to ride at: nobody rides.",
        Reason::Unacknowledged => {
            "A stop from before was left without anybody at the box: look at the bag, then hold the button 2 s."
        }
        Reason::TubeUnproven => {
            "Nothing shows that the tube to the sensor is open: let somebody sit down on the bag, and look for kinks."
        }
        Reason::TopSilent => {
            "The board at the top does not answer: nobody starts, whatever lamp it shows; look at its supply and its cable."
        }
        Reason::TopStrange => {
            "Another box or board is on the line to the top, or frames come twice: nobody starts; look who is on that cable."
        }
        Reason::TopHeld => {
            "Somebody holds riders back at the top: ask there; the button at the top held 2 s lets them go again."
        }
        Reason::Ending => "The button is being held: the day ends when it is held on.",
        Reason::SupplyCut => "The blowers' supply is off: switch it on.",
        Reason::Starting => "The box has just started and looks at the bag: wait.",
        Reason::BlowerStill => {
            "A blower stands still though its supply is on: look which, and start it. Nobody new starts."
        }
        Reason::BatteryLow if matches!(state, State::Fill) => {
            "The box's battery does not last the session, by estimate: charge or change it before anybody rides."
        }
        Reason::BatteryLow => "The box's battery is nearly empty, by estimate: nobody new starts; change it now.",
        Reason::SelfTestFailed => {
            "The box has found a fault in its own program, memory or clock: nobody rides with it. Switch it off and on; if it comes \
             again the box must be mended (`landfall log` says which)."
        }
        Reason::Testing => "Lamps and siren are being tried: look whether all of them come.",
        Reason::Settling => "The bag is up: wait until it has stayed up.",
        _ if matches!(state, State::Fill) => "The bag is filling: wait.",
        _ => "The bag is too soft: wait; if it lasts, look at the blowers.",
    }
}

fn stop_todo(reason: Reason) -> String {
    let why = match reason {
        Reason::SupplyCut => "The blowers' supply is off. ",
        Reason::BlowerStill => "No blower runs, though their supply is on. ",
        Reason::AirFalling => "The air is going fast. ",
        Reason::Unacknowledged => "A stop from before the box went down. ",
        _ => "The air is going. ",
    };
    format!("{why}Nobody on the bag until the air is back; {HOLD}.")
}

fn fault_todo(fault: Option<Fault>) -> String {
    match fault {
        None => format!("The sensor is believed again. Nobody on the bag until the air is back; {HOLD}."),
        Some(Fault::ButtonStuck) => {
            "The button has been down for half a minute: let it go, or mend its cable. Nobody rides.".to_owned()
        }
        Some(Fault::Frozen) => {
            "The reading does not move as a live bag does: look for a kinked or blocked tube. Nobody rides.".to_owned()
        }
        Some(Fault::SenseMissing) => {
            format!(
                "The sense of the blowers' supply gives nothing: look at its adapter and cable. Nobody rides until it does; {HOLD}."
            )
        }
        Some(fault @ (Fault::Late | Fault::Clock)) => {
            format!("The box's own steps failed ({}). Nobody rides until they come again; {HOLD}.", fault.word())
        }
        Some(fault) if beside::fault_todo(fault).is_some() => beside::fault_todo(fault).unwrap_or("").to_owned(),
        Some(fault) => {
            format!(
                "The sensor is not believed ({}). Nobody rides until it is mended; {HOLD}.",
                fault.word().replace('_', " ")
            )
        }
    }
}

/// What a box says whose numbers are those of another jump, or of another plan of this one.
pub fn not_this_jump() -> Told {
    Told {
        level: Level::Stop,
        head: "OTHER JUMP",
        next: "next rider: NO",
        todo: "The box goes by the pressures of another jump or plan. Nobody rides until it is armed for this one: \
               `landfall arm`."
            .to_owned(),
    }
}

/// What a set of thresholds is known by: a checksum over everything that a box goes by, the revision left out, so that
/// the same plan computed again is the same.
pub fn plan_id(settings: &WatchSettings) -> u32 {
    check_of(&WatchSettings { revision: 0, ..*settings }).unwrap_or(0)
}

/// Thresholds this near to each other are the same plan, computed by other runs: 1 %, and 1 Pa or 0.1 s.
fn near(a: &Thresholds, b: &Thresholds) -> bool {
    let pairs: [(f32, f32, f32); 6] = [
        (a.operating_pa, b.operating_pa, 1.0),
        (a.stop_pa, b.stop_pa, 1.0),
        (a.wait_pa, b.wait_pa, 1.0),
        (a.high_pa, b.high_pa, 1.0),
        (a.needed_s, b.needed_s, 0.1),
        (a.recovery_s, b.recovery_s, 0.1),
    ];
    pairs.into_iter().all(|(a, b, least)| (a - b).abs() <= least.max(0.01 * a.abs()))
}

/// That the box is set for something else than `plan`, in words with both; none if it is set for it.
pub fn other_jump(held: &WatchSettings, plan: &WatchSettings) -> Option<String> {
    let same_site = held.site_id == plan.site_id;
    if same_site && near(&Thresholds::of(held), &Thresholds::of(plan)) {
        return None;
    }
    let numbers = |s: &WatchSettings| {
        format!(
            "site {:08x}, plan {:08x}: siren at or under {:.0} Pa, next rider from {:.0} Pa, resting at {:.0} Pa",
            s.site_id,
            plan_id(s),
            s.trip_pa(),
            s.ready_pa(),
            s.operating_pa
        )
    };
    Some(format!(
        "THE BOX IS SET FOR ANOTHER {}. Box: {}. This site file: {}. Arm it anew before anybody rides.",
        if same_site { "PLAN OF THIS JUMP" } else { "JUMP" },
        numbers(held),
        numbers(plan)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(state: State, reason: Reason) -> Status {
        Status { state: Some((state, reason)), permit: state == State::Ride, ..Status::default() }
    }

    #[test]
    fn every_state_says_whether_to_go_and_what_to_do() {
        for state in State::ALL {
            for reason in [
                Reason::Normal,
                Reason::Landing,
                Reason::SupplyCut,
                Reason::Unacknowledged,
                Reason::Ending,
                Reason::BlowerStill,
                Reason::BatteryLow,
                Reason::SelfTestFailed,
            ] {
                let told = told(Some(&status(state, reason)));
                assert_eq!(told.next == "next rider: go", state == State::Ride, "{state:?}");
                assert_eq!(told.level == Level::Stop, matches!(state, State::Stop | State::Fault));
                assert!(told.todo.ends_with('.') && told.todo.len() > 20, "{}", told.todo);
            }
        }
        let stop = told(Some(&status(State::Stop, Reason::AirLost)));
        assert_eq!(stop.head, "ALL STOP");
        assert!(stop.todo.contains("Nobody on the bag until the air is back; then hold the button 2 s."));
        assert_eq!((told(None).level, told(None).head), (Level::Stop, "NO LINK"));
    }

    #[test]
    fn another_jump_is_said_with_both_and_the_same_plan_is_not() {
        let held = WatchSettings::EXAMPLE;
        assert_eq!(other_jump(&held, &WatchSettings { revision: 9, stop_pa: held.stop_pa + 0.9, ..held }), None);
        let moved = WatchSettings { stop_pa: 650.0, half_way_pa: 825.0, ..held };
        let said = other_jump(&held, &moved).unwrap();
        assert!(
            said.contains("ANOTHER PLAN OF THIS JUMP") && said.contains("612 Pa") && said.contains("662 Pa"),
            "{said}"
        );
        let said = other_jump(&held, &WatchSettings { site_id: 8, ..held }).unwrap();
        assert!(
            said.contains("ANOTHER JUMP") && said.contains("site 00000007") && said.contains("site 00000008"),
            "{said}"
        );
        assert_ne!(plan_id(&held), plan_id(&moved));
        assert_eq!(plan_id(&held), plan_id(&WatchSettings { revision: 77, ..held }));
    }
}
