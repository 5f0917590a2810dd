//! The text of a plan: read, or refused with faults that lie in it; what is read compiles, and reads the same again.
#![no_main]

use evendraw::plan::{Answers, Plan};
use libfuzzer_sys::{fuzz_mutator, fuzz_target, fuzzer_mutate};

mod words;

use words::Words;

fuzz_target!(|text: &str| {
    match Plan::parse("plan.toml", text) {
        Ok(plan) => {
            for joint in plan.joints() {
                // An answer may be wanted first.
                let _ = joint.procedure(&Answers::default());
                let _ = joint.first_plan();
            }
            let again = Plan::parse("plan.toml", plan.text()).expect("it was read before");
            assert_eq!(again.joints().len(), plan.joints().len());
        }
        Err(errors) => {
            assert!(!errors.list().is_empty());
            // Told in words that are bounded, whatever the text is.
            assert!(errors.to_string().len() < 1_000_000);
        }
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
