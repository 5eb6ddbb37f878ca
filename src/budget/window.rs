//! The watering window: one valve runs at a time, and stations share the days that the rule allows.

use super::{DaySet, Limits};

/// The search over days ends after so many choices, and after so many whole plans were tried.
const MAX_CHOICES: u32 = 20_000;
const MAX_PLANS: u32 = 2_000;
/// Guards a window that is just long enough against rounding \[min\].
const ROUNDING_MIN: f64 = 1e-9;

/// The watering day of one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationDay {
    /// Cycles.
    pub cycles: u32,
    /// Run time of one cycle \[min\].
    pub cycle_min: f64,
    /// Rest between two \[min\].
    pub soak_min: f64,
    /// Watering days a week.
    pub days_per_week: f64,
    /// Days between waterings that the root zone bridges in the peak month.
    pub interval_days: u32,
}

impl StationDay {
    /// Run time of a watering day \[min\].
    fn run_min(&self) -> f64 {
        f64::from(self.cycles) * self.cycle_min
    }
}

/// What the watering of a parcel asks of the night.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindowNeed {
    /// Minutes from the first start to the last stop of the longest night.
    pub needed_min: f64,
    /// Minutes that are open.
    pub open_min: f64,
    /// Groups of stations that water on different days.
    pub groups: u32,
    /// Whether every night holds its group.
    pub fits: bool,
}

/// The night of all stations of a parcel.
#[derive(Debug, Clone, PartialEq)]
pub struct NightPlan {
    /// Whether it fits.
    pub need: WindowNeed,
    /// The place of each station in it.
    pub stations: Vec<StationTurn>,
}

/// When a station waters.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StationTurn {
    /// Its group, from 1: stations of one group water on the same days; 0 where it does not run.
    pub group: u32,
    /// Its days.
    pub days: DaySet,
    /// Start of each cycle \[min after the window opens\], and on which of its days; one entry where
    /// they are the same on all of them.
    pub starts: Vec<(DaySet, Vec<f64>)>,
}

/// Starts of the cycles of each station \[min after the first\], and the last stop, when one valve
/// runs at a time on any day and others run while one soaks: the station that can start first goes
/// next, of equals the one that has been ready longest, the first of equals. A station starts at the
/// same times on each of its days: stations that share any day run one after the other.
fn one_valve(stations: &[StationDay], days: &[DaySet]) -> (Vec<Vec<f64>>, f64) {
    let mut starts: Vec<Vec<f64>> = vec![Vec::new(); stations.len()];
    let mut ready_min = vec![0.0_f64; stations.len()];
    let mut free_min = [0.0_f64; 8];
    let mut waiting: Vec<usize> = (0..stations.len())
        .filter(|&index| stations[index].cycles > 0)
        .collect();
    while !waiting.is_empty() {
        let start = |index: usize| {
            let own = days[index].iter();
            own.fold(ready_min[index], |start, day| start.max(free_min[day]))
        };
        let mut next = (0, start(waiting[0]));
        for (at, &index) in waiting.iter().enumerate().skip(1) {
            let start_min = start(index);
            let readier = ready_min[index] < ready_min[waiting[next.0]];
            if start_min < next.1 || (start_min == next.1 && readier) {
                next = (at, start_min);
            }
        }
        let (at, start_min) = next;
        let index = waiting[at];
        let stop_min = start_min + stations[index].cycle_min;
        starts[index].push(start_min);
        days[index].iter().for_each(|day| free_min[day] = stop_min);
        ready_min[index] = stop_min + stations[index].soak_min;
        if starts[index].len() == stations[index].cycles as usize {
            waiting.remove(at);
        }
    }
    let last_min = free_min
        .iter()
        .fold(0.0, |last, &stop| f64::max(last, stop));
    (starts, last_min)
}

/// Minutes from the first start to the last stop when one valve runs at a time.
#[must_use]
pub fn night_min(stations: &[StationDay]) -> f64 {
    one_valve(stations, &vec![DaySet::ONE; stations.len()]).1
}

