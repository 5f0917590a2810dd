//! Peers: the comparison that no single pull can make.
//!
//! Within a joint the same stage on like fasteners must look alike: how far each turned since snug, at which torque a turn ended,
//! how hard each ran before it seated. Less friction, a soft part or a part left out need not show in the curve of one fastener;
//! beside the others they do. Median and median absolute deviation (MAD) are used, as one or two fasteners that are wrong move neither.
//!
//! Pure and total over the records of a joint, so that whoever has the records comes to the same: a desk while it works, a journal
//! pulled from an adapter, a printed sheet. Nothing of it is kept in the ledger: sixty-four fasteners at sixteen stages would not fit
//! an adapter. Knows nothing of what is done about a fastener unlike its peers.

use core::borrow::Borrow;

use heapless::Vec;

use crate::crc::crc32;
use crate::ledger::{Ledger, StepState};
use crate::limits::FASTENERS_MAX;
use crate::procedure::{Procedure, StageKind};
use crate::record::{Added, Attempt, Decision, Entry, Manner, Record};
use crate::verdict::Verdict;

/// Like fasteners that a comparison needs. With three, the median of the deviations is that of a single fastener. *Our judgement.*
pub const PEERS_MIN: usize = 4;

/// What is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum What {
    /// How far the fastener turned since snug, over all its torque stages up to this one, in millidegrees. The sum and not the stage's
    /// own share: what a neighbour took off a fastener in the pass before is made up for in this one.
    Rotation,
    /// Torque at the end of a turn, in mN·m.
    EndTorque,
    /// Running torque before it seated, in mN·m.
    RunningTorque,
}

/// How far a fastener may be from the median of its peers: not farther than the widest of the three.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rule {
    /// Largest modified Z-score, in tenths: 0.6745 times the distance over the MAD.
    pub score_tenths: u16,
    /// Floor above the median, in % of it.
    pub above_part: u16,
    /// Floor below the median, in % of it.
    pub below_part: u16,
    /// Floor either way, in the unit of what is compared.
    pub least: u32,
}

impl What {
    /// All, the most telling first.
    pub const ALL: [Self; 3] = [Self::Rotation, Self::EndTorque, Self::RunningTorque];

    /// Its rule.
    ///
    /// The score of Iglewicz and Hoaglin is used with 3.5 for samples of many; with four to twelve fasteners the MAD is itself so
    /// unsure that 3.5 lets a third of the oiled fasteners pass. It is there for the joint whose fasteners differ by their places, and
    /// the floors keep the sound ones: 2, *our judgement*.
    ///
    /// The floors come from the scatter of friction, which is the scatter of preload at one torque: ±25 % lubricated, ±35 % not
    /// [NSTS 08307]; ten lubricated bolts had a standard deviation of 8.4 % [Shigley 8-14]. Oil where the value assumes dry takes some
    /// two fifths of the friction [VDI 2230, classes A to C], so half as much again of load and rotation, and a third less torque at
    /// the end of a turn. A third more, and a quarter less, lie between. On the other side lies nothing that would be missed but what
    /// binds or cuts, and that by far. *Our judgement; `tests/tests/peers.rs` counts what they find.*
    ///
    /// Four degrees: snug is found to a degree or two, and a hard joint turns no more than ten. Locking nuts of one kind differ by
    /// half or twice in running torque without being wrong. *Our judgement.*
    #[must_use]
    pub const fn rule(self) -> Rule {
        match self {
            Self::Rotation => Rule {
                score_tenths: 20,
                above_part: 32,
                below_part: 45,
                least: 4_000,
            },
            Self::EndTorque => Rule {
                score_tenths: 20,
                above_part: 60,
                below_part: 24,
                least: 500,
            },
            Self::RunningTorque => Rule {
                score_tenths: 20,
                above_part: 100,
                below_part: 50,
                least: 500,
            },
        }
    }
}

/// A fastener unlike its peers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Unlike {
    /// The fastener's index.
    pub fastener: u8,
    /// The stage's index.
    pub stage: u8,
    /// What differs.
    pub what: What,
    /// The fastener's own value, in the unit of [`What`].
    pub value: i32,
    /// The median of its like, itself included, in the same unit.
    pub median: i32,
    /// Number of the record that the value ends with: the comparison is one of this attempt.
    pub seq: u32,
}

/// The fasteners of one stage that are unlike their peers, each once, in the order of their numbers.
#[derive(Clone, Debug, Default)]
pub struct Unlikes(Vec<Unlike, FASTENERS_MAX>);

