//! A conversation kept up in the background: looked for, answered, followed, looked for again.
//!
//! A thread of its own holds the port, so whoever listens never waits for it. Knows nothing of who listens, or of what the
//! records say.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{
    self, Receiver, RecvTimeoutError, Sender, SyncSender, TryRecvError, TrySendError,
};
use std::thread;
use std::time::{Duration, Instant as Clock, SystemTime, UNIX_EPOCH};

use evendraw_core::link::{Live, PullError, PullJournal, Tell};
use evendraw_core::record::{Entry, Record};
use evendraw_core::session::Input;
use evendraw_core::trace::Point;

use super::{Adapter, Client, ClientError, Fetched, Left, Port};
use crate::limits::{FETCHED_RECORDS_MAX, NEWS_WAITING_MAX};

/// How often an adapter tells what happens.
const TOLD_EVERY_MS: u16 = 40;
/// Nothing heard for so long: it is asked whether it is there.
const SILENCE: Duration = Duration::from_millis(1_500);
/// How long to wait before the port is opened again.
const RETRY: Duration = Duration::from_millis(500);

/// What to have the adapter do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Order {
    /// Work this joint to this procedure, which is stored first where it is not stored yet.
    Work {
        /// The joint's number in the build.
        joint: u8,
        /// The procedure's stored form.
        blob: Vec<u8>,
        /// Its digest.
        digest: u32,
        /// The records of the joint that it lacks, in order: it goes on behind them.
        carried: Vec<Entry>,
    },
    /// What a person says of the joint it works: the fields of [`Tell`], and its text.
    Tell {
        /// Which input.
        what: u8,
        /// Step, fastener, stage or moment.
        which: u16,
        /// A value.
        value: i32,
        /// A second value.
        second: i32,
        /// In words.
        text: String,
    },
}

impl Order {
    /// Has it told this input; none for one that is not told over the link.
    #[must_use]
    pub fn tell(input: &Input<'_>) -> Option<Self> {
        let tell = Tell::of(input)?;
        Some(Self::Tell {
            what: tell.what,
            which: tell.which,
            value: tell.value,
            second: tell.second,
            text: tell.text.to_owned(),
        })
    }
}

/// What came of following.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// It is looked for: nobody answers yet, and why.
    Searching(String),
    /// It answered: at first, after a restart, after a cable was put back.
    Answered(Adapter),
    /// It answers no more, and why; it is looked for.
    Lost(String),
    /// What it recorded, in order; from its beginning when it is heard for the first time. Always follows an answer, if only to say
    /// that there is nothing.
    Fetched(Fetched),
    /// The curve that was there after an attempt was fetched: of that attempt, if its digest is that of the record.
    Curve {
        /// The joint's number.
        joint: u8,
        /// The attempt's number among the joint's records.
        seq: u32,
        /// Its points.
        points: Vec<Point>,
    },
    /// What happens there.
    Live(Live),
    /// It works this joint now; with the place its procedure is stored at.
    Working {
        /// The joint's number.
        joint: u8,
        /// The place, from 0.
        place: u8,
    },
    /// It does not do what was ordered.
    NotDone(String),
}

/// A line that is followed until this is dropped.
#[derive(Debug)]
pub struct Follower {
    orders: Sender<Order>,
    news: Receiver<News>,
}

impl Follower {
    /// Follows the adapter at a port. `wake` is called whenever there is news, from another thread.
    #[must_use]
    pub fn begin(path: PathBuf, wake: impl Fn() + Send + 'static) -> Self {
        let (orders, ordered) = mpsc::channel();
        let (told, news) = mpsc::sync_channel(NEWS_WAITING_MAX);
        let line = Line {
            path,
            ordered,
            told,
            wake: Box::new(wake),
            known: None,
            fetched: 0,
            left: None,
        };
        thread::spawn(move || line.keep_up());
        Self { orders, news }
    }

    /// Has it do something; what came of it is news. What is ordered while it is lost is told as not done.
    pub fn order(&self, order: Order) {
        // The thread lives as long as this does.
        let _ = self.orders.send(order);
    }

    /// The news that is here, oldest first.
    pub fn news(&self) -> impl Iterator<Item = News> + '_ {
        self.news.try_iter()
    }
}

/// Nobody follows any more.
struct Over;

struct Line {
    path: PathBuf,
    ordered: Receiver<Order>,
    /// Waits where nobody takes the news: an adapter that tells without end fills no memory.
    told: SyncSender<News>,
    wake: Box<dyn Fn() + Send>,
    /// Serial number of the adapter last heard, and where its journal was fetched to.
    known: Option<(String, PullJournal)>,
    /// Records fetched of it in all.
    fetched: usize,
    /// What was told last of what it does not send.
    left: Option<Left>,
}

