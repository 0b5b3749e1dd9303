//! Settings to a box over the line: offered, compared, confirmed with the button held, read back.

use std::cell::Cell;
use std::io;
use std::time::{Duration, Instant};

use landfall_core::watch::{Parts, WatchSettings};
use landfall_firmware::calibration::{Calibration, Packed};
use landfall_firmware::link::{FromBox, Hello, PROTOCOL, Refusal, ToBox, Today, check_of, check_with_form};

use super::file::refusal_text;
use super::port::Port;
use landfall_core::thresholds::WatchedForm;

/// A request that is not answered within this is made again.
const ANSWER: Duration = Duration::from_secs(1);
/// Tries before the box counts as silent.
const TRIES: u32 = 5;

/// Why a box did not take settings.
#[derive(Debug)]
#[non_exhaustive]
pub enum UploadError {
    /// The line is gone.
    Line(io::Error),
    /// Nothing was answered.
    Silent,
    /// The box speaks another version of the link.
    Protocol(u8),
    /// The box refused.
    Refused(Refusal),
    /// What the box understood, or read back, is not what was sent.
    Differs,
    /// Nobody held the button within the time.
    NoButton,
    /// The box's program does not know the parts that the settings name.
    Older,
}

impl std::fmt::Display for UploadError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Line(error) => write!(f, "the line to the box is gone: {error}"),
            Self::Silent => write!(f, "THE LINK IS SILENT: the box does not answer; cable, port and power?"),
            Self::Protocol(got) => {
                write!(f, "the box speaks version {got} of the link, this program version {PROTOCOL}")
            }
            Self::Refused(refusal) => write!(f, "the box refused: {}", refusal_text(refusal)),
            Self::Differs => write!(f, "the box has something else than was sent; nothing counts as armed"),
            Self::Older => write!(
                f,
                "the box does not understand these settings: its program is older than the parts that the site file names under [watch] \
                 (second sensor, permit pulses and read-back, blowers, battery); bring it up to date, or leave them out. The former \
                 settings hold"
            ),
            Self::NoButton => write!(f, "nobody held the box's button down in time; the former settings hold"),
        }
    }
}

impl std::error::Error for UploadError {}

impl From<io::Error> for UploadError {
    fn from(error: io::Error) -> Self {
        Self::Line(error)
    }
}

/// Asks until it is answered.
fn ask<T>(port: &mut Port, request: &ToBox, wanted: impl Fn(&FromBox) -> Option<T>) -> Result<T, UploadError> {
    for _ in 0..TRIES {
        port.send(request)?;
        match port.wait_for(ANSWER, &wanted) {
            Ok(answer) => return Ok(answer),
            Err(error) if error.kind() == io::ErrorKind::TimedOut => {}
            Err(error) => return Err(error.into()),
        }
    }
    Err(UploadError::Silent)
}

/// Who is there.
///
/// # Errors
/// [`UploadError::Silent`], [`UploadError::Protocol`] or [`UploadError::Line`].
pub fn greet(port: &mut Port) -> Result<Hello, UploadError> {
    let hello = ask(port, &ToBox::Identify, |message| match message {
        FromBox::Hello(hello) => Some(*hello),
        _ => None,
    })?;
    if hello.protocol == PROTOCOL { Ok(hello) } else { Err(UploadError::Protocol(hello.protocol)) }
}

/// The settings that the box has.
///
/// # Errors
/// [`UploadError::Silent`] or [`UploadError::Line`].
pub fn held(port: &mut Port) -> Result<Option<WatchSettings>, UploadError> {
    ask(port, &ToBox::ReadSettings, |message| match message {
        FromBox::Settings(settings) => Some(*settings),
        _ => None,
    })
}

/// Planned and today's thresholds; none where the box's program does not compute them.
///
/// # Errors
/// [`UploadError::Silent`] or [`UploadError::Line`].
pub fn today(port: &mut Port) -> Result<Option<Today>, UploadError> {
    ask(port, &ToBox::ReadToday, |message| match message {
        FromBox::Today(today) => Some(Some(*today)),
        FromBox::Refused(Refusal::Frame) => Some(None),
        _ => None,
    })
}

