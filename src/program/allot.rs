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
    let sums = Sums::of(&ranked);
    let bound_m3_yr = sums.lp_bound(&ranked, 0, budget_cents);
    let mut taken = greedy(&ranked, budget_cents);
    exchange(&ranked, &mut taken, budget_cents);
    let is_optimal = prove(&ranked, &sums, &mut taken, budget_cents);
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

/// Running sums of ranked items, so that a bound costs a search and not a walk.
struct Sums {
    /// Cost of the items before each place \[cents\].
    cost_cents: Vec<u64>,
    /// Their saving \[m³/yr\].
    saving_m3_yr: Vec<f64>,
}

impl Sums {
    fn of(ranked: &[Item]) -> Sums {
        let mut sums = Sums {
            cost_cents: vec![0],
            saving_m3_yr: vec![0.0],
        };
        let (mut cost_cents, mut saving_m3_yr) = (0u64, 0.0);
        for item in ranked {
            cost_cents = cost_cents.saturating_add(item.cost_cents);
            saving_m3_yr += item.saving_m3_yr;
            sums.cost_cents.push(cost_cents);
            sums.saving_m3_yr.push(saving_m3_yr);
        }
        sums
    }

    /// The most that items from `from` on, the best first, could save in `left_cents` if the last
    /// could be funded in part.
    fn lp_bound(&self, ranked: &[Item], from: usize, left_cents: u64) -> f64 {
        let reach_cents = self.cost_cents[from].saturating_add(left_cents);
        // The first place that the money does not reach.
        let cut = self.cost_cents.partition_point(|&cost| cost <= reach_cents) - 1;
        let whole_m3_yr = self.saving_m3_yr[cut] - self.saving_m3_yr[from];
        let part_m3_yr = ranked.get(cut).map_or(0.0, |item| {
            let rest_cents = reach_cents - self.cost_cents[cut];
            item.saving_m3_yr * (rest_cents as f64 / item.cost_cents as f64)
        });
        whole_m3_yr + part_m3_yr
    }
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
fn prove(ranked: &[Item], sums: &Sums, taken: &mut Vec<bool>, budget_cents: u64) -> bool {
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
            || saved_m3_yr + sums.lp_bound(ranked, depth, budget_cents - spent_cents)
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

/// A part of the budget that is kept for some items.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Floor {
    /// Indices of the items that it is kept for.
    pub members: Vec<usize>,
    /// At least so much goes to them, as far as they can use it \[cents\].
    pub least_cents: u64,
}

/// Chooses under floors. Where the best of all keeps them it stands. Else one after the other each floor is given, from what is left of the
/// budget, what its members do not have yet: their best set within it, and then, where they stay
/// below it, more of them as long as one fits the budget. What is left after the floors goes to the
/// best of all. The bound is the one without floors, so the gap shows what the floors cost as well.
#[must_use]
pub fn allot_with_floors(items: &[Item], budget_cents: u64, floors: &[Floor]) -> Allotment {
    let free = allot(items, budget_cents);
    let mut is_chosen = vec![false; items.len()];
    for &i in &free.chosen {
        is_chosen[i] = true;
    }
    let is_kept = |floor: &Floor| {
        let own = floor.members.iter().filter(|&&i| is_chosen[i]);
        own.map(|&i| items[i].cost_cents).sum::<u64>() >= floor.least_cents
    };
    if floors.iter().all(is_kept) {
        return free;
    }
    let mut taken = vec![false; items.len()];
    let mut left_cents = budget_cents;
    for floor in floors {
        let spent = |taken: &[bool]| -> u64 {
            let own = floor.members.iter().filter(|&&i| taken[i]);
            own.map(|&i| items[i].cost_cents).sum()
        };
        let missing_cents = floor
            .least_cents
            .saturating_sub(spent(&taken))
            .min(left_cents);
        let open: Vec<usize> = floor
            .members
            .iter()
            .copied()
            .filter(|&i| !taken[i])
            .collect();
        let own: Vec<Item> = open.iter().map(|&i| items[i]).collect();
        let part = allot(&own, missing_cents);
        left_cents -= part.cost_cents;
        for k in part.chosen {
            taken[open[k]] = true;
        }
        while spent(&taken) < floor.least_cents {
            let next = open
                .iter()
                .copied()
                .filter(|&i| !taken[i] && items[i].cost_cents > 0)
                .filter(|&i| items[i].saving_m3_yr > 0.0 && items[i].cost_cents <= left_cents)
                .max_by(|&a, &b| {
                    let worth = |i: usize| items[i].saving_m3_yr / items[i].cost_cents as f64;
                    worth(a).total_cmp(&worth(b)).then(b.cmp(&a))
                });
            let Some(next) = next else { break };
            taken[next] = true;
            left_cents -= items[next].cost_cents;
        }
    }
    let rest: Vec<usize> = (0..items.len()).filter(|&i| !taken[i]).collect();
    let others: Vec<Item> = rest.iter().map(|&i| items[i]).collect();
    for k in allot(&others, left_cents).chosen {
        taken[rest[k]] = true;
    }
    let chosen: Vec<usize> = (0..items.len()).filter(|&i| taken[i]).collect();
    let saving_m3_yr: f64 = chosen.iter().map(|&i| items[i].saving_m3_yr).sum();
    Allotment {
        cost_cents: chosen.iter().map(|&i| items[i].cost_cents).sum(),
        bound_m3_yr: free.bound_m3_yr,
        is_optimal: free.is_optimal && saving_m3_yr + 1e-9 >= free.saving_m3_yr,
        saving_m3_yr,
        chosen,
    }
}
