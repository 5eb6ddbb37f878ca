//! The readings that are still to plan: those of other shards and those that the journal holds are
//! passed over.

use super::journal::Records;
use super::shard::Shard;
use crate::issue::{Code, Issue};
use crate::read::Reading;

/// Readings without those that need no planning.
pub struct Remaining<I> {
    readings: I,
    shard: Option<Shard>,
    kept: Option<Records>,
    seen: u64,
    passed: u64,
}

impl<I: Iterator<Item = Result<Reading, Issue>>> Remaining<I> {
    /// The readings of a shard that do not stand among the records kept.
    pub fn new(readings: I, shard: Option<Shard>, kept: Option<Records>) -> Remaining<I> {
        Remaining {
            readings,
            shard,
            kept,
            seen: 0,
            passed: 0,
        }
    }

    /// How many readings there were so far, all shards together.
    #[must_use]
    pub fn seen(&self) -> u64 {
        self.seen
    }

    /// How many of them the journal holds.
    #[must_use]
    pub fn passed(&self) -> u64 {
        self.passed
    }

    /// Whether a reading of this id is kept; an issue when another one is kept in its place.
    fn is_kept(&mut self, index: u64, id: &str) -> Result<bool, Issue> {
        let Some(kept) = &mut self.kept else {
            return Ok(false);
        };
        let Some(record) = kept.next() else {
            self.kept = None;
            return Ok(false);
        };
        if record.index == index && record.id == id {
            return Ok(true);
        }
        let (here, there) = (index + 1, record.index + 1);
        Err(Issue::new(
            Code::OU06,
            format!(
                "parcel {here} of the input is `{id}`; next in the journal is parcel {there}, `{}`",
                record.id
            ),
        ))
    }
}

impl<I> Remaining<I> {
    /// The issue of a journal that holds more than the input brought.
    fn left_over(&mut self) -> Option<Issue> {
        let record = self.kept.take()?.next()?;
        let (seen, there) = (self.seen, record.index + 1);
        let found = format!("the input has {seen} parcels, and the journal has parcel {there}");
        Some(Issue::new(Code::OU06, found))
    }
}

impl<I: Iterator<Item = Result<Reading, Issue>>> Iterator for Remaining<I> {
    type Item = Result<Reading, Issue>;

    fn next(&mut self) -> Option<Result<Reading, Issue>> {
        loop {
            let reading = match self.readings.next() {
                Some(Ok(reading)) => reading,
                Some(Err(issue)) => return Some(Err(issue)),
                None => return self.left_over().map(Err),
            };
            self.seen += 1;
            let (index, id) = match &reading {
                Reading::Parcel(parcel) => (parcel.index, parcel.id.as_str()),
                Reading::Failed { index, id, .. } => (*index, id.as_str()),
            };
            if self.shard.is_some_and(|shard| !shard.holds(id)) {
                continue;
            }
            match self.is_kept(index, id) {
                Ok(true) => self.passed += 1,
                Ok(false) => return Some(Ok(reading)),
                Err(issue) => return Some(Err(issue)),
            }
        }
    }
}
