//! `landfall watch`.

use std::fs::File;
use std::io::{BufWriter, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread;
use std::time::{Duration, Instant, SystemTime};

use anyhow::{Context as _, bail};
use landfall::keep::{WriteError, begin};
use landfall_box::arm::{NEEDED, look};
use landfall_box::draw::{Look, draw};
use landfall_box::live::{Brought, Seen};
use landfall_box::record::Recorder;
use landfall_box::sources::{Place, Source, Typed, run as follow};
use landfall_box::together::{Together, together};
use landfall_box::words::Level;
use landfall_core::watch::WatchSettings;
use landfall_plan::outside;
use landfall_plan::plan::compute;
use landfall_plan::site::{Site, demo, read_site};
use landfall_sampling::Stop;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyModifiers};

use super::args_box::Watch;
use super::sources::{Bags, sources};
use super::{End, input, note, output};

/// Time between two pictures, and the longest that a key or silence waits.
const FRAME: Duration = Duration::from_millis(100);
/// How often a recording is written out: at least each second, with the time that a look at the line takes.
const FLUSH: Duration = Duration::from_millis(500);
/// How often the bell rings.
const BELL: Duration = Duration::from_secs(1);

/// What is known, and where it is recorded.
struct Following {
    boxes: Vec<Seen>,
    recorders: Vec<Option<Recorder<BufWriter<File>>>>,
    from: Receiver<(usize, Brought)>,
    flushed: Instant,
}

impl Following {
    /// Takes what has come until `until`; false once every line has ended. `line` gets what is worth a line.
    fn take(&mut self, until: Instant, mut line: impl FnMut(&str) -> anyhow::Result<()>) -> anyhow::Result<bool> {
        loop {
            let (index, brought) = match self.from.recv_timeout(until.saturating_duration_since(Instant::now())) {
                Ok(one) => one,
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => return Ok(false),
            };
            if let (Brought::Message(message), Some(Some(recorder))) = (&brought, self.recorders.get_mut(index)) {
                recorder.at(SystemTime::now());
                recorder.take(message).context("the recording could not be written")?;
            }
            if let Some(seen) = self.boxes.get_mut(index) {
                for text in seen.take(&brought) {
                    line(&text)?;
                }
            }
            if Instant::now() >= until {
                break;
            }
        }
        if self.flushed.elapsed() > FLUSH {
            self.flushed = Instant::now();
            self.flush()?;
        }
        Ok(true)
    }

    fn flush(&mut self) -> anyhow::Result<()> {
        self.recorders.iter_mut().flatten().try_for_each(Recorder::flush).context("the recording could not be written")
    }
}

/// The file of one of several boxes: with its name, or its number where its name is a port's.
fn numbered(path: &Path, index: usize, typed: &[Typed]) -> PathBuf {
    if typed.len() < 2 {
        return path.to_owned();
    }
    let stem = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    let ending = path.extension().map_or_else(String::new, |ending| format!(".{}", ending.to_string_lossy()));
    let name = typed.get(index).and_then(|one| one.name.as_ref());
    let plain = name.filter(|name| name.chars().all(|c| c.is_alphanumeric() || c == '-' || c == '_'));
    let which = plain.cloned().unwrap_or_else(|| (index + 1).to_string());
    path.with_file_name(format!("{stem}-{which}{ending}"))
}

/// Begins a recording at `path`, or where that is taken at the next of its numbers: `day.csv`, `day.2.csv`, ….
fn fresh(path: &Path) -> anyhow::Result<File> {
    for number in 1..1000_u32 {
        let candidate = if number == 1 {
            path.to_owned()
        } else {
            let ending = path.extension().map_or_else(String::new, |ending| format!(".{}", ending.to_string_lossy()));
            path.with_extension(format!("{number}{ending}"))
        };
        match begin(&candidate) {
            Ok(file) => {
                if number > 1 {
                    note(&format!(
                        "{} is there already; this recording goes to {}",
                        path.display(),
                        candidate.display()
                    ));
                }
                return Ok(file);
            }
            Err(WriteError::Exists(_)) => {}
            Err(error) => return Err(error.into()),
        }
    }
    bail!("{} and all its numbers are taken", path.display())
}

