//! The journal: every record of a run as soon as it is planned, so that a run that was killed goes on
//! where it stopped.
//!
//! One append-only file beside the output (`DIR.journal`), made of frames. A frame is the length of
//! its content \[bytes\] (4 bytes, little-endian), the CRC-32 of length and content (4 bytes), and the
//! content: one byte for its kind, then the value in the `postcard` wire format. The first frame is
//! the [`Header`]: all that decides the outcome. Each process that works on the run adds a frame with
//! its number; records follow in input order, then the [`End`], and behind it only the numbers of processes
//! that build the outputs.
//!
//! Each frame is one write, so a killed process loses the parcels in its hands and no others; what it
//! tore off at the end is cut off. Against a power cut the file is synced after every
//! [`SYNC_BYTES`] or [`SYNC_FRAMES`], whichever comes first, never by the clock. Outputs are
//! built from the journal alone, so a run that was interrupted leaves the same bytes as one that was
//! not.

use std::fs::File;
use std::io::{self, BufReader, Read, Write};
use std::path::{Path, PathBuf};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::shard::Shard;
use crate::issue::{Code, Issue};
use crate::read::LayerUse;
use crate::write::files::{Files, OpenFile};
use crate::write::folder::{beside, clear_up_after, failed, parent_of};
use crate::write::record::{Record, Which};
use crate::write::run_record::RunRecord;

/// The journal is on the disk at least up to so many bytes back.
pub const SYNC_BYTES: u64 = 64 << 20;
/// The journal is on the disk at least up to so many frames back.
pub const SYNC_FRAMES: u64 = 4_096;
/// What the name of the journal has behind that of the output.
pub const ENDING: &str = ".journal";

/// Longest content of a frame \[bytes\]; a longer one is a torn or foreign file.
const MOST_BYTES: u32 = 1 << 30;
/// Bytes in front of the content.
const FRONT: usize = 8;

const HEADER: u8 = b'H';
const PROCESS: u8 = b'P';
const RECORD: u8 = b'R';
const END: u8 = b'E';

/// All that decides what a run leaves.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// The text of `run.json`.
    run: String,
    /// Settings that bear on the outputs and do not stand in `run.json`: name and value.
    settings: Vec<(String, String)>,
    /// The part of the run that is planned.
    pub shard: Option<Shard>,
    /// The tables and their columns.
    tables: String,
}

/// What ends a journal: the whole input was planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct End {
    /// Parcels of the input, those of other shards included.
    pub parcels: u64,
    /// What belongs to no parcel.
    pub orphans: Vec<Issue>,
    /// What became of the rows of each layer.
    pub usage: Vec<LayerUse>,
}

/// A record ready to be appended.
pub struct Packed {
    frame: Vec<u8>,
    /// Its issues, as they are told.
    pub told: Vec<Issue>,
}

/// A journal that is being written.
pub struct Journal<'f> {
    files: &'f dyn Files,
    path: PathBuf,
    parent: PathBuf,
    file: Box<dyn OpenFile>,
    /// Bytes and frames since the file was synced.
    unsynced: (u64, u64),
    records: u64,
    end: Option<End>,
}

impl Header {
    /// The header of a run.
    #[must_use]
    pub fn new(run: &RunRecord, settings: &[(&str, String)], shard: Option<Shard>) -> Header {
        let settings = settings
            .iter()
            .map(|(name, value)| ((*name).to_owned(), value.clone()));
        let tables = Which::ALL.map(Which::table);
        let tables = tables.iter().map(|table| {
            let columns: Vec<&str> = table.columns.iter().map(|facts| facts.name).collect();
            format!("{}({})", table.name, columns.join(","))
        });
        Header {
            run: run.to_text(),
            settings: settings.collect(),
            shard,
            tables: tables.collect::<Vec<_>>().join(" "),
        }
    }

    /// The record of the run.
    ///
    /// # Errors
    /// `AS03` when the text is not a record of this program.
    pub fn run(&self, file: &str) -> Result<RunRecord, Issue> {
        RunRecord::parse(&self.run, file)
    }

    /// What is not the same in another run, in words; empty when nothing differs.
    #[must_use]
    pub fn differences(&self, other: &Header) -> Vec<String> {
        let mut found = Vec::new();
        let parse = |header: &Header| serde_json::from_str(&header.run).unwrap_or(Value::Null);
        compare_runs(&parse(self), &parse(other), &mut found);
        for (name, value) in &self.settings {
            let there = other.settings.iter().find(|(named, _)| named == name);
            if there.is_none_or(|(_, there)| there != value) {
                found.push(name.clone());
            }
        }
        if self.shard != other.shard {
            found.push("the shard".to_owned());
        }
        if self.tables != other.tables {
            found.push("the columns of the outputs".to_owned());
        }
        if found.is_empty() && self != other {
            found.push("the settings".to_owned());
        }
        found
    }
}

