//! The positions of a joint as a drawing: put, moved, laid out, numbered and ordered by clicking along them.
//!
//! Each act is one change of the text; places that are not concerned keep their spelling. Knows nothing of screens.

use super::item::{key, quoted};
use super::layout::{Node, Path};
use super::{Document, EditError};
use crate::plan::Position;
use crate::plan::place::on_circle;
use crate::quantity::{AngleUnit, LengthUnit, Quantity};

/// How fasteners are laid out at once.
#[derive(Clone, Debug, PartialEq)]
pub enum LayOut {
    /// On a circle: how many, and its diameter as typed.
    Circle(u32, String),
    /// In rows, labelled row by row from the lowest: rows, how many in each, mm across, mm upwards.
    Rows(u32, u32, f64, f64),
    /// Left and right changed, as for the other bank.
    Mirror,
    /// These in one line, across or upwards, as they nearly are.
    Align(Vec<String>),
}

impl LayOut {
    /// Reads `circle 8, 180 mm`, `2 x 5, 85 x 130`, `mirror` and `align 1, 2, 3`.
    ///
    /// # Errors
    /// What can be written, in words.
    pub fn read(typed: &str) -> Result<Self, &'static str> {
        const WORDS: &str = "write `circle 8, 180 mm`, or rows as `2 x 5, 85 x 130` in mm, or `mirror`, or `align 1, 2, 3`";
        let typed = typed.trim();
        if typed == "mirror" {
            return Ok(Self::Mirror);
        }
        if let Some(labels) = typed.strip_prefix("align") {
            let labels: Vec<String> = labels
                .split(',')
                .map(|label| label.trim().to_owned())
                .collect();
            let is_read = labels.len() > 1 && labels.iter().all(|label| !label.is_empty());
            return is_read.then_some(Self::Align(labels)).ok_or(WORDS);
        }
        let (first, second) = typed.split_once(',').ok_or(WORDS)?;
        let number = |text: &str| {
            let number: u32 = text.trim().parse().ok()?;
            (1..=64).contains(&number).then_some(number)
        };
        if let Some(many) = first.trim().strip_prefix("circle") {
            let diameter = second.trim();
            length(diameter).filter(|mm| *mm > 0.0).ok_or(WORDS)?;
            return Ok(Self::Circle(
                number(many).ok_or(WORDS)?,
                diameter.to_owned(),
            ));
        }
        let (rows, each) = first.split_once('x').ok_or(WORDS)?;
        let (across, up) = second.split_once('x').ok_or(WORDS)?;
        let (rows, each) = number(rows).zip(number(each)).ok_or(WORDS)?;
        let step = |text: &str| {
            let mm: f64 = text.trim().trim_end_matches("mm").trim().parse().ok()?;
            (mm > 0.0 && mm <= 10_000.0).then_some(mm)
        };
        let (across, up) = step(across).zip(step(up)).ok_or(WORDS)?;
        if rows.saturating_mul(each) > 64 {
            return Err("a joint has at most 64 fasteners");
        }
        Ok(Self::Rows(rows, each, across, up))
    }
}

/// A length with its unit, in mm.
pub(super) fn length(typed: &str) -> Option<f64> {
    let quantity = Quantity::<LengthUnit>::parse(typed).ok()?;
    Some(f64::from(quantity.length().micrometers()) / 1_000.0)
}

/// Millimetres as TOML, to a micrometre.
fn written(mm: f64) -> String {
    let rounded = (mm * 1_000.0).round() / 1_000.0 + 0.0;
    format!("{rounded}")
}

pub(super) fn pair(x_mm: f64, y_mm: f64) -> String {
    format!("[{}, {}]", written(x_mm), written(y_mm))
}

impl Document {
    /// Where the fasteners of a joint sit, in the order they are written; what cannot be read is left out.
    #[must_use]
    pub fn drawn(&self, joint: &Path) -> Vec<Position> {
        let Some(layout) = self.layout() else {
            return Vec::new();
        };
        match layout.get(&joint.key("positions")) {
            Some(Node::Table(table)) => table
                .entries
                .iter()
                .filter_map(|entry| {
                    let Node::List { items, .. } = &entry.node else {
                        return None;
                    };
                    let [x, y] = items.as_slice() else {
                        return None;
                    };
                    Some(Position {
                        label: entry.key.clone(),
                        x_mm: self.coordinate(x)?,
                        y_mm: self.coordinate(y)?,
                    })
                })
                .collect(),
            Some(_) => Vec::new(),
            None => self.circle(joint).unwrap_or_default(),
        }
    }

