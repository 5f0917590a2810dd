//! The pull in progress, or the one that is due: its gauges, its limits, and what to do with the tool.
//!
//! Knows nothing of fasteners, stages or questions.

use evendraw_core::procedure::Procedure;
use evendraw_core::session::{Next, Session};
use evendraw_core::tracker::Cue as Signal;
use evendraw_core::unit::{Angle, Torque};
use evendraw_core::verdict::{Aim, Reason};

use super::super::reading::window_words;
use super::super::view::{Cue, CurveView, Gauge, LiveView};
use super::joint_view::checking_again;
use super::{Hand, Model};
use crate::job::status::Shown;
use crate::plan::JointPlan;
use crate::quantity::newton_meters;
use crate::rehearsal::station::degrees;
use crate::words;

/// Below this an adapter at rest shows nothing, N·m: noise and not work.
const IDLE_NM: f64 = 0.05;

impl Model {
    pub(super) fn live_view(&self) -> Option<LiveView> {
        let mut view = self.live_in_newton_meters()?;
        shown_in(self.shown()?, &mut view);
        Some(view)
    }

    /// The unit that torque is read in at the open joint.
    pub(super) fn shown(&self) -> Option<Shown> {
        let (job, number) = (self.job.as_ref()?, self.open?);
        if self.newton_meters {
            return Some(Shown::NEWTON_METERS);
        }
        let plan = job.joint_plan(number)?;
        let checking = job.session(number).and_then(checking_again);
        let step = checking.or_else(|| self.view.status.joint(number)?.step);
        let stage = step
            .and_then(|step| plan.procedure.step_at(step))
            .map_or(0, |step| step.stage());
        Some(Shown::at(plan, stage))
    }

    fn live_in_newton_meters(&self) -> Option<LiveView> {
        let job = self.job.as_ref()?;
        let number = self.open?;
        let plan = job.joint_plan(number)?;
        let session = job.session(number)?;
        if job.adapter(number).is_some() {
            return Some(self.live_at_adapter(job, number, plan, session));
        }
        let live = session.live();
        let in_pull = session.is_in_pull();
        let mut view = LiveView {
            loaded: live.loaded,
            pulls: u32::from(live.pulls),
            hand_at_work: self.bench.hand != Hand::Off,
            curve: CurveView {
                points: self.pull.points.clone(),
                unit: "N·m".to_owned(),
                ..CurveView::default()
            },
            ..LiveView::default()
        };
        if let Some((step, aim)) = session.armed() {
            let typed = typed_target(plan, step);
            let torque = newton_meters(if live.loaded || !in_pull {
                live.torque
            } else {
                live.peak
            });
            // Nobody is at the tool: what is less than the last digit that counts is no reading.
            let torque = if live.loaded || torque.abs() > IDLE_NM {
                torque
            } else {
                0.0
            };
            view.gauges = gauges(&aim, typed, torque, live.angle.map(degrees), in_pull);
            limits(&aim, &mut view.curve);
        }
        let (cue, words) = self.cue(session, in_pull);
        view.cue = cue;
        view.cue_words = words;
        self.show_lines(&mut view, in_pull);
        Some(view)
    }

    fn cue<P: std::ops::Deref<Target = Procedure>>(
        &self,
        session: &Session<P>,
        in_pull: bool,
    ) -> (Cue, String) {
        let live = session.live();
        if let (true, Some(reason)) = (in_pull, self.pull.halt) {
            return (Cue::Halt, halt_words(reason));
        }
        if in_pull {
            let reached = session
                .armed()
                .is_some_and(|(_, aim)| is_reached(&aim, live.loaded, live.peak, live.angle));
            let (cue, words) = pull_cue(self.pull.cue, live.loaded, reached);
            return (cue, words.to_owned());
        }
        match session.next() {
            Next::Pull { .. } if self.bench.hand != Hand::Off => {
                (Cue::Pull, "Simulated".to_owned())
            }
            Next::Pull { .. } => (Cue::Ready, "Ready: pull".to_owned()),
            _ if checking_again(session).is_some() => (Cue::Ready, "Ready: check".to_owned()),
            Next::Store => (Cue::Storing, "Storing".to_owned()),
            Next::Wait { until, .. } => {
                let left = until.micros().saturating_sub(self.micros) / 1_000_000;
                (Cue::Wait, format!("Wait {}", words::seconds(left)))
            }
            _ => (Cue::Wait, "Answer first".to_owned()),
        }
    }
}

