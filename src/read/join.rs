//! Which turf belongs to which parcel, found in one pass over the turf layer.

use std::collections::BTreeMap;

use super::feature::Feature;
use super::fields::Least;
use super::filter::Filter;
use super::heads::HeadField;
use super::layer::{Layer, Role};
use super::neighbourhood::ReadCounts;
use super::parcels::{Fingerprint, Roll, fingerprint};
use super::source::Source;
use super::stream::Stream;
use super::turf::Joined;
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// The column that links turf to its parcel.
pub(super) const LINK_COLUMN: &str = "parcel_id";

/// In what order the turf comes.
pub(super) enum Plan {
    /// By the parcel layer.
    Parcels {
        roll: Box<Roll>,
        turf: Layer,
        links: Vec<Link>,
        entry: u32,
        link: usize,
    },
    /// By the first row of each parcel.
    Groups {
        turf: Layer,
        column: String,
        links: Vec<Link>,
        link: usize,
    },
    /// As it stands.
    Stream(Box<Stream>),
    /// There is none.
    #[cfg_attr(
        not(feature = "arrow"),
        allow(dead_code, reason = "only record batches need it")
    )]
    Nothing,
}

/// A turf row that waits for its parcel.
#[derive(Debug, Clone, Copy)]
pub(super) struct Link {
    /// Place in the parcel layer, or among the groups.
    pub parcel: u32,
    number: u32,
    locator: u64,
    joined: Joined,
}

impl Link {
    fn new(feature: &Feature, parcel: u32, joined: Joined, file: &str) -> Result<Link, Issue> {
        match u32::try_from(feature.number) {
            Ok(number) => Ok(Link {
                parcel,
                number,
                locator: feature.locator,
                joined,
            }),
            Err(_) => {
                let found = "a layer may have 4,294,967,295 rows";
                Err(Issue::new(Code::IN12, found).in_file(file))
            }
        }
    }
}

/// Reads the run of rows, from a place in the links on, that belong to one parcel.
pub(super) fn fetch_run(
    turf: &mut Layer,
    links: &[Link],
    link: &mut usize,
    parcel: u32,
) -> Result<Vec<(Feature, Joined)>, Issue> {
    let mut lawns = Vec::new();
    while let Some(found) = links.get(*link).filter(|found| found.parcel == parcel) {
        lawns.push((
            turf.fetch(found.locator, u64::from(found.number))?,
            found.joined,
        ));
        *link += 1;
    }
    Ok(lawns)
}

/// The id of a lawn's parcel when there is no parcel layer.
pub(super) fn group_id(feature: &Feature, column: &str) -> String {
    feature
        .text(column)
        .unwrap_or_else(|| feature.number.to_string())
}

/// What is gathered while the turf layer is read through for the first time.
pub(super) struct Opening<'a> {
    pub heads: Option<&'a mut HeadField>,
    pub orphans: Vec<Issue>,
    pub counts: ReadCounts,
    pub least: Least,
}

