//! The output folder: complete, or not there at all.
//!
//! Everything is written into a temporary folder beside the one asked for. When the last file is on
//! the disk, the temporary folder takes the name of the output; or, where the output exists and
//! may be overwritten, its files replace the old ones one by one. `run.json` goes first and comes
//! last in that, so a folder with a `run.json` holds files of one run only. A run that breaks off
//! removes what it made and nothing else.

use std::io;
use std::path::{Path, PathBuf};

use super::files::{Files, Sink};
use crate::issue::{Code, Issue};

/// The file that marks a finished run.
pub const MARK: &str = "run.json";

/// Most temporary folders of one process beside one output.
const MOST_ATTEMPTS: u32 = 1_000;

/// What to do when the output folder exists.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Refuse.
    Keep,
    /// Replace the files that this run writes.
    Overwrite,
}

/// A folder that is being filled.
pub struct Staging<'f> {
    files: &'f dyn Files,
    target: PathBuf,
    parent: PathBuf,
    folder: PathBuf,
    names: Vec<String>,
    /// Of these, the files that another library makes.
    foreign: Vec<String>,
    /// Folders in the folder.
    inner: Vec<String>,
    /// Files of an earlier run in the target.
    earlier: Vec<String>,
    finished: bool,
}

/// Refuses an output folder that exists, unless it may be overwritten.
///
/// # Errors
/// `OU01` when it exists, `OU02` when what is there is not a folder.
pub fn allowed(target: &Path, existing: Existing) -> Result<(), Issue> {
    match std::fs::symlink_metadata(target) {
        Err(_) => Ok(()),
        Ok(_) if existing == Existing::Keep => Err(at(Code::OU01, "", target)),
        Ok(_) if target.is_dir() => Ok(()),
        Ok(_) => Err(at(Code::OU02, "a file of this name is in the way", target)),
    }
}

/// The folder in which an output lies.
///
/// # Errors
/// `OU02` when the output has no name of its own.
pub fn parent_of(target: &Path) -> Result<PathBuf, Issue> {
    if target.file_name().is_none() {
        let found = "the output must be a folder with a name of its own";
        return Err(at(Code::OU02, found, target));
    }
    Ok(match target.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    })
}

/// The path beside an output whose name has this ending behind that of the output.
///
/// # Errors
/// `OU02` when the output has no name of its own.
pub fn beside(target: &Path, ending: &str) -> Result<PathBuf, Issue> {
    parent_of(target)?;
    let mut name = target.file_name().unwrap_or_default().to_owned();
    name.push(ending);
    Ok(target.with_file_name(name))
}

/// Removes the temporary folders that a run of this process number left when it was killed.
pub fn clear_up_after(target: &Path, process: u32) -> Result<(), Issue> {
    for attempt in 0..MOST_ATTEMPTS {
        let folder = beside(target, &format!(".{process}-{attempt}.tmp"))?;
        if !folder.is_dir() {
            break;
        }
        // What cannot be removed does no harm: it lies at no final path.
        let _ = std::fs::remove_dir_all(&folder);
    }
    Ok(())
}

