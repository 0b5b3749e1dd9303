//! Who computes when: the newest request first, few at a time, and none for nobody.
//!
//! A page that is dragged asks more often than the machine can answer. A request may name a lane (header
//! `X-Landfall-Lane`; a page has one for each variant that it shows): a newer one of the same lane ends the older. Apart
//! from lanes the newest waiting request runs first, and one whose sender has gone is ended.

use std::collections::HashMap;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use landfall_sampling::Stop;

/// How often a waiting request looks whether it was ended.
const LOOK: Duration = Duration::from_millis(20);

#[derive(Debug, Default)]
struct Inside {
    next: u64,
    running: usize,
    waiting: Vec<(u64, Arc<Stop>)>,
    lanes: HashMap<String, (u64, Arc<Stop>)>,
}

/// All of them.
#[derive(Debug)]
pub struct Turns {
    at_once: usize,
    may_wait: usize,
    inside: Mutex<Inside>,
    freed: Condvar,
}

/// The right to compute, until it is dropped.
#[derive(Debug)]
pub struct Turn<'a> {
    turns: &'a Turns,
    number: u64,
    lane: Option<String>,
    runs: bool,
}

impl Turns {
    /// So many at once; of more than `may_wait` that wait, the oldest is ended.
    #[must_use]
    pub fn new(at_once: usize, may_wait: usize) -> Self {
        Self { at_once, may_wait, inside: Mutex::default(), freed: Condvar::new() }
    }

    fn inside(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits for a turn; none where `stop` was asked for before it came.
    #[must_use]
    pub fn wait(&self, lane: Option<&str>, stop: &Arc<Stop>) -> Option<Turn<'_>> {
        let mut inside = self.inside();
        let number = inside.next;
        inside.next += 1;
        if let Some(lane) = lane
            && let Some((_, older)) = inside.lanes.insert(lane.to_owned(), (number, Arc::clone(stop)))
        {
            older.asked.store(true, Ordering::SeqCst);
        }
        inside.waiting.push((number, Arc::clone(stop)));
        if inside.waiting.len() > self.may_wait
            && let Some((_, oldest)) = inside.waiting.first()
        {
            oldest.asked.store(true, Ordering::SeqCst);
        }
        let mut turn = Turn { turns: self, number, lane: lane.map(str::to_owned), runs: false };
        loop {
            if stop.asked.load(Ordering::SeqCst) {
                // Dropping the turn takes the lock again.
                drop(inside);
                return None;
            }
            let newest = inside.waiting.iter().map(|(number, _)| *number).max();
            if inside.running < self.at_once && newest == Some(number) {
                inside.running += 1;
                inside.waiting.retain(|(other, _)| *other != number);
                turn.runs = true;
                drop(inside);
                return Some(turn);
            }
            inside = self.freed.wait_timeout(inside, LOOK).unwrap_or_else(PoisonError::into_inner).0;
        }
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        let mut inside = self.turns.inside();
        if self.runs {
            inside.running -= 1;
        } else {
            inside.waiting.retain(|(other, _)| *other != self.number);
        }
        if let Some(lane) = &self.lane
            && inside.lanes.get(lane).is_some_and(|(number, _)| *number == self.number)
        {
            inside.lanes.remove(lane);
        }
        drop(inside);
        self.turns.freed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    fn asked(stop: &Stop) -> bool {
        stop.asked.load(Ordering::SeqCst)
    }

    #[test]
    fn a_newer_one_of_a_lane_ends_the_older_and_no_other() {
        let turns = Turns::new(3, 8);
        let stops: Vec<Arc<Stop>> = (0..3).map(|_| Arc::default()).collect();
        let first = turns.wait(Some("a"), &stops[0]).unwrap();
        let other = turns.wait(Some("b"), &stops[1]).unwrap();
        assert!(!asked(&stops[0]) && !asked(&stops[1]));
        let second = turns.wait(Some("a"), &stops[2]).unwrap();
        assert!(asked(&stops[0]) && !asked(&stops[1]) && !asked(&stops[2]));
        // The older one leaves its lane to the newer.
        drop(first);
        assert_eq!(turns.inside().lanes.len(), 2);
        drop((other, second));
        let inside = turns.inside();
        assert_eq!((inside.lanes.len(), inside.running, inside.waiting.len()), (0, 0, 0));
    }

    #[test]
    fn the_newest_runs_first_and_the_oldest_gives_way() {
        let turns = Turns::new(1, 2);
        let running = turns.wait(None, &Arc::default()).unwrap();
        let (to, from) = channel();
        std::thread::scope(|scope| {
            let mut stops = Vec::new();
            for name in ["old", "middle", "new"] {
                let stop = Arc::<Stop>::default();
                stops.push(Arc::clone(&stop));
                let (to, turns, before) = (to.clone(), &turns, turns.inside().next);
                scope.spawn(move || {
                    let turn = turns.wait(None, &stop);
                    to.send((name, turn.is_some())).unwrap();
                });
                while turns.inside().next == before {
                    std::thread::sleep(Duration::from_millis(1));
                }
            }
            // Three wait where two may.
            assert_eq!(from.recv().unwrap(), ("old", false));
            assert!(asked(&stops[0]) && !asked(&stops[1]) && !asked(&stops[2]));
            drop(running);
            assert_eq!((from.recv().unwrap(), from.recv().unwrap()), (("new", true), ("middle", true)));
        });
    }
}
