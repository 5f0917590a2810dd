//! A serial line and what can go wrong on it.

use std::collections::VecDeque;

/// A seeded source of chance: splitmix64 [Steele, Lea and Flood 2014].
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed ^ 0x5DEE_CE66_D1CE_4E5B)
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// True once in `count` times on average; never for 0.
    pub(crate) fn one_in(&mut self, count: u32) -> bool {
        count != 0 && self.next().is_multiple_of(u64::from(count))
    }

    pub(crate) fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[3]
    }
}

/// How often something goes wrong: once in so many bytes or ms; 0 for never.
#[derive(Clone, Copy)]
pub(crate) struct Trouble {
    pub(crate) flipped: u32,
    pub(crate) lost: u32,
    pub(crate) invented: u32,
    /// Everything is lost for a while.
    pub(crate) cut: u32,
    /// A whole frame comes twice.
    pub(crate) repeated: u32,
    /// Once in so many ms.
    pub(crate) adapter_restart: u32,
    pub(crate) host_restart: u32,
    /// Not trouble, but what it meets: new records once in so many ms.
    pub(crate) work: u32,
}

impl Trouble {
    pub(crate) const NONE: Self = Self {
        flipped: 0,
        lost: 0,
        invented: 0,
        cut: 0,
        repeated: 0,
        adapter_restart: 0,
        host_restart: 0,
        work: 200,
    };
    pub(crate) const BAD: Self = Self {
        flipped: 3_000,
        lost: 4_000,
        invented: 4_000,
        cut: 20_000,
        repeated: 10,
        adapter_restart: 15_000,
        host_restart: 25_000,
        work: 400,
    };
    pub(crate) const VERY_BAD: Self = Self {
        flipped: 700,
        lost: 1_500,
        invented: 900,
        cut: 5_000,
        repeated: 3,
        adapter_restart: 90_000,
        host_restart: 120_000,
        work: 5_000,
    };
}

/// Bytes a ms at 115,200 bit/s, eight bits and two of framing.
const BYTES_A_MS: usize = 11;

/// A cut cable, in byte times: 2.7 s.
const SILENCE: u32 = 30_000;

/// One direction of a line.
pub(crate) struct Line {
    trouble: Trouble,
    queue: VecDeque<u8>,
    last: Vec<u8>,
    silent_for: u32,
    pub(crate) frames: u32,
}

impl Line {
    pub(crate) fn new(trouble: Trouble) -> Self {
        Self {
            trouble,
            queue: VecDeque::new(),
            last: Vec::new(),
            silent_for: 0,
            frames: 0,
        }
    }

    /// The same line without trouble.
    pub(crate) fn quiet(self) -> Self {
        Self {
            trouble: Trouble::NONE,
            silent_for: 0,
            ..self
        }
    }

    /// Sends a frame.
    pub(crate) fn send(&mut self, frame: &[u8]) {
        if frame.is_empty() {
            return;
        }
        self.frames += 1;
        self.queue.extend(frame);
        self.last = frame.to_vec();
    }

    /// What arrives within one ms.
    pub(crate) fn arrived(&mut self, rng: &mut Rng) -> Vec<u8> {
        let mut arrived = Vec::new();
        for _ in 0..BYTES_A_MS {
            let silent = self.silent_for > 0;
            self.silent_for = self.silent_for.saturating_sub(1);
            let Some(byte) = self.queue.pop_front() else {
                if !self.last.is_empty() && rng.one_in(self.trouble.repeated) {
                    self.queue.extend(&self.last);
                }
                self.last.clear();
                if rng.one_in(self.trouble.invented) {
                    arrived.push(rng.byte());
                }
                continue;
            };
            if rng.one_in(self.trouble.cut) {
                self.silent_for = SILENCE;
            }
            if silent {
                continue;
            }
            if rng.one_in(self.trouble.lost) {
                continue;
            }
            if rng.one_in(self.trouble.invented) {
                arrived.push(rng.byte());
            }
            let flip = if rng.one_in(self.trouble.flipped) {
                1 << (rng.byte() % 8)
            } else {
                0
            };
            arrived.push(byte ^ flip);
        }
        arrived
    }
}
