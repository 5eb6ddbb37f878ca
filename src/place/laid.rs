//! The layout of a whole turf area: compact parts by search, strips by rows of strip patterns, and
//! whichever of several whole layouts rains best.
//!
//! A compact turf area is designed as one. A narrow one, or one with arms, is laid out in several
//! ways: as one, held back so that less is thrown beside, in parts, with strips. Among those that
//! throw no larger share beside the turf than the plain rule does, the one with the least cost is
//! taken, the rule itself being one of them; one with a low-quarter uniformity of 0.75 goes before
//! any without:
//!
//! `CV² + 4 · mean[max(0, 0.9 − x)²] + 0.13 · (water beside the turf / water on it)`
//!
//! with x the cell's rate over the mean rate. The search itself weighs a little differently, see
//! [`objective`](super::objective).

use super::design::{Restraint, designed};
use super::parts::{Part, PartShape, parts};
use super::stand::Footing;
use super::{Effort, Favour, Head, Pattern, Site, rule_layout, rule_throw_m, strips};
use crate::catalogue::{Family, FlowFollows, Profile};
use crate::rain::{Grid, RainGrid, all_seen, stopped_l_h};
use crate::shape::{Outline, inscribed_circle};
use crate::uniformity::{cell_m, evenness};

/// A turf area of this width or less (4 · area / perimeter) is narrow \[m\].
const NARROW_M: f64 = 5.0;
/// Arms are narrower than this many of the family's smallest throws.
const STRIP_THROWS: f64 = 2.0;
/// Strips are tried in parts up to this many of the widest strip of the family.
const STRIP_ROWS: f64 = 2.3;
/// A layout that is at least this even is preferred, whatever it costs.
const LEAST_DU_LQ: f64 = 0.75;
/// Weights of the cost.
const LOW_SHARE: f64 = 0.9;
const LOW_WEIGHT: f64 = 4.0;
const OVER_WEIGHT: f64 = 0.13;
/// Shares of water beside the turf nearer than this are equal.
const SAME_OVER: f64 = 5e-4;
/// Precision of inscribed circles \[m\].
const CIRCLE_M: f64 = 0.005;

/// A layout in parts.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// The heads.
    pub heads: Vec<Head>,
    /// For each head the number of the group that runs together, from 1: heads of one part and one
    /// kind of pattern.
    pub groups: Vec<u16>,
    /// What the heads are meant to water: the turf without the slivers that are left to drip.
    /// `None` where that is the whole turf.
    pub watered: Option<Outline>,
    /// Area left without overhead water \[m²\].
    pub drip_m2: f64,
    /// Width of the narrowest part \[m\].
    pub narrowest_m: f64,
    /// Heads tried at a place by the search that found the layout; 0 where none did.
    pub trials: usize,
}

impl Layout {
    /// All heads as one group, over the whole turf.
    #[must_use]
    pub fn of(heads: Vec<Head>) -> Layout {
        Layout {
            groups: vec![1; heads.len()],
            heads,
            watered: None,
            drip_m2: 0.0,
            narrowest_m: f64::INFINITY,
            trials: 0,
        }
    }

    /// What a search found, and its trials.
    fn found((heads, trials): (Vec<Head>, usize)) -> Layout {
        Layout {
            trials,
            ..Layout::of(heads)
        }
    }

    /// Whether any head has a strip pattern.
    #[must_use]
    pub fn has_strips(&self) -> bool {
        self.heads
            .iter()
            .any(|head| matches!(head.pattern, Pattern::Strip { .. }))
    }
}

