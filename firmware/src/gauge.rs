//! Finds which sensor is fitted, once after a start, and drives it from then on.

use crate::baro::{self, Pair};
use crate::bridge::{self, Bridge};
use crate::sensor::{Fault, GaugeSensor, Kind, Reading};
use crate::thermal::{self, Thermal};
use embedded_hal::i2c::I2c;
use landfall_core::watch::parts::SecondKind;

enum Fitted {
    /// Looking at the given place in [`PLACES`].
    Looking(u8),
    Bridge(Bridge),
    Thermal(Thermal),
    Barometers(Pair),
}

/// Where parts are looked for, in this order.
const PLACES: [(u8, Kind); 4] = [
    (bridge::ADDRESS, Kind::Bridge),
    (thermal::ADDRESS, Kind::Thermal),
    (thermal::ADDRESS + 1, Kind::Thermal),
    (baro::ADDRESS_BAG, Kind::Barometers),
];

/// The sensor that is fitted.
///
/// It looks at one address per step until a part answers, then keeps to that part: a part that goes
/// away later is a fault, not a reason to look for another.
pub struct Gauge {
    bridge_part: bridge::Part,
    fitted: Fitted,
    second_address: u8,
    second: Option<Second>,
}

/// The second one: it is expected, not looked for.
enum Second {
    Bridge(Bridge),
    Barometers(Pair),
}

impl Gauge {
    /// Nothing found yet. `bridge_part` is the range of a bridge sensor, should one be fitted.
    pub const fn new(bridge_part: bridge::Part) -> Self {
        Self { bridge_part, fitted: Fitted::Looking(0), second_address: bridge::SECOND_ADDRESS, second: None }
    }

    /// The same with a second bridge sensor, should one be expected, at `second_address`.
    pub const fn with_second(bridge_part: bridge::Part, second_address: u8) -> Self {
        Self { bridge_part, fitted: Fitted::Looking(0), second_address, second: None }
    }

    const fn found(&self) -> Option<Kind> {
        match self.fitted {
            Fitted::Looking(_) => None,
            Fitted::Bridge(_) => Some(Kind::Bridge),
            Fitted::Thermal(_) => Some(Kind::Thermal),
            Fitted::Barometers(_) => Some(Kind::Barometers),
        }
    }

    fn look<B: I2c>(&mut self, bus: &mut B, place: u8) -> Result<Reading, Fault> {
        let Some((address, kind)) = PLACES.get(usize::from(place)).copied() else {
            self.fitted = Fitted::Looking(0);
            return Err(Fault::NoAnswer);
        };
        // A read of one byte: harmless to every part here. A thermal part that is idle refuses a read,
        // so it is asked to stop instead, which it takes while it measures; else its identity command.
        let mut byte = [0];
        let answers = match kind {
            Kind::Thermal => bus.write(address, &[0x3F, 0xF9]).is_ok() || bus.write(address, &[0x36, 0x7C]).is_ok(),
            _ => bus.read(address, &mut byte).is_ok(),
        };
        self.fitted = match (answers, kind) {
            (false, _) => Fitted::Looking(place.saturating_add(1)),
            (true, Kind::Bridge) => Fitted::Bridge(Bridge::new(address, self.bridge_part)),
            (true, Kind::Thermal) => Fitted::Thermal(Thermal::new(address)),
            (true, Kind::Barometers) => Fitted::Barometers(Pair::new()),
        };
        Err(if answers { Fault::NotReady } else { Fault::NoAnswer })
    }
}

impl<B: I2c> GaugeSensor<B> for Gauge {
    fn step(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        match &mut self.fitted {
            Fitted::Looking(place) => {
                let place = *place;
                self.look(bus, place)
            }
            Fitted::Bridge(part) => part.step(bus),
            Fitted::Thermal(part) => part.step(bus),
            Fitted::Barometers(part) => part.step(bus),
        }
    }

    fn kind(&self) -> Option<Kind> {
        self.found()
    }

    fn range_pa(&self) -> f32 {
        match &self.fitted {
            Fitted::Looking(_) => 0.0,
            Fitted::Bridge(part) => GaugeSensor::<B>::range_pa(part),
            Fitted::Thermal(part) => GaugeSensor::<B>::range_pa(part),
            Fitted::Barometers(part) => GaugeSensor::<B>::range_pa(part),
        }
    }

