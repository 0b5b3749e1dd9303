//! The landing that is built to read, as rows, and as a picture beside the bag.

use landfall_core::flight::step;
use landfall_core::inputs::Uncertain;
use landfall_dirt::built::{Built, Try};
use landfall_dirt::picture::{View, draw};
use landfall_plan::ground::{layout_of, surface};
use landfall_plan::lines::{paragraph, table};
use landfall_plan::plan::model::Model;
use landfall_plan::plan::words::{load, number, speed};
use landfall_plan::report::{Picture, Table};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Site};

fn near(u: Shown, m: f64) -> String {
    u.length(m, Toward::Nearest)
}

/// In words.
#[must_use]
pub fn text(built: &Built, site: &Site, assumed: &[String]) -> String {
    let u = Shown::of(site);
    let l = &built.landing;
    let mut out = String::from("\nA landing that is built for these runs\n");
    paragraph(
        &mut out,
        "  ",
        &format!(
            "It is laid out for 999 of 1,000 tries of all riders, which come down {} to {} from the lip on this slope. The knuckle is {} from the lip and \
             {} over the take-off's foot; from there the slope goes down {} at {} degrees, {} along it.",
            near(u, built.field_m.0),
            near(u, built.field_m.1),
            near(u, l.knuckle_m.0),
            near(u, l.knuckle_m.1),
            near(u, l.knuckle_m.1 - l.slope_end_m().1),
            number(l.slope_rad.to_degrees(), 0),
            near(u, l.slope_m)
        ),
    );
    paragraph(
        &mut out,
        "  ",
        &format!(
            "The transition has a radius of {}: at its bottom these tries feel up to {}. The roll-out is {} long and {} wide, \
             and ends {} from the lip.",
            near(u, l.radius_m),
            load(built.peak_load_g),
            near(u, l.run_out_m),
            near(u, l.width_m),
            near(u, l.end_x_m())
        ),
    );
    let head = ["try", "lip speed", "from lip", "path", "to slope", "falls", "load", "at the end"].map(str::to_owned);
    let mut list = vec![head.to_vec()];
    list.extend(built.tries.iter().map(|one| try_row(u, one)));
    table(&mut out, 1, &list);
    paragraph(
        &mut out,
        "  ",
        "Path: degrees down at contact; to slope: degrees between path and slope, 0 would be none; falls: the equivalent fall \
         height; at the end: speed with which the roll-out is left. Short, mean and long differ in lip speed alone.",
    );
    let d = &built.drawn;
    let more = if d.catches() {
        ""
    } else {
        " That is more beside it than the field was laid out for: the knuckle stands in the way of slow tries, or the slope is \
         short or narrow. A lower roll-out (--roll-out-level) or another --landing-slope changes it."
    };
    paragraph(
        &mut out,
        "  ",
        &format!(
            "Of {} drawn tries of all riders, with all that scatters, {} come down on the slope, {} too short, {} too long, {} off its \
             sides; {} do not come to the lip.{more}",
            d.runs, d.on_slope, d.short, d.long, d.off_side, d.no_flight
        ),
    );
    bed(&mut out, u, built);
    paragraph(
        &mut out,
        "  ",
        &format!(
            "Earth: {} to bring in and {} to dig away, banks among it, by the prismoidal rule.",
            u.volume(built.earth.fill_m3, Toward::Up),
            u.volume(built.earth.cut_m3, Toward::Up)
        ),
    );
    let unit = u.unit(Dimension::Length);
    let cell = |m: f64| number(u.value(Dimension::Length, m), 2);
    let mut list = vec![["from lip", "height", "slope", ""].map(str::to_owned).to_vec()];
    list.extend(
        built
            .offsets
            .iter()
            .map(|o| vec![cell(o.x_m), cell(o.height_m), number(o.slope_rad.to_degrees(), 1), o.what.to_owned()]),
    );
    table(&mut out, 1, &list);
    paragraph(
        &mut out,
        "  ",
        &format!("To set out: in {unit}, heights over the take-off's foot; slope in degrees, down positive."),
    );
    if !assumed.is_empty() {
        paragraph(&mut out, "  ", &format!("Assumed, since not stated: {}.", assumed.join(", ")));
    }
    out
}

fn try_row(u: Shown, one: &Try) -> Vec<String> {
    let m = &one.meet;
    vec![
        one.which.to_owned(),
        speed(u, one.lip_speed_mps),
        near(u, m.x_m),
        number(m.path_rad.to_degrees(), 0),
        number(m.angle_rad.to_degrees(), 0),
        near(u, m.fall_m),
        one.after.and_then(|a| a.peak_load_g).map_or_else(|| "-".to_owned(), load),
        one.after.map_or_else(|| "-".to_owned(), |a| speed(u, a.end_mps)),
    ]
}

