//! The roll of parcels: which there are, by id and by place, and where the layer has them.

use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hasher};

use rstar::{AABB, RTree, RTreeObject};

use super::feature::Feature;
use super::fields::Least;
use super::filter::Filter;
use super::ids::{MatchIds, MissingIds, RepeatedIds, differing, loose_key, nearest_of, numbered};
use super::layer::{Layer, Role};
use super::plane::shared_m2;
use super::repair::united;
use super::source::Source;
use crate::issue::{Code, Issue};
use crate::site::LonLatPolygon;

/// Columns that are looked at for a parcel's id when none is named.
const ID_COLUMNS: [&str; 2] = ["parcel_id", "id"];
/// Parcels kept at hand for the overlaps of the next lawns.
const MOST_AT_HAND: usize = 64;
/// An overlap below this is two layers that touch [m²].
const LEAST_OVERLAP_M2: f64 = 0.01;

/// What stands for a text where it is only looked for; 128 bits, so that no two texts of a run
/// share it.
pub(super) type Fingerprint = [u64; 2];

/// The fingerprint of a text.
pub(super) fn fingerprint(text: &str) -> Fingerprint {
    [0_u8, 1].map(|salt| {
        let mut hasher = DefaultHasher::new();
        hasher.write_u8(salt);
        hasher.write(text.as_bytes());
        hasher.finish()
    })
}

/// The id of a parcel: the column named by the user, else `parcel_id`, `id`, the feature's own
/// id, its number.
pub(super) fn parcel_id(feature: &Feature, id_field: Option<&str>) -> String {
    own_parcel_id(feature, id_field).unwrap_or_else(|| feature.number.to_string())
}

/// The same without the number, which stands in for an id that is missing.
fn own_parcel_id(feature: &Feature, id_field: Option<&str>) -> Option<String> {
    id_field
        .and_then(|column| feature.text(column))
        .or_else(|| ID_COLUMNS.iter().find_map(|column| feature.text(column)))
        .or_else(|| feature.id.clone().filter(|id| !id.trim().is_empty()))
}

/// How the ids of a parcel layer are understood.
#[derive(Debug, Clone, Copy)]
pub(super) struct IdRules<'a> {
    /// The column named for the id.
    pub field: Option<&'a str>,
    pub repeated: RepeatedIds,
    pub matching: MatchIds,
}

/// The parcels of a layer, those that the filter leaves out included.
pub(super) struct Roll {
    layer: Layer,
    id_field: Option<String>,
    repeated: RepeatedIds,
    matching: MatchIds,
    entries: Vec<Entry>,
    /// Sorted by fingerprint; of equal ones, those that are selected first.
    ids: Vec<Known>,
    /// Those whose key for loose matching is not the id itself, by that key.
    loose: Vec<Known>,
    missing: MissingIds,
    /// Ids of features that share theirs with an earlier one, or whose number is an id.
    renamed: BTreeMap<u32, String>,
    /// Features joined to one parcel, by the first of them, which is left out.
    joined: BTreeMap<u32, Vec<u32>>,
    boxes: Vec<ParcelBox>,
    tree: Option<RTree<ParcelBox>>,
    /// Parcels looked at lately, the last one at the end.
    at_hand: Vec<(u32, Vec<LonLatPolygon>)>,
    selected: u64,
}

#[derive(Debug, Clone, Copy)]
struct Entry {
    locator: u64,
    /// Half a fingerprint of its id.
    id: u64,
    number: u32,
    selected: bool,
    /// Whether the feature has an id of its own.
    has_id: bool,
    /// Whether it is part of an earlier one.
    is_joined: bool,
}

#[derive(Debug, Clone, Copy)]
struct Known {
    fingerprint: Fingerprint,
    entry: u32,
}

/// A box in single precision, rounded outwards.
#[derive(Debug, Clone, Copy)]
struct ParcelBox {
    low: [f32; 2],
    high: [f32; 2],
    entry: u32,
}

