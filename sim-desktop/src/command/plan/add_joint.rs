//! `evendraw plan add-joint`: joints put into a plan's text by a script, through the room that the desk writes plans in.
//!
//! Knows nothing of what a joint may hold: the reader of plans says what is wrong, at its field.

use std::path::{Path as File, PathBuf};

use clap::Args as ClapArgs;
use serde_json::json;

use super::super::named::{self, Given};
use super::super::{CommandError, Done, Output};
use crate::disk::{self, Disk as _, Kind, System};
use crate::job::status::{counted, stages_read_back};
use crate::limits::read_plan;
use crate::plan::edit::fields::kind_of;
use crate::plan::edit::item::Item;
use crate::plan::edit::joints::Foreign;
use crate::plan::edit::layout::Path;
use crate::plan::edit::{Document, EditError, Where, table};
use crate::plan::{Joint, Plan, beginnings, report};

#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw plan add-joint pump.toml --like P7 --set id=lid --set stage.1.torque=\"18 lbf·ft\"\n  \
        evendraw plan add-joint pump.toml --from winch.toml --joint drum --set after= --behind head\n  \
        evendraw plan add-joint pump.toml --set id=foot --set positions=\"1 = 0, 0; 2 = 90, 0\" \\\n      \
            --set stage.1.do=tighten --set stage.1.torque=\"60 N·m\" --dry-run\n  \
        evendraw plan add-joint pump.toml --table joints.csv\n\n\
        A key is written as in the plan, with dots: `circle.number`, `stage.2.angle`; stages and blocks\n\
        count from 1, and the next number adds one. Values are written without quotes; nothing behind\n\
        `=` takes the key away. Everything else of the file stays as it is.\n\n\
        Beginnings are the kinds of procedure that manuals contain, P1 to P27. Their figures are\n\
        invented: set every value.")]
pub(super) struct Args {
    /// The plan.
    plan: PathBuf,
    /// Begins the plan: its file must not be there yet.
    #[arg(long)]
    new: bool,
    /// Copies a joint of this plan, or of the plan in this journal.
    #[arg(long, value_name = "OTHER", conflicts_with_all = ["like", "table"])]
    from: Option<PathBuf>,
    /// Which joint of the other plan; needed where it has several.
    #[arg(long, requires = "from")]
    joint: Option<String>,
    /// Starts from this beginning, by number or name: P7 is `torque, then angles`. An unknown one is answered with the list.
    #[arg(long, value_name = "P1…P27", conflicts_with = "table")]
    like: Option<String>,
    /// Adds a joint for each row of a table, with columns parted by semicolons or tabs, whose first row names them: id, thread, torque, unit …
    #[arg(long, value_name = "FILE", conflicts_with = "set")]
    table: Option<PathBuf>,
    /// A value of the joint. May be given several times; they are put in one after the other.
    #[arg(long, value_name = "KEY=VALUE")]
    set: Vec<String>,
    /// Puts it right behind this joint; otherwise it is the last.
    #[arg(long, value_name = "ID", conflicts_with = "before")]
    behind: Option<String>,
    /// Puts it right before this joint.
    #[arg(long, value_name = "ID")]
    before: Option<String>,
    /// Says what would be added, and changes nothing.
    #[arg(long)]
    dry_run: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    let old = old_text(args)?;
    let mut document = Document::new(&old);
    let name = args.plan.display().to_string();
    let read = |text: &str, name: &str| Plan::read(name, text, disk::folder_of(&args.plan));
    if document.layout().is_none() {
        // No joint can be put into it; reading it as a plan says where it is broken.
        read(&old, &name).map_err(CommandError::pointed)?;
    }
    let before = document.joints().len();
    add(args, &mut document)?;
    let count = document.joints().len().saturating_sub(before);
    let text = document.text();
    let plan = read(text, &format!("{name}, as it would be")).map_err(CommandError::pointed)?;
    if !args.dry_run {
        let written = if args.new {
            disk::create(&System, &args.plan, text.as_bytes())
        } else {
            disk::replace(&System, &args.plan, text.as_bytes())
        };
        written.map_err(|error| CommandError::file("write", &args.plan, &error))?;
    }
    tell(&plan, &document, &old, args.dry_run, out)?;
    out.line(format_args!(
        "{}{} added to {name}, {} in all",
        if args.dry_run { "would be: " } else { "" },
        counted(count, "joint"),
        plan.joints().len()
    ))?;
    Ok(Done::Good)
}

