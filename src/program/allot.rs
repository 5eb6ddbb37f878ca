//! Which parcels a fixed budget should fund.
//!
//! A 0/1 knapsack: the set with the most saving whose costs stay within the budget. Items sorted
//! by saving over cost give two bounds: filled one by one a feasible set (greedy), with the first
//! that no longer fits cut to its share an upper bound (the LP relaxation). Branch and bound on
//! that order proves the optimum where it gets through within a fixed number of nodes; elsewhere
//! exchanges improve the greedy set and the gap to the bound is told.
//!
//! # References
//! - Dantzig G. B., "Discrete-variable extremum problems", *Operations Research* 5(2), 1957,
//!   p. 266–277.
//! - Horowitz E., Sahni S., "Computing partitions with applications to the knapsack problem",
//!   *J. ACM* 21(2), 1974, p. 277–292.

/// Most nodes of the branch and bound.
const MOST_NODES: u32 = 2_000_000;
/// How many items on either side of the cut are exchanged for one another.
const EXCHANGED: usize = 300;
/// Most rounds of exchanges.
const ROUNDS: usize = 50;

/// What could be funded. Money in whole cents, so that sums are exact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Item {
    /// Cost to the program \[cents\].
    pub cost_cents: u64,
    /// Saving \[m³/yr\].
    pub saving_m3_yr: f64,
}

/// A chosen set.
#[derive(Debug, Clone, PartialEq)]
pub struct Allotment {
    /// Indices of the chosen items, ascending.
    pub chosen: Vec<usize>,
    /// What they cost \[cents\].
    pub cost_cents: u64,
    /// What they save \[m³/yr\].
    pub saving_m3_yr: f64,
    /// No set within the budget saves more than this \[m³/yr\].
    pub bound_m3_yr: f64,
    /// Whether the set is proved to be the best.
    pub is_optimal: bool,
}

impl Allotment {
    /// How far the set may be from the best, as a fraction of the bound.
    #[must_use]
    pub fn gap_frac(&self) -> f64 {
        if self.is_optimal || self.bound_m3_yr <= 0.0 {
            0.0
        } else {
            (1.0 - self.saving_m3_yr / self.bound_m3_yr).max(0.0)
        }
    }
}

/// Chooses the set with the most saving within a budget. Items that save nothing are never
/// chosen; items that cost nothing and save always are. Ties: the lower cost, then the lower
/// index.
///
/// # Example
/// ```
/// use evenfall::program::{Item, allot};
/// let item = |cost: u64, saving_m3_yr: f64| Item { cost_cents: 100 * cost, saving_m3_yr };
/// let items = [
///     item(200, 40.0), item(150, 36.0), item(300, 54.0),
///     item(100, 15.0), item(250, 50.0), item(180, 27.0),
/// ];
/// assert_eq!(allot(&items, 60_000).chosen, [0, 1, 4]);
/// let tight = allot(&items, 50_000);
/// assert_eq!(tight.chosen, [1, 3, 4]);
/// assert!((tight.bound_m3_yr - 106.0).abs() < 1e-9 && tight.is_optimal);
/// ```
#[must_use]
pub fn allot(items: &[Item], budget_cents: u64) -> Allotment {
    let mut free = Vec::new();
    let mut order = Vec::new();
    for (i, item) in items.iter().enumerate() {
        if item.saving_m3_yr > 0.0 && item.cost_cents == 0 {
            free.push(i);
        } else if item.saving_m3_yr > 0.0 && item.cost_cents <= budget_cents {
            order.push(i);
        }
    }
    let worth = |i: usize| items[i].saving_m3_yr / items[i].cost_cents as f64;
    order.sort_by(|&a, &b| {
        worth(b)
            .total_cmp(&worth(a))
            .then(items[a].cost_cents.cmp(&items[b].cost_cents))
            .then(a.cmp(&b))
    });
    let ranked: Vec<Item> = order.iter().map(|&i| items[i]).collect();
    let bound_m3_yr = lp_bound(&ranked, 0, budget_cents);
    let mut taken = greedy(&ranked, budget_cents);
    exchange(&ranked, &mut taken, budget_cents);
    let is_optimal = prove(&ranked, &mut taken, budget_cents);
    let mut chosen: Vec<usize> = free;
    chosen.extend(
        taken
            .iter()
            .zip(&order)
            .filter(|(taken, _)| **taken)
            .map(|(_, &i)| i),
    );
    chosen.sort_unstable();
    let given_m3_yr: f64 = items
        .iter()
        .filter(|item| item.cost_cents == 0 && item.saving_m3_yr > 0.0)
        .map(|item| item.saving_m3_yr)
        .sum();
    Allotment {
        cost_cents: chosen.iter().map(|&i| items[i].cost_cents).sum(),
        saving_m3_yr: chosen.iter().map(|&i| items[i].saving_m3_yr).sum(),
        bound_m3_yr: bound_m3_yr + given_m3_yr,
        chosen,
        is_optimal,
    }
}

/// The most that items from `from` on, the best first, could save in `left_cents` if the last
/// could be funded in part.
fn lp_bound(ranked: &[Item], from: usize, left_cents: u64) -> f64 {
    let mut left_cents = left_cents;
    let mut saving_m3_yr = 0.0;
    for item in &ranked[from..] {
        if item.cost_cents > left_cents {
            saving_m3_yr += item.saving_m3_yr * (left_cents as f64 / item.cost_cents as f64);
            break;
        }
        left_cents -= item.cost_cents;
        saving_m3_yr += item.saving_m3_yr;
    }
    saving_m3_yr
}

