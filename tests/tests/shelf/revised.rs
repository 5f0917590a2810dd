//! A joint that goes on under another plan: what was pulled before keeps the limits of its time.

use std::collections::BTreeMap;
use std::fs;

use serde_json::Value;

use super::make;
use super::{SMALL, evendraw, objects};

/// Joint, fastener, stage, and the attempt's number there.
type Which = [String; 4];

/// Limits of every attempt.
fn limits(folder: &str) -> BTreeMap<Which, (Value, Value)> {
    let line = ["--json", "recall", folder, "--tool", "A1", "--off", "-6%"];
    let (status, out, err) = evendraw(&line);
    assert_ne!(status, 2, "{err}");
    let all = objects(&out);
    let attempts = all.iter().filter(|own| own["fastener"].is_string());
    attempts
        .map(|own| {
            let which = ["joint", "fastener", "stage", "attempt"].map(|key| own[key].to_string());
            (which, (own["low_Nm"].clone(), own["high_Nm"].clone()))
        })
        .collect()
}

#[test]
fn an_attempt_before_a_revision_is_held_against_the_limits_of_its_time() {
    let folder = tempfile::tempdir().expect("a folder");
    make::build(folder.path(), 1, SMALL);
    let name = folder.path().to_str().expect("a plain path");
    let before = limits(name);
    assert!(before.len() > 20, "{before:?}");

    let revised = make::plan(1, SMALL)
        .replacen(
            "[build]\n",
            "[build]\nrevision = 2\nreason = \"corrected\"\n",
            1,
        )
        .replacen("torque = \"45 N·m\"", "torque = \"47 N·m\"", 1);
    let plan = folder.path().join("revised.toml");
    fs::write(&plan, revised).expect("written");
    let journal = folder.path().join(make::name(1)).join("pump.evj");
    let journal = journal.to_str().expect("a plain path");
    let (status, out, err) = evendraw(&[
        "plan",
        "revise",
        journal,
        plan.to_str().expect("a plain path"),
    ]);
    assert_ne!(status, 2, "{out}{err}");
    fs::remove_file(&plan).expect("gone");

    let after = limits(name);
    for (own, of) in &before {
        assert_eq!(after.get(own), Some(of), "{own:?}");
    }
}