    pub(super) fn coordinate(&self, node: &Node) -> Option<f64> {
        let raw = self.text().get(node.place())?;
        match super::value::decoded(raw) {
            Some(words) => length(&words),
            None => raw.replace('_', "").parse().ok(),
        }
        .filter(|mm: &f64| mm.is_finite() && mm.abs() <= 100_000.0)
    }

    fn circle(&self, joint: &Path) -> Option<Vec<Position>> {
        let circle = joint.key("circle");
        let number: u32 = self.raw(&circle.key("number"))?.parse().ok()?;
        let diameter = length(&self.words(&circle, "diameter")?)?;
        let first = match self.words(&circle, "first_at") {
            Some(words) => {
                let quantity = Quantity::<AngleUnit>::parse(&words).ok()?;
                f64::from(quantity.angle().millidegrees()) / 1_000.0
            }
            None => 0.0,
        };
        (1..=64)
            .contains(&number)
            .then(|| on_circle(number, diameter, first))
    }

    /// Several changes as one that is taken back at once; none of them where one cannot be made.
    pub(super) fn at_once<T>(
        &mut self,
        change: impl FnOnce(&mut Self) -> Result<T, EditError>,
    ) -> Result<T, EditError> {
        let mut other = Self::new(self.text());
        let done = change(&mut other)?;
        self.set_text(other.text());
        self.pause();
        Ok(done)
    }

    /// A circle written as positions, so that each can be moved.
    fn unrolled(&mut self, joint: &Path) -> Result<(), EditError> {
        let is_circle =
            self.raw(&joint.key("positions")).is_none() && self.raw(&joint.key("circle")).is_some();
        if !is_circle {
            return Ok(());
        }
        let places = self.drawn(joint);
        if places.is_empty() {
            return Err(EditError::Missing);
        }
        self.remove(&joint.key("circle"))?;
        self.put(joint, &places)
    }

    /// Every position anew.
    fn put(&mut self, joint: &Path, places: &[Position]) -> Result<(), EditError> {
        let parts: Vec<String> = places
            .iter()
            .map(|own| format!("{} = {}", key(&own.label), pair(own.x_mm, own.y_mm)))
            .collect();
        let toml = format!("{{ {} }}", parts.join(", "));
        self.set(joint, "positions", &toml, &order_of(joint))
    }

