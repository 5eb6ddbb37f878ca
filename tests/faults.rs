//! Whatever call to the file system fails, and wherever a process dies: nothing half done lies at a final
//! path, and going on gives the bytes of a run that nothing happened to.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod shared;

use std::io::{self, Write};
use std::num::NonZeroUsize;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use evenfall::batch::journal::ENDING;
use evenfall::batch::pass::{Hearing, Opened, Pass};
use evenfall::batch::{Order, Stop};
use evenfall::issue::{Code, Issue};
use evenfall::read::{Inputs, Neighbourhood, Source};
use evenfall::write::files::{Disk, Files, OpenFile};
use evenfall::write::folder::Existing;
use evenfall::write::record::Record;
use evenfall::write::run_record::{LayoutRecord, ReadingRecord, RunRecord};
use evenfall::write::wanted::Wanted;
use shared::{contents, folder, names, planner_by_rule};

/// What is written by this program, and what by the vector library where there is one.
#[cfg(feature = "system-gis")]
const FORMATS: [&str; 2] = ["geojson", "gpkg"];
#[cfg(not(feature = "system-gis"))]
const FORMATS: [&str; 1] = ["geojson"];

/// What goes wrong, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fault {
    /// No call fails.
    Never,
    /// One call fails.
    At(u32),
    /// The process dies in a call: what it writes there is torn in the middle, and nothing is done
    /// after it.
    DiesAt(u32),
}

/// A file system on which something goes wrong.
struct Faulty {
    fault: Fault,
    calls: Arc<AtomicU32>,
}

struct FaultyFile {
    inner: Box<dyn OpenFile>,
    fault: Fault,
    calls: Arc<AtomicU32>,
}

/// Counts a call and says whether it is still made.
fn step(fault: Fault, calls: &AtomicU32) -> io::Result<()> {
    let made = 1 + calls.fetch_add(1, Ordering::Relaxed);
    let fails = match fault {
        Fault::Never => false,
        Fault::At(call) => made == call,
        Fault::DiesAt(call) => made >= call,
    };
    if fails {
        Err(io::Error::other("no space"))
    } else {
        Ok(())
    }
}

impl Write for FaultyFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let going_on = step(self.fault, &self.calls);
        if matches!(self.fault, Fault::DiesAt(call) if call == self.calls.load(Ordering::Relaxed)) {
            let _ = self.inner.write(&bytes[..bytes.len() / 2]);
        }
        going_on?;
        self.inner.write_all(bytes)?;
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl OpenFile for FaultyFile {
    fn sync(&mut self) -> io::Result<()> {
        step(self.fault, &self.calls)?;
        self.inner.sync()
    }
    fn lock(&mut self) -> io::Result<()> {
        step(self.fault, &self.calls)?;
        self.inner.lock()
    }
}

impl Faulty {
    fn new(fault: Fault) -> Faulty {
        Faulty {
            fault,
            calls: Arc::default(),
        }
    }
    fn step(&self) -> io::Result<()> {
        step(self.fault, &self.calls)
    }
    fn file(&self, inner: Box<dyn OpenFile>) -> Box<dyn OpenFile> {
        Box::new(FaultyFile {
            inner,
            fault: self.fault,
            calls: Arc::clone(&self.calls),
        })
    }
}

impl Files for Faulty {
    fn create(&self, path: &Path) -> io::Result<Box<dyn OpenFile>> {
        self.step()?;
        Ok(self.file(Disk.create(path)?))
    }
    fn go_on(&self, path: &Path, length: u64) -> io::Result<Box<dyn OpenFile>> {
        self.step()?;
        Ok(self.file(Disk.go_on(path, length)?))
    }
    fn sync_file(&self, path: &Path) -> io::Result<()> {
        self.step()?;
        Disk.sync_file(path)
    }
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        self.step()?;
        Disk.create_folder(path)
    }
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.step()?;
        Disk.rename(from, to)
    }
    fn remove(&self, path: &Path) -> io::Result<()> {
        self.step()?;
        Disk.remove(path)
    }
    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.step()?;
        Disk.remove_folder(path)
    }
    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        self.step()?;
        Disk.sync_folder(path)
    }
}

/// Nobody listens.
struct Deaf;

impl Hearing for Deaf {
    fn begins(&mut self, _: Option<u64>) {}
    fn passed(&mut self) {}
    fn issues(&mut self, _: &[Issue]) {}
    fn planned(&mut self) {}
    fn says(&mut self, _: &str) {}
}

