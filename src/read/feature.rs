//! What every layer is read into: features in longitude and latitude, good or bad.

use crate::cells::number;
use crate::issue::{Code, Issue};
use crate::site::{Attribute, Attributes, LonLatPolygon};
use crate::units::{factor_to_column, metric_column, us_columns};

/// Longest name of a column in a Shapefile; longer ones arrive cut off.
const DBASE_NAME: usize = 10;

/// What was drawn.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// Polygons as drawn, closed but not yet repaired; each good or bad by itself. Never empty.
    Areas(Vec<Result<LonLatPolygon, Issue>>),
    /// One point.
    Point(geo::Point<f64>),
}

/// One row of a layer.
#[derive(Debug, Clone)]
pub(super) struct Feature {
    /// 1-based number in the layer.
    pub number: u64,
    /// Where the layer finds it again.
    pub locator: u64,
    /// The id that the file gives the feature, outside its attributes.
    pub id: Option<String>,
    pub attributes: Attributes,
    pub shape: Result<Shape, Issue>,
    /// What was mended on the way.
    pub notes: Vec<Issue>,
    /// Whether the filters let it through.
    pub selected: bool,
}

impl Feature {
    /// A feature of which nothing can be used.
    pub(super) fn bad(number: u64, locator: u64, issue: Issue) -> Feature {
        Feature {
            number,
            locator,
            id: None,
            attributes: Attributes::default(),
            shape: Err(issue),
            notes: Vec::new(),
            selected: true,
        }
    }

    /// Its polygons as drawn.
    ///
    /// # Errors
    /// What is wrong with the whole feature; `GE02` if it is a point.
    pub(super) fn areas(&self) -> Result<&[Result<LonLatPolygon, Issue>], Issue> {
        match &self.shape {
            Ok(Shape::Areas(areas)) => Ok(areas),
            Ok(Shape::Point(_)) => Err(Issue::new(Code::GE02, "a point")),
            Err(issue) => Err(issue.clone()),
        }
    }

    /// Its position.
    ///
    /// # Errors
    /// What is wrong with the whole feature; `GE02` if it is not a point.
    pub(super) fn point(&self) -> Result<geo::Point<f64>, Issue> {
        match &self.shape {
            Ok(Shape::Point(point)) => Ok(*point),
            Ok(Shape::Areas(_)) => Err(Issue::new(Code::GE02, "a polygon, where a point belongs")),
            Err(issue) => Err(issue.clone()),
        }
    }

    /// The box around everything that was drawn, west, south, east, north; `None` if nothing was.
    pub(super) fn bounds(&self) -> Option<[f64; 4]> {
        match self.shape.as_ref().ok()? {
            Shape::Point(at) => Some([at.x(), at.y(), at.x(), at.y()]),
            Shape::Areas(areas) => areas.iter().flatten().map(bounds).reduce(joined),
        }
    }

    /// Adds file, number and id to everything that is said about the feature.
    pub(super) fn name_place(&mut self, file: &str) {
        let Feature {
            number,
            id,
            shape,
            notes,
            ..
        } = self;
        let (number, id) = (*number, id.as_deref());
        let place = |issue: &mut Issue| {
            issue.place.file = Some(file.to_owned());
            issue.place.feature = Some(number);
            if let Some(id) = id {
                let separator = if issue.found.is_empty() { "" } else { ", " };
                issue.found = format!("{}{separator}feature id {id}", issue.found);
            }
        };
        notes.iter_mut().for_each(place);
        match shape {
            Err(issue) => place(issue),
            Ok(Shape::Areas(areas)) => {
                areas
                    .iter_mut()
                    .filter_map(|area| area.as_mut().err())
                    .for_each(place);
            }
            Ok(Shape::Point(_)) => {}
        }
    }

    /// Text of a column that is not blank, by its name or by the name as a Shapefile cuts it.
    pub(super) fn text(&self, column: &str) -> Option<String> {
        let text = column_of(&self.attributes, column)?.text();
        if text.trim().is_empty() {
            None
        } else {
            Some(text)
        }
    }
}

/// A column by its name, or by the name as a Shapefile cuts it.
pub(super) fn column_of<'a>(attributes: &'a Attributes, column: &str) -> Option<&'a Attribute> {
    attributes.get(column).or_else(|| {
        column
            .get(..DBASE_NAME)
            .and_then(|short| attributes.get(short))
    })
}

