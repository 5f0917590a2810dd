//! What is pulled, and a desk without its window that puts records right until it is killed.
//!
//! The desk runs in a process of its own: this test again, told by an environment variable.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;

use evendraw::job::status::telling::object;
use evendraw::job::{Done, Job};
use evendraw::store::Purpose;
use evendraw_core::record::{Record, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::{Instant, Rotation, Torque};

/// Set in the process that is killed: the folder it works in.
const FOLDER: &str = "EVENDRAW_TEST_PUTS_RIGHT_IN";
const NAME: &str = "killed::hands::puts_right_until_it_is_killed";

/// Time, torque and rotation of a pull to 30 N·m, every 4 ms.
fn pull() -> impl Iterator<Item = (u32, f64, f64)> {
    (0..500_u32).map(|line| {
        let part = ((f64::from(line) - 100.0) / 200.0).clamp(0.0, 1.0);
        let torque = match line {
            0..320 => 30.0 * part,
            320..340 => 30.0 * f64::from(340 - line) / 20.0,
            _ => 0.0,
        };
        (line, torque, 60.0 * part + torque / 20.0)
    })
}

/// So many pulls as a trace file's rows, one fastener after the other.
pub(super) fn rows(pulls: u32) -> String {
    let mut rows = String::from("time_s,torque_Nm,angle_deg\n");
    for number in 0..pulls {
        for (line, torque, angle) in pull() {
            let time = f64::from(number * 500 + line) * 0.004;
            let angle = angle + 60.0 * f64::from(number);
            let _ = writeln!(rows, "{time:.3},{torque:.3},{angle:.3}");
        }
    }
    rows
}

/// The process that puts right.
pub(super) fn process(folder: &Path) -> Command {
    let own = std::env::current_exe().expect("this test");
    let mut command = Command::new(own);
    command
        .args([NAME, "--exact", "--nocapture", "--test-threads", "1"])
        .env(FOLDER, folder);
    command
}

struct Desk {
    job: Job,
    joint: u8,
    clock: u64,
}

impl Desk {
    fn apply(&mut self, input: Input<'_>) -> Done {
        self.clock += 4_000;
        let at = Instant::from_micros(self.clock);
        let done = self.job.apply(self.joint, at, input).expect("it is taken");
        self.say(&done);
        done
    }

    /// What is safe is told.
    fn say(&self, done: &Done) {
        let names = self.job.names();
        let mut out = std::io::stdout();
        let told = done.told.iter().map(|told| &told.entry);
        let others = done
            .entries
            .iter()
            .filter(|entry| matches!(entry.record, Record::Withdrawn(_)));
        for entry in told.chain(others) {
            writeln!(out, "{}", object(&names, entry)).expect("somebody listens");
        }
        out.flush().expect("somebody listens");
    }

    fn attempts(&self) -> Vec<(u32, u8)> {
        let own = self.job.attempts(self.joint);
        own.map(|(entry, attempt)| (entry.seq, attempt.fastener))
            .collect()
    }

    /// Pulls what is next, says that it was the last fastener but one, and takes a click back.
    fn round(&mut self) -> bool {
        let tool = |id| Input::Tool { id, waiver: "" };
        let Next::Pull { .. } = self.next() else {
            return false;
        };
        self.apply(tool("S1"));
        for (_, torque, angle) in pull() {
            self.apply(Input::Sample(Sample {
                torque: Torque::from_millinewton_meters(milli(torque)),
                rotation: Rotation::from_millidegrees(milli(angle)),
            }));
        }
        self.clock += 2_000_000;
        self.apply(Input::Tick);
        let Some(&(of, fastener)) = self.attempts().last() else {
            return false;
        };
        let at = Instant::from_micros(self.clock);
        // The one behind it, open as it was.
        let done = self.job.reassign(self.joint, at, of, fastener + 1);
        let done = done.expect("it is taken");
        self.say(&done);
        let Next::Pull { step } = self.next() else {
            return false;
        };
        self.apply(tool("W1"));
        let setting = Torque::from_millinewton_meters(30_000);
        let (stands_for, moved) = (setting, false);
        self.apply(Input::BySetting {
            step,
            setting,
            stands_for,
            moved,
        });
        let Some(&(of, _)) = self.attempts().last() else {
            return false;
        };
        let reason = "R. Falk: it had not clicked";
        self.apply(Input::Withdraw { of, reason });
        // What is open in front is done by hand's click.
        if let Next::Pull { step } = self.next() {
            self.apply(Input::BySetting {
                step,
                setting,
                stands_for,
                moved,
            });
        }
        true
    }

    fn next(&self) -> Next {
        let session = self.job.session(self.joint);
        session.map_or(Next::Start, |session| session.next())
    }
}

fn milli(value: f64) -> i32 {
    #[expect(clippy::cast_possible_truncation, reason = "a hundred at most")]
    let whole = (value * 1_000.0).round() as i32;
    whole
}

/// Nothing but the process that is killed; in a plain run of the tests there is no folder.
#[test]
fn puts_right_until_it_is_killed() {
    let Some(folder) = std::env::var_os(FOLDER) else {
        return;
    };
    let path = Path::new(&folder).join("all.evj");
    let job = Job::open(&path, Purpose::Job).expect("a journal");
    let joint = job
        .plan()
        .joints()
        .iter()
        .find(|joint| joint.id() == "put-right")
        .expect("it is in the plan")
        .number();
    let mut desk = Desk {
        job,
        joint,
        clock: 0,
    };
    desk.apply(Input::Tick);
    let (name, role) = ("R. Falk", Role::Operator);
    desk.apply(Input::Person { name, role });
    if let Next::Decide { step } = desk.next() {
        // The kill before this one came in the middle of a pull.
        let (decision, note) = (evendraw_core::record::Decision::Again, "");
        desk.apply(Input::Decide {
            step,
            decision,
            note,
        });
    }
    if desk.next() == Next::Tool {
        desk.apply(Input::Tool {
            id: "S1",
            waiver: "",
        });
    }
    while desk.round() {}
}
