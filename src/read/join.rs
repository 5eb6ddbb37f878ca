//! Which turf belongs to which parcel, found in one pass over the turf layer.

use std::collections::BTreeMap;

use super::feature::Feature;
use super::fields::Least;
use super::filter::Filter;
use super::heads::HeadField;
use super::ids::{LooseMatches, MissingIds, numbered};
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
        /// Rows that belong to no parcel, by why.
        unused: BTreeMap<Code, u64>,
        /// Other columns of theirs that hold ids of parcels, and in how many rows.
        id_columns: BTreeMap<String, u64>,
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
        /// Parcels without an id whose number is an id.
        renamed: BTreeMap<u32, String>,
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
        let (mut links, mut loose) = (Vec::new(), LooseMatches::default());
        let (mut unused, mut id_columns) = (BTreeMap::new(), BTreeMap::new());
        while let Some(feature) = turf.next()? {
            self.counts.turf += 1;
            let named = feature.text(LINK_COLUMN);
            let found = match &named {
                Some(id) => by_id(&mut roll, &feature, id, &mut loose)?,
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
                    *unused.entry(issue.code).or_default() += 1;
                    if issue.code == Code::JO01 {
                        for (name, value) in &feature.attributes.0 {
                            let is_other = !name.eq_ignore_ascii_case(LINK_COLUMN);
                            if is_other && !roll.all_of(&value.text()).is_empty() {
                                *id_columns.entry(name.clone()).or_default() += 1;
                            }
                        }
                    }
                    self.orphans
                        .push(issue.in_file(turf.name()).at_feature(feature.number));
                }
            }
        }
        if self.counts.turf == 0 && self.least == Least::OneFeature {
            return Err(turf.nothing_left(0));
        }
        links.sort_unstable_by_key(|link| (link.parcel, link.number));
        self.orphans.extend(loose.issue(&mut roll, turf.name())?);
        self.counts.parcels_left_out = roll.left_out();
        Ok(Plan::Parcels {
            roll: Box::new(roll),
            turf,
            unused,
            id_columns,
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
        let (mut turf, mut links, mut missing) = (turf, Vec::new(), MissingIds::default());
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
            missing.add(feature.number, named.is_some());
            let group = groups.find(named.as_deref(), feature.number);
            links.push(Link::new(&feature, group, Joined::ById, turf.name())?);
        }
        if links.is_empty() && self.least == Least::OneFeature {
            return Err(turf.nothing_left(self.counts.turf));
        }
        links.sort_unstable_by_key(|link| (link.parcel, link.number));
        if self.least == Least::OneFeature {
            self.orphans.extend(missing.issue(turf.name()));
        }
        let (column, expected) = (column.to_owned(), u64::from(groups.count));
        let plan = Plan::Groups {
            turf,
            column,
            links,
            link: 0,
            renamed: groups.renamed(),
        };
        Ok((plan, Some(expected)))
    }
}

/// The parcel of a turf area's `parcel_id`; of several with that id the one on which it lies, or else
/// the first.
fn by_id(
    roll: &mut Roll,
    feature: &Feature,
    id: &str,
    loose: &mut LooseMatches,
) -> Result<Result<(u32, Joined), Issue>, Issue> {
    let same = roll.all_of(id);
    let Some(&first) = same.first() else {
        let near = roll.find_loosely(id);
        return Ok(match near[..] {
            [parcel] => {
                loose.add(feature.number, 1, id, parcel);
                Ok((parcel, Joined::ById))
            }
            [] => Err(Issue::new(Code::JO01, format!("parcel_id `{id}`"))),
            _ => {
                let count = near.len();
                let found = format!(
                    "parcel_id `{id}`; {count} parcels have it in another case or with other zeros"
                );
                Err(Issue::new(Code::JO01, found))
            }
        });
    };
    if same.len() == 1 {
        return Ok(Ok((first, Joined::ById)));
    }
    let areas = feature.areas().unwrap_or_default();
    let good: Vec<LonLatPolygon> = areas.iter().flatten().cloned().collect();
    let parcel = roll.by_place_among(&same, &good)?.unwrap_or(first);
    Ok(Ok((parcel, Joined::ById)))
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

/// Groups by their ids, numbered by first appearance; a row without an id is one by itself.
#[derive(Debug, Default)]
struct Groups {
    found: BTreeMap<Fingerprint, u32>,
    /// Group and row of those without an id.
    numbered: Vec<(u32, u64)>,
    count: u32,
}

impl Groups {
    /// The group of a row.
    fn find(&mut self, id: Option<&str>, row: u64) -> u32 {
        let next = self.count; // rows are counted in `Link::new`
        let group = match id {
            Some(id) => *self.found.entry(fingerprint(id)).or_insert(next),
            None => {
                self.numbered.push((next, row));
                next
            }
        };
        self.count += u32::from(group == next);
        group
    }

    /// The names of groups without an id whose row has a number that is the id of another.
    fn renamed(&self) -> BTreeMap<u32, String> {
        let is_used = |id: &str| self.found.contains_key(&fingerprint(id));
        let taken = self.numbered.iter().filter_map(|&(group, row)| {
            let number = row.to_string();
            is_used(&number).then(|| (group, numbered(&number, is_used)))
        });
        taken.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_numbered_by_first_appearance() {
        let mut groups = Groups::default();
        assert_eq!(groups.find(Some("B"), 1), 0);
        assert_eq!(groups.find(Some("A"), 2), 1);
        assert_eq!(groups.find(Some("B"), 3), 0);
        assert_eq!(groups.find(None, 4), 2);
        assert_eq!(groups.find(None, 5), 3);
        assert!(groups.renamed().is_empty());
        // A number gives way to an id, wherever that stands.
        assert_eq!(groups.find(Some("4"), 6), 4);
        assert_eq!(groups.find(Some("4~2"), 7), 5);
        assert_eq!(groups.renamed(), [(2, "4~3".to_owned())].into());
    }
}
