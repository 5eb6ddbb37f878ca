//! Patches: connected places that get much less than the rest, and how wide they are.

use super::Grid;
use crate::shape::Point;

/// A connected set of weak cells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Centre of the largest circle inside it, to a cell.
    pub centre: Point,
    /// Diameter of that circle \[m\]: `(2 d − 1) · cell`, d the distance in cells from its centre to the
    /// nearest cell that is not of the patch.
    pub width_m: f64,
}

/// The patches of turf cells whose rate lies below a bound, the widest first and of equals the one that is
/// met first from the south-west. Cells join where they share a side. `field` holds the rates of all
/// cells, row by row from the south-west, in the unit of the bound.
#[must_use]
pub fn patches(grid: &Grid, field: &[f32], below: f32) -> Vec<Patch> {
    let (cols, rows) = grid.size();
    let weak = |cell: usize| grid.turf[cell] > 0.0 && field[cell] < below;
    let members: Vec<usize> = (0..cols * rows).filter(|&cell| weak(cell)).collect();
    let (Some(first), Some(last)) = (members.first(), members.last()) else {
        return Vec::new();
    };
    // A border of cells that are not of any patch lies around the rows that hold members.
    let (low, wide) = (first / cols, cols + 2);
    let high = last / cols - low + 3;
    let place = |cell: usize| (cell / cols - low + 1) * wide + cell % cols + 1;
    let mut up = vec![0_u32; wide * high];
    for &cell in &members {
        up[place(cell)] = 1;
    }
    let is_member: Vec<bool> = up.iter().map(|&one| one > 0).collect();
    // Distance to the nearest other cell of the column, from below and from above.
    for at in wide..up.len() {
        if is_member[at] {
            up[at] = up[at - wide] + 1;
        }
    }
    for at in (0..up.len() - wide).rev() {
        if is_member[at] {
            up[at] = up[at].min(up[at + wide] + 1);
        }
    }
    let mut widest: Vec<(u64, usize)> = Vec::new();
    let mut seen = vec![false; up.len()];
    let mut open = Vec::new();
    for &cell in &members {
        if seen[place(cell)] {
            continue;
        }
        seen[place(cell)] = true;
        open.push(place(cell));
        let mut best = (0, usize::MAX);
        while let Some(at) = open.pop() {
            let squared = clearance(&up, at);
            if squared > best.0 || (squared == best.0 && at < best.1) {
                best = (squared, at);
            }
            for next in [at - 1, at + 1, at - wide, at + wide] {
                if is_member[next] && !seen[next] {
                    seen[next] = true;
                    open.push(next);
                }
            }
        }
        widest.push(best);
    }
    widest.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    widest
        .into_iter()
        .map(|(squared, at)| Patch {
            centre: grid.centre(at % wide - 1, at / wide - 1 + low),
            width_m: (2.0 * (squared as f64).sqrt() - 1.0) * grid.cell_m(),
        })
        .collect()
}

/// The squared distance from a member to the nearest cell that is none, in cells: over the columns to both
/// sides, each with its own distance upwards or downwards.
fn clearance(up: &[u32], at: usize) -> u64 {
    let own = u64::from(up[at]);
    let mut best = own * own;
    for step in [-1_isize, 1] {
        let mut across = 1_u64;
        while across * across < best {
            // The border stops every walk: its distance is 0.
            let Some(&column) = at
                .checked_add_signed(step * across as isize)
                .and_then(|beside| up.get(beside))
            else {
                break;
            };
            let column = u64::from(column);
            best = best.min(across * across + column * column);
            if column == 0 {
                break;
            }
            across += 1;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::Outline;

    fn square(side_m: f64) -> Outline {
        let ring = [(0.0, 0.0), (side_m, 0.0), (side_m, side_m), (0.0, side_m)];
        Outline::new(ring.map(|(x, y)| Point::new(x, y)).to_vec(), vec![]).unwrap()
    }

    /// A field that is dry inside the given discs and wet elsewhere.
    fn dry_in(grid: &Grid, discs: &[(Point, f64)]) -> Vec<f32> {
        let (cols, rows) = grid.size();
        (0..cols * rows)
            .map(|cell| grid.centre(cell % cols, cell / cols))
            .map(|at| {
                let is_dry = discs.iter().any(|(middle, r)| at.distance(*middle) < *r);
                if is_dry { 0.0 } else { 10.0 }
            })
            .collect()
    }

    #[test]
    fn a_disc_is_as_wide_as_it_is_and_the_widest_comes_first() {
        let lawn = square(20.0);
        let grid = Grid::over(&lawn, 0.1, 0.0);
        let discs = [
            (Point::new(4.0, 4.0), 1.0),
            (Point::new(14.0, 12.0), 2.5),
            (Point::new(4.0, 16.0), 0.3),
        ];
        let found = patches(&grid, &dry_in(&grid, &discs), 5.0);
        assert_eq!(found.len(), 3);
        for (patch, k) in found.iter().zip([1, 0, 2]) {
            let (middle, r) = discs[k];
            // To two cells and a half: the nearest other centre lies up to a cell inside of the circle, on either
            // side, and the centre's own half cell.
            assert!((patch.width_m - 2.0 * r).abs() < 0.25, "{patch:?} {r}");
            assert!(patch.centre.distance(middle) < 0.15, "{patch:?}");
        }
    }

    #[test]
    fn the_edge_of_the_turf_bounds_a_patch() {
        let lawn = square(10.0);
        let grid = Grid::over(&lawn, 0.1, 2.0);
        // Half a disc on the southern edge: its largest circle has the radius for its diameter.
        let found = patches(&grid, &dry_in(&grid, &[(Point::new(5.0, 0.0), 2.0)]), 5.0);
        assert_eq!(found.len(), 1);
        assert!((found[0].width_m - 2.0).abs() < 0.15, "{found:?}");
        assert!(patches(&grid, &dry_in(&grid, &[]), 5.0).is_empty());
    }

    #[test]
    fn distances_are_those_to_the_nearest_other_cell() {
        let lawn = square(3.0);
        let grid = Grid::over(&lawn, 0.1, 0.3);
        let (cols, rows) = grid.size();
        let discs = [(Point::new(1.2, 1.4), 0.8), (Point::new(2.2, 1.0), 0.5)];
        let field = dry_in(&grid, &discs);
        let member = |cell: usize| grid.turf[cell] > 0.0 && field[cell] < 5.0;
        let slow = (0..cols * rows)
            .filter(|&cell| member(cell))
            .map(|cell| {
                let others = (0..cols * rows).filter(|&other| !member(other));
                others
                    .map(|other| {
                        let dx = (other % cols).abs_diff(cell % cols);
                        let dy = (other / cols).abs_diff(cell / cols);
                        dx * dx + dy * dy
                    })
                    .min()
                    .unwrap()
            })
            .max()
            .unwrap();
        let found = patches(&grid, &field, 5.0);
        let width_m = (2.0 * (slow as f64).sqrt() - 1.0) * 0.1;
        assert!(
            (found[0].width_m - width_m).abs() < 1e-9,
            "{found:?} {width_m}"
        );
    }
}
