//! A new plan from a form, for the common cases: one joint, a bolt circle or rows, rising passes, a turn at the end.
//!
//! Writes the same TOML a person would. Knows nothing of how a plan is checked.

use super::theme::{self, BODY, Colours, GAP, TARGET};
use super::view::Ask;
use super::widgets::{
    Look, area, button, choices, count, cut_bottom, cut_left, field, paragraph, pressed,
    split_across,
};
use egui::{Key, Rect, Ui, vec2};
use std::fmt::Write as _;
use std::path::PathBuf;

/// The form's fields, as typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct PlanForm {
    /// Title of the build.
    pub title: String,
    /// Unit and serial.
    pub unit: String,
    /// Document, page, revision.
    pub document: String,
    /// Title of the joint.
    pub joint: String,
    /// Thread, or nothing.
    pub thread: String,
    /// Property class, or nothing.
    pub class: String,
    /// 0 circle, 1 rows.
    pub shape: usize,
    /// Number on the circle, or in a row.
    pub across: String,
    /// Diameter of the circle or spacing in the row, mm.
    pub size: String,
    /// Number of rows.
    pub rows: String,
    /// Spacing of the rows, mm.
    pub row_size: String,
    /// Torque of each pass, as printed; the last is final.
    pub torques: [String; 3],
    /// The final torque as printed in the other unit.
    pub printed: String,
    /// Turn after the last torque, or nothing.
    pub angle: String,
    /// Where to save it.
    pub path: String,
}

impl Default for PlanForm {
    fn default() -> Self {
        let text = str::to_owned;
        Self {
            title: String::new(),
            unit: String::new(),
            document: String::new(),
            joint: String::new(),
            thread: String::new(),
            class: String::new(),
            shape: 0,
            across: text("8"),
            size: text("120"),
            rows: text("2"),
            row_size: text("90"),
            torques: [String::new(), String::new(), String::new()],
            printed: String::new(),
            angle: String::new(),
            path: text("new-plan.toml"),
        }
    }
}

/// Whether the form stays open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Done {
    /// It stays.
    Open,
    /// It is left.
    Leave,
}

impl PlanForm {
    /// The plan as TOML.
    ///
    /// # Errors
    /// The first field that cannot be used: which, what was typed, what is allowed.
    pub(super) fn toml(&self) -> Result<String, String> {
        let quoted = |text: &str| toml::Value::String(text.trim().to_owned()).to_string();
        let needed = |name: &str, text: &str| {
            if text.trim().is_empty() {
                Err(format!("{name} is empty; it is needed"))
            } else {
                Ok(())
            }
        };
        needed("Title of the build", &self.title)?;
        needed("Name of the joint", &self.joint)?;
        if self.torques.iter().all(|torque| torque.trim().is_empty()) {
            return Err("no torque is given; at least the last pass needs one, as printed: 45 N·m, 33.2 lbf·ft".to_owned());
        }
        let mut out = String::new();
        let _ = writeln!(out, "[build]\ntitle    = {}", quoted(&self.title));
        if !self.unit.trim().is_empty() {
            let _ = writeln!(out, "unit     = {}", quoted(&self.unit));
        }
        if !self.document.trim().is_empty() {
            let _ = writeln!(out, "document = {}", quoted(&self.document));
        }
        let _ = writeln!(
            out,
            "\n[[joint]]\nid = {}\ntitle = {}",
            quoted(&identifier(&self.joint)),
            quoted(&self.joint)
        );
        for (key, text) in [("thread", &self.thread), ("class", &self.class)] {
            if !text.trim().is_empty() {
                let _ = writeln!(out, "{key} = {}", quoted(text));
            }
        }
        out.push_str("positions = { ");
        let places = self.places()?;
        let list: Vec<String> = places
            .iter()
            .enumerate()
            .map(|(index, [x, y])| format!("{} = [{x}, {y}]", index + 1))
            .collect();
        let _ = writeln!(out, "{} }}", list.join(", "));
        let _ = writeln!(
            out,
            "order = {}",
            if self.shape == 0 {
                "\"cross\""
            } else {
                "\"centre-out\""
            }
        );
        let passes: Vec<&String> = self
            .torques
            .iter()
            .filter(|torque| !torque.trim().is_empty())
            .collect();
        for (index, torque) in passes.iter().enumerate() {
            let _ = writeln!(
                out,
                "\n[[joint.stage]]\ndo = \"tighten\"\ntorque = {}",
                quoted(torque)
            );
            if index + 1 == passes.len() && !self.printed.trim().is_empty() {
                let _ = writeln!(out, "printed = {}", quoted(&self.printed));
            }
        }
        if !self.angle.trim().is_empty() {
            let angle = self.angle.trim();
            let angle = if angle.ends_with('°') {
                angle.to_owned()
            } else {
                format!("{angle}°")
            };
            let _ = writeln!(
                out,
                "\n[[joint.stage]]\ndo = \"turn\"\nangle = {}",
                quoted(&angle)
            );
        }
        Ok(out)
    }

