//! The picture under a joint, in the plan's text: laid, scaled by two points, printed or not.
//!
//! Knows nothing of what is in the picture's file.

use super::drawing::{length, order_of, pair};
use super::item::quoted;
use super::layout::{Node, Path};
use super::{Document, EditError};
use crate::picture::Laid;
use crate::plan::Position;

/// What a plan says of a picture, as far as it can be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Under {
    /// Its file.
    pub file: String,
    /// Where it lies, once two points say so.
    pub laid: Option<Laid>,
    /// It is printed on the sheet.
    pub sheet: bool,
}

/// Where two pixels of a picture are, by what is typed of what lies between them: a distance, two fasteners, or two places.
///
/// # Errors
/// What can be typed, in words.
pub fn between(
    typed: &str,
    pixels: [(f64, f64); 2],
    drawn: &[Position],
) -> Result<[(f64, f64); 2], String> {
    const WORDS: &str = "type what lies between the two points: their distance, `180 mm`; two fasteners, `3, 7`; or where both are in mm, `0, 0; 180, 0`";
    let typed = typed.trim();
    let number = |text: &str| -> Option<f64> {
        let text = text.trim();
        let mm = length(text).or_else(|| text.parse().ok())?;
        (mm.is_finite() && mm.abs() <= 100_000.0).then_some(mm)
    };
    if let Some((first, second)) = typed.split_once(';') {
        let place = |text: &str| {
            let (x, y) = text.split_once(',')?;
            Some((number(x)?, number(y)?))
        };
        let both = place(first).zip(place(second)).ok_or(WORDS)?;
        return Ok([both.0, both.1]);
    }
    if let Some((first, second)) = typed.split_once(',') {
        let place = |label: &str| {
            let own = drawn.iter().find(|own| own.label == label.trim());
            own.map(|own| (own.x_mm, own.y_mm))
                .ok_or_else(|| format!("there is no fastener {} here; {WORDS}", label.trim()))
        };
        return Ok([place(first)?, place(second)?]);
    }
    let apart = number(typed).filter(|mm| *mm > 0.0).ok_or(WORDS)?;
    let [first, second] = pixels;
    let (right, up) = (second.0 - first.0, first.1 - second.1);
    let far = right.hypot(up);
    if far < 1.0 {
        return Err("the two points are one: click two that lie apart".to_owned());
    }
    // Upright as the picture is, its two points on both sides of the middle of the fasteners.
    let (x, y) = middle(drawn);
    let half = (right / far * apart / 2.0, up / far * apart / 2.0);
    Ok([(x - half.0, y - half.1), (x + half.0, y + half.1)])
}

fn middle(drawn: &[Position]) -> (f64, f64) {
    let ends = |of: fn(&Position) -> f64| {
        let low = drawn.iter().map(of).min_by(f64::total_cmp).unwrap_or(0.0);
        let high = drawn.iter().map(of).max_by(f64::total_cmp).unwrap_or(0.0);
        (low + high) / 2.0
    };
    (ends(|own| own.x_mm), ends(|own| own.y_mm))
}

impl Document {
    /// The picture that a joint names.
    #[must_use]
    pub fn picture(&self, joint: &Path) -> Option<Under> {
        let own = joint.key("picture");
        let file = self.words(&own, "file")?;
        let points = |key: &str, of: fn(&Self, &Node) -> Option<f64>| {
            let Node::List { items, .. } = self.layout()?.get(&own.key(key))? else {
                return None;
            };
            let point = |node: &Node| {
                let Node::List { items, .. } = node else {
                    return None;
                };
                let [x, y] = items.as_slice() else {
                    return None;
                };
                Some((of(self, x)?, of(self, y)?))
            };
            let [first, second] = items.as_slice() else {
                return None;
            };
            Some([point(first)?, point(second)?])
        };
        let both = points("pixels", Self::coordinate).zip(points("places", Self::coordinate));
        Some(Under {
            file,
            laid: both.and_then(|(pixels, places)| Laid::through(pixels, places)),
            sheet: self.raw(&own.key("sheet")) == Some("true"),
        })
    }

