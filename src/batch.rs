//! The story of a run: parcels are read in chunks, planned on several threads, and handed on in
//! input order.
//!
//! While one chunk is planned, the one before it is handed on and the one after it is read, so no
//! more than three chunks are held at a time. Only planning runs in parallel, and it only maps:
//! whatever sums up does so where the plans are handed on, one after the other.

use std::cell::Cell;
use std::num::NonZeroUsize;
use std::panic::{self, AssertUnwindSafe};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Once};
use std::thread;

use rayon::prelude::*;

use crate::issue::{Code, Issue};
use crate::plan::ParcelPlan;
use crate::read::Reading;
use crate::site::Parcel;

/// Stack of a planning thread \[bytes\]: a stack that overflows cannot be fenced.
const STACK_BYTES: usize = 8 << 20;

/// How the work is cut up. Nothing of it shows in the outputs.
#[derive(Debug, Clone, Copy)]
pub struct Order {
    /// Planning threads.
    pub jobs: NonZeroUsize,
    /// Parcels read, planned and handed on together.
    pub chunk: NonZeroUsize,
}

/// A wish to stop, set from outside while the run goes on.
#[derive(Debug, Clone, Default)]
pub struct Stop(Arc<AtomicUsize>);

impl Stop {
    /// The user asked for it.
    pub const ASKED: usize = 1;
    /// The system told the program to end.
    pub const TOLD: usize = 2;

    /// Where the wish is set; 0 means to go on.
    #[must_use]
    pub fn flag(&self) -> Arc<AtomicUsize> {
        Arc::clone(&self.0)
    }

    /// Sets the wish.
    pub fn set(&self, wish: usize) {
        self.0.store(wish, Ordering::Relaxed);
    }

    /// The issue with which the run ends, if it should.
    #[must_use]
    pub fn wanted(&self) -> Option<Issue> {
        match self.0.load(Ordering::Relaxed) {
            0 => None,
            Stop::ASKED => Some(Issue::new(Code::RU03, "")),
            _ => Some(Issue::new(Code::RU04, "")),
        }
    }

    fn is_set(&self) -> bool {
        self.0.load(Ordering::Relaxed) != 0
    }
}

/// Plans every reading and hands on in input order what `read_off` makes of the plans: one for
/// each reading, whatever happens to it.
///
/// A plan that panics becomes a failed parcel (`PL03`); the others go on.
///
/// # Errors
/// The first issue of the readings or of `hand_on`, the issue of `stop`, or `RU02` when threads
/// cannot be started.
pub fn run<T: Send>(
    mut readings: impl Iterator<Item = Result<Reading, Issue>>,
    plan: impl Fn(&Parcel) -> ParcelPlan + Sync,
    read_off: impl Fn(ParcelPlan) -> T + Sync,
    order: Order,
    stop: &Stop,
    mut hand_on: impl FnMut(T) -> Result<(), Issue>,
) -> Result<(), Issue> {
    quiet_inside_the_fence();
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(order.jobs.get())
        .stack_size(STACK_BYTES)
        .build()
        .map_err(|error| Issue::new(Code::RU02, format!("no threads: {error}")))?;
    let mut read_chunk =
        || -> Result<Vec<Reading>, Issue> { readings.by_ref().take(order.chunk.get()).collect() };
    let mut to_plan = read_chunk()?;
    let mut to_hand_on: Vec<T> = Vec::new();
    while !to_plan.is_empty() {
        let abandoned = Stop::default();
        let work = std::mem::take(&mut to_plan);
        let (planned, beside) = thread::scope(|scope| {
            let planning = scope.spawn(|| {
                pool.install(|| {
                    let is_over = || stop.is_set() || abandoned.is_set();
                    plan_chunk(work, &plan, &read_off, is_over)
                })
            });
            let beside = to_hand_on
                .drain(..)
                .try_for_each(&mut hand_on)
                .and_then(|()| read_chunk());
            if beside.is_err() {
                abandoned.set(Stop::ASKED);
            }
            (planning.join(), beside)
        });
        if let Some(issue) = stop.wanted() {
            return Err(issue);
        }
        to_plan = beside?;
        to_hand_on = planned
            .ok()
            .flatten()
            .ok_or_else(|| Issue::new(Code::RU02, "a planning thread broke off"))?;
    }
    to_hand_on.into_iter().try_for_each(hand_on)
}

/// What is made of the plans of a chunk, in its order; `None` when it was abandoned.
fn plan_chunk<T: Send>(
    chunk: Vec<Reading>,
    plan: &(impl Fn(&Parcel) -> ParcelPlan + Sync),
    read_off: &(impl Fn(ParcelPlan) -> T + Sync),
    abandoned: impl Fn() -> bool + Sync,
) -> Option<Vec<T>> {
    chunk
        .into_par_iter()
        .map(|reading| (!abandoned()).then(|| outcome(reading, plan, read_off)))
        .collect()
}

