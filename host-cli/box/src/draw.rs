//! The live view on a terminal.

use landfall_plan::shown::Toward;
use ratatui::Frame;
use ratatui::layout::{Constraint, Direction, Layout, Rect};
use ratatui::style::{Color, Modifier, Style, Stylize as _};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Block, Chart, Dataset, GraphType, Paragraph, Wrap};

use landfall_core::watch::State;

use super::live::{Seen, TRACE_S};
use super::together::together;
use super::words::Level;

/// How it is drawn.
#[derive(Clone, Copy, Debug, Default)]
pub struct Look {
    /// In colours; else in one, the state turned over instead.
    pub colour: bool,
    /// Letters to be read from afar, without the trace.
    pub large: bool,
}

/// Draws every box, one under the other; of several the worst stands above all.
pub fn draw(frame: &mut Frame<'_>, boxes: &[Seen], look: Look) {
    if look.large {
        large(frame, boxes);
    } else {
        usual(frame, boxes);
    }
    if !look.colour {
        one_colour(frame);
    }
}

fn usual(frame: &mut Frame<'_>, boxes: &[Seen]) {
    let all = together(boxes);
    let [above, below] = {
        let rows = [Constraint::Length(if all.is_some() { 4 } else { 0 }), Constraint::Min(0)];
        let parts = Layout::default().direction(Direction::Vertical).constraints(rows).split(frame.area());
        [0, 1].map(|n| parts.get(n).copied().unwrap_or_default())
    };
    if let Some(all) = all {
        let told = vec![
            Line::raw(format!(" ALL OF THEM: {}, {}.  {}.", all.permit_words(), all.told.next, all.each_words())),
            Line::raw(format!(" {}", all.told.todo)),
        ];
        frame.render_widget(Paragraph::new(told).wrap(Wrap { trim: false }).style(loud(all.told.level)), above);
    }
    let share = Constraint::Ratio(1, u32::try_from(boxes.len().max(1)).unwrap_or(1));
    let mut rows = vec![share; boxes.len()];
    rows.push(Constraint::Length(1));
    let areas = Layout::default().direction(Direction::Vertical).constraints(rows).split(below);
    for (seen, area) in boxes.iter().zip(areas.iter()) {
        one(frame, seen, *area, boxes.len() > 1);
    }
    if let Some(last) = areas.last() {
        frame.render_widget(Paragraph::new("q: quit.  A supplementary alarm: somebody watches the bag.").dim(), *last);
    }
}

fn one_colour(frame: &mut Frame<'_>) {
    for cell in &mut frame.buffer_mut().content {
        let filled = cell.bg != Color::Reset;
        (cell.fg, cell.bg) = (Color::Reset, Color::Reset);
        if filled {
            cell.modifier |= Modifier::REVERSED;
        }
    }
}

fn loud(level: Level) -> Style {
    let colour = match level {
        Level::Go => Color::Green,
        Level::Wait => Color::Yellow,
        Level::Stop => Color::Red,
    };
    Style::new().fg(Color::Black).bg(colour).add_modifier(Modifier::BOLD)
}