impl RTreeObject for ParcelBox {
    type Envelope = AABB<[f32; 2]>;
    fn envelope(&self) -> AABB<[f32; 2]> {
        AABB::from_corners(self.low, self.high)
    }
}

/// What is joined to a parcel.
#[derive(Debug, Default)]
pub(super) struct Parts {
    pub features: Vec<Feature>,
    pub issues: Vec<Issue>,
}

impl Roll {
    /// Reads the whole layer once. Of a piece of a layer nothing is asked but that ids are not
    /// used twice.
    ///
    /// # Errors
    /// What ends a layer; `IN05` if no parcel is selected, `IN08` if no parcel has the column
    /// named for the id, `IN09` if two selected parcels share an id and that is refused.
    pub(super) fn open(
        source: &Source,
        rules: IdRules,
        filter: &Filter,
        least: Least,
        issues: &mut Vec<Issue>,
    ) -> Result<Roll, Issue> {
        let id_field = rules.field;
        let mut roll = Roll {
            layer: Layer::open(source, Role::Parcels, filter)?,
            id_field: id_field.map(str::to_owned),
            repeated: rules.repeated,
            matching: rules.matching,
            entries: Vec::new(),
            ids: Vec::new(),
            loose: Vec::new(),
            missing: MissingIds::default(),
            renamed: BTreeMap::new(),
            joined: BTreeMap::new(),
            boxes: Vec::new(),
            tree: None,
            at_hand: Vec::new(),
            selected: 0,
        };
        let mut id_field_seen = id_field.is_none() || least == Least::Nothing;
        while let Some(feature) = roll.layer.next()? {
            id_field_seen |= id_field.is_some_and(|column| feature.text(column).is_some());
            roll.add(&feature)?;
        }
        if roll.selected == 0 && least == Least::OneFeature {
            return Err(roll.layer.nothing_left(roll.entries.len() as u64));
        }
        if !id_field_seen {
            let found = format!(
                "no parcel has a value in `{}`",
                id_field.unwrap_or_default()
            );
            return Err(Issue::new(Code::IN08, found).in_file(roll.layer.name()));
        }
        let entries = &roll.entries;
        let rank = |known: &Known| !entries[known.entry as usize].selected;
        roll.ids
            .sort_unstable_by_key(|known| (known.fingerprint, rank(known), known.entry));
        roll.loose
            .sort_unstable_by_key(|known| (known.fingerprint, known.entry));
        if least == Least::OneFeature {
            issues.extend(roll.missing.issue(roll.layer.name()));
        }
        roll.resolve_repeated(issues)?;
        Ok(roll)
    }

    fn add(&mut self, feature: &Feature) -> Result<(), Issue> {
        let Ok(entry) = u32::try_from(self.entries.len()) else {
            let found = "a layer may have 4,294,967,295 parcels";
            return Err(Issue::new(Code::IN12, found).in_file(self.layer.name()));
        };
        let own = own_parcel_id(feature, self.id_field.as_deref());
        let has_id = own.is_some();
        let id = own.unwrap_or_else(|| feature.number.to_string());
        self.missing.add(feature.number, has_id);
        let fingerprint = fingerprint(&id);
        self.ids.push(Known { fingerprint, entry });
        if self.matching == MatchIds::Loose {
            let key = loose_key(&id);
            if key != id {
                let fingerprint = super::parcels::fingerprint(&key);
                self.loose.push(Known { fingerprint, entry });
            }
        }
        if let Some([west, south, east, north]) = feature.bounds() {
            let below = |degrees: f64| (degrees as f32).next_down(); // rounded, then outwards
            let above = |degrees: f64| (degrees as f32).next_up();
            let (low, high) = ([below(west), below(south)], [above(east), above(north)]);
            self.boxes.push(ParcelBox { low, high, entry });
        }
        self.entries.push(Entry {
            locator: feature.locator,
            id: fingerprint[0],
            number: entry + 1,
            selected: feature.selected,
            has_id,
            is_joined: false,
        });
        self.selected += u64::from(feature.selected);
        Ok(())
    }

