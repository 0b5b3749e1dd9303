//! The pictures say what their tables say: marks are read back from the drawing, through the scale that it carries.

use super::*;
use crate::plan::results::Results;
use crate::plan::{Parts, compute};
use crate::shown::{Shown, Toward};
use crate::site::{Site, demo};
use landfall_sampling::Stop;
use roxmltree::{Document, Node, ParsingOptions};

/// As many samples as the pictures draw runs, so that both are the same runs.
fn planned(change: &[(&str, &str)]) -> (Site, Results) {
    let mut site = demo().with_value("spread.samples", RUNS.to_string().as_str()).unwrap();
    for (key, value) in change {
        site = site.with_value(key, *value).unwrap();
    }
    let results = compute(&site, Parts::ALL, &Stop::default()).unwrap();
    (site, results)
}

fn read(text: &str) -> Document<'_> {
    Document::parse_with_options(text, ParsingOptions { allow_dtd: true, ..ParsingOptions::default() }).unwrap()
}

fn number(cell: &str) -> f64 {
    cell.replace('−', "-").replace(" %", "").parse().unwrap_or_else(|_| panic!("no number: {cell}"))
}

fn column(table: &Table, index: usize) -> Vec<f64> {
    table.rows.iter().map(|row| number(&row[index])).collect()
}

fn numbers(text: &str) -> Vec<f64> {
    text.split([' ', ',']).map(|part| part.parse().unwrap()).collect()
}

/// The drawing area that a mark is in, as values over user units.
struct Scale {
    x: Vec<f64>,
    y: Vec<f64>,
    frame: Vec<f64>,
}

impl Scale {
    fn of(mark: &Node<'_, '_>) -> Self {
        let plot = mark.ancestors().find(|node| node.attribute("class") == Some("plot")).unwrap();
        let list = |name: &str| numbers(plot.attribute(name).unwrap());
        Self { x: list("data-x"), y: list("data-y"), frame: list("data-frame") }
    }

    fn value(&self, (across, down): (f64, f64)) -> (f64, f64) {
        let [left, top, right, bottom] = self.frame[..] else { panic!("{:?}", self.frame) };
        (
            self.x[0] + (self.x[1] - self.x[0]) * (across - left) / (right - left),
            self.y[0] + (self.y[1] - self.y[0]) * (bottom - down) / (bottom - top),
        )
    }
}

fn mark<'a>(drawing: &'a Document<'_>, series: &str) -> Node<'a, 'a> {
    let mut all = drawing.descendants().filter(|node| node.attribute("data-series") == Some(series));
    let first = all.next().unwrap_or_else(|| panic!("no mark of {series}"));
    assert!(all.next().is_none(), "two marks of {series}");
    first
}

/// The corners of a line, a rectangle (two of them) or a dot, as values.
fn places(mark: &Node<'_, '_>) -> Vec<(f64, f64)> {
    let scale = Scale::of(mark);
    let get = |name: &str| number(mark.attribute(name).unwrap());
    match mark.tag_name().name() {
        "rect" => {
            let (x, y) = (get("x"), get("y"));
            vec![scale.value((x, y + get("height"))), scale.value((x + get("width"), y))]
        }
        "circle" => vec![scale.value((get("cx"), get("cy")))],
        _ => numbers(mark.attribute("points").unwrap()).chunks(2).map(|p| scale.value((p[0], p[1]))).collect(),
    }
}

/// Whether a drawn line passes a place, within a part of its own extent (user units have two places).
fn passes(line: &[(f64, f64)], (x, y): (f64, f64), within: (f64, f64)) -> bool {
    line.windows(2).any(|pair| {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        // Nearest point of the piece, each axis in its own tolerance.
        let (dx, dy) = ((x1 - x0) / within.0, (y1 - y0) / within.1);
        let (px, py) = ((x - x0) / within.0, (y - y0) / within.1);
        let length = dx * dx + dy * dy;
        let t = if length > 0.0 { ((px * dx + py * dy) / length).clamp(0.0, 1.0) } else { 0.0 };
        (px - t * dx).hypot(py - t * dy) <= 1.0
    })
}