/// Takes the best first, and skips what no longer fits.
fn greedy(ranked: &[Item], budget_cents: u64) -> Vec<bool> {
    let mut left_cents = budget_cents;
    ranked
        .iter()
        .map(|item| {
            let fits = item.cost_cents <= left_cents;
            if fits {
                left_cents -= item.cost_cents;
            }
            fits
        })
        .collect()
}

/// Exchanges a taken item for one that was left, or for nothing but room for others, as long as
/// that gains.
fn exchange(ranked: &[Item], taken: &mut [bool], budget_cents: u64) {
    for _ in 0..ROUNDS {
        let spent: u64 = costs(ranked, taken);
        let left_cents = budget_cents - spent;
        // The last taken and the first left are the ones near the cut.
        let out: Vec<usize> = (0..ranked.len())
            .rev()
            .filter(|&i| taken[i])
            .take(EXCHANGED)
            .collect();
        let others: Vec<usize> = (0..ranked.len())
            .filter(|&i| !taken[i])
            .take(EXCHANGED)
            .collect();
        let mut best: Option<(f64, usize, usize)> = None;
        for &i in &out {
            for &j in &others {
                let gain_m3_yr = ranked[j].saving_m3_yr - ranked[i].saving_m3_yr;
                let fits = ranked[j].cost_cents <= left_cents + ranked[i].cost_cents;
                if fits && gain_m3_yr > best.map_or(1e-9, |(gain, _, _)| gain) {
                    best = Some((gain_m3_yr, i, j));
                }
            }
        }
        let Some((_, i, j)) = best else { break };
        taken[i] = false;
        taken[j] = true;
        let mut left_cents = budget_cents - costs(ranked, taken);
        for (item, taken) in ranked.iter().zip(taken.iter_mut()) {
            if !*taken && item.cost_cents <= left_cents {
                *taken = true;
                left_cents -= item.cost_cents;
            }
        }
    }
}

fn costs(ranked: &[Item], taken: &[bool]) -> u64 {
    ranked
        .iter()
        .zip(taken)
        .filter(|(_, taken)| **taken)
        .map(|(item, _)| item.cost_cents)
        .sum()
}

/// Depth-first branch and bound from the best set known. Returns whether it went through.
fn prove(ranked: &[Item], taken: &mut Vec<bool>, budget_cents: u64) -> bool {
    let total = |taken: &[bool]| -> f64 {
        ranked
            .iter()
            .zip(taken)
            .filter(|(_, taken)| **taken)
            .map(|(item, _)| item.saving_m3_yr)
            .sum()
    };
    let mut best_m3_yr = total(taken);
    let mut path: Vec<bool> = Vec::with_capacity(ranked.len());
    let (mut spent_cents, mut saved_m3_yr) = (0u64, 0.0);
    let mut nodes = 0;
    loop {
        nodes += 1;
        if nodes > MOST_NODES {
            return false;
        }
        let depth = path.len();
        let at_end = depth == ranked.len();
        if at_end && saved_m3_yr > best_m3_yr + 1e-9 {
            best_m3_yr = saved_m3_yr;
            taken.clone_from(&path);
        }
        let hopeless = at_end
            || saved_m3_yr + lp_bound(ranked, depth, budget_cents - spent_cents)
                <= best_m3_yr + 1e-9;
        if !hopeless {
            let fits = spent_cents + ranked[depth].cost_cents <= budget_cents;
            if fits {
                spent_cents += ranked[depth].cost_cents;
                saved_m3_yr += ranked[depth].saving_m3_yr;
            }
            path.push(fits);
            continue;
        }
        // Back to the last item that was taken, and on without it.
        loop {
            match path.pop() {
                None => return true,
                Some(false) => {}
                Some(true) => {
                    let item = &ranked[path.len()];
                    spent_cents -= item.cost_cents;
                    saved_m3_yr -= item.saving_m3_yr;
                    path.push(false);
                    break;
                }
            }
        }
    }
}

/// Chooses under floors: each group is first given its own floor of the budget, as far as its
/// items can use it; what is left of the budget goes to the best of all. The bound is the one
/// without floors, so the gap shows what the floors cost as well.
///
/// `group` holds each item's group; `floors_cents` each group's floor.
#[must_use]
pub fn allot_with_floors(
    items: &[Item],
    budget_cents: u64,
    group: &[usize],
    floors_cents: &[u64],
) -> Allotment {
    let mut chosen: Vec<usize> = Vec::new();
    let mut left_cents = budget_cents;
    for (floor, &floor_cents) in floors_cents.iter().enumerate() {
        let members: Vec<usize> = (0..items.len()).filter(|&i| group[i] == floor).collect();
        let own: Vec<Item> = members.iter().map(|&i| items[i]).collect();
        let part = allot(&own, floor_cents.min(left_cents));
        left_cents -= part.cost_cents;
        chosen.extend(part.chosen.iter().map(|&k| members[k]));
    }
    let mut is_chosen = vec![false; items.len()];
    for &i in &chosen {
        is_chosen[i] = true;
    }
    let rest: Vec<usize> = (0..items.len()).filter(|&i| !is_chosen[i]).collect();
    let others: Vec<Item> = rest.iter().map(|&i| items[i]).collect();
    chosen.extend(allot(&others, left_cents).chosen.iter().map(|&k| rest[k]));
    chosen.sort_unstable();
    let free = allot(items, budget_cents);
    let saving_m3_yr: f64 = chosen.iter().map(|&i| items[i].saving_m3_yr).sum();
    Allotment {
        cost_cents: chosen.iter().map(|&i| items[i].cost_cents).sum(),
        bound_m3_yr: free.bound_m3_yr,
        is_optimal: free.is_optimal && saving_m3_yr + 1e-9 >= free.saving_m3_yr,
        saving_m3_yr,
        chosen,
    }
}
