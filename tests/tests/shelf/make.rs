//! A shop's shelf made for tests and figures: builds worked through the real session, kept by the real store.
//!
//! Each build is worked in memory and its records are appended in one go; the bytes are those that the store writes record by record,
//! which `the_store_writes_the_same_bytes_in_one_go` holds it to. Everything in it is invented.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use evendraw::job::Job;
use evendraw::plan::Plan;
use evendraw::store::{Fact, Journal, Purpose};
use evendraw_core::record::{Decision, Entry, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::{Instant, Rotation, Torque};
use evendraw_core::verdict::Aim;

/// How large a shelf is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Size {
    pub(crate) builds: u32,
    pub(crate) joints: u32,
    /// Of each joint, at most 64.
    pub(crate) fasteners: u32,
}

/// xorshift64*, Marsaglia 2003 and Vigna 2016: small, and the same everywhere.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn below(&mut self, sides: u32) -> u32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let product = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D);
        u32::try_from(product >> 32).unwrap_or(0) % sides
    }

    /// From low up to high, whole numbers.
    fn between(&mut self, low: i32, high: i32) -> i32 {
        let span = u32::try_from(high - low + 1).unwrap_or(1);
        low + i32::try_from(self.below(span)).unwrap_or(0)
    }
}

const TOOLS: [&str; 4] = ["A1", "A2", "B3", "C4"];
const PEOPLE: [&str; 5] = ["M. Ahlers", "R. Falk", "J. Lund", "S. Brandt", "K. Voss"];
const THREADS: [&str; 3] = ["M8x1.25", "M10x1.5", "M12x1.75"];
/// 2024-01-08 06:00 UTC.
const FIRST_MORNING: i64 = 1_704_693_600;

/// The plan of one build.
pub(crate) fn plan(number: u32, size: Size) -> String {
    let revision = if number.is_multiple_of(3) { "B" } else { "C" };
    let mut text = format!(
        "[build]\ntitle    = \"Harbour pump {number}, top end\"\nunit     = \"pump {number}, serial {}\"\n\
         document = \"Pump overhaul instructions, section 6, revision {revision}\"\n\n",
        4_000 + number
    );
    for tool in TOOLS {
        let _ = write!(
            text,
            "[[tool]]\nid = \"{tool}\"\nkind = \"adapter\"\ncapacity = \"200 N·m\"\nlowest = \"5 N·m\"\naccuracy = \"2 %\"\n\
             calibrated = 2024-01-05\ndue = {}\n\n",
            if tool == "B3" {
                "2025-06-30"
            } else {
                "2099-01-05"
            }
        );
    }
    for joint in 0..size.joints {
        let thread = THREADS[usize::try_from((number + joint) % 3).unwrap_or(0)];
        let _ = write!(
            text,
            "[[joint]]\nid = \"ring-{}\"\ntitle = \"Ring {}\"\nthread = \"{thread}\"\nclass = \"10.9\"\ngrip = \"{} mm\"\ncondition = \"oiled\"\n",
            joint + 1,
            joint + 1,
            40 + 10 * (joint % 3)
        );
        if joint == 1 {
            text.push_str("needs = [\"gasket\"]\n");
        }
        let places: Vec<String> = (0..size.fasteners)
            .map(|place| {
                format!(
                    "{} = [{}, {}]",
                    place + 1,
                    40 * (place % 10),
                    40 * (place / 10)
                )
            })
            .collect();
        let _ = writeln!(text, "positions = {{ {} }}\n", places.join(", "));
        for torque in [15, 25, 35, 45] {
            let _ = write!(
                text,
                "[[joint.stage]]\ndo = \"tighten\"\norder = \"listed\"\ntorque = \"{torque} N·m\"\nwithin = \"±4 %\"\n\n"
            );
        }
        text.push_str(
            "[[joint.stage]]\ndo = \"turn\"\norder = \"listed\"\nangle = \"60°\"\ntorque = \"70..110 N·m\"\n\n",
        );
    }
    if number.is_multiple_of(5) {
        text.push_str("[[part]]\nname = \"gasket\"\non_order = true\n");
    }
    text
}

