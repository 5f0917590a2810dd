//! The states of a fastener, a stage or a joint as word and shape; colour only repeats them.
//!
//! Knows nothing of where a state comes from.

use maud::{Markup, PreEscaped, html};

/// A state that a sheet shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Not done.
    Open,
    /// Begun, not finished.
    InHand,
    /// Done and accepted.
    Done,
    /// An attempt inside every limit.
    Accepted,
    /// Told and not measured: from paper, or seen by a mark on the metal.
    Unmeasured,
    /// Left out or left as it is, on a name and reason.
    Waived,
    /// Outside its limits.
    Rejected,
    /// Cannot be known, or felt wrong.
    Doubtful,
    /// Was done, and was spoilt since.
    Disturbed,
    /// A trial that must come apart.
    MockUp,
    /// Due after running.
    Due,
    /// Waiting for a part or another joint.
    Held,
}

impl Mark {
    /// Every state of a fastener or joint, in the order that the legend lists them.
    pub const ALL: [Self; 11] = [
        Self::Done,
        Self::Open,
        Self::InHand,
        Self::Rejected,
        Self::Doubtful,
        Self::Disturbed,
        Self::MockUp,
        Self::Unmeasured,
        Self::Waived,
        Self::Due,
        Self::Held,
    ];

    /// In a word or two.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::InHand => "in hand",
            Self::Done => "final",
            Self::Accepted => "accepted",
            Self::Unmeasured => "unmeasured",
            Self::Waived => "waived",
            Self::Rejected => "rejected",
            Self::Doubtful => "doubtful",
            Self::Disturbed => "disturbed",
            Self::MockUp => "mock-up",
            Self::Due => "retorque due",
            Self::Held => "held",
        }
    }

    /// Name of its symbol and its style.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::InHand => "inhand",
            Self::Done => "done",
            Self::Accepted => "accepted",
            Self::Unmeasured => "unmeasured",
            Self::Waived => "waived",
            Self::Rejected => "rejected",
            Self::Doubtful => "doubtful",
            Self::Disturbed => "disturbed",
            Self::MockUp => "mockup",
            Self::Due => "due",
            Self::Held => "held",
        }
    }

    /// One letter for plain text.
    pub(super) const fn letter(self) -> char {
        match self {
            Self::Open => '.',
            Self::InHand => '~',
            Self::Done | Self::Accepted => '+',
            Self::Unmeasured => 'p',
            Self::Waived => 'w',
            Self::Rejected => '!',
            Self::Doubtful => '?',
            Self::Disturbed => 'x',
            Self::MockUp => 'm',
            Self::Due => 'd',
            Self::Held => 'h',
        }
    }

    /// The drawing of the shape, in a box from -10 to 10.
    const fn shape(self) -> &'static str {
        match self {
            Self::Open => {
                r#"<circle r="7.5" fill="none" stroke="currentColor" stroke-width="1.8"/>"#
            }
            Self::InHand => {
                r#"<circle r="7.5" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M0-7.5a7.5 7.5 0 0 1 0 15z" fill="currentColor"/>"#
            }
            Self::Done | Self::Accepted => {
                r#"<circle r="8.4" fill="currentColor"/><path d="M-4 .4-1.2 3.3 4.2-3" fill="none" stroke="white" stroke-width="2.2" stroke-linecap="round" stroke-linejoin="round"/>"#
            }
            Self::Unmeasured => {
                r#"<rect x="-7" y="-7" width="14" height="14" rx="1" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M-3.6.2-1 2.9 3.8-2.8" fill="none" stroke="currentColor" stroke-width="1.8"/>"#
            }
            Self::Waived => {
                r#"<circle r="7.5" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M-5.3 5.3 5.3-5.3" stroke="currentColor" stroke-width="1.8"/>"#
            }
            Self::Rejected => {
                r#"<path d="M0-8.6 8.8 7H-8.8z" fill="currentColor"/><path d="M0-3.4V2.4M0 4.3v1.3" stroke="white" stroke-width="2" stroke-linecap="butt"/>"#
            }
            Self::Doubtful => {
                r#"<path d="M0-9 9 0 0 9-9 0z" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M-2.4-1.9A2.4 2.4 0 1 1 .6.6Q0 1 0 2.2M0 3.7v1.5" fill="none" stroke="currentColor" stroke-width="1.7"/>"#
            }
            Self::Disturbed => {
                r#"<rect x="-7.4" y="-7.4" width="14.8" height="14.8" fill="currentColor"/><path d="M-3.8-3.8 3.8 3.8M-3.8 3.8 3.8-3.8" stroke="white" stroke-width="2"/>"#
            }
            Self::MockUp => {
                r#"<circle r="7.5" fill="none" stroke="currentColor" stroke-width="1.8" stroke-dasharray="3 2.2"/><path d="M-3 3.4V-3L0 1l3-4v6.4" fill="none" stroke="currentColor" stroke-width="1.6"/>"#
            }
            Self::Due => {
                r#"<circle r="7.5" fill="none" stroke="currentColor" stroke-width="1.8"/><path d="M0-4.4V.4L3.4 2.6" fill="none" stroke="currentColor" stroke-width="1.8"/>"#
            }
            Self::Held => {
                r#"<path d="M-5-8h10M-5 8h10M-4.4-8C-4.4-2 4.4-2 4.4 8M4.4-8C4.4-2-4.4-2-4.4 8" fill="none" stroke="currentColor" stroke-width="1.7"/>"#
            }
        }
    }
}

/// The shape alone.
pub(super) fn shape(mark: Mark) -> Markup {
    html! {
        svg.mark.(mark.name()) viewBox="-10 -10 20 20" role="img" aria-label=(mark.word()) {
            use href=(format!("#mark-{}", mark.name())) {}
        }
    }
}

/// Shape and word.
pub(super) fn badge(mark: Mark) -> Markup {
    html! { span.badge.(mark.name()) { (shape(mark)) (mark.word()) } }
}

/// The drawings that [`shape`] refers to: once a page.
pub(super) fn symbols() -> Markup {
    html! {
        svg.symbols width="0" height="0" aria-hidden="true" {
            defs { @for mark in Mark::ALL.into_iter().chain([Mark::Accepted]) { g id=(format!("mark-{}", mark.name())) { (PreEscaped(mark.shape())) } } }
        }
    }
}
