//! The picture under a joint's map: which file, and where it lies.
//!
//! Knows nothing of what is in the file.

use crate::limits::PICTURE_SIDE_MAX;
use crate::picture::{ENDINGS, Laid, is_beside};
use crate::plan::tree::{Choice, Node, Place, Reader, Value};

use super::keys::coordinate;

/// A picture of the part, as a plan names it.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureOf {
    /// Its file, in the plan's folder.
    pub file: String,
    /// Where it lies; none before two points of it are known.
    pub laid: Option<Laid>,
    /// Whether it is printed faint under the sheet's map.
    pub sheet: bool,
}

pub(super) fn picture(reader: &mut Reader<'_>, joint: &str) -> Option<PictureOf> {
    let node = reader.raw("picture")?;
    let silent = Choice::default();
    let mut own = Reader::of_node(format!("`picture` of joint `{joint}`"), node, &silent)?;
    let file = own.needed_text("file");
    if let Some(typed) = file.as_ref().filter(|typed| !is_beside(&typed.text)) {
        typed.place.error(
            format!("`{}` is no picture beside the plan", typed.text),
            "here",
            format!(
                "the name of a file in the plan's folder that ends in .{}",
                ENDINGS.join(", .")
            ),
        );
    }
    let pixels = pair_of(own.raw("pixels"), "pixels", pixel);
    let places = pair_of(own.raw("places"), "places", coordinate);
    for (has, lacks, other) in [
        (own.has("pixels"), own.has("places"), "places"),
        (own.has("places"), own.has("pixels"), "pixels"),
    ] {
        if has && !lacks {
            own.missing(other);
        }
    }
    let sheet = own.flag("sheet").unwrap_or(false);
    let laid = pixels.zip(places).and_then(|(pixels, places)| {
        let laid = Laid::through(pixels, places);
        if laid.is_none() {
            own.key_place("places").error(
                format!("the two points of the picture of joint `{joint}` are one"),
                "here",
                "two points that lie apart, in the picture and on the part",
            );
        }
        laid
    });
    if sheet && laid.is_none() && !own.has("pixels") && !own.has("places") {
        let place: Place<'_> = own.key_place("sheet");
        place.warning(
            format!("the picture of joint `{joint}` has no scale yet: no sheet prints it"),
            "here",
            "say where two of its points are: pixels = [[60, 240], [420, 240]], places = [[-90, 0], [90, 0]]",
        );
    }
    own.finish(|_| None);
    Some(PictureOf {
        file: file?.text,
        laid,
        sheet,
    })
}

/// Two points, each of two numbers.
fn pair_of(
    node: Option<&Node<'_>>,
    key: &str,
    number: fn(&Node<'_>) -> Option<f64>,
) -> Option<[(f64, f64); 2]> {
    let node = node?;
    let point = |node: &Node<'_>| match &node.value {
        Value::List(both) => match both.as_slice() {
            [x, y] => number(x).zip(number(y)),
            _ => wrong(node, key),
        },
        _ => wrong(node, key),
    };
    match &node.value {
        Value::List(points) => match points.as_slice() {
            [first, second] => {
                let (first, second) = (point(first), point(second));
                Some([first?, second?])
            }
            _ => wrong(node, key),
        },
        _ => wrong(node, key),
    }
}

fn wrong<T>(node: &Node<'_>, key: &str) -> Option<T> {
    let allowed = match key {
        "pixels" => "two points of the picture, counted from its top left: [[60, 240], [420, 240]]",
        _ => "where these two points are, in mm as positions are: [[-90, 0], [90, 0]]",
    };
    node.place.error(
        format!("`{key}` of a picture is not two points"),
        "here",
        allowed,
    );
    None
}

fn pixel(node: &Node<'_>) -> Option<f64> {
    let number: Option<f64> = match &node.value {
        Value::Whole(number) => number.to_string().parse().ok(),
        Value::Decimal(number) => number.replace('_', "").parse().ok(),
        _ => None,
    };
    let most = f64::from(PICTURE_SIDE_MAX);
    let found = number.filter(|number| (0.0..=most).contains(number));
    if found.is_none() {
        node.place.error(
            "this is no pixel of a picture",
            "here",
            format!("a number from 0 to {PICTURE_SIDE_MAX}"),
        );
    }
    found
}
