//! Elevation models, through the system's raster library.

use std::sync::Mutex;

use gdal::{Dataset, DatasetOptions, GdalOpenFlags};
use geo::{Coord, MapCoords};

use super::feature::bounds;
use super::plane::Plane;
use super::slope::{Heights, Steps};
use super::source::Source;
use crate::crs::{Crs, listen_to_gdal, take_gdal_complaint};
use crate::issue::{Code, Issue};
use crate::site::{LonLatPolygon, Relief, Terrain};
use crate::units::FOOT_M;

/// Formats of one plain file. Those left out reach for networks or point to other files.
const DRIVERS: [&str; 14] = [
    "GTiff", "COG", "AAIGrid", "HFA", "EHdr", "ENVI", "SRTMHGT", "USGSDEM", "DTED", "GPKG", "GSAG",
    "GSBG", "SAGA", "XYZ",
];
/// Formats of rows of text. Their readers find a row by reading those before it, and look for one behind
/// a row that is missing again and again, without end.
const ROWS_OF_TEXT: [&str; 2] = ["AAIGrid", "GSAG"];
/// Cells around a lawn that its slopes need.
const MARGIN_CELLS: f64 = 2.0;
/// Most cells that are held of a lawn; beyond it every second one is read, and so on.
const MOST_CELLS: usize = 4_000_000;
/// Heights of land \[m\]: the shore of the Dead Sea lies at about −430 m, the highest summit at 8,849 m;
/// rounded outwards, choice of this program.
const HEIGHTS_M: std::ops::RangeInclusive<f64> = -500.0..=9_000.0;
/// Steeper than this median is no lawn \[%\]: 63 degrees; choice of this program.
const MAX_SLOPE_PCT: f64 = 200.0;
/// Maximum number of places of a relief: 131 kB, and a place every 8 m on 100 ha.
const MAX_PLACES: f64 = 16_384.0;
/// A relief has a place at least so many times to a cell, so that its own straight lines add little.
const PLACES_PER_CELL: f64 = 2.0;
/// Less of a relief than this share with heights is none.
const MIN_COVER_FRAC: f64 = 0.5;
/// Half the distance over which the grid is compared with the ground \[m\].
const PROBE_M: f64 = 50.0;

/// A raster of heights.
pub(super) struct Dem {
    /// The input's name.
    name: String,
    // The library's handle may move between threads but not be shared.
    dataset: Mutex<Dataset>,
    crs: Crs,
    /// Coordinates of column and row 0, and what a column and a row add.
    transform: [f64; 6],
    size: (usize, usize),
    no_height: Option<f64>,
    /// Metres to a unit of height, and what is added first.
    unit_m: f64,
    offset: f64,
}

