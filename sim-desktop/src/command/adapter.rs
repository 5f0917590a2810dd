//! `evendraw adapter`: talks to a real or emulated adapter.
//!
//! Knows nothing of how the link works.

mod calibrate;

use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use clap::{Args as ClapArgs, Subcommand};
use evendraw_core::ledger::Standing;
use evendraw_core::link::{PullJournal, Sums};
use evendraw_core::record::Entry;
use evendraw_core::session::Session;
use evendraw_core::trace;
use serde::Serialize;

use super::{CommandError, Done, Output, named, plan_file};
use crate::job::status::{attempt_of, names, plan_of};
use crate::link::{Client, ClientError, Fetched, Left, Newer, Port};
use crate::plan::{Answers, Plan};
use crate::store::{
    Content, Fact, HostFact, Journal, Purpose, Traces, Unread, agreeing, entries_of, fresh,
};

/// Talks to an adapter over a serial port: sends procedures, fetches its journal, watches it live.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Examples:\n  \
        evendraw adapter /dev/ttyACM0 send pump.toml --joint head --work\n  \
        evendraw adapter /dev/ttyACM0 watch\n  \
        evendraw adapter /dev/ttyACM0 pull pump-7.journal --plan pump.toml\n  \
        evendraw adapter /dev/ttyACM0 calibrate --lever \"400 mm\" --weights 2,5,10\n\n\
        PORT is a serial port (on Windows COM3 and so on), a pseudo terminal, or the socket of an emulated adapter.")]
pub(super) struct Args {
    /// The serial port.
    port: PathBuf,
    #[command(subcommand)]
    transfer: Exchange,
}

#[derive(Debug, Subcommand)]
enum Exchange {
    /// Sends the procedures of a plan; each is taken whole or refused.
    Send {
        /// The plan.
        plan: Option<PathBuf>,
        /// Only this joint.
        #[arg(long)]
        joint: Option<String>,
        /// The first place to store at, from 1.
        #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..))]
        place: u8,
        /// Has the adapter work the joint at once.
        #[arg(long, requires = "joint")]
        work: bool,
    },
    /// Fetches the journal: appends what is new to a journal here, or begins one.
    Pull {
        /// The journal.
        journal: PathBuf,
        /// The plan that was worked to, for a journal that does not exist yet.
        #[arg(long)]
        plan: Option<PathBuf>,
        /// Then has the adapter free what is kept here of finished joints. They cannot be gone on with at the adapter.
        #[arg(long)]
        give_back: bool,
    },
    /// Shows what happens, as it happens, until interrupted.
    Watch {
        /// Time between two readings, in ms.
        #[arg(long, default_value_t = 100, value_parser = clap::value_parser!(u16).range(10..))]
        every: u16,
        /// Stops after so many.
        #[arg(long)]
        count: Option<u32>,
        /// Shows what the sensors count instead, as means of the time between.
        #[arg(long)]
        counts: bool,
    },
    /// Calibrates load cell and gyro: known weights on a known lever, a full turn; the result is kept on the adapter.
    Calibrate(calibrate::Args),
}

#[derive(Serialize)]
struct Counted {
    record: &'static str,
    readings: u32,
    bridge: f64,
    rate: f64,
}

#[derive(Serialize)]
struct Sent<'a> {
    record: &'static str,
    joint: &'a str,
    place: u8,
    bytes: usize,
}

#[derive(Serialize)]
struct Pulled {
    record: &'static str,
    fetched: usize,
    new: usize,
    missing: usize,
    newer: usize,
    unsent: u32,
    untaken: usize,
    /// Up to which number of its journal the adapter may free its flash.
    #[serde(skip_serializing_if = "Option::is_none")]
    given_back_to: Option<u32>,
    /// Points of the newest attempt's curve, where it was still there.
    curve_points: usize,
}

#[derive(Serialize)]
struct Seen {
    record: &'static str,
    #[serde(rename = "torque_Nm")]
    torque: f64,
    #[serde(rename = "peak_torque_Nm")]
    peak: f64,
    angle_deg: Option<f64>,
    step: Option<u16>,
    pulls: u8,
    halt: Option<&'static str>,
}

