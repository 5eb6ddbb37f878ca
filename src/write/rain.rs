//! Rain as rasters: one GeoTIFF for each turf area and scenario, and the table that lists them.

use super::layer::{Column, Geometry, Layer, number, text};
use super::rows::TurfRow;
use crate::catalogue::Profile;
use crate::issue::{Code, Issue};
use crate::plan::{ParcelPlan, Scenario};
use crate::rain::{Grid, RainGrid};
use crate::uniformity::{self, cell_m};

/// Whose rain is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Rain {
    /// Nobody's.
    #[default]
    None,
    /// As found and as recommended.
    Recommended,
    /// That of every scenario.
    All,
}

/// One row per raster.
pub struct Rasters;

/// A row of `rain`.
pub struct RasterRow<'a> {
    area: &'a TurfRow<'a>,
    /// The file, by numbers: ids may hold what no file name can.
    pub(super) file: String,
    cell_m: f64,
    mean_mm_h: f64,
}

/// The rate on a grid, from the north-west cell row by row.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Origin of the local frame: longitude and latitude \[degrees\].
    pub origin_deg: (f64, f64),
    /// North-west corner of the grid in the local frame \[m\].
    pub corner_m: (f64, f64),
    /// Side of a cell \[m\].
    pub cell_m: f64,
    /// Cells from west to east, and from north to south.
    pub size: (usize, usize),
    /// The rates \[mm/h\]; [`NO_DATA`] beside the turf.
    pub rates_mm_h: Vec<f32>,
}

/// The folder of the rasters.
pub const FOLDER: &str = "rain";
/// What stands in cells that are not turf.
pub const NO_DATA: f32 = -9999.0;

impl Rain {
    /// The words and what they mean.
    pub const WORDS: [(&'static str, Rain); 3] = [
        ("none", Rain::None),
        ("recommended", Rain::Recommended),
        ("all", Rain::All),
    ];

    /// Whose rain a word asks for.
    ///
    /// # Errors
    /// `RU01` for a word that there is not, or where this build writes no rasters.
    pub fn parse(word: &str) -> Result<Rain, Issue> {
        let found = Rain::WORDS.iter().find(|(text, _)| *text == word);
        match found {
            None => Err(Issue::new(
                Code::RU01,
                format!("rain: there is no `{word}`"),
            )),
            Some((_, rain)) if *rain != Rain::None && !cfg!(feature = "system-gis") => {
                let what = "this build writes no rasters: it lacks a library";
                Err(Issue::new(Code::RU01, what))
            }
            Some((_, rain)) => Ok(*rain),
        }
    }

    /// Whether the rain of a row of `turf` is written.
    pub(super) fn wants(self, area: &TurfRow<'_>) -> bool {
        match self {
            Rain::None => false,
            Rain::Recommended => area.plan.recommended || area.plan.scenario == Scenario::AsFound,
            Rain::All => true,
        }
    }
}

impl Layer for Rasters {
    const NAME: &'static str = "rain";
    const ROW: &'static str = "raster of precipitation rate, written with `--rain`";
    const SHAPE: &'static str = "";
    type Row<'a> = RasterRow<'a>;
    const COLUMNS: &'static [Column<Rasters>] = &[
        text("file", "The GeoTIFF: rate over the turf in mm/h", |r| {
            r.file.as_str().into()
        }),
        text("parcel_id", "The parcel", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area", |r| {
            r.area.turf.id.as_str().into()
        }),
        text("scenario", "The scenario", |r| {
            r.area.plan.scenario.text().into()
        }),
        number("cell_m", "m", 3, "Side of a cell", |r| r.cell_m.into()),
        number(
            "rate_mm_h",
            "mm/h",
            3,
            "Mean over the turf's cells, as in `turf`",
            |r| r.mean_mm_h.into(),
        ),
    ];

    fn geometry<'r>(_: &'r RasterRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}

/// The rain of a row of `turf` as drawn, in still air; `None` without heads or turf cells.
pub(super) fn raster<'a>(
    area: &'a TurfRow<'a>,
    turf_number: usize,
) -> Option<(RasterRow<'a>, Field)> {
    let plan = area.plan;
    let watered = plan.watered.as_ref().unwrap_or(&area.turf.polygon);
    let outline = area.frame.outline(watered)?;
    let profile = Profile::parse(&plan.profile).ok()?;
    if plan.heads.is_empty() {
        return None;
    }
    let grid = Grid::over(&outline, cell_m(&plan.heads), 0.0);
    let rain = RainGrid::of(&grid, &plan.heads, &profile, &plan.seen);
    let mean_mm_h = uniformity::evenness(&rain.turf_rates())?.mean;
    let row = RasterRow {
        area,
        file: file(area.parcel, turf_number, &plan.scenario),
        cell_m: grid.cell_m(),
        mean_mm_h,
    };
    Some((row, field(area, &grid, &rain)))
}

fn field(area: &TurfRow<'_>, grid: &Grid, rain: &RainGrid<'_>) -> Field {
    let (cols, rows) = grid.size();
    let half_m = grid.cell_m() / 2.0;
    let north_west = grid.centre(0, rows - 1); // a grid has a row
    let mut rates_mm_h = Vec::with_capacity(cols * rows);
    for row in (0..rows).rev() {
        for col in 0..cols {
            rates_mm_h.push(if grid.is_turf(col, row) {
                rain.rate_mm_h(col, row) as f32
            } else {
                NO_DATA
            });
        }
    }
    Field {
        origin_deg: (area.frame.lon0_deg(), area.frame.lat0_deg()),
        corner_m: (north_west.x - half_m, north_west.y + half_m),
        cell_m: grid.cell_m(),
        size: (cols, rows),
        rates_mm_h,
    }
}

fn file(parcel: &ParcelPlan, turf_number: usize, scenario: &Scenario) -> String {
    let scenario = super::record::plain(&scenario.text());
    format!("{FOLDER}/{}-{turf_number}-{scenario}.tif", parcel.index + 1)
}
