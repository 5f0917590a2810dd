//! How something stands, as one word and one shape: the table that desk, sheet, tag and commands all take theirs from.
//!
//! A shape is a few strokes round a middle, so that screen and paper draw the same one; colour only repeats it. Knows nothing of
//! where a state comes from, nor of what draws it.
//!
//! # Why word and shape before colour
//!
//! *Context:* sheets are copied in black and white. *Choice:* a state is a word and a shape (`mark.rs`: strokes that
//! screen and paper both draw); colour repeats it. Shapes are drawn once a page and referred to, so a page of a whole
//! build stays below 200 kB with every curve.

use serde::{Deserialize, Serialize};

/// How a fastener, a stage, a joint or a single record stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Mark {
    /// Not done.
    #[default]
    Open,
    /// A joint that nothing keeps from being started.
    Ready,
    /// Kept from being started: by another joint, a part, a question.
    Waiting,
    /// Begun, not finished.
    InProgress,
    /// Inside every limit: an attempt, a fastener at the stage in hand, a whole stage.
    Accepted,
    /// Every stage accepted, and nothing has spoilt it since.
    Final,
    /// Told and not measured: from paper, or seen by a mark on the metal.
    Unmeasured,
    /// Left as it is, on a name and a reason.
    Skipped,
    /// The last attempt was outside its limits.
    Rejected,
    /// Cannot be known, or felt wrong.
    Doubtful,
    /// Was done, and was spoilt since.
    Disturbed,
    /// A trial that must come apart again.
    MockUp,
    /// Final but for a retorque after running.
    Due,
}

/// What the colour of a mark says once more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Hue {
    /// Nothing to do, nothing to say.
    Quiet,
    /// Work goes on here.
    Next,
    /// As it should be.
    Good,
    /// Look at it.
    Caution,
    /// Not as it should be.
    Bad,
    /// A trial.
    Trial,
    /// As it should be by somebody's word.
    Told,
}

impl Hue {
    /// The name that a style sheet knows it by.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Quiet => "quietly",
            Self::Next => "going",
            Self::Good => "good",
            Self::Caution => "caution-mark",
            Self::Bad => "bad",
            Self::Trial => "trial",
            Self::Told => "told",
        }
    }
}

/// A point of a shape: to the right and down, in radii from the middle.
pub type Corner = (f32, f32);

