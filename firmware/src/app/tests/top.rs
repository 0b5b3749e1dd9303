//! The box and the board at the top, both programs on numbers, joined by a line.

use super::*;
use crate::top::{Hardware as TopHardware, Lamps, Tone, Top};
use landfall_core::watch::{SETTINGS_VERSION, WITH_TOP};

/// The last pitch that was asked for.
pub(crate) struct Buzzer(Rc<Cell<Option<u16>>>);
impl Tone for Buzzer {
    fn sound(&mut self, hz: Option<u16>) {
        self.0.set(hz);
    }
}

type TestedTop = Top<Out, In, Nor, Line, Dog, Buzzer>;

fn with_top() -> WatchSettings {
    WatchSettings { version: SETTINGS_VERSION | WITH_TOP, ..sample() }
}

struct Joined {
    bench: Bench,
    /// The box's end of the line.
    end: Rc<World>,
    top: TestedTop,
    at_top: Rc<World>,
    pitch: Rc<Cell<Option<u16>>>,
    whole: bool,
    chance: u32,
}

const GREEN: usize = 2;
const RED: usize = 0;
const RELAY: usize = 4;

impl Joined {
    fn new() -> Self {
        let (end, at_top, pitch) = (World::new(1), World::new(1), Rc::default());
        let bench = Bench::new();
        bench.app.connect_top(Line(Rc::clone(&end)));
        let top = Self::boot_top(&at_top, &pitch, 0, 1);
        Self { bench, end, top, at_top, pitch, whole: true, chance: 1 }
    }

    fn boot_top(at_top: &Rc<World>, pitch: &Rc<Cell<Option<u16>>>, us: u64, chance: u32) -> TestedTop {
        let w = || Rc::clone(at_top);
        let out = |index| Out(w(), index);
        let hardware = TopHardware {
            lamps: Lamps { red: out(RED), amber: out(1), green: out(GREEN), relay: out(RELAY) },
            button: In(w(), Which::Button),
            flash: Nor(w()),
            line: Line(w()),
            watchdog: Dog(w()),
            tone: Buzzer(Rc::clone(pitch)),
        };
        Top::start(hardware, TimeUs(us), chance)
    }

    fn restart_top(&mut self) {
        self.chance += 1;
        self.at_top.power.set(usize::MAX);
        self.top = Self::boot_top(&self.at_top, &self.pitch, self.bench.us, self.chance);
    }

    /// Both boards for a time; how long the top was green, s.
    fn run(&mut self, seconds: f64) -> f64 {
        let mut green = 0;
        for beat in 0..(seconds * 500.0) as u64 {
            if beat.is_multiple_of(10) {
                self.bench.run(0.02);
            } else {
                self.bench.app.pump();
            }
            self.top.beat(TimeUs(self.bench.us + beat % 10 * 2_000));
            let (down, up) = (self.end.from_box.take(), self.at_top.from_box.take());
            if self.whole {
                self.at_top.to_box.borrow_mut().extend(down);
                self.end.to_box.borrow_mut().extend(up);
            }
            assert_eq!(self.at_top.levels[GREEN].get(), self.at_top.levels[RELAY].get());
            green += u64::from(self.at_top.levels[GREEN].get());
        }
        green as f64 / 500.0
    }

    fn pair(&mut self) {
        self.at_top.button.set(true);
        self.restart_top();
        self.run(5.0);
        self.at_top.button.set(false);
        self.run(1.0);
    }

    fn riding() -> Self {
        let mut joined = Self::new();
        assert!(joined.bench.arm(with_top()).contains(&FromBox::Stored(with_top())));
        joined.pair();
        joined.bench.world.reading.set(Ok(1000.0));
        joined.run(12.0);
        assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get(), "{:?}", joined.bench.app.status);
        joined
    }

    fn reason(&self) -> Option<(State, Reason)> {
        self.bench.app.status.state
    }
}

#[test]
fn green_at_the_top_comes_and_goes_with_the_permit() {
    let mut joined = Joined::riding();
    joined.bench.world.reading.set(Ok(500.0));
    joined.run(0.2);
    assert!(!joined.at_top.levels[GREEN].get() && !joined.bench.permit());
    joined.run(0.3);
    assert!(joined.pitch.get().is_some_and(|hz| (600..=2400).contains(&hz)), "the buzzer sounds");
    joined.bench.world.reading.set(Ok(1000.0));
    joined.run(5.0);
    joined.bench.world.button.set(true);
    joined.run(2.5);
    joined.bench.world.button.set(false);
    joined.run(10.0);
    assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get() && joined.pitch.get().is_none());
}

#[test]
fn a_silent_top_withholds_the_permit_and_is_logged_and_comes_back_by_itself() {
    let mut joined = Joined::riding();
    joined.whole = false;
    assert!(joined.run(0.4) <= 0.36);
    assert_eq!(joined.run(5.0), 0.0);
    assert_eq!(joined.reason(), Some((State::Wait, Reason::TopSilent)));
    assert!(!joined.bench.permit() && !joined.bench.world.levels[3].get(), "no siren for it");
    joined.whole = true;
    joined.run(4.0);
    assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get());
    joined.bench.send(&ToBox::ReadLog { from: 0 });
    let told = joined.bench.run(3.0);
    assert!(told.iter().any(|message| matches!(
        message,
        FromBox::Logged {
            entry: Entry { what: Noted::Watch(What::Changed { reason: Reason::TopSilent, to: State::Wait, .. }), .. },
            ..
        }
    )));
}

