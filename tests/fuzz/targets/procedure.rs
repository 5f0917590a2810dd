//! A procedure's stored form: refused, or decoded and written again as the same bytes (L8).
#![no_main]

use evendraw_core::crc::crc32;
use evendraw_core::procedure::Procedure;
use libfuzzer_sys::fuzz_target;

fn decode(bytes: &[u8]) {
    match Procedure::decode(bytes) {
        Ok(procedure) => {
            let mut room = vec![0; 16 * 1024];
            assert_eq!(procedure.encode(&mut room).expect("room"), bytes);
            assert!(procedure.encode(&mut vec![0; bytes.len() - 1]).is_err());
            for step in 0..=u16::try_from(procedure.steps().len()).expect("few") {
                let _ = (procedure.torque_window(step), procedure.angle_window(step));
            }
        }
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fuzz_target!(|bytes: &[u8]| {
    decode(bytes);
    let mut summed = bytes.to_vec();
    summed.extend_from_slice(&crc32(0, bytes).to_le_bytes());
    decode(&summed);
});
