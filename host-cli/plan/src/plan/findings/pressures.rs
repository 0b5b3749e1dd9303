//! Findings about the pressures to ride between, the ground, and the loss of power.

use super::Said;
use crate::plan::results::{About, BandEnd, Judged, Level, SpeedsBy, StopRule, Topic, Why};
use crate::plan::table::{CAUTION_CUT, CAUTION_SHARE};
use crate::plan::words::{chance, highest_looked_at, list, load, metres, number, percent, pressure, seconds, speed};
use crate::shown::Toward;

pub fn say(said: &mut Said<'_>) {
    if !computed(said) {
        return;
    }
    provisional(said);
    no_mark(said);
    sampled_speeds(said);
    ground(said);
    ground_cut(said);
    hard_landing(said);
    light_landing(said);
    band(said);
    stop_pressure(said);
    wait(said);
    power_loss(said);
    one_blower(said);
}

/// Whether there are pressures; where there are none although they could be, they were not asked for.
fn computed(said: &mut Said<'_>) -> bool {
    let Some(why) = said.r.pressures.stop_rule.why() else { return true };
    if why != Why::NotAsked {
        said.stop(
            About::Band,
            "band.none",
            format!(
                "There are no pressures to ride between: {}. What is said about reach \
                and blowers has to change first.",
                why.words()
            ),
        );
    }
    false
}

/// How a topic counts, as a level.
fn level(said: &Said<'_>, topic: Topic) -> Level {
    match said.r.pressures.counts_as(topic) {
        Judged::Stop => Level::Stop,
        Judged::Caution => Level::Caution,
        Judged::Kept => Level::Note,
    }
}

/// What measuring the bag would do about a topic, and from where to start until then.
fn if_measured(said: &Said<'_>, topic: Topic) -> String {
    let u = said.shown();
    let p = &said.r.pressures;
    if !p.is_lifted(topic) {
        return String::new();
    }
    let until = said
        .r
        .first_day_mark_m()
        .map_or_else(String::new, |start| format!(" Until then start no higher than {}.", metres(u, start)));
    format!(" That is so only because the bag is not measured.{until}")
}

/// The one line that decides a day.
fn provisional(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.pressures;
    let Some(provisional) = p.provisional.as_ref() else { return };
    let stops = p.judged.iter().any(|judged| judged.now == Judged::Stop);
    let what = if stops { "A stop" } else { "A caution" };
    let then = if p.judged.iter().all(|judged| judged.if_measured < Judged::Stop) {
        "measured as stated it would be inside"
    } else {
        "measured as stated it would be milder"
    };
    let mark = said.r.first_day_mark_m();
    let (level, until) = match mark {
        Some(start) => (Level::Caution, format!(" Until then start no higher than {}.", metres(u, start))),
        None if stops => (Level::Stop, " Until then there is no start to ride from.".to_owned()),
        None => (Level::Caution, String::new()),
    };
    let first_day = provisional.first_day_start_m.get();
    let text = format!("{what} only because the bag is not measured: {then}.{until}");
    said.say(level, About::Provisional, "provisional", text).with("pressures.provisional.first_day_start_m", first_day);
}

/// Where nobody may start above the first-day mark and people come short from under the lowest, nobody can start.
fn no_mark(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.pressures;
    let Some(mark) = p.first_day_start_m() else { return };
    if said.r.ride_by.iter().all(|by| by.start_high_m.get().is_some()) {
        return;
    }
    let text = format!(
        "Until the bag is measured nobody starts above {}, and from so low riders do not reach the landing field: there is \
         no start. Measuring the bag, or a smaller gap, would change it.",
        metres(u, mark)
    );
    said.say(Level::Stop, About::Provisional, "provisional.no_mark", text)
        .with("pressures.provisional.first_day_start_m", mark);
}

/// By what the pressures go where the usual way has no answer.
fn sampled_speeds(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.pressures;
    let (Some(SpeedsBy::Sampling), Some(hard)) = (p.speeds_by.get(), p.hard_speed_mps.get()) else { return };
    let hangs_on = if p.provisional.as_ref().is_some() && p.first_day_start_m().is_none() {
        " No lower start is offered until the bag is measured."
    } else {
        ""
    };
    let text = format!(
        "The pressures and the chances of the ground go by the computed tries that come down, the hardest of 1,000 at {}: \
         with a little more or less of one input a run has no landing. Tries that meet the bag's front, or nothing, are not \
         in them.{hangs_on} What makes every run come down would change it: a higher start, a smaller gap, a lower front.",
        speed(u, hard)
    );
    said.say(Level::Caution, About::Speeds, "speeds", text).with("pressures.hard_speed_mps", hard);
}