    fn places(&self) -> Result<Vec<[f64; 2]>, String> {
        let whole = |name: &str, text: &str, least: usize, most: usize| {
            text.trim().parse::<usize>().ok().filter(|number| (least..=most).contains(number)).ok_or_else(|| format!("{name} is \u{201c}{}\u{201d}; allowed: a whole number from {least} to {most}", text.trim()))
        };
        let length = |name: &str, text: &str| {
            text.trim()
                .replace(',', ".")
                .parse::<f64>()
                .ok()
                .filter(|length| *length > 0.0 && *length < 1e5)
                .ok_or_else(|| {
                    format!(
                        "{name} is \u{201c}{}\u{201d}; allowed: millimetres above 0",
                        text.trim()
                    )
                })
        };
        let tenth = |value: f64| (value * 10.0).round() / 10.0 + 0.0;
        if self.shape == 0 {
            let number = whole("Number of fasteners", &self.across, 3, 64)?;
            let radius = length("Diameter of the circle", &self.size)? / 2.0;
            Ok((0..number)
                .map(|index| {
                    let turn =
                        std::f64::consts::TAU * f64::from(count(index)) / f64::from(count(number));
                    [tenth(radius * turn.sin()), tenth(radius * turn.cos())]
                })
                .collect())
        } else {
            let across = whole("Fasteners in a row", &self.across, 1, 64)?;
            let rows = whole("Rows", &self.rows, 1, 8)?;
            if across * rows > 64 {
                return Err(format!(
                    "{across} × {rows} are {} fasteners; allowed: at most 64 in a joint",
                    across * rows
                ));
            }
            let spacing = length("Spacing in the row", &self.size)?;
            let row_spacing = if rows > 1 {
                length("Spacing of the rows", &self.row_size)?
            } else {
                0.0
            };
            Ok((0..rows * across)
                .map(|index| {
                    [
                        tenth(spacing * f64::from(count(index % across))),
                        tenth(row_spacing * f64::from(count(index / across))),
                    ]
                })
                .collect())
        }
    }
}

/// A short name for the joint's id, from its title.
fn identifier(title: &str) -> String {
    let words: String = title
        .trim()
        .to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect();
    let words: Vec<&str> = words.split('-').filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        "joint".to_owned()
    } else {
        words.join("-")
    }
}

/// Draws the form.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    form: &mut PlanForm,
    free: bool,
    asks: &mut Vec<Ask>,
) -> Done {
    let colours = Colours::of(ui);
    let (body, foot) = cut_bottom(rect, TARGET);
    let (left, right) = cut_left(body, body.width() * 0.62);
    let inner = area(ui, left, "New plan", "values as printed in the document");
    let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt("form"));
    egui::ScrollArea::vertical()
        .auto_shrink(false)
        .show(&mut child, |ui| fields(ui, form));
    let inner = area(ui, right, "The plan it writes", "");
    let result = form.toml();
    match &result {
        Ok(text) => {
            let mut child = ui.new_child(egui::UiBuilder::new().max_rect(inner).id_salt("written"));
            egui::ScrollArea::vertical()
                .auto_shrink(false)
                .show(&mut child, |ui| {
                    ui.label(
                        egui::RichText::new(text)
                            .font(theme::text(BODY - 1.0))
                            .color(colours.ink),
                    );
                });
        }
        Err(words) => {
            paragraph(ui, inner, words, theme::text(BODY), colours.caution);
        }
    }
    let places = split_across(foot, 3);
    let mut done = Done::Open;
    if button(
        ui,
        places[0],
        "Save and open it",
        "",
        Look::Advised,
        free && result.is_ok(),
    )
    .clicked()
        && let Ok(text) = result
    {
        asks.push(Ask::SavePlan(PathBuf::from(form.path.trim()), text));
        done = Done::Leave;
    }
    if button(ui, places[1], "Leave the form", "Esc", Look::Plain, free).clicked()
        || (free && !ui.ctx().text_edit_focused() && pressed(ui, Key::Escape))
    {
        done = Done::Leave;
    }
    done
}

