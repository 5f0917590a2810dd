//! A bolt circle made by hand: its numbers set with two keys, its stored form, kept in a place of its own.
//!
//! Knows nothing of how the keys are read or the numbers shown.

use evendraw_core::pattern::cross;
use evendraw_core::procedure::{
    AngleWindow, Fastener, Parts as ProcedureParts, Prevailing, Stage, StageKind, Step as Place,
    Terms, TorqueWindow,
};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Torque};

use crate::adapter::{Adapter, Cue, Display, Flash, Key, Keys, Leave, Port, Readings, Trouble};
use crate::slots::SLOTS;

/// Numbers that make a bolt circle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Circle {
    /// Which number is being set: count, torque, angle.
    field: u8,
    values: [u16; 3],
}

const FIELDS: [&str; 3] = ["Bolts on circle:", "Torque, N.m:", "Then angle, deg:"];
/// First and last value of each number, and the step between.
const RANGES: [(u16, u16, u16); 3] = [(3, 64, 1), (2, 200, 2), (0, 180, 15)];

impl Circle {
    /// Every number at its first value.
    pub(super) fn new() -> Self {
        Self {
            field: 0,
            values: RANGES.map(|(first, ..)| first),
        }
    }

    /// What is being set, and what it is now.
    pub(super) fn shown(&self) -> (&'static str, u16) {
        let field = usize::from(self.field);
        (
            FIELDS.get(field).copied().unwrap_or(""),
            self.values.get(field).copied().unwrap_or(0),
        )
    }

    /// What the key does; the circle to be made, once its last number is taken.
    pub(super) fn pressed(&mut self, key: Key) -> Option<Leave> {
        let field = usize::from(self.field);
        let (first, last, by) = RANGES.get(field).copied().unwrap_or((0, 0, 1));
        if let Some(value) = self.values.get_mut(field)
            && key == Key::No
        {
            *value = if *value + by > last {
                first
            } else {
                *value + by
            };
            return None;
        }
        if field + 1 < RANGES.len() {
            self.field += 1;
            return None;
        }
        let [count, newton_meters, degrees] = self.values;
        Some(Leave::Circle {
            count: u8::try_from(count).unwrap_or(3),
            newton_meters,
            degrees,
        })
    }
}

impl<F, R, P, C, D, K> Adapter<F, R, P, C, D, K>
where
    F: Flash,
    R: Readings,
    P: Port,
    C: Cue,
    D: Display,
    K: Keys,
{
    /// Makes a bolt circle and stores it in the first free place, or the last.
    #[inline(never)]
    pub(in crate::adapter) fn make_circle(
        &mut self,
        count: u8,
        newton_meters: u16,
        degrees: u16,
    ) -> Leave {
        self.settle();
        let place = (0..SLOTS)
            .find(|&place| self.slots.held(place).is_none())
            .unwrap_or(SLOTS - 1);
        let mut blob = heapless::Vec::<u8, 2560>::new();
        if !circle_form(count, newton_meters, degrees, &mut blob) {
            self.trouble = Some(Trouble::Procedure(0));
            return Leave::Rest;
        }
        self.slots.clear();
        let mut offset = 0;
        let mut kept = self.finish_shelf();
        for piece in blob.chunks(evendraw_core::link::PIECE_MAX) {
            self.slots.write(offset, piece);
            kept &= self.finish_shelf();
            offset += u32::try_from(piece.len()).unwrap_or(0);
        }
        let sum = blob.last_chunk().map_or(0, |sum| u32::from_le_bytes(*sum));
        match self.slots.filled(offset, sum) {
            Some(held) if kept => {
                self.slots.commit(place, held);
                if self.finish_shelf() {
                    return Leave::Work {
                        place,
                        joint: place,
                        asked: false,
                    };
                }
            }
            _ => {}
        }
        self.trouble = Some(Trouble::Flash);
        Leave::Rest
    }

    fn finish_shelf(&mut self) -> bool {
        loop {
            match self.slots.advance(&mut self.parts.flash) {
                crate::slots::SlotWrite::Busy => {}
                other => return other == crate::slots::SlotWrite::Done,
            }
        }
    }
}

