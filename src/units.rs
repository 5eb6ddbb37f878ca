//! Quantities in SI base units, with the few products that physics knows.
//!
//! Inside the program every quantity is held in metres, seconds and pascals; the trade's units
//! (litres per minute, millimetres per hour, kilopascals, US units) appear only in the
//! constructors and readers of this file. Constructors refuse NaN and infinities, so code behind
//! them never checks again.
//!
//! # References
//! - NIST Special Publication 811, *Guide for the Use of the SI*, 2008, appendix B.8: inch,
//!   foot, US gallon, acre-foot, pound-force per square inch.

use std::ops::{Add, Div, Mul, Sub};

/// One international inch \[m\], exact (NIST SP 811, B.8).
pub const INCH_M: f64 = 0.0254;
/// One international foot \[m\], exact (NIST SP 811, B.8).
pub const FOOT_M: f64 = 0.3048;
/// One US liquid gallon \[m³\]: 231 cubic inches, exact (NIST SP 811, B.8).
pub const GALLON_M3: f64 = 231.0 * INCH_M * INCH_M * INCH_M;
/// One pound-force per square inch \[Pa\] (NIST SP 811, B.8).
pub const PSI_PA: f64 = 6_894.757;
/// One acre-foot of 43,560 cubic feet \[m³\].
pub const ACRE_FOOT_M3: f64 = 43_560.0 * FOOT_M * FOOT_M * FOOT_M;
/// Litres in a cubic metre.
const LITRES_M3: f64 = 1_000.0;
const SECONDS_MIN: f64 = 60.0;
const SECONDS_HOUR: f64 = 3_600.0;
const MILLIMETRES_M: f64 = 1_000.0;
const PASCALS_KPA: f64 = 1_000.0;
const PASCALS_BAR: f64 = 100_000.0;

/// One acre of 43,560 square feet \[m²\] (NIST SP 811, B.8, by the international foot).
pub const ACRE_M2: f64 = 43_560.0 * FOOT_M * FOOT_M;
/// A hundred cubic feet \[m³\], as US water meters count.
pub const CCF_M3: f64 = 100.0 * FOOT_M * FOOT_M * FOOT_M;

/// What a unit of a column or a cell measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Length,
    Area,
    Volume,
    Flow,
    Rate,
    Pressure,
    Angle,
}

/// Spellings of a unit, what it measures, its size in the base unit, and the unit in which columns of
/// that quantity are held; none for US units is a column of this program's own.
struct UnitRow {
    /// The first is how it ends the name of a column.
    names: &'static [&'static str],
    kind: Kind,
    size: f64,
    /// The ending of the column that a US unit stands for.
    held_as: Option<&'static str>,
}

const fn unit(
    names: &'static [&'static str],
    kind: Kind,
    size: f64,
    held_as: Option<&'static str>,
) -> UnitRow {
    UnitRow {
        names,
        kind,
        size,
        held_as,
    }
}

const UNITS: [UnitRow; 27] = [
    unit(
        &["mm", "millimeters", "millimetres"],
        Kind::Length,
        0.001,
        None,
    ),
    unit(&["cm"], Kind::Length, 0.01, None),
    unit(
        &["m", "metres", "meters", "metre", "meter"],
        Kind::Length,
        1.0,
        None,
    ),
    unit(
        &["in", "inch", "inches", "\""],
        Kind::Length,
        INCH_M,
        Some("mm"),
    ),
    unit(
        &["ft", "feet", "foot", "'"],
        Kind::Length,
        FOOT_M,
        Some("m"),
    ),
    unit(&["m2", "m²", "sqm"], Kind::Area, 1.0, None),
    unit(&["ha"], Kind::Area, 10_000.0, None),
    unit(
        &["ft2", "ft²", "sqft", "sq ft"],
        Kind::Area,
        FOOT_M * FOOT_M,
        Some("m2"),
    ),
    unit(&["acre", "acres", "ac"], Kind::Area, ACRE_M2, Some("m2")),
    unit(&["l", "litres", "liters"], Kind::Volume, 0.001, None),
    unit(&["m3", "m³"], Kind::Volume, 1.0, None),
    unit(&["gal", "gallons"], Kind::Volume, GALLON_M3, Some("m3")),
    unit(&["kgal"], Kind::Volume, 1_000.0 * GALLON_M3, Some("m3")),
    unit(&["ccf", "hcf"], Kind::Volume, CCF_M3, Some("m3")),
    unit(
        &["acre_ft", "acre-ft"],
        Kind::Volume,
        ACRE_FOOT_M3,
        Some("m3"),
    ),
    unit(
        &["lpm", "l/min"],
        Kind::Flow,
        1.0 / (LITRES_M3 * SECONDS_MIN),
        None,
    ),
    unit(
        &["m3_h", "m3/h", "m³/h"],
        Kind::Flow,
        1.0 / SECONDS_HOUR,
        None,
    ),
    unit(
        &["l_h", "l/h"],
        Kind::Flow,
        1.0 / (LITRES_M3 * SECONDS_HOUR),
        None,
    ),
    unit(&["l_s", "l/s"], Kind::Flow, 1.0 / LITRES_M3, None),
    unit(
        &["gpm", "gal/min"],
        Kind::Flow,
        GALLON_M3 / SECONDS_MIN,
        Some("lpm"),
    ),
    unit(
        &["mm_h", "mm/h", "mm/hr"],
        Kind::Rate,
        1.0 / (MILLIMETRES_M * SECONDS_HOUR),
        None,
    ),
    unit(
        &["in_h", "in/h", "in/hr", "iph"],
        Kind::Rate,
        INCH_M / SECONDS_HOUR,
        Some("mm_h"),
    ),
    unit(&["kpa"], Kind::Pressure, PASCALS_KPA, None),
    unit(&["bar"], Kind::Pressure, PASCALS_BAR, None),
    unit(&["mpa"], Kind::Pressure, 1_000.0 * PASCALS_KPA, None),
    unit(&["psi"], Kind::Pressure, PSI_PA, Some("kpa")),
    unit(&["deg", "°", "degrees"], Kind::Angle, 1.0, None),
];

