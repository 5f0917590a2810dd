use evendraw_core::record::Role;
use evendraw_core::session::{Input, Readout};
use evendraw_core::unit::{Instant, Torque};

use super::*;
use crate::job::Job;
use crate::plan::Plan;
use crate::rehearsal::rehearsed;
use crate::store::Purpose;

fn plan(text: &str) -> Plan {
    Plan::parse("evening.toml", text).unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

fn whole_of(text: &str) -> Vec<String> {
    let plan = plan(text);
    let tonight = Kept::before_work(&plan).tonight();
    let own = tonight.whole.into_iter();
    own.map(|line| line.what).collect()
}

/// Two joints one after the other, one that waits for a part, tools in and out of date.
const PLAN: &str = r#"
[build]
title = "Bilge pump 3"

[[tool]]
id = "D1"
kind = "display"
capacity = "100 N·m"
lowest = "10 N·m"
step = "0.1 N·m"
due = 2030-01-01

[[tool]]
id = "W1"
kind = "click"
capacity = "60 N·m"
step = "0.5 N·m"
due = 2020-01-01

[[tool]]
id = "W2"
kind = "click"
capacity = "100 N·m"
step = "1 N·m"

[[joint]]
id = "cover"
title = "Cover"
condition = "oiled"
positions = { 1 = [0, 0], 2 = [60, 0], 3 = [60, 60], 4 = [0, 60] }

[[joint.stage]]
do = "tighten"
torque = "40 N·m"

[[joint.stage]]
do = "check"
ask = "Does the shaft turn freely?"

[[joint]]
id = "guard"
title = "Guard"
after = ["cover"]
positions = { 1 = [0, 0], 2 = [60, 0] }

[[joint.stage]]
do = "tighten"
torque = "300 N·m"

[[joint]]
id = "pipe"
title = "Pipe"
needs = ["pipe gasket"]
positions = { 1 = [0, 0], 2 = [60, 0] }

[[joint.stage]]
do = "tighten"
torque = "20 N·m"

[[part]]
name = "pipe gasket"
on_order = true
"#;

#[test]
fn an_evening_says_what_can_be_done_with_what_and_what_waits() {
    let plan = plan(PLAN);
    let tonight = Kept::before_work(&plan).tonight();
    let joints: Vec<(&str, String)> = tonight
        .joints
        .iter()
        .map(|joint| (joint.id.as_str(), joint.line()))
        .collect();
    assert_eq!(
        joints,
        [
            ("cover", "5 steps".to_owned()),
            ("guard", "2 steps; once Cover is final".to_owned()),
        ]
    );
    let tools: Vec<(&str, &[String])> = tonight
        .tools
        .iter()
        .map(|own| (own.tool.id.as_str(), &own.uses[..]))
        .collect();
    assert_eq!(
        tools,
        [
            (
                "D1",
                &["Cover stage 1, 40 N·m: to show 40.00 N·m, reads 10 N·m to 100 N·m".to_owned()][..]
            ),
            (
                "W2",
                &["Cover stage 1, 40 N·m: set to 40.00 N·m".to_owned()][..]
            ),
        ]
    );
    // What suits none is said, with the reason of each.
    assert_eq!(tonight.untooled.len(), 1, "{:?}", tonight.untooled);
    assert!(tonight.untooled[0].starts_with("Guard stage 1, 300 N·m: no tool suits ("));
    let checks: Vec<String> = tonight.checks.iter().map(TonightLine::line).collect();
    assert_eq!(checks.len(), 2, "{checks:?}");
    assert_eq!(checks[0], "Cover: are threads and faces oiled?");
    assert!(
        checks[1].contains("Does the shaft turn freely?"),
        "{checks:?}"
    );
    let held: Vec<String> = tonight.held.iter().map(TonightLine::line).collect();
    assert_eq!(held, ["Pipe: waits for a part: pipe gasket"]);
    let parts: Vec<String> = tonight.parts.iter().map(PartStatus::told).collect();
    assert_eq!(parts, ["part ordered: pipe gasket: for Pipe"]);
}

#[test]
fn what_is_begun_comes_out_of_the_journal() {
    let mut job = Job::unkept(plan(PLAN), Purpose::Job);
    let mut tell = |input: Input<'_>| {
        let done = job.apply(0, Instant::BOOT, input).expect("a joint");
        assert_eq!((done.refusal, done.held), (None, vec![]), "{input:?}");
    };
    let (name, role) = ("R. Falk", Role::Operator);
    tell(Input::Person { name, role });
    let (found, matches) = ("oiled", true);
    tell(Input::Condition { found, matches });
    let (id, waiver) = ("D1", "");
    tell(Input::Tool { id, waiver });
    let readout = Readout {
        torque: Some(Torque::from_millinewton_meters(40_100)),
        ..Readout::NOTHING
    };
    let readout = &readout;
    tell(Input::Read { step: 0, readout });
    let tonight = job.kept().tonight();
    assert_eq!(tonight.joints[0].line(), "4 of 5 steps left");
    assert_eq!(
        tonight.whole[0].what,
        "begun: 1 of 5 steps done; finish it first"
    );
    assert!(
        tonight
            .checks
            .iter()
            .all(|line| !line.what.contains("oiled"))
    );
    let last = tonight.last.expect("something was done");
    assert_eq!(last.what, "cover, fastener 1 to stage 1");
}

/// The patterns of real procedures: a clock, groups in turn, one at a time.
#[test]
fn what_must_not_be_left_half_done_is_named() {
    let sump = include_str!("../../../../../tests/fixtures/patterns/P16.toml");
    assert_eq!(
        whole_of(sump),
        ["within 3 min of `sealant applied`: 14 pulls"]
    );
    let bridge = include_str!("../../../../../tests/fixtures/patterns/P02.toml");
    assert_eq!(
        whole_of(bridge),
        [
            "4 passes over 2 groups of fasteners in turn (stages 2, 3, 4, 5): not to be left between two of them"
        ]
    );
    let head = include_str!("../../../../../tests/fixtures/patterns/P19.toml");
    assert_eq!(
        whole_of(head),
        [
            "goes on once `run-in finished, engine cold`",
            "stages 3 to 4: each fastener is finished before the next is loosened",
        ]
    );
}

#[test]
fn the_rehearsal_says_how_long_it_takes_and_what_the_clock_leaves() {
    let plan = plan(include_str!(
        "../../../../../tests/fixtures/patterns/P16.toml"
    ));
    let times = rehearsed(&plan, &[0]);
    let [own] = times[..] else {
        panic!("{times:?}")
    };
    let (took, allowed) = own.tightest.expect("a clock");
    assert_eq!(allowed, 180);
    let tonight = Kept::before_work(&plan).tonight().with_times(&times);
    let line = &tonight.whole[0].what;
    let wanted = if took <= allowed {
        "to spare"
    } else {
        "TOO LONG"
    };
    assert!(line.contains(wanted), "{line}");
    assert!(tonight.seconds().is_some_and(|seconds| seconds >= took));
    // Twice as slow, and it must be practised first.
    let slow = Rehearsed {
        tightest: Some((200, 180)),
        ..own
    };
    let tonight = Kept::before_work(&plan).tonight().with_times(&[slow]);
    let line = &tonight.whole[0].what;
    assert!(
        line.ends_with("the rehearsal took 3 min 20 s: TOO LONG, practise it first"),
        "{line}"
    );
}