/// The live reading, its window and its curve in the unit.
fn shown_in(shown: Shown, view: &mut LiveView) {
    if shown == Shown::NEWTON_METERS {
        return;
    }
    let gauges = view.gauges.iter_mut();
    for gauge in gauges.filter(|gauge| gauge.unit == Shown::NEWTON_METERS.symbol()) {
        gauge.beside = format!("({})", window_words(gauge));
        for value in [
            &mut gauge.value,
            &mut gauge.low,
            &mut gauge.high,
            &mut gauge.target,
        ] {
            *value = value.map(|own| shown.value(own));
        }
        gauge.scale = shown.value(gauge.scale);
        gauge.decimals = if gauge.scale < 12.0 {
            2
        } else {
            usize::from(gauge.scale < 1200.0)
        };
        shown.symbol().clone_into(&mut gauge.unit);
    }
    let curve = &mut view.curve;
    #[expect(clippy::cast_possible_truncation, reason = "torque for a drawing")]
    let in_unit = |torque: f32| shown.value(f64::from(torque)) as f32;
    for [_, torque] in &mut curve.points {
        *torque = in_unit(*torque);
    }
    for limit in [&mut curve.torque_low, &mut curve.torque_high] {
        *limit = limit.map(in_unit);
    }
    shown.symbol().clone_into(&mut curve.unit);
}

/// The target as the plan has it, for the fastener of this step.
pub(super) fn typed_target(plan: &JointPlan, step: u16) -> &str {
    plan.procedure
        .step_at(step)
        .and_then(|at| Some((plan.stage(at.stage())?, at.fastener())))
        .and_then(|(stage, fastener)| {
            fastener.map_or(stage.target.as_deref(), |fastener| {
                stage.target_for(fastener)
            })
        })
        .unwrap_or_default()
}

/// What a pull that must end at once is told.
pub(super) fn halt_words(reason: Reason) -> String {
    format!(
        "Stop: {}",
        words::reason(reason).split(':').next().unwrap_or_default()
    )
}

/// What an attempt in progress is told.
pub(super) const fn pull_cue(signal: Signal, loaded: bool, reached: bool) -> (Cue, &'static str) {
    match (signal, loaded) {
        (Signal::Over, _) => (Cue::Halt, "Too far, let go"),
        (Signal::Target, true) => (Cue::Stop, "Let go"),
        (Signal::Approach, true) => (Cue::Slow, "Ease off"),
        // Past the cue, and still on: what is reached is not pulled any further.
        (Signal::None, true) if reached => (Cue::Stop, "Let go"),
        (Signal::None, true) => (Cue::Pull, "Keep pulling"),
        (Signal::Target, false) => (Cue::Storing, "Judging"),
        (_, false) if reached => (Cue::Storing, "Judging"),
        (_, false) => (Cue::Ready, "Re-grip, pull on"),
    }
}

/// Whether the pull has come to where it should: under load to what is aimed at, let go of anywhere in the window.
pub(super) fn is_reached(aim: &Aim, loaded: bool, peak: Torque, angle: Option<Angle>) -> bool {
    match aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => {
            peak >= if loaded { window.target } else { window.min }
        }
        Aim::Turn { window, .. } => {
            let least = if loaded { window.target } else { window.min };
            angle.is_some_and(|angle| angle >= least)
        }
        Aim::Hold { .. } | Aim::BackOff { .. } => false,
    }
}

