//! The pictures under the sheet's maps: read from beside the plan, carried in the page itself.
//!
//! A picture helps to find a fastener and proves nothing: the journal does not keep it. Knows nothing of maps.

use std::path::Path;

use crate::picture::{Laid, Picture, PictureError};
use crate::plan::Plan;
use crate::words::visible;

/// What lies under the map of a joint.
#[derive(Clone, Debug)]
pub struct Printed {
    /// The joint's id.
    pub joint: String,
    /// The picture; in words why it cannot be shown.
    pub shown: Result<Shown, String>,
}

/// A picture as the page carries it.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The address that holds the picture itself.
    pub data: String,
    /// Pixels of the file in a row: what a plan's points are told in.
    pub width: u32,
    /// Rows of them.
    pub height: u32,
    /// Where it lies.
    pub laid: Laid,
}

/// Those that the plan wants printed.
pub(super) fn printed(plan: &Plan, folder: &Path) -> Vec<Printed> {
    let wanted = plan.joints().iter().filter_map(|joint| {
        let own = joint.picture()?;
        let laid = own.laid.filter(|_| own.sheet)?;
        let shown = shown(&folder.join(&own.file), laid).map_err(|error| {
            visible(&format!("The picture {} is not shown: {error}.", own.file)).into_owned()
        });
        Some(Printed {
            joint: joint.id().to_owned(),
            shown,
        })
    });
    wanted.collect()
}

fn shown(path: &Path, laid: Laid) -> Result<Shown, PictureError> {
    let picture = Picture::read(path)?;
    let (width, height) = picture.full();
    Ok(Shown {
        data: format!("data:image/jpeg;base64,{}", base64(&picture.photograph()?)),
        width,
        height,
        laid,
    })
}

/// Bytes as letters. [RFC 4648, section 4]
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let [a, b, c] = [0, 1, 2].map(|at| u32::from(three.get(at).copied().unwrap_or(0)));
        let all = a << 16 | b << 8 | c;
        for (at, shift) in [18, 12, 6, 0].into_iter().enumerate() {
            let letter = LETTERS.get(usize::try_from(all >> shift & 63).unwrap_or(0));
            text.push(match letter.filter(|_| at <= three.len()) {
                Some(letter) => char::from(*letter),
                None => '=',
            });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::base64;
    use crate::job::status::Kept;
    use crate::plan::Plan;
    use crate::sheet::{Sheet, blank_page};

    /// What stands between two texts.
    fn between<'a>(text: &'a str, from: &str, to: &str) -> &'a str {
        let (_, rest) = text.split_once(from).unwrap();
        rest.split_once(to).unwrap().0
    }

    fn numbers(text: &str) -> Vec<f64> {
        text.split(' ')
            .map(|number| number.parse().unwrap())
            .collect()
    }

    #[test]
    fn a_picture_lies_under_the_map_with_its_points_on_the_fasteners() {
        // Turned by a quarter: the hole that is at the top of the picture is the one at the right of the part.
        let text = "[[joint]]\nid = \"lid\"\ncircle = { number = 8, diameter = \"180 mm\" }\npicture = { file = \"flange.png\", pixels = [[240, 60], [240, 420]], places = [[90, 0], [-90, 0]], sheet = true }\n\n[[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\n";
        let plan = Plan::parse("lid.toml", text).unwrap();
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/desk");
        let of = |folder: &Path| {
            let sheet = Sheet::of(&Kept::before_work(&plan), "", None);
            blank_page(&sheet.with_pictures(&plan, folder))
        };
        let page = of(&folder);
        assert!(page.contains("href=\"data:image/jpeg;base64,"));
        let matrix = numbers(between(&page, "matrix(", ")"));
        let on_paper = |x: f64, y: f64| {
            (
                matrix[0] * x + matrix[2] * y + matrix[4],
                matrix[1] * x + matrix[3] * y + matrix[5],
            )
        };
        // Fasteners 1, 3, 5 and 7 stand at the top, right, bottom and left.
        let places: Vec<Vec<f64>> = page
            .split("translate(")
            .skip(1)
            .filter_map(|rest| rest.split_once(')'))
            .map(|(pair, _)| numbers(pair))
            .take(8)
            .collect();
        for (fastener, pixel) in [(2, (240.0, 60.0)), (4, (420.0, 240.0)), (6, (240.0, 420.0))] {
            let (x, y) = on_paper(pixel.0, pixel.1);
            let at = &places[fastener];
            assert!(
                (x - at[0]).abs() < 0.2 && (y - at[1]).abs() < 0.2,
                "{x} {y} {at:?}"
            );
        }
        // Where it is missing that is said, in words that are no markup.
        let page = of(&folder.join("<none>"));
        assert!(
            !page.contains("data:image") && page.contains("The picture flange.png is not shown")
        );
    }

    #[test]
    fn bytes_become_the_letters_of_the_standard() {
        // [RFC 4648, section 10]
        for (bytes, letters) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), letters);
        }
    }
}
