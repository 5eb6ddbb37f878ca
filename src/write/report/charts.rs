//! The charts of the report, drawn by hand as SVG.
//!
//! Numbers with a unit carry their SI value and the name of their quantity, so that the page can
//! set them in other units.

use maud::{Markup, html};
use serde_json::Value;

use super::Offer;
use crate::write::page::{FOUND, INK, PLANNED, QUIET, at, figure};

const WIDTH: f64 = 640.0;
const ROW: f64 = 22.0;
const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];
/// Steps of the supply curve that are drawn; neighbours are taken together beyond that.
const MOST_STEPS: usize = 400;
/// The share of the water whose cost fits under the top of the supply curve, and the room above it.
const SHOWN_WATER_FRAC: f64 = 0.9;
const ROOM_ABOVE: f64 = 1.2;
/// Assumptions in the tornado.
const MOST_SWINGS: usize = 10;

/// A number in SI units that the page can set in others.
pub(super) fn quantity(value: f64, name: &str, decimals: usize) -> Markup {
    html! { tspan data-v=(value) data-q=(name) { (figure(Some(value), decimals)) } }
}

/// A round step for about so many ticks up to a value.
fn tick_step(most: f64, ticks: f64) -> f64 {
    let wanted = (most / ticks).max(f64::MIN_POSITIVE);
    let power = 10_f64.powf(wanted.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * power);
    steps
        .into_iter()
        .find(|step| *step >= wanted)
        .unwrap_or(power)
}

fn chart(title: &str, note: &Markup, height: f64, drawing: &Markup) -> Markup {
    html! {
        figure class="chart" {
            figcaption { strong { (title) } " " (note) }
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {}", at(height))) role="img"
                aria-label=(title) font-family="system-ui, sans-serif" font-size="12" fill=(INK) {
                (drawing)
            }
        }
    }
}

fn number(value: &Value, path: &[&str]) -> Option<f64> {
    let mut value = value;
    for step in path {
        value = value.get(step)?;
    }
    value.as_f64()
}

/// Field uniformity of each scenario and family: P10 to P90 and the median, with the median of the
/// drawing beside it.
pub(super) fn evenness(summary: &Value) -> Markup {
    let all = summary["scenarios"].as_array();
    let groups: Vec<&Value> = all
        .into_iter()
        .flatten()
        .filter(|group| number(group, &["du_lq_field", "median"]).is_some())
        .collect();
    if groups.is_empty() {
        return html! {};
    }
    const LEFT: f64 = 190.0;
    const RIGHT: f64 = 70.0;
    let height = ROW * groups.len() as f64 + 46.0;
    let x = |du: f64| LEFT + du.clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT);
    let bottom = height - 30.0;
    let drawing = html! {
        @for tenth in [0.0, 0.2, 0.4, 0.6, 0.8, 1.0] {
            line x1=(at(x(tenth))) x2=(at(x(tenth))) y1="4" y2=(at(bottom)) stroke="#d5dadb" {}
            text x=(at(x(tenth))) y=(at(bottom + 15.0)) text-anchor="middle" fill=(QUIET) { (figure(Some(tenth), 1)) }
        }
        text x=(WIDTH - 4.0) y=(at(bottom + 15.0)) text-anchor="end" fill=(QUIET) { "areas" }
        @for (row, group) in groups.iter().enumerate() {
            @let y = 14.0 + ROW * row as f64;
            @let of = |share: &str| number(group, &["du_lq_field", share]).unwrap_or(0.0);
            @let name = name_of(group);
            @let colour = if name.starts_with("as-found") { FOUND } else { PLANNED };
            text x=(LEFT - 10.0) y=(at(y + 4.0)) text-anchor="end" { (name) }
            rect x=(at(x(of("p10")))) y=(at(y - 5.0)) width=(at((x(of("p90")) - x(of("p10"))).max(1.0)))
                height="10" fill=(colour) fill-opacity="0.3" {}
            circle cx=(at(x(of("median")))) cy=(at(y)) r="5" fill=(colour) {}
            @if let Some(drawn) = number(group, &["du_lq", "median"]) {
                path d=(format!("M{} {}l5 5l-5 5l-5 -5Z", at(x(drawn)), at(y - 5.0))) fill="#ffffff"
                    stroke=(QUIET) stroke-width="1.3" {}
            }
            text x=(WIDTH - 4.0) y=(at(y + 4.0)) text-anchor="end" fill=(QUIET) {
                (figure(number(group, &["areas"]), 0))
            }
        }
    };
    let note = html! {
        "Low-quarter uniformity DU_lq to expect on the lawn: dot median, bar P10 to P90 over the turf areas. "
        "The hollow diamond is the median of the still-air drawing value, for comparing layouts only."
    };
    chart("Field evenness by family", &note, height, &drawing)
}

