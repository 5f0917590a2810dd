//! The store under a schedule of work, failures, kills, power cuts and strangers, on a disk that does what disks do at their worst.
//!
//! Laws: nothing announced is lost, nothing is there twice, nothing damaged is silent, nothing set aside is written over, a sheet is
//! the old one or the new one. 500 schedules; `EVENDRAW_STORE_SCHEDULES` sets another number, `EVENDRAW_STORE_SEED` runs one.

mod schedule;
mod simulated;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use evendraw::disk;
use evendraw::store::{
    Content, Damage, Fact, HostFact, Journal, Purpose, StoreError, opening, read_on,
};
use evendraw_core::record::{Entry, Noted};
use evendraw_core::text::Text;
use evendraw_core::unit::Instant;

use schedule::{Rng, Step, schedule};
use simulated::Simulated;

const PLAN: &str = "[build]\ntitle = \"Harbour pump 7\"\n";

/// What goes on at the stand, and what must be true of it.
struct Stand {
    disk: Simulated,
    rng: Rng,
    /// Where the person has the journal.
    at: PathBuf,
    journal: Option<Journal<Simulated>>,
    /// What was announced, in order: the journal has all of it, or a stranger had a hand in it.
    kept: Vec<Fact>,
    /// Records that are not kept yet, and are tried again.
    unsaved: Vec<Entry>,
    /// What was tried since the last success. A prefix of one of these may be there after a restart.
    tried: Vec<Vec<Fact>>,
    /// Somebody took the file away, and no call came since that could have noticed.
    is_robbed: bool,
    asides: BTreeMap<PathBuf, Vec<u8>>,
    /// What may stand under the sheet's name.
    sheet: Vec<Option<Vec<u8>>>,
    next: u32,
    journals: u32,
    counts: Counts,
}

/// That the schedules do what they are for.
#[derive(Clone, Copy, Debug, Default)]
struct Counts {
    announced: usize,
    refused: usize,
    reopened: usize,
    torn: usize,
    damaged: usize,
    moved: usize,
    rescued: usize,
    two_writers: usize,
}

impl Counts {
    fn add(&mut self, other: Self) {
        self.announced += other.announced;
        self.refused += other.refused;
        self.reopened += other.reopened;
        self.torn += other.torn;
        self.damaged += other.damaged;
        self.moved += other.moved;
        self.rescued += other.rescued;
        self.two_writers += other.two_writers;
    }
}

impl Stand {
    fn new(seed: u64) -> Self {
        Self {
            disk: Simulated::new(seed),
            rng: Rng::new(seed ^ 0x57A4D),
            at: PathBuf::from("bay/pump.evj"),
            journal: None,
            kept: Vec::new(),
            unsaved: Vec::new(),
            tried: Vec::new(),
            is_robbed: false,
            asides: BTreeMap::new(),
            sheet: vec![None],
            next: 0,
            journals: 1,
            counts: Counts::default(),
        }
    }

    fn entry(&mut self) -> Entry {
        self.next += 1;
        let text = &"a remark, as long as it happens to be, of this pull"[..self.rng.below(48)];
        Entry {
            joint: 0,
            seq: self.next,
            boot: 1,
            at: Instant::from_micros(u64::from(self.next)),
            record: Noted {
                fastener: None,
                doubt: evendraw_core::record::Doubt::None,
                text: Text::new(text).expect("short"),
            }
            .into(),
        }
    }

    fn step(&mut self, step: Step) {
        match step {
            Step::Work(many) => self.work(many),
            Step::Failing => self.disk.fail_soon(),
            Step::Kill => {
                if self.rng.one_in(2) {
                    let bytes = self.rng.below(200);
                    self.disk.end_after(bytes, false);
                } else {
                    self.restart(false);
                }
            }
            Step::Cut(bytes) => self.disk.end_after(usize::from(bytes), true),
            Step::Stranger => self.stranger(),
        }
        if self.disk.is_off() {
            self.restart(false);
        }
    }

    fn restart(&mut self, with_power: bool) {
        self.journal = None;
        self.disk.restart(with_power);
        self.unsaved.clear();
        self.counts.reopened += 1;
    }