/// Letters of three by five blocks, each row three bits; what is not there is left out.
const LETTERS: [(char, [u8; 5]); 35] = [
    ('A', [2, 5, 7, 5, 5]),
    ('C', [3, 4, 4, 4, 3]),
    ('D', [6, 5, 5, 5, 6]),
    ('E', [7, 4, 6, 4, 7]),
    ('G', [3, 4, 5, 5, 3]),
    ('I', [7, 2, 2, 2, 7]),
    ('K', [5, 5, 6, 5, 5]),
    ('L', [4, 4, 4, 4, 7]),
    ('N', [5, 7, 7, 7, 5]),
    ('O', [2, 5, 5, 5, 2]),
    ('P', [6, 5, 6, 4, 4]),
    ('R', [6, 5, 6, 5, 5]),
    ('S', [3, 4, 2, 1, 6]),
    ('T', [7, 2, 2, 2, 2]),
    ('W', [5, 5, 7, 7, 5]),
    ('Y', [5, 5, 2, 2, 2]),
    ('a', [0, 3, 5, 5, 3]),
    ('.', [0, 0, 0, 0, 2]),
    (' ', [0, 0, 0, 0, 0]),
    ('-', [0, 0, 7, 0, 0]),
    ('0', [7, 5, 5, 5, 7]),
    ('1', [2, 6, 2, 2, 7]),
    ('2', [7, 1, 7, 4, 7]),
    ('3', [7, 1, 3, 1, 7]),
    ('4', [5, 5, 7, 1, 1]),
    ('5', [7, 4, 7, 1, 7]),
    ('6', [7, 4, 7, 5, 7]),
    ('7', [7, 1, 1, 2, 2]),
    ('8', [7, 5, 7, 5, 7]),
    ('9', [7, 5, 7, 1, 7]),
    ('V', [5, 5, 5, 5, 2]),
    ('H', [5, 5, 7, 5, 5]),
    ('J', [1, 1, 1, 5, 2]),
    ('M', [5, 7, 7, 5, 5]),
    ('U', [5, 5, 5, 5, 7]),
];

/// A text in blocks, each `scale` cells high and twice as wide; none if it is wider than `width`.
fn in_blocks(text: &str, scale: usize, width: u16) -> Option<Vec<Line<'static>>> {
    let shapes: Vec<[u8; 5]> =
        text.chars().filter_map(|c| LETTERS.iter().find(|(letter, _)| *letter == c).map(|(_, rows)| *rows)).collect();
    if shapes.len() * 4 * 2 * scale > usize::from(width) {
        return None;
    }
    let row = |y: usize| {
        let mut line = String::new();
        for shape in &shapes {
            let bits = shape.get(y).copied().unwrap_or(0);
            for x in (0..3).rev() {
                line += &if bits >> x & 1 == 1 { "█" } else { " " }.repeat(2 * scale);
            }
            line += &" ".repeat(2 * scale);
        }
        Line::raw(line)
    };
    Some((0..5 * scale).map(|y| row(y / scale)).collect())
}

/// State, pressure and whether the next rider may go, as large as there is room for.
fn large(frame: &mut Frame<'_>, boxes: &[Seen]) {
    let area = frame.area();
    let all = together(boxes);
    let told = all.as_ref().map(|all| all.told.clone()).or_else(|| boxes.first().map(Seen::first));
    let Some(told) = told else { return };
    let pressure = match boxes {
        [one] => one.status.as_ref().filter(|_| one.silent().is_none()).and_then(|status| status.gauge_pa),
        _ => None,
    };
    let pressure = pressure.map_or(String::new(), |pa| format!("{pa:.0} Pa"));
    let mut lines: Vec<Line<'_>> = Vec::new();
    for text in [told.head, pressure.as_str()] {
        let room = usize::from(area.height.saturating_sub(4)) / 2 / 6;
        let blocks = (1..=room.max(1)).rev().find_map(|scale| in_blocks(text, scale, area.width.saturating_sub(2)));
        lines.extend(blocks.unwrap_or_else(|| vec![Line::raw(text.to_owned())]));
        lines.push(Line::raw(""));
    }
    for each in all.iter().flat_map(|all| &all.each) {
        let pressure = each.pressure.as_deref().unwrap_or("no pressure known");
        lines.push(Line::raw(format!("{} {}: {}, {pressure}", each.told.level.sign(), each.name, each.told.head)));
    }
    let permit = all
        .as_ref()
        .map_or_else(String::new, |all| format!("{} for all of them.  ", all.permit_words().to_uppercase()));
    lines.push(Line::raw(format!("{permit}{}.  {}", told.next.to_uppercase(), told.todo)));
    lines.extend(boxes.iter().filter_map(Seen::other_jump).map(Line::raw));
    frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }).style(loud(told.level)), area);
}

