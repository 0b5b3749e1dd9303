//! A settings file: frames of the link, the very bytes that a box is offered.
//!
//! It holds [`ToBox::Offer`] with version, site, revision and CRC-32, in postcard and COBS, zero byte at the end; and, for
//! a box that computes its thresholds in today's air, [`ToBox::OfferSite`], [`ToBox::OfferBags`] and [`ToBox::OfferCurve`] behind it.

use std::path::Path;
use std::{fs, io};

use landfall_core::watch::WatchSettings;
use landfall_firmware::frame::{FrameError, Receiver, encode};
use landfall_firmware::link::{Refusal, ToBox, may_replace};

use landfall_core::thresholds::WatchedForm;

/// What is wrong with a settings file.
#[derive(Debug)]
#[non_exhaustive]
pub enum FileError {
    /// It could not be read or written.
    Io(io::Error),
    /// Not one whole frame with the right checksum.
    Frame(Option<FrameError>),
    /// A frame, but of another kind.
    Kind,
    /// Settings that the box refuses.
    Refused(Refusal),
}

impl std::fmt::Display for FileError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Io(error) => write!(f, "{error}"),
            Self::Frame(Some(FrameError::Checksum)) => {
                write!(f, "the checksum does not agree: damaged, or no settings file")
            }
            Self::Frame(_) => write!(f, "this is no settings file of the box, or it was cut short"),
            Self::Kind => write!(f, "a message of the link, but no settings"),
            Self::Refused(refusal) => write!(f, "{}", refusal_text(refusal)),
        }
    }
}

impl std::error::Error for FileError {}

impl From<io::Error> for FileError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Why a box refuses, in plain words.
pub fn refusal_text(refusal: &Refusal) -> String {
    match refusal {
        Refusal::Impossible => "these settings contradict themselves or are of another layout, or the site asks for a board at the top (top_signal) and the \
             box's program was built without its line"
            .into(),
        Refusal::Foreign { site_id } => format!(
            "these settings are foreign: the box has those of site {site_id:08x}; to move it, make it forget them first: \
             `landfall log PORT --forget {site_id:08x}` with its button held"
        ),
        Refusal::Stale { revision } => {
            format!("these settings are stale: the box has revision {revision}; compute them anew with `landfall arm`")
        }
        Refusal::SensorRange { range_pa } => {
            format!("the box's sensor ends at {range_pa:.0} Pa, which these settings go beyond")
        }
        Refusal::NotStaged => "the box does not have the offered settings any more; offer them again".into(),
        Refusal::Button => "the box's button is not held down".into(),
        Refusal::Flash => "the box's memory did not take them; the former settings hold".into(),
        Refusal::Frame => "the box did not understand a frame".into(),
        Refusal::OnDuty => "people may be riding: end the day first (hold the button until red is steady)".into(),
        _ => "the box refused, with a reason that this program does not know".into(),
    }
}

/// The file's bytes.
///
/// # Errors
/// [`FileError::Frame`] if they do not fit into a frame.
pub fn to_bytes(settings: &WatchSettings) -> Result<Vec<u8>, FileError> {
    let frame = encode(&ToBox::Offer(*settings)).map_err(|error| FileError::Frame(Some(error)))?;
    Ok(frame.bytes().to_vec())
}

/// The same with the site's form behind the settings.
///
/// # Errors
/// As [`to_bytes`].
pub fn to_bytes_with(settings: &WatchSettings, form: Option<&WatchedForm>) -> Result<Vec<u8>, FileError> {
    let mut bytes = to_bytes(settings)?;
    if let Some(WatchedForm { site, bags, curve }) = form {
        for message in [ToBox::OfferSite(*site), ToBox::OfferBags(*bags), ToBox::OfferCurve(*curve)] {
            bytes.extend(encode(&message).map_err(|error| FileError::Frame(Some(error)))?.bytes());
        }
    }
    Ok(bytes)
}

/// The settings in a file's bytes, as the box decodes them; they pass the box's own checks.
///
/// # Errors
/// [`FileError`].
pub fn from_bytes(bytes: &[u8]) -> Result<WatchSettings, FileError> {
    with_form(bytes).map(|(settings, _)| settings)
}

