//! What a row of a failure says.

use super::layer::{Column, Geometry, Layer, count, text};
use super::rows::{FailureRow, file_name, severity_word};

/// One row per thing that failed or is probably not as meant.
pub struct Failures;

impl Layer for Failures {
    const NAME: &'static str = "failures";
    const ROW: &'static str =
        "thing that could not be planned or read, or is probably not as meant";
    const SHAPE: &'static str = "";
    type Row<'a> = FailureRow<'a>;
    const COLUMNS: &'static [Column<Failures>] = &[
        text(
            "code",
            "The issue's code; it never changes its meaning",
            |r| r.issue.code.text().into(),
        ),
        text(
            "severity",
            "warning: input that is probably not as meant; partial: a piece of a parcel; failed: a parcel or a record",
            |r| severity_word(r.issue.severity()).into(),
        ),
        text("file", "File name of the input", |r| {
            r.issue.place.file.as_deref().map(file_name).into()
        }),
        count(
            "feature",
            "1-based number of the feature, record or row",
            |r| r.issue.place.feature.into(),
        ),
        text("parcel_id", "The parcel", |r| {
            r.issue.place.parcel.as_deref().or(r.parcel).into()
        }),
        text("turf_id", "The turf area", |r| {
            r.issue.place.turf.as_deref().into()
        }),
        text("statement", "What was found", |r| {
            r.issue.statement().into()
        }),
        text("remedy", "What to do about it", |r| {
            r.issue.code.remedy().into()
        }),
    ];

    fn geometry<'r>(_: &'r FailureRow<'_>) -> Geometry<'r> {
        Geometry::None
    }
}