fn record() -> RunRecord {
    RunRecord {
        program: "evenfall".to_owned(),
        version: "test".to_owned(),
        inputs: Vec::new(),
        reading: ReadingRecord::default(),
        layout: LayoutRecord {
            effort: "rule".to_owned(),
            favour: "evenness".to_owned(),
            families: vec!["rotary-mid".to_owned()],
            seed: 1,
        },
        layers: Vec::new(),
        throws: "recommended".to_owned(),
        formats: FORMATS.map(str::to_owned).to_vec(),
        rain: "none".to_owned(),
        eligibility: Vec::new(),
        by: Vec::new(),
        assumptions: serde_json::json!({}),
    }
}

/// A lawn of about 5 m by 5 m.
fn lawn(number: u32) -> String {
    let (west, south) = (-77.0 + f64::from(number) * 1e-3, 39.0);
    let (east, north) = (west + 5e-5 + f64::from(number) * 2e-6, south + 5e-5);
    format!(
        "{{\"type\":\"Feature\",\"properties\":{{\"parcel_id\":\"{number:05}\"}},\
         \"geometry\":{{\"type\":\"Polygon\",\"coordinates\":[[[{west},{south}],[{east},{south}],\
         [{east},{north}],[{west},{north}],[{west},{south}]]]}}}}"
    )
}

/// Five lawns; one record between them is broken.
fn lawns() -> Inputs {
    let mut lines: Vec<String> = (0..5).map(lawn).collect();
    lines.insert(2, "{\"type\":\"Feature\"".to_owned());
    let bytes = lines.join("\n").into_bytes();
    Inputs::of_turf(Source::from_bytes("lawns.geojsonl", bytes))
}

fn pass(files: &dyn Files, target: &Path, existing: Existing, resume: bool) -> Result<(), Issue> {
    let (stop, record) = (Stop::default(), record());
    let pass = Pass {
        files,
        target,
        existing,
        resume,
        record: &record,
        settings: &[],
        shard: None,
        read_off: &|plan| Record::of(&plan, &Wanted::default()),
        order: Order {
            jobs: NonZeroUsize::MIN,
            chunk: NonZeroUsize::new(2).unwrap(),
        },
        stop: &stop,
    };
    let planner = planner_by_rule();
    let open = || {
        Ok(Opened {
            layers: Neighbourhood::open(&lawns())?,
            plan: Box::new(|parcel| planner.plan(parcel)),
        })
    };
    pass.run(open, &mut Deaf).map(|_| ())
}

/// The bytes of a run that nothing happens to, and how many calls it makes.
fn undisturbed() -> (Vec<(String, Vec<u8>)>, u32) {
    let home = folder();
    let files = Faulty::new(Fault::Never);
    pass(&files, &home.path().join("out"), Existing::Keep, false).unwrap();
    assert_eq!(names(home.path()), ["out"]);
    let calls = files.calls.load(Ordering::Relaxed);
    assert!(calls > 40, "{calls}");
    (contents(&home.path().join("out")), calls)
}

#[test]
fn a_process_that_dies_in_any_call_is_gone_on_with_to_the_same_bytes() {
    let (expected, calls) = undisturbed();
    let mut resumed = 0;
    for call in 1..=calls {
        let home = folder();
        let target = home.path().join("out");
        let dead = pass(
            &Faulty::new(Fault::DiesAt(call)),
            &target,
            Existing::Keep,
            false,
        );
        // Where it died behind its last deed, the outputs are there.
        if dead.is_err() && target.exists() {
            assert!(contents(&target) == expected, "call {call}: half a folder");
        }
        pass(&Disk, &target, Existing::Keep, true).unwrap_or_else(|issue| {
            panic!("call {call} of {calls}: {issue}; {:?}", names(home.path()))
        });
        assert!(contents(&target) == expected, "call {call}: other bytes");
        let left: Vec<String> = names(home.path());
        assert_eq!(left, ["out"], "call {call} left something behind");
        resumed += 1;
    }
    println!("score: death in each call to the file system, then --resume: {resumed} of {calls}");
    assert_eq!(resumed, calls);
}

#[test]
fn a_second_death_while_going_on_does_no_harm() {
    let (expected, calls) = undisturbed();
    let mut tried = 0;
    for (first, second) in (8..calls).step_by(5).zip((3..calls).step_by(4)) {
        let home = folder();
        let target = home.path().join("out");
        let _ = pass(
            &Faulty::new(Fault::DiesAt(first)),
            &target,
            Existing::Keep,
            false,
        );
        let _ = pass(
            &Faulty::new(Fault::DiesAt(second)),
            &target,
            Existing::Keep,
            true,
        );
        pass(&Disk, &target, Existing::Keep, true).unwrap();
        assert!(contents(&target) == expected, "calls {first} and {second}");
        tried += 1;
    }
    assert!(tried >= 7, "{tried}");
}