    /// Sees to ids that stand more than once, in the order of the layer.
    fn resolve_repeated(&mut self, issues: &mut Vec<Issue>) -> Result<(), Issue> {
        let mut groups: Vec<Vec<u32>> = self
            .ids
            .chunk_by(|one, next| one.fingerprint == next.fingerprint)
            .filter(|group| group.len() > 1)
            .map(|group| group.iter().map(|known| known.entry).collect())
            .collect();
        for group in &mut groups {
            group.sort_unstable();
        }
        groups.sort_unstable();
        let mut taken = BTreeSet::new();
        for group in groups {
            let entry = |at: u32| self.entries[at as usize]; // entries are ours
            // A number that stands in for an id gives way to it, and is never joined.
            let (own, numbers): (Vec<u32>, Vec<u32>) =
                group.into_iter().partition(|&at| entry(at).has_id);
            let Some((&first, others)) = own.split_first() else {
                continue;
            };
            let selected = own.iter().filter(|&&at| entry(at).selected).count();
            match self.repeated {
                RepeatedIds::Refuse if selected > 1 => return Err(self.refusal(&own)?),
                RepeatedIds::Refuse => {}
                RepeatedIds::Join if others.is_empty() => {}
                RepeatedIds::Join => self.join(first, others),
                RepeatedIds::Number => {
                    for &at in others {
                        issues.extend(self.rename(at, first, &mut taken)?);
                    }
                }
            }
            for at in numbers {
                self.rename(at, first, &mut taken)?;
            }
        }
        if !self.joined.is_empty() {
            let leader: BTreeMap<u32, u32> = self
                .joined
                .iter()
                .flat_map(|(&first, others)| others.iter().map(move |&at| (at, first)))
                .collect();
            for boxed in &mut self.boxes {
                boxed.entry = leader.get(&boxed.entry).copied().unwrap_or(boxed.entry);
            }
        }
        Ok(())
    }

    fn refusal(&mut self, same: &[u32]) -> Result<Issue, Issue> {
        let mut selected = same.iter().filter(|&&at| self.is_selected(at)).copied();
        let first = selected.next().unwrap_or_default();
        let second = selected.next().unwrap_or_default();
        let id = parcel_id(&self.fetch(second)?, self.id_field.as_deref());
        let (first, second) = (u64::from(first) + 1, u64::from(second) + 1);
        let found = format!("`{id}` is the id of feature {first} and of feature {second}");
        Ok(Issue::new(Code::IN09, found)
            .in_file(self.layer.name())
            .at_feature(second))
    }

    /// Gives a parcel the first number behind its id that is not in use; says so if it is planned.
    fn rename(
        &mut self,
        at: u32,
        first: u32,
        taken: &mut BTreeSet<Fingerprint>,
    ) -> Result<Option<Issue>, Issue> {
        let feature = self.fetch(at)?;
        let id = parcel_id(&feature, self.id_field.as_deref());
        let name = numbered(&id, |candidate| {
            let wanted = fingerprint(candidate);
            taken.contains(&wanted) || self.with_fingerprint(wanted).next().is_some()
        });
        taken.insert(fingerprint(&name));
        let Entry {
            selected, has_id, ..
        } = self.entries[at as usize];
        let issue = (selected && has_id).then(|| {
            let found = format!("`{id}` is the id of feature {} too", u64::from(first) + 1);
            Issue::new(Code::IN15, found)
                .in_file(self.layer.name())
                .at_feature(feature.number)
                .of_parcel(name.as_str())
        });
        self.renamed.insert(at, name);
        Ok(issue)
    }

    fn join(&mut self, first: u32, others: &[u32]) {
        let all = || std::iter::once(first).chain(others.iter().copied());
        let selected = all().filter(|&at| self.is_selected(at)).count() as u64;
        self.selected -= selected.saturating_sub(1);
        self.entries[first as usize].selected = selected > 0; // entries are ours
        for &at in others {
            self.entries[at as usize].selected = false;
            self.entries[at as usize].is_joined = true;
        }
        self.joined.insert(first, others.to_vec());
    }

