//! What a fixed budget should fund where each parcel offers several options, of which at most one is
//! taken: a multiple-choice knapsack.
//!
//! The hulls of cost against saving of all parcels, their steps sorted by saving over cost, give the
//! bound: filled until the budget cuts a step to its share (the LP relaxation), whose ratio is the
//! price λ of money. With it no choice in what is left can save more than `Σ max(s − λ c) + λ left`,
//! and a depth-first search with that bound proves the optimum where it gets through within a fixed
//! number of nodes; elsewhere the gap to the LP bound is reported.
//!
//! # References
//! - Sinha P., Zoltners A. A., "The multiple-choice knapsack problem", *Operations Research* 27,
//!   1979, p. 503–515 (original not consulted).

use super::allot::{Allotment, Floor, Item, allot, allot_with_floors};
use crate::savings::{Rung, hull};

/// Most nodes of the search.
const MAX_NODES: u32 = 2_000_000;
/// Most rounds in which single choices are exchanged.
const ROUNDS: usize = 20;
/// Savings that differ by less are one \[m³/yr\].
const SAME_M3_YR: f64 = 1e-9;

/// Chooses at most one item of each group, the most saving within a budget. `groups` names the group
/// of every item; items of one group stand side by side. Ties: the lower cost, then the lower index.
///
/// # Example
/// ```
/// use evenfall::program::{Item, allot_choices};
/// let item = |cost: u64, saving_m3_yr: f64| Item { cost_cents: cost, saving_m3_yr };
/// let items = [item(10, 5.0), item(30, 9.0), item(10, 4.0)];
/// // The first parcel's two options cannot both be had.
/// assert_eq!(allot_choices(&items, &[0, 0, 1], 20).chosen, [0, 2]);
/// assert_eq!(allot_choices(&items, &[0, 0, 1], 40).chosen, [1, 2]);
/// ```
#[must_use]
pub fn allot_choices(items: &[Item], groups: &[usize], budget_cents: u64) -> Allotment {
    if groups.windows(2).all(|pair| pair[0] != pair[1]) {
        return allot(items, budget_cents);
    }
    let groups: Vec<Group> = grouped(items, groups, budget_cents);
    let (price, bound_m3_yr) = relaxed(items, &groups, budget_cents);
    let mut held = filled(items, &groups, budget_cents);
    improve(items, &groups, &mut held, budget_cents);
    let is_optimal = prove(items, &groups, (&mut held, price), budget_cents);
    let mut chosen: Vec<usize> = held.into_iter().flatten().collect();
    chosen.sort_unstable();
    Allotment {
        cost_cents: chosen.iter().map(|&i| items[i].cost_cents).sum(),
        saving_m3_yr: chosen.iter().map(|&i| items[i].saving_m3_yr).sum(),
        bound_m3_yr,
        is_optimal,
        chosen,
    }
}

/// Chooses under floors, as [`allot_with_floors`] does, at most one item of each group. Where a floor
/// is not yet reached, parcels are added to it or taken to a dearer option, the best ratio first.
#[must_use]
pub fn allot_choices_with_floors(
    items: &[Item],
    groups: &[usize],
    budget_cents: u64,
    floors: &[Floor],
) -> Allotment {
    if groups.windows(2).all(|pair| pair[0] != pair[1]) {
        return allot_with_floors(items, budget_cents, floors);
    }
    let free = allot_choices(items, groups, budget_cents);
    let spent = |chosen: &[usize], floor: &Floor| -> u64 {
        let own = chosen.iter().filter(|i| floor.members.contains(i));
        own.map(|&i| items[i].cost_cents).sum()
    };
    if floors
        .iter()
        .all(|floor| spent(&free.chosen, floor) >= floor.least_cents)
    {
        return free;
    }
    let mut chosen: Vec<usize> = Vec::new();
    let mut left_cents = budget_cents;
    for floor in floors {
        let missing = floor
            .least_cents
            .saturating_sub(spent(&chosen, floor))
            .min(left_cents);
        let part = choose_among(items, groups, (&chosen, &floor.members), missing);
        left_cents -= part.iter().map(|&i| items[i].cost_cents).sum::<u64>();
        chosen.extend(part);
        while spent(&chosen, floor) < floor.least_cents {
            let more = floor.members.iter().filter_map(|&i| {
                let at = chosen.iter().position(|&own| groups[own] == groups[i]);
                let (cents, m3) = at.map_or((0, 0.0), |at| {
                    let own = &items[chosen[at]];
                    (own.cost_cents, own.saving_m3_yr)
                });
                let cents = items[i]
                    .cost_cents
                    .checked_sub(cents)
                    .filter(|more| *more > 0)?;
                let m3 = items[i].saving_m3_yr - m3;
                (m3 > 0.0 && cents <= left_cents).then(|| (m3 / cents as f64, i, at, cents))
            });
            let best = more.reduce(|best, next| if next.0 > best.0 { next } else { best });
            let Some((_, i, at, cents)) = best else { break };
            match at {
                Some(at) => chosen[at] = i,
                None => chosen.push(i),
            }
            left_cents -= cents;
        }
    }
    let all: Vec<usize> = (0..items.len()).collect();
    let rest = choose_among(items, groups, (&chosen, &all), left_cents);
    chosen.extend(rest);
    chosen.sort_unstable();
    let saving_m3_yr: f64 = chosen.iter().map(|&i| items[i].saving_m3_yr).sum();
    Allotment {
        cost_cents: chosen.iter().map(|&i| items[i].cost_cents).sum(),
        bound_m3_yr: free.bound_m3_yr,
        is_optimal: free.is_optimal && saving_m3_yr + SAME_M3_YR >= free.saving_m3_yr,
        saving_m3_yr,
        chosen,
    }
}

