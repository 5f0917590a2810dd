//! The text of a plan: read, or refused with faults that lie in it; what is read compiles, and reads the same again.
#![no_main]

use evendraw::plan::{Answers, Plan};
use libfuzzer_sys::fuzz_target;

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
