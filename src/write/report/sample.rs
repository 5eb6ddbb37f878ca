//! What of a run is shown one by one: the parcels with the largest claims, within a budget of
//! bytes, so that the report stays small and memory bounded however many parcels there are.

use std::cmp::Ordering;
use std::collections::BTreeMap;

/// The place of a parcel in the order of the report: larger claims first, then the input's order.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rank {
    pub claimed_m3_yr: f64,
    pub index: u64,
}

impl Ord for Rank {
    fn cmp(&self, other: &Rank) -> Ordering {
        other
            .claimed_m3_yr
            .total_cmp(&self.claimed_m3_yr)
            .then(self.index.cmp(&other.index))
    }
}
impl PartialOrd for Rank {
    fn partial_cmp(&self, other: &Rank) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl PartialEq for Rank {
    fn eq(&self, other: &Rank) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Rank {}

/// The first so many items by rank, and not more than so many bytes of them.
#[derive(Debug)]
pub(super) struct First<T> {
    items: BTreeMap<Rank, (usize, T)>,
    most: usize,
    most_bytes: usize,
    bytes: usize,
    /// Whether something was left out.
    left_out: bool,
}

impl<T> First<T> {
    pub(super) fn new(most: usize, most_bytes: usize) -> First<T> {
        First {
            items: BTreeMap::new(),
            most,
            most_bytes,
            bytes: 0,
            left_out: false,
        }
    }

    /// Whether an item of this rank would stay at all.
    pub(super) fn wants(&self, rank: Rank) -> bool {
        let full = self.items.len() >= self.most || self.left_out;
        match self.items.last_key_value() {
            Some((last, _)) if full => rank < *last,
            _ => self.most > 0,
        }
    }

    /// Adds an item; the last ones fall out while there are too many or too large ones.
    pub(super) fn add(&mut self, rank: Rank, bytes: usize, item: T) {
        if bytes > self.most_bytes {
            self.left_out = true;
            return;
        }
        self.bytes += bytes;
        self.items.insert(rank, (bytes, item));
        while self.items.len() > self.most || self.bytes > self.most_bytes {
            if let Some((_, (bytes, _))) = self.items.pop_last() {
                self.bytes -= bytes;
                self.left_out = true;
            }
        }
    }

    /// Says that something is not shown.
    pub(super) fn leave_out(&mut self) {
        self.left_out = true;
    }

    pub(super) fn is_whole(&self) -> bool {
        !self.left_out
    }

    pub(super) fn into_items(self) -> impl Iterator<Item = (Rank, T)> {
        self.items.into_iter().map(|(rank, (_, item))| (rank, item))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rank(claimed_m3_yr: f64, index: u64) -> Rank {
        Rank {
            claimed_m3_yr,
            index,
        }
    }

    #[test]
    fn the_largest_claims_stay_in_order() {
        let mut first = First::new(3, 1_000);
        for (index, claim) in [5.0, 9.0, 1.0, 9.0, 7.0].into_iter().enumerate() {
            let rank = rank(claim, index as u64);
            if first.wants(rank) {
                first.add(rank, 10, index);
            } else {
                first.leave_out();
            }
        }
        assert!(!first.is_whole());
        let kept: Vec<usize> = first.into_items().map(|(_, item)| item).collect();
        assert_eq!(kept, [1, 3, 4]);
    }

    #[test]
    fn bytes_are_a_bound_too() {
        let mut first = First::new(100, 25);
        for index in 0..5 {
            first.add(rank(index as f64, index), 10, index);
        }
        let kept: Vec<u64> = first.into_items().map(|(_, item)| item).collect();
        assert_eq!(kept, [4, 3]);
        let mut one: First<u8> = First::new(100, 25);
        one.add(rank(1.0, 0), 26, 0);
        assert!(!one.is_whole());
        assert_eq!(one.into_items().count(), 0);
    }
}
