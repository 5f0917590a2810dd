//! Pulls from a model of their own: a hand, a ratchet, a springy train, and a fastener that only gives way when pushed.
//!
//! The train is a spring between the hand and the fastener; the fastener slides when the spring beats its resistance, and
//! never slides back. Shares nothing with the bench of the desktop. Knows nothing of limits, verdicts and thresholds.

/// xorshift64*, Marsaglia 2003 and Vigna 2016: small, and the same everywhere.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn next(&mut self) -> u32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let product = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D);
        u32::try_from(product >> 32).unwrap_or(0)
    }

    /// From 0 up to 1.
    pub(crate) fn part(&mut self) -> f64 {
        f64::from(self.next()) / 4_294_967_296.0
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.part()
    }

    pub(crate) fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        let count = u32::try_from(of.len()).unwrap_or(1);
        of[usize::try_from(self.next() % count).unwrap_or(0)]
    }

    /// Bell-shaped, standard deviation 1, never beyond 3.5: the sum of twelve.
    fn bell(&mut self) -> f64 {
        let sum: f64 = (0..12).map(|_| self.part()).sum();
        (sum - 6.0).clamp(-3.5, 3.5)
    }
}

/// How somebody pulls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Hand {
    /// Two seconds or so, even.
    Steady,
    /// Half a second.
    Hurried,
    /// Trembling, faster and slower, easing off in between.
    Jerky,
}

/// What resists, past the run-down. N·m and degrees.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joint {
    /// Running torque before the head seats.
    pub(crate) run: f64,
    /// Degrees of run-down at hand.
    pub(crate) run_down: f64,
    /// Degrees over which parts settle.
    pub(crate) toe: f64,
    /// N·m per degree, clamped.
    pub(crate) slope: f64,
    /// From here the gradient is a part of it.
    pub(crate) yields: Option<(f64, f64)>,
    /// Breaks at this torque, falling to that part of it within so many degrees.
    pub(crate) breaks: Option<(f64, f64, f64)>,
    /// Will not move below this torque.
    pub(crate) tight: f64,
    /// Starting takes this much more than moving, once after each rest.
    pub(crate) start: f64,
    /// From this torque up it sticks and slips by this part, again and again.
    pub(crate) grit: Option<(f64, f64)>,
    /// The thread cuts its own way from where it stands: N·m at first and per degree, whatever the head does.
    pub(crate) cuts: Option<(f64, f64)>,
    /// The thread shears from this torque up: the gradient falls from there, evenly, to none and below, over so many degrees.
    pub(crate) shears: Option<(f64, f64)>,
}

impl Joint {
    pub(crate) fn of(slope: f64, dice: &mut Dice) -> Self {
        Self {
            run: dice.between(0.2, 0.6),
            run_down: dice.between(5.0, 30.0),
            toe: (1.0 / slope).min(10.0),
            slope,
            yields: None,
            breaks: None,
            tight: 0.0,
            start: dice.between(0.0, 0.08),
            grit: None,
            cuts: None,
            shears: None,
        }
    }

    /// Torque to keep it moving at `turned` degrees.
    fn resists(&self, turned: f64) -> f64 {
        let past = turned - self.run_down;
        let clamped = |past: f64| {
            if past <= 0.0 {
                0.0
            } else if past < self.toe {
                self.slope * past * past / (2.0 * self.toe)
            } else {
                self.slope * (past - self.toe / 2.0)
            }
        };
        let mut torque = self.run + clamped(past);
        if let Some((from, part)) = self.yields
            && torque > from
        {
            torque = from + (torque - from) * part;
        }
        if let Some((from, part, within)) = self.breaks
            && torque > from
        {
            let beyond = (torque - from) / self.slope;
            torque = from * (1.0 - (1.0 - part) * (beyond / within).min(1.0));
        }
        if let Some((from, over)) = self.shears
            && torque > from
        {
            let beyond = (torque - from) / self.slope;
            torque =
                (from + self.slope * (beyond - beyond * beyond / (2.0 * over))).max(0.1 * from);
        }
        if let Some((first, slope)) = self.cuts {
            torque = torque.max(first + slope * turned.max(0.0));
        }
        torque.max(self.tight)
    }

