//! The host's end: asks one question at a time, again until it is answered, and hears what is sent unasked.

use super::frame::{Counts, Receiver};
use super::message::{LIVE, Live, Refused, Reply, Request};
use super::{LinkError, VERSION, WIRE_MAX};
use crate::unit::{Instant, Span};

/// How long to wait for an answer before asking again: the longest frame takes 50 ms at 115,200 bit/s, an erase of flash up to
/// 500 ms.
const PATIENCE: Span = Span::from_millis(700);
/// How often to ask before giving up.
const TRIES: u8 = 10;

/// What a byte brought.
#[derive(Debug, PartialEq, Eq)]
pub enum Event<'a> {
    /// Nothing.
    Nothing,
    /// The answer to the open question, which is closed now.
    Answer(Reply<'a>),
    /// What is happening now.
    Live(Live),
    /// The adapter started again, or talks with another host: the question is closed without an answer. Identify, and ask
    /// again what still matters.
    Restarted,
}

/// What the time brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ticked {
    /// Nothing to do.
    Nothing,
    /// Send [`HostEnd::outgoing`] again.
    SendAgain,
    /// Asked ten times without an answer: the question is closed.
    GaveUp,
}

/// The host's end of the link.
#[derive(Debug)]
pub struct HostEnd {
    receiver: Receiver,
    token: Option<u32>,
    number: u16,
    open: Option<Open>,
    question: [u8; WIRE_MAX],
    question_length: usize,
    lives_missed: u32,
    last_live: Option<u16>,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    /// The nonce, where the question is [`Request::Identify`].
    nonce: Option<u32>,
    sent: Instant,
    tries: u8,
}

impl HostEnd {
    /// Knowing no adapter yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            receiver: Receiver::new(),
            token: None,
            number: 0,
            open: None,
            question: [0; WIRE_MAX],
            question_length: 0,
            lives_missed: 0,
            last_live: None,
        }
    }

    /// What arrived so far.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.receiver.counts()
    }

    /// Messages sent unasked that never arrived.
    #[must_use]
    pub const fn lives_missed(&self) -> u32 {
        self.lives_missed
    }

    /// Whether a question is open.
    #[must_use]
    pub const fn is_asking(&self) -> bool {
        self.open.is_some()
    }

    /// Whether the adapter is known.
    #[must_use]
    pub const fn is_identified(&self) -> bool {
        self.token.is_some()
    }

    /// Opens a question and returns the bytes to send.
    ///
    /// # Errors
    /// [`LinkError::Open`] while another is open; [`LinkError::NotIdentified`] before [`Request::Identify`] was answered;
    /// [`LinkError::TooLong`] if it fits no frame.
    pub fn ask(&mut self, request: &Request<'_>, now: Instant) -> Result<&[u8], LinkError> {
        if self.open.is_some() {
            return Err(LinkError::Open);
        }
        let nonce = match *request {
            Request::Identify { nonce } => Some(nonce),
            _ => None,
        };
        let token = match (self.token, nonce) {
            (_, Some(_)) => 0,
            (Some(token), None) => token,
            (None, None) => return Err(LinkError::NotIdentified),
        };
        let number = self.number.wrapping_add(1);
        self.question_length = request
            .write(token, number, &mut self.question)
            .ok_or(LinkError::TooLong)?;
        self.number = number;
        self.open = Some(Open {
            nonce,
            sent: now,
            tries: 1,
        });
        Ok(self.outgoing())
    }

    /// The bytes of the open question; empty when none is open.
    #[must_use]
    pub fn outgoing(&self) -> &[u8] {
        if self.open.is_none() {
            return &[];
        }
        self.question.get(..self.question_length).unwrap_or(&[])
    }

    /// Takes one byte.
    pub fn feed(&mut self, byte: u8) -> Event<'_> {
        let Some(head) = self.receiver.push(byte) else {
            return Event::Nothing;
        };
        if head.kind == LIVE && head.version == VERSION {
            let known = self.token == Some(head.token);
            return match Live::read(self.receiver.message()) {
                Some(live) if known => {
                    let missed = self
                        .last_live
                        .map_or(0, |last| head.number.wrapping_sub(last).wrapping_sub(1));
                    // A repeated one counts as none missed.
                    let missed = if missed < 0x8000 { missed } else { 0 };
                    self.lives_missed = self.lives_missed.saturating_add(u32::from(missed));
                    self.last_live = Some(head.number);
                    Event::Live(live)
                }
                _ => Event::Nothing,
            };
        }
        let Some(open) = self.open else {
            return Event::Nothing;
        };
        if head.number != self.number {
            return Event::Nothing;
        }
        let told = match Reply::read(head.kind, self.receiver.message()) {
            // Whatever its version, an adapter can say that it knows no other.
            Some(Reply::Refused { why, .. }) => {
                if open.nonce.is_none() && self.token != Some(head.token) {
                    return Event::Nothing;
                }
                if why == Refused::Token {
                    Told::Restarted
                } else {
                    Told::Answer
                }
            }
            _ if head.version != VERSION => return Event::Nothing,
            Some(Reply::Identity(identity)) if open.nonce == Some(identity.nonce) => {
                self.token = Some(head.token);
                self.last_live = None;
                Told::Answer
            }
            Some(_) if open.nonce.is_none() && self.token == Some(head.token) => Told::Answer,
            _ => return Event::Nothing,
        };
        self.open = None;
        match told {
            Told::Restarted => {
                self.token = None;
                Event::Restarted
            }
            Told::Answer => match Reply::read(head.kind, self.receiver.message()) {
                Some(reply) => Event::Answer(reply),
                None => Event::Nothing,
            },
        }
    }

    /// When [`HostEnd::tick`] has something to do; none while no question is open.
    #[must_use]
    pub fn deadline(&self) -> Option<Instant> {
        self.open.map(|open| open.sent.after(PATIENCE))
    }

    /// Tells the time.
    pub fn tick(&mut self, now: Instant) -> Ticked {
        let Some(open) = &mut self.open else {
            return Ticked::Nothing;
        };
        if now.since(open.sent) < PATIENCE {
            return Ticked::Nothing;
        }
        if open.tries >= TRIES {
            self.open = None;
            return Ticked::GaveUp;
        }
        open.tries = open.tries.saturating_add(1);
        open.sent = now;
        Ticked::SendAgain
    }
}

impl Default for HostEnd {
    fn default() -> Self {
        Self::new()
    }
}

enum Told {
    Answer,
    Restarted,
}
