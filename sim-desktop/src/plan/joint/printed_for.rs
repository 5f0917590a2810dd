//! Torques printed for threads in one state, and threads in another: a question to the person who typed both.
//!
//! Knows nothing of torques.

use crate::mechanics::Condition;
use crate::plan::tree::Typed;

/// A torque printed for one state of the threads, and threads in another.
pub(super) fn ask(id: &str, printed_for: Option<&Typed<'_>>, condition: Option<&Typed<'_>>) {
    let Some(printed) = printed_for else { return };
    let Some(threads) = condition else {
        printed.place.warning(
            format!(
                "the torques of joint `{id}` are printed for {} threads, and nothing says what is on them",
                printed.text
            ),
            "what must be on the threads?",
            "condition = \"dry\", \"oiled\", … as the document wants them: asked before the first pull",
        );
        return;
    };
    let (wanted, found) = (
        Condition::from_text(&printed.text),
        Condition::from_text(&threads.text),
    );
    let same = printed
        .text
        .trim()
        .eq_ignore_ascii_case(threads.text.trim());
    if same || (wanted == found && wanted != Condition::Compound) {
        return;
    }
    let (wanted, found) = (wanted.friction().thread, found.friction().thread);
    let so = if found < wanted {
        format!(
            "slicker threads stretch a fastener more for the same torque, here by some {:.0} %, and may break it",
            100.0 * (wanted / found - 1.0)
        )
    } else if found > wanted {
        format!(
            "rougher threads clamp less for the same torque, here by some {:.0} %",
            100.0 * (1.0 - wanted / found)
        )
    } else {
        "their friction may differ, and with it the clamp load".to_owned()
    };
    printed.place.warning(
        format!(
            "the torques of joint `{id}` are printed for {} threads, and its condition is {}",
            printed.text, threads.text
        ),
        "do these two belong together?",
        format!("{so}: take the value that the document prints for threads as they are, never one of your own calculation"),
    );
}