/// The best choice among some items whose groups have none yet.
fn choose_among(
    items: &[Item],
    groups: &[usize],
    (chosen, members): (&[usize], &[usize]),
    budget_cents: u64,
) -> Vec<usize> {
    let is_open = |i: &usize| !chosen.iter().any(|&own| groups[own] == groups[*i]);
    let open: Vec<usize> = members.iter().copied().filter(is_open).collect();
    let own: Vec<Item> = open.iter().map(|&i| items[i]).collect();
    let own_groups: Vec<usize> = open.iter().map(|&i| groups[i]).collect();
    let part = allot_choices(&own, &own_groups, budget_cents);
    part.chosen.into_iter().map(|k| open[k]).collect()
}

/// What one parcel offers.
struct Group {
    /// Its items that save, fit the budget and are dominated by none, by cost.
    open: Vec<usize>,
    /// Steps of their hull: item, cost and saving beyond the step before.
    steps: Vec<(usize, u64, f64)>,
}

fn grouped(items: &[Item], groups: &[usize], budget_cents: u64) -> Vec<Group> {
    let mut all = Vec::new();
    let mut start = 0;
    while start < items.len() {
        let mut end = start + 1;
        while end < items.len() && groups[end] == groups[start] {
            end += 1;
        }
        let mut own: Vec<usize> = (start..end)
            .filter(|&i| items[i].saving_m3_yr > 0.0 && items[i].cost_cents <= budget_cents)
            .collect();
        own.sort_by(|&a, &b| {
            let (one, two) = (&items[a], &items[b]);
            one.cost_cents
                .cmp(&two.cost_cents)
                .then(two.saving_m3_yr.total_cmp(&one.saving_m3_yr))
                .then(a.cmp(&b))
        });
        let mut open: Vec<usize> = Vec::new();
        for i in own {
            let best = open.last().map_or(0.0, |&last| items[last].saving_m3_yr);
            if items[i].saving_m3_yr > best {
                open.push(i);
            }
        }
        let rungs: Vec<Rung> = open
            .iter()
            .map(|&i| Rung {
                cost_cur: items[i].cost_cents as f64,
                water_m3: items[i].saving_m3_yr,
            })
            .collect();
        let (mut before, mut steps) = (0, Vec::new());
        for step in hull(&rungs) {
            let i = open[step.to];
            steps.push((i, items[i].cost_cents - before, step.water_m3));
            before = items[i].cost_cents;
        }
        if !open.is_empty() {
            all.push(Group { open, steps });
        }
        start = end;
    }
    all
}

/// Every step of every hull, the best ratio first: group, place.
fn ranked(groups: &[Group]) -> Vec<(usize, usize)> {
    let mut order: Vec<(f64, usize, usize)> = Vec::new();
    for (group, own) in groups.iter().enumerate() {
        for (place, (_, cents, m3)) in own.steps.iter().enumerate() {
            order.push((*cents as f64 / m3, group, place));
        }
    }
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    order
        .into_iter()
        .map(|(_, group, place)| (group, place))
        .collect()
}

