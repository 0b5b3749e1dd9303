//! The log: what outlives a reset, what is lost when there is no room, how it comes down.

use super::*;

/// The whole log from `from` on, as a host sorts it, and how long it took.
fn log_of(bench: &mut Bench, from: u32) -> (Vec<(u32, Entry)>, f32) {
    bench.send(&ToBox::ReadLog { from });
    let (mut logged, mut seconds, mut silent_s) = (Vec::new(), 0.0, 0.0);
    loop {
        let said = bench.run(0.1);
        seconds += 0.1;
        silent_s += 0.1;
        for message in &said {
            match message {
                FromBox::Logged { sequence, entry } => logged.push((*sequence, *entry)),
                FromBox::Reading { sent } => silent_s = if *sent as usize == logged.len() { 0.0 } else { silent_s },
                FromBox::LogEnd { next, sent } => {
                    assert_eq!(*sent as usize, logged.len());
                    logged.sort_by_key(|(sequence, _)| *sequence);
                    assert!(logged.windows(2).all(|pair| pair[1].0 > pair[0].0));
                    assert!(logged.last().is_none_or(|(sequence, _)| sequence < next));
                    return (logged, seconds);
                }
                _ => {}
            }
        }
        assert!(silent_s < 0.5 && seconds < 120.0, "the box does not say that it is working");
    }
}

#[test]
fn the_log_comes_down_in_order() {
    let mut bench = Bench::armed_and_riding();
    bench.restart(ResetCause::BrownOut);
    bench.run(1.0);
    let (logged, _) = log_of(&mut bench, 3);
    assert_eq!(logged[0].0, 3);
    assert!(logged.windows(2).all(|pair| pair[1].0 == pair[0].0 + 1), "{logged:?}");
    let has = |what| logged.iter().any(|(_, entry)| entry.what == what);
    assert!(has(Noted::Settings { site_id: 7, revision: 3 }) && has(Noted::Booted(ResetCause::BrownOut)));
    let ride = |e: &Entry| matches!(e.what, Noted::Watch(What::Changed { to: State::Ride, .. }));
    assert!(logged.iter().any(|(_, entry)| ride(entry)));
    assert_eq!(logged.last().unwrap().1.boot, 2);
}

#[test]
fn a_young_log_comes_down_within_a_second() {
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    bench.run(20.0);
    let (logged, seconds) = log_of(&mut bench, 0);
    assert!(logged.len() > 3 && seconds <= 1.0, "{} records in {seconds} s", logged.len());
}

/// Fills the log by the short way, one note a rest.
fn note_often(bench: &mut Bench, what: Noted, times: u32) {
    for _ in 0..times {
        bench.app.note(what);
        while !bench.app.notes.is_empty() {
            bench.app.write_note();
        }
    }
}

#[test]
fn a_full_log_loses_starts_before_stops_and_never_what_must_be_known() {
    let mut bench = Bench::armed_and_riding();
    note_often(&mut bench, Noted::Booted(ResetCause::Unknown), 2000);
    assert!(bench.app.lost > 100);
    let lost = bench.app.lost;
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 50);
    assert_eq!(bench.app.lost, lost, "what is graver still has room");
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 2000);
    assert!(bench.app.lost > lost);
    bench.world.reading.set(Ok(500.0));
    bench.run(0.5);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.kept.unacknowledged && bench.app.kept.duty);
}

#[test]
fn nothing_is_erased_before_the_first_step_nor_while_somebody_may_ride() {
    for fill in [0x00, 0xA5, 0xFF] {
        let mut bench = Bench::with_sectors(194);
        bench.world.flash.borrow_mut().fill(fill);
        bench.world.erases.set(0);
        bench.world.writes.set(0);
        bench.restart(ResetCause::Watchdog);
        assert_eq!((bench.world.erases.get(), bench.world.writes.get()), (0, 0));
    }
    let mut bench = Bench::armed_and_riding();
    bench.world.erases.set(0);
    for _ in 0..5 {
        bench.restart(ResetCause::BrownOut);
        assert!(bench.app.store.room(Book::Events) > 0);
        bench.run(30.0);
    }
    assert_eq!(bench.world.erases.get(), 0);
    // With the day ended, room is made again.
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 100);
    bench.world.button.set(true);
    bench.run(9.0);
    bench.world.button.set(false);
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended));
    bench.run(30.0);
    assert!(bench.world.erases.get() > 0 && !bench.app.store.wants_room(Book::Events));
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended), "no late step");
}