/// Runs the command.
pub(super) fn run(args: &Args, out: &mut Output<'_>) -> Result<Done, CommandError> {
    // What is asked for comes before the adapter: nothing is sent or kept on a guess.
    let plan = match &args.transfer {
        Exchange::Send { plan: None, .. } => {
            return Err(CommandError::bad(
                "adapter send: which plan? allowed is a plan file, like `send pump.toml`",
            ));
        }
        Exchange::Pull {
            journal,
            plan: None,
            ..
        } if !journal.exists() => {
            return Err(CommandError::bad(format!(
                "adapter pull: {} does not exist yet; which plan was worked to? allowed is --plan PLAN",
                journal.display()
            )));
        }
        Exchange::Send { plan, .. } | Exchange::Pull { plan, .. } => plan
            .as_deref()
            .map(|path| plan_file::read(Some(path)))
            .transpose()?,
        Exchange::Calibrate(args) => {
            calibrate::setup(args)?;
            None
        }
        Exchange::Watch { .. } => None,
    };
    if let Some(plan) = &plan {
        out.speaks_of(plan)?;
    }
    let port =
        Port::open(&args.port).map_err(|error| CommandError::file("open", &args.port, &error))?;
    let mut client = Client::new(port);
    let failed =
        |error: ClientError| CommandError::bad(format!("{}: {error}", args.port.display()));
    let adapter = client.identify().map_err(failed)?;
    out.line(format_args!(
        "adapter {}, {}, up to {} N·m",
        adapter.serial,
        adapter.firmware,
        thousandths(adapter.capacity.millinewton_meters())
    ))?;
    match &args.transfer {
        Exchange::Send {
            joint, place, work, ..
        } => {
            let plan = wanted(plan.as_ref())?;
            let chosen: Vec<_> = match joint {
                Some(id) => vec![named::joint(plan, Some(id))?],
                None => plan.joints().iter().collect(),
            };
            let places = *place..=adapter.places;
            if chosen.len() > places.len() {
                return Err(CommandError::bad(format!(
                    "{} joints from place {place} on need more than the {} places of this adapter; choose one with --joint",
                    chosen.len(),
                    adapter.places
                )));
            }
            for (joint, place) in chosen.into_iter().zip(places) {
                let procedure = joint
                    .procedure(&Answers::default())
                    .map_err(|error| CommandError::bad(format!("{}: {error}", joint.id())))?;
                let mut room = vec![0; 16 * 1024];
                let blob = procedure
                    .encode(&mut room)
                    .map_err(|error| CommandError::bad(format!("{}: {error}", joint.id())))?;
                let at = place.saturating_sub(1);
                match client.send(at, blob, |_, _| {}) {
                    Ok(()) => {}
                    Err(error @ (ClientError::Stuck(..) | ClientError::Slow(_))) => {
                        out.remark(format_args!(
                            "{} is not stored at place {place}: {error}",
                            joint.title()
                        ));
                        return Ok(Done::Rejected);
                    }
                    Err(error) => return Err(failed(error)),
                }
                out.line(format_args!(
                    "{} is stored at place {place} ({} bytes)",
                    joint.title(),
                    blob.len()
                ))?;
                out.object(&Sent {
                    record: "sent",
                    joint: joint.id(),
                    place,
                    bytes: blob.len(),
                })?;
                if *work {
                    client.work(at, joint.number()).map_err(failed)?;
                    client.anchor(wall_time()).map_err(failed)?;
                    out.line(format_args!("{} is being worked", joint.title()))?;
                }
            }
            Ok(Done::Good)
        }
        Exchange::Pull {
            journal, give_back, ..
        } => {
            let mut transfer = PullJournal::from_start();
            let fetched = client.pull_on(&mut transfer, |_| {}).map_err(failed)?;
            // What is told in two ways is not taken, and neither is what comes after it.
            let (entries, differs) = agreeing(&fetched.entries);
            let newer: Vec<&Newer> = fetched
                .newer
                .iter()
                .filter(|newer| newer.behind <= entries.len())
                .collect();
            let (new, newer) = keep(journal, plan.as_ref(), &adapter.serial, entries, &newer)?;
            // Read again from the disk: what is shown and given back is what is there.
            let kept = named::journal(journal)?;
            let (points, no_curve) = match keep_curve(&mut client, journal, entries) {
                Ok(points) => (points, None),
                Err(CurveError::Adapter(error)) => (0, Some(error)),
                Err(CurveError::Store(error)) => return Err(error.into()),
            };
            let unlike = match &kept.plan {
                Some(plan) => {
                    let names = names(plan, &kept.content.facts);
                    named::tell_peers(plan, &kept.content, &names, out)?
                }
                None => 0,
            };
            let gaps = fetched.gaps.iter();
            let missing: usize = gaps
                .filter_map(|(from, to)| usize::try_from(to.saturating_sub(*from)).ok())
                .sum();
            let untaken = fetched.entries.len().saturating_sub(entries.len());
            let unsent = fetched.left.as_ref().map_or(0, Left::count);
            let rejected = entries.iter().rev().take(new).any(|entry| {
                attempt_of(&entry.record).is_some_and(|attempt| {
                    attempt.verdict != evendraw_core::verdict::Verdict::Accepted
                })
            });
            out.line(format_args!(
                "{} records fetched, {new} of them new, kept in {}",
                entries.len(),
                journal.display()
            ))?;
            if points > 0 {
                out.line(format_args!(
                    "the curve of the newest attempt, {points} points, is kept beside it"
                ))?;
            }
            if missing > 0 {
                out.remark(format_args!(
                    "{missing} records are damaged in the adapter and missing here"
                ));
            }
            if let Some(left) = &fetched.left {
                out.remark(format_args!(
                    "records {} to {} are missing here, which the adapter says it has: {}",
                    left.from, left.to, left.why
                ));
            }
            if let Some(differs) = differs {
                out.remark(format_args!(
                    "{differs}; that one and what it told after it, {untaken} records, are not taken"
                ));
            }
            if let Some(first) = fetched.newer.first() {
                out.remark(format_args!(
                    "{} records are newer than this program: kept as they came, and not read ({}); a newer program reads them",
                    fetched.newer.len(),
                    first.why
                ));
            }
            if let Some(error) = &no_curve {
                out.remark(format_args!(
                    "the curve of the newest attempt is not fetched: {error}"
                ));
            }
            let is_taken = unsent == 0 && untaken == 0 && fetched.newer.is_empty();
            let free = match &kept.plan {
                Some(_) if *give_back && !is_taken => {
                    out.remark(
                        "nothing is given back: what is kept here is not all that the adapter has",
                    );
                    None
                }
                Some(plan) if *give_back => {
                    let all_kept = fresh(kept.content.entries(), entries);
                    if all_kept.map_or(true, |missing| !missing.is_empty()) {
                        return Err(CommandError::bad(format!(
                            "{} does not hold what was fetched: nothing is given back",
                            journal.display()
                        )));
                    }
                    Some(free_up_to(
                        plan,
                        &kept.content.facts,
                        &fetched,
                        transfer.last(),
                    ))
                }
                _ => None,
            };
            match free {
                Some(0) => out.line(
                    "nothing is given back: the oldest records are of a joint that is not finished",
                )?,
                Some(free) => {
                    client.give_back(&transfer, free).map_err(failed)?;
                    out.line(format_args!(
                        "the adapter may free its records up to {free}: they are kept here"
                    ))?;
                }
                None => {}
            }
            out.object(&Pulled {
                record: "pulled",
                fetched: entries.len(),
                new,
                missing,
                newer,
                unsent,
                untaken,
                given_back_to: free,
                curve_points: points,
            })?;
            Ok(Done::rejected_if(
                rejected || missing > 0 || !is_taken || no_curve.is_some() || unlike > 0,
            ))
        }
        Exchange::Calibrate(args) => calibrate::run(&calibrate::setup(args)?, &mut client, out),
        Exchange::Watch {
            every,
            count,
            counts: true,
        } => {
            let mut before = client.counts().map_err(failed)?;
            let mut seen = 0;
            while count.is_none_or(|count| seen < count) {
                std::thread::sleep(std::time::Duration::from_millis(u64::from(*every)));
                let now = client.counts().map_err(failed)?;
                let readings = now.readings.wrapping_sub(before.readings);
                if readings > 0 {
                    show_counts(&before, &now, out)?;
                    (before, seen) = (now, seen + 1);
                }
            }
            Ok(Done::Good)
        }
        Exchange::Watch { every, count, .. } => {
            let mut seen: u32 = 0;
            let mut broken = Ok(());
            client
                .watch(*every, |live| {
                    seen = seen.saturating_add(1);
                    broken = show(live, out);
                    broken.is_ok() && count.is_none_or(|count| seen < count)
                })
                .map_err(failed)?;
            broken.map(|()| Done::Good)
        }
    }
}