#[test]
fn each_board_may_restart_and_the_site_is_kept() {
    let mut joined = Joined::riding();
    joined.restart_top();
    assert!(!joined.at_top.levels[GREEN].get() && joined.at_top.levels[RED].get());
    joined.run(4.0);
    assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get());
    joined.bench.restart(ResetCause::Watchdog);
    joined.bench.app.connect_top(Line(Rc::clone(&joined.end)));
    joined.run(0.4);
    assert!(!joined.at_top.levels[GREEN].get());
    joined.run(8.0);
    assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get(), "{:?}", joined.reason());
}

#[test]
fn the_button_at_the_top_withholds_the_permit_at_the_box() {
    let mut joined = Joined::riding();
    joined.at_top.button.set(true);
    joined.run(1.2);
    joined.at_top.button.set(false);
    joined.run(3.0);
    assert_eq!(joined.reason(), Some((State::Wait, Reason::TopHeld)));
    assert!(!joined.bench.permit() && !joined.at_top.levels[GREEN].get());
    joined.at_top.button.set(true);
    joined.run(2.2);
    joined.at_top.button.set(false);
    joined.run(3.0);
    assert!(joined.bench.permit() && joined.at_top.levels[GREEN].get());
}

#[test]
fn without_the_key_nothing_goes_out_and_nothing_is_withheld() {
    let mut bench = Bench::armed_and_riding();
    let end = World::new(1);
    bench.app.connect_top(Line(Rc::clone(&end)));
    bench.run(5.0);
    assert!(bench.permit() && end.from_box.borrow().is_empty());
    // With the key and without a line: no permit, and it says why.
    let mut bench = Bench::new();
    assert!(bench.arm(with_top()).contains(&FromBox::Stored(with_top())));
    bench.run(5.0);
    bench.world.reading.set(Ok(1000.0));
    bench.run(30.0);
    assert_eq!(bench.app.status.state, Some((State::Fill, Reason::TopSilent)));
    assert!(!bench.permit());
}

#[test]
fn a_pair_is_made_by_the_button_at_the_start_alone_and_whole_or_not_at_all() {
    // Not paired: red and amber, and no permit.
    let mut joined = Joined::new();
    assert!(joined.bench.arm(with_top()).contains(&FromBox::Stored(with_top())));
    joined.run(5.0);
    joined.bench.world.reading.set(Ok(1000.0));
    assert_eq!(joined.run(15.0), 0.0);
    assert!(joined.at_top.levels[RED].get() && joined.at_top.levels[1].get() && !joined.bench.permit());
    // Pressed later, or let go too soon: still not.
    joined.at_top.button.set(true);
    joined.run(5.0);
    joined.at_top.button.set(false);
    joined.run(1.0);
    joined.at_top.button.set(true);
    joined.restart_top();
    joined.run(2.0);
    joined.at_top.button.set(false);
    joined.run(5.0);
    assert_eq!(joined.at_top.writes.get(), 0);
    // The power goes at any byte of it: not paired, or paired; never another site.
    let mut made = 0;
    for cut in 1..22 {
        joined.at_top.button.set(true);
        joined.restart_top();
        joined.at_top.power.set(cut);
        joined.run(5.0);
        joined.at_top.button.set(false);
        joined.restart_top();
        let green = joined.run(8.0) > 0.0;
        made += u32::from(green);
        assert!(green || !joined.bench.permit());
    }
    assert!(made > 0, "paired in the end");
    // A flash whose bytes have changed belongs to nobody.
    for bit in 0..16 * 8 {
        joined.at_top.flash.borrow_mut()[bit / 8] ^= 1 << (bit % 8);
        joined.restart_top();
        assert_eq!(joined.run(1.0), 0.0, "bit {bit}");
        joined.at_top.flash.borrow_mut()[bit / 8] ^= 1 << (bit % 8);
    }
}

#[test]
fn a_lamp_that_cannot_be_driven_is_for_the_watchdog() {
    let mut joined = Joined::riding();
    let feeds = joined.at_top.feeds.get();
    joined.run(0.1);
    assert!(joined.at_top.feeds.get() > feeds);
    joined.at_top.broken_pin.set(true);
    let feeds = joined.at_top.feeds.get();
    joined.run(0.1);
    assert_eq!(joined.at_top.feeds.get(), feeds);
}

#[test]
fn the_key_changes_the_layout_number_alone() {
    // So a set that was stored before there was a key is read as ever.
    let (mut plain, mut with) = ([0; 160], [0; 160]);
    let plain = postcard::to_slice(&sample(), &mut plain).unwrap();
    let with = postcard::to_slice(&self::with_top(), &mut with).unwrap();
    // 2, and 258 as a varint.
    assert_eq!((plain[0], &with[..2]), (2, &[0x82, 0x02][..]));
    assert_eq!(plain[1..], with[2..]);
    assert_eq!(postcard::from_bytes::<WatchSettings>(plain).map(|settings| settings.with_top()), Ok(false));
}