    fn second(&mut self, bus: &mut B, kind: SecondKind) -> Result<Reading, Fault> {
        // The same part read twice would agree with itself for ever.
        let same = match kind {
            SecondKind::Bridge => self.second_address == bridge::ADDRESS,
            SecondKind::Barometers => matches!(self.fitted, Fitted::Barometers(_)),
        };
        if same || matches!(self.fitted, Fitted::Looking(_)) {
            return Err(if same { Fault::WrongPart } else { Fault::NotReady });
        }
        let (part, address) = (self.bridge_part, self.second_address);
        let second = self.second.get_or_insert_with(|| match kind {
            SecondKind::Bridge => Second::Bridge(Bridge::new(address, part)),
            SecondKind::Barometers => Second::Barometers(Pair::new()),
        });
        match (second, kind) {
            (Second::Bridge(second), SecondKind::Bridge) => second.step(bus),
            (Second::Barometers(second), SecondKind::Barometers) => second.step(bus),
            _ => {
                // Other settings name another one.
                self.second = None;
                Err(Fault::NotReady)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Act, Script};

    #[test]
    fn the_second_is_read_beside_the_first_and_is_never_the_first() {
        let frame = [0x40, 0x99, 0x99, 0x9A, 0, 0, 0];
        let mut bus = Script::new(&[
            Act::read(0x29, &[0x40]),
            Act::write(0x28, &[0xAC]),
            Act::read(0x28, &frame),
            Act::read(0x28, &frame),
            Act::write(0x28, &[0xAC]),
        ]);
        let mut gauge = Gauge::new(bridge::Part::Differential20);
        assert_eq!(gauge.second(&mut bus, SecondKind::Bridge), Err(Fault::NotReady), "the first comes first");
        assert_eq!(gauge.step(&mut bus), Err(Fault::NotReady));
        assert_eq!(gauge.second(&mut bus, SecondKind::Bridge), Err(Fault::NotReady));
        // 0x99999A of 2^24 is 0.6: 1.25 · 0.1 · 40 inH2O.
        let reading = gauge.second(&mut bus, SecondKind::Bridge).unwrap();
        assert!((reading.gauge_pa - 5.0 * 249.088_91).abs() < 0.1, "{reading:?}");
        bus.done();
        let mut nothing = Script::new(&[]);
        let mut gauge = Gauge::with_second(bridge::Part::Differential20, bridge::ADDRESS);
        assert_eq!(gauge.second(&mut nothing, SecondKind::Bridge), Err(Fault::WrongPart));
        let mut gauge = Gauge { fitted: Fitted::Barometers(Pair::new()), ..Gauge::new(bridge::Part::Differential20) };
        assert_eq!(gauge.second(&mut nothing, SecondKind::Barometers), Err(Fault::WrongPart));
    }

    #[test]
    fn finds_each_kind_and_keeps_to_it() {
        let none = [
            Act::read(0x29, &[]).nack(),
            Act::write(0x25, &[0x3F, 0xF9]).nack(),
            Act::write(0x25, &[0x36, 0x7C]).nack(),
            Act::write(0x26, &[0x3F, 0xF9]).nack(),
            Act::write(0x26, &[0x36, 0x7C]).nack(),
        ];
        let mut acts = none.to_vec();
        acts.push(Act::read(0x77, &[]).nack());
        acts.extend_from_slice(&none);
        acts.push(Act::read(0x77, &[0]));
        let mut bus = Script::new(&acts);
        let mut gauge = Gauge::new(bridge::Part::Differential20);
        for _ in 0..8 {
            assert_eq!(gauge.step(&mut bus), Err(Fault::NoAnswer));
            assert_eq!(gauge.found(), None);
        }
        assert_eq!(gauge.step(&mut bus), Err(Fault::NotReady));
        assert_eq!(gauge.found(), Some(Kind::Barometers));
        bus.done();

        let mut bus = Script::new(&[
            Act::read(0x29, &[0x40]),
            Act::write(0x29, &[0xAC]),
            Act::read(0x29, &[]).nack(),
            Act::read(0x29, &[]).nack(),
        ]);
        let mut gauge = Gauge::new(bridge::Part::Differential20);
        assert_eq!(gauge.step(&mut bus), Err(Fault::NotReady));
        assert_eq!(gauge.step(&mut bus), Err(Fault::NotReady));
        assert_eq!(gauge.step(&mut bus), Err(Fault::NoAnswer));
        assert_eq!(gauge.step(&mut bus), Err(Fault::NoAnswer));
        assert_eq!((gauge.found(), GaugeSensor::<Script>::range_pa(&gauge).round()), (Some(Kind::Bridge), 4982.0));
        bus.done();
    }
}