fn colour(seen: &Seen) -> Color {
    match seen.status.and_then(|status| status.state).map(|(state, _)| state) {
        _ if seen.silent().is_some() => Color::Red,
        _ if seen.first().level == Level::Stop => Color::Red,
        Some(State::Ride) => Color::Green,
        Some(State::Stop | State::Fault) | None => Color::Red,
        Some(_) => Color::Yellow,
    }
}

fn one(frame: &mut Frame<'_>, seen: &Seen, area: Rect, of_several: bool) {
    let colour = colour(seen);
    let mut block = Block::bordered().title(format!(" {} ", seen.name)).border_style(Style::new().fg(colour));
    let levels = levels(seen);
    if !levels.is_empty() {
        let mut key = vec![Span::raw(" ")];
        for (name, pa, colour) in &levels {
            key.push(Span::styled(format!("•• {name} {} ", seen.pressure(*pa, Toward::Up)), *colour));
        }
        block = block.title_bottom(Line::from(key));
    }
    let inner = block.inner(area);
    frame.render_widget(block, area);
    // The last events only where the trace keeps some height.
    let foot_rows = inner.height.saturating_sub(9).min(3);
    let parts = Layout::default()
        .direction(Direction::Vertical)
        .constraints([Constraint::Length(3), Constraint::Min(0), Constraint::Length(foot_rows)])
        .split(inner);
    let [head, middle, foot] = [0, 1, 2].map(|n| parts.get(n).copied().unwrap_or_default());
    let loud = Style::new().fg(Color::Black).bg(colour).add_modifier(Modifier::BOLD);
    let (state, rest) = seen.told();
    let mut told = vec![Line::raw(format!(" {state}"))];
    let first = seen.first();
    let other = seen.other_jump();
    // Whether the next rider goes is said of all of them, not of one.
    let next = if of_several { String::new() } else { format!("{}. ", first.next) };
    told.push(Line::raw(format!(" {next}{}", other.as_deref().unwrap_or(&first.todo))));
    told.extend((!rest.is_empty()).then(|| Line::raw(format!(" {rest}"))));
    frame.render_widget(Paragraph::new(told).wrap(Wrap { trim: false }).style(loud), head);
    trace(frame, seen, &levels, middle);
    let events = seen.events.iter().rev().take(usize::from(foot.height)).map(|event| Line::raw(event.clone()));
    frame.render_widget(Paragraph::new(events.collect::<Vec<_>>()), foot);
}

/// The levels that the box goes by.
fn levels(seen: &Seen) -> Vec<(&'static str, f64, Color)> {
    seen.in_force().map_or_else(Vec::new, |s| {
        vec![
            ("siren", f64::from(s.trip_pa()), Color::Red),
            ("permit off", f64::from(s.hold_pa()), Color::Yellow),
            ("too firm", f64::from(s.high_pa), Color::Yellow),
        ]
    })
}

