//! A plan takes every family of threads, every strength and every nut class that the shop's arithmetic knows, and has nothing to ask.

use evendraw::mechanics::{KSI_MPA, ThreadKind};
use evendraw::plan::{Plan, report};

#[test]
fn every_thread_and_strength_is_taken_and_compiled() {
    let text = include_str!("../fixtures/metal/families.toml");
    let plan = Plan::parse("families.toml", text)
        .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    assert!(
        plan.warnings().is_empty(),
        "{}",
        report(plan.warnings(), false)
    );
    let first = |id: &str| {
        let joint = plan.joint(id).unwrap_or_else(|| panic!("no joint {id}"));
        let own = joint.first_plan();
        (own.thread_size.clone().unwrap(), own.strength)
    };
    for (id, kind) in [
        ("bsw", ThreadKind::Whitworth),
        ("bsf", ThreadKind::Whitworth),
        ("ba", ThreadKind::BritishAssociation),
        ("spindle", ThreadKind::Trapezoidal),
        ("pipe", ThreadKind::PipeUnstated),
    ] {
        assert_eq!(first(id).0.kind, kind, "{id}");
    }
    // [ISO 3506-1:2009 table 2; ASTM A193]
    for (id, tensile) in [
        ("a2-50", 500.0),
        ("a2-70", 700.0),
        ("a2-80", 800.0),
        ("a4-50", 500.0),
        ("a4-70", 700.0),
        ("a4-80", 800.0),
        ("b7", 125.0 * KSI_MPA),
        ("b7-metric", 125.0 * KSI_MPA),
    ] {
        let strength = first(id).1.unwrap();
        assert!((strength.tensile_MPa - tensile).abs() < 1e-6, "{id}");
    }
    assert_eq!(plan.joints().len(), 18);
}