    /// Degrees at which it resists so much, from a whole joint.
    pub(crate) fn turned_at(&self, torque: f64) -> f64 {
        if let Some((first, slope)) = self.cuts {
            return (torque - first) / slope;
        }
        self.run_down + self.toe / 2.0 + (torque - self.run) / self.slope
    }
}

/// Where one pull ends.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Until {
    /// At this torque.
    Torque(f64),
    /// When the fastener stands at so many degrees.
    Turned(f64),
}

/// What goes wrong with the sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Sensor {
    Whole,
    /// Repeats itself past this torque, until the tool is let go.
    Stuck(f64),
    /// So many seconds are missing past this torque.
    Gap(f64, f64),
}

/// One pull or several, as set up.
#[derive(Clone, Debug)]
pub(crate) struct Setup {
    pub(crate) hand: Hand,
    pub(crate) joint: Joint,
    /// N·m per degree.
    pub(crate) train: f64,
    pub(crate) rate: f64,
    /// Standard deviations.
    pub(crate) torque_noise: f64,
    /// What the sensor shows without load, N·m.
    pub(crate) zero: f64,
    pub(crate) angle_noise: f64,
    pub(crate) sensor: Sensor,
    pub(crate) pulls: Vec<Until>,
    /// Degrees at which the fastener stands at first.
    pub(crate) turned: f64,
}

/// What came of it, in truth.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Truth {
    pub(crate) peak: f64,
    /// Degrees that the fastener turned in all.
    pub(crate) turned: f64,
}

/// The model in motion.
pub(crate) struct Model<'a> {
    setup: &'a Setup,
    dice: &'a mut Dice,
    hand: f64,
    /// Where the train would be slack.
    slack: f64,
    turned: f64,
    torque: f64,
    rested: bool,
    pub(crate) truth: Truth,
    seconds: f64,
    stuck: Option<(f64, f64)>,
    missing: Option<f64>,
}

/// What a sample's taker answers: whether to stop at once.
pub(crate) type Taker<'t> = dyn FnMut(f64, f64, f64) -> bool + 't;

/// Seconds from being told to stop to letting go.
const REACTION: f64 = 0.25;

impl<'a> Model<'a> {
    pub(crate) fn new(setup: &'a Setup, dice: &'a mut Dice) -> Self {
        Self {
            hand: 0.0,
            slack: 0.0,
            turned: setup.turned,
            torque: 0.0,
            rested: true,
            truth: Truth::default(),
            seconds: 0.0,
            stuck: None,
            missing: None,
            setup,
            dice,
        }
    }

    /// Runs it all; `take` is given seconds, N·m and degrees of the tool.
    pub(crate) fn run(&mut self, take: &mut Taker<'_>) {
        self.rest(0.5, take);
        let mut told = false;
        for until in self.setup.pulls.clone() {
            if told {
                break;
            }
            told = self.pull(until, take);
            let pause = self.dice.between(0.25, 0.6);
            told |= self.rest(pause, take);
        }
        self.rest(0.6, take);
        self.truth.turned = self.turned - self.setup.turned;
    }

    fn pull(&mut self, until: Until, take: &mut Taker<'_>) -> bool {
        let setup = self.setup;
        let joint = setup.joint;
        let (torque, turns) = match until {
            Until::Torque(torque) => (torque, (joint.turned_at(torque) - self.turned).max(0.0)),
            Until::Turned(turned) => (joint.resists(turned), turned - self.turned),
        };
        let seconds = match setup.hand {
            Hand::Steady => self.dice.between(1.5, 2.5),
            Hand::Hurried => self.dice.between(0.5, 0.8),
            Hand::Jerky => self.dice.between(1.2, 2.0),
        };
        let speed = (turns + torque / setup.train) / seconds;
        let most = 3.0 * (turns + torque / setup.train) + 60.0;
        let begun = self.hand;
        let phase = self.dice.between(0.0, 6.0);
        let (mut told, mut since) = (false, 0.0);
        let step = 1.0 / setup.rate;
        let mut clock = 0.0;
        while self.hand - begun < most {
            let pace = match setup.hand {
                Hand::Steady | Hand::Hurried => 1.0,
                // Slower and faster twice a second, a tremor of nine a second; now and then backwards a little.
                Hand::Jerky => {
                    let at: f64 = clock * core::f64::consts::TAU;
                    1.0 + 0.75 * (2.0 * at + phase).sin() + 0.4 * (9.0 * at).sin()
                }
            };
            clock += step;
            self.advance(speed * pace * step);
            told |= self.tell(take);
            since += if told { step } else { 0.0 };
            let there = match until {
                Until::Torque(torque) => self.torque >= torque,
                Until::Turned(turned) => self.turned >= turned,
            };
            if there || since > REACTION {
                break;
            }
        }
        // It stands a moment, and is let go; then the hand swings back over the ratchet.
        let stand = self.dice.between(0.02, 0.15);
        self.rest(stand, take);
        let release = self.dice.between(0.12, 0.3);
        let per_step = self.torque / setup.train / (release * setup.rate);
        while self.torque > 0.0 {
            self.advance(-per_step);
            self.tell(take);
        }
        self.rested = true;
        self.stuck = None;
        let swing = self.dice.between(10.0, 40.0);
        let per_step = swing / (0.3 * setup.rate);
        let mut swung = 0.0;
        while swung < swing {
            swung += per_step;
            self.advance(-per_step);
            self.tell(take);
        }
        told
    }

