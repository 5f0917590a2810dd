//! Reads one stage: the keys that every stage has, then those of its kind.

use evendraw_core::procedure::{
    Evidence, Override, OverrideAim, Policy, Stage, StageKind, TorqueWindow,
};
use evendraw_core::unit::Angle;

use super::evidence::{evidence, evidence_word};
use super::kind::Kind;
use super::names::{order, places, policy, together};
use super::{KINDS, StagePlan};
use crate::limits::{STAGE_TOOLS_MAX, counted};
use crate::plan::place::Order;
use crate::plan::quantity::angle;
use crate::plan::tree::{Choice, Node, Reader, Typed};

/// What a stage needs to know of its joint while it is read.
pub(in crate::plan) struct Around<'a> {
    /// The joint's title or id, for messages.
    pub(in crate::plan) joint: &'a str,
    pub(in crate::plan) labels: &'a [String],
    pub(in crate::plan) groups: &'a [(String, Vec<u8>)],
    /// Names of stages with their written number, from 1.
    pub(in crate::plan) names: &'a [(String, usize)],
    /// Number of a written stage in the procedure, from 0; none when the answers leave it out.
    pub(in crate::plan) effective: &'a [Option<u8>],
    pub(in crate::plan) choice: &'a Choice,
    pub(in crate::plan) together: &'a [(u8, u8)],
    /// The running torque that the joint says for every stage.
    pub(in crate::plan) prevailing: Option<&'a Typed<'a>>,
    /// Every moment named in the build so far.
    pub(in crate::plan) moments: &'a mut Vec<String>,
    /// An earlier stage could not be read: what is missed may have stood there.
    pub(in crate::plan) is_broken: bool,
}

/// What was read of one stage.
pub(in crate::plan) struct Read {
    pub(in crate::plan) stage: Stage,
    pub(in crate::plan) plan: StagePlan,
    pub(in crate::plan) overrides: Vec<(u8, OverrideAim)>,
    /// Fasteners asked for, as listed; `None` for all.
    pub(in crate::plan) on: Option<Vec<u8>>,
    pub(in crate::plan) whole_joint: bool,
    pub(in crate::plan) sum_max: Option<Angle>,
    /// The pass that a `repeat` after this one repeats.
    pub(in crate::plan) pass: Option<Pass>,
}

/// A torque pass that can be repeated.
#[derive(Clone)]
pub(in crate::plan) struct Pass {
    /// Without a running torque, as every window of a plan.
    pub(super) window: TorqueWindow,
    pub(super) target: Option<String>,
    pub(super) overrides: Vec<(u8, OverrideAim)>,
    pub(super) each: Vec<(u8, String)>,
    pub(super) on: Option<Vec<u8>>,
}

/// Keys that stages know, with the kinds they belong to; for a key in the wrong place.
const KEYS: [(&str, &str); 22] = [
    ("torque", "tighten, turn, hold, repeat, align, retorque"),
    ("printed", "tighten, hold, align, retorque"),
    ("angle", "turn, back-off"),
    ("to", "back-off"),
    ("seconds", "hold"),
    ("still", "repeat, hold"),
    ("min", "repeat"),
    ("max", "repeat"),
    ("turns", "start-by-hand"),
    ("ask", "check, measure"),
    ("per", "check, measure"),
    ("length", "measure"),
    ("on_under", "measure"),
    ("at_least", "wait"),
    ("at_most", "wait"),
    ("after", "wait, retorque"),
    ("engine", "retorque"),
    ("one_sweep", "turn"),
    ("prevailing", "tighten, and the joint"),
    ("sum_max", "turn"),
    ("each", "tighten, turn, align, retorque"),
    ("within", "tighten, turn, measure, align, retorque"),
];

/// The stage kinds that have a key; empty for a key that all have.
pub(in crate::plan) fn kinds_with(key: &str) -> Vec<&'static str> {
    let words = KEYS.iter().find(|(own, _)| *own == key);
    let words = words.map_or("", |(_, kinds)| *kinds).split(", ");
    words.filter(|word| KINDS.contains(word)).collect()
}

