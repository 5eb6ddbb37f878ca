//! One run from the first parcel to the outputs in their place.

use std::path::Path;

use super::journal::{End, Header, Journal, Packed};
use super::remaining::Remaining;
use super::shard::Shard;
use super::{Order, Stop, merge, run};
use crate::issue::{Code, Issue};
use crate::plan::ParcelPlan;
use crate::read::Neighbourhood;
use crate::site::Parcel;
use crate::write::files::Files;
use crate::write::folder::{Existing, MARK, allowed};
use crate::write::outputs::Outputs;
use crate::write::program::Sheet;
use crate::write::record::Record;
use crate::write::run_record::RunRecord;
use crate::write::summary::Summary;

/// A run, apart from its layers and its planner.
pub struct Pass<'a> {
    /// Where everything is written.
    pub files: &'a dyn Files,
    /// The output folder.
    pub target: &'a Path,
    /// What to do when it exists.
    pub existing: Existing,
    /// Whether to go on with the journal of an earlier process.
    pub resume: bool,
    /// What decides the outcome and stands in `run.json`.
    pub record: &'a RunRecord,
    /// What else decides the outcome: name and value.
    pub settings: &'a [(&'a str, String)],
    /// The part of the run that is planned.
    pub shard: Option<Shard>,
    /// What is kept of a plan.
    pub read_off: &'a (dyn Fn(ParcelPlan) -> Record + Sync),
    /// How the work is cut up.
    pub order: Order,
    /// A wish to stop.
    pub stop: &'a Stop,
}

/// The layers of a run, and what plans a parcel of them.
pub struct Opened<'a> {
    /// The layers.
    pub layers: Neighbourhood,
    /// Plans a parcel.
    pub plan: Box<dyn Fn(&Parcel) -> ParcelPlan + Sync + 'a>,
}

/// What the one who started a run hears of it.
pub trait Hearing {
    /// The run begins, with so many parcels if that is known.
    fn begins(&mut self, expected: Option<u64>);
    /// One more parcel is dealt with.
    fn passed(&mut self);
    /// Issues of a parcel.
    fn issues(&mut self, issues: &[Issue]);
    /// Planning ended.
    fn planned(&mut self);
    /// Something to say in a sentence.
    fn says(&mut self, sentence: &str);
}

impl Pass<'_> {
    /// Plans into the journal and builds the outputs from it. The journal stays when the same command
    /// can finish the run later.
    ///
    /// # Errors
    /// What ends the layers; the issue of a wish to stop; `IN05` without a parcel; `OU01` to `OU03`
    /// and `OU05` to `OU07`.
    pub fn run<'o>(
        &self,
        open: impl FnOnce() -> Result<Opened<'o>, Issue>,
        hearing: &mut dyn Hearing,
    ) -> Result<Summary, Issue> {
        let header = Header::new(self.record, self.settings, self.shard);
        let resumed = if self.resume {
            Journal::resume(self.files, self.target, &header)?
        } else {
            Journal::refuse(self.target)?;
            None
        };
        let ended = resumed
            .as_ref()
            .is_some_and(|journal| journal.ended().is_some());
        // A run that was killed when its outputs were in their place left a journal of them.
        let existing = if ended && self.is_in_place() {
            Existing::Overwrite
        } else {
            self.existing
        };
        allowed(self.target, existing)?;
        let (mut journal, planned) = match resumed {
            Some(journal) if ended => (journal, Ok(())),
            resumed => {
                let mut opened = open()?;
                let mut journal = match resumed {
                    Some(journal) => journal,
                    None => Journal::begin(self.files, self.target, &header)?,
                };
                let planned = self.plan(&mut opened, &mut journal, hearing);
                (journal, planned)
            }
        };
        match planned.and_then(|()| self.build(&mut journal, existing)) {
            Ok(summary) => {
                journal.remove()?;
                Ok(summary)
            }
            Err(issue) if journal.records() > 0 && can_go_on(issue.code) => {
                let (kept, path) = (journal.records(), journal.path().display());
                hearing.says(&format!("{kept} planned parcels are kept in {path}"));
                Err(issue)
            }
            Err(issue) => {
                journal.remove()?;
                Err(issue)
            }
        }
    }

    /// Whether the outputs in the target are those of this run.
    fn is_in_place(&self) -> bool {
        let mark = std::fs::read_to_string(self.target.join(MARK));
        mark.is_ok_and(|mark| mark == self.record.to_text())
    }

    /// Plans what the journal does not hold.
    fn plan(
        &self,
        opened: &mut Opened,
        journal: &mut Journal,
        hearing: &mut dyn Hearing,
    ) -> Result<(), Issue> {
        let Opened { layers, plan } = opened;
        hearing.begins(layers.expected());
        let kept = match journal.records() {
            0 => None,
            _ => Some(journal.read()?),
        };
        let read_off = self.read_off;
        let mut remaining = Remaining::new(layers.by_ref(), self.shard, kept);
        run(
            remaining.by_ref(),
            |parcel| plan(parcel),
            |plan| Packed::of(read_off(plan)),
            self.order,
            self.stop,
            |record| {
                journal.append(&record)?;
                hearing.passed();
                hearing.issues(&record.told);
                Ok(())
            },
        )?;
        let (parcels, passed_over) = (remaining.seen(), remaining.passed());
        if parcels == 0 {
            return Err(Issue::new(Code::IN05, ""));
        }
        if let Some(issue) = self.stop.wanted() {
            return Err(issue);
        }
        let orphans = layers.orphans();
        if self.answers_for_orphans() {
            hearing.issues(orphans);
        }
        hearing.planned();
        if passed_over > 0 {
            hearing.says(&format!("{passed_over} parcels were planned before"));
        }
        journal.end(End {
            parcels,
            orphans: orphans.to_vec(),
            usage: layers.usage().to_vec(),
        })
    }

    /// Every shard finds what belongs to no parcel; the first one tells and counts it.
    fn answers_for_orphans(&self) -> bool {
        self.shard.is_none_or(|shard| shard.part == 1)
    }

    /// Builds the outputs from the journal and puts them in their place.
    fn build(&self, journal: &mut Journal, existing: Existing) -> Result<Summary, Issue> {
        let mut records = journal.read()?;
        let (orphans, usage) = journal
            .ended()
            .map_or((&[][..], &[][..]), |end| (&end.orphans, &end.usage));
        if self.shard.is_some() {
            let mut summary = Summary::default();
            for record in records.by_ref() {
                summary.add(&record.figures);
            }
            if self.answers_for_orphans() {
                summary.add_orphans(orphans);
                summary.layers = usage.to_vec();
            }
            merge::keep(self.files, self.target, existing, journal, self.record)?;
            return Ok(summary);
        }
        let sheet = Sheet::by(&self.record.by, None)?;
        let outputs = Outputs::begin(self.files, self.target, existing, self.record)?;
        let mut outputs = outputs.with_sheet(sheet);
        for record in records.by_ref() {
            outputs.add(&record)?;
            if let Some(issue) = self.stop.wanted() {
                return Err(issue);
            }
        }
        if records.ended().is_none() {
            let found = "it breaks off before its end";
            return Err(Issue::new(Code::OU07, found).in_file(records.name()));
        }
        outputs.finish(orphans, usage, self.record)
    }
}

/// Whether the same command may finish the run later: it was stopped, or the disk or the program
/// failed, not the input.
fn can_go_on(code: Code) -> bool {
    matches!(code.exit_status(), 3 | 6 | 7 | 10 | 130 | 143)
}
