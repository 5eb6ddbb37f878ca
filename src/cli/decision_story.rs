//! What the end of a run says first: what to do, what it costs, what it returns, against what, and
//! how sure that is.

use super::table::thousands;
use crate::write::decision::DecisionTotals;
use crate::write::summary::Summary;

/// The decision; nothing where nothing was decided.
pub(super) fn decision(summary: &Summary) -> String {
    let all = &summary.decision;
    let Some((perspective, value)) = all.judged_by else {
        return String::new();
    };
    let side = perspective.text();
    let mut out = format!("\nWhat to do, where a saved cubic metre is worth {value:.2} ({side})\n");
    let areas: u64 = all.by_record.iter().map(|part| part.areas).sum();
    let changed: u64 = all.by_record.iter().map(|part| part.changed).sum();
    let mut line = |name: &str, text: String| {
        let lines: Vec<&str> = text.lines().collect();
        out.push_str(&format!(
            "  {name:<10} {}\n",
            lines.join(&format!("\n{:13}", ""))
        ));
    };
    if all.changed == 0 {
        line(
            "do",
            format!(
                "nothing: on none of {} parcels with {} turf areas is a change worth its cost",
                thousands(all.parcels as f64),
                thousands(areas as f64)
            ),
        );
    } else {
        let ways: Vec<String> = all
            .scenarios
            .iter()
            .map(|(scenario, part)| {
                format!("{} {}", scenario.text(), thousands(part.changed as f64))
            })
            .collect();
        line(
            "do",
            format!(
                "change {} of {} parcels, {} of {} turf areas: {}",
                thousands(all.changed as f64),
                thousands(all.parcels as f64),
                thousands(changed as f64),
                thousands(areas as f64),
                ways.join(", ")
            ),
        );
        line(
            "cost",
            format!(
                "{} at the start; {} with replacements, visits and administration, less what is left",
                thousands(all.cost_cur),
                thousands(all.present_cost_cur)
            ),
        );
        let claimed = summary.savings.claimed().map_or(String::new(), |of| {
            format!(
                ";\nclaimed a year, in the middle of the draws {} m³, in eight of ten {} to {}",
                thousands(of.p50_m3_yr),
                thousands(of.p10_m3_yr),
                thousands(of.p90_m3_yr)
            )
        });
        line(
            "return",
            format!(
                "{} m³ in the first year, worth {} more than they cost over the horizon{claimed}",
                thousands(all.saved_m3_yr),
                thousands(all.npv_cur)
            ),
        );
    }
    line(
        "against",
        "what is in the ground under the same rule for the clock; a right schedule has a saving of\n\
         its own where the clock as found is known"
            .to_owned(),
    );
    line("sure", sure(all));
    line("next", next(all, summary));
    let [_, assumed] = all.by_record;
    if assumed.areas > 0 {
        line(
            "survey",
            format!(
                "what is in the ground of {} turf areas is assumed; of those that change it is {},\n\
                 {} of the cost: look before a rebate is promised",
                thousands(assumed.areas as f64),
                thousands(assumed.changed as f64),
                thousands(assumed.cost_cur)
            ),
        );
    }
    out
}

fn sure(all: &DecisionTotals) -> String {
    let middle = all.recommended_in_frac.quantiles([0.1, 0.5]);
    let [low, median] = middle.unwrap_or([1.0; 2]).map(|frac| 100.0 * frac);
    format!(
        "the same is chosen in {median:.0} % of the draws on the parcel in the middle, in {low:.0} % or less\n\
         on one in ten; choosing with hindsight would be worth {} more",
        thousands(all.regret_cur)
    )
}

fn next(all: &DecisionTotals, summary: &Summary) -> String {
    let mut words = match all.next_cur_m3 {
        Some(from) if all.changed == 0 => {
            format!("the first change pays from {from:.2} a cubic metre")
        }
        Some(from) => format!("the next step pays from {from:.2} a cubic metre"),
        None => "nothing more could save water".to_owned(),
    };
    if let Some([least, median]) = all.breakeven_cur_m3.quantiles([0.0, 0.5]) {
        words +=
            &format!("; half of the parcels pay from {median:.2} on,\nthe first from {least:.2}");
    }
    let buy = &summary.program.purchasable;
    words += &match buy.least_avoided_cur_m3 {
        Some(least) => format!(
            "; at or below the avoided cost {} m³ a year can be bought,\nand any from an avoided cost of {least:.2} on",
            thousands(buy.saved_m3_yr)
        ),
        None => "; no water is on offer that may be paid for".to_owned(),
    };
    words
}
