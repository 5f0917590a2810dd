//! What holds for the whole build: exceptions, rework, people, tools, times, amendments.
//!
//! Knows nothing of maps or cells.

use evendraw_core::ledger::{Confirmed, Standing};
use evendraw_core::record::{Decision, Doubt, Entry, Manner, Record, Role};
use evendraw_core::verdict::Verdict;

use super::clock::Clock;
use super::joint::{has_witness, kept_points};
use super::{Kept, View, damage, open, started_rules};
use crate::peers;
use crate::plan::Decide;
use crate::sheet::export::{Names, attempt_line, decision, line};
use crate::sheet::{Item, Mark, PersonRow, SheetModel, ToolRow};
use crate::store::HostFact;
use crate::words;

/// What was out of the ordinary at one joint, finished or not.
pub(super) fn exceptions(
    view: &View<'_>,
    views: &[View<'_>],
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<Item> {
    let joint = view.joint.number();
    let mut items = Vec::new();
    let whole = || view.place(None, None);
    let mut lost_traces = 0;
    for entry in &view.entries {
        let when = clock.when(entry);
        match &entry.record {
            Record::Attempt(attempt) => {
                if attempt.trace != 0 && kept_points(kept, entry, attempt).is_none() {
                    lost_traces += 1;
                }
                let mark = match attempt.verdict {
                    Verdict::Accepted if attempt.reasons.is_empty() => continue,
                    Verdict::Accepted => Mark::Accepted,
                    Verdict::Rejected => Mark::Rejected,
                    Verdict::Unknown => Mark::Doubtful,
                };
                let told = attempt_line(names, joint, attempt);
                let what = told
                    .split_once(": ")
                    .map_or(told.as_str(), |(_, what)| what);
                items.push(Item::new(
                    mark,
                    view.place_of_step(attempt.step),
                    format!("{what} ({when})"),
                ));
            }
            Record::Done(done) if done.manner == Manner::Paper => {
                let what = format!("from paper, unmeasured ({when})");
                items.push(Item::new(
                    Mark::Unmeasured,
                    view.place_of_step(done.step),
                    what,
                ));
            }
            Record::Decided(decided)
                if matches!(decided.decision, Decision::Observed | Decision::Waive) =>
            {
                let mark = if decided.decision == Decision::Waive {
                    Mark::Waived
                } else {
                    Mark::Unmeasured
                };
                let what = format!("{}: {} ({when})", decision(decided.decision), decided.note);
                items.push(Item::new(mark, view.place_of_step(decided.step), what));
            }
            Record::Skipped(skipped) => items.push(Item::new(
                Mark::Waived,
                view.place_of_step(skipped.step),
                format!("left out: {} ({when})", skipped.reason),
            )),
            Record::Answered(answered) if !answered.yes => items.push(Item::new(
                Mark::Rejected,
                view.place_of_step(answered.step),
                format!("answered NO: {} ({when})", answered.note),
            )),
            Record::Measured(measured) if measured.verdict != Verdict::Accepted => {
                items.push(Item::new(
                    Mark::Rejected,
                    view.place_of_step(measured.step),
                    format!(
                        "measured {}, outside its window ({when})",
                        words::length(measured.length)
                    ),
                ))
            }
            Record::Waited(waited) if waited.verdict != Verdict::Accepted => items.push(Item::new(
                Mark::Rejected,
                view.place_of_step(waited.step),
                format!(
                    "too late: {} ({when})",
                    words::seconds(u64::from(waited.seconds))
                ),
            )),
            Record::Tool(tool) if !tool.waiver.is_empty() => items.push(Item::new(
                Mark::Waived,
                whole(),
                format!(
                    "tool {} used though out of date or range: {} ({when})",
                    tool.id, tool.waiver
                ),
            )),
            // What the comparison finds today is told below, with what was said of it.
            Record::Noted(noted)
                if peers::is_of_peers(noted)
                    && view
                        .peers
                        .iter()
                        .any(|peer| Some(peer.unlike.fastener) == noted.fastener) => {}
            Record::Noted(noted) if noted.doubt == Doubt::Raised => {
                items.push(Item::new(
                    Mark::Doubtful,
                    view.place(noted.fastener, None),
                    line(names, entry),
                ));
            }
            Record::Rechecked(rechecked) if rechecked.verdict != Verdict::Accepted => {
                items.push(Item::new(
                    Mark::Doubtful,
                    view.place_of_step(rechecked.step),
                    line(names, entry),
                ));
            }
            Record::Condition(condition) if !condition.matches => items.push(Item::new(
                Mark::Doubtful,
                whole(),
                format!(
                    "on the threads was {}, not what the plan assumes ({when})",
                    condition.found
                ),
            )),
            Record::Zero(zero) if !zero.taken => {
                items.push(Item::new(Mark::Doubtful, whole(), line(names, entry)))
            }
            Record::Recovered(_) => {
                items.push(Item::new(Mark::Doubtful, whole(), line(names, entry)))
            }
            Record::Pass(_) | Record::Started(_) | Record::Begun(_) => {}
            _ => {}
        }
    }
    for peer in &view.peers {
        let (mark, seen) = match &peer.settled {
            Some(text) => (Mark::Waived, format!("looked at and found good ({text})")),
            None => (Mark::Doubtful, "nobody has looked at it".to_owned()),
        };
        items.push(Item::new(
            mark,
            view.place(Some(peer.unlike.fastener), Some(peer.unlike.stage)),
            format!("unlike its peers: {}; {seen}", peers::words(&peer.unlike)),
        ));
    }
    if let Some(stage) = view.ledger.not_converged() {
        items.push(Item::new(
            Mark::Doubtful,
            view.place(None, Some(stage)),
            "did not settle: fasteners still moved",
        ));
    }
    if lost_traces > 0 && kept.traces.is_some() {
        let what = format!(
            "{lost_traces} kept curves are missing or do not match their digest; verdicts stand"
        );
        items.push(Item::new(Mark::Unmeasured, whole(), what));
    }
    let witness = view.joint.witness();
    if !witness.is_empty() && view.standing != Standing::Untouched && !has_witness(view) {
        let what = format!("fasteners {}: not witnessed", view.label_list(witness));
        items.push(Item::new(Mark::Doubtful, whole(), what));
    }
    if view.standing != Standing::Untouched && view.fault.is_none() {
        for closed in view.joint.closes() {
            if let Some(other) = views.iter().find(|other| other.joint.id() == closed)
                && !open::is_final(other)
            {
                let what = format!("closed over {}, which is not final", other.joint.title());
                items.push(Item::new(Mark::Doubtful, whole(), what));
            }
        }
        for before in view.joint.after() {
            if let Some(other) = views.iter().find(|other| other.joint.id() == before)
                && !open::is_final(other)
            {
                let what = format!(
                    "begun before {} was final, or that was disturbed since",
                    other.joint.title()
                );
                items.push(Item::new(Mark::Doubtful, whole(), what));
            }
        }
    }
    items
}

/// What was loosened, replaced or decided, with its reason.
pub(super) fn redone(view: &View<'_>, clock: &Clock) -> Vec<Item> {
    let mut items = Vec::new();
    for entry in &view.entries {
        let when = clock.when(entry);
        let (place, what) = match &entry.record {
            Record::Loosened(loosened) => {
                let by = if loosened.elsewhere {
                    "loosened by work on another joint"
                } else {
                    "loosened"
                };
                (
                    view.place(Some(loosened.fastener), None),
                    format!("{by}: {}", or_none(loosened.cause.as_str())),
                )
            }
            Record::Fitted(fitted) => (
                view.place(Some(fitted.fastener), None),
                "new one fitted".to_owned(),
            ),
            Record::Decided(decided)
                if matches!(
                    decided.decision,
                    Decision::Again | Decision::Restart(_) | Decision::Replace
                ) =>
            {
                let what = format!(
                    "{}: {}",
                    decision(decided.decision),
                    or_none(decided.note.as_str())
                );
                (view.place_of_step(decided.step), what)
            }
            _ => continue,
        };
        items.push(Item::new(
            Mark::Disturbed,
            place,
            format!("{what} ({when})"),
        ));
    }
    items
}

fn or_none(text: &str) -> &str {
    if text.is_empty() {
        "no reason given"
    } else {
        text
    }
}

/// People, tools, times, answers, amendments and the colophon.
pub(super) fn build_level(
    model: &mut SheetModel,
    views: &[View<'_>],
    clock: &Clock,
    kept: &Kept<'_>,
) {
    let damage = damage(kept.content);
    model.open.extend(
        damage
            .iter()
            .filter(|item| item.mark == Mark::Doubtful)
            .cloned()
            .map(|mut item| {
                item.what.push_str("; a record may be missing");
                item
            }),
    );
    model.exceptions.extend(damage);
    if kept.content.entries().next().is_none() && model.open.is_empty() {
        model
            .open
            .push(Item::new(Mark::Open, "build", "nothing is recorded"));
    }
    let known: Vec<u8> = views.iter().map(|view| view.joint.number()).collect();
    let strays = kept
        .content
        .entries()
        .filter(|entry| !known.contains(&entry.joint))
        .count();
    if strays > 0 {
        let what = format!("{strays} records belong to joints that this plan does not have");
        model.open.push(Item::new(Mark::Doubtful, "journal", what));
    }
    model.people = people(kept, clock);
    let looked = model.people.iter().any(|person| person.role == "witness");
    model.witnessed = match (
        looked,
        views.iter().any(|view| !view.joint.witness().is_empty()),
    ) {
        (true, _) => {
            let names: Vec<&str> = model
                .people
                .iter()
                .filter(|person| person.role == "witness")
                .map(|person| person.name.as_str())
                .collect();
            names.join(", ")
        }
        (false, true) => "not witnessed, though the plan asks for it".to_owned(),
        (false, false) => "nobody; the plan asks for no witness".to_owned(),
    };
    model.when = clock.stretch(kept.content.entries());
    model.tools = tools(model, views, clock, kept);
    given(model, views, kept);
    amendments(model, kept);
    for fact in kept.content.host_facts() {
        if let HostFact::Handover { text } = fact {
            model.notes.push(format!("Handover: {text}"));
        }
    }
    if let Some(note) = &kept.plan.build().note {
        model.notes.insert(0, note.clone());
    }
    let rules: Vec<String> = started_rules(kept.content)
        .iter()
        .map(u16::to_string)
        .collect();
    model.colophon = match kept.digest {
        Some(digest) => format!(
            "{} records; judged by rules {}; journal CRC-32 {digest:08x}; printed by Evendraw {}",
            kept.content.entries().count(),
            if rules.is_empty() {
                "none".to_owned()
            } else {
                rules.join(", ")
            },
            env!("CARGO_PKG_VERSION")
        ),
        None => format!("Printed by Evendraw {}", env!("CARGO_PKG_VERSION")),
    };
}

fn people(kept: &Kept<'_>, clock: &Clock) -> Vec<PersonRow> {
    let mut rows: Vec<(String, Role, Vec<&Entry>)> = Vec::new();
    for entry in kept.content.entries() {
        let Record::Person(person) = &entry.record else {
            continue;
        };
        let name = person.name.to_string();
        match rows
            .iter_mut()
            .find(|(known, role, _)| *known == name && *role == person.role)
        {
            Some((_, _, entries)) => entries.push(entry),
            None => rows.push((name, person.role, vec![entry])),
        }
    }
    rows.into_iter()
        .map(|(name, role, entries)| PersonRow {
            name,
            role: match role {
                Role::Operator => "operator".to_owned(),
                Role::Witness => "witness".to_owned(),
            },
            when: clock.stretch(entries.into_iter()),
        })
        .collect()
}

fn tools(
    model: &mut SheetModel,
    views: &[View<'_>],
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<ToolRow> {
    struct Use<'e> {
        id: String,
        waivers: Vec<String>,
        readings: Vec<&'e Entry>,
    }
    let mut used: Vec<Use<'_>> = Vec::new();
    let mut untold = 0;
    for view in views {
        let mut now: Option<usize> = None;
        for &entry in &view.entries {
            match &entry.record {
                Record::Started(_) => now = None,
                Record::Tool(tool) => {
                    let id = tool.id.to_string();
                    let at = used
                        .iter()
                        .position(|known| known.id == id)
                        .unwrap_or_else(|| {
                            used.push(Use {
                                id,
                                waivers: Vec::new(),
                                readings: Vec::new(),
                            });
                            used.len() - 1
                        });
                    let waiver = tool.waiver.to_string();
                    if !waiver.is_empty() && !used[at].waivers.contains(&waiver) {
                        used[at].waivers.push(waiver);
                    }
                    now = Some(at);
                }
                Record::Attempt(_) => match now {
                    Some(at) => used[at].readings.push(entry),
                    None => untold += 1,
                },
                _ => {}
            }
        }
    }
    if untold > 0 && kept.plan.tools().iter().len() > 0 {
        let what = format!("{untold} readings were taken with no tool named");
        model
            .exceptions
            .push(Item::new(Mark::Doubtful, "build", what));
    }
    let mut rows = Vec::new();
    for one in used {
        let tool = kept.plan.tools().iter().find(|tool| tool.id == one.id);
        let days: Vec<Option<jiff::civil::Date>> = one
            .readings
            .iter()
            .map(|entry| {
                let stamp = jiff::Timestamp::from_second(clock.unix(entry)?).ok()?;
                Some(stamp.to_zoned(jiff::tz::TimeZone::system()).date())
            })
            .collect();
        let in_date = match tool.and_then(|tool| tool.due) {
            _ if model.rehearsal => "not asked in a rehearsal".to_owned(),
            None => "unknown, no due date in the plan".to_owned(),
            Some(due) => {
                let over = days.iter().flatten().filter(|day| **day > due).count();
                let unknown = days.iter().filter(|day| day.is_none()).count();
                match (over, unknown) {
                    (0, 0) => "yes".to_owned(),
                    (0, _) => format!("due {due}; time of {unknown} readings unknown"),
                    (over, _) => format!("NO, {over} readings after {due}"),
                }
            }
        };
        if in_date.starts_with("NO") {
            let what = format!("tool {} was out of date: {in_date}", one.id);
            model
                .exceptions
                .push(Item::new(Mark::Doubtful, "build", what));
        }
        rows.push(ToolRow {
            what: tool.map_or_else(|| "not in the plan".to_owned(), tool_words),
            calibration: tool.map_or_else(String::new, |tool| {
                let day = |date: Option<jiff::civil::Date>| {
                    date.map_or("unknown".to_owned(), |date| date.to_string())
                };
                format!("{}, due {}", day(tool.calibrated), day(tool.due))
            }),
            in_date,
            readings: one.readings.len(),
            waiver: one.waivers.join("; "),
            id: one.id,
        });
    }
    rows
}

fn tool_words(tool: &crate::plan::Tool) -> String {
    let mut parts = vec![tool.kind.word().to_owned()];
    parts.extend(tool.title.clone());
    parts.push(match &tool.lowest_text {
        Some(lowest) => format!("{lowest} to {}", tool.capacity_text),
        None => format!("to {}", tool.capacity_text),
    });
    parts.extend(tool.accuracy_text.clone());
    parts.join(", ")
}

fn given(model: &mut SheetModel, views: &[View<'_>], kept: &Kept<'_>) {
    let build = kept.plan.build();
    for (name, text) in [
        ("Customer", &build.customer),
        ("Values entered by", &build.entered_by),
        ("Values checked by", &build.checked_by),
    ] {
        if let Some(text) = text {
            model.given.push((name.to_owned(), text.clone()));
        }
    }
    if build.decide == Decide::Guarded {
        let text = "guarded: torque limits drawn in by the expanded uncertainty of the tool, k = 2 (ISO 14253-1); angles as printed";
        model.given.push(("Decided".to_owned(), text.to_owned()));
    }
    for view in views {
        let answers = super::answers(kept.content, view.joint);
        for variant in view.joint.variants() {
            let answer = answers.answer(&variant.key).unwrap_or("not answered");
            model.given.push((
                format!("{} ({})", variant.ask, view.joint.id()),
                answer.to_owned(),
            ));
        }
    }
    let mut parts: Vec<&str> = views.iter().flat_map(|view| view.joint.needs()).collect();
    parts.sort_unstable();
    parts.dedup();
    if !parts.is_empty() {
        let (here, missing): (Vec<&str>, Vec<&str>) = parts
            .into_iter()
            .partition(|part| super::is_here(kept, part));
        let mut text = here.join(", ");
        if !missing.is_empty() {
            let comma = if text.is_empty() { "" } else { "; " };
            text.push_str(&format!("{comma}not here: {}", missing.join(", ")));
        }
        model.given.push(("Parts".to_owned(), text));
    }
    let differs: Vec<&str> = views
        .iter()
        .filter(|view| view.ledger.condition() == Confirmed::Differs)
        .map(|view| view.joint.title())
        .collect();
    if !differs.is_empty() {
        model
            .given
            .push(("Threads not as assumed".to_owned(), differs.join(", ")));
    }
}

/// Each change of the plan after work began; later lines never replace earlier ones.
fn amendments(model: &mut SheetModel, kept: &Kept<'_>) {
    let mut before = 0;
    for fact in &kept.content.facts {
        match fact {
            crate::store::Fact::Entry(_) => before += 1,
            crate::store::Fact::Host(HostFact::PlanChanged { plan_name, .. }) => {
                let what = format!(
                    "the plan was changed to another text after {before} records; those stand as they were"
                );
                model
                    .amendments
                    .push(Item::new(Mark::Waived, plan_name.clone(), what));
            }
            crate::store::Fact::Host(_) => {}
        }
    }
}
