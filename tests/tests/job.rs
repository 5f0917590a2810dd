//! A build worked through its plan, its sessions and its journal together.

#[path = "scripts/hand.rs"]
#[expect(
    dead_code,
    reason = "the scripts use more of the hand than a build does"
)]
mod hand;

use std::fs;
use std::path::Path;

use evendraw::job::{Done, Held, Job, JobError};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::plan::progress::Hold;
use evendraw::store::{Purpose, StoreError};
use evendraw_core::ledger::Standing;
use evendraw_core::record::Role;
use evendraw_core::session::{Input, Next, Refusal};
use evendraw_core::unit::Instant;
use evendraw_core::verdict::Verdict;

const PLAN: &str = r#"
[build]
title = "Harbour pump 7"

[[tool]]
id = "A1"
kind = "adapter"
capacity = "100 N·m"
lowest = "10 N·m"
due = 2027-05-04

[[tool]]
id = "A2"
kind = "adapter"
capacity = "12 N·m"
lowest = "1 N·m"

[[joint]]
id = "flange"
redo = "joint"
positions = { 1 = [0, 0], 2 = [90, 0], 3 = [180, 0] }
order = "listed"
shares = { 3 = "bracket/a" }

[[joint.stage]]
do = "tighten"
torque = "20 N·m"

[[joint]]
id = "bracket"
positions = { a = [0, 0], b = [40, 0] }
order = "listed"
needs = ["bracket plate"]

[[joint.stage]]
do = "tighten"
torque = "20 N·m"

[[joint]]
id = "lid"
positions = { 1 = [0, 0] }
after = ["flange"]
closes = ["bracket"]

[[joint.stage]]
do = "tighten"
torque = "20 N·m"
"#;

const FLANGE: u8 = 0;
const BRACKET: u8 = 1;
const LID: u8 = 2;

struct Bench {
    job: Job,
    at: u64,
}

impl Bench {
    fn new(job: Job) -> Self {
        Self { job, at: 0 }
    }

    fn say(&mut self, joint: u8, input: Input<'_>) -> Done {
        self.at += 1_000;
        self.job
            .apply(joint, Instant::from_micros(self.at), input)
            .expect("a joint of the plan")
    }

    /// A good pull at whatever is next; what came of its last samples.
    fn pull(&mut self, joint: u8) -> Vec<Done> {
        hand::to_torque(0, 20_000)
            .into_iter()
            .map(|sample| {
                self.at += hand::STEP_US;
                self.say(joint, Input::Sample(sample))
            })
            .collect()
    }

    fn equip(&mut self, joint: u8) {
        self.say(
            joint,
            Input::Person {
                name: "Ada",
                role: Role::Operator,
            },
        );
        self.say(
            joint,
            Input::Tool {
                id: "A1",
                waiver: "",
            },
        );
    }
}

fn plan() -> Plan {
    Plan::parse("pump.toml", PLAN).unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

fn told(done: &[Done]) -> Vec<Verdict> {
    done.iter()
        .flat_map(|done| &done.told)
        .map(|told| told.announcement.verdict)
        .collect()
}

fn create(folder: &Path) -> Bench {
    Bench::new(Job::create(&folder.join("pump.evj"), plan(), Purpose::Job).expect("created"))
}

#[test]
fn a_job_dropped_anywhere_goes_on_where_it_was() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut bench = create(folder.path());
    bench.equip(FLANGE);
    for fastener in 0..3 {
        assert_eq!(
            told(&bench.pull(FLANGE)),
            [Verdict::Accepted],
            "fastener {fastener}"
        );
        let records = bench.job.facts().len();
        drop(bench);
        bench =
            Bench::new(Job::open(&folder.path().join("pump.evj"), Purpose::Job).expect("opened"));
        assert_eq!(bench.job.facts().len(), records);
        bench.equip(FLANGE);
    }
    assert_eq!(bench.job.standing(FLANGE), Standing::Final);
    assert_eq!(bench.job.attempts(FLANGE).count(), 3);
    assert_eq!(bench.job.boot(), 4);
}

#[test]
fn a_pull_cut_short_is_recorded_as_interrupted_when_the_job_is_opened_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut bench = create(folder.path());
    bench.equip(FLANGE);
    for sample in hand::to_torque(0, 20_000).into_iter().take(40) {
        bench.at += hand::STEP_US;
        bench.say(FLANGE, Input::Sample(sample));
    }
    drop(bench);
    let mut bench =
        Bench::new(Job::open(&folder.path().join("pump.evj"), Purpose::Job).expect("opened"));
    let (_, attempt) = bench
        .job
        .attempts(FLANGE)
        .next()
        .expect("the interrupted attempt");
    assert_eq!(attempt.verdict, Verdict::Unknown);
    assert_eq!(attempt.angle, None);
    assert_eq!(bench.job.standing(FLANGE), Standing::Doubtful);
    bench.equip(FLANGE);
    assert!(matches!(
        bench.job.session(FLANGE).expect("a session").next(),
        Next::Decide { .. }
    ));
}