impl Unlikes {
    /// As a slice.
    #[must_use]
    pub fn as_slice(&self) -> &[Unlike] {
        &self.0
    }
}

/// Compares the fasteners at a stage that is complete; nothing while it is not, or where fewer than [`PEERS_MIN`] are alike.
///
/// `ledger` is the ledger of the same records; `entries` are the joint's records in order, other joints' records are passed over.
/// Alike are fasteners with the same windows at every stage up to this one. Only accepted attempts that still stand are compared:
/// what was loosened, replaced or spoilt since, ticked on paper or left out is no peer, and after it is redone it is compared anew.
#[must_use]
pub fn compare<E: Borrow<Entry>>(
    procedure: &Procedure,
    ledger: &Ledger,
    joint: u8,
    stage: u8,
    entries: impl IntoIterator<Item = E>,
) -> Unlikes {
    let mut found = Unlikes::default();
    let Some(readings) = Readings::of_stage(procedure, ledger, joint, stage, entries) else {
        return found;
    };
    for what in What::ALL {
        for (fastener, reading) in (0..=u8::MAX).zip(&readings.of) {
            let Some(value) = reading.value(what) else {
                continue;
            };
            let known = found.0.iter().any(|other| other.fastener == fastener);
            let mut peers = readings.like(reading, what);
            if let Some(median) = unlike(what.rule(), value, &mut peers)
                && !known
            {
                let _ = found.0.push(Unlike {
                    fastener,
                    stage,
                    what,
                    value,
                    median,
                    seq: reading.seq,
                });
            }
        }
    }
    found.0.sort_unstable_by_key(|unlike| unlike.fastener);
    found
}

/// Whether [`compare`] could say anything of a fastener at a stage: the stage is complete, and enough like fasteners have a value there.
#[must_use]
pub fn is_compared<E: Borrow<Entry>>(
    procedure: &Procedure,
    ledger: &Ledger,
    joint: u8,
    (fastener, stage): (u8, u8),
    entries: impl IntoIterator<Item = E>,
) -> bool {
    let Some(readings) = Readings::of_stage(procedure, ledger, joint, stage, entries) else {
        return false;
    };
    readings
        .of
        .get(usize::from(fastener))
        .is_some_and(|reading| {
            What::ALL.into_iter().any(|what| {
                reading.value(what).is_some() && readings.like(reading, what).len() >= PEERS_MIN
            })
        })
}

/// What one fastener showed at a stage that is complete, as [`compare`] takes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Value {
    /// The fastener's index.
    pub fastener: u8,
    /// What was seen.
    pub what: What,
    /// How much, in the unit of [`What`].
    pub value: i32,
    /// Equal for fasteners with equal windows at every stage up to this one, in whatever joint.
    pub likeness: u32,
    /// Number of the record that the value ends with.
    pub seq: u32,
}

/// Tells every value of a stage that is complete, so that builds can be put beside each other. Arguments as for [`compare`].
pub fn values<E: Borrow<Entry>>(
    procedure: &Procedure,
    ledger: &Ledger,
    joint: u8,
    stage: u8,
    entries: impl IntoIterator<Item = E>,
    mut tell: impl FnMut(Value),
) {
    let Some(readings) = Readings::of_stage(procedure, ledger, joint, stage, entries) else {
        return;
    };
    for what in What::ALL {
        for (fastener, reading) in (0..=u8::MAX).zip(&readings.of) {
            if let Some(value) = reading.value(what) {
                tell(Value {
                    fastener,
                    what,
                    value,
                    likeness: reading.likeness,
                    seq: reading.seq,
                });
            }
        }
    }
}

/// The median of values seen before, if this one is farther from it than the rule of [`What`] allows; none where there are fewer than
/// [`PEERS_MIN`]. The values come back in another order and changed.
#[must_use]
pub fn unlike_before(what: What, value: i32, before: &mut [i32]) -> Option<i32> {
    unlike(what.rule(), value, before)
}

/// Whether a stage of this kind is compared at all.
const fn compares(kind: StageKind) -> bool {
    matches!(
        kind,
        StageKind::Tighten { .. } | StageKind::Align { .. } | StageKind::Turn { .. }
    )
}