/// The stored form of a bolt circle: half the torque, the torque, then the angle if there is one; across, each time.
#[inline(never)]
fn circle_form(
    count: u8,
    newton_meters: u16,
    degrees: u16,
    blob: &mut heapless::Vec<u8, 2560>,
) -> bool {
    let mut order = [0; evendraw_core::limits::FASTENERS_MAX];
    let Some(order) = order.get_mut(..usize::from(count)) else {
        return false;
    };
    if cross(order).is_err() {
        return false;
    }
    let tighten = |target: i32| {
        // ±4 %, as plans have it where they say nothing.
        let half = target / 100 * 4;
        Stage::new(StageKind::Tighten {
            window: TorqueWindow {
                target: Torque::from_millinewton_meters(target),
                min: Torque::from_millinewton_meters(target - half),
                max: Torque::from_millinewton_meters(target + half),
            },
            prevailing: Prevailing::None,
        })
    };
    let target = i32::from(newton_meters) * 1_000;
    let angle = i32::from(degrees) * 1_000;
    let turn = Stage::new(StageKind::Turn {
        window: AngleWindow {
            target: Angle::from_millidegrees(angle),
            min: Angle::from_millidegrees(angle - 5_000),
            max: Angle::from_millidegrees(angle + 5_000),
        },
        torque: None,
        one_sweep: false,
    });
    let all = [tighten(target / 2), tighten(target), turn];
    let stages = all.get(..if angle > 0 { 3 } else { 2 }).unwrap_or(&all);
    let mut fasteners = heapless::Vec::<Fastener, { evendraw_core::limits::FASTENERS_MAX }>::new();
    let mut steps = heapless::Vec::<Place, { 3 * evendraw_core::limits::FASTENERS_MAX }>::new();
    for number in 1..=count {
        let digits = [b'0' + number / 10, b'0' + number % 10];
        let label = digits.get(usize::from(number < 10)..).unwrap_or(&digits);
        let fastener = Fastener {
            label: Label::cut(core::str::from_utf8(label).unwrap_or("?")),
            near: [None; 4],
        };
        // As many as the order has.
        let _ = fasteners.push(fastener);
    }
    for stage in 0..u8::try_from(stages.len()).unwrap_or(0) {
        for &fastener in order.iter() {
            let _ = steps.push(Place::on(fastener, stage));
        }
    }
    // The parts are written without making a procedure of them: there is memory for one only.
    let parts = ProcedureParts {
        fasteners: &fasteners,
        stages,
        steps: &steps,
        overrides: &[],
        terms: Terms::default(),
    };
    let _ = blob.resize_default(blob.capacity());
    let length = parts.encode(blob).map(|bytes| bytes.len());
    blob.truncate(length.unwrap_or(0));
    length.is_ok()
}

#[cfg(test)]
mod tests {
    use evendraw_core::procedure::Procedure;

    use super::circle_form;

    #[test]
    fn the_largest_circle_fits_and_the_order_goes_across() {
        let mut blob = heapless::Vec::new();
        for count in [3, 4, 8, 64] {
            assert!(circle_form(count, 40, 90, &mut blob), "{count}");
            let procedure = Procedure::decode(&blob).unwrap();
            assert_eq!(procedure.steps().len(), usize::from(count) * 3);
        }
        // Four bolts: the second is opposite the first.
        assert!(circle_form(4, 40, 0, &mut blob));
        let procedure = Procedure::decode(&blob).unwrap();
        let order: Vec<_> = procedure.steps()[..4]
            .iter()
            .map(|step| step.fastener().unwrap())
            .collect();
        assert_eq!((order[1] + 4 - order[0]) % 4, 2, "{order:?}");
        assert!(!circle_form(2, 40, 0, &mut blob));
        assert!(!circle_form(65, 40, 0, &mut blob));
    }
}
