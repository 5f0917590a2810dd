//! What the mechanics know by heart of the pump: its twelve joints as the manual has them, written down a second time.
//!
//! Typed from the manual's page and not taken from the plan as the program reads it, so that a plan read wrong shows. Torques in
//! mN·m at the fastener, angles in millidegrees, lengths in µm. Knows nothing of the program.

/// What a stage asks of a fastener, or of the joint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stage {
    /// Turned in with the fingers.
    Fingers,
    /// A torque: target, lowest, highest.
    Torque(i32, i32, i32),
    /// An angle: target, lowest, highest.
    Angle(i32, i32, i32),
    /// A question about the whole joint.
    Question,
    /// A length of the joint: lowest, highest.
    Length(i32, i32),
    /// A length of each fastener.
    Lengths(i32, i32),
    /// To be over within so many seconds after a moment.
    Within(u64),
    /// At least so many seconds after the stage before the last.
    Rest(u64),
    /// A torque, once it has run.
    Later(i32, i32, i32),
}

/// A joint of the manual.
#[derive(Debug)]
pub(crate) struct Joint {
    pub(crate) id: &'static str,
    pub(crate) title: &'static str,
    pub(crate) fasteners: u8,
    /// What the stage asks, and the tools that will do.
    pub(crate) stages: &'static [(Stage, &'static [&'static str])],
    /// How many stages at the beginning are a trial that comes apart again.
    pub(crate) trial: usize,
    /// Titles would do; ids are shorter: what must be final before.
    pub(crate) after: &'static [&'static str],
    /// What cannot be reached any more.
    pub(crate) covers: &'static [&'static str],
    pub(crate) needs: Option<&'static str>,
    /// A fastener of which the first stage asks nothing.
    pub(crate) left_out: Option<u8>,
    /// A fastener that was tight and is loosened is scrap.
    pub(crate) spent_once_loosened: bool,
    /// A second person looks.
    pub(crate) is_looked_at: bool,
    /// What must be on the threads.
    pub(crate) threads: Option<&'static str>,
    /// Added to every torque: the running torque of the lock.
    pub(crate) lock: i32,
}

const PLAIN: Joint = Joint {
    id: "",
    title: "",
    fasteners: 0,
    stages: &[],
    trial: 0,
    after: &[],
    covers: &[],
    needs: None,
    left_out: None,
    spent_once_loosened: false,
    is_looked_at: false,
    threads: None,
    lock: 0,
};

const CURVE: &[&str] = &["S1"];
const SMALL: &[&str] = &["K1", "D1"];
const LARGE: &[&str] = &["D1", "B1"];
const MIXED: &[&str] = &["S1", "D1", "B1", "K1"];
const ANGLES: &[&str] = &["G1", "spanner"];
const FINGERS: &[&str] = &[];

pub(crate) const GASKET: &str = "head gasket";
/// The shared stud: a fastener of the crankcase that the bracket goes over as its first.
pub(crate) const SHARED: (&str, u8, &str, u8) = ("crankcase", 2, "bracket", 0);

