//! What the end of a run tells of the program.

use super::table::{Table, thousands};
use crate::write::program::ProgramTotals;

/// Costs, ceilings and who may be paid; nothing where nothing is claimed.
pub(super) fn program_lines(program: &ProgramTotals) -> String {
    let all = &program.all;
    if all.claiming == 0 {
        return String::new();
    }
    let mut out = format!(
        "\nProgram, in its own currency\n  \
         {} parcels have a claim, {} of them may be paid: {} m³/yr\n  \
         cost of what is recommended {:>12}\n  \
         the rule would pay          {:>12}\n  \
         ceilings of the rebates     {:>12}   held to the worth of the water; paid on receipts and counts\n  \
         worth to the supplier       {:>12}   present value less rebates and papers\n",
        thousands(all.claiming as f64),
        thousands(all.eligible as f64),
        thousands(all.eligible_m3_yr),
        thousands(all.cost_cur),
        thousands(all.rebate_rule_cur),
        thousands(all.rebate_cur),
        thousands(all.npv_supplier_cur),
    );
    if all.on_survey_rebate_cur > 0.0 {
        out.push_str(&format!(
            "  on survey: {} of the rebates, {} m³/yr of the claims rest on assumed heads\n",
            thousands(all.on_survey_rebate_cur),
            thousands(all.on_survey_m3_yr)
        ));
    }
    if !program.reasons.is_empty() {
        let reasons: Vec<String> = program
            .reasons
            .iter()
            .map(|(reason, count)| format!("{reason} {count}"))
            .collect();
        out.push_str(&format!("  not paid: {}\n", reasons.join(", ")));
    }
    for (column, groups) in &program.by {
        let mut table = Table::new(&[
            column,
            ">parcels",
            ">may be paid",
            ">could be saved",
            ">claimed m³/yr",
            ">cost",
            ">rebates",
        ]);
        for (value, totals) in groups.iter().take(MOST_GROUPS) {
            table.row(vec![
                if value.is_empty() { "-" } else { value }.to_owned(),
                thousands(totals.parcels as f64),
                thousands(totals.eligible as f64),
                thousands(totals.potential_m3_yr),
                thousands(totals.claimed_m3_yr),
                thousands(totals.cost_cur),
                thousands(totals.rebate_cur),
            ]);
        }
        out.push_str(&format!("\n{}", table.text("  ")));
        if groups.len() > MOST_GROUPS {
            let more = groups.len() - MOST_GROUPS;
            out.push_str(&format!("  and {more} more in the table by {column}\n"));
        }
    }
    out
}

/// Groups that are told; all of them are in their table.
const MOST_GROUPS: usize = 12;
