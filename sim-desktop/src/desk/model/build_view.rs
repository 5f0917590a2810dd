//! Who works, with what, on which readings; and what was found when the journal was opened.

use super::super::view::{BuildView, Status};
use super::Model;

impl Model {
    /// How everything stood when the view was filled last.
    pub(super) const fn status_now(&self) -> &Status {
        &self.view.status
    }

    /// How everything stands; a plan that cannot be worked has a name and no more.
    pub(super) fn status(&self) -> Status {
        let nothing = || Status {
            title: self.file.name.clone(),
            ..Status::default()
        };
        match (&self.job, &self.start) {
            (Some(job), _) => job.status(),
            // As the journal says that would be gone on with; nothing is rehearsed yet.
            (None, Some(start)) => Status {
                rehearsal: false,
                ..start.status()
            },
            (None, None) => nothing(),
        }
    }

    pub(super) fn build_view(&self) -> BuildView {
        let mut view = BuildView {
            readings: self.readings(),
            link: self.link_view().or_else(|| self.lines_link()),
            ..BuildView::default()
        };
        let Some(job) = &self.job else { return view };
        let joint = self.open.and_then(|open| self.view.status.joint(open));
        view.person = job.person().map(str::to_owned);
        view.witness = joint.and_then(|joint| joint.witness.clone());
        // An adapter is the tool of its joint, and names itself.
        let adapter = joint.and_then(|joint| joint.at_adapter.as_deref());
        view.tool = adapter.or_else(|| job.tool()).map(str::to_owned);
        view.journal = job
            .journal_path()
            .map_or_else(|| self.unkept_words(), |path| path.display().to_string());
        view
    }

    /// What did not read when the journal was opened.
    pub(super) fn recovery_words(&self) -> Option<String> {
        let damage = self.job.as_ref()?.damage();
        let first = damage.first()?;
        let bytes: usize = damage.iter().map(|damage| damage.to - damage.from).sum();
        Some(if first.torn {
            format!(
                "The last entry was cut off in the middle of writing: {bytes} bytes are dropped and set aside. Everything announced is here."
            )
        } else {
            format!(
                "{bytes} bytes of the journal are damaged and set aside ({}).",
                first.why
            )
        })
    }
}
