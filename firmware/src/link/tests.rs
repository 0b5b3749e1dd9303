//! Every message there and back, and what a box of another layout makes of them.

use super::*;
use crate::frame::{Receiver, encode};
use landfall_core::watch::Landing;
use landfall_core::watch::parts::{BatteryPart, Parts, SecondKind, SecondSensor};

pub(crate) fn sample() -> WatchSettings {
    WatchSettings { revision: 3, ..WatchSettings::EXAMPLE }
}

/// Everything that can be fitted.
pub(crate) fn most_parts() -> Parts {
    let second = SecondSensor { kind: SecondKind::Bridge, error_pa: 12.5, noise_pa: 0.15, zero_limit_pa: 30.0 };
    let battery = BatteryPart { full_v: 12.8, empty_v: 11.6, lasts_s: 43_200.0, session_s: 14_400.0 };
    Parts { permit_pulses: true, readback_s: Some(0.15), second: Some(second), battery: Some(battery), blowers: 3 }
}

#[test]
fn settings_without_parts_are_the_bytes_they_always_were() {
    let mut bytes = [0; MAX_BODY];
    // Layout 2: version, site, revision as varints, 12 and 9 numbers of four bytes, and a flag between them.
    let length = postcard::to_slice(&sample(), &mut bytes).unwrap().len();
    assert_eq!((length, bytes[0], bytes[1], bytes[2], bytes[51]), (3 + 84 + 1, 2, 7, 3, 1));
    assert_eq!(bytes[3..7], 600.0_f32.to_le_bytes());
    assert_eq!(bytes[84..88], 0.15_f32.to_le_bytes());
    let (read, rest): (WatchSettings, _) = postcard::take_from_bytes(&bytes).unwrap();
    assert_eq!((read, rest.len()), (sample(), MAX_BODY - 88));
    // With them they follow behind, and a reader of layout 2 has bytes left over.
    let with = sample().with_parts(most_parts());
    let bytes = postcard::to_slice(&with, &mut bytes).unwrap();
    assert!(bytes.len() > 88);
    assert_eq!(postcard::from_bytes::<WatchSettings>(bytes), Ok(with));
    assert!(postcard::from_bytes::<WatchSettings>(&bytes[..100]).is_err());
}

#[test]
fn which_settings_may_replace_which() {
    let held = sample();
    let with = |f: fn(&mut WatchSettings)| {
        let mut s = sample();
        f(&mut s);
        s
    };
    let ask = |offered| may_replace(Some(&held), 0, &offered);
    assert_eq!(may_replace(None, 0, &held), Ok(()));
    // Forgotten: what was ever taken is not taken again, of any site.
    assert_eq!(may_replace(None, 3, &held), Err(Refusal::Stale { revision: 3 }));
    assert_eq!(may_replace(None, 2, &held), Ok(()));
    assert_eq!(ask(held), Ok(()));
    assert_eq!(ask(with(|s| s.revision = 4)), Ok(()));
    assert_eq!(ask(with(|s| s.revision = 2)), Err(Refusal::Stale { revision: 3 }));
    assert_eq!(ask(with(|s| s.stop_pa = 500.0)), Err(Refusal::Impossible)); // half-way does not fit
    assert_eq!(ask(with(|s| s.needed_s = 5.0)), Err(Refusal::Stale { revision: 3 }));
    assert_eq!(ask(with(|s| s.site_id = 8)), Err(Refusal::Foreign { site_id: 7 }));
    assert_eq!(ask(with(|s| (s.revision, s.stop_pa) = (9, f32::NAN))), Err(Refusal::Impossible));
}

#[test]
fn a_calibration_has_the_same_numbers_with_and_without_the_advisory() {
    let one = crate::calibration::tests::sample().packed();
    let first = |message: &FromBox| postcard::to_slice(message, &mut [0; MAX_BODY]).unwrap()[0];
    assert_eq!(first(&FromBox::Calibration(one)), 17);
    let mut bytes = [0; MAX_BODY];
    assert_eq!(postcard::to_slice(&ToBox::ReadCalibration, &mut bytes).unwrap(), [11]);
    let told = postcard::to_slice(&ToBox::Calibrate(one), &mut bytes).unwrap();
    assert_eq!((told.len(), told[0], &told[1..]), (44, 12, &one.0[..]));
    assert_eq!(postcard::from_bytes(told), Ok(ToBox::Calibrate(one)));
    assert!(postcard::from_bytes::<ToBox>(&told[..43]).is_err());
    assert_eq!(postcard::to_slice(&Noted::Calibrated(1.0), &mut bytes).unwrap()[0], 7);
}

fn longest_entry() -> Entry {
    let landing = Landing { count: u32::MAX, ago_s: 1.0, peak_pa: 1.0, dip_pa: 1.0, recovery_s: Some(1.0) };
    Entry { boot: u16::MAX, at: TimeUs(u64::MAX), what: Noted::Watch(What::Landed(landing)) }
}

fn longest_settings() -> WatchSettings {
    WatchSettings { site_id: u32::MAX, revision: u32::MAX, ..sample() }
}

