//! The answers of the page to try things on: JSON in, JSON out.
//!
//! Everything that the page shows is computed by [`answer`]: the same functions behind a local server and inside one
//! file, where they run as WebAssembly. It is pure: no clock, no files, no threads of its own.
//!
//! # Request
//! ```json
//! {
//!   "site": "[site]\nname = …",
//!   "file": "hill.toml",
//!   "set": {"bag.gap": "2.4 m", "blower.count": "3"},
//!   "unset": ["bag.volume"],
//!   "samples": 2000,
//!   "want": ["controls", "results", "pictures", "text"]
//! }
//! ```
//! - `site`: a site file's text; left out or null: the demo's.
//! - `file`: what the file is called in messages; `site.toml` where it is left out.
//! - `set`: values as they would stand in the file, without quotes, in the order given. What cannot be read is written
//!   down all the same, so that nothing typed is lost, and comes back as a fault.
//! - `unset`: keys to remove, after `set`.
//! - `coarse`: leaves out what takes longest (the searches for start heights and winds to hold in, and with them the
//!   findings and the verdict) and draws the pictures from 256 runs.
//! - `pictures`: the names of the pictures wanted; all where it is left out.
//! - `samples`: runs instead of the site's `spread.samples`; null: the site's.
//! - `want`: what the answer has besides `site` and `faults`; all but `text` where it is left out.
//!
//! # Answer
//! ```json
//! {
//!   "site": "the text after the edits",
//!   "name": "Larch Hollow",
//!   "faults": [{"line": 3, "column": 8, "key": "rider.mass", "message": "…", "cure": "…", "excerpt": "…", "width": 2}],
//!   "refused": null,
//!   "controls": [{"key": "bag.gap", "…": "…"}],
//!   "results": {"…": "as landfall plan --format json"},
//!   "first": {"standing": "inside", "verdict": "…", "remark": "…", "lines": [["Start", "…"]], "marks": [["Start", "6.00 m"]]},
//!   "run": {"ride": [[0.0, -15.1, 6.8, 0.0, -0.6]], "flight": [], "bag": [[4.1, 0.2, 0.6]], "contact": [4.4, 2.2]},
//!   "figures": [{"id": "along", "title": "…", "value": 3.59, "text": "3.59 m", "unit": "m", "places": 2}],
//!   "limits": [{"what": "gap", "now": "0.80 m", "limit": "0.00 m to 2.00 m", "inside": true, "level": "stop"}],
//!   "pictures": [{"id": "side", "title": "…", "words": "…", "svg": "<svg …", "legend": [], "tables": [], "wide": true}],
//!   "text": "as landfall plan"
//! }
//! ```
//! `first` is the plan's first screen; a coarse answer has none. `run` is the mean rider's run over time: seconds since
//! the start, place of the centre of mass, speed and slope; then seconds, depth and half the width of the dent.
//!
//! `faults` are those of `landfall check`, in its words. With a fault, or where the models refuse a value (`refused`
//! says why), what needs a computation is null. A request that cannot be read is answered with `{"error": "…"}` alone.

mod answer;
mod controls;
mod figures;
mod first;

pub use answer::{answer, answer_until, shown};