    /// Lays a picture under a joint, in the place of another; where it lies is said anew.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn lay_picture(&mut self, joint: &Path, file: &str) -> Result<(), EditError> {
        self.at_once(|own| {
            let old = joint.key("picture");
            let sheet = own.raw(&old.key("sheet")).map(str::to_owned);
            let is_same = own.words(&old, "file").as_deref() == Some(file);
            if is_same {
                return Ok(());
            }
            if own.raw(&old).is_some() || own.layout().is_some_and(|all| all.get(&old).is_some()) {
                own.remove(&old)?;
            }
            let sheet = sheet.map_or_else(String::new, |sheet| format!(", sheet = {sheet}"));
            let toml = format!("{{ file = {}{sheet} }}", quoted(file));
            own.set(joint, "picture", &toml, &order_of(joint))
        })
    }

    /// Says where two of its pixels are.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn scale_picture(
        &mut self,
        joint: &Path,
        pixels: [(f64, f64); 2],
        places: &[(f64, f64); 2],
    ) -> Result<(), EditError> {
        let own = joint.key("picture");
        if self.words(&own, "file").is_none() {
            return Err(EditError::Missing);
        }
        // A tenth of a pixel is finer than anybody clicks.
        let [a, b] =
            pixels.map(|(x, y)| pair((x * 10.0).round() / 10.0, (y * 10.0).round() / 10.0));
        let [c, d] = places.map(|(x, y)| pair(x, y));
        self.at_once(|document| {
            let order = order_of(&own);
            document.set(&own, "pixels", &format!("[{a}, {b}]"), &order)?;
            document.set(&own, "places", &format!("[{c}, {d}]"), &order)
        })
    }

    /// Prints it on the sheet, or not.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn print_picture(&mut self, joint: &Path, sheet: bool) -> Result<(), EditError> {
        let own = joint.key("picture");
        if self.words(&own, "file").is_none() {
            return Err(EditError::Missing);
        }
        if sheet {
            return self.set(&own, "sheet", "true", &order_of(&own));
        }
        match self.raw(&own.key("sheet")) {
            Some(_) => self.remove(&own.key("sheet")),
            None => Ok(()),
        }
    }

    /// Writes FRONT at this edge, or nowhere.
    ///
    /// # Errors
    /// [`EditError`]; then nothing is changed.
    pub fn front_at(&mut self, joint: &Path, edge: &str) -> Result<(), EditError> {
        if !edge.is_empty() {
            return self.at_once(|own| own.set(joint, "front", &quoted(edge), &order_of(joint)));
        }
        match self.raw(&joint.key("front")) {
            Some(_) => self.remove(&joint.key("front")),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Document, Position, between};
    use crate::plan::Plan;
    use crate::plan::edit::layout::Path;

    const PLAN: &str = "[[joint]]\nid = \"lid\" # kept\nfront = \"left\"\npositions = { A = [0, 0], B = [180, 0] } # as drawn\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n";

    fn lid() -> Path {
        "joint/0".parse().unwrap()
    }

    const CLICKED: [(f64, f64); 2] = [(60.04, 240.0), (420.0, 240.0)];

    #[test]
    fn a_picture_is_laid_scaled_printed_and_read_by_the_plan() {
        let mut document = Document::new(PLAN);
        document.lay_picture(&lid(), "lid.png").unwrap();
        assert!(document.picture(&lid()).unwrap().laid.is_none());
        let places = between("A, B", CLICKED, &document.drawn(&lid())).unwrap();
        document.scale_picture(&lid(), CLICKED, &places).unwrap();
        document.print_picture(&lid(), true).unwrap();
        let line = "picture = { file = \"lid.png\", pixels = [[60, 240], [420, 240]], places = [[0, 0], [180, 0]], sheet = true }";
        assert!(document.text().contains(line), "{}", document.text());
        let plan = Plan::parse("lid.toml", document.text()).unwrap();
        assert!(plan.warnings().is_empty());
        let read = plan.joints()[0].picture().unwrap();
        let own = document.picture(&lid()).unwrap();
        assert_eq!((read.laid, read.sheet), (own.laid, own.sheet));
        assert!((own.laid.unwrap().scale() - 0.5).abs() < 1e-9);
        // Another picture lies elsewhere; whether it is printed stays.
        document.lay_picture(&lid(), "other.jpg").unwrap();
        assert!(
            document
                .text()
                .contains("picture = { file = \"other.jpg\", sheet = true }")
        );
        document.print_picture(&lid(), false).unwrap();
        document.remove(&lid().key("picture")).unwrap();
        assert_eq!(document.text(), PLAN);
        while document.undo() {}
        assert_eq!(document.text(), PLAN);
    }

    #[test]
    fn what_lies_between_two_points_is_typed_in_three_ways() {
        let drawn = Document::new(PLAN).drawn(&lid());
        let of = |typed: &str, drawn: &[Position]| between(typed, CLICKED, drawn);
        let near = |own: [(f64, f64); 2], wanted: [(f64, f64); 2]| {
            own.iter()
                .zip(wanted)
                .all(|(a, b)| (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6)
        };
        // A distance: on both sides of the middle of what is drawn, else of nothing.
        assert!(near(
            of("180 mm", &drawn).unwrap(),
            [(0.0, 0.0), (180.0, 0.0)]
        ));
        assert!(near(of("180", &[]).unwrap(), [(-90.0, 0.0), (90.0, 0.0)]));
        assert!(near(of("2 in", &[]).unwrap(), [(-25.4, 0.0), (25.4, 0.0)]));
        assert!(near(
            of("B, A", &drawn).unwrap(),
            [(180.0, 0.0), (0.0, 0.0)]
        ));
        assert!(near(
            of("1, 2; 3 in, -4", &[]).unwrap(),
            [(1.0, 2.0), (76.2, -4.0)]
        ));
        for wrong in [
            "", "far", "0 mm", "-3", "A, C", "1; 2", "1, 2; 3", "180 N·m",
        ] {
            assert!(of(wrong, &drawn).is_err(), "{wrong}");
        }
        assert!(between("9", [(1.0, 1.0); 2], &[]).is_err());
    }

    #[test]
    fn front_goes_to_another_edge_or_away() {
        let mut document = Document::new(PLAN);
        document.front_at(&lid(), "top").unwrap();
        assert_eq!(document.text(), PLAN.replace("\"left\"", "\"top\""));
        document.front_at(&lid(), "").unwrap();
        assert!(!document.text().contains("front"));
        document.front_at(&lid(), "").unwrap();
        document.front_at(&lid(), "left").unwrap();
        assert!(document.text().contains("front = \"left\"\n"));
    }
}
