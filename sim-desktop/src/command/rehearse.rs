//! `evendraw rehearse`: works a build on the virtual bench, through the same core as live work.
//!
//! Knows nothing of mechanics or verdicts.

mod bars;
mod injected;
mod needed;
mod picture;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;
use serde_json::json;

use super::named::{fastener, joint, names, tell_attempt};
use super::{CommandError, Done, Output, plan_file};
use crate::bench::{Fault, HandKind};
use crate::job::status::telling::tell_host;
use crate::job::{Job, Told};
use crate::mark::Mark;
use crate::outputs::{self, Over};
use crate::peers;
use crate::plan::{Joint, Plan};
use crate::rehearsal::answers::Answers;
use crate::rehearsal::result::{mean, scatter};
use crate::rehearsal::{JointResult, Options, PassResult, Rehearsal, WorkError};
use crate::store::{Fact, HostFact, Purpose};
use crate::words;

/// Works a build on the virtual bench: every verdict, then the clamp load of every fastener and its scatter.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw rehearse\n  \
        evendraw rehearse pump.toml --joint head --hand hurried --seed 7\n  \
        evendraw rehearse pump.toml --joint head --fault 4=cross-thread\n  \
        evendraw rehearse pump.toml --journal tonight.journal && evendraw sheet tonight.journal -o tonight.html\n  \
        evendraw rehearse --joint impeller --answer \"wear ring gap=0.5 mm\"\n\n\
        The plan's questions (condition, parts, checks) are answered with yes unless told otherwise, and the answers are\n\
        recorded. The same seed gives the same records. A journal that exists is gone on with where it stopped.\n\
        A rehearsal can never be written into the journal of a job.\n\
        Scatter is the standard deviation of the clamp loads over their mean; for several joints, the largest.")]
pub(super) struct Args {
    /// The plan; the built-in demo build when none is answers.
    plan: Option<PathBuf>,
    /// Only this joint, whatever the others say. All joints in build order otherwise.
    #[arg(long, value_name = "JOINT")]
    joint: Option<String>,
    /// What chance is drawn from.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Who pulls: steady, hurried or jerky.
    #[arg(long, default_value = "steady", value_parser = |text: &str| text.parse::<HandKind>())]
    hand: HandKind,
    /// What is wrong with which fastener: 4=cross-thread, or head/4=stripping. May be given several times. The end says whether it
    /// was noticed, by the curve or beside its peers. Always seen in one curve: already-tight, gritty, stripping. Where the plan gives thread
    /// and grip: cross-thread, bottomed, soft-part, missing-part. Only beyond its yield: wrong-class. Beside at least three like
    /// fasteners: cross-thread, soft-part, missing-part, and mostly oiled.
    #[arg(long, value_name = "F=KIND")]
    fault: Vec<String>,
    /// Makes every torque or angle in this many pulls.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=50))]
    pulls: Option<u32>,
    /// Keeps the records in this file; goes on with it if it exists.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Keeps the samples of every pull in this folder, as trace files.
    #[arg(long, value_name = "DIR")]
    trace: Option<PathBuf>,
    /// Draws clamp loads, torque over angle and the joint from above into this folder, as SVG.
    #[arg(long, value_name = "DIR")]
    svg: Option<PathBuf>,
    /// Replaces earlier pictures and trace files of rehearsals; nothing else is ever written over.
    #[arg(long)]
    force: bool,
    /// Answers one of the plan's questions: condition=no, "gap=0.3 mm". May be given several times.
    #[arg(long, value_name = "KEY=ANSWER")]
    answer: Vec<String>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let existing = args.journal.as_ref().filter(|path| path.exists());
    let given_plan = match (&args.plan, existing) {
        (None, Some(_)) => None,
        (path, _) => Some(plan_file::read(path.as_deref())?),
    };
    let job = match (existing, given_plan, &args.journal) {
        (Some(path), given, _) => take_up(path, given.as_ref())?,
        (None, Some(plan), Some(path)) => Job::create(path, plan, Purpose::Rehearsal)?,
        (None, Some(plan), None) => Job::unkept(plan, Purpose::Rehearsal),
        (None, None, _) => return Err(CommandError::bad("no plan")),
    };
    let only = match &args.joint {
        Some(id) => Some(joint(job.plan(), Some(id))?.number()),
        None => None,
    };
    let over = Over::ours_if(args.force);
    may_write(args, job.plan(), over)?;
    let faults = faults(&args.fault, job.plan(), args.joint.as_deref())?;
    let options = Options {
        seed: args.seed,
        hand: args.hand,
        pulls: args.pulls,
        faults: faults.clone(),
        trace_folder: args.trace.clone(),
        keeps_curves: args.svg.is_some(),
    };
    let person = format!("{} hand, seed {}", args.hand, args.seed);
    let answers = Answers::read(&args.answer, job.plan(), &person)?;
    out.speaks_of(job.plan())?;
    out.line(format_args!(
        "REHEARSAL on the virtual bench: {}; {} hand, seed {}",
        job.plan().build().title,
        args.hand,
        args.seed
    ))?;
    work(
        Rehearsal::new(job, options, answers),
        only,
        &faults,
        args.svg.as_deref().map(|folder| (folder, over)),
        out,
    )
}

