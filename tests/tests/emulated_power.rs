//! The emulated adapter's own power: a watchdog that only a turn with readings feeds, and a supply that falls.

mod adapter_rig;

use adapter_rig::{Rig, attempts, blank_flash, entries};
use evendraw_core::record::Record;
use evendraw_core::verdict::Verdict;

/// What the journal says of a start that the watchdog made.
const BY_THE_WATCHDOG: &str = "started again by the watchdog";

#[test]
fn dead_sensors_let_the_watchdog_start_the_adapter_and_the_journal_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.make_circle(4);
    rig.pull(10.1, 30.0);
    assert!(rig.page().contains("ACCEPTED"), "{}", rig.page());
    rig.still(2_500);
    assert!(rig.page().contains("NEXT 3 stage 1/2"), "{}", rig.page());

    // What is fed from here on is taken by the start that follows.
    rig.let_the_sensors_die();
    rig.still(700);
    assert!(rig.page().contains("NEXT 3 stage 1/2"), "{}", rig.page());
    rig.pull(10.1, 30.0);
    rig.still(500);
    let said = rig.cut_and_read_log();
    assert!(said.contains("(PowerOn)"), "{said}");
    assert!(said.contains("(Watchdog)"), "{said}");

    let kept = entries(&image);
    assert_eq!(attempts(&kept, Verdict::Accepted), 2);
    let notes: Vec<(u16, String)> = kept
        .iter()
        .filter_map(|entry| match &entry.record {
            Record::Noted(noted) => Some((entry.boot, noted.text.to_string())),
            _ => None,
        })
        .collect();
    let second = kept.iter().map(|entry| entry.boot).max().expect("records");
    assert_eq!(notes, [(second, BY_THE_WATCHDOG.to_owned())]);
}

#[test]
fn a_supply_that_falls_lets_a_pull_end_and_stops_the_next_with_its_reason_shown() {
    let folder = tempfile::tempdir().expect("a folder");
    let image = blank_flash(folder.path());
    let mut rig = Rig::start(&image);
    rig.still(700);
    rig.make_circle(4);
    // It falls while the tool is loaded: what is under way is judged and kept.
    rig.load(5.0, 30.0, 300);
    rig.supply(true);
    rig.pull(10.1, 10.0);
    rig.still(3_000);
    assert!(rig.page().contains("Supply is low:"), "{}", rig.page());
    // Pulling now counts for nothing, and no key makes the page go.
    rig.pull(10.1, 30.0);
    rig.yes();
    rig.still(500);
    assert!(rig.page().contains("Supply is low:"), "{}", rig.page());
    rig.supply(false);
    rig.still(200);
    assert!(rig.page().contains("NEXT "), "{}", rig.page());
    rig.pull(10.1, 30.0);
    rig.still(500);
    rig.cut();
    let kept = entries(&image);
    let all = kept
        .iter()
        .filter(|entry| matches!(entry.record, Record::Attempt(_)))
        .count();
    assert_eq!(all, 2, "the one under way, and the one after it was back");
}