enum Ended {
    Over,
    Failed(ClientError),
}

impl From<Over> for Ended {
    fn from(_: Over) -> Self {
        Self::Over
    }
}

impl From<ClientError> for Ended {
    fn from(error: ClientError) -> Self {
        Self::Failed(error)
    }
}

impl Line {
    fn keep_up(mut self) {
        loop {
            let heard_before = self.known.is_some();
            let why = match self.converse() {
                Err(Ended::Over) => return,
                Err(Ended::Failed(error)) => error.to_string(),
                Ok(never) => match never {},
            };
            let news = if heard_before || self.known.is_some() {
                News::Lost(why)
            } else {
                News::Searching(why)
            };
            if self.tell(news).is_err() || self.pause().is_err() {
                return;
            }
        }
    }

    fn tell(&self, news: News) -> Result<(), Over> {
        (self.wake)();
        self.told.send(news).map_err(|_nobody| Over)?;
        (self.wake)();
        Ok(())
    }

    /// Tells what happens; where too much waits already, it is dropped, as the next one says it again.
    fn tell_live(&self, live: Live) -> Result<(), Over> {
        match self.told.try_send(News::Live(live)) {
            Err(TrySendError::Disconnected(_)) => return Err(Over),
            Ok(()) | Err(TrySendError::Full(_)) => {}
        }
        (self.wake)();
        Ok(())
    }

    /// Waits before the next try; an order that comes meanwhile is not done.
    fn pause(&self) -> Result<(), Over> {
        let lost = Clock::now();
        loop {
            let left = RETRY.saturating_sub(lost.elapsed());
            match self.ordered.recv_timeout(left) {
                Ok(_) => self.tell(News::NotDone("no adapter answers now".to_owned()))?,
                Err(RecvTimeoutError::Timeout) => return Ok(()),
                Err(RecvTimeoutError::Disconnected) => return Err(Over),
            }
        }
    }

    fn converse(&mut self) -> Result<std::convert::Infallible, Ended> {
        let port = open(&self.path)?;
        let mut client = Client::new(port);
        let mut adapter = self.greet(&mut client)?;
        let mut heard = Clock::now();
        let mut shown: Option<Live> = None;
        loop {
            match self.ordered.try_recv() {
                Ok(order) => self.carry_out(&mut client, &adapter, order)?,
                Err(TryRecvError::Empty) => {}
                Err(TryRecvError::Disconnected) => return Err(Ended::Over),
            }
            let lives = client.listen()?;
            if let Some(newest) = lives.last() {
                heard = Clock::now();
                let last = newest.last;
                for live in lives {
                    // What looks the same need not wake anybody.
                    if shown.is_none_or(|shown| looks_other(&shown, &live)) {
                        shown = Some(live);
                        self.tell_live(live)?;
                    }
                }
                // Records first: nothing is shown as judged before it is kept here too.
                if self
                    .known
                    .as_ref()
                    .is_some_and(|(_, transfer)| transfer.last() != last)
                {
                    self.fetch(&mut client)?;
                }
            } else if heard.elapsed() > SILENCE {
                // A restart ends the telling; a pulled cable ends everything.
                self.tell(News::Lost("nothing is heard of it".to_owned()))?;
                adapter = self.greet(&mut client)?;
                heard = Clock::now();
                shown = None;
            }
        }
    }

    /// Finds out who is there, has it tell what happens, and fetches what it recorded meanwhile.
    fn greet(&mut self, client: &mut Client) -> Result<Adapter, Ended> {
        let adapter = client.identify()?;
        if self
            .known
            .as_ref()
            .is_none_or(|(serial, _)| *serial != adapter.serial)
        {
            self.known = Some((adapter.serial.clone(), PullJournal::from_start()));
            self.fetched = 0;
            self.left = None;
        }
        client.tell_every(TOLD_EVERY_MS)?;
        self.tell(News::Answered(adapter.clone()))?;
        let fetched = self.fetch_new(client)?;
        self.left.clone_from(&fetched.left);
        self.tell_fetched(client, fetched)?;
        Ok(adapter)
    }

    /// Tells what is new, if anything is.
    fn fetch(&mut self, client: &mut Client) -> Result<(), Ended> {
        let mut fetched = self.fetch_new(client)?;
        // What it keeps to itself is told once, not every time it says so.
        if fetched.left == self.left {
            fetched.left = None;
        } else {
            self.left.clone_from(&fetched.left);
        }
        if fetched != Fetched::default() {
            self.tell_fetched(client, fetched)?;
        }
        Ok(())
    }

