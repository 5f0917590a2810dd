//! The foot of the joint screen: everything that is one key away, with the fastener it is about named on it.
//!
//! What cannot be done now is greyed or gives its place to what can; its key is in the map (F1). Knows nothing of what an
//! action leads to.

use super::joint::JointState;
use super::keys::Page;
use super::overlay::Overlay;
use super::view::{Ask, DeskView, FastenerView, JointView, Mark};
use super::widgets::{Look, button_of, count, held, is_wide_enough, pressed, split_across};
use egui::{Key, Rect, Ui};

/// What a button of the foot leads to.
#[derive(Clone, Debug)]
enum Does {
    /// It is held to pull.
    Pull,
    /// Something is asked for.
    Ask(Ask),
    /// Something is to be chosen or typed first.
    Over(Overlay),
    /// Seen from afar, or from near again.
    Far,
}

/// One button of the foot.
struct Foot {
    key: Key,
    /// What it is called where there is room, and where there is little.
    words: (&'static str, &'static str),
    /// The fastener that it is about.
    about: String,
    look: Look,
    /// It can be done now; its key works whether it is shown or not.
    able: bool,
    /// It stands in the foot.
    shown: bool,
    does: Does,
}

/// The fasteners that actions are about, by label; empty where there is none.
struct Subjects {
    /// The chosen one, or the next: skipped, or given a fault.
    next: String,
    /// The chosen one, or the last one worked on: felt wrong, done again, loosened, checked again.
    last: String,
    /// The chosen one, or one that is final and bears no paint yet.
    unmarked: String,
}

fn subjects(joint: &JointView, selected: Option<usize>) -> Subjects {
    let chosen = selected.and_then(|index| joint.fasteners.get(index));
    let label = |fastener: &FastenerView| fastener.label.clone();
    let last = chosen.map_or_else(
        || {
            let mut labels = joint.entries.iter().map(|entry| entry.fastener.clone());
            labels.find(|label| !label.is_empty()).unwrap_or_default()
        },
        label,
    );
    let bare = |fastener: &&FastenerView| fastener.mark == Mark::Final && !fastener.marked;
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
        next: chosen
            .or_else(|| joint.next())
            .map_or_else(String::new, label),
        unmarked: unmarked.map_or_else(String::new, label),
        last,
    }
}

