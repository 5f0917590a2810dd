//! The metal of a joint as typed: thread, strength, grip, what is on the threads, and whether its nut is strong enough.
//!
//! Knows nothing of stages.

use super::printed_for;
use crate::mechanics::{NutClass, Strength, Thread, nut_and_bolt};
use crate::plan::quantity::millimetres;
use crate::plan::tree::{Reader, Typed};

/// The metal of a joint, the words beside what they mean.
pub(super) struct Metal {
    pub(super) thread: Option<String>,
    pub(super) class: Option<String>,
    pub(super) grade: Option<String>,
    pub(super) grip: Option<String>,
    pub(super) grip_mm: Option<f64>,
    pub(super) condition: Option<String>,
    pub(super) thread_size: Option<Thread>,
    pub(super) strength: Option<Strength>,
}

impl Metal {
    pub(super) fn read(reader: &mut Reader<'_>, joint: &str) -> Self {
        let thread = reader.text("thread");
        let class = reader.text("class");
        let grade = reader.text("grade");
        if let (Some(_), Some(grade)) = (&class, &grade) {
            grade.place.error(
                format!("joint `{joint}` has both a class and a grade"),
                "the second",
                "class is for metric fasteners, grade for inch ones: leave out one",
            );
        }
        let thread_size = thread.as_ref().and_then(thread_size);
        let strength = strength(class.as_ref(), grade.as_ref(), thread_size.as_ref());
        nut(reader, thread_size.as_ref(), strength.as_ref());
        let grip = reader.text("grip");
        let grip_mm = grip.as_ref().and_then(millimetres);
        let condition = reader.text("condition");
        let printed = reader.text("printed_for");
        printed_for::ask(joint, printed.as_ref(), condition.as_ref());
        let words = |typed: Option<Typed<'_>>| typed.map(|typed| typed.text);
        Self {
            thread: words(thread),
            class: words(class),
            grade: words(grade),
            grip: words(grip),
            grip_mm,
            condition: words(condition),
            thread_size,
            strength,
        }
    }
}

/// Refuses a word by what mechanics says of it: what is wrong, then what is allowed.
fn refused(typed: &Typed<'_>, error: &impl ToString) {
    let error = error.to_string();
    let (what, allowed) = error.split_once("; ").unwrap_or((&error, ""));
    typed.place.error(what, "here", allowed);
}

fn thread_size(typed: &Typed<'_>) -> Option<Thread> {
    typed
        .text
        .parse::<Thread>()
        .inspect_err(|error| refused(typed, error))
        .ok()
}

fn strength(
    class: Option<&Typed<'_>>,
    grade: Option<&Typed<'_>>,
    thread: Option<&Thread>,
) -> Option<Strength> {
    // Without a thread the name alone is looked at; the sizes that a class exists in are not.
    let diameter = thread.map_or(10.0, |thread| thread.major_mm);
    let (typed, read) = match (class, grade) {
        (Some(typed), _) => (typed, Strength::property_class(&typed.text, diameter)),
        (None, Some(typed)) => (typed, Strength::grade(&typed.text, diameter)),
        (None, None) => return None,
    };
    read.inspect_err(|error| refused(typed, error)).ok()
}

/// The nut's class: asked about where it is weaker than its bolt.
fn nut(reader: &mut Reader<'_>, thread: Option<&Thread>, strength: Option<&Strength>) {
    let Some(typed) = reader.text("nut") else {
        return;
    };
    let class = match NutClass::from_text(&typed.text) {
        Ok(class) => class,
        Err(error) => return refused(&typed, &error),
    };
    let Some((thread, strength)) = thread.zip(strength) else {
        return;
    };
    match nut_and_bolt(class, thread, strength) {
        Ok(pair) if !pair.strong_enough => typed.place.warning(
            format!(
                "a nut of class {} is weaker than the bolt of {}",
                class.name(),
                reader.of
            ),
            "is this nut right?",
            pair.why,
        ),
        Ok(_) => {}
        Err(error) => typed.place.error(
            error.to_string(),
            "here",
            "leave `nut` out for inch, pipe and trapezoidal threads",
        ),
    }
}
