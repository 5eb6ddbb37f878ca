//! What is in the ground: the existing heads of a parcel, by turf area, and the stations that join
//! turf areas.

use std::collections::BTreeMap;

use crate::assumptions::nearest;
use crate::budget::Regulation;
use crate::catalogue::{Catalogue, Family};
use crate::crs::Frame;
use crate::issue::{Code, Issue};
use crate::place::swap::Found;
use crate::shape::Point;
use crate::site::{ExistingHead, Parcel};

/// The family of heads that do not name one.
pub(super) const FOUND_FAMILY: &str = "spray";
/// Heads nearer to one another are one \[m\].
const DUPLICATE_M: f64 = 0.1;

/// The existing heads of a parcel, turf area by turf area.
pub(super) struct InGround<'a> {
    /// For each turf area its heads; empty where none were given.
    areas: Vec<Vec<Found<'a>>>,
    /// For each turf area the family that most heads of its stations have.
    families: Vec<usize>,
    /// Turf areas that share a station, those alone included; each in order.
    groups: Vec<Vec<usize>>,
}

impl<'a> InGround<'a> {
    /// Brings the heads of a parcel into its frame. Heads recorded twice are left out and told, and
    /// so are names of families that the catalogue does not have.
    pub(super) fn of(
        parcel: &'a Parcel,
        frame: &Frame,
        catalogue: &Catalogue,
        issues: &mut Vec<Issue>,
    ) -> InGround<'a> {
        let mut areas: Vec<Vec<Found>> = vec![Vec::new(); parcel.turf.len()];
        let mut kept = Kept::default();
        let turf_id = |area: usize| parcel.turf.get(area).map_or("", |turf| turf.id.as_str());
        for (area, head) in &parcel.heads {
            let at = frame.to_plane(head.position.x(), head.position.y());
            if kept.is_near(at) {
                let (lon, lat) = (head.position.x(), head.position.y());
                let issue = Issue::new(Code::HE01, format!("at {lon:.7}, {lat:.7}"));
                issues.push(issue.of_parcel(&parcel.id).of_turf(turf_id(*area)));
                continue;
            }
            kept.put(at);
            if let Some(heads) = areas.get_mut(*area) {
                heads.push(Found { at, head });
            }
        }
        let unknown = unknown_families(&areas, catalogue);
        issues.extend(unknown.into_iter().map(|i| i.of_parcel(&parcel.id)));
        let groups = groups(&areas);
        let mut families = vec![0; areas.len()];
        for group in &groups {
            let heads = group.iter().flat_map(|&area| &areas[area]);
            let most = most_common(heads.map(|one| family_of(one.head, catalogue)));
            for &area in group {
                families[area] = most;
            }
        }
        InGround {
            areas,
            families,
            groups,
        }
    }

    /// The heads of a turf area and the family that they are repaired with; `None` where no heads
    /// were given.
    pub(super) fn on(&self, area: usize) -> Option<OnTurf<'_>> {
        let found = self.areas.get(area).filter(|heads| !heads.is_empty())?;
        Some(OnTurf {
            found,
            family: self.families[area],
        })
    }

    /// Turf areas that share stations, as places in the list of those that were planned; areas that
    /// share none are left out. `planned` are the numbers of the turf areas.
    pub(super) fn joined(&self, planned: &[usize]) -> Vec<Vec<usize>> {
        self.groups
            .iter()
            .map(|group| {
                (0..planned.len())
                    .filter(|&i| group.contains(&planned[i]))
                    .collect::<Vec<usize>>()
            })
            .filter(|members| members.len() > 1)
            .collect()
    }
}

/// Places of the heads that were kept, in squares of the distance at which two are one.
#[derive(Default)]
struct Kept(BTreeMap<(i64, i64), Vec<Point>>);

impl Kept {
    fn square(at: Point) -> (i64, i64) {
        let number = |m: f64| (m / DUPLICATE_M).floor() as i64;
        (number(at.x), number(at.y))
    }

