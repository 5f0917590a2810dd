//! The thresholds of one attempt: a [`CurveLimits`] put to the size of its target, once, when the attempt is armed.
//!
//! Every division the tracker's rules need is made here. Knows nothing of samples.
//!
//! What its numbers should be no standard says: *our judgement, no source*, held by the matrix of faults
//! (`tests/tests/judging/JUDGING.md`).

use super::loading::GAP_LEAST_MICROS;
use super::running::Level;
use super::{Start, ticks};
use crate::curve_limits::CurveLimits;
use crate::unit::{Angle, Torque, ratio};
use crate::verdict::Aim;

/// In mN·m, millidegrees and µs.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thresholds {
    pub(super) target: i32,
    /// On top of the running torque, like the target.
    pub(super) snug: i32,
    /// The running torque that is put in.
    pub(super) running: i32,
    /// Below this a fall is the run-down's own.
    pub(super) worth_watching: i32,
    /// What a running torque must look like.
    pub(super) level: Level,
    pub(super) regrip: i32,
    /// Torque up to which the fastener stands still; zero when not known.
    pub(super) still_below: i32,
    /// Compliance of the train in millidegrees per 2²⁰ mN·m; zero when it is to be measured.
    pub(super) compliance: i64,
    /// That of the softest train to allow for.
    pub(super) compliance_most: i64,
    /// Torques are summed in units of 2^this mN·m.
    pub(super) shift: u32,
    pub(super) idle: u64,
    pub(super) release: u64,
    /// For so long after a release nothing can end.
    pub(super) quiet: u64,
    /// In ticks.
    pub(super) reaction: u32,
    /// Zero: from the usual distance of samples.
    pub(super) gap: u32,
    /// No shorter time is a gap, whatever the distance of samples, in µs.
    pub(super) gap_least: u32,
    pub(super) overload: i32,
    pub(super) gradient_min: i64,
    pub(super) gradient_max: i64,
    pub(super) turn_least: i32,
    pub(super) late: i32,
    pub(super) run_down_min: i32,
    pub(super) run_down_max: i32,
    pub(super) yield_step: i32,
    /// Angle per chord at which the fastener yields, in 1/16 of the steepest pair of chords.
    pub(super) yield_ratio: i32,
    pub(super) drop: i32,
    pub(super) drop_turn: i32,
    pub(super) tooth: i32,
    pub(super) teeth: u8,
    pub(super) jerk: i32,
    pub(super) spike: i32,
    pub(super) plateau: i32,
    pub(super) restart_turn: i32,
    pub(super) hold: i32,
    pub(super) wrong: i32,
    /// What the softest train winds up by over one [`Self::yield_step`], in millidegrees: a chord no longer than that need not
    /// have turned the fastener.
    pub(super) wind_up: i32,
    /// How far a turn goes before it is held to its rise, in millidegrees; zero: it is not.
    pub(super) turn_rise_after: i32,
    /// Torque that it must then have reached.
    pub(super) turn_rise_to: i32,
    /// The noise that the others are already wide enough for.
    noise: i32,
}

/// Fractional bits of a compliance.
pub(super) const COMPLIANCE_BITS: u32 = 20;

/// The torque of a turn is averaged over so many millidegrees.
pub(super) const TURN_RISE_OVER: i32 = 10_000;

/// Assumed where neither target nor torque before is known, as for a first angle stage alone: 20 N·m.
const SCALE_UNKNOWN: Torque = Torque::from_millinewton_meters(20_000);