/// Lays out one turf area with one family, part by part.
#[must_use]
pub fn layout_in_parts(site: &Site, family: &Family, effort: Effort, favour: Favour) -> Layout {
    let throw_m = rule_throw_m(site, family);
    if effort == Effort::Rule {
        return Layout {
            narrowest_m: site.diameter_m,
            ..Layout::of(rule_layout(site, family, throw_m))
        };
    }
    let found = parts(
        site.outline,
        site.diameter_m,
        STRIP_THROWS * family.shortest_m(),
    );
    let narrowest_m = found
        .iter()
        .map(|part| part.width_m)
        .fold(site.diameter_m, f64::min);
    if found.iter().all(|part| part.shape == PartShape::Sliver) {
        return Layout {
            drip_m2: site.outline.area_m2(),
            narrowest_m,
            ..Layout::of(Vec::new())
        };
    }
    let slivers_m2: f64 = found
        .iter()
        .filter(|part| part.shape == PartShape::Sliver)
        .map(|part| part.outline.area_m2())
        .sum();
    // What is left must hang together to be one turf area; otherwise slivers are watered.
    let watered = (slivers_m2 > 0.0)
        .then(|| without_slivers(site.outline, &found))
        .flatten();
    let drip_m2 = if watered.is_some() { slivers_m2 } else { 0.0 };
    let held;
    let site = match &watered {
        Some(outline) => {
            held = on(site, outline);
            &held
        }
        None => site,
    };
    let wet: Vec<&Part> = found
        .iter()
        .filter(|part| watered.is_none() || part.shape != PartShape::Sliver)
        .collect();
    let mut layout = wet_layout(site, family, &wet, effort, favour);
    layout.watered = watered;
    layout.drip_m2 = drip_m2;
    layout.narrowest_m = narrowest_m;
    layout
}

fn on<'a>(site: &Site<'a>, outline: &'a Outline) -> Site<'a> {
    Site {
        outline,
        diameter_m: 2.0 * inscribed_circle(outline, CIRCLE_M).1,
        ..*site
    }
}

/// The turf without its slivers, if that is one piece.
fn without_slivers(outline: &Outline, found: &[Part]) -> Option<Outline> {
    let mut wet = found.iter().filter(|part| part.shape != PartShape::Sliver);
    let first = wet.next()?;
    if wet.next().is_none() {
        return Some(first.outline.clone());
    }
    super::parts::without(outline, found)
}

fn wet_layout(
    site: &Site,
    family: &Family,
    wet: &[&Part],
    effort: Effort,
    favour: Favour,
) -> Layout {
    let throw_m = rule_throw_m(site, family);
    let rule = rule_layout(site, family, throw_m);
    let plain = designed(
        site,
        family,
        throw_m,
        &rule,
        effort,
        favour,
        Restraint::None,
    );
    let is_narrow =
        site.outline.width_m() < NARROW_M || site.diameter_m <= STRIP_THROWS * family.shortest_m();
    if wet.len() < 2 && !is_narrow {
        return Layout::found(plain);
    }
    let most = rule.len();
    let mut candidates = vec![Layout::found(plain)];
    if is_narrow {
        let alike = (family.flow_follows == FlowFollows::Rated).then_some(Restraint::Alike);
        for restraint in [Restraint::Some, Restraint::Much].into_iter().chain(alike) {
            let heads = designed(site, family, throw_m, &rule, effort, favour, restraint);
            candidates.push(Layout::found(heads));
        }
        candidates.extend(strip_rows(site, family).into_iter().map(Layout::of));
    }
    if wet.len() > 1 {
        candidates.extend(assembled(site, family, wet, effort, favour));
    }
    candidates.retain(|layout| layout.heads.len() <= most);
    candidates.push(Layout::of(rule));
    best(site, candidates, &family.profile)
}

/// The layout of least cost among those that throw no larger share beside the turf than the last,
/// which is the plain rule.
fn best(site: &Site, mut candidates: Vec<Layout>, profile: &Profile) -> Layout {
    let scores: Vec<Score> = candidates
        .iter()
        .map(|layout| Score::of(site, &layout.heads, profile))
        .collect();
    let most_over = scores.last().map_or(1.0, |rule| rule.over_frac) + SAME_OVER;
    let mut least = (true, f64::INFINITY, candidates.len() - 1);
    for (i, score) in scores.iter().enumerate() {
        let is_uneven = score.du_lq < LEAST_DU_LQ;
        let is_better = (is_uneven, score.cost) < (least.0, least.1);
        if score.over_frac <= most_over && is_better {
            least = (is_uneven, score.cost, i);
        }
    }
    candidates.swap_remove(least.2)
}