fn old_text(args: &Args) -> Result<String, CommandError> {
    let kind = System
        .kind(&args.plan)
        .map_err(|error| CommandError::file("read", &args.plan, &error))?;
    match (args.new, kind) {
        (true, Kind::Nothing) => Ok(String::new()),
        (true, _) => Err(CommandError::bad(format!(
            "--new: {} is there already; without --new the joint is added to it",
            args.plan.display()
        ))),
        (false, Kind::Nothing) => Err(CommandError::bad(format!(
            "cannot read {}: there is no such file; --new begins a plan",
            args.plan.display()
        ))),
        (false, _) => {
            read_plan(&args.plan).map_err(|error| CommandError::file("read", &args.plan, &error))
        }
    }
}

/// Puts the joints in, and the values into them.
fn add(args: &Args, document: &mut Document) -> Result<(), CommandError> {
    let to = place(args, document)?;
    let cannot = |error: EditError| CommandError::bad(error.to_string());
    if let Some(path) = &args.table {
        let text = read_plan(path).map_err(|error| CommandError::file("read", path, &error))?;
        let joints = table::joints(&text)
            .map_err(|error| CommandError::bad(format!("{}: {error}", path.display())))?;
        return document.add_joints(&joints, &to).map(drop).map_err(cannot);
    }
    let added = match (&args.from, &args.like) {
        (Some(other), _) => vec![foreign(other, args.joint.as_deref())?],
        (None, Some(id)) => beginning(id)?,
        (None, None) => vec![Foreign::Item(Item::new())],
    };
    if added.len() > 1 && !args.set.is_empty() {
        return Err(CommandError::bad(format!(
            "--set: {} has {}, and one value cannot be of all of them; it is added without --set",
            args.like.as_deref().unwrap_or_default(),
            counted(added.len(), "joint")
        )));
    }
    let mut to = to;
    for joint in added {
        let path = document.add_foreign(&joint, &to).map_err(cannot)?;
        for set in &args.set {
            put(document, &path, set)?;
        }
        document.free_id(&path).map_err(cannot)?;
        to = Where::After(path);
    }
    Ok(())
}

/// Where the joints go.
fn place(args: &Args, document: &Document) -> Result<Where, CommandError> {
    let known = |option: &str, id: &str| {
        document.joint_with(id).ok_or_else(|| {
            let joints = document.joints();
            let ids = joints
                .iter()
                .filter_map(|joint| document.words(joint, "id"));
            let ids: Vec<String> = ids.collect();
            let has = if ids.is_empty() {
                "it has none".to_owned()
            } else {
                format!("it has: {}", ids.join(", "))
            };
            CommandError::bad(format!(
                "{option} {id}: {} has no such joint; {has}",
                args.plan.display()
            ))
        })
    };
    Ok(match (&args.behind, &args.before) {
        (Some(id), _) => Where::After(known("--behind", id)?),
        (None, Some(id)) => Where::Before(known("--before", id)?),
        (None, None) => Where::Last,
    })
}

/// A joint of another plan, as it is written there.
fn foreign(other: &File, id: Option<&str>) -> Result<Foreign, CommandError> {
    let plan = match named::given(other)? {
        Given::Plan(plan) | Given::Journal(_, plan) => plan,
    };
    let id = named::joint(&plan, id)?.id();
    let document = Document::new(plan.text());
    let path = document.joint_with(id);
    path.and_then(|path| document.to_take(&path))
        .ok_or_else(|| CommandError::bad(format!("{}: {}", plan.name(), EditError::Missing)))
}

/// The joints of a beginning.
fn beginning(id: &str) -> Result<Vec<Foreign>, CommandError> {
    // P07 is P7.
    let id_of = |id: &str| {
        id.trim_start_matches(['P', 'p'])
            .trim_start_matches('0')
            .to_owned()
    };
    let of_id = beginnings::named(&format!("P{}", id_of(id)));
    let Some(beginning) = of_id.or_else(|| beginnings::named(id)) else {
        let known: Vec<String> = beginnings::all()
            .iter()
            .map(|one| format!("{} ({}): {}", one.id, one.name, one.about))
            .collect();
        return Err(CommandError::bad(format!(
            "--like {id}: there is no such beginning; there are: {}",
            known.join(" ")
        )));
    };
    let document = Document::new(beginning.text);
    let joints = document.joints();
    Ok(joints
        .iter()
        .filter_map(|path| document.to_take(path))
        .collect())
}

