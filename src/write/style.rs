//! How the layers look when a viewer opens them: rules with a filter and a paint, written as QML
//! and as SLD.
//!
//! The colours are our own. Scales run from light to dark, so that they hold their order for every
//! kind of colour vision and in grey print; families differ by shape as well as by colour.
//!
//! # References
//! - Open Geospatial Consortium, *Styled Layer Descriptor profile of the Web Map Service
//!   Implementation Specification* 1.1.0 (OGC 05-078r4) and *Symbology Encoding Implementation
//!   Specification* 1.1.0 (OGC 05-077r4), 2006/2007.

use std::fmt::Write;

use super::record::Which;

/// A colour: red, green, blue, opacity.
type Colour = [u8; 4];

/// From light to dark: sand, reed, water, deep water, night.
const SCALE: [Colour; 5] = [
    [240, 233, 210, 255],
    [186, 208, 178, 255],
    [106, 166, 170, 255],
    [44, 110, 146, 255],
    [22, 50, 92, 255],
];
/// Outlines and what stands in the background.
const INK: Colour = [70, 74, 78, 255];
/// What has no value.
const GREY: Colour = [198, 198, 198, 255];
const EARTH: Colour = [196, 98, 20, 255];
const LAKE: Colour = [30, 98, 168, 255];
const PLUM: Colour = [92, 40, 104, 255];

