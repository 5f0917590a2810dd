//! The text of a plan: read, or refused with faults that lie in it; what is read compiles, and reads the same again. In its form it
//! means the same, and a change to it can be taken back.
#![no_main]

use evendraw::plan::edit::Document;
use evendraw::plan::edit::form::in_form;
use evendraw::plan::{Answers, Diagnostic, Plan, report};
use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};

mod words;

use words::Words;

/// What is found lies in the text, and is told in words that are bounded, whatever the text is.
fn check_told(list: &[Diagnostic], text: &str) {
    for one in list {
        let place = one.place();
        assert!(place.start <= place.end && place.end <= text.len());
        assert!(!one.what().is_empty() && one.line() > 0 && one.column() > 0);
    }
    let told = report(list, false);
    assert!(told.len() < 1_000_000 && told.is_empty() == list.is_empty());
}

/// A text means the same in its form, and has no other form.
fn check_form(text: &str) {
    let Ok(formed) = in_form(text) else {
        return;
    };
    // As words, since what is no number does not equal itself.
    let meaning = |text: &str| format!("{:?}", text.parse::<toml::Table>().ok());
    assert_eq!(meaning(&formed), meaning(text));
    assert!(
        formed
            .split_whitespace()
            .flat_map(str::chars)
            .eq(text.split_whitespace().flat_map(str::chars))
    );
    assert_eq!(in_form(&formed).as_deref(), Ok(formed.as_str()));
}

/// A change at the place of a fault never breaks the text, and can be taken back.
fn check_changes(text: &str) {
    let mut document = Document::new(text);
    for fault in document.check("plan.toml").faults {
        let _ = document.raw(&fault.path);
        if document.remove(&fault.path).is_ok() {
            assert!(document.layout().is_some());
            assert!(document.undo());
        }
        assert_eq!(document.text(), text);
    }
}

fuzz_target!(|text: &str| {
    // Dearer than the reading itself, and so not done of every text.
    let is_looked_at = text.len() % 8 == 0;
    match Plan::parse("plan.toml", text) {
        Ok(plan) => {
            for joint in plan.joints() {
                // An answer may be wanted first.
                let _ = joint.procedure(&Answers::default());
                let _ = joint.first_plan();
            }
            let again = Plan::parse("plan.toml", plan.text()).expect("it was read before");
            assert_eq!(again.joints().len(), plan.joints().len());
            if is_looked_at {
                check_told(plan.warnings(), text);
            }
        }
        Err(errors) => {
            assert!(!errors.list().is_empty());
            assert!(errors.to_string().len() < 1_000_000);
            if is_looked_at {
                check_told(errors.list(), text);
            }
        }
    }
    if is_looked_at {
        check_form(text);
        check_changes(text);
    }
});

// Bytes changed at random break the grammar nearly always, and then no key is looked at: three times of four whole lines, keys and
// values are changed instead.
fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    let mut words = Words::new(seed);
    let changed = match std::str::from_utf8(&data[..size]) {
        Ok(text) if words.below(4) > 0 => words.change(text),
        _ => return fuzzer_mutate(data, size, max_size),
    };
    if changed.len() > max_size {
        return fuzzer_mutate(data, size, max_size);
    }
    data[..changed.len()].copy_from_slice(changed.as_bytes());
    changed.len()
});