    fn rest(&mut self, seconds: f64, take: &mut Taker<'_>) -> bool {
        let until = self.seconds + seconds;
        let mut told = false;
        while self.seconds < until {
            self.advance(0.0);
            told |= self.tell(take);
        }
        told
    }

    /// A sample's time passes. Teeth come faster than samples, so grit is gone through in finer steps.
    fn advance(&mut self, by: f64) {
        self.seconds += 1.0 / self.setup.rate;
        let steps = if self.setup.joint.grit.is_some() {
            32
        } else {
            1
        };
        for _ in 0..steps {
            self.slide(by / f64::from(steps));
        }
    }

    /// The hand moves on; the fastener slides as far as the spring pushes it.
    fn slide(&mut self, by: f64) {
        self.hand += by;
        self.slack = self.slack.min(self.hand);
        let (joint, train) = (&self.setup.joint, self.setup.train);
        let mut torque = train * (self.hand - self.slack);
        self.truth.peak = self.truth.peak.max(torque.min(self.needed()));
        if torque > self.needed() {
            self.rested = false;
            let moving = match joint.grit {
                Some((from, part)) if torque > from => 1.0 - part,
                _ => 1.0,
            };
            // Where spring and resistance meet, by halving; both go one way but where it breaks.
            let (mut low, mut high) = (0.0, torque / train);
            for _ in 0..16 {
                let middle = (low + high) / 2.0;
                if torque - train * middle > joint.resists(self.turned + middle) * moving {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            self.turned += high;
            self.slack += high;
            torque -= train * high;
        }
        self.truth.peak = self.truth.peak.max(torque);
        self.torque = torque;
    }

    /// Torque at which it would start, or go on, from where it is.
    fn needed(&self) -> f64 {
        let joint = &self.setup.joint;
        let start = if self.rested { joint.start } else { 0.0 };
        joint.resists(self.turned) * (1.0 + start)
    }

    fn tell(&mut self, take: &mut Taker<'_>) -> bool {
        let setup = self.setup;
        let torque = self.torque + setup.zero + setup.torque_noise * self.dice.bell();
        let angle = self.hand + setup.angle_noise * self.dice.bell();
        match setup.sensor {
            Sensor::Whole => {}
            Sensor::Stuck(from) => {
                if self.torque > from && self.stuck.is_none() {
                    self.stuck = Some((torque, angle));
                }
                if let Some((torque, angle)) = self.stuck {
                    return take(self.seconds, torque, angle);
                }
            }
            Sensor::Gap(from, long) => {
                if self.torque > from && self.missing.is_none() {
                    self.missing = Some(self.seconds + long);
                }
                if self.missing.is_some_and(|until| self.seconds < until) {
                    return false;
                }
            }
        }
        take(self.seconds, torque, angle)
    }
}

/// N·m, degrees or ms as the core counts them.
pub(crate) fn thousandths(value: f64) -> i32 {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a few hundred N·m, some turns, or the ms of a pull"
    )]
    let whole = (value * 1_000.0).round() as i32;
    whole
}