fn show_counts(before: &Sums, now: &Sums, out: &mut Output<'_>) -> Result<(), CommandError> {
    let between = |from: i64, to: i64| i32::try_from(to.wrapping_sub(from)).map(f64::from);
    let readings = now.readings.wrapping_sub(before.readings);
    let time = i32::try_from(now.at.since(before.at).micros()).map_or(1.0, f64::from);
    let bridge = between(before.bridge, now.bridge).unwrap_or(f64::NAN) / f64::from(readings);
    let rate = between(before.rate, now.rate).unwrap_or(f64::NAN) / time.max(1.0);
    out.line(format_args!(
        "load cell {bridge:12.1}  gyro {rate:9.1}  ({readings} readings)"
    ))?;
    out.object(&Counted {
        record: "counts",
        readings,
        bridge,
        rate,
    })
}

fn show(live: &evendraw_core::link::Live, out: &mut Output<'_>) -> Result<(), CommandError> {
    let torque = thousandths(live.torque.millinewton_meters());
    let peak = thousandths(live.peak.millinewton_meters());
    let angle = live.angle.map(|angle| thousandths(angle.millidegrees()));
    let halt = live.halt.map(evendraw_core::verdict::Reason::word);
    out.line(format_args!(
        "{torque:8.2} N·m  peak {peak:8.2}  {}{}",
        angle.map_or_else(String::new, |angle| format!("{angle:7.1}°")),
        halt.map_or_else(String::new, |word| format!("  STOP: {word}")),
    ))?;
    out.object(&Seen {
        record: "live",
        torque,
        peak,
        angle_deg: angle,
        step: live.step,
        pulls: live.pulls,
        halt,
    })
}