/// Reads one stage. `before` is the pass that a `repeat` would repeat.
pub(in crate::plan) fn read(
    node: &Node<'_>,
    written: usize,
    around: &mut Around<'_>,
    before: Option<&Pass>,
) -> Option<Read> {
    let of = format!("stage {written} of joint `{}`", around.joint);
    let mut reader = Reader::of_node(of, node, around.choice)?;
    let word = reader.needed_text("do")?;
    let Some(&word) = KINDS.iter().find(|kind| **kind == word.text) else {
        let near = word.place.to.closest(&word.text, KINDS.iter().copied());
        word.place.error(
            format!("unknown stage kind `{}`", word.text),
            "here",
            match near {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("kinds: {}", KINDS.join(", ")),
            },
        );
        return None;
    };
    let mut plan = StagePlan {
        word,
        place: node.place.bytes(),
        ..StagePlan::default()
    };
    plan.name = reader.text("name").map(|name| name.text);
    plan.note = reader.text("note").map(|note| note.text);
    let tools = reader.texts("tool");
    if tools.len() > STAGE_TOOLS_MAX {
        reader.key_place("tool").error(
            format!("{} tools for one stage", counted(tools.len())),
            "here",
            format!("at most {STAGE_TOOLS_MAX}"),
        );
    }
    plan.tools = tools
        .into_iter()
        .take(STAGE_TOOLS_MAX)
        .map(|tool| tool.text)
        .collect();
    // Read by the joint, which decides whether the stage is done at all.
    let _ = reader.raw("only");
    // Read with the joint's lines.
    let _ = reader.raw("checked");
    let on = places(&mut reader, "on", around);
    let order = order(&mut reader, around);
    plan.together = together(&mut reader, around);
    if plan.together.is_empty() {
        plan.together = around.together.to_vec();
    }
    let mock_up = reader.flag("mock_up").unwrap_or(false);
    let evidence = evidence(&mut reader, word);
    let sum_max = (word == "turn")
        .then(|| reader.text("sum_max"))
        .flatten()
        .and_then(|typed| angle(&typed));
    let (on_over, on_over_text) = policy(&mut reader, "on_over", around);
    plan.on_over = on_over_text;

    let mut done = Kind {
        reader,
        around,
        plan,
        overrides: Vec::new(),
        whole_joint: false,
        on_under: Policy::Ask,
    };
    let kind = done.read(word, on.as_deref(), before);
    let Kind {
        reader,
        mut plan,
        overrides,
        whole_joint,
        on_under,
        ..
    } = done;
    reader.finish(|key| {
        KEYS.iter()
            .find(|(own, _)| *own == key)
            .map(|(own, kinds)| format!("`{own}` belongs to {kinds}; this stage is `{word}`"))
    });
    let kind = kind?;
    let any_order = order == Some(Order::Any);
    plan.mock_up = mock_up;
    plan.evidence = (evidence != Evidence::Any).then(|| evidence_word(evidence));
    plan.order = order;
    let mut stage = Stage::new(kind);
    stage.on_over = on_over;
    stage.on_under = on_under;
    stage.any_order = any_order;
    stage.mock_up = mock_up;
    stage.evidence = evidence;
    let pass = match kind {
        StageKind::Tighten { window, .. } => Some(Pass {
            window,
            target: plan.target.clone(),
            overrides: overrides.clone(),
            each: plan.each.clone(),
            on: on.clone(),
        }),
        _ => None,
    };
    let on = match (kind, on, before) {
        (StageKind::Repeat { .. }, None, Some(pass)) => pass.on.clone(),
        (_, on, _) => on,
    };
    Some(Read {
        stage,
        plan,
        overrides,
        on,
        whole_joint,
        sum_max,
        pass,
    })
}

/// Targets of single fasteners, for the core.
pub(in crate::plan) fn overrides_of(read: &Read, stage: u8, places: &[u8]) -> Vec<Override> {
    read.overrides
        .iter()
        .filter(|(fastener, _)| places.contains(fastener))
        .map(|&(fastener, aim)| Override {
            fastener,
            stage,
            aim,
        })
        .collect()
}
