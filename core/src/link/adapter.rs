//! The adapter's end: hears questions, each once, and keeps its last answer for a question that comes again.

use super::frame::{Counts, Head, Receiver};
use super::message::{Live, Refused, Reply, Request};
use super::{LinkError, VERSION, WIRE_MAX};

/// Bytes of a refusal on the line, at most.
const REFUSAL_MAX: usize = 24;

/// What a byte brought.
#[derive(Debug, PartialEq, Eq)]
pub enum Heard<'a> {
    /// Nothing to do.
    Nothing,
    /// A new question: carry it out and give its answer to [`AdapterEnd::answer`].
    Question(Request<'a>),
    /// Bytes to send at once: an answer again, or a refusal.
    Send(&'a [u8]),
}

/// The adapter's end of the link. About 1.3 KiB.
///
/// Feed it every byte that arrives. It never asks for more memory, whatever arrives.
#[derive(Debug)]
pub struct AdapterEnd {
    receiver: Receiver,
    boot: u16,
    conversations: u16,
    nonce: Option<u32>,
    number: u16,
    state: State,
    answer: [u8; WIRE_MAX],
    answer_length: usize,
    refusal: [u8; REFUSAL_MAX],
    lives: u16,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// No question heard yet.
    Silent,
    /// A question is being carried out.
    Asked,
    /// It was answered; the answer is kept.
    Answered,
}

impl AdapterEnd {
    /// For this start of the adapter: a number that no start before had.
    #[must_use]
    pub const fn new(boot: u16) -> Self {
        Self {
            receiver: Receiver::new(),
            boot,
            conversations: 0,
            nonce: None,
            number: 0,
            state: State::Silent,
            answer: [0; WIRE_MAX],
            answer_length: 0,
            refusal: [0; REFUSAL_MAX],
            lives: 0,
        }
    }

    /// What arrived so far.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.receiver.counts()
    }

    /// Takes one byte.
    pub fn feed(&mut self, byte: u8) -> Heard<'_> {
        let Some(head) = self.receiver.push(byte) else {
            return Heard::Nothing;
        };
        if head.version != VERSION {
            return self.refused(head, Refused::Version, u32::from(VERSION));
        }
        // Not a question at all: an echo of our own answers.
        if head.kind >= 64 {
            return Heard::Nothing;
        }
        if !Request::is_known(head.kind) {
            return self.refused(head, Refused::Kind, 0);
        }
        let question = match Request::read(head.kind, self.receiver.message()) {
            None => return self.refused(head, Refused::Content, 0),
            Some(Request::Identify { nonce }) => self.identify(head, nonce),
            Some(_) if self.nonce.is_none() || head.token != self.token() => {
                return self.refused(head, Refused::Token, 0);
            }
            Some(_) => self.order(head),
        };
        match question {
            Order::New => {
                self.number = head.number;
                self.state = State::Asked;
                match Request::read(head.kind, self.receiver.message()) {
                    Some(request) => Heard::Question(request),
                    None => Heard::Nothing,
                }
            }
            Order::Again => Heard::Send(self.outgoing()),
            Order::Old => Heard::Nothing,
        }
    }

    /// Writes the answer to the question heard last and returns the bytes to send.
    ///
    /// # Errors
    /// [`LinkError::TooLong`] if the answer fits no frame; then the question stays unanswered.
    pub fn answer(&mut self, reply: &Reply<'_>) -> Result<&[u8], LinkError> {
        let written = reply.write(self.token(), self.number, &mut self.answer);
        self.answer_length = written.ok_or(LinkError::TooLong)?;
        self.state = State::Answered;
        Ok(self.outgoing())
    }

    /// Writes what is happening now into the caller's buffer (64 bytes will do) and returns the bytes to send.
    ///
    /// # Errors
    /// [`LinkError::TooLong`] if the buffer is too small.
    pub fn live<'b>(&mut self, live: &Live, into: &'b mut [u8]) -> Result<&'b [u8], LinkError> {
        self.lives = self.lives.wrapping_add(1);
        let written = live
            .write(self.token(), self.lives, into)
            .ok_or(LinkError::TooLong)?;
        into.get(..written).ok_or(LinkError::TooLong)
    }

    fn token(&self) -> u32 {
        let [b0, b1] = self.boot.to_le_bytes();
        let [c0, c1] = self.conversations.to_le_bytes();
        u32::from_le_bytes([c0, c1, b0, b1])
    }

    /// The bytes of the last answer: what [`AdapterEnd::answer`] returned, for a line that was busy then.
    #[must_use]
    pub fn outgoing(&self) -> &[u8] {
        self.answer.get(..self.answer_length).unwrap_or(&[])
    }

    fn identify(&mut self, head: Head, nonce: u32) -> Order {
        if self.nonce == Some(nonce) {
            return self.order(head);
        }
        self.nonce = Some(nonce);
        self.conversations = self.conversations.wrapping_add(1);
        Order::New
    }

    fn order(&self, head: Head) -> Order {
        let ahead = head.number.wrapping_sub(self.number);
        match (ahead, self.state) {
            (0, State::Answered) => Order::Again,
            (0, State::Asked) => Order::Old,
            (0, State::Silent) => Order::New,
            (1..0x8000, State::Answered | State::Silent) => Order::New,
            // The host asks the next question only once it has the answer; so this one waits.
            (1..0x8000, State::Asked) | (0x8000.., _) => Order::Old,
        }
    }

    fn refused(&mut self, head: Head, why: Refused, at: u32) -> Heard<'_> {
        let written = Reply::Refused { why, at }.write(head.token, head.number, &mut self.refusal);
        Heard::Send(
            written
                .and_then(|written| self.refusal.get(..written))
                .unwrap_or(&[]),
        )
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Order {
    New,
    Again,
    Old,
}
