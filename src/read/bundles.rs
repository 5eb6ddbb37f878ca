//! A stream of Arrow record batches to small neighbourhoods, one after the other.
//!
//! A row is a feature of one of the layers. All rows that bear on one parcel stand together and name it in
//! `plan_for`: the parcel, its lawns, and whatever near it a join may need, such as the lawns of neighbours
//! that an existing head could belong to. Such a bundle is joined by the code that joins whole layers, and only
//! the parcel that it is for is handed on. So a row may stand in many bundles, and a bundle may hold more than
//! is needed, without a change in what is planned.
//!
//! Two layouts are read. With a column `geometry` every row is a lawn, and what bears on a parcel is its
//! lawns. Otherwise there is a column for each layer, a structure with `geometry` and attributes, of which
//! one is filled in each row.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufReader, Read};
use std::sync::Arc;

use arrow_array::{Array, RecordBatch, StructArray, cast::AsArray};
use arrow_ipc::reader::StreamReader;
use arrow_schema::{DataType, Schema};

use super::columns::{Columns, GEOMETRY, NUMBER, holds_attributes, value};
use super::feature::Feature;
use super::fields::{Fields, Found, Least};
use super::ids::{MatchIds, RepeatedIds};
use super::join::{LINK_COLUMN, group_id};
use super::neighbourhood::Inputs;
use super::parcels::{Fingerprint, fingerprint, parcel_id};
use super::source::Source;
use crate::fence::fenced;
use crate::issue::{Code, Issue};

/// The column that names the parcel for which a row stands in its place.
const SUBJECT: &str = "plan_for";
/// The layers, by their columns, as messages name them.
const LAYERS: [(&str, &str); 5] = [
    ("parcels", "-:parcels"),
    ("turf", "-:turf"),
    ("heads", "-:heads"),
    ("obstacles", "-:obstacles"),
    ("supply", "-:supply"),
];
const PARCELS: usize = 0;
const TURF: usize = 1;
const HEADS: usize = 2;
const OBSTACLES: usize = 3;
const SUPPLY: usize = 4;
/// Most rows that may stand with one parcel.
const MOST_ROWS: usize = 1_000_000;
/// Rows of no parcel are dealt with in pieces of this many.
const PIECE_ROWS: usize = 10_000;
/// What ends a stream: the mark of a message, and that it has no bytes.
const END: [u8; 8] = [0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0];

/// The rows of one parcel, or some that belong to none.
pub(super) struct Bundle {
    id_field: Option<String>,
    repeated_ids: RepeatedIds,
    /// The layers that the stream has.
    layers: [Option<Vec<Feature>>; LAYERS.len()],
    /// Rows that are told of elsewhere: file and number.
    strangers: BTreeSet<(&'static str, u64)>,
}

/// The bundles of a stream.
pub(super) struct Bundles {
    rows: Rows,
    repeated_ids: RepeatedIds,
    waiting: Option<Row>,
    /// Parcels whose rows were read.
    closed: BTreeSet<Fingerprint>,
}

struct Row {
    subject: Option<String>,
    layer: usize,
    feature: Feature,
    is_home: bool,
}

impl Bundles {
    /// Reads what stands in front of the rows.
    ///
    /// # Errors
    /// `IN01`, `IN08`, `IN13`, `IN14`, `CR02` and `CR04`.
    pub(super) fn open(
        stream: Box<dyn Read + Send>,
        id_field: Option<&str>,
        repeated_ids: RepeatedIds,
    ) -> Result<Bundles, Issue> {
        Ok(Bundles {
            repeated_ids,
            rows: Rows::open(stream, id_field)?,
            waiting: None,
            closed: BTreeSet::new(),
        })
    }

    /// Columns of which nothing can be read.
    pub(super) fn notes(&self) -> Vec<Issue> {
        let layers = self.rows.layers.iter().flatten();
        layers
            .flat_map(|layer| layer.columns.unusable.clone())
            .collect()
    }

