//! The desk on the real thing: plan, sessions, journal and bench, worked by key through the window's own frame loop.

use egui::Key;
use egui::accesskit::Role;
use egui_kittest::kittest::Queryable as _;
use evendraw::desk::model::Model;
use evendraw::desk::view::{Ask, JointView, Mark};
use evendraw::store::Purpose;

use crate::drive::{
    COVER, Folder, cover, joint, one_verdict, press, record, to_the_end, verdicts, wait_until,
    window,
};

#[test]
fn a_whole_joint_is_accepted_with_three_keys() {
    let folder = Folder::new("three-keys");
    let mut harness = cover(&folder);
    // 1: work on what is next.
    press(&mut harness, Key::Enter);
    assert!(
        harness.query_by_label_contains("Next fastener 1").is_some(),
        "the joint is in front"
    );
    // 2: the hand goes on by itself. A third key is not needed.
    to_the_end(&mut harness);
    let joint = joint(&harness).clone();
    assert!(joint.finished);
    assert!(
        joint
            .fasteners
            .iter()
            .all(|fastener| fastener.mark == Mark::Final),
        "{joint:?}"
    );
    assert!(
        harness
            .query_by_label("Every fastener of this joint is accepted")
            .is_some()
    );
    let loads = joint.clamp.expect("clamp loads by fastener and pass");
    assert_eq!((loads.passes.len(), loads.labels.len()), (2, 5));
    assert!(
        loads.passes.iter().all(|(_, pass)| pass.len() == 5) && loads.passes[1].1[0] > 5.0,
        "{loads:?}"
    );
    let accepted = record(&harness)
        .iter()
        .filter(|row| row.mark == Some(Mark::Accepted) && row.attempt > 0)
        .count();
    assert_eq!(accepted, 10);
    // Kept in the rehearsal's journal: the same after a restart.
    drop(harness);
    let mut harness = cover(&folder);
    harness
        .state_mut()
        .model
        .carry_out(Ask::OpenJoint("cover".to_owned()));
    harness.step();
    let again = harness.state().model.view().joint.clone().unwrap();
    assert_eq!(again.clamp, Some(loads));
}

#[test]
fn a_fastener_is_pulled_by_hand_with_a_re_grip() {
    let folder = Folder::new("by-hand");
    let mut harness = window(Model::in_folder("cover.toml", COVER, folder.path()));
    press(&mut harness, Key::Enter);
    harness.key_down(Key::Space);
    let mut seen = 0.0f64;
    for _ in 0..400 {
        harness.step();
        let view = harness.state().model.view();
        let live = &view.joint.as_ref().unwrap().live;
        let value = live
            .gauges
            .first()
            .and_then(|gauge| gauge.value)
            .unwrap_or(0.0);
        seen = seen.max(value);
        if seen > 6.0 {
            break;
        }
    }
    harness.key_up(Key::Space);
    harness.step();
    assert!(
        seen > 6.0,
        "the reading rises while the key is held: {seen}"
    );
    for _ in 0..8 {
        harness.step();
    }
    let view = harness.state().model.view();
    assert!(
        view.record.iter().all(|row| row.attempt == 0),
        "half a pull is no verdict"
    );
    assert!(!view.joint.as_ref().unwrap().live.loaded);
    // Pulled on to the target, watching the cue.
    harness.key_down(Key::Space);
    for _ in 0..600 {
        harness.step();
        let cue = joint(&harness).live.cue;
        if matches!(
            cue,
            evendraw::desk::view::Cue::Stop
                | evendraw::desk::view::Cue::Halt
                | evendraw::desk::view::Cue::Slow
        ) {
            break;
        }
    }
    harness.key_up(Key::Space);
    wait_until(&mut harness, "a verdict", |window| verdicts(window) > 0);
    let record = record(&harness);
    let row = record.iter().find(|row| row.attempt > 0).unwrap();
    assert!(!row.words.contains(" 1 pull,"), "{}", row.words);
}