fn wanted(plan: Option<&Plan>) -> Result<&Plan, CommandError> {
    plan.ok_or_else(|| CommandError::bad("which plan? allowed is a plan file"))
}

fn as_it_came(newer: &Newer) -> Unread {
    Unread {
        kind: newer.kind,
        version: newer.version,
        payload: newer.payload.clone(),
    }
}

/// Appends what the journal here does not have, and notes whose records they are; returns how many of either sort that were.
fn keep(
    path: &Path,
    plan: Option<&Plan>,
    serial: &str,
    entries: &[Entry],
    newer: &[&Newer],
) -> Result<(usize, usize), CommandError> {
    let bad = |error: crate::store::StoreError| CommandError::bad(error.to_string());
    let (mut journal, content) = if path.exists() {
        Journal::open(path, Purpose::Job).map_err(bad)?
    } else {
        let plan = wanted(plan)?;
        let journal = Journal::create(path, Purpose::Job, plan.name(), plan.text()).map_err(bad)?;
        (journal, Content::default())
    };
    let new = fresh(content.entries(), entries).map_err(|differs| {
        CommandError::bad(format!(
            "{}: {differs}; pull into a new file",
            path.display()
        ))
    })?;
    let mut makers = std::collections::BTreeMap::new();
    for fact in content.host_facts() {
        if let HostFact::AtAdapter { joint, serial } = fact {
            makers.insert(*joint, serial.as_str());
        }
    }
    let joints: std::collections::BTreeSet<u8> = new.iter().map(|entry| entry.joint).collect();
    let left: Vec<HostFact> = joints
        .into_iter()
        .filter(|joint| makers.get(joint) != Some(&serial))
        .map(|joint| HostFact::AtAdapter {
            joint,
            serial: serial.to_owned(),
        })
        .collect();
    journal.append_facts(&left).map_err(bad)?;
    let count = new.len();
    let (mut new, mut newer) = (new.into_iter().peekable(), newer.iter().peekable());
    let mut unread = 0_usize;
    let mut from = 0;
    // In the order in which the adapter recorded them, of which a newer program makes sense again.
    while from < entries.len() || newer.peek().is_some() {
        let until = newer.peek().map_or(entries.len(), |newer| newer.behind);
        let run: Vec<Entry> = entries
            .get(from..until)
            .unwrap_or_default()
            .iter()
            .filter_map(|entry| new.next_if(|new| new == entry))
            .collect();
        journal.append(&run).map_err(bad)?;
        let here: Vec<Unread> = std::iter::from_fn(|| newer.next_if(|newer| newer.behind == until))
            .map(|newer| as_it_came(newer))
            .filter(|record| !content.unread.contains(record))
            .collect();
        unread = unread.saturating_add(here.len());
        journal.append_unread(&here).map_err(bad)?;
        from = until;
    }
    Ok((count, unread))
}

