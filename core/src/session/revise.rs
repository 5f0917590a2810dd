//! Going on under another procedure.

use core::ops::Deref;

use super::{Outcome, Refusal, Session};
use crate::ledger::{Carry, Ledger, NONE, fold, revise};
use crate::limits::STAGES_MAX;
use crate::procedure::Procedure;
use crate::record::Entry;

impl<P: Deref<Target = Procedure>> Session<P> {
    /// Goes on under another procedure of the same joint: what was done and did not change holds, what changed is to be done again or
    /// decided on, and nothing is judged again ([`Revised`](crate::record::Revised)). Fasteners are known by their labels; which stage is
    /// which is told. `keep` gets the records, one for the joint and one for each fastener: they count once they are durable, all of them,
    /// like any other record. A joint that nobody touched makes none.
    ///
    /// # Errors
    /// Then nothing happened: [`Refusal::InPull`] while an attempt is not judged; [`Refusal::Store`] while a verdict waits for its record.
    pub fn revise(
        &mut self,
        procedure: P,
        carry: Carry<'_>,
        keep: impl FnMut(Entry),
    ) -> Result<(), Refusal> {
        self.may_revise()?;
        let next = revise(&self.ledger, &self.procedure, &procedure, carry);
        self.carry_on(&next, procedure, carry.stages, keep);
        Ok(())
    }

    /// As [`Session::revise`], where nothing was done since an earlier moment: from how things stood then (`since`, a session restored to
    /// it) and what holds between its procedure and the new one (`carry`). A procedure that was taken back before anybody worked by it
    /// leaves nothing to be done again. `stages` tells for each new stage which one of this session's procedure it is.
    ///
    /// # Errors
    /// As [`Session::revise`].
    pub fn revise_since<Q: Deref<Target = Procedure>>(
        &mut self,
        since: &Session<Q>,
        carry: Carry<'_>,
        procedure: P,
        stages: &[Option<u8>],
        keep: impl FnMut(Entry),
    ) -> Result<(), Refusal> {
        self.may_revise()?;
        let next = revise(&since.ledger, &since.procedure, &procedure, carry);
        self.carry_on(&next, procedure, stages, keep);
        Ok(())
    }

    fn may_revise(&self) -> Result<(), Refusal> {
        self.not_in_pull()?;
        if self.ledger.begun().is_some() {
            return Err(Refusal::InPull);
        }
        if !self.pending.is_empty() || self.store_failed {
            return Err(Refusal::Store);
        }
        Ok(())
    }

    fn carry_on(
        &mut self,
        next: &Ledger,
        procedure: P,
        from: &[Option<u8>],
        mut keep: impl FnMut(Entry),
    ) {
        let digest = procedure.digest();
        let before = core::mem::replace(&mut self.procedure, procedure);
        self.digest = digest;
        self.armed = None;
        self.selected = None;
        if self.ledger.seq() > 0 {
            let mut stages = [NONE; STAGES_MAX];
            for (slot, old) in stages.iter_mut().zip(from) {
                *slot = old.unwrap_or(NONE);
            }
            let procedure: &Procedure = &self.procedure;
            let old = |fastener: u8| {
                let own = procedure.fasteners().get(usize::from(fastener))?;
                before.fastener_labelled(own.label.as_str())
            };
            let last = u8::try_from(procedure.fasteners().len()).unwrap_or(NONE);
            for number in 0..=last {
                let entry = Entry {
                    joint: self.joint,
                    seq: self.ledger.seq().saturating_add(1),
                    boot: self.ledger.boot(),
                    at: self.now,
                    record: next
                        .as_revised(procedure, digest, stages, number, old)
                        .into(),
                };
                fold(&mut self.ledger, procedure, &entry);
                keep(entry);
            }
        }
        if self.running {
            let mut outcome = Outcome::default();
            self.advance(&mut outcome);
            outcome.entries().iter().cloned().for_each(keep);
        }
    }
}
