//! The evening before it begins: worked out at once, and how long it takes rehearsed in the background.
//!
//! Knows nothing of drawing.

use std::sync::mpsc::{Receiver, TryRecvError, channel};

use super::Model;
use crate::job::status::{Rehearsed, Tonight};
use crate::rehearsal::rehearsed;
use crate::sheet::tonight_page;

/// How long the joints take, once they are rehearsed.
#[derive(Debug, Default)]
pub(super) struct Evening {
    times: Vec<Rehearsed>,
    running: Option<Receiver<Vec<Rehearsed>>>,
}

impl Evening {
    pub(super) const fn is_running(&self) -> bool {
        self.running.is_some()
    }
}

impl Model {
    /// Works the evening out, and begins to rehearse it.
    pub(super) fn plan_evening(&mut self) {
        let Some(job) = &self.job else {
            self.view.tonight = Some(Tonight::default());
            return;
        };
        let tonight = job.kept().tonight();
        let joints: Vec<u8> = tonight.joints.iter().map(|joint| joint.number).collect();
        let plan = job.plan().clone();
        let (told, heard) = channel();
        let wake = self.wake.clone();
        std::thread::spawn(move || {
            // One after the other, so that the first is said while the last is rehearsed.
            let mut times = Vec::new();
            for joint in joints {
                times.extend(rehearsed(&plan, &[joint]));
                if told.send(times.clone()).is_err() {
                    return;
                }
                wake.call();
            }
        });
        self.evening = Evening {
            times: Vec::new(),
            running: Some(heard),
        };
        self.view.tonight = Some(tonight);
    }

    /// Takes over what the rehearsal says.
    pub(super) fn look_at_evening(&mut self) {
        let Some(running) = &self.evening.running else {
            return;
        };
        let mut is_new = false;
        loop {
            match running.try_recv() {
                Ok(times) => {
                    self.evening.times = times;
                    is_new = true;
                }
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    self.evening.running = None;
                    break;
                }
            }
        }
        if is_new {
            self.show_evening();
        }
    }

    /// The evening as it stands now, with the times that are known.
    pub(super) fn show_evening(&mut self) {
        if self.view.tonight.is_none() {
            return;
        }
        if let Some(job) = &self.job {
            let tonight = job.kept().tonight();
            self.view.tonight = Some(tonight.with_times(&self.evening.times));
        }
    }

    /// The evening on a page.
    pub(super) fn print_evening(&mut self) {
        if let Some(tonight) = &self.view.tonight {
            let page = tonight_page(tonight);
            self.write_out(&self.beside("tonight.html"), &page, true);
        }
    }
}