    /// The columns that parcels can have.
    pub(super) fn columns(&self) -> Vec<&str> {
        let layers = &self.rows.layers;
        let parcels = layers[PARCELS].as_ref().or(layers[TURF].as_ref());
        parcels.map_or_else(Vec::new, |layer| layer.columns.names().collect())
    }

    /// The next bundle.
    ///
    /// # Errors
    /// `IN13` when the stream breaks off; `IN14` when rows of a parcel stand in two places, or rows are
    /// not as they must be.
    pub(super) fn next(&mut self) -> Result<Option<Bundle>, Issue> {
        let first = match self.waiting.take() {
            Some(first) => first,
            None => match self.rows.next()? {
                Some(first) => first,
                None => return Ok(None),
            },
        };
        let subject = first.subject.clone();
        if let Some(id) = &subject
            && !self.closed.insert(fingerprint(id))
        {
            return Err(misplaced(format!(
                "rows for parcel `{id}` stand in two places; sort by `{SUBJECT}`"
            )));
        }
        let has = |layer: &Option<Layer>| layer.as_ref().map(|_| Vec::new());
        let mut bundle = Bundle {
            id_field: self.rows.id_field.clone(),
            repeated_ids: self.repeated_ids,
            layers: [PARCELS, TURF, HEADS, OBSTACLES, SUPPLY].map(|at| has(&self.rows.layers[at])),
            strangers: BTreeSet::new(),
        };
        let (mut next, mut count, mut numbers) = (Some(first), 0, BTreeSet::new());
        while let Some(row) = next {
            let is_cut_off = subject.is_none() && count >= PIECE_ROWS;
            if row.subject != subject || is_cut_off {
                self.waiting = Some(row);
                break;
            }
            count += 1;
            if count > MOST_ROWS {
                let found = format!("a parcel may have {MOST_ROWS} rows");
                return Err(Issue::new(Code::IN12, found).in_file("-"));
            }
            if !numbers.insert((row.layer, row.feature.number)) {
                let (number, layer) = (row.feature.number, LAYERS[row.layer].0);
                return Err(misplaced(format!(
                    "`{NUMBER}` {number} stands twice among the {layer} of a parcel"
                )));
            }
            bundle.add(row, subject.as_deref());
            next = self.rows.next()?;
        }
        if let (Some(id), Some(parcels)) = (&subject, &bundle.layers[PARCELS])
            && !parcels.iter().any(|parcel| parcel.selected)
        {
            return Err(misplaced(format!(
                "no parcel `{id}` stands among the rows for it"
            )));
        }
        Ok(Some(bundle))
    }
}

impl Bundle {
    /// Adds a row; parcels, and lawns where there are no parcels, are selected when they are what the
    /// bundle is for.
    fn add(&mut self, row: Row, subject: Option<&str>) {
        let Row {
            layer,
            mut feature,
            is_home,
            ..
        } = row;
        let id_field = self.id_field.as_deref();
        if layer == PARCELS {
            feature.selected = subject == Some(&parcel_id(&feature, id_field));
        } else if layer == TURF && self.layers[PARCELS].is_none() {
            let id = group_id(&feature, id_field.unwrap_or(LINK_COLUMN));
            feature.selected = subject == Some(&id);
        }
        let file = LAYERS[layer].1;
        if !is_home {
            self.strangers.insert((file, feature.number));
        }
        feature.name_place(file);
        if let Some(features) = &mut self.layers[layer] {
            feature.locator = features.len() as u64;
            features.push(feature);
        }
    }

