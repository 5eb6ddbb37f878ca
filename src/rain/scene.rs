//! What stands and lies around a field, as the water of its heads meets it.

use super::grid::Grid;
use super::kernel::LANES;
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
    /// The runs of cells with harm, from west to east: those of a row from its start to the start
    /// of the next, each from its first column to behind its last. Empty until [`Scene::close`].
    pub(super) harmful: Vec<(i32, i32)>,
    pub(super) starts: Vec<u32>,
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
            harm: vec![0.0; cols * rows + LANES],
            every: vec![1.0; cols * rows + LANES],
            harmful: Vec::new(),
            starts: vec![0; rows + 1],
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
            grid, harm: cells, ..
        } = self;
        let cols = grid.cols;
        grid.fill(outline, |row, start, end| {
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
            grid, harm: cells, ..
        } = self;
        for (a, b) in outline.edges() {
            let low = Point::new(a.x.min(b.x) - width_m, a.y.min(b.y) - width_m);
            let high = Point::new(a.x.max(b.x) + width_m, a.y.max(b.y) + width_m);
            let (columns, rows) = grid.cells_between(low, high);
            for row in rows {
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

    /// Notes where water does harm, once all of it is said.
    #[must_use]
    pub fn close(mut self) -> Scene {
        let cols = self.grid.cols;
        self.harmful.clear();
        for row in 0..self.grid.rows {
            let cells = &self.harm[row * cols..(row + 1) * cols];
            let mut col = 0;
            while let Some(from) = (col..cols).find(|&col| cells[col] != 0.0) {
                let to = (from..cols).find(|&col| cells[col] == 0.0).unwrap_or(cols);
                self.harmful.push((from as i32, to as i32));
                col = to;
            }
            self.starts[row + 1] = self.harmful.len() as u32;
        }
        self
    }
}