/// The longest messages of each kind.
pub(crate) fn longest() -> std::vec::Vec<FromBox> {
    let (settings, entry) = (longest_settings(), longest_entry());
    let status = Status {
        at: TimeUs(u64::MAX),
        state: Some((State::Stop, Reason::AirLost)),
        fault: Some(Fault::SenseMissing),
        gauge_pa: Some(1.0),
        supply: Some(true),
        landings: u32::MAX,
        since_landing_s: Some(1.0),
        forecast_s: Some(1.0),
        density_kgpm3: Some(1.0),
        temperature_degc: Some(1.0),
        step_us: u32::MAX,
        lost: u32::MAX,
        ..Status::default()
    };
    let step = FedStep { after_us: u32::MAX, reading: Ok(GaugePa(1.0)), supply: Some(true), button: true };
    let fed = Fed { at: TimeUs(u64::MAX), steps: [step; STATUS_STEPS as usize] };
    vec![
        FromBox::Settings(Some(settings)),
        FromBox::Logged { sequence: u32::MAX, entry },
        FromBox::Status(status),
        FromBox::Fed(fed),
        FromBox::Settings(Some(settings.with_parts(most_parts()))),
        FromBox::Beside(BesideSeen {
            contact: Some(true),
            second_pa: Some(1.0),
            battery_v: Some(1.0),
            left_s: Some(1.0),
            still: 255,
            ..BesideSeen::default()
        }),
        #[cfg(feature = "advisory")]
        FromBox::StagedSite(crate::app::tests::advisory::form().site),
        #[cfg(feature = "advisory")]
        FromBox::StagedBags(crate::app::tests::advisory::most_knots()),
        #[cfg(feature = "advisory")]
        FromBox::StagedCurve(crate::app::tests::advisory::form().curve),
        #[cfg(feature = "advisory")]
        FromBox::Today(Today {
            verdict: Verdict::OutOfOrder,
            air: Some((1.0, 1.0)),
            planned: Some(Thresholds::of(&settings)),
            computed: Some(Thresholds::of(&settings)),
            in_force: Some(Thresholds::of(&settings)),
        }),
    ]
}

#[test]
fn the_longest_messages_fit() {
    let (settings, entry) = (longest_settings(), longest_entry());
    for message in longest() {
        let frame = encode(&message).unwrap();
        let mut receiver = Receiver::new();
        let got = frame.bytes().iter().find_map(|byte| receiver.push::<FromBox>(*byte));
        assert_eq!(got, Some(Ok(message)));
    }
    assert!(postcard::to_slice(&entry, &mut [0; crate::store::PAYLOAD]).is_ok());
    assert!(check_of(&settings).is_ok());
    #[cfg(feature = "advisory")]
    {
        let form = crate::app::tests::advisory::form();
        let form = WatchedForm { bags: crate::app::tests::advisory::most_knots(), ..form };
        let mut bytes = [0; STORED];
        let bytes = postcard::to_slice(&(settings, form), &mut bytes).unwrap();
        assert_eq!(check_with_form(&settings, &form), Ok(crc32(bytes)));
        assert_eq!(check_of_stored(&[[1_u8; 22]; 17]), Ok(crc32(&[1; 374])));
        assert_eq!(check_of_stored(&[[1_u8; 32]; 24]), Err(FrameError::TooLong));
        let what = Noted::Today {
            verdict: Verdict::OutOfOrder,
            air: Some((1.0, 1.0)),
            stop_pa: 1.0,
            wait_pa: 1.0,
            high_pa: 1.0,
        };
        assert!(postcard::to_slice(&Entry { what, ..entry }, &mut [0; crate::store::PAYLOAD]).is_ok());
    }
}

#[test]
fn an_entry_is_sent_and_looked_at_as_it_stands_in_flash() {
    let kept = Kept { zero_pa: Some(3.0), unacknowledged: true, duty: true };
    for (what, found) in [(Noted::Kept(kept), Some(kept)), (Noted::Booted(ResetCause::BrownOut), None)] {
        let entry = Entry { boot: 300, at: TimeUs(1 << 40), what };
        let mut bytes = [0; crate::store::PAYLOAD];
        let bytes = postcard::to_slice(&entry, &mut bytes).unwrap();
        let as_it_stands = encode(&LoggedBytes { sequence: 70_000, entry: bytes }).unwrap();
        let understood = encode(&FromBox::Logged { sequence: 70_000, entry }).unwrap();
        assert_eq!(as_it_stands.bytes(), understood.bytes());
        assert_eq!(EntryHead::of(bytes), Some(EntryHead { boot: 300, kept: found }));
    }
}

#[test]
fn a_message_byte_for_byte() {
    // Any change here breaks every box in use: raise PROTOCOL.
    let frame = encode(&ToBox::ReadLog { from: 300 }).unwrap();
    // 02 (third message) AC 02 (300 as varint), CRC-32 by Python's zlib, stuffed.
    assert_eq!(frame.bytes(), [0x08, 0x02, 0xAC, 0x02, 0xB5, 0x9F, 0x79, 0x10, 0x00]);
}