impl Thresholds {
    pub(super) fn new(aim: &Aim, limits: &CurveLimits, start: &Start) -> Self {
        let scale = scale(aim, start);
        let target = scale.millinewton_meters();
        let running = start.running.millinewton_meters().max(0);
        let part = |percent: u8| scale.scaled(u16::from(percent), 100).millinewton_meters();
        let noise = limits.noise.millinewton_meters().min(1_000_000);
        let given = |value: Torque, otherwise: i32| {
            if value > Torque::ZERO {
                value.millinewton_meters()
            } else {
                otherwise
            }
        };
        let regrip = given(
            limits.regrip,
            scale
                .scaled(1, 20)
                .millinewton_meters()
                .max(noise.wrapping_mul(4))
                .max(1),
        );
        let snug = given(limits.snug, scale.scaled(1, 10).millinewton_meters()).max(regrip);
        let step = scale
            .scaled(1, 8)
            .millinewton_meters()
            .max(noise.wrapping_mul(6))
            .max(1);
        let compliance_most = compliance(limits.train_softest);
        let turn_rise_after = turn_rise_after(aim, limits, start);
        let restart = start
            .restart_expected
            .map_or(0, Torque::millinewton_meters)
            .max(0);
        let gap = u32::try_from(limits.gap.micros()).unwrap_or(u32::MAX);
        let mut own = Self {
            target,
            snug,
            running: 0,
            // A fall from less than a quarter of the target, or from near snug.
            worth_watching: (target >> 2).max(snug.saturating_mul(2)),
            level: Level {
                floor: (target >> 7).max(noise >> 2).max(1),
                ceiling: target >> 1,
                band: scale
                    .scaled(1, 50)
                    .millinewton_meters()
                    .max(noise.wrapping_add(noise >> 1)),
            },
            regrip,
            still_below: restart,
            compliance: compliance(limits.train),
            compliance_most,
            shift: shift(target),
            idle: limits.idle.micros(),
            release: limits.release.micros(),
            quiet: limits.release.micros().min(limits.idle.micros()),
            reaction: ticks(limits.reaction).min(5_000),
            gap,
            gap_least: if gap == 0 { GAP_LEAST_MICROS } else { gap },
            overload: given(limits.overload, i32::MAX),
            gradient_min: i64::from(limits.gradient_min),
            gradient_max: i64::from(limits.gradient_max),
            turn_least: limits.turn_least.millidegrees(),
            late: limits.late.millidegrees(),
            run_down_min: limits.run_down_min.millidegrees(),
            run_down_max: limits.run_down_max.millidegrees(),
            yield_step: step,
            yield_ratio: 1_600_i32
                .checked_div(i32::from(limits.yield_part))
                .unwrap_or(40),
            drop: part(limits.drop_part).max(noise.wrapping_mul(4)),
            drop_turn: limits.drop_turn.millidegrees(),
            tooth: part(limits.tooth_part).max(noise.wrapping_mul(6)),
            teeth: limits.teeth,
            jerk: part(limits.jerk_part).max(noise.wrapping_mul(6)),
            spike: part(limits.spike_part).max(noise.wrapping_mul(6)),
            plateau: scale
                .scaled(1, 64)
                .millinewton_meters()
                .max(noise.wrapping_mul(2)),
            restart_turn: limits.restart_turn.millidegrees(),
            hold: match *aim {
                Aim::Hold { torque, .. } => torque
                    .scaled(u16::from(limits.hold_part), 100)
                    .millinewton_meters(),
                _ => i32::MAX,
            },
            wrong: part(limits.wrong_part).max(regrip.saturating_mul(2)),
            wind_up: wind_up(step, compliance_most),
            turn_rise_after,
            turn_rise_to: turn_rise_to(turn_rise_after, limits, start),
            noise,
        };
        own.raise(running);
        own
    }

    /// Puts this much more running torque in: what counts from snug or up to the target counts on top of it.
    pub(super) fn raise(&mut self, by: i32) {
        for torque in [
            &mut self.target,
            &mut self.snug,
            &mut self.running,
            &mut self.worth_watching,
        ] {
            *torque = torque.saturating_add(by);
        }
        self.shift = shift(self.target);
    }

    /// Makes room for a reading that wanders by `noise`, in mN·m, where it is more than was allowed for. A tooth or a fall of
    /// eight deviations is no noise: in a thousand samples highest and lowest lie six and a half apart.
    pub(super) fn widen(&mut self, noise: i32) {
        if noise > self.noise {
            self.widen_to(noise);
        }
    }

    #[cold]
    #[inline(never)]
    fn widen_to(&mut self, noise: i32) {
        self.noise = noise;
        let times = |factor: i32| noise.wrapping_mul(factor);
        self.regrip = self.regrip.max(times(4));
        // Snug counts on top of the running torque.
        self.snug = self.snug.max(self.regrip.saturating_add(self.running));
        self.level.floor = self.level.floor.max(noise >> 2);
        self.level.band = self.level.band.max(noise.wrapping_add(noise >> 1));
        self.wrong = self.wrong.max(times(8));
        self.drop = self.drop.max(times(8));
        self.tooth = self.tooth.max(times(8));
        self.jerk = self.jerk.max(times(6));
        self.spike = self.spike.max(times(6));
        self.plateau = self.plateau.max(times(2));
        self.yield_step = self.yield_step.max(times(6));
        self.wind_up = wind_up(self.yield_step, self.compliance_most);
    }

