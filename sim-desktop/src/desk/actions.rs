//! The foot of the joint screen: everything that is one key away, with the fastener it is about named on it.
//!
//! What cannot be done now is greyed or gives its place to what can; its key is in the map (F1). Knows nothing of what an
//! action leads to.

use super::joint::JointState;
use super::overlay::Overlay;
use super::view::{Ask, DeskView, JointView, Mark, Readings};
use super::widgets::{Look, button_of, count, held, is_wide_enough, pressed, split_across};
use egui::{Key, Rect, Ui};

/// What can be done here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Act {
    Pull,
    Hand,
    Back,
    FeltWrong,
    Redo,
    Loosen,
    Skip,
    Part,
    Fault,
    Marked,
    CheckAgain,
    Witness,
}

impl Act {
    const ALL: [Self; 12] = [
        Self::Back,
        Self::Pull,
        Self::Hand,
        Self::Marked,
        Self::CheckAgain,
        Self::Witness,
        Self::FeltWrong,
        Self::Redo,
        Self::Loosen,
        Self::Skip,
        Self::Part,
        Self::Fault,
    ];

    /// The key, and what is printed for it.
    const fn key(self) -> (Key, &'static str) {
        match self {
            Self::Pull => (Key::Space, "Space"),
            Self::Hand => (Key::H, "H"),
            Self::Back => (Key::Enter, "Enter"),
            Self::FeltWrong => (Key::W, "W"),
            Self::Redo => (Key::R, "R"),
            Self::Loosen => (Key::L, "L"),
            Self::Skip => (Key::K, "K"),
            Self::Part => (Key::A, "A"),
            Self::Fault => (Key::F, "F"),
            Self::Marked => (Key::M, "M"),
            Self::CheckAgain => (Key::C, "C"),
            Self::Witness => (Key::I, "I"),
        }
    }

    /// What it is called where there is room, and where there is little.
    const fn words(self, at_work: bool) -> (&'static str, &'static str) {
        match self {
            Self::Pull => ("Hold to pull", "Pull"),
            Self::Hand if at_work => ("Stop the hand", "Stop"),
            Self::Hand => ("Hand does it", "Hand"),
            Self::Back => ("Back to build", "Back"),
            Self::FeltWrong => ("Felt wrong:", "Wrong"),
            Self::Redo => ("Redo", "Redo"),
            Self::Loosen => ("Loosen", "Loosen"),
            Self::Skip => ("Leave out", "Skip"),
            Self::Part => ("Part arrived", "Part"),
            Self::Fault => ("Fault", "Fault"),
            Self::Marked => ("Paint mark on", "Mark"),
            Self::CheckAgain => ("Check again", "Check"),
            Self::Witness => ("Second person", "Second"),
        }
    }
}

/// The fasteners that actions are about, by label; empty where there is none.
struct Subjects {
    /// The chosen one, or the next: left out, or given a fault.
    next: String,
    /// The chosen one, or the last one worked on: felt wrong, done again, loosened, checked again.
    last: String,
    /// The chosen one, or one that is final and bears no paint yet.
    unmarked: String,
}

fn subjects(joint: &JointView, selected: Option<usize>) -> Subjects {
    let chosen = selected.and_then(|index| joint.fasteners.get(index));
    let label = |fastener: &super::view::FastenerView| fastener.label.clone();
    let last = chosen.map_or_else(
        || {
            let mut labels = joint.entries.iter().map(|entry| entry.fastener.clone());
            labels.find(|label| !label.is_empty()).unwrap_or_default()
        },
        label,
    );
    let bare =
        |fastener: &&super::view::FastenerView| fastener.mark == Mark::Final && !fastener.marked;
    let in_order = joint
        .path
        .iter()
        .filter_map(|&index| joint.fasteners.get(index));
    let unmarked = match chosen {
        Some(fastener) => Some(fastener).filter(bare),
        None => joint
            .fasteners
            .iter()
            .filter(|fastener| fastener.label == last)
            .chain(in_order)
            .find(bare),
    };
    Subjects {
        next: target(joint, selected),
        unmarked: unmarked.map_or_else(String::new, label),
        last,
    }
}

/// The fastener that is chosen, or the next.
pub(super) fn target(joint: &JointView, selected: Option<usize>) -> String {
    selected
        .and_then(|index| joint.fasteners.get(index))
        .or_else(|| joint.next())
        .map_or_else(String::new, |fastener| fastener.label.clone())
}

