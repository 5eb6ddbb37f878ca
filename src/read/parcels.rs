//! The roll of parcels: which there are, by id and by place, and where the layer has them.

use std::hash::{DefaultHasher, Hasher};

use rstar::{AABB, RTree, RTreeObject};

use super::feature::Feature;
use super::fields::Least;
use super::filter::Filter;
use super::layer::{Layer, Role};
use super::plane::shared_m2;
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
    id_field
        .and_then(|column| feature.text(column))
        .or_else(|| ID_COLUMNS.iter().find_map(|column| feature.text(column)))
        .or_else(|| feature.id.clone().filter(|id| !id.trim().is_empty()))
        .unwrap_or_else(|| feature.number.to_string())
}

/// The parcels of a layer, those that the filter leaves out included.
pub(super) struct Roll {
    layer: Layer,
    id_field: Option<String>,
    entries: Vec<Entry>,
    /// Sorted by fingerprint; of equal ones, those that are selected first.
    ids: Vec<Known>,
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

impl Roll {
    /// Reads the whole layer once. Of a piece of a layer nothing is asked but that ids are not
    /// used twice.
    ///
    /// # Errors
    /// What ends a layer; `IN05` if no parcel is selected, `IN08` if no parcel has the column
    /// named for the id, `IN09` if two selected parcels share an id.
    pub(super) fn open(
        source: &Source,
        id_field: Option<&str>,
        filter: &Filter,
        least: Least,
    ) -> Result<Roll, Issue> {
        let mut roll = Roll {
            layer: Layer::open(source, Role::Parcels, filter)?,
            id_field: id_field.map(str::to_owned),
            entries: Vec::new(),
            ids: Vec::new(),
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
        roll.check_ids()?;
        Ok(roll)
    }

    fn add(&mut self, feature: &Feature) -> Result<(), Issue> {
        let Ok(entry) = u32::try_from(self.entries.len()) else {
            let found = "a layer may have 4,294,967,295 parcels";
            return Err(Issue::new(Code::IN12, found).in_file(self.layer.name()));
        };
        let id = parcel_id(feature, self.id_field.as_deref());
        let fingerprint = fingerprint(&id);
        self.ids.push(Known { fingerprint, entry });
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
        });
        self.selected += u64::from(feature.selected);
        Ok(())
    }

    fn check_ids(&mut self) -> Result<(), Issue> {
        let selected = |known: &Known| self.entries[known.entry as usize].selected;
        let twice = self
            .ids
            .windows(2)
            .filter(|pair| pair[0].fingerprint == pair[1].fingerprint && selected(&pair[1]))
            .map(|pair| (pair[1].entry, pair[0].entry))
            .min();
        let Some((second, first)) = twice else {
            return Ok(());
        };
        let id = parcel_id(&self.fetch(second)?, self.id_field.as_deref());
        let (first, second) = (u64::from(first) + 1, u64::from(second) + 1);
        let found = format!("`{id}` is the id of feature {first} and of feature {second}");
        Err(Issue::new(Code::IN09, found)
            .in_file(self.layer.name())
            .at_feature(second))
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

    /// The column that the user named for the id.
    pub(super) fn id_field(&self) -> Option<&str> {
        self.id_field.as_deref()
    }

    /// The columns that have a value on any parcel.
    pub(super) fn columns(&self) -> impl Iterator<Item = &str> {
        self.layer.columns()
    }

    /// The input's name.
    pub(super) fn name(&self) -> &str {
        self.layer.name()
    }

    /// The parcel of this id.
    pub(super) fn find(&self, id: &str) -> Option<u32> {
        let wanted = fingerprint(id);
        let at = self.ids.partition_point(|known| known.fingerprint < wanted);
        self.ids
            .get(at)
            .filter(|known| known.fingerprint == wanted)
            .map(|known| known.entry)
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
                let feature = self.fetch(entry)?;
                let areas = feature.areas().unwrap_or_default();
                let drawn = areas.iter().flatten().cloned().collect();
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