    /// How many parcels there are, selected or not.
    pub(super) fn len(&self) -> u32 {
        self.entries.len() as u32 // checked in `add`
    }

    /// How many are selected.
    pub(super) fn selected(&self) -> u64 {
        self.selected
    }

    /// Whether a parcel is in the run.
    pub(super) fn is_selected(&self, entry: u32) -> bool {
        self.entries
            .get(entry as usize)
            .is_some_and(|entry| entry.selected)
    }

    /// Half a fingerprint of a parcel's id.
    pub(super) fn fingerprint(&self, entry: u32) -> Option<u64> {
        self.entries.get(entry as usize).map(|entry| entry.id)
    }

    /// How many rows of the layer the filters leave out; a parcel of several rows is planned whole.
    pub(super) fn left_out(&self) -> u64 {
        let out = self
            .entries
            .iter()
            .filter(|entry| !entry.selected && !entry.is_joined);
        let parts = |at: &u32| self.joined.get(at).map_or(0, Vec::len) as u64;
        let unselected = (0..self.len()).filter(|&at| !self.is_selected(at));
        out.count() as u64 + unselected.map(|at| parts(&at)).sum::<u64>()
    }

    /// The id of a parcel that was fetched.
    pub(super) fn id_of(&self, entry: u32, feature: &Feature) -> String {
        match self.renamed.get(&entry) {
            Some(name) => name.clone(),
            None => parcel_id(feature, self.id_field.as_deref()),
        }
    }

    /// The id of a parcel.
    ///
    /// # Errors
    /// As [`Roll::fetch`].
    pub(super) fn id(&mut self, entry: u32) -> Result<String, Issue> {
        let feature = self.fetch(entry)?;
        Ok(self.id_of(entry, &feature))
    }

    /// The features that are joined to a parcel, with what is said of them: `IN16`, and `IN17` for
    /// those that differ from the first.
    ///
    /// # Errors
    /// As [`Roll::fetch`].
    pub(super) fn parts(&mut self, entry: u32, first: &Feature) -> Result<Parts, Issue> {
        let mut parts = Parts::default();
        let Some(others) = self.joined.get(&entry).cloned() else {
            return Ok(parts);
        };
        let numbers: Vec<String> = others.iter().map(|at| (at + 1).to_string()).collect();
        let found = format!("feature {}", numbers.join(", "));
        parts.issues.push(Issue::new(Code::IN16, found));
        let mut differences: BTreeMap<String, u64> = BTreeMap::new();
        for at in others {
            let feature = self.fetch(at)?;
            for column in differing(first, &feature) {
                *differences.entry(column).or_default() += 1;
            }
            parts.features.push(feature);
        }
        if !differences.is_empty() {
            let columns: Vec<String> = differences
                .iter()
                .map(|(column, count)| format!("{column} in {count}"))
                .collect();
            let found = format!("of {} more features: {}", numbers.len(), columns.join(", "));
            parts.issues.push(Issue::new(Code::IN17, found));
        }
        Ok(parts)
    }

    /// The columns that have a value on any parcel.
    pub(super) fn columns(&self) -> impl Iterator<Item = &str> {
        self.layer.columns()
    }

    /// The box around the layer.
    pub(super) fn extent(&self) -> Option<[f64; 4]> {
        self.layer.extent()
    }

    /// The input's name.
    pub(super) fn name(&self) -> &str {
        self.layer.name()
    }

    /// The parcels of this id, as the layer has it: more than one where later ones were numbered. The
    /// first is the one that kept the id.
    pub(super) fn all_of(&self, id: &str) -> Vec<u32> {
        let mut found: Vec<u32> = self
            .with_fingerprint(fingerprint(id))
            .filter(|&at| !self.entries[at as usize].is_joined)
            .collect();
        // One that has no id of its own goes by a number with a tail, so the id is not its.
        if found.len() > 1 {
            found.retain(|&at| self.entries[at as usize].has_id);
        }
        if self.repeated != RepeatedIds::Refuse {
            found.sort_unstable();
        }
        found
    }

