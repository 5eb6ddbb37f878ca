//! Turf as it comes, from a sequence that is read once: the lawns of a parcel must stand
//! together.

use std::collections::{BTreeSet, VecDeque};

use super::feature::Feature;
use super::ids::{MissingIds, numbered};
use super::join::group_id;
use super::layer::Layer;
use super::neighbourhood::ReadCounts;
use super::parcels::{Fingerprint, fingerprint};
use super::turf::Joined;
use crate::issue::Issue;

/// Most bad records that may stand between the lawns of one parcel.
const MOST_SET_ASIDE: usize = 1_000;

/// What comes next.
pub(super) enum Streamed {
    /// The lawns of one parcel, and its id.
    Group(String, Vec<(Feature, Joined)>),
    /// A lawn of a parcel that came before, with others in between.
    Late(String, Box<Feature>),
}

/// A turf layer read once.
pub(super) struct Stream {
    turf: Layer,
    column: String,
    /// Rows that were read and not yet handed over.
    waiting: VecDeque<Feature>,
    /// Parcels that were handed over.
    closed: BTreeSet<Fingerprint>,
    missing: MissingIds,
}

impl Stream {
    /// Reads the first row.
    ///
    /// # Errors
    /// What ends a layer, and `IN05` if there is no row.
    pub(super) fn open(
        turf: Layer,
        column: &str,
        counts: &mut ReadCounts,
    ) -> Result<Stream, Issue> {
        let (column, closed) = (column.to_owned(), BTreeSet::new());
        let mut stream = Stream {
            turf,
            column,
            waiting: VecDeque::new(),
            closed,
            missing: MissingIds::default(),
        };
        match stream.read(counts)? {
            Some(first) => {
                stream.waiting.push_back(first);
                Ok(stream)
            }
            None => Err(stream.turf.nothing_left(counts.turf)),
        }
    }

    /// The input's name.
    pub(super) fn name(&self) -> &str {
        self.turf.name()
    }

    /// The box around what was read so far.
    pub(super) fn extent(&self) -> Option<[f64; 4]> {
        self.turf.extent()
    }

    /// `IN18` where rows without an id came; complete at the end.
    pub(super) fn missing_ids(&self) -> Option<Issue> {
        self.missing.issue(self.turf.name())
    }

    /// The next parcel, or a row that came too late for its parcel.
    pub(super) fn next(&mut self, counts: &mut ReadCounts) -> Result<Option<Streamed>, Issue> {
        let first = match self.waiting.pop_front() {
            Some(first) => first,
            None => match self.read(counts)? {
                Some(first) => first,
                None => return Ok(None),
            },
        };
        let has_id = first.text(&self.column).is_some();
        self.missing.add(first.number, has_id);
        let id = group_id(&first, &self.column);
        if !has_id {
            let is_used = |id: &str| self.closed.contains(&fingerprint(id));
            let name = match is_used(&id) {
                true => numbered(&id, is_used),
                false => id,
            };
            self.closed.insert(fingerprint(&name));
            return Ok(Some(Streamed::Group(name, vec![(first, Joined::ById)])));
        }
        if !self.closed.insert(fingerprint(&id)) {
            return Ok(Some(Streamed::Late(id, Box::new(first))));
        }
        let mut lawns = vec![(first, Joined::ById)];
        // Bad records do not part the lawns of a parcel; they come behind it.
        let mut set_aside = VecDeque::new();
        loop {
            let next = match self.waiting.pop_front() {
                Some(next) => Some(next),
                None => self.read(counts)?,
            };
            let Some(next) = next else { break };
            if next.text(&self.column).as_deref() == Some(&id) {
                self.missing.add(next.number, true);
                lawns.push((next, Joined::ById));
                continue;
            }
            let bad = next.shape.is_err() && next.attributes.0.is_empty();
            set_aside.push_back(next);
            if !bad || set_aside.len() > MOST_SET_ASIDE {
                break;
            }
        }
        set_aside.append(&mut self.waiting);
        self.waiting = set_aside;
        Ok(Some(Streamed::Group(id, lawns)))
    }

    /// The next row that the filters let through.
    fn read(&mut self, counts: &mut ReadCounts) -> Result<Option<Feature>, Issue> {
        while let Some(feature) = self.turf.next()? {
            counts.turf += 1;
            if feature.selected {
                counts.turf_joined += 1;
                return Ok(Some(feature));
            }
            counts.turf_left_out += 1;
        }
        Ok(None)
    }
}