fn all_pass(picture: &Picture, series: &str, points: impl IntoIterator<Item = (f64, f64)>, within: (f64, f64)) {
    let drawing = read(picture.svg.as_ref().unwrap());
    let line = places(&mark(&drawing, series));
    let mut count = 0;
    for point in points {
        assert!(passes(&line, point, within), "{series} of {} misses {point:?}", picture.id);
        count += 1;
    }
    assert!(count > 5, "{series}: {count} points");
}

fn find<'a>(pictures: &'a [Picture], id: &str) -> &'a Picture {
    pictures.iter().find(|picture| picture.id == id).unwrap()
}

fn row<'a>(table: &'a Table, name: &str) -> &'a [String] {
    table.rows.iter().find(|row| row[0] == name).unwrap_or_else(|| panic!("no row {name}"))
}

#[test]
fn lines_pass_the_points_of_their_tables() {
    let (site, results) = planned(&[]);
    let all = pictures(&Sheet::gather(&site, &results).unwrap());

    let descent = find(&all, "descent");
    let table = &descent.tables[0];
    let x = column(table, 0);
    all_pass(descent, "speed", x.iter().copied().zip(column(table, 2)), (0.04, 0.072));
    all_pass(descent, "load", x.iter().copied().zip(column(table, 3)), (0.04, 0.02));

    let blower = find(&all, "blower");
    let table = &blower.tables[1];
    let pressure = column(table, 0);
    all_pass(blower, "blowers", column(table, 1).into_iter().zip(pressure.iter().copied()), (0.004, 0.004));
    let most = Scale::of(&mark(&read(blower.svg.as_ref().unwrap()), "blowers")).x[1];
    let inside = column(table, 2).into_iter().zip(pressure).filter(|point| point.0 <= most);
    all_pass(blower, "openings", inside, (0.004, 0.004));

    let cut = find(&all, "cut");
    let time = column(&cut.tables[1], 0);
    all_pass(cut, "pressure", time.iter().copied().zip(column(&cut.tables[1], 1)), (0.02, 0.004));
    all_pass(cut, "depth", time.into_iter().zip(column(&cut.tables[1], 2)), (0.04, 0.02));

    let touch = find(&all, "touch");
    let time = column(&touch.tables[0], 0);
    let down = column(&touch.tables[0], 1).into_iter().map(|depth| -depth);
    all_pass(touch, "depth", time.iter().copied().zip(down), (0.002, 0.015));
    all_pass(touch, "load", time.iter().copied().zip(column(&touch.tables[0], 2)), (0.002, 0.04));
    all_pass(touch, "pressure", time.into_iter().zip(column(&touch.tables[0], 3)), (0.002, 0.006));

    let side = find(&all, "side");
    let flights = &side.tables[0];
    let x = column(flights, 0);
    // A height below the ground is a dash, and nothing of the kind is drawn.
    let heights = |which: usize| -> Vec<f64> {
        flights.rows.iter().map(|row| row[which].as_str()).take_while(|cell| *cell != "–").map(number).collect()
    };
    let drawing = read(side.svg.as_ref().unwrap());
    let median = places(&mark(&drawing, "flights, median"));
    let end = median.last().unwrap().0;
    let before = x.iter().copied().zip(heights(2)).filter(|point| point.0 < end);
    all_pass(side, "flights, median", before, (0.02, 0.02));
    // The band is drawn down to where its landings end; up to the bag's front edge it is the table's.
    let gap = results.placement.gap_m;
    for which in [1, 3] {
        let before = x.iter().copied().zip(heights(which)).filter(|point| point.0 < gap);
        let outline = places(&mark(&drawing, "flights, 999 in 1,000"));
        let points: Vec<_> = before.collect();
        assert!(points.len() >= 2);
        for point in points {
            assert!(passes(&outline, point, (0.02, 0.02)), "band {which} misses {point:?}");
        }
    }
    // It begins at the lip, with the wheels, and none of it is below the ground or inside the bag.
    assert!(median[0].0.abs() < 0.02 && (median[0].1 - 2.4384).abs() < 0.02, "{:?}", median[0]);
    for place in places(&mark(&drawing, "flights, 999 in 1,000")) {
        let floor = if place.0 < gap { 0.0 } else { 2.2 };
        assert!(place.1 > floor - 0.02, "{place:?}");
    }
    // The dents are as deep as the landings.
    for (series, depth) in [
        ("dent, mean landing", results.touchdown.as_ref().unwrap().depth_m),
        ("dent, hard landing", results.pressures.stated.as_ref().unwrap().hard_depth_m.get().unwrap()),
    ] {
        let lowest = places(&mark(&drawing, series)).iter().map(|place| place.1).fold(f64::MAX, f64::min);
        assert!((2.2 - lowest - depth).abs() < 0.02, "{series}: {lowest} {depth}");
    }
    // The hump's height is in proportion to the share; it stands on the bag, the fullest strip highest.
    let density = &side.tables[1];
    let hump = places(&mark(&drawing, "landing density"));
    let strips: Vec<(f64, f64)> =
        density.rows[..density.rows.len() - 1].iter().map(|cells| (number(&cells[0]), number(&cells[1]))).collect();
    let most = strips.iter().map(|strip| strip.1).fold(0.0, f64::max);
    let highest = hump.iter().map(|place| place.1 - 2.2).fold(0.0, f64::max);
    assert!(strips.len() > 10 && (highest - 1.1).abs() < 0.02, "{} strips, {highest}", strips.len());
    for ((along, share), place) in strips.iter().zip(&hump) {
        let up = (place.1 - 2.2) / highest * most;
        assert!((place.0 - gap - along).abs() < 0.02 && (up - share).abs() < 0.15, "{along} {share}: {place:?}");
    }
    let whole: f64 = column(density, 1).iter().sum();
    assert!((whole - 100.0).abs() < 0.5, "{whole}");
}

