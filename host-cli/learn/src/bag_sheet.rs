//! The recipe for an afternoon of measuring, on two pages to print.

use landfall_plan::plan::cautions::CAUTIONS;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Site, demo};

use super::landed::thickness_m;

const SHEET: &str = include_str!("bag_sheet.html");
/// Lines of each table to fill in.
const ROWS: usize = 18;
/// The two loads, kg.
const LOADS_KG: (f64, f64) = (90.0, 200.0);
/// Cautions that go with this work; those of riding are in the plan's outputs.
const HERE: [usize; 4] = [2, 3, 4, 6];

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// The page: a pure function of the site; none: a bag without a site file, in metres and kilopascals.
#[must_use]
pub fn bag_sheet(site: Option<&Site>) -> String {
    let own = site.is_some();
    let invented = demo();
    let of = site.unwrap_or(&invented);
    let here = if own { Shown::of(of) } else { Shown::default() };
    let imperial = here.is_imperial();
    let either = |metric: &str, imperial_text: &str| if imperial { imperial_text } else { metric }.to_owned();
    let gauge = here.unit(Dimension::Pressure);
    let heading = format!("time_s, gauge_{}, depth_{}", gauge.to_lowercase(), if imperial { "in" } else { "cm" });
    let depth = of.bag.depth_limit * thickness_m(of, 0.5 * of.bag.length_m);
    let percent = |sd: f64| format!("{:.0}&nbsp;%", 100.0 * sd);
    let unknown = &of.unknown;
    let areas = if of.bag.force_area.is_measured() {
        percent(unknown.area)
    } else {
        percent(unknown.area_body.max(unknown.area_growth).max(unknown.area_limit))
    };
    let row = "<tr><td></td><td></td><td></td></tr>".repeat(ROWS);
    let cautions: String =
        HERE.iter().filter_map(|i| CAUTIONS.get(*i)).map(|text| format!("<li>{}</li>", escaped(text))).collect();
    let texts: [(&str, String); 23] = [
        ("NAME", escaped(if own { &of.site.name } else { "Landing bag" })),
        ("AWAY", either("5 m", "16 ft")),
        ("WIND", if own { here.speed(0.5 * of.anchors.wind_mps, Toward::Down) } else { either("19 km/h", "11 mph") }),
        ("BOARD", either("0.6 m", "24 in")),
        ("LIGHT", here.mass(LOADS_KG.0, Toward::Up)),
        ("HEAVY", here.mass(LOADS_KG.1, Toward::Up)),
        ("LATH", either("5 m", "16 ft")),
        ("HALF", either("2 m", "6 ft 6 in")),
        ("STICK", either("3 m", "10 ft")),
        ("MARK", either("10 cm", "4 in")),
        ("GAUGE", gauge.to_owned()),
        ("ZERO", here.pressure(20.0, Toward::Up)),
        ("STRETCH", percent(unknown.skin_stretch)),
        ("AREAS", areas),
        ("EDGE", either("2 m", "6 ft 6 in")),
        ("DEPTH", if own { here.length(depth, Toward::Up) } else { "0.8 of the bag's thickness".to_owned() }),
        ("DROP", either("1 m and 2 m", "3 ft and 6 ft")),
        ("SMALL", either("cm", "in")),
        ("ROWS", row),
        ("HEADINGS", heading),
        ("FILE", "site.toml".to_owned()),
        ("SETTLED", format!("… {gauge}")),
        ("CAUTIONS", cautions),
    ];
    // One pass: a name that holds such a sign changes nothing.
    let mut out = String::with_capacity(SHEET.len() + 4_000);
    let mut rest = SHEET;
    while let Some((before, after)) = rest.split_once("{{") {
        out.push_str(before);
        let (key, after) = after.split_once("}}").unwrap_or(("", after));
        out.push_str(texts.iter().find(|(name, _)| *name == key).map_or("", |(_, text)| text));
        rest = after;
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_plan::site::{Gauge, Units};

    #[test]
    fn every_place_is_filled_and_a_name_is_no_markup() {
        let mut site = demo();
        site.site.name = "Larch <b>& \"Hollow\" {{ROWS}}".to_owned();
        let page = bag_sheet(Some(&site));
        assert!(page.contains("Larch &lt;b&gt;&amp; &quot;Hollow&quot; {{ROWS}}:"));
        let without = bag_sheet(None);
        assert!(!without.contains("{{") && without.contains("Landing bag: measure how the bag gives way"));
        for word in ["hose off", "Nobody is the load", "load1.csv", "time_s, gauge_kpa, depth_cm"] {
            assert!(without.contains(word), "{word}");
        }
        assert!(!without.to_lowercase().contains(concat!("sa", "fe")));
    }

    #[test]
    fn it_speaks_the_site_s_units() {
        let mut site = demo();
        site.site.units = Units::Imperial;
        site.site.gauge = Gauge::InH2O;
        let page = bag_sheet(Some(&site));
        assert!(page.contains("gauge_inh2o, depth_in") && page.contains("24 in") && page.contains("199 lb"), "{page}");
        assert!(!page.contains(" kPa") && !page.contains(" kg"));
    }
}