/// Puts one value into the joint.
fn put(document: &mut Document, joint: &Path, set: &str) -> Result<(), CommandError> {
    let bad = |why: String| CommandError::bad(format!("--set {set}: {why}"));
    let (key, value) = set
        .split_once('=')
        .filter(|(key, _)| !key.trim().is_empty())
        .ok_or_else(|| {
            bad("wanted is KEY=VALUE, such as `thread=M10` or `stage.2.angle=90°`".to_owned())
        })?;
    let mut steps: Vec<&str> = key.trim().split('.').map(str::trim).collect();
    let last = steps.pop().unwrap_or_default();
    if last.is_empty() || steps.iter().any(|step| step.is_empty()) {
        return Err(bad("a key is missing beside a dot".to_owned()));
    }
    let mut at = joint.clone();
    let mut steps = steps.into_iter();
    while let Some(step) = steps.next() {
        let is_list = kind_of(&at).is_some_and(|kind| kind.lists.iter().any(|list| list == step));
        at = at.key(step);
        if !is_list {
            continue;
        }
        let there = document.len_of(&at);
        let next = there.saturating_add(1);
        let number = steps.next().and_then(|number| number.parse::<usize>().ok());
        let index = number
            .and_then(|number| number.checked_sub(1))
            .filter(|index| *index < next)
            .ok_or_else(|| {
                bad(format!(
                    "behind `{step}` stands which one, counted from 1; the joint has {there}, and {next} adds one"
                ))
            })?;
        if index == there {
            let list = at.clone();
            document
                .add(&list, &Item::new(), &Where::Last)
                .map_err(|error| bad(error.to_string()))?;
        }
        at = at.at(index);
    }
    if kind_of(&at).is_some_and(|kind| kind.lists.iter().any(|list| list == last)) {
        return Err(bad(format!(
            "`{last}` is a list; wanted is which one and a key of it, such as `{key}.1.do`"
        )));
    }
    document
        .type_in(&at, last, value)
        .map_err(|error| bad(error.to_string()))
}

/// Says of each new joint what it is, as the desk's plan screen echoes it, and what is asked about it.
fn tell(
    plan: &Plan,
    document: &Document,
    old: &str,
    dry_run: bool,
    out: &mut Output<'_>,
) -> Result<(), CommandError> {
    let old = Document::new(old);
    let is_new = |joint: &&Joint| old.joint_with(joint.id()).is_none();
    for joint in plan.joints().iter().filter(is_new) {
        let path = document.joint_with(joint.id()).unwrap_or_default();
        let text = document.text_of(&path).unwrap_or_default();
        if dry_run {
            out.lines(&text)?;
        }
        out.line(format_args!(
            "{}: {}, {}",
            joint.id(),
            joint.title(),
            counted(joint.positions().len(), "fastener")
        ))?;
        let stages = stages_read_back(joint);
        for (number, lines) in &stages {
            out.wrapped(&format!("  {number}  "), &lines.join(" "))?;
        }
        out.object(&json!({
            "record": "joint", "joint": joint.id(), "title": joint.title(), "fasteners": joint.positions().len(),
            "stages": stages.iter().map(|(_, lines)| lines.join(" ")).collect::<Vec<_>>(),
            "text": text, "written": !dry_run,
        }))?;
    }
    let ours = |at: &Path| {
        let joint = at.0.get(..2).map(|steps| Path(steps.to_vec()));
        joint.is_some_and(|joint| {
            let id = document.words(&joint, "id").unwrap_or_default();
            old.joint_with(&id).is_none()
        })
    };
    let layout = document.layout();
    let asked: Vec<_> = plan
        .warnings()
        .iter()
        .filter(|one| layout.is_some_and(|layout| ours(&layout.path_at(one.place().start))))
        .cloned()
        .collect();
    if !asked.is_empty() {
        out.lines(report(&asked, false))?;
    }
    for one in &asked {
        out.object(&json!({
            "record": "question", "line": one.line(), "column": one.column(), "what": one.what(), "allowed": one.allowed(),
        }))?;
    }
    Ok(())
}
