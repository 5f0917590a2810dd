//! The adapter as the screens show it: its mark, the band while it is not heard, and the sheet behind F11.
//!
//! Knows nothing of ports or of the link.

use super::overlay::list;
use super::theme::{self, BODY, Colours, GAP, TARGET};
use super::view::{Ask, DeskView, Heard, LinkView};
use super::widgets::{count, line, speak};
use egui::epaint::PathStroke;
use egui::{Align2, Color32, Painter, Pos2, Rect, Shape, Stroke, Ui, pos2, vec2};
use std::f32::consts::TAU;
use std::path::PathBuf;

/// What the port of an instrument may be called here.
const INSTRUMENT: &str = if cfg!(windows) {
    "COM3"
} else {
    "/dev/ttyUSB0"
};
/// And that of an adapter.
const ADAPTER: &str = if cfg!(windows) {
    "COM4"
} else {
    "/dev/ttyACM0"
};

/// The colour that goes with how it is heard.
const fn colour(colours: &Colours, heard: Heard) -> Color32 {
    match heard {
        Heard::Connected => colours.good,
        Heard::Searching => colours.caution,
        Heard::Lost => colours.bad,
    }
}

/// The shape: two halves that meet, an open ring, two halves apart with a stroke between.
pub(super) fn mark(painter: &Painter, colours: &Colours, heard: Heard, centre: Pos2) {
    let hue = colour(colours, heard);
    let radius = 7.0;
    match heard {
        Heard::Connected => {
            painter.circle_filled(centre, radius, hue);
        }
        Heard::Searching => {
            let ring: Vec<Pos2> = (0..=18u8)
                .map(|step| centre + radius * egui::Vec2::angled(TAU * f32::from(step) / 24.0))
                .collect();
            painter.add(Shape::line(ring, PathStroke::new(3.0, hue)));
        }
        Heard::Lost => {
            painter.circle_stroke(centre, radius, Stroke::new(2.0, hue));
            let half = vec2(radius, radius);
            painter.line_segment([centre - half, centre + half], Stroke::new(3.0, hue));
            let half = vec2(radius, -radius);
            painter.line_segment([centre - half, centre + half], Stroke::new(3.0, hue));
        }
    }
}

/// Across every screen while it is not heard: the word, why, and what that means.
pub(super) fn band(ui: &mut Ui, rect: Rect, link: &LinkView) {
    let colours = Colours::of(ui);
    let ground = match link.heard {
        Heard::Connected => colours.good_tint,
        Heard::Searching => colours.caution_tint,
        Heard::Lost => colours.bad_tint,
    };
    let hue = colour(&colours, link.heard);
    ui.painter().rect_filled(rect, 0.0, ground);
    ui.painter()
        .hline(rect.x_range(), rect.bottom(), Stroke::new(1.5, hue));
    mark(
        ui.painter(),
        &colours,
        link.heard,
        pos2(rect.left() + 18.0, rect.center().y),
    );
    let words = status_words(link);
    let place = Rect::from_min_max(
        pos2(rect.left() + 36.0, rect.top()),
        pos2(rect.right() - 12.0, rect.bottom()),
    );
    line(
        ui,
        place,
        Align2::LEFT_CENTER,
        &words,
        theme::strong(BODY),
        hue,
    );
}

fn status_words(link: &LinkView) -> String {
    let words = short_words(link);
    match (link.heard, link.prints_lines) {
        (Heard::Lost, false) => {
            format!("{words}. It keeps its own record; the desk looks for it again.")
        }
        (Heard::Lost, true) => format!("{words}. What is pulled meanwhile is not seen."),
        _ => words,
    }
}

fn short_words(link: &LinkView) -> String {
    let LinkView {
        port, why, serial, ..
    } = link;
    match (link.heard, link.prints_lines) {
        (Heard::Connected, true) => format!("Reading at {port}: {}", link.who),
        (Heard::Searching, true) => format!("LISTENING FOR {serial} at {port}: {why}"),
        (Heard::Lost, true) => format!("{serial} NOT HEARD at {port}: {why}"),
        (Heard::Connected, false) => format!("Connected: {} at {port}", link.who),
        (Heard::Searching, false) => format!("LOOKING FOR ADAPTER at {port}: {why}"),
        (Heard::Lost, false) => format!("ADAPTER LOST at {port}: {why}"),
    }
}

