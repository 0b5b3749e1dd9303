//! The pressures at which a box's siren and permit change, and how near to the operating pressure that lets a stop
//! pressure lie.

/// Smallest dip after a landing that is reckoned with, Pa.
pub const LEAST_DIP_PA: f32 = 10.0;

/// Alarm deadband as a share of the operating pressure.
///
/// 2 % of range for a pressure alarm: EEMUA Publication 191 (as quoted in alarm-management texts).
/// The range is taken as zero to the operating pressure, *assumed*.
pub const DEADBAND_SHARE: f32 = 0.02;

/// How far on the way from stop to operating pressure the permit is given up: a tenth above half-way, which pays for the
/// filter's delay. *Assumed*; the latency test measures what it buys.
pub const PERMIT_SHARE: f32 = 0.55;

/// What a box's pressure sensor may be off by.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SensorError {
    /// Largest error e of a filtered, zeroed reading, Pa.
    pub error_pa: f32,
    /// Largest standard deviation n of its readings that is still usual, Pa.
    pub noise_pa: f32,
}

/// Which of its conditions bounds the room.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RoomRule {
    /// 0.85 of the operating pressure.
    Share,
    /// The dip after the mean landing must not sound the siren.
    Dip,
    /// The permit must come back with the stop pressure for a wait pressure.
    Permit,
    /// The same with the permit that goes off before half-way.
    HalfWay,
}

/// The pressures at which siren and permit change.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BoxPressures {
    /// The siren sounds at or under this, Pa.
    pub siren_pa: f32,
    /// The permit goes off under this, Pa.
    pub permit_off_pa: f32,
    /// The permit is back from this on, Pa.
    pub permit_back_pa: f32,
    /// The wait pressure, or what stands in its place where there is none, Pa.
    pub acting_wait_pa: f32,
}

impl BoxPressures {
    /// Siren at or under stop + e; permit off under max(wait, 0.45 stop + 0.55 p_op) + e, back from that + 0.02 p_op.
    /// Units: Pa. `acting_wait_pa` is the wait pressure, or what stands in its place ([`acting_wait_pa`]).
    #[must_use]
    pub fn new(stop_pa: f32, acting_wait_pa: f32, operating_pa: f32, error_pa: f32) -> Self {
        let before_half_way_pa = (1.0 - PERMIT_SHARE) * stop_pa + PERMIT_SHARE * operating_pa;
        let permit_off_pa = acting_wait_pa.max(before_half_way_pa) + error_pa;
        Self {
            siren_pa: stop_pa + error_pa,
            permit_off_pa,
            permit_back_pa: permit_off_pa + DEADBAND_SHARE * operating_pa,
            acting_wait_pa,
        }
    }
}

/// The highest wait pressure with which the permit can come back: 0.98 p_op − e − n. Units: Pa.
#[must_use]
pub fn highest_wait_pa(operating_pa: f32, sensor: &SensorError) -> f32 {
    (1.0 - DEADBAND_SHARE) * operating_pa - sensor.error_pa - sensor.noise_pa
}

/// The wait pressure that a box acts by. Where there is none: with a supply sense the larger of stop and `pressure_min`
/// in its place, since a cut is sensed at once; without one the highest with which the permit can come back. Units: Pa.
#[must_use]
pub fn acting_wait_pa(
    wait_pa: Option<f32>,
    stop_pa: f32,
    operating_pa: f32,
    pressure_min_pa: f32,
    supply_sense: bool,
    sensor: &SensorError,
) -> f32 {
    match (wait_pa, supply_sense) {
        (Some(wait_pa), _) => wait_pa,
        (None, true) => stop_pa.max(pressure_min_pa),
        (None, false) => highest_wait_pa(operating_pa, sensor),
    }
}

