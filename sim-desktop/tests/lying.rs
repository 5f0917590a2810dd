//! An adapter that lies, stalls or talks without end: every exchange ends, says what is missing, and keeps no more than is stated.
//!
//! It is the core's own end of the link in a thread, behind a socket, with answers of its own making. Knows nothing of boards.
#![cfg(unix)]

use std::collections::HashSet;
use std::io::{ErrorKind, Read as _, Write as _};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::PathBuf;
use std::thread;
use std::time::{Duration, Instant as Clock};

use evendraw::limits::{FETCHED_BYTES_MAX, FETCHED_RECORDS_MAX, NEWS_WAITING_MAX, PLACE_BYTES_MAX};
use evendraw::link::{Client, ClientError, Follower, News, Patience, Port};
use evendraw::store;
use evendraw_core::journal::{FIRST_SEED, Frame, OVERHEAD, encode, encode_entry};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::link::{AdapterEnd, FRAMES_MAX, Heard, Identity, Live, Refused, Reply, Request};
use evendraw_core::record::{Doubt, Entry, Noted, RULES};
use evendraw_core::text::Text;
use evendraw_core::tracker::Cue;
use evendraw_core::unit::{Angle, Instant, Torque};
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

/// One answer.
enum Says {
    Reply(Reply<'static>),
    Have(u8, u32),
    /// Frames, with the last number it claims and the seed it names.
    Frames(u32, u32, Vec<u8>),
    /// It starts again, and does not know the conversation.
    Restarts,
    /// Bytes of any kind.
    Noise(Vec<u8>),
    Nothing,
}

/// A question as far as a liar looks at it.
#[derive(Clone, Copy, Debug)]
enum Asked {
    Offer(u8),
    Piece(u8),
    Pull(u32),
    Read,
    Other,
}

/// What makes its answers: its state, the question, what an honest one would say.
type Lie = Box<dyn FnMut(Asked) -> Option<Says> + Send>;

/// An adapter at a socket, with its folder.
struct Liar {
    folder: tempfile::TempDir,
}

impl Liar {
    /// Answers as it should where `lie` says nothing; `floods` has it tell readings without being asked.
    fn start(lie: impl FnMut(Asked) -> Option<Says> + Send + 'static, floods: bool) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let listener = UnixListener::bind(folder.path().join("port")).expect("a socket");
        thread::spawn(move || {
            let mut lie: Lie = Box::new(lie);
            for line in listener.incoming() {
                let Ok(line) = line else { return };
                // Whoever hangs up ends one conversation.
                let _ = converse(line, &mut lie, floods);
            }
        });
        Self { folder }
    }

    fn port(&self) -> PathBuf {
        self.folder.path().join("port")
    }

    fn client(&self, patience: Patience) -> Client {
        let mut client = Client::patient(Port::open(&self.port()).expect("a port"), patience);
        client.identify().expect("it answers");
        client
    }

    /// Runs `evendraw adapter PORT …`: status, what it said, what it complained of, how long it took.
    fn run(&self, line: &[&str]) -> (u8, String, String, Duration) {
        let at = |name: &str| self.folder.path().join(name).display().to_string();
        let whole: Vec<String> = ["evendraw", "adapter", &at("port")]
            .map(str::to_owned)
            .into_iter()
            .chain(line.iter().map(|word| match word.strip_prefix('@') {
                Some(name) => at(name),
                None => (*word).to_owned(),
            }))
            .collect();
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let began = Clock::now();
        let status =
            evendraw::command::run(whole.into_iter().map(Into::into), &mut out, &mut err, false);
        let text = |bytes| String::from_utf8(bytes).expect("text");
        (status, text(out), text(err), began.elapsed())
    }

    fn journal(&self) -> PathBuf {
        self.folder.path().join("a.evj")
    }

    fn with_plan(self) -> Self {
        std::fs::write(self.folder.path().join("plan.toml"), PLAN).expect("a plan");
        self
    }