fn unit_named(name: &str) -> Option<&'static UnitRow> {
    let wanted = name.trim().to_lowercase();
    UNITS
        .iter()
        .find(|row| row.names.contains(&wanted.as_str()))
}

/// The unit that the name of a column ends in, in lower case: `mm_h` of `intake_mm_h`.
fn column_unit(column: &str) -> Option<(&str, &'static UnitRow)> {
    let ends = std::iter::once(0).chain(column.match_indices('_').map(|(at, _)| at + 1));
    ends.filter_map(|at| {
        let row = UNITS.iter().find(|row| row.names[0] == &column[at..])?;
        Some((&column[..at], row))
    })
    .next()
}

/// The metric column for which one in US units stands, and what its values are multiplied with:
/// `use_ccf` is `use_m3`. `None` where the name does not end in a US unit. Give lower case.
///
/// # Example
/// ```
/// let (column, factor) = evenfall::units::metric_column("static_psi").unwrap();
/// assert_eq!(column, "static_kpa");
/// assert!((factor - 6.894757).abs() < 1e-9);
/// assert!(evenfall::units::metric_column("static_kpa").is_none());
/// ```
#[must_use]
pub fn metric_column(column: &str) -> Option<(String, f64)> {
    let (stem, row) = column_unit(column)?;
    let held = unit_named(row.held_as?)?;
    Some((format!("{stem}{}", held.names[0]), row.size / held.size))
}

/// The columns in US units that may stand for a metric one: `radius_ft` for `radius_m`.
#[must_use]
pub fn us_columns(column: &str) -> Vec<String> {
    let Some((stem, held)) = column_unit(column) else {
        return Vec::new();
    };
    let us = UNITS
        .iter()
        .filter(|row| row.held_as == Some(held.names[0]));
    us.map(|row| format!("{stem}{}", row.names[0])).collect()
}

/// What a value with a unit behind it is multiplied with to be a value of a column, by the unit that the
/// column's name ends in; `None` for unknown units, and for those of another quantity.
#[must_use]
pub fn factor_to_column(unit: &str, column: &str) -> Option<f64> {
    let (row, (_, own)) = (unit_named(unit)?, column_unit(column)?);
    (row.kind == own.kind).then_some(row.size / own.size)
}

