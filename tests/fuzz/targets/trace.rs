//! The text of a trace: samples in the order of their time, or a fault with its line; what is read is the same when it was written
//! and read again, and can be taken for a recording.
#![no_main]

use evendraw::rehearsal::recording::Recording;
use evendraw::rehearsal::trace_file;
use evendraw_core::procedure::Hand;
use evendraw_core::sample::Sample;
use evendraw_core::unit::Instant;
use libfuzzer_sys::fuzz_target;

fn check(samples: Vec<(Instant, Sample)>) {
    assert!(samples.is_sorted_by_key(|(at, _)| *at));
    let mut file = Vec::new();
    trace_file::write(&mut file, "again", samples.iter().copied()).expect("room");
    let again = trace_file::read(file.as_slice()).expect("its own");
    assert_eq!(again, samples);
    if let Ok(recording) = Recording::new(samples) {
        let _ = recording.zero_words();
        for hand in [Hand::Right, Hand::Left] {
            for loosens in [false, true] {
                if let Err(error) = recording.pulls(hand, loosens) {
                    assert!(!error.to_string().is_empty());
                }
            }
        }
    }
}

fuzz_target!(|bytes: &[u8]| match trace_file::read(bytes) {
    Ok(samples) => check(samples),
    Err(error) => {
        let said = error.to_string();
        assert!(!said.is_empty() && said.len() < 10_000);
    }
});