    /// Thresholds of a tracker that was never armed.
    pub(super) const IDLE: Self = Self {
        target: 0,
        snug: 0,
        running: 0,
        worth_watching: 0,
        level: Level {
            floor: 0,
            ceiling: 0,
            band: 0,
        },
        regrip: 0,
        still_below: 0,
        compliance: 0,
        compliance_most: 0,
        shift: 0,
        idle: 0,
        release: 0,
        quiet: 0,
        reaction: 0,
        gap: 0,
        gap_least: 0,
        overload: 0,
        gradient_min: 0,
        gradient_max: 0,
        turn_least: 0,
        late: 0,
        run_down_min: 0,
        run_down_max: 0,
        yield_step: 0,
        yield_ratio: 0,
        drop: 0,
        drop_turn: 0,
        tooth: 0,
        teeth: 0,
        jerk: 0,
        spike: 0,
        plateau: 0,
        restart_turn: 0,
        hold: 0,
        wrong: 0,
        wind_up: 0,
        turn_rise_after: 0,
        turn_rise_to: 0,
        noise: 0,
    };
}

/// The largest torque summed, twice the target, then takes 17 bits.
const fn shift(target: i32) -> u32 {
    16_u32.saturating_sub(target.unsigned_abs().leading_zeros())
}

/// Millidegrees per 2²⁰ mN·m of a stiffness in mN·m per degree; zero for zero.
fn compliance(stiffness: u32) -> i64 {
    ratio(1_000_i64 << COMPLIANCE_BITS, u64::from(stiffness))
}

/// Millidegrees that a train winds up by over a torque.
#[inline(never)]
fn wind_up(torque: i32, compliance: i64) -> i32 {
    let wound = i64::from(torque).wrapping_mul(compliance) >> COMPLIANCE_BITS;
    i32::try_from(wound).unwrap_or(i32::MAX)
}

/// Settling of parts at the beginning of a turn, in millidegrees: it need not rise.
const SETTLING: i64 = 10_000;

/// Where a turn is held to its rise; zero where it is not: nothing is known of where it began, it was turned on before and may be
/// at its yield, or it is too short.
#[inline(never)]
fn turn_rise_after(aim: &Aim, limits: &CurveLimits, start: &Start) -> i32 {
    let Aim::Turn { window, .. } = *aim else {
        return 0;
    };
    let known = start
        .restart_expected
        .is_some_and(|torque| torque > Torque::ZERO);
    let is_first = start.turned <= Angle::ZERO;
    let wanted = limits.turn_rise_part > 0 || limits.turn_rise > 0;
    if !known || !is_first || !wanted || window.target < limits.turn_rise_after {
        return 0;
    }
    let most = window.target.scaled(3, 4);
    limits.turn_rise_after.min(most).millidegrees()
}

/// The torque that a turn must have reached there: on average over the [`TURN_RISE_OVER`] before. Zero where it is not held to any.
fn turn_rise_to(after: i32, limits: &CurveLimits, start: &Start) -> i32 {
    if after <= 0 {
        return 0;
    }
    let began = start.restart_expected.unwrap_or(Torque::ZERO);
    // What only overcomes the running torque clamps nothing.
    let part = (began - start.running).scaled(u16::from(limits.turn_rise_part), 100);
    let middle = i64::from(after).wrapping_sub(i64::from(TURN_RISE_OVER) >> 1);
    let turned = middle.wrapping_sub(SETTLING).max(0);
    let rise = ratio(turned.wrapping_mul(i64::from(limits.turn_rise)), 1_000);
    let rise = i32::try_from(rise).unwrap_or(i32::MAX);
    began
        .millinewton_meters()
        .saturating_add(rise.max(part.millinewton_meters()))
}

/// The torque that thresholds without a value of their own are parts of: what clamps, without the running torque.
fn scale(aim: &Aim, start: &Start) -> Torque {
    let own = |torque: Torque| torque - start.running;
    let target = match *aim {
        Aim::Torque { window } | Aim::Repeat { window, .. } => Some(own(window.target)),
        Aim::Turn { torque, .. } => start
            .restart_expected
            .or(torque.map(|torque| torque.target))
            .map(own),
        Aim::Hold { torque, .. } => Some(own(torque)),
        Aim::BackOff { .. } => start.restart_expected,
    };
    target
        .filter(|&torque| torque > Torque::ZERO)
        .unwrap_or(SCALE_UNKNOWN)
}

#[cfg(test)]
mod tests;