    /// Tells what was fetched, and then the curve of the newest attempt in it.
    fn tell_fetched(&self, client: &mut Client, fetched: Fetched) -> Result<(), Ended> {
        let newest = fetched
            .entries
            .iter()
            .rev()
            .find_map(|entry| match &entry.record {
                Record::Attempt(attempt) => Some((entry.joint, entry.seq, attempt.trace)),
                _ => None,
            });
        self.tell(News::Fetched(fetched))?;
        // A digest of zero says that there is none.
        let Some((joint, seq, 1..)) = newest else {
            return Ok(());
        };
        match client.curve() {
            Ok(points) => Ok(self.tell(News::Curve { joint, seq, points })?),
            // An adapter older than this question: the record stands without its curve.
            Err(ClientError::Refused(..)) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    fn fetch_new(&mut self, client: &mut Client) -> Result<Fetched, Ended> {
        let Some((_, transfer)) = &mut self.known else {
            return Ok(Fetched::default());
        };
        if self.fetched >= FETCHED_RECORDS_MAX {
            return Err(ClientError::Endless(FETCHED_RECORDS_MAX).into());
        }
        let fetched = match client.pull_on(transfer, |_| {}) {
            // Its journal was begun anew: from the beginning, once.
            Err(ClientError::Journal(PullError::OtherJournal)) => {
                *transfer = PullJournal::from_start();
                client.pull_on(transfer, |_| {})?
            }
            fetched => fetched?,
        };
        let records = fetched.entries.len().saturating_add(fetched.newer.len());
        self.fetched = self.fetched.saturating_add(records);
        Ok(fetched)
    }

    fn carry_out(
        &mut self,
        client: &mut Client,
        adapter: &Adapter,
        order: Order,
    ) -> Result<(), Ended> {
        let done = match order {
            Order::Work {
                joint,
                blob,
                digest,
                carried,
            } => work(client, adapter, joint, &blob, digest, &carried)
                .map(|place| Some(News::Working { joint, place })),
            Order::Tell {
                what,
                which,
                value,
                second,
                text,
            } => client
                .tell(&Tell {
                    what,
                    which,
                    value,
                    second,
                    text: &text,
                })
                .map(|()| None),
        };
        match done {
            Ok(news) => {
                if let Some(news) = news {
                    self.tell(news)?;
                }
                // What came of it is a record, and shown as one at once.
                self.fetch(client)
            }
            Err(error) => {
                self.tell(News::NotDone(error.to_string()))?;
                match error {
                    ClientError::Refused(..) => Ok(()),
                    ClientError::StartedAgain => self.greet(client).map(drop),
                    error => Err(error.into()),
                }
            }
        }
    }
}

/// Whether a person would see a difference: 0.1 N·m, 0.1°, a second, or anything else than a number.
fn looks_other(one: &Live, other: &Live) -> bool {
    let coarse = |live: &Live| {
        (
            live.torque.millinewton_meters() / 100,
            live.peak.millinewton_meters() / 100,
            live.angle.map(|angle| angle.millidegrees() / 100),
            live.at.micros() / 1_000_000,
        )
    };
    let rest = |live: &Live| (live.step, live.pulls, live.cue, live.halt, live.last);
    coarse(one) != coarse(other) || rest(one) != rest(other)
}

fn open(path: &Path) -> Result<Port, ClientError> {
    Port::open(path).map_err(ClientError::Port)
}

/// Gives the adapter the records it lacks, stores the procedure where it is not stored yet, in the first empty place or the last, and has it
/// worked.
fn work(
    client: &mut Client,
    adapter: &Adapter,
    joint: u8,
    blob: &[u8],
    digest: u32,
    carried: &[Entry],
) -> Result<u8, ClientError> {
    // First of all, so that the joint is left: written to while it is worked, an adapter begins it anew, with a record of that.
    for entry in carried {
        client.carry(entry)?;
    }
    let (mut there, mut empty) = (None, None);
    for place in 0..adapter.places {
        match client.stored_at(place)? {
            Some(stored) if stored == digest => {
                there = Some(place);
                break;
            }
            None if empty.is_none() => empty = Some(place),
            _ => {}
        }
    }
    let place = match there {
        Some(place) => place,
        None => {
            let place = empty.unwrap_or(adapter.places.saturating_sub(1));
            client.send(place, blob, |_, _| {})?;
            place
        }
    };
    client.work(place, joint)?;
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    let now = since.map_or(0, |since| {
        i64::try_from(since.as_secs()).unwrap_or(i64::MAX)
    });
    client.anchor(now)?;
    Ok(place)
}