/// The price of money \[m³/yr per cent\] and the bound of the relaxation \[m³/yr\].
fn relaxed(_items: &[Item], groups: &[Group], budget_cents: u64) -> (f64, f64) {
    let (mut left, mut bound) = (budget_cents, 0.0);
    for (group, place) in ranked(groups) {
        let (_, cents, m3) = groups[group].steps[place];
        if cents > left {
            let price = m3 / cents as f64;
            return (price, bound + price * left as f64);
        }
        left -= cents;
        bound += m3;
    }
    (0.0, bound)
}

/// Steps taken while they fit; a group whose step does not fit goes no further.
fn filled(items: &[Item], groups: &[Group], budget_cents: u64) -> Vec<Option<usize>> {
    let mut held = vec![None; groups.len()];
    let mut stopped = vec![false; groups.len()];
    let mut left = budget_cents;
    for (group, place) in ranked(groups) {
        let (item, cents, _) = groups[group].steps[place];
        if stopped[group] || cents > left {
            stopped[group] = true;
            continue;
        }
        debug_assert!(items[item].cost_cents <= budget_cents);
        left -= cents;
        held[group] = Some(item);
    }
    held
}

fn cents_of(items: &[Item], held: Option<usize>) -> u64 {
    held.map_or(0, |i| items[i].cost_cents)
}

fn saved_of(items: &[Item], held: Option<usize>) -> f64 {
    held.map_or(0.0, |i| items[i].saving_m3_yr)
}

/// Takes a group to another of its options as long as that saves more within the budget.
fn improve(items: &[Item], groups: &[Group], held: &mut [Option<usize>], budget_cents: u64) {
    for _ in 0..ROUNDS {
        let spent: u64 = held.iter().map(|&own| cents_of(items, own)).sum();
        let left = budget_cents - spent;
        let mut best: Option<(f64, usize, usize)> = None;
        for (group, own) in groups.iter().enumerate() {
            let room = left + cents_of(items, held[group]);
            for &i in own.open.iter().filter(|&&i| items[i].cost_cents <= room) {
                let gain = items[i].saving_m3_yr - saved_of(items, held[group]);
                if gain > best.map_or(SAME_M3_YR, |(gain, _, _)| gain) {
                    best = Some((gain, group, i));
                }
            }
        }
        let Some((_, group, i)) = best else { break };
        held[group] = Some(i);
    }
}