/// States today's air to a box, whose button must be held.
///
/// # Errors
/// [`UploadError`].
pub fn state_air(
    port: &mut Port,
    pressure_pa: f32,
    temperature_k: f32,
    patience: Duration,
    mut say: impl FnMut(&str),
) -> Result<(), UploadError> {
    say("now let the box's button up and hold it down again until this says that it has taken today's air");
    let until = Instant::now() + patience;
    while Instant::now() <= until {
        let answer = ask(port, &ToBox::Air { pressure_pa, temperature_k }, |message| match message {
            FromBox::Today(_) => Some(Ok(())),
            FromBox::Refused(refusal) => Some(Err(*refusal)),
            _ => None,
        })?;
        match answer {
            Ok(()) => return Ok(()),
            Err(Refusal::Button) => std::thread::sleep(Duration::from_millis(200)),
            Err(refusal) => return Err(UploadError::Refused(refusal)),
        }
    }
    Err(UploadError::NoButton)
}

/// The sensor's calibration; the outer none where the box's program knows of none.
///
/// # Errors
/// [`UploadError::Silent`] or [`UploadError::Line`].
pub fn calibration(port: &mut Port) -> Result<Option<Option<Calibration>>, UploadError> {
    ask(port, &ToBox::ReadCalibration, |message| match message {
        FromBox::Calibration(held) => Some(Some(held.unpacked())),
        FromBox::Refused(Refusal::Frame) => Some(None),
        _ => None,
    })
}

/// Stores a calibration, or takes it out, with the box's button held.
///
/// # Errors
/// [`UploadError`]; unless it says otherwise the box has what it had.
pub fn calibrate(
    port: &mut Port,
    wanted: Option<&Calibration>,
    patience: Duration,
    mut say: impl FnMut(&str),
) -> Result<(), UploadError> {
    say("now let the box's button up, and then hold it down until this says that it is stored");
    let wanted = wanted.map_or(Packed::NONE, Calibration::packed);
    let until = Instant::now() + patience;
    while Instant::now() <= until {
        let answer = ask(port, &ToBox::Calibrate(wanted), |message| match message {
            FromBox::Calibration(held) => Some(Ok(*held == wanted)),
            FromBox::Refused(refusal) => Some(Err(*refusal)),
            _ => None,
        })?;
        match answer {
            Ok(true) => return Ok(()),
            Ok(false) => return Err(UploadError::Differs),
            Err(Refusal::Button) => std::thread::sleep(Duration::from_millis(200)),
            Err(refusal) => return Err(UploadError::Refused(refusal)),
        }
    }
    Err(UploadError::NoButton)
}

/// Makes a box forget its site, with its button held; gives the revision that the next settings must be above.
///
/// # Errors
/// [`UploadError`]; unless it says otherwise the box has what it had.
pub fn forget(
    port: &mut Port,
    site_id: u32,
    patience: Duration,
    mut say: impl FnMut(&str),
) -> Result<u32, UploadError> {
    say("now let the box's button up, and then hold it down until this says that the site is forgotten");
    let until = Instant::now() + patience;
    while Instant::now() <= until {
        let answer = ask(port, &ToBox::Forget { site_id }, |message| match message {
            FromBox::Forgot { floor } => Some(Ok(*floor)),
            FromBox::Refused(refusal) if *refusal != Refusal::Frame => Some(Err(*refusal)),
            _ => None,
        })?;
        match answer {
            Ok(floor) => return Ok(floor),
            Err(Refusal::Button) => std::thread::sleep(Duration::from_millis(200)),
            // Asked again after it was done.
            Err(Refusal::Foreign { site_id: 0 }) => return Err(UploadError::Refused(Refusal::NotStaged)),
            Err(refusal) => return Err(UploadError::Refused(refusal)),
        }
    }
    Err(UploadError::NoButton)
}