impl Opening<'_> {
    /// Joins turf to the parcels of a layer.
    pub(super) fn by_parcel(&mut self, mut roll: Roll, source: &Source) -> Result<Plan, Issue> {
        let mut turf = Layer::open(source, Role::Turf, &Filter::default())?;
        let mut links = Vec::new();
        while let Some(feature) = turf.next()? {
            self.counts.turf += 1;
            let named = feature.text(LINK_COLUMN);
            let found = match &named {
                Some(id) => match roll.find(id) {
                    Some(parcel) => Ok((parcel, Joined::ById)),
                    None => Err(Issue::new(Code::JO01, format!("parcel_id `{id}`"))),
                },
                None => by_place(&mut roll, &feature)?,
            };
            if let Some(heads) = &mut self.heads {
                let parcel = found.as_ref().ok();
                let parcel = parcel.and_then(|&(parcel, _)| roll.fingerprint(parcel));
                heads.claim(&feature, parcel, true);
            }
            match found {
                Ok((parcel, joined)) if roll.is_selected(parcel) => {
                    self.counts.turf_joined += 1;
                    links.push(Link::new(&feature, parcel, joined, turf.name())?);
                }
                Ok(_) => self.counts.turf_left_out += 1,
                Err(issue) => {
                    self.counts.turf_orphaned += 1;
                    self.orphans
                        .push(issue.in_file(turf.name()).at_feature(feature.number));
                }
            }
        }
        if self.counts.turf == 0 && self.least == Least::OneFeature {
            return Err(turf.nothing_left(0));
        }
        links.sort_unstable_by_key(|link| (link.parcel, link.number));
        self.counts.parcels_left_out = u64::from(roll.len()) - roll.selected();
        Ok(Plan::Parcels {
            roll: Box::new(roll),
            turf,
            links,
            entry: 0,
            link: 0,
        })
    }

    /// Groups turf by a column; also says how many parcels that makes, if it is known.
    pub(super) fn by_turf(
        &mut self,
        source: &Source,
        column: &str,
        filter: &Filter,
    ) -> Result<(Plan, Option<u64>), Issue> {
        // Heads go to the nearest lawn, so all lawns must be seen first.
        let source = if self.heads.is_some() {
            source.spooled()?
        } else {
            source.clone()
        };
        let turf = Layer::open(&source, Role::Turf, filter)?;
        if turf.is_sequence() && self.heads.is_none() {
            let stream = Stream::open(turf, column, &mut self.counts)?;
            return Ok((Plan::Stream(Box::new(stream)), None));
        }
        let mut groups = Groups::default();
        let (mut turf, mut links) = (turf, Vec::new());
        while let Some(feature) = turf.next()? {
            self.counts.turf += 1;
            let named = feature.text(column);
            if let Some(heads) = &mut self.heads {
                let parcel = fingerprint(&group_id(&feature, column))[0];
                heads.claim(&feature, Some(parcel), feature.selected);
            }
            if !feature.selected {
                self.counts.turf_left_out += 1;
                continue;
            }
            self.counts.turf_joined += 1;
            let group = groups
                .find(&group_id(&feature, column), named.is_some())
                .map_err(|issue| issue.in_file(turf.name()).at_feature(feature.number))?;
            links.push(Link::new(&feature, group, Joined::ById, turf.name())?);
        }
        if links.is_empty() && self.least == Least::OneFeature {
            return Err(turf.nothing_left(self.counts.turf));
        }
        links.sort_unstable_by_key(|link| (link.parcel, link.number));
        let column = column.to_owned();
        Ok((
            Plan::Groups {
                turf,
                column,
                links,
                link: 0,
            },
            Some(groups.found.len() as u64),
        ))
    }
}

/// The parcel that a lawn overlaps most.
fn by_place(roll: &mut Roll, feature: &Feature) -> Result<Result<(u32, Joined), Issue>, Issue> {
    let areas = match feature.areas() {
        Ok(areas) => areas,
        Err(issue) => return Ok(Err(issue)),
    };
    let good: Vec<LonLatPolygon> = areas.iter().flatten().cloned().collect();
    let Some(bounds) = feature.bounds() else {
        let issue = areas.iter().find_map(|area| area.as_ref().err().cloned());
        return Ok(Err(issue.unwrap_or_else(|| Issue::new(Code::GE01, ""))));
    };
    Ok(match roll.most_overlapped(bounds, &good)? {
        Some((parcel, shared_m2)) => Ok((parcel, Joined::ByOverlap(shared_m2 as f32))),
        None => Err(Issue::new(Code::JO02, "")),
    })
}

/// Groups by their ids, numbered by first appearance.
#[derive(Debug, Default)]
struct Groups {
    /// The number, and whether the id stood in the column.
    found: BTreeMap<Fingerprint, (u32, bool)>,
}

impl Groups {
    /// The group of an id; `IN09` if a number that stands in for a missing id is also an id.
    fn find(&mut self, id: &str, named: bool) -> Result<u32, Issue> {
        let next = self.found.len() as u32; // rows are counted in `Link::new`
        let &mut (group, was_named) = self.found.entry(fingerprint(id)).or_insert((next, named));
        if was_named == named && (named || group == next) {
            return Ok(group);
        }
        let found = format!("`{id}` is an id, and the number of a row that has none");
        Err(Issue::new(Code::IN09, found))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_numbered_by_first_appearance() {
        let mut groups = Groups::default();
        let mut found = |id: &str, named| groups.find(id, named).map_err(|issue| issue.code);
        assert_eq!(found("B", true), Ok(0));
        assert_eq!(found("A", true), Ok(1));
        assert_eq!(found("B", true), Ok(0));
        assert_eq!(found("4", false), Ok(2));
        assert_eq!(found("4", true), Err(Code::IN09));
        assert_eq!(found("A", false), Err(Code::IN09));
    }
}