/// Whether the open hours hold the stations, on which days each waters and when it starts.
///
/// A station keeps the number of days that it needs, and its soil what it can bear
/// ([`AllowedDays::sets`](super::AllowedDays::sets)); which of the days allowed it takes is free. Tried
/// in this order, until the open hours hold the stations of every day: all on the most even days;
/// the longest stations first, each on the first of its sets of days on which there is room, sets
/// that others have before new ones; the longest first, each on the set of days with the least run
/// time; and a search through all choices, with a budget: where it ends before every choice was
/// tried, as it may with more than about ten stations that differ, a split may be missed. Where none
/// holds, the plan with the shortest longest day is given.
#[must_use]
pub fn night_plan(stations: &[StationDay], limits: &Limits) -> NightPlan {
    let packing = Packing::of(stations, limits);
    let plan = |days: &[DaySet]| packing.plan(days);
    let mut best = plan(&packing.most_even());
    let total_min: f64 = packing.order.iter().map(|&i| packing.week_min(i)).sum();
    let hopeless = total_min > limits.open_min * packing.days as f64 + ROUNDING_MIN
        || packing
            .order
            .iter()
            .any(|&i| night_min(&stations[i..=i]) > limits.open_min + ROUNDING_MIN);
    for days in [Packing::first_fit, Packing::level] {
        if best.need.fits {
            return best;
        }
        let next = plan(&days(&packing));
        if next.need.needed_min < best.need.needed_min {
            best = next;
        }
    }
    if best.need.fits || hopeless {
        return best;
    }
    let mut search = Search {
        packing: &packing,
        chosen: vec![DaySet::default(); stations.len()],
        load_min: [0.0; 8],
        choices: MAX_CHOICES,
        plans: MAX_PLANS,
        found: None,
    };
    search.choose(0);
    search.found.unwrap_or(best)
}

/// Stations and the sets of days that each may have.
struct Packing<'a> {
    stations: &'a [StationDay],
    limits: &'a Limits,
    /// For each station its sets; none where it does not run.
    sets: Vec<Vec<DaySet>>,
    /// Stations that run, those with the most minutes a week first, then in their order.
    order: Vec<usize>,
    /// Days that the sets reach.
    days: usize,
}

