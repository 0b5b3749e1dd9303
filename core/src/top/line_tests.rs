//! The box's end by itself; both ends together are tried beside the lamp.
extern crate std;
use super::*;
use crate::top::Collector;

fn message(frame: [u8; FRAME]) -> Message {
    let mut collector = Collector::new();
    frame.iter().find_map(|byte| collector.push(*byte)).unwrap()
}

/// A desk whose last three heartbeats were answered by session 40.
fn answered() -> (Desk, u64, Message) {
    let mut desk = Desk::new(7, 1);
    let mut now_us = 0;
    let mut last = None;
    for counter in 1..=4 {
        now_us += 100_000;
        let beat = message(desk.heartbeat(TimeUs(now_us), false, false).unwrap());
        let answer =
            Message { from: From::Top, site: 7, session: 40, counter, echo: (1, beat.counter), says: Says::Wait };
        desk.hear(TimeUs(now_us + 16_000), &answer);
        last = Some(answer);
    }
    assert_eq!(desk.loss(TimeUs(now_us + 20_000)), None);
    (desk, now_us, last.unwrap())
}

#[test]
fn heartbeats_ten_times_a_second_and_at_once_with_a_change() {
    let mut desk = Desk::new(7, 1);
    let mut sent = std::vec::Vec::new();
    for step in 0..500_u64 {
        let permit = (20..130).contains(&step) || step == 300;
        sent.extend(
            desk.heartbeat(TimeUs(step * 20_000), permit, step >= 400).map(|frame| (step, message(frame).says)),
        );
    }
    for pair in sent.windows(2) {
        let apart = pair[1].0 - pair[0].0;
        assert!((2..=5).contains(&apart), "{apart} steps");
        assert!(apart == 5 || pair[0].1 != pair[1].1);
    }
    let told = |step| sent.iter().rev().find(|(at, _)| *at <= step).unwrap().1;
    assert_eq!((told(21), told(131), told(401)), (Says::Ride, Says::Wait, Says::Danger));
}

#[test]
fn answers_that_do_not_count() {
    let (desk, now_us, answer) = answered();
    let after = |change: &dyn Fn(&mut Message), late_us: u64| {
        let mut desk = desk.clone();
        let mut message = Message { counter: answer.counter + 1, ..answer };
        change(&mut message);
        let now = TimeUs(now_us + late_us);
        desk.hear(now, &message);
        desk.loss(now)
    };
    assert_eq!(after(&|_| (), 30_000), None);
    assert_eq!(after(&|m| m.site = 8, 30_000), Some(Loss::Strange));
    assert_eq!(after(&|m| m.counter -= 1, 30_000), Some(Loss::Strange));
    assert_eq!(after(&|m| (m.from, m.session) = (From::Box, 1), 30_000), None, "its own voice");
    assert_eq!(after(&|m| (m.from, m.session) = (From::Box, 9), 30_000), Some(Loss::Strange));
    // A new top: three answers before it counts.
    assert_eq!(after(&|m| m.session = 41, 30_000), Some(Loss::Silent));
    assert_eq!(after(&|m| (m.session, m.echo.1) = (41, 700), 30_000), Some(Loss::Strange));
    // Green without a permit.
    assert_eq!(after(&|m| m.says = Says::Ride, 30_000), Some(Loss::Strange));
    assert_eq!(after(&|m| m.says = Says::Held, 30_000), Some(Loss::Held));
    // Echoes of a message that is too old leave things as they were, and the time goes on.
    assert_eq!(after(&|m| m.echo.1 = 1, 349_000), None);
    assert_eq!(after(&|m| m.echo.1 = 1, 351_000), Some(Loss::Silent));
}

#[test]
fn a_clock_that_goes_back_counts_nothing() {
    let (mut desk, now_us, answer) = answered();
    desk.hear(TimeUs(now_us - 200_000), &Message { counter: answer.counter + 1, ..answer });
    // Sent after "now": not live.
    assert_eq!(desk.loss(TimeUs(now_us + 340_000)), None);
    assert_eq!(desk.loss(TimeUs(now_us + 350_000)), Some(Loss::Silent));
}
