//! What a journal holds, in the order it came.

use evendraw_core::journal::{Found, Frame, OVERHEAD, Scan, decode_entry};
use evendraw_core::record::{Entry, Record};

use super::host::{self, HostFact};

/// One kept fact.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fact {
    /// A record of the core.
    Entry(Entry),
    /// A fact of the desktop.
    Host(HostFact),
}

/// A stretch of the file that does not prove itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// First byte.
    pub from: usize,
    /// First byte after it.
    pub to: usize,
    /// Whether it is the end of the file, cut off in mid-write.
    pub torn: bool,
    /// Whether the bytes prove themselves, and it is this program that cannot read them: a newer one made them.
    pub is_newer: bool,
    /// What was found, in words.
    pub why: String,
}

/// The text of the plan as a journal brings it, piece by piece.
#[derive(Clone, Debug, Default)]
pub struct PlanPieces {
    name: String,
    /// What its beginning says; none before there is one.
    bytes: Option<u32>,
    text: String,
}

impl PlanPieces {
    /// Takes the next fact, whatever it is of.
    pub fn take(&mut self, fact: &HostFact) {
        match fact {
            HostFact::Opened {
                plan_name,
                plan_bytes,
                ..
            }
            | HostFact::PlanChanged {
                plan_name,
                plan_bytes,
            } => {
                self.name.clone_from(plan_name);
                self.bytes = Some(*plan_bytes);
                self.text.clear();
            }
            HostFact::Plan { text } if self.bytes.is_some() => self.text.push_str(text),
            _ => {}
        }
    }

    /// File name and text, when no piece is missing.
    #[must_use]
    pub fn whole(&self) -> Option<(&str, &str)> {
        let wanted = usize::try_from(self.bytes?).ok()?;
        (self.text.len() == wanted).then_some((&self.name, &self.text))
    }
}

/// A record of a newer kind or version, as it came.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Unread {
    /// Its kind.
    pub kind: u8,
    /// Its version.
    pub version: u8,
    /// Its bytes.
    pub payload: Vec<u8>,
}

/// A journal read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Content {
    /// Every fact, in order.
    pub facts: Vec<Fact>,
    /// What did not read, in order.
    pub damage: Vec<Damage>,
    /// Of that, the records that prove themselves: a newer program reads them.
    pub unread: Vec<Unread>,
    pub(super) seed: u32,
    pub(super) sequence: u32,
    pub(super) sound_bytes: usize,
}

/// The records of a joint among these facts, in order: every one, whether it was put right or not.
pub fn entries_of(facts: &[Fact], joint: u8) -> impl DoubleEndedIterator<Item = &Entry> {
    facts.iter().filter_map(move |fact| match fact {
        Fact::Entry(entry) if entry.joint == joint => Some(entry),
        _ => None,
    })
}

/// How far everything was before a frame.
struct Before {
    from: usize,
    facts: usize,
    damage: usize,
    seed: u32,
    sequence: u32,
}

impl Before {
    const fn of(content: &Content, from: usize) -> Self {
        Self {
            from,
            facts: content.facts.len(),
            damage: content.damage.len(),
            seed: content.seed,
            sequence: content.sequence,
        }
    }
}

