//! The few things that writing asks of a file system, behind a trait, so that a test can let any of
//! them fail.

use std::fs;
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::record::{Row, Which};

/// Writes rows in one format, to one file or to one for each table.
pub trait Format {
    /// Writes one row; those of tables that the format does not hold are passed over.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn row(&mut self, which: Which, row: &Row) -> io::Result<()>;

    /// Ends the files and makes sure that they are on the disk.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn finish(self: Box<Self>) -> io::Result<()>;
}

/// An open file.
pub trait OpenFile: Write + Send {
    /// Waits until everything written is on the disk.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn sync(&mut self) -> io::Result<()>;

    /// Keeps other programs from writing to it until it is closed.
    ///
    /// # Errors
    /// `WouldBlock` when another one does.
    fn lock(&mut self) -> io::Result<()>;
}

/// A file system.
pub trait Files {
    /// Makes a file that must not exist yet.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn create(&self, path: &Path) -> io::Result<Box<dyn OpenFile>>;
    /// Opens a file that exists, cuts it off at a length, and writes behind that.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn go_on(&self, path: &Path, length: u64) -> io::Result<Box<dyn OpenFile>>;
    /// Waits until a file that another library wrote is on the disk.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn sync_file(&self, path: &Path) -> io::Result<()>;
    /// Makes a folder that must not exist yet; its parent must exist.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn create_folder(&self, path: &Path) -> io::Result<()>;
    /// Moves a file or folder; a file in the new place is replaced.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Removes an empty folder.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn remove_folder(&self, path: &Path) -> io::Result<()>;
    /// Waits until the entries of a folder are on the disk.
    ///
    /// # Errors
    /// Whatever the file system reports.
    fn sync_folder(&self, path: &Path) -> io::Result<()>;
}

/// The real file system.
pub struct Disk;

impl OpenFile for fs::File {
    fn sync(&mut self) -> io::Result<()> {
        self.sync_all()
    }

    fn lock(&mut self) -> io::Result<()> {
        self.try_lock().map_err(io::Error::from)
    }
}

impl Files for Disk {
    fn create(&self, path: &Path) -> io::Result<Box<dyn OpenFile>> {
        Ok(Box::new(fs::File::create_new(path)?))
    }

    fn go_on(&self, path: &Path, length: u64) -> io::Result<Box<dyn OpenFile>> {
        let mut file = fs::OpenOptions::new().write(true).open(path)?;
        OpenFile::lock(&mut file)?;
        file.set_len(length)?;
        file.seek(SeekFrom::End(0))?;
        Ok(Box::new(file))
    }

    fn sync_file(&self, path: &Path) -> io::Result<()> {
        fs::File::open(path)?.sync_all()
    }

    fn create_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir(path)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        fs::remove_dir(path)
    }

    fn sync_folder(&self, path: &Path) -> io::Result<()> {
        // A folder cannot be opened as a file everywhere; where it can, its entries are synced.
        if cfg!(unix) {
            fs::File::open(path)?.sync_all()
        } else {
            Ok(())
        }
    }
}

/// A file being written: buffered, and synced at the end.
pub struct Sink {
    path: PathBuf,
    file: BufWriter<Box<dyn OpenFile>>,
}

impl Sink {
    /// Makes the file.
    ///
    /// # Errors
    /// Whatever the file system reports.
    pub fn create(files: &dyn Files, path: &Path) -> io::Result<Sink> {
        Ok(Sink {
            path: path.to_owned(),
            file: BufWriter::with_capacity(1 << 16, files.create(path)?),
        })
    }

    /// Empties the buffer and waits until the file is on the disk.
    ///
    /// # Errors
    /// Whatever the file system reports.
    pub fn finish(mut self) -> io::Result<()> {
        self.file.flush()?;
        self.file
            .get_mut()
            .sync()
            .map_err(|error| named(&error, &self.path))
    }
}

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file
            .write(bytes)
            .map_err(|error| named(&error, &self.path))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush().map_err(|error| named(&error, &self.path))
    }
}

/// The same error with the file's name in front of what it says.
fn named(error: &io::Error, path: &Path) -> io::Error {
    let name = path
        .file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy();
    io::Error::new(error.kind(), format!("{name}: {error}"))
}