#[test]
fn an_erase_while_the_bag_fills_is_no_fault() {
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    bench.world.erases.set(0);
    for tenth in 0..600_u16 {
        // An erase takes a quarter of a second of the box's time.
        let before = bench.world.erases.get();
        bench.world.reading.set(Ok((f32::from(tenth) * 2.5).clamp(0.0, 1000.0)));
        let said = bench.run(0.1);
        assert!(!said.iter().any(|m| matches!(m, FromBox::Status(s) if s.siren)), "at {tenth}");
        bench.us += u64::from(bench.world.erases.get() - before) * 250_000;
    }
    assert!(bench.world.erases.get() > 30 && bench.permit());
}

#[test]
fn duty_outlives_every_reset_and_an_end_of_the_day_does_too() {
    for cause in [ResetCause::PowerOn, ResetCause::BrownOut, ResetCause::Watchdog] {
        let mut bench = Bench::armed_and_riding();
        bench.restart(cause);
        bench.world.reading.set(Ok(500.0));
        bench.run(0.12);
        assert!(bench.world.levels[3].get() && !bench.permit(), "{cause:?}: no siren");
        // The day is ended: the next start is a morning.
        let mut bench = Bench::armed_and_riding();
        bench.world.button.set(true);
        bench.run(9.0);
        bench.world.button.set(false);
        bench.world.reading.set(Ok(0.0));
        bench.world.supply.set(false);
        bench.run(2.0);
        bench.restart(cause);
        bench.world.supply.set(true);
        let said = bench.run(10.0);
        assert!(!said.iter().any(|m| matches!(m, FromBox::Status(s) if s.siren)), "{cause:?}");
        assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Fill));
    }
}

/// One landing of an invented rider every 20 s for `hours`, and now and then a stop; gives how many stops there were.
fn riding_day(bench: &mut Bench, hours: u32, stops: &mut u32) {
    for landing in 0..hours * 180 {
        for pa in [2200.0, 2200.0, 950.0] {
            bench.world.reading.set(Ok(pa));
            bench.run(0.14);
        }
        bench.world.reading.set(Ok(1000.0));
        bench.run(19.58);
        if landing % 600 == 599 {
            *stops += 1;
            bench.world.reading.set(Ok(500.0));
            bench.run(1.0);
            bench.world.reading.set(Ok(1000.0));
            bench.run(5.0);
            bench.world.button.set(true);
            bench.run(2.5);
            bench.world.button.set(false);
            bench.run(12.0);
        }
    }
}

/// A season: days with a landing every 20 s, each with its start, stops, end and night. The whole is behind a variable, as
/// it takes minutes; a week is always run.
#[test]
fn a_season_of_landings_loses_no_stop() {
    let days: u32 = std::env::var("LANDFALL_SEASON_DAYS").ok().and_then(|n| n.parse().ok()).unwrap_or(3);
    let hours: u32 = std::env::var("LANDFALL_SEASON_HOURS").ok().and_then(|n| n.parse().ok()).unwrap_or(4);
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    let mut stops = 0;
    for day in 0..days {
        bench.restart(ResetCause::PowerOn);
        bench.world.reading.set(Ok(0.0));
        bench.run(20.0);
        bench.world.reading.set(Ok(1000.0));
        bench.run(20.0);
        assert!(bench.permit(), "day {day}: {:?}", bench.app.status);
        riding_day(&mut bench, hours, &mut stops);
        assert!(bench.permit(), "day {day}: {:?}", bench.app.status);
        bench.world.button.set(true);
        bench.run(10.0);
        bench.world.button.set(false);
        bench.world.reading.set(Ok(0.0));
        bench.run(30.0);
        assert_eq!(bench.app.lost, 0, "day {day}");
    }
    bench.restart(ResetCause::PowerOn);
    bench.run(10.0);
    let (logged, seconds) = log_of(&mut bench, 0);
    let count = |f: fn(&Noted) -> bool| logged.iter().filter(|(_, e)| f(&e.what)).count() as u32;
    let found = count(|w| matches!(w, Noted::Watch(What::Changed { to: State::Stop, .. })));
    let landings = count(|w| matches!(w, Noted::Watch(What::Landed(_))));
    let in_hours: u32 =
        logged.iter().map(|(_, e)| if let Noted::Hour(hour) = e.what { u32::from(hour.landings) } else { 0 }).sum();
    let events = logged.len() as u32 - landings;
    std::println!(
        "a season of {days} days with {hours} h of riding each: {stops} stops, {found} in the log; {events} events, that is \
         {} a day; {landings} landings one by one, {in_hours} in hourly figures; read in {seconds:.0} s",
        events / days
    );
    if let Ok(path) = std::env::var("LANDFALL_SEASON_IMAGE") {
        std::fs::write(path, &*bench.world.flash.borrow()).unwrap();
    }
    assert_eq!(found, stops);
    assert!(in_hours + 2 * days >= days * hours * 180, "{in_hours}");
}
