//! Procedures for tests: some fasteners, each stage at every one of them, a wait and a check for the joint.

use std::vec::Vec;

use super::{Fastener, Parts, Prevailing, Procedure, Stage, StageKind, Step, Terms, TorqueWindow};
use crate::text::Label;
use crate::unit::{Angle, Torque};

pub(crate) const fn torque(newton_meters: i32) -> Torque {
    Torque::from_millinewton_meters(newton_meters * 1_000)
}

pub(crate) const fn degrees(degrees: i32) -> Angle {
    Angle::from_millidegrees(degrees * 1_000)
}

/// 1 N·m to either side.
pub(crate) fn window(newton_meters: i32) -> TorqueWindow {
    TorqueWindow {
        target: torque(newton_meters),
        min: torque(newton_meters - 1),
        max: torque(newton_meters + 1),
    }
}

pub(crate) fn tighten(newton_meters: i32) -> Stage {
    Stage::new(StageKind::Tighten {
        window: window(newton_meters),
        prevailing: Prevailing::None,
    })
}

/// Fasteners 1, 2 and so on, each beside these; the stages in their order.
pub(crate) fn procedure(near: &[[Option<u8>; 4]], stages: &[Stage], terms: Terms) -> Procedure {
    let fasteners: Vec<Fastener> = near
        .iter()
        .zip(["1", "2", "3", "4"])
        .map(|(&near, label)| Fastener {
            label: Label::cut(label),
            near,
        })
        .collect();
    let mut steps = Vec::new();
    for (number, stage) in (0..).zip(stages) {
        match stage.kind {
            StageKind::Wait { .. } | StageKind::Check => steps.push(Step::joint(number)),
            _ => steps.extend(
                (0..)
                    .zip(&fasteners)
                    .map(|(fastener, _)| Step::on(fastener, number)),
            ),
        }
    }
    let parts = Parts {
        fasteners: &fasteners,
        stages,
        steps: &steps,
        overrides: &[],
        terms,
    };
    Procedure::new(&parts).unwrap()
}