fn ground(said: &mut Said<'_>) {
    let (p, bag) = (&said.r.pressures, &said.site.bag);
    let (Some(ground), Some(share)) = (p.ground.get(), p.ground_share.get()) else { return };
    let (worst, target) = (ground.worst, bag.target_ground);
    let level = level(said, Topic::Ground);
    let bags = "the bags that fit what is known of this one";
    let text = if worst > target {
        format!(
            "In more than 5 of 100 of {bags} a landing meets the ground more often than {}; in 95 of them it is up to {}. A \
             thicker bag, more pressure (with the blower for it), less vent area or a lower start would change it.{}",
            chance(target),
            chance(worst),
            if_measured(said, Topic::Ground)
        )
    } else if share > CAUTION_SHARE {
        format!(
            "In {} of {bags} a landing meets the ground more often than {}.{}",
            percent(share),
            chance(target),
            if_measured(said, Topic::Ground)
        )
    } else {
        format!("A landing meets the ground: {} in 95 of 100 of {bags}.", at_most(worst))
    };
    said.say(level, About::Ground, "ground", text)
        .with("pressures.ground.worst", worst)
        .with("pressures.ground_share", share)
        .with("pressures.ground.if_measured", ground.if_measured)
        .with("bag.target_ground", target);
}

/// A chance that is not passed, in words; none of those that nobody can measure.
fn at_most(chance_now: f64) -> String {
    if chance_now < 1.0e-5 {
        "rarer than 1 in 100,000, as far as the assumed scatter goes".to_owned()
    } else {
        format!("at most {}", chance(chance_now))
    }
}

fn ground_cut(said: &mut Said<'_>) {
    let (p, bag) = (&said.r.pressures, &said.site.bag);
    let Some(cut) = p.ground_cut.get() else { return };
    let (worst, target) = (cut.worst, bag.target_cut);
    let level = level(said, Topic::GroundCut);
    let whom = "When the power fails just as a rider passes the last place to stop";
    let text = if worst > CAUTION_CUT * target {
        let limit = if worst > target { target } else { CAUTION_CUT * target };
        format!(
            "{whom}, the landing meets the ground with a chance of {}, over {}. What would help: {}.{}",
            chance(worst),
            chance(limit),
            helps(said),
            if_measured(said, Topic::GroundCut)
        )
    } else {
        format!("{whom}, the landing meets the ground: {}.", at_most(worst))
    };
    said.say(level, About::GroundCut, "ground_cut", text)
        .with("pressures.ground_cut.worst", worst)
        .with("pressures.ground_cut.if_measured", cut.if_measured)
        .with("bag.target_cut", target);
}

fn hard_landing(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, bag) = (said.r, &said.site.bag);
    let p = &r.pressures;
    let (Some(stated), Some(soft), Some(thickness), Some(hard)) =
        (p.stated.as_ref(), p.soft.as_ref(), p.hard_thickness_m.get(), p.hard_speed_mps.get())
    else {
        return;
    };
    let level = level(said, Topic::Hard);
    let allowed = bag.depth_limit * thickness;
    let what = format!("A hard landing ({} into the top, the heaviest rider, supply just lost)", speed(u, hard));
    let deep = |depth: Option<f64>| match depth {
        Some(depth) if depth < thickness => format!("goes {} deep", metres(u, depth)),
        Some(depth) => format!("goes through to the ground (it needs {})", metres(u, depth)),
        None => "is not held at all".to_owned(),
    };
    let over = |depth: Option<f64>| depth.is_none_or(|depth| depth > allowed);
    let cure = "More pressure (with the blower for it), a thicker bag, smaller vents, lighter riders or a lower start would \
                change it.";
    let limit =
        format!("the depth limit of {} of a bag that is {} thick there", metres(u, allowed), metres(u, thickness));
    let text = if over(stated.hard_depth_m.get()) {
        format!("{what} {}, past {limit}. {cure}{}", deep(stated.hard_depth_m.get()), if_measured(said, Topic::Hard))
    } else if over(soft.hard_depth_m.get()) {
        format!(
            "{what} {}, inside {limit}; but in 5 of 100 bags that fit what is known it {}.{}",
            deep(stated.hard_depth_m.get()),
            deep(soft.hard_depth_m.get()),
            if_measured(said, Topic::Hard)
        )
    } else {
        format!("{what} {}, inside {limit}.", deep(stated.hard_depth_m.get()))
    };
    said.say(level, About::Hard, "hard", text)
        .with("pressures.stated.hard_depth_m", stated.hard_depth_m)
        .with("pressures.soft.hard_depth_m", soft.hard_depth_m)
        .with("pressures.hard_thickness_m", thickness)
        .with("bag.depth_limit", bag.depth_limit);
}