    fn pull(&self) -> (u8, String, String, Duration) {
        self.run(&["pull", "@a.evj", "--plan", "@plan.toml"])
    }
}

const PLAN: &str = "[build]\ntitle = \"Harbour pump 9\"\n[[joint]]\nid = \"cover\"\nthread = \"M10\"\nclass = \"8.8\"\npositions = { 1 = [30, 0], 2 = [0, 30], 3 = [-30, 0] }\n\
    [[joint.stage]]\ndo = \"tighten\"\ntorque = \"20 N·m\"\nwithin = \"±10 %\"\n";

fn converse(mut line: UnixStream, lie: &mut Lie, floods: bool) -> std::io::Result<()> {
    line.set_read_timeout(Some(Duration::from_millis(2)))?;
    let mut boot = 1;
    let mut end = AdapterEnd::new(boot);
    let mut bytes = [0; 2_048];
    let mut told = 0_u32;
    loop {
        if floods {
            for _ in 0..50 {
                told = told.wrapping_add(1);
                let mut room = [0; 64];
                let live = end.live(&reading(told), &mut room).expect("fits").to_vec();
                line.write_all(&live)?;
            }
        }
        let count = match line.read(&mut bytes) {
            Ok(0) => return Ok(()),
            Ok(count) => count,
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => {
                continue;
            }
            Err(error) => return Err(error),
        };
        for &byte in bytes.get(..count).unwrap_or_default() {
            let (asked, honest) = match end.feed(byte) {
                Heard::Nothing => continue,
                Heard::Send(again) => {
                    let again = again.to_vec();
                    line.write_all(&again)?;
                    continue;
                }
                Heard::Question(Request::Identify { nonce }) => {
                    let identity = Identity {
                        nonce,
                        boot,
                        rules: RULES,
                        slots: 255,
                        last: 0,
                        capacity: Torque::from_millinewton_meters(200_000),
                        serial: "4411",
                        firmware: "0.1",
                    };
                    let answer = end
                        .answer(&Reply::Identity(identity))
                        .expect("fits")
                        .to_vec();
                    line.write_all(&answer)?;
                    continue;
                }
                Heard::Question(question) => (asked(&question), honest(&question)),
            };
            let says = lie(asked).unwrap_or(Says::Reply(honest));
            let answer = match &says {
                Says::Reply(reply) => end.answer(reply).expect("fits").to_vec(),
                Says::Have(slot, have) => end
                    .answer(&Reply::Have {
                        slot: *slot,
                        have: *have,
                    })
                    .expect("fits")
                    .to_vec(),
                Says::Frames(last, seed, frames) => end
                    .answer(&Reply::Frames {
                        last: *last,
                        seed: *seed,
                        bytes: frames,
                    })
                    .expect("fits")
                    .to_vec(),
                Says::Restarts => {
                    boot += 1;
                    end = AdapterEnd::new(boot);
                    // Refused under the old token, as by a program that begins.
                    Vec::new()
                }
                Says::Noise(bytes) => bytes.clone(),
                Says::Nothing => Vec::new(),
            };
            line.write_all(&answer)?;
        }
    }
}

fn asked(question: &Request<'_>) -> Asked {
    match *question {
        Request::Offer { slot, .. } => Asked::Offer(slot),
        Request::Piece { slot, .. } => Asked::Piece(slot),
        Request::Pull { from } => Asked::Pull(from),
        Request::Read { .. } => Asked::Read,
        _ => Asked::Other,
    }
}

fn honest(question: &Request<'_>) -> Reply<'static> {
    match *question {
        Request::Slot { slot } => Reply::Slot {
            slot,
            length: 0,
            sum: 0,
        },
        Request::Offer { slot, .. } => Reply::Have { slot, have: 0 },
        Request::Piece {
            slot,
            offset,
            bytes,
        } => Reply::Have {
            slot,
            have: offset + u32::try_from(bytes.len()).expect("few"),
        },
        Request::Commit { slot } => Reply::Stored { slot },
        Request::Work { slot, joint } => Reply::Working { slot, joint },
        Request::Pull { .. } => Reply::Frames {
            last: 0,
            seed: FIRST_SEED,
            bytes: &[],
        },
        Request::Watch { every_ms } => Reply::Watching { every_ms },
        Request::Anchor { .. } => Reply::Anchored,
        Request::Curve { .. } => Reply::Curve { bytes: &[] },
        _ => Reply::Refused {
            why: Refused::Kind,
            at: 0,
        },
    }
}

fn reading(number: u32) -> Live {
    let value = i32::try_from(number % 100_000).expect("small");
    Live {
        at: Instant::from_micros(u64::from(number) * 1_000),
        torque: Torque::from_millinewton_meters(value),
        peak: Torque::from_millinewton_meters(value),
        angle: Some(Angle::from_millidegrees(value)),
        step: Some(0),
        pulls: 1,
        cue: Cue::None,
        halt: None,
        last: 0,
    }
}

/// A remark of the joint, at this place of its records.
fn remark(seq: u32, words: &str) -> Entry {
    Entry {
        joint: 0,
        seq,
        boot: 1,
        at: Instant::BOOT,
        record: Noted {
            fastener: None,
            doubt: Doubt::None,
            text: Text::cut(words),
        }
        .into(),
    }
}

/// A journal as its frames follow one another.
#[derive(Default)]
struct Chain {
    sequence: u32,
    seed: Option<u32>,
}

impl Chain {
    fn seed(&self) -> u32 {
        self.seed.unwrap_or(FIRST_SEED)
    }

    fn take(&mut self, frame: &[u8]) -> Vec<u8> {
        let (_, sum) = frame.split_at(frame.len() - 4);
        self.seed = Some(u32::from_le_bytes(sum.try_into().expect("four bytes")));
        frame.to_vec()
    }

    fn entry(&mut self, entry: &Entry) -> Vec<u8> {
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        self.sequence = self.sequence.wrapping_add(1);
        let frame = encode_entry(entry, self.sequence, self.seed(), &mut room)
            .expect("fits")
            .to_vec();
        self.take(&frame)
    }

    fn raw(&mut self, kind: u8, version: u8, payload: &[u8]) -> Vec<u8> {
        let mut room = [0; PAYLOAD_MAX + OVERHEAD];
        self.sequence = self.sequence.wrapping_add(1);
        let frame = Frame {
            kind,
            version,
            sequence: self.sequence,
            payload,
        };
        let frame = encode(&frame, self.seed(), &mut room)
            .expect("fits")
            .to_vec();
        self.take(&frame)
    }
}

/// One answer that holds these frames whole, once; then nothing more, with the same claim.
fn once(claimed: u32, frames: Vec<u8>) -> impl FnMut(Asked) -> Option<Says> + Send + 'static {
    move |asked| match asked {
        Asked::Pull(1) => Some(Says::Frames(claimed, FIRST_SEED, frames.clone())),
        Asked::Pull(_) => Some(Says::Frames(claimed, 0, Vec::new())),
        _ => None,
    }
}

/// Answers take no time here: what does not end by counting would take minutes.
const SOON: Duration = Duration::from_secs(20);

#[test]
fn an_adapter_that_has_no_byte_for_ever_is_given_up_and_what_is_missing_is_said() {
    let liar = Liar::start(
        |asked| match asked {
            Asked::Piece(slot) => Some(Says::Have(slot, 0)),
            _ => None,
        },
        false,
    )
    .with_plan();
    let (status, said, complained, took) = liar.run(&["send", "@plan.toml", "--place", "255"]);
    assert_eq!(status, 1, "{said}{complained}");
    assert!(
        complained.contains("cover is not stored at place 255"),
        "{complained}"
    );
    assert!(complained.contains("it has 0 of "), "{complained}");
    assert!(took < SOON);
}

#[test]
fn every_way_to_bring_a_sent_procedure_no_further_ends() {
    let offers_anew = |asked: Asked| match asked {
        Asked::Offer(slot) => Some(Says::Have(slot, 1)),
        Asked::Piece(_) => Some(Says::Reply(Reply::Refused {
            why: Refused::NotOffered,
            at: 0,
        })),
        _ => None,
    };
    let mut turn = 0;
    let back_and_forth = move |asked: Asked| match asked {
        Asked::Piece(slot) => {
            turn += 1;
            Some(Says::Have(slot, turn % 2))
        }
        _ => None,
    };
    let lies: [Lie; 2] = [Box::new(offers_anew), Box::new(back_and_forth)];
    for lie in lies {
        let liar = Liar::start(lie, false);
        let error = liar
            .client(Patience::default())
            .send(0, &[7; 2_000], |_, _| {})
            .expect_err("it never has all");
        assert!(matches!(error, ClientError::Stuck(_, 2_000)), "{error}");
    }
    // A byte at a time, each after a while: that takes longer than it may.
    let mut have = 0;
    let slow = move |asked: Asked| match asked {
        Asked::Piece(slot) => {
            thread::sleep(Duration::from_millis(20));
            have += 1;
            Some(Says::Have(slot, have))
        }
        _ => None,
    };
    let patience = Patience {
        sending: Duration::from_millis(300),
        ..Patience::default()
    };
    let error = Liar::start(slow, false)
        .client(patience)
        .send(0, &[7; 2_000], |_, _| {})
        .expect_err("it is slow");
    assert!(matches!(error, ClientError::Slow(_)), "{error}");
}

#[test]
fn a_procedure_that_is_stored_at_the_last_place_is_told_with_that_place() {
    let liar = Liar::start(|_| None, false).with_plan();
    let (status, said, complained, _) = liar.run(&["send", "@plan.toml", "--place", "255"]);
    assert_eq!(status, 0, "{complained}");
    assert!(said.contains("stored at place 255"), "{said}");
}

#[test]
fn records_that_it_says_it_has_and_does_not_send_are_missing_and_said_so() {
    let liar = Liar::start(once(1_000, Vec::new()), false).with_plan();
    let (status, said, complained, took) = liar.pull();
    assert_eq!(status, 1, "{said}{complained}");
    assert!(
        complained.contains("records 1 to 1000 are missing here")
            && complained.contains("does not send"),
        "{complained}"
    );
    assert!(said.contains("0 records fetched"), "{said}");
    assert!(took < SOON);
}

#[test]
fn a_journal_without_end_is_fetched_as_far_as_is_stated() {
    // Records, and entries of a host's kind, which are counted by their bytes.
    for is_record in [true, false] {
        let mut chain = Chain::default();
        let mut number = 0;
        let liar = Liar::start(
            move |asked| {
                let Asked::Pull(_) = asked else { return None };
                let seed = chain.seed();
                let mut frames = Vec::new();
                loop {
                    number += 1;
                    let next = if is_record {
                        chain.entry(&remark(number, ""))
                    } else {
                        chain.raw(200, 1, &[7; 500])
                    };
                    frames.extend(next);
                    if frames.len() + 512 > FRAMES_MAX || !is_record {
                        break;
                    }
                }
                Some(Says::Frames(u32::MAX, seed, frames))
            },
            false,
        );
        let mut client = liar.client(Patience::default());
        let mut told = 0;
        let fetched = client.pull(|_| told += 1).expect("what there is");
        let left = fetched.left.expect("it says that it has more");
        assert_eq!(left.to, u32::MAX);
        assert!(left.why.contains("at once"), "{}", left.why);
        if is_record {
            assert!(
                (FETCHED_RECORDS_MAX..FETCHED_RECORDS_MAX + 100).contains(&fetched.entries.len())
            );
        } else {
            assert!(told * 500 < FETCHED_BYTES_MAX + 1_000);
        }
    }
    assert!(FETCHED_RECORDS_MAX * size_of::<Entry>() <= 64 * 1024 * 1024);
}

#[test]
fn different_records_for_one_place_are_not_taken() {
    let mut chain = Chain::default();
    let mut frames = chain.entry(&remark(1, "first"));
    for number in 1..=6 {
        frames.extend(chain.entry(&remark(2, &format!("way {number}"))));
    }
    let liar = Liar::start(once(7, frames), false).with_plan();
    let (status, said, complained, _) = liar.pull();
    assert_eq!(status, 1, "{said}{complained}");
    assert!(
        complained.contains("tells record 2 of joint 0 in two ways")
            && complained.contains("5 records, are not taken"),
        "{complained}"
    );
    let kept = store::read(&liar.journal()).expect("a journal");
    let places: Vec<u32> = kept.entries().map(|entry| entry.seq).collect();
    assert_eq!(places, [1, 2]);
}

#[test]
fn a_record_told_twice_alike_is_kept_once() {
    let mut chain = Chain::default();
    let mut frames = chain.entry(&remark(1, "first"));
    frames.extend(chain.entry(&remark(1, "first")));
    let liar = Liar::start(once(2, frames), false).with_plan();
    let (status, said, complained, _) = liar.pull();
    assert_eq!(status, 0, "{said}{complained}");
    assert_eq!(
        store::read(&liar.journal())
            .expect("a journal")
            .entries()
            .count(),
        1
    );
}

#[test]
fn a_newer_record_is_kept_as_it_came_told_as_newer_and_not_doubled() {
    let mut chain = Chain::default();
    let mut frames = chain.entry(&remark(1, "before"));
    frames.extend(chain.raw(11, 99, &[0, 2, 1, 0, 5, 6, 7]));
    frames.extend(chain.raw(119, 1, &[0, 3, 1, 0]));
    frames.extend(chain.entry(&remark(4, "after")));
    let liar = Liar::start(once(4, frames), false).with_plan();
    for round in 0..2 {
        let (status, said, complained, _) = liar.pull();
        assert_eq!(status, 1, "{said}{complained}");
        assert!(
            complained.contains("2 records are newer than this program: kept as they came")
                && complained.contains("version 99"),
            "{complained}"
        );
        assert!(!complained.contains("damaged"), "{complained}");
        let kept = store::read(&liar.journal()).expect("a journal");
        let newer: Vec<(u8, u8)> = kept
            .unread
            .iter()
            .map(|own| (own.kind, own.version))
            .collect();
        assert_eq!(newer, [(11, 99), (119, 1)], "round {round}");
        assert!(kept.damage.iter().all(|damage| damage.is_newer));
        // They stand between the records that they came between.
        let between = kept.damage.first().expect("told").from..kept.damage.last().expect("told").to;
        assert!(between.len() > 20);
        assert_eq!(kept.entries().count(), 2);
    }
}

#[test]
fn what_came_before_a_lie_is_kept() {
    let mut chain = Chain::default();
    let frames = chain.entry(&remark(1, "sound"));
    let mut lies = vec![
        Says::Frames(5, chain.seed(), vec![0xFF; 40]),
        Says::Frames(0, chain.seed(), Vec::new()),
        Says::Reply(Reply::Anchored),
        Says::Reply(Reply::Refused {
            why: Refused::Content,
            at: 9,
        }),
        Says::Frames(5, 77, chain.entry(&remark(2, "of another journal"))),
    ];
    while let Some(lie) = lies.pop() {
        let (mut lie, frames) = (Some(lie), frames.clone());
        let liar = Liar::start(
            move |asked| match asked {
                Asked::Pull(1) => Some(Says::Frames(5, FIRST_SEED, frames.clone())),
                Asked::Pull(_) => lie.take().or(Some(Says::Nothing)),
                _ => None,
            },
            false,
        )
        .with_plan();
        let (status, said, complained, took) = liar.pull();
        assert_eq!(status, 1, "{said}{complained}");
        assert!(
            complained.contains("records 2 to 5 are missing here"),
            "{complained}"
        );
        assert_eq!(
            store::read(&liar.journal())
                .expect("a journal")
                .entries()
                .count(),
            1
        );
        assert!(took < SOON);
    }
}

#[test]
fn calibrations_without_end_are_fetched_as_far_as_is_stated() {
    let lie = |question| match question {
        Asked::Read => Some(Says::Reply(Reply::Bytes { bytes: &[7; 64] })),
        _ => None,
    };
    let liar = Liar::start(lie, false);
    let error = liar
        .client(Patience::default())
        .calibrations(7)
        .expect_err("they have no end");
    assert!(
        matches!(error, ClientError::Unending(PLACE_BYTES_MAX)),
        "{error}"
    );
}

#[test]
fn one_that_was_to_tell_readings_and_tells_none_is_given_up() {
    let liar = Liar::start(|_| None, false);
    let patience = Patience {
        unheard: Duration::from_millis(200),
        ..Patience::default()
    };
    let error = liar
        .client(patience)
        .watch(10, |_| true)
        .expect_err("nothing is told");
    assert!(matches!(error, ClientError::Unheard), "{error}");
}

/// The desk's own conversation: what waits for it is bounded, and it ends with whoever listened.
#[test]
fn what_an_adapter_tells_without_end_fills_no_memory() {
    let liar = Liar::start(|_| None, true);
    let follower = Follower::begin(liar.port(), || {});
    // Nobody takes the news meanwhile.
    thread::sleep(Duration::from_millis(1_500));
    let waiting = follower.news().count();
    assert!(waiting <= NEWS_WAITING_MAX + 100, "{waiting}");

    let (mut chain, mut number) = (Chain::default(), 0);
    let liar = Liar::start(
        move |asked| {
            let Asked::Pull(_) = asked else { return None };
            let seed = chain.seed();
            let mut frames = Vec::new();
            for _ in 0..15 {
                number += 1;
                frames.extend(chain.entry(&remark(number, "")));
            }
            Some(Says::Frames(chain.sequence + 1, seed, frames))
        },
        true,
    );
    let follower = Follower::begin(liar.port(), || {});
    let (began, mut entries) = (Clock::now(), 0);
    while began.elapsed() < Duration::from_secs(3) {
        for news in follower.news() {
            if let News::Fetched(fetched) = news {
                entries += fetched.entries.len();
            }
        }
        thread::sleep(Duration::from_millis(5));
    }
    assert!(entries <= 2 * FETCHED_RECORDS_MAX, "{entries}");
}

/// Any answer to any question, as a seed has it.
fn any(mut random: ChaCha8Rng) -> impl FnMut(Asked) -> Option<Says> + Send + 'static {
    let mut chain = Chain::default();
    let mut seq = 0;
    move |asked| {
        let slot = match asked {
            Asked::Offer(slot) | Asked::Piece(slot) => slot,
            _ => random.random(),
        };
        Some(match random.random_range(0..40) {
            0..=9 => return None,
            10..=14 => Says::Have(slot, random.random_range(0..3_000)),
            15 => Says::Have(random.random(), random.random()),
            16 => Says::Reply(Reply::Stored { slot }),
            17..=28 => {
                let seed = chain.seed();
                let mut frames = Vec::new();
                for _ in 0..random.random_range(0..8) {
                    seq += u32::from(random.random_bool(0.9));
                    frames.extend(match random.random_range(0..10) {
                        0 => chain.raw(random.random(), random.random(), &[random.random(); 9]),
                        1 => {
                            chain.sequence = chain.sequence.wrapping_add(random.random());
                            chain.entry(&remark(seq, "later"))
                        }
                        _ => chain.entry(&remark(seq, "so")),
                    });
                }
                if random.random_bool(0.05)
                    && let Some(byte) = frames.last_mut()
                {
                    *byte ^= 1;
                }
                frames.truncate(FRAMES_MAX);
                let more = if random.random_bool(0.5) {
                    random.random_range(0..40)
                } else {
                    random.random()
                };
                Says::Frames(chain.sequence.wrapping_add(more), seed, frames)
            }
            29 => Says::Frames(random.random(), random.random(), vec![random.random(); 60]),
            30 => Says::Reply(Reply::Anchored),
            31 => Says::Reply(Reply::Curve { bytes: &[1; 24] }),
            32 => Says::Reply(Reply::Curve { bytes: &[1; 25] }),
            33 => Says::Reply(Reply::Refused {
                why: Refused::NotOffered,
                at: 0,
            }),
            34 => Says::Reply(Reply::Refused {
                why: Refused::InPull,
                at: random.random(),
            }),
            35 => Says::Restarts,
            36 => Says::Noise((0..200).map(|_| random.random()).collect()),
            37 => Says::Nothing,
            _ => Says::Reply(Reply::Slot {
                slot,
                length: random.random(),
                sum: random.random(),
            }),
        })
    }
}