    fn work(&mut self, many: u8) {
        if self.journal.is_none() {
            self.take_up();
        }
        match self.rng.below(12) {
            0 => return self.second_program(),
            1 => return self.print(),
            2 => return self.remark(),
            _ => {}
        }
        if self.journal.is_none() {
            return;
        }
        for _ in 0..many {
            let entry = self.entry();
            self.unsaved.push(entry);
        }
        let batch: Vec<Fact> = self.unsaved.iter().cloned().map(Fact::Entry).collect();
        self.tried.push(batch.clone());
        let Some(journal) = &mut self.journal else {
            return;
        };
        match journal.append(&self.unsaved) {
            Ok(()) => {
                self.unsaved.clear();
                self.announce(batch);
            }
            Err(error) => self.refused(error, &batch),
        }
    }

    /// A fact of the desktop: told that it failed, it is not tried again.
    fn remark(&mut self) {
        let fact = HostFact::Handover {
            text: "for whoever goes on".repeat(1 + self.rng.below(3)),
        };
        let batch = vec![Fact::Host(fact.clone()); 1 + self.rng.below(3)];
        let facts = vec![fact; batch.len()];
        let Some(journal) = &mut self.journal else {
            return;
        };
        self.tried.push(batch.clone());
        match journal.append_facts(&facts) {
            Ok(()) => self.announce(batch),
            Err(error) => self.refused(error, &batch),
        }
    }

    fn announce(&mut self, batch: Vec<Fact>) {
        self.kept.extend(batch);
        self.tried.clear();
        self.is_robbed = false;
        self.counts.announced += 1;
        // Whoever looks under the name now finds all of it.
        let bytes = self
            .disk
            .bytes(&self.at)
            .expect("announced under a name that leads nowhere");
        let content = Content::of(&bytes);
        assert_eq!(
            content.facts, self.kept,
            "announced, and not under the name"
        );
    }

    fn refused(&mut self, error: StoreError, batch: &[Fact]) {
        self.counts.refused += 1;
        let (path, is_rescue) = match error {
            StoreError::Moved { now, .. } => (now, false),
            StoreError::Gone { kept: Ok(kept), .. } => (kept, true),
            // Pulling stops, and the same is tried again.
            _ => return,
        };
        // The person is told a name: everything announced is there, and what was to be announced where it could be written.
        let bytes = self
            .disk
            .bytes(&path)
            .expect("told a name that leads nowhere");
        let content = Content::of(&bytes);
        self.holds_together(&content);
        if is_rescue {
            self.counts.rescued += 1;
            let all: Vec<Fact> = self.kept.iter().chain(batch).cloned().collect();
            assert_eq!(content.facts, all, "what is known was not rescued");
        } else {
            self.counts.moved += 1;
        }
        // It is closed, and opened where it is said to be.
        self.journal = None;
        self.unsaved.clear();
        self.is_robbed = false;
        self.at = path;
        self.kept = content.facts;
        self.tried.clear();
    }

    /// Opens the journal, or begins one.
    fn take_up(&mut self) {
        let disk = self.disk.clone();
        let at = self.at.clone();
        if self.disk.bytes(&at).is_none() {
            assert!(
                self.kept.is_empty() || self.is_robbed,
                "{} things announced, and the journal is gone",
                self.kept.len()
            );
            let opened = opening(Purpose::Job, "pump.toml", PLAN).expect("short");
            let opened: Vec<Fact> = opened.into_iter().map(Fact::Host).collect();
            // Until this one is begun the other may come back: what a stranger did is undone where power goes before it is safe.
            self.kept.clear();
            self.tried = vec![opened.clone()];
            let _ = self.disk.failed();
            let before = self.disk.names();
            if let Ok(journal) = Journal::create_on(disk, &at, Purpose::Job, "pump.toml", PLAN) {
                self.journal = Some(journal);
                self.announce(opened);
            }
            self.no_stray(&before);
            return;
        }
        match Journal::open_on(disk, &at, Purpose::Job) {
            Ok((journal, content)) => {
                self.asides_stay();
                self.holds_together(&content);
                self.counts.torn += content.damage.iter().filter(|one| one.torn).count();
                self.counts.damaged += content.damage.iter().filter(|one| !one.torn).count();
                self.journal = Some(journal);
                self.kept = content.facts;
                self.tried.clear();
                self.is_robbed = false;
                self.note_asides(&content.damage);
            }
            Err(StoreError::NotAJournal { .. } | StoreError::BeginningLost { .. }) => {
                assert!(
                    self.kept.is_empty() || self.is_robbed,
                    "a journal with {} things announced does not read",
                    self.kept.len()
                );
                self.journals += 1;
                self.at = PathBuf::from(format!("bay/pump-{}.evj", self.journals));
                self.kept.clear();
                self.is_robbed = false;
            }
            Err(StoreError::Io { .. } | StoreError::InUse { .. }) => {}
            Err(other) => panic!("{other}"),
        }
    }