    /// Joins its layers.
    ///
    /// # Errors
    /// As [`Fields::open`].
    pub(super) fn open(self) -> Result<(Fields, Found), Issue> {
        let Bundle {
            id_field,
            repeated_ids,
            layers: [parcels, turf, heads, obstacles, supply],
            strangers,
        } = self;
        let source = |layer: usize, features: Option<Vec<Feature>>| {
            features.map(|features| Source::of_features(LAYERS[layer].1, features))
        };
        let inputs = Inputs {
            parcels: source(PARCELS, parcels),
            heads: source(HEADS, heads),
            obstacles: source(OBSTACLES, obstacles),
            supply: source(SUPPLY, supply),
            id_field,
            repeated_ids,
            match_ids: MatchIds::Exact,
            ..Inputs::of_turf(Source::of_features(
                LAYERS[TURF].1,
                turf.unwrap_or_default(),
            ))
        };
        let (fields, mut found) = Fields::open(&inputs, Least::Nothing)?;
        found.orphans.retain(|issue| {
            let (file, number) = (issue.place.file.as_deref(), issue.place.feature);
            let place = file.zip(number);
            place.is_none_or(|place| !strangers.contains(&place))
        });
        Ok((fields, found))
    }
}

/// A layer of the stream.
struct Layer {
    /// Its column; `None` where the columns of the stream are its own.
    at: Option<usize>,
    columns: Columns,
    /// Rows so far.
    count: u64,
}

/// The rows of a stream.
struct Rows {
    reader: StreamReader<BufReader<Tail>>,
    id_field: Option<String>,
    layers: [Option<Layer>; LAYERS.len()],
    /// The column `plan_for`.
    subject: Option<usize>,
    batch: RecordBatch,
    /// The batch as a structure, and its columns that are structures.
    whole: StructArray,
    parts: BTreeMap<usize, StructArray>,
    /// The next row of the batch.
    at: usize,
    /// Rows of the batches before.
    before: u64,
}

impl Rows {
    fn open(stream: Box<dyn Read + Send>, id_field: Option<&str>) -> Result<Rows, Issue> {
        let tail = Tail {
            stream,
            last: [0; END.len()],
        };
        let reader = fenced(|| StreamReader::try_new_buffered(tail, None)).map_err(broken)?;
        let reader = reader.map_err(broken)?;
        let schema = reader.schema();
        let layers = layers(&schema)?;
        let subject = schema.index_of(SUBJECT).ok();
        if subject.is_none() && layers[TURF].as_ref().is_none_or(|turf| turf.at.is_some()) {
            let found = format!("there is no column `{SUBJECT}`");
            return Err(Issue::new(Code::IN08, found).in_file("-"));
        }
        if let Some(at) = subject
            && !holds_attributes(schema.field(at).data_type())
        {
            let kind = schema.field(at).data_type();
            return Err(misplaced(format!("`{SUBJECT}` is {kind}; text is needed")));
        }
        if let Some(column) = id_field {
            let named = layers[PARCELS].as_ref().or(layers[TURF].as_ref());
            if !named.is_some_and(|layer| layer.columns.names().any(|name| name == column)) {
                return Err(Issue::new(Code::IN08, format!("`{column}`")).in_file("-"));
            }
        }
        let batch = RecordBatch::new_empty(Arc::clone(&schema));
        Ok(Rows {
            whole: StructArray::from(batch.clone()),
            reader,
            id_field: id_field.map(str::to_owned),
            layers,
            subject,
            batch,
            parts: BTreeMap::new(),
            at: 0,
            before: 0,
        })
    }

    fn next(&mut self) -> Result<Option<Row>, Issue> {
        while self.at == self.batch.num_rows() {
            if !self.next_batch()? {
                return Ok(None);
            }
        }
        let at = self.at;
        self.at += 1;
        let place = self.before + at as u64 + 1;
        let mut filled = None;
        for (number, layer) in self.layers.iter_mut().enumerate() {
            let Some(layer) = layer else { continue };
            let rows = match layer.at {
                None => &self.whole,
                Some(column) => match self.parts.get(&column) {
                    Some(part) if part.is_valid(at) => part,
                    _ => continue,
                },
            };
            if filled.is_some() {
                return Err(misplaced(format!("row {place} is of two layers")));
            }
            layer.count += 1;
            let feature = layer.columns.feature(rows, at, layer.count)?;
            filled = Some((number, feature, layer.columns.is_home(rows, at)));
        }
        let Some((layer, feature, is_home)) = filled else {
            return Err(misplaced(format!("row {place} is of no layer")));
        };
        let subject = match self.subject {
            Some(column) => value(self.batch.column(column).as_ref(), at).map(|id| id.text()),
            None => {
                let column = self.id_field.as_deref().unwrap_or(LINK_COLUMN);
                Some(group_id(&feature, column))
            }
        };
        if subject.is_none() && self.layers[PARCELS].is_none() {
            return Err(misplaced(format!("row {place} has no `{SUBJECT}`")));
        }
        Ok(Some(Row {
            subject,
            layer,
            feature,
            is_home,
        }))
    }