    /// A new fastener there, under the next free number, which is returned.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn put_fastener(
        &mut self,
        joint: &Path,
        x_mm: f64,
        y_mm: f64,
    ) -> Result<String, EditError> {
        self.at_once(|own| {
            own.unrolled(joint)?;
            let places = own.drawn(joint);
            let taken = |label: &String| places.iter().any(|place| place.label == *label);
            let mut free = (1..=u32::MAX).map(|number| number.to_string());
            let label = free.find(|label| !taken(label)).ok_or(EditError::Missing)?;
            let toml = pair(x_mm, y_mm);
            if own.raw(&joint.key("positions")).is_some() {
                own.set(&joint.key("positions"), &label, &toml, &[])?;
            } else {
                let toml = format!("{{ {} = {toml} }}", key(&label));
                own.set(joint, "positions", &toml, &order_of(joint))?;
            }
            Ok(label)
        })
    }

    /// A fastener moved there; the others keep their spelling.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn move_fastener(
        &mut self,
        joint: &Path,
        label: &str,
        x_mm: f64,
        y_mm: f64,
    ) -> Result<(), EditError> {
        self.at_once(|own| {
            own.unrolled(joint)?;
            if own.raw(&joint.key("positions").key(label)).is_none() {
                return Err(EditError::Missing);
            }
            own.set(&joint.key("positions"), label, &pair(x_mm, y_mm), &[])
        })
    }

    /// A fastener taken away.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn take_fastener(&mut self, joint: &Path, label: &str) -> Result<(), EditError> {
        self.at_once(|own| {
            own.unrolled(joint)?;
            let positions = joint.key("positions");
            match own.drawn(joint).len() {
                1 => own.remove(&positions),
                _ => own.remove(&positions.key(label)),
            }
        })
    }

    /// All of them laid out anew, or mirrored.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn lay_fasteners(&mut self, joint: &Path, how: &LayOut) -> Result<(), EditError> {
        self.at_once(|own| match how {
            LayOut::Circle(number, diameter) => {
                if own.raw(&joint.key("positions")).is_some() {
                    own.remove(&joint.key("positions"))?;
                }
                let toml = format!("{{ number = {number}, diameter = {} }}", quoted(diameter));
                own.set(joint, "circle", &toml, &order_of(joint))
            }
            LayOut::Rows(rows, each, across, up) => {
                if own.raw(&joint.key("circle")).is_some() {
                    own.remove(&joint.key("circle"))?;
                }
                let places: Vec<Position> = (0..*rows)
                    .flat_map(|row| (0..*each).map(move |column| (row, column)))
                    .zip(1_u32..)
                    .map(|((row, column), number)| Position {
                        label: number.to_string(),
                        x_mm: f64::from(column) * across,
                        y_mm: f64::from(row) * up,
                    })
                    .collect();
                own.put(joint, &places)
            }
            LayOut::Mirror => {
                own.unrolled(joint)?;
                let mut places = own.drawn(joint);
                if places.is_empty() {
                    return Err(EditError::Missing);
                }
                for place in &mut places {
                    place.x_mm = -place.x_mm;
                }
                own.put(joint, &places)?;
                // The drawing is the other way round as a whole: so is its front. No picture is.
                if own.picture(joint).is_some() {
                    own.remove(&joint.key("picture"))?;
                }
                match own.words(joint, "front").as_deref() {
                    Some("left") => own.set(joint, "front", &quoted("right"), &[]),
                    Some("right") => own.set(joint, "front", &quoted("left"), &[]),
                    _ => Ok(()),
                }
            }
            LayOut::Align(labels) => {
                own.unrolled(joint)?;
                own.align(joint, labels)
            }
        })
    }

    /// In one line with the first, across or upwards: whichever they nearly are.
    fn align(&mut self, joint: &Path, labels: &[String]) -> Result<(), EditError> {
        let drawn = self.drawn(joint);
        let found: Option<Vec<&Position>> = labels
            .iter()
            .map(|label| drawn.iter().find(|own| own.label == *label))
            .collect();
        let found = found.ok_or(EditError::Missing)?;
        let first = *found.first().ok_or(EditError::Missing)?;
        let most = |of: fn(&Position) -> f64| {
            let apart = found.iter().map(|own| (of(own) - of(first)).abs());
            apart.fold(0.0, f64::max)
        };
        let is_row = most(|own| own.y_mm) <= most(|own| own.x_mm);
        for own in &found {
            let (x, y) = if is_row {
                (own.x_mm, first.y_mm)
            } else {
                (first.x_mm, own.y_mm)
            };
            // What is in line keeps its spelling.
            if (x, y) != (own.x_mm, own.y_mm) {
                self.set(&joint.key("positions"), &own.label, &pair(x, y), &[])?;
            }
        }
        Ok(())
    }

    /// Another label for a fastener; the others keep their spelling. Refused while the plan names it elsewhere.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn label_fastener(&mut self, joint: &Path, old: &str, new: &str) -> Result<(), EditError> {
        if old == new {
            return Ok(());
        }
        let is_taken = self.drawn(joint).iter().any(|own| own.label == new);
        if is_taken || new.is_empty() || new.len() > evendraw_core::limits::LABEL_MAX {
            return Err(EditError::Label);
        }
        if self.names_fasteners(joint) {
            return Err(EditError::Named);
        }
        self.at_once(|own| {
            own.unrolled(joint)?;
            own.rename(&joint.key("positions").key(old), new)
        })
    }

    /// Numbers the fasteners anew: the first of these labels becomes 1, and so on. Refused while the plan names them elsewhere,
    /// as those names would then mean others.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn number_fasteners(&mut self, joint: &Path, labels: &[String]) -> Result<(), EditError> {
        if self.names_fasteners(joint) {
            return Err(EditError::Named);
        }
        self.at_once(|own| {
            own.unrolled(joint)?;
            let old = own.drawn(joint);
            let found: Option<Vec<Position>> = labels
                .iter()
                .zip(1_u32..)
                .map(|(label, number)| {
                    let place = old.iter().find(|place| place.label == *label)?;
                    Some(Position {
                        label: number.to_string(),
                        ..place.clone()
                    })
                })
                .collect();
            let found = found.filter(|found| found.len() == old.len());
            own.put(joint, &found.ok_or(EditError::Missing)?)
        })
    }

    /// The joint's own order: these labels.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn order_fasteners(&mut self, joint: &Path, labels: &[String]) -> Result<(), EditError> {
        let list: Vec<String> = labels.iter().map(|label| quoted(label)).collect();
        let toml = format!("[{}]", list.join(", "));
        self.at_once(|own| own.set(joint, "order", &toml, &order_of(joint)))
    }

    /// Whether fasteners of this joint are named anywhere but where they sit.
    fn names_fasteners(&self, joint: &Path) -> bool {
        let Some(layout) = self.layout() else {
            return true;
        };
        let lists =
            |path: &Path| matches!(layout.get(path), Some(Node::List { .. } | Node::Table(_)));
        let own = ["order", "together", "groups", "second_look", "shares"];
        let of_steps = ["order", "together", "on", "each"];
        let stages = self.steps(joint).into_iter().flat_map(|step| {
            let below = step.key("stage");
            let count = self.len_of(&below);
            std::iter::once(step).chain((0..count).map(move |index| below.at(index)))
        });
        let id = self.words(joint, "id").unwrap_or_default();
        let list = Path::default().key("joint");
        let others = (0..self.len_of(&list)).any(|index| {
            let shares = self.raw_value(&list.at(index).key("shares"));
            shares.is_some_and(|shares| shares.contains(&format!("{id}/")))
        });
        others
            || own.iter().any(|name| lists(&joint.key(name)))
            || stages.into_iter().any(|stage| {
                let named = self.raw(&stage.key("on")).is_some();
                named || of_steps.iter().any(|name| lists(&stage.key(name)))
            })
    }
}

