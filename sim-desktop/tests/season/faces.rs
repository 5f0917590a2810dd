//! Every face at an evening's end, held against what was truly done.
//!
//! Knows nothing of how it was done.

use std::collections::BTreeMap;
use std::path::Path;

use evendraw::desk::model::Model;
use evendraw::desk::tag_text;
use evendraw::job::status::{Item, Kept, Status};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::sheet::{Sheet, page, short_page, text};
use evendraw::store::{Content, Traces, read};
use serde_json::Value;

use crate::hands::{Announced, World};
use crate::table::{GASKET, Joint, PUMP, Stage};
use crate::truth::{Cell, Stands, State, Strange, Truth};

/// Every face agrees with the truth.
pub(crate) fn agree(world: &mut World, folder: &Path, text: &str) {
    let truth = world.truth.clone();
    status_says(&truth, &world.job.status(), "the desk at work");
    let announced = world.announced.clone();
    let path = world.path.clone();
    world.end_evening();

    let content = read(&path).expect("it reads");
    assert!(content.damage.is_empty(), "{:?}", content.damage);
    kept_everything(&content, &announced);
    let plan = Plan::parse("season.toml", text).expect("it was read before");
    let traces = Traces::beside(&path);
    let kept = Kept::of(&plan, &content, Some(&traces));
    let status = kept.status();
    status_says(&truth, &status, "the journal");
    sheets_say(&truth, &kept, &status);
    tag_says(&truth, &status);
    commands_say(&truth, folder, &path);
    desk_says(&truth, folder, text);
}

/// No verdict that was told is lost, and none is another one now.
fn kept_everything(content: &Content, announced: &[Announced]) {
    let mut kept = BTreeMap::new();
    for entry in content.entries() {
        if let Some(attempt) = evendraw::job::status::attempt_of(&entry.record) {
            kept.insert((entry.joint, entry.seq), attempt.verdict);
        }
    }
    for one in announced {
        assert_eq!(
            kept.get(&(one.joint, one.seq)),
            Some(&one.verdict),
            "announced and not kept: {one:?}"
        );
    }
}

const fn mark_of(stands: Stands) -> Mark {
    match stands {
        Stands::Ready => Mark::Ready,
        Stands::Waiting => Mark::Waiting,
        Stands::InProgress => Mark::InProgress,
        Stands::MockUp => Mark::MockUp,
        Stands::Doubtful => Mark::Doubtful,
        Stands::Disturbed => Mark::Disturbed,
        Stands::Due => Mark::Due,
        Stands::Final => Mark::Final,
    }
}

fn mark_of_cell(state: State, is_trial: bool, is_later: bool) -> Mark {
    match state {
        State::Open if is_later => Mark::Due,
        State::Open => Mark::Open,
        State::Done if is_trial => Mark::MockUp,
        State::Done => Mark::Accepted,
        State::Told => Mark::Unmeasured,
        State::Left => Mark::Skipped,
        State::Wrong => Mark::Rejected,
        State::Unknown => Mark::Doubtful,
        State::Spoilt => Mark::Disturbed,
    }
}

