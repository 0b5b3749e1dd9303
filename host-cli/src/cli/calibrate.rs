//! `landfall calibrate`.

use std::time::{Duration, Instant, SystemTime};

use anyhow::{Context as _, bail};
use landfall_box::calibrate::{Held, Point, READINGS, calibration, caution, fit, point, told, water};
use landfall_box::port::Port;
use landfall_box::upload::{self, greet};
use landfall_firmware::calibration::Reference;
use landfall_firmware::link::FromBox;
use landfall_plan::outside;

use super::args_box::Calibrate;
use super::{End, complain, note, output};

/// What was on its way when somebody pressed Enter is not of the point.
const PAST: Duration = Duration::from_millis(500);
/// Longest that a point's readings are waited for.
const LISTEN: Duration = Duration::from_secs(20);

pub(crate) fn run(args: &Calibrate) -> anyhow::Result<End> {
    if let Some(c) = outside::acting(&args.name) {
        bail!("--name holds the control character {}; take it out", c.escape_unicode());
    }
    let mut port = Port::open(&args.port).with_context(|| format!("{} could not be opened", args.port))?;
    let hello = greet(&mut port)?;
    let Some(before) = upload::calibration(&mut port)? else {
        bail!("the program of this box keeps no calibration; a newer one does");
    };
    let patience = Duration::from_secs_f64(args.wait.clamp(0.0, 600.0));
    if args.clear {
        upload::calibrate(&mut port, None, patience, note)?;
        note("the calibration is taken out: span 1");
        return Ok(End::Inside);
    }
    let Some(held) = reference(args) else {
        let caution = caution(before.as_ref(), SystemTime::now());
        let words = before.iter().map(|held| told(Some(held))).chain(caution);
        output::stdout(&(words.collect::<Vec<_>>().join("\n") + "\n"))?;
        return Ok(End::Inside);
    };
    note(&format!("the reference is {:.1} Pa, known to {:.1} Pa", held.pa, held.error_pa));
    let span = before.map_or(1.0, |held| f64::from(held.span));
    let first =
        "First point. Blowers off, nobody near the bag. Take the tube off the sensor, so that both ports are open.";
    let second = match held.reference {
        Reference::Water => "Second point. Put the column on the sensor's port and hold its levels at that height.",
        Reference::Gauge => {
            "Second point. Put the pressure on the sensor's port and on the other gauge, and hold it there."
        }
    };
    let mut points = Vec::new();
    for step in [first, second] {
        note(&format!("{step} Then press Enter and touch nothing for five seconds."));
        if !pressed()? {
            bail!("it was broken off; nothing was stored");
        }
        match measured(&mut port, span)? {
            Ok(point) => points.push(point),
            Err(no) => return refused(&no.to_string()),
        }
        points.iter().last().iter().for_each(|p| note(&format!("the sensor reads {:.1} Pa", p.mean_pa)));
    }
    let [zero, up] = points[..] else { bail!("a point is missing; nothing was stored") };
    let fitted = match fit(&zero, &up, &held, f64::from(hello.range_pa)) {
        Ok(fitted) => fitted,
        Err(no) => return refused(&no.to_string()),
    };
    let same = fitted.span == 1.0;
    output::stdout(&format!(
        "The sensor reads {:.1} % too {}, known to {:.1} %: {}.\n",
        100.0 * (1.0 / fitted.found - 1.0).abs(),
        if fitted.found > 1.0 { "little" } else { "much" },
        100.0 * fitted.error,
        if same {
            "nothing that this reference could tell from a right sensor, so the span stays 1".to_owned()
        } else {
            format!("every reading is multiplied by {:.4}", fitted.span)
        }
    ))?;
    let wanted = calibration(SystemTime::now(), &args.name, &zero, &held, &fitted);
    upload::calibrate(&mut port, Some(&wanted), patience, note)?;
    output::stdout(&format!("Stored. {}\n", told(Some(&wanted))))?;
    note(
        "put the tube back on, end the day at the box (hold the button until red is steady), and go through its trial again",
    );
    Ok(End::Inside)
}

/// What the sensor is held against; none: nothing.
fn reference(args: &Calibrate) -> Option<Held> {
    match (args.water, args.gauge, args.gauge_error) {
        (Some(height_m), ..) => Some(water(height_m, args.temperature - 273.15)),
        (None, Some(pa), Some(error_pa)) => Some(Held { reference: Reference::Gauge, pa, error_pa }),
        _ => None,
    }
}

/// Waits for Enter; false at the end of what is typed.
fn pressed() -> anyhow::Result<bool> {
    Ok(std::io::stdin().read_line(&mut String::new()).context("stdin could not be read")? > 0)
}

/// The sensor's readings at rest, before the span that the box holds.
fn measured(port: &mut Port, span: f64) -> anyhow::Result<Result<Point, landfall_box::calibrate::No>> {
    let began = Instant::now();
    let mut readings = Vec::new();
    while readings.len() < READINGS && began.elapsed() < LISTEN {
        if let Some(Ok(FromBox::Fed(fed))) = port.receive()?
            && began.elapsed() > PAST
        {
            readings.extend(fed.steps.iter().filter_map(|step| step.reading.ok()).map(|pa| f64::from(pa.0) / span));
        }
    }
    Ok(point(&readings))
}

/// Says why not.
fn refused(why: &str) -> anyhow::Result<End> {
    complain(&format!("{why}. Nothing was stored"));
    Ok(End::Outside)
}
