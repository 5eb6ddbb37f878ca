//! The owner's page: what is offered, what it pays at most, the new schedule, and what to expect.

use maud::{Markup, html};

use super::dossier::Dossier;
use super::paper::Papers;
use super::shortened;
use super::tables::soak;
use crate::write::measure::Units;
use crate::write::page::{about, figure, page};

/// The look of the page: letters of 10 pt on the smallest paper.
const STYLE: &str = "\
*{box-sizing:border-box}\
body{font:10pt/1.4 system-ui,'Segoe UI','Helvetica Neue',Arial,sans-serif;color:#22282b;\
max-width:174mm;margin:0 auto;padding:10px}\
h1{font-size:16pt;margin:0}h2{font-size:11.5pt;margin:4mm 0 1mm;border-bottom:1px solid #9aa5a8;break-after:avoid}\
p{margin:1.5mm 0}bdi{overflow-wrap:anywhere}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}\
caption{text-align:left;color:#5a6468;padding:2px 0}\
th,td{border:1px solid #b9c1c3;padding:0 4px;text-align:right;vertical-align:top}\
th{background:#eef1ee;font-weight:600}th.w,td.w{text-align:left}\
tr{break-inside:avoid}.quiet{color:#5a6468}ul{margin:1mm 0;padding-left:6mm}li{margin:.5mm 0}\
@media print{body{padding:0;max-width:none}}";

/// Who offers, where that is to stand on the letter.
#[derive(Debug, Clone, Default)]
pub struct Offer {
    /// Name of the program or its supplier.
    pub from: Option<String>,
    /// What the sums are in.
    pub currency: Option<String>,
}

/// The owner's letter.
#[must_use]
pub fn owner_letter(dossier: &Dossier, units: Units, offer: &Offer, papers: Papers) -> String {
    let title = format!("Letter for parcel {}", shortened(&dossier.id));
    let [paper, ..] = papers.all();
    let (width_mm, height_mm) = (paper.width_mm, paper.height_mm);
    let size = format!("@page{{size:{width_mm}mm {height_mm}mm;margin:18mm}}");
    let body = html! {
        header {
            @if let Some(from) = &offer.from { p class="quiet" { (from) } }
            h1 { "Your lawn's sprinklers: an offer" }
            p class="quiet" { "Parcel " bdi { (dossier.id) } }
        }
        (offered(dossier))
        (money(dossier, offer))
        (water(dossier, units))
        (schedule(dossier, units))
        section {
            h2 { "Good to know" }
            ul {
                li {
                    "These figures are " strong { "an estimate, not a measure of your use" }
                    ". They are made from a drawing of the lawn, the local climate and assumptions about soil and pressure."
                }
                li { "Taking part is your choice, and nothing changes if you do not." }
                li { "New nozzles need new run times. The crew sets your clock; a lawn that looks dry after two weeks is looked at again." }
                li { "Your local rules on watering days, backflow protection and permits come first." }
            }
        }
    };
    page(&title, &format!("{size}{STYLE}"), &body, None)
}

fn offered(dossier: &Dossier) -> Markup {
    let count = |what: &str| {
        let rows = dossier.walk.iter();
        rows.filter(|row| row.text("do") == what).count()
    };
    let clock = dossier.areas.iter().any(|area| area.schedule.is_some());
    let lines = [
        (
            count("swap nozzle"),
            "nozzle changed on a sprinkler that stays where it is",
            "nozzles changed on sprinklers that stay where they are",
        ),
        (
            count("repair"),
            "sprinkler straightened, cleaned and aimed",
            "sprinklers straightened, cleaned and aimed",
        ),
        (
            count("new head"),
            "sprinkler set anew",
            "sprinklers set anew",
        ),
        (
            count("cap"),
            "sprinkler taken out of use",
            "sprinklers taken out of use",
        ),
    ];
    html! {
        section {
            h2 { "What is offered" }
            ul {
                @for (n, one, many) in lines {
                    @if n == 1 { li { "1 " (one) } } @else if n > 1 { li { (n) " " (many) } }
                }
                @if clock { li { "Your clock set to what the lawn needs, month by month" } }
                @if !clock && lines.iter().all(|(n, _, _)| *n == 0) { li { "Nothing needs to change." } }
            }
            p { "Water that falls evenly lets you run the clock for the whole lawn, not for its driest spot." }
        }
    }
}

fn money(dossier: &Dossier, offer: &Offer) -> Markup {
    let rebate = dossier.parcel.number("rebate_cur").filter(|sum| *sum > 0.0);
    html! {
        @if let Some(rebate) = rebate {
            section {
                h2 { "What the program pays" }
                p {
                    "Up to " strong {
                        (figure(Some(rebate), 0))
                        @if let Some(currency) = &offer.currency { " " (currency) }
                    }
                    ", on receipts and the number of nozzles that are really fitted. This is a ceiling, not a promise."
                }
            }
        }
    }
}

fn water(dossier: &Dossier, units: Units) -> Markup {
    let of = |column: &str| dossier.parcel.number(column);
    // The owner's own saving, before the program deducts anything: its claim is no concern of his.
    let saved = of("owner_m3_yr").filter(|volume| *volume > 0.0);
    let range = of("owner_p10_m3_yr").zip(of("owner_p90_m3_yr"));
    html! {
        @if let Some(saved) = saved {
            section {
                h2 { "Water" }
                p {
                    "We expect you to save about " strong { (units.volume(Some(saved))) } " a year"
                    @if let Some((low, high)) = range {
                        ", in four of five cases between " (units.volume(Some(low.max(0.0)))) " and " (units.volume(Some(high)))
                    }
                    ". It is an estimate, not a measure of your use."
                }
            }
        }
    }
}

fn schedule(dossier: &Dossier, units: Units) -> Markup {
    html! {
        @if dossier.areas.iter().any(|area| area.schedule.is_some()) {
            section {
                h2 { "Your new schedule" }
                table {
                    caption { "For the month that needs most; the clock's seasonal setting follows the year." }
                    thead { tr {
                        th class="w" { "Lawn" } th { "Size" } th { "Days a week" } th { "Cycles" } th { "Minutes each" } th { "Pause between" }
                    } }
                    tbody {
                        @for (at, area) in dossier.areas.iter().enumerate() {
                            @if let Some(row) = &area.schedule {
                                tr {
                                    td class="w" { (at + 1) }
                                    td { (units.area(area.best.as_ref().and_then(|row| row.number("area_m2")))) }
                                    td { (about(row.number("days_per_week"))) }
                                    td { (figure(row.number("cycles"), 0)) }
                                    td { (figure(row.number("cycle_min"), 0)) }
                                    td { (soak(Some(row))) }
                                }
                            }
                        }
                    }
                }
                p class="quiet" { "Several short cycles with a pause let the soil take the water up instead of letting it run off." }
            }
        }
    }
}