/// Highest stop pressure that a box can tell from the operating pressure, and what bounds it.
///
/// The smallest of 0.85 p_op, p_op − dip − e, 0.98 p_op − e − n and p_op − (0.02 p_op + e + n)/0.45: the conditions of
/// [`BoxPressures`] turned round, so that the dip after a landing does not sound the siren and the permit comes back.
/// Units: Pa.
#[must_use]
pub fn room_pa(operating_pa: f32, dip_pa: f32, sensor: &SensorError) -> (f32, RoomRule) {
    let SensorError { error_pa, noise_pa } = *sensor;
    let half_way_pa = (DEADBAND_SHARE * operating_pa + error_pa + noise_pa) / (1.0 - PERMIT_SHARE);
    let bounds = [
        (0.85 * operating_pa, RoomRule::Share),
        (operating_pa - dip_pa.max(LEAST_DIP_PA) - error_pa, RoomRule::Dip),
        (highest_wait_pa(operating_pa, sensor), RoomRule::Permit),
        (operating_pa - half_way_pa, RoomRule::HalfWay),
    ];
    bounds.into_iter().fold((f32::MAX, RoomRule::Share), |least, next| if next.0 < least.0 { next } else { least })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SENSOR: SensorError = SensorError { error_pa: 12.5, noise_pa: 20.0 };

    #[test]
    fn the_room_by_hand() {
        // 1000 Pa: 850; 1000 − 10 − 12.5; 980 − 32.5; 1000 − (20 + 32.5)/0.45 = 883.33.
        assert_eq!(room_pa(1_000.0, 0.0, &SENSOR), (850.0, RoomRule::Share));
        let (room, rule) = room_pa(400.0, 0.0, &SENSOR);
        // 340; 377.5; 359.5; 400 − (8 + 32.5)/0.45 = 310.
        assert!((room - 310.0).abs() < 1e-3 && rule == RoomRule::HalfWay);
        let (room, rule) = room_pa(1_000.0, 200.0, &SENSOR);
        assert!((room - 787.5).abs() < 1e-3 && rule == RoomRule::Dip);
    }

    /// With the stop pressure at the room the permit can come back and a dip does not sound the siren; a little over it,
    /// one of them fails.
    #[test]
    fn the_room_is_the_boxs_conditions_turned_round() {
        for operating_pa in [300.0f32, 600.0, 1_200.0, 3_000.0] {
            for dip_pa in [10.0f32, 60.0, 250.0] {
                let (room, rule) = room_pa(operating_pa, dip_pa, &SENSOR);
                let holds = |stop_pa: f32, slack_pa: f32| {
                    let levels = BoxPressures::new(stop_pa, stop_pa, operating_pa, SENSOR.error_pa);
                    levels.permit_back_pa + SENSOR.noise_pa <= operating_pa + slack_pa
                        && levels.siren_pa <= operating_pa - dip_pa + slack_pa
                };
                assert!(holds(room, 1e-2), "{operating_pa} {dip_pa}");
                assert!(rule == RoomRule::Share || !holds(room + 0.1, 0.0), "{operating_pa} {dip_pa} {rule:?}");
            }
        }
    }

    #[test]
    fn the_pressures_by_hand() {
        let with = |wait_pa, pressure_min_pa, supply_sense| {
            let wait_pa = acting_wait_pa(wait_pa, 600.0, 1_000.0, pressure_min_pa, supply_sense, &SENSOR);
            BoxPressures::new(600.0, wait_pa, 1_000.0, SENSOR.error_pa)
        };
        let near = |got: BoxPressures, siren_pa: f32, off_pa: f32, back_pa: f32| {
            let off = [got.siren_pa - siren_pa, got.permit_off_pa - off_pa, got.permit_back_pa - back_pa];
            assert!(off.iter().all(|off| off.abs() < 1e-3), "{got:?}");
        };
        // A tenth above half-way: 0.45 · 600 + 0.55 · 1000 = 820; + 12.5; + 20.
        near(with(Some(750.0), 400.0, true), 612.5, 832.5, 852.5);
        near(with(Some(900.0), 400.0, true), 612.5, 912.5, 932.5);
        near(with(None, 950.0, true), 612.5, 962.5, 982.5);
        // 980 − 32.5: back from 1000 less the noise.
        near(with(None, 950.0, false), 612.5, 960.0, 980.0);
    }
}