/// A quantity in the metric unit of its column, from the column itself or from one in US units
/// (`radius_ft` for `radius_m`); also text with a unit behind the number. `None` when it is empty or a
/// word or number for nothing.
///
/// # Errors
/// Column and text of what is no number, or can be read in two ways: no comma is a decimal mark here.
pub(super) fn quantity(
    attributes: &Attributes,
    column: &str,
) -> Option<Result<f64, (String, String)>> {
    let own = column_of(attributes, column).map(|value| (column.to_owned(), value));
    let found = own.or_else(|| {
        let mut us = us_columns(column).into_iter();
        us.find_map(|name| column_of_whole_name(attributes, &name).map(|value| (name, value)))
    });
    let (name, value) = found?;
    let (_, factor) = metric_column(&name).unwrap_or((String::new(), 1.0));
    let text = value.text();
    let read = match (value, number::read(&text, None)) {
        (Attribute::Bool(_), _) => None,
        (_, Ok(None)) => return None,
        (_, Ok(Some(written))) if written.unit.is_empty() => Some(written.value * factor),
        (_, Ok(Some(written))) => {
            factor_to_column(written.unit, column).map(|factor| written.value * factor)
        }
        (_, Err(_)) => None,
    };
    Some(read.ok_or_else(|| (name, text.trim().to_owned())))
}

/// A column by its name, cut as a Shapefile does only where that leaves the unit.
fn column_of_whole_name<'a>(attributes: &'a Attributes, column: &str) -> Option<&'a Attribute> {
    let fits = column.len() <= DBASE_NAME;
    attributes
        .get(column)
        .or_else(|| column_of(attributes, column).filter(|_| fits))
}

/// `IN21` where a layer has one of these quantities in two units.
pub(super) fn two_units<'a>(
    columns: impl Iterator<Item = &'a str>,
    quantities: &[&str],
) -> Result<(), Issue> {
    let columns: Vec<String> = columns.map(str::to_lowercase).collect();
    for quantity in quantities {
        let same = std::iter::once((*quantity).to_owned()).chain(us_columns(quantity));
        let there: Vec<String> = same.filter(|name| columns.contains(name)).collect();
        if let [one, other, ..] = &there[..] {
            return Err(Issue::new(Code::IN21, format!("`{one}` and `{other}`")));
        }
    }
    Ok(())
}

/// The box around a polygon: west, south, east, north.
pub(super) fn bounds(polygon: &LonLatPolygon) -> [f64; 4] {
    let mut found = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    for at in polygon.exterior() {
        found = joined(found, [at.x, at.y, at.x, at.y]);
    }
    found
}

/// The box around two boxes.
pub(super) fn joined(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [
        a[0].min(b[0]),
        a[1].min(b[1]),
        a[2].max(b[2]),
        a[3].max(b[3]),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_found_by_the_name_that_a_shapefile_leaves() {
        let attributes = Attributes(vec![
            ("AZIMUTH_DE".into(), Attribute::Number(90.0)),
            ("parcel_id".into(), Attribute::Text(" ".into())),
        ]);
        let column = column_of(&attributes, "azimuth_deg");
        assert_eq!(column.and_then(Attribute::number), Some(90.0));
        let mut feature = Feature::bad(1, 0, Issue::new(Code::GE01, ""));
        feature.attributes = attributes;
        assert_eq!(feature.text("parcel_id"), None);
    }

    #[test]
    fn quantities_are_metric_whatever_the_column_says() {
        let read = |name: &str, text: &str| {
            let attributes = Attributes(vec![(name.into(), Attribute::Text(text.into()))]);
            quantity(&attributes, "radius_m")
        };
        assert_eq!(read("radius_m", "4.5"), Some(Ok(4.5)));
        assert_eq!(read("Radius_FT", "10"), Some(Ok(3.048)));
        assert_eq!(read("radius_m", "10 ft"), Some(Ok(3.048)));
        assert_eq!(read("radius_ft", "4 m"), Some(Ok(4.0)));
        for nothing in ["", "NULL", "-999", "n/a"] {
            assert_eq!(read("radius_m", nothing), None);
        }
        for bad in ["4,5", "far", "4 psi", "1,234"] {
            let found = Some(Err(("radius_m".to_owned(), bad.to_owned())));
            assert_eq!(read("radius_m", bad), found);
        }
        let both = ["radius_m", "arc_deg", "radius_ft"];
        let issue = two_units(both.into_iter(), &["flow_lpm", "radius_m"]).unwrap_err();
        assert_eq!(issue.code, Code::IN21);
        assert!(two_units(both.into_iter(), &["flow_lpm"]).is_ok());
    }
}