/// The last number of the adapter's journal before which every joint is finished here.
fn free_up_to(plan: &Plan, facts: &[Fact], fetched: &Fetched, last: u32) -> u32 {
    let is_final = |joint: u8| {
        plan.joints().get(usize::from(joint)).is_some_and(|own| {
            let procedure = &plan_of(facts, own).procedure;
            Session::restore(procedure, joint, entries_of(facts, joint))
                .is_ok_and(|session| session.standing() == Standing::Final)
        })
    };
    let mut asked = std::collections::BTreeMap::new();
    let needed = fetched
        .entries
        .iter()
        .zip(&fetched.numbers)
        .find(|(entry, _)| {
            let joint = entry.joint;
            !*asked.entry(joint).or_insert_with(|| is_final(joint))
        });
    needed.map_or(last, |(_, number)| number.saturating_sub(1))
}

enum CurveError {
    Adapter(ClientError),
    Store(crate::store::StoreError),
}

/// Keeps the curve of the newest attempt, if the adapter still has it; returns how many points it has.
fn keep_curve(client: &mut Client, journal: &Path, entries: &[Entry]) -> Result<usize, CurveError> {
    let newest = entries
        .iter()
        .rev()
        .find_map(|entry| attempt_of(&entry.record).map(|attempt| (entry, attempt)));
    // A digest of zero says that there is none.
    let Some((entry, attempt)) = newest.filter(|(_, attempt)| attempt.trace != 0) else {
        return Ok(0);
    };
    let points = match client.curve() {
        // An adapter older than this question: the record stands without its curve.
        Err(ClientError::Refused(..)) => return Ok(0),
        points => points.map_err(CurveError::Adapter)?,
    };
    if trace::digest(points.iter().copied()) != attempt.trace {
        return Ok(0);
    }
    let title = format!(
        "joint {}, record {}, from the adapter",
        entry.joint, entry.seq
    );
    Traces::beside(journal)
        .keep(entry.joint, entry.seq, &title, &points)
        .map_err(CurveError::Store)?;
    Ok(points.len())
}

fn wall_time() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |since| {
        i64::try_from(since.as_secs()).unwrap_or(i64::MAX)
    })
}

fn thousandths(value: i32) -> f64 {
    f64::from(value) / 1_000.0
}
