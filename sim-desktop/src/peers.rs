//! Fasteners unlike their peers, as a joint's records show them: which, by how much, and whether somebody has looked.
//!
//! The comparison is the core's ([`evendraw_core::peers`]). Here it is put beside what people have said since, in the same way for the
//! desk, a journal pulled from an adapter, the commands and the sheet. Knows nothing of any of them.

use evendraw_core::ledger::{Ledger, StepState};
use evendraw_core::limits::TEXT_MAX;
use evendraw_core::peers::{Unlike, What, compare};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::{Doubt, Entry, Noted, Record};
use evendraw_core::unit::{Angle, Torque};
use serde_json::{Value, json};

use crate::job::status::{Names, attempt_of};
use crate::words;

/// How the text of a doubt begins that the comparison raised; the number of the stage and a colon follow.
const BEGINNING: &str = "unlike peers, stage ";

/// A fastener unlike its peers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Peer {
    /// What was found.
    pub unlike: Unlike,
    /// What somebody said who looked at it since that attempt; none while nobody has.
    pub settled: Option<String>,
}

/// Every fastener that is unlike its peers at a stage that is complete, by stage. `ledger` and `entries` are of the same joint.
#[must_use]
pub fn peers(procedure: &Procedure, ledger: &Ledger, joint: u8, entries: &[&Entry]) -> Vec<Peer> {
    let stages = (0_u8..).zip(procedure.stages());
    stages
        .flat_map(|(stage, _)| {
            let found = compare(procedure, ledger, joint, stage, entries.iter().copied());
            found.as_slice().to_vec()
        })
        .map(|unlike| seen(unlike, entries))
        .collect()
}

/// A finding, with what somebody said who looked at it since.
fn seen(unlike: Unlike, entries: &[&Entry]) -> Peer {
    let settled = notes(entries, unlike.fastener)
        .rev()
        .find(|(seq, note)| *seq > unlike.seq && note.doubt == Doubt::Settled)
        .map(|(_, note)| note.text.to_string());
    Peer { unlike, settled }
}

/// A remark that the comparison calls for, and that is not recorded yet.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Remark {
    /// The fastener.
    pub fastener: u8,
    /// Whether it raises a doubt; it settles one otherwise.
    pub raises: bool,
    /// In words, with the two numbers.
    pub text: String,
}

impl Remark {
    /// As a record says it.
    #[must_use]
    pub const fn doubt(&self) -> Doubt {
        if self.raises {
            Doubt::Raised
        } else {
            Doubt::Settled
        }
    }
}

/// The remarks that are due: a doubt for each fastener found and not told of since that attempt; and the word that a fastener which was
/// done again is like its peers now, where nothing but the comparison had raised a doubt about it.
#[must_use]
pub fn due(procedure: &Procedure, ledger: &Ledger, joint: u8, entries: &[&Entry]) -> Vec<Remark> {
    due_with(procedure, ledger, joint, entries, &[])
}

/// The same where fasteners were also put beside those of like joints before: `beside` is what was found there.
#[must_use]
pub fn due_with(
    procedure: &Procedure,
    ledger: &Ledger,
    joint: u8,
    entries: &[&Entry],
    beside: &[Unlike],
) -> Vec<Remark> {
    let mut found = peers(procedure, ledger, joint, entries);
    for unlike in beside {
        let same = |peer: &Peer| {
            (peer.unlike.fastener, peer.unlike.stage) == (unlike.fastener, unlike.stage)
        };
        if !found.iter().any(same) {
            found.push(seen(*unlike, entries));
        }
    }
    let mut due: Vec<Remark> = found
        .iter()
        .filter(|peer| peer.settled.is_none())
        .filter(|peer| {
            let stage = Some(peer.unlike.stage);
            !notes(entries, peer.unlike.fastener)
                .any(|(seq, note)| seq > peer.unlike.seq && stage_of(note) == stage)
        })
        .map(|peer| Remark {
            fastener: peer.unlike.fastener,
            raises: true,
            text: short(&peer.unlike),
        })
        .collect();
    for (fastener, _) in (0_u8..).zip(procedure.fasteners()) {
        let is_found = found.iter().any(|peer| peer.unlike.fastener == fastener);
        if !is_found
            && is_doubted_for_its_peers_alone(ledger, entries, fastener)
            && standing(entries, fastener).all(|(seq, note)| {
                stage_of(note).is_some_and(|stage| {
                    is_done_since(procedure, ledger, entries, (fastener, stage), seq)
                })
            })
        {
            due.push(Remark {
                fastener,
                raises: false,
                text: "done again, and like its peers now".to_owned(),
            });
        }
    }
    due
}

