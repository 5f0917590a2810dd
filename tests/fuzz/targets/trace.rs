//! The text of a trace: samples in the order of their time, or a fault with its line; what is read can be taken for a recording.
#![no_main]

use evendraw::rehearsal::recording::Recording;
use evendraw::rehearsal::trace_file;
use evendraw_core::procedure::Hand;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| match trace_file::read(bytes) {
    Ok(samples) => {
        assert!(samples.is_sorted_by_key(|(at, _)| *at));
        if let Ok(recording) = Recording::new(samples) {
            let _ = recording.zero_words();
            for hand in [Hand::Right, Hand::Left] {
                let _ = recording.pulls(hand, false);
            }
        }
    }
    Err(error) => assert!(!error.to_string().is_empty() && error.to_string().len() < 10_000),
});
