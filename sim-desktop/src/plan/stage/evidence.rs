//! The least evidence that a stage asks for.

use evendraw_core::procedure::Evidence;

use crate::plan::tree::Reader;

/// All, the weakest first.
const ALL: [Evidence; 4] = [
    Evidence::Any,
    Evidence::Setting,
    Evidence::Reading,
    Evidence::Curve,
];

/// The stages that a tool is pulled for: only they give evidence.
const PULLED: [&str; 7] = [
    "tighten", "turn", "back-off", "hold", "repeat", "align", "retorque",
];

/// The word of a plan for it.
#[must_use]
pub const fn evidence_word(evidence: Evidence) -> &'static str {
    match evidence {
        Evidence::Any => "any",
        Evidence::Setting => "setting",
        Evidence::Reading => "reading",
        Evidence::Curve => "curve",
    }
}

/// Reads the key `evidence` of a stage of this kind.
pub(super) fn evidence(reader: &mut Reader<'_>, word: &str) -> Evidence {
    let Some(typed) = reader.text("evidence") else {
        return Evidence::Any;
    };
    let words = ALL.map(evidence_word);
    let Some(found) = ALL
        .into_iter()
        .find(|own| evidence_word(*own) == typed.text)
    else {
        typed.place.error(
            format!("unknown evidence `{}`", typed.text),
            "here",
            match typed.place.to.closest(&typed.text, words) {
                Some(near) => format!("did you mean `{near}`?"),
                None => words.join(", "),
            },
        );
        return Evidence::Any;
    };
    if !PULLED.contains(&word) && found != Evidence::Any {
        typed.place.error(
            format!("`evidence` of a stage `{word}`, which no tool is pulled for"),
            "here",
            format!("it belongs to {}", PULLED.join(", ")),
        );
        return Evidence::Any;
    }
    found
}
