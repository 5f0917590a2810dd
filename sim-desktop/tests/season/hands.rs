//! The hands and the metal: they do what the program says is next, feel what they feel, and note in the true history what they did.
//!
//! The program is told what a person would tell it: samples, typed values, clicks, answers. Knows nothing of what is shown.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use evendraw::job::status::attempt_of;
use evendraw::job::ways::{ToTell, read};
use evendraw::job::{Done, Held, Job};
use evendraw::plan::Plan;
use evendraw::store::{PartState, Purpose};
use evendraw_core::procedure::{EngineState, Procedure};
use evendraw_core::record::{Decision, Doubt, Entry, Record, Role};
use evendraw_core::sample::Sample;
use evendraw_core::session::{Input, Next, Session};
use evendraw_core::trace::Point;
use evendraw_core::unit::{Instant, Length, Rotation, Torque};
use evendraw_core::verdict::Verdict;

use crate::table::{GASKET, Joint, PUMP, SHARED, Stage, at};
use crate::truth::{Stands, State, Truth, Try};

/// Chance that is the same for the same seed.
#[derive(Clone, Debug)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5EA5_0000)
    }

    fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut value = self.0;
        value = (value ^ (value >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        value = (value ^ (value >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        value ^ (value >> 31)
    }

    /// Below `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.draw() % u64::try_from(end.max(1)).expect("a count")).expect("below")
    }

    fn between(&mut self, low: i32, high: i32) -> i32 {
        let span = usize::try_from(high - low + 1).expect("a range");
        low + i32::try_from(self.below(span)).expect("a range")
    }

    /// Once in so many.
    pub(crate) fn once_in(&mut self, many: usize) -> bool {
        self.below(many) == 0
    }

    pub(crate) fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())]
    }
}

/// The evenings: days of March 2026, each begun at 18:00 UTC, and who works.
const EVENINGS: [(u64, &str); 6] = [
    (2, "R. Falk"),
    (5, "R. Falk"),
    (9, "M. Odum"),
    (12, "R. Falk"),
    (18, "M. Odum"),
    (23, "R. Falk"),
];
/// 2026-03-01 18:00 UTC.
const MARCH: u64 = 1_772_388_000;
/// The first evening on which the click wrench is out of date.
const LATE: usize = 4;
const WITNESS: &str = "H. Brandt";
/// Of the handle that judges by itself.
const SERIAL: &str = "A1-0007";

type Worked = Session<Arc<Procedure>>;

/// A handle that judges by itself: its session and what it recorded.
struct Handle {
    session: Worked,
    entries: Vec<Entry>,
    curves: Vec<(u32, Vec<Point>)>,
    seen: usize,
    boots: u16,
    /// µs since 1970.
    began_at: u64,
}

/// A verdict that was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Announced {
    pub(crate) joint: u8,
    pub(crate) seq: u32,
    pub(crate) verdict: Verdict,
}

/// How a pull goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Goes {
    Well,
    Short,
    Over,
    /// The lights go out in the middle of it.
    Cut,
    /// It gives way.
    Strips,
    /// It turns twice as far as its like.
    Soft,
}

/// A season under way.
pub(crate) struct World {
    pub(crate) job: Job,
    pub(crate) path: PathBuf,
    pub(crate) truth: Truth,
    pub(crate) chance: Chance,
    pub(crate) announced: Vec<Announced>,
    pub(crate) evening: usize,
    /// µs since the program was started.
    clock: u64,
    /// Second since 1970 at which that was.
    started_at: u64,
    in_hand: Option<&'static str>,
    reason: &'static str,
    handle: Option<Handle>,
    /// The desk goes on with the handle's joint.
    is_back: bool,
    kills: usize,
    /// What this season has in store, each once.
    soft: Option<u8>,
    strips: Option<u8>,
    long_bolt: Option<u8>,
    is_too_late: bool,
    is_witnessed: bool,
    stud_comes_off: bool,
}

impl World {
    pub(crate) fn new(folder: &Path, text: &str, seed: u64) -> Self {
        let plan = Plan::parse("season.toml", text)
            .unwrap_or_else(|errors| panic!("{}", errors.report(false)));
        let path = folder.join("season.evj");
        let job = Job::create(&path, plan, Purpose::Job).expect("a journal");
        let mut chance = Chance::new(seed);
        let mut maybe = |end: u8| {
            let drawn = chance.below(usize::from(end) * 2);
            u8::try_from(drawn).ok().filter(|drawn| *drawn < end)
        };
        let (soft, strips, long_bolt) = (maybe(14), maybe(14), maybe(4));
        Self {
            job,
            path,
            truth: Truth::new(),
            announced: Vec::new(),
            evening: 0,
            clock: 0,
            started_at: 0,
            in_hand: None,
            reason: "",
            handle: None,
            is_back: false,
            kills: 0,
            soft,
            strips: strips.filter(|_| strips != soft),
            long_bolt,
            is_too_late: chance.once_in(4),
            is_witnessed: !chance.once_in(3),
            stud_comes_off: chance.once_in(2),
            chance,
        }
    }