/// Whether pictures and trace files may be written where they are wanted: asked before the work, not after it.
fn may_write(args: &Args, plan: &Plan, over: Over) -> Result<(), CommandError> {
    for folder in [&args.svg, &args.trace].into_iter().flatten() {
        outputs::folder(folder)?;
    }
    if let Some(folder) = &args.svg {
        for joint in plan.joints() {
            picture::may_write(folder, joint, over)?;
        }
    }
    if let Some(folder) = &args.trace {
        let traces = std::fs::read_dir(folder)
            .map_err(|error| CommandError::file("read", folder, &error))?
            .flatten()
            .map(|entry| entry.path())
            .filter(|path| path.extension().is_some_and(|end| end == "csv"));
        for path in traces {
            outputs::may_write(&path, over)?;
        }
    }
    Ok(())
}

/// A rehearsal that was stopped, with the plan in its journal.
fn take_up(path: &Path, given: Option<&Plan>) -> Result<Job, CommandError> {
    let job = Job::open(path, Purpose::Rehearsal)?;
    if let Some(given) = given
        && given.text() != job.plan().text()
    {
        return Err(CommandError::bad(format!(
            "{} was rehearsed to another text than {} has now; leave the plan out to go on, or name a new journal",
            path.display(),
            given.name()
        )));
    }
    Ok(job)
}

fn faults(
    texts: &[String],
    plan: &Plan,
    only: Option<&str>,
) -> Result<Vec<(u8, u8, Fault)>, CommandError> {
    let mut faults = Vec::new();
    for text in texts {
        let from = format!("--fault {text}");
        let Some((place, kind)) = text.split_once('=') else {
            return Err(CommandError::bad(format!(
                "{from}: allowed is FASTENER=KIND, like 4=cross-thread"
            )));
        };
        let kind: Fault = kind
            .parse()
            .map_err(|error| CommandError::bad(format!("{from}: {error}")))?;
        let (id, label) = match place.split_once('/') {
            Some((id, label)) => (Some(id.trim()), label.trim()),
            None => (only, place.trim()),
        };
        if id.is_none() && plan.joints().len() > 1 {
            return Err(CommandError::bad(format!(
                "{from}: which joint? allowed is JOINT/FASTENER=KIND, like {}/{label}={kind}, or --joint",
                plan.joints().first().map_or("head", |joint| joint.id())
            )));
        }
        let own = joint(plan, id).map_err(|error| CommandError::bad(format!("{from}: {error}")))?;
        faults.push((own.number(), fastener(own, label, &from)?, kind));
    }
    Ok(faults)
}

