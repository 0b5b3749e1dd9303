//! The parts beside, in words: what a box is told of them, and what it tells.

use landfall_core::watch::parts::{BatteryPart, SecondKind};
use landfall_core::watch::{BesideSeen, Fault, Parts, SelfTest, Tested, WatchSettings};

use super::line::Line;

/// A time in hours, to the careful side, or in minutes where it is short.
fn hours(s: f32) -> String {
    if s >= 5400.0 { format!("{:.1} h", (s / 360.0).floor() / 10.0) } else { format!("{:.0} min", (s / 60.0).floor()) }
}

/// Blowers by their numbers, as people count them.
fn which(still: u8) -> String {
    let numbers: Vec<String> =
        (0..8).filter(|which| still >> which & 1 == 1).map(|which| (which + 1).to_string()).collect();
    match numbers.as_slice() {
        [one] => format!("blower {one} stands still"),
        several => format!("blowers {} stand still", several.join(", ")),
    }
}

/// What is told to the box about its parts, each with its reason.
pub fn lines(s: &WatchSettings) -> Vec<Line> {
    let line = |key, what: String, why: &str| Line { key, what, why: why.to_owned() };
    let Parts { permit_pulses, readback_s, second, battery, blowers } = &s.parts;
    let mut lines = Vec::new();
    if *permit_pulses {
        lines.push(line(
            "permit_pulses",
            "The permit is driven by pulses: a program that stands still and an output that is stuck let the relay go"
                .into(),
            "watch.permit_pulses; the relay must hang on a charge pump or a monostable, or it never closes",
        ));
    }
    if let Some(readback_s) = readback_s {
        lines.push(line(
            "readback_s",
            format!(
                "The permit's loop must follow within {:.0} ms; else: siren, and no permit until the day is ended",
                readback_s * 1e3
            ),
            "watch.permit_readback, watch.relay_time",
        ));
    }
    if let Some(second) = second {
        let allowed_pa = s.sensor_error_pa + second.error_pa + 4.0 * (s.sensor_noise_pa + second.noise_pa);
        let name = match second.kind {
            SecondKind::Bridge => "a second bridge",
            SecondKind::Barometers => "two barometers",
        };
        lines.push(line(
            "second",
            format!("Two sensors ({name} beside the first) that differ by more than {allowed_pa:.0} Pa for 0.2 s: siren"),
            "watch.second_sensor; the errors of both and four times their noise; while the pressure moves, its motion besides",
        ));
    }
    if let Some(BatteryPart { full_v, empty_v, lasts_s, session_s }) = battery {
        lines.push(line(
            "battery",
            format!(
                "No permit in the morning on a battery that does not last {}; no new rider with less than 15 min left",
                hours(*session_s)
            ),
            &format!(
                "session.length; full {full_v} V, empty {empty_v} V, {} from full to empty (watch.battery_…). The hours left are an \
                 estimate, to the careful side",
                hours(*lasts_s)
            ),
        ));
    }
    if *blowers > 0 {
        lines.push(line(
            "blowers",
            match blowers {
                1 => "The blower is sensed: still for half a second is a stop, though the mains are on".into(),
                n => format!("{n} blowers are sensed one by one: one still, no new rider; all still, a stop, though the mains are on"),
            },
            "watch.blower_sense, blower.count",
        ));
    }
    lines
}

/// What a box tells of its parts, the gravest first.
pub fn told(seen: &BesideSeen, pressure: impl Fn(f64) -> String) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(failed) = failed(&seen.self_test) {
        lines.push(format!("SELF-TEST FAILED: {failed}"));
    }
    if seen.still != 0 {
        lines.push(which(seen.still).to_uppercase());
    }
    if let (Some(volts), Some(left_s)) = (seen.battery_v, seen.left_s) {
        lines.push(format!("battery {volts:.1} V, at least {} left by estimate", hours(left_s)));
    }
    if let Some(pa) = seen.second_pa {
        lines.push(format!("second sensor {}", pressure(pa.into())));
    }
    if let Some(closed) = seen.contact {
        lines.push(format!("permit's loop {}", if closed { "closed" } else { "open" }));
    }
    lines
}

/// Which tests have failed.
fn failed(found: &SelfTest) -> Option<String> {
    let named = [(found.program, "the program in flash"), (found.memory, "the memory"), (found.clock, "the clock")];
    let failed: Vec<&str> = named.iter().filter(|(test, _)| *test == Tested::Failed).map(|(_, name)| *name).collect();
    (!failed.is_empty()).then(|| failed.join(", "))
}

/// A record of the tests at the start.
pub fn self_test_text(found: &SelfTest) -> String {
    if let Some(failed) = failed(found) {
        return format!("self-test FAILED: {failed}; no permit");
    }
    let impossible =
        |test, name: &str| if test == Tested::Impossible { format!(", {name} not tested") } else { String::new() };
    format!(
        "self-test good{}{}{}",
        impossible(found.program, "program (it was not sealed)"),
        impossible(found.memory, "memory"),
        impossible(found.clock, "clock")
    )
}

