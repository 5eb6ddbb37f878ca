//! The fence around each parcel: a panic inside it becomes an issue of that parcel.

use crate::fence::fenced;
use crate::issue::{Code, Issue};
use crate::plan::ParcelPlan;
use crate::read::Reading;
use crate::site::Parcel;

/// What becomes of one reading; `None` when not even its failure could be read off.
pub(super) fn outcome<T>(
    reading: Reading,
    plan: &impl Fn(&Parcel) -> ParcelPlan,
    read_off: &impl Fn(ParcelPlan) -> T,
) -> Option<T> {
    match reading {
        Reading::Failed {
            index,
            id,
            issue,
            attributes,
            outline,
        } => fenced(|| read_off(ParcelPlan::failed(index, id, issue, attributes, outline))).ok(),
        Reading::Parcel(parcel) => fenced(|| read_off(plan(&parcel)))
            .or_else(|why| {
                let issue = Issue::new(Code::PL03, why);
                fenced(|| read_off(ParcelPlan::broken_off(&parcel, issue)))
            })
            .ok(),
    }
}