impl Dem {
    /// Opens a raster. One of text is read once to its end.
    ///
    /// # Errors
    /// `CR01` without a reference system, `EL02` for degrees that are none, `EL03` when it is not a raster of
    /// heights.
    pub(super) fn open(source: &Source) -> Result<Dem, Issue> {
        listen_to_gdal();
        let _ = take_gdal_complaint();
        let refused = |found: String| Issue::new(Code::EL03, found).in_file(source.name());
        let Some(path) = source.path().filter(|path| path.is_file()) else {
            return Err(refused("it is not a plain file".to_owned()));
        };
        // The full path begins with a slash and cannot be taken for a connection string.
        let path = path
            .canonicalize()
            .map_err(|fault| refused(fault.to_string()))?;
        let options = DatasetOptions {
            open_flags: GdalOpenFlags::GDAL_OF_READONLY | GdalOpenFlags::GDAL_OF_RASTER,
            allowed_drivers: Some(&DRIVERS),
            ..DatasetOptions::default()
        };
        let dataset =
            Dataset::open_ex(&path, options).map_err(|fault| refused(complaint(&fault)))?;
        let crs = dataset
            .spatial_ref()
            .map_err(|_| Issue::new(Code::CR01, "the raster says none"))
            .and_then(|reference| {
                let map_unit_m = reference.linear_units();
                Ok((Crs::from_reference(reference)?, map_unit_m))
            });
        let (crs, map_unit_m) = crs.map_err(|issue| issue.in_file(source.name()))?;
        // Heights over a map in degrees are in metres unless they say otherwise.
        let map_unit_m = if crs.is_projected() { map_unit_m } else { 1.0 };
        let transform = dataset
            .geo_transform()
            .map_err(|_| refused("it says not where it lies".to_owned()))?;
        let [_, x_column, x_row, _, y_column, y_row] = transform;
        let cell = x_column * y_row - x_row * y_column;
        if !cell.is_normal() {
            return Err(refused("its cells have no size".to_owned()));
        }
        let size = dataset.raster_size();
        if !crs.is_projected() {
            let (across, down) = (size.0 as f64, size.1 as f64);
            let reach = |start: f64, by_column: f64, by_row: f64| {
                let ends = [0.0, across * by_column, down * by_row];
                let ends = ends.map(|part| (start + part).abs());
                ends.into_iter().fold(0.0, f64::max)
            };
            let east_deg = reach(transform[0], x_column, x_row);
            let north_deg = reach(transform[3], y_column, y_row);
            if east_deg > 540.0 || north_deg > 90.5 {
                let found = format!(
                    "its system is {} and it lies at {east_deg:.0}, {north_deg:.0}",
                    crs.name()
                );
                return Err(Issue::new(Code::EL02, found).in_file(source.name()));
            }
        }
        let band = dataset
            .rasterband(1)
            .map_err(|fault| refused(complaint(&fault)))?;
        if ROWS_OF_TEXT.contains(&dataset.driver().short_name().as_str()) {
            for row in 0..size.1 {
                let read = band.read_as::<f64>((0, row as isize), (size.0, 1), (size.0, 1), None);
                read.map_err(|fault| refused(complaint(&fault)))?;
            }
        }
        let height_unit_m = match band.unit().to_lowercase().trim() {
            // Heights without a unit are in the unit of the map.
            "" => map_unit_m,
            "m" | "metre" | "meter" | "metres" | "meters" => 1.0,
            "ft" | "foot" | "feet" | "ft_us" | "us survey foot" | "us_survey_foot" => FOOT_M,
            other => return Err(refused(format!("heights in `{other}`"))),
        };
        let unit_m = height_unit_m * band.scale().unwrap_or(1.0);
        let offset = band.offset().unwrap_or(0.0) / band.scale().unwrap_or(1.0);
        let no_height = band.no_data_value();
        let _ = take_gdal_complaint();
        Ok(Dem {
            name: source.name().to_owned(),
            dataset: Mutex::new(dataset),
            crs,
            transform,
            size,
            no_height,
            unit_m,
            offset,
        })
    }

    /// The slopes of a lawn.
    ///
    /// # Errors
    /// `EL01` when the raster does not cover it, `EL04` for impossible heights and slopes, `EL05` when it
    /// cannot be read there.
    pub(super) fn terrain(&self, lawn: &LonLatPolygon) -> Result<Terrain, Issue> {
        let uncovered = |found: &str| Issue::new(Code::EL01, found);
        let drawn = self.in_cells(lawn)?;
        let (window, heights_m) = self.window(bounds(&drawn))?;
        let Window { low, size, shrink } = window;
        let in_window = drawn.map_coords(|at| Coord {
            x: (at.x - low.0) * shrink[0],
            y: (at.y - low.1) * shrink[1],
        });
        let window = Heights {
            columns: size.0,
            rows: size.1,
            heights_m,
        };
        let steps = self.steps_at(Plane::about(lawn))?;
        let shrunk = |[columns, rows]: [f64; 2]| [columns * shrink[0], rows * shrink[1]];
        let steps = Steps {
            east: shrunk(steps.east),
            north: shrunk(steps.north),
        };
        let terrain = window
            .terrain(&in_window, steps)
            .ok_or_else(|| uncovered("less than half of it has heights around"))?;
        if terrain.slope_pct > MAX_SLOPE_PCT {
            let found = format!("a slope of {:.0} %", terrain.slope_pct);
            return Err(Issue::new(Code::EL04, found));
        }
        Ok(terrain)
    }