/// A line that is not there now is a mistake in its name more often than a cable that comes later.
fn there(name: &str) -> anyhow::Result<()> {
    let found = if cfg!(unix) {
        Path::new(name).exists()
    } else {
        serialport::available_ports().is_ok_and(|ports| ports.iter().any(|port| port.port_name == name))
    };
    if found { Ok(()) } else { bail!("{name}: there is no such port; is the box plugged in?") }
}

/// The site that is ridden, where one was named.
fn named_site(args: &Watch) -> anyhow::Result<Option<Site>> {
    match &args.site {
        None => Ok(args.demo.then(demo)),
        Some(path) => {
            let (text, name) = input::text(path)?;
            Ok(Some(read_site(&text, &name)?))
        }
    }
}

/// What the site that is ridden would set a box for.
fn planned(site: &Site) -> anyhow::Result<WatchSettings> {
    let results = compute(site, NEEDED, &Stop::default())?;
    Ok(look(site, &results, None, 1)?.settings)
}

/// Where each box is, and what the jump that is ridden would set it for.
fn boxes(args: &Watch) -> anyhow::Result<(Vec<Source>, Option<WatchSettings>)> {
    let site = named_site(args)?;
    let bags = site.as_ref().map(|site| Bags { site, full: args.full, happenings: &args.happenings });
    let sources = sources(&args.ports, bags.as_ref())?;
    let mut simulated = 0;
    for source in &sources {
        match &source.place {
            Place::Port(port) => there(port)?,
            Place::Simulated(_) => simulated += 1,
        }
    }
    if simulated == 0 && (args.full || !args.happenings.is_empty()) {
        bail!("--full and --do are for simulated boxes, and none is: write `simulated` in the place of a port");
    }
    // Computed bags are of the very site.
    let plan = site.as_ref().filter(|_| simulated < sources.len()).map(planned).transpose()?;
    Ok((sources, plan))
}

pub(crate) fn run(args: &Watch) -> anyhow::Result<End> {
    let (sources, plan) = boxes(args)?;
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::SeqCst)).context("Ctrl-C could not be taken over")?;
    let mut recorders = Vec::new();
    for (index, (source, typed)) in sources.iter().zip(&args.ports).enumerate() {
        recorders.push(match &args.record {
            Some(path) => {
                let path = numbered(path, index, &args.ports);
                // One box without a name has no column for it.
                let name = (sources.len() > 1 || typed.name.is_some()).then_some(source.name.as_str());
                Some(Recorder::of(BufWriter::new(fresh(&path)?), name)?)
            }
            None => None,
        });
    }
    let (to, from) = sync_channel(10_000);
    let mut boxes: Vec<Seen> = sources.iter().map(|source| Seen::new(&source.name).beside(args.gauge)).collect();
    boxes.iter_mut().for_each(|seen| seen.plan = plan);
    let threads: Vec<_> = sources
        .into_iter()
        .enumerate()
        .map(|(index, source)| {
            let (stop, to, once) = (Arc::clone(&stop), to.clone(), args.once);
            thread::spawn(move || follow(&source, index, once, &stop, &to))
        })
        .collect();
    drop(to);
    let mut following = Following { boxes, recorders, from, flushed: Instant::now() };
    let end = args.length.map(|s| Instant::now() + Duration::from_secs_f64(s.clamp(0.0, 1e9)));
    let over = || stop.load(Ordering::Relaxed) || end.is_some_and(|end| Instant::now() >= end);
    let done = if std::io::stdout().is_terminal() && !args.plain {
        picture(&mut following, args, over)
    } else {
        lines(&mut following, args, over)
    };
    let last = ended(&following.boxes, args.once);
    stop.store(true, Ordering::SeqCst);
    following.flush()?;
    drop(following.from);
    for thread in threads {
        // A thread that panicked has said so itself.
        let _ = thread.join();
    }
    done?;
    Ok(last)
}

