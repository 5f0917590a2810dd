//! A nut with a lock on a stud, a ratchet and a hand: what an adapter would measure from the first turn to the last pull.
//!
//! The lock drags on its way down, more at one angle than at another; every stroke has to break it loose first; the joint is a
//! spring from where the nut meets it. Shares nothing with the bench of the desktop. Knows nothing of limits and verdicts.

/// splitmix64, Steele, Lea and Flood 2014: small, and the same everywhere.
pub(crate) struct Rng(u64);

impl Rng {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0xD134_2543_DE82_EF95))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to 1.
    pub(crate) fn part(&mut self) -> f64 {
        f64::from(u32::try_from(self.next() >> 32).unwrap_or(0)) / 4_294_967_296.0
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    pub(crate) fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        let count = u64::try_from(of.len()).unwrap_or(1);
        of[usize::try_from(self.next() % count).unwrap_or(0)]
    }

    /// Bell-shaped, standard deviation 1 [Box and Muller 1958].
    fn bell(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.part()).ln()).sqrt();
        radius * (core::f64::consts::TAU * self.part()).cos()
    }
}

/// Nut, joint, tool and sensor. N·m, degrees, seconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Setup {
    /// Mean of the lock's drag over a turn.
    pub(crate) drag: f64,
    /// How much of it comes and goes, three times a turn, as a nut pressed out of round does.
    pub(crate) wave: f64,
    /// Breaking loose at the beginning of a stroke takes this much more.
    pub(crate) breakaway: f64,
    /// Degrees to where the nut meets the joint.
    pub(crate) run_down: f64,
    /// Degrees over which the parts settle.
    pub(crate) toe: f64,
    /// N·m per degree of the clamped joint.
    pub(crate) slope: f64,
    /// N·m per degree of the tool train.
    pub(crate) train: f64,
    /// Samples a second.
    pub(crate) rate: f64,
    /// Standard deviations of the readings.
    pub(crate) torque_noise: f64,
    pub(crate) angle_noise: f64,
}

impl Setup {
    /// Torque to keep the nut turning at so many degrees.
    fn resists(&self, turned: f64) -> f64 {
        let waved = (3.0 * turned.to_radians()).sin();
        self.drag * (1.0 + self.wave * waved) + self.clamps(turned)
    }

    fn clamps(&self, turned: f64) -> f64 {
        let past = turned - self.run_down;
        if past <= 0.0 {
            0.0
        } else if past < self.toe {
            self.slope * past * past / (2.0 * self.toe)
        } else {
            self.slope * (past - self.toe / 2.0)
        }
    }
}

/// What is told of each sample: seconds, N·m, degrees of the tool.
pub(crate) type Taker<'t> = dyn FnMut(f64, f64, f64) + 't;

/// The nut in motion.
pub(crate) struct Model<'a> {
    setup: Setup,
    rng: &'a mut Rng,
    hand: f64,
    slack: f64,
    turned: f64,
    torque: f64,
    is_stuck: bool,
    seconds: f64,
}

impl<'a> Model<'a> {
    pub(crate) fn new(setup: Setup, rng: &'a mut Rng) -> Self {
        Self {
            setup,
            rng,
            hand: 0.0,
            slack: 0.0,
            turned: 0.0,
            torque: 0.0,
            is_stuck: true,
            seconds: 0.0,
        }
    }

    /// The nut is run down to a few degrees before it meets the joint.
    pub(crate) fn run_down(&mut self, strokes: u32, take: &mut Taker<'_>) {
        let short = self.rng.between(5.0, 15.0);
        let each = (self.setup.run_down - short) / f64::from(strokes);
        for _ in 0..strokes {
            let end = self.turned + each;
            let speed = self.rng.between(90.0, 300.0);
            self.stroke(speed, take, |model| model.turned >= end);
        }
    }

    /// A pull to a torque.
    pub(crate) fn pull(&mut self, to: f64, take: &mut Taker<'_>) {
        let rest = (to - self.setup.drag) / self.setup.slope
            + (self.setup.run_down - self.turned).max(0.0);
        let speed = (rest + to / self.setup.train) / self.rng.between(1.0, 2.5);
        self.stroke(speed, take, |model| model.torque >= to);
    }

    pub(crate) fn rest(&mut self, seconds: f64, take: &mut Taker<'_>) {
        let until = self.seconds + seconds;
        while self.seconds < until {
            self.advance(0.0, take);
        }
    }

    fn stroke(&mut self, speed: f64, take: &mut Taker<'_>, is_there: impl Fn(&Self) -> bool) {
        let begun = self.hand;
        let phase = self.rng.between(0.0, 6.0);
        let rate = self.setup.rate;
        while !is_there(self) && self.hand - begun < 2_000.0 {
            // A hand is no motor: a fifth slower and faster, some three times a second.
            let pace = 1.0 + 0.2 * (18.0 * self.seconds + phase).sin();
            self.advance(speed * pace / rate, take);
        }
        let stands = self.rng.between(0.02, 0.1);
        self.rest(stands, take);
        let back = self.torque / self.setup.train / (0.15 * rate);
        while self.torque > 0.0 {
            self.advance(-back, take);
        }
        self.is_stuck = true;
        let back = (self.hand - begun) / (0.3 * rate);
        while self.hand > begun {
            self.advance(-back, take);
        }
        let pause = self.rng.between(0.2, 0.4);
        self.rest(pause, take);
    }

    fn advance(&mut self, by: f64, take: &mut Taker<'_>) {
        self.seconds += 1.0 / self.setup.rate;
        self.hand += by;
        self.slack = self.slack.min(self.hand);
        let wound = |slack: f64| self.setup.train * (self.hand - slack);
        let sticks = if self.is_stuck {
            1.0 + self.setup.breakaway
        } else {
            1.0
        };
        if wound(self.slack) > self.setup.resists(self.turned) * sticks {
            self.is_stuck = false;
            // Where spring and resistance meet, by halving.
            let (mut low, mut high) = (0.0, self.hand - self.slack);
            for _ in 0..24 {
                let middle = (low + high) / 2.0;
                if wound(self.slack + middle) > self.setup.resists(self.turned + middle) {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            self.turned += high;
            self.slack += high;
        }
        self.torque = wound(self.slack);
        let torque = self.torque + self.setup.torque_noise * self.rng.bell();
        let angle = self.hand + self.setup.angle_noise * self.rng.bell();
        take(self.seconds, torque, angle);
    }
}