impl<'a> Packing<'a> {
    fn of(stations: &'a [StationDay], limits: &'a Limits) -> Packing<'a> {
        let mut known: Vec<((u64, u32), Vec<DaySet>)> = Vec::new();
        let sets = stations.iter().map(|station| {
            if station.cycles == 0 {
                return Vec::new();
            }
            let key = (station.days_per_week.to_bits(), station.interval_days);
            if let Some((_, sets)) = known.iter().find(|(known, _)| *known == key) {
                return sets.clone();
            }
            let sets = limits
                .days
                .sets(station.days_per_week, station.interval_days);
            known.push((key, sets.clone()));
            sets
        });
        let sets: Vec<Vec<DaySet>> = sets.collect();
        let mut reached = [false; 8];
        for day in sets.iter().flatten().flat_map(|set| set.iter()) {
            reached[day] = true;
        }
        let mut packing = Packing {
            stations,
            limits,
            order: (0..stations.len())
                .filter(|&i| !sets[i].is_empty())
                .collect(),
            sets,
            days: reached.iter().filter(|day| **day).count(),
        };
        let mut order = std::mem::take(&mut packing.order);
        order.sort_by(|&a, &b| packing.week_min(b).total_cmp(&packing.week_min(a)));
        packing.order = order;
        packing
    }

    /// Minutes over the days of one of its sets; all have as many.
    fn week_min(&self, station: usize) -> f64 {
        let days = self.sets[station]
            .first()
            .map_or(0, |set| set.iter().count());
        days as f64 * self.stations[station].run_min()
    }

    /// All on the most even of their sets.
    fn most_even(&self) -> Vec<DaySet> {
        let sets = self.sets.iter();
        sets.map(|sets| sets.first().copied().unwrap_or_default())
            .collect()
    }

    /// Each on the first set with room, those that others have first; where there is no room, on the
    /// set with the least run time.
    fn first_fit(&self) -> Vec<DaySet> {
        let mut used: Vec<DaySet> = Vec::new();
        self.each(|sets, run_min, load_min| {
            let has_room = |set: &&DaySet| {
                let mut own = set.iter();
                own.all(|day| load_min[day] + run_min <= self.limits.open_min + ROUNDING_MIN)
            };
            let again = used.iter().filter(|set| sets.contains(set));
            let set = again.chain(sets).find(has_room).copied();
            let set = set.unwrap_or_else(|| lightest(sets, load_min));
            if !used.contains(&set) {
                used.push(set);
            }
            set
        })
    }

    /// Each on the set with the least run time.
    fn level(&self) -> Vec<DaySet> {
        self.each(|sets, _, load_min| lightest(sets, load_min))
    }

    /// A set for each station, the longest first.
    fn each(&self, mut choose: impl FnMut(&[DaySet], f64, &[f64; 8]) -> DaySet) -> Vec<DaySet> {
        let mut load_min = [0.0; 8];
        let mut days = vec![DaySet::default(); self.stations.len()];
        for &index in &self.order {
            let run_min = self.stations[index].run_min();
            days[index] = choose(&self.sets[index], run_min, &load_min);
            days[index].iter().for_each(|day| load_min[day] += run_min);
        }
        days
    }

    /// The plan of a choice of days: every station at the same times on all of its days, where the
    /// open hours hold that or nothing else is shorter; else each day by itself.
    fn plan(&self, days: &[DaySet]) -> NightPlan {
        let (starts, mut needed_min) = one_valve(self.stations, days);
        let alike = starts.into_iter().zip(days);
        let mut starts: Vec<Vec<(DaySet, Vec<f64>)>> = alike
            .map(|(starts_min, &own)| vec![(own, starts_min)])
            .collect();
        if needed_min > self.limits.open_min {
            let (by_day, longest_min) = self.by_day(days);
            if longest_min < needed_min {
                (starts, needed_min) = (by_day, longest_min);
            }
        }
        let mut groups: Vec<DaySet> = Vec::new();
        let turn = |(starts, &days): (Vec<(DaySet, Vec<f64>)>, &DaySet)| {
            if days == DaySet::default() {
                return StationTurn::default();
            }
            let place = groups.iter().position(|group| *group == days);
            let place = place.unwrap_or_else(|| {
                groups.push(days);
                groups.len() - 1
            });
            StationTurn {
                group: place as u32 + 1, // there are fewer than 128 sets of days
                days,
                starts,
            }
        };
        let stations = starts.into_iter().zip(days).map(turn).collect();
        NightPlan {
            need: WindowNeed {
                needed_min,
                open_min: self.limits.open_min,
                groups: groups.len().max(1) as u32,
                fits: needed_min <= self.limits.open_min,
            },
            stations,
        }
    }
}

/// The starts of a station on sets of days \[min after the window opens\].
type DayStarts = Vec<(DaySet, Vec<f64>)>;

impl Packing<'_> {
    /// Starts when each day is planned by itself, and the longest day.
    fn by_day(&self, days: &[DaySet]) -> (Vec<DayStarts>, f64) {
        let mut starts: Vec<DayStarts> = vec![Vec::new(); days.len()];
        let mut longest_min = 0.0;
        for day in DaySet::EACH {
            let own: Vec<usize> = (0..days.len()).filter(|&i| days[i].meets(day)).collect();
            let stations: Vec<StationDay> = own.iter().map(|&i| self.stations[i]).collect();
            let (of_day, stop_min) = one_valve(&stations, &vec![day; own.len()]);
            longest_min = f64::max(longest_min, stop_min);
            for (index, starts_min) in own.into_iter().zip(of_day) {
                let same = starts[index]
                    .iter_mut()
                    .find(|(_, held)| *held == starts_min);
                match same {
                    Some((held, _)) => *held = held.with(day),
                    None => starts[index].push((day, starts_min)),
                }
            }
        }
        (starts, longest_min)
    }
}

/// The set whose fullest day has the least run time, the first of equals.
fn lightest(sets: &[DaySet], load_min: &[f64; 8]) -> DaySet {
    let fullest = |set: DaySet| set.iter().map(|day| load_min[day]).fold(0.0, f64::max);
    let sets = sets.iter().copied();
    sets.reduce(|best, next| match fullest(next) < fullest(best) {
        true => next,
        false => best,
    })
    .unwrap_or_default()
}