fn fields(ui: &mut Ui, form: &mut PlanForm) {
    let width = ui.available_width() - 4.0;
    let row = |parts: usize, ui: &mut Ui| {
        let (_, place) = ui.allocate_space(vec2(width, 70.0));
        split_across(place, parts)
    };
    let places = row(2, ui);
    field(
        ui,
        places[0],
        "Title of the build",
        &mut form.title,
        "Harbour pump 7",
    );
    field(
        ui,
        places[1],
        "Unit and serial",
        &mut form.unit,
        "pump 7, serial 4411",
    );
    let places = row(1, ui);
    field(
        ui,
        places[0],
        "Document, page, revision",
        &mut form.document,
        "Overhaul instructions, section 6, revision C",
    );
    let places = row(3, ui);
    field(
        ui,
        places[0],
        "Name of the joint",
        &mut form.joint,
        "Discharge cover",
    );
    field(
        ui,
        places[1],
        "Thread, if known",
        &mut form.thread,
        "M10x1.5",
    );
    field(
        ui,
        places[2],
        "Property class, if known",
        &mut form.class,
        "8.8",
    );
    let (_, place) = ui.allocate_space(vec2(width, TARGET));
    if let Some(index) = choices(ui, place, &["On a circle", "In rows"], form.shape) {
        form.shape = index;
    }
    if form.shape == 0 {
        let places = row(2, ui);
        field(ui, places[0], "Number of fasteners", &mut form.across, "8");
        field(
            ui,
            places[1],
            "Diameter of the circle, mm",
            &mut form.size,
            "120",
        );
    } else {
        let places = row(4, ui);
        field(ui, places[0], "Fasteners in a row", &mut form.across, "5");
        field(
            ui,
            places[1],
            "Spacing in the row, mm",
            &mut form.size,
            "90",
        );
        field(ui, places[2], "Rows", &mut form.rows, "2");
        field(
            ui,
            places[3],
            "Spacing of the rows, mm",
            &mut form.row_size,
            "110",
        );
    }
    let places = row(3, ui);
    for (index, (place, caption)) in places
        .into_iter()
        .zip([
            "First pass, torque",
            "Second pass, torque",
            "Last pass, torque",
        ])
        .enumerate()
    {
        field(
            ui,
            place,
            caption,
            &mut form.torques[index],
            "as printed, with its unit",
        );
    }
    let places = row(2, ui);
    field(
        ui,
        places[0],
        "Last torque in the other unit",
        &mut form.printed,
        "compared with the first",
    );
    field(
        ui,
        places[1],
        "Turn after it, degrees",
        &mut form.angle,
        "none",
    );
    let places = row(1, ui);
    field(ui, places[0], "Save as", &mut form.path, "new-plan.toml");
    ui.add_space(GAP);
}

#[cfg(test)]
mod tests {
    use super::PlanForm;

    fn filled() -> PlanForm {
        PlanForm {
            title: "Harbour \"pump\" 7".to_owned(),
            joint: "Discharge cover".to_owned(),
            torques: ["10 N·m".to_owned(), String::new(), "33.2 lbf·ft".to_owned()],
            printed: "45 N·m".to_owned(),
            angle: "90".to_owned(),
            ..PlanForm::default()
        }
    }

    #[test]
    fn the_form_writes_toml_that_reads_back_as_typed() {
        let text = filled().toml().unwrap();
        let table: toml::Table = text.parse().unwrap();
        assert_eq!(table["build"]["title"].as_str(), Some("Harbour \"pump\" 7"));
        let joint = &table["joint"][0];
        assert_eq!(joint["id"].as_str(), Some("discharge-cover"));
        assert_eq!(joint["positions"].as_table().unwrap().len(), 8);
        assert_eq!(joint["stage"][1]["torque"].as_str(), Some("33.2 lbf·ft"));
        assert_eq!(joint["stage"][1]["printed"].as_str(), Some("45 N·m"));
        assert_eq!(joint["stage"][2]["angle"].as_str(), Some("90°"));
    }

    #[test]
    fn a_field_that_cannot_be_used_is_named_with_what_is_allowed() {
        let words = PlanForm {
            across: "sixty".to_owned(),
            ..filled()
        }
        .toml()
        .unwrap_err();
        assert!(
            words.contains("sixty") && words.contains("from 3 to 64"),
            "{words}"
        );
        let words = PlanForm {
            shape: 1,
            across: "20".to_owned(),
            rows: "8".to_owned(),
            ..filled()
        }
        .toml()
        .unwrap_err();
        assert!(words.contains("160 fasteners"), "{words}");
        assert!(
            PlanForm {
                title: " ".to_owned(),
                ..filled()
            }
            .toml()
            .is_err()
        );
    }
}
