//! Several boxes, one permit: it is on only with all of theirs, and the worst of them rules.
//!
//! A box that is lost, silent, without settings or of another jump counts as a stop; one that has not said yet what it is
//! set for, as a wait. Where no site file was named that tells
//! which jump is ridden, boxes that are set for different sites cannot all be for it, and that is a stop as well.

use super::live::Seen;
use super::words::{Level, Told, not_this_jump};

/// One of several boxes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Each {
    /// What it is called.
    pub name: String,
    /// What it says by itself.
    pub told: Told,
    /// The pressure that is known now, as the gauge shows it.
    pub pressure: Option<String>,
    /// Its own permit; none: nothing is known of it.
    pub permit: Option<bool>,
    /// Its siren.
    pub siren: Option<bool>,
}

/// All of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Together {
    /// Riding may go on, for all that the boxes know.
    pub permit: bool,
    /// A siren is called for.
    pub siren: bool,
    /// What people see first; `todo` names who it comes from.
    pub told: Told,
    /// Each by itself.
    pub each: Vec<Each>,
}

/// What boxes say together; none for one box alone.
pub fn together(boxes: &[Seen]) -> Option<Together> {
    let [_, _, ..] = boxes else { return None };
    let each: Vec<Each> = boxes.iter().map(one).collect();
    let apart = apart(boxes);
    let worst = each.iter().map(|each| each.told.level).max()?;
    let of_worst = || each.iter().filter(|each| each.told.level == worst);
    let told = match apart {
        // A stop of a box itself goes first: it says what to do about the air.
        Some(words) if worst < Level::Stop => Told { todo: words, ..not_this_jump() },
        _ => {
            // What is the same for several is said once, with all their names.
            let mut todo: Vec<(Vec<&str>, &str)> = Vec::new();
            for each in of_worst() {
                match todo.iter_mut().find(|(_, words)| *words == each.told.todo) {
                    Some((names, _)) => names.push(&each.name),
                    None => todo.push((vec![&each.name], &each.told.todo)),
                }
            }
            let mut todo: Vec<String> =
                todo.into_iter().map(|(names, words)| format!("{}: {words}", names.join(", "))).collect();
            todo.extend(apart);
            Told { todo: todo.join(" "), ..of_worst().next()?.told.clone() }
        }
    };
    Some(Together {
        permit: told.level == Level::Go && each.iter().all(|each| each.permit == Some(true)),
        siren: each.iter().any(|each| each.siren == Some(true)),
        told,
        each,
    })
}

fn one(seen: &Seen) -> Each {
    let known = seen.status.filter(|_| seen.silent().is_none());
    Each {
        name: seen.name.clone(),
        told: match seen.first() {
            told if told.level == Level::Go && seen.settings.is_none() => not_told_yet(),
            told => told,
        },
        pressure: seen.pressure_now(),
        permit: known.map(|status| status.permit),
        siren: known.map(|status| status.siren),
    }
}

/// What a box comes to that rides and has not said yet for which jump.
fn not_told_yet() -> Told {
    Told {
        level: Level::Wait,
        head: "WAIT",
        next: "next rider: wait",
        todo: "It has not said yet which jump it is set for.".to_owned(),
    }
}

/// That boxes are set for different sites, where nothing says which of them is ridden.
fn apart(boxes: &[Seen]) -> Option<String> {
    if boxes.iter().any(|seen| seen.plan.is_some()) {
        return None;
    }
    let sites: Vec<(&str, u32)> =
        boxes.iter().filter_map(|seen| Some((seen.name.as_str(), seen.settings?.site_id))).collect();
    let (_, first) = sites.first()?;
    if sites.iter().all(|(_, site)| site == first) {
        return None;
    }
    let named: Vec<String> = sites.iter().map(|(name, site)| format!("{name} for site {site:08x}")).collect();
    Some(format!(
        "The boxes are set for different jumps: {}. One permit for all of them holds for one jump. Nobody rides; name the \
         site file that is ridden, or follow them one by one.",
        named.join(", ")
    ))
}

impl Together {
    /// Whether anything but the pressures is another than before.
    pub fn is_news(&self, before: Option<&Self>) -> bool {
        let Some(before) = before else { return true };
        let same = |(now, then): (&Each, &Each)| now.told == then.told && now.permit == then.permit;
        (self.permit, self.siren, &self.told) != (before.permit, before.siren, &before.told)
            || !self.each.iter().zip(&before.each).all(same)
    }

    /// The permit in words.
    pub fn permit_words(&self) -> String {
        format!("permit {}", if self.permit { "ON" } else { "OFF" })
    }

    /// Each with its own state and pressure.
    pub fn each_words(&self) -> String {
        let each = self.each.iter().map(|each| {
            let pressure = each.pressure.as_deref().unwrap_or("no pressure known");
            format!("{} {}, {pressure}", each.name, each.told.head)
        });
        each.collect::<Vec<_>>().join("; ")
    }

