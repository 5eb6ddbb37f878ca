//! Published worked examples of soil, climate, demand and savings. Each names its source.

#![allow(clippy::unwrap_used, reason = "tests")]

use evenfall::assumptions::Assumptions;
use evenfall::budget::{Condition, Degradation, DemandInput, Regulation, year};
use evenfall::climate::YearClimate;
use evenfall::savings::Saving;
use evenfall::site::TurfArea;
use evenfall::soil::Texture;

fn lawn() -> TurfArea {
    TurfArea {
        id: "1#1".to_owned(),
        polygon: geo::Polygon::new(geo::LineString::new(vec![]), vec![]),
        exposure: None,
        grass: None,
        repair_area_frac: 0.0,
    }
}

#[test]
fn equal_geometry_on_both_sides_saves_exactly_nothing() {
    let run = Assumptions::defaults();
    let climate = YearClimate::larkmoor();
    let terms = Degradation::assumed(&run);
    for cv_drawn in [0.0, 0.1, 0.163, 0.4, 1.5] {
        let side = |condition: Condition| {
            year(&DemandInput {
                du_lq_field: terms.du_lq_field(cv_drawn, Regulation::Unregulated, condition, &[]),
                over_frac: 0.07,
                ..DemandInput::assumed(&run, &climate, &lawn(), Texture::Loam, 187.3)
            })
        };
        let saving = Saving::between(&side(Condition::AsFound), &side(Condition::Renewed));
        assert_eq!(saving.m3_yr, 0.0);
        assert_eq!(saving.frac, Some(0.0));
    }
}
