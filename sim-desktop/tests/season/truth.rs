//! What was truly done to the pump, kept by whoever did it: the metal, the hands, the watch.
//!
//! It learns of an act from the hands and never from the program; what the program shows is held against it. Knows nothing of
//! records, sessions or the projection.

use std::collections::BTreeSet;

use crate::table::{GASKET, Joint, PUMP, SHARED, Stage, at};

/// How a fastener stands at a stage, or a joint at a question.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum State {
    #[default]
    Open,
    /// As it should be.
    Done,
    /// Ticked on paper.
    Told,
    /// Left as it is, or left out, on a name.
    Left,
    /// Too much, too little.
    Wrong,
    /// Cut short: nobody knows.
    Unknown,
    /// Was done, and came off since.
    Spoilt,
}

impl State {
    pub(crate) const fn is_settled(self) -> bool {
        matches!(self, Self::Done | Self::Told | Self::Left)
    }
}

/// A fastener at a stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Cell {
    pub(crate) state: State,
    /// How it came to be known, in the words of the sheet.
    pub(crate) way: &'static str,
    pub(crate) tool: &'static str,
    /// Torque on the metal, in mN·m, where it was seen.
    pub(crate) torque: Option<i32>,
    /// How often it was said to be tried, wrongly or not: what was put right keeps its number.
    pub(crate) tries: usize,
}

/// A fastener.
#[derive(Clone, Debug, Default)]
pub(crate) struct Nut {
    /// None where the stage asks nothing of it.
    pub(crate) cells: Vec<Option<Cell>>,
    /// What it holds, in mN·m; zero while it is loose.
    pub(crate) holds: i32,
    pub(crate) felt_wrong: bool,
    /// Turned twice as far as its like.
    pub(crate) is_soft: bool,
    /// Somebody looked at it since and found it good.
    pub(crate) was_seen: bool,
    /// That was seen, and nobody has looked at it.
    pub(crate) is_odd: bool,
    pub(crate) is_new: bool,
}

/// A joint.
#[derive(Clone, Debug, Default)]
pub(crate) struct Work {
    pub(crate) nuts: Vec<Nut>,
    /// By stage, where it asks something of the joint.
    pub(crate) whole: Vec<State>,
    /// The trial came apart again.
    pub(crate) is_apart: bool,
    pub(crate) was_looked_at: bool,
    /// Second since 1970 at which the sealant was on.
    pub(crate) sealed_at: Option<u64>,
    /// Second at which its first stage was done by the last fastener; zero while it is not.
    pub(crate) done_at: u64,
    pub(crate) has_run: bool,
}

/// Something out of the ordinary, and words that must stand where it is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Strange {
    /// Joint, fastener and stage, as far as they apply; none for the build.
    pub(crate) place: Option<(usize, Option<u8>, Option<usize>)>,
    pub(crate) words: String,
}

/// One try at a fastener that was judged.
#[derive(Clone, Debug)]
pub(crate) struct Try {
    pub(crate) joint: usize,
    pub(crate) fastener: u8,
    pub(crate) stage: usize,
    pub(crate) tool: &'static str,
    pub(crate) person: &'static str,
    pub(crate) verdict: &'static str,
    /// After the tool's calibration ran out.
    pub(crate) is_late: bool,
}

/// How a joint stands as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stands {
    Ready,
    Waiting,
    InProgress,
    MockUp,
    Doubtful,
    Disturbed,
    Due,
    Final,
}

/// The whole season.
#[derive(Clone, Debug)]
pub(crate) struct Truth {
    pub(crate) works: Vec<Work>,
    pub(crate) strange: Vec<Strange>,
    pub(crate) tries: Vec<Try>,
    pub(crate) people: BTreeSet<&'static str>,
    pub(crate) witnesses: BTreeSet<&'static str>,
    pub(crate) has_gasket: bool,
    /// Who did the last thing.
    pub(crate) last_person: Option<&'static str>,
}

impl Truth {
    pub(crate) fn new() -> Self {
        let works = PUMP.iter().map(|joint| Work {
            nuts: (0..joint.fasteners)
                .map(|fastener| Nut {
                    cells: (0..joint.stages.len())
                        .map(|stage| joint.asks(fastener, stage).then(Cell::default))
                        .collect(),
                    ..Nut::default()
                })
                .collect(),
            whole: vec![State::Open; joint.stages.len()],
            ..Work::default()
        });
        Self {
            works: works.collect(),
            strange: Vec::new(),
            tries: Vec::new(),
            people: BTreeSet::new(),
            witnesses: BTreeSet::new(),
            has_gasket: false,
            last_person: None,
        }
    }