/// Every button of the foot, in its order.
fn table(view: &DeskView, joint: &JointView, state: &JointState, free: bool) -> Vec<Foot> {
    let (selected, far) = (state.selected, state.far);
    let bench = view.status.rehearsal;
    let at_work = joint.live.hand_at_work;
    let blocked = joint.prompt.is_some();
    let can_pull = bench && free && !blocked && !joint.finished && joint.at.is_some() && !at_work;
    // What stands on an alert has these keys while it stands.
    let open = free && !joint.is_alerted();
    let about = subjects(joint, selected);
    let is_final = |label: &str| {
        let mut fasteners = joint.fasteners.iter();
        fasteners.any(|fastener| fastener.label == label && fastener.mark == Mark::Final)
    };
    // What a finished joint, or a final fastener that was chosen, has no use for makes room for what it has.
    let chosen = selected.and_then(|index| joint.fasteners.get(index));
    let chosen_final = chosen.is_some_and(|fastener| fastener.mark == Mark::Final);
    let (finished, has_last) = (joint.finished, !about.last.is_empty());
    let waiting = view.status.waiting();
    let foot = |key, words, about: &str, able, shown, does| Foot {
        key,
        words,
        about: about.to_owned(),
        look: Look::Plain,
        able,
        shown,
        does,
    };
    let advised = |own: Foot| Foot {
        look: Look::Advised,
        ..own
    };
    let (hand, does_hand) = if at_work {
        (("Stop the bench", "Stop"), Ask::HandAll(false))
    } else {
        (("Simulate", "Simulate"), Ask::Hand)
    };
    let (last, next, bare) = (about.last, about.next, about.unmarked);
    let last_ask = |ask: fn(String) -> Ask| Does::Ask(ask(last.clone()));
    let back = Does::Ask(Ask::OpenJoint(String::new()));
    // The last pull here, as long as it can be said to have been on another fastener.
    let pull = view.put_right.iter().rev();
    let pull = pull
        .filter(|can| can.joint == joint.id)
        .find(|can| can.fastener.is_some());
    let was_on = pull.map(|can| match chosen {
        Some(chosen) if Some(&chosen.label) != can.fastener.as_ref() => {
            Does::Ask(Ask::WasOn(can.sequence, chosen.label.clone()))
        }
        _ => Does::Over(Overlay::was_on(&view.status, can)),
    });
    let faults = !joint.faults.is_empty();
    vec![
        advised(foot(
            Key::Enter,
            ("Back to build", "Back"),
            "",
            free && finished && !blocked,
            finished,
            back,
        )),
        advised(foot(
            Key::Space,
            ("Hold to pull", "Pull"),
            "",
            can_pull,
            bench && !finished,
            Does::Pull,
        )),
        Foot {
            look: if at_work { Look::Grave } else { Look::Plain },
            ..foot(
                Key::H,
                hand,
                "",
                bench && free && (at_work || can_pull),
                bench && !finished,
                Does::Ask(does_hand),
            )
        },
        foot(
            Key::M,
            ("Paint mark on", "Mark"),
            &bare,
            open && !bare.is_empty(),
            finished || chosen_final,
            Does::Ask(Ask::Marked(bare.clone())),
        ),
        foot(
            Key::C,
            ("Check again", "Check"),
            &last,
            open && is_final(&last) && !joint.live.loaded && !at_work,
            finished || chosen_final,
            last_ask(Ask::CheckAgain),
        ),
        foot(
            Key::I,
            ("Second person", "Second"),
            "",
            open,
            finished,
            Does::Over(Overlay::witness(joint)),
        ),
        foot(
            Key::W,
            ("Felt wrong", "Wrong"),
            &last,
            open && has_last,
            true,
            last_ask(Ask::FeltWrong),
        ),
        foot(
            Key::O,
            ("On another", "On other"),
            "",
            open && was_on.is_some(),
            false,
            was_on.unwrap_or(Does::Over(Overlay::Keys(Page::Work))),
        ),
        foot(
            Key::R,
            ("Redo", "Redo"),
            &last,
            open && has_last,
            true,
            last_ask(Ask::Redo),
        ),
        foot(
            Key::L,
            ("Loosen", "Loosen"),
            &last,
            open && has_last,
            true,
            last_ask(Ask::Loosen),
        ),
        foot(
            Key::K,
            ("Skip, with a reason", "Skip"),
            &next,
            open && !finished && !next.is_empty(),
            !finished && !chosen_final,
            Does::Over(Overlay::skip(&next)),
        ),
        foot(
            Key::A,
            ("Part arrived", "Part"),
            "",
            free && !waiting.is_empty(),
            !chosen_final || finished,
            part_arrived(&waiting),
        ),
        foot(
            Key::F,
            ("Fault", "Fault"),
            "",
            free && faults && joint.at.is_some(),
            bench && faults && !finished,
            Does::Over(Overlay::fault(joint, &next)),
        ),
        foot(
            Key::G,
            if far {
                ("Near view", "Near view")
            } else {
                ("Far view", "Far view")
            },
            "",
            free,
            true,
            Does::Far,
        ),
    ]
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
    let table = table(view, joint, state, free);
    // From afar only the way back is shown; the keys work as they do near by.
    let is_shown = |own: &&Foot| own.shown && (!state.far || matches!(own.does, Does::Far));
    let shown: Vec<&Foot> = table.iter().filter(is_shown).collect();
    // Narrow buttons carry the short word.
    let tight = rect.width() / count(shown.len()) < 158.0;
    let row: Vec<(Rect, &Foot, String)> = split_across(rect, shown.len())
        .into_iter()
        .zip(shown)
        .map(|(place, own)| {
            let (long, short) = own.words;
            let words = format!("{} {}", if tight { short } else { long }, own.about);
            (place, own, words.trim_end().to_owned())
        })
        .collect();
    let stacked = !row
        .iter()
        .all(|(place, own, words)| is_wide_enough(ui, place.width(), words, own.key.name()));
    let mut done = None;
    for (place, own, words) in row {
        let response = button_of(
            ui,
            place,
            &words,
            own.key.name(),
            own.look,
            own.able,
            stacked,
        );
        if matches!(own.does, Does::Pull) {
            state.button_down = own.able && response.is_pointer_button_down_on();
        } else if own.able && response.clicked() {
            done = Some(own);
        }
    }
    for own in &table {
        if !matches!(own.does, Does::Pull) && own.able && pressed(ui, own.key) {
            done = Some(own);
        }
    }
    match done.map(|own| own.does.clone()) {
        Some(Does::Ask(ask)) => {
            if matches!(ask, Ask::Redo(_) | Ask::Loosen(_) | Ask::CheckAgain(_)) {
                state.selected = None;
            }
            asks.push(ask);
        }
        Some(Does::Over(over)) => *overlay = Some(over),
        Some(Does::Far) => state.far = !state.far,
        Some(Does::Pull) | None => {}
    }
    let able = |key: Key| table.iter().any(|own| own.key == key && own.able);
    if able(Key::H) && pressed(ui, Key::J) {
        asks.push(Ask::HandAll(!joint.live.hand_at_work));
    }
    let pulling = able(Key::Space) && (held(ui, Key::Space) || state.button_down);
    if pulling != state.pulling {
        state.pulling = pulling;
        asks.push(Ask::Pull(pulling));
    }
    if joint.checking_again && free && pressed(ui, Key::Escape) {
        asks.push(Ask::LeaveCheck);
    }
}

/// A part has arrived: the only one waited for, or the one chosen.
fn part_arrived(waiting: &[&str]) -> Does {
    match waiting {
        [only] => Does::Ask(Ask::PartArrived((*only).to_owned())),
        _ => Does::Over(Overlay::part(waiting)),
    }
}

/// The same on the build screen.
pub(super) fn take_part(waiting: &[&str], overlay: &mut Option<Overlay>, asks: &mut Vec<Ask>) {
    match part_arrived(waiting) {
        Does::Ask(ask) => asks.push(ask),
        Does::Over(over) => *overlay = Some(over),
        Does::Pull | Does::Far => {}
    }
}
