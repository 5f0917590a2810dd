//! Texts as quantities: refused with bytes that lie in the text, or read and printed to what reads the same.
#![no_main]

use core::fmt::{Debug, Display};

use evendraw::quantity::{
    AngleUnit, Converted, LengthUnit, QuantityError, SpanUnit, Target, Tolerance, TorqueUnit,
    printed_targets,
};
use libfuzzer_sys::fuzz_target;

fn round<T: Display + PartialEq + Debug>(
    text: &str,
    read: impl Fn(&str) -> Result<T, QuantityError>,
) {
    match read(text) {
        Ok(found) => assert_eq!(read(&found.to_string()), Ok(found)),
        Err(error) => {
            assert!(text.get(error.from..error.to).is_some() && !error.to_string().is_empty())
        }
    }
}

fuzz_target!(|text: &str| {
    round(text, Target::<TorqueUnit>::parse);
    round(text, Target::<AngleUnit>::parse);
    round(text, Target::<LengthUnit>::parse);
    round(text, Target::<SpanUnit>::parse);
    if let Err(error) = Tolerance::<TorqueUnit>::parse(text) {
        assert!(text.get(error.from..error.to).is_some());
    }
    if let (Ok(target), Ok(within)) = (
        Target::<TorqueUnit>::parse(text),
        Tolerance::parse("+3 % -2 %"),
    ) {
        if let Ok(window) = target.window(&within) {
            assert!(window.min <= window.target && window.target <= window.max);
        }
        assert_eq!(printed_targets(&target, &target), Ok(()));
        if let Some(low) = target.low() {
            for unit in TorqueUnit::ALL {
                let text = Converted::new(low, unit).to_string();
                assert!(
                    text.bytes()
                        .all(|byte| byte.is_ascii_digit() || byte == b'.'),
                    "{text}"
                );
            }
        }
    }
});