/// Offers settings, with the site's form where the box computes with it, and has them stored; `say` tells the person at
/// the box what to do. The settings are read back and compared field by field; the form is compared when it is staged,
/// and what is stored is what the checksum of all was confirmed for.
///
/// # Errors
/// [`UploadError`]; unless it says otherwise the former settings hold.
pub fn upload(
    port: &mut Port,
    settings: &WatchSettings,
    form: Option<&WatchedForm>,
    patience: Duration,
    mut say: impl FnMut(&str),
) -> Result<(), UploadError> {
    let not_understood = Cell::new(false);
    let answer = |message: &FromBox| match message {
        FromBox::Staged(staged) => Some(Ok(*staged)),
        FromBox::Refused(Refusal::Frame) => {
            not_understood.set(true);
            None
        }
        FromBox::Refused(refusal) => Some(Err(*refusal)),
        _ => None,
    };
    // A frame is refused for noise on the line as well, so it is asked again before that is believed.
    let staged = match ask(port, &ToBox::Offer(*settings), answer) {
        Err(UploadError::Silent) if not_understood.get() && settings.parts != Parts::NONE => {
            return Err(UploadError::Older);
        }
        answered => answered?.map_err(UploadError::Refused)?,
    };
    if staged != *settings {
        return Err(UploadError::Differs);
    }
    let check = match form {
        None => check_of(settings),
        Some(form) => {
            offer_form(port, form)?;
            check_with_form(settings, form)
        }
    };
    let check = check.map_err(|_| UploadError::Differs)?;
    say(
        "the box has understood the settings; now let its button up and then hold it down until this says that they are stored",
    );
    let until = Instant::now() + patience;
    loop {
        port.send(&ToBox::Confirm { check })?;
        let stored = port.wait_for(ANSWER, |message| match message {
            FromBox::Stored(stored) => Some(Ok(*stored)),
            FromBox::Refused(refusal) if *refusal != Refusal::Frame => Some(Err(*refusal)),
            _ => None,
        });
        match stored {
            Ok(Ok(stored)) if stored == *settings => break,
            Ok(Ok(_)) => return Err(UploadError::Differs),
            Ok(Err(Refusal::Button)) => std::thread::sleep(Duration::from_millis(200)),
            // Asked again after the box had stored it already: reading back tells.
            Ok(Err(Refusal::NotStaged)) if held(port)? == Some(*settings) => break,
            Ok(Err(refusal)) => return Err(UploadError::Refused(refusal)),
            Err(error) if error.kind() == io::ErrorKind::TimedOut => {}
            Err(error) => return Err(error.into()),
        }
        if Instant::now() > until {
            return Err(UploadError::NoButton);
        }
    }
    if held(port)? == Some(*settings) { Ok(()) } else { Err(UploadError::Differs) }
}

/// Offers the parts of a form and compares what the box understood.
fn offer_form(port: &mut Port, WatchedForm { site, bags, curve }: &WatchedForm) -> Result<(), UploadError> {
    let refused = |message: &FromBox| match message {
        FromBox::Refused(refusal) => Some(Err(*refusal)),
        _ => None,
    };
    let staged = ask(port, &ToBox::OfferSite(*site), |message| match message {
        FromBox::StagedSite(staged) => Some(Ok(staged == site)),
        other => refused(other),
    })?;
    let staged_bags = ask(port, &ToBox::OfferBags(*bags), |message| match message {
        FromBox::StagedBags(staged) => Some(Ok(staged == bags)),
        other => refused(other),
    })?;
    let staged_curve = ask(port, &ToBox::OfferCurve(*curve), |message| match message {
        FromBox::StagedCurve(staged) => Some(Ok(staged == curve)),
        other => refused(other),
    })?;
    let mut same = true;
    for part in [staged, staged_bags, staged_curve] {
        same &= part.map_err(UploadError::Refused)?;
    }
    if same { Ok(()) } else { Err(UploadError::Differs) }
}

#[cfg(all(test, unix))]
mod tests {
    use super::super::port::Terminal;
    use super::*;
    use landfall_firmware::frame::encode;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicBool, Ordering};

    #[test]
    fn a_box_that_does_not_know_parts_is_told_from_a_silent_one() {
        let terminal = Terminal::new().unwrap();
        let mut port = Port::open(terminal.path()).unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let refused = encode(&FromBox::Refused(Refusal::Frame)).unwrap();
        let older = std::thread::spawn(move || {
            while !asked.load(Ordering::Relaxed) {
                // It refuses each frame that it hears.
                let heard = terminal.read().unwrap();
                for _ in heard.iter().filter(|byte| **byte == 0) {
                    terminal.write_whole(refused.bytes(), Duration::from_secs(1)).unwrap();
                }
                std::thread::sleep(Duration::from_millis(5));
            }
        });
        let settings = WatchSettings::EXAMPLE.with_parts(Parts { permit_pulses: true, ..Parts::NONE });
        let found = upload(&mut port, &settings, None, Duration::from_secs(1), |_| {});
        stop.store(true, Ordering::Relaxed);
        older.join().unwrap();
        assert!(matches!(found, Err(UploadError::Older)), "{found:?}");
        assert!(UploadError::Older.to_string().contains("older than the parts"));
    }
}