impl<'f> Staging<'f> {
    /// Makes the temporary folder beside the target, and the target's parents where they are
    /// missing.
    ///
    /// # Errors
    /// `OU01` and `OU02` as [`allowed`]; `OU02` when the folder cannot be made.
    pub fn begin(
        files: &'f dyn Files,
        target: &Path,
        existing: Existing,
    ) -> Result<Staging<'f>, Issue> {
        allowed(target, existing)?;
        let cannot = |error: io::Error| at(Code::OU02, error.to_string(), target);
        let parent = parent_of(target)?;
        std::fs::create_dir_all(&parent).map_err(cannot)?;
        let mut attempt = 0_u32;
        let folder = loop {
            let ending = format!(".{}-{attempt}.tmp", std::process::id());
            let folder = beside(target, &ending)?;
            match files.create_folder(&folder) {
                Ok(()) => break folder,
                Err(error)
                    if error.kind() == io::ErrorKind::AlreadyExists && attempt < MOST_ATTEMPTS =>
                {
                    attempt += 1
                }
                Err(error) => return Err(cannot(error)),
            }
        };
        Ok(Staging {
            files,
            target: target.to_owned(),
            parent,
            folder,
            names: Vec::new(),
            foreign: Vec::new(),
            inner: Vec::new(),
            earlier: Vec::new(),
            finished: false,
        })
    }

    /// Makes a file in the folder, or in a folder of it: `rain/1.tif`.
    ///
    /// # Errors
    /// `OU03` when it cannot be made.
    pub fn create(&mut self, name: &str) -> Result<Sink, Issue> {
        if let Some((inner, _)) = name.split_once('/')
            && !self.inner.iter().any(|known| known == inner)
        {
            let made = self.files.create_folder(&self.folder.join(inner));
            made.map_err(|error| failed(&error))?;
            self.inner.push(inner.to_owned());
        }
        let sink =
            Sink::create(self.files, &self.folder.join(name)).map_err(|error| failed(&error))?;
        self.names.push(name.to_owned());
        Ok(sink)
    }

    /// The path of a file that another library makes in the folder. That library must have closed it,
    /// and its writer must have seen that it is whole, before the folder is put in its place.
    pub fn path_for(&mut self, name: &str) -> PathBuf {
        self.foreign.push(name.to_owned());
        self.names.push(name.to_owned());
        self.folder.join(name)
    }

    /// Names files of an earlier run in the target: those that this run does not write are removed.
    pub fn supersede(&mut self, earlier: Vec<String>) {
        self.earlier = earlier;
    }

    /// Puts the folder in its place. Every file must be finished.
    ///
    /// # Errors
    /// `OU03` when a step fails; what was made in the temporary folder is then removed.
    pub fn finish(mut self) -> Result<(), Issue> {
        for name in &self.foreign {
            let synced = self.files.sync_file(&self.folder.join(name));
            synced.map_err(|error| {
                failed(&io::Error::new(error.kind(), format!("{name}: {error}")))
            })?;
        }
        for inner in &self.inner {
            let synced = self.files.sync_folder(&self.folder.join(inner));
            synced.map_err(|error| failed(&error))?;
        }
        self.files
            .sync_folder(&self.folder)
            .map_err(|error| failed(&error))?;
        if self.target.is_dir() {
            self.replace().map_err(|error| failed(&error))?;
        } else {
            self.files
                .rename(&self.folder, &self.target)
                .map_err(|error| failed(&error))?;
        }
        self.finished = true;
        self.files
            .sync_folder(&self.parent)
            .map_err(|error| failed(&error))
    }

    fn replace(&self) -> io::Result<()> {
        let mark = self.target.join(MARK);
        if mark.exists() {
            self.files.remove(&mark)?;
        }
        for name in self
            .earlier
            .iter()
            .filter(|name| !self.names.contains(name))
        {
            self.files.remove(&self.target.join(name))?;
        }
        for inner in &self.inner {
            let inner = self.target.join(inner);
            if !inner.is_dir() {
                self.files.create_folder(&inner)?;
            }
        }
        for name in self.names.iter().filter(|name| *name != MARK) {
            self.files
                .rename(&self.folder.join(name), &self.target.join(name))?;
        }
        for inner in &self.inner {
            self.files.sync_folder(&self.target.join(inner))?;
            self.files.remove_folder(&self.folder.join(inner))?;
        }
        for entry in std::fs::read_dir(&self.target)? {
            let name = entry?.file_name();
            let is_stale =
                |name: &str| is_network(name) && !self.names.iter().any(|new| new == name);
            if name.to_str().is_some_and(is_stale) {
                self.files.remove(&self.target.join(name))?;
            }
        }
        self.files.sync_folder(&self.target)?;
        if self.names.iter().any(|name| name == MARK) {
            self.files.rename(&self.folder.join(MARK), &mark)?;
            self.files.sync_folder(&self.target)?;
        }
        self.files.remove_folder(&self.folder)
    }
}

impl Drop for Staging<'_> {
    fn drop(&mut self) {
        if !self.finished {
            for name in &self.names {
                // Nothing more can be done about a file that cannot be removed.
                let _ = self.files.remove(&self.folder.join(name));
            }
            // A library that breaks off may leave files of its own beside the one it was making.
            if !self.foreign.is_empty()
                && let Ok(left) = std::fs::read_dir(&self.folder)
            {
                for left in left.flatten().filter(|left| left.path().is_file()) {
                    let _ = self.files.remove(&left.path());
                }
            }
            for inner in &self.inner {
                let _ = self.files.remove_folder(&self.folder.join(inner));
            }
            let _ = self.files.remove_folder(&self.folder);
        }
    }
}

/// Whether a file is one of the solver's input files, of which every run writes others.
fn is_network(name: &str) -> bool {
    let number = name
        .strip_prefix("network-")
        .and_then(|rest| rest.split_once('-'));
    number.is_some_and(|(number, rest)| {
        number.bytes().all(|b| b.is_ascii_digit()) && rest.ends_with(".inp")
    })
}

/// The issue of a write that failed.
pub fn failed(error: &io::Error) -> Issue {
    Issue::new(Code::OU03, error.to_string())
}