/// Names what differs in two records of runs.
fn compare_runs(one: &Value, other: &Value, found: &mut Vec<String>) {
    for part in ["program", "version"] {
        if one[part] != other[part] {
            found.push(format!("the {part}"));
        }
    }
    let named = |run: &Value| -> Vec<(String, Value)> {
        let inputs = run["inputs"].as_array().cloned().unwrap_or_default();
        let inputs = inputs.into_iter().map(|input| {
            let text = |part: &str| input[part].as_str().map(str::to_owned);
            let role = text("role").unwrap_or_default();
            let name = match text("part") {
                Some(part) => format!("the input {role} (.{part})"),
                None => format!("the input {role}"),
            };
            (name, input["sha256"].clone())
        });
        inputs.collect()
    };
    let flat = |run: &Value, part: &str| -> Vec<(String, Value)> {
        // The assumptions stand one level deeper, beside what they were assumed from.
        let values = run[part].get("values").unwrap_or(&run[part]);
        let values = values.as_object().cloned().unwrap_or_default();
        values.into_iter().collect()
    };
    let mut differ = |one: Vec<(String, Value)>, other: Vec<(String, Value)>| {
        let here = |list: &[(String, Value)], item: &(String, Value)| list.contains(item);
        let mut names: Vec<String> = Vec::new();
        let missing = one.iter().filter(|item| !here(&other, item));
        let added = other.iter().filter(|item| !here(&one, item));
        for (name, _) in missing.chain(added) {
            if !names.contains(name) {
                names.push(name.clone());
            }
        }
        found.append(&mut names);
    };
    differ(named(one), named(other));
    for part in ["reading", "layout", "assumptions"] {
        differ(flat(one, part), flat(other, part));
    }
    for part in ["throws", "layers", "rain", "eligibility", "by"] {
        if one[part] != other[part] {
            found.push(part.to_owned());
        }
    }
}

impl Packed {
    /// Packs a record; made in the planning threads, since it takes the time of a copy.
    #[must_use]
    pub fn of(record: Record) -> Packed {
        Packed {
            frame: frame(RECORD, &record),
            told: record.told,
        }
    }
}

impl<'f> Journal<'f> {
    /// Refuses an output with the journal of an unfinished run beside it.
    ///
    /// # Errors
    /// `OU05`; `OU02` when the output has no name of its own.
    pub fn refuse(target: &Path) -> Result<(), Issue> {
        let path = beside(target, ENDING)?;
        match std::fs::symlink_metadata(&path) {
            Ok(_) => Err(Issue::new(Code::OU05, "").in_file(path.display().to_string())),
            Err(_) => Ok(()),
        }
    }