/// The pump. [NIST SP 811, appendix B.8: 1 lbf·ft = 1.355 818 N·m]
pub(crate) const PUMP: [Joint; 12] = [
    Joint {
        id: "dowels",
        title: "Dowel retaining screws",
        fasteners: 8,
        stages: &[
            (Stage::Fingers, FINGERS),
            (Stage::Torque(9_000, 8_100, 9_900), SMALL),
        ],
        threads: Some("threadlocker"),
        ..PLAIN
    },
    Joint {
        id: "main-caps",
        title: "Main bearing caps",
        fasteners: 10,
        stages: &[
            (Stage::Torque(40_000, 36_800, 43_200), LARGE),
            (Stage::Length(30, 70), FINGERS),
            (Stage::Torque(40_000, 36_800, 43_200), CURVE),
            (Stage::Torque(70_000, 65_800, 74_200), CURVE),
        ],
        trial: 2,
        after: &["dowels"],
        ..PLAIN
    },
    Joint {
        id: "rods",
        title: "Connecting rod bolts, by their stretch",
        fasteners: 4,
        stages: &[
            (Stage::Torque(30_000, 27_600, 32_400), MIXED),
            (Stage::Lengths(140, 180), FINGERS),
        ],
        after: &["main-caps"],
        ..PLAIN
    },
    Joint {
        id: "crankcase",
        title: "Crankcase halves",
        fasteners: 14,
        stages: &[
            (Stage::Torque(20_000, 18_000, 22_000), MIXED),
            // 26 lbf·ft ± 8 %.
            (Stage::Torque(35_251, 32_431, 38_071), MIXED),
        ],
        covers: &["main-caps", "rods"],
        ..PLAIN
    },
    Joint {
        id: "bracket",
        title: "Lifting bracket",
        fasteners: 6,
        stages: &[
            (Stage::Torque(25_000, 23_000, 27_000), SMALL),
            (Stage::Question, FINGERS),
        ],
        after: &["crankcase"],
        left_out: Some(0),
        ..PLAIN
    },
    Joint {
        id: "head",
        title: "Cylinder head",
        fasteners: 14,
        stages: &[
            (Stage::Question, FINGERS),
            (Stage::Torque(30_000, 27_600, 32_400), CURVE),
            (Stage::Angle(60_000, 54_000, 66_000), CURVE),
        ],
        after: &["crankcase"],
        needs: Some(GASKET),
        spent_once_loosened: true,
        is_looked_at: true,
        ..PLAIN
    },
    Joint {
        id: "rocker-caps",
        title: "Rocker caps, locking nuts",
        fasteners: 10,
        stages: &[(Stage::Torque(22_000, 20_240, 23_760), &["A1"])],
        after: &["head"],
        lock: 2_000,
        ..PLAIN
    },
    Joint {
        id: "impeller",
        title: "Impeller nut, left-hand thread",
        fasteners: 1,
        // 60 lbf·ft ± 8 %.
        stages: &[(Stage::Torque(81_349, 74_841, 87_857), LARGE)],
        ..PLAIN
    },
    Joint {
        id: "linkage",
        title: "Governor linkage, castle nuts",
        fasteners: 3,
        stages: &[(Stage::Torque(32_500, 25_000, 40_000), LARGE)],
        ..PLAIN
    },
    Joint {
        id: "seal-carrier",
        title: "Seal carrier, in sealant",
        fasteners: 12,
        stages: &[
            (Stage::Torque(9_000, 8_100, 9_900), SMALL),
            (Stage::Within(600), FINGERS),
            (Stage::Rest(3_600), FINGERS),
            (Stage::Torque(9_000, 8_100, 9_900), SMALL),
        ],
        after: &["main-caps"],
        threads: Some("sealant"),
        ..PLAIN
    },
    Joint {
        id: "cover",
        title: "Valve cover",
        fasteners: 20,
        stages: &[
            // 11 lbf·ft ± 10 %.
            (Stage::Torque(14_914, 13_423, 16_405), SMALL),
            (Stage::Angle(45_000, 37_000, 53_000), ANGLES),
        ],
        covers: &["rocker-caps"],
        ..PLAIN
    },
    Joint {
        id: "flange",
        title: "Discharge flange",
        fasteners: 18,
        stages: &[
            (Stage::Torque(30_000, 27_000, 33_000), MIXED),
            (Stage::Torque(60_000, 55_200, 64_800), LARGE),
            (Stage::Later(60_000, 55_200, 64_800), LARGE),
        ],
        ..PLAIN
    },
];

impl Joint {
    /// Whether a stage asks something of each fastener.
    pub(crate) fn is_each(stage: Stage) -> bool {
        !matches!(
            stage,
            Stage::Question | Stage::Length(..) | Stage::Within(_) | Stage::Rest(_)
        )
    }

    /// Whether a stage asks something of a fastener.
    pub(crate) fn asks(&self, fastener: u8, stage: usize) -> bool {
        Self::is_each(self.stages[stage].0) && !(stage == 0 && self.left_out == Some(fastener))
    }
}

/// The place of a joint in the pump.
pub(crate) fn at(id: &str) -> usize {
    PUMP.iter()
        .position(|joint| joint.id == id)
        .expect("it is in the manual")
}