pub(super) fn gauges(
    aim: &Aim,
    typed: &str,
    torque: f64,
    angle: Option<f64>,
    in_pull: bool,
) -> Vec<Gauge> {
    let torque_gauge =
        |low: Option<f64>, high: Option<f64>, target: Option<f64>, typed: &str| Gauge {
            quantity: "Torque".to_owned(),
            unit: "N·m".to_owned(),
            value: Some(torque),
            decimals: if high.or(target).unwrap_or(100.0) < 10.0 {
                2
            } else {
                1
            },
            low: low.filter(|low| *low > 0.0),
            high,
            target,
            typed: typed.to_owned(),
            scale: high.or(target).unwrap_or(50.0).max(torque) * 1.2,
            beside: String::new(),
            missing: "unknown".to_owned(),
        };
    let angle_gauge =
        |low: Option<f64>, high: Option<f64>, target: Option<f64>, typed: &str| Gauge {
            quantity: "Angle".to_owned(),
            unit: "°".to_owned(),
            value: if in_pull {
                angle.or(Some(0.0))
            } else {
                Some(0.0)
            },
            decimals: 1,
            low,
            high,
            target,
            typed: typed.to_owned(),
            scale: high.or(target).unwrap_or(90.0).max(angle.unwrap_or(0.0)) * 1.2,
            beside: String::new(),
            missing: "unknown".to_owned(),
        };
    match aim {
        Aim::Torque { window } => vec![
            torque_gauge(
                Some(newton_meters(window.min)),
                Some(newton_meters(window.max)),
                Some(newton_meters(window.target)),
                typed,
            ),
            angle_gauge(None, None, None, ""),
        ],
        Aim::Repeat { window, still } => vec![
            torque_gauge(
                Some(newton_meters(window.min)),
                Some(newton_meters(window.max)),
                Some(newton_meters(window.target)),
                typed,
            ),
            angle_gauge(None, Some(degrees(*still)), None, ""),
        ],
        Aim::Turn {
            window,
            torque: end,
            ..
        } => vec![
            angle_gauge(
                Some(degrees(window.min)),
                Some(degrees(window.max)),
                Some(degrees(window.target)),
                typed,
            ),
            torque_gauge(
                end.map(|end| newton_meters(end.min)),
                end.map(|end| newton_meters(end.max)),
                None,
                "",
            ),
        ],
        Aim::Hold {
            torque: target,
            still,
            ..
        } => vec![
            torque_gauge(
                Some(newton_meters(*target)),
                None,
                Some(newton_meters(*target)),
                typed,
            ),
            angle_gauge(None, Some(degrees(*still)), None, ""),
        ],
        Aim::BackOff { angle: target } => vec![
            Gauge {
                value: angle.map(f64::abs).or(Some(0.0)),
                ..angle_gauge(target.map(degrees), None, target.map(degrees), typed)
            },
            torque_gauge(None, None, None, ""),
        ],
    }
}

#[expect(clippy::cast_possible_truncation, reason = "limits for a drawing")]
pub(super) fn limits(aim: &Aim, curve: &mut CurveView) {
    match aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => {
            curve.torque_low = Some(newton_meters(window.min) as f32);
            curve.torque_high = Some(newton_meters(window.max) as f32);
        }
        Aim::Turn { window, torque, .. } => {
            curve.angle_low = Some(degrees(window.min) as f32);
            curve.angle_high = Some(degrees(window.max) as f32);
            if let Some(window) = torque {
                curve.torque_low = Some(newton_meters(window.min) as f32);
                curve.torque_high = Some(newton_meters(window.max) as f32);
            }
        }
        Aim::Hold { torque, .. } => curve.torque_low = Some(newton_meters(*torque) as f32),
        Aim::BackOff { .. } => {}
    }
}

#[cfg(test)]
mod tests {
    use super::{Cue, Signal, pull_cue};

    #[test]
    fn what_is_reached_is_not_pulled_any_further() {
        assert_eq!(pull_cue(Signal::None, true, false).0, Cue::Pull);
        for signal in [Signal::None, Signal::Target] {
            assert_eq!(pull_cue(signal, true, true).0, Cue::Stop, "{signal:?}");
        }
        assert_eq!(pull_cue(Signal::Over, true, true).0, Cue::Halt);
        assert_eq!(pull_cue(Signal::None, false, true).0, Cue::Storing);
        assert_eq!(pull_cue(Signal::None, false, false).0, Cue::Ready);
    }
}