#[test]
fn lines_across_and_upright_stand_where_their_tables_say() {
    let (site, results) = planned(&[]);
    let all = pictures(&Sheet::gather(&site, &results).unwrap());
    let stands = |id: &str, series: &str, across: bool, value: f64, within: f64| {
        let drawing = read(find(&all, id).svg.as_ref().unwrap());
        let drawn: Vec<f64> = drawing
            .descendants()
            .filter(|node| node.attribute("data-series") == Some(series))
            .map(|node| if across { places(&node)[0].1 } else { places(&node)[0].0 })
            .collect();
        assert!(!drawn.is_empty(), "no {series} in {id}");
        for at in drawn {
            assert!((at - value).abs() < within, "{id} {series}: {at} {value}");
        }
    };
    let lines = &find(&all, "touch").tables[1];
    stands("touch", "depth limit", true, -number(&lines.rows[0][1]), 0.02);
    stands("touch", "ground", true, -number(&lines.rows[1][1]), 0.02);
    let (times, lines) = (&find(&all, "cut").tables[0], &find(&all, "cut").tables[2]);
    stands("cut", "stop", true, number(&lines.rows[0][1]), 0.004);
    stands("cut", "depth limit", true, number(&lines.rows[1][1]), 0.02);
    stands("cut", "thickness", true, number(&lines.rows[2][1]), 0.02);
    // The line and the right side of the area in front of it, in both drawings.
    let needed = number(&row(times, "needed in all")[1]);
    let drawing = read(find(&all, "cut").svg.as_ref().unwrap());
    let drawn: Vec<_> =
        drawing.descendants().filter(|node| node.attribute("data-series") == Some("time needed")).collect();
    assert_eq!(drawn.len(), 3);
    for node in drawn {
        let end = places(&node)[1].0;
        assert!((end - needed).abs() < 0.06, "{end} {needed}");
    }
    let stop_line = &find(&all, "descent").tables[1].rows[0];
    stands("descent", "last stop line", false, -number(&stop_line[1]), 0.1);
    stands("descent", "caution above", true, site.rider.arc_load_limit, 0.02);
}