/// Whether a doubt about the fastener stands and nobody but the comparison raised it.
#[must_use]
pub fn is_doubted_for_its_peers_alone(ledger: &Ledger, entries: &[&Entry], fastener: u8) -> bool {
    ledger.felt_wrong(fastener)
        && standing(entries, fastener).all(|(_, note)| stage_of(note).is_some())
}

/// Whether a remark is one that the comparison made.
#[must_use]
pub fn is_of_peers(note: &Noted) -> bool {
    stage_of(note).is_some()
}

/// The remarks about a fastener, with the numbers of their records.
fn notes<'e>(
    entries: &'e [&'e Entry],
    fastener: u8,
) -> impl DoubleEndedIterator<Item = (u32, &'e Noted)> {
    entries.iter().filter_map(move |entry| match &entry.record {
        Record::Noted(note) if note.fastener == Some(fastener) => Some((entry.seq, note)),
        _ => None,
    })
}

/// The doubts raised since one was last settled.
fn standing<'e>(entries: &'e [&'e Entry], fastener: u8) -> impl Iterator<Item = (u32, &'e Noted)> {
    notes(entries, fastener)
        .rev()
        .take_while(|(_, note)| note.doubt != Doubt::Settled)
        .filter(|(_, note)| note.doubt == Doubt::Raised)
}

/// The stage that a doubt of the comparison is about, by index.
fn stage_of(note: &Noted) -> Option<u8> {
    let rest = note.text.as_str().strip_prefix(BEGINNING)?;
    let (number, _) = rest.split_once(':')?;
    number.parse::<u8>().ok()?.checked_sub(1)
}

/// Whether the fastener was done again at a stage after a record, and the stage is complete.
fn is_done_since(
    procedure: &Procedure,
    ledger: &Ledger,
    entries: &[&Entry],
    (fastener, stage): (u8, u8),
    seq: u32,
) -> bool {
    let again = entries.iter().any(|entry| {
        entry.seq > seq
            && attempt_of(&entry.record)
                .is_some_and(|attempt| attempt.fastener == fastener && attempt.stage == stage)
    });
    let stands = procedure.numbered_steps().any(|(index, step)| {
        step.fastener() == Some(fastener)
            && step.stage() == stage
            && ledger.step(index) == StepState::Done
    });
    again && stands && ledger.is_stage_settled(procedure, stage)
}

/// The word of a script for what is compared; the unit is in it.
#[must_use]
pub const fn key(what: What) -> &'static str {
    match what {
        What::Rotation => "rotation_deg",
        What::EndTorque => "end_torque_Nm",
        What::RunningTorque => "running_torque_Nm",
    }
}

/// The finding in words: `turned 143.2° since snug, its peers 92.1°`.
#[must_use]
pub fn words(unlike: &Unlike) -> String {
    let (value, median) = values(unlike);
    match unlike.what {
        What::Rotation => format!("turned {value} since snug, its peers {median}"),
        What::EndTorque => format!("ended at {value}, its peers at {median}"),
        What::RunningTorque => format!("ran at {value}, its peers at {median}"),
    }
}

/// What it may come from, the likeliest first.
#[must_use]
pub const fn causes(unlike: &Unlike) -> &'static str {
    match (unlike.what, unlike.value > unlike.median) {
        (What::Rotation, true) => {
            "less friction than the others (oil), a soft or missing part, a thread that cuts itself"
        }
        (What::Rotation, false) => {
            "more friction than the others (dry, dirty), bottomed, tight before"
        }
        (What::EndTorque, true) => {
            "more friction than the others (dry, dirty), bottomed, another fastener"
        }
        (What::EndTorque, false) => {
            "less friction than the others (oil), a soft or missing part, another fastener"
        }
        (What::RunningTorque, true) => "a damaged or dirty thread, another nut",
        (What::RunningTorque, false) => "a worn locking nut, or one without the lock",
    }
}