    /// The heights of a box of longitude and latitude (west, south, east, north), by a grid of places
    /// half a cell apart, or farther where that would be too many. Between the middles of the cells
    /// heights are bilinear; a place without one has the mean of its neighbours'.
    ///
    /// # Errors
    /// `EL01` when less than half of it has heights.
    pub(super) fn relief(&self, [west, south, east, north]: [f64; 4]) -> Result<Relief, Issue> {
        let uncovered = |found: &str| Issue::new(Code::EL01, found);
        let middle = ((west + east) / 2.0, (south + north) / 2.0);
        let plane = Plane::at(middle.0, middle.1);
        let Steps { east: a, north: b } = self.steps_at(plane)?;
        // The area of a cell on the ground.
        let cell_m = 1.0 / (a[0] * b[1] - a[1] * b[0]).abs().sqrt();
        let corner = |x: f64, y: f64| plane.point_to_metres(Coord { x, y });
        let span = corner(east, north) - corner(west, south);
        let (width_m, height_m) = (span.x + 2.0 * cell_m, span.y + 2.0 * cell_m);
        let fine_m = cell_m / PLACES_PER_CELL;
        let coarse_m = (width_m * height_m / MAX_PLACES).sqrt();
        // A long thin box would have too many places along it.
        let step_m = fine_m
            .max(coarse_m)
            .max(width_m.max(height_m) / (MAX_PLACES / 4.0));
        let columns = (width_m / step_m).ceil() as usize + 1;
        let rows = (height_m / step_m).ceil() as usize + 1;
        let unit = plane.point_to_degrees(Coord {
            x: step_m,
            y: step_m,
        });
        let step_deg = (unit.x - middle.0, unit.y - middle.1);
        let half = |count: usize, step: f64| step * (count - 1) as f64 / 2.0;
        let origin_deg = (
            middle.0 - half(columns, step_deg.0),
            middle.1 - half(rows, step_deg.1),
        );
        let places: Vec<Coord<f64>> = (0..rows * columns)
            .map(|i| Coord {
                x: origin_deg.0 + step_deg.0 * (i % columns) as f64,
                y: origin_deg.1 + step_deg.1 * (i / columns) as f64,
            })
            .collect();
        let cells = self.cells(&places)?;
        let (mut low, mut high) = (cells[0], cells[0]);
        for at in &cells {
            (low.x, low.y) = (low.x.min(at.x), low.y.min(at.y));
            (high.x, high.y) = (high.x.max(at.x), high.y.max(at.y));
        }
        let (window, heights_m) = self.window([low.x, low.y, high.x, high.y])?;
        let heights_m: Vec<f64> = cells
            .iter()
            .map(|at| window.between(at.x, at.y, &heights_m))
            .collect();
        let known = heights_m.iter().filter(|height| !height.is_nan()).count();
        if (known as f64) < MIN_COVER_FRAC * heights_m.len() as f64 {
            return Err(uncovered("less than half of it has heights"));
        }
        Ok(Relief {
            origin_deg,
            step_deg,
            columns,
            heights_m: filled(heights_m, columns),
        })
    }

    /// The heights of a box of columns and rows, coarser where it has too many cells, and where they
    /// lie.
    fn window(&self, [west, top, east, bottom]: [f64; 4]) -> Result<(Window, Vec<f64>), Issue> {
        let (columns, rows) = (self.size.0 as f64, self.size.1 as f64);
        let low = (
            (west - MARGIN_CELLS).floor().max(0.0),
            (top - MARGIN_CELLS).floor().max(0.0),
        );
        let high = (
            (east + MARGIN_CELLS).ceil().min(columns),
            (bottom + MARGIN_CELLS).ceil().min(rows),
        );
        if low.0 >= high.0 || low.1 >= high.1 {
            return Err(Issue::new(Code::EL01, "it lies outside the raster"));
        }
        let (width, height) = ((high.0 - low.0) as usize, (high.1 - low.1) as usize);
        let coarser = ((width as f64) * (height as f64) / MOST_CELLS as f64)
            .sqrt()
            .ceil()
            .max(1.0);
        let size = (
            (width as f64 / coarser).ceil() as usize,
            (height as f64 / coarser).ceil() as usize,
        );
        let heights_m = self.heights_m((low.0 as isize, low.1 as isize), (width, height), size)?;
        // Beyond these are no heights but marks of missing ones that the raster does not declare.
        let is_impossible = |height_m: &&f64| !HEIGHTS_M.contains(*height_m) && !height_m.is_nan();
        if let Some(height_m) = heights_m.iter().find(is_impossible) {
            return Err(Issue::new(Code::EL04, format!("a height of {height_m} m")));
        }
        let window = Window {
            low,
            size,
            shrink: [size.0 as f64 / width as f64, size.1 as f64 / height as f64],
        };
        Ok((window, heights_m))
    }

