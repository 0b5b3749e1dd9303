//! The parts beside, as the watch follows them: what each says to faults, to the permit and to the log.

use super::battery::Battery;
use super::blowers::Blowers;
use super::decide::{Held, Told};
use super::event::{Fault, GaugePa, SensorFault, What};
use super::parts::{BLOWERS, Beside, BesideSeen};
use super::permit::PermitProof;
use super::second::Second;
use super::selftest::SelfTest;
use super::settings::WatchSettings;

/// Those that the settings name.
#[derive(Clone, Debug)]
pub(super) struct BesideWatch {
    permit: Option<(PermitProof, u16)>,
    contact: bool,
    second: Option<Second>,
    battery: Option<Battery>,
    blowers: Blowers,
    self_test: SelfTest,
    /// The battery's voltage was told, and that it withholds.
    battery_told: (bool, bool),
}

impl BesideWatch {
    pub(super) fn new(settings: &WatchSettings, duty: bool) -> Self {
        let parts = &settings.parts;
        Self {
            permit: parts.readback_s.map(|s| (PermitProof::new(), (s * 1000.0) as u16)),
            contact: false,
            second: parts.second.map(|part| Second::new(part, settings.sensor_error_pa, settings.sensor_noise_pa)),
            battery: parts.battery.map(Battery::new),
            blowers: Blowers::new(parts.blowers, duty),
            self_test: SelfTest::PENDING,
            battery_told: (false, false),
        }
    }

    /// Zeros are taken anew.
    pub(super) fn again(&mut self) {
        if let Some(second) = self.second.as_mut() {
            second.again();
        }
    }

    /// One step, with what was told at the last one.
    pub(super) fn step(&mut self, beside: &Beside, dt_ms: u16, told: Told, mut log: impl FnMut(What)) {
        if let Some((proof, relay_ms)) = self.permit.as_mut() {
            proof.step(dt_ms, told.permit, beside.contact, *relay_ms, told.over);
        }
        self.contact = beside.contact;
        let changed = self.blowers.step(dt_ms, beside.running);
        for which in (0..BLOWERS).filter(|which| changed & (1 << which) != 0) {
            log(What::Blower { which, runs: self.blowers.still() & (1 << which) == 0 });
        }
        if let Some(battery) = self.battery.as_mut() {
            battery.step(dt_ms, beside.battery_v, told.siren);
            let withholds = battery.withholds(told.duty);
            if let (Some(voltage_v), Some(left_s)) = (battery.voltage_v(), battery.left_s())
                && self.battery_told != (true, withholds)
            {
                self.battery_told = (true, withholds);
                log(What::Battery { voltage_v, left_s });
            }
        }
        let told_already = self.self_test.over() || self.self_test.failed();
        let open = !beside.self_test.over() && !beside.self_test.failed();
        let news = beside.self_test != self.self_test && !open && (!told_already || beside.self_test.over());
        self.self_test = beside.self_test;
        if news {
            log(What::SelfTested(beside.self_test));
        }
    }

    /// One slot of both sensors: the first's zeroed, the second's as it comes.
    pub(super) fn compare(&mut self, first_pa: Option<f32>, second: Option<Result<GaugePa, SensorFault>>) {
        if let Some(both) = self.second.as_mut() {
            both.push(first_pa, second);
        }
    }

    /// What is wrong that stops everything.
    pub(super) fn fault(&self) -> Option<Fault> {
        let permit = self.permit.as_ref().and_then(|(proof, _)| proof.fault());
        permit.or_else(|| self.second.as_ref().and_then(Second::fault))
    }

    /// No blower runs, as far as they are sensed.
    pub(super) fn all_still(&self) -> bool {
        self.blowers.all_still()
    }

    /// What keeps new riders off.
    pub(super) fn held(&self, duty: bool) -> Option<Held> {
        if self.self_test.failed() {
            Some(Held::SelfTest)
        } else if self.blowers.still() != 0 {
            Some(Held::Blower)
        } else if self.battery.as_ref().is_some_and(|battery| battery.withholds(duty)) {
            Some(Held::Battery)
        } else {
            None
        }
    }

    pub(super) fn seen(&self) -> BesideSeen {
        BesideSeen {
            contact: self.permit.as_ref().map(|_| self.contact),
            second_pa: self.second.as_ref().and_then(Second::gauge_pa),
            battery_v: self.battery.as_ref().and_then(Battery::voltage_v),
            left_s: self.battery.as_ref().and_then(Battery::left_s),
            still: self.blowers.still(),
            self_test: self.self_test,
        }
    }
}

#[cfg(test)]
#[path = "beside_tests.rs"]
mod tests;
