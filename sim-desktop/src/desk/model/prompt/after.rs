//! The card after a pull: what came of it, and what can be done about it.

use std::borrow::Cow;

use evendraw_core::advice;
use evendraw_core::audit::torque_window;
use evendraw_core::procedure::StageKind;
use evendraw_core::record::{Attempt, Decision, Entry, Record};
use evendraw_core::session::Session;
use evendraw_core::verdict::Verdict;

use super::{
    Act, Card, Choice, Gauge, Prompt, WHO, alert, because, capital, choice, gauges, skip,
    typed_target,
};
use crate::job::status::{Shown, attempt_of, telling};
use crate::peers::{self, Peer};
use crate::quantity::newton_meters;
use crate::rehearsal::station::degrees;
use crate::words;

impl Card<'_> {
    /// How a fastener is unlike its peers, where that is what is to be looked at.
    pub(super) fn peer(&self, fastener: u8) -> Option<Peer> {
        let mut peers = self.job.peers(self.joint).into_iter();
        peers.find(|peer| peer.settled.is_none() && peer.unlike.fastener == fastener)
    }

    /// A fastener that no curve speaks against, beside others that it should look like.
    pub(super) fn unlike(&self, peer: &Peer, fastener: u8) -> Prompt {
        let look = format!("Look for {}.", peers::causes(&peer.unlike));
        alert(
            format!("Fastener {} is unlike its peers", self.own.label(fastener)),
            format!(
                "Stage {}: it {}.",
                u32::from(peer.unlike.stage) + 1,
                peers::words(&peer.unlike)
            ),
            &[
                &look,
                "If it is good, say so; if not, loosen it and do it again.",
            ],
            looked_at(fastener),
        )
    }

    pub(super) fn last_attempt(
        &self,
        is_meant: impl Fn(&Attempt) -> bool,
    ) -> Option<(&Entry, Cow<'_, Attempt>)> {
        let mut attempts = self.job.attempts(self.joint).rev();
        attempts.find(|(_, attempt)| is_meant(attempt))
    }

    pub(super) fn last_words(&self, fastener: u8) -> String {
        self.last_attempt(|attempt| attempt.fastener == fastener)
            .map_or_else(String::new, |(entry, attempt)| {
                self.attempt_words(entry, &attempt)
            })
    }

    /// What an attempt came to, and the window that it was judged by.
    pub(super) fn attempt_words(&self, entry: &Entry, attempt: &Attempt) -> String {
        let shown = Shown::at(self.plan, attempt.stage);
        let came = telling::told_words(shown, &entry.record).unwrap_or_else(|| {
            let angle = attempt
                .angle
                .map_or_else(|| "angle unknown".to_owned(), words::angle);
            format!("{} and {angle}", shown.reached(attempt))
        });
        let reasons = match words::reasons(attempt.reasons) {
            reasons if reasons.is_empty() => words::verdict(attempt.verdict).to_owned(),
            reasons => reasons,
        };
        let procedure = &self.plan.procedure;
        let mut windows = Vec::new();
        if let Some(window) = procedure.angle_window(attempt.step) {
            let (low, high) = (words::angle(window.min), words::angle(window.max));
            windows.push(format!("{low} to {high}"));
        }
        windows.extend(torque_window(procedure, attempt).map(|window| shown.window(&window)));
        let window = match windows.join(", ") {
            windows if windows.is_empty() => String::new(),
            windows => format!(" Window: {windows}."),
        };
        let added = words::added(attempt.prevailing);
        let added = added.map_or_else(String::new, |added| format!(", {added}"));
        format!("{came}{added}: {reasons}.{window}")
    }

    /// The bar of the attempt that was judged, with its window.
    pub(super) fn gauge(&self, attempt: &Attempt) -> Option<Gauge> {
        let session = self.job.session(self.joint)?;
        let procedure = session.procedure();
        let aim = session.ledger().aim_of(procedure, attempt.step)?;
        let torque = newton_meters(attempt.peak);
        let angle = attempt.angle.map(degrees);
        let typed = typed_target(self.plan, attempt.step);
        let mut gauge = gauges(&aim, typed, torque, angle, true)
            .into_iter()
            .next()?;
        if attempt.verdict == Verdict::Unknown {
            gauge.value = None;
        }
        Some(gauge)
    }

    pub(super) fn decide(&self, step: u16) -> Prompt {
        let fastener = self.fastener(step);
        let label = fastener.map_or("", |own| self.own.label(own));
        if let Some(prompt) = self.revised(step, label) {
            return prompt;
        }
        if let Some(prompt) = self.moved(step, label) {
            return prompt;
        }
        if let Some(prompt) = self.out_of_window(step, label) {
            return prompt;
        }
        let Some((entry, attempt)) = self.last_attempt(|attempt| attempt.step == step) else {
            let title = if label.is_empty() {
                format!("This stage needs a decision: {}", self.sentence(step))
            } else {
                format!("Fastener {label} needs a decision")
            };
            let what_now = ["Read the document: what does it say for this case?"];
            let choices = self.advised(Some(step), fastener.unwrap_or_default());
            return alert(title, String::new(), &what_now, choices);
        };
        let unknown = attempt.verdict == Verdict::Unknown;
        let advice = self.job.session(self.joint).and_then(Session::advice);
        let mut what_now = advice.as_ref().map_or_else(Vec::new, words::what_now);
        if matches!(self.kind(step), Some(StageKind::Turn { .. })) {
            what_now.push("An angle is never pulled a second time on top of this one.".to_owned());
        }
        let choices = self.advised(Some(step), attempt.fastener);
        let title = if unknown {
            format!("Fastener {label}: what happened is not known")
        } else {
            format!("Fastener {label} is rejected")
        };
        Prompt {
            what_now,
            gauge: self.gauge(&attempt),
            ..alert(title, self.attempt_words(entry, &attempt), &[], choices)
        }
    }

    /// What was done to an earlier revision of the plan and differs now: nothing was rejected, and somebody decides.
    pub(super) fn revised(&self, step: u16, label: &str) -> Option<Prompt> {
        let fastener = self.fastener(step)?;
        let differs = self.job.differs(self.joint);
        let own = differs.iter().find(|own| {
            own.mark == crate::mark::Mark::Doubtful && own.fasteners.iter().any(|own| own == label)
        })?;
        let reached = self.last_attempt(|attempt| attempt.step == step);
        let reached = reached.map_or_else(String::new, |(entry, attempt)| {
            format!(" It was {}", self.attempt_words(entry, &attempt))
        });
        let leave = choice("K", "Leave it, with a reason", Act::Skip(label.to_owned()));
        let stage = own.stage.and_then(|stage| u8::try_from(stage).ok());
        let from = stage.map_or(0, |stage| stage.saturating_sub(1));
        let again = Act::Decide(step, Decision::Restart(from));
        Some(alert(
            format!("Fastener {label}: the plan changed since"),
            format!("{}{reached}", capital(&own.differs())),
            &[
                "To do it again: pressure and load off; then loosen it fully.",
                "It begins again at the stage that changed. Or it is left as it is, on a name and a reason.",
            ],
            vec![
                choice("R", "Do it again", again),
                choice("B", "New one fitted", Act::Replace(step, fastener)),
                because(leave, WHO, &[]),
            ],
        ))
    }

    /// What the core advises, as keys, in the same order; a decision about this step where one is waited for.
    pub(super) fn advised(&self, step: Option<u16>, fastener: u8) -> Vec<Choice> {
        let advice = self.job.session(self.joint).and_then(Session::advice);
        let acts = advice.map_or(&[][..], |advice| advice.acts);
        let mut choices: Vec<Choice> = Vec::new();
        for own in acts {
            let own = match (own, step) {
                // Needs no key: it is pulled.
                // Typing has a field of its own.
                (advice::Act::PullOn | advice::Act::TypeRunning, _)
                | (advice::Act::Again | advice::Act::Observe, None) => {
                    continue;
                }
                (advice::Act::Again, Some(step)) => {
                    choice("R", "Do it again", Act::Decide(step, Decision::Again))
                }
                (advice::Act::Loosen | advice::Act::TakeOut, Some(step)) => {
                    choice("L", "It is loosened", Act::Restart(step, fastener))
                }
                (advice::Act::Loosen | advice::Act::TakeOut, None) => {
                    choice("L", "It is loosened", Act::Loosened(fastener))
                }
                (advice::Act::Replace, Some(step)) => {
                    choice("B", "New one fitted", Act::Replace(step, fastener))
                }
                (advice::Act::Replace, None) => {
                    choice("B", "New one fitted", Act::Fitted(fastener))
                }
                (advice::Act::Observe, Some(step)) => {
                    let observed = Act::Decide(step, Decision::Observed);
                    because(choice("M", "A mark shows it", observed), WHO, &[])
                }
                (advice::Act::Waive, _) => skip(self.own.label(fastener)),
            };
            if choices.iter().all(|known| known.key != own.key) {
                choices.push(own);
            }
        }
        // Whatever the table may not know of, there is a way out.
        if choices.is_empty() {
            choices.push(skip(self.own.label(fastener)));
        }
        choices
    }

    /// Where a length that was typed is what asks for it: a way to say that it was typed wrong.
    pub(super) fn with_typed_wrong(&self, mut choices: Vec<Choice>, fastener: u8) -> Vec<Choice> {
        let typed = self.job.sound(self.joint).into_iter().rev();
        let mut typed = typed.filter(|entry| match &entry.record {
            Record::Measured(own) => self.fastener(own.step) == Some(fastener),
            _ => false,
        });
        let of = typed.next().map(|entry| entry.seq);
        if let Some(of) = of.filter(|&of| self.job.can_put_right(self.joint, of)) {
            choices.push(choice("E", "It was typed wrong", Act::TypedWrong(of)));
        }
        choices
    }

    /// A length outside its window: the bolt, the value, the window; and a way to put right what was typed wrong.
    pub(super) fn out_of_window(&self, step: u16, label: &str) -> Option<Prompt> {
        let Some(StageKind::Measure { min, max }) = self.kind(step) else {
            return None;
        };
        let length = self.measured(step)?;
        let mut choices = vec![choice(
            "R",
            "Measure again, or type it again",
            Act::Decide(step, Decision::Again),
        )];
        if let Some(fastener) = self.fastener(step) {
            choices.push(choice("L", "It is loosened", Act::Restart(step, fastener)));
            choices.push(choice("B", "New one fitted", Act::Replace(step, fastener)));
        }
        choices.push(skip(label));
        Some(alert(
            format!("{}{length} is outside its window", self.whose(step)),
            format!(
                "{}: allowed {}.",
                self.sentence(step),
                words::length_window(min, max)
            ),
            &["What was typed stays on record; a second value stands beside it."],
            choices,
        ))
    }

    /// A fastener that moved when it was checked again, if that is the last thing that happened to this step.
    pub(super) fn moved(&self, step: u16, label: &str) -> Option<Prompt> {
        let entries = self.job.sound(self.joint).into_iter();
        let checked = entries.rev().find_map(|entry| match &entry.record {
            Record::Rechecked(checked) if checked.step == step => Some(Some(checked)),
            record if attempt_of(record).is_some_and(|own| own.step == step) => Some(None),
            _ => None,
        })??;
        let fastener = self.fastener(step)?;
        let angle = checked.moved.map_or_else(
            || "how far is not known".to_owned(),
            |angle| format!("by {}", words::angle(angle)),
        );
        let stage = self.plan.procedure.stage_at(step)?;
        let at = Shown::at(self.plan, stage).words(checked.peak);
        Some(alert(
            format!("Fastener {label} moved when it was checked again"),
            format!("{angle}, at {at}."),
            &[
                "It has lost clamp load: look for what settled, and check its neighbours too.",
                "Do it again as the first key says, or say why it stays.",
            ],
            self.advised(Some(step), fastener),
        ))
    }
}

pub(super) fn looked_at(fastener: u8) -> Vec<Choice> {
    vec![
        choice("Enter", "Looked at, good", Act::LookedAt(fastener)),
        choice("L", "It is loosened", Act::Loosened(fastener)),
    ]
}