    /// What was announced stands first, in order; then at most what was tried, each once; and what is missing of that is told.
    fn holds_together(&self, content: &Content) {
        if self.is_robbed {
            return;
        }
        let rest = content.facts.strip_prefix(self.kept.as_slice());
        let rest = rest.unwrap_or_else(|| {
            panic!(
                "announced and lost: {}, found {}, damage {:?}",
                short(&self.kept),
                short(&content.facts),
                content.damage
            )
        });
        if rest.is_empty() {
            return;
        }
        if self.tried.iter().any(|tried| tried.starts_with(rest)) {
            return;
        }
        let is_told = content.damage.iter().any(|damage| !damage.torn);
        let is_some_of = |tried: &Vec<Fact>| {
            let mut tried = tried.iter();
            rest.iter().all(|found| tried.any(|one| one == found))
        };
        assert!(
            is_told && self.tried.iter().any(is_some_of),
            "made up, or there twice: {}, tried {:?}",
            short(rest),
            self.tried
                .iter()
                .map(|tried| short(tried))
                .collect::<Vec<_>>()
        );
    }

    /// Whether it was begun or not, nothing is left beside it, unless it was the taking away that failed.
    fn no_stray(&self, before: &[PathBuf]) {
        let failed = self.disk.failed();
        if self.disk.is_off() || failed == Some("remove") {
            return;
        }
        let stray = PathBuf::from(format!("{}.evendraw-unfinished", self.at.display()));
        // One that a killed program left may stay where this one did not get as far as to write.
        let is_old = self.journal.is_none() && before.contains(&stray);
        assert!(
            is_old || !self.disk.names().contains(&stray),
            "{} is left, after a failure to {failed:?}",
            stray.display()
        );
    }

    fn note_asides(&mut self, damage: &[Damage]) {
        let torn = damage.last().filter(|damage| damage.torn);
        let Some(torn) = torn else { return };
        let begins = format!("{}.torn-at-{}", self.at.display(), torn.from);
        let mut found = false;
        for name in self.disk.names() {
            let is_aside = name.to_string_lossy().starts_with(&begins);
            if is_aside && !name.to_string_lossy().ends_with("unfinished") {
                found = true;
                let bytes = self.disk.bytes(&name).expect("a name just listed");
                self.asides.insert(name, bytes);
            }
        }
        assert!(found, "cut off and not set aside");
    }

    fn asides_stay(&self) {
        for (name, bytes) in &self.asides {
            assert_eq!(
                self.disk.bytes(name).as_ref(),
                Some(bytes),
                "{} was set aside and is not what it was",
                name.display()
            );
        }
    }

    /// A sheet is printed over the last one.
    fn print(&mut self) {
        let path = Path::new("bay/pump.html");
        let found = self.disk.bytes(path);
        assert!(
            self.sheet.contains(&found),
            "half a sheet, or an older one: {:?}",
            found.map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
        );
        let text = format!("sheet {}, ", self.next).repeat(1 + self.rng.below(40));
        let new = Some(text.clone().into_bytes());
        match disk::replace(&self.disk, path, text.as_bytes()) {
            Ok(()) => self.sheet = vec![new],
            // Where it failed at the very end the new one may be there, and the old one again after a power cut.
            Err(_) => self.sheet.push(new),
        }
    }