#[test]
fn flights_of_the_short_zone_pass_the_edge_where_their_table_says() {
    let (site, results) = planned(&[]);
    let all = pictures(&Sheet::gather(&site, &results).unwrap());
    let short = find(&all, "short");
    let drawing = read(short.svg.as_ref().unwrap());
    let named = |name: &str| match name {
        "take-off or ground" => "ground",
        "the bag's front" => "bag_front",
        _ => "bag_top",
    };
    let lines: Vec<_> = drawing
        .descendants()
        .filter(|node| {
            node.has_tag_name("polyline") && node.attribute("class").is_some_and(|class| class.contains("hit-"))
        })
        .collect();
    let rows = &short.tables[0].rows;
    assert_eq!(lines.len(), rows.len());
    let mut edges = 0;
    for (line, cells) in lines.iter().zip(rows) {
        assert_eq!(line.attribute("data-series"), Some(named(&cells[1])), "{cells:?}");
        let end = *places(line).last().unwrap();
        if cells[1] == "take-off or ground" {
            assert!(end.0 < results.placement.gap_m, "{end:?}");
        } else if end.0 > 0.0 {
            // Steps of 0.01 s at some 3 m/s: the last place may lie 3 cm past the edge and 6 cm lower.
            let height = number(&cells[2]);
            assert!(
                (end.0 - results.placement.gap_m).abs() < 0.04 && (end.1 - height).abs() < 0.07,
                "{end:?} {cells:?}"
            );
            edges += 1;
        }
    }
    assert!(edges >= 3, "{edges}");
}

#[test]
fn bars_and_marks_are_as_long_as_their_tables_say() {
    let (site, results) = planned(&[]);
    let all = pictures(&Sheet::gather(&site, &results).unwrap());
    let mut bars = 0;
    for (id, along, within) in [("shares", 1, 0.2), ("effects", 2, 0.002)] {
        let picture = find(&all, id);
        let drawing = read(picture.svg.as_ref().unwrap());
        for which in landfall_core::inputs::Uncertain::ALL {
            let cells = row(&picture.tables[0], words::input(which));
            for (name, cell) in [("along", &cells[along]), ("across", &cells[along + 1])] {
                let ends = places(&mark(&drawing, &format!("{name} {}", which.name())));
                let length = if ends[0].0.abs() > ends[1].0.abs() { ends[0].0 } else { ends[1].0 };
                assert!((length - number(cell)).abs() < within, "{id} {name} {which:?}: {length} {cell}");
                bars += 1;
            }
        }
    }
    assert_eq!(bars, 52);

    let scale = find(&all, "scale");
    let drawing = read(scale.svg.as_ref().unwrap());
    assert!(scale.tables[0].rows.len() >= 6);
    for cells in &scale.tables[0].rows {
        let ends = places(&mark(&drawing, &cells[0]));
        assert!((ends[0].0 - number(&cells[1])).abs() < 0.004, "{cells:?} {ends:?}");
        if cells[2] != "–" {
            assert!((ends[1].0 - number(&cells[2])).abs() < 0.004, "{cells:?} {ends:?}");
        }
    }

    let blower = find(&all, "blower");
    let drawing = read(blower.svg.as_ref().unwrap());
    let point = places(&mark(&drawing, "operating point"))[0];
    let cells = row(&blower.tables[0], "where the bag settles");
    assert!((point.1 - number(&cells[1])).abs() < 0.004 && (point.0 - number(&cells[2])).abs() < 0.004, "{point:?}");
}