/// What can be done with it now, each with what it asks for.
fn ways(view: &DeskView) -> Vec<(String, Ask)> {
    let mut ways = Vec::new();
    let joint = view.joint.as_ref();
    if view
        .build
        .link
        .as_ref()
        .is_some_and(|link| link.prints_lines)
    {
        ways.push(("Take its zero anew".to_owned(), Ask::Zero));
        ways.push(("Disconnect the instrument".to_owned(), Ask::Disconnect));
    } else if view.build.link.is_some() {
        if let Some(joint) = joint.filter(|joint| joint.may_send) {
            ways.push((
                format!("Work {} at the adapter", joint.title),
                Ask::SendJoint,
            ));
        }
        ways.push(("Disconnect the adapter".to_owned(), Ask::Disconnect));
    } else {
        let lines = |port: &String, tool: &String| {
            let words = format!("{port}: lines of {tool}");
            (words, Ask::Lines(tool.clone(), port.clone()))
        };
        for port in &view.ports {
            ways.extend(view.instruments.iter().map(|tool| lines(port, tool)));
            let words = if view.instruments.is_empty() {
                port.clone()
            } else {
                format!("{port}: adapter")
            };
            ways.push((words, Ask::Connect(PathBuf::from(port))));
        }
        ways.truncate(WAYS_SHOWN);
    }
    if let Some(joint) = joint.filter(|joint| joint.at_adapter.is_some()) {
        ways.push((
            format!("Go on with {} at the desk, without it", joint.title),
            Ask::TakeBack,
        ));
    }
    ways
}

/// Ports are listed so far; any other is typed.
const WAYS_SHOWN: usize = 6;

/// What a typed port asks for: the lines of a tool where its id stands before it, else an adapter.
fn typed_way(view: &DeskView, typed: &str) -> Ask {
    let lines = typed.trim().split_once(char::is_whitespace);
    match lines.filter(|(tool, _)| view.instruments.iter().any(|own| own == tool)) {
        Some((tool, place)) => Ask::Lines(tool.to_owned(), place.trim().to_owned()),
        None => Ask::Connect(PathBuf::new()),
    }
}

/// How high the sheet is.
pub(super) fn height(view: &DeskView) -> f32 {
    let rows = count(ways(view).len()) * (TARGET + GAP);
    let typed = if view.build.link.is_none() { 82.0 } else { 0.0 };
    92.0 + 30.0 + GAP + rows + typed
}

/// Draws the sheet's body; true when it is done with.
pub(super) fn body(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    typed: &mut String,
    asks: &mut Vec<Ask>,
) -> bool {
    let colours = Colours::of(ui);
    let status = Rect::from_min_size(rect.min, vec2(rect.width(), 30.0));
    match &view.build.link {
        Some(link) => {
            mark(
                ui.painter(),
                &colours,
                link.heard,
                pos2(status.left() + 9.0, status.center().y),
            );
            let place = Rect::from_min_max(pos2(status.left() + 26.0, status.top()), status.max);
            line(
                ui,
                place,
                Align2::LEFT_CENTER,
                &short_words(link),
                theme::strong(BODY),
                colour(&colours, link.heard),
            );
        }
        None => {
            let words = if view.ports.is_empty() {
                "No serial port is found here. Type the path of one."
            } else {
                "At which port? The rehearsal is put aside: this is work on metal."
            };
            line(
                ui,
                status,
                Align2::LEFT_CENTER,
                words,
                theme::text(BODY),
                colours.ink,
            );
        }
    }
    let body = Rect::from_min_max(pos2(rect.left(), status.bottom() + GAP), rect.max);
    let hint = match view.instruments.first() {
        Some(tool) => format!(
            "Lines: {tool} {INSTRUMENT} or {tool} HOST:PORT. An adapter: its port. Then Enter"
        ),
        None => format!("Path of the port, then Enter ({ADAPTER})"),
    };
    let line = view.build.link.is_none().then(|| {
        let ask = typed_way(view, typed);
        (typed, ask, hint.as_str())
    });
    if line.is_none() {
        speak(ui, status, "F11 or Escape closes this");
    }
    let taken = list(ui, body, &ways(view), line, false);
    let close = taken.is_some();
    asks.extend(taken);
    close
}