#[test]
fn whichever_call_fails_the_run_ends_with_a_code_and_can_go_on() {
    let (expected, calls) = undisturbed();
    let mut failed = 0;
    for call in 1..=calls {
        let home = folder();
        let target = home.path().join("out");
        match pass(
            &Faulty::new(Fault::At(call)),
            &target,
            Existing::Keep,
            false,
        ) {
            Ok(()) => {}
            Err(issue) => {
                failed += 1;
                assert!(
                    matches!(issue.code, Code::OU02 | Code::OU03),
                    "call {call}: {issue}"
                );
                let left = names(home.path());
                let ours = |name: &String| {
                    name == "out" || *name == format!("out{ENDING}") || name.ends_with(".tmp")
                };
                assert!(left.iter().all(ours), "call {call}: {left:?}");
                pass(&Disk, &target, Existing::Overwrite, true).unwrap();
            }
        }
        assert!(contents(&target) == expected, "call {call}");
    }
    println!("score: failure of each call to the file system: {calls} of {calls}");
    assert!(failed + 6 >= calls, "{failed} of {calls}");
}

#[test]
fn an_existing_output_stays_whole_whatever_fails() {
    let (expected, calls) = undisturbed();
    let mut failed = 0;
    for call in 1..=calls + 30 {
        let home = folder();
        let target = home.path().join("out");
        std::fs::create_dir(&target).unwrap();
        std::fs::write(target.join("run.json"), "earlier").unwrap();
        std::fs::write(target.join("turf.geojson"), "earlier").unwrap();
        std::fs::write(target.join("map.project"), "mine").unwrap();
        let outcome = pass(
            &Faulty::new(Fault::At(call)),
            &target,
            Existing::Overwrite,
            false,
        );
        let read = |name: &str| std::fs::read_to_string(target.join(name)).unwrap_or_default();
        assert_eq!(read("map.project"), "mine");
        if outcome.is_err() && read("run.json") == "earlier" {
            assert_eq!(
                read("turf.geojson"),
                "earlier",
                "call {call}: two runs in one folder"
            );
            failed += 1;
        }
        if read("run.json") == record().to_text() {
            let ours: Vec<_> = contents(&target)
                .into_iter()
                .filter(|(name, _)| name != "map.project")
                .collect();
            assert!(ours == expected, "call {call}: not the files of one run");
        }
    }
    let tried = calls + 30;
    println!("score: existing output intact when a call fails: {tried} of {tried}");
    assert!(failed > 30, "{failed}");
}

#[test]
fn a_journal_is_refused_without_a_word_and_when_it_is_of_another_run() {
    let home = folder();
    let target = home.path().join("out");
    let dead = pass(
        &Faulty::new(Fault::DiesAt(12)),
        &target,
        Existing::Keep,
        false,
    );
    assert!(dead.is_err());
    let refused = pass(&Disk, &target, Existing::Keep, false).unwrap_err();
    assert_eq!(refused.code, Code::OU05, "{refused}");
    let journal = home.path().join(format!("out{ENDING}"));
    let bytes = std::fs::read(&journal).unwrap();
    std::fs::write(
        &journal,
        "a diary of somebody else, long enough to hold a frame",
    )
    .unwrap();
    let refused = pass(&Disk, &target, Existing::Keep, true).unwrap_err();
    assert_eq!(refused.code, Code::OU07, "{refused}");
    std::fs::write(&journal, bytes).unwrap();
    pass(&Disk, &target, Existing::Keep, true).unwrap();
}

#[test]
fn a_byte_that_changed_in_the_journal_is_found_and_planned_anew() {
    let (expected, _) = undisturbed();
    let home = folder();
    let target = home.path().join("out");
    let journal = home.path().join(format!("out{ENDING}"));
    // Far enough for a few records to be there.
    assert!(
        pass(
            &Faulty::new(Fault::DiesAt(14)),
            &target,
            Existing::Keep,
            false
        )
        .is_err()
    );
    let bytes = std::fs::read(&journal).unwrap();
    let header = 8 + u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
    assert!(bytes.len() > header + 1_000, "{}", bytes.len());
    let mut tried = 0;
    for at in (header..bytes.len()).step_by((bytes.len() - header) / 25) {
        let mut broken = bytes.clone();
        broken[at] ^= 0x40;
        std::fs::write(&journal, &broken).unwrap();
        pass(&Disk, &target, Existing::Keep, true).unwrap();
        assert!(contents(&target) == expected, "byte {at}");
        std::fs::remove_dir_all(&target).unwrap();
        tried += 1;
    }
    assert!(tried >= 25, "{tried}");
}
