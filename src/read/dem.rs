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
use crate::site::{LonLatPolygon, Terrain};
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
    /// `CR01` without a reference system, `EL02` for degrees, `EL03` when it is not a raster of
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
        if !crs.is_projected() {
            let found = format!("its system is {}", crs.name());
            return Err(Issue::new(Code::EL02, found).in_file(source.name()));
        }
        let transform = dataset
            .geo_transform()
            .map_err(|_| refused("it says not where it lies".to_owned()))?;
        let [_, x_column, x_row, _, y_column, y_row] = transform;
        let cell = x_column * y_row - x_row * y_column;
        if !cell.is_normal() {
            return Err(refused("its cells have no size".to_owned()));
        }
        let size = dataset.raster_size();
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
        let [west, south, east, north] = bounds(&drawn);
        let (columns, rows) = (self.size.0 as f64, self.size.1 as f64);
        let low = (
            (west - MARGIN_CELLS).floor().max(0.0),
            (south - MARGIN_CELLS).floor().max(0.0),
        );
        let high = (
            (east + MARGIN_CELLS).ceil().min(columns),
            (north + MARGIN_CELLS).ceil().min(rows),
        );
        if low.0 >= high.0 || low.1 >= high.1 {
            return Err(uncovered("it lies outside the raster"));
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
        let impossible = |found: String| Issue::new(Code::EL04, found);
        // Beyond these are no heights but marks of missing ones that the raster does not declare.
        let is_impossible = |height_m: &&f64| !HEIGHTS_M.contains(*height_m) && !height_m.is_nan();
        if let Some(height_m) = heights_m.iter().find(is_impossible) {
            return Err(impossible(format!("a height of {height_m} m")));
        }
        let shrink = [size.0 as f64 / width as f64, size.1 as f64 / height as f64];
        let in_window = drawn.map_coords(|at| Coord {
            x: (at.x - low.0) * shrink[0],
            y: (at.y - low.1) * shrink[1],
        });
        let window = Heights {
            columns: size.0,
            rows: size.1,
            heights_m,
        };
        let steps = self.steps(lawn)?;
        let shrunk = |[columns, rows]: [f64; 2]| [columns * shrink[0], rows * shrink[1]];
        let steps = Steps {
            east: shrunk(steps.east),
            north: shrunk(steps.north),
        };
        let terrain = window
            .terrain(&in_window, steps)
            .ok_or_else(|| uncovered("less than half of it has heights around"))?;
        if terrain.slope_pct > MAX_SLOPE_PCT {
            return Err(impossible(format!("a slope of {:.0} %", terrain.slope_pct)));
        }
        Ok(terrain)
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

    /// What a metre east and a metre north are in columns and rows at a lawn: the scale of the
    /// projection, its convergence and the unit of the map are all in it.
    fn steps(&self, lawn: &LonLatPolygon) -> Result<Steps, Issue> {
        let plane = Plane::about(lawn);
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

fn complaint(fault: &gdal::errors::GdalError) -> String {
    take_gdal_complaint().unwrap_or_else(|| fault.to_string())
}