/// A build at work.
pub(crate) struct Work {
    pub(crate) job: Job,
    clock: u64,
    dice: Dice,
}

impl Work {
    pub(crate) fn new(mut job: Job, number: u32) -> Self {
        let days = i64::from(number % 1_000);
        job.set_wall_time(FIRST_MORNING + days * 86_400 + i64::from(number % 7) * 600);
        Self {
            job,
            clock: 0,
            dice: Dice::new(u64::from(number) + 1),
        }
    }

    fn say(&mut self, joint: u8, input: Input<'_>) {
        self.clock += 200_000;
        let done = self
            .job
            .apply(joint, Instant::from_micros(self.clock), input)
            .expect("the plan has this joint");
        assert!(done.held.is_empty(), "{:?}", done.held);
    }

    /// Works the build through, or a part of it where it is left half-way. One in eight is.
    pub(crate) fn run(&mut self, number: u32) {
        let joints = u32::try_from(self.job.plan().joints().len()).expect("few");
        let left = if number % 8 == 3 { joints / 2 } else { joints };
        if number.is_multiple_of(5) && number % 8 != 3 {
            self.job.part_arrived("gasket").expect("a part of the plan");
        }
        for joint in 0..left {
            if number.is_multiple_of(5) && number % 8 == 3 && joint == 1 {
                break;
            }
            let (tool, person) = (self.dice.below(4), self.dice.below(5));
            let joint = u8::try_from(joint).expect("few");
            self.joint(
                joint,
                TOOLS[usize::try_from(tool).unwrap_or(0)],
                PEOPLE[usize::try_from(person).unwrap_or(0)],
            );
        }
    }

    /// One pull of the first joint with tool A1; later another person, with tool A2 in hand, says that it was on the third fastener.
    pub(crate) fn pull_put_right(&mut self) {
        let role = Role::Operator;
        let name = "R. Falk";
        let tool = |id| Input::Tool { id, waiver: "" };
        self.say(0, Input::Person { name, role });
        self.say(0, tool("A1"));
        let (found, matches) = ("oiled", true);
        self.say(0, Input::Condition { found, matches });
        self.pull(0);
        let of = self.job.attempts(0).next_back();
        let of = of.map(|(entry, _)| entry.seq).expect("an attempt");
        let name = "S. Brandt";
        self.say(0, Input::Person { name, role });
        self.say(0, tool("A2"));
        self.clock += 200_000;
        let at = Instant::from_micros(self.clock);
        let done = self.job.reassign(0, at, of, 2).expect("worked here");
        assert_eq!(done.refusal, None);
    }

    fn joint(&mut self, joint: u8, tool: &str, name: &str) {
        let role = Role::Operator;
        self.say(joint, Input::Person { name, role });
        // A calibration that ran out is waived by name: the shelf shall show it.
        let waiver = if tool == "B3" {
            "S. Brandt: no other"
        } else {
            ""
        };
        self.say(joint, Input::Tool { id: tool, waiver });
        loop {
            let next = self.job.session(joint).expect("no variants").next();
            match next {
                Next::Pull { .. } => self.pull(joint),
                Next::Condition => self.say(
                    joint,
                    Input::Condition {
                        found: "oiled",
                        matches: true,
                    },
                ),
                Next::Decide { step } => self.say(
                    joint,
                    Input::Decide {
                        step,
                        decision: Decision::Waive,
                        note: "R. Falk: as found",
                    },
                ),
                Next::Settle { fastener } => {
                    if self.dice.below(4) == 0 {
                        return;
                    }
                    let (fastener, doubt) = (Some(fastener), evendraw_core::record::Doubt::Settled);
                    self.say(
                        joint,
                        Input::Note {
                            fastener,
                            doubt,
                            text: "looked at, sound",
                        },
                    );
                }
                Next::Nothing => return,
                other => panic!("joint {joint}: {other:?} is next"),
            }
        }
    }

