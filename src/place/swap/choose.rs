//! Nozzle, throw and arc of every head that stays, by the rain that results.

use super::super::draft::{Free, GAP_FRAC, Throws};
use super::super::refine::{Lawn, Search};
use super::super::ring::Boundary;
use super::super::stand::Footing;
use super::super::{Effort, Setter, Site, design, scene};
use super::gaps::{Addition, Gap, Standing};
use super::infer::{Installed, around_ring, boundaries_for};
use super::score::objective;
use crate::catalogue::{Family, Head, Role};
use crate::rain::Grid;
use crate::shape::Point;
use crate::site::Condition;

/// Steps of the refinement, in throws.
const STEPS: [f64; 4] = [0.15, 0.08, 0.04, 0.02];
/// Steps after a head was capped.
const STEPS_AFTER: [f64; 2] = [0.08, 0.04];
/// Nozzle types of one layout: throws are chosen from so many neighbouring nozzles.
const MOST_TYPES: usize = 4;
/// A lawn is no worse without a head if its cost rises by less than this.
const NO_WORSE: f64 = 0.002;
/// Most trials of one search.
const MOST_TRIALS: usize = 60_000;

/// What is asked of a swap or a repair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Order {
    /// How hard to search.
    pub effort: Effort,
    /// A head nearer to another than this share of its throw may be capped.
    pub capped_below_frac: f64,
    /// Longest throw that closes a gap, as a share of the turf's inscribed diameter.
    pub reach_over_width_frac: f64,
}

/// The heads of a lawn after a swap or a repair.
#[derive(Debug, Clone, PartialEq)]
pub struct Changed {
    /// The heads: those that stay in the order in which they were found, then those added.
    pub heads: Vec<Head>,
    /// For each head the index of the existing head that it was; `None` if it is added.
    pub from: Vec<Option<usize>>,
    /// Where the positions do not give head-to-head coverage.
    pub gaps: Vec<Gap>,
    /// Existing heads that are capped.
    pub capped: Vec<usize>,
}

fn trials_a_head(effort: Effort) -> usize {
    match effort {
        Effort::Rule => 0,
        Effort::Fast => 60,
        Effort::Normal => 400,
        Effort::Thorough => 4_000,
    }
}

/// Existing heads on a lawn, and the family that they get.
struct Job<'a> {
    site: &'a Site<'a>,
    installed: &'a [Installed],
    family: &'a Family,
    order: &'a Order,
    boundaries: Vec<Boundary>,
    /// How far apart the heads usually stand \[m\].
    spacing_m: f64,
}

