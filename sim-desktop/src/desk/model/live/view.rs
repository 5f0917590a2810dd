//! The pull in progress at the adapter, as it tells it.
//!
//! Knows nothing of records: what was judged is shown elsewhere.

use evendraw_core::link::Live;
use evendraw_core::procedure::Procedure;
use evendraw_core::record::Record;
use evendraw_core::session::{Next, Session};
use evendraw_core::tracker::Cue as Signal;
use evendraw_core::verdict::Aim;

use super::super::super::view::{Cue, CurveView, Heard, LiveView};
use super::super::Model;
use super::super::pull_view::{gauges, halt_words, is_reached, limits, pull_cue, typed_target};
use crate::job::Job;
use crate::plan::JointPlan;
use crate::quantity::newton_meters;
use crate::rehearsal::station::degrees;
use crate::store::Fact;

impl Model {
    /// What is shown of a joint that has no session yet: what is waited for.
    pub(in crate::desk::model) fn live_before_begun(&self) -> LiveView {
        let words = match self.line().map(|own| (own.heard, own.sending)) {
            Some((Heard::Connected, Some(_))) => "The procedure is being sent",
            Some((Heard::Searching, _)) => "Looking for the adapter: F11 disconnects",
            Some((Heard::Lost, _)) => "Adapter lost: F11 disconnects",
            _ => "",
        };
        LiveView {
            cue: Cue::Wait,
            cue_words: words.to_owned(),
            ..LiveView::default()
        }
    }

    /// The pull in progress at the adapter, as it tells it.
    pub(in crate::desk::model) fn live_at_adapter<P: std::ops::Deref<Target = Procedure>>(
        &self,
        job: &Job,
        joint: u8,
        plan: &JointPlan,
        session: &Session<P>,
    ) -> LiveView {
        let now = self.heard_now();
        let own = || self.view.status.joint(joint)?.step;
        let step = now.and_then(|now| now.step).or_else(own);
        let aim = step.and_then(|step| {
            let aim = session.ledger().aim_of(session.procedure(), step)?;
            Some((step, aim))
        });
        let begun = job.facts().iter().rev().find_map(|fact| match fact {
            Fact::Entry(entry) if entry.joint == joint => {
                Some(matches!(entry.record, Record::Begun(_)))
            }
            _ => None,
        });
        let in_pull =
            begun == Some(true) || now.is_some_and(|now| now.pulls > 0 && now.halt.is_some());
        let loaded = now.is_some_and(|now| is_loaded(aim.as_ref().map(|(_, aim)| aim), now));
        let mut view = LiveView {
            loaded,
            pulls: now.map_or(0, |now| u32::from(now.pulls)),
            curve: CurveView {
                points: self.pull.points.clone(),
                unit: "N·m".to_owned(),
                ..CurveView::default()
            },
            ..LiveView::default()
        };
        if let Some((step, aim)) = &aim {
            let shown = now.map(|now| {
                if loaded || !in_pull {
                    now.torque
                } else {
                    now.peak
                }
            });
            view.gauges = gauges(
                aim,
                typed_target(plan, *step),
                shown.map_or(0.0, newton_meters),
                now.and_then(|now| now.angle).map(degrees),
                in_pull,
            );
            if shown.is_none() {
                // A reading that is not heard is not a reading of nothing.
                for gauge in &mut view.gauges {
                    gauge.value = None;
                }
            }
            limits(aim, &mut view.curve);
        }
        (view.cue, view.cue_words) =
            self.cue_at_adapter(session, now, aim.map(|(_, aim)| aim), in_pull, loaded);
        view
    }

    fn cue_at_adapter<P: std::ops::Deref<Target = Procedure>>(
        &self,
        session: &Session<P>,
        now: Option<&Live>,
        aim: Option<Aim>,
        in_pull: bool,
        loaded: bool,
    ) -> (Cue, String) {
        let Some(now) = now else {
            let words = match self.line().map(|own| own.heard) {
                None => "Adapter not connected: F11",
                Some(Heard::Searching) => "Looking for the adapter",
                Some(Heard::Lost) => "Adapter lost",
                Some(Heard::Connected) => "The adapter works another joint",
            };
            return (Cue::Wait, words.to_owned());
        };
        if let (true, Some(reason)) = (in_pull, now.halt) {
            return (Cue::Halt, halt_words(reason));
        }
        if in_pull || now.cue != Signal::None {
            let reached = aim.is_some_and(|aim| is_reached(&aim, loaded, now.peak, now.angle));
            let (cue, words) = pull_cue(now.cue, loaded, reached);
            return (cue, words.to_owned());
        }
        match session.next() {
            Next::Pull { .. } => (Cue::Ready, "Ready: pull".to_owned()),
            Next::Wait { until, .. } => {
                let left = until.micros().saturating_sub(now.at.micros()) / 1_000_000;
                (Cue::Wait, format!("Wait {}", crate::words::seconds(left)))
            }
            _ => (Cue::Wait, "Answer first".to_owned()),
        }
    }
}

/// Whether a hand is on the tool, as far as the reading alone tells: a tenth of what is aimed at.
fn is_loaded(aim: Option<&Aim>, now: &Live) -> bool {
    let target = match aim {
        Some(Aim::Torque { window } | Aim::Repeat { window, .. }) => {
            window.target.millinewton_meters()
        }
        Some(Aim::Hold { torque, .. }) => torque.millinewton_meters(),
        Some(Aim::Turn { .. } | Aim::BackOff { .. }) | None => 10_000,
    };
    now.torque.millinewton_meters().abs().saturating_mul(10) >= target.max(1_000)
}