fn work(
    mut rehearsal: Rehearsal,
    only: Option<u8>,
    faults: &[(u8, u8, Fault)],
    pictures: Option<(&Path, Over)>,
    out: &mut Output<'_>,
) -> Result<Done, CommandError> {
    match only {
        Some(joint) => rehearsal.job_mut().work_alone(joint)?,
        None => rehearsal.open_all()?,
    }
    let mut whole = JointResult::default();
    let mut widest: Option<f64> = None;
    let mut tried: Vec<u8> = Vec::new();
    let mut results: BTreeMap<u8, JointResult> = BTreeMap::new();
    do_tasks(&mut rehearsal, only, out)?;
    while let Some(number) = next(rehearsal.job(), only, &tried) {
        tried.push(number);
        let title = rehearsal
            .job()
            .joint(number)
            .map_or_else(String::new, |joint| {
                format!("\n{} ({})", joint.title(), joint.id())
            });
        out.line(title)?;
        let result = rehearsal.work(number, &mut |job: &Job, told: &Told| {
            announce(job, told, out)
        });
        let result = result.map_err(|error| match error {
            WorkError::Told(error) => error,
            other => CommandError::bad(other.to_string()),
        })?;
        tell_joint(rehearsal.job(), number, &result, out)?;
        if let (Some((folder, over)), Some(joint)) = (pictures, rehearsal.job().joint(number)) {
            for path in picture::write(folder, joint, &result, over)? {
                out.remark(format_args!("picture: {}", path.display()));
            }
        }
        widest = match (widest, result.scatter()) {
            (Some(one), Some(other)) => Some(one.max(other)),
            (one, other) => one.or(other),
        };
        whole.accepted += result.accepted;
        whole.rejected += result.rejected;
        whole.unknown += result.unknown;
        whole.seconds += result.seconds;
        results.insert(number, result);
        do_tasks(&mut rehearsal, only, out)?;
    }
    needed::tell(rehearsal.job(), only, out)?;
    let unfinished = unfinished(rehearsal.job(), only);
    for (title, why) in &unfinished {
        out.line(format_args!("\nnot finished: {title}: {why}"))?;
    }
    out.object(&json!({
        "record": "summary",
        "scatter": widest,
        "accepted": whole.accepted,
        "rejected": whole.rejected,
        "unknown": whole.unknown,
        "unfinished": unfinished.len(),
        "seconds": rounded(whole.seconds, 1e3),
    }))?;
    out.line(format_args!(
        "\n{} accepted, {} rejected, {} unknown; {} of simulated work",
        whole.accepted,
        whole.rejected,
        whole.unknown,
        whole_seconds(whole.seconds)
    ))?;
    injected::tell(rehearsal.job(), faults, &results, out)?;
    Ok(Done::rejected_if(
        whole.rejected + whole.unknown > 0 || !unfinished.is_empty(),
    ))
}

/// In a whole build the tasks are done as they come; a joint by itself needs none.
fn do_tasks(
    rehearsal: &mut Rehearsal,
    only: Option<u8>,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    if only.is_some() {
        return Ok(());
    }
    let before = rehearsal.job().facts().len();
    rehearsal.do_tasks()?;
    let names = names(rehearsal.job());
    let facts = rehearsal.job().facts();
    for fact in facts.iter().skip(before) {
        if let Fact::Host(fact @ HostFact::TaskDone { .. }) = fact
            && let Some((object, line)) = tell_host(&names, fact)
        {
            out.object(&object)?;
            out.line(format_args!("\n{line}"))?;
        }
    }
    Ok(())
}

/// The joint to go on with: begun ones first, then what may be started, in the order of the build.
fn next(job: &Job, only: Option<u8>, tried: &[u8]) -> Option<u8> {
    let is_left = |joint: &u8| !tried.contains(joint);
    if only.is_some() {
        return only.filter(is_left);
    }
    let progress = job.progress();
    progress.next().filter(is_left).or_else(|| {
        let workable = progress
            .joints()
            .iter()
            .filter(|joint| !matches!(joint.state, Mark::Waiting | Mark::Final));
        workable.map(|joint| joint.joint).find(is_left)
    })
}

fn unfinished(job: &Job, only: Option<u8>) -> Vec<(String, String)> {
    let progress = job.progress();
    let open = progress
        .joints()
        .iter()
        .filter(|joint| joint.state != Mark::Final);
    let tasks = job.plan().tasks().iter().zip(progress.tasks());
    let tasks = tasks
        .filter(|(_, state)| only.is_none() && state.state != Mark::Final)
        .map(|(task, state)| {
            let why = format!("{}, {}", state.word(), state.why());
            (task.title().to_owned(), why)
        });
    open.filter(|joint| only.is_none_or(|only| only == joint.joint))
        .map(|state| {
            let title = job
                .joint(state.joint)
                .map_or_else(String::new, |joint| joint.title().to_owned());
            (title, format!("{}, {}", state.state.word(), state.why()))
        })
        .chain(tasks)
        .collect()
}

/// A verdict whose record is safe; it leaves the program at once.
fn announce(job: &Job, told: &Told, out: &mut Output<'_>) -> Result<(), CommandError> {
    tell_attempt(job, told, "  ", out)?;
    if let Some(why) = &told.curve_lost {
        out.remark(format_args!(
            "the curve of this pull is not kept, its verdict is: {why}"
        ));
    }
    out.flush()
}

fn tell_joint(
    job: &Job,
    number: u8,
    result: &JointResult,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let Some(joint) = job.joint(number) else {
        return Ok(());
    };
    let names = names(job);
    for peer in job.peers(number) {
        out.object(&peers::object(&names, number, &peer))?;
        out.line(format_args!("  {}", peers::line(&names, number, &peer)))?;
    }
    for &(fastener, clamp) in &result.clamps_kn {
        out.object(&json!({
            "record": "clamp",
            "joint": joint.id(),
            "fastener": joint.label(fastener),
            "clamp_kN": rounded(clamp, 1e3),
        }))?;
    }
    for pass in &result.passes {
        tell_pass(joint, pass, out)?;
    }
    for line in bars::lines(joint, &result.passes) {
        out.line(line)?;
    }
    tell_end(job, joint, result, out)?;
    if let Some(why) = &result.stopped {
        out.line(format_args!("  stopped: {why}"))?;
    }
    Ok(())
}