fn status_says(truth: &Truth, status: &Status, face: &str) {
    for (number, (joint, table)) in status.joints.iter().zip(&PUMP).enumerate() {
        assert_eq!(joint.id, table.id);
        assert_eq!(
            joint.mark,
            mark_of(truth.stands(number)),
            "{face}: {}: {}; in truth {}",
            joint.id,
            joint.why,
            truth.doubts(number)
        );
        for (fastener, nut) in joint.fasteners.iter().zip(&truth.works[number].nuts) {
            let place = format!("{face}: {} {}", joint.id, fastener.label);
            assert_eq!(fastener.is_new, nut.is_new, "{place}");
            for (stage, (cell, own)) in fastener.cells.iter().zip(&nut.cells).enumerate() {
                let place = format!("{place}, stage {}", stage + 1);
                let Some(own) = own else {
                    assert_eq!(cell.mark, None, "{place}");
                    continue;
                };
                let later = matches!(table.stages[stage].0, Stage::Later(..));
                let mark = mark_of_cell(own.state, stage < table.trial, later);
                assert_eq!(cell.mark, Some(mark), "{place}: {cell:?} {own:?}");
                assert_eq!(cell.attempts, own.tries, "{place}: {cell:?}");
                cell_says(own, cell, &place);
            }
        }
        for (stage, own) in truth.works[number].whole.iter().enumerate() {
            if !Joint::is_each(table.stages[stage].0) {
                let shown = joint.stages[stage].mark;
                let mark = mark_of_cell(*own, stage < table.trial, false);
                assert_eq!(shown, mark, "{face}: {} stage {}", joint.id, stage + 1);
            }
        }
    }
    assert_eq!(status.evidence, truth.evidence(), "{face}");
    strange_says(truth, status, face);
    open_says(truth, status, face);

    let waiting: Vec<&str> = if truth.has_gasket {
        Vec::new()
    } else {
        vec![GASKET]
    };
    assert_eq!(status.waiting(), waiting, "{face}");
    let named = |is_witness: bool| {
        let named = status.people.iter();
        let mut named: Vec<&str> = named
            .filter(|person| person.is_witness == is_witness)
            .map(|person| person.name.as_str())
            .collect();
        named.sort_unstable();
        named
    };
    assert_eq!(
        named(false),
        truth.people.iter().copied().collect::<Vec<_>>(),
        "{face}"
    );
    assert_eq!(
        named(true),
        truth.witnesses.iter().copied().collect::<Vec<_>>(),
        "{face}"
    );
    let last = status.last.as_ref().map(|last| last.person.as_str());
    assert_eq!(last, truth.last_person, "{face}: {:?}", status.last);
    assert_eq!(status.is_complete(), truth.is_finished(), "{face}");
    for tool in &status.tools {
        let tries = truth.tries.iter().filter(|one| one.tool == tool.id);
        assert_eq!(tool.readings, tries.count(), "{face}: {}", tool.id);
    }
}

fn cell_says(own: &Cell, cell: &evendraw::job::status::StageCell, place: &str) {
    if !matches!(own.state, State::Done | State::Told) || own.way.is_empty() {
        return;
    }
    assert_eq!(cell.evidence, own.way, "{place}: {cell:?}");
    if own.state == State::Done && own.tries > 0 {
        assert_eq!(cell.tool, own.tool, "{place}: {cell:?}");
    }
    match own.torque {
        None => {}
        Some(torque) => {
            let shown = cell.torque_nm.unwrap_or_default();
            let near = if own.way == "measured with curve" {
                // The lock's running torque is in what the handle shows.
                2.1 + f64::from(torque) * 0.02 / 1_000.0
            } else {
                0.002
            };
            let apart = (shown - f64::from(torque) / 1_000.0).abs();
            assert!(apart <= near, "{place}: {cell:?} {own:?}");
        }
    }
}

/// The list of exceptions is exactly what was out of the ordinary.
fn strange_says(truth: &Truth, status: &Status, face: &str) {
    let mut left: Vec<&Item> = status.exceptions.iter().collect();
    let mut missing: Vec<Strange> = Vec::new();
    let mut all = truth.all_strange();
    // The longest words first: "unknown" also stands where a time is.
    all.sort_by_key(|strange| std::cmp::Reverse(strange.words.len()));
    for strange in all {
        let place = match strange.place {
            None => "build".to_owned(),
            Some((joint, fastener, stage)) => {
                let fastener = fastener.map(|own| format!(", fastener {}", own + 1));
                let stage = stage.map(|own| format!(", stage {}", own + 1));
                [Some(PUMP[joint].id.to_owned()), fastener, stage]
                    .into_iter()
                    .flatten()
                    .collect()
            }
        };
        let found = left
            .iter()
            .position(|item| item.place == place && item.what.contains(&strange.words));
        match found {
            Some(found) => drop(left.remove(found)),
            None => missing.push(strange),
        }
    }
    assert!(
        left.is_empty() && missing.is_empty(),
        "{face}: told and not so: {left:#?}\nso and not told: {missing:#?}"
    );
}