/// Draws the foot and gathers what it asks for.
pub(super) fn show(
    ui: &mut Ui,
    rect: Rect,
    view: &DeskView,
    joint: &JointView,
    state: &mut JointState,
    overlay: &mut Option<Overlay>,
    asks: &mut Vec<Ask>,
) {
    let free = overlay.is_none();
    let bench = view.build.readings == Readings::Bench;
    let at_work = joint.live.hand_at_work;
    let blocked = joint.alert.is_some() || joint.question.is_some();
    let can_pull = bench && free && !blocked && !joint.finished && joint.at.is_some() && !at_work;
    // Ways of an alert have these keys while it stands.
    let open = free && joint.alert.is_none();
    let about = subjects(joint, state.selected);
    let is_final = |label: &str| {
        let mut fasteners = joint.fasteners.iter();
        fasteners.any(|fastener| fastener.label == label && fastener.mark == Mark::Final)
    };
    let waiting = view.status.waiting();
    let able = |act: Act| match act {
        Act::Pull => can_pull,
        Act::Hand => bench && free && (at_work || can_pull),
        Act::Back => free && joint.finished && !blocked,
        Act::FeltWrong | Act::Redo | Act::Loosen => open && !about.last.is_empty(),
        Act::Skip => open && !joint.finished && !about.next.is_empty(),
        Act::Part => free && !waiting.is_empty(),
        Act::Fault => free && !joint.faults.is_empty() && joint.at.is_some(),
        Act::Marked => open && !about.unmarked.is_empty(),
        Act::CheckAgain => open && is_final(&about.last) && !joint.live.loaded && !at_work,
        Act::Witness => open,
    };
    // What a finished joint, or a final fastener that was chosen, has no use for makes room for what it has.
    let chosen_final = state
        .selected
        .and_then(|index| joint.fasteners.get(index))
        .is_some_and(|fastener| fastener.mark == Mark::Final);
    let shown = |act: &Act| match act {
        Act::Back | Act::Witness => joint.finished,
        Act::Pull | Act::Hand => bench && !joint.finished,
        Act::Marked | Act::CheckAgain => joint.finished || chosen_final,
        Act::Skip => !joint.finished && !chosen_final,
        Act::Part => !chosen_final || joint.finished,
        Act::Fault => bench && !joint.faults.is_empty() && !joint.finished,
        Act::FeltWrong | Act::Redo | Act::Loosen => true,
    };
    let acts: Vec<Act> = Act::ALL.into_iter().filter(shown).collect();
    // Narrow buttons carry the short word.
    let tight = rect.width() / count(acts.len()) < 158.0;
    let subject = |act: Act| match act {
        Act::FeltWrong | Act::Redo | Act::Loosen | Act::CheckAgain => about.last.as_str(),
        Act::Skip => &about.next,
        Act::Marked => &about.unmarked,
        _ => "",
    };
    let row: Vec<(Rect, Act, String)> = split_across(rect, acts.len())
        .into_iter()
        .zip(acts)
        .map(|(place, act)| {
            let (long, short) = act.words(at_work);
            let words = format!("{} {}", if tight { short } else { long }, subject(act));
            (place, act, words.trim_end().to_owned())
        })
        .collect();
    let stacked = !row
        .iter()
        .all(|(place, act, words)| is_wide_enough(ui, place.width(), words, act.key().1));
    let mut done = None;
    for (place, act, words) in row {
        let look = match act {
            Act::Pull | Act::Back => Look::Advised,
            Act::Hand if at_work => Look::Grave,
            _ => Look::Plain,
        };
        let response = button_of(ui, place, &words, act.key().1, look, able(act), stacked);
        if act == Act::Pull {
            state.button_down = can_pull && response.is_pointer_button_down_on();
        } else if able(act) && response.clicked() {
            done = Some(act);
        }
    }
    for act in Act::ALL {
        if act != Act::Pull && able(act) && pressed(ui, act.key().0) {
            done = Some(act);
        }
    }
    match done {
        Some(Act::Hand) if at_work => asks.push(Ask::HandAll(false)),
        Some(Act::Hand) => asks.push(Ask::Hand),
        Some(Act::Back) => asks.push(Ask::OpenJoint(String::new())),
        Some(Act::FeltWrong) => asks.push(Ask::FeltWrong(about.last.clone())),
        Some(Act::Redo) => asks.push(Ask::Redo(about.last.clone())),
        Some(Act::Loosen) => asks.push(Ask::Loosen(about.last.clone())),
        Some(Act::CheckAgain) => asks.push(Ask::CheckAgain(about.last.clone())),
        Some(Act::Marked) => asks.push(Ask::Marked(about.unmarked.clone())),
        Some(Act::Skip) => *overlay = Some(Overlay::skip(joint, about.next.clone())),
        Some(Act::Witness) => *overlay = Some(Overlay::witness(joint)),
        Some(Act::Fault) => *overlay = Some(Overlay::fault(joint, &about.next)),
        Some(Act::Part) => part_arrived(&waiting, overlay, asks),
        Some(Act::Pull) | None => {}
    }
    if matches!(done, Some(Act::Redo | Act::Loosen | Act::CheckAgain)) {
        state.selected = None;
    }
    if able(Act::Hand) && pressed(ui, Key::J) {
        asks.push(Ask::HandAll(!at_work));
    }
    let pulling = can_pull && (held(ui, Key::Space) || state.button_down);
    if pulling != state.pulling {
        state.pulling = pulling;
        asks.push(Ask::Pull(pulling));
    }
    if joint.checking_again && free && pressed(ui, Key::Escape) {
        asks.push(Ask::LeaveCheck);
    }
}

/// A part has arrived: the only one waited for, or the one chosen.
pub(super) fn part_arrived(waiting: &[&str], overlay: &mut Option<Overlay>, asks: &mut Vec<Ask>) {
    match waiting {
        [only] => asks.push(Ask::PartArrived((*only).to_owned())),
        _ => *overlay = Some(Overlay::part(waiting)),
    }
}
