//! The live view on a terminal.

use ratatui::Frame;
use ratatui::layout::{Constraint, Direction, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Block, Chart, Dataset, GraphType, Paragraph, Wrap};

use landfall_core::watch::State;

use super::live::{Seen, TRACE_S};

/// Draws every box, one under the other.
pub fn draw(frame: &mut Frame<'_>, boxes: &[Seen]) {
    let share = Constraint::Ratio(1, u32::try_from(boxes.len().max(1)).unwrap_or(1));
    let mut rows = vec![share; boxes.len()];
    rows.push(Constraint::Length(1));
    let areas = Layout::default().direction(Direction::Vertical).constraints(rows).split(frame.area());
    for (seen, area) in boxes.iter().zip(areas.iter()) {
        one(frame, seen, *area);
    }
    if let Some(last) = areas.last() {
        frame.render_widget(Paragraph::new("q: quit.  A supplementary alarm: somebody watches the bag.").dim(), *last);
    }
}

use ratatui::style::Stylize as _;

fn colour(seen: &Seen) -> Color {
    match seen.status.and_then(|status| status.state).map(|(state, _)| state) {
        _ if seen.silent().is_some() => Color::Red,
        Some(State::Ride) => Color::Green,
        Some(State::Stop | State::Fault) | None => Color::Red,
        Some(_) => Color::Yellow,
    }
}

fn one(frame: &mut Frame<'_>, seen: &Seen, area: Rect) {
    let colour = colour(seen);
    let block = Block::bordered().title(seen.name.clone()).border_style(Style::new().fg(colour));
    let inner = block.inner(area);
    frame.render_widget(block, area);
    let parts = Layout::default()
        .direction(Direction::Vertical)
        .constraints([Constraint::Length(2), Constraint::Min(4), Constraint::Length(4)])
        .split(inner);
    let [head, middle, foot] = [0, 1, 2].map(|n| parts.get(n).copied().unwrap_or_default());
    let loud = Style::new().fg(Color::Black).bg(colour).add_modifier(Modifier::BOLD);
    let text = seen.line();
    let text = text.split_once(": ").map_or(text.clone(), |(_, rest)| rest.to_owned());
    frame.render_widget(Paragraph::new(Span::styled(format!(" {text} "), loud)).wrap(Wrap { trim: true }), head);
    trace(frame, seen, middle);
    let events = seen.events.iter().rev().take(usize::from(foot.height)).map(|event| Line::raw(event.clone()));
    frame.render_widget(Paragraph::new(events.collect::<Vec<_>>()), foot);
}

/// The pressure with the levels that the box goes by.
fn trace(frame: &mut Frame<'_>, seen: &Seen, area: Rect) {
    let points: Vec<(f64, f64)> = seen.trace.iter().copied().collect();
    let end_s = points.last().map_or(TRACE_S, |(at_s, _)| *at_s);
    let span = [end_s - TRACE_S, end_s];
    let mut top_pa = points.iter().map(|(_, pa)| *pa).fold(100.0, f64::max);
    let mut levels: Vec<(&str, f64, Color)> = Vec::new();
    if let Some(s) = &seen.settings {
        levels.push(("siren", f64::from(s.trip_pa()), Color::Red));
        levels.push(("permit", f64::from(s.hold_pa()), Color::Yellow));
        levels.push(("firm", f64::from(s.high_pa), Color::Yellow));
        top_pa = top_pa.max(1.05 * f64::from(s.high_pa));
    }
    let lines: Vec<[(f64, f64); 2]> = levels.iter().map(|(_, pa, _)| [(span[0], *pa), (span[1], *pa)]).collect();
    let mut sets: Vec<Dataset<'_>> = levels
        .iter()
        .zip(&lines)
        .map(|((name, _, colour), line)| {
            Dataset::default().name(*name).marker(Marker::Dot).graph_type(GraphType::Line).style(*colour).data(line)
        })
        .collect();
    sets.push(
        Dataset::default()
            .name("bag")
            .marker(Marker::Braille)
            .graph_type(GraphType::Line)
            .style(Color::Cyan)
            .data(&points),
    );
    let labels = ["0".to_owned(), format!("{:.0}", top_pa / 2.0), format!("{top_pa:.0} Pa")];
    let chart = Chart::new(sets)
        .x_axis(Axis::default().bounds(span).labels([format!("{TRACE_S:.0} s ago"), "now".to_owned()]))
        .y_axis(Axis::default().bounds([0.0, top_pa]).labels(labels));
    frame.render_widget(chart, area);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::box_side::live::Brought;
    use landfall_core::watch::{Reason, TimeUs};
    use landfall_firmware::link::{FromBox, Status};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn screen(seen: &[Seen]) -> String {
        let mut terminal = Terminal::new(TestBackend::new(100, 24)).unwrap();
        terminal.draw(|frame| draw(frame, seen)).unwrap();
        terminal.backend().to_string()
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
        assert!(shown.contains("ride") && shown.contains("987 Pa") && shown.contains("permit on"), "{shown}");
        seen.take(&Brought::Lost("gone".into()));
        let shown = screen(&[seen]);
        assert!(shown.contains("LINK SILENT") && !shown.contains("permit on"), "{shown}");
    }
}