/// 24 seeds unless `EVENDRAW_LIES` says how many; `EVENDRAW_LIES_SEED` replays one.
#[test]
fn whatever_an_adapter_answers_every_exchange_ends_in_its_time() {
    let number = |name: &str| std::env::var(name).ok()?.parse::<u64>().ok();
    let seeds: Vec<u64> = match number("EVENDRAW_LIES_SEED") {
        Some(seed) => vec![seed],
        None => (0..number("EVENDRAW_LIES").unwrap_or(24)).collect(),
    };
    let patience = Patience {
        idle_answers: 12,
        question: Duration::from_millis(400),
        sending: Duration::from_millis(400),
        fetching: Duration::from_millis(400),
        unheard: Duration::from_millis(100),
    };
    let mut ends = HashSet::new();
    for seed in seeds {
        let random = ChaCha8Rng::seed_from_u64(seed);
        let liar = Liar::start(any(random), seed.is_multiple_of(7));
        let mut client = Client::patient(Port::open(&liar.port()).expect("a port"), patience);
        let replay =
            format!("EVENDRAW_LIES_SEED={seed} cargo test -p evendraw --test lying whatever");
        let mut end = |what: &str, began: Clock, ended: Result<(), ClientError>| {
            assert!(
                began.elapsed() < Duration::from_secs(3),
                "{what} took {:?}: {replay}",
                began.elapsed()
            );
            if let Err(error) = ended {
                ends.insert(error.to_string());
            }
        };
        let began = Clock::now();
        let identified = client.identify();
        end("identify", began, identified.map(drop));
        for _ in 0..3 {
            let began = Clock::now();
            let pulled = client.pull(|_| {});
            if let Ok(fetched) = &pulled {
                assert!(
                    fetched.entries.len() <= FETCHED_RECORDS_MAX + 100,
                    "{replay}"
                );
            }
            end("pull", began, pulled.map(drop));
            let began = Clock::now();
            let sent = client.send(3, &[seed.to_le_bytes()[0]; 2_500], |_, _| {});
            end("send", began, sent);
            let began = Clock::now();
            let curve = client.curve();
            end("curve", began, curve.map(drop));
            let (began, mut seen) = (Clock::now(), 0);
            let watched = client.watch(10, |_| {
                seen += 1;
                seen < 20
            });
            end("watch", began, watched);
        }
    }
    assert!(ends.len() > 6, "hardly a lie was met: {ends:?}");
}