fn name_of(group: &Value) -> String {
    let scenario = group["scenario"].as_str().unwrap_or("");
    let family = group["family"].as_str().unwrap_or("");
    if scenario.ends_with(family) {
        scenario.to_owned()
    } else {
        format!("{scenario} ({family})")
    }
}

/// Use month by month, as found and as recommended.
pub(super) fn months(summary: &Value) -> Markup {
    let of = |name: &str| -> Option<Vec<f64>> {
        let months = summary["water"][name].as_array()?;
        months.iter().map(Value::as_f64).collect()
    };
    let (Some(found), Some(best)) = (of("asfound_months_m3"), of("best_months_m3")) else {
        return html! {};
    };
    let most = found.iter().chain(&best).copied().fold(0.0, f64::max);
    if most <= 0.0 {
        return html! {};
    }
    const LEFT: f64 = 70.0;
    const HEIGHT: f64 = 250.0;
    let bottom = HEIGHT - 28.0;
    let y = |value: f64| bottom - value / most * (bottom - 22.0);
    let step = (WIDTH - LEFT - 10.0) / 12.0;
    let tick = tick_step(most, 4.0);
    let drawing = html! {
        @for place in 0..=((most / tick).floor() as usize) {
            @let value = place as f64 * tick;
            line x1=(LEFT) x2=(WIDTH - 10.0) y1=(at(y(value))) y2=(at(y(value))) stroke="#d5dadb" {}
            text x=(LEFT - 6.0) y=(at(y(value) + 4.0)) text-anchor="end" fill=(QUIET) { (quantity(value, "volume", 0)) }
        }
        text x=(LEFT) y="12" fill=(QUIET) { tspan data-unit="volume" { "m³" } " a month" }
        @for (month, name) in MONTHS.iter().enumerate() {
            @let x = LEFT + step * month as f64;
            rect x=(at(x + 0.12 * step)) y=(at(y(found[month]))) width=(at(0.36 * step))
                height=(at(bottom - y(found[month]))) fill=(FOUND) {}
            rect x=(at(x + 0.52 * step)) y=(at(y(best[month]))) width=(at(0.36 * step))
                height=(at(bottom - y(best[month]))) fill=(PLANNED) {}
            text x=(at(x + step / 2.0)) y=(HEIGHT - 10.0) text-anchor="middle" { (name) }
        }
    };
    let note = html! {
        span class="key" style=(format!("background:{FOUND}")) {} " as found, "
        span class="key" style=(format!("background:{PLANNED}")) {} " with what is recommended and the clock re-timed to need."
    };
    chart("Monthly use", &note, HEIGHT, &drawing)
}

/// The potential by cause: six parts that add up.
pub(super) fn causes(summary: &Value) -> Markup {
    const CAUSES: [(&str, &str); 6] = [
        ("schedule", "schedule"),
        ("uniformity", "evenness"),
        ("runoff", "runoff"),
        ("drift", "drift"),
        ("overspray", "overspray"),
        ("pressure", "pressure"),
    ];
    let by_cause = &summary["savings"]["by_cause"];
    let parts: Vec<(&str, f64)> = CAUSES
        .iter()
        .filter_map(|(key, name)| {
            let value = by_cause.get(format!("{key}_m3_yr"))?.as_f64()?;
            Some((*name, value))
        })
        .collect();
    if parts.is_empty() {
        return html! {};
    }
    bars(
        "Saving by cause",
        &html! { "What could be saved in a year if the clock is re-timed to need, in six parts that add up; a part below zero costs water." },
        &parts,
    )
}