    /// Begins a journal beside an output. The folders in which it lies are made where they are
    /// missing.
    ///
    /// # Errors
    /// `OU05` when there is one already, `OU02` when it cannot be made, `OU03` when it cannot be
    /// written.
    pub fn begin(
        files: &'f dyn Files,
        target: &Path,
        header: &Header,
    ) -> Result<Journal<'f>, Issue> {
        let (path, parent) = (beside(target, ENDING)?, parent_of(target)?);
        let name = path.display().to_string();
        let cannot = |error: io::Error| {
            let code = match error.kind() {
                io::ErrorKind::AlreadyExists => Code::OU05,
                _ => Code::OU02,
            };
            let found = match code {
                Code::OU05 => String::new(),
                _ => error.to_string(),
            };
            Issue::new(code, found).in_file(name.as_str())
        };
        std::fs::create_dir_all(&parent).map_err(|error| {
            Issue::new(Code::OU02, error.to_string()).in_file(target.display().to_string())
        })?;
        let mut file = files.create(&path).map_err(cannot)?;
        let first = [frame(HEADER, header), frame(PROCESS, &std::process::id())].concat();
        let written = file.lock().and_then(|()| file.write_all(&first));
        if let Err(error) = written {
            // Half a header is no journal.
            let _ = files.remove(&path);
            return Err(failed(&error).in_file(name));
        }
        Ok(Journal {
            files,
            path,
            parent,
            file,
            unsynced: (first.len() as u64, 2),
            records: 0,
            end: None,
        })
    }

    /// Goes on with the journal beside an output, if there is one: what was torn off at its end is
    /// cut off, and temporary folders of its killed processes are removed.
    ///
    /// # Errors
    /// `OU06` when it is of another run, `OU07` when it is no journal or in use, `OU03` when it cannot
    /// be written.
    pub fn resume(
        files: &'f dyn Files,
        target: &Path,
        header: &Header,
    ) -> Result<Option<Journal<'f>>, Issue> {
        let (path, parent) = (beside(target, ENDING)?, parent_of(target)?);
        let name = path.display().to_string();
        if !path.exists() {
            return Ok(None);
        }
        if is_torn_header(&path, header) {
            files
                .remove(&path)
                .map_err(|error| failed(&error).in_file(name))?;
            return Ok(None);
        }
        let mut found = Records::open(&path)?;
        let differences = found.header.differences(header);
        if !differences.is_empty() {
            let found = format!("not the same: {}", differences.join(", "));
            return Err(Issue::new(Code::OU06, found).in_file(name));
        }
        let records = found.pass_over();
        let length = found.good_bytes;
        let cannot = |error: io::Error| match error.kind() {
            io::ErrorKind::WouldBlock => {
                Issue::new(Code::OU07, "another process is writing it").in_file(name.as_str())
            }
            _ => failed(&error).in_file(name.as_str()),
        };
        let mut file = files.go_on(&path, length).map_err(cannot)?;
        for process in &found.processes {
            clear_up_after(target, *process)?;
        }
        // Behind the end as well: a process may be killed while it only builds the outputs.
        let process = frame(PROCESS, &std::process::id());
        file.write_all(&process).map_err(cannot)?;
        Ok(Some(Journal {
            files,
            path,
            parent,
            file,
            unsynced: (length + process.len() as u64, records),
            records,
            end: found.end,
        }))
    }

    /// Where it lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How many records it holds.
    #[must_use]
    pub fn records(&self) -> u64 {
        self.records
    }

    /// How the run ended, when all of it is planned.
    #[must_use]
    pub fn ended(&self) -> Option<&End> {
        self.end.as_ref()
    }

    /// Appends a record.
    ///
    /// # Errors
    /// `OU03` when it cannot be written.
    pub fn append(&mut self, record: &Packed) -> Result<(), Issue> {
        self.write(&record.frame)?;
        self.records += 1;
        Ok(())
    }

    /// Appends the end: the whole input is planned.
    ///
    /// # Errors
    /// `OU03` when it cannot be written.
    pub fn end(&mut self, end: End) -> Result<(), Issue> {
        self.write(&frame(END, &end))?;
        self.end = Some(end);
        Ok(())
    }

    fn write(&mut self, frame: &[u8]) -> Result<(), Issue> {
        let (bytes, frames) = self.unsynced;
        self.unsynced = (bytes + frame.len() as u64, frames + 1);
        let is_due = self.unsynced.0 >= SYNC_BYTES || self.unsynced.1 >= SYNC_FRAMES;
        let written = self.file.write_all(frame).and_then(|()| match is_due {
            true => {
                self.unsynced = (0, 0);
                self.file.sync()?;
                self.files.sync_folder(&self.parent)
            }
            false => Ok(()),
        });
        written.map_err(|error| failed(&error).in_file(self.path.display().to_string()))
    }

    /// Its records from the first on.
    ///
    /// # Errors
    /// `OU07` when it cannot be read.
    pub fn read(&self) -> Result<Records, Issue> {
        Records::open(&self.path)
    }

    /// Removes it: the outputs are in their place, or nothing is worth keeping.
    ///
    /// # Errors
    /// `OU03` when it cannot be removed.
    pub fn remove(self) -> Result<(), Issue> {
        drop(self.file);
        self.files
            .remove(&self.path)
            .map_err(|error| failed(&error).in_file(self.path.display().to_string()))
    }
}

/// The records of a journal, in input order, as an iterator that ends at the first frame that is
/// not whole.
pub struct Records {
    file: BufReader<File>,
    name: String,
    /// Of which run they are.
    pub header: Header,
    /// Processes that worked on it.
    processes: Vec<u32>,
    end: Option<End>,
    /// Bytes up to the end of the last good frame.
    good_bytes: u64,
    file_bytes: u64,
    /// Place of the last record in the input.
    last: Option<u64>,
    buffer: Vec<u8>,
}