fn at(code: Code, found: impl Into<String>, target: &Path) -> Issue {
    Issue::new(code, found).in_file(target.display().to_string())
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;
    use std::io::Write;

    use super::*;
    use crate::write::files::{Disk, OpenFile};

    /// A file system whose n-th call fails.
    struct Failing<'c> {
        calls: &'c Cell<u32>,
        fails_at: u32,
    }

    impl Failing<'_> {
        fn step(&self) -> io::Result<()> {
            self.calls.set(self.calls.get() + 1);
            if self.calls.get() == self.fails_at {
                Err(io::Error::other("no space"))
            } else {
                Ok(())
            }
        }
    }

    impl Files for Failing<'_> {
        fn create(&self, path: &Path) -> io::Result<Box<dyn OpenFile>> {
            self.step()?;
            Disk.create(path)
        }
        fn go_on(&self, path: &Path, length: u64) -> io::Result<Box<dyn OpenFile>> {
            self.step()?;
            Disk.go_on(path, length)
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
            Disk.remove(path)
        }
        fn remove_folder(&self, path: &Path) -> io::Result<()> {
            Disk.remove_folder(path)
        }
        fn sync_folder(&self, path: &Path) -> io::Result<()> {
            self.step()?;
            Disk.sync_folder(path)
        }
    }

    fn write_all(
        files: &dyn Files,
        target: &Path,
        existing: Existing,
        text: &str,
    ) -> Result<(), Issue> {
        let mut staging = Staging::begin(files, target, existing)?;
        for name in ["turf.geojson", MARK] {
            let mut sink = staging.create(name)?;
            sink.write_all(text.as_bytes())
                .and_then(|()| sink.finish())
                .map_err(|error| failed(&error))?;
        }
        staging.finish()
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn the_folder_appears_complete_and_is_refused_the_second_time() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("a/out");
        write_all(&Disk, &target, Existing::Keep, "one").unwrap();
        assert_eq!(names(&target), [MARK, "turf.geojson"]);
        assert_eq!(names(target.parent().unwrap()), ["out"]);
        assert_eq!(
            write_all(&Disk, &target, Existing::Keep, "two")
                .unwrap_err()
                .code,
            Code::OU01
        );
        assert_eq!(std::fs::read_to_string(target.join(MARK)).unwrap(), "one");
    }

    #[test]
    fn overwriting_replaces_our_files_and_leaves_others() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        write_all(&Disk, &target, Existing::Keep, "one").unwrap();
        std::fs::write(target.join("map.project"), "mine").unwrap();
        write_all(&Disk, &target, Existing::Overwrite, "two").unwrap();
        assert_eq!(names(&target), ["map.project", MARK, "turf.geojson"]);
        assert_eq!(names(home.path()), ["out"]);
        assert_eq!(
            std::fs::read_to_string(target.join("turf.geojson")).unwrap(),
            "two"
        );
        assert_eq!(
            std::fs::read_to_string(target.join("map.project")).unwrap(),
            "mine"
        );
    }

    #[test]
    fn whichever_call_fails_nothing_half_done_looks_finished() {
        let mut failures = 0;
        for fails_at in 1..20 {
            let home = tempfile::tempdir().unwrap();
            let target = home.path().join("out");
            write_all(&Disk, &target, Existing::Keep, "one").unwrap();
            let calls = Cell::new(0);
            let files = Failing {
                calls: &calls,
                fails_at,
            };
            let outcome = write_all(&files, &target, Existing::Overwrite, "two");
            let texts: Vec<Option<String>> = ["turf.geojson", MARK]
                .iter()
                .map(|n| std::fs::read_to_string(target.join(n)).ok())
                .collect();
            if let Err(issue) = outcome {
                failures += 1;
                assert!(matches!(issue.code, Code::OU02 | Code::OU03), "{issue}");
                // With its mark, the folder holds one run; without it, it is known to be unfinished.
                if texts[1].is_some() {
                    assert_eq!(texts[0], texts[1], "call {fails_at}");
                }
            } else {
                assert_eq!(texts, [Some("two".to_owned()), Some("two".to_owned())]);
            }
            let left = names(home.path());
            assert_eq!(left, ["out"], "call {fails_at} left something behind");
        }
        assert!(failures >= 6, "{failures}");
    }

    #[test]
    fn files_in_an_inner_folder_go_with_the_others() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        let write = |text: &str, name: &str, existing| {
            let mut staging = Staging::begin(&Disk, &target, existing).unwrap();
            staging.supersede(super::super::formats::earlier(&target));
            for name in [name, "turf.geojson", MARK] {
                let mut sink = staging.create(name).unwrap();
                sink.write_all(text.as_bytes()).unwrap();
                sink.finish().unwrap();
            }
            staging.finish().unwrap();
        };
        write("one", "rain/1-1-repair.tif", Existing::Keep);
        std::fs::write(target.join("rain/mine.tif"), "mine").unwrap();
        std::fs::write(target.join("heads.fgb"), "of the earlier run").unwrap();
        write("two", "rain/1-2-repair.tif", Existing::Overwrite);
        assert_eq!(names(&target), ["rain", MARK, "turf.geojson"]);
        // The earlier run's raster is gone, what is not ours is left alone.
        assert_eq!(names(&target.join("rain")), ["1-2-repair.tif", "mine.tif"]);
        assert_eq!(names(home.path()), ["out"]);

        let mut broken = Staging::begin(&Disk, &target, Existing::Overwrite).unwrap();
        broken.create("rain/1-1-repair.tif").unwrap();
        drop(broken);
        assert_eq!(names(home.path()), ["out"]);
    }

    #[test]
    fn a_run_that_breaks_off_leaves_no_folder() {
        let home = tempfile::tempdir().unwrap();
        let target = home.path().join("out");
        let mut staging = Staging::begin(&Disk, &target, Existing::Keep).unwrap();
        staging.create("turf.geojson").unwrap();
        drop(staging);
        assert!(names(home.path()).is_empty());
    }
}
