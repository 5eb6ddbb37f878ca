//! What every layer is read into: features in longitude and latitude, good or bad.

use crate::issue::{Code, Issue};
use crate::site::{Attribute, Attributes, LonLatPolygon};

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
}
