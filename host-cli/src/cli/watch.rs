//! `landfall watch`.

use std::fs::File;
use std::io::{BufWriter, IsTerminal as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::thread;
use std::time::{Duration, Instant};

use anyhow::Context as _;
use landfall::box_side::draw::draw;
use landfall::box_side::live::{Brought, Seen, follow};
use landfall::box_side::record::Recorder;
use landfall::keep::begin;
use landfall::outside;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyModifiers};

use super::args_box::Watch;
use super::{End, output};

/// Time between two pictures, and the longest that a key or silence waits.
const FRAME: Duration = Duration::from_millis(100);
/// How often a recording is written out.
const FLUSH: Duration = Duration::from_secs(1);

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

/// The file of one of several boxes.
fn numbered(path: &Path, index: usize, of: usize) -> PathBuf {
    if of < 2 {
        return path.to_owned();
    }
    let stem = path.file_stem().map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    let ending = path.extension().map_or_else(String::new, |ending| format!(".{}", ending.to_string_lossy()));
    path.with_file_name(format!("{stem}-{}{ending}", index + 1))
}

pub(crate) fn run(args: &Watch) -> anyhow::Result<End> {
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::SeqCst)).context("Ctrl-C could not be taken over")?;
    let mut recorders = Vec::new();
    for index in 0..args.ports.len() {
        recorders.push(match &args.record {
            Some(path) => {
                let path = numbered(path, index, args.ports.len());
                Some(Recorder::new(BufWriter::new(begin(&path)?))?)
            }
            None => None,
        });
    }
    let (to, from) = sync_channel(10_000);
    let threads: Vec<_> = args
        .ports
        .iter()
        .enumerate()
        .map(|(index, name)| {
            let (name, stop, to, once) = (name.clone(), Arc::clone(&stop), to.clone(), args.once);
            thread::spawn(move || follow(&name, index, once, &stop, &to))
        })
        .collect();
    drop(to);
    let boxes = args.ports.iter().map(|name| Seen::new(name).beside(args.gauge)).collect();
    let mut following = Following { boxes, recorders, from, flushed: Instant::now() };
    let end = args.length.map(|s| Instant::now() + Duration::from_secs_f64(s.clamp(0.0, 1e9)));
    let over = || stop.load(Ordering::Relaxed) || end.is_some_and(|end| Instant::now() >= end);
    let done = if std::io::stdout().is_terminal() && !args.plain {
        picture(&mut following, over)
    } else {
        lines(&mut following, Duration::from_secs_f64(args.every.clamp(0.1, 1e6)), over)
    };
    stop.store(true, Ordering::SeqCst);
    following.flush()?;
    drop(following.from);
    for thread in threads {
        // A thread that panicked has said so itself.
        let _ = thread.join();
    }
    done?;
    Ok(End::Inside)
}

fn lines(following: &mut Following, every: Duration, over: impl Fn() -> bool) -> anyhow::Result<()> {
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
        let all = Instant::now() >= due;
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
    following.boxes.iter().try_for_each(|seen| say(&seen.line()))
}

fn picture(following: &mut Following, over: impl Fn() -> bool) -> anyhow::Result<()> {
    let colour = anstream::AutoStream::choice(&std::io::stdout()) != anstream::ColorChoice::Never;
    // What the environment says has been asked already.
    ratatui::crossterm::style::force_color_output(true);
    let mut terminal = ratatui::try_init().context("the terminal could not be taken over; try --plain")?;
    let done = (|| -> anyhow::Result<()> {
        while !over() {
            terminal.draw(|frame| draw(frame, &following.boxes, colour))?;
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