/// Depth-first search from the best choice known. Returns whether it went through.
fn prove(
    items: &[Item],
    groups: &[Group],
    (held, price): (&mut [Option<usize>], f64),
    budget_cents: u64,
) -> bool {
    let reduced = |own: Option<usize>| saved_of(items, own) - price * cents_of(items, own) as f64;
    // The options of every group, the best at this price first, and how clear its first is.
    let mut order: Vec<(f64, usize, Vec<Option<usize>>)> = groups
        .iter()
        .enumerate()
        .map(|(group, own)| {
            let mut ways: Vec<Option<usize>> = own.open.iter().map(|&i| Some(i)).collect();
            ways.push(None);
            ways.sort_by(|&a, &b| {
                let by_cost = cents_of(items, a).cmp(&cents_of(items, b));
                reduced(b).total_cmp(&reduced(a)).then(by_cost)
            });
            (reduced(ways[0]) - reduced(ways[1]), group, ways)
        })
        .collect();
    // Clear ones first: another choice there is soon hopeless.
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut behind = vec![0.0; order.len() + 1];
    for at in (0..order.len()).rev() {
        behind[at] = behind[at + 1] + reduced(order[at].2[0]);
    }
    let mut best_m3: f64 = held.iter().map(|&own| saved_of(items, own)).sum();
    let mut path: Vec<usize> = Vec::with_capacity(order.len());
    let (mut left, mut saved) = (budget_cents, 0.0);
    let mut way = 0;
    for _ in 0..MAX_NODES {
        let depth = path.len();
        let bound = saved + behind[depth] + price * left as f64;
        let mut goes_on = false;
        if bound > best_m3 + SAME_M3_YR {
            if depth == order.len() {
                if saved > best_m3 + SAME_M3_YR {
                    best_m3 = saved;
                    for (place, &way) in path.iter().enumerate() {
                        held[order[place].1] = order[place].2[way];
                    }
                }
            } else if let Some(step) = (way..order[depth].2.len())
                .find(|&way| cents_of(items, order[depth].2[way]) <= left)
            {
                let own = order[depth].2[step];
                left -= cents_of(items, own);
                saved += saved_of(items, own);
                path.push(step);
                way = 0;
                goes_on = true;
            }
        }
        if goes_on {
            continue;
        }
        let Some(step) = path.pop() else { return true };
        let own = order[path.len()].2[step];
        left += cents_of(items, own);
        saved -= saved_of(items, own);
        way = step + 1;
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::savings::Words;

    /// The most that any choice saves, by trying all.
    fn by_trial(items: &[Item], groups: &[usize], budget: u64) -> f64 {
        let mut best = vec![Some(0.0_f64); budget as usize + 1];
        let mut start = 0;
        while start < items.len() {
            let end = (start..items.len())
                .find(|&i| groups[i] != groups[start])
                .unwrap_or(items.len());
            let before = best.clone();
            for item in &items[start..end] {
                for cents in (item.cost_cents as usize)..best.len() {
                    let with =
                        before[cents - item.cost_cents as usize].map(|m3| m3 + item.saving_m3_yr);
                    if with > best[cents] {
                        best[cents] = with;
                    }
                }
            }
            start = end;
        }
        best.into_iter().flatten().fold(0.0, f64::max)
    }

    #[test]
    fn the_choice_is_the_best_by_trial() {
        let mut words = Words::of(3, "choices");
        let (mut several, mut proved) = (0, 0);
        for _ in 0..400 {
            let (mut items, mut groups) = (Vec::new(), Vec::new());
            for group in 0..1 + words.below(9) {
                for _ in 0..1 + words.below(4) {
                    items.push(Item {
                        cost_cents: words.below(40) as u64,
                        saving_m3_yr: words.below(30) as f64 - 3.0,
                    });
                    groups.push(group);
                }
            }
            let budget = words.below(120) as u64;
            let found = allot_choices(&items, &groups, budget);
            let wanted = by_trial(&items, &groups, budget);
            assert!(
                (found.saving_m3_yr - wanted).abs() < 1e-9,
                "{items:?} {groups:?} {budget}"
            );
            assert!(found.cost_cents <= budget);
            assert!(found.bound_m3_yr + 1e-9 >= wanted);
            let mut own: Vec<usize> = found.chosen.iter().map(|&i| groups[i]).collect();
            own.dedup();
            assert_eq!(own.len(), found.chosen.len(), "two of one group");
            several += usize::from(found.chosen.len() > 1);
            proved += usize::from(found.is_optimal);
        }
        assert!(several > 200, "{several}");
        assert_eq!(proved, 400);
    }

    #[test]
    fn many_parcels_come_within_a_thousandth_of_the_bound() {
        let mut words = Words::of(4, "many");
        let (mut items, mut groups) = (Vec::new(), Vec::new());
        for group in 0..5_000 {
            let (mut cents, mut m3) = (0, 0.0);
            for _ in 0..3 {
                cents += 1_000 + words.below(90_000) as u64;
                m3 += 1.0 + 20.0 * words.next_frac();
                items.push(Item {
                    cost_cents: cents,
                    saving_m3_yr: m3,
                });
                groups.push(group);
            }
        }
        let found = allot_choices(&items, &groups, 50_000_000);
        assert!(found.gap_frac() < 1e-3, "{}", found.gap_frac());
        assert!(found.cost_cents <= 50_000_000 && found.cost_cents > 49_900_000);
    }

    #[test]
    fn floors_hold_their_part() {
        let item = |cost_cents: u64, saving_m3_yr: f64| Item {
            cost_cents,
            saving_m3_yr,
        };
        let items = [item(10, 5.0), item(30, 9.0), item(10, 1.0), item(20, 1.5)];
        let groups = [0, 0, 1, 1];
        let floor = |least_cents| Floor {
            members: vec![2, 3],
            least_cents,
        };
        let kept = allot_choices_with_floors(&items, &groups, 30, &[floor(10)]);
        assert_eq!(kept.chosen, [0, 2]);
        let more = allot_choices_with_floors(&items, &groups, 30, &[floor(15)]);
        assert_eq!(more.chosen, [0, 3]);
        assert!(!more.is_optimal || more.saving_m3_yr >= 9.0);
    }
}