#[test]
fn a_pull_that_went_too_far_is_rejected_and_told_in_plain_words() {
    let folder = Folder::new("rejected");
    let mut harness = cover(&folder);
    press(&mut harness, Key::Enter);
    // Held on, whatever the cue says.
    harness.key_down(Key::Space);
    wait_until(&mut harness, "too far", |window| {
        let live = &window.model.view().joint.as_ref().unwrap().live;
        live.gauges
            .first()
            .is_some_and(|gauge| gauge.value > gauge.high)
    });
    harness.key_up(Key::Space);
    wait_until(&mut harness, "a rejected attempt", |window| {
        window
            .model
            .view()
            .record
            .iter()
            .any(|row| row.mark == Some(Mark::Rejected))
    });
    harness.step();
    assert!(
        harness
            .query_by_role_and_label(Role::Alert, "Fastener 1 is rejected")
            .is_some(),
        "an alert stands in place of the reading"
    );
    let joint = joint(&harness).clone();
    assert_eq!(joint.fasteners[0].mark, Mark::Rejected);
    let alert = joint.prompt.unwrap();
    assert!(alert.words.contains("torque above the window"), "{alert:?}");
    assert!(
        alert
            .what_now
            .iter()
            .any(|what| what.contains("Do not back it off")),
        "{alert:?}"
    );
    // Nothing goes on until it is dealt with: the hand does nothing.
    press(&mut harness, Key::J);
    for _ in 0..20 {
        harness.step();
    }
    assert_eq!(verdicts(harness.state()), 1);
    // A new one is fitted, and all of it is on record.
    press(&mut harness, Key::B);
    assert!(
        record(&harness).iter().any(|row| row.words.contains("new")),
        "the new one is on record"
    );
    to_the_end(&mut harness);
    assert_eq!(verdicts(harness.state()), 11);
}

#[test]
fn after_a_kill_it_goes_on_where_it_was() {
    let folder = Folder::new("killed");
    let mut harness = cover(&folder);
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::J);
    wait_until(&mut harness, "three verdicts", |window| {
        verdicts(window) >= 3
    });
    let before: Vec<String> = record(&harness)
        .iter()
        .filter(|row| row.attempt > 0)
        .map(|row| row.words.clone())
        .collect();
    // As a kill leaves it: nothing is closed, only the file's lock goes with the process.
    drop(harness);
    let mut harness = cover(&folder);
    let after: Vec<String> = record(&harness)
        .iter()
        .filter(|row| row.attempt > 0)
        .map(|row| row.words.clone())
        .collect();
    assert_eq!(
        after[..before.len()],
        before[..],
        "every verdict is still there"
    );
    assert_eq!(
        harness.state().model.view().status.joints[0].mark,
        if after.len() > before.len() {
            Mark::Doubtful
        } else {
            Mark::InProgress
        }
    );
    press(&mut harness, Key::Enter);
    if after.len() == before.len() {
        press(&mut harness, Key::J);
        wait_until(&mut harness, "the joint is final", |window| {
            window.model.is_joint_final()
        });
    }
}

#[test]
fn a_bad_plan_is_shown_at_its_line() {
    let folder = Folder::new("bad-plan");
    let text = COVER.replace("torque = \"40 N·m\"", "torque = \"40 lb\"");
    // Opened where it is wrong, without a key.
    let mut harness = window(Model::in_folder("cover.toml", &text, folder.path()));
    harness.step();
    let view = harness.state().model.view();
    let finding = &view.plan.findings[0];
    let line = text
        .lines()
        .position(|line| line.contains("40 lb"))
        .unwrap()
        + 1;
    assert_eq!(finding.line, line);
    assert!(!finding.warning && !finding.hint.is_empty(), "{finding:?}");
    let head = format!("Line {line}, column {}", finding.column);
    assert!(harness.query_by_label_contains(&head).is_some());
    assert!(
        harness.state().model.view().status.joints.is_empty(),
        "nothing can be worked from it"
    );
}

