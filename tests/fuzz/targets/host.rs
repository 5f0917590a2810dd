//! The desktop as the host of a link to an adapter that answers what the bytes say: every exchange ends, and nothing is believed
//! twice.
#![no_main]

use std::io::{self, Read, Write};

use evendraw::link::{Client, Port};
use evendraw_core::journal::{FIRST_SEED, Frame, OVERHEAD, encode, frame_at};
use evendraw_core::limits::PAYLOAD_MAX;
use evendraw_core::link::{AdapterEnd, Heard, Identity, Refused, Reply, Request};
use evendraw_core::unit::Torque;
use libfuzzer_sys::fuzz_target;

/// A line whose other end answers by a script, and hangs up when that ends.
struct Scripted {
    end: AdapterEnd,
    script: Vec<u8>,
    at: usize,
    out: Vec<u8>,
    /// Number and sum of the last frame of its journal that was sent whole.
    sequence: u32,
    sum: u32,
}

impl Scripted {
    fn byte(&mut self) -> Option<u8> {
        let byte = self.script.get(self.at).copied();
        self.at += 1;
        byte
    }

    fn number(&mut self) -> Option<u32> {
        Some(u32::from_le_bytes([self.byte()?, self.byte()?, 0, 0]))
    }

    fn some(&mut self) -> Option<Vec<u8>> {
        let length = usize::from(self.byte()?);
        let from = self.at.min(self.script.len());
        let to = (from + length).min(self.script.len());
        self.at = to;
        Some(self.script[from..to].to_vec())
    }

    /// Frames with right sums, behind those that were sent before; the first number may be left out.
    fn frames(&mut self) -> Option<Vec<u8>> {
        let mut frames = Vec::new();
        let count = self.byte()?;
        self.sequence += u32::from(count / 128);
        for _ in 0..count % 4 {
            self.sequence += 1;
            let (kind, version) = (self.byte()?, self.byte()?);
            let payload = self.some()?;
            let frame = Frame {
                kind,
                version,
                sequence: self.sequence,
                payload: &payload,
            };
            let mut room = [0; PAYLOAD_MAX + OVERHEAD];
            let written = encode(&frame, self.sum, &mut room).expect("fits");
            self.sum = frame_at(written, self.sum).expect("its own").1;
            frames.extend_from_slice(written);
        }
        Some(frames)
    }

    /// The answer that is next in the script; none where it has ended, or where nothing is answered.
    fn answer(&mut self, nonce: Option<u32>) -> Option<()> {
        let which = self.byte()?;
        let (slot, some);
        let reply = match which % 14 {
            0..=3 if nonce.is_some() => Reply::Identity(Identity {
                nonce: nonce.unwrap_or_default(),
                boot: 1,
                rules: 2,
                slots: self.byte()?,
                last: self.number()?,
                capacity: Torque::ZERO,
                serial: "4411",
                firmware: "fuzz",
            }),
            0 | 4 => {
                slot = self.byte()?;
                Reply::Have {
                    slot,
                    have: self.number()?,
                }
            }
            1 | 5 => Reply::Stored { slot: self.byte()? },
            6 | 7 => {
                let (last, seed) = (self.number()?, self.sum);
                some = self.frames()?;
                Reply::Frames {
                    last,
                    seed,
                    bytes: &some,
                }
            }
            2 => {
                let (last, seed) = (
                    self.number()?,
                    if which > 128 {
                        FIRST_SEED
                    } else {
                        self.number()?
                    },
                );
                some = self.some()?;
                Reply::Frames {
                    last,
                    seed,
                    bytes: &some,
                }
            }
            3 | 8 => {
                some = self.some()?;
                Reply::Curve { bytes: &some }
            }
            9 => Reply::Refused {
                why: Refused::NotOffered,
                at: self.number()?,
            },
            10 => Reply::Refused {
                why: Refused::Token,
                at: 0,
            },
            11 => {
                let noise = self.some()?;
                self.out.extend(noise);
                return Some(());
            }
            12 => Reply::Given {
                first: self.number()?,
            },
            _ => Reply::Watching { every_ms: 40 },
        };
        let bytes = self
            .end
            .answer(&reply)
            .map(<[u8]>::to_vec)
            .unwrap_or_default();
        self.out.extend(bytes);
        Some(())
    }
}

impl Write for Scripted {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        for &byte in bytes {
            let nonce = match self.end.feed(byte) {
                Heard::Nothing => continue,
                Heard::Send(again) => {
                    let again = again.to_vec();
                    self.out.extend(again);
                    continue;
                }
                Heard::Question(Request::Identify { nonce }) => Some(nonce),
                Heard::Question(_) => None,
            };
            let _ = self.answer(nonce);
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Scripted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.out.len().min(into.len());
        into[..count].copy_from_slice(&self.out[..count]);
        self.out.drain(..count);
        // No more than is there: then the other end has hung up.
        Ok(count)
    }
}

fuzz_target!(|bytes: &[u8]| {
    let line = Scripted {
        end: AdapterEnd::new(1),
        script: bytes.to_vec(),
        at: 0,
        out: Vec::new(),
        sequence: 0,
        sum: FIRST_SEED,
    };
    let mut client = Client::new(Port::over(line));
    if client.identify().is_err() {
        return;
    }
    if let Ok(fetched) = client.pull(|_| {}) {
        assert_eq!(fetched.entries.len(), fetched.numbers.len());
        assert!(fetched.numbers.is_sorted());
    }
    let _ = client.send(1, &[7; 700], |_, _| {});
    let _ = client.curve();
    let _ = client.stored_at(0);
});