pub(super) fn order_of(joint: &Path) -> Vec<&'static str> {
    super::fields::kind_of(joint)
        .map(super::fields::Kind::order)
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::{Document, EditError, LayOut};
    use crate::plan::edit::layout::Path;

    const PLAN: &str = "# mine\n[[joint]]\nid = \"lid\" # kept\npositions = { A = [0, 0], B = [\"3 in\", 0] } # as drawn\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n";

    fn lid() -> Path {
        "joint/0".parse().unwrap()
    }

    fn labels(list: &[&str]) -> Vec<String> {
        list.iter().map(|&label| label.to_owned()).collect()
    }

    #[test]
    fn a_fastener_is_put_moved_and_taken_away_and_the_rest_keeps_its_spelling() {
        let mut document = Document::new(PLAN);
        assert_eq!(document.put_fastener(&lid(), 76.2, 40.0).unwrap(), "1");
        document.move_fastener(&lid(), "A", -5.0, 2.5).unwrap();
        let wanted = PLAN.replace(
            "{ A = [0, 0], B = [\"3 in\", 0] }",
            "{ A = [-5, 2.5], B = [\"3 in\", 0], 1 = [76.2, 40] }",
        );
        assert_eq!(document.text(), wanted);
        document.take_fastener(&lid(), "1").unwrap();
        assert!(document.undo() && document.undo() && document.undo());
        assert_eq!(document.text(), PLAN);
        assert!(!document.can_undo());
    }

    #[test]
    fn a_circle_becomes_positions_where_one_is_moved_in_one_change() {
        let mut document = Document::new(PLAN);
        let circle = LayOut::read("circle 4, 4 in").unwrap();
        document.lay_fasteners(&lid(), &circle).unwrap();
        assert!(
            document
                .text()
                .contains("circle = { number = 4, diameter = \"4 in\" }")
        );
        assert!(!document.text().contains("positions"));
        let laid = document.text().to_owned();
        document.move_fastener(&lid(), "2", 60.0, 0.0).unwrap();
        assert!(
            document.text().contains(
                "positions = { 1 = [0, 50.8], 2 = [60, 0], 3 = [0, -50.8], 4 = [-50.8, 0] }"
            ),
            "{}",
            document.text()
        );
        document.undo();
        assert_eq!(document.text(), laid);
    }

    #[test]
    fn rows_are_laid_numbered_along_a_click_path_ordered_and_mirrored() {
        let mut document = Document::new(PLAN);
        let rows = LayOut::read("2 x 2, 85 x 130 mm").unwrap();
        document.lay_fasteners(&lid(), &rows).unwrap();
        let round = labels(&["1", "2", "4", "3"]);
        document.number_fasteners(&lid(), &round).unwrap();
        assert!(
            document
                .text()
                .contains("{ 1 = [0, 0], 2 = [85, 0], 3 = [85, 130], 4 = [0, 130] }"),
            "{}",
            document.text()
        );
        document.lay_fasteners(&lid(), &LayOut::Mirror).unwrap();
        assert!(document.text().contains("3 = [-85, 130]"));
        document
            .order_fasteners(&lid(), &labels(&["3", "1", "2", "4"]))
            .unwrap();
        let checked = document.check("lid.toml");
        let plan = checked.plan.unwrap();
        assert_eq!(plan.joints()[0].first_plan().base, [2, 0, 1, 3]);
        // The order names them now: to number them anew would make it mean others.
        let before = document.text().to_owned();
        assert_eq!(
            document.number_fasteners(&lid(), &round),
            Err(EditError::Named)
        );
        assert_eq!(document.text(), before);
    }

    #[test]
    fn fasteners_are_put_in_line_labelled_and_mirrored_with_their_front() {
        let mut document = Document::new(PLAN);
        document.put_fastener(&lid(), 40.0, 1.5).unwrap();
        let align = LayOut::read("align A, B, 1").unwrap();
        document.lay_fasteners(&lid(), &align).unwrap();
        let wanted = PLAN.replace("B = [\"3 in\", 0]", "B = [\"3 in\", 0], 1 = [40, 0]");
        assert_eq!(document.text(), wanted);
        document.label_fastener(&lid(), "1", "2b").unwrap();
        assert_eq!(document.text(), wanted.replace(", 1 = ", ", 2b = "));
        for wrong in ["A", "", "a label of more"] {
            let refused = document.label_fastener(&lid(), "2b", wrong);
            assert_eq!(refused, Err(EditError::Label), "{wrong}");
        }
        document.front_at(&lid(), "left").unwrap();
        document.lay_picture(&lid(), "lid.png").unwrap();
        document.lay_fasteners(&lid(), &LayOut::Mirror).unwrap();
        assert!(
            document.text().contains("2b = [-40, 0]"),
            "{}",
            document.text()
        );
        assert_eq!(document.words(&lid(), "front").as_deref(), Some("right"));
        // A picture of the one bank is none of the other.
        assert!(document.picture(&lid()).is_none());
        let missing = LayOut::Align(labels(&["A", "9"]));
        assert_eq!(
            document.lay_fasteners(&lid(), &missing),
            Err(EditError::Missing)
        );
        document
            .order_fasteners(&lid(), &labels(&["B", "A", "2b"]))
            .unwrap();
        assert_eq!(
            document.label_fastener(&lid(), "A", "C"),
            Err(EditError::Named)
        );
        while document.undo() {}
        assert_eq!(document.text(), PLAN);
    }

    #[test]
    fn what_cannot_be_laid_out_says_what_can() {
        for typed in [
            "",
            "circle",
            "circle 0, 90 mm",
            "circle 4, 90",
            "2 x",
            "9 x 9, 1 x 1",
            "2 x 2, 0 x 5",
            "align",
            "align 3",
            "align 3,",
        ] {
            assert!(LayOut::read(typed).is_err(), "{typed}");
        }
    }
}
