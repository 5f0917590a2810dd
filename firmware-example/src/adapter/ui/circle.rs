//! A bolt circle made by hand: its numbers set with two keys, its stored form, kept in a place of its own.
//!
//! Knows nothing of how the keys are read or the numbers shown.

use evendraw_core::crc::crc32;
use evendraw_core::pattern::cross;
use evendraw_core::procedure::Terms;

use crate::adapter::{
    Adapter, Cue, Display, Flash, Key, Keys, Leave, Port, Power, Readings, Trouble,
};
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

/// The stored form of a bolt circle: half the torque, the torque, then the angle if there is one; across, each time. Written byte by byte as
/// `PROCEDURE.md` says: what serializes any procedure takes 3 KiB of flash more.
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
    let stages: u8 = if degrees > 0 { 3 } else { 2 };
    blob.clear();
    let mut form = Form { blob, fits: true };
    form.bytes(&[VERSION]);
    form.bytes(Terms::DEFAULT_STORED);
    form.bytes(&[count]);
    for number in 1..=count {
        let digits = [b'0' + number / 10, b'0' + number % 10];
        let label = digits.get(usize::from(number < 10)..).unwrap_or(&digits);
        form.bytes(if number < 10 { &[1] } else { &[2] });
        form.bytes(label);
        // No neighbours.
        form.bytes(&[0; 4]);
    }
    form.bytes(&[stages]);
    let torque = u32::from(newton_meters) * 1_000;
    let angle = u32::from(degrees) * 1_000;
    for stage in 0..stages {
        // ±4 %, as plans have it where they say nothing; ±5° of a turn.
        let (target, half, behind): (u32, u32, &[u8]) = match stage {
            // No running torque.
            0 => (torque / 2, torque / 200 * 4, &[0]),
            1 => (torque, torque / 100 * 4, &[0]),
            // No torque window, in as many pulls as it takes.
            _ => (angle, 5_000, &[0, 0]),
        };
        form.bytes(&[u8::from(stage == 2)]);
        for value in [target, target - half, target + half] {
            form.above_zero(value);
        }
        form.bytes(behind);
        // Ask where it ends beyond; in this order, no trial, any evidence.
        form.bytes(&[0; 4]);
    }
    form.number(u32::from(stages) * u32::from(count));
    for stage in 0..stages {
        for &fastener in order.iter() {
            form.bytes(&[fastener, stage]);
        }
    }
    // No other targets.
    form.bytes(&[0]);
    let sum = crc32(0, form.blob);
    form.bytes(&sum.to_le_bytes());
    form.fits
}

/// Version of the stored form that is written here.
const VERSION: u8 = 2;

/// What is written of it so far.
struct Form<'b> {
    blob: &'b mut heapless::Vec<u8, 2560>,
    fits: bool,
}

impl Form<'_> {
    fn bytes(&mut self, bytes: &[u8]) {
        self.fits &= self.blob.extend_from_slice(bytes).is_ok();
    }

    /// Seven bits a byte, the lowest first.
    fn number(&mut self, mut value: u32) {
        while value > 0x7F {
            self.bytes(&[value.to_le_bytes()[0] | 0x80]);
            value >>= 7;
        }
        self.bytes(&[value.to_le_bytes()[0]]);
    }

    /// A torque or an angle that is not negative.
    fn above_zero(&mut self, value: u32) {
        self.number(value * 2);
    }
}

#[cfg(test)]
mod tests {
    use evendraw_core::procedure::{
        AngleWindow, Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms,
        TorqueWindow,
    };
    use evendraw_core::text::Label;
    use evendraw_core::unit::{Angle, Torque};

    use super::circle_form;

    /// The same by the core's own writer.
    fn by_the_core(count: u8, newton_meters: i32, degrees: i32, order: &[u8]) -> Vec<u8> {
        let around = |target: i32, half: i32| [target, target - half, target + half];
        let tighten = |target: i32| {
            let [target, min, max] =
                around(target, target / 100 * 4).map(Torque::from_millinewton_meters);
            Stage::new(StageKind::Tighten {
                window: TorqueWindow { target, min, max },
                prevailing: Prevailing::None,
            })
        };
        let [target, min, max] = around(degrees * 1_000, 5_000).map(Angle::from_millidegrees);
        let turn = Stage::new(StageKind::Turn {
            window: AngleWindow { target, min, max },
            torque: None,
            one_sweep: false,
        });
        let all = [
            tighten(newton_meters * 500),
            tighten(newton_meters * 1_000),
            turn,
        ];
        let stages = &all[..if degrees > 0 { 3 } else { 2 }];
        let fasteners: Vec<Fastener> = (1..=count)
            .map(|number| Fastener {
                label: Label::cut(&number.to_string()),
                near: [None; 4],
            })
            .collect();
        let steps: Vec<Step> = (0..)
            .zip(stages)
            .flat_map(|(stage, _)| order.iter().map(move |&fastener| Step::on(fastener, stage)))
            .collect();
        let parts = Parts {
            fasteners: &fasteners,
            stages,
            steps: &steps,
            overrides: &[],
            terms: Terms::default(),
        };
        parts.encode(&mut [0; 4096]).expect("room").to_vec()
    }

    #[test]
    fn it_is_the_form_that_the_core_writes() {
        let mut blob = heapless::Vec::new();
        for count in 3..=64 {
            for (newton_meters, degrees) in [(2, 0), (64, 90), (200, 180)] {
                assert!(circle_form(count, newton_meters, degrees, &mut blob));
                let mut order = vec![0; usize::from(count)];
                evendraw_core::pattern::cross(&mut order).unwrap();
                let core = by_the_core(count, newton_meters.into(), degrees.into(), &order);
                assert!(
                    *blob == *core,
                    "{count} bolts, {newton_meters} N·m, {degrees}°"
                );
            }
        }
    }

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
