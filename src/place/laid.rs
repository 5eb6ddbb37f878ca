//! The layout of a whole turf area: compact parts by search, strips by rows of strip patterns, and
//! whichever of several whole layouts rains best.
//!
//! Every turf area is designed as one. A narrow one, or one with arms, is laid out in several ways beside that:
//! held back so that less is thrown beside, in parts, with strips. What every effort up to the one that is
//! asked for found stands in one pool with all of these and the plain rule, and the one that costs least by
//! the search's own [`objective`](super::objective) is taken, reckoned on the cells of the output's measures, with a price
//! on heads. Overspray counts by its square, so nothing is thrown out for a hair of it.

use super::design::{EVEN, Order, Restraint};
use super::finish::most_heads;
use super::parts::{Part, PartShape, parts};
use super::stand::Footing;
use super::{Effort, Favour, Head, Pattern, Site, rule_layout, rule_throw_m, strips};
use crate::catalogue::{Family, FlowFollows, Profile};
use crate::rain::{Grid, RainGrid, all_seen};
use crate::shape::{Outline, inscribed_circle};
use crate::uniformity::{cell_m, evenness};

/// A turf area of this width or less (4 · area / perimeter) is narrow \[m\].
const NARROW_M: f64 = 5.0;
/// Arms are narrower than this many of the family's smallest throws.
const STRIP_THROWS: f64 = 2.0;
/// Strips are tried in parts up to this many of the widest strip of the family.
const STRIP_ROWS: f64 = 2.3;
/// What as many heads as the plain rule needs cost: a head among twelve is worth a low-quarter uniformity of
/// 0.90 instead of 0.89, since CV falls from 0.087 to 0.079 and its square by 0.0013.
const HEAD_PRICE: f64 = 0.015;
/// What water beside the turf costs from the first litre on, in units of the water needed: a hundredth more of it is
/// worth as much as a head among thirty (own choice, by looking at narrow lawns).
const OVER_PRICE: f64 = 0.05;
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
    /// Whether it has more than one head, and more than a twentieth, beyond those of the plain rule: brown
    /// patches asked for them.
    pub is_over_rule: bool,
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
            is_over_rule: false,
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
    let order = |restraint| Order {
        site,
        family,
        throw_m,
        rule: &rule,
        favour,
        restraint,
    };
    let mut candidates: Vec<Layout> = order(Restraint::None)
        .designed(effort)
        .into_iter()
        .map(Layout::found)
        .collect();
    let is_narrow =
        site.outline.width_m() < NARROW_M || site.diameter_m <= STRIP_THROWS * family.shortest_m();
    if is_narrow {
        let alike = (family.flow_follows == FlowFollows::Rated).then_some(Restraint::Alike);
        for restraint in [Restraint::Some, Restraint::Much].into_iter().chain(alike) {
            let found = order(restraint).designed(effort);
            candidates.extend(found.into_iter().map(Layout::found));
        }
    }
    // A designed layout has more heads than these only where brown patches ask for them.
    let mut others: Vec<Layout> = Vec::new();
    if is_narrow {
        others.extend(strip_rows(site, family).into_iter().map(Layout::of));
    }
    if wet.len() > 1 {
        others.extend(assembled(site, family, wet, effort, favour));
    }
    let heads = rule.len();
    others.retain(|layout| layout.heads.len() <= most_heads(heads));
    candidates.extend(others);
    // Few heads are asked for: the rule is no answer to that, unless there is no other.
    if favour == Favour::Evenness || candidates.is_empty() {
        candidates.push(Layout::of(rule));
    }
    let best = best(site, candidates, &family.profile, heads);
    Layout {
        is_over_rule: best.heads.len() > most_heads(heads),
        ..best
    }
}

/// The layout that costs least, each head priced against those that the plain rule needs; the first of equals.
fn best(site: &Site, mut candidates: Vec<Layout>, profile: &Profile, rule: usize) -> Layout {
    if candidates.len() == 1 {
        return candidates.swap_remove(0);
    }
    let mut least = (f64::INFINITY, 0);
    for (i, layout) in candidates.iter().enumerate() {
        let cost = priced(site, &layout.heads, profile, rule);
        if cost < least.0 {
            least = (cost, i);
        }
    }
    candidates.swap_remove(least.1)
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
            let order = Order {
                site: &own,
                family,
                throw_m,
                rule: &rule,
                favour,
                restraint,
            };
            let mut ways: Vec<Layout> = order
                .designed(effort)
                .into_iter()
                .map(Layout::found)
                .collect();
            if with_rows && part.shape != PartShape::Compact {
                let rows = strip_rows(&own, family);
                if !rows.is_empty() {
                    ways = rows.into_iter().map(Layout::of).collect();
                }
            }
            let count = rule.len();
            ways.push(Layout::of(rule));
            let chosen = best(&own, ways, &family.profile, count);
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

/// What a layout costs with the price of its heads; `rule` is how many the plain rule needs.
pub(super) fn priced(site: &Site, heads: &[Head], profile: &Profile, rule: usize) -> f64 {
    cost(site, heads, profile) + HEAD_PRICE * heads.len() as f64 / rule.max(1) as f64
}

/// What a layout costs, by the formula of [`objective`](super::objective) without the water that does harm, on the
/// cells of its measures.
fn cost(site: &Site, heads: &[Head], profile: &Profile) -> f64 {
    let grid = Grid::over(site.outline, cell_m(heads), 0.0);
    let seen = all_seen(heads, site.around.blocks);
    let rain = RainGrid::of(&grid, heads, profile, &seen);
    let rates = rain.turf_rates();
    let Some(even) = evenness(&rates) else {
        return f64::INFINITY;
    };
    let flow_l_h: f64 = heads.iter().map(|head| 60.0 * head.flow.lpm()).sum();
    let needed_l_h = even.mean * site.outline.area_m2();
    let beside = (flow_l_h - needed_l_h).max(0.0) / needed_l_h;
    let short: f64 = rates
        .iter()
        .map(|&rate| (EVEN.low_share - f64::from(rate) / even.mean).max(0.0))
        .map(|short| short * short)
        .sum::<f64>()
        / rates.len() as f64;
    even.cv * even.cv
        + EVEN.low_weight * short
        + (EVEN.over_weight * beside + OVER_PRICE) * beside
        + EVEN.alone_price * alone_frac(heads)
}

/// Heads that are missing to every sector being within the throw of two others, over the number of heads.
fn alone_frac(heads: &[Head]) -> f64 {
    let throw_m = |head: &Head| match head.pattern {
        Pattern::Sector { radius_m, .. } => Some(radius_m),
        Pattern::Strip { .. } => None,
    };
    let mut missing = 0;
    for (i, head) in heads.iter().enumerate() {
        if throw_m(head).is_none() {
            continue;
        }
        let reached = heads
            .iter()
            .enumerate()
            .filter(|&(j, other)| {
                j != i && throw_m(other).is_some_and(|m| other.at.distance(head.at) <= m)
            })
            .take(2)
            .count();
        missing += 2 - reached;
    }
    missing as f64 / heads.len().max(1) as f64
}