    /// All of it in one line.
    pub fn line(&self) -> String {
        format!(
            "ALL OF THEM: {}, {}.   {}.   {}",
            self.permit_words(),
            self.told.next,
            self.each_words(),
            self.told.todo
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::Brought;
    use landfall_core::watch::{Reason, State, TimeUs, WatchSettings};
    use landfall_firmware::link::{FromBox, Status};

    fn status(state: State, reason: Reason) -> Status {
        let permit = state == State::Ride;
        Status { at: TimeUs(1), state: Some((state, reason)), permit, gauge_pa: Some(1174.0), ..Status::default() }
    }

    fn unset(name: &str, state: State, reason: Reason) -> Seen {
        let mut seen = Seen::new(name);
        seen.take(&Brought::Message(Box::new(FromBox::Status(status(state, reason)))));
        seen
    }

    fn seen(name: &str, state: State, reason: Reason) -> Seen {
        set(unset(name, state, reason), WatchSettings::EXAMPLE)
    }

    fn set(mut seen: Seen, settings: WatchSettings) -> Seen {
        seen.take(&Brought::Message(Box::new(FromBox::Settings(Some(settings)))));
        seen
    }

    #[test]
    fn of_several_boxes_the_worst_rules_and_each_is_named() {
        let ride = || seen("left", State::Ride, Reason::Normal);
        assert_eq!(together(&[ride()]), None);
        let both = together(&[ride(), seen("right", State::Ride, Reason::Normal)]).unwrap();
        assert_eq!((both.permit, both.told.level, both.told.next), (true, Level::Go, "next rider: go"));
        assert_eq!(both.told.todo, "left, right: Look that the bag is clear before each rider.");
        assert!(both.line().contains("permit ON") && both.line().contains("left RIDE, 1174 Pa; right RIDE, 1174 Pa"));
        let one = together(&[ride(), seen("right", State::Wait, Reason::Landing)]).unwrap();
        assert_eq!((one.permit, one.told.level, one.told.next), (false, Level::Wait, "next rider: wait"));
        assert!(one.told.todo.contains("right: ") && !one.told.todo.contains("left: "), "{}", one.told.todo);
        let stop = together(&[seen("left", State::Stop, Reason::AirLost), seen("right", State::Wait, Reason::Landing)])
            .unwrap();
        assert_eq!((stop.permit, stop.told.head, stop.told.next), (false, "ALL STOP", "next rider: NO"));
        assert!(stop.line().contains("left ALL STOP, 1174 Pa; right WAIT, 1174 Pa"), "{}", stop.line());
    }

    #[test]
    fn a_box_that_has_not_told_its_settings_gives_no_permit() {
        let open = unset("right", State::Ride, Reason::Normal);
        let both = together(&[seen("left", State::Ride, Reason::Normal), open]).unwrap();
        assert_eq!((both.permit, both.told.level), (false, Level::Wait));
        assert!(both.told.todo.starts_with("right: It has not said yet"), "{}", both.told.todo);
    }

    #[test]
    fn after_a_line_was_opened_again_nothing_of_before_counts() {
        let mut back = seen("left", State::Ride, Reason::Normal);
        back.take(&Brought::Lost("unplugged".into()));
        back.take(&Brought::Opened);
        back.take(&Brought::Message(Box::new(FromBox::Settings(Some(WatchSettings::EXAMPLE)))));
        assert_eq!(back.first().level, Level::Stop, "{:?}", back.first());
        let both = together(&[back, seen("right", State::Ride, Reason::Normal)]).unwrap();
        assert!(!both.permit && both.told.level == Level::Stop, "{}", both.line());
    }

    #[test]
    fn a_box_that_is_lost_or_of_another_jump_is_a_stop() {
        let ride = |name| seen(name, State::Ride, Reason::Normal);
        let mut gone = ride("left");
        gone.take(&Brought::Lost("unplugged".into()));
        let lost = together(&[gone, ride("right")]).unwrap();
        assert_eq!((lost.permit, lost.told.level, lost.told.head), (false, Level::Stop, "NO LINK"));
        assert!(lost.told.todo.starts_with("left: "), "{}", lost.told.todo);
        // No old pressure stands.
        assert!(lost.line().contains("left NO LINK, no pressure known; right RIDE, 1174 Pa"), "{}", lost.line());
        let never = together(&[Seen::new("left"), ride("right")]).unwrap();
        assert!(!never.permit && never.told.level == Level::Stop);

        let here = WatchSettings::EXAMPLE;
        let there = WatchSettings { site_id: 99, ..here };
        let planned = |mut seen: Seen| {
            seen.plan = Some(here);
            seen
        };
        let (left, right) = (planned(set(ride("left"), here)), planned(set(ride("right"), there)));
        let other = together(&[left, right]).unwrap();
        assert_eq!((other.permit, other.told.head), (false, "OTHER JUMP"));
        assert!(other.told.todo.starts_with("right: ") && !other.told.todo.contains("left: "), "{}", other.told.todo);
        // Where no site was named, two sites cannot be one jump; one site can.
        let two = together(&[set(ride("left"), here), set(ride("right"), there)]).unwrap();
        assert_eq!((two.permit, two.told.level), (false, Level::Stop));
        assert!(two.told.todo.contains("left for site 00000007, right for site 00000063"), "{}", two.told.todo);
        assert!(together(&[set(ride("left"), here), set(ride("right"), here)]).unwrap().permit);
    }
}