/// A number that cannot be a quantity: NaN, infinite, or of the wrong sign.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{value} {unit} is not a {quantity}")]
pub struct NotAQuantity {
    /// What was being made, e.g. `length`.
    pub quantity: &'static str,
    /// The refused value in `unit`.
    pub value: f64,
    /// The unit of the refused value.
    pub unit: &'static str,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $word:literal, base $base:ident $base_unit:literal,
     $($(#[$unit_doc:meta])* $from:ident $read:ident $unit:literal = $factor:expr;)*) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(f64);

        impl $name {
            /// Zero of this quantity.
            pub const ZERO: $name = $name(0.0);

            $($(#[$unit_doc])*
            ///
            /// # Errors
            /// [`NotAQuantity`] for NaN and infinities.
            pub fn $from(value: f64) -> Result<$name, NotAQuantity> {
                let base = value * $factor;
                if base.is_finite() {
                    Ok($name(base))
                } else {
                    Err(NotAQuantity { quantity: $word, value, unit: $unit })
                }
            }

            #[doc = concat!("Reads the ", $word, " in ", $unit, ".")]
            #[must_use]
            pub fn $read(self) -> f64 {
                self.0 / $factor
            }
            )*

            #[doc = concat!("Makes a ", $word, " from ", $base_unit, " already known to be finite.")]
            #[must_use]
            #[allow(dead_code, reason = "one constructor of each quantity, whether or not it is called yet")]
            pub(crate) const fn $base(value: f64) -> $name {
                debug_assert!(value.is_finite());
                $name(value)
            }
        }

        impl Add for $name {
            type Output = $name;
            fn add(self, other: $name) -> $name { $name(self.0 + other.0) }
        }
        impl Sub for $name {
            type Output = $name;
            fn sub(self, other: $name) -> $name { $name(self.0 - other.0) }
        }
        impl Mul<f64> for $name {
            type Output = $name;
            fn mul(self, factor: f64) -> $name { $name(self.0 * factor) }
        }
        impl Div<$name> for $name {
            type Output = f64;
            fn div(self, other: $name) -> f64 { self.0 / other.0 }
        }
        impl std::iter::Sum for $name {
            fn sum<I: Iterator<Item = $name>>(items: I) -> $name {
                items.fold($name::ZERO, |total, item| total + item)
            }
        }
    };
}

quantity! {
    /// A length or a throw.
    Length, "length", base of_m "metres",
    /// Makes a length from metres.
    from_m m "m" = 1.0;
    /// Makes a length from international feet.
    from_ft ft "ft" = FOOT_M;
}
quantity! {
    /// A plane area.
    Area, "area", base of_m2 "square metres",
    /// Makes an area from square metres.
    from_m2 m2 "m²" = 1.0;
    /// Makes an area from square feet.
    from_ft2 ft2 "ft²" = FOOT_M * FOOT_M;
}
quantity! {
    /// A volume of water.
    Volume, "volume", base of_m3 "cubic metres",
    /// Makes a volume from cubic metres.
    from_m3 m3 "m³" = 1.0;
    /// Makes a volume from US liquid gallons.
    from_gal gal "US gal" = GALLON_M3;
    /// Makes a volume from acre-feet.
    from_acre_ft acre_ft "acre-ft" = ACRE_FOOT_M3;
}
quantity! {
    /// A volume of water a time: what a nozzle or a meter passes.
    Flow, "flow", base of_m3_s "cubic metres a second",
    /// Makes a flow from litres a minute.
    from_lpm lpm "L/min" = 1.0 / (LITRES_M3 * SECONDS_MIN);
    /// Makes a flow from US gallons a minute.
    from_gpm gpm "gpm" = GALLON_M3 / SECONDS_MIN;
}
quantity! {
    /// A depth of water a time: precipitation rate or intake rate.
    Rate, "rate", base of_m_s "metres a second",
    /// Makes a rate from millimetres an hour.
    from_mm_h mm_h "mm/h" = 1.0 / (MILLIMETRES_M * SECONDS_HOUR);
    /// Makes a rate from inches an hour.
    from_in_h in_h "in/h" = INCH_M / SECONDS_HOUR;
}
quantity! {
    /// A depth of water.
    Depth, "depth", base of_depth_m "metres",
    /// Makes a depth from millimetres.
    from_mm mm "mm" = 1.0 / MILLIMETRES_M;
    /// Makes a depth from inches.
    from_in inches "in" = INCH_M;
}
quantity! {
    /// A span of time.
    Time, "time", base of_s "seconds",
    /// Makes a span from seconds.
    from_s s "s" = 1.0;
    /// Makes a span from minutes.
    from_min min "min" = SECONDS_MIN;
    /// Makes a span from hours.
    from_h h "h" = SECONDS_HOUR;
}
quantity! {
    /// A gauge pressure.
    Pressure, "pressure", base of_pa "pascals",
    /// Makes a pressure from kilopascals.
    from_kpa kpa "kPa" = PASCALS_KPA;
    /// Makes a pressure from bars.
    from_bar bar "bar" = PASCALS_BAR;
    /// Makes a pressure from pounds-force per square inch.
    from_psi psi "psi" = PSI_PA;
}

impl Mul<Length> for Length {
    type Output = Area;
    fn mul(self, other: Length) -> Area {
        Area(self.0 * other.0)
    }
}
impl Mul<Time> for Flow {
    type Output = Volume;
    fn mul(self, time: Time) -> Volume {
        Volume(self.0 * time.0)
    }
}
impl Mul<Time> for Rate {
    type Output = Depth;
    fn mul(self, time: Time) -> Depth {
        Depth(self.0 * time.0)
    }
}
impl Mul<Area> for Depth {
    type Output = Volume;
    fn mul(self, area: Area) -> Volume {
        Volume(self.0 * area.0)
    }
}
impl Mul<Area> for Rate {
    type Output = Flow;
    fn mul(self, area: Area) -> Flow {
        Flow(self.0 * area.0)
    }
}
impl Div<Area> for Flow {
    type Output = Rate;
    fn div(self, area: Area) -> Rate {
        Rate(self.0 / area.0)
    }
}
impl Div<Rate> for Depth {
    type Output = Time;
    fn div(self, rate: Rate) -> Time {
        Time(self.0 / rate.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, published: f64, relative: f64) {
        assert!(
            (found - published).abs() <= relative * published.abs(),
            "found {found}, published {published}"
        );
    }

    #[test]
    fn conversions_agree_with_published_literals() {
        // NIST SP 811 (2008), appendix B.8, to the digits printed there.
        close(Volume::from_gal(1.0).unwrap().m3(), 3.785_412e-3, 2e-7);
        close(Flow::from_gpm(1.0).unwrap().lpm(), 3.785_412, 2e-7);
        close(Pressure::from_psi(1.0).unwrap().kpa(), 6.894_757, 1e-9);
        close(Volume::from_acre_ft(1.0).unwrap().m3(), 1_233.48, 2e-6);
        close(Area::from_ft2(1.0).unwrap().m2(), 9.290_304e-2, 1e-12);
        close(Depth::from_in(1.0).unwrap().mm(), 25.4, 1e-12);
        close(Rate::from_in_h(1.0).unwrap().mm_h(), 25.4, 1e-12);
        close(Pressure::from_bar(1.0).unwrap().kpa(), 100.0, 1e-12);
    }

    #[test]
    fn columns_in_us_units_stand_for_metric_ones() {
        // NIST SP 811 (2008), B.8: acre by the US survey foot, 2 parts in a million larger.
        for (us, metric, published, relative) in [
            ("use_ccf", "use_m3", 2.831_685, 2e-7),
            ("kgal", "m3", 3.785_412, 2e-7),
            ("rain_in", "rain_mm", 25.4, 1e-12),
            ("radius_ft", "radius_m", 0.3048, 1e-12),
            ("flow_gpm", "flow_lpm", 3.785_412, 2e-7),
            ("static_psi", "static_kpa", 6.894_757, 1e-9),
            ("intake_in_h", "intake_mm_h", 25.4, 1e-12),
            ("lot_acre", "lot_m2", 4_046.873, 5e-6),
        ] {
            let (column, factor) = metric_column(us).unwrap();
            assert_eq!(column, metric);
            close(factor, published, relative);
            assert!(us_columns(metric).contains(&us.to_owned()), "{us}");
        }
        for column in ["radius_m", "built_in_1990", "month", "main", "m3", "origin"] {
            assert_eq!(metric_column(column), None, "{column}");
        }
        close(factor_to_column("ft", "radius_m").unwrap(), 0.3048, 1e-12);
        close(
            factor_to_column("PSI", "static_kpa").unwrap(),
            6.894_757,
            1e-9,
        );
        close(factor_to_column("cm", "size_mm").unwrap(), 10.0, 1e-12);
        assert_eq!(factor_to_column("psi", "radius_m"), None);
        assert_eq!(factor_to_column("furlong", "radius_m"), None);
        assert_eq!(factor_to_column("ft", "month"), None);
    }

    #[test]
    fn products_follow_physics() {
        // 10 mm/h for 90 minutes on 200 m² is 15 mm and 3 m³.
        let depth = Rate::from_mm_h(10.0).unwrap() * Time::from_min(90.0).unwrap();
        close(depth.mm(), 15.0, 1e-12);
        close((depth * Area::from_m2(200.0).unwrap()).m3(), 3.0, 1e-12);
        let flow = Flow::from_lpm(10.0).unwrap();
        close((flow * Time::from_h(1.0).unwrap()).m3(), 0.6, 1e-12);
        close((flow / Area::from_m2(60.0).unwrap()).mm_h(), 10.0, 1e-12);
    }

    #[test]
    fn what_is_not_a_number_is_refused() {
        assert!(Length::from_m(f64::NAN).is_err());
        assert!(Flow::from_lpm(f64::INFINITY).is_err());
        let refused = Rate::from_mm_h(f64::NEG_INFINITY).unwrap_err();
        assert_eq!(refused.quantity, "rate");
    }
}