/// How it was when it ended.
fn ended(boxes: &[Seen], once: bool) -> End {
    let now = |seen: &Seen| if once && seen.lost.is_some() { seen.at_last() } else { seen.first() };
    let of_all = if once { None } else { together(boxes).map(|all| all.told.level) };
    let worst = boxes.iter().map(|seen| now(seen).level).max().max(of_all);
    if worst == Some(Level::Stop) { End::Outside } else { End::Inside }
}

/// Rings while a siren sounds or a link is silent.
struct Bell {
    on: bool,
    rung: Instant,
}

impl Bell {
    fn new(args: &Watch) -> Self {
        Self { on: args.bell, rung: Instant::now() }
    }

    fn ring(&mut self, boxes: &[Seen]) {
        // A box that has not been heard yet is given a moment.
        let known = boxes.iter().any(|seen| seen.status.is_some() || seen.quiet() > Duration::from_secs(5));
        let waiting = |seen: &Seen| seen.status.is_none() && seen.quiet() <= Duration::from_secs(5);
        let one = boxes.iter().any(|seen| seen.first().level == Level::Stop && !waiting(seen));
        let of_all = !boxes.iter().any(waiting) && together(boxes).is_some_and(|all| all.told.level == Level::Stop);
        let loud = known && (one || of_all);
        if self.on && loud && self.rung.elapsed() > BELL {
            self.rung = Instant::now();
            // To stderr, so that it is no part of what may be piped on. Nobody who hears nothing is helped by an error.
            let _ = std::io::stderr().write_all(b"\x07");
        }
    }
}

fn lines(following: &mut Following, args: &Watch, over: impl Fn() -> bool) -> anyhow::Result<()> {
    let every = Duration::from_secs_f64(args.every.clamp(0.1, 1e6));
    let (mut bell, mut was_together): (_, Option<Together>) = (Bell::new(args), None);
    let gone = std::cell::Cell::new(false);
    let say = |text: &str| -> anyhow::Result<()> {
        gone.set(gone.get() || !output::said(&format!("{}\n", outside::lines(text)))?);
        Ok(())
    };
    let mut silent = vec![false; following.boxes.len()];
    let mut due = Instant::now();
    let mut goes_on = true;
    while goes_on && !over() {
        if gone.get() || output::reader_is_gone() {
            return Ok(());
        }
        goes_on = following.take(Instant::now() + FRAME, say)?;
        bell.ring(&following.boxes);
        let all = Instant::now() >= due;
        // The one permit of several boxes: when it changes, and with every line.
        if let Some(now) = together(&following.boxes) {
            if all || now.is_news(was_together.as_ref()) {
                say(&now.line())?;
            }
            was_together = Some(now);
        }
        for (seen, was) in following.boxes.iter().zip(&mut silent) {
            let now = seen.silent().is_some();
            // Silence is said when it begins, when it ends, and with every line in between.
            if now != *was || (all && (now || seen.status.is_some())) {
                say(&seen.line())?;
            }
            *was = now;
        }
        if all {
            due = Instant::now() + every;
        }
    }
    together(&following.boxes).iter().try_for_each(|all| say(&all.line()))?;
    following.boxes.iter().try_for_each(|seen| say(&seen.line()))
}

fn picture(following: &mut Following, args: &Watch, over: impl Fn() -> bool) -> anyhow::Result<()> {
    let mut bell = Bell::new(args);
    let colour = anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never;
    // What the environment says has been asked already.
    ratatui::crossterm::style::force_color_output(true);
    let mut terminal = ratatui::try_init().context("the terminal could not be taken over; try --plain")?;
    let done = (|| -> anyhow::Result<()> {
        while !over() {
            let look = Look { colour, large: args.large };
            terminal.draw(|frame| draw(frame, &following.boxes, look))?;
            bell.ring(&following.boxes);
            if !following.take(Instant::now() + FRAME, |_| Ok(()))? {
                break;
            }
            while event::poll(Duration::ZERO)? {
                if let Event::Key(key) = event::read()? {
                    let break_off = key.code == KeyCode::Char('c') && key.modifiers.contains(KeyModifiers::CONTROL);
                    if break_off || matches!(key.code, KeyCode::Char('q') | KeyCode::Esc) {
                        return Ok(());
                    }
                }
            }
        }
        Ok(())
    })();
    ratatui::restore();
    done
}