    /// One pull, a tenth of a second to a step, to what is aimed at, and let go.
    fn pull(&mut self, joint: u8) {
        let armed = self.job.session(joint).and_then(|session| session.armed());
        let (_, aim) = armed.expect("something to pull");
        // Now and then somebody pulls too far; else they come out within 3.5 %.
        let share = match self.dice.below(400) {
            0 => 1_080,
            1 => 930,
            _ => self.dice.between(965, 1_035),
        };
        let (from, to, turn) = match aim {
            Aim::Torque { window } => {
                let target = window.target.millinewton_meters();
                let friction = self.dice.between(900, 1_100);
                // The first pass takes up what the parts give besides.
                let turn = if target < 20_000 { target } else { target / 2 };
                (0, target / 1_000 * share, turn / 1_000 * friction)
            }
            Aim::Turn { window, .. } => {
                let end = self.dice.between(85_000, 97_000);
                (40_000, end, window.target.millidegrees() / 1_000 * share)
            }
            other => panic!("{other:?} is not pulled here"),
        };
        let steps = 40;
        let sample = |torque: i32, turned: i32| Sample {
            torque: Torque::from_millinewton_meters(torque),
            rotation: Rotation::from_millidegrees(turned + torque / 20),
        };
        // A turn goes on from where the torque stage ended: the train winds up first.
        for step in 1..=20 {
            self.feed(joint, sample(from / 20 * step, 0));
        }
        for step in 1..=steps {
            let torque = from + (to - from) / steps * step;
            self.feed(joint, sample(torque, turn / steps * step));
        }
        for step in (0..10).rev() {
            self.feed(joint, sample(to / 10 * step, turn));
        }
        for _ in 0..60 {
            if self
                .job
                .session(joint)
                .is_none_or(|session| !session.is_in_pull())
            {
                break;
            }
            self.feed(joint, sample(0, turn));
        }
        self.clock += 3_000_000;
    }

    fn feed(&mut self, joint: u8, sample: Sample) {
        self.clock += 20_000;
        let done = self
            .job
            .apply(
                joint,
                Instant::from_micros(self.clock),
                Input::Sample(sample),
            )
            .expect("the plan has this joint");
        assert!(done.held.is_empty(), "{:?}", done.held);
    }
}

/// The name of a build's folder.
pub(crate) fn name(number: u32) -> String {
    format!("pump-{number:04}")
}

/// Works one build and keeps it below the folder. Returns the attempts made.
pub(crate) fn build(folder: &Path, number: u32, size: Size) -> usize {
    let text = plan(number, size);
    let plan =
        Plan::parse("pump.toml", &text).unwrap_or_else(|errors| panic!("{}", errors.report(false)));
    let mut work = Work::new(Job::unkept(plan, Purpose::Job), number);
    work.run(number);
    let own = folder.join(name(number));
    fs::create_dir_all(&own).expect("a folder");
    fs::write(own.join("pump.toml"), &text).expect("a plan");
    let mut journal = Journal::create(&own.join("pump.evj"), Purpose::Job, "pump.toml", &text)
        .expect("a journal");
    let mut entries: Vec<Entry> = Vec::new();
    let mut attempts = 0;
    for fact in work.job.facts() {
        match fact {
            Fact::Entry(entry) => {
                attempts += usize::from(matches!(
                    entry.record,
                    evendraw_core::record::Record::Attempt(_)
                ));
                entries.push(entry.clone());
            }
            Fact::Host(fact) => {
                journal.append(&entries).expect("kept");
                entries.clear();
                journal
                    .append_facts(std::slice::from_ref(fact))
                    .expect("kept");
            }
        }
    }
    journal.append(&entries).expect("kept");
    attempts
}