impl<'a> Job<'a> {
    fn of(
        site: &'a Site,
        installed: &'a [Installed],
        family: &'a Family,
        order: &'a Order,
    ) -> Job<'a> {
        let places: Vec<Point> = installed.iter().map(|one| one.at).collect();
        let (boundaries, spacing_m) = boundaries_for(site, &places);
        Job {
            site,
            installed,
            family,
            order,
            boundaries,
            spacing_m,
        }
    }

    /// How far the family reaches on this lawn without watering far beyond it \[m\].
    fn reach_m(&self) -> f64 {
        let useful_m = self.order.reach_over_width_frac * self.site.diameter_m;
        let (shortest_m, longest_m) = (self.family.shortest_m(), self.family.longest_m());
        useful_m.max(self.spacing_m).clamp(shortest_m, longest_m)
    }

    fn gaps(&self) -> (Vec<Gap>, Vec<Addition>) {
        let standing = Standing {
            site: self.site,
            boundaries: &self.boundaries,
            places: self.installed.iter().map(|one| one.at).collect(),
            spots: self.installed.iter().map(|one| one.stand.spot).collect(),
            reach_m: self.reach_m(),
        };
        standing.close()
    }

    /// The last nozzles of the ranges of throws to try: four nozzles each, long enough for the
    /// widest gap that the family bridges.
    fn tops(&self) -> Vec<usize> {
        let last = self.family.nozzles.len() - 1;
        let reach_m = self.reach_m();
        let asked_m = self
            .installed
            .iter()
            .filter(|one| one.stand.spot.is_some())
            .filter_map(|one| one.stand.need_m(reach_m))
            .filter(|&d| d <= GAP_FRAC * reach_m)
            .fold(0.0, f64::max);
        let least = self.family.nozzle_for(asked_m / GAP_FRAC);
        (least.max(MOST_TYPES - 1).min(last)..=last).collect()
    }

    /// The lawn for throws up to those of one nozzle.
    fn lawn(&self, top: usize, heads: usize) -> Lawn<'a> {
        let longest_m = self.family.nozzles[top].longest.m();
        let cell_m = design::search_cell_m(self.site.outline);
        let grid = Grid::over(self.site.outline, cell_m, 0.0);
        let footing = Footing::of(self.site);
        Lawn {
            outline: self.site.outline,
            boundaries: self.boundaries.clone(),
            throws: Throws::around(self.family, longest_m, longest_m),
            throw_m: longest_m.min(self.reach_m()),
            barred: footing.barred_cells(&grid),
            footing,
            scene: scene::scene(self.site, self.family, cell_m),
            grid,
            profile: &self.family.profile,
            taste: design::EVEN,
            most: heads,
            gap_frac: GAP_FRAC,
            spacing_frac: self.site.rules.spacing_frac,
        }
    }

    /// An existing head as its place asks.
    fn natural(&self, one: &Installed, throws: &Throws) -> Free {
        let setter = Setter {
            family: self.family,
        };
        let throw_m = one
            .stand
            .need_m(throws.longest_m())
            .unwrap_or(self.site.diameter_m);
        // Inside, an arc that somebody set and measured has its reason.
        let (start_deg, sweep_deg) = if one.stand.spot.is_none() && one.is_set_on_purpose() {
            let sweep_deg = setter.nearest_sweep_deg(one.sweep_deg);
            let middle_deg = one.start_deg + one.sweep_deg / 2.0;
            (
                (middle_deg - sweep_deg / 2.0).round().rem_euclid(360.0),
                sweep_deg,
            )
        } else {
            one.stand.natural(&setter)
        };
        self.free(one, throws, throw_m, (start_deg, sweep_deg))
    }

    /// An existing head as near to how it was set as the throws allow.
    fn as_set(&self, one: &Installed, throws: &Throws) -> Free {
        let setter = Setter {
            family: self.family,
        };
        let sweep_deg = setter.nearest_sweep_deg(one.sweep_deg);
        let middle_deg = one.start_deg + one.sweep_deg / 2.0;
        let start_deg = (middle_deg - sweep_deg / 2.0).round().rem_euclid(360.0);
        self.free(one, throws, one.radius_m, (start_deg, sweep_deg))
    }

    fn free(
        &self,
        one: &Installed,
        throws: &Throws,
        throw_m: f64,
        (start_deg, sweep_deg): (f64, f64),
    ) -> Free {
        let radius_m = throws.allowed(throw_m);
        Free {
            sector: throws.sector(one.at, radius_m, start_deg, sweep_deg),
            role: Role::Kept,
            spot: one.stand.spot,
            least_m: throws.shortest_m(),
            natural: (start_deg, sweep_deg),
        }
    }

    /// An added head; `None` where none may stand.
    fn addition(&self, addition: &Addition, lawn: &Lawn) -> Option<Free> {
        let throws = &lawn.throws;
        let throw_m = self.spacing_m.min(throws.longest_m());
        match addition.spot {
            Some(spot) => {
                let boundary = &self.boundaries[spot.ring];
                let free = throws.at_spot(spot, boundary, &lawn.footing, throw_m)?;
                Some(Free {
                    role: addition.role,
                    ..free
                })
            }
            None => lawn
                .is_open(addition.at)
                .then(|| throws.inside(addition.at, throw_m)),
        }
    }

    fn trials(&self, heads: usize) -> usize {
        (trials_a_head(self.order.effort) * heads).min(MOST_TRIALS)
    }
}

impl Installed {
    /// Whether its arc was measured and not found out of place.
    fn is_set_on_purpose(&self) -> bool {
        !self.missing.arc && !self.missing.aim && self.condition != Some(Condition::Misaimed)
    }
}

/// Gives all heads of a lawn nozzles of another family, closes the gaps that the positions leave,
/// and caps heads that stand too near to others.
///
/// Without heads there is nothing to swap and nothing comes back.
#[must_use]
pub fn swapped(site: &Site, installed: &[Installed], family: &Family, order: &Order) -> Changed {
    let job = Job::of(site, installed, family, order);
    let (gaps, additions) = job.gaps();
    let most = installed.len() + additions.len();
    let mut best: Option<(f64, Changed)> = None;
    for top in job.tops() {
        let lawn = job.lawn(top, most);
        let heads: Vec<Free> = installed
            .iter()
            .map(|one| job.natural(one, &lawn.throws))
            .chain(additions.iter().filter_map(|one| job.addition(one, &lawn)))
            .collect();
        let count = heads.len();
        let mut search = Search::on(&lawn);
        search.restart(heads);
        search.trials = job.trials(count);
        search.run(&STEPS);
        let mut from: Vec<Option<usize>> = (0..count)
            .map(|i| (i < installed.len()).then_some(i))
            .collect();
        let capped = cap(&mut search, &mut from, order.capped_below_frac);
        let cost = search.cost();
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            let heads = search
                .heads
                .iter()
                .map(|free| lawn.throws.set(free))
                .collect();
            let changed = Changed {
                heads,
                from,
                gaps: gaps.clone(),
                capped,
            };
            best = Some((cost, changed));
        }
    }
    best.map_or_else(
        || Changed {
            heads: Vec::new(),
            from: Vec::new(),
            gaps,
            capped: Vec::new(),
        },
        |(_, changed)| changed,
    )
}

