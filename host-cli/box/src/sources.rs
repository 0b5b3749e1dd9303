//! Where boxes are: at serial lines or on computed bags, each with a name; one thread each, all into one channel.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant};

use landfall_firmware::frame::encode;
use landfall_firmware::link::{FromBox, ToBox};
use landfall_plan::outside;
use landfall_plan::site::{Dimension, Site, parse_quantity};

use super::live::{Brought, follow};
use super::port::Decoder;
use super::script::{Scripted, parse_line};
use super::sim::{Plan, Sim};

/// What stands for a port where a box on a computed bag is wanted.
pub const SIMULATED: &str = "simulated";
/// Between two questions who the box is and what it goes by, while it has not said.
const ASK: Duration = Duration::from_secs(1);

/// Where a box is.
#[derive(Clone, Debug)]
pub enum Place {
    /// At a serial line.
    Port(String),
    /// On a site's computed bag.
    Simulated(Box<(Site, Plan)>),
}

/// A box to follow.
#[derive(Clone, Debug)]
pub struct Source {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub place: Place,
}

/// A name with a port behind it, as somebody typed it: `left=/dev/ttyACM0`; a port alone is its own name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typed {
    /// The name, where one was given.
    pub name: Option<String>,
    /// Port, or [`SIMULATED`].
    pub port: String,
}

impl Typed {
    /// Takes it apart.
    ///
    /// # Errors
    /// What is wrong with the name.
    pub fn parse(text: &str) -> Result<Self, String> {
        match text.split_once('=') {
            Some((name, port)) if !name.contains(['/', '\\']) => {
                let name = good_name(name)?;
                if port.is_empty() {
                    return Err(format!("{name}= has no port behind it; write it as {name}=/dev/ttyACM0"));
                }
                Ok(Self { name: Some(name), port: port.to_owned() })
            }
            _ => Ok(Self { name: None, port: text.to_owned() }),
        }
    }

    /// What it is called.
    pub fn called(&self) -> String {
        self.name.clone().unwrap_or_else(|| self.port.clone())
    }
}

/// A name that can stand in a line, in a file's name and before a happening.
///
/// # Errors
/// What is wrong with it.
pub fn good_name(name: &str) -> Result<String, String> {
    let name = name.trim();
    let short = (1..=24).contains(&name.chars().count());
    if !short || outside::acting(name).is_some() || name.contains([':', '=', ',', '"', '/', '\\']) {
        return Err(format!(
            "{:?} is no name for a box: take up to 24 letters, digits and spaces, such as left",
            outside::plain(name)
        ));
    }
    if parse_quantity(name, Dimension::Time).is_ok() {
        return Err(format!("{name:?} reads as a time; take another name for the box"));
    }
    Ok(name.to_owned())
}

/// Which two boxes are called the same, if any.
#[must_use]
pub fn twice(names: &[String]) -> Option<&String> {
    names.iter().enumerate().find(|(n, name)| names.iter().take(*n).any(|other| other == *name)).map(|(_, name)| name)
}

/// Takes what happens on computed bags apart: `NAME: TIME: WHAT` is for that one, without a name for all.
///
/// # Errors
/// What is wrong with a line.
pub fn happenings(lines: &[String], names: &[String]) -> Result<Vec<Vec<Scripted>>, String> {
    let mut all = vec![Vec::new(); names.len()];
    for line in lines {
        let named = line.split_once(':').and_then(|(name, rest)| {
            names.iter().position(|known| known == name.trim()).map(|index| (index, rest.trim()))
        });
        let told = |fault: String| format!("--do {line:?}: {fault}");
        match named {
            Some((index, rest)) => {
                let one = parse_line(rest).map_err(told)?;
                all.get_mut(index).into_iter().for_each(|list| list.push(one));
            }
            None => {
                let one = parse_line(line).map_err(told)?;
                all.iter_mut().for_each(|list| list.push(one));
            }
        }
    }
    Ok(all)
}

/// Follows one box until `stop`, wherever it is; everything goes to `to` with `index`. A line is opened again when it goes
/// away, unless `once`.
pub fn run(source: &Source, index: usize, once: bool, stop: &Arc<AtomicBool>, to: &SyncSender<(usize, Brought)>) {
    match &source.place {
        Place::Port(port) => follow(port, index, once, stop, to),
        Place::Simulated(parts) => simulate(&parts.0, parts.1.clone(), index, stop, to),
    }
}

/// Runs a box in real time; its frames go the way that a line's do.
fn simulate(site: &Site, plan: Plan, index: usize, stop: &AtomicBool, to: &SyncSender<(usize, Brought)>) {
    let mut sim = match Sim::new(site, plan) {
        Ok(sim) => sim,
        Err(error) => {
            // Nobody who does not listen any more is helped.
            let _ = to.send((index, Brought::Lost(error.to_string())));
            return;
        }
    };
    if to.send((index, Brought::Opened)).is_err() {
        return;
    }
    let mut decoder = Decoder::default();
    let (mut known, mut settings) = (false, false);
    let mut asked: Option<Instant> = None;
    let began = Instant::now();
    while !stop.load(Ordering::Relaxed) {
        if !(known && settings) && asked.is_none_or(|at| at.elapsed() > ASK) {
            asked = Some(Instant::now());
            for question in [ToBox::Identify, ToBox::ReadSettings, ToBox::ReadCalibration] {
                if let Ok(frame) = encode(&question) {
                    sim.hear(frame.bytes());
                }
            }
        }
        sim.step();
        for message in decoder.take(&sim.said()) {
            known |= matches!(message, Ok(FromBox::Hello(_)));
            settings |= matches!(message, Ok(FromBox::Settings(_)));
            let brought = message.map_or(Brought::Broken, |message| Brought::Message(Box::new(message)));
            if to.send((index, brought)).is_err() {
                return;
            }
        }
        let due = began + Duration::from_secs_f64(sim.time_s());
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::script::Happening;

    #[test]
    fn names_stand_before_ports_and_happenings() {
        let typed = |text: &str| Typed::parse(text).map(|typed| (typed.name.unwrap_or_default(), typed.port));
        assert_eq!(typed("left=/dev/ttyACM0"), Ok(("left".into(), "/dev/ttyACM0".into())));
        assert_eq!(typed("/dev/ttyACM0"), Ok((String::new(), "/dev/ttyACM0".into())));
        // A port may have the sign in its own name.
        assert_eq!(typed("/dev/by-id/a=b"), Ok((String::new(), "/dev/by-id/a=b".into())));
        assert_eq!(Typed::parse("COM3").unwrap().called(), "COM3");
        for bad in
            ["=COM3", "20 s=COM3", "a:b=COM3", "left=", "\u{1b}[2J=COM3", "x\"y=COM3", &format!("{}=a", "n".repeat(25))]
        {
            assert!(typed(bad).is_err(), "{bad}");
        }
        let names = ["left".to_owned(), "right".to_owned()];
        assert_eq!(twice(&names), None);
        assert_eq!(twice(&["a".to_owned(), "b".to_owned(), "a".to_owned()]), Some(&"a".to_owned()));
        let lines = ["right: 20 s: cut for 10 s".to_owned(), "5 s: land".to_owned()];
        let all = happenings(&lines, &names).unwrap();
        assert_eq!((all[0].len(), all[1].len()), (1, 2));
        assert_eq!((all[0][0].what, all[1][0].what), (Happening::Land, Happening::Cut));
        assert!(happenings(&["middle: 20 s: cut".to_owned()], &names).unwrap_err().contains("middle"));
    }
}