/// The same with the site's form, where the file has one.
///
/// # Errors
/// [`FileError`].
pub fn with_form(bytes: &[u8]) -> Result<(WatchSettings, Option<WatchedForm>), FileError> {
    let mut receiver = Receiver::new();
    let messages: Vec<_> = bytes.iter().filter_map(|byte| receiver.push::<ToBox>(*byte)).collect();
    if bytes.last() != Some(&0) || messages.is_empty() {
        return Err(FileError::Frame(None));
    }
    let messages =
        messages.into_iter().collect::<Result<Vec<_>, _>>().map_err(|error| FileError::Frame(Some(error)))?;
    let (settings, form) = match messages[..] {
        [ToBox::Offer(settings)] => (settings, None),
        [ToBox::Offer(settings), ToBox::OfferSite(site), ToBox::OfferBags(bags), ToBox::OfferCurve(curve)] => {
            (settings, Some(WatchedForm { site, bags, curve }))
        }
        [ToBox::Offer(_), ..] => return Err(FileError::Frame(None)),
        _ => return Err(FileError::Kind),
    };
    may_replace(None, 0, &settings).map_err(FileError::Refused)?;
    Ok((settings, form))
}

/// Reads a settings file.
///
/// # Errors
/// [`FileError`].
pub fn read(path: &Path) -> Result<WatchSettings, FileError> {
    from_bytes(&fs::read(path)?)
}

/// Reads a settings file with the site's form, where it has one.
///
/// # Errors
/// [`FileError`].
pub fn read_with_form(path: &Path) -> Result<(WatchSettings, Option<WatchedForm>), FileError> {
    with_form(&fs::read(path)?)
}

/// The bytes of a settings file that is to stand at `path`. A file that is there is replaced if a box with its settings
/// would take these.
///
/// # Errors
/// [`FileError::Refused`] with [`Refusal::Foreign`] or [`Refusal::Stale`] otherwise; `force` replaces anything.
pub fn to_replace(
    path: &Path,
    settings: &WatchSettings,
    form: Option<&WatchedForm>,
    force: bool,
) -> Result<Vec<u8>, FileError> {
    let bytes = to_bytes_with(settings, form)?;
    if path.is_file() && !force {
        may_replace(Some(&read(path)?), 0, settings).map_err(FileError::Refused)?;
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_the_offer_and_the_box_decodes_it() {
        let bytes = to_bytes(&WatchSettings::EXAMPLE).unwrap();
        assert_eq!(from_bytes(&bytes).unwrap(), WatchSettings::EXAMPLE);
        // Fourth message of the enum, first byte after COBS's own.
        assert_eq!(bytes.get(1), Some(&3));
    }

    #[test]
    fn the_form_goes_with_them_and_settings_are_read_without_it() {
        let form = super::super::today::tests::example();
        let bytes = to_bytes_with(&WatchSettings::EXAMPLE, Some(&form)).unwrap();
        assert_eq!(with_form(&bytes).unwrap(), (WatchSettings::EXAMPLE, Some(form)));
        assert_eq!(from_bytes(&bytes).unwrap(), WatchSettings::EXAMPLE);
        let first = to_bytes(&WatchSettings::EXAMPLE).unwrap().len();
        for at in 0..bytes.len() {
            let mut bad = bytes.clone();
            bad[at] ^= 0x10;
            assert!(with_form(&bad).is_err(), "byte {at}");
            assert!(with_form(&bytes[..at]).is_err() || at == first, "cut at {at}");
        }
    }

    #[test]
    fn damage_is_noticed_at_every_byte() {
        let bytes = to_bytes(&WatchSettings::EXAMPLE).unwrap();
        for at in 0..bytes.len() {
            let mut bad = bytes.clone();
            bad[at] ^= 0x10;
            assert!(from_bytes(&bad).is_err(), "byte {at}");
            assert!(from_bytes(&bytes[..at]).is_err(), "cut at {at}");
        }
        assert!(from_bytes(&[bytes.clone(), bytes].concat()).is_err());
    }

    #[test]
    fn foreign_and_stale_files_do_not_replace() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("site.watch");
        let mut s = WatchSettings::EXAMPLE;
        s.revision = 5;
        let write = |settings: &WatchSettings, force| {
            to_replace(&path, settings, None, force).map(|bytes| fs::write(&path, bytes).unwrap())
        };
        write(&s, false).unwrap();
        let stale = WatchSettings { revision: 4, ..s };
        assert!(matches!(write(&stale, false), Err(FileError::Refused(Refusal::Stale { revision: 5 }))));
        let foreign = WatchSettings { site_id: s.site_id + 1, revision: 9, ..s };
        assert!(matches!(write(&foreign, false), Err(FileError::Refused(Refusal::Foreign { .. }))));
        assert_eq!(read(&path).unwrap(), s);
        write(&foreign, true).unwrap();
        assert_eq!(read(&path).unwrap(), foreign);
    }
}