#[test]
fn the_site_is_drawn_to_scale_where_it_stands() {
    let (site, results) = planned(&[("bag.offset", "0.4 m"), ("bag.gap", "1.1 m")]);
    let all = pictures(&Sheet::gather(&site, &results).unwrap());
    for id in ["side", "above", "short"] {
        let drawing = read(find(&all, id).svg.as_ref().unwrap());
        let plot = drawing.descendants().find(|node| node.attribute("class") == Some("plot")).unwrap();
        let scale = Scale::of(&plot.first_element_child().unwrap());
        let [left, top, right, bottom] = scale.frame[..] else { panic!() };
        let (across, up) = ((right - left) / (scale.x[1] - scale.x[0]), (bottom - top) / (scale.y[1] - scale.y[0]));
        assert!((across / up - 1.0).abs() < 1e-3, "{id}: {across} and {up} units a metre");
    }
    let above = find(&all, "above");
    let drawing = read(above.svg.as_ref().unwrap());
    let near = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).abs() < 0.01 && (a.1 - b.1).abs() < 0.01;
    let bag = places(&mark(&drawing, "bag"));
    assert!(near(bag[0], (1.1, 0.4 - 4.0)) && near(bag[1], (11.1, 4.4)), "{bag:?}");
    let field = places(&mark(&drawing, "landing field"));
    assert!(near(field[0], (2.1, -2.6)) && near(field[1], (10.1, 3.4)), "{field:?}");
    let cells = row(&above.tables[0], "best");
    let best = places(&mark(&drawing, "best place"))[0];
    assert!(near(best, (number(&cells[1]), number(&cells[2]) - 4.0)), "{best:?} {cells:?}");
    for (share, series) in [("95.0 %", "95 % ellipse"), ("99.9 %", "99.9 % ellipse")] {
        let cells = row(&above.tables[2], share);
        let rim = places(&mark(&drawing, series));
        let low = rim.iter().fold((f64::MAX, f64::MAX), |a, p| (a.0.min(p.0), a.1.min(p.1)));
        let high = rim.iter().fold((f64::MIN, f64::MIN), |a, p| (a.0.max(p.0), a.1.max(p.1)));
        assert!(near(low, (1.1 + number(&cells[1]), 0.4 + number(&cells[3]))), "{low:?} {cells:?}");
        assert!(near(high, (1.1 + number(&cells[2]), 0.4 + number(&cells[4]))), "{high:?} {cells:?}");
        // The landings of the demo are close to normal.
        assert!((number(&cells[5]) - number(share)).abs() < 1.0, "{cells:?}");
    }
    let dots = drawing.descendants().filter(|node| node.attribute("class") == Some("landing")).count();
    assert!(dots > 650, "{dots}");

    let side = find(&all, "side");
    let drawing = read(side.svg.as_ref().unwrap());
    let surface = places(&mark(&drawing, "surface"));
    let (first, last) = (surface[0], surface[surface.len() - 1]);
    // Demo: 8 ft on 15 ft has a base of 15 ft · sin 62.18° (circle geometry); a 35° straight, a 6 m arc, 4 m level.
    let straight = (6.0 - 6.0 * (1.0 - 35.0_f64.to_radians().cos())) / 35.0_f64.to_radians().tan();
    let run = straight + 6.0 * 35.0_f64.to_radians().sin() + 4.0 + 4.572 * (1.0 - (7.0_f64 / 15.0).powi(2)).sqrt();
    assert!(near(last, (0.0, 2.4384)) && (first.0 + run).abs() < 0.02 && (first.1 - 6.0).abs() < 0.02, "{first:?}");
    let face = surface::face(&Sheet::gather(&site, &results).unwrap());
    assert_eq!(face.rows.last().unwrap()[1], "2438 mm");
    // 4.572 − √(4.572² − 2²) = 0.4607 at 2 m.
    assert_eq!(row(&face, "2.00 m")[1], "461 mm");
}