    /// The parcels whose ids differ from this one in case, spaces or leading zeros alone; none where
    /// ids are matched exactly. Only where there is one may it be taken.
    pub(super) fn find_loosely(&self, id: &str) -> Vec<u32> {
        if self.matching == MatchIds::Exact {
            return Vec::new();
        }
        let wanted = fingerprint(&loose_key(id));
        let from = self
            .loose
            .partition_point(|known| known.fingerprint < wanted);
        let others = self.loose[from..]
            .iter()
            .take_while(|known| known.fingerprint == wanted)
            .map(|known| known.entry);
        self.with_fingerprint(wanted)
            .chain(others)
            .filter(|&at| !self.entries[at as usize].is_joined)
            .collect()
    }

    fn with_fingerprint(&self, wanted: Fingerprint) -> impl Iterator<Item = u32> + '_ {
        let from = self.ids.partition_point(|known| known.fingerprint < wanted);
        self.ids[from..]
            .iter()
            .take_while(move |known| known.fingerprint == wanted)
            .map(|known| known.entry)
    }

    /// Of parcels that share an id the one on which a turf area lies for its greater part.
    ///
    /// # Errors
    /// As [`Roll::fetch`].
    pub(super) fn by_place_among(
        &mut self,
        same: &[u32],
        turf: &[LonLatPolygon],
    ) -> Result<Option<u32>, Issue> {
        nearest_of(same, turf, |entry| Ok(self.drawn(entry)?.to_vec()))
    }

    /// The parcel that shares most area with a lawn, and the area [m²]; of equal ones the first.
    pub(super) fn most_overlapped(
        &mut self,
        bounds: [f64; 4],
        lawn: &[LonLatPolygon],
    ) -> Result<Option<(u32, f64)>, Issue> {
        let boxes = std::mem::take(&mut self.boxes);
        let tree = self.tree.get_or_insert_with(|| RTree::bulk_load(boxes));
        let [west, south, east, north] = bounds.map(|degrees| degrees as f32); // boxes are wider
        let around = AABB::from_corners([west, south], [east, north]);
        let mut near: Vec<u32> = tree
            .locate_in_envelope_intersecting(&around)
            .map(|found| found.entry)
            .collect();
        near.sort_unstable();
        near.dedup();
        let mut most: Option<(u32, f64)> = None;
        for entry in near {
            let shared_m2 = shared_m2(lawn, self.drawn(entry)?);
            if shared_m2 >= LEAST_OVERLAP_M2 && most.is_none_or(|(_, most)| shared_m2 > most) {
                most = Some((entry, shared_m2));
            }
        }
        Ok(most)
    }

    /// The good polygons of a parcel as drawn.
    fn drawn(&mut self, entry: u32) -> Result<&[LonLatPolygon], Issue> {
        match self.at_hand.iter().position(|(held, _)| *held == entry) {
            Some(at) => {
                let held = self.at_hand.remove(at);
                self.at_hand.push(held);
            }
            None => {
                let mut drawn: Vec<LonLatPolygon> = Vec::new();
                let others = self.joined.get(&entry).cloned().unwrap_or_default();
                let is_joined = !others.is_empty();
                for at in std::iter::once(entry).chain(others) {
                    let feature = self.fetch(at)?;
                    let areas = feature.areas().unwrap_or_default();
                    drawn.extend(areas.iter().flatten().cloned());
                }
                if is_joined {
                    drawn = united(&drawn);
                }
                if self.at_hand.len() >= MOST_AT_HAND {
                    self.at_hand.remove(0);
                }
                self.at_hand.push((entry, drawn));
            }
        }
        Ok(self.at_hand.last().map_or(&[], |(_, drawn)| drawn))
    }

    /// Reads a parcel.
    pub(super) fn fetch(&mut self, entry: u32) -> Result<Feature, Issue> {
        let Entry {
            locator, number, ..
        } = self.entries[entry as usize]; // entries are ours
        self.layer.fetch(locator, u64::from(number))
    }
}