/// What becomes of one reading.
fn outcome<T>(
    reading: Reading,
    plan: &impl Fn(&Parcel) -> ParcelPlan,
    read_off: &impl Fn(ParcelPlan) -> T,
) -> T {
    match reading {
        Reading::Failed {
            index,
            id,
            issue,
            attributes,
            outline,
        } => read_off(ParcelPlan::failed(index, id, issue, attributes, outline)),
        Reading::Parcel(parcel) => {
            FENCED.set(true);
            let whole = || read_off(plan(&parcel));
            let planned = panic::catch_unwind(AssertUnwindSafe(whole));
            FENCED.set(false);
            planned.unwrap_or_else(|cause| {
                let why = cause
                    .downcast_ref::<&str>()
                    .map(|text| (*text).to_owned())
                    .or_else(|| cause.downcast_ref::<String>().cloned())
                    .unwrap_or_default();
                let issue = Issue::new(Code::PL03, why);
                read_off(ParcelPlan::broken_off(&parcel, issue))
            })
        }
    }
}

thread_local! {
    /// Whether a panic of this thread is caught and becomes an issue.
    static FENCED: Cell<bool> = const { Cell::new(false) };
}

/// Keeps panics that become issues off stderr; all others are reported as before.
fn quiet_inside_the_fence() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |panic| {
            if !FENCED.get() {
                before(panic);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Status;
    use crate::site::Attributes;

    fn order(jobs: usize, chunk: usize) -> Order {
        Order {
            jobs: NonZeroUsize::new(jobs).unwrap(),
            chunk: NonZeroUsize::new(chunk).unwrap(),
        }
    }

    fn parcel(index: u64) -> Parcel {
        Parcel {
            index,
            id: format!("{index:05}"),
            outline: vec![],
            attributes: Attributes::default(),
            turf: vec![],
            obstacles: vec![],
            heads: vec![],
            supply: vec![],
            meter: vec![],
            issues: vec![],
        }
    }

    /// Every tenth reading failed before it could be planned.
    fn readings(count: u64) -> impl Iterator<Item = Result<Reading, Issue>> {
        (0..count).map(|index| {
            Ok(if index % 10 == 9 {
                Reading::Failed {
                    index,
                    id: format!("{index:05}"),
                    issue: Issue::new(Code::GE01, ""),
                    attributes: Attributes::default(),
                    outline: vec![],
                }
            } else {
                Reading::Parcel(Box::new(parcel(index)))
            })
        })
    }

    #[test]
    fn every_reading_has_one_outcome_in_its_place_for_any_threads_and_chunk() {
        for (jobs, chunk) in [(1, 1), (1, 1_000), (2, 7), (3, 256)] {
            let mut seen = Vec::new();
            run(
                readings(100),
                ParcelPlan::begun,
                |plan| plan,
                order(jobs, chunk),
                &Stop::default(),
                |plan| {
                    seen.push((plan.index, plan.status));
                    Ok(())
                },
            )
            .unwrap();
            assert_eq!(seen.len(), 100, "{jobs} {chunk}");
            for (at, &(index, status)) in seen.iter().enumerate() {
                assert_eq!(index, at as u64);
                assert_eq!(status == Status::Failed, index % 10 == 9);
            }
        }
    }

    #[test]
    fn a_panic_fails_one_parcel_only() {
        let plan = |parcel: &Parcel| {
            assert!(parcel.index != 5, "no such corner");
            ParcelPlan::begun(parcel)
        };
        let mut failed = Vec::new();
        let mut count = 0;
        run(
            readings(9),
            plan,
            |plan| plan,
            order(2, 4),
            &Stop::default(),
            |plan| {
                count += 1;
                if plan.status == Status::Failed {
                    failed.push((plan.id, plan.issues));
                }
                Ok(())
            },
        )
        .unwrap();
        assert_eq!(count, 9);
        let [(id, issues)] = failed.as_slice() else {
            panic!("{failed:?}")
        };
        assert_eq!((id.as_str(), issues[0].code), ("00005", Code::PL03));
        assert_eq!(issues[0].found, "no such corner");
        assert_eq!(issues[0].place.parcel.as_deref(), Some("00005"));
    }

    #[test]
    fn the_run_ends_on_the_first_fatal_issue() {
        let broken = readings(20)
            .chain([Err(Issue::new(Code::IN03, "line 7"))])
            .chain(readings(5));
        let mut count = 0;
        let issue = run(
            broken,
            ParcelPlan::begun,
            |plan| plan,
            order(2, 8),
            &Stop::default(),
            |_| {
                count += 1;
                Ok(())
            },
        );
        assert_eq!(issue.unwrap_err().code, Code::IN03);
        assert!(count <= 20);

        let full = Issue::new(Code::OU03, "disk full");
        let issue = run(
            readings(20),
            ParcelPlan::begun,
            |plan| plan,
            order(2, 3),
            &Stop::default(),
            |plan| {
                if plan.index == 7 {
                    Err(full.clone())
                } else {
                    Ok(())
                }
            },
        );
        assert_eq!(issue.unwrap_err().code, Code::OU03);
    }

    #[test]
    fn a_wish_to_stop_ends_the_run() {
        let stop = Stop::default();
        let plan = |parcel: &Parcel| {
            if parcel.index == 11 {
                stop.set(Stop::TOLD);
            }
            ParcelPlan::begun(parcel)
        };
        let mut count = 0;
        let issue = run(
            readings(1_000),
            plan,
            |plan| plan,
            order(2, 10),
            &stop,
            |_| {
                count += 1;
                Ok(())
            },
        );
        assert_eq!(issue.unwrap_err().code, Code::RU04);
        assert!(count <= 20, "{count}");
    }
}