/// Signed bars of yearly volumes.
fn bars(title: &str, note: &Markup, parts: &[(&str, f64)]) -> Markup {
    const LEFT: f64 = 120.0;
    const RIGHT: f64 = 90.0;
    let low = parts.iter().map(|(_, value)| *value).fold(0.0, f64::min);
    let high = parts.iter().map(|(_, value)| *value).fold(0.0, f64::max);
    let span = (high - low).max(f64::MIN_POSITIVE);
    // Room for the numbers of bars that go to the left.
    let left = if low < 0.0 { LEFT + 70.0 } else { LEFT };
    let x = |value: f64| left + (value - low) / span * (WIDTH - left - RIGHT);
    let height = ROW * parts.len() as f64 + 16.0;
    let drawing = html! {
        line x1=(at(x(0.0))) x2=(at(x(0.0))) y1="2" y2=(at(height - 8.0)) stroke=(INK) {}
        @for (row, (name, value)) in parts.iter().enumerate() {
            @let y = 8.0 + ROW * row as f64;
            @let (from, to) = (x(value.min(0.0)), x(value.max(0.0)));
            text x=(LEFT - 14.0) y=(at(y + 12.0)) text-anchor="end" { (name) }
            rect x=(at(from)) y=(at(y)) width=(at(to - from)) height="16"
                fill=(if *value < 0.0 { FOUND } else { PLANNED }) {}
            @if *value < 0.0 {
                text x=(at(from - 5.0)) y=(at(y + 12.0)) text-anchor="end" { (quantity(*value, "volume", 0)) " " tspan data-unit="volume" { "m³" } }
            } @else {
                text x=(at(to + 5.0)) y=(at(y + 12.0)) { (quantity(*value, "volume", 0)) " " tspan data-unit="volume" { "m³" } }
            }
        }
    };
    chart(title, note, height, &drawing)
}

/// Which assumption moves the total claim most.
pub(super) fn tornado(summary: &Value) -> Markup {
    let swings: Vec<(&str, f64, f64)> = summary["savings"]["tornado"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|swing| {
            Some((
                swing["assumption"].as_str()?,
                swing["claimed_at_low_m3_yr"].as_f64()?,
                swing["claimed_at_high_m3_yr"].as_f64()?,
            ))
        })
        .filter(|(_, low, high)| low != high)
        .take(MOST_SWINGS)
        .collect();
    if swings.is_empty() {
        return html! {};
    }
    const LEFT: f64 = 250.0;
    let ends = || swings.iter().flat_map(|(_, low, high)| [*low, *high]);
    let least = ends().fold(f64::INFINITY, f64::min).min(0.0);
    let most = ends().fold(f64::NEG_INFINITY, f64::max).max(0.0);
    let span = (most - least).max(f64::MIN_POSITIVE);
    let x = |value: f64| LEFT + (value - least) / span * (WIDTH - LEFT - 30.0);
    let height = ROW * swings.len() as f64 + 34.0;
    let claimed = number(summary, &["water", "claimed_m3_yr"]);
    let tick = tick_step(span, 4.0);
    let drawing = html! {
        @for place in ((least / tick).ceil() as i64)..=((most / tick).floor() as i64) {
            @let value = place as f64 * tick;
            line x1=(at(x(value))) x2=(at(x(value))) y1="2" y2=(at(height - 24.0)) stroke="#d5dadb" {}
            text x=(at(x(value))) y=(at(height - 8.0)) text-anchor="middle" fill=(QUIET) { (quantity(value, "volume", 0)) }
        }
        @for (row, (name, low, high)) in swings.iter().enumerate() {
            @let y = 6.0 + ROW * row as f64;
            text x=(LEFT - 10.0) y=(at(y + 12.0)) text-anchor="end" { (name) }
            rect x=(at(x(low.min(*high)))) y=(at(y)) width=(at((x(low.max(*high)) - x(low.min(*high))).max(1.0)))
                height="16" fill=(PLANNED) fill-opacity="0.75" {}
            circle cx=(at(x(*low))) cy=(at(y + 8.0)) r="4" fill="#ffffff" stroke=(INK) {}
            circle cx=(at(x(*high))) cy=(at(y + 8.0)) r="4" fill=(INK) {}
        }
        @if let Some(claimed) = claimed {
            line x1=(at(x(claimed))) x2=(at(x(claimed))) y1="2" y2=(at(height - 24.0)) stroke=(INK)
                stroke-width="1.6" stroke-dasharray="5 3" {}
        }
    };
    let note = html! {
        "The claim of the whole run (" span data-unit="volume" { "m³" } " a year) at the low (hollow) and high (filled) end of one "
        "assumption, the others at their middle. Dashed: all at their middle."
    };
    chart("What moves the claim most", &note, height, &drawing)
}

