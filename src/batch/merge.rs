//! Shards of one run put together again, so that the outputs are those of one run.
//!
//! The folder of a shard holds its journal under the name [`RECORDS`]. Records carry their place in
//! the whole input, so merging is picking the next one. What belongs to no parcel is found by every
//! shard alike, since each reads the whole input; it is taken from the first.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use super::journal::{End, Journal, Records};
use crate::issue::{Code, Issue};
use crate::write::files::Files;
use crate::write::folder::{Existing, MARK, Staging, failed};
use crate::write::record::Record;
use crate::write::run_record::RunRecord;

/// The file with the records in the folder of a shard.
pub const RECORDS: &str = "records.journal";

/// Most missing shards that are named one by one.
const MOST_NAMED: usize = 20;

/// Puts the records of a shard in its folder.
///
/// # Errors
/// `OU01`, `OU02` or `OU03`.
pub fn keep(
    files: &dyn Files,
    target: &Path,
    existing: Existing,
    journal: &Journal,
    run: &RunRecord,
) -> Result<(), Issue> {
    let mut staging = Staging::begin(files, target, existing)?;
    let mut records = staging.create(RECORDS)?;
    std::fs::File::open(journal.path())
        .and_then(|mut kept| io::copy(&mut kept, &mut records))
        .and_then(|_| records.finish())
        .map_err(|error| failed(&error))?;
    let mut mark = staging.create(MARK)?;
    io::Write::write_all(&mut mark, run.to_text().as_bytes())
        .and_then(|()| mark.finish())
        .map_err(|error| failed(&error))?;
    staging.finish()
}

/// The records of all shards, in input order, as an iterator.
pub struct Merged {
    /// The run of which they are.
    pub run: RunRecord,
    shards: Vec<Records>,
    /// The next record of each shard by its place in the input.
    next: BTreeMap<u64, (usize, Record)>,
    place: u64,
}

impl Merged {
    /// Opens the records of the shards in these folders.
    ///
    /// # Errors
    /// `OU07` when records cannot be read, `SH01` when a shard is missing, `SH02` when they are not
    /// of one run, `SH03` when two are the same.
    pub fn open(folders: &[impl AsRef<Path>]) -> Result<Merged, Issue> {
        let open = |folder: &Path| Records::open(&folder.join(RECORDS));
        let opened: Result<Vec<Records>, Issue> =
            folders.iter().map(|folder| open(folder.as_ref())).collect();
        let shards = opened?;
        let Some(first) = shards.first() else {
            return Err(Issue::new(Code::SH01, "no folder is named"));
        };
        check_parts(&shards)?;
        let run = first.header.run(first.name())?;
        let mut merged = Merged {
            run,
            shards,
            next: BTreeMap::new(),
            place: 0,
        };
        for shard in 0..merged.shards.len() {
            merged.refill(shard)?;
        }
        Ok(merged)
    }

    /// Reads the next record of a shard.
    fn refill(&mut self, shard: usize) -> Result<(), Issue> {
        let Some(records) = self.shards.get_mut(shard) else {
            return Ok(());
        };
        let Some(record) = records.next() else {
            if records.ended().is_none() || !records.is_whole() {
                let found = "its end is missing or broken";
                return Err(Issue::new(Code::OU07, found).in_file(records.name()));
            }
            return Ok(());
        };
        let index = record.index;
        match self.next.insert(index, (shard, record)) {
            None => Ok(()),
            Some((_, other)) => {
                let found = format!("parcel `{}` is in two of them", other.id);
                Err(Issue::new(Code::SH03, found).in_file(records.name()))
            }
        }
    }

    /// How the run ended, once all records are read.
    ///
    /// # Errors
    /// `SH02` when the shards do not agree on it, or do not hold every parcel of the input.
    pub fn end(&self) -> Result<End, Issue> {
        let mut ends = self
            .shards
            .iter()
            .map(|shard| (shard.name(), shard.ended()));
        let first = ends.next().and_then(|(_, end)| end.cloned());
        let Some(first) = first else {
            return Err(Issue::new(Code::SH02, "the first has no end"));
        };
        if let Some((name, _)) = ends.find(|(_, end)| *end != Some(&first)) {
            let found = "another number of parcels, or other records of no parcel, were read";
            return Err(Issue::new(Code::SH02, found).in_file(name));
        }
        if first.parcels != self.place {
            let found = format!("{} of {} parcels are there", self.place, first.parcels);
            return Err(Issue::new(Code::SH02, found));
        }
        Ok(first)
    }

    fn step(&mut self) -> Result<Option<Record>, Issue> {
        let Some((index, (shard, record))) = self.next.pop_first() else {
            return Ok(None);
        };
        if index != self.place {
            let found = format!("parcel {} of the input is in none of them", self.place + 1);
            return Err(Issue::new(Code::SH02, found));
        }
        self.place += 1;
        self.refill(shard)?;
        Ok(Some(record))
    }
}

impl Iterator for Merged {
    type Item = Result<Record, Issue>;

    fn next(&mut self) -> Option<Result<Record, Issue>> {
        self.step().transpose()
    }
}

/// Checks that every part of one run is there once.
fn check_parts(shards: &[Records]) -> Result<(), Issue> {
    let mut parts: BTreeMap<u32, &str> = BTreeMap::new();
    let mut first = None;
    for records in shards {
        let Some(shard) = records.header.shard else {
            let found = "these are the records of a whole run";
            return Err(Issue::new(Code::SH02, found).in_file(records.name()));
        };
        let (of, header) = *first.get_or_insert((shard.of, &records.header));
        let mut differences = header.differences(&records.header);
        differences.retain(|what| what != "the shard");
        if shard.of != of {
            differences.push(format!("{of} shards in one, {} in the other", shard.of));
        }
        if !differences.is_empty() {
            let found = format!("not the same: {}", differences.join(", "));
            return Err(Issue::new(Code::SH02, found).in_file(records.name()));
        }
        if let Some(twice) = parts.insert(shard.part, records.name()) {
            let found = format!("shard {shard} is also {twice}");
            return Err(Issue::new(Code::SH03, found).in_file(records.name()));
        }
    }
    let of = first.map_or(0, |(of, _)| of);
    let missing = (1..=of).filter(|part| !parts.contains_key(part));
    let missing: Vec<String> = missing.map(|part| format!("{part}/{of}")).collect();
    if missing.is_empty() {
        return Ok(());
    }
    let named = missing.iter().take(MOST_NAMED).cloned().collect::<Vec<_>>();
    let more = match missing.len() - named.len() {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    Err(Issue::new(
        Code::SH01,
        format!("{}{more}", named.join(", ")),
    ))
}
