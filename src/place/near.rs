//! Which heads stand near a place: their numbers in square buckets over the lawn, so that a large
//! lawn costs no more for each head than a small one.

use crate::shape::Point;

/// Most buckets; beyond them a bucket grows.
const MOST_BUCKETS: f64 = 65_536.0;

/// Numbers of heads by the bucket that they stand in. Places beyond the box count to the outermost
/// buckets.
#[derive(Debug, Clone)]
pub(super) struct Near {
    low: Point,
    per_m: f64,
    cols: usize,
    rows: usize,
    buckets: Vec<Vec<u32>>,
}

impl Near {
    /// Empty buckets of a side over a box.
    pub(super) fn over((low, high): (Point, Point), side_m: f64) -> Near {
        let span = high - low;
        let least_m = (span.x * span.y / MOST_BUCKETS).sqrt();
        let per_m = 1.0 / side_m.max(least_m).max(0.1);
        let count = |span_m: f64| (span_m * per_m).floor() as usize + 1;
        let (cols, rows) = (count(span.x), count(span.y));
        Near {
            low,
            per_m,
            cols,
            rows,
            buckets: vec![Vec::new(); cols * rows],
        }
    }

    /// Forgets all heads.
    pub(super) fn clear(&mut self) {
        self.buckets.iter_mut().for_each(Vec::clear);
    }

    fn col(&self, x: f64) -> usize {
        (((x - self.low.x) * self.per_m) as usize).min(self.cols - 1)
    }

    fn row(&self, y: f64) -> usize {
        (((y - self.low.y) * self.per_m) as usize).min(self.rows - 1)
    }

    /// Puts head `i` down.
    pub(super) fn put(&mut self, i: usize, at: Point) {
        let bucket = self.row(at.y) * self.cols + self.col(at.x);
        self.buckets[bucket].push(i as u32);
    }

    /// Takes head `i` up from where it was put.
    pub(super) fn lift(&mut self, i: usize, at: Point) {
        let bucket = self.row(at.y) * self.cols + self.col(at.x);
        self.buckets[bucket].retain(|&j| j as usize != i);
    }

    /// The heads of all buckets that a box of half side `reach_m` about a place touches: all heads
    /// within that distance, and some beyond it.
    pub(super) fn about(&self, at: Point, reach_m: f64) -> impl Iterator<Item = usize> + '_ {
        let (from, to) = (self.col(at.x - reach_m), self.col(at.x + reach_m));
        (self.row(at.y - reach_m)..=self.row(at.y + reach_m)).flat_map(move |row| {
            self.buckets[row * self.cols + from..=row * self.cols + to]
                .iter()
                .flatten()
                .map(|&i| i as usize)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_head_within_reach_is_found_wherever_it_stands() {
        let mut near = Near::over((Point::new(-3.0, 2.0), Point::new(17.0, 31.0)), 4.0);
        let places: Vec<Point> = (0..400)
            .map(|k| Point::new(f64::from(k % 20) * 1.7 - 6.0, f64::from(k / 20) * 2.1 - 1.0))
            .collect();
        for (i, &at) in places.iter().enumerate() {
            near.put(i, at);
        }
        for i in (0..400).step_by(3) {
            near.lift(i, places[i]);
        }
        let mut found = 0;
        for reach_m in [0.5, 4.0, 9.0] {
            for &here in &places {
                let about: Vec<usize> = near.about(here, reach_m).collect();
                for (i, at) in places.iter().enumerate() {
                    let is_wanted = i % 3 != 0 && at.distance(here) <= reach_m;
                    let times = about.iter().filter(|&&j| j == i).count();
                    assert!(times <= usize::from(i % 3 != 0) && times >= usize::from(is_wanted));
                    found += usize::from(is_wanted);
                }
            }
        }
        assert!(found > 10_000);
    }
}