/// A search through the sets of all stations, depth first, the longest station first. A branch
/// ends where the run times alone pass the open hours of a day.
struct Search<'a> {
    packing: &'a Packing<'a>,
    chosen: Vec<DaySet>,
    load_min: [f64; 8],
    /// What is left of the budgets.
    choices: u32,
    plans: u32,
    found: Option<NightPlan>,
}

impl Search<'_> {
    /// Chooses for the stations from a place in the order on. No deeper than there are choices left.
    fn choose(&mut self, place: usize) {
        let packing = self.packing;
        let Some(&index) = packing.order.get(place) else {
            let plan = packing.plan(&self.chosen);
            self.plans -= 1;
            self.found = Some(plan).filter(|plan| plan.need.fits);
            return;
        };
        let run_min = packing.stations[index].run_min();
        for &set in &packing.sets[index] {
            if self.found.is_some() || self.choices == 0 || self.plans == 0 {
                return;
            }
            self.choices -= 1;
            let before = self.load_min;
            set.iter().for_each(|day| self.load_min[day] += run_min);
            let holds = |&load: &f64| load <= packing.limits.open_min + ROUNDING_MIN;
            if self.load_min.iter().all(holds) {
                self.chosen[index] = set;
                self.choose(place + 1);
            }
            self.load_min = before;
        }
    }
}

/// Whether the open hours hold the stations; see [`night_plan`].
#[must_use]
pub fn window_need(stations: &[StationDay], limits: &Limits) -> WindowNeed {
    night_plan(stations, limits).need
}

