//! What the adapter's own calibration is: found at a start, taken while it runs, named in the journal.
//!
//! Knows nothing of how one is made.

use evendraw_core::link::{Reply, Sums};
use evendraw_core::procedure::Procedure;
use evendraw_core::record::RULES;
use evendraw_core::sample::{Calibration, Counts, KEPT_BYTES, Kept, Numbers, Sensing};
use evendraw_core::session::{Input, Session};
use evendraw_core::unit::Instant;

use super::{Adapter, Cue, Display, Flash, Keys, Port, Power, Readings};
use crate::slots::{CALIBRATIONS, Held, SLOTS, Slots};

/// The bytes of the newest calibration that is held.
fn newest<'r, F: Flash>(
    slots: &Slots,
    flash: &mut F,
    held: Held,
    room: &'r mut [u8; KEPT_BYTES],
) -> Option<Kept<'r>> {
    slots.read(flash, held, 0, room)?;
    Kept::from_bytes(room)
}

/// The plate's calibration with what is held put in; the plate's where that is none.
#[inline(never)]
fn with_held<F: Flash>(
    slots: &Slots,
    flash: &mut F,
    held: Held,
    plate: Calibration,
) -> Option<Calibration> {
    let mut room = [0; KEPT_BYTES];
    let kept = newest(slots, flash, held, &mut room)?;
    Calibration::new(Numbers {
        zero: kept.zero,
        scale: kept.scale,
        rate_scale: kept.rate_scale,
        ..*plate.numbers()
    })
    .ok()
}

/// What the adapter goes by after a start.
pub(super) fn found<F: Flash>(slots: &Slots, flash: &mut F, plate: Calibration) -> Calibration {
    let held = slots.held(CALIBRATIONS);
    held.and_then(|held| with_held(slots, flash, held, plate))
        .unwrap_or(plate)
}

/// No reading yet.
pub(super) fn nothing_yet(by: &Calibration) -> Sums {
    Sums {
        scale: by.numbers().scale,
        rate_scale: by.numbers().rate_scale,
        ..Sums::default()
    }
}

/// One more reading.
pub(super) fn add(sums: &mut Sums, counts: Counts) {
    let since = i64::try_from(counts.at.since(sums.at).micros()).unwrap_or(0);
    sums.at = counts.at;
    sums.readings = sums.readings.wrapping_add(1);
    sums.bridge = sums.bridge.wrapping_add(i64::from(counts.bridge));
    sums.rate = sums
        .rate
        .wrapping_add(i64::from(counts.rate).wrapping_mul(since));
}

impl<F, R, P, C, D, K, W> Adapter<F, R, P, C, D, K, W>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
    W: Power,
{
    /// Whether what was sent is a calibration.
    pub(super) fn is_calibration(&mut self, held: Held) -> bool {
        with_held(
            &self.slots,
            &mut self.parts.flash,
            held,
            self.plate.calibration,
        )
        .is_some()
    }

    /// From here on by the calibration that was just stored.
    pub(super) fn go_by_what_is_held(&mut self) {
        let calibration = found(&self.slots, &mut self.parts.flash, self.plate.calibration);
        self.sensing = Sensing::new(calibration);
        self.sums.scale = calibration.numbers().scale;
        self.sums.rate_scale = calibration.numbers().rate_scale;
    }

    fn held_now<'r>(&mut self, room: &'r mut [u8; KEPT_BYTES]) -> Option<Kept<'r>> {
        let held = self.slots.held(CALIBRATIONS)?;
        newest(&self.slots, &mut self.parts.flash, held, room)
    }

    /// The record of what the readings that follow go by.
    #[inline(never)]
    pub(super) fn note_calibration(&mut self, session: &mut Session<&Procedure>, now: Instant) {
        let mut room = [0; KEPT_BYTES];
        if let Some(kept) = self.held_now(&mut room) {
            self.note(session, now, kept.said);
        }
    }

    /// Names the tool that the adapter is.
    #[inline(never)]
    pub(super) fn name_itself(&mut self, session: &mut Session<&Procedure>, now: Instant) {
        let mut room = [0; KEPT_BYTES];
        let id = self
            .held_now(&mut room)
            .map_or(self.plate.serial, |kept| kept.serial);
        self.apply(session, now, Input::Tool { id, waiver: "" });
    }

    /// Says who it is.
    #[inline(never)]
    pub(super) fn identify(&mut self, nonce: u32) {
        let mut room = [0; KEPT_BYTES];
        let serial = self
            .held_now(&mut room)
            .map_or(self.plate.serial, |kept| kept.serial);
        let identity = evendraw_core::link::Identity {
            nonce,
            boot: self.boot,
            rules: RULES,
            slots: SLOTS,
            last: self.log.stored(),
            capacity: self.plate.calibration.numbers().capacity,
            serial,
            firmware: self.plate.firmware,
        };
        self.reply(&Reply::Identity(identity));
    }
}
