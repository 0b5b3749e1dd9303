//! What happens, in figures: for whoever wants to follow the computation.

use super::Page;
use crate::plan::results::Results;
use crate::plan::words::{chance, flow, load, metres, number, pressure, seconds, speed};
use crate::shown::{Shown, Toward};
use crate::site::Site;

/// The ride, the flight, the riders, where they come down, the bag, its supply.
pub(super) fn what_happens(page: &mut Page, site: &Site, r: &Results) {
    let u = Shown::of(site);
    page.heading(&format!(
        "What happens (mean rider, {}, and bike, {})",
        u.mass(site.rider.mass_kg, Toward::Nearest),
        u.mass(site.rider.bike_mass_kg, Toward::Nearest)
    ));
    match (r.ride.lip_speed_mps.get(), r.ride.time_to_lip_s.get()) {
        (Some(v), Some(time)) => {
            page.plain(
                "lip",
                &format!(
                    "{} at the lip after {}, path {} degrees up; load up to {}",
                    speed(u, v),
                    seconds(time),
                    number(r.ride.release_angle_deg, 0),
                    load(r.ride.peak_load_g)
                ),
            );
        }
        _ => page.plain("lip", "the ride does not come to the lip"),
    }
    let flight = &r.flight;
    if let Some(apex) = flight.apex_above_lip_m.get() {
        let time = flight
            .airtime_s
            .get()
            .map_or_else(|| "no landing on the bag's plane".to_owned(), |s| format!("{} in the air", seconds(s)));
        page.plain("air", &format!("{time}; highest {} above the lip", metres(u, apex)));
        if let (Some(along), Some(across), Some(out)) =
            (flight.along_m.get(), flight.across_m.get(), flight.distance_from_lip_m.get())
        {
            let side = if along < 0.0 { "before" } else { "behind" };
            page.plain(
                "landing",
                &format!(
                    "{} {side} the bag's front edge, {} off its centre line, {} from the lip",
                    metres(u, along.abs()),
                    metres(u, across.abs()),
                    metres(u, out)
                ),
            );
        }
        if let (Some(normal), Some(along), Some(fall)) =
            (flight.impact_normal_mps.get(), flight.impact_along_mps.get(), flight.equivalent_fall_height_m.get())
        {
            page.plain(
                "",
                &format!(
                    "{} into the top, like a fall of {}; {} along it",
                    speed(u, normal),
                    metres(u, fall),
                    if u.is_imperial() { speed(u, along) } else { format!("{} m/s", number(along, 2)) }
                ),
            );
        }
    }
    riders(page, u, r);
    if let Some(s) = &r.spread.sampling
        && let (Some(low), Some(high), Some(right), Some(left)) =
            (s.along_p001_m.get(), s.along_p999_m.get(), s.across_p001_m.get(), s.across_p999_m.get())
    {
        page.plain(
            "spread",
            &format!(
                "998 of 1,000 land {} to {} behind the front edge, {} right to {} left",
                metres(u, low),
                metres(u, high),
                metres(u, -right),
                metres(u, left)
            ),
        );
    }
    if let Some(landing) = r.touchdown.as_ref() {
        let end = match (landing.ground_speed_mps.get(), landing.sinks_on_mps.get()) {
            (Some(v), _) => format!("MEETS THE GROUND at {}", speed(u, v)),
            (None, Some(v)) => format!("then SINKS ON TO THE GROUND at {}", speed(u, v)),
            (None, None) => format!("{} left above the ground", metres(u, landing.clearance_m)),
        };
        page.plain(
            "bag",
            &format!(
                "sinks {} of {} in {}: {end}; felt as {}",
                metres(u, landing.depth_m),
                metres(u, landing.thickness_m),
                seconds(landing.time_to_deepest_s),
                load(landing.felt_load_g)
            ),
        );
    }
    page.plain(
        "supply",
        &format!(
            "{} in the bag at {}; {}",
            pressure(u, r.air.operating_pressure_pa),
            flow(u, r.air.operating_flow_m3ps),
            r.air.fill_time_s.get().map_or_else(|| "does not fill".to_owned(), |s| format!("fills in {}", seconds(s)))
        ),
    );
}

fn riders(page: &mut Page, u: Shown, r: &Results) {
    let rider = |rider: &crate::plan::results::Rider| {
        let place = rider.along_m.get().map_or_else(|| "no landing".to_owned(), |x| metres(u, x));
        let miss = rider.miss.map_or_else(String::new, |miss| format!(" (misses at most {})", chance(miss)));
        format!("{} {place}{miss}", u.mass(rider.mass_kg, Toward::Nearest))
    };
    let (lightest, heaviest) = (rider(&r.riders.lightest), rider(&r.riders.heaviest));
    page.plain("riders", &format!("from the front edge: {lightest}, {heaviest}"));
}