/// What is open is exactly what is not done.
fn open_says(truth: &Truth, status: &Status, face: &str) {
    for (number, table) in PUMP.iter().enumerate() {
        let own = |item: &&Item| {
            item.place == table.id || item.place.starts_with(&format!("{},", table.id))
        };
        let items: Vec<&Item> = status.open.iter().filter(own).collect();
        let stands = truth.stands(number);
        assert_eq!(
            items.is_empty(),
            stands == Stands::Final,
            "{face}: {}: {items:?}",
            table.id
        );
        for nut in (0_u8..).zip(&truth.works[number].nuts) {
            let (fastener, nut) = nut;
            let place = format!("{}, fastener {}", table.id, fastener + 1);
            let is_doubted = items.iter().any(|item| {
                item.place == place
                    && (item.what.contains("felt wrong") || item.what.contains("unlike its peers"))
            });
            assert_eq!(
                is_doubted,
                nut.felt_wrong || nut.is_odd,
                "{face}: {place}: {items:?}"
            );
        }
        if !truth.is_begun(number) {
            continue;
        }
        for (stage, (what, _)) in table.stages.iter().enumerate() {
            if !Joint::is_each(*what) || matches!(what, Stage::Later(..)) {
                continue;
            }
            let open: Vec<String> = (1_u32..)
                .zip(&truth.works[number].nuts)
                .filter(|(_, nut)| {
                    nut.cells[stage]
                        .as_ref()
                        .is_some_and(|cell| cell.state == State::Open)
                })
                .map(|(label, _)| label.to_string())
                .collect();
            let place = format!("{}, stage {}", table.id, stage + 1);
            let told = items.iter().find(|item| item.place == place);
            let many = if open.len() == 1 { "" } else { "s" };
            let words = format!("fastener{many} {}: ", open.join(", "));
            assert_eq!(told.is_some(), !open.is_empty(), "{face}: {place}");
            if let Some(told) = told {
                assert!(told.what.starts_with(&words), "{face}: {told:?}: {words}");
            }
        }
    }
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The sheets say the counts, every state, everything strange.
fn sheets_say(truth: &Truth, kept: &Kept<'_>, status: &Status) {
    let sheet = Sheet::of(kept, "season.evj", None);
    status_says(truth, &sheet.status, "the sheet");
    let (page, short, text) = (page(&sheet), short_page(&sheet), squeezed(&text(&sheet)));
    let evidence = truth.evidence();
    if !evidence.is_empty() {
        assert!(page.contains(&evidence) && short.contains(&evidence));
        assert!(text.contains(&evidence), "{evidence}\n{text}");
    }
    for (number, table) in PUMP.iter().enumerate() {
        let word = mark_of(truth.stands(number)).word();
        assert!(
            text.contains(&squeezed(&format!("State: {word}."))),
            "{}: {word}",
            table.id
        );
    }
    for item in status.open.iter().chain(&status.exceptions) {
        let line = squeezed(&item.line());
        assert!(text.contains(&line), "{line}\n{text}");
    }
    let is_complete = truth.is_finished();
    let says_so = |face: &str| face.replace("NOT COMPLETE", "").contains("COMPLETE");
    for (face, words) in [("page", &page), ("short", &short), ("text", &text)] {
        assert_eq!(says_so(words), is_complete, "{face}");
    }
}

fn tag_says(truth: &Truth, status: &Status) {
    let tag = tag_text(status);
    for (number, table) in PUMP.iter().enumerate() {
        let stands = truth.stands(number);
        let line = format!("[ ] {}: {}", table.title, mark_of(stands).word());
        assert_eq!(
            tag.contains(&line),
            stands != Stands::Final,
            "{line}\n{tag}"
        );
    }
    if !truth.has_gasket {
        assert!(tag.contains(GASKET), "{tag}");
    }
}

/// A command as a shell runs it: status and lines.
fn command(line: &[&str]) -> (u8, String, String) {
    let line = std::iter::once("evendraw").chain(line.iter().copied());
    let line: Vec<std::ffi::OsString> = line.map(Into::into).collect();
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let status = evendraw::command::run(line, &mut out, &mut err, false);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (status, text(out), text(err))
}

fn objects(line: &[&str]) -> Vec<Value> {
    let (_, out, err) = command(line);
    let objects = out.lines().map(serde_json::from_str);
    objects
        .collect::<Result<_, _>>()
        .unwrap_or_else(|error| panic!("{error}: {out}{err}"))
}

fn commands_say(truth: &Truth, folder: &Path, path: &Path) {
    let folder = folder.to_str().expect("a plain path");
    let journal = path.to_str().expect("a plain path");
    record_says(truth, journal);

    // Judged again by the kept curves: nothing is another verdict now. Once, as it takes long.
    if truth.is_finished() {
        let (status, out, _) = command(&["record", journal, "--audit"]);
        assert_eq!(status, 0, "{out}");
        assert!(out.contains(" agree, 0 differ"), "{out}");
    }

    let shelf = objects(&["shelf", folder, "--json"]);
    let [build] = shelf.as_slice() else {
        panic!("one build: {shelf:?}");
    };
    let doubtful = |nut: &crate::truth::Nut| nut.felt_wrong || nut.is_odd;
    let is_open = !truth.is_finished();
    assert_eq!(build["state"] != "final", is_open, "{build}");
    let parts = if truth.has_gasket { 0 } else { 1 };
    let waits = build["waiting_parts"].as_array().map_or(0, Vec::len);
    assert_eq!(waits, parts, "{build}");
    let any_doubt = truth.works.iter().flat_map(|work| &work.nuts).any(doubtful);
    assert!(!any_doubt || build["doubts"] != 0, "{build}");

    // Which tries a tool touched, and which were anybody's.
    let told = objects(&["recall", folder, "--from", "2026-03-01", "--json"]);
    let mut by_tool: BTreeMap<(String, String, String, u64), usize> = BTreeMap::new();
    for one in &told {
        let text = |key: &str| one[key].as_str().unwrap_or_default().to_owned();
        let stage = one["stage"].as_u64().unwrap_or_default();
        let key = (text("tool"), text("joint"), text("fastener"), stage);
        *by_tool.entry(key).or_default() += 1;
    }
    let mut true_ones: BTreeMap<(String, String, String, u64), usize> = BTreeMap::new();
    for own in &truth.tries {
        let key = (
            own.tool.to_owned(),
            PUMP[own.joint].id.to_owned(),
            (own.fastener + 1).to_string(),
            u64::try_from(own.stage + 1).expect("few"),
        );
        *true_ones.entry(key).or_default() += 1;
    }
    same(&by_tool, &true_ones, "recall");
    if let Some(person) = truth.last_person {
        let told = objects(&["recall", folder, "--person", person, "--json"]);
        let tries = truth.tries.iter().filter(|one| one.person == person);
        assert_eq!(told.len(), tries.count(), "recall of {person}");
    }
}

/// Both count the same; what differs is told.
fn same<K: Ord + std::fmt::Debug>(
    told: &BTreeMap<K, usize>,
    truth: &BTreeMap<K, usize>,
    face: &str,
) {
    let differs: Vec<(&K, Option<&usize>, Option<&usize>)> = told
        .keys()
        .chain(truth.keys())
        .map(|key| (key, told.get(key), truth.get(key)))
        .filter(|(_, told, truth)| told != truth)
        .collect();
    assert!(differs.is_empty(), "{face}: told, in truth: {differs:?}");
}

/// What a script makes of the records: every try, by verdict, with who was at work.
fn record_says(truth: &Truth, journal: &str) {
    let objects = objects(&["record", journal, "--json"]);
    let mut told: BTreeMap<(String, String, u64, String), usize> = BTreeMap::new();
    for object in &objects {
        let is_try = object["record"] == "attempt" || object["record"] == "reassigned";
        if !is_try || !object["put_right_by"].is_null() {
            continue;
        }
        let text = |key: &str| object[key].as_str().unwrap_or_default().to_owned();
        let stage = object["stage"].as_u64().unwrap_or_default();
        let key = (text("joint"), text("fastener"), stage, text("verdict"));
        *told.entry(key).or_default() += 1;
    }
    let mut true_ones: BTreeMap<(String, String, u64, String), usize> = BTreeMap::new();
    for own in &truth.tries {
        let stage = u64::try_from(own.stage + 1).expect("few");
        let key = (
            PUMP[own.joint].id.to_owned(),
            (own.fastener + 1).to_string(),
            stage,
            own.verdict.to_owned(),
        );
        *true_ones.entry(key).or_default() += 1;
    }
    same(&told, &true_ones, "record");
    let (_, table, _) = command(&["record", journal, "--csv"]);
    assert_eq!(
        table.lines().count(),
        objects
            .iter()
            .filter(|object| !object["seq"].is_null())
            .count()
            + 1
    );
}

/// The desk, opened on what is there.
fn desk_says(truth: &Truth, folder: &Path, text: &str) {
    let mut model = Model::in_folder("season.toml", text, folder);
    model.go_on();
    model.set_browser(false);
    model.tick(0.0);
    let view = model.view();
    status_says(truth, &view.status, "the desk");
    for (number, table) in PUMP.iter().enumerate() {
        let shown = &view.status.joints[number];
        assert_eq!(shown.mark, mark_of(truth.stands(number)), "{}", table.id);
    }
}