    /// Whether one of them is nearer to a place than two heads can stand.
    fn is_near(&self, at: Point) -> bool {
        let (x, y) = Kept::square(at);
        let around = (x - 1..=x + 1).flat_map(|x| (y - 1..=y + 1).map(move |y| (x, y)));
        let mut near = around.filter_map(|square| self.0.get(&square)).flatten();
        near.any(|other| other.distance(at) < DUPLICATE_M)
    }

    fn put(&mut self, at: Point) {
        self.0.entry(Kept::square(at)).or_default().push(at);
    }
}

/// The existing heads of one turf area.
pub(super) struct OnTurf<'a> {
    pub(super) found: &'a [Found<'a>],
    /// The family that they are repaired with: that of most heads of their stations.
    pub(super) family: usize,
}

impl OnTurf<'_> {
    /// Whether the bodies in the ground regulate: only if all are known to.
    pub(super) fn regulation(&self) -> Regulation {
        if self
            .found
            .iter()
            .all(|one| one.head.regulated == Some(true))
        {
            Regulation::Regulated
        } else {
            Regulation::Unregulated
        }
    }
}

pub(super) fn default_family(catalogue: &Catalogue) -> usize {
    let spray = |family: &Family| family.name == FOUND_FAMILY;
    catalogue.families.iter().position(spray).unwrap_or(0)
}

fn named_family(head: &ExistingHead, catalogue: &Catalogue) -> Option<usize> {
    let name = head.family.as_ref()?;
    catalogue
        .families
        .iter()
        .position(|family| family.name.eq_ignore_ascii_case(name))
}

fn family_of(head: &ExistingHead, catalogue: &Catalogue) -> usize {
    named_family(head, catalogue).unwrap_or_else(|| default_family(catalogue))
}

/// One notice for each name that the catalogue does not have.
fn unknown_families(areas: &[Vec<Found>], catalogue: &Catalogue) -> Vec<Issue> {
    let mut names: Vec<&str> = areas
        .iter()
        .flatten()
        .filter(|one| named_family(one.head, catalogue).is_none())
        .filter_map(|one| one.head.family.as_deref())
        .collect();
    names.sort_unstable();
    names.dedup();
    let known = || catalogue.families.iter().map(|f| f.name.as_str());
    names
        .into_iter()
        .map(|name| {
            let meant = nearest(name, known()).map_or_else(
                || format!("known are {}", known().collect::<Vec<_>>().join(", ")),
                |known| format!("did you mean `{known}`?"),
            );
            Issue::new(Code::IN11, format!("nozzle_family `{name}`; {meant}"))
        })
        .collect()
}

/// The most frequent number; the smallest of equals; 0 of none.
pub(super) fn most_common(numbers: impl Iterator<Item = usize>) -> usize {
    let mut counts: Vec<usize> = Vec::new();
    for number in numbers {
        if counts.len() <= number {
            counts.resize(number + 1, 0);
        }
        counts[number] += 1;
    }
    let most = counts.iter().copied().max();
    counts
        .iter()
        .position(|&count| Some(count) == most)
        .unwrap_or(0)
}

/// Turf areas joined by the stations that feed them.
fn groups(areas: &[Vec<Found>]) -> Vec<Vec<usize>> {
    let mut group: Vec<usize> = (0..areas.len()).collect();
    let mut stations: Vec<(&str, usize)> = areas
        .iter()
        .enumerate()
        .flat_map(|(area, heads)| {
            heads
                .iter()
                .filter_map(move |one| Some((one.head.station.as_deref()?, area)))
        })
        .collect();
    stations.sort_unstable();
    stations.dedup();
    for pair in stations.windows(2) {
        if pair[0].0 == pair[1].0 {
            let (one, other) = (group[pair[0].1], group[pair[1].1]);
            let first = one.min(other);
            for member in &mut group {
                if *member == one || *member == other {
                    *member = first;
                }
            }
        }
    }
    (0..areas.len())
        .map(|first| {
            (0..areas.len())
                .filter(|&area| group[area] == first)
                .collect::<Vec<usize>>()
        })
        .filter(|members| !members.is_empty())
        .collect()
}
