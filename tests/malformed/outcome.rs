//! What becomes of a run over inputs of which one has a defect.

use std::fs;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};

use evenfall::issue::{Code, Issue, Severity};
use evenfall::plan::{Planner, Status};
use evenfall::read::{Inputs, LandSources, Neighbourhood, ReadCounts, Reading, Source};

use super::texts::{collection, feature, polygon, square};

/// What became of a run.
#[derive(Debug, Default)]
pub struct Outcome {
    pub fatal: Option<Code>,
    pub read: Vec<String>,
    pub failed: Vec<Code>,
    pub notes: Vec<Code>,
    pub orphans: Vec<Code>,
    /// Parcels that were planned whole.
    pub planned: Vec<String>,
    /// Parcels that were planned in part, have no turf, or could not be planned.
    pub unplanned: usize,
    pub counts: ReadCounts,
}

impl Outcome {
    pub fn has(&self, code: Code) -> bool {
        match code.severity() {
            Severity::Fatal => self.fatal == Some(code),
            Severity::Failed | Severity::Partial => {
                self.fatal.is_none()
                    && [&self.failed, &self.notes, &self.orphans]
                        .into_iter()
                        .any(|all| all.contains(&code))
            }
            Severity::Note | Severity::Warning => {
                self.fatal.is_none() && (self.notes.contains(&code) || self.orphans.contains(&code))
            }
        }
    }
}

/// Reads a neighbourhood.
pub fn run(inputs: &Inputs) -> Outcome {
    read(Neighbourhood::open(inputs), None)
}

/// Reads a neighbourhood to its end, and plans it where there is a planner.
fn read(opened: Result<Neighbourhood, Issue>, planner: Option<&Planner>) -> Outcome {
    let mut outcome = Outcome::default();
    let mut neighbourhood = match opened {
        Ok(neighbourhood) => neighbourhood,
        Err(issue) => {
            assert_eq!(issue.severity(), Severity::Fatal, "{issue}");
            outcome.fatal = Some(issue.code);
            return outcome;
        }
    };
    for (place, reading) in neighbourhood.by_ref().enumerate() {
        match reading {
            Err(issue) => {
                assert_eq!(issue.severity(), Severity::Fatal, "{issue}");
                outcome.fatal = Some(issue.code);
            }
            Ok(Reading::Parcel(parcel)) => {
                assert_eq!(parcel.index, place as u64);
                let told = match planner {
                    None => parcel.issues.clone(),
                    Some(planner) => {
                        let plan = planner.plan(&parcel);
                        match plan.status {
                            Status::Planned => outcome.planned.push(parcel.id.clone()),
                            _ => outcome.unplanned += 1,
                        }
                        plan.issues
                    }
                };
                outcome.notes.extend(told.iter().map(|issue| issue.code));
                outcome.read.push(parcel.id);
            }
            Ok(Reading::Failed { index, issue, .. }) => {
                assert_eq!(index, place as u64);
                assert!(
                    issue.place.file.is_some() && issue.place.feature.is_some(),
                    "{issue}"
                );
                outcome.failed.push(issue.code);
            }
        }
    }
    outcome.orphans = neighbourhood
        .orphans()
        .iter()
        .map(|issue| issue.code)
        .collect();
    let counts = neighbourhood.counts();
    if outcome.fatal.is_none() {
        assert_eq!(
            counts.turf,
            counts.turf_joined + counts.turf_orphaned + counts.turf_left_out
        );
        assert_eq!(
            counts.parcels,
            (outcome.read.len() + outcome.failed.len()) as u64
        );
        assert_eq!(counts.parcels_failed, outcome.failed.len() as u64);
        if outcome.failed.is_empty() {
            assert_eq!(counts.heads, counts.heads_joined + counts.heads_orphaned);
        }
    }
    outcome.counts = counts;
    outcome
}

/// What is read in one run.
#[derive(Clone)]
pub struct Given {
    pub inputs: Inputs,
    pub land: LandSources,
    /// The table of water meters.
    pub meter: Option<String>,
}

/// The parcels of [`Given::lawns`].
pub const ALL: &[&str] = &["1", "2", "3"];

impl Given {
    /// Three lawns of about 5 m by 7 m, 30 m apart, each a parcel named by its number.
    pub fn lawns() -> Given {
        let lawn = |number: u32| {
            let at = square(f64::from(number - 1) * 4.0, 0.0, 0.6);
            feature(&format!(r#""parcel_id":"{number}""#), &polygon(&[&at]))
        };
        let turf = collection(&[lawn(1), lawn(2), lawn(3)]);
        Given {
            inputs: Inputs::of_turf(source("turf.geojson", turf)),
            land: LandSources::default(),
            meter: None,
        }
    }

    fn opened(&self) -> Result<Neighbourhood, Issue> {
        let neighbourhood = Neighbourhood::open(&self.inputs)?.over(&self.land)?;
        match &self.meter {
            Some(table) => neighbourhood.metered(table, "meter.csv"),
            None => Ok(neighbourhood),
        }
    }
}

/// A file of its own with this content.
pub fn source(name: &str, content: impl AsRef<[u8]>) -> Source {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    static FILES: AtomicU32 = AtomicU32::new(0);
    let number = FILES.fetch_add(1, Ordering::Relaxed);
    let folder = FOLDER.get_or_init(super::shared::folder);
    let folder = folder.path().join(number.to_string());
    fs::create_dir(&folder).unwrap();
    let path = folder.join(name);
    fs::write(&path, content).unwrap();
    Source::parse(path.to_str().unwrap()).unwrap()
}

/// One defect, its code, and the parcels that are planned all the same.
pub struct Case {
    pub what: &'static str,
    pub given: Given,
    pub code: Code,
    pub planned: &'static [&'static str],
}

/// Plans every case and prints how many have their code. What is sound must not have it, so that it is
/// the defect that gives it; and every parcel has its outcome.
pub fn check(kind: &str, sound: &Given, cases: &[Case]) {
    let planner = super::shared::planner_by_rule();
    let without = read(sound.opened(), Some(&planner));
    assert_eq!(without.fatal, None, "{kind}: {without:?}");
    assert_eq!(without.planned, ALL, "{kind}: {without:?}");
    let mut passed = 0;
    for case in cases {
        let what = case.what;
        let outcome = read(case.given.opened(), Some(&planner));
        assert!(
            outcome.has(case.code),
            "{kind}, {what}: {} wanted, {outcome:?}",
            case.code
        );
        assert!(!without.has(case.code), "{kind}, {what}: {without:?}");
        assert_eq!(outcome.planned, case.planned, "{kind}, {what}: {outcome:?}");
        let parcels = outcome.planned.len() + outcome.unplanned + outcome.failed.len();
        if outcome.fatal.is_none() {
            assert_eq!(parcels, ALL.len(), "{kind}, {what}: {outcome:?}");
            assert_eq!(outcome.counts.parcels, ALL.len() as u64, "{kind}, {what}");
        }
        passed += 1;
    }
    println!("score: malformed {kind}: {passed} of {}", cases.len());
}
