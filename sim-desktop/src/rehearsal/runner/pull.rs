//! One fastener pulled until the judge has spoken: the hand, the regrips, the samples kept.
//!
//! Knows nothing of what follows from a verdict.

use evendraw_core::procedure::{Hand, StageKind};
use evendraw_core::record::Record;
use evendraw_core::sample::Sample;
use evendraw_core::session::Input;
use evendraw_core::tracker::Cue;
use evendraw_core::unit::{Angle, Instant};
use evendraw_core::verdict::Aim;

use super::{ATTEMPTS_ENOUGH, Rehearsal, WorkError, seconds};
use crate::job::{Done, Job, Told};
use crate::outputs::{self, Over};
use crate::rehearsal::answers::{held_words, is_about_the_tool};
use crate::rehearsal::hands::Reach;
use crate::rehearsal::replay::turned;
use crate::rehearsal::result::Curve;
use crate::rehearsal::station::Station;
use crate::rehearsal::trace_file::{self, file_word, sample};

/// How often a hand grips again before it gives up an attempt.
const REGRIPS_MAX: u8 = 4;

impl Rehearsal {
    pub(super) fn pull<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let held = self.job.held(joint);
        if held.iter().any(is_about_the_tool) {
            let now = self.now();
            let done = self.answers.take_tool(&mut self.job, joint, now)?;
            if !self.went_on(joint, &done, tell)? {
                return Ok(false);
            }
        }
        let held = self.job.held(joint);
        if !held.is_empty() {
            return Ok(self.stop(&held_words(&held)));
        }
        let Some(reach) = self.job.session(joint).and_then(Reach::of) else {
            return Ok(self.stop("nothing is to be pulled"));
        };
        let Reach {
            step,
            fastener,
            aim,
        } = reach;
        if self
            .failures
            .get(&step)
            .is_some_and(|failures| *failures >= ATTEMPTS_ENOUGH)
        {
            return Ok(self.stop("a person must look at a fastener that fails again and again"));
        }
        self.by_hand(joint, |station, session| reach.prepare(session, station));
        let mut kept: Vec<(Instant, Sample)> = Vec::new();
        let hand = HandAt {
            joint,
            fastener,
            step,
        };
        match self.once(hand, &aim, false, &mut kept, tell)? {
            Pulled::Judged => {}
            Pulled::Held(why) => return Ok(self.stop(&why)),
            Pulled::LetGo => {
                for _ in 0..REGRIPS_MAX {
                    if !self.grip_again(joint, &mut kept, tell)? {
                        break;
                    }
                }
                self.finish_pull(joint, tell)?;
            }
        }
        if self.options.trace_folder.is_some() {
            self.keep_samples(joint, step, fastener, &kept)?;
        }
        if self
            .job
            .session(joint)
            .and_then(|session| session.armed())
            .is_some_and(|(armed, _)| armed == step)
        {
            return self.felt_nothing(joint, step, tell);
        }
        Ok(true)
    }

    /// The same step is still to be pulled: it was rejected and may go on, or no torque came at all.
    fn felt_nothing<E>(
        &mut self,
        joint: u8,
        step: u16,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let session = self.job.session(joint);
        let attempts = session.map_or(0, |session| session.ledger().attempts(step));
        let before = self.attempts_before.insert(step, attempts);
        if before.unwrap_or(0) != attempts {
            return Ok(true);
        }
        let kind = session
            .and_then(|session| session.procedure().stage_of(step))
            .map(|stage| stage.kind);
        if matches!(kind, Some(StageKind::BackOff { .. })) {
            // A free fastener turns back without any torque that a sensor could feel.
            let input = Input::Skip {
                step,
                reason: "free already: no torque to be felt",
            };
            let done = self.job.apply(joint, self.now(), input)?;
            return self.went_on(joint, &done, tell);
        }
        Ok(self.stop("no torque came"))
    }

    /// The hand let go short of the window: it grips again and goes on with what is left. False where nothing is.
    fn grip_again<E>(
        &mut self,
        joint: u8,
        kept: &mut Vec<(Instant, Sample)>,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<bool, WorkError<E>> {
        let Some(session) = self
            .job
            .session(joint)
            .filter(|session| session.is_in_pull())
        else {
            return Ok(false);
        };
        let Some((step, aim)) = session.armed() else {
            return Ok(false);
        };
        let left = session.live().remaining;
        let rest = match (aim, left) {
            (
                Aim::Turn {
                    mut window,
                    torque,
                    one_sweep: false,
                    left: sum,
                },
                Some(left),
            ) if left > Angle::ZERO => {
                window.target = left;
                Aim::Turn {
                    window,
                    torque,
                    one_sweep: false,
                    left: sum,
                }
            }
            (Aim::Torque { .. } | Aim::Repeat { .. }, _) => aim,
            _ => return Ok(false),
        };
        let Some(fastener) = self.fastener(joint, step) else {
            return Ok(false);
        };
        let hand = HandAt {
            joint,
            fastener,
            step,
        };
        // Who knows that only a little is left goes slowly from the start.
        self.once(hand, &rest, true, kept, tell)?;
        Ok(true)
    }

    /// The hand goes to the fastener, pulls until it is told or has had enough, and comes off. What the adapter measures is
    /// judged sample by sample; what it still feels after the verdict belongs to no other fastener.
    fn once<E>(
        &mut self,
        hand: HandAt,
        aim: &Aim,
        is_slow: bool,
        kept: &mut Vec<(Instant, Sample)>,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<Pulled, WorkError<E>> {
        let HandAt {
            joint,
            fastener,
            step,
        } = hand;
        let keeps = self.options.trace_folder.is_some();
        let mut curve = self.options.keeps_curves.then(Vec::new);
        let Some(station) = self.stations.get_mut(&joint) else {
            return Ok(Pulled::Held("there is no bench".to_owned()));
        };
        let (bench_began, clock_began) = (station.elapsed_s(), self.clock);
        station.begin(fastener, aim);
        if is_slow {
            station.hear(Cue::Approach, false);
        }
        let mut pulled = Pulled::LetGo;
        while let Some(station) = self.stations.get_mut(&joint) {
            let Some(measured) = station.sample() else {
                break;
            };
            let turned = station.rotation_deg(fastener);
            self.clock = clock_began + trace_file::instant(measured.time_s - bench_began).micros();
            let taken = sample(measured.torque_Nm, measured.angle_deg);
            if keeps {
                kept.push((self.now(), taken));
            }
            if let Some(curve) = &mut curve {
                curve.push((turned, measured.torque_Nm));
            }
            if matches!(pulled, Pulled::Judged) {
                continue;
            }
            let done = self.job.apply(joint, self.now(), Input::Sample(taken))?;
            station_hears(self.stations.get_mut(&joint), &done);
            if !done.held.is_empty() {
                return Ok(Pulled::Held(held_words(&done.held)));
            }
            if is_attempt_at(&done, step) {
                pulled = Pulled::Judged;
            }
            self.take(joint, &done, tell)?;
        }
        if let Some(station) = self.stations.get(&joint) {
            self.clock =
                clock_began + trace_file::instant(station.elapsed_s() - bench_began).micros();
        }
        if let Some(curve) = curve {
            self.keep_curve(hand, &curve);
        }
        Ok(pulled)
    }

    /// The hand is off; if the attempt is not judged yet, its time runs out.
    fn finish_pull<E>(
        &mut self,
        joint: u8,
        tell: &mut impl FnMut(&Job, &Told) -> Result<(), E>,
    ) -> Result<(), WorkError<E>> {
        if self
            .job
            .session(joint)
            .is_some_and(|session| session.is_in_pull())
        {
            if let Some(deadline) = self
                .job
                .session(joint)
                .and_then(|session| session.deadline())
            {
                self.pass_time(joint, seconds(deadline.since(self.now()).micros()));
                self.clock = self.clock.max(deadline.micros());
            }
            let done = self.job.apply(joint, self.now(), Input::Tick)?;
            self.take(joint, &done, tell)?;
        }
        if self
            .job
            .session(joint)
            .is_some_and(|session| session.is_in_pull())
        {
            let done = self.job.apply(joint, self.now(), Input::Finish)?;
            self.take(joint, &done, tell)?;
        }
        Ok(())
    }

    fn keep_samples<E>(
        &self,
        joint: u8,
        step: u16,
        fastener: u8,
        samples: &[(Instant, Sample)],
    ) -> Result<(), WorkError<E>> {
        let (Some(folder), Some(own), Some(session)) = (
            &self.options.trace_folder,
            self.job.joint(joint),
            self.job.session(joint),
        ) else {
            return Ok(());
        };
        let stage = session
            .procedure()
            .step_at(step)
            .map_or(0, |step| u32::from(step.stage()) + 1);
        let attempt = session.ledger().attempts(step);
        let label = own.label(fastener);
        let name = format!(
            "{}-{}-stage{stage}-attempt{attempt}.csv",
            file_word(own.id()),
            file_word(label)
        );
        let path = folder.join(name);
        let about = format!(
            "rehearsal on the virtual bench, seed {}\njoint {}, fastener {label}, stage {stage}, attempt {attempt}",
            self.options.seed,
            own.id()
        );
        let failed = |error: std::io::Error| {
            WorkError::Store(format!("cannot write {}: {error}", path.display()))
        };
        outputs::folder(folder).map_err(|error| WorkError::Store(error.to_string()))?;
        let first = samples.first().map_or(Instant::BOOT, |(at, _)| *at);
        // The file is positive clockwise; a left-hand thread tightens the other way.
        let is_left_hand = session.procedure().terms().hand == Hand::Left;
        let clockwise = |sample: Sample| if is_left_hand { turned(sample) } else { sample };
        let since = samples.iter().map(|(at, sample)| {
            let since = Instant::from_micros(at.since(first).micros());
            (since, clockwise(*sample))
        });
        let mut text = Vec::new();
        trace_file::write(&mut text, &about, since).map_err(failed)?;
        // What is there of the same name is an earlier pull of this rehearsal, or was allowed to go.
        outputs::write(&path, &String::from_utf8_lossy(&text), Over::Ours)
            .map_err(|error| WorkError::Store(error.to_string()))
    }

    /// Keeps what a picture needs: points that are a fifth of a degree or a hundredth of the torque apart.
    fn keep_curve(&mut self, hand: HandAt, curve: &[(f64, f64)]) {
        let stage = self.job.session(hand.joint).and_then(|session| {
            let step = session.procedure().step_at(hand.step)?;
            Some(step.stage())
        });
        let top = curve.iter().map(|point| point.1).fold(0.0, f64::max);
        let mut points: Vec<(f64, f64)> = Vec::new();
        for &(turned, torque) in curve {
            let is_near = points.last().is_some_and(|(angle, height)| {
                (turned - angle).abs() < 0.2 && (torque - height).abs() < 0.01 * top
            });
            if !is_near {
                points.push((turned, torque));
            }
        }
        if let Some(stage) = stage {
            self.result.curves.push(Curve {
                fastener: hand.fastener,
                stage,
                points,
            });
        }
    }
}

/// Where the hand is.
#[derive(Clone, Copy)]
struct HandAt {
    joint: u8,
    fastener: u8,
    step: u16,
}

/// How the hand came off.
enum Pulled {
    /// With a verdict.
    Judged,
    /// Without one: short of the window.
    LetGo,
    /// It should not have pulled.
    Held(String),
}

fn station_hears(station: Option<&mut Station>, done: &Done) {
    if let Some(station) = station {
        station.hear(done.cue, done.halt.is_some());
    }
}

fn is_attempt_at(done: &Done, step: u16) -> bool {
    done.entries
        .iter()
        .any(|entry| matches!(&entry.record, Record::Attempt(attempt) if attempt.step == step))
}