fn light_landing(said: &mut Said<'_>) {
    let u = said.shown();
    let (p, site) = (&said.r.pressures, said.site);
    let (Some(stated), Some(firm)) = (p.stated.as_ref(), p.firm.as_ref()) else { return };
    let level = level(said, Topic::Light);
    let (stop, limit) = (site.bag.load_stop, site.bag.load_limit);
    let felt = |of: Option<f64>| of.map_or_else(|| "no value".to_owned(), load);
    let who = format!("the lightest rider ({})", u.mass(site.rider.lightest_kg, Toward::Nearest));
    let cure = "Less pressure, more vent area or a lower start would change it.";
    let over = |of: Option<f64>, limit: f64| of.is_some_and(|felt| felt > limit);
    let text = if over(stated.light_load_g.get(), stop) {
        format!(
            "A hard landing is felt as {} by {who}, over {}. {cure}{}",
            felt(stated.light_load_g.get()),
            load(stop),
            if_measured(said, Topic::Light)
        )
    } else if over(stated.light_load_g.get(), limit) {
        format!(
            "A hard landing is felt as {} by {who}, over {}. {cure}{}",
            felt(stated.light_load_g.get()),
            load(limit),
            if_measured(said, Topic::Light)
        )
    } else if over(firm.light_load_g.get(), stop) {
        format!(
            "A hard landing is felt as {} by {who}; but in 5 of 100 bags that fit what is known as {}, over {}.{}",
            felt(stated.light_load_g.get()),
            felt(firm.light_load_g.get()),
            load(stop),
            if_measured(said, Topic::Light)
        )
    } else {
        format!("A hard landing is felt as {} by {who}, limit {}.", felt(stated.light_load_g.get()), load(limit))
    };
    said.say(level, About::Light, "light", text)
        .with("pressures.stated.light_load_g", stated.light_load_g)
        .with("pressures.firm.light_load_g", firm.light_load_g)
        .with("bag.load_stop", stop)
        .with("bag.load_limit", limit);
}

fn stop_pressure(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, bag) = (said.r, &said.site.bag);
    let p = &r.pressures;
    let (Some(stop), Some(room), Some(stated), Some(soft)) =
        (p.stop_pa.get(), p.room_pa.get(), p.stated.as_ref(), p.soft.as_ref())
    else {
        return;
    };
    let level = level(said, Topic::Stop);
    let operating = r.air.operating_pressure_pa;
    let floor = bag.stop_floor * bag.pressure_min_pa;
    let asks = |of: Option<f64>| {
        of.map_or_else(|| format!("no pressure up to {}", highest_looked_at(u)), |pa| pressure(u, pa.max(floor)))
    };
    let over = |of: Option<f64>| of.is_none_or(|pa| pa.max(floor) > room);
    let settles = pressure(u, operating);
    let told = if room > 0.0 {
        format!(
            "the highest that the box can tell from the {settles} at which the bag settles is {}",
            pressure(u, room)
        )
    } else {
        format!("the bag settles so low, at {settles}, that the box can tell no pressure under it")
    };
    let cure = "More pressure, a thicker bag or a lower start would change it.";
    let off = said.by.and_then(|by| by.everybody_off_under_pa.get()).unwrap_or(stop);
    let text = if over(stated.stop_by_depth_pa.get()) {
        format!(
            "A hard landing needs {} to stay off the ground, and {told}. {cure}{}",
            asks(stated.stop_by_depth_pa.get()),
            if_measured(said, Topic::Stop)
        )
    } else if over(soft.stop_by_depth_pa.get()) {
        format!(
            "In 5 of 100 bags that fit what is known a hard landing needs {} to stay off the ground, and {told}. \
             Everybody is off when the gauge falls to {}.{}",
            asks(soft.stop_by_depth_pa.get()),
            u.pressure(off, Toward::Up),
            if_measured(said, Topic::Stop)
        )
    } else {
        let rule = match p.stop_rule.get() {
            Some(StopRule::Floor) => format!("{} of the maker's lowest pressure", percent(bag.stop_floor)),
            _ => "how deep the hard landing goes".to_owned(),
        };
        format!("Everybody is off when the gauge falls to {}. It is set by {rule}.", u.pressure(off, Toward::Up))
    };
    said.say(level, About::Stop, "stop", text)
        .with("pressures.stop_pa", stop)
        .with("pressures.room_pa", room)
        .with("pressures.stated.stop_by_depth_pa", stated.stop_by_depth_pa)
        .with("pressures.soft.stop_by_depth_pa", soft.stop_by_depth_pa);
}

