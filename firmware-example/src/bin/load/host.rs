//! The far end of the link: sends a procedure, has it worked, then fetches the journal from its beginning again and again, and tells the time
//! in between, which makes a record each time.
//!
//! It asks the next question as soon as the last is answered, so the wires are never idle for longer than the adapter thinks. Knows nothing of
//! the board.

use evendraw_core::link::{Event, HostEnd, PullJournal, Request, SendProcedure, SendStep, Ticked};
use evendraw_core::unit::Instant;
use heapless::spsc::{Consumer, Producer};

/// What is asked now.
enum Stage<'b> {
    Identify,
    Send(SendProcedure<'b>),
    Work,
    Watch,
    Pull(PullJournal),
    Anchor(PullJournal),
}

/// How often the adapter tells what is happening, in ms.
const WATCHED: u16 = 50;

/// After how many answers it tells the time.
const ANCHORED: u32 = 4;

/// The far end.
pub(crate) struct Host<'b> {
    end: HostEnd,
    stage: Stage<'b>,
    blob: &'b [u8],
    to: Producer<'static, u8>,
    from: Consumer<'static, u8>,
    /// Bytes of the question that are not on the wires yet.
    sent: usize,
    /// Bytes of journal fetched, answers, questions asked again, what was told unasked.
    pub(crate) fetched: u32,
    pub(crate) answers: u32,
    pub(crate) asked_again: u32,
    pub(crate) lives: u32,
}

impl<'b> Host<'b> {
    pub(crate) fn new(
        blob: &'b [u8],
        to: Producer<'static, u8>,
        from: Consumer<'static, u8>,
    ) -> Self {
        Self {
            end: HostEnd::new(),
            stage: Stage::Identify,
            blob,
            to,
            from,
            sent: 0,
            fetched: 0,
            answers: 0,
            asked_again: 0,
            lives: 0,
        }
    }

    /// Whether it has come to fetching the journal.
    pub(crate) const fn is_fetching(&self) -> bool {
        matches!(self.stage, Stage::Pull(_) | Stage::Anchor(_))
    }

    /// Takes what came, asks what is next, gives the wires what they hold.
    pub(crate) fn step(&mut self, now: Instant) {
        while let Some(byte) = self.from.dequeue() {
            match self.end.feed(byte) {
                Event::Nothing | Event::Restarted => {}
                Event::Live(_) => self.lives += 1,
                Event::Answer(reply) => {
                    self.answers += 1;
                    let next = match &mut self.stage {
                        Stage::Identify => Some(Stage::Send(SendProcedure::new(0, self.blob))),
                        Stage::Send(sending) => match sending.answered(&reply) {
                            SendStep::GoOn => None,
                            SendStep::Done => Some(Stage::Work),
                            SendStep::Refused(..) => panic!("the procedure was refused"),
                        },
                        Stage::Work => Some(Stage::Watch),
                        Stage::Anchor(pulling) => Some(Stage::Pull(*pulling)),
                        Stage::Watch => Some(Stage::Pull(PullJournal::from_start())),
                        Stage::Pull(pulling) => match pulling.answered(&reply) {
                            Ok(step) => {
                                self.fetched += u32::try_from(step.frames.len()).unwrap_or(0);
                                if !step.more {
                                    *pulling = PullJournal::from_start();
                                }
                                let anchored = self.answers.is_multiple_of(ANCHORED);
                                anchored.then_some(Stage::Anchor(*pulling))
                            }
                            Err(_) => panic!("a journal that does not prove itself"),
                        },
                    };
                    if let Some(next) = next {
                        self.stage = next;
                    }
                }
            }
        }
        if !self.end.is_asking() {
            let request = match &self.stage {
                Stage::Identify => Request::Identify { nonce: 7 },
                Stage::Send(sending) => sending.request(),
                Stage::Work => Request::Work { slot: 0, joint: 1 },
                Stage::Watch => Request::Watch { every_ms: WATCHED },
                Stage::Pull(pulling) => pulling.request(),
                Stage::Anchor(_) => Request::Anchor {
                    unix_seconds: 1_780_000_000,
                },
            };
            self.sent = match self.end.ask(&request, now) {
                Ok(_) => 0,
                Err(_) => panic!("a question that cannot be asked"),
            };
        }
        if self.end.tick(now) == Ticked::SendAgain {
            self.asked_again += 1;
            self.sent = 0;
        }
        while let Some(&byte) = self.end.outgoing().get(self.sent) {
            if self.to.enqueue(byte).is_err() {
                break;
            }
            self.sent += 1;
        }
    }
}