/// The median of the values, if this one is farther from it than the rule allows. The values come back sorted by their distance.
fn unlike(rule: Rule, value: i32, values: &mut [i32]) -> Option<i32> {
    if values.len() < PEERS_MIN {
        return None;
    }
    let median = median(values)?;
    let apart = |value: i32| i64::from(value).abs_diff(i64::from(median));
    for value in values.iter_mut() {
        *value = i32::try_from(apart(*value)).unwrap_or(i32::MAX);
    }
    let deviation = u64::from(self::median(values)?.unsigned_abs());
    let distance = apart(value);
    let part = if value > median {
        rule.above_part
    } else {
        rule.below_part
    };
    let size = u64::from(median.unsigned_abs());
    // 0.6745 is the 75 % point of the normal distribution, which makes the MAD comparable to a standard deviation.
    // [Iglewicz & Hoaglin 1993; NIST/SEMATECH e-Handbook 1.3.5.17]
    let scores = distance.saturating_mul(6_745)
        > deviation.saturating_mul(u64::from(rule.score_tenths).saturating_mul(1_000));
    let is_far = distance.saturating_mul(100) > size.saturating_mul(u64::from(part))
        && distance > u64::from(rule.least);
    (scores && is_far).then_some(median)
}

/// The middle value, or the mean of the two in the middle, towards the lower; sorts the values.
fn median(values: &mut [i32]) -> Option<i32> {
    values.sort_unstable();
    let middle = values.len().wrapping_shr(1);
    let upper = values.get(middle).copied()?;
    if values.len() & 1 == 1 {
        return Some(upper);
    }
    let lower = values.get(middle.wrapping_sub(1)).copied()?;
    i32::try_from(
        i64::from(lower)
            .wrapping_add(i64::from(upper))
            .wrapping_shr(1),
    )
    .ok()
}

/// What is known of one fastener.
#[derive(Clone, Copy, Debug, Default)]
struct Known {
    /// Turned since snug, in millidegrees, over the torque stages so far.
    turned: i32,
    /// An angle was lost, or torque came without a measured pull.
    is_lost: bool,
    /// Equal for fasteners with equal windows.
    likeness: u32,
    seq: u32,
    rotation: Option<i32>,
    end_torque: Option<i32>,
    running: Option<i32>,
}

impl Known {
    const fn value(&self, what: What) -> Option<i32> {
        match what {
            What::Rotation => self.rotation,
            What::EndTorque => self.end_torque,
            What::RunningTorque => self.running,
        }
    }

    /// Without what was compared at the stage.
    const fn without_values(self) -> Self {
        Self {
            rotation: None,
            end_torque: None,
            running: None,
            ..self
        }
    }
}

struct Readings {
    of: [Known; FASTENERS_MAX],
}

impl Default for Readings {
    fn default() -> Self {
        Self {
            of: [Known::default(); FASTENERS_MAX],
        }
    }
}

impl Readings {
    /// What stands of a stage; none where it is not complete, or of a kind that is not compared.
    fn of_stage<E: Borrow<Entry>>(
        procedure: &Procedure,
        ledger: &Ledger,
        joint: u8,
        stage: u8,
        entries: impl IntoIterator<Item = E>,
    ) -> Option<Self> {
        let kind = procedure.stages().get(usize::from(stage))?.kind;
        if !compares(kind) || !ledger.is_stage_settled(procedure, stage) {
            return None;
        }
        let mut readings = Self::default();
        for entry in entries {
            let entry = entry.borrow();
            if entry.joint == joint {
                readings.take(procedure, stage, entry);
            }
        }
        readings.drop_unsettled(procedure, ledger, stage);
        for (known, likeness) in readings.of.iter_mut().zip(likeness(procedure, stage)) {
            known.likeness = likeness;
        }
        Some(readings)
    }

    /// The values of the fasteners like this one, itself included.
    fn like(&self, own: &Known, what: What) -> Vec<i32, FASTENERS_MAX> {
        let like = self
            .of
            .iter()
            .filter(|other| other.likeness == own.likeness);
        let mut values = Vec::new();
        for value in like.filter_map(|other| other.value(what)) {
            let _ = values.push(value);
        }
        values
    }