fn band(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, bag) = (said.r, &said.site.bag);
    let p = &r.pressures;
    let level = level(said, Topic::Band);
    let operating = r.air.operating_pressure_pa;
    let name = |rule: Option<BandEnd>| match rule {
        Some(BandEnd::Stop) => "the stop pressure",
        Some(BandEnd::Firm) => "the pressure from which a landing is too firm",
        Some(BandEnd::PressureMin) => "the maker's lowest",
        Some(BandEnd::PressureMax) => "the maker's highest",
        None => "no pressure that was found",
    };
    let text = match (p.band_low_pa.get(), p.band_high_pa.get()) {
        (Some(low), Some(high)) => {
            let band = format!(
                "{} ({}) to {} ({})",
                pressure(u, low),
                name(p.band_low_rule.get()),
                pressure(u, high),
                name(p.band_high_rule.get())
            );
            if operating < low || operating > high {
                let way = if operating < low { "below" } else { "above" };
                format!(
                    "The bag settles at {}, {way} the pressures to ride between, {band}. Blowers and openings that settle it \
                     inside would change it.{}",
                    pressure(u, operating),
                    if_measured(said, Topic::Band)
                )
            } else {
                format!("Pressures to ride between: {band}; the bag settles at {}.", pressure(u, operating))
            }
        }
        _ => {
            let mut changes: Vec<String> = Vec::new();
            let mut add = |text: &str| changes.push(text.to_owned());
            if p.band_low_rule.get() == Some(BandEnd::Stop) {
                add("a thicker bag, a lower start or lighter heaviest riders (they bring the stop pressure down)");
            }
            if p.band_high_rule.get() == Some(BandEnd::Firm) {
                add("more vent area, a lower start or heavier lightest riders (they let more pressure be ridden)");
            }
            if p.band_high_rule.get() == Some(BandEnd::PressureMax) {
                add("a bag whose maker allows more pressure");
            }
            if p.firm_pa.get().is_some_and(|firm| firm < bag.pressure_min_pa) {
                add("a bag whose maker allows less pressure");
            }
            format!(
                "There is no pressure to ride at: {} lies over {}. What would have to change: {}.{}",
                name(p.band_low_rule.get()),
                name(p.band_high_rule.get()),
                list(&changes),
                if_measured(said, Topic::Band)
            )
        }
    };
    said.say(level, About::Band, "band", text)
        .with("air.operating_pressure_pa", operating)
        .with("pressures.band_low_pa", p.band_low_pa)
        .with("pressures.band_high_pa", p.band_high_pa);
}