/// A stroke of a shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stroke {
    /// A convex area, filled.
    Area(&'static [Corner]),
    /// A closed line.
    Outline(&'static [Corner]),
    /// The same, broken into dashes.
    Dashes(&'static [Corner]),
    /// An open line.
    Line(&'static [Corner]),
    /// An open line in the colour of the ground, on top of an area.
    Cut(&'static [Corner]),
    /// A circle of this radius.
    Ring(f32),
}

/// How wide the lines of a shape are, in radii.
pub const LINE: f32 = 0.2;

/// A hexagon seen from above: the head of a fastener.
pub const HEAD: [Corner; 6] = [
    (1.0, 0.0),
    (0.5, 0.866),
    (-0.5, 0.866),
    (-1.0, 0.0),
    (-0.5, -0.866),
    (0.5, -0.866),
];
const HEAD_HALF: [Corner; 4] = [(1.0, 0.0), (0.5, 0.866), (-0.5, 0.866), (-1.0, 0.0)];
const HEAD_SMALL: [Corner; 6] = [
    (0.72, 0.0),
    (0.36, 0.624),
    (-0.36, 0.624),
    (-0.72, 0.0),
    (-0.36, -0.624),
    (0.36, -0.624),
];
const TICK: [Corner; 3] = [(-0.48, 0.02), (-0.12, 0.4), (0.52, -0.4)];
const TICK_SMALL: [Corner; 3] = [(-0.35, 0.01), (-0.09, 0.29), (0.37, -0.29)];
const SQUARE: [Corner; 4] = [(-0.87, -0.87), (0.87, -0.87), (0.87, 0.87), (-0.87, 0.87)];
const TRIANGLE: [Corner; 3] = [(0.0, -1.0), (1.02, 0.77), (-1.02, 0.77)];

impl Mark {
    /// Every mark, the gravest first: lists of exceptions are in this order.
    pub const ALL: [Self; 13] = [
        Self::Rejected,
        Self::Doubtful,
        Self::Disturbed,
        Self::MockUp,
        Self::Skipped,
        Self::Unmeasured,
        Self::Waiting,
        Self::Due,
        Self::InProgress,
        Self::Open,
        Self::Ready,
        Self::Accepted,
        Self::Final,
    ];

    /// The one word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Ready => "ready",
            Self::Waiting => "waiting",
            Self::InProgress => "in progress",
            Self::Accepted => "accepted",
            Self::Final => "final",
            Self::Unmeasured => "unmeasured",
            Self::Skipped => "skipped",
            Self::Rejected => "rejected",
            Self::Doubtful => "doubtful",
            Self::Disturbed => "disturbed",
            Self::MockUp => "mock-up",
            Self::Due => "retorque due",
        }
    }

    /// How grave it is beside the others: 0 is the gravest.
    #[must_use]
    pub fn gravity(self) -> usize {
        let at = Self::ALL.iter().position(|mark| *mark == self);
        at.unwrap_or(Self::ALL.len())
    }

    /// Whether joints that come after may begin.
    #[must_use]
    pub const fn is_closed(self) -> bool {
        matches!(self, Self::Final | Self::Due)
    }

    /// One letter, where nothing can be drawn.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::Open => '.',
            Self::Ready => '>',
            Self::Waiting => 'h',
            Self::InProgress => '~',
            Self::Accepted | Self::Final => '+',
            Self::Unmeasured => 'p',
            Self::Skipped => 's',
            Self::Rejected => '!',
            Self::Doubtful => '?',
            Self::Disturbed => 'x',
            Self::MockUp => 'm',
            Self::Due => 'd',
        }
    }

    /// The colour that repeats it.
    #[must_use]
    pub const fn hue(self) -> Hue {
        match self {
            Self::Open => Hue::Quiet,
            Self::Ready | Self::InProgress => Hue::Next,
            Self::Accepted | Self::Final => Hue::Good,
            Self::Waiting | Self::Doubtful | Self::Disturbed | Self::Due => Hue::Caution,
            Self::Rejected => Hue::Bad,
            Self::MockUp => Hue::Trial,
            Self::Unmeasured | Self::Skipped => Hue::Told,
        }
    }

    /// The shape, in the order of drawing.
    #[must_use]
    pub const fn shape(self) -> &'static [Stroke] {
        match self {
            Self::Open => &[Stroke::Outline(&HEAD)],
            // The head with the way on in it.
            Self::Ready => &[
                Stroke::Outline(&HEAD),
                Stroke::Area(&[(-0.42, -0.64), (0.68, 0.0), (-0.42, 0.64)]),
            ],
            // Two bars.
            Self::Waiting => &[
                Stroke::Area(&[(-0.63, -0.75), (-0.21, -0.75), (-0.21, 0.75), (-0.63, 0.75)]),
                Stroke::Area(&[(0.21, -0.75), (0.63, -0.75), (0.63, 0.75), (0.21, 0.75)]),
            ],
            // Half full.
            Self::InProgress => &[Stroke::Area(&HEAD_HALF), Stroke::Outline(&HEAD)],
            Self::Accepted => &[Stroke::Area(&HEAD), Stroke::Cut(&TICK)],
            // The same inside a ring.
            Self::Final => &[
                Stroke::Area(&HEAD_SMALL),
                Stroke::Cut(&TICK_SMALL),
                Stroke::Ring(1.0),
            ],
            // A box ticked by hand.
            Self::Unmeasured => &[Stroke::Outline(&SQUARE), Stroke::Line(&TICK)],
            // Struck through.
            Self::Skipped => &[
                Stroke::Ring(0.88),
                Stroke::Line(&[(-0.62, 0.62), (0.62, -0.62)]),
            ],
            Self::Rejected => &[
                Stroke::Area(&SQUARE),
                Stroke::Cut(&[(-0.42, -0.42), (0.42, 0.42)]),
                Stroke::Cut(&[(-0.42, 0.42), (0.42, -0.42)]),
            ],
            // A question.
            Self::Doubtful => &[
                Stroke::Area(&TRIANGLE),
                Stroke::Cut(&[
                    (-0.24, -0.16),
                    (-0.17, -0.34),
                    (0.0, -0.41),
                    (0.18, -0.33),
                    (0.23, -0.15),
                    (0.1, 0.03),
                    (0.0, 0.12),
                    (0.0, 0.28),
                ]),
                Stroke::Cut(&[(0.0, 0.44), (0.0, 0.6)]),
            ],
            // The head with its halves slipped.
            Self::Disturbed => &[
                Stroke::Area(&[
                    (-0.1, -1.04),
                    (-0.1, 0.62),
                    (-0.475, 0.62),
                    (-0.95, -0.21),
                    (-0.475, -1.04),
                ]),
                Stroke::Area(&[
                    (0.1, -0.62),
                    (0.475, -0.62),
                    (0.95, 0.21),
                    (0.475, 1.04),
                    (0.1, 1.04),
                ]),
            ],
            // Dashed, with an M.
            Self::MockUp => &[
                Stroke::Dashes(&SQUARE),
                Stroke::Line(&[
                    (-0.36, 0.46),
                    (-0.36, -0.46),
                    (0.0, 0.08),
                    (0.36, -0.46),
                    (0.36, 0.46),
                ]),
            ],
            // A clock with a quarter run.
            Self::Due => &[
                Stroke::Ring(0.88),
                Stroke::Area(&[(0.0, 0.0), (0.0, -0.88), (0.62, -0.62), (0.88, 0.0)]),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Mark;

    #[test]
    fn no_two_marks_share_a_word_a_shape_or_a_place_in_the_order() {
        for (place, one) in Mark::ALL.into_iter().enumerate() {
            assert_eq!(one.gravity(), place, "{one:?}");
            for other in Mark::ALL.into_iter().skip(place + 1) {
                assert_ne!(one.word(), other.word());
                assert_ne!(one.shape(), other.shape());
            }
        }
    }
}
