//! Pages to print for one parcel, made from the folder of its plan: the crew's sheet, the owner's
//! letter, what was built against what was planned; and what cans caught.

pub mod built;
pub mod cans;
mod crew;
mod dossier;
mod drawing;
mod letter;

pub use crew::crew_sheet;
pub use dossier::{Area, Dossier};
pub use letter::{Offer, owner_letter};

/// The frame of a printed page.
const STYLE: &str = "\
@page{size:A4;margin:10mm}\
*{box-sizing:border-box}\
body{font:11.5px/1.35 system-ui,'Segoe UI','Helvetica Neue',Arial,sans-serif;color:#22282b;\
max-width:190mm;margin:0 auto;padding:10px}\
h1{font-size:18px;margin:0}h2{font-size:13px;margin:9px 0 3px;border-bottom:1px solid #9aa5a8}\
p{margin:4px 0}bdi{overflow-wrap:anywhere}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}\
caption{text-align:left;color:#5a6468;padding:2px 0}\
th,td{border:1px solid #b9c1c3;padding:0 4px;text-align:right;vertical-align:top}\
th{background:#eef1ee;font-weight:600}\
th.w,td.w{text-align:left}td.write{min-width:44px}\
thead{display:table-header-group}tr,figure,svg{break-inside:avoid}\
figure{margin:6px 0}svg{width:100%;height:auto;display:block}\
.facts{display:grid;grid-template-columns:repeat(4,1fr);gap:4px 14px;margin:6px 0}\
.facts div{border-left:3px solid #1f6f8b;padding-left:7px}\
td.one{white-space:nowrap}td.small{font-size:9px;min-width:110px}.facts b{font-size:15px;display:block}.quiet{color:#5a6468}\
ol,ul{margin:3px 0;padding-left:24px}li{margin:1px 0}h2{break-after:avoid}\
.mind{border:2px solid #b5533c;padding:3px 9px;margin:6px 0}\
.two{columns:2;column-gap:34px}.two li{break-inside:avoid}\
@media print{body{padding:0;max-width:none}}";