    pub(crate) fn cell(&mut self, joint: usize, fastener: u8, stage: usize) -> &mut Cell {
        self.works[joint].nuts[usize::from(fastener)].cells[stage]
            .as_mut()
            .expect("the stage asks for it")
    }

    pub(crate) fn nut(&mut self, joint: usize, fastener: u8) -> &mut Nut {
        &mut self.works[joint].nuts[usize::from(fastener)]
    }

    pub(crate) fn strange_at(
        &mut self,
        joint: usize,
        fastener: Option<u8>,
        stage: Option<usize>,
        words: impl Into<String>,
    ) {
        self.strange.push(Strange {
            place: Some((joint, fastener, stage)),
            words: words.into(),
        });
    }

    /// A fastener came off, whoever took it off: nothing that was done to it holds.
    pub(crate) fn came_off(&mut self, joint: usize, fastener: u8) {
        let trial = if self.works[joint].is_apart {
            PUMP[joint].trial
        } else {
            0
        };
        let nut = self.nut(joint, fastener);
        (nut.holds, nut.is_soft, nut.was_seen) = (0, false, false);
        let cells = nut.cells.iter_mut().skip(trial).flatten();
        for cell in cells.filter(|cell| cell.state != State::Open) {
            cell.state = State::Spoilt;
        }
        // One stud, two names.
        let (one, of_one, other, of_other) = (at(SHARED.0), SHARED.1, at(SHARED.2), SHARED.3);
        if (joint, fastener) == (other, of_other) && self.nut(one, of_one).holds > 0 {
            self.came_off(one, of_one);
        }
    }

    /// A trial came apart: nothing is tight any more.
    pub(crate) fn came_apart(&mut self, joint: usize) {
        self.works[joint].is_apart = true;
        for nut in &mut self.works[joint].nuts {
            (nut.holds, nut.felt_wrong) = (0, false);
        }
    }

    /// Every step of a joint: its state, whether it belongs to the trial, whether it is of later.
    fn steps(&self, joint: usize) -> Vec<(State, bool, bool)> {
        let table = &PUMP[joint];
        let mut steps = Vec::new();
        for (stage, (what, _)) in table.stages.iter().enumerate() {
            let (trial, later) = (stage < table.trial, matches!(what, Stage::Later(..)));
            if !Joint::is_each(*what) {
                steps.push((self.works[joint].whole[stage], trial, later));
                continue;
            }
            for nut in &self.works[joint].nuts {
                if let Some(cell) = &nut.cells[stage] {
                    steps.push((cell.state, trial, later));
                }
            }
        }
        steps
    }

    /// How a joint stands.
    pub(crate) fn stands(&self, joint: usize) -> Stands {
        let steps = self.steps(joint);
        let nuts = &self.works[joint].nuts;
        let any = |wanted: &dyn Fn(State) -> bool| steps.iter().any(|(state, ..)| wanted(*state));
        if any(&|state| matches!(state, State::Wrong | State::Unknown))
            || nuts.iter().any(|nut| nut.felt_wrong || nut.is_odd)
        {
            return Stands::Doubtful;
        }
        if any(&|state| state == State::Spoilt) {
            return Stands::Disturbed;
        }
        if !any(&State::is_settled) {
            return match self.holds(joint).is_empty() {
                true => Stands::Ready,
                false => Stands::Waiting,
            };
        }
        if !self.works[joint].is_apart && steps.iter().any(|step| step.1 && step.0.is_settled()) {
            return Stands::MockUp;
        }
        if steps.iter().any(|step| !step.2 && !step.0.is_settled()) {
            return Stands::InProgress;
        }
        if steps.iter().any(|step| step.2 && !step.0.is_settled()) {
            return Stands::Due;
        }
        Stands::Final
    }

    /// What is doubtful about a joint, for whoever reads a failure.
    pub(crate) fn doubts(&self, joint: usize) -> String {
        let nuts = (1..).zip(&self.works[joint].nuts);
        let doubtful = nuts.filter(|(_, nut)| {
            let mut cells = nut.cells.iter().flatten();
            nut.felt_wrong
                || nut.is_odd
                || cells.any(|cell| matches!(cell.state, State::Wrong | State::Unknown))
        });
        let doubtful: Vec<String> = doubtful
            .map(|(label, nut)| format!("fastener {label}: {nut:?}"))
            .collect();
        doubtful.join("; ")
    }