/// Steps by what their water costs: the cheapest first, cut at the avoided cost.
pub(super) fn supply(offers: &[Offer], avoided_cur_m3: Option<f64>) -> Markup {
    let mut offers: Vec<Offer> = offers
        .iter()
        .copied()
        .filter(|offer| offer.saved_m3_yr > 0.0 && offer.cost_cur_m3.is_finite())
        .collect();
    // Parcels of one cost stay in the input's order.
    offers.sort_by(|a, b| a.cost_cur_m3.total_cmp(&b.cost_cur_m3));
    let total: f64 = offers
        .iter()
        .map(|offer| f64::from(offer.saved_m3_yr))
        .sum();
    let rebates: f64 = offers.iter().map(|offer| f64::from(offer.rebate_cur)).sum();
    // The last of the water may cost any price and would flatten the rest.
    let mut water = 0.0;
    let shown = offers.iter().find(|offer| {
        water += f64::from(offer.saved_m3_yr);
        water >= SHOWN_WATER_FRAC * total
    });
    let most_cost = shown.map_or(0.0, |offer| ROOM_ABOVE * f64::from(offer.cost_cur_m3));
    let bought: f64 = offers
        .iter()
        .filter(|offer| avoided_cur_m3.is_some_and(|cut| f64::from(offer.cost_cur_m3) <= cut))
        .map(|offer| f64::from(offer.saved_m3_yr))
        .sum();
    if total <= 0.0 || most_cost <= 0.0 {
        return html! {};
    }
    const LEFT: f64 = 60.0;
    const HEIGHT: f64 = 280.0;
    let bottom = HEIGHT - 44.0;
    let x = |water: f64| LEFT + water / total * (WIDTH - LEFT - 20.0);
    let y = |cost: f64| bottom - (cost / most_cost).min(1.0) * (bottom - 30.0);
    let chunk = offers.len().div_ceil(MOST_STEPS);
    let mut path = String::new();
    let (mut water, mut paid) = (0.0, 0.0);
    let mut marks: Vec<(f64, f64)> = Vec::new();
    let mut quarter = 1.0;
    for step in offers.chunks(chunk) {
        let own: f64 = step.iter().map(|offer| f64::from(offer.saved_m3_yr)).sum();
        let cost = step
            .iter()
            .map(|offer| f64::from(offer.saved_m3_yr) * f64::from(offer.cost_cur_m3))
            .sum::<f64>()
            / own;
        let begin = if path.is_empty() { "M" } else { "L" };
        path.push_str(&format!(
            "{begin}{} {}L{} {}",
            at(x(water)),
            at(y(cost)),
            at(x(water + own)),
            at(y(cost))
        ));
        water += own;
        paid += step
            .iter()
            .map(|offer| f64::from(offer.rebate_cur))
            .sum::<f64>();
        while quarter < 4.0 && rebates > 0.0 && paid >= quarter / 4.0 * rebates {
            marks.push((water, paid));
            quarter += 1.0;
        }
    }
    let (tick_x, tick_y) = (tick_step(total, 5.0), tick_step(most_cost, 4.0));
    let drawing = html! {
        @for place in 0..=((most_cost / tick_y).floor() as usize) {
            @let value = place as f64 * tick_y;
            line x1=(LEFT) x2=(WIDTH - 20.0) y1=(at(y(value))) y2=(at(y(value))) stroke="#d5dadb" {}
            text x=(LEFT - 6.0) y=(at(y(value) + 4.0)) text-anchor="end" fill=(QUIET) {
                (quantity(value, "cost", if tick_y < 1.0 { 1 } else { 0 }))
            }
        }
        @for place in 0..=((total / tick_x).floor() as usize) {
            @let value = place as f64 * tick_x;
            text x=(at(x(value))) y=(at(bottom + 16.0)) text-anchor="middle" fill=(QUIET) { (quantity(value, "volume", 0)) }
        }
        text x=(WIDTH - 20.0) y=(HEIGHT - 8.0) text-anchor="end" fill=(QUIET) {
            "water of the first year, " tspan data-unit="volume" { "m³" } " a year, the cheapest first"
        }
        text x="4" y="12" fill=(QUIET) { "cost of one " tspan data-unit="volume" { "m³" } }
        @for (water, paid) in &marks {
            line x1=(at(x(*water))) x2=(at(x(*water))) y1="24" y2=(at(bottom)) stroke=(FOUND) stroke-dasharray="4 4" {}
            text x=(at(x(*water) - 4.0)) y="24" text-anchor="end" fill=(FOUND) { (figure(Some(*paid), 0)) }
        }
        @if let Some(cut) = avoided_cur_m3.filter(|cut| *cut < most_cost) {
            line x1=(LEFT) x2=(WIDTH - 20.0) y1=(at(y(cut))) y2=(at(y(cut))) stroke=(INK) stroke-width="1.4" {}
            text x=(WIDTH - 20.0) y=(at(y(cut) - 5.0)) text-anchor="end" fill=(INK) {
                "avoided cost; below it " (quantity(bought, "volume", 0)) " " tspan data-unit="volume" { "m³" }
            }
        }
        path d=(path) fill="none" stroke=(PLANNED) stroke-width="2.2" {}
    };
    let note = html! {
        "Every step that parcels offer and that may be paid, whatever is recommended: present cost of a volume against what it saves in the first year; the dearest tenth may pass the top. The curve is cut at the avoided cost. "
        @if !marks.is_empty() { "Dashed budget lines: a rebate budget of that sum reaches so far when the cheapest water is bought first." }
    };
    chart("Supply curve", &note, HEIGHT, &drawing)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn ticks_are_round() {
        for (most, step) in [
            (10.0, 5.0),
            (100.0, 50.0),
            (7.0, 2.0),
            (0.4, 0.1),
            (3_900.0, 1_000.0),
        ] {
            assert!((tick_step(most, 4.0) - step).abs() < 1e-9 * step, "{most}");
        }
    }

    #[test]
    fn what_is_not_known_is_not_drawn() {
        let nothing = json!({});
        for drawn in [
            evenness(&nothing),
            months(&nothing),
            causes(&nothing),
            tornado(&nothing),
            supply(&[], None),
        ] {
            assert_eq!(drawn.into_string(), "");
        }
    }

    #[test]
    fn the_supply_curve_rises_and_shows_budgets() {
        // Cumulated: 30, 42, 117, 169 (B, D, C, A).
        let offer = |saved_m3_yr, cost_cur_m3| Offer {
            saved_m3_yr,
            cost_cur_m3,
            rebate_cur: 100.0,
        };
        let drawn = supply(
            &[
                offer(52.0, 4.2),
                offer(30.0, 1.1),
                offer(75.0, 3.8),
                offer(12.0, 2.5),
            ],
            Some(3.0),
        )
        .into_string();
        assert_eq!(drawn.matches("stroke-dasharray").count(), 3);
        // Below 3: 30 and 12.
        assert!(drawn.contains(">42<"), "{drawn}");
        let path = drawn.split("<path d=\"").nth(1).unwrap();
        let path = path.split('"').next().unwrap();
        let heights: Vec<f64> = path[1..]
            .split('L')
            .map(|point| point.split(' ').nth(1).unwrap().parse().unwrap())
            .collect();
        assert_eq!(heights.len(), 8);
        // Paper counts downwards: costs do not fall along the curve.
        assert!(heights.windows(2).all(|pair| pair[0] >= pair[1]));
    }

    #[test]
    fn causes_go_both_ways() {
        let summary = json!({"savings": {"by_cause": {
            "schedule_m3_yr": 50.0, "uniformity_m3_yr": 20.0, "runoff_m3_yr": 0.0,
            "drift_m3_yr": 4.0, "overspray_m3_yr": -9.0, "pressure_m3_yr": 1.0,
        }}});
        let drawn = causes(&summary).into_string();
        assert_eq!(drawn.matches("<rect").count(), 6);
        assert!(drawn.contains("−9"));
    }
}