/// Rows of strips where the family has strips of about the part's width.
fn strip_rows(site: &Site, family: &Family) -> Vec<Vec<Head>> {
    let widest_m = family
        .strips
        .iter()
        .map(|strip| strip.width.1.m())
        .fold(0.0, f64::max);
    if site.diameter_m > STRIP_ROWS * widest_m {
        return Vec::new();
    }
    let footing = Footing::of(site);
    let settled = |head: Head| {
        let at = footing.settled(head.at)?;
        Some(Head { at, ..head })
    };
    strips::rows(site.outline, family)
        .into_iter()
        .map(|row| row.into_iter().filter_map(settled).collect())
        .collect()
}

/// Every part by itself; strips once by rows of strips and once by sectors.
fn assembled(
    site: &Site,
    family: &Family,
    wet: &[&Part],
    effort: Effort,
    favour: Favour,
) -> Vec<Layout> {
    let mut both = Vec::new();
    for with_rows in [true, false] {
        let (mut heads, mut groups) = (Vec::new(), Vec::new());
        for (k, part) in wet.iter().enumerate() {
            let own = on(site, &part.outline);
            let throw_m = rule_throw_m(&own, family);
            let rule = rule_layout(&own, family, throw_m);
            let restraint = if part.shape == PartShape::Compact {
                Restraint::None
            } else {
                Restraint::Some
            };
            let mut ways = vec![Layout::found(designed(
                &own, family, throw_m, &rule, effort, favour, restraint,
            ))];
            if with_rows && part.shape != PartShape::Compact {
                let rows = strip_rows(&own, family);
                if !rows.is_empty() {
                    ways = rows.into_iter().map(Layout::of).collect();
                }
            }
            ways.push(Layout::of(rule));
            let chosen = best(&own, ways, &family.profile);
            groups.extend(std::iter::repeat_n(k as u16 + 1, chosen.heads.len()));
            heads.extend(chosen.heads);
        }
        both.push(Layout {
            groups,
            ..Layout::of(heads)
        });
    }
    both
}

/// How well a layout rains.
#[derive(Debug, Clone, Copy)]
struct Score {
    cost: f64,
    over_frac: f64,
    du_lq: f64,
}

impl Score {
    fn of(site: &Site, heads: &[Head], profile: &Profile) -> Score {
        let outline = site.outline;
        let reach_m = heads.iter().map(Head::reach_m).fold(0.0, f64::max);
        let grid = Grid::over(outline, cell_m(heads), reach_m);
        let seen = all_seen(heads, site.around.blocks);
        let rain = RainGrid::of(&grid, heads, profile, &seen);
        let rates = rain.turf_rates();
        let Some(even) = evenness(&rates) else {
            return Score {
                cost: f64::INFINITY,
                over_frac: 1.0,
                du_lq: 0.0,
            };
        };
        let (on_l_h, beside_l_h) = rain.landed_l_h();
        let beside_l_h = beside_l_h + stopped_l_h(&grid, heads, profile, &seen);
        let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
        let short: f64 = rates
            .iter()
            .map(|&rate| (LOW_SHARE - f64::from(rate) / even.mean).max(0.0))
            .map(|short| short * short)
            .sum::<f64>()
            / rates.len() as f64;
        Score {
            cost: even.cv * even.cv + LOW_WEIGHT * short + OVER_WEIGHT * beside_l_h / on_l_h,
            over_frac: beside_l_h / flow_l_h,
            du_lq: even.du_lq,
        }
    }
}