    fn take(&mut self, procedure: &Procedure, stage: u8, entry: &Entry) {
        match &entry.record {
            Record::Attempt(attempt) => self.pulled(procedure, stage, entry.seq, attempt),
            Record::Reassigned(own) => self.pulled(procedure, stage, entry.seq, &own.attempt),
            Record::Loosened(loosened) => self.begin_anew(loosened.fastener),
            Record::Fitted(fitted) => self.begin_anew(fitted.fastener),
            Record::Apart(_) => self.of = [Known::default(); FASTENERS_MAX],
            // What was read or set with another tool is no measure of how far it turned since snug.
            Record::Read(read) if read.stage <= stage => self.lose(procedure, read.step),
            Record::BySetting(set) if set.stage <= stage => self.lose(procedure, set.step),
            Record::Done(done)
                if done.manner == Manner::Paper || procedure.stage_at(done.step) <= Some(stage) =>
            {
                self.lose(procedure, done.step);
            }
            Record::Decided(decided) if decided.decision == Decision::Observed => {
                self.lose(procedure, decided.step);
            }
            _ => {}
        }
    }

    fn begin_anew(&mut self, fastener: u8) {
        if let Some(known) = self.of.get_mut(usize::from(fastener)) {
            *known = Known::default();
        }
    }

    /// Tightened, and nobody measured how far.
    fn lose(&mut self, procedure: &Procedure, step: u16) {
        let fastener = procedure.fastener_of(step);
        let tightens = procedure
            .stage_of(step)
            .is_some_and(|stage| stage.kind.tightens());
        if let (Some(fastener), true) = (fastener, tightens)
            && let Some(known) = self.of.get_mut(usize::from(fastener))
        {
            *known = known.without_values();
            known.is_lost = true;
        }
    }

    fn pulled(&mut self, procedure: &Procedure, stage: u8, seq: u32, attempt: &Attempt) {
        let (Some(known), Some(kind)) = (
            self.of.get_mut(usize::from(attempt.fastener)),
            procedure.stage_of(attempt.step).map(|stage| stage.kind),
        ) else {
            return;
        };
        if attempt.stage > stage {
            return;
        }
        let is_torque = matches!(kind, StageKind::Tighten { .. } | StageKind::Align { .. });
        if matches!(kind, StageKind::BackOff { .. }) {
            // From here on it is counted from snug again.
            known.turned = 0;
        } else if is_torque {
            // A try that ended too low turned the fastener too.
            match attempt.angle {
                Some(angle) => known.turned = known.turned.saturating_add(angle.millidegrees()),
                None => known.is_lost = true,
            }
        }
        if attempt.stage != stage {
            return;
        }
        *known = known.without_values();
        if attempt.verdict != Verdict::Accepted {
            return;
        }
        known.seq = seq;
        if is_torque {
            known.rotation = (!known.is_lost).then_some(known.turned);
            // What the plan gives is the same for all, and what was typed was measured with something else.
            known.running = match attempt.prevailing {
                Added::Measured(torque) => Some(torque.millinewton_meters()),
                _ => None,
            };
        } else if matches!(kind, StageKind::Turn { .. }) {
            known.end_torque = Some(attempt.final_torque.millinewton_meters());
        }
    }

    /// Takes out whatever does not stand any more.
    fn drop_unsettled(&mut self, procedure: &Procedure, ledger: &Ledger, stage: u8) {
        let mut stands = [false; FASTENERS_MAX];
        for (index, step) in procedure.numbered_steps() {
            if step.stage() == stage
                && ledger.step(index) == StepState::Done
                && let Some(stands) = step
                    .fastener()
                    .and_then(|fastener| stands.get_mut(usize::from(fastener)))
            {
                *stands = true;
            }
        }
        for (known, stands) in self.of.iter_mut().zip(stands) {
            if !stands {
                *known = known.without_values();
            }
        }
    }
}

/// A sum for each fastener, equal where all its windows up to the stage are.
fn likeness(procedure: &Procedure, stage: u8) -> [u32; FASTENERS_MAX] {
    let mut sums = [0_u32; FASTENERS_MAX];
    for (index, step) in procedure.numbered_steps() {
        let place = step
            .fastener()
            .and_then(|fastener| sums.get_mut(usize::from(fastener)));
        let Some(sum) = place.filter(|_| step.stage() <= stage) else {
            continue;
        };
        *sum = crc32(*sum, &[step.stage()]);
        let mut add = |value: i32| *sum = crc32(*sum, &value.to_le_bytes());
        if let Some(window) = procedure.angle_window(index) {
            [window.target, window.min, window.max]
                .into_iter()
                .for_each(|angle| add(angle.millidegrees()));
        } else if let Some(window) = procedure.torque_window(index) {
            [window.target, window.min, window.max]
                .into_iter()
                .for_each(|torque| add(torque.millinewton_meters()));
        }
    }
    sums
}

#[cfg(test)]
mod tests;