fn tell_pass(joint: &Joint, pass: &PassResult, out: &mut Output<'_>) -> Result<(), CommandError> {
    for &(fastener, clamp) in &pass.clamps_kn {
        out.object(&json!({
            "record": "clamp-after-pass",
            "joint": joint.id(),
            "stage": u32::from(pass.stage) + 1,
            "round": pass.round,
            "fastener": joint.label(fastener),
            "clamp_kN": rounded(clamp, 1e3),
        }))?;
    }
    out.object(&json!({
        "record": "pass",
        "joint": joint.id(),
        "stage": u32::from(pass.stage) + 1,
        "round": pass.round,
        "mean_kN": rounded(mean(&pass.clamps_kn), 1e3),
        "scatter": pass.scatter(),
        "embedding_um": rounded(pass.embedding_um, 1e2),
        "seconds": rounded(pass.seconds, 1e3),
    }))
}

/// What the joint came to: the tightest fastener beside its proof load, an hour's standing, the windows of time.
fn tell_end(
    job: &Job,
    joint: &Joint,
    result: &JointResult,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let tightest = result
        .clamps_kn
        .iter()
        .max_by(|one, other| one.1.total_cmp(&other.1));
    if let (Some(&(fastener, most)), Some(proof)) =
        (tightest, result.proof_kn.filter(|proof| *proof > 0.0))
    {
        let share = most / proof;
        let is_turned = job
            .joint_plan(joint.number())
            .is_some_and(|plan| plan.stages.iter().any(|stage| stage.word == "turn"));
        out.line(format_args!(
            "  tightest: {} with {most:.1} kN, {:.0} % of its proof load{}",
            joint.label(fastener),
            share * 100.0,
            match share > PROOF_SHARE_MAX {
                true if is_turned => ", as turning on by an angle may bring it to",
                true => ": HIGH, look at friction and class",
                false => "",
            }
        ))?;
        out.object(&json!({
            "record": "tightest", "joint": joint.id(), "fastener": joint.label(fastener),
            "clamp_kN": rounded(most, 1e3), "of_proof": rounded(share, 1e4),
        }))?;
    }
    let (now, later) = (mean(&result.clamps_kn), mean(&result.stood_kn));
    // Of a joint that was left, most hold nothing.
    if now > 0.0 && result.stopped.is_none() {
        out.line(format_args!(
            "  after standing an hour: mean {later:.1} kN ({:+.1} %){}",
            // Adding zero takes the sign off a zero.
            ((later / now - 1.0) * 1e3).round() / 10.0 + 0.0,
            scatter(&result.stood_kn).map_or_else(String::new, |part| format!(
                ", scatter {:.1} %",
                part * 100.0
            ))
        ))?;
        out.object(&json!({
            "record": "stood", "joint": joint.id(), "mean_kN": rounded(later, 1e3), "scatter": scatter(&result.stood_kn),
        }))?;
    }
    for window in &result.windows {
        let words = job
            .joint_plan(joint.number())
            .and_then(|plan| plan.stage(window.stage)?.time.clone())
            .unwrap_or_default();
        out.line(format_args!(
            "  {words}: took {}{}",
            words::seconds(window.took_s),
            match window.allowed_s.checked_sub(window.took_s) {
                Some(spare) => format!(", {} to spare", words::seconds(spare)),
                None => format!(
                    ", TOO LONG by {}",
                    words::seconds(window.took_s - window.allowed_s)
                ),
            }
        ))?;
        out.object(&json!({
            "record": "window", "joint": joint.id(), "stage": u32::from(window.stage) + 1, "text": words,
            "took_s": window.took_s, "allowed_s": window.allowed_s, "verdict": words::verdict(window.verdict),
        }))?;
    }
    out.line(format_args!("  time: {}", whole_seconds(result.seconds)))?;
    out.object(
        &json!({ "record": "time", "joint": joint.id(), "seconds": rounded(result.seconds, 1e3) }),
    )
}

/// Share of its proof load above which a fastener is pointed at. [90 % of proof for permanent joints: Shigley eq. 8-31]
const PROOF_SHARE_MAX: f64 = 0.9;

fn rounded(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

fn whole_seconds(value: f64) -> String {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "simulated seconds, never negative"
    )]
    words::seconds(value.round() as u64)
}
