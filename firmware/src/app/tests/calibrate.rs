//! The sensor's calibration: with the button, over a restart, beside settings of any age, and through a power cut.

use super::*;
use crate::calibration::tests::sample as unpacked;
use crate::calibration::{Calibration, Packed};

fn calibration() -> Packed {
    unpacked().packed()
}

/// Sends a calibration with the button held.
fn calibrate(bench: &mut Bench, wanted: Packed) -> Vec<FromBox> {
    bench.world.button.set(false);
    bench.run(0.1);
    bench.world.button.set(true);
    bench.run(1.5);
    bench.send(&ToBox::Calibrate(wanted));
    let said = bench.run(0.3);
    bench.world.button.set(false);
    said
}

fn held(bench: &mut Bench) -> Packed {
    bench.send(&ToBox::ReadCalibration);
    let said = bench.run(0.3);
    said.iter().rev().find_map(|m| if let FromBox::Calibration(held) = m { Some(*held) } else { None }).unwrap()
}

/// The mean of what the watch was fed with for a second, Pa.
fn fed_pa(bench: &mut Bench) -> f32 {
    let said = bench.run(1.0);
    let steps = said.iter().filter_map(|m| if let FromBox::Fed(fed) = m { Some(fed.steps) } else { None });
    let read: Vec<f32> = steps.flatten().filter_map(|step| step.reading.ok()).map(|pa| pa.0).collect();
    read.iter().sum::<f32>() / read.len() as f32
}

#[test]
fn it_is_stored_with_the_button_alone_and_multiplies_every_reading() {
    let mut bench = Bench::new();
    assert!(bench.arm(sample()).contains(&FromBox::Stored(sample())));
    assert_eq!(held(&mut bench), Packed::NONE);
    bench.run(3.0);
    bench.world.reading.set(Ok(1000.0));
    let before_pa = fed_pa(&mut bench);
    bench.send(&ToBox::Calibrate(calibration()));
    assert_eq!(refusals(&bench.run(0.3)), [Refusal::Button]);
    let off = Calibration { span: 1.2, ..unpacked() }.packed();
    assert_eq!(refusals(&calibrate(&mut bench, off)), [Refusal::Impossible]);
    assert_eq!(held(&mut bench), Packed::NONE);
    let said = calibrate(&mut bench, calibration());
    assert!(said.contains(&FromBox::Calibration(calibration())), "{said:?}");
    let noted = Noted::Calibrated(unpacked().span);
    assert!(said.iter().any(|m| matches!(m, FromBox::Event(entry) if entry.what == noted)));
    // 1,000 Pa and noise of 3 Pa: 50 readings tell their mean to 0.25 Pa, and the factor makes 12.5 Pa.
    let after_pa = fed_pa(&mut bench);
    assert!((after_pa - 1.0125 * before_pa).abs() < 1.0, "{before_pa} {after_pa}");
    // Settings, site and the log's numbers stay, over a restart too.
    bench.restart(ResetCause::PowerOn);
    assert_eq!(held(&mut bench), calibration());
    assert_eq!(bench.app.settings, Some(sample()));
    assert!((fed_pa(&mut bench) - after_pa).abs() < 1.0);
    // New settings leave it, and so does forgetting the site; it is taken out by itself.
    let later = WatchSettings { revision: 9, ..sample() };
    assert!(bench.arm(later).contains(&FromBox::Stored(later)));
    assert_eq!(held(&mut bench), calibration());
    assert!(calibrate(&mut bench, Packed::NONE).contains(&FromBox::Calibration(Packed::NONE)));
    bench.restart(ResetCause::PowerOn);
    assert_eq!((held(&mut bench), bench.app.settings), (Packed::NONE, Some(later)));
}

#[test]
fn a_box_without_settings_keeps_it_and_takes_settings_afterwards() {
    let mut bench = Bench::new();
    bench.run(0.5);
    assert!(calibrate(&mut bench, calibration()).contains(&FromBox::Calibration(calibration())));
    bench.restart(ResetCause::PowerOn);
    assert_eq!((held(&mut bench), bench.app.settings), (calibration(), None));
    assert!(bench.arm(sample()).contains(&FromBox::Stored(sample())));
    assert_eq!(held(&mut bench), calibration());
}

#[test]
fn a_power_cut_at_any_byte_leaves_the_settings_and_one_calibration_or_the_other() {
    let (mut cut, mut old, mut new) = (1, 0, 0);
    loop {
        let mut bench = Bench::new();
        assert!(bench.arm(sample()).contains(&FromBox::Stored(sample())));
        let first = Calibration { at_s: 1, ..unpacked() }.packed();
        assert!(calibrate(&mut bench, first).contains(&FromBox::Calibration(first)));
        bench.run(3.0);
        bench.world.power.set(cut);
        let said = calibrate(&mut bench, calibration());
        let told = said.contains(&FromBox::Calibration(calibration()));
        let over = bench.world.power.get() > 0;
        bench.restart(ResetCause::PowerOn);
        assert_eq!(bench.app.settings, Some(sample()), "cut at {cut}");
        match held(&mut bench) {
            one if one == first => {
                assert!(!told, "cut at {cut}: told and not stored");
                old += 1;
            }
            one if one == calibration() => new += 1,
            other => panic!("cut at {cut}: {other:?}"),
        }
        if over {
            break;
        }
        cut += 7;
    }
    assert!(old > 10 && new > 0, "{old} {new}");
}

#[test]
fn settings_of_a_program_without_it_are_read_as_ever() {
    // Their slot as that program wrote it: head, settings, checksum, and erased to its end.
    let mut bench = Bench::new();
    assert!(bench.arm(sample()).contains(&FromBox::Stored(sample())));
    let flash = bench.world.flash.borrow().clone();
    assert!(flash[SECTOR - 64..SECTOR].iter().all(|byte| *byte == 0xFF));
    bench.restart(ResetCause::PowerOn);
    assert_eq!((bench.app.settings, held(&mut bench)), (Some(sample()), Packed::NONE));
    // Length, floor and settings: the sequence before and the checksum behind them differ from write to write.
    // What is there is not shortened by one that lies beside it: the older program reads the same bytes.
    assert!(calibrate(&mut bench, calibration()).contains(&FromBox::Calibration(calibration())));
    let now = bench.world.flash.borrow().clone();
    let bytes = |flash: &[u8], slot: usize| flash[slot * SECTOR + 8..slot * SECTOR + 104].to_vec();
    assert_eq!(bytes(&flash, 0), bytes(&now, 1));
}