/// The pressure with the levels. What was seen before the line went silent is not drawn as if it were so now.
fn trace(frame: &mut Frame<'_>, seen: &Seen, levels: &[(&str, f64, Color)], area: Rect) {
    let points: Vec<(f64, f64)> = seen.trace.iter().copied().collect();
    let end_s = points.last().map_or(TRACE_S, |(at_s, _)| *at_s);
    let span = [end_s - TRACE_S, end_s];
    let high_pa = points.iter().chain(&[(0.0, 100.0)]).map(|(_, pa)| *pa).fold(0.0, f64::max);
    let high_pa = levels.iter().map(|(_, pa, _)| *pa).fold(high_pa, f64::max);
    let top_pa = (1.02 * high_pa / 500.0).ceil() * 500.0;
    let lines: Vec<[(f64, f64); 2]> = levels.iter().map(|(_, pa, _)| [(span[0], *pa), (span[1], *pa)]).collect();
    let mut sets: Vec<Dataset<'_>> = levels
        .iter()
        .zip(&lines)
        .map(|((_, _, colour), line)| {
            Dataset::default().marker(Marker::Dot).graph_type(GraphType::Line).style(*colour).data(line)
        })
        .collect();
    let silent = seen.silent().is_some();
    let of_bag = Dataset::default().marker(Marker::Braille).graph_type(GraphType::Line).data(&points);
    sets.push(of_bag.style(if silent { Color::DarkGray } else { Color::Cyan }));
    let labels = match seen.gauge {
        Some(_) => {
            ["0".to_owned(), seen.pressure(top_pa / 2.0, Toward::Nearest), seen.pressure(top_pa, Toward::Nearest)]
        }
        None => ["0".to_owned(), format!("{:.0}", top_pa / 2.0), format!("{top_pa:.0} Pa")],
    };
    let ends = if silent {
        ["earlier".to_owned(), "last heard".to_owned()]
    } else {
        [format!("{TRACE_S:.0} s ago"), "now".to_owned()]
    };
    let chart = Chart::new(sets)
        .legend_position(None)
        .x_axis(Axis::default().bounds(span).labels(ends))
        .y_axis(Axis::default().bounds([0.0, top_pa]).labels(labels));
    frame.render_widget(chart, area);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::Brought;
    use landfall_core::watch::{Reason, TimeUs, WatchSettings};
    use landfall_firmware::link::{FromBox, Status};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn drawn(seen: &[Seen], size: (u16, u16), colour: bool) -> Terminal<TestBackend> {
        let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
        terminal.draw(|frame| draw(frame, seen, Look { colour, large: false })).unwrap();
        terminal
    }

    fn screen(seen: &[Seen]) -> String {
        drawn(seen, (100, 24), true).backend().to_string()
    }

    /// Riding for two minutes with a landing a minute ago.
    fn riding() -> Seen {
        let mut seen = Seen::new("box one");
        seen.take(&Brought::Message(Box::new(FromBox::Settings(Some(WatchSettings::EXAMPLE)))));
        for tenth in 0..1200_u32 {
            let status = Status {
                at: TimeUs(u64::from(tenth) * 100_000),
                state: Some((State::Ride, Reason::Normal)),
                permit: true,
                gauge_pa: Some(if tenth == 600 { 2400.0 } else { 1000.0 }),
                landings: 1,
                since_landing_s: Some(60.0),
                forecast_s: Some(95.0),
                ..Status::default()
            };
            seen.take(&Brought::Message(Box::new(FromBox::Status(status))));
        }
        seen
    }

    #[test]
    fn everything_has_its_place_on_a_small_screen() {
        let shown = drawn(&[riding()], (80, 24), true).backend().to_string();
        let rows: Vec<&str> = shown.lines().map(|row| row.trim_matches('"')).collect();
        assert_eq!(rows.len(), 24);
        assert!(rows[0].contains(" box one "), "{shown}");
        assert!(rows[1].contains("RIDE  normal   permit on   siren off   1000 Pa"), "{shown}");
        assert!(rows[2].contains("next rider: go. Look that the bag is clear"), "{shown}");
        assert!(rows[3].contains("landings 1, last 60 s ago, STOP PRESSURE IN 95 s"), "{shown}");
        assert!(rows[4].contains("2500 Pa"), "{shown}");
        // 600 + 12, and 800 + 20 + 12.
        assert!(rows[22].contains("siren 612 Pa") && rows[22].contains("permit off 832 Pa"), "{shown}");
        assert!(rows[22].contains("too firm 1300 Pa") && rows[23].contains("q: quit"), "{shown}");
        // In the unit and the digits of the gauge beside it: 1000 Pa = 4.01 inH2O, 612 Pa = 2.457 inH2O.
        let mut beside = riding();
        beside.gauge = Some(landfall_plan::site::Gauge::InH2O);
        let shown = drawn(&[beside], (80, 24), true).backend().to_string();
        assert!(
            shown.contains("4.00 inH2O") && shown.contains("siren 2.50 inH2O") && !shown.contains(" Pa"),
            "{shown}"
        );
        // The levels are lines of dots over the whole width, at 612, 832 and 1300 of 2500.
        assert_eq!(rows.iter().filter(|row| row.matches('•').count() > 60).count(), 3, "{shown}");
        // The landing reaches nearly to the top, in the middle.
        assert!(
            rows[5].chars().position(|c| ('\u{2801}'..='\u{28ff}').contains(&c)).is_some_and(|x| (40..48).contains(&x)),
            "{shown}"
        );
    }

    #[test]
    fn no_size_of_screen_breaks_it_and_two_boxes_share_it() {
        for (width, height) in [(1, 1), (10, 3), (40, 8), (80, 24), (300, 100)] {
            drawn(&[riding(), Seen::new("box two")], (width, height), true);
        }
        let shown = drawn(&[riding(), Seen::new("box two")], (110, 40), true).backend().to_string();
        assert!(shown.contains("box one") && shown.contains("box two"), "{shown}");
        assert!(!shown.contains("next rider: go"), "{shown}");
        assert!(
            shown.contains("ALL OF THEM: permit OFF, next rider: NO.  box one RIDE, 1000 Pa; box two NO LINK"),
            "{shown}"
        );
    }

    #[test]
    fn without_colours_the_state_is_turned_over() {
        let terminal = drawn(&[riding()], (80, 24), false);
        let cells = &terminal.backend().buffer().content;
        assert!(cells.iter().all(|cell| cell.fg == Color::Reset && cell.bg == Color::Reset));
        let turned = cells.iter().filter(|cell| cell.modifier.contains(Modifier::REVERSED)).count();
        assert_eq!(turned, 3 * 78);
        let coloured = drawn(&[riding()], (80, 24), true);
        assert!(coloured.backend().buffer().content.iter().any(|cell| cell.bg == Color::Green));
    }

    #[test]
    fn the_large_view_fills_the_screen_and_says_what_to_do() {
        let large = |seen: &[Seen], size: (u16, u16)| {
            let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).unwrap();
            terminal.draw(|frame| draw(frame, seen, Look { colour: true, large: true })).unwrap();
            (terminal.backend().to_string(), terminal)
        };
        let (shown, terminal) = large(&[riding()], (80, 24));
        // Blocks of at least five rows for the state and as many for the pressure.
        assert!(shown.lines().filter(|row| row.contains('█')).count() >= 10, "{shown}");
        assert!(shown.contains("NEXT RIDER: GO"), "{shown}");
        assert!(terminal.backend().buffer().content.iter().all(|cell| cell.bg == Color::Green));
        let mut gone = riding();
        gone.take(&Brought::Lost("gone".into()));
        let (shown, _) = large(&[gone, riding()], (80, 24));
        assert!(shown.contains("NEXT RIDER: NO") && shown.contains("box one: Nothing is known"), "{shown}");
        assert!(shown.contains("box one: NO LINK, no pressure known"), "{shown}");
        assert!(shown.contains("box one: RIDE, 1000 Pa"), "{shown}");
        for (width, height) in [(1, 1), (10, 3), (40, 8), (300, 100)] {
            large(&[riding()], (width, height));
        }
    }

    #[test]
    fn shows_state_and_pressure_and_shouts_about_silence() {
        let mut seen = Seen::new("box one");
        let status = Status {
            at: TimeUs(5_000_000),
            state: Some((State::Ride, Reason::Normal)),
            permit: true,
            gauge_pa: Some(987.0),
            landings: 3,
            ..Status::default()
        };
        seen.take(&Brought::Message(Box::new(FromBox::Status(status))));
        let shown = screen(std::slice::from_ref(&seen));
        assert!(shown.contains("RIDE") && shown.contains("987 Pa") && shown.contains("permit on"), "{shown}");
        seen.take(&Brought::Lost("gone".into()));
        let shown = screen(&[seen]);
        assert!(shown.contains("LINK SILENT") && !shown.contains("permit on"), "{shown}");
    }
}
