//! What a person does about a prompt: made with the prompt, handed back by the screen as it is.
//!
//! Each becomes an input or two, and leaves its record. Knows nothing of keys and words.

use evendraw_core::procedure::EngineState;
use evendraw_core::record::Decision;

use crate::store::Purpose;

/// What a person does. Steps, stages and fasteners by index.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// Works on the build, or rehearses it.
    Begin(Purpose),
    /// Would rather open a plan.
    OpenPlan,
    /// Would rather begin a plan.
    NewPlan,
    /// Says who works, as typed.
    Person,
    /// Takes this tool; the one typed where it is empty.
    Tool(String),
    /// Goes on with the tool in hand, for the reason typed.
    WaiveTool,
    /// Answers a question of the plan, by its key.
    Choose(String, String),
    /// Says whether the threads are as the plan assumes.
    Condition(bool),
    /// Did a step by hand.
    ByHand(u16),
    /// Could not start it by hand.
    WillNotStart,
    /// Answers a check.
    Answer(u16, bool),
    /// Measured the length typed.
    Measure(u16),
    /// Typed the length of this record wrong: it stays, and is measured again.
    TypedWrong(u32),
    /// Says the running torque of a fastener, as typed.
    Running(u8),
    /// Says that a moment has come.
    Moment(u8),
    /// Lets time pass on the bench until then, in µs.
    PassTime(u64),
    /// Took the mock-up apart.
    TakenApart,
    /// Says that a retorque is due, and how the engine is.
    Due(u8, EngineState),
    /// Goes back to the build.
    LeaveJoint,
    /// Fitted a new fastener.
    Fitted(u8),
    /// Loosened a fastener.
    Loosened(u8),
    /// Looked at a fastener that felt wrong: it is good.
    LookedAt(u8),
    /// Decides about a step, for the reason typed.
    Decide(u16, Decision),
    /// Decides to start a fastener over, and loosened it.
    Restart(u16, u8),
    /// Decides for a new fastener, and fitted it.
    Replace(u16, u8),
    /// Skips what is open on a fastener, for the reason typed.
    Skip(String),
    /// Has the record stored once more.
    TryAgain,
    /// Says whether the adapter works this joint.
    AtAdapter(bool),
}
