//! The head of a script: fasteners, terms and stages become a procedure.

use std::collections::BTreeMap;

use evendraw_core::procedure::{
    AngleWindow, EngineState, Evidence, Fastener, Hand, Moment, Parts, Policy, Prevailing,
    Procedure, Redo, Reuse, Stage, StageKind, Step, Terms, TorqueWindow,
};
use evendraw_core::text::Label;
use evendraw_core::unit::{Angle, Length, Span, Torque};

pub(crate) fn procedure(script: &str, lines: &[String]) -> Procedure {
    let mut fasteners = Vec::new();
    let mut stages: Vec<Stage> = Vec::new();
    let mut steps = Vec::new();
    let mut order: Vec<u8> = Vec::new();
    let mut terms = Terms {
        hand: Hand::Right,
        ..Terms::default()
    };
    for line in lines
        .iter()
        .filter(|line| !line.starts_with('#') && !line.is_empty())
    {
        let words: Vec<&str> = line.split_whitespace().collect();
        let (verb, rest) = words.split_first().expect("a word");
        match *verb {
            "fasteners" => {
                let count = rest.len();
                for (index, label) in rest.iter().enumerate() {
                    let near = |by: usize| {
                        u8::try_from((index + by) % count)
                            .ok()
                            .filter(|_| count > 1)
                    };
                    fasteners.push(Fastener {
                        label: Label::new(label).expect("a short label"),
                        near: [near(1), near(count - 1), None, None],
                    });
                    order.push(u8::try_from(index).expect("at most 64"));
                }
            }
            "terms" => {
                for word in rest {
                    match word.split_once('=').unwrap_or((*word, "")) {
                        ("redo", "joint") => terms.redo = Redo::Joint,
                        ("redo", "neighbours") => terms.redo = Redo::Neighbours,
                        ("reuse", "replace-if-loosened") => terms.reuse = Reuse::ReplaceIfLoosened,
                        ("reuse", cycles) => {
                            terms.reuse = Reuse::Cycles(cycles.parse().expect("cycles"))
                        }
                        ("condition", "") => terms.condition_stated = true,
                        ("person", "") => terms.person_named = true,
                        ("tool", "") => terms.tool_named = true,
                        ("steepest", rise) => {
                            terms.limits.gradient_max = rise.parse().expect("mN·m per degree");
                        }
                        ("flattest", rise) => {
                            terms.limits.gradient_min = rise.parse().expect("mN·m per degree");
                        }
                        ("bears", most) => {
                            terms.limits.overload = Torque::from_millinewton_meters(milli(most));
                        }
                        ("sum", degrees) => {
                            terms.angle_sum_max = Some(Angle::from_millidegrees(milli(degrees)))
                        }
                        other => panic!("{script}: terms {other:?}?"),
                    }
                }
            }
            "stage" => {
                let index = u8::try_from(stages.len()).expect("at most 16");
                let stage = stage(script, rest);
                let whole = matches!(stage.kind, StageKind::Wait { .. }) || rest.contains(&"whole");
                stages.push(stage);
                if whole {
                    steps.push(Step::joint(index));
                } else {
                    steps.extend(order.iter().map(|&fastener| Step::on(fastener, index)));
                }
            }
            other => panic!("{script}: header {other}?"),
        }
    }
    Procedure::new(&Parts {
        fasteners: &fasteners,
        stages: &stages,
        steps: &steps,
        overrides: &[],
        terms,
    })
    .unwrap_or_else(|error| panic!("{script}: {error}"))
}

