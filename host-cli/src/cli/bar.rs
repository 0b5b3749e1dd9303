//! Progress on a terminal, and Ctrl-C.

use std::io::IsTerminal as _;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use anyhow::Context as _;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use landfall_sampling::Stop;

use super::args_shared::Threads;

/// Nothing is shown before this.
const QUIET: Duration = Duration::from_secs(1);
const EVERY: Duration = Duration::from_millis(100);

/// Makes Ctrl-C ask the work to stop; a second one ends the program at once.
pub(crate) fn stop_on_ctrl_c() -> anyhow::Result<Arc<Stop>> {
    let stop = Arc::new(Stop::default());
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if asked.asked.swap(true, Ordering::SeqCst) {
            std::process::exit(130);
        }
    })
    .context("Ctrl-C could not be taken over")?;
    Ok(stop)
}

/// Runs work in its own pool of threads, with progress shown while it lasts.
pub(crate) fn with_threads<T: Send>(threads: &Threads, work: impl FnOnce() -> T + Send) -> anyhow::Result<T> {
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(threads.threads.into())
        .build()
        .context("the threads could not be started")?;
    Ok(pool.install(work))
}

/// A progress bar that shows itself after a second and goes away when it is dropped.
#[derive(Debug)]
pub(crate) struct Progress {
    bar: ProgressBar,
    thread: Option<(Sender<()>, JoinHandle<()>)>,
}

impl Progress {
    /// Counts runs, about `runs` of them.
    pub(crate) fn of_runs(stop: &Arc<Stop>, runs: u64) -> Self {
        let stop = Arc::clone(stop);
        Self::start(runs, "runs", move |bar| {
            let done = stop.done.load(Ordering::Relaxed);
            if bar.length().is_none_or(|length| done > length) {
                bar.set_length(done);
            }
            bar.set_position(done);
        })
    }

    /// Counts points.
    pub(crate) fn of_points(points: u64) -> Self {
        Self::start(points, "points", ProgressBar::tick)
    }

    /// So many points more are done.
    pub(crate) fn points_done(&self, points: u64) {
        self.bar.inc(points);
    }

    /// Takes the bar off the terminal while `work` writes there.
    pub(crate) fn aside<T>(&self, work: impl FnOnce() -> T) -> T {
        self.bar.suspend(work)
    }

    fn start(total: u64, unit: &str, update: impl Fn(&ProgressBar) + Send + 'static) -> Self {
        let bar = ProgressBar::with_draw_target(Some(total), ProgressDrawTarget::hidden());
        if !std::io::stderr().is_terminal() {
            return Self { bar, thread: None };
        }
        let pattern = format!("{{bar:30}} {{human_pos}} of about {{human_len}} {unit}, {{elapsed}}");
        if let Ok(style) = ProgressStyle::with_template(&pattern) {
            bar.set_style(style);
        }
        let (end, ended) = channel::<()>();
        let shown = bar.clone();
        let work = move || {
            if ended.recv_timeout(QUIET) != Err(RecvTimeoutError::Timeout) {
                return;
            }
            shown.set_draw_target(ProgressDrawTarget::stderr());
            while ended.recv_timeout(EVERY) == Err(RecvTimeoutError::Timeout) {
                update(&shown);
            }
        };
        let thread = std::thread::Builder::new().name("progress".to_owned()).spawn(work);
        Self { bar, thread: thread.ok().map(|thread| (end, thread)) }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some((end, thread)) = self.thread.take() {
            drop(end);
            // A thread that only draws has nothing to report.
            let _ = thread.join();
        }
        self.bar.finish_and_clear();
    }
}
