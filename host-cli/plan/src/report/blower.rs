//! What the blowers give and what the openings let out.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{gauge, number_in, titled};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_core::supply::RangeStatus;

const TITLE: &str = "Blowers and openings";
/// Points of a curve.
const POINTS: u16 = 60;
/// Every how many points the table has one.
const EVERY: usize = 5;

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (air, supply, bag) = (&sheet.results.air, &sheet.supply, &sheet.site.bag);
    let u = Shown::of(sheet.site);
    let shut_off = f64::from(supply.blowers.shut_off_pa());
    let pressures: Vec<f64> = (0..=POINTS).map(|i| shut_off * f64::from(i) / f64::from(POINTS)).collect();
    let curve = |flow: &dyn Fn(f32) -> f32| -> Vec<(f64, f64)> {
        pressures.iter().map(|p| (f64::from(flow(*p as f32)), *p)).collect()
    };
    let given = curve(&|p| supply.blowers.flow_m3ps(p));
    let out = curve(&|p| supply.openings.outflow_m3ps(p, 0.0));
    let most = given.iter().map(|point| point.0).fold(air.needed_flow_m3ps, f64::max);
    let frame = Frame { left: 58.0, top: 30.0, right: 426.0, bottom: 300.0 };
    let highest = 1.06 * shut_off.max(bag.pressure_max_pa);
    let y = Axis::of(u, Dimension::Pressure, 0.0, highest, "pressure in the bag");
    let x = Axis::of(u, Dimension::Flow, 0.0, 1.06 * most, "all blowers together");
    let mut chart = Chart::new(frame, x, y);
    let reach = 1.06 * most;
    chart.rect("maker", "maker's range", (0.0, bag.pressure_min_pa), (reach, bag.pressure_max_pa));
    chart.name((reach, bag.pressure_max_pa), (-5.0, 15.0), Anchor::End, "maker's range");
    let inside: Vec<(f64, f64)> = out.iter().copied().filter(|point| point.0 <= reach).collect();
    chart.line("given", "blowers", &given);
    chart.line("leak", "openings", &inside);
    let at = (air.operating_flow_m3ps, air.operating_pressure_pa);
    chart.dot("point", "operating point", at, 6.0);
    chart.name(at, (11.0, -8.0), Anchor::Start, format!("settles at {}", gauge(u, at.1)));
    let middle = (air.needed_flow_m3ps, air.needed_pressure_pa);
    chart.dot("needed", "middle of the maker's range", middle, 5.0);
    chart.name(middle, (10.0, 16.0), Anchor::Start, "middle of the range");
    if let Some(mid) = given.get(usize::from(POINTS) / 4) {
        chart.name(*mid, (-8.0, 14.0), Anchor::End, "blowers");
    }
    if let Some(low) = inside.get(inside.len() / 6) {
        chart.name(*low, (10.0, 5.0), Anchor::Start, "openings");
    }

    let mut picture = Picture::new("blower", TITLE);
    picture.words = format!(
        "Blowers and openings balance at {}{}: {} {} to {}. The middle of that range would take {} at {}.{}",
        gauge(u, at.1),
        if at.0 > 0.0 { format!(" and {}", u.flow(at.0, Toward::Nearest)) } else { String::new() },
        match air.status {
            RangeStatus::Low => "lower than the maker's",
            RangeStatus::High => "higher than the maker's",
            RangeStatus::InRange => "within the maker's",
        },
        gauge(u, bag.pressure_min_pa),
        gauge(u, bag.pressure_max_pa),
        u.flow(middle.0, Toward::Up),
        gauge(u, middle.1),
        if air.at_shut_off { " Nothing is open: that is the blowers' shut-off pressure." } else { "" },
    );
    picture.legend = vec![
        ("given", "what the blowers give".to_owned()),
        ("leak", "what vents, flaps and leak let out".to_owned()),
        ("maker", "maker's range".to_owned()),
    ];
    let pressure_head = titled(u, Dimension::Pressure, "pressure");
    let [given_head, out_head, flow_head] =
        ["blowers", "openings", "flow"].map(|what| titled(u, Dimension::Flow, what));
    let mut table = Table::new("Flow over pressure", &[&pressure_head, &given_head, &out_head]);
    let pressure = |pa: f64| number_in(u, Dimension::Pressure, pa, 1);
    let flow = |m3ps: f64| number_in(u, Dimension::Flow, m3ps, 1);
    for (a, b) in given.iter().zip(&out).step_by(EVERY) {
        table.row([pressure(a.1), flow(a.0), flow(b.0)]);
    }
    let mut points = Table::new("Where they meet", &["point", &pressure_head, &flow_head]);
    points.row(["where the bag settles".to_owned(), pressure(at.1), flow(at.0)]);
    points.row(["middle of the maker's range".to_owned(), pressure(middle.1), flow(middle.0)]);
    picture.tables = vec![points, table];
    picture.drawn(440.0, 344.0, [chart.done()])
}