#[test]
fn drawn_runs_are_those_of_the_sampling() {
    let (site, results) = planned(&[("bag.gap", "2.2 m")]);
    let sheet = Sheet::gather(&site, &results).unwrap();
    let sampling = results.spread.sampling.as_ref().unwrap();
    assert_eq!((sampling.samples as usize, sheet.points.len()), (RUNS, RUNS));
    for outcome in landfall_core::bag::Outcome::ALL {
        let count = sheet.points.iter().filter(|(_, _, other)| *other == outcome).count();
        let share = sampling.outcomes[outcome.name()];
        assert_eq!(count as f64 / RUNS as f64, share, "{outcome:?}");
    }
    assert!(sampling.outcomes["edge"] > 0.0, "a case with misses: {:?}", sampling.outcomes);
    let shape: f64 = sampling.along_shape.iter().map(|(_, share)| share).sum();
    assert!((shape - 1.0).abs() < 1e-9);
    for [x, low, middle, high] in &sheet.band {
        assert!(low <= middle && middle <= high, "{x}");
    }
    // With symmetric inputs half of the flights pass below the one at the means, to a few centimetres.
    for (x, z) in sheet.flight.iter().step_by(8).filter(|place| place.0 > 0.0) {
        let row = sheet.band.iter().min_by(|a, b| (a[0] - x).abs().total_cmp(&(b[0] - x).abs())).unwrap();
        assert!((row[2] - z).abs() < 0.2, "{x}: {} {z}", row[2]);
    }
}

/// What no page may hold: outside addresses, scripts, figures that are none, a verdict.
fn clean(page: &str) {
    let read = read(page);
    assert_eq!(read.root_element().tag_name().name(), "html");
    let lower = page.to_lowercase().replace("'unsafe-inline'", "");
    for word in ["http:", "https:", "//www", "@import", "<script", "src=", "nan ", "inf ", "safe"] {
        let found = lower.split_once(word).map(|(before, _)| before.chars().rev().take(40).collect::<Vec<_>>());
        assert!(found.is_none(), "{word}: {found:?}");
    }
    let mut ids: Vec<&str> = read.descendants().filter_map(|node| node.attribute("id")).collect();
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all);
    for svg in read.descendants().filter(|node| node.attribute("role") == Some("img")) {
        let of = |name: &str| svg.children().find(|node| node.has_tag_name(name)).and_then(|node| node.text());
        assert!(of("title").is_some_and(|text| text.len() > 5) && of("desc").is_some_and(|text| text.len() > 30));
        for id in svg.attribute("aria-labelledby").unwrap().split(' ') {
            assert!(ids.binary_search(&id).is_ok(), "{id}");
        }
    }
    for table in read.descendants().filter(|node| node.has_tag_name("table")) {
        let rows = table.descendants().filter(|node| node.has_tag_name("tr"));
        let mut cells = rows.map(|row| row.children().filter(Node::is_element).count());
        let first = cells.next().unwrap();
        assert!(cells.all(|count| count == first), "ragged table");
    }
}

#[test]
fn pages_hold_for_sites_that_go_wrong() {
    let cases: [&[(&str, &str)]; 7] = [
        &[],
        // Comes to rest on the take-off.
        &[("roll_in.start_height", "1.2 m")],
        // Comes up short of a bag far away.
        &[("bag.gap", "9 m")],
        // Blowers that do not lift the skin.
        &[("bag.vent_area", "6 m2")],
        // A sloped top lower than the ground of the take-off.
        &[("bag.back_height", "3.4 m"), ("bag.base_level", "-1.5 m")],
        // Nothing open: shut-off pressure.
        &[("bag.vent_area", "0 m2"), ("bag.relief_area", "0 m2"), ("bag.leak_coefficient", "0")],
        // Assumed, and one rider only.
        &[("rider.lightest", "78 kg"), ("rider.heaviest", "78 kg")],
    ];
    for change in cases {
        let (site, results) = planned(change);
        let sheet = Sheet::gather(&site, &results).unwrap();
        clean(&html::page(&sheet));
        clean(&card::page(&site, &results));
        let drawn = pictures(&sheet).iter().filter(|picture| picture.svg.is_some()).count();
        assert!(drawn >= 6, "{change:?}: {drawn} drawn");
        assert!(!change.is_empty() || drawn == 10);
    }
}