#[test]
fn a_joint_is_held_by_what_must_come_first_and_by_what_it_would_close_over() {
    let mut bench = Bench::new(Job::unkept(plan(), Purpose::Job));
    bench.equip(LID);
    let held = &bench.pull(LID)[0].held;
    assert!(
        held.contains(&Held::Plan(Hold::After("flange".to_owned()))),
        "{held:?}"
    );
    assert!(
        held.contains(&Held::Plan(Hold::WouldClose("bracket".to_owned()))),
        "{held:?}"
    );
    assert_eq!(bench.job.standing(LID), Standing::Untouched);
    bench
        .job
        .part_missing("bracket plate")
        .expect("a part of the plan");
    assert_eq!(
        bench.job.progress().joint(BRACKET).expect("a joint").state,
        Mark::Waiting
    );
    bench
        .job
        .part_arrived("bracket plate")
        .expect("a part of the plan");
    assert_eq!(
        bench.job.progress().joint(BRACKET).expect("a joint").state,
        Mark::Ready
    );
    assert!(matches!(
        bench.job.part_arrived("gasket"),
        Err(JobError::NoSuchPart { .. })
    ));
}

#[test]
fn a_shared_fastener_taken_off_for_one_joint_opens_the_other() {
    let mut bench = Bench::new(Job::unkept(plan(), Purpose::Job));
    bench.equip(FLANGE);
    for _ in 0..3 {
        bench.pull(FLANGE);
    }
    assert_eq!(bench.job.standing(FLANGE), Standing::Final);
    let done = bench.pull(BRACKET);
    assert_eq!(told(&done), [Verdict::Accepted]);
    assert_eq!(bench.job.standing(FLANGE), Standing::Disturbed);
    let spoilt = done
        .iter()
        .flat_map(|done| &done.entries)
        .filter(|entry| entry.joint == FLANGE)
        .count();
    assert!(spoilt >= 1, "the flange's record says why");
}

#[test]
fn a_tool_that_does_not_reach_holds_the_pull_until_a_reason_is_given() {
    let mut bench = Bench::new(Job::unkept(plan(), Purpose::Job));
    bench.equip(FLANGE);
    bench.say(
        FLANGE,
        Input::Tool {
            id: "A2",
            waiver: "",
        },
    );
    assert!(matches!(
        bench.pull(FLANGE)[0].held[..],
        [Held::ToolRange { .. }]
    ));
    assert_eq!(bench.job.tools_for_next(FLANGE), ["A1"]);
    bench.say(
        FLANGE,
        Input::Tool {
            id: "X9",
            waiver: "",
        },
    );
    assert!(matches!(
        bench.pull(FLANGE)[0].held[..],
        [Held::ToolUnknown { .. }]
    ));
    bench.say(
        FLANGE,
        Input::Tool {
            id: "A2",
            waiver: "Bo: display reads on to 30",
        },
    );
    assert_eq!(told(&bench.pull(FLANGE)), [Verdict::Accepted]);
}

#[test]
fn a_plan_may_change_where_nobody_has_worked_yet() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut bench = create(folder.path());
    bench.equip(FLANGE);
    bench.pull(FLANGE);
    let other_lid = PLAN.replace("closes = [\"bracket\"]", "");
    let no_flange = PLAN
        .replacen("id = \"flange\"", "id = \"collar\"", 1)
        .replace("\"flange", "\"collar");
    let parse = |text: &str| {
        Plan::parse("pump.toml", text).unwrap_or_else(|errors| panic!("{}", errors.report(false)))
    };
    assert!(matches!(
        bench.job.change_plan(parse(&no_flange)),
        Err(JobError::Moved { .. })
    ));
    bench
        .job
        .change_plan(parse(&other_lid))
        .expect("nobody touched the lid");
    assert_eq!(told(&bench.pull(FLANGE)), [Verdict::Accepted]);
    drop(bench);
    let job = Job::open(&folder.path().join("pump.evj"), Purpose::Job).expect("opened");
    assert_eq!(job.plan().text(), other_lid);
    assert_eq!(job.attempts(FLANGE).count(), 2);
}

#[test]
fn a_journal_with_a_lost_record_is_not_gone_on_with() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("pump.evj");
    let mut bench = create(folder.path());
    bench.equip(FLANGE);
    let before = fs::metadata(&path).expect("a file").len();
    bench.pull(FLANGE);
    bench.pull(FLANGE);
    drop(bench);
    let mut bytes = fs::read(&path).expect("bytes");
    bytes[usize::try_from(before).expect("small") + 12] ^= 1;
    fs::write(&path, bytes).expect("written");
    assert!(matches!(
        Job::open(&path, Purpose::Job),
        Err(JobError::Damaged { .. })
    ));
    assert!(matches!(
        Job::open(&path, Purpose::Rehearsal),
        Err(JobError::Store(StoreError::OtherPurpose { .. }))
    ));
}

#[test]
fn nobody_pulls_before_who_and_what_with_is_known() {
    let mut bench = Bench::new(Job::unkept(plan(), Purpose::Job));
    let done = bench.pull(FLANGE);
    assert_eq!(done[10].refusal, Some(Refusal::NothingToPull));
    assert!(matches!(
        bench.job.session(FLANGE).expect("a session").next(),
        Next::Person | Next::Tool
    ));
}