    fn heights_m(
        &self,
        from: (isize, isize),
        window: (usize, usize),
        size: (usize, usize),
    ) -> Result<Vec<f64>, Issue> {
        let unreadable = |found: String| Issue::new(Code::EL05, found).in_file(&self.name);
        let dataset = self
            .dataset
            .lock()
            .map_err(|_| unreadable("a reader of the raster broke off".to_owned()))?;
        let read = dataset
            .rasterband(1)
            .and_then(|band| band.read_as::<f64>(from, window, size, None));
        let buffer = read.map_err(|fault| unreadable(complaint(&fault)))?;
        let heights = buffer.data().iter().map(|&height| {
            if self.no_height == Some(height) || !height.is_finite() {
                f64::NAN
            } else {
                (height + self.offset) * self.unit_m
            }
        });
        Ok(heights.collect())
    }

    /// A lawn in columns and rows of the raster.
    fn in_cells(&self, lawn: &LonLatPolygon) -> Result<geo::Polygon<f64>, Issue> {
        let ring = |line: &geo::LineString<f64>| -> Result<geo::LineString<f64>, Issue> {
            let points: Vec<Coord<f64>> = line.coords().copied().collect();
            self.cells(&points).map(geo::LineString)
        };
        let holes: Result<Vec<_>, Issue> = lawn.interiors().iter().map(ring).collect();
        Ok(geo::Polygon::new(ring(lawn.exterior())?, holes?))
    }

    fn cells(&self, points: &[Coord<f64>]) -> Result<Vec<Coord<f64>>, Issue> {
        let mut x: Vec<f64> = points.iter().map(|at| at.x).collect();
        let mut y: Vec<f64> = points.iter().map(|at| at.y).collect();
        self.crs
            .lon_lat_to(&mut x, &mut y)
            .map_err(|issue| Issue::new(Code::EL01, issue.found))?;
        let [x0, x_column, x_row, y0, y_column, y_row] = self.transform;
        let determinant = x_column * y_row - x_row * y_column;
        let cells = x.iter().zip(&y).map(|(x, y)| {
            let (dx, dy) = (x - x0, y - y0);
            Coord {
                x: (dx * y_row - dy * x_row) / determinant,
                y: (dy * x_column - dx * y_column) / determinant,
            }
        });
        Ok(cells.collect())
    }

    /// What a metre east and a metre north are in columns and rows about a place: the scale of the
    /// projection, its convergence and the unit of the map are all in it.
    fn steps_at(&self, plane: Plane) -> Result<Steps, Issue> {
        let probe = |east_m: f64, north_m: f64| {
            plane.point_to_degrees(Coord {
                x: east_m,
                y: north_m,
            })
        };
        let probes = [
            probe(-PROBE_M, 0.0),
            probe(PROBE_M, 0.0),
            probe(0.0, -PROBE_M),
            probe(0.0, PROBE_M),
        ];
        let cells = self.cells(&probes)?;
        let between = |from: usize, to: usize| {
            let step = (cells[to] - cells[from]) / (2.0 * PROBE_M);
            [step.x, step.y]
        };
        Ok(Steps {
            east: between(0, 1),
            north: between(2, 3),
        })
    }
}

/// A piece of the raster that was read.
struct Window {
    /// Its first column and row.
    low: (f64, f64),
    /// How many columns and rows were read of it.
    size: (usize, usize),
    /// Columns read to a column, and rows to a row.
    shrink: [f64; 2],
}

