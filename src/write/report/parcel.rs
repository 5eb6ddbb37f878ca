//! What the report keeps of one parcel.

use serde_json::{Value, json};

use super::Fields;
use crate::write::record::{Place, Rings};
use crate::write::text::rounded_number;

/// Longest text of an input that is shown; ids may be of any length.
const MOST_LETTERS: usize = 120;
/// Decimals of longitude and latitude on the map: about a centimetre.
const MAP_DECIMALS: usize = 7;
/// Decimals of metres in the frame of a parcel.
const GROUND_DECIMALS: usize = 2;
const FLOW_DECIMALS: usize = 3;

/// A line of the table, and the parcel's outline on the map.
#[derive(Debug, Clone)]
pub(super) struct Listed {
    pub id: String,
    pub status: String,
    pub scenario: String,
    pub found_du_lq: Option<f64>,
    pub best_du_lq: Option<f64>,
    pub asfound_m3_yr: Option<f64>,
    pub best_m3_yr: Option<f64>,
    pub claimed_m3_yr: Option<f64>,
    pub range_m3_yr: Option<(f64, f64)>,
    pub cost_cur_m3: Option<f64>,
    pub rebate_cur: Option<f64>,
    pub eligible: Option<bool>,
    pub heads: Option<f64>,
    pub flags: String,
    /// Polygons as JSON text.
    pub shape: String,
}

impl Listed {
    pub(super) fn of(
        parcel: Fields<'_>,
        turf: &[Fields<'_>],
        found_du_lq: Option<f64>,
        best_du_lq: Option<f64>,
    ) -> Listed {
        let shape = match &parcel.row.place {
            Place::Areas(areas) => polygons(areas.iter()),
            // Without a parcel layer the parcel is its lawns.
            _ => polygons(lawns(turf)),
        };
        Listed {
            id: short(parcel.text("parcel_id")),
            status: parcel.text("status").to_owned(),
            scenario: parcel.text("best_scenario").to_owned(),
            found_du_lq,
            best_du_lq,
            asfound_m3_yr: parcel.number("asfound_m3_yr"),
            best_m3_yr: parcel.number("best_m3_yr"),
            claimed_m3_yr: parcel.number("claimed_m3_yr"),
            range_m3_yr: parcel
                .number("claimed_p10_m3_yr")
                .zip(parcel.number("claimed_p90_m3_yr")),
            cost_cur_m3: parcel.number("cost_cur_m3"),
            rebate_cur: parcel.number("rebate_cur"),
            eligible: parcel.flag("eligible"),
            heads: parcel.number("heads"),
            flags: parcel.text("flags").to_owned(),
            shape: shape.to_string(),
        }
    }

    /// About what it takes in the page.
    pub(super) fn bytes(&self) -> usize {
        const CELLS: usize = 900;
        CELLS + self.shape.len() + 2 * self.id.len() + self.flags.len()
    }
}

/// What the map shows of a parcel that is chosen.
pub(super) struct Shown<'a> {
    pub turf: Vec<Fields<'a>>,
    pub heads: Vec<Fields<'a>>,
    pub stations: Vec<Fields<'a>>,
}

