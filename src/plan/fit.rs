//! Whether a family suits a turf area, and why.

use super::{Fit, ScenarioPlan};
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::Family;
use crate::place::{Layout, NARROWEST_M};
use crate::uniformity::Uniformity;

/// Some ground is left without overhead water: drip or none.
const DRIP_OR_NONE: &str = "drip-or-none";
/// Turf narrower than the ordinance's minimum for overhead water.
const NARROW_ORDINANCE: &str = "narrow-ordinance";
/// Too narrow for this family, while another fits.
const NARROWER_FAMILY_FITS: &str = "narrower-family-fits";

/// A verdict with its reason.
pub(super) struct Verdict {
    pub(super) fit: Fit,
    /// One sentence without the full stop.
    pub(super) reason: String,
    /// What to look at.
    pub(super) flags: Vec<&'static str>,
}

/// Judges a layout of a family on turf whose largest circle is `diameter_m` across.
pub(super) fn verdict(
    diameter_m: f64,
    family: &Family,
    layout: &Layout,
    uniformity: Option<&Uniformity>,
    assumptions: &Assumptions,
) -> Verdict {
    let most_over = assumptions.number(Key::PlaceMostOver);
    let widest_m = assumptions.number(Key::PlaceWidestThrows) * family.longest_m();
    let over_frac = uniformity.map_or(0.0, |even| even.over_frac);
    let over_pct = 100.0 * over_frac;
    let (fit, reason) = if layout.heads.is_empty() || diameter_m < NARROWEST_M {
        (
            Fit::TooNarrow,
            format!("{diameter_m:.1} m at its widest, below the {NARROWEST_M} m of overhead water"),
        )
    } else if over_frac > most_over {
        (
            Fit::TooNarrow,
            format!(
                "{over_pct:.0} % of the water lands beside turf that is {diameter_m:.1} m at its \
                 widest; {:.0} % is allowed",
                100.0 * most_over
            ),
        )
    } else if diameter_m > widest_m {
        (
            Fit::TooWide,
            format!(
                "{diameter_m:.0} m at its widest, more than {:.0} throws of {} m",
                assumptions.number(Key::PlaceWidestThrows),
                family.longest_m()
            ),
        )
    } else if layout.has_strips() || layout.groups.iter().any(|&group| group > 1) {
        let strips = if layout.has_strips() {
            "strip patterns"
        } else {
            "heads of their own"
        };
        (
            Fit::FitsWithStrips,
            format!(
                "{strips} water the narrow parts, down to {:.1} m",
                layout.narrowest_m
            ),
        )
    } else {
        (
            Fit::Fits,
            format!(
                "throws of {} to {} m reach across {diameter_m:.1} m",
                family.shortest_m(),
                family.longest_m()
            ),
        )
    };
    let mut flags = Vec::new();
    if layout.drip_m2 > 0.0 {
        flags.push(DRIP_OR_NONE);
    }
    if layout.narrowest_m < assumptions.number(Key::PlaceMinimumWidth) {
        flags.push(NARROW_ORDINANCE);
    }
    Verdict { fit, reason, flags }
}

/// Adds to the verdicts of families that are too wide for a turf area which other family fits it;
/// where none does, the area is for drip or none.
pub(super) fn point_to_others(scenarios: &mut [ScenarioPlan]) {
    let fitting: Vec<String> = scenarios
        .iter()
        .filter(|plan| plan.scenario.is_relayout())
        .filter(|plan| matches!(plan.fit, Fit::Fits | Fit::FitsWithStrips))
        .map(|plan| plan.family.clone())
        .collect();
    for plan in scenarios
        .iter_mut()
        .filter(|plan| plan.fit == Fit::TooNarrow)
    {
        if fitting.is_empty() {
            plan.fit_reason.push_str("; no family fits: drip or none");
            plan.flags.push(DRIP_OR_NONE);
        } else {
            plan.fit_reason.push_str("; what fits: ");
            plan.fit_reason.push_str(&fitting.join(", "));
            plan.flags.push(NARROWER_FAMILY_FITS);
        }
    }
    for plan in scenarios {
        plan.flags.sort_unstable();
        plan.flags.dedup();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use crate::place::{Effort, Favour, Site, layout_in_parts};
    use crate::shape::{Outline, Point};
    use crate::uniformity::{Surroundings, measure};

    fn judged(width_m: f64, height_m: f64, family: &str, effort: Effort) -> Verdict {
        let corners = [
            (0.0, 0.0),
            (width_m, 0.0),
            (width_m, height_m),
            (0.0, height_m),
        ];
        let ring = corners.map(|(x, y)| Point::new(x, y)).to_vec();
        let outline = Outline::new(ring, vec![]).unwrap();
        let catalogue = Catalogue::generic();
        let family = catalogue.family(family).unwrap();
        let site = Site::open(&outline);
        let layout = layout_in_parts(&site, family, effort, Favour::Evenness);
        let around = Surroundings::default();
        let even = measure(&outline, &layout.heads, &family.profile, &around);
        let assumptions = Assumptions::default();
        verdict(
            site.diameter_m,
            family,
            &layout,
            even.as_ref(),
            &assumptions,
        )
    }

    #[test]
    fn every_verdict_has_its_reason() {
        let lawn = judged(10.0, 12.0, "rotary-mid", Effort::Fast);
        assert_eq!(lawn.fit, Fit::Fits, "{}", lawn.reason);
        assert!(lawn.flags.is_empty() && lawn.reason.contains("10.0 m"));
        // The width of the family's strips.
        let verge = judged(15.0, 1.8, "rotary-mid", Effort::Fast);
        assert_eq!(verge.fit, Fit::FitsWithStrips, "{}", verge.reason);
        assert_eq!(verge.flags, [NARROW_ORDINANCE]);
        assert!(verge.reason.contains("strip"));
        let sliver = judged(12.0, 0.8, "spray", Effort::Fast);
        assert_eq!(sliver.fit, Fit::TooNarrow, "{}", sliver.reason);
        assert_eq!(sliver.flags, [DRIP_OR_NONE, NARROW_ORDINANCE]);
        // Throws of 2.5 m from the corners of 1.25 m: half of each quarter circle's water falls
        // beyond 1.25 m (triangular profile), about 0.37 of it beside the turf.
        let beside = judged(1.25, 1.25, "rotary-slow", Effort::Rule);
        assert_eq!(beside.fit, Fit::TooNarrow, "{}", beside.reason);
        assert!(beside.reason.contains("beside"));
        // 40 m is more than eight throws of 4.5 m.
        let field = judged(40.0, 40.0, "spray", Effort::Rule);
        assert_eq!(field.fit, Fit::TooWide, "{}", field.reason);
    }
}
