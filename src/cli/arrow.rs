//! `evenfall plan --arrow`: record batches in on stdin, record batches out on stdout, so that an engine for
//! many machines can hold the data and do the sharing out.

use std::cell::Cell;
use std::io::{self, BufWriter, ErrorKind, Write};

use super::design::DesignArgs;
use super::inputs::InputArgs;
use super::plan::Telling;
use super::screen::{Ending, tell};
use super::signals::stop_on_signals;
use super::story::counts;
use crate::batch::pass::Hearing;
use crate::batch::{self, Order};
use crate::issue::{Code, Issue};
use crate::write::arrow::ArrowStream;
use crate::write::record::{Record, Which, failures};
use crate::write::summary::Summary;
use crate::write::wanted::{Drawn, Tables, Wanted};

/// Room for what is on its way to stdout \[bytes\].
const BUFFER_BYTES: usize = 1 << 20;

/// A run between two streams.
pub(super) struct Streamed<'a> {
    pub(super) inputs: &'a InputArgs,
    pub(super) design: &'a DesignArgs,
    /// The tables that go out.
    pub(super) tables: &'a [String],
    pub(super) drawn: Drawn,
    pub(super) order: Order,
    pub(super) quiet: bool,
    pub(super) verbose: bool,
}

impl Streamed<'_> {
    /// Plans what comes in. Nothing is held but what is being planned and what waits for its batch.
    pub(super) fn run(&self) -> Result<u8, Ending> {
        let record = self.design.record()?;
        let layers = self.inputs.resolve_streamed(record.as_ref())?;
        let design = self
            .design
            .resolve(layers.program.as_ref(), record.as_ref())?;
        let tables: Vec<Which> = Which::ALL
            .into_iter()
            .filter(|which| self.tables.iter().any(|name| name == which.table().name))
            .collect();
        let (climates, gaps) = layers.climates()?;
        if !self.quiet {
            gaps.iter().for_each(|note| tell(&note.to_string()));
        }
        let planner = design.planner(climates)?;
        let mut neighbourhood = layers.open_streamed()?;
        let program = design.program(neighbourhood.columns().as_deref())?;
        let wanted = Wanted {
            throws: self.drawn,
            tables: Tables::parse(self.tables)?,
            ..Wanted::default()
        };
        let mut telling = Telling::new(
            self.quiet,
            self.verbose,
            "ask for the table `failures` to have all",
        );
        let stop = stop_on_signals()?;
        let stdout = Stdout::default();
        let sink = BufWriter::with_capacity(BUFFER_BYTES, &stdout);
        let mut stream = ArrowStream::begin(sink, &tables).map_err(|error| failed(&error))?;
        let mut summary = Summary::default();
        telling.begins(None);
        let planned = batch::run(
            neighbourhood.by_ref(),
            |parcel| {
                let mut plan = planner.plan(parcel);
                program.settle(&mut plan);
                plan
            },
            |plan| Record::of(&plan, &wanted),
            self.order,
            &stop,
            |record| {
                summary.add(&record.figures);
                telling.passed();
                telling.issues(&record.told);
                stream.add(&record).map_err(|error| failed(&error))
            },
        );
        let ended = planned.and_then(|()| {
            let orphans = neighbourhood.orphans();
            summary.add_orphans(orphans);
            telling.issues(orphans);
            telling.planned();
            let rows: Vec<_> = failures(orphans, None).collect();
            let rest = if rows.is_empty() {
                Ok(())
            } else {
                stream.rows(None, &rows)
            };
            let ended = rest.and_then(|()| stream.finish());
            ended.map_err(|error| failed(&error))
        });
        if stdout.has_no_reader() {
            return Err(Ending::NoReader);
        }
        ended?;
        if !self.quiet {
            tell(counts(&summary).trim_end());
        }
        Ok(u8::from(summary.has_failures()))
    }
}

fn failed(error: &io::Error) -> Issue {
    Issue::new(Code::OU03, format!("stdout: {error}"))
}

/// Stdout, and whether anybody reads it.
#[derive(Default)]
struct Stdout {
    reader_left: Cell<bool>,
}

impl Stdout {
    fn has_no_reader(&self) -> bool {
        self.reader_left.get()
    }

    fn watch<T>(&self, written: io::Result<T>) -> io::Result<T> {
        if let Err(error) = &written {
            let left = error.kind() == ErrorKind::BrokenPipe;
            self.reader_left.set(left || self.reader_left.get());
        }
        written
    }
}

impl Write for &Stdout {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.watch(io::stdout().write(bytes))
    }

    fn flush(&mut self) -> io::Result<()> {
        self.watch(io::stdout().flush())
    }
}