fn bed(out: &mut String, u: Shown, built: &Built) {
    let fill = &built.fill;
    let hardest = built.bed.iter().map(|b| b.fall_m).fold(0.0, f64::max);
    let beyond: Vec<f64> = built.bed.iter().filter(|b| b.filled_m.is_none()).map(|b| b.x_m).collect();
    let table = format!(
        "the table of loose fill (US CPSC Publication 325, table 2; falls of children) gives {} up to a fall of {}",
        fill.material,
        near(u, fill.fall_m)
    );
    let said = match beyond.first() {
        None => format!(
            "Runs fall up to {} on the slope; {table}: {} compressed, {} filled in, {} in all.",
            near(u, hardest),
            u.small(fill.depth_m, Toward::Nearest),
            u.small(fill.filled_m, Toward::Up),
            u.volume(built.fill_m3, Toward::Up)
        ),
        Some(from) => format!(
            "Runs fall up to {} on the slope; {table}, so from {} from the lip on it names no depth. Before that: {} filled in, {} \
             in all.",
            near(u, hardest),
            near(u, *from),
            u.small(fill.filled_m, Toward::Up),
            u.volume(built.fill_m3, Toward::Up)
        ),
    };
    paragraph(out, "  ", &said);
}

/// Names of the columns of the rows to set out by.
pub const HEAD: [&str; 4] = ["distance_m", "height_m", "slope_deg", "what"];

/// The rows to set out by, the first with the names.
#[must_use]
pub fn csv(built: &Built) -> Vec<Vec<String>> {
    let head = HEAD.map(str::to_owned).to_vec();
    let row = |o: &landfall_dirt::landing::Offset| {
        vec![
            format!("{:.6}", o.x_m),
            format!("{:.6}", o.height_m),
            format!("{:.6}", o.slope_rad.to_degrees()),
            o.what.to_owned(),
        ]
    };
    std::iter::once(head).chain(built.offsets.iter().map(row)).collect()
}

/// The landing beside the bag.
#[must_use]
pub fn picture(built: &Built, site: &Site, model: &Model) -> Picture {
    let u = Shown::of(site);
    let layout = layout_of(site, &model.setups[0]);
    let takeoff: Vec<(f64, f64)> =
        surface(&model.setups[0]).into_iter().filter(|p| p.0 >= layout.foot_x_m - 1e-6).collect();
    let flights: Vec<Vec<(f64, f64)>> = built.tries.iter().map(|one| flight(model, one)).collect();
    let length = |m: f64| u.length(m, Toward::Nearest);
    let ground = super::ground_under(site);
    let words = format!(
        "The landing that is built and the bag, to scale: the short, the mean and the long try with their centres of mass, {} \
         on the slope as deep as the table of loose fill says.",
        built.fill.material
    );
    let view = View { built, bag: &layout.bag, takeoff: &takeoff, flights: &flights, ground: &ground, length: &length };
    let title = "The landing that is built, beside the bag";
    let mut table = Table {
        caption: "The landing, to set out".to_owned(),
        head: ["from the lip", "height", "slope, °", ""].map(str::to_owned).to_vec(),
        rows: Vec::new(),
    };
    table.rows.extend(
        built
            .offsets
            .iter()
            .map(|o| vec![length(o.x_m), length(o.height_m), number(o.slope_rad.to_degrees(), 1), o.what.to_owned()]),
    );
    Picture {
        id: "built",
        title,
        svg: Some(draw(&view, title, &words).svg),
        words,
        near: None,
        legend: Vec::new(),
        tables: vec![table],
        wide: true,
    }
}

/// The centre of mass of a try until it comes down.
fn flight(model: &Model, one: &Try) -> Vec<(f64, f64)> {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean().with(Uncertain::LipSpeed, 0.0);
    let drag = setup.drag(&inputs);
    let mut motion = setup.release(one.lip_speed_mps as f32, &inputs);
    let steps = (one.meet.time_s / 0.02).ceil().max(1.0);
    let dt_s = (one.meet.time_s / steps) as f32;
    let place = |m: &landfall_core::flight::Motion<f32>| (f64::from(m.place_m[0]), f64::from(m.place_m[2]));
    let mut list = vec![place(&motion)];
    for _ in 0..steps as usize {
        motion = step(&motion, dt_s, &drag);
        list.push(place(&motion));
    }
    list
}