/// What the controller cannot hold, sorted: `programs-short` when stations have more different
/// sets of days and numbers of cycles than it has programmes, `stations-short` when it has too few
/// stations. `days` are those of each station in its [`NightPlan`].
#[must_use]
pub fn controller_flags(
    stations: &[StationDay],
    days: &[DaySet],
    limits: &Limits,
) -> Vec<&'static str> {
    let mut patterns: Vec<(u32, DaySet)> = Vec::new();
    let running = stations.iter().zip(days);
    for (station, &days) in running.filter(|(station, _)| station.cycles > 0) {
        let pattern = (station.cycles, days);
        if !patterns.contains(&pattern) {
            patterns.push(pattern);
        }
    }
    let mut flags = Vec::new();
    if patterns.len() > limits.programs as usize {
        flags.push("programs-short");
    }
    if stations.len() > limits.stations as usize {
        flags.push("stations-short");
    }
    flags
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assumptions::Assumptions;
    use crate::budget::AllowedDays;

    fn station(cycles: u32, cycle_min: f64, soak_min: f64) -> StationDay {
        StationDay {
            cycles,
            cycle_min,
            soak_min,
            days_per_week: 3.0,
            interval_days: 2,
        }
    }

    #[test]
    fn others_run_while_one_soaks() {
        assert_eq!(night_min(&[]), 0.0);
        assert_eq!(night_min(&[station(3, 10.0, 30.0)]), 90.0);
        // Four stations fill each other's soaks: 12 cycles of 10 minutes.
        assert_eq!(night_min(&[station(3, 10.0, 30.0); 4]), 120.0);
        // Two do not: 10 + 10, wait 20, and so on.
        assert_eq!(night_min(&[station(3, 10.0, 30.0); 2]), 100.0);
        assert_eq!(
            night_min(&[station(0, 10.0, 30.0), station(1, 7.0, 0.0)]),
            7.0
        );
    }

    #[test]
    fn a_night_is_never_shorter_than_its_runs_or_its_longest_station() {
        for count in 1..8u32 {
            let stations: Vec<StationDay> = (0..count)
                .map(|i| station(i % 4 + 1, f64::from(5 + i), f64::from(10 * i)))
                .collect();
            let runs: f64 = stations
                .iter()
                .map(|s| f64::from(s.cycles) * s.cycle_min)
                .sum();
            let alone = stations
                .iter()
                .map(|s| f64::from(s.cycles) * s.cycle_min + f64::from(s.cycles - 1) * s.soak_min)
                .fold(0.0, f64::max);
            let night = night_min(&stations);
            assert!(night >= runs - 1e-9 && night >= alone - 1e-9);
        }
    }

    #[test]
    fn stations_move_to_other_days_when_the_night_is_short() {
        let limits = Limits {
            open_min: 250.0,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let many = [station(1, 100.0, 0.0); 4];
        let need = window_need(&many, &limits);
        assert_eq!((need.groups, need.needed_min, need.fits), (2, 200.0, true));
        let daily: Vec<StationDay> = many
            .iter()
            .map(|s| StationDay {
                days_per_week: 7.0,
                interval_days: 1,
                ..*s
            })
            .collect();
        let need = window_need(&daily, &limits);
        assert_eq!((need.groups, need.needed_min, need.fits), (1, 400.0, false));
        assert!(window_need(&[], &limits).fits);
    }

    /// No two valves run together on any day, every cycle has its start, and its soak is kept.
    fn check(stations: &[StationDay], plan: &NightPlan) {
        for (turn, station) in plan.stations.iter().zip(stations) {
            assert_eq!(turn.group > 0, station.cycles > 0);
            let days: usize = turn
                .starts
                .iter()
                .map(|(days, _)| days.iter().count())
                .sum();
            assert_eq!(days, turn.days.iter().count());
            for (days, starts_min) in &turn.starts {
                assert!(
                    days.iter()
                        .all(|day| turn.days.iter().any(|own| own == day))
                );
                assert_eq!(starts_min.len(), station.cycles as usize);
                for pair in starts_min.windows(2) {
                    assert!(pair[1] - pair[0] >= station.cycle_min + station.soak_min);
                }
            }
        }
        for day in 0..7 {
            let mut runs: Vec<(f64, f64)> = Vec::new();
            for (turn, station) in plan.stations.iter().zip(stations) {
                let mut starts = turn.starts.iter();
                let own = starts.find(|(days, _)| days.iter().any(|own| own == day));
                if let Some((_, starts_min)) = own {
                    let starts = starts_min.iter();
                    runs.extend(starts.map(|&start| (start, start + station.cycle_min)));
                }
            }
            runs.sort_by(|a, b| a.0.total_cmp(&b.0));
            assert!(runs.windows(2).all(|pair| pair[0].1 <= pair[1].0));
            assert!(runs.iter().all(|run| run.1 <= plan.need.needed_min));
        }
    }

    #[test]
    fn every_cycle_has_its_start_and_no_two_valves_run_together() {
        let limits = Limits {
            open_min: 200.0,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let stations: Vec<StationDay> = (1..6)
            .map(|i| station(i % 3 + 1, f64::from(9 + i), 25.0))
            .collect();
        let plan = night_plan(&stations, &limits);
        assert!(plan.need.fits);
        check(&stations, &plan);
    }

    fn four_days(open_min: f64) -> Limits {
        Limits {
            open_min,
            // Monday, Tuesday, Thursday, Friday.
            days: AllowedDays::Weekdays([true, true, false, true, true, false, false]),
            days_per_week: 4.0,
            ..Limits::assumed(&Assumptions::defaults())
        }
    }

    #[test]
    fn four_days_a_week_hold_two_groups() {
        let twice = StationDay {
            days_per_week: 2.0,
            interval_days: 4,
            ..station(1, 100.0, 0.0)
        };
        let limits = four_days(200.0);
        let plan = night_plan(&[twice; 4], &limits);
        assert!(plan.need.fits, "{:?}", plan.need);
        assert_eq!((plan.need.groups, plan.need.needed_min), (2, 200.0));
        let texts: Vec<String> = plan
            .stations
            .iter()
            .map(|turn| limits.days.text(turn.days))
            .collect();
        assert_eq!(texts, ["mon;thu", "mon;thu", "tue;fri", "tue;fri"]);
        check(&[twice; 4], &plan);
        assert!(!night_plan(&[twice; 5], &limits).need.fits);
    }

    #[test]
    fn three_of_four_days_leave_each_day_a_quarter_free() {
        // Four stations of an hour on three of four days: three run on each day, where all four at
        // once would not fit.
        let thrice = StationDay {
            interval_days: 4,
            ..station(1, 60.0, 0.0)
        };
        let plan = night_plan(&[thrice; 4], &four_days(180.0));
        assert!(plan.need.fits, "{:?}", plan.need);
        assert_eq!(plan.need.needed_min, 180.0);
        check(&[thrice; 4], &plan);
        assert!(!night_plan(&[thrice; 4], &four_days(179.0)).need.fits);
        // A soil that lends for less than the rule's gaps keeps the most even sets, all with Monday.
        let shallow = station(1, 60.0, 0.0);
        assert!(!night_plan(&[shallow; 4], &four_days(180.0)).need.fits);
    }

    /// Whether any choice of days fits, by trying all.
    fn any_fits(stations: &[StationDay], limits: &Limits) -> bool {
        let packing = Packing::of(stations, limits);
        let mut days = packing.most_even();
        let mut places = vec![0; stations.len()];
        loop {
            if packing.plan(&days).need.fits {
                return true;
            }
            let mut at = 0;
            loop {
                let Some(place) = places.get_mut(at) else {
                    return false;
                };
                *place += 1;
                if let Some(&set) = packing.sets[at].get(*place) {
                    days[at] = set;
                    break;
                }
                *place = 0;
                days[at] = packing.sets[at].first().copied().unwrap_or_default();
                at += 1;
            }
        }
    }

    proptest::proptest! {
        /// A night is refused only where no choice of days holds it: small cases against all choices.
        #[test]
        fn refused_only_where_no_split_holds_it(
            drawn in proptest::collection::vec((0_u32..3, 5_u32..60, 0_u32..3, 1_u32..5, 1_u32..8), 1..4),
            allowed in 1_u8..128,
            open_min in 20_u32..240,
        ) {
            // So few choices that the search is never cut short.
            proptest::prop_assume!(allowed.count_ones() <= 5);
            let days = std::array::from_fn(|day| allowed >> day & 1 == 1);
            let per_week = f64::from(allowed.count_ones());
            let limits = Limits {
                open_min: f64::from(open_min),
                days: AllowedDays::Weekdays(days),
                days_per_week: per_week,
                ..Limits::assumed(&Assumptions::defaults())
            };
            let stations: Vec<StationDay> = drawn
                .iter()
                .map(|&(cycles, run, soak, per, interval_days)| StationDay {
                    cycles,
                    cycle_min: f64::from(run),
                    soak_min: if cycles > 1 { 15.0 * f64::from(soak) } else { 0.0 },
                    days_per_week: f64::from(per).min(per_week),
                    interval_days,
                })
                .collect();
            let plan = night_plan(&stations, &limits);
            check(&stations, &plan);
            let wanted = |station: &StationDay| match station.cycles {
                0 => 0,
                _ => station.days_per_week as usize,
            };
            for (turn, station) in plan.stations.iter().zip(&stations) {
                proptest::prop_assert_eq!(turn.days.iter().count(), wanted(station));
                proptest::prop_assert!(turn.days.iter().all(|day| days[day]));
            }
            proptest::prop_assert_eq!(plan.need.fits, any_fits(&stations, &limits));
        }
    }

    #[test]
    fn a_controller_holds_so_many_stations_and_patterns() {
        let limits = Limits {
            programs: 2,
            stations: 3,
            ..Limits::assumed(&Assumptions::defaults())
        };
        let some = [
            station(1, 10.0, 0.0),
            station(2, 5.0, 20.0),
            station(2, 7.0, 20.0),
        ];
        let days = [DaySet::ONE; 4];
        assert!(controller_flags(&some, &days[..3], &limits).is_empty());
        // Stations of one pattern on days of their own are two programmes.
        let other = limits.days.sets(3.0, 2)[1];
        let apart = controller_flags(&some, &[DaySet::ONE, DaySet::ONE, other], &limits);
        assert_eq!(apart, ["programs-short"]);
        let more = [&some[..], &[station(3, 4.0, 20.0)]].concat();
        assert_eq!(
            controller_flags(&more, &days, &limits),
            ["programs-short", "stations-short"]
        );
    }
}