    fn person(&self) -> &'static str {
        EVENINGS[self.evening].1
    }

    /// Second since 1970.
    fn now(&self) -> u64 {
        self.started_at + self.clock / 1_000_000
    }

    /// Something was done to the metal, or said of it.
    fn acts(&mut self) {
        self.truth.last_person = Some(self.person());
    }

    /// The program is started, and told the time.
    fn start(&mut self, at: u64) {
        self.clock = 0;
        self.started_at = at;
        let seconds = i64::try_from(at).expect("this century");
        self.job.set_wall_time(seconds);
        self.in_hand = None;
        self.reason = "";
    }

    /// The job is gone without a word and opened again; perhaps a half-written record is left behind.
    pub(crate) fn kill(&mut self, torn: bool) {
        self.kills += 1;
        let at = self.now() + 40;
        let plan = self.job.plan().clone();
        drop(std::mem::replace(
            &mut self.job,
            Job::unkept(plan, Purpose::Job),
        ));
        if torn {
            use std::io::Write as _;
            let mut file = std::fs::OpenOptions::new().append(true).open(&self.path);
            let file = file.as_mut().expect("the journal");
            file.write_all(&[0x1f, 0x00, 0x08]).expect("it is written");
            let first = self.truth.works.iter().enumerate();
            let mut first = first.filter(|(joint, _)| {
                !(self.handle.is_some() && *joint == at_handle()) && self.job_has_touched(*joint)
            });
            let joint = first.next().map(|(joint, _)| joint);
            if let Some(joint) = joint {
                self.truth
                    .strange_at(joint, None, None, "RECOVERED: 3 bytes");
            }
        }
        self.job = Job::open(&self.path, Purpose::Job).expect("it opens again");
        self.start(at);
    }

    /// Whether anything of this joint was ever told to the desk.
    fn job_has_touched(&self, joint: usize) -> bool {
        let content = evendraw::store::read(&self.path).expect("it reads");
        let number = u8::try_from(joint).expect("few");
        content.entries().any(|entry| entry.joint == number)
    }

    /// The evening begins.
    pub(crate) fn begin_evening(&mut self, evening: usize) {
        self.evening = evening;
        let at = MARCH + (EVENINGS[evening].0 - 1) * 86_400;
        if evening > 0 {
            self.job = Job::open(&self.path, Purpose::Job).expect("it opens again");
        }
        self.start(at);
        self.switch_on();
        if evening == 2 {
            let at = Instant::from_micros(self.clock);
            self.job
                .part_is(GASKET, PartState::Here, "by the ferry", at)
                .expect("the part is known");
            self.truth.has_gasket = true;
        }
    }

    /// The program is closed; what is on the disk is left.
    pub(crate) fn end_evening(&mut self) {
        let plan = self.job.plan().clone();
        self.job = Job::unkept(plan, Purpose::Job);
    }

    fn is_at_handle(&self, joint: usize) -> bool {
        joint == at_handle() && self.handle.is_some()
    }

    fn with_session<T>(&self, joint: usize, look: impl FnOnce(&Worked) -> T) -> Option<T> {
        if self.is_at_handle(joint) {
            return self.handle.as_ref().map(|handle| look(&handle.session));
        }
        let number = u8::try_from(joint).expect("few");
        self.job.session(number).map(look)
    }

    fn next(&self, joint: usize) -> Next {
        self.with_session(joint, |session| session.next())
            .unwrap_or(Next::Start)
    }

    fn ahead(&mut self, ms: u64) {
        self.clock += ms * 1_000;
    }

    /// Tells the program, whatever it says to it.
    fn say(&mut self, joint: usize, input: Input<'_>) -> Done {
        self.ahead(1_500);
        self.say_now(joint, input)
    }

    fn say_now(&mut self, joint: usize, input: Input<'_>) -> Done {
        let at = Instant::from_micros(self.clock);
        let number = u8::try_from(joint).expect("few");
        if self.is_at_handle(joint) {
            let now = self.started_at * 1_000_000 + self.clock;
            let handle = self.handle.as_mut().expect("it is there");
            // It runs on, whatever becomes of the desk.
            let at = Instant::from_micros(now - handle.began_at);
            let outcome = handle.session.apply(at, input);
            let mut done = Done {
                refusal: outcome.refusal,
                halt: outcome.halt,
                cue: outcome.cue,
                ..Done::default()
            };
            handle.take(&outcome, at);
            done.entries.extend_from_slice(outcome.entries());
            return done;
        }
        let done = self.job.apply(number, at, input).expect("it takes it");
        assert_eq!(done.store_failure, None);
        assert_eq!(done.trace_lost, None);
        self.announced
            .extend(done.told.iter().map(|told| Announced {
                joint: told.joint,
                seq: told.announcement.seq,
                verdict: told.announcement.verdict,
            }));
        done
    }

    /// Tells the program what it must take.
    fn tell(&mut self, joint: usize, input: Input<'_>) -> Done {
        let words = format!("{}: {input:?}", PUMP[joint].id);
        let next = self.next(joint);
        if !matches!(
            input,
            Input::Person { .. } | Input::Tool { .. } | Input::Anchor { .. }
        ) {
            self.acts();
        }
        let done = self.say(joint, input);
        assert_eq!(done.refusal, None, "{words}, next {next:?}");
        assert_eq!(done.held, vec![], "{words}");
        done
    }

    /// What a record that was just made says of an attempt: its number and verdict.
    fn verdict(done: &Done, joint: usize) -> (u32, Verdict) {
        let number = u8::try_from(joint).expect("few");
        let own = done.entries.iter().rev().find_map(|entry| {
            let attempt = attempt_of(&entry.record)?;
            (entry.joint == number).then_some((entry.seq, attempt.verdict))
        });
        own.unwrap_or_else(|| panic!("no verdict: {done:?}"))
    }

    /// What the handle recorded comes over to the desk.
    fn hand_over(&mut self) {
        let Some(handle) = &self.handle else { return };
        let number = u8::try_from(at_handle()).expect("few");
        self.job
            .take_over(number, &handle.entries)
            .expect("it is taken over");
        for (seq, points) in &handle.curves {
            let kept = self.job.keep_curve(number, *seq, points);
            kept.expect("a curve is kept");
        }
    }

    /// The joints that a person could go to now, as they know it.
    fn open_joints(&self) -> Vec<usize> {
        let can = |joint: &usize| match self.truth.stands(*joint) {
            Stands::Final | Stands::Waiting => false,
            Stands::Due => self.truth.works[*joint].has_run,
            _ => true,
        };
        (0..PUMP.len()).filter(can).collect()
    }

    /// So many things are done at joints that the hand comes by.
    pub(crate) fn work(&mut self, things: usize) {
        let mut at: Option<usize> = None;
        let mut left = things;
        while left > 0 {
            let open = self.open_joints();
            let Some(&first) = open.first() else { break };
            // A person stays where they are, mostly; what is in sealant is not left.
            let stays = at.filter(|at| open.contains(at) && !self.chance.once_in(12));
            let joint = match stays {
                Some(joint) => joint,
                None if self.chance.once_in(2) => first,
                None => self.chance.one_of(&open),
            };
            at = Some(joint);
            let most = if PUMP[joint].id == "seal-carrier" {
                200
            } else {
                9
            };
            for _ in 0..most.min(left.max(most)) {
                if !self.one_thing(joint) {
                    break;
                }
                left = left.saturating_sub(1);
            }
            if self.is_at_handle(joint) {
                self.hand_over();
            }
        }
    }

    /// Until nothing is left to do.
    pub(crate) fn finish(&mut self) {
        for _ in 0..60 {
            self.work(60);
            let flange = at("flange");
            if self.truth.is_closed(flange) && !self.truth.works[flange].has_run {
                self.run_the_pump(flange);
            }
            let doubted: Vec<usize> = (0..PUMP.len())
                .filter(|joint| matches!(self.next(*joint), Next::Settle { .. }))
                .collect();
            for joint in doubted {
                self.one_thing(joint);
            }
            if self.truth.is_finished() {
                return;
            }
        }
    }

    fn run_the_pump(&mut self, flange: usize) {
        let (stage, state) = (2, EngineState::Cold);
        self.enter(flange);
        self.tell(flange, Input::Due { stage, state });
        self.truth.works[flange].has_run = true;
    }

    /// Whoever works is named at a joint that was not worked at since the start of the program.
    fn enter(&mut self, joint: usize) {
        if joint == at_handle() && self.handle.is_none() && !self.is_back {
            self.take_the_handle();
        }
        if matches!(self.next(joint), Next::Start) {
            self.say(joint, Input::Tick);
        }
        // Who comes in the evening says who it is.
        let is_named = self.is_at_handle(joint) || self.job.person().is_some();
        if !is_named || matches!(self.next(joint), Next::Person) {
            self.name_person(joint);
        }
    }

    fn name_person(&mut self, joint: usize) {
        let (name, role) = (self.person(), Role::Operator);
        self.tell(joint, Input::Person { name, role });
        self.truth.people.insert(name);
    }

    /// The joint is given to the handle, which judges by itself from here on.
    fn take_the_handle(&mut self) {
        let joint = at_handle();
        let number = u8::try_from(joint).expect("few");
        self.job
            .leave_to_adapter(number, SERIAL)
            .expect("nobody worked at it");
        let plan = self.job.joint_plan(number).expect("a joint");
        let procedure: Arc<Procedure> = Arc::new(plan.procedure.clone());
        self.handle = Some(Handle {
            session: Session::new(procedure, number),
            entries: Vec::new(),
            curves: Vec::new(),
            seen: 0,
            boots: 0,
            began_at: 0,
        });
        self.switch_on();
    }

    /// The handle is switched on, for this evening.
    fn switch_on(&mut self) {
        let joint = at_handle();
        let began_at = self.started_at * 1_000_000 + self.clock;
        let Some(handle) = &mut self.handle else {
            return;
        };
        let procedure = Arc::new(handle.session.procedure().clone());
        let number = handle.session.joint();
        handle.session = Session::restore(procedure, number, &handle.entries).expect("its own");
        handle.boots += 1;
        handle.began_at = began_at;
        let (boot, rehearsal) = (handle.boots, false);
        self.say(joint, Input::Start { boot, rehearsal });
        let unix_seconds = i64::try_from(self.now()).expect("this century");
        self.say(joint, Input::Anchor { unix_seconds });
        self.name_person(joint);
        self.tell(
            joint,
            Input::Tool {
                id: "A1",
                waiver: "",
            },
        );
    }

    /// Does what is next at a joint, or something else that happens there; false where it waits for something.
    fn one_thing(&mut self, joint: usize) -> bool {
        self.enter(joint);
        self.surprise(joint);
        if !self.truth.is_begun(joint) && !self.truth.holds(joint).is_empty() {
            return false;
        }
        let next = self.next(joint);
        match next {
            Next::Start | Next::Store => panic!("{}: {next:?}", PUMP[joint].id),
            Next::Person => self.name_person(joint),
            Next::Tool => {
                let number = u8::try_from(joint).expect("few");
                let suits = self.job.tools_for_next(number);
                let first = suits.first().map(|id| (*id).to_owned());
                let id = ["S1", "D1", "K1", "B1", "G1", "A1", "spanner"]
                    .into_iter()
                    .find(|id| first.as_deref() == Some(id))
                    .expect("a tool suits");
                self.take_tool(joint, id, "");
            }
            Next::Condition => {
                let found = PUMP[joint].threads.expect("the manual asks for it");
                let matches = true;
                self.tell(joint, Input::Condition { found, matches });
            }
            Next::Hand { step } => {
                let (fastener, stage) = self.place(joint, step);
                self.tell(joint, Input::Confirm { step });
                let cell = self.truth.cell(joint, fastener, stage);
                (cell.state, cell.way) = (State::Done, "by hand");
            }
            Next::Pull { step } => self.pull(joint, step),
            Next::Answer { step } => self.answer(joint, step),
            Next::Measure { step } => self.measure(joint, step),
            Next::Moment { moment, .. } => {
                self.tell(joint, Input::Moment { moment });
                self.truth.works[joint].sealed_at = Some(self.now());
            }
            Next::Wait { until, .. } => {
                self.clock = self.clock.max(until.micros());
                self.say(joint, Input::Tick);
                self.acts();
            }
            Next::Loosen { fastener } => self.loosen(joint, fastener, "done again"),
            Next::Replace { fastener } => self.replace(joint, fastener),
            Next::Decide { step } => self.decide(joint, step),
            Next::Settle { fastener } => self.look_at(joint, fastener),
            Next::TakeApart => {
                let note = "clearance is good";
                self.tell(joint, Input::TakenApart { note });
                self.truth.came_apart(joint);
            }
            Next::AwaitDue { .. } | Next::Nothing => return false,
            Next::Fit { .. } => panic!("the manual has no such stage"),
        }
        self.look_at_the_watch(joint);
        true
    }

    /// What was a matter of time is over, unless the program lost the time and asks.
    fn look_at_the_watch(&mut self, joint: usize) {
        if joint != at("seal-carrier") {
            return;
        }
        let now = self.now();
        let work = &mut self.truth.works[joint];
        let mut cells = work.nuts.iter().filter_map(|nut| nut.cells[0].as_ref());
        if !cells.all(|cell| cell.state.is_settled()) {
            work.done_at = 0;
            return;
        }
        if work.done_at == 0 {
            work.done_at = now;
        }
        let is_asked = |stage| {
            let step = match self.next(joint) {
                Next::Answer { step } | Next::Wait { step, .. } => step,
                _ => return false,
            };
            self.stage(joint, step) <= stage
        };
        let (first, second) = (!is_asked(1), !is_asked(2));
        if first {
            self.waited(joint, 1);
        }
        if second && self.truth.works[joint].whole[1] != State::Wrong {
            self.waited(joint, 2);
        }
    }

    /// What happens beside the work.
    fn surprise(&mut self, joint: usize) {
        if self.is_at_handle(joint) || PUMP[joint].id == "seal-carrier" {
            return;
        }
        if joint == at(SHARED.2) && self.stud_comes_off && self.next(joint) != Next::Nothing {
            self.stud_comes_off = false;
            self.loosen(joint, SHARED.3, "stud out of the way");
        }
        if self.kills < 3 * (self.evening + 1) && self.chance.once_in(40) {
            let torn = self.kills == 2;
            self.kill(torn);
            self.enter(joint);
        }
        if self.chance.once_in(45) {
            self.doubt(joint);
        }
        if self.chance.once_in(70) {
            self.slip_of_the_key(joint);
        }
        if self.chance.once_in(90) {
            self.by_mistake(joint);
        }
        if PUMP[joint].is_looked_at && self.is_witnessed && self.chance.once_in(20) {
            let (name, role) = (WITNESS, Role::Witness);
            self.tell(joint, Input::Person { name, role });
            self.truth.witnesses.insert(WITNESS);
            self.truth.works[joint].was_looked_at = true;
        }
    }

    /// It felt wrong, and nothing is said of what.
    fn doubt(&mut self, joint: usize) {
        let fastener = self.some_fastener(joint);
        let (doubt, text) = (Doubt::Raised, "squeaked");
        let fastener_at = Some(fastener);
        self.tell(
            joint,
            Input::Note {
                fastener: fastener_at,
                doubt,
                text,
            },
        );
        self.truth.nut(joint, fastener).felt_wrong = true;
        self.truth
            .strange_at(joint, Some(fastener), None, "FELT WRONG (squeaked)");
        if self.chance.once_in(2) {
            self.look_at(joint, fastener);
        }
    }

    fn look_at(&mut self, joint: usize, fastener: u8) {
        let (doubt, text) = (Doubt::Settled, "R. Falk: good");
        let fastener_at = Some(fastener);
        self.tell(
            joint,
            Input::Note {
                fastener: fastener_at,
                doubt,
                text,
            },
        );
        let nut = self.truth.nut(joint, fastener);
        (nut.felt_wrong, nut.is_odd, nut.was_seen) = (false, false, true);
    }

    /// A key too much: what it says was not so, and is taken back.
    fn slip_of_the_key(&mut self, joint: usize) {
        let fastener = self.some_fastener(joint);
        let (doubt, text) = (Doubt::Raised, "wrong key");
        let fastener_at = Some(fastener);
        let was = self.truth.nut(joint, fastener).felt_wrong;
        let done = self.tell(
            joint,
            Input::Note {
                fastener: fastener_at,
                doubt,
                text,
            },
        );
        let of = done.entries.last().expect("a record").seq;
        let reason = "the wrong key";
        self.tell(joint, Input::Withdraw { of, reason });
        self.truth.nut(joint, fastener).felt_wrong = was;
    }

    /// A fastener that was done is taken off by mistake.
    fn by_mistake(&mut self, joint: usize) {
        let fastener = self.some_fastener(joint);
        if self.truth.nut(joint, fastener).holds > 0 {
            self.loosen(joint, fastener, "the wrong one, by mistake");
        }
    }

    fn some_fastener(&mut self, joint: usize) -> u8 {
        loop {
            let count = usize::from(PUMP[joint].fasteners);
            let fastener = u8::try_from(self.chance.below(count)).expect("few");
            if PUMP[joint].left_out != Some(fastener) {
                return fastener;
            }
        }
    }

    fn loosen(&mut self, joint: usize, fastener: u8, cause: &str) {
        let elsewhere = false;
        let was_tight = self.truth.nut(joint, fastener).holds > 0;
        self.tell(
            joint,
            Input::Loosened {
                fastener,
                elsewhere,
                cause,
            },
        );
        self.truth.came_off(joint, fastener);
        if was_tight && PUMP[joint].spent_once_loosened {
            self.replace(joint, fastener);
        }
    }

    fn replace(&mut self, joint: usize, fastener: u8) {
        self.tell(joint, Input::Fitted { fastener });
        self.truth.came_off(joint, fastener);
        let nut = self.truth.nut(joint, fastener);
        nut.is_new = true;
        if self.soft == Some(fastener) && PUMP[joint].id == "head" {
            self.soft = None;
        }
    }

    fn place(&self, joint: usize, step: u16) -> (u8, usize) {
        self.with_session(joint, |session| {
            let step = session.procedure().step_at(step).expect("a step");
            let fastener = step.fastener().expect("of a fastener");
            (fastener, usize::from(step.stage()))
        })
        .expect("it is worked at")
    }

    fn stage(&self, joint: usize, step: u16) -> usize {
        let stage = self.with_session(joint, |session| session.procedure().stage_at(step));
        usize::from(stage.flatten().expect("a stage"))
    }

    fn take_tool(&mut self, joint: usize, id: &'static str, waiver: &'static str) {
        self.tell(joint, Input::Tool { id, waiver });
        self.in_hand = Some(id);
        self.reason = waiver;
        if !waiver.is_empty() {
            self.truth.strange_at(
                joint,
                None,
                None,
                format!("tool {id} used on a reason: {waiver}"),
            );
        }
    }

    fn answer(&mut self, joint: usize, step: u16) {
        let stage = self.stage(joint, step);
        let (yes, note) = (true, "");
        match PUMP[joint].stages[stage].0 {
            Stage::Question => {
                self.tell(joint, Input::Answer { step, yes, note });
                self.truth.works[joint].whole[stage] = State::Done;
            }
            // The program was started anew and has lost the time: by the watch.
            Stage::Within(_) | Stage::Rest(_) => {
                if let Stage::Rest(rest) = PUMP[joint].stages[stage].0 {
                    let over = self.truth.works[joint].done_at + rest;
                    let left = over.saturating_sub(self.now());
                    self.ahead(left * 1_000);
                }
                let yes = self.was_in_time(joint, stage);
                self.tell(joint, Input::Answer { step, yes, note });
                self.truth.works[joint].whole[stage] = State::Done;
                assert!(yes, "the watch says so");
            }
            other => panic!("{other:?} is no question"),
        }
    }

    fn was_in_time(&self, joint: usize, stage: usize) -> bool {
        let work = &self.truth.works[joint];
        match PUMP[joint].stages[stage].0 {
            Stage::Within(most) => work.done_at <= work.sealed_at.expect("it was said") + most,
            Stage::Rest(least) => self.now() >= work.done_at + least,
            _ => true,
        }
    }

    /// A wait came to its end by itself.
    fn waited(&mut self, joint: usize, stage: usize) {
        let whole = self.truth.works[joint].whole[stage];
        if whole != State::Open {
            return;
        }
        self.truth.works[joint].whole[stage] = if self.was_in_time(joint, stage) {
            State::Done
        } else {
            self.truth
                .strange_at(joint, None, Some(stage), "TOO LATE, 10 min ");
            State::Wrong
        };
    }

    fn measure(&mut self, joint: usize, step: u16) {
        let stage = self.stage(joint, step);
        match PUMP[joint].stages[stage].0 {
            Stage::Length(low, high) => {
                let length = Length::from_micrometers(self.chance.between(low, high));
                self.tell(joint, Input::Measure { step, length });
                self.truth.works[joint].whole[stage] = State::Done;
            }
            Stage::Lengths(low, high) => {
                let (fastener, _) = self.place(joint, step);
                let is_long = self.long_bolt == Some(fastener);
                let value = if is_long {
                    self.long_bolt = None;
                    high + 25
                } else {
                    self.chance.between(low, high)
                };
                let length = Length::from_micrometers(value);
                self.tell(joint, Input::Measure { step, length });
                let cell = self.truth.cell(joint, fastener, stage);
                cell.state = if is_long { State::Wrong } else { State::Done };
                if is_long {
                    let words = "measured 0.205 mm, outside its window";
                    self.truth
                        .strange_at(joint, Some(fastener), Some(stage), words);
                    // The manual: past its window the bolt is scrap.
                    assert_eq!(self.next(joint), Next::Replace { fastener });
                    self.replace(joint, fastener);
                }
            }
            other => panic!("{other:?} is no length"),
        }
    }

    /// What went wrong is put right on somebody's word, at once.
    fn decide(&mut self, joint: usize, step: u16) {
        let stage = self.stage(joint, step);
        if !Joint::is_each(PUMP[joint].stages[stage].0) {
            let (decision, note) = (Decision::Waive, "R. Falk: the bead is good");
            self.tell(
                joint,
                Input::Decide {
                    step,
                    decision,
                    note,
                },
            );
            self.truth.works[joint].whole[stage] = State::Left;
            self.truth
                .strange_at(joint, None, Some(stage), "decided: left as it is");
            return;
        }
        let (fastener, _) = self.place(joint, step);
        let cell = self.truth.cell(joint, fastener, stage).clone();
        let is_angle = matches!(PUMP[joint].stages[stage].0, Stage::Angle(..));
        let strips = self.strips == Some(fastener) && PUMP[joint].id == "head";
        let decision = match cell.state {
            _ if strips => Decision::Replace,
            State::Unknown if !is_angle => Decision::Again,
            State::Wrong if !is_angle && self.chance.once_in(4) => Decision::Waive,
            State::Unknown | State::Wrong => Decision::Restart(0),
            other => panic!("nothing to decide: {other:?}"),
        };
        let note = "R. Falk: seen";
        self.tell(
            joint,
            Input::Decide {
                step,
                decision,
                note,
            },
        );
        match decision {
            Decision::Again => self.truth.cell(joint, fastener, stage).state = State::Open,
            Decision::Waive => {
                self.truth.cell(joint, fastener, stage).state = State::Left;
                self.truth
                    .strange_at(joint, Some(fastener), Some(stage), "decided: left as it is");
            }
            Decision::Replace => {
                self.strips = None;
                self.replace(joint, fastener);
            }
            _ => self.loosen(joint, fastener, "to begin again"),
        }
    }

    /// A pull, or what stands for one.
    fn pull(&mut self, joint: usize, step: u16) {
        let (fastener, stage) = self.place(joint, step);
        let (what, tools) = PUMP[joint].stages[stage];
        let tool = match self.in_hand.filter(|tool| tools.contains(tool)) {
            Some(tool) if !self.chance.once_in(6) => tool,
            _ => self.chance.one_of(tools),
        };
        if self.is_at_handle(joint) {
            return self.pull_on(joint, fastener, stage, "A1");
        }
        let stands = self.truth.cell(joint, fastener, stage).state;
        if stands == State::Open && ["flange", "cover", "dowels"].contains(&PUMP[joint].id) {
            if self.evening == 1 && self.chance.once_in(7) {
                return self.by_lamplight(joint, step, fastener, stage);
            }
            if self.chance.once_in(60) {
                return self.leave_out(joint, step, fastener, stage);
            }
        }
        let tool = self.with_a_tool(joint, tool, tools, fastener);
        if joint == at("seal-carrier") && stage == 0 {
            self.seal(joint);
        }
        match (tool, what) {
            ("S1" | "A1", _) => self.pull_on(joint, fastener, stage, tool),
            ("K1", _) => self.click(joint, step, fastener, stage),
            (_, Stage::Angle(target, ..)) => self.turn(joint, step, fastener, stage, target),
            _ => self.read_off(joint, step, fastener, stage),
        }
    }

    /// Done with the screen off, and ticked on the sheet.
    fn by_lamplight(&mut self, joint: usize, step: u16, fastener: u8, stage: usize) {
        self.tell(joint, Input::Paper { step });
        let nut = self.truth.nut(joint, fastener);
        nut.holds = nut.holds.max(1_000);
        let cell = self.truth.cell(joint, fastener, stage);
        (cell.state, cell.way) = (State::Told, "from paper");
        let words = "from paper, unmeasured";
        self.truth
            .strange_at(joint, Some(fastener), Some(stage), words);
    }

    /// No tool fits there.
    fn leave_out(&mut self, joint: usize, step: u16, fastener: u8, stage: usize) {
        let reason = "R. Falk: no room for a tool";
        self.tell(joint, Input::Skip { step, reason });
        self.truth.cell(joint, fastener, stage).state = State::Left;
        let words = format!("SKIPPED: {reason}");
        self.truth
            .strange_at(joint, Some(fastener), Some(stage), words);
    }

    /// The tool is taken into the hand; one out of date is taken on a reason, or left.
    fn with_a_tool(
        &mut self,
        joint: usize,
        tool: &'static str,
        tools: &'static [&'static str],
        fastener: u8,
    ) -> &'static str {
        let is_late = tool == "K1" && self.evening >= LATE;
        if self.in_hand != Some(tool) || is_late && self.reason.is_empty() {
            self.take_tool(joint, tool, "");
        }
        if !is_late || !self.reason.is_empty() {
            return tool;
        }
        // Out of date: the program says so, whatever is told of it.
        let number = u8::try_from(joint).expect("few");
        assert!(
            matches!(self.job.held(number).as_slice(), [Held::ToolOverdue { .. }]),
            "{} {fastener}: {:?}",
            PUMP[joint].id,
            self.job.held(number)
        );
        let others: Vec<&'static str> = tools.iter().filter(|own| **own != "K1").copied().collect();
        if self.chance.once_in(3) || others.is_empty() {
            self.take_tool(joint, "K1", "R. Falk: no other one here");
            return "K1";
        }
        let other = self.chance.one_of(&others);
        self.take_tool(joint, other, "");
        other
    }

    /// Sealant goes on before the first is drawn; once in a while the hands dawdle.
    fn seal(&mut self, joint: usize) {
        if self.truth.works[joint].sealed_at.is_some() {
            return;
        }
        self.tell(joint, Input::Moment { moment: 0 });
        self.truth.works[joint].sealed_at = Some(self.now());
        if self.is_too_late {
            self.ahead(660_000);
        }
    }

    fn tried(
        &mut self,
        joint: usize,
        fastener: u8,
        stage: usize,
        tool: &'static str,
        torque: Option<i32>,
        verdict: Verdict,
    ) {
        self.acts();
        let way = match tool {
            "A1" | "S1" => "measured with curve",
            "D1" => "read from the display",
            "B1" => "read by eye",
            "G1" => "angle read",
            "K1" => "by setting",
            _ => "observed by mark",
        };
        let (state, word) = match verdict {
            Verdict::Accepted => (State::Done, "accepted"),
            Verdict::Rejected => (State::Wrong, "rejected"),
            Verdict::Unknown => (State::Unknown, "unknown"),
        };
        let cell = self.truth.cell(joint, fastener, stage);
        (cell.state, cell.way, cell.tool, cell.torque) = (state, way, tool, torque);
        cell.tries += 1;
        if verdict != Verdict::Accepted {
            self.truth
                .strange_at(joint, Some(fastener), Some(stage), word);
        }
        self.truth.tries.push(Try {
            joint,
            fastener,
            stage,
            tool,
            person: self.person(),
            verdict: word,
            is_late: tool == "K1" && self.evening >= LATE,
        });
    }

    /// A click: no torque is claimed.
    fn click(&mut self, joint: usize, step: u16, fastener: u8, stage: usize) {
        let number = u8::try_from(joint).expect("few");
        let told = self.job.to_tell(number);
        let Some(Ok(ToTell::Click { setting, .. })) = told else {
            panic!("{told:?}");
        };
        let (_, low, high) = window(joint, stage);
        let set = setting.millinewton_meters();
        assert!(set >= low && set <= high && set % 500 == 0, "{set}");
        let set = self.job.as_set(number, setting).expect("it is set");
        let input = self.job.clicked(number, step, set, false);
        if self.chance.once_in(30) {
            // Pressed before it clicked, and taken back.
            let done = self.tell(joint, input);
            let of = Self::verdict(&done, joint).0;
            let reason = "R. Falk: it had not clicked";
            self.tell(joint, Input::Withdraw { of, reason });
            self.truth.cell(joint, fastener, stage).tries += 1;
            return;
        }
        let done = self.tell(joint, input);
        assert_eq!(Self::verdict(&done, joint).1, Verdict::Accepted);
        self.truth.nut(joint, fastener).holds = setting.millinewton_meters();
        self.tried(joint, fastener, stage, "K1", None, Verdict::Accepted);
    }

    /// An angle, read from a gauge or seen by a mark.
    fn turn(&mut self, joint: usize, step: u16, fastener: u8, stage: usize, target: i32) {
        let tool = self.in_hand.expect("a tool is in hand");
        let degrees = target / 1_000 + self.chance.between(-3, 3);
        self.type_in(joint, step, &degrees.to_string());
        self.tried(joint, fastener, stage, tool, None, Verdict::Accepted);
    }

    /// A torque, read from a display or a scale and typed.
    fn read_off(&mut self, joint: usize, step: u16, fastener: u8, stage: usize) {
        let tool = self.in_hand.expect("a tool is in hand");
        let (target, low, high) = window(joint, stage);
        let goes = match self.chance.below(36) {
            0 => Goes::Over,
            1 => Goes::Short,
            _ => Goes::Well,
        };
        let reached = match goes {
            Goes::Over => high + (target / 20).max(1_000),
            Goes::Short => low - (target / 20).max(1_000),
            _ => target + self.chance.between(-target / 40, target / 40),
        };
        let (text, shown) = if tool == "B1" {
            // Its scale is in whole lbf·ft. [NIST SP 811, appendix B.8]
            let pounds = (i64::from(reached) * 1_000 + 677_909) / 1_355_818;
            let shown = (pounds * 1_355_818 + 500) / 1_000;
            (pounds.to_string(), i32::try_from(shown).expect("small"))
        } else {
            let tenths = (reached + 50) / 100;
            (format!("{},{}", tenths / 10, tenths % 10), tenths * 100)
        };
        let verdict = if shown >= low && shown <= high {
            Verdict::Accepted
        } else {
            Verdict::Rejected
        };
        let said = self.type_in(joint, step, &text);
        assert_eq!(said, verdict, "{} {text}", PUMP[joint].id);
        let nut = self.truth.nut(joint, fastener);
        nut.holds = nut.holds.max(shown);
        self.tried(joint, fastener, stage, tool, Some(shown), verdict);
    }

    fn type_in(&mut self, joint: usize, step: u16, text: &str) -> Verdict {
        let number = u8::try_from(joint).expect("few");
        let told = self.job.to_tell(number);
        let Some(Ok(ToTell::Values(wanted))) = told else {
            panic!("{}: {told:?}", PUMP[joint].id);
        };
        let typed = read(text, &wanted).unwrap_or_else(|why| panic!("{text}: {why}"));
        assert_eq!(self.job.question(number, &typed), None, "{text}");
        let mut stated = String::new();
        let readout = self.job.readout(number, &wanted, &typed, &mut stated);
        let done = self.tell(
            joint,
            Input::Read {
                step,
                readout: &readout,
            },
        );
        Self::verdict(&done, joint).1
    }

    /// A pull with a tool that sends its samples.
    fn pull_on(&mut self, joint: usize, fastener: u8, stage: usize, tool: &'static str) {
        let what = PUMP[joint].stages[stage].0;
        let is_angle = matches!(what, Stage::Angle(..));
        let is_head = PUMP[joint].id == "head";
        let goes = match self.chance.below(40) {
            _ if is_head && is_angle && self.strips == Some(fastener) => Goes::Strips,
            _ if is_head && !is_angle && self.soft == Some(fastener) => Goes::Soft,
            0 => Goes::Over,
            // A turn that is let go of short of its angle is pulled on.
            1 if !is_angle => Goes::Short,
            2 if tool == "S1" => Goes::Cut,
            _ => Goes::Well,
        };
        // Once in a while the hand is on another one than the screen says, and it is noticed at once.
        let often = if self.is_at_handle(joint) { 4 } else { 12 };
        let elsewhere = (goes == Goes::Well && !is_angle)
            .then(|| self.neighbour(joint, fastener, stage))
            .flatten()
            .filter(|_| self.chance.once_in(often));
        let on = elsewhere.unwrap_or(fastener);
        let held = self.truth.nut(joint, on).holds;
        let (torque, done) = self.samples(joint, stage, held, goes);
        self.truth.nut(joint, on).holds = held.max(torque);
        if goes == Goes::Cut {
            self.kill(false);
            self.truth.nut(joint, on).holds = torque;
            return self.tried(joint, fastener, stage, tool, None, Verdict::Unknown);
        }
        let verdict = match goes {
            Goes::Well | Goes::Soft => Verdict::Accepted,
            _ => Verdict::Rejected,
        };
        let (seq, said) = Self::verdict(&done, joint);
        assert_eq!(
            said, verdict,
            "{} {fastener} {stage} {goes:?} held {held}: {:?}",
            PUMP[joint].id, done.entries
        );
        let shown = (!is_angle).then_some(torque);
        if let Some(on) = elsewhere {
            if self.is_at_handle(joint) {
                self.take_back_from_the_handle(joint, seq, on);
            }
            self.put_right(joint, seq, on);
            self.truth.cell(joint, fastener, stage).tries += 1;
            self.tried(joint, on, stage, tool, shown, verdict);
            self.truth.strange_at(
                joint,
                Some(on),
                Some(stage),
                "put right, the pull of record",
            );
            return;
        }
        self.tried(joint, fastener, stage, tool, shown, verdict);
        if goes == Goes::Soft {
            let nut = self.truth.nut(joint, fastener);
            (nut.is_soft, nut.was_seen) = (true, false);
        }
        self.feel_for_the_soft_one(joint, stage);
    }

    /// A fastener that stands as the one whose turn it is.
    fn neighbour(&mut self, joint: usize, fastener: u8, stage: usize) -> Option<u8> {
        let like = |own: &crate::truth::Nut| {
            let cell = own.cells[stage].as_ref();
            let earlier = own.cells[..stage].iter().flatten();
            // After a pull that was cut off nobody knows what the fastener holds.
            cell.is_some_and(|cell| cell.state == State::Open && cell.tries == 0)
                && earlier.clone().all(|cell| cell.state == State::Done)
                && !own.felt_wrong
        };
        // What was told by hand or by a setting is known otherwise than what was measured: the one says nothing of the other.
        let known = |own: &crate::truth::Nut| {
            let before = own.cells[..stage].iter().flatten().next_back();
            before.map(|cell| (cell.way, cell.torque.is_some()))
        };
        let nuts = &self.truth.works[joint].nuts;
        let held = nuts[usize::from(fastener)].holds;
        let before = known(&nuts[usize::from(fastener)]);
        if !like(&nuts[usize::from(fastener)]) {
            return None;
        }
        let others: Vec<u8> = (0..PUMP[joint].fasteners)
            .filter(|other| *other != fastener)
            .filter(|other| {
                let own = &nuts[usize::from(*other)];
                like(own) && (own.holds > 0) == (held > 0) && known(own) == before
            })
            .collect();
        (!others.is_empty()).then(|| self.chance.one_of(&others))
    }

    /// The handle judges by itself and puts nothing right: the desk has to have the joint back first.
    fn take_back_from_the_handle(&mut self, joint: usize, of: u32, on: u8) {
        self.hand_over();
        let number = u8::try_from(joint).expect("few");
        assert!(!self.job.can_put_right(number, of));
        let at = Instant::from_micros(self.clock);
        let refused = self.job.reassign(number, at, of, on);
        let words = refused.expect_err("it is at the handle").to_string();
        assert!(words.contains(SERIAL), "{words}");
        self.job.take_back(number).expect("it is the desk's again");
        (self.handle, self.is_back) = (None, true);
        assert!(self.job.can_put_right(number, of));
    }

    fn put_right(&mut self, joint: usize, of: u32, on: u8) {
        self.ahead(3_000);
        let at = Instant::from_micros(self.clock);
        let number = u8::try_from(joint).expect("few");
        let done = self.job.reassign(number, at, of, on).expect("it is taken");
        assert_eq!(done.refusal, None, "{} {of} on {on}", PUMP[joint].id);
    }

    /// When a stage of the head is done, the one that turned twice as far stands out. What was seen was seen, until all of the stage is done
    /// again, with a new one in its place.
    fn feel_for_the_soft_one(&mut self, joint: usize, stage: usize) {
        if PUMP[joint].id != "head" || stage != 1 || !self.truth.is_whole(joint) {
            return;
        }
        for fastener in 0..PUMP[joint].fasteners {
            let nut = self.truth.nut(joint, fastener);
            nut.is_odd = nut.is_soft && !nut.was_seen;
        }
    }

    /// The samples of a pull on what holds so much: what it ends with, in mN·m, and what came of it.
    fn samples(&mut self, joint: usize, stage: usize, held: i32, goes: Goes) -> (i32, Done) {
        let lock = PUMP[joint].lock;
        let (target, low, high) = window(joint, stage);
        let is_angle = matches!(PUMP[joint].stages[stage].0, Stage::Angle(..));
        let (peak, turn) = if is_angle {
            let turn = match goes {
                Goes::Over => high + 9_000,
                Goes::Short => low - 9_000,
                _ => target + self.chance.between(-2_500, 2_500),
            };
            let more = i64::from(held) * i64::from(turn) / 60_000;
            (held + i32::try_from(more).expect("small"), turn)
        } else {
            let peak = lock
                + match goes {
                    Goes::Over => high + target / 20,
                    Goes::Short => low - target / 20,
                    _ => target + self.chance.between(-target / 50, target / 50),
                };
            // Thirty degrees from snug to the target.
            let slope = if goes == Goes::Soft { 70_000 } else { 30_000 };
            let from = held.max(target / 10);
            let turn = i64::from(peak - from) * slope / i64::from(target);
            (peak, i32::try_from(turn).expect("small").max(0))
        };
        const UP: i32 = 160;
        let wind_up = |torque: i32| torque / 20;
        let mut done = Done::default();
        let mut last = (0, 0);
        for step in 1..=UP {
            // First the train winds up to what it holds, then the fastener turns.
            let share = i64::from(step) * 1_000 / i64::from(UP);
            let begins = 1_000 * i64::from(held) / i64::from(peak.max(1));
            let turned = ((share - begins).max(0) * i64::from(turn)) / (1_000 - begins).max(1);
            let mut torque = i64::from(peak) * share / 1_000;
            if goes == Goes::Strips && share > 750 {
                torque = i64::from(peak) * (1_500 - share) / 1_000;
            }
            let torque = i32::try_from(torque).expect("small");
            let turned = i32::try_from(turned).expect("small");
            last = (torque, turned);
            done = self.sample(joint, torque, turned + wind_up(torque), done);
            if goes == Goes::Cut && step == UP / 2 || done.halt.is_some() {
                break;
            }
        }
        if goes == Goes::Cut {
            return (last.0, done);
        }
        for step in (0..20).rev() {
            let torque = last.0 * step / 20;
            done = self.sample(joint, torque, last.1 + wind_up(torque), done);
        }
        for _ in 0..10 {
            done = self.sample(joint, 0, last.1, done);
        }
        // Let go of short of it, it might be pulled on: the handle waits a while.
        let has_verdict = |done: &Done| {
            let mut entries = done.entries.iter();
            entries.any(|entry| matches!(entry.record, Record::Attempt(_)))
        };
        for _ in 0..20 {
            self.ahead(6_000);
            let more = self.say_now(joint, Input::Tick);
            done.entries.extend(more.entries);
            if has_verdict(&done) {
                break;
            }
        }
        assert!(
            has_verdict(&done),
            "{} {stage} {goes:?}: {done:?}",
            PUMP[joint].id
        );
        (last.0 - lock, done)
    }

    fn sample(&mut self, joint: usize, torque: i32, rotation: i32, before: Done) -> Done {
        self.ahead(4);
        let sample = Sample {
            torque: Torque::from_millinewton_meters(torque),
            rotation: Rotation::from_millidegrees(rotation),
        };
        let mut done = self.say_now(joint, Input::Sample(sample));
        assert_eq!(
            (done.refusal, done.held.as_slice()),
            (None, &[][..]),
            "{} at {torque}",
            PUMP[joint].id
        );
        done.halt = done.halt.or(before.halt);
        let mut entries = before.entries;
        entries.append(&mut done.entries);
        done.entries = entries;
        done
    }
}

impl Handle {
    /// What it made is safe at once, and comes over with the rest.
    fn take(&mut self, outcome: &evendraw_core::session::Outcome, at: Instant) {
        self.entries.extend(outcome.entries().iter().cloned());
        for entry in outcome.entries() {
            if entry.record.attempt().is_some_and(|own| own.trace != 0) {
                let points = self.session.trace().points().collect();
                self.curves.push((entry.seq, points));
            }
        }
        while self.seen < self.entries.len() {
            self.seen = self.entries.len();
            let seq = self.entries[self.seen - 1].seq;
            let outcome = self.session.apply(at, Input::Durable { seq });
            self.entries.extend(outcome.entries().iter().cloned());
        }
    }
}

/// The joint that the handle works.
fn at_handle() -> usize {
    at("rocker-caps")
}

/// What a stage asks for: target, lowest, highest.
fn window(joint: usize, stage: usize) -> (i32, i32, i32) {
    match PUMP[joint].stages[stage].0 {
        Stage::Torque(target, low, high)
        | Stage::Later(target, low, high)
        | Stage::Angle(target, low, high) => (target, low, high),
        other => panic!("{other:?} has no window"),
    }
}