/// Caps heads that stand too near to another and that the lawn does as well without, the nearest
/// pairs first. Heads at corners stay, and so do heads that bridge a gap on the boundary.
fn cap(search: &mut Search, from: &mut Vec<Option<usize>>, below_frac: f64) -> Vec<usize> {
    let mut capped = Vec::new();
    let mut tried: Vec<usize> = Vec::new();
    loop {
        let crowded = (0..search.heads.len())
            .filter_map(|i| {
                let head = from[i].filter(|head| !tried.contains(head))?;
                let free = &search.heads[i];
                let d = nearest_other_m(&search.heads, i);
                let is_corner = free.spot.is_some_and(|spot| spot.run.is_none());
                let is_near = d < below_frac * free.sector.radius_m;
                (is_near && !is_corner && !bridges(search, i)).then_some((d, i, head))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let Some((_, i, head)) = crowded else {
            capped.sort_unstable();
            return capped;
        };
        tried.push(head);
        let (before, cost) = (search.heads.clone(), search.cost());
        search.take_all(&[i]);
        search.run_awake(&STEPS_AFTER);
        if search.cost() <= cost + NO_WORSE {
            from.remove(i);
            capped.push(head);
        } else {
            search.restart(before);
            search.quiet_all();
        }
    }
}

fn nearest_other_m(heads: &[Free], i: usize) -> f64 {
    heads
        .iter()
        .enumerate()
        .filter(|&(j, _)| j != i)
        .map(|(_, other)| other.sector.at.distance(heads[i].sector.at))
        .fold(f64::INFINITY, f64::min)
}

/// Whether the boundary would have too wide a gap without a head.
fn bridges(search: &Search, i: usize) -> bool {
    let Some(spot) = search.heads[i].spot else {
        return false;
    };
    let spots: Vec<_> = search.heads.iter().map(|head| head.spot).collect();
    let around = around_ring(&spots, spot.ring);
    let n = around.len();
    let Some(k) = around.iter().position(|&(_, j)| j == i) else {
        return false;
    };
    let at = |k: usize| search.heads[around[k % n].1].sector.at;
    let lawn = search.lawn;
    n < 3 || at(k + 1).distance(at(k + n - 1)) > GAP_FRAC * lawn.throws.longest_m()
}

/// Straightens and cleans all heads of a lawn, mends their aim and gives each the nozzle of its
/// own family that its place asks for. No head is added or capped. Heads that are better as they
/// were set are left so.
#[must_use]
pub fn repaired(
    site: &Site,
    installed: &[Installed],
    family: &Family,
    families: &[&Family],
    order: &Order,
) -> Changed {
    let job = Job::of(site, installed, family, order);
    let (gaps, _) = job.gaps();
    let mut options: Vec<Vec<Head>> = Vec::new();
    for top in job.tops() {
        let lawn = job.lawn(top, installed.len());
        for start in [Job::natural, Job::as_set] {
            let heads: Vec<Free> = installed
                .iter()
                .map(|one| start(&job, one, &lawn.throws))
                .collect();
            let mut search = Search::on(&lawn);
            search.restart(heads);
            search.trials = job.trials(installed.len());
            search.run(&STEPS);
            options.push(
                search
                    .heads
                    .iter()
                    .map(|free| lawn.throws.set(free))
                    .collect(),
            );
        }
    }
    // The same settings with sound heads at the rated pressure.
    if installed
        .iter()
        .all(|one| families[one.family].name == family.name)
    {
        options.push(
            installed
                .iter()
                .map(|one| one.at_rated_pressure(family))
                .collect(),
        );
    }
    let heads = options
        .into_iter()
        .map(|heads| (objective(site, family, &heads), heads))
        .reduce(|best, next| if next.0 < best.0 { next } else { best })
        .map_or_else(Vec::new, |(_, heads)| heads);
    Changed {
        from: (0..heads.len()).map(Some).collect(),
        heads,
        gaps,
        capped: Vec::new(),
    }
}

impl Installed {
    /// The head as it is set, sound and regulated to the rated pressure of its family.
    fn at_rated_pressure(&self, family: &Family) -> Head {
        let mut head = self.sound(family);
        head.flow = family.flow(head.nozzle, self.radius_m, self.sweep_deg);
        head
    }
}
