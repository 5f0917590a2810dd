//! What holds for the whole build: what is next, exceptions, rework, people, parts, times, amendments.
//!
//! Knows nothing of maps or cells.

use evendraw_core::ledger::Confirmed;
use evendraw_core::record::{Entry, Record, Role};

use super::clock::Clock;
use super::telling::{About, List, Names, tell};
use super::{
    CurveState, Item, Kept, NextJoint, PartStatus, PersonStatus, Status, Tally, View, beside,
    counted, joint, last, open, state_of_curve, tools,
};
use crate::mark::Mark;
use crate::peers;
use crate::plan::progress::Progress;
use crate::plan::{Checked, Decide, Joint, Line};
use crate::store::{Fact, HostFact};

pub(super) fn status(
    kept: &Kept<'_>,
    views: &[View<'_>],
    progress: &Progress,
    names: &Names,
    clock: &Clock,
) -> Status {
    let build = kept.plan.build();
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let mut status = Status {
        title: build.title.clone(),
        unit: text(&build.unit),
        document: text(&build.document),
        revision: revision(build.revision, build.reason.as_deref()),
        rehearsal: kept.rehearsal,
        demo: build.demo,
        next: next(views, progress),
        last: last::last(kept, names, clock),
        when: clock.stretch(kept.entries()),
        people: people(kept, clock),
        amendments: amendments(kept),
        notes: build.note.iter().cloned().chain(handovers(kept)).collect(),
        records: kept.entries().count(),
        rules: rules(kept),
        ..Status::default()
    };
    for view in views {
        status.open.extend(open::open(view));
        status.due.extend(open::due(view));
        status
            .redone
            .extend(listed(view, List::Redone, names, clock));
        status
            .exceptions
            .extend(exceptions(view, views, names, clock, kept));
        status.joints.push(joint::status(view, names, clock, kept));
    }
    status.evidence = status
        .joints
        .iter()
        .fold(Tally::default(), |sum, joint| sum.and(&joint.evidence))
        .line();
    status.tools = tools::tools(&mut status.exceptions, views, clock, kept);
    status.witnessed = witnessed(&status, views);
    beside::put(&mut status, kept, views, progress);
    status.given = given(kept, views, &status.parts);
    damage(&mut status, kept);
    strays(&mut status, kept);
    // The gravest first; what is equally grave stays in the order of the plan and of time.
    status.exceptions.sort_by_key(|item| item.mark.gravity());
    status
}

/// `2, manual corrected`; empty for the first revision of which nothing is said.
pub(super) fn revision(number: u32, reason: Option<&str>) -> String {
    match (number, reason) {
        (1, None) => String::new(),
        (number, None) => number.to_string(),
        (number, Some(reason)) => format!("{number}, {reason}"),
    }
}

fn next(views: &[View<'_>], progress: &Progress) -> Option<NextJoint> {
    let number = progress.next()?;
    let view = views.get(usize::from(number))?;
    let step = view.next.and_then(|next| joint::step_of(view, next));
    let title = view.joint.title();
    let words = match joint::step_words(view, step) {
        words if words.is_empty() => title.to_owned(),
        words => format!("{title}, {words}"),
    };
    Some(NextJoint {
        joint: number,
        id: view.joint.id().to_owned(),
        words,
    })
}

/// The facts of a joint that belong to a list.
fn listed(view: &View<'_>, list: List, names: &Names, clock: &Clock) -> Vec<Item> {
    let mut items = Vec::new();
    for entry in &view.entries {
        let telling = tell(names, entry);
        if telling.list == list {
            let (fastener, stage) = telling.about.place(names, entry.joint);
            items.push(Item::new(
                telling.mark.unwrap_or(Mark::Open),
                view.place(fastener, stage),
                format!("{} ({})", telling.words, clock.when(entry)),
            ));
        }
    }
    items
}

/// What is out of the ordinary at one joint, finished or not.
fn exceptions(
    view: &View<'_>,
    views: &[View<'_>],
    names: &Names,
    clock: &Clock,
    kept: &Kept<'_>,
) -> Vec<Item> {
    let mut items = listed(view, List::Exceptions, names, clock);
    let about = view.entries.iter().filter_map(|entry| {
        let telling = tell(names, entry);
        (telling.list == List::Exceptions).then_some(telling.about)
    });
    for (item, about) in items.iter_mut().zip(about) {
        if is_settled_since(view, about, item.mark) {
            item.mark = Mark::Accepted;
            item.what.push_str("; settled since");
        }
    }
    for differs in &view.differs {
        let stage = differs.stage.and_then(|stage| u8::try_from(stage).ok());
        items.push(Item::new(
            differs.mark,
            view.place(None, stage.map(|stage| stage.saturating_sub(1))),
            differs.line(),
        ));
    }
    for peer in &view.peers {
        let (mark, seen) = match &peer.settled {
            Some(text) => (Mark::Skipped, format!("looked at and found good ({text})")),
            None => (Mark::Doubtful, "nobody has looked at it".to_owned()),
        };
        items.push(Item::new(
            mark,
            view.place(Some(peer.unlike.fastener), Some(peer.unlike.stage)),
            format!("unlike its peers: {}; {seen}", peers::words(&peer.unlike)),
        ));
    }
    let whole = || view.place(None, None);
    let lost_curves = lost_curves(view, kept);
    if lost_curves > 0 {
        let what = format!(
            "{} missing, or not the one that was judged; verdicts stand",
            counted(lost_curves, "kept curve")
        );
        items.push(Item::new(Mark::Unmeasured, whole(), what));
    }
    if view.is_untouched() || view.fault.is_some() {
        return items;
    }
    if view.mark().is_closed() && !joint::to_witness(view).is_empty() {
        let fasteners = view.fasteners_named(view.joint.second_look());
        let what = format!("{fasteners}: not witnessed");
        items.push(Item::new(Mark::Doubtful, whole(), what));
    }
    for covered in &view.state.closed_over {
        let what = format!("covers {covered}, which is not final");
        items.push(Item::new(Mark::Doubtful, whole(), what));
    }
    for before in view.joint.after() {
        let is_open = |view: &&View<'_>| view.joint.id() == before && !view.mark().is_closed();
        if let Some(other) = views.iter().find(is_open) {
            let what = format!(
                "begun before {} was final, or that was disturbed since",
                other.joint.title()
            );
            items.push(Item::new(Mark::Doubtful, whole(), what));
        }
    }
    items
}

/// Curves of attempts that are not there, or are not the ones that were judged.
fn lost_curves(view: &View<'_>, kept: &Kept<'_>) -> usize {
    let Some(traces) = kept.traces else { return 0 };
    let is_lost = |entry: &&&Entry| match entry.record.attempt() {
        Some(attempt) => matches!(
            state_of_curve(traces, entry, attempt),
            CurveState::Missing | CurveState::Changed
        ),
        None => false,
    };
    view.entries.iter().filter(is_lost).count()
}

/// What was wrong at a step or a fastener and was made good since stays on the list, but no longer among the gravest.
fn is_settled_since(view: &View<'_>, about: About, mark: Mark) -> bool {
    let is_grave = matches!(mark, Mark::Rejected | Mark::Doubtful);
    is_grave
        && match about {
            About::Step(step) => {
                let at = view.plan.procedure.step_at(step);
                let fastener = at.and_then(|step| step.fastener());
                view.ledger.step(step).is_settled()
                    && !fastener.is_some_and(|own| view.ledger.felt_wrong(own))
            }
            About::Fastener(fastener) => !view.ledger.felt_wrong(fastener),
            About::Joint => view.ledger.condition() == Confirmed::Matches,
            About::Stage(stage) => view.ledger.not_converged() != Some(stage),
        }
}

fn witnessed(status: &Status, views: &[View<'_>]) -> String {
    let looked: Vec<&str> = status
        .people
        .iter()
        .filter(|person| person.is_witness)
        .map(|person| person.name.as_str())
        .collect();
    let is_wanted = views
        .iter()
        .any(|view| !view.joint.second_look().is_empty());
    match (looked.is_empty(), is_wanted) {
        (false, _) => looked.join(", "),
        (true, true) => "not witnessed, though the plan asks for it".to_owned(),
        (true, false) => "nobody; the plan asks for no witness".to_owned(),
    }
}

/// What did not read. Damage is open until somebody has looked, as a record may be missing.
fn damage(status: &mut Status, kept: &Kept<'_>) {
    for damage in kept.damage {
        let place = format!("journal, bytes {} to {}", damage.from, damage.to);
        // Nothing that was announced is in a torn end.
        let mark = if damage.torn {
            Mark::Skipped
        } else {
            let open = format!("{}; a record may be missing", damage.why);
            status
                .open
                .push(Item::new(Mark::Doubtful, place.clone(), open));
            Mark::Doubtful
        };
        status
            .exceptions
            .push(Item::new(mark, place, damage.why.clone()));
    }
}

/// Records of joints that the plan does not have; and a journal with none at all.
fn strays(status: &mut Status, kept: &Kept<'_>) {
    let known: Vec<u8> = kept.plan.joints().iter().map(Joint::number).collect();
    let strays = kept.entries().filter(|entry| !known.contains(&entry.joint));
    let strays = strays.count();
    if strays > 0 {
        let what = format!(
            "{} of joints that this plan does not have",
            counted(strays, "record")
        );
        status.open.push(Item::new(Mark::Doubtful, "journal", what));
    }
    if status.records == 0 && status.open.is_empty() {
        let nothing = "nothing is recorded";
        status.open.push(Item::new(Mark::Open, "build", nothing));
    }
}

fn people(kept: &Kept<'_>, clock: &Clock) -> Vec<PersonStatus> {
    let mut named: Vec<(String, Role, Vec<&Entry>)> = Vec::new();
    for entry in kept.entries() {
        let Record::Person(person) = &entry.record else {
            continue;
        };
        let name = person.name.to_string();
        match named
            .iter_mut()
            .find(|(known, role, _)| *known == name && *role == person.role)
        {
            Some((_, _, entries)) => entries.push(entry),
            None => named.push((name, person.role, vec![entry])),
        }
    }
    named
        .into_iter()
        .map(|(name, role, entries)| PersonStatus {
            name,
            is_witness: role == Role::Witness,
            when: clock.stretch(entries.into_iter()),
        })
        .collect()
}

/// How many lines of the plan a second person compared with the document; nothing where nobody began.
fn compared(kept: &Kept<'_>) -> Option<(String, String)> {
    let lines: Vec<&Line> = kept.plan.joints().iter().flat_map(Joint::lines).collect();
    let said: Vec<&Checked> = lines
        .iter()
        .filter_map(|line| line.checked.as_ref())
        .collect();
    let first = said.first()?;
    let mut names: Vec<&str> = Vec::new();
    for own in said.iter().filter(|own| own.holds && !own.is_same) {
        if !names.contains(&own.by.as_str()) {
            names.push(&own.by);
        }
    }
    let checked = lines.iter().filter(|line| line.is_checked()).count();
    let changed = said.iter().filter(|own| !own.holds).count();
    let same = said.iter().filter(|own| own.holds && own.is_same).count();
    let open = lines.len().saturating_sub(said.len());
    let mut words = format!("{checked} of {}", counted(lines.len(), "line"));
    if !names.is_empty() {
        words = format!("{words}, by {}", names.join(", "));
    }
    for (count, what) in [
        (changed, "changed since they were compared"),
        (same, "only by who typed them"),
        (open, "not compared"),
    ] {
        if count > 0 {
            words = format!("{words}; {count} {what}");
        }
    }
    if kept.plan.build().entered_by.is_none() && first.holds {
        words.push_str("; who typed them is not named");
    }
    Some(("Values checked line by line".to_owned(), words))
}

fn given(kept: &Kept<'_>, views: &[View<'_>], parts: &[PartStatus]) -> Vec<(String, String)> {
    let build = kept.plan.build();
    let heads = [
        ("Customer", &build.customer),
        ("Values entered by", &build.entered_by),
        ("Values checked by", &build.checked_by),
    ];
    let mut given: Vec<(String, String)> = heads
        .into_iter()
        .filter_map(|(name, text)| Some((name.to_owned(), text.clone()?)))
        .collect();
    given.extend(compared(kept));
    if build.revision > 1 || build.reason.is_some() {
        let words = match &build.reason {
            Some(reason) => format!("{}: {reason}", build.revision),
            None => build.revision.to_string(),
        };
        given.push(("Revision of the plan".to_owned(), words));
    }
    if build.decide == Decide::Guarded {
        let text = "guarded: torque limits drawn in by the expanded uncertainty of the tool, k = 2 (ISO 14253-1); angles as printed";
        given.push(("Decided".to_owned(), text.to_owned()));
    }
    for view in views {
        let answers = super::answers(kept.facts, view.joint);
        for variant in view.joint.variants() {
            let question = format!("{} ({})", variant.ask, view.joint.id());
            let answer = answers.answer(&variant.key).unwrap_or("not answered");
            given.push((question, answer.to_owned()));
        }
    }
    let (here, missing): (Vec<&PartStatus>, Vec<&PartStatus>) =
        parts.iter().partition(|part| part.is_here);
    let names = |parts: &[&PartStatus]| {
        let names: Vec<&str> = parts.iter().map(|part| part.name.as_str()).collect();
        names.join(", ")
    };
    let text = match (here.is_empty(), missing.is_empty()) {
        (true, true) => return given,
        (false, true) => names(&here),
        (true, false) => format!("not here: {}", names(&missing)),
        (false, false) => format!("{}; not here: {}", names(&here), names(&missing)),
    };
    given.push(("Parts".to_owned(), text));
    given
}

/// Each change of the plan after work began; later lines never replace earlier ones.
fn amendments(kept: &Kept<'_>) -> Vec<Item> {
    let mut items = Vec::new();
    let mut before = 0_usize;
    for fact in kept.facts {
        match fact {
            Fact::Entry(_) => before = before.saturating_add(1),
            Fact::Host(HostFact::PlanChanged { plan_name, .. }) => {
                let what = format!(
                    "the plan was changed to another text after {}; what was done stands as it was",
                    counted(before, "record")
                );
                items.push(Item::new(Mark::Skipped, plan_name.clone(), what));
            }
            Fact::Host(_) => {}
        }
    }
    items
}

fn handovers<'a>(kept: &Kept<'a>) -> impl Iterator<Item = String> + use<'a> {
    kept.host_facts().filter_map(|fact| match fact {
        HostFact::Handover { text } => Some(format!("Handover: {text}")),
        _ => None,
    })
}

fn rules(kept: &Kept<'_>) -> Vec<u16> {
    let mut rules: Vec<u16> = kept
        .entries()
        .filter_map(|entry| match &entry.record {
            Record::Started(started) => Some(started.rules),
            _ => None,
        })
        .collect();
    rules.sort_unstable();
    rules.dedup();
    rules
}