fn stage(script: &str, words: &[&str]) -> Stage {
    let word = |n: usize| words.get(n).copied().unwrap_or("");
    let options: BTreeMap<&str, &str> = words
        .iter()
        .filter_map(|word| word.split_once('='))
        .collect();
    let option = |key: &str| options.get(key).copied();
    let still = Angle::from_millidegrees(option("still").map_or(2_000, milli));
    let kind = match word(0) {
        "tighten" => {
            let prevailing = match option("prevailing") {
                Some("measure") => Prevailing::Measure,
                Some(given) => Prevailing::Given(Torque::from_millinewton_meters(milli(given))),
                None => Prevailing::None,
            };
            StageKind::Tighten {
                window: torque(word(1)),
                prevailing,
            }
        }
        "turn" => {
            let (target, min, max) = window(word(1));
            StageKind::Turn {
                window: AngleWindow {
                    target: Angle::from_millidegrees(target),
                    min: Angle::from_millidegrees(min),
                    max: Angle::from_millidegrees(max),
                },
                torque: option("torque").map(torque),
                one_sweep: words.contains(&"one-sweep"),
            }
        }
        "repeat" => StageKind::Repeat {
            window: torque(word(1)),
            still,
            min: option("min").map_or(1, |n| n.parse().expect("min")),
            max: option("max").map_or(5, |n| n.parse().expect("max")),
        },
        "hold" => StageKind::Hold {
            torque: Torque::from_millinewton_meters(milli(word(1))),
            time: Span::from_millis(option("ms").map_or(1_000, |n| n.parse().expect("ms"))),
            still,
        },
        "back-off" => StageKind::BackOff {
            angle: option("angle").map(|n| Angle::from_millidegrees(milli(n))),
        },
        "seat" => StageKind::Seat {
            turns: Angle::from_millidegrees(milli(word(1)) * 360),
        },
        "check" => StageKind::Check,
        "measure" => {
            let (min, max) = word(1).split_once("..").expect("a range of µm");
            StageKind::Measure {
                min: Length::from_micrometers(min.parse().expect("µm")),
                max: Length::from_micrometers(max.parse().expect("µm")),
            }
        }
        "wait" => StageKind::Wait {
            at_least: Span::from_millis(option("least").map_or(0, |n| n.parse().expect("ms"))),
            at_most: option("most")
                .map_or(Span::MAX, |n| Span::from_millis(n.parse().expect("ms"))),
            after: match option("moment") {
                Some(number) => Moment::Named(number.parse().expect("a number")),
                None => Moment::StageDone(
                    option("after")
                        .expect("after")
                        .parse::<u8>()
                        .expect("a stage")
                        - 1,
                ),
            },
        },
        "align" => StageKind::Align {
            window: torque(word(1)),
        },
        "fit" => StageKind::Fit,
        "later" => StageKind::Later {
            window: torque(word(1)),
            state: match option("state") {
                Some("hot") => EngineState::Hot,
                Some("cold") => EngineState::Cold,
                _ => EngineState::Any,
            },
        },
        other => panic!("{script}: stage {other}?"),
    };
    let policy = |key: &str| match option(key) {
        Some("replace") => Policy::Replace,
        Some(restart) if restart.starts_with("restart-") => Policy::Restart(
            restart
                .trim_start_matches("restart-")
                .parse::<u8>()
                .expect("a stage")
                - 1,
        ),
        _ => Policy::Ask,
    };
    Stage {
        on_over: policy("over"),
        on_under: policy("under"),
        any_order: words.contains(&"any-order"),
        mock_up: words.contains(&"mock-up"),
        evidence: match option("evidence") {
            Some("setting") => Evidence::Setting,
            Some("reading") => Evidence::Reading,
            Some("curve") => Evidence::Curve,
            _ => Evidence::Any,
        },
        ..Stage::new(kind)
    }
}

/// `20` is 20 ± 1; `20:19..22` says all three.
fn window(text: &str) -> (i32, i32, i32) {
    match text.split_once(':') {
        Some((target, range)) => {
            let (min, max) = range.split_once("..").expect("min..max");
            (milli(target), milli(min), milli(max))
        }
        None => (milli(text), milli(text) - 1_000, milli(text) + 1_000),
    }
}

fn torque(text: &str) -> TorqueWindow {
    let (target, min, max) = window(text);
    TorqueWindow {
        target: Torque::from_millinewton_meters(target),
        min: Torque::from_millinewton_meters(min),
        max: Torque::from_millinewton_meters(max),
    }
}

/// A whole or decimal number in thousandths.
pub(crate) fn milli(text: &str) -> i32 {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let part: String = format!("{part:0<3}").chars().take(3).collect();
    whole.parse::<i32>().expect("a number") * 1000 + part.parse::<i32>().expect("a number")
}