#[test]
fn a_name_cannot_break_out_of_the_page() {
    let (mut site, mut results) = planned(&[]);
    let name = "</title><b onload='x'>&lt;\"--></b>".to_owned();
    (site.site.name, results.site) = (name.clone(), name.clone());
    let sheet = Sheet::gather(&site, &results).unwrap();
    for page in [html::page(&sheet), card::page(&site, &results)] {
        let page = read(&page);
        assert!(page.descendants().all(|node| node.attribute("onload").is_none()));
        let heading = page.descendants().find(|node| node.has_tag_name("h1")).unwrap();
        assert_eq!(heading.text(), Some(name.as_str()));
    }
}

fn text_of(page: &str) -> String {
    let page = read(page);
    page.descendants().filter(Node::is_text).filter_map(|node| node.text()).collect::<Vec<_>>().join(" ")
}

#[test]
fn the_card_says_the_limits_and_the_stops() {
    let (site, results) = planned(&[("anchors.count", "2")]);
    let text = text_of(&card::page(&site, &results));
    assert!(text.contains("DO NOT RIDE"), "{text}");
    assert!(!text.contains("Start marks"), "a stop shows no marks: {text}");

    let (site, results) = planned(&[]);
    let text = text_of(&card::page(&site, &results));
    assert!(!text.contains("DO NOT RIDE"), "{text}");
    let shown = Shown::of(&site);
    for by in &results.ride_by {
        for figure in [
            by.next_rider_from_pa.get().map(|pa| shown.pressure(pa, Toward::Up)),
            by.everybody_off_under_pa.get().map(|pa| shown.pressure(pa, Toward::Up)),
            by.start_high_m.get().map(|m| shown.length(m, Toward::Down)),
            by.start_low_m.get().map(|m| shown.length(m, Toward::Up)),
            by.hold_along_head_mps.get().map(|mps| shown.speed(mps, Toward::Down)),
            Some(format!("{} s", by.seconds_between.ceil())),
            Some(shown.mass(by.heaviest_kg, Toward::Down)),
        ] {
            assert!(figure.as_ref().is_none_or(|figure| text.contains(figure)), "{figure:?}: {text}");
        }
    }
    assert!(text.contains("Who to tell"));
    for caution in &results.cautions {
        assert!(text.contains(caution.as_str()));
    }
}

/// Text that people see: without the style, and without the list of what is assumed.
fn seen(page: &str) -> String {
    let page = read(page);
    let hidden = |node: &Node<'_, '_>| {
        node.ancestors().any(|up| {
            up.has_tag_name("style")
                || up.attribute("class").is_some_and(|class| class.split(' ').any(|c| c == "assumed"))
        })
    };
    let texts = page.descendants().filter(|node| node.is_text() && !hidden(node)).filter_map(|node| node.text());
    texts.collect::<Vec<_>>().join("\n")
}

/// Numbers with a unit of `units` behind them.
fn with_units<'a>(text: &'a str, units: &[&str]) -> Vec<&'a str> {
    let bare = |word: &str| word.trim_matches(|c: char| ",.;:()".contains(c)).to_owned();
    text.lines()
        .filter(|line| {
            let words: Vec<String> = line.split_whitespace().map(bare).collect();
            let unit = |word: &str| units.contains(&word);
            // A number and a unit, or a heading that ends with its unit.
            words.windows(2).any(|pair| unit(&pair[1]) && pair[0].ends_with(|c: char| c.is_ascii_digit()))
                || (line.contains(", ") && words.last().is_some_and(|word| unit(word)))
        })
        .collect()
}