impl Shown<'_> {
    /// Lawns, heads as found (0), as recommended (1) or both (2), and valves. A head is
    /// `[which, lawn, x, y, kind, a, b, azimuth, flow, profile, label]`: kind 0 is a sector with
    /// throw a and arc b, 1 to 3 are strips (end, side, centre) of width a and length b.
    pub(super) fn to_json(&self) -> Value {
        let mut ids: Vec<&str> = Vec::new();
        let mut lawns: Vec<Value> = Vec::new();
        for row in &self.turf {
            let which = which(*row);
            let Some(which) = which else { continue };
            let id = row.text("turf_id");
            let at = ids.iter().position(|own| *own == id).unwrap_or_else(|| {
                ids.push(id);
                lawns.push(json!({"id": short(id), "g": [], "s": []}));
                ids.len() - 1
            });
            let lawn = &mut lawns[at]; // found or just pushed
            if let Place::Areas(areas) = &row.row.place {
                lawn["g"] = polygons(areas.iter());
            }
            if let Some(list) = lawn["s"].as_array_mut() {
                list.push(json!({
                    "w": which,
                    "scenario": row.text("scenario"),
                    "field": row.number("du_lq_field"),
                    "drawing": row.number("du_lq"),
                    "rate": row.number("rate_mm_h"),
                    "area": row.number("area_m2"),
                    "run": row.number("peak_run_min"),
                    "cycles": row.number("cycles"),
                }));
            }
        }
        let mut profiles: Vec<&str> = Vec::new();
        let mut heads: Vec<Value> = Vec::new();
        for row in &self.heads {
            let Some(which) = which(*row) else { continue };
            let Some(lawn) = ids.iter().position(|id| *id == row.text("turf_id")) else {
                continue;
            };
            let profile = row.text("profile");
            let profile_at = profiles
                .iter()
                .position(|own| *own == profile)
                .unwrap_or_else(|| {
                    profiles.push(profile);
                    profiles.len() - 1
                });
            let kind = match row.text("strip_kind") {
                "end" => 1,
                "side" => 2,
                "centre" => 3,
                _ => 0,
            };
            let (a, b) = if kind == 0 {
                (row.number("radius_m"), row.number("arc_deg"))
            } else {
                (row.number("strip_w_m"), row.number("strip_l_m"))
            };
            let number = row.text("head_id").rsplit('/').next().unwrap_or("");
            heads.push(json!([
                which,
                lawn,
                short_number(row.number("x_m"), GROUND_DECIMALS),
                short_number(row.number("y_m"), GROUND_DECIMALS),
                kind,
                a,
                b,
                row.number("azimuth_deg"),
                short_number(row.number("flow_lpm"), FLOW_DECIMALS),
                profile_at,
                format!("{number} · {}", row.text("nozzle")),
            ]));
        }
        let stations: Vec<Value> = self
            .stations
            .iter()
            .filter(|row| row.is("recommended"))
            .filter_map(|row| {
                let Place::Point((lon, lat)) = row.row.place else {
                    return None;
                };
                let number = row.text("station_id").rsplit('/').next().unwrap_or("");
                Some(json!([
                    short_number(Some(lon), MAP_DECIMALS),
                    short_number(Some(lat), MAP_DECIMALS),
                    number,
                    row.number("flow_lpm"),
                    row.number("run_min"),
                ]))
            })
            .collect();
        let first = self.turf.first();
        let of = |column: &str| first.and_then(|row| row.number(column));
        json!({
            "o": [of("lon0"), of("lat0")],
            "a": lawns,
            "p": profiles,
            "h": heads,
            "v": stations,
        })
    }
}

/// As found 0, recommended 1, both 2.
fn which(row: Fields<'_>) -> Option<u8> {
    match (row.text("scenario") == "as-found", row.is("recommended")) {
        (true, true) => Some(2),
        (true, false) => Some(0),
        (false, true) => Some(1),
        (false, false) => None,
    }
}

/// The lawns of the recommended scenarios, or as found where nothing is recommended.
fn lawns<'a>(turf: &[Fields<'a>]) -> impl Iterator<Item = &'a Rings> {
    let any = turf.iter().any(|row| row.is("recommended"));
    let wanted = |row: &&Fields<'a>| {
        if any {
            row.is("recommended")
        } else {
            row.text("scenario") == "as-found"
        }
    };
    let rows: Vec<Fields<'a>> = turf.iter().filter(wanted).copied().collect();
    rows.into_iter().flat_map(|row| match &row.row.place {
        Place::Areas(areas) => areas.iter(),
        _ => [].iter(),
    })
}

/// Polygons as lists of rings of `[longitude, latitude]`.
fn polygons<'a>(areas: impl Iterator<Item = &'a Rings>) -> Value {
    let position = |&(lon, lat): &(f64, f64)| {
        json!([
            short_number(Some(lon), MAP_DECIMALS),
            short_number(Some(lat), MAP_DECIMALS)
        ])
    };
    let ring = |ring: &Vec<(f64, f64)>| Value::Array(ring.iter().map(position).collect());
    let polygon = |rings: &Rings| Value::Array(rings.iter().map(ring).collect());
    Value::Array(areas.map(polygon).collect())
}

fn short_number(value: Option<f64>, decimals: usize) -> Option<f64> {
    rounded_number(value?, decimals)
}

/// The beginning of a long text.
pub(super) fn short(text: &str) -> String {
    if text.chars().count() <= MOST_LETTERS {
        return text.to_owned();
    }
    text.chars().take(MOST_LETTERS).chain(['…']).collect()
}