impl Records {
    /// Opens a journal, or the records of a shard.
    ///
    /// # Errors
    /// `OU07` when it cannot be read or does not begin with a header of this version.
    pub fn open(path: &Path) -> Result<Records, Issue> {
        let name = path.display().to_string();
        let cannot = |what: String| Issue::new(Code::OU07, what).in_file(name.as_str());
        let file = File::open(path).map_err(|error| cannot(error.to_string()))?;
        let file_bytes = file
            .metadata()
            .map_err(|error| cannot(error.to_string()))?
            .len();
        let mut file = BufReader::with_capacity(1 << 16, file);
        let mut buffer = Vec::new();
        let length = next_frame(&mut file, file_bytes, &mut buffer);
        let header = length.and_then(|length| match buffer.split_first() {
            Some((&HEADER, content)) => Some((length, postcard::from_bytes(content).ok()?)),
            _ => None,
        });
        let Some((good_bytes, header)) = header else {
            return Err(cannot(
                "it does not begin as a journal of this version".to_owned(),
            ));
        };
        Ok(Records {
            file,
            name,
            header,
            processes: Vec::new(),
            end: None,
            good_bytes,
            file_bytes,
            last: None,
            buffer,
        })
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How the run ended; known once all records were read.
    #[must_use]
    pub fn ended(&self) -> Option<&End> {
        self.end.as_ref()
    }

    /// Whether the file ends with its last good frame; known once all records were read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.good_bytes == self.file_bytes
    }

    /// Reads to the end and says how many records there are.
    fn pass_over(&mut self) -> u64 {
        self.by_ref().count() as u64
    }
}

impl Iterator for Records {
    type Item = Record;

    fn next(&mut self) -> Option<Record> {
        loop {
            let left = self.file_bytes - self.good_bytes;
            let length = next_frame(&mut self.file, left, &mut self.buffer)?;
            let (kind, content) = self.buffer.split_first()?;
            let mut record = None;
            match (*kind, self.end.is_some()) {
                (PROCESS, _) => self.processes.push(read(content)?),
                (END, false) => self.end = Some(read(content)?),
                (RECORD, false) => {
                    let found: Record = read(content)?;
                    if self.last.is_some_and(|last| last >= found.index) {
                        return None;
                    }
                    self.last = Some(found.index);
                    record = Some(found);
                }
                _ => return None,
            }
            self.good_bytes += length;
            if record.is_some() {
                return record;
            }
        }
    }
}

/// Whether a file holds the beginning of this header and no more.
fn is_torn_header(path: &Path, header: &Header) -> bool {
    let whole = frame(HEADER, header);
    let mut held = Vec::new();
    let read =
        File::open(path).and_then(|file| file.take(whole.len() as u64).read_to_end(&mut held));
    read.is_ok() && held.len() < whole.len() && whole.starts_with(&held)
}

fn read<T: DeserializeOwned>(content: &[u8]) -> Option<T> {
    let (value, rest) = postcard::take_from_bytes(content).ok()?;
    rest.is_empty().then_some(value)
}

/// Reads the content of the next frame, with so many bytes left in the file, and says how long the
/// frame is; `None` when it is not whole.
fn next_frame(file: &mut impl Read, left: u64, content: &mut Vec<u8>) -> Option<u64> {
    let mut front = [0; FRONT];
    file.read_exact(&mut front).ok()?;
    let [a, b, c, d, sum @ ..] = front;
    let length = u32::from_le_bytes([a, b, c, d]);
    if length == 0 || length > MOST_BYTES || u64::from(length) + FRONT as u64 > left {
        return None;
    }
    content.resize(length as usize, 0);
    file.read_exact(content).ok()?;
    let whole = checksum(length, content) == u32::from_le_bytes(sum);
    whole.then_some(u64::from(length) + FRONT as u64)
}

fn checksum(length: u32, content: &[u8]) -> u32 {
    let mut sum = crc32fast::Hasher::new();
    sum.update(&length.to_le_bytes());
    sum.update(content);
    sum.finalize()
}

/// A value as a frame.
fn frame(kind: u8, value: &impl Serialize) -> Vec<u8> {
    let mut frame = vec![0; FRONT];
    frame.push(kind);
    // Records are made of texts, numbers and lists, all of which the format holds.
    let mut frame = postcard::to_extend(value, frame).unwrap_or_default();
    let length = frame.len().saturating_sub(FRONT) as u32; // a record of gigabytes fails to read back
    if let Some((front, content)) = frame.split_at_mut_checked(FRONT) {
        let sum = checksum(length, content);
        front[..4].copy_from_slice(&length.to_le_bytes());
        front[4..].copy_from_slice(&sum.to_le_bytes());
    }
    frame
}