    /// Reads the next batch; false at the end of the stream.
    fn next_batch(&mut self) -> Result<bool, Issue> {
        self.before += self.batch.num_rows() as u64;
        self.at = 0;
        // The library panics on some streams that are broken.
        let Some(batch) = fenced(|| self.reader.next()).map_err(broken)? else {
            self.batch = self.batch.slice(0, 0);
            return self.end().map(|()| false);
        };
        self.batch = batch.map_err(broken)?;
        self.whole = StructArray::from(self.batch.clone());
        let columns = self.layers.iter().flatten().filter_map(|layer| layer.at);
        self.parts = columns
            .map(|at| (at, self.batch.column(at).as_struct().clone()))
            .collect();
        Ok(true)
    }

    /// A stream may end anywhere between two batches by its layout. Here it must say so: what comes
    /// through a pipe ends as well when its writer dies.
    fn end(&mut self) -> Result<(), Issue> {
        let mut more = [0];
        let followed = self.reader.get_mut().read(&mut more);
        let tail = self.reader.get_ref().get_ref();
        match followed {
            Ok(0) if tail.last == END => Ok(()),
            Ok(0) => Err(broken("it ends without the mark of its end")),
            Ok(_) => Err(broken("bytes follow its end")),
            Err(fault) => Err(broken(fault)),
        }
    }
}

/// The layers of a stream.
fn layers(schema: &Schema) -> Result<[Option<Layer>; LAYERS.len()], Issue> {
    let mut layers = [None, None, None, None, None];
    if schema.index_of(GEOMETRY).is_ok() {
        layers[TURF] = Some(Layer {
            at: None,
            columns: Columns::of(schema.fields(), LAYERS[TURF].1, &[SUBJECT])?,
            count: 0,
        });
        return Ok(layers);
    }
    for (at, field) in schema.fields().iter().enumerate() {
        if field.name() == SUBJECT {
            continue;
        }
        let known = LAYERS.iter().position(|(name, _)| name == field.name());
        let Some(layer) = known else {
            let names = LAYERS.map(|(name, _)| name).join(", ");
            let found = format!(
                "`{}` is no layer; there may be `{GEOMETRY}` with attributes, or {names}",
                field.name()
            );
            return Err(misplaced(found));
        };
        let DataType::Struct(fields) = field.data_type() else {
            let found = format!(
                "`{}` is {}; a structure is needed",
                field.name(),
                field.data_type()
            );
            return Err(misplaced(found));
        };
        layers[layer] = Some(Layer {
            at: Some(at),
            columns: Columns::of(fields, LAYERS[layer].1, &[])?,
            count: 0,
        });
    }
    if layers[TURF].is_none() {
        let found = format!("there is neither `{GEOMETRY}` nor `turf`");
        return Err(Issue::new(Code::IN08, found).in_file("-"));
    }
    Ok(layers)
}

fn misplaced(found: String) -> Issue {
    Issue::new(Code::IN14, found).in_file("-")
}

/// The issue of a stream that cannot be read on.
fn broken(found: impl ToString) -> Issue {
    Issue::new(Code::IN13, found.to_string()).in_file("-")
}

/// A stream that remembers the last bytes that were read from it.
struct Tail {
    stream: Box<dyn Read + Send>,
    last: [u8; END.len()],
}

impl Read for Tail {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let count = self.stream.read(into)?;
        let read = &into[..count];
        let kept = END.len() - count.min(END.len());
        self.last.rotate_right(kept);
        self.last[kept..].copy_from_slice(&read[count - (END.len() - kept)..]);
        Ok(count)
    }
}