    /// Another program of ours wants the same journal.
    fn second_program(&mut self) {
        if self.journal.is_none() {
            return;
        }
        let second = Journal::open_on(self.disk.clone(), &self.at, Purpose::Job);
        if let Ok((mut second, _)) = second {
            assert!(self.is_robbed, "two writers for one name");
            self.counts.two_writers += 1;
            let fact = HostFact::Handover {
                text: "the second program".to_owned(),
            };
            // From here on the name is the second one's: the first must not announce anything under it.
            let _ = second.append_facts(&[fact]);
        }
    }

    fn stranger(&mut self) {
        let Some(bytes) = self.disk.bytes(&self.at) else {
            return;
        };
        let at = self.at.clone();
        match self.rng.below(6) {
            0 => self.disk.delete(&at),
            1 => self.disk.put(&at, bytes),
            2 => {
                let some = self.rng.below(bytes.len() + 1);
                self.disk.put(&at, bytes[..some].to_vec());
            }
            3 => self.disk.put(&at, b"something else altogether".to_vec()),
            4 => {
                let to = PathBuf::from(format!("attic/{}.evj", self.next));
                self.disk.move_away(&at, &to);
            }
            _ => {
                // Moved, and an older copy put in its place.
                self.disk
                    .move_away(&at, &PathBuf::from(format!("attic/{}.evj", self.next)));
                self.disk.put(&at, bytes);
            }
        }
        self.is_robbed = true;
    }
}

/// Facts by the number of their record, `h` for one of the desktop.
fn short(facts: &[Fact]) -> String {
    let words = facts.iter().map(|fact| match fact {
        Fact::Entry(entry) => entry.seq.to_string(),
        Fact::Host(_) => "h".to_owned(),
    });
    words.collect::<Vec<_>>().join(" ")
}

fn run(seed: u64, is_told: bool) -> Counts {
    let mut stand = Stand::new(seed);
    for step in schedule(seed) {
        stand.step(step);
        if is_told {
            eprintln!(
                "{step:?}: {} kept in {}{}, {} wait; {:?}",
                stand.kept.len(),
                stand.at.display(),
                if stand.journal.is_some() {
                    ", open"
                } else {
                    ""
                },
                stand.unsaved.len(),
                stand.disk.names()
            );
        }
    }
    // In the end the power goes, and the disk is a good one again.
    let with_power = stand.rng.one_in(2);
    stand.restart(with_power);
    stand.disk.calm();
    stand.take_up();
    if let Ok((content, _)) = read_on(&stand.disk, &stand.at) {
        stand.holds_together(&content);
    }
    stand.print();
    stand.counts
}

#[test]
fn nothing_announced_is_lost_nothing_doubled_and_nothing_damaged_is_silent() {
    let set = |name: &str| std::env::var(name).ok().and_then(|text| text.parse().ok());
    let (first, many) = match set("EVENDRAW_STORE_SEED") {
        Some(seed) => (seed, 1),
        None => (1, set("EVENDRAW_STORE_SCHEDULES").unwrap_or(500)),
    };
    let mut counts = Counts::default();
    for seed in first..first + many {
        match std::panic::catch_unwind(|| run(seed, many == 1)) {
            Ok(ran) => counts.add(ran),
            Err(failed) => {
                eprintln!(
                    "replay: EVENDRAW_STORE_SEED={seed} cargo test -p evendraw-tests --test store_model -- --nocapture"
                );
                std::panic::resume_unwind(failed);
            }
        }
    }
    println!("{many} schedules: {counts:?}");
    if many >= 500 {
        let Counts {
            announced,
            refused,
            reopened,
            torn,
            damaged,
            moved,
            rescued,
            two_writers,
        } = counts;
        let all = [
            announced,
            refused,
            reopened,
            torn,
            damaged,
            moved,
            rescued,
            two_writers,
        ];
        assert!(all.iter().all(|count| *count > 0), "{counts:?}");
    }
}
