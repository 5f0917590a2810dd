//! A seeded schedule of work and mishaps, for whatever keeps records: the desktop's store, and the adapter's log on its flash.
//!
//! Uses only the standard library, as both tests take it in as it is. Knows nothing of what keeps the records.

/// What is drawn from a seed. [SplitMix64: Steele, Lea, Flood 2014, OOPSLA]
#[derive(Clone, Debug)]
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut drawn = self.0;
        drawn = (drawn ^ (drawn >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        drawn = (drawn ^ (drawn >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        drawn ^ (drawn >> 31)
    }

    /// A number below `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.draw() % u64::try_from(end.max(1)).unwrap()).unwrap()
    }

    pub(crate) fn one_in(&mut self, many: usize) -> bool {
        self.below(many) == 0
    }
}

/// One step of a schedule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// So many records are to be kept in one go.
    Work(u8),
    /// One of the next things that are asked of the medium goes wrong.
    Failing,
    /// The program ends without a word.
    Kill,
    /// The power goes once so many more bytes are written.
    Cut(u16),
    /// Somebody else lays hand on what was written.
    Stranger,
}

/// The steps of a seed. Mishaps are rare in some schedules and frequent in others.
pub(crate) fn schedule(seed: u64) -> Vec<Step> {
    let mut rng = Rng::new(seed);
    let calm = 2 + rng.below(10);
    let steps = 10 + rng.below(40);
    (0..steps)
        .map(|_| {
            if !rng.one_in(calm) {
                return Step::Work(1 + u8::try_from(rng.below(5)).unwrap());
            }
            match rng.below(4) {
                0 => Step::Failing,
                1 => Step::Kill,
                2 => Step::Cut(u16::try_from(rng.below(600)).unwrap()),
                _ => Step::Stranger,
            }
        })
        .collect()
}
