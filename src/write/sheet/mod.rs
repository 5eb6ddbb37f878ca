//! Pages to print for one parcel, made from the folder of its plan: the crew's sheet, the owner's
//! letter, what was built against what was planned; and what cans caught.

pub mod built;
pub mod cans;
mod crew;
mod dossier;
mod drawing;
mod heads;
mod letter;
pub mod paper;
mod tables;

use std::borrow::Cow;

use maud::{Markup, html};

pub use crew::{CrewSheet, crew_sheet};
pub use dossier::{Area, Dossier};
pub use letter::{Offer, owner_letter};

/// Longest name in a table or a title \[characters\]: a row stays one line.
const MOST_NAME: usize = 28;

/// A part of a page, and what it is high on the paper it was made for.
struct Block {
    height_mm: f64,
    markup: Markup,
}

impl Block {
    /// A part that is not there.
    fn none() -> Block {
        Block {
            height_mm: 0.0,
            markup: html! {},
        }
    }
}

/// A name, cut where it is very long.
fn shortened(name: &str) -> Cow<'_, str> {
    match name.char_indices().nth(MOST_NAME) {
        Some((end, _)) => Cow::Owned(format!("{}…", &name[..end])),
        None => Cow::Borrowed(name),
    }
}

/// The look of a printed page; its size comes from the paper. Tables are set in 7.5 pt: below 7 pt
/// figures are misread in the field.
const STYLE: &str = "\
*{box-sizing:border-box}\
body{font:8.5pt/3.7mm 'Liberation Sans',Arial,'Helvetica Neue',system-ui,sans-serif;color:#22282b;\
margin:0 auto;padding:0}\
h1{font-size:14pt;line-height:6mm;margin:0}\
h2{font-size:9.5pt;line-height:4.2mm;margin:2.2mm 0 .7mm;border-bottom:.3mm solid #9aa5a8;break-after:avoid}\
p{margin:.8mm 0}p.small{font-size:7.5pt;line-height:3.5mm}bdi{overflow-wrap:anywhere}\
table{border-collapse:collapse;width:100%;font-size:7.5pt;line-height:3.5mm;font-variant-numeric:tabular-nums;\
margin-bottom:.6mm}\
caption{text-align:left;color:#5a6468;font-size:7.5pt;line-height:3.5mm}\
th,td{border:.2mm solid #b9c1c3;padding:0 .7mm;text-align:right;vertical-align:top;white-space:nowrap}\
th{background:#eef1ee;font-weight:600}\
th.w,td.w{text-align:left}td.wraps{white-space:normal;overflow-wrap:anywhere;min-width:24mm}td.starts{white-space:normal;min-width:22mm}\
.heads th.group{background:#dfe8ea}\
.heads{table-layout:fixed;width:auto;font-size:7pt}.heads td,.heads th{padding:0 .3mm}\
.first{border-left:.5mm solid #5a6468}.heads .taped{white-space:normal}\
.taped span{display:inline-block;width:20mm;white-space:nowrap}\
thead{display:table-header-group}tr,li,figure,svg{break-inside:avoid}\
figure{margin:1mm 0 0}svg{display:block}figcaption{font-size:7.5pt;line-height:3.5mm}\
.facts{display:grid;grid-template-columns:repeat(4,1fr);gap:1mm 4mm;margin:1.2mm 0}\
.facts div{border-left:.8mm solid #1f6f8b;padding-left:2mm}\
.facts b{font-size:11pt;line-height:4.5mm;display:block}.quiet{color:#5a6468}\
ol,ul{margin:.6mm 0;padding-left:5mm;font-size:7.5pt;line-height:3.5mm}li{margin:.2mm 0}\
.mind{border:.5mm solid #b5533c;padding:.6mm 2mm;margin:1.2mm 0}\
.two{columns:2;column-gap:6mm}\
@media screen{body{padding:6mm;box-sizing:content-box}}";