fn power_loss(said: &mut Said<'_>) {
    let (p, site) = (&said.r.pressures, said.site);
    let holds = match p.holds_for_p05_s.get() {
        Some(s) if s < 1.0 => "count on no second that it holds".to_owned(),
        Some(s) => format!("it keeps a hard landing off the ground for {} s at least", number(s.floor(), 0)),
        None => "it keeps a hard landing off the ground for longer than 120 s".to_owned(),
    };
    let from = if p.committed_from_start.get() == Some(true) { "start" } else { "last stop line" };
    let needs = match (p.commitment_s.get(), p.alarm_delay_s.get(), p.needed_s.get()) {
        (Some(commitment), Some(alarm), Some(needed)) => format!(
            " A rider past the line needs {} ({} from the {from} to touch-down, {} to the alarm, {} to react).",
            seconds(needed),
            seconds(commitment),
            seconds(alarm),
            seconds(site.rider.reaction_s)
        ),
        _ => " The alarm has no time of its own, since the pressure does not fall half-way to the stop pressure."
            .to_owned(),
    };
    said.say(
        Level::Note,
        About::Power,
        "power",
        format!("After a power cut, in 95 of 100 bags that fit what is known: {holds}.{needs}"),
    )
    .with("pressures.holds_for_p05_s", p.holds_for_p05_s)
    .with("pressures.needed_s", p.needed_s);
    if let Some(count) = p.landings_without_supply.get() {
        let count = if count >= 200 { "At least 200".to_owned() } else { count.to_string() };
        said.say(
            Level::Note,
            About::Power,
            "power.landings",
            format!(
                "Hard landings without supply until one passes the depth limit: {count}. They come one every {}.",
                seconds(site.session.interval_s)
            ),
        )
        .with("pressures.landings_without_supply", p.landings_without_supply.get().map(f64::from));
    }
}

/// What would help a rider past the line.
fn helps(said: &Said<'_>) -> String {
    let (site, p) = (said.site, &said.r.pressures);
    let mut helps: Vec<String> = Vec::new();
    if !site.blower.closing_flap {
        helps.push("closing flaps on the blowers".to_owned());
    }
    helps.push("a second supply that takes over by itself".to_owned());
    helps.push("less leak and vent area".to_owned());
    if !site.watch.supply_sense {
        helps.push("a box that senses the supply".to_owned());
    }
    if p.committed_from_start.get() == Some(true) {
        helps.push("a place to stop on the ride down".to_owned());
    }
    list(&helps)
}

fn wait(said: &mut Said<'_>) {
    let u = said.shown();
    let r = said.r;
    let p = &r.pressures;
    let operating = r.air.operating_pressure_pa;
    let level = level(said, Topic::Wait);
    let missing = p.seconds_missing.get();
    let riding = level != Level::Stop;
    let next = said
        .by
        .filter(|_| riding)
        .and_then(|by| by.next_rider_from_pa.get())
        .or(p.wait_pa.get())
        .map_or_else(String::new, |from| {
            format!(" The next rider starts when the gauge shows {} or more.", u.pressure(from, Toward::Up))
        });
    let text = match p.wait_pa.get() {
        Some(_) => next.trim_start().to_owned(),
        None if level == Level::Note => format!(
            "There is no pressure at which to wait: a power cut brings the bag from {} to the stop pressure sooner than a \
             rider past the line is down. The box senses the supply, and stops new riders at once.{next}",
            pressure(u, operating)
        ),
        None => format!(
            "There is no pressure at which to wait: even from the {} at which the bag settles, a power cut brings it to the \
             stop pressure sooner than a rider past the line is down{}. What would help: {}.{}{next}",
            pressure(u, operating),
            match missing {
                Some(s) if s > 0.0 => format!("; {} are missing", seconds(s)),
                Some(_) => String::new(),
                None => "; how long that takes is not known".to_owned(),
            },
            helps(said),
            if_measured(said, Topic::Wait)
        ),
    };
    said.say(level, About::Wait, "wait", text)
        .with("pressures.wait_pa", p.wait_pa)
        .with("pressures.seconds_missing", missing)
        .with("pressures.needed_s", p.needed_s);
}

fn one_blower(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.pressures;
    let Some(lost) = p.one_blower_lost.get() else { return };
    let level = level(said, Topic::OneBlower);
    let settles = pressure(u, lost.settles_pa);
    let text = if level == Level::Note {
        format!("When one blower fails the bag settles at {settles}, which is enough for a hard landing.")
    } else {
        let time = lost
            .to_stop_s
            .get()
            .map_or_else(String::new, |s| format!(", and is at the stop pressure after {}", seconds(s)));
        format!(
            "When one blower fails the bag settles at {settles}, too little for a hard landing{time}. The box may not sense \
             it at the supply: it sounds when the pressure falls."
        )
    };
    said.say(level, About::OneBlower, "one_blower", text)
        .with("pressures.one_blower_lost.settles_pa", lost.settles_pa)
        .with("pressures.one_blower_lost.to_stop_s", lost.to_stop_s);
}