#[test]
fn an_imperial_site_is_shown_in_its_own_units_throughout() {
    let imperial = [("site.units", "imperial"), ("site.gauge", "inH2O")];
    let metric = ["m", "cm", "mm", "m/s", "km/h", "kg", "Pa", "kPa", "m²", "m³", "m³/s", "N", "°C", "mbar"];
    let cases: [&[(&str, &str)]; 3] =
        [&[], &[("bag.gap", "9 m")], &[("bag.back_height", "3.4 m"), ("bag.offset", "0.4 m"), ("anchors.count", "2")]];
    for change in cases {
        let (site, results) = planned(&[&imperial[..], change].concat());
        let sheet = Sheet::gather(&site, &results).unwrap();
        let report = html::page(&sheet);
        for page in [&report, &card::page(&site, &results)] {
            let text = seen(page);
            assert!(!with_units(&text, &["ft", "in", "lb", "mph", "inH2O"]).is_empty());
            // What was published in metres stays in metres.
            let published = |line: &&str| line.contains("a published test") || line.contains("US CPSC Publication 325");
            let mut found = with_units(&text, &metric);
            found.retain(|line| !published(line));
            assert_eq!(found, [""; 0], "{change:?}");
        }
        clean(&report);
    }
    // The finder finds what it is for.
    let (site, results) = planned(&[]);
    let text = seen(&html::page(&Sheet::gather(&site, &results).unwrap()));
    assert!(with_units(&text, &metric).len() > 60);
}

/// A start mark is a permission: down, and in the same words, at the fence and in the picture.
#[test]
fn the_start_mark_is_the_same_on_the_card_and_in_the_picture() {
    let (site, results) = planned(&[("site.units", "imperial")]);
    // 6 m are 19 ft 8.2205 in: 8 3/16 below it, and 8 1/4 nearer.
    let said = "19 ft 8 3/16 in";
    assert_eq!(results.ride_by[0].start_high_m.get(), Some(site.roll_in.start_height_m));
    let report = html::page(&Sheet::gather(&site, &results).unwrap());
    let drawing = report.split("<svg").nth(1).and_then(|rest| rest.split("</svg>").next()).unwrap();
    for text in
        [&seen(&card::page(&site, &results)), drawing, &crate::plan::text::text(&site, &results, Default::default())]
    {
        assert!(text.contains(said), "{text}");
    }
    // The bottom's radius is as long, and no permission.
    let others = drawing.replace("R 19 ft 8 1/4 in", "");
    for text in [&card::page(&site, &results), &others] {
        assert!(!text.contains("19 ft 8 1/4 in"), "to the nearest somewhere");
    }
}

/// Neither the name of a value inside the program nor a key of the site file, but in the list of what is assumed; none of
/// the words of a statistician.
#[test]
fn the_report_speaks_to_people() {
    let cases: [&[(&str, &str)]; 4] =
        [&[], &[("roll_in.start_height", "1.2 m")], &[("bag.gap", "9 m")], &[("bag.vent_area", "6 m2")]];
    for change in cases {
        let (site, results) = planned(change);
        let sheet = Sheet::gather(&site, &results).unwrap();
        for page in [html::page(&sheet), card::page(&site, &results)] {
            let text = seen(&page);
            let lower = text.to_lowercase();
            for word in ["divided differences", "standard deviation", " sd ", "variance"] {
                assert!(!lower.contains(word), "{change:?}: {word}");
            }
            for word in text.split_whitespace() {
                let key = word.trim_matches(|c: char| !c.is_ascii_alphanumeric());
                assert!(!key.contains('_'), "{change:?}: {word}");
                let known = crate::site::KEYS.iter().any(|known| known.dotted == key);
                assert!(!known, "{change:?}: {word}");
            }
        }
    }
}
