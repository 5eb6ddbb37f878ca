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
@page{size:A4;margin:13mm}\
*{box-sizing:border-box}\
body{font:13px/1.4 system-ui,'Segoe UI','Helvetica Neue',Arial,sans-serif;color:#22282b;\
max-width:190mm;margin:0 auto;padding:10px}\
h1{font-size:20px;margin:0 0 2px}h2{font-size:14px;margin:14px 0 4px;border-bottom:1px solid #9aa5a8}\
p{margin:4px 0}bdi{overflow-wrap:anywhere}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}\
caption{text-align:left;color:#5a6468;padding:2px 0}\
th,td{border:1px solid #b9c1c3;padding:1px 5px;text-align:right;vertical-align:top}\
th{background:#eef1ee;font-weight:600}\
th.w,td.w{text-align:left}td.write{min-width:44px}\
thead{display:table-header-group}tr,figure,svg{break-inside:avoid}\
figure{margin:6px 0}svg{width:100%;height:auto;display:block}\
.facts{display:grid;grid-template-columns:repeat(4,1fr);gap:4px 14px;margin:6px 0}\
.facts div{border-left:3px solid #1f6f8b;padding-left:7px}\
.facts b{font-size:17px;display:block}.quiet{color:#5a6468}\
ol,ul{margin:4px 0;padding-left:20px}li{margin:2px 0}\
.mind{border:2px solid #b5533c;padding:4px 9px;margin:8px 0}\
.two{columns:2;column-gap:22px}.two li{break-inside:avoid}\
@media print{body{padding:0;max-width:none}}";
