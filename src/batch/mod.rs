//! The story of a run: parcels are read, planned on several threads, and handed on in input order.
//!
//! One thread reads and hands on, the others plan. No more parcels are held than the order says, and a
//! parcel is handed on as soon as it and all before it are planned, so that what is kept in a [`journal`] is
//! never far behind. Only planning runs in parallel, and it only maps: whatever sums up does so where
//! the plans are handed on, one after the other.

mod fence;
pub mod journal;
pub mod merge;
pub mod pass;
mod remaining;
pub mod shard;

use std::collections::VecDeque;
use std::num::NonZeroUsize;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::thread;

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
    /// Most parcels that are held between being read and being handed on.
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
    readings: impl Iterator<Item = Result<Reading, Issue>>,
    plan: impl Fn(&Parcel) -> ParcelPlan + Sync,
    read_off: impl Fn(ParcelPlan) -> T + Sync,
    order: Order,
    stop: &Stop,
    hand_on: impl FnMut(T) -> Result<(), Issue>,
) -> Result<(), Issue> {
    let abandoned = AtomicBool::new(false);
    let (to_plan, work) = mpsc::channel::<(usize, Reading)>();
    let (to_hand_on, planned) = mpsc::channel();
    let work = Mutex::new(work);
    thread::scope(|scope| {
        for _ in 0..order.jobs.get() {
            let (work, done) = (&work, to_hand_on.clone());
            let (plan, read_off, abandoned) = (&plan, &read_off, &abandoned);
            let planning = move || {
                loop {
                    let next = work.lock().unwrap_or_else(PoisonError::into_inner).recv();
                    let Ok((place, reading)) = next else { return };
                    if abandoned.load(Ordering::Relaxed) {
                        return;
                    }
                    // Nobody waits for it any more when the run was given up.
                    let _ = done.send((place, fence::outcome(reading, plan, read_off)));
                }
            };
            thread::Builder::new()
                .stack_size(STACK_BYTES)
                .spawn_scoped(scope, planning)
                .map_err(|error| Issue::new(Code::RU02, format!("no threads: {error}")))?;
        }
        // Without senders of its own it ends when the threads do, and they end without work.
        drop(to_hand_on);
        let to_plan = to_plan;
        let ended = in_order(
            readings,
            order.chunk.get(),
            stop,
            &to_plan,
            &planned,
            hand_on,
        );
        abandoned.store(true, Ordering::Relaxed);
        ended
    })
}

/// Feeds readings to the planning threads and hands on what comes back, in the order of the
/// readings.
fn in_order<T>(
    mut readings: impl Iterator<Item = Result<Reading, Issue>>,
    most_held: usize,
    stop: &Stop,
    to_plan: &mpsc::Sender<(usize, Reading)>,
    planned: &mpsc::Receiver<(usize, Option<T>)>,
    mut hand_on: impl FnMut(T) -> Result<(), Issue>,
) -> Result<(), Issue> {
    let broke_off = || Issue::new(Code::RU02, "a planning thread broke off");
    // The parcels that are held, the first one in front; those not planned yet are empty.
    let mut held: VecDeque<Option<T>> = VecDeque::new();
    let (mut handed_on, mut all_read) = (0, false);
    loop {
        if let Some(issue) = stop.wanted() {
            return Err(issue);
        }
        while !all_read && held.len() < most_held {
            match readings.next() {
                Some(reading) => {
                    to_plan
                        .send((handed_on + held.len(), reading?))
                        .map_err(|_| broke_off())?;
                    held.push_back(None);
                }
                None => all_read = true,
            }
        }
        if held.is_empty() {
            return Ok(());
        }
        let (place, record) = planned.recv().map_err(|_| broke_off())?;
        let record = record.ok_or_else(broke_off)?;
        if let Some(waiting) = held.get_mut(place - handed_on) {
            *waiting = Some(record);
        }
        while let Some(Some(_)) = held.front() {
            if let Some(Some(record)) = held.pop_front() {
                handed_on += 1;
                hand_on(record)?;
            }
        }
    }
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
            relief: None,
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