fn values(unlike: &Unlike) -> (String, String) {
    match unlike.what {
        What::Rotation => {
            let angle = |value| words::angle(Angle::from_millidegrees(value));
            (angle(unlike.value), angle(unlike.median))
        }
        What::EndTorque | What::RunningTorque => {
            let torque = |value| words::torque(Torque::from_millinewton_meters(value));
            (torque(unlike.value), torque(unlike.median))
        }
    }
}

/// As a record has room for: 48 bytes.
fn short(unlike: &Unlike) -> String {
    let (value, median) = values(unlike);
    let median = median.trim_end_matches(" N·m");
    let runs = match unlike.what {
        What::RunningTorque => "runs ",
        What::Rotation | What::EndTorque => "",
    };
    let stage = u32::from(unlike.stage) + 1;
    let text = format!("{BEGINNING}{stage}: {runs}{value} (they {median})");
    if text.len() <= TEXT_MAX {
        text
    } else {
        format!("{BEGINNING}{stage}: {runs}{value} ({median})")
    }
}

/// For scripts.
#[must_use]
pub fn object(names: &Names, joint: u8, peer: &Peer) -> Value {
    let unlike = &peer.unlike;
    json!({
        "record": "peers",
        "joint": names.joint(joint),
        "fastener": names.fastener(joint, unlike.fastener),
        "stage": u32::from(unlike.stage) + 1,
        "unlike_peers": true,
        "what": key(unlike.what),
        "value": f64::from(unlike.value) / 1_000.0,
        "median": f64::from(unlike.median) / 1_000.0,
        "settled": peer.settled,
    })
}

/// For people.
#[must_use]
pub fn line(names: &Names, joint: u8, peer: &Peer) -> String {
    let unlike = &peer.unlike;
    let seen = match &peer.settled {
        Some(text) => format!("looked at and found good ({text})"),
        None => format!("look for {}", causes(unlike)),
    };
    format!(
        "fastener {}, stage {}: UNLIKE ITS PEERS: {}; {seen}",
        names.fastener(joint, unlike.fastener),
        u32::from(unlike.stage) + 1,
        words(unlike),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unlike(what: What, value: i32, median: i32) -> Unlike {
        Unlike {
            fastener: 2,
            stage: 15,
            what,
            value,
            median,
            seq: 9,
        }
    }

    /// The texts fit a record at the largest values that a joint shows, and say their stage.
    #[test]
    fn a_record_has_room_for_both_numbers() {
        for (what, value, median, text) in [
            (
                What::Rotation,
                143_210,
                92_070,
                "unlike peers, stage 16: 143.2° (they 92.1°)",
            ),
            (
                What::Rotation,
                12_143_210,
                1_092_070,
                "unlike peers, stage 16: 12143.2° (1092.1°)",
            ),
            (
                What::EndTorque,
                40_000,
                61_500,
                "unlike peers, stage 16: 40.00 N·m (they 61.50)",
            ),
            (
                What::EndTorque,
                1_240_000,
                961_500,
                "unlike peers, stage 16: 1240.0 N·m (they 961.5)",
            ),
            (
                What::RunningTorque,
                12_000,
                2_100,
                "unlike peers, stage 16: runs 12.00 N·m (2.10)",
            ),
        ] {
            let made = short(&unlike(what, value, median));
            assert_eq!(made, text);
            assert!(made.len() <= TEXT_MAX, "{made}: {}", made.len());
            let note = Noted {
                fastener: Some(2),
                doubt: Doubt::Raised,
                text: evendraw_core::text::Text::cut(&made),
            };
            assert_eq!(stage_of(&note), Some(15));
        }
    }

    /// The keys are a contract with other people's scripts.
    #[test]
    fn the_object_has_the_keys_that_scripts_rely_on() {
        let peer = Peer {
            unlike: unlike(What::Rotation, 143_210, 92_070),
            settled: None,
        };
        assert_eq!(
            object(&Names::new(), 0, &peer).to_string(),
            r#"{"record":"peers","joint":"joint 0","fastener":"index 2","stage":16,"unlike_peers":true,"what":"rotation_deg","value":143.21,"median":92.07,"settled":null}"#
        );
    }
}
