//! What may be started, what is held and why, what is closed over: from the standings of the demo's joints.

use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::plan::progress::{Hold, Progress};
use evendraw_core::ledger::Standing;

fn demo() -> Plan {
    Plan::demo().unwrap_or_else(|errors| panic!("{}", errors.report(false)))
}

fn with(plan: &Plan, standings: &[(&str, Standing)]) -> Progress {
    let mut list = vec![Standing::Untouched; plan.joints().len()];
    for (id, standing) in standings {
        let joint = plan.joint(id).expect("a joint of the demo");
        list[usize::from(joint.number())] = *standing;
    }
    Progress::of(plan, &list, |part| !plan.is_on_order(part))
}

fn state(plan: &Plan, progress: &Progress, id: &str) -> Mark {
    let number = plan.joint(id).expect("a joint of the demo").number();
    progress.joint(number).expect("its state").state
}

#[test]
fn at_the_start_only_what_nothing_comes_before_may_begin() {
    let plan = demo();
    let progress = Progress::at_start(&plan);
    let free: Vec<&str> = plan
        .joints()
        .iter()
        .filter(|joint| state(&plan, &progress, joint.id()) == Mark::Ready)
        .map(|joint| joint.id())
        .collect();
    assert_eq!(free, ["oil-jet", "dowels", "impeller"]);
    assert_eq!(
        progress.next(),
        plan.joint("oil-jet").map(|joint| joint.number()),
        "most joints wait for it or its like, and it stands first"
    );
    assert!(!progress.is_complete());
}

#[test]
fn a_joint_is_not_closed_over_an_open_one() {
    let plan = demo();
    let progress = with(&plan, &[("dowels", Standing::Final)]);
    let head = plan.joint("head").expect("the head");
    let own = progress.joint(head.number()).expect("its state");
    assert_eq!(own.state, Mark::Waiting);
    assert_eq!(
        own.holds,
        [Hold::WouldClose("Oil jets under the head".to_owned())]
    );
    let progress = with(
        &plan,
        &[("dowels", Standing::Final), ("oil-jet", Standing::Final)],
    );
    assert_eq!(state(&plan, &progress, "head"), Mark::Ready);
}

#[test]
fn what_was_closed_over_an_open_joint_says_so_even_when_final() {
    let plan = demo();
    let progress = with(
        &plan,
        &[
            ("dowels", Standing::Final),
            ("head", Standing::Final),
            ("oil-jet", Standing::Disturbed),
        ],
    );
    let head = plan.joint("head").expect("the head");
    let own = progress.joint(head.number()).expect("its state");
    assert_eq!(own.closed_over, ["Oil jets under the head"]);
    assert!(own.why().contains("it covers Oil jets under the head"));
}

#[test]
fn a_missing_part_holds_its_joint_until_it_comes() {
    let plan = demo();
    let standings: Vec<Standing> = plan
        .joints()
        .iter()
        .map(|joint| match joint.id() {
            "strainer" => Standing::Untouched,
            _ => Standing::Final,
        })
        .collect();
    let without = Progress::of(&plan, &standings, |part| part != "strainer basket");
    assert_eq!(state(&plan, &without, "strainer"), Mark::Waiting);
    assert_eq!(without.next(), None);
    let with_it = Progress::of(&plan, &standings, |_| true);
    assert_eq!(state(&plan, &with_it, "strainer"), Mark::Ready);
}

#[test]
fn what_is_begun_goes_before_what_is_new_and_a_due_retorque_is_not_complete() {
    let plan = demo();
    let progress = with(&plan, &[("impeller", Standing::InHand)]);
    assert_eq!(
        progress.next(),
        plan.joint("impeller").map(|joint| joint.number())
    );
    let progress = with(
        &plan,
        &[
            ("dowels", Standing::Final),
            ("oil-jet", Standing::Final),
            ("head", Standing::Final),
            ("manifold", Standing::RetorqueDue),
        ],
    );
    assert_eq!(
        state(&plan, &progress, "sensor"),
        Mark::Ready,
        "a retorque after running does not hold what comes after"
    );
    assert!(!progress.is_complete());
}

#[test]
fn a_shared_fastener_is_known_on_both_sides() {
    let plan = demo();
    let bracket = plan.joint("bracket").expect("the bracket");
    let share = &bracket.shares()[0];
    assert_eq!(
        (
            bracket.label(share.fastener),
            share.joint.as_str(),
            share.label.as_str()
        ),
        ("1", "head", "9"),
        "the demo writes it at the head only"
    );
}

#[test]
fn answers_that_are_missing_or_unknown_are_told_with_what_is_allowed() {
    use evendraw::plan::Answers;
    let text = r#"
[[joint]]
id = "guard"
positions = { 1 = [0, 0], 2 = [50, 0] }
[[joint.variant]]
id = "head"
ask = "Short or long head?"
answers = ["short", "long"]
[[joint.stage]]
do = "tighten"
torque = { short = "22 N·m", long = "18 N·m" }
"#;
    let plan = Plan::parse("guard.toml", text).unwrap_or_else(|errors| panic!("{errors:?}"));
    let joint = &plan.joints()[0];
    let error = joint.procedure(&Answers::new()).expect_err("no answer");
    assert_eq!(
        error.to_string(),
        "joint `guard` asks: Short or long head?; allowed for head are short, long"
    );
    let error = joint
        .procedure(&Answers::new().with("head", "middle"))
        .expect_err("no such answer");
    assert_eq!(error.given.as_deref(), Some("middle"));
    let long = joint
        .procedure(&Answers::new().with("head", "long"))
        .expect("an answer");
    assert_eq!(
        long.torque_window(0)
            .map(|window| window.target.millinewton_meters()),
        Some(18_000)
    );
}