/// Which rows a rule paints.
#[derive(Debug, Clone, PartialEq)]
enum Filter {
    /// All.
    All,
    /// A number from the first value to below the second; open where there is none.
    Range(&'static str, Option<f64>, Option<f64>),
    /// A text.
    Equal(&'static str, &'static str),
    /// None of these texts.
    NoneOf(&'static str, &'static [&'static str]),
    /// A yes.
    Yes(&'static str),
    /// No value.
    Null(&'static str),
    /// All of these.
    And(Vec<Filter>),
}

/// What a rule paints with.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Paint {
    Fill {
        fill: Colour,
        line: Colour,
        width_mm: f64,
    },
    Line {
        colour: Colour,
        width_mm: f64,
    },
    Mark {
        shape: &'static str,
        fill: Colour,
        size_mm: f64,
    },
}

/// A rule of a style.
#[derive(Debug, Clone, PartialEq)]
struct Rule {
    label: String,
    filter: Filter,
    paint: Paint,
}

/// The style of a layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Style {
    /// What it shows.
    pub title: &'static str,
    rules: Vec<Rule>,
}

/// The style of a table with a geometry; `None` for the others.
#[must_use]
pub fn style(which: Which) -> Option<Style> {
    match which {
        Which::Parcels => Some(parcels()),
        Which::Turf => Some(turf()),
        Which::Heads => Some(heads()),
        Which::Throws => Some(throws()),
        Which::Stations => Some(stations()),
        Which::Laterals => Some(laterals()),
        Which::Schedule | Which::Materials | Which::Walk | Which::Failures | Which::Rain => None,
    }
}

fn rule(label: impl Into<String>, filter: Filter, paint: Paint) -> Rule {
    Rule {
        label: label.into(),
        filter,
        paint,
    }
}

const fn area(fill: Colour) -> Paint {
    Paint::Fill {
        fill,
        line: INK,
        width_mm: 0.15,
    }
}

/// Five classes of a column between four breaks, from light to dark.
fn classes(column: &'static str, breaks: [f64; 4], unit: &str, also: Option<Filter>) -> Vec<Rule> {
    let [a, b, c, d] = breaks;
    let bounds = [
        (None, Some(a)),
        (Some(a), Some(b)),
        (Some(b), Some(c)),
        (Some(c), Some(d)),
        (Some(d), None),
    ];
    let class = |((from, to), colour): ((Option<f64>, Option<f64>), Colour)| {
        let label = match (from, to) {
            (None, Some(to)) => format!("below {to}{unit}"),
            (Some(from), Some(to)) => format!("{from} to {to}{unit}"),
            (Some(from), None) => format!("{from}{unit} and more"),
            (None, None) => String::new(),
        };
        let range = Filter::Range(column, from, to);
        let filter = match &also {
            Some(also) => Filter::And(vec![also.clone(), range]),
            None => range,
        };
        rule(label, filter, area(colour))
    };
    bounds.into_iter().zip(SCALE).map(class).collect()
}

fn parcels() -> Style {
    let mut rules = classes("claimed_m3_yr", [2.0, 5.0, 15.0, 50.0], " m³/yr", None);
    rules.push(rule(
        "no figure: not planned, or no turf",
        Filter::Null("claimed_m3_yr"),
        area(GREY),
    ));
    Style {
        title: "Claimed saving",
        rules,
    }
}

fn turf() -> Style {
    let recommended = Filter::Yes("recommended");
    let breaks = [0.5, 0.6, 0.65, 0.7];
    let mut rules = classes("du_lq_field", breaks, "", Some(recommended.clone()));
    rules.push(rule(
        "no figure",
        Filter::And(vec![recommended, Filter::Null("du_lq_field")]),
        area(GREY),
    ));
    Style {
        title: "Field uniformity as recommended",
        rules,
    }
}

fn heads() -> Style {
    let mark = |shape, fill| Paint::Mark {
        shape,
        fill,
        size_mm: 1.8,
    };
    let of = |filter| Filter::And(vec![Filter::Yes("recommended"), filter]);
    let family =
        |name, shape, fill| rule(name, of(Filter::Equal("family", name)), mark(shape, fill));
    Style {
        title: "Heads as recommended",
        rules: vec![
            family("spray", "triangle", EARTH),
            family("rotary-mid", "square", LAKE),
            family("rotary-slow", "circle", PLUM),
            rule(
                "another family",
                of(Filter::NoneOf(
                    "family",
                    &["spray", "rotary-mid", "rotary-slow"],
                )),
                mark("diamond", INK),
            ),
        ],
    }
}

fn throws() -> Style {
    let [red, green, blue, _] = LAKE;
    Style {
        title: "Throws as recommended",
        rules: vec![rule(
            "ground that a head waters",
            Filter::Yes("recommended"),
            Paint::Fill {
                fill: [red, green, blue, 10],
                line: [red, green, blue, 150],
                width_mm: 0.12,
            },
        )],
    }
}

fn stations() -> Style {
    let mark = |fill| Paint::Mark {
        shape: "diamond",
        fill,
        size_mm: 2.6,
    };
    Style {
        title: "Stations as recommended",
        rules: vec![rule("station", Filter::Yes("recommended"), mark(INK))],
    }
}

fn laterals() -> Style {
    let line = |colour, width_mm| Paint::Line { colour, width_mm };
    Style {
        title: "Pipes",
        rules: vec![
            rule("main", Filter::Equal("role", "main"), line(INK, 0.6)),
            rule("swing", Filter::Equal("role", "swing"), line(INK, 0.3)),
            rule(
                "lateral",
                Filter::NoneOf("role", &["main", "swing"]),
                line(EARTH, 0.3),
            ),
        ],
    }
}

impl Filter {
    /// As an expression over columns.
    fn expression(&self) -> String {
        match self {
            Filter::All => "TRUE".to_owned(),
            Filter::Range(column, from, to) => {
                let from = from.map(|from| format!("\"{column}\" >= {from}"));
                let to = to.map(|to| format!("\"{column}\" < {to}"));
                from.into_iter().chain(to).collect::<Vec<_>>().join(" AND ")
            }
            Filter::Equal(column, text) => format!("\"{column}\" = '{text}'"),
            Filter::NoneOf(column, texts) => {
                let texts: Vec<String> = texts.iter().map(|text| format!("'{text}'")).collect();
                format!("\"{column}\" NOT IN ({})", texts.join(", "))
            }
            Filter::Yes(column) => format!("\"{column}\""),
            Filter::Null(column) => format!("\"{column}\" IS NULL"),
            Filter::And(filters) => {
                let parts: Vec<String> = filters.iter().map(Filter::expression).collect();
                parts.join(" AND ")
            }
        }
    }

    /// As the content of an `ogc:Filter`.
    fn push_sld(&self, out: &mut String) {
        let compare = |out: &mut String, what: &str, column: &str, value: &str| {
            out.push_str(&format!(
                "<ogc:PropertyIs{what}><ogc:PropertyName>{column}</ogc:PropertyName>\
                 <ogc:Literal>{value}</ogc:Literal></ogc:PropertyIs{what}>"
            ));
        };
        match self {
            Filter::All => {}
            Filter::Range(column, from, to) => {
                let both = from.is_some() && to.is_some();
                out.push_str(if both { "<ogc:And>" } else { "" });
                if let Some(from) = from {
                    compare(out, "GreaterThanOrEqualTo", column, &from.to_string());
                }
                if let Some(to) = to {
                    compare(out, "LessThan", column, &to.to_string());
                }
                out.push_str(if both { "</ogc:And>" } else { "" });
            }
            Filter::Equal(column, text) => compare(out, "EqualTo", column, text),
            Filter::NoneOf(column, texts) => {
                // One comparison alone is no conjunction.
                let several = texts.len() > 1;
                out.push_str(if several { "<ogc:And>" } else { "" });
                for text in *texts {
                    compare(out, "NotEqualTo", column, text);
                }
                out.push_str(if several { "</ogc:And>" } else { "" });
            }
            Filter::Yes(column) => compare(out, "EqualTo", column, "true"),
            Filter::Null(column) => out.push_str(&format!(
                "<ogc:PropertyIsNull><ogc:PropertyName>{column}</ogc:PropertyName>\
                 </ogc:PropertyIsNull>"
            )),
            Filter::And(filters) => {
                out.push_str("<ogc:And>");
                for filter in filters {
                    filter.push_sld(out);
                }
                out.push_str("</ogc:And>");
            }
        }
    }
}

impl Style {
    /// The style as QML, which QGIS reads.
    #[must_use]
    pub fn qml(&self) -> String {
        let mut rules = String::new();
        let mut symbols = String::new();
        for (at, rule) in self.rules.iter().enumerate() {
            push(
                &mut rules,
                format_args!(
                    "<rule key=\"r{at}\" symbol=\"{at}\" label=\"{}\" filter=\"{}\"/>",
                    escaped(&rule.label),
                    escaped(&rule.filter.expression())
                ),
            );
            let (kind, class, options) = rule.paint.qml();
            push(
                &mut symbols,
                format_args!(
                    "<symbol name=\"{at}\" type=\"{kind}\" alpha=\"1\" clip_to_extent=\"1\" \
                     force_rhr=\"0\"><layer class=\"{class}\" enabled=\"1\" locked=\"0\" \
                     pass=\"0\"><Option type=\"Map\">"
                ),
            );
            for (name, value) in options {
                push(
                    &mut symbols,
                    format_args!("<Option type=\"QString\" name=\"{name}\" value=\"{value}\"/>"),
                );
            }
            symbols.push_str("</Option></layer></symbol>");
        }
        format!(
            "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\
             <qgis version=\"3.22\" styleCategories=\"Symbology\">\
             <renderer-v2 type=\"RuleRenderer\" symbollevels=\"0\" enableorderby=\"0\" \
             forceraster=\"0\"><rules key=\"root\">{rules}</rules>\
             <symbols>{symbols}</symbols></renderer-v2></qgis>\n"
        )
    }

    /// The style as SLD 1.1 for a layer of this name.
    #[must_use]
    pub fn sld(&self, layer: &str) -> String {
        let mut rules = String::new();
        for rule in &self.rules {
            let label = escaped(&rule.label);
            push(
                &mut rules,
                format_args!(
                    "<se:Rule><se:Name>{label}</se:Name><se:Description><se:Title>{label}\
                     </se:Title></se:Description>"
                ),
            );
            if rule.filter != Filter::All {
                rules.push_str("<ogc:Filter>");
                rule.filter.push_sld(&mut rules);
                rules.push_str("</ogc:Filter>");
            }
            rule.paint.push_sld(&mut rules);
            rules.push_str("</se:Rule>");
        }
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\
             <StyledLayerDescriptor xmlns=\"http://www.opengis.net/sld\" \
             xmlns:ogc=\"http://www.opengis.net/ogc\" xmlns:se=\"http://www.opengis.net/se\" \
             version=\"1.1.0\"><NamedLayer><se:Name>{layer}</se:Name><UserStyle>\
             <se:Name>{}</se:Name><se:FeatureTypeStyle>{rules}</se:FeatureTypeStyle>\
             </UserStyle></NamedLayer></StyledLayerDescriptor>\n",
            escaped(self.title)
        )
    }
}

impl Paint {
    /// Kind of symbol, class of its layer, and the layer's options.
    fn qml(&self) -> (&'static str, &'static str, Vec<(&'static str, String)>) {
        let rgba = |[red, green, blue, alpha]: Colour| format!("{red},{green},{blue},{alpha}");
        match *self {
            Paint::Fill {
                fill,
                line,
                width_mm,
            } => (
                "fill",
                "SimpleFill",
                vec![
                    ("color", rgba(fill)),
                    ("style", "solid".into()),
                    ("outline_color", rgba(line)),
                    ("outline_style", "solid".into()),
                    ("outline_width", width_mm.to_string()),
                    ("outline_width_unit", "MM".into()),
                ],
            ),
            Paint::Line { colour, width_mm } => (
                "line",
                "SimpleLine",
                vec![
                    ("line_color", rgba(colour)),
                    ("line_style", "solid".into()),
                    ("line_width", width_mm.to_string()),
                    ("line_width_unit", "MM".into()),
                ],
            ),
            Paint::Mark {
                shape,
                fill,
                size_mm,
            } => (
                "marker",
                "SimpleMarker",
                vec![
                    ("name", shape.into()),
                    ("color", rgba(fill)),
                    ("outline_color", rgba([255, 255, 255, 255])),
                    ("outline_style", "solid".into()),
                    ("outline_width", "0.2".into()),
                    ("outline_width_unit", "MM".into()),
                    ("size", size_mm.to_string()),
                    ("size_unit", "MM".into()),
                ],
            ),
        }
    }

    fn push_sld(&self, out: &mut String) {
        match *self {
            Paint::Fill {
                fill,
                line,
                width_mm,
            } => {
                out.push_str("<se:PolygonSymbolizer>");
                push_fill(out, fill);
                push_stroke(out, line, width_mm);
                out.push_str("</se:PolygonSymbolizer>");
            }
            Paint::Line { colour, width_mm } => {
                out.push_str("<se:LineSymbolizer>");
                push_stroke(out, colour, width_mm);
                out.push_str("</se:LineSymbolizer>");
            }
            Paint::Mark {
                shape,
                fill,
                size_mm,
            } => {
                // A diamond is a square on its corner.
                let (name, turn) = match shape {
                    "diamond" => ("square", "<se:Rotation>45</se:Rotation>"),
                    other => (other, ""),
                };
                push(
                    out,
                    format_args!(
                        "<se:PointSymbolizer><se:Graphic><se:Mark>\
                         <se:WellKnownName>{name}</se:WellKnownName>"
                    ),
                );
                push_fill(out, fill);
                push_stroke(out, [255, 255, 255, 255], 0.2);
                push(
                    out,
                    format_args!(
                        "</se:Mark><se:Size>{:.1}</se:Size>{turn}</se:Graphic>\
                         </se:PointSymbolizer>",
                        size_mm * PIXELS_PER_MM
                    ),
                );
            }
        }
    }
}

/// Sizes of an SLD are pixels of 0.28 mm (OGC 05-077r4, clause 10).
const PIXELS_PER_MM: f64 = 1.0 / 0.28;

fn push_fill(out: &mut String, [red, green, blue, alpha]: Colour) {
    push(
        out,
        format_args!(
            "<se:Fill><se:SvgParameter name=\"fill\">#{red:02x}{green:02x}{blue:02x}\
             </se:SvgParameter><se:SvgParameter name=\"fill-opacity\">{:.2}</se:SvgParameter>\
             </se:Fill>",
            f64::from(alpha) / 255.0
        ),
    );
}

fn push_stroke(out: &mut String, [red, green, blue, alpha]: Colour, width_mm: f64) {
    push(
        out,
        format_args!(
            "<se:Stroke><se:SvgParameter name=\"stroke\">#{red:02x}{green:02x}{blue:02x}\
             </se:SvgParameter><se:SvgParameter name=\"stroke-opacity\">{:.2}</se:SvgParameter>\
             <se:SvgParameter name=\"stroke-width\">{:.2}</se:SvgParameter></se:Stroke>",
            f64::from(alpha) / 255.0,
            width_mm * PIXELS_PER_MM
        ),
    );
}

fn push(out: &mut String, text: std::fmt::Arguments<'_>) {
    let written = out.write_fmt(text);
    debug_assert!(written.is_ok(), "a String takes every text");
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(filter: &Filter, found: &mut Vec<&'static str>) {
        match filter {
            Filter::All => {}
            Filter::Range(column, ..)
            | Filter::Equal(column, _)
            | Filter::NoneOf(column, _)
            | Filter::Yes(column)
            | Filter::Null(column) => found.push(column),
            Filter::And(filters) => filters.iter().for_each(|filter| columns(filter, found)),
        }
    }

    #[test]
    fn styles_filter_by_columns_that_there_are() {
        let mut checked = 0;
        for which in Which::ALL {
            let table = which.table();
            let Some(style) = style(which) else {
                assert!(table.shape.is_empty(), "{}", table.name);
                continue;
            };
            for rule in &style.rules {
                let mut named = Vec::new();
                columns(&rule.filter, &mut named);
                for column in named {
                    assert!(table.position(column).is_some(), "{} {column}", table.name);
                    checked += 1;
                }
                let fits = match rule.paint {
                    Paint::Fill { .. } => table.shape.ends_with("Polygon"),
                    Paint::Line { .. } => table.shape == "LineString",
                    Paint::Mark { .. } => table.shape == "Point",
                };
                assert!(fits, "{}", table.name);
            }
        }
        assert!(checked > 20, "{checked}");
    }

    /// Relative luminance and contrast as in the Web Content Accessibility Guidelines 2.1.
    fn luminance([red, green, blue, _]: Colour) -> f64 {
        let linear = |value: u8| {
            let value = f64::from(value) / 255.0;
            if value <= 0.03928 {
                value / 12.92
            } else {
                libm::pow((value + 0.055) / 1.055, 2.4)
            }
        };
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    #[test]
    fn a_scale_gets_darker_by_steps_that_are_seen_without_colour() {
        for pair in SCALE.windows(2) {
            let contrast = (luminance(pair[0]) + 0.05) / (luminance(pair[1]) + 0.05);
            // Five steps over a whole contrast of about 10 leave 1.3 for the smallest.
            assert!(contrast > 1.3, "{pair:?} {contrast}");
        }
    }

    #[test]
    fn a_turf_area_just_at_a_break_falls_into_one_class() {
        let style = turf();
        let text = style.qml();
        assert!(text.contains("&quot;recommended&quot; AND &quot;du_lq_field&quot; &gt;= 0.5 AND &quot;du_lq_field&quot; &lt; 0.6"), "{text}");
        let sld = style.sld("turf");
        assert_eq!(sld.matches("<se:Rule>").count(), style.rules.len());
        assert_eq!(
            sld.matches("<ogc:And>").count(),
            sld.matches("</ogc:And>").count()
        );
    }
}
