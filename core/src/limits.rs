//! Every capacity in one table, each with its reason.
//!
//! A procedure that needs more is refused with the size it needs; nothing is cut short.

/// Fasteners in one joint: the largest pattern in common flange tables has 64 or fewer bolts; an engine's largest group 30.
pub const FASTENERS_MAX: usize = 64;
/// Stages of one procedure: real ones met so far have at most 12.
pub const STAGES_MAX: usize = 16;
/// Steps (fastener × stage): every fastener at every stage.
pub const STEPS_MAX: usize = 1024;
/// Targets that differ from their stage's, over all stages.
pub const OVERRIDES_MAX: usize = 64;
/// Bytes of a position label.
pub const LABEL_MAX: usize = 8;
/// Bytes of a short text in a record: a name, a reason, a note.
pub const TEXT_MAX: usize = 48;
/// Entries that one input can make.
pub const ENTRIES_MAX: usize = 6;
/// Points kept of one pull.
pub const TRACE_POINTS_MAX: usize = 64;
/// Attempts counted per fastener and stage before the count stays at its end.
pub const ATTEMPTS_MAX: u8 = 31;
/// Named moments of a plan that one joint can wait for.
pub const MOMENTS_MAX: usize = 8;
/// Bytes of the longest payload of a frame: a host's text goes in pieces of this size.
pub const PAYLOAD_MAX: usize = 512;
/// Bytes of the longest record's payload: two names of 48 bytes and numbers beside them.
pub const RECORD_MAX: usize = 128;