/// A record of a blower.
pub fn blower_text(number: u8, runs: bool) -> String {
    if runs {
        format!("blower {} runs", number.saturating_add(1))
    } else {
        which(1_u8.checked_shl(number.into()).unwrap_or(0))
    }
}

/// A record of the battery.
pub fn battery_text(voltage_v: f32, left_s: f32) -> String {
    format!("battery {voltage_v:.2} V, at least {} left by estimate", hours(left_s))
}

/// What a fault of the parts means and asks for; none for one of the first sensor.
pub const fn fault_todo(fault: Fault) -> Option<&'static str> {
    Some(match fault {
        Fault::PermitStuck => {
            "The permit's loop stays closed though the permit is off: a welded relay or a shorted transistor. The lamp at the top \
             shows green whatever the bag does: post somebody there, nobody rides. Mend it, end the day (hold the button until red is \
             steady) and begin a new one."
        }
        Fault::PermitOpen => {
            "The permit's loop stays open though the permit is on: relay, fuse, cable or read-back. Nobody rides. Mend it, end the day \
             (hold the button until red is steady) and begin a new one."
        }
        Fault::Disagree => {
            "The two pressure sensors do not agree: look for water, a kink or a loose joint in either tube. Nobody rides until they \
             agree; then hold the button 2 s."
        }
        Fault::SecondLost => {
            "The second pressure sensor gives nothing: look at its cable. Nobody rides until it does; then hold the button 2 s."
        }
        _ => return None,
    })
}

/// A fault in the log.
pub fn fault_text(fault: Fault) -> String {
    match fault {
        Fault::PermitStuck => "the permit's loop stayed closed though the permit was off".into(),
        Fault::PermitOpen => "the permit's loop stayed open though the permit was on".into(),
        Fault::SecondLost => "the second sensor gave nothing".into(),
        Fault::Disagree => "the two sensors did not agree".into(),
        Fault::ButtonStuck => "the button was down for longer than anybody holds it".into(),
        Fault::SenseMissing => "the sense of the blowers' supply was missing".into(),
        Fault::Late | Fault::Clock => format!("the box's own steps failed: {}", fault.word()),
        fault => format!("sensor not believed: {}", fault.word().replace('_', " ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::watch::parts::SecondSensor;

    const PARTS: Parts = Parts {
        permit_pulses: true,
        readback_s: Some(0.15),
        second: Some(SecondSensor { kind: SecondKind::Bridge, error_pa: 12.5, noise_pa: 0.15, zero_limit_pa: 30.0 }),
        battery: Some(BatteryPart { full_v: 12.8, empty_v: 11.6, lasts_s: 43_200.0, session_s: 14_400.0 }),
        blowers: 2,
    };

    #[test]
    fn the_settings_are_told_part_by_part() {
        let told: Vec<String> = lines(&WatchSettings::EXAMPLE.with_parts(PARTS)).into_iter().map(|l| l.what).collect();
        assert_eq!(told.len(), 5, "{told:?}");
        // 12 + 12.5 + 4 · 0.3 = 25.7 Pa.
        assert!(told[1].contains("150 ms") && told[2].contains("26 Pa") && told[3].contains("4.0 h"), "{told:?}");
        assert!(told[4].starts_with("2 blowers"));
        assert!(lines(&WatchSettings::EXAMPLE).is_empty());
    }

    #[test]
    fn what_the_box_tells_has_the_gravest_first_and_rounds_down() {
        let seen = BesideSeen {
            contact: Some(false),
            second_pa: Some(1003.4),
            battery_v: Some(12.41),
            left_s: Some(5_390.0),
            still: 0b101,
            self_test: SelfTest { program: Tested::Failed, memory: Tested::Good, clock: Tested::Failed },
        };
        let said = told(&seen, |pa| format!("{pa:.0} Pa"));
        assert_eq!(
            said,
            [
                "SELF-TEST FAILED: the program in flash, the clock",
                "BLOWERS 1, 3 STAND STILL",
                "battery 12.4 V, at least 89 min left by estimate",
                "second sensor 1003 Pa",
                "permit's loop open"
            ]
        );
        assert!(told(&BesideSeen::default(), |_| String::new()).is_empty());
        assert_eq!((hours(14_399.0), blower_text(1, false)), ("3.9 h".into(), "blower 2 stands still".into()));
        assert_eq!(
            self_test_text(&SelfTest::IMPOSSIBLE),
            "self-test good, program (it was not sealed) not tested, memory not tested, clock not tested"
        );
    }

    #[test]
    fn every_fault_of_a_part_says_what_to_do_in_whole_sentences() {
        for fault in [Fault::PermitStuck, Fault::PermitOpen, Fault::Disagree, Fault::SecondLost] {
            let todo = fault_todo(fault).unwrap();
            assert!(todo.contains("obody rides") && todo.ends_with('.'), "{todo}");
            assert!(!fault_text(fault).contains('_'));
        }
        assert_eq!(fault_todo(Fault::Crc), None);
    }
}
