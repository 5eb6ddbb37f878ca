//! The rows of the output tables, read off the plan of a parcel.

use crate::crs::Frame;
use crate::issue::{Issue, Severity};
use crate::place::Head;
use crate::plan::{
    Fitting, HeadServed, LadderFigures, ParcelPlan, PressureHold, Scenario, ScenarioPlan,
    StepFigures, TurfPlan,
};
use crate::shape::Outline;

/// A row of `turf`.
pub struct TurfRow<'a> {
    pub(super) parcel: &'a ParcelPlan,
    pub(super) turf: &'a TurfPlan,
    pub(super) plan: &'a ScenarioPlan,
    pub(super) frame: Frame,
}

/// A row of `heads` and `throws`.
pub struct HeadRow<'a> {
    pub(super) area: &'a TurfRow<'a>,
    /// 1-based number in its turf area and scenario.
    pub(super) number: usize,
    pub(super) head: &'a Head,
    /// What it sees, where something stands in its way.
    pub(super) seen: Option<&'a Outline>,
    pub(super) nozzle: &'a str,
}

/// A row of `failures`.
pub struct FailureRow<'a> {
    pub(super) issue: &'a Issue,
    /// The parcel in whose plan the issue stands.
    pub(super) parcel: Option<&'a str>,
}

/// The rows of `turf` that a parcel gives, in order. A parcel without a frame gives none.
pub fn turf_rows(parcel: &ParcelPlan) -> impl Iterator<Item = TurfRow<'_>> {
    parcel.frame.into_iter().flat_map(move |frame| {
        parcel.turf.iter().flat_map(move |turf| {
            turf.scenarios.iter().map(move |plan| TurfRow {
                parcel,
                turf,
                plan,
                frame,
            })
        })
    })
}

/// The rows of `heads` and `throws` that a row of `turf` gives, in order.
pub fn head_rows<'a>(area: &'a TurfRow<'a>) -> impl Iterator<Item = HeadRow<'a>> {
    area.plan
        .heads
        .iter()
        .enumerate()
        .map(move |(at, head)| HeadRow {
            area,
            number: at + 1,
            head,
            seen: area.plan.seen.get(at).and_then(Option::as_ref),
            nozzle: area.plan.nozzle_names.get(at).map_or("", String::as_str),
        })
}

/// The rows of `failures` that a list of issues gives, in order: notes are left out.
pub fn failure_rows<'a>(
    issues: &'a [Issue],
    parcel: Option<&'a str>,
) -> impl Iterator<Item = FailureRow<'a>> {
    issues
        .iter()
        .filter(|issue| issue.severity() >= Severity::Warning)
        .map(move |issue| FailureRow { issue, parcel })
}

impl TurfRow<'_> {
    /// What the ladder of its unit says of it.
    pub(super) fn ladder(&self) -> Option<&LadderFigures> {
        self.plan.ladder.as_ref()
    }

    /// The step that leads to it.
    pub(super) fn step(&self) -> Option<StepFigures> {
        self.ladder()?.step
    }

    /// Share of the draws in which it is chosen.
    pub(super) fn chosen_in_frac(&self) -> Option<f64> {
        match self.plan.scenario {
            Scenario::AsFound => (self.turf.unit > 0).then_some(self.turf.left_in_frac),
            _ => self.ladder().map(|own| own.recommended_in_frac),
        }
    }

    /// What choosing it costs in the mean of the draws, where it is recommended.
    pub(super) fn regret_cur(&self) -> Option<f64> {
        match (self.plan.recommended, &self.plan.scenario) {
            (false, _) => None,
            (true, Scenario::AsFound) => (self.turf.unit > 0).then_some(self.turf.left_regret_cur),
            (true, _) => self.ladder().map(|own| own.regret_cur),
        }
    }
}

impl HeadRow<'_> {
    /// What is known of it beyond its layout.
    fn fitting(&self) -> Option<&Fitting> {
        self.area.plan.fittings.get(self.number - 1)
    }

    /// Its family: where stations are mixed heads differ.
    pub(super) fn family(&self) -> &str {
        self.fitting()
            .map_or(self.area.plan.family.as_str(), |one| one.family.as_str())
    }

    /// The pressure at which its flow holds.
    pub(super) fn pressure_kpa(&self) -> f64 {
        self.fitting()
            .map_or(self.area.plan.rated_kpa, |one| one.pressure_kpa)
    }

    /// Its station as the layer of existing heads names it.
    pub(super) fn station_found(&self) -> Option<&str> {
        self.fitting()?.station.as_deref()
    }

    /// What the supply gives it; `None` where nothing is delivered.
    pub(super) fn served(&self) -> Option<&HeadServed> {
        self.area
            .plan
            .delivered
            .as_ref()
            .filter(|got| got.hold != PressureHold::Unsolved)?
            .heads
            .get(self.number - 1)
    }

    /// `<turf_id>/<scenario>/<n>`.
    pub(super) fn id(&self) -> String {
        format!(
            "{}/{}/{}",
            self.area.turf.id,
            self.area.plan.scenario.text(),
            self.number
        )
    }
}

/// The gravest issue that is more than a note; the first of equals.
pub(super) fn gravest(issues: &[Issue]) -> Option<&Issue> {
    issues
        .iter()
        .filter(|issue| issue.severity() >= Severity::Partial)
        .min_by_key(|issue| std::cmp::Reverse(issue.severity()))
}

/// The last part of a path, so that a run does not depend on where its inputs lie.
pub(super) fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// The word in the `severity` column.
#[must_use]
pub fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Partial => "partial",
        Severity::Failed => "failed",
        Severity::Fatal => "fatal",
    }
}