#[test]
fn orders_are_compared_with_progress_and_a_stop_keeps_what_is_done() {
    let folder = Folder::new("compare");
    let mut harness = window(Model::in_folder("cover.toml", COVER, folder.path()));
    press(&mut harness, Key::F7);
    press(&mut harness, Key::Enter);
    assert!(harness.state().model.view().compare.running);
    for _ in 0..2000 {
        harness.step();
        if !harness.state().model.view().compare.rows.is_empty() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    if harness.state().model.view().compare.running {
        assert!(harness.query_by_role(Role::ProgressIndicator).is_some());
        press(&mut harness, Key::Enter);
        for _ in 0..2000 {
            harness.step();
            if !harness.state().model.view().compare.running {
                break;
            }
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        assert!(harness.state().model.view().compare.stopped);
    }
    let compare = &harness.state().model.view().compare;
    assert!(!compare.running && !compare.rows.is_empty(), "{compare:?}");
    assert!(
        compare
            .rows
            .windows(2)
            .all(|pair| pair[0].scatter <= pair[1].scatter),
        "most even first"
    );
}

#[test]
fn the_sheet_the_table_and_the_tag_are_written_beside_the_journal() {
    let folder = Folder::new("export");
    let mut harness = cover(&folder);
    one_verdict(&mut harness);
    press(&mut harness, Key::F8);
    press(&mut harness, Key::G);
    press(&mut harness, Key::F4);
    press(&mut harness, Key::S);
    press(&mut harness, Key::X);
    press(&mut harness, Key::Y);
    let read = |ending: &str| {
        std::fs::read_to_string(folder.path().join(format!("cover.rehearsal.{ending}"))).unwrap()
    };
    assert!(
        read("csv")
            .lines()
            .any(|line| line.starts_with("attempt,cover,")),
        "{}",
        read("csv")
    );
    assert!(
        read("jsonl")
            .lines()
            .any(|line| line.contains("\"record\":\"attempt\""))
    );
    assert!(read("tag.html").contains("DO NOT RUN"));
    let sheet = read("html");
    assert!(sheet.contains("Discharge cover") && sheet.to_uppercase().contains("REHEARSAL"));
    // The curve of the pull is read from beside the journal when its row is chosen.
    press(&mut harness, Key::ArrowDown);
    let traced = record(&harness)
        .iter()
        .find(|row| row.traced)
        .map(|row| row.sequence);
    for _ in 0..10 {
        if harness
            .state()
            .model
            .view()
            .curve
            .as_ref()
            .map(|(number, _)| *number)
            == traced
        {
            break;
        }
        press(&mut harness, Key::ArrowDown);
    }
    let curve = harness.state().model.view().curve.clone().expect("a curve");
    let kept: Vec<_> = std::fs::read_dir(folder.path().join("cover.rehearsal.evj.traces"))
        .map(|files| {
            files
                .flatten()
                .map(|file| (file.path(), std::fs::read_to_string(file.path())))
                .collect()
        })
        .unwrap_or_default();
    assert!(curve.1.points.len() >= 3, "{curve:?} {kept:?}");
}

#[test]
fn clamp_loads_are_still_there_after_the_desk_was_closed() {
    let folder = Folder::new("clamps-kept");
    let mut harness = cover(&folder);
    press(&mut harness, Key::Enter);
    to_the_end(&mut harness);
    let before = joint(&harness).clamp.clone();
    drop(harness);
    let mut harness = cover(&folder);
    press(&mut harness, Key::F2);
    press(&mut harness, Key::ArrowRight);
    assert!(before.is_some());
    assert_eq!(joint(&harness).clamp, before);
    harness.step();
    assert!(
        harness
            .query_by_label("Clamp load by fastener and pass")
            .is_some()
    );
}

#[test]
fn a_fault_from_the_menu_is_played_and_the_pull_says_so() {
    let folder = Folder::new("fault");
    // Thread, class and grip together say how steeply the torque may rise.
    let text = COVER.replacen("class", "grip = \"30 mm\"\nclass", 1);
    let mut model = Model::in_folder("cover.toml", &text, folder.path());
    model.set_pace(50.0);
    let mut harness = window(model);
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::F);
    harness.step();
    let faults = joint(&harness).faults.clone();
    assert!(
        faults
            .iter()
            .all(|fault| harness.query_by_label(fault).is_some()),
        "every fault of the bench is on the menu: {faults:?}"
    );
    let cross = faults
        .iter()
        .position(|fault| fault.contains("cross"))
        .expect("a crossed thread");
    press(
        &mut harness,
        [
            Key::Num1,
            Key::Num2,
            Key::Num3,
            Key::Num4,
            Key::Num5,
            Key::Num6,
        ][cross],
    );
    press(&mut harness, Key::H);
    wait_until(&mut harness, "a verdict", |window| verdicts(window) > 0);
    let row = record(&harness).iter().find(|row| row.attempt > 0).unwrap();
    assert_ne!(row.mark, Some(Mark::Accepted), "{row:?}");
}

#[test]
fn a_curve_that_cannot_be_kept_is_told_and_stops_nothing() {
    let folder = Folder::new("curve-lost");
    let mut harness = cover(&folder);
    press(&mut harness, Key::Enter);
    // Something else stands where the curves would go.
    let traces = folder.path().join("cover.rehearsal.evj.traces");
    let _ = std::fs::remove_dir_all(&traces);
    std::fs::write(&traces, "in the way").unwrap();
    press(&mut harness, Key::H);
    wait_until(&mut harness, "a verdict", |window| verdicts(window) > 0);
    let notice = harness.state().model.view().notice.clone().unwrap();
    assert!(
        notice.bad && notice.words.contains("the curve of this pull is not kept"),
        "{notice:?}"
    );
    assert!(joint(&harness).prompt.is_none(), "nothing is blocked");
    to_the_end(&mut harness);
}

#[test]
fn a_new_rehearsal_leaves_the_last_one_as_it_was() {
    let folder = Folder::new("afresh");
    let mut harness = cover(&folder);
    one_verdict(&mut harness);
    let first = folder.path().join("cover.rehearsal.evj");
    let before = std::fs::read(&first).unwrap();
    press(&mut harness, Key::F2);
    press(&mut harness, Key::Z);
    assert!(record(&harness).iter().all(|row| row.attempt == 0));
    assert_eq!(std::fs::read(&first).unwrap(), before);
    assert!(folder.path().join("cover.rehearsal-2.evj").exists());
    // And it is the new one that is taken up again.
    drop(harness);
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    model.go_on();
    model.tick(0.0);
    assert!(model.view().record.iter().all(|row| row.attempt == 0));
}

/// Every question is answered with yes and every alert with what is advised, by key; the hand does the rest.
#[test]
fn the_demo_build_is_rehearsed_to_its_end_by_key() {
    let folder = Folder::new("demo");
    let mut model = Model::in_folder("demo.toml", evendraw::plan::DEMO, folder.path());
    model.set_pace(2000.0);
    let mut harness = window(model);
    for _ in 0..400 {
        let view = harness.state().model.view();
        if view.status.open.is_empty()
            || view.status.next.is_none()
                && view.status.parts.iter().all(|part| part.is_here)
                && view.status.tasks.iter().all(|task| !task.may_be_done)
        {
            break;
        }
        if view.status.tasks.iter().any(|task| task.may_be_done) && view.status.next.is_none() {
            // The list, its first row, done.
            press(&mut harness, Key::F2);
            press(&mut harness, Key::L);
            press(&mut harness, Key::Num1);
            press(&mut harness, Key::Num1);
            continue;
        }
        if view.status.parts.iter().any(|part| !part.is_here) && view.status.next.is_none() {
            press(&mut harness, Key::F2);
            press(&mut harness, Key::A);
            continue;
        }
        let joint = view.joint.clone();
        match joint {
            Some(joint) if joint.prompt.is_some() => {
                let prompt = joint.prompt.unwrap();
                press(&mut harness, Key::F3);
                if let Some(line) = &prompt.typed {
                    // The lowest value that is allowed, as the field names it.
                    let allowed = line.caption.split("allowed ").nth(1);
                    let value = allowed.and_then(|words| words.split(" to ").next());
                    let value = value.unwrap_or("0.3 mm").to_owned();
                    harness.step();
                    harness.event(egui::Event::Text(value));
                    harness.step();
                    press(&mut harness, Key::Enter);
                } else if prompt.is_open {
                    press(&mut harness, Key::Num1);
                } else if prompt.title == "Due later" {
                    press(&mut harness, Key::N);
                    press(&mut harness, Key::F2);
                } else {
                    press(&mut harness, Key::Enter);
                }
            }
            Some(joint) if !joint.finished && joint.at.is_some() => {
                press(&mut harness, Key::F3);
                press(&mut harness, Key::J);
                for _ in 0..40 {
                    harness.step();
                    if !harness
                        .state()
                        .model
                        .view()
                        .joint
                        .as_ref()
                        .is_some_and(|joint| joint.live.hand_at_work)
                    {
                        break;
                    }
                }
            }
            _ => {
                press(&mut harness, Key::F2);
                press(&mut harness, Key::Enter);
            }
        }
    }
    let view = harness.state().model.view();
    // Manifold and its retorque after running keep the one that is done before the start from nothing.
    assert_eq!(view.status.tasks[0].word, "done");
    let open: Vec<String> = view
        .status
        .joints
        .iter()
        .filter(|joint| !matches!(joint.mark, Mark::Final | Mark::Due))
        .map(|joint| {
            format!(
                "{} {:?}: {} ({} of {})",
                joint.id, joint.mark, joint.why, joint.done, joint.steps
            )
        })
        .collect();
    assert!(
        open.is_empty(),
        "{open:?}; joint {:?}",
        view.joint
            .as_ref()
            .map(|joint| (&joint.id, &joint.prompt, &joint.live.cue_words))
    );
}

#[test]
#[expect(clippy::disallowed_methods, reason = "bounds in order")]
fn a_recorded_trace_is_judged_as_work_in_a_journal_of_its_own() {
    let folder = Folder::new("trace");
    let file = folder.path().join("pull.csv");
    // A steady pull: 1.2 N·m a degree up to 15 N·m, then let go; the tool turns on with the fastener and stands when it is let go of.
    let mut text = "time_s,torque_Nm,angle_deg\n".to_owned();
    for step in 0..1200u32 {
        let at = f64::from(step) * 0.002;
        let share = ((at - 0.2) / 1.4).clamp(0.0, 1.0);
        let torque = if at < 1.6 {
            15.0 * share
        } else {
            (15.0 - (at - 1.6) * 150.0).max(0.0)
        };
        text += &format!("{at:.3},{torque:.3},{:.3}\n", share * 12.5);
    }
    std::fs::write(&file, text).unwrap();
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    // A trace never makes work of a rehearsal.
    model.begin(Purpose::Rehearsal);
    model.carry_out(Ask::OpenJoint("cover".to_owned()));
    model.carry_out(Ask::Trace(file.clone()));
    model.tick(0.0);
    let told = model.view().notice.clone().expect("it is said");
    assert!(
        told.bad && told.words.contains("belong to work"),
        "{told:?}"
    );
    assert!(model.view().status.rehearsal && !folder.path().join("cover.evj").exists());
    model.begin(Purpose::Job);
    model.carry_out(Ask::OpenJoint("cover".to_owned()));
    model.carry_out(Ask::Trace(file.clone()));
    let mut seconds = 0.0;
    let mut tick = |model: &mut Model| {
        seconds += 0.1;
        model.tick(seconds);
    };
    for _ in 0..5 {
        tick(&mut model);
    }
    assert!(!model.view().status.rehearsal, "metal, not the bench");
    if model
        .view()
        .joint
        .as_ref()
        .is_some_and(|joint| joint.prompt.is_some())
    {
        // Who works is asked first; then the trace is read again.
        model.carry_out(Ask::Person("M. Ahlers".to_owned()));
        model.carry_out(Ask::Trace(file));
    }
    for _ in 0..40 {
        tick(&mut model);
    }
    let view = model.view();
    let row = view
        .record
        .iter()
        .find(|row| row.attempt > 0)
        .unwrap_or_else(|| {
            panic!(
                "{:?} {:?}",
                view.notice,
                view.joint.as_ref().map(|joint| &joint.prompt)
            )
        });
    assert_eq!(
        (row.fastener.as_str(), row.mark),
        ("1", Some(Mark::Accepted)),
        "{row:?}"
    );
    assert!(
        folder.path().join("cover.evj").exists()
            && folder.path().join("cover.rehearsal.evj").exists()
    );
}

/// The torque as it stands, N·m.
fn reading(joint: &JointView) -> f64 {
    let gauge = joint.live.gauges.first();
    gauge.and_then(|gauge| gauge.value).unwrap_or(0.0)
}

#[test]
fn a_hand_that_is_told_to_stop_lets_go() {
    let folder = Folder::new("told-to-stop");
    let mut model = Model::in_folder("cover.toml", COVER, folder.path());
    model.set_pace(1.0);
    model.set_browser(false);
    let mut harness = window(model);
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::J);
    wait_until(&mut harness, "torque comes", |window| {
        let joint = window.model.view().joint.as_ref();
        joint.is_some_and(|joint| reading(joint) > 6.0)
    });
    press(&mut harness, Key::H);
    wait_until(&mut harness, "the hand is off", |window| {
        let joint = window.model.view().joint.as_ref();
        joint.is_some_and(|joint| reading(joint) < 1.0)
    });
    // Short of its target it may be gripped again; nothing went beyond.
    assert!(
        record(&harness)
            .iter()
            .all(|row| row.torque.is_none_or(|torque| torque < 16.5)),
        "{:?}",
        record(&harness)
    );
}

#[test]
fn a_witness_is_wanted_after_a_restart_too() {
    let folder = Folder::new("witness-again");
    let plan = COVER.replace("order = ", "second_look = true\norder = ");
    let open = || {
        let mut model = Model::in_folder("cover.toml", &plan, folder.path());
        model.set_pace(50.0);
        model.set_browser(false);
        window(model)
    };
    let mut harness = open();
    press(&mut harness, Key::Enter);
    to_the_end(&mut harness);
    drop(harness);
    let again = open();
    let told = &again.state().model.view().status.exceptions;
    assert!(
        told.iter().any(|item| item.what.contains("not witnessed")),
        "{told:?}"
    );
}