impl Window {
    /// The height at a column and row of the raster, bilinear between the middles of the cells around;
    /// in the outer half of the outermost cells that of their middles; NaN beyond, and beside a hole.
    fn between(&self, column: f64, row: f64, heights_m: &[f64]) -> f64 {
        let along = |at: f64, low: f64, shrink: f64, count: usize| {
            let at = (at - low) * shrink;
            let is_inside = (0.0..=count as f64).contains(&at);
            let at = (at - 0.5).clamp(0.0, (count - 1) as f64);
            let first = at.floor() as usize;
            is_inside.then_some((first, (first + 1).min(count - 1), at - first as f64))
        };
        let across = along(column, self.low.0, self.shrink[0], self.size.0);
        let down = along(row, self.low.1, self.shrink[1], self.size.1);
        let (Some((left, right, east)), Some((top, bottom, south))) = (across, down) else {
            return f64::NAN;
        };
        let height = |row: usize, column: usize| heights_m[row * self.size.0 + column];
        // A hole whose share is nothing does not count.
        let mixed = |a: f64, b: f64, share: f64| {
            if share == 0.0 {
                a
            } else {
                a * (1.0 - share) + b * share
            }
        };
        let upper = mixed(height(top, left), height(top, right), east);
        let lower = mixed(height(bottom, left), height(bottom, right), east);
        mixed(upper, lower, south)
    }
}

/// Heights with their holes filled from the edges inwards, each place with the mean of those of its four
/// neighbours that have one. At least one place has a height.
fn filled(mut heights_m: Vec<f64>, columns: usize) -> Vec<f64> {
    let rows = heights_m.len() / columns;
    let mut open: Vec<usize> = (0..heights_m.len())
        .filter(|&at| heights_m[at].is_nan())
        .collect();
    // Every round fills the places beside those with heights; the farthest is that many away at most.
    for _ in 0..rows + columns {
        if open.is_empty() {
            break;
        }
        let means: Vec<f64> = open
            .iter()
            .map(|&at| {
                let (row, column) = (at / columns, at % columns);
                let around = [
                    (row > 0).then(|| at - columns),
                    (column > 0).then(|| at - 1),
                    (column + 1 < columns).then_some(at + 1),
                    (row + 1 < rows).then_some(at + columns),
                ];
                let known = around.into_iter().flatten().map(|near| heights_m[near]);
                let (sum, count) = known
                    .filter(|height| !height.is_nan())
                    .fold((0.0, 0.0), |(sum, count), height| {
                        (sum + height, count + 1.0)
                    });
                sum / count
            })
            .collect();
        for (&at, mean) in open.iter().zip(means) {
            heights_m[at] = mean;
        }
        open.retain(|&at| heights_m[at].is_nan());
    }
    heights_m
}

fn complaint(fault: &gdal::errors::GdalError) -> String {
    take_gdal_complaint().unwrap_or_else(|| fault.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_are_bilinear_between_the_middles_of_cells() {
        // Three columns and two rows from column 10, row 20 on; read as they are.
        let heights_m = [0.0, 10.0, 20.0, 100.0, 110.0, f64::NAN];
        let window = Window {
            low: (10.0, 20.0),
            size: (3, 2),
            shrink: [1.0, 1.0],
        };
        for (column, row, height_m) in [
            (10.5, 20.5, 0.0),
            (11.0, 20.5, 5.0),
            (11.0, 21.0, 55.0),
            (12.5, 20.5, 20.0),
            (10.1, 20.1, 0.0),
            (12.9, 20.5, 20.0),
        ] {
            let found = window.between(column, row, &heights_m);
            assert!((found - height_m).abs() < 1e-9, "{column} {row}: {found}");
        }
        for (column, row) in [(9.9, 20.5), (13.1, 20.5), (11.0, 22.1), (12.2, 21.0)] {
            assert!(window.between(column, row, &heights_m).is_nan());
        }
    }

    #[test]
    fn holes_are_filled_from_around() {
        let hole = f64::NAN;
        let found = filled(vec![1.0, hole, 3.0, 1.0, hole, 3.0, hole, hole, hole], 3);
        assert_eq!(found[..6], [1.0, 2.0, 3.0, 1.0, 2.0, 3.0]);
        assert_eq!(found[6..], [1.0, 2.0, 3.0]);
    }
}