impl Content {
    /// Reads the bytes of a journal. Whatever does not prove itself is reported, not guessed.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        let mut content = Self {
            seed: evendraw_core::journal::FIRST_SEED,
            ..Self::default()
        };
        let mut change = None;
        for found in Scan::new(bytes) {
            match found {
                Found::Frame { frame, offset, sum } => {
                    let before = Before::of(&content, offset);
                    content.seed = sum;
                    content.sequence = frame.sequence;
                    content.sound_bytes = offset
                        .saturating_add(frame.payload.len())
                        .saturating_add(OVERHEAD);
                    match fact(&frame) {
                        Ok(fact) => {
                            change = match &fact {
                                Fact::Host(HostFact::PlanChanged { .. }) => Some(before),
                                Fact::Host(HostFact::Plan { .. }) => change,
                                _ => None,
                            };
                            content.facts.push(fact);
                        }
                        Err(why) => {
                            change = None;
                            content.unread.push(Unread {
                                kind: frame.kind,
                                version: frame.version,
                                payload: frame.payload.to_vec(),
                            });
                            let to = content.sound_bytes;
                            content.damage.push(Damage {
                                from: offset,
                                to,
                                torn: false,
                                is_newer: true,
                                why,
                            });
                        }
                    }
                }
                Found::Damaged { from, to } => content.damage.push(Damage {
                    from,
                    to,
                    torn: false,
                    is_newer: false,
                    why: "these bytes do not prove themselves; set aside".to_owned(),
                }),
                Found::Torn { from, to } => content.damage.push(Damage {
                    from,
                    to,
                    torn: true,
                    is_newer: false,
                    why: "the last write was cut off; dropped".to_owned(),
                }),
            }
        }
        if let Some(before) = change {
            content.drop_half_change(&before);
        }
        if let (Some(lost), Some(first)) = (content.beginning_lost(), content.damage.first_mut()) {
            first.why = format!("{}; {lost}", first.why);
        }
        content
    }

    /// A change of the plan at the end whose text is not all there was cut off as it was written. Nobody was told of it and nothing was worked
    /// to it: the plan before it holds, as if the whole of it had been torn.
    fn drop_half_change(&mut self, before: &Before) {
        let behind = self.damage.get(before.damage..).unwrap_or_default();
        let to = match behind {
            [] => self.sound_bytes,
            [torn] if torn.torn => torn.to,
            // A stretch in the middle is lost: it may have been more than the text.
            _ => return,
        };
        if self.plan().is_some() {
            return;
        }
        self.facts.truncate(before.facts);
        self.damage.truncate(before.damage);
        (self.seed, self.sequence) = (before.seed, before.sequence);
        self.sound_bytes = before.from;
        self.damage.push(Damage {
            from: before.from,
            to,
            torn: true,
            is_newer: false,
            why: "a change of the plan was cut off; dropped, the plan before it holds".to_owned(),
        });
    }

    /// The core's records.
    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.facts.iter().filter_map(|fact| match fact {
            Fact::Entry(entry) => Some(entry),
            Fact::Host(_) => None,
        })
    }

    /// The desktop's facts.
    pub fn host_facts(&self) -> impl Iterator<Item = &HostFact> {
        self.facts.iter().filter_map(|fact| match fact {
            Fact::Host(fact) => Some(fact),
            Fact::Entry(_) => None,
        })
    }

    /// Whether this is a rehearsal; none where nothing says so: then it may be one.
    ///
    /// The first entry says so. Where that is lost, the starts of the joints do, each of which says it again.
    #[must_use]
    pub fn rehearsal(&self) -> Option<bool> {
        let opened = self.host_facts().find_map(|fact| match fact {
            HostFact::Opened { rehearsal, .. } => Some(*rehearsal),
            _ => None,
        });
        opened.or_else(|| {
            // Where they do not agree, it may be a rehearsal.
            self.entries()
                .filter_map(|entry| match &entry.record {
                    Record::Started(started) => Some(started.rehearsal),
                    _ => None,
                })
                .reduce(|one, other| one || other)
        })
    }

    /// Whether the first entry is there, the one that says what this journal is.
    #[must_use]
    pub fn has_beginning(&self) -> bool {
        self.host_facts()
            .any(|fact| matches!(fact, HostFact::Opened { .. }))
    }

    /// What a journal without its first entry is taken for, in words; none where the entry is there.
    #[must_use]
    pub fn beginning_lost(&self) -> Option<&'static str> {
        if self.has_beginning() {
            return None;
        }
        Some(match self.rehearsal() {
            Some(true) => "the first entry is lost; the records say that this is a rehearsal",
            Some(false) => "the first entry is lost; the records say that this is a job",
            None => {
                "the first entry is lost, and nothing else says whether this is a job or a rehearsal: it may be a REHEARSAL"
            }
        })
    }

    /// Whether anything in it proves itself.
    #[must_use]
    pub const fn is_journal(&self) -> bool {
        self.sound_bytes > 0
    }

    /// File name and text of the plan last worked to, as typed; none when a piece of it is lost.
    #[must_use]
    pub fn plan(&self) -> Option<(String, String)> {
        let mut pieces = PlanPieces::default();
        self.host_facts().for_each(|fact| pieces.take(fact));
        pieces
            .whole()
            .map(|(name, text)| (name.to_owned(), text.to_owned()))
    }

    /// Number of the last start of the program.
    #[must_use]
    pub fn last_boot(&self) -> u16 {
        self.entries().map(|entry| entry.boot).max().unwrap_or(0)
    }
}

fn fact(frame: &Frame<'_>) -> Result<Fact, String> {
    match decode_entry(frame) {
        Ok(Some(entry)) => Ok(Fact::Entry(entry)),
        Ok(None) if frame.kind == host::KIND && frame.version == host::VERSION => {
            match postcard::take_from_bytes::<HostFact>(frame.payload) {
                Ok((fact, [])) => Ok(Fact::Host(fact)),
                _ => Err("a host entry does not read".to_owned()),
            }
        }
        Ok(None) => Err(format!(
            "host kind {} version {} is not known",
            frame.kind, frame.version
        )),
        Err(error) => Err(error.to_string()),
    }
}
