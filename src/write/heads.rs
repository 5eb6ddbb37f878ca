//! What the rows of a head say: the head, and the ground that it waters.

use super::layer::{Cell, Column, Geometry, Kind, Layer, column, number, text};
use super::rows::HeadRow;
use super::throw;
use crate::place::Pattern;
use crate::plan::Scenario;
use crate::rain::wetted_outline;

/// One row per head and scenario.
pub struct Heads;

/// The ground that each head waters.
pub struct Throws;

impl Layer for Heads {
    const NAME: &'static str = "heads";
    const ROW: &'static str = "head × scenario";
    const SHAPE: &'static str = "Point";
    type Row<'a> = HeadRow<'a>;
    const COLUMNS: &'static [Column<Heads>] = &[
        text("head_id", "`<turf_id>/<scenario>/<n>`", |r| r.id().into()),
        text("parcel_id", "The parcel it stands on", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area it waters", |r| {
            r.area.turf.id.as_str().into()
        }),
        text(
            "scenario",
            "`as-found`, `reclock`, `repair`, `swap:<family>`, both also with `+regulated` bodies, or `relayout:<family>`",
            |r| r.area.plan.scenario.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether its scenario is recommended for the area",
            |r| Cell::Bool(r.area.plan.recommended),
        ),
        text("role", "corner, edge, interior, strip or kept", |r| {
            r.head.role.text().into()
        }),
        text("family", "Nozzle family", |r| r.family().into()),
        text("nozzle", "Nozzle or strip of the family", |r| {
            r.nozzle.into()
        }),
        text("pattern", "sector or strip", |r| {
            match r.head.pattern {
                Pattern::Sector { .. } => "sector",
                Pattern::Strip { .. } => "strip",
            }
            .into()
        }),
        text(
            "strip_kind",
            "Where the head stands on its rectangle: end, side or centre",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { kind, .. } => throw::strip_word(kind).into(),
            },
        ),
        number(
            "radius_m",
            "m",
            2,
            "Throw; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { radius_m, .. } => radius_m.into(),
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        number(
            "arc_deg",
            "°",
            1,
            "Arc, clockwise from its start; 360 is a full circle; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { sweep_deg, .. } => sweep_deg.into(),
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        number(
            "azimuth_deg",
            "°",
            1,
            "Clockwise from north: start of the arc; for a strip, from the head into its rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { start_deg, .. } => start_deg.into(),
                Pattern::Strip { azimuth_deg, .. } => azimuth_deg.into(),
            },
        ),
        number(
            "strip_w_m",
            "m",
            2,
            "Short side of a strip's rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { width_m, .. } => width_m.into(),
            },
        ),
        number(
            "strip_l_m",
            "m",
            2,
            "Long side of a strip's rectangle",
            |r| match r.head.pattern {
                Pattern::Sector { .. } => Cell::Null,
                Pattern::Strip { length_m, .. } => length_m.into(),
            },
        ),
        number(
            "pressure_kpa",
            "kPa",
            1,
            "Pressure at the head: the rated one, as found the measured one where there is one",
            |r| r.pressure_kpa().into(),
        ),
        number("flow_lpm", "L/min", 4, "Flow at that pressure", |r| {
            r.head.flow.lpm().into()
        }),
        text(
            "profile",
            "How the rate falls along the throw: a name, or pairs [s, relative rate]",
            |r| {
                match r.head.pattern {
                    Pattern::Sector { .. } => r.area.plan.profile.as_str(),
                    Pattern::Strip { .. } => "uniform",
                }
                .into()
            },
        ),
        text(
            "station",
            "The station that feeds it, as in `stations`",
            |r| {
                r.served()
                    .map(|served| {
                        let scenario = match &r.area.plan.scenario {
                            Scenario::Reclock => Scenario::AsFound,
                            own => own.clone(),
                        };
                        let parcel = &r.area.parcel.id;
                        format!("{parcel}/{}/S{}", scenario.text(), served.station)
                    })
                    .into()
            },
        ),
        number(
            "pressure_kpa_delivered",
            "kPa",
            1,
            "Pressure at its nozzle as the supply gives it",
            |r| r.served().map(|served| served.nozzle_kpa).into(),
        ),
        number(
            "flow_lpm_delivered",
            "L/min",
            4,
            "Flow at that pressure",
            |r| r.served().map(|served| served.flow_lpm).into(),
        ),
        number(
            "radius_m_delivered",
            "m",
            3,
            "Throw at that pressure; empty for a strip",
            |r| match r.head.pattern {
                Pattern::Sector { radius_m, .. } => {
                    let served = r.served();
                    served.map(|served| radius_m * served.throw_factor).into()
                }
                Pattern::Strip { .. } => Cell::Null,
            },
        ),
        text(
            "station_found",
            "Its station as the layer of existing heads names it; an added head takes that of its nearest neighbour",
            |r| r.station_found().into(),
        ),
        text(
            "part",
            "Part of the area that it waters; heads of different parts do not share a station",
            |r| {
                let group = r.area.plan.groups.get(r.number - 1);
                group.map(ToString::to_string).into()
            },
        ),
        number(
            "x_m",
            "m",
            4,
            "Metres east of the frame's origin (`lon0`, `lat0` of the turf area)",
            |r| r.head.at.x.into(),
        ),
        number("y_m", "m", 4, "Metres north of the frame's origin", |r| {
            r.head.at.y.into()
        }),
    ];

    fn geometry<'r>(row: &'r HeadRow<'_>) -> Geometry<'r> {
        let (lon, lat) = row.area.frame.to_lonlat(row.head.at);
        Geometry::Point(lon, lat)
    }
}

impl Layer for Throws {
    const NAME: &'static str = "throws";
    const ROW: &'static str = "head × scenario: the ground it waters, cut by buildings, walls and trunks; as found and as recommended, with `--throws all` every scenario";
    const SHAPE: &'static str = "Polygon";
    type Row<'a> = HeadRow<'a>;
    const COLUMNS: &'static [Column<Throws>] = &[
        text("head_id", "The head, as in `heads`", |r| r.id().into()),
        text("parcel_id", "The parcel it stands on", |r| {
            r.area.parcel.id.as_str().into()
        }),
        text("turf_id", "The turf area it waters", |r| {
            r.area.turf.id.as_str().into()
        }),
        text(
            "scenario",
            "`as-found`, `reclock`, `repair`, `swap:<family>`, both also with `+regulated` bodies, or `relayout:<family>`",
            |r| r.area.plan.scenario.text().into(),
        ),
        column(
            "recommended",
            Kind::Bool,
            "",
            "Whether its scenario is recommended for the area",
            |r| Cell::Bool(r.area.plan.recommended),
        ),
        text("family", "Nozzle family", |r| r.family().into()),
    ];

    fn geometry<'r>(row: &'r HeadRow<'_>) -> Geometry<'r> {
        wetted_outline(row.head, row.seen).map_or(Geometry::None, |wetted| {
            Geometry::Drawn(throw::polygon(&row.area.frame, wetted.outer()))
        })
    }
}