    pub(crate) fn is_closed(&self, joint: usize) -> bool {
        matches!(self.stands(joint), Stands::Final | Stands::Due)
    }

    /// What keeps a joint from being begun.
    pub(crate) fn holds(&self, joint: usize) -> Vec<&'static str> {
        let table = &PUMP[joint];
        let earlier = table.after.iter().chain(table.covers);
        let mut holds: Vec<&'static str> = earlier
            .filter(|id| !self.is_closed(at(id)))
            .map(|id| PUMP[at(id)].title)
            .collect();
        if table.needs == Some(GASKET) && !self.has_gasket {
            holds.push(GASKET);
        }
        holds
    }

    pub(crate) fn is_begun(&self, joint: usize) -> bool {
        !matches!(self.stands(joint), Stands::Ready | Stands::Waiting)
    }

    pub(crate) fn is_finished(&self) -> bool {
        (0..PUMP.len()).all(|joint| self.stands(joint) == Stands::Final)
    }

    /// Whether a soft one shows beside its like: once all of them are at that stage.
    pub(crate) fn stands_out(&self, joint: usize, fastener: u8) -> bool {
        self.works[joint].nuts[usize::from(fastener)].is_soft && self.is_whole(joint)
    }

    /// Whether all of the second stage is done.
    pub(crate) fn is_whole(&self, joint: usize) -> bool {
        let nuts = &self.works[joint].nuts;
        let mut cells = nuts.iter().filter_map(|nut| nut.cells[1].as_ref());
        cells.all(|cell| cell.state.is_settled())
    }

    /// Everything out of the ordinary, with what follows from how things stand.
    pub(crate) fn all_strange(&self) -> Vec<Strange> {
        let mut all = self.strange.clone();
        for (joint, table) in PUMP.iter().enumerate() {
            let stands = self.stands(joint);
            let whole = |words: String| Strange {
                place: Some((joint, None, None)),
                words,
            };
            if !self.is_begun(joint) {
                continue;
            }
            for id in table.after.iter().filter(|id| !self.is_closed(at(id))) {
                let title = PUMP[at(id)].title;
                all.push(whole(format!("begun before {title} was final")));
            }
            for id in table.covers.iter().filter(|id| !self.is_closed(at(id))) {
                if stands != Stands::MockUp {
                    all.push(whole(format!("covers {}", PUMP[at(id)].title)));
                }
            }
            for fastener in 0..table.fasteners {
                if self.stands_out(joint, fastener) {
                    all.push(Strange {
                        place: Some((joint, Some(fastener), Some(1))),
                        words: "unlike its peers: turned".to_owned(),
                    });
                }
            }
            if table.is_looked_at && self.is_closed(joint) && !self.works[joint].was_looked_at {
                all.push(whole("not witnessed".to_owned()));
            }
        }
        let late = self.tries.iter().filter(|one| one.is_late).count();
        if late > 0 {
            all.push(Strange {
                place: None,
                words: format!(
                    "tool K1: calibration expired: NO, {late} attempt{}",
                    if late == 1 { " " } else { "s" }
                ),
            });
        }
        all
    }

    /// `94 measured with curve, 12 read, 8 by setting, 6 by hand`: what stands on the metal, by how it is known. A trial does not
    /// stand.
    pub(crate) fn evidence(&self) -> String {
        const WORDS: [(&str, &[&str]); 6] = [
            ("measured with curve", &["measured with curve"]),
            (
                "read",
                &["read from the display", "read by eye", "angle read"],
            ),
            ("observed by mark", &["observed by mark"]),
            ("by setting", &["by setting"]),
            ("by hand", &["by hand"]),
            ("from paper, unmeasured", &["from paper"]),
        ];
        let mut parts = Vec::new();
        for (word, ways) in WORDS {
            let mut count = 0;
            for (work, table) in self.works.iter().zip(&PUMP) {
                for nut in &work.nuts {
                    let cells = nut.cells.iter().skip(table.trial).flatten();
                    let stands = |cell: &&Cell| matches!(cell.state, State::Done | State::Told);
                    count += cells
                        .filter(stands)
                        .filter(|cell| ways.contains(&cell.way))
                        .count();
                }
            }
            if count > 0 {
                parts.push(format!("{count} {word}"));
            }
        }
        parts.join(", ")
    }
}
