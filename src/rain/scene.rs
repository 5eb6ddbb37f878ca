//! What stands and lies around a field, as the water of its heads meets it.

use super::grid::Grid;
use crate::shape::{Outline, Point};

/// Ground around a turf area on which water does more harm than elsewhere, and what stops it.
#[derive(Debug, Clone)]
pub struct Scene {
    /// Cells over the turf and all ground within reach.
    pub(super) grid: Grid,
    /// What water on a cell costs more than on plain ground beside the turf.
    pub(super) harm: Vec<f32>,
    /// One for every cell.
    pub(super) every: Vec<f32>,
    /// For each row the columns from the first cell with harm to behind the last.
    pub(super) extent: Vec<(i32, i32)>,
    /// Buildings, walls and trunks within reach.
    pub(super) blocks: Vec<Outline>,
    /// What water costs more that these stop.
    pub(super) stopped_harm: f64,
    /// How far any head throws \[m\].
    pub(super) reach_m: f64,
}

impl Scene {
    /// A scene of plain ground, as far as the longest throw.
    #[must_use]
    pub fn plain(outline: &Outline, cell_m: f64, reach_m: f64) -> Scene {
        let grid = Grid::over(outline, cell_m, reach_m);
        let (cols, rows) = grid.size();
        Scene {
            harm: vec![0.0; cols * rows],
            every: vec![1.0; cols * rows],
            extent: vec![(0, 0); rows],
            blocks: Vec::new(),
            stopped_harm: 0.0,
            reach_m,
            grid,
        }
    }

    /// Says what water in an outline costs beyond the turf, relative to plain ground, where it
    /// costs more than was said before.
    pub fn harm_within(&mut self, outline: &Outline, harm: f32) {
        let Scene {
            grid,
            harm: cells,
            extent,
            ..
        } = self;
        let cols = grid.cols;
        grid.fill(outline, |row, start, end| {
            widen(&mut extent[row], start, end);
            let run = row * cols + start as usize..row * cols + end as usize;
            for (cell, &turf) in cells[run.clone()].iter_mut().zip(&grid.turf[run]) {
                if turf == 0.0 {
                    *cell = cell.max(harm);
                }
            }
        });
    }

    /// The same for a band of turf or other ground along an outline.
    pub fn harm_along(&mut self, outline: &Outline, width_m: f64, harm: f32) {
        let Scene {
            grid,
            harm: cells,
            extent,
            ..
        } = self;
        for (a, b) in outline.edges() {
            let low = Point::new(a.x.min(b.x) - width_m, a.y.min(b.y) - width_m);
            let high = Point::new(a.x.max(b.x) + width_m, a.y.max(b.y) + width_m);
            let (columns, rows) = grid.cells_between(low, high);
            for row in rows {
                widen(&mut extent[row], columns.start as i32, columns.end as i32);
                for col in columns.clone() {
                    if grid.centre(col, row).distance_to_segment(a, b) < width_m {
                        let cell = &mut cells[row * grid.cols + col];
                        *cell = cell.max(harm);
                    }
                }
            }
        }
    }

    /// The same for all ground that lies in none of some outlines.
    pub fn harm_beyond(&mut self, outlines: &[Outline], harm: f32) {
        let cols = self.grid.cols;
        let mut is_within: Vec<bool> = self.grid.turf.iter().map(|&turf| turf > 0.0).collect();
        for outline in outlines {
            self.grid.fill(outline, |row, start, end| {
                is_within[row * cols + start as usize..row * cols + end as usize].fill(true);
            });
        }
        for (cell, within) in self.harm.iter_mut().zip(is_within) {
            if !within {
                *cell = cell.max(harm);
            }
        }
        self.extent.fill((0, cols as i32));
    }

    /// Sets up what stops water, and says what the water costs that it stops.
    pub fn block(&mut self, blocks: &[Outline], harm: f64) {
        let (low, high) = self.grid.bounds();
        self.blocks.extend(
            blocks
                .iter()
                .filter(|block| {
                    let (from, to) = block.bounds();
                    from.x <= high.x && from.y <= high.y && to.x >= low.x && to.y >= low.y
                })
                .cloned(),
        );
        self.stopped_harm = harm;
    }
}

/// Widens a range of columns to hold another.
fn widen(extent: &mut (i32, i32), start: i32, end: i32) {
    *extent = if extent.0 == extent.1 {
        (start, end)
    } else {
        (extent.0.min(start), extent.1.max(end))
    };
}
