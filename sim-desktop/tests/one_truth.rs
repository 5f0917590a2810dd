//! Every face says what the projection says: over the 27 patterns and random histories of skips, rejections, kills, second looks,
//! parts, new fasteners and mock-ups, states, exceptions and next are the same from live sessions, from the journal folded again,
//! on the desk, on the sheet, on the tag and in `check`.

#![cfg(feature = "desk")]

use std::path::{Path, PathBuf};

use evendraw::desk::model::Model;
use evendraw::desk::tag_text;
use evendraw::job::Job;
use evendraw::job::status::telling::objects;
use evendraw::job::status::{Kept, Status, names, rows};
use evendraw::mark::Mark;
use evendraw::plan::Plan;
use evendraw::sheet::{Sheet, page, text};
use evendraw::store::{Content, Purpose, read};
use evendraw_core::record::{Decision, Doubt, Record, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next};
use evendraw_core::unit::{Instant, Length, Rotation, Torque};
use evendraw_core::verdict::Aim;
use proptest::prelude::*;

/// An empty folder of its own, taken away with the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path =
            std::env::temp_dir().join(format!("evendraw-truth-{}-{name}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn pattern_path(number: usize) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(format!("../tests/fixtures/patterns/P{number:02}.toml"))
}

/// A build worked by whatever the bytes say.
struct World {
    job: Job,
    path: PathBuf,
    clock: u64,
}

impl World {
    fn new(plan: Plan, path: &Path) -> Self {
        let mut job = Job::create(path, plan, Purpose::Job).unwrap();
        let variants: Vec<(u8, String, String)> = job
            .plan()
            .joints()
            .iter()
            .flat_map(|joint| {
                joint.variants().iter().map(|variant| {
                    let answer = variant.allowed().next().unwrap_or_default().to_owned();
                    (joint.number(), variant.key.clone(), answer)
                })
            })
            .collect();
        for (joint, key, answer) in variants {
            job.choose(joint, &key, &answer).unwrap();
        }
        Self {
            job,
            path: path.to_owned(),
            clock: 0,
        }
    }

    fn say(&mut self, joint: u8, input: Input<'_>) {
        self.clock += 1_000_000;
        // What comes at a wrong moment is refused, and that is as it should be.
        let _ = self
            .job
            .apply(joint, Instant::from_micros(self.clock), input);
    }

    /// The job is gone without a word and opened again.
    fn kill(&mut self) {
        let plan = self.job.plan().clone();
        let nowhere = Job::unkept(plan, Purpose::Job);
        drop(std::mem::replace(&mut self.job, nowhere));
        self.job = Job::open(&self.path, Purpose::Job).unwrap();
        self.clock = 0;
    }

    fn next(&self, joint: u8) -> Next {
        self.job
            .session(joint)
            .map_or(Next::Start, |session| session.next())
    }

    /// A pull at what is armed, to a share of what it aims at, let go of in the middle where it is cut short.
    fn pull(&mut self, joint: u8, share: i32, cut: bool) {
        let Some((step, aim)) = self.job.session(joint).and_then(|session| session.armed()) else {
            return;
        };
        let (torque, turn) = match aim {
            Aim::Torque { window } | Aim::Repeat { window, .. } => {
                (window.target.millinewton_meters(), 15_000)
            }
            Aim::Turn { window, .. } => (40_000, window.target.millidegrees()),
            Aim::Hold { .. } | Aim::BackOff { .. } => {
                return self.say(joint, Input::Paper { step });
            }
        };
        let up = (1..=500).map(|at| (at, at));
        let down = (0..500).rev().step_by(4).map(|at| (at, 500));
        let rest = std::iter::repeat_n((0, 500), 200);
        for (load, reached) in up.chain(down).chain(rest) {
            if cut && reached > 250 {
                return;
            }
            self.clock += 2_000;
            let torque = torque / 500 * load / 100 * share;
            let sample = Sample {
                torque: Torque::from_millinewton_meters(torque),
                rotation: Rotation::from_millidegrees(
                    turn / 500 * reached / 100 * share + torque / 10,
                ),
            };
            let at = Instant::from_micros(self.clock);
            let _ = self.job.apply(joint, at, Input::Sample(sample));
        }
        self.clock += 60_000_000;
        self.say(joint, Input::Tick);
    }

    /// Does what is next, as it should be done.
    fn go_on(&mut self, joint: u8) {
        match self.next(joint) {
            Next::Start | Next::Store | Next::Nothing => self.say(joint, Input::Tick),
            Next::Person => {
                let role = Role::Operator;
                self.say(
                    joint,
                    Input::Person {
                        name: "M. Ahlers",
                        role,
                    },
                );
            }
            Next::Tool => {
                let tools = self.job.tools_for_next(joint);
                let id = tools.first().map_or("own", |id| *id).to_owned();
                self.say(
                    joint,
                    Input::Tool {
                        id: &id,
                        waiver: "",
                    },
                );
            }
            Next::Condition => self.say(
                joint,
                Input::Condition {
                    found: "as stated",
                    matches: true,
                },
            ),
            Next::Pull { .. } => self.pull(joint, 100, false),
            Next::Hand { step } => self.say(joint, Input::Confirm { step }),
            Next::Fit { step } => {
                let procedure = self.job.session(joint).unwrap().procedure();
                let fastener = procedure.steps()[usize::from(step)].fastener().unwrap();
                self.say(joint, Input::Fitted { fastener });
            }
            Next::Answer { step } => {
                let note = "";
                self.say(
                    joint,
                    Input::Answer {
                        step,
                        yes: true,
                        note,
                    },
                );
            }
            Next::Measure { step } => {
                let length = Length::from_micrometers(300);
                self.say(joint, Input::Measure { step, length });
            }
            Next::Moment { moment, .. } => self.say(joint, Input::Moment { moment }),
            Next::Wait { until, .. } => {
                self.clock = self.clock.max(until.micros());
                self.say(joint, Input::Tick);
            }
            Next::Loosen { fastener } => self.loosen(joint, fastener),
            Next::Replace { fastener } => self.say(joint, Input::Fitted { fastener }),
            Next::Decide { step } => {
                let decision = Decision::Waive;
                let note = "R. Falk: as found";
                self.say(
                    joint,
                    Input::Decide {
                        step,
                        decision,
                        note,
                    },
                );
            }
            Next::Settle { fastener } => self.doubt(joint, fastener, Doubt::Settled),
            Next::TakeApart => self.say(joint, Input::TakenApart { note: "" }),
            Next::AwaitDue { stage } => {
                let state = evendraw_core::procedure::EngineState::Cold;
                self.say(joint, Input::Due { stage, state });
            }
        }
    }

    fn loosen(&mut self, joint: u8, fastener: u8) {
        let (elsewhere, cause) = (false, "done again");
        self.say(
            joint,
            Input::Loosened {
                fastener,
                elsewhere,
                cause,
            },
        );
    }

    fn doubt(&mut self, joint: u8, fastener: u8, doubt: Doubt) {
        let (fastener, text) = (Some(fastener), "squeaked");
        self.say(
            joint,
            Input::Note {
                fastener,
                doubt,
                text,
            },
        );
    }

    /// One thing more, by this byte.
    fn act(&mut self, byte: u8) {
        let joints = u8::try_from(self.job.plan().joints().len()).unwrap();
        let next = self.job.progress().next();
        let joint = next
            .filter(|_| !byte.is_multiple_of(5))
            .unwrap_or(byte % joints);
        let count = self.job.plan().joints()[usize::from(joint)]
            .positions()
            .len();
        let fastener = byte % u8::try_from(count).unwrap();
        match byte % 24 {
            0 => {
                let session = self.job.session(joint);
                let open = session.and_then(|session| {
                    (0_u16..)
                        .zip(session.procedure().steps())
                        .find(|(step, _)| !session.ledger().step(*step).is_settled())
                });
                if let Some((step, _)) = open {
                    let reason = "not within reach now";
                    self.say(joint, Input::Skip { step, reason });
                }
            }
            1 => self.doubt(joint, fastener, Doubt::Raised),
            2 => self.loosen(joint, fastener),
            3 => self.pull(joint, 130, false),
            4 => {
                self.pull(joint, 100, true);
                self.kill();
            }
            5 => self.kill(),
            6 => {
                let (name, role) = ("R. Falk", Role::Witness);
                self.say(joint, Input::Person { name, role });
            }
            7 => {
                let part = self.job.status().parts.first().cloned();
                if let Some(part) = part {
                    let said = if part.is_here {
                        self.job.part_missing(&part.name)
                    } else {
                        self.job.part_arrived(&part.name)
                    };
                    said.unwrap();
                }
            }
            8 => self.say(joint, Input::Fitted { fastener }),
            9 => match self.next(joint) {
                Next::Answer { step } => {
                    let note = "stiff";
                    self.say(
                        joint,
                        Input::Answer {
                            step,
                            yes: false,
                            note,
                        },
                    );
                }
                Next::Measure { step } => {
                    let length = Length::from_micrometers(90_000);
                    self.say(joint, Input::Measure { step, length });
                }
                _ => self.say(joint, Input::Mark { fastener }),
            },
            10 => self.say(joint, Input::Recheck { fastener }),
            _ => self.go_on(joint),
        }
    }

    /// From live sessions and from the records folded again: the same.
    fn agrees(&self) -> Status {
        let live = self.job.status();
        let content = content(&self.job);
        let folded = Kept::of(self.job.plan(), &content, self.job.traces()).status();
        let marks = |status: &Status| -> Vec<(Mark, Vec<Option<Mark>>, Vec<Mark>)> {
            let joints = status.joints.iter();
            joints
                .map(|joint| {
                    (
                        joint.mark,
                        joint.fasteners.iter().map(|own| own.mark).collect(),
                        joint.stages.iter().map(|own| own.mark).collect(),
                    )
                })
                .collect()
        };
        assert_eq!(marks(&live), marks(&folded));
        assert_eq!(live.exceptions, folded.exceptions);
        assert_eq!(live.open, folded.open);
        assert_eq!(live.headline(), folded.headline());
        for (one, other) in live.joints.iter().zip(&folded.joints) {
            // A check that is armed, and a wait's end, are the session's alone.
            let armed = self
                .job
                .session(one.number)
                .and_then(|session| session.armed());
            if armed.is_none() && !matches!(one.next, Some(Next::Wait { .. })) {
                assert_eq!(one.next, other.next, "{}", one.id);
            }
        }
        live
    }
}

fn content(job: &Job) -> Content {
    let mut content = Content::default();
    content.facts = job.facts().to_vec();
    content.damage = job.damage().to_vec();
    content
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The sheet says every state, everything open and every exception, in page and text.
fn sheet_says(kept: &Kept<'_>, status: &Status) {
    let sheet = Sheet::of(kept, "truth.evj", None);
    assert_eq!(sheet.status.exceptions, status.exceptions);
    let (page, text) = (page(&sheet), squeezed(&text(&sheet)));
    assert!(page.contains(&status.headline()) && text.contains(&status.headline()));
    for joint in &status.joints {
        let state = squeezed(&format!("State: {}.", joint.mark.word()));
        assert!(text.contains(&state), "{}: {state}", joint.id);
    }
    for item in status.open.iter().chain(&status.exceptions) {
        let line = squeezed(&format!("{} {}", item.mark.word(), item.line()));
        assert!(text.contains(&line), "{line}\n{text}");
    }
    let is_complete = status.open.is_empty() && !status.rehearsal;
    assert_eq!(
        text.replace("NOT COMPLETE", "").contains("COMPLETE"),
        is_complete
    );
}

fn tag_says(status: &Status) {
    let tag = tag_text(status);
    let all_final = status.open.is_empty() && status.exceptions.is_empty();
    assert_eq!(tag.contains("ALL JOINTS FINAL"), all_final, "{tag}");
    for joint in status
        .joints
        .iter()
        .filter(|joint| joint.mark != Mark::Final)
    {
        let line = format!("[ ] {}: {}", joint.title, joint.mark.word());
        assert!(tag.contains(&line), "{line}\n{tag}");
    }
    for item in &status.exceptions {
        assert!(tag.contains(&item.line()), "{}\n{tag}", item.line());
    }
}

/// The record lists every fact once, for people and for scripts alike.
fn record_says(plan: &Plan, content: &Content) {
    let names = names(plan, &content.facts);
    let told = rows(&content.facts, false, &names, Some(plan));
    let objects: Vec<serde_json::Value> = objects(&names, Some(plan), &content.facts).collect();
    assert_eq!(told.len(), objects.len());
    let attempts = content
        .entries()
        .filter(|entry| matches!(entry.record, Record::Attempt(_)));
    let verdicts = objects.iter().filter(|own| own["record"] == "attempt");
    assert_eq!(attempts.count(), verdicts.clone().count());
    let marks = told.iter().filter(|row| row.attempt > 0);
    for (row, object) in marks.zip(verdicts) {
        let verdict = match row.mark {
            Some(Mark::Accepted) => "accepted",
            Some(Mark::Rejected) => "rejected",
            _ => "unknown",
        };
        assert_eq!(object["verdict"], verdict);
        assert!(row.words.contains(verdict), "{row:?}");
    }
}

/// The desk shows the same states, the same exceptions, the same next, and asks about that.
fn desk_says(folder: &Path, name: &str, path: &Path, plan: &Plan) {
    let mut model = Model::in_folder(name, plan.text(), folder);
    model.go_on();
    model.set_browser(false);
    model.tick(0.0);
    let content = read(path).unwrap();
    let status = Kept::of(plan, &content, None).status();
    let view = model.view();
    assert_eq!(view.status.exceptions, status.exceptions);
    assert_eq!(view.status.open, status.open);
    assert_eq!(view.status.next, status.next);
    for (shown, own) in view.status.joints.iter().zip(&status.joints) {
        assert_eq!((shown.mark, &shown.why), (own.mark, &own.why), "{}", own.id);
    }
    let Some(joint) = &view.joint else { return };
    let own = status.joints.iter().find(|own| own.id == joint.id).unwrap();
    let marks: Vec<Mark> = joint.fasteners.iter().map(|own| own.mark).collect();
    let wanted: Vec<Mark> = own
        .fasteners
        .iter()
        .map(|own| own.mark.unwrap_or_default())
        .collect();
    assert_eq!(marks, wanted);
    let stages: Vec<Mark> = joint.stages.iter().map(|own| own.mark).collect();
    let wanted: Vec<Mark> = own.stages.iter().map(|own| own.mark).collect();
    assert_eq!(stages, wanted);
    match own.next {
        Some(
            Next::Decide { .. } | Next::Loosen { .. } | Next::Replace { .. } | Next::Settle { .. },
        ) => {
            // A running torque that is missing is typed.
            let is_typed = joint.prompt.as_ref().is_some_and(|own| own.typed.is_some());
            assert!(
                joint.is_alerted() || is_typed,
                "{:?}: {:?}",
                own.next,
                joint.prompt
            );
        }
        Some(Next::Nothing) => assert!(joint.prompt.is_none(), "{:?}", joint.prompt),
        _ => {}
    }
    if let Some(prompt) = joint
        .prompt
        .as_ref()
        .filter(|prompt| prompt.typed.is_none())
    {
        let keys: Vec<&str> = prompt.choices.iter().map(|choice| choice.key).collect();
        let mut single = keys.clone();
        single.sort_unstable();
        single.dedup();
        assert_eq!(single.len(), keys.len(), "a key does one thing: {prompt:?}");
    }
}

/// `check` says of a plan what the projection says before anything was done.
fn check_says(path: &Path, plan: &Plan) {
    let status = Kept::before_work(plan).status();
    let line = ["evendraw", "check", "--no-tools", "--json"];
    let mut line: Vec<std::ffi::OsString> = line.iter().map(Into::into).collect();
    line.push(path.into());
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let _ = evendraw::command::run(line, &mut out, &mut err, false);
    let out = String::from_utf8(out).unwrap();
    let told: Vec<serde_json::Value> = out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(told.len(), status.joints.len(), "{out}");
    for (told, own) in told.iter().zip(&status.joints) {
        assert_eq!(told["state"], own.mark.word(), "{}", own.id);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_face_says_what_the_projection_says(actions in proptest::collection::vec(any::<u8>(), 10..70)) {
        for number in 1..=27 {
            let model = pattern_path(number);
            let words = std::fs::read_to_string(&model).unwrap();
            let name = format!("P{number:02}.toml");
            let plan = Plan::parse(&name, &words).unwrap_or_else(|errors| panic!("{}", errors.report(false)));
            check_says(&model, &plan);
            let folder = Folder::new(&format!("P{number:02}"));
            let path = folder.0.join(format!("P{number:02}.evj"));
            let mut world = World::new(plan.clone(), &path);
            for (at, action) in actions.iter().enumerate() {
                world.act(*action);
                if at % 7 == 0 {
                    world.agrees();
                }
            }
            let status = world.agrees();
            sheet_says(&world.job.kept(), &status);
            tag_says(&status);
            record_says(&plan, &content(&world.job));
            drop(world);
            desk_says(&folder.0, &name, &path, &plan);
        }
    }
}
