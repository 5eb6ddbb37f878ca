//! Stations: the heads that one valve feeds.
//!
//! New work is grouped by capacity: every class of heads (one family, one soil, slope and sun) is
//! cut in two by flow, again and again, across the direction that keeps the parts most compact,
//! until each part is within the safe flow; then heads change sides where that makes stations
//! more compact or more equal, and a small station is dissolved where its neighbours can take it.
//! Where buildings stand between heads, cuts and changes keep each station in one piece (see `apart`), and
//! what still is parted is given to neighbours or stands alone. No change brings a station more kinds of
//! nozzles than it should have, and rare kinds move to stations that have them.
//! Every step is bounded, so five thousand heads take milliseconds; where the budget of work is spent,
//! heads are filled into stations in the order in which they stand, or stations stay as they are.

use std::collections::BTreeMap;

use super::apart::{MAX_NOZZLE_TYPES, Rules, Sights, kinds};
use super::work::Work;
use crate::shape::Point;

/// A head as the grouping sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlet {
    /// Where it stands.
    pub at: Point,
    /// Its flow at the rated pressure \[L/min\].
    pub flow_lpm: f64,
    /// What it may share a station with: the same number only.
    pub class: u32,
}

/// The heads of one station, by their indices, rising.
pub type Members = Vec<usize>;

/// Passes of improvement; each looks at every head once.
const PASSES: usize = 12;
/// Stations that a head may change to: those with the nearest middles.
const NEAR: usize = 4;
/// Weight of unequal flows against spread on the ground.
const BALANCE_WEIGHT: f64 = 0.5;
/// A station is dissolved only below this share of the safe flow.
const DISSOLVE_BELOW: f64 = 0.6;
/// One station in so many may be added to those that the flow asks for before cuts are forced.
const SPARE_PER: usize = 6;
/// Looks that a head takes in a cut: its share of the sorting.
const LOOKS_PER_CUT: usize = 16;
/// Looks that a change of two heads takes.
const LOOKS_PER_CHANGE: usize = 8;
/// Room for rounding in comparisons of flow.
const ROUNDING: f64 = 1e-9;

/// Groups heads into stations of one class, each within the safe flow, with about
/// `⌈Σq / Q⌉` stations a class. A head that draws more than the safe flow by itself stands alone.
/// Stations come in the order of their first heads.
#[must_use]
pub fn grouped(outlets: &[Outlet], safe_lpm: f64, work: &Work) -> Vec<Members> {
    grouped_by(outlets, safe_lpm, Rules::default(), work)
}

/// The same where buildings stand about and kinds of nozzles count.
#[must_use]
pub fn grouped_by(
    outlets: &[Outlet],
    safe_lpm: f64,
    rules: Rules<'_>,
    work: &Work,
) -> Vec<Members> {
    let mut classes: Vec<u32> = outlets.iter().map(|outlet| outlet.class).collect();
    classes.sort_unstable();
    classes.dedup();
    let mut stations = Vec::new();
    for class in classes {
        let of_class = (0..outlets.len()).filter(|&i| outlets[i].class == class);
        let (within, beyond): (Members, Members) =
            of_class.partition(|&i| outlets[i].flow_lpm <= safe_lpm * (1.0 + ROUNDING));
        stations.extend(beyond.into_iter().map(|head| vec![head]));
        if within.is_empty() {
            continue;
        }
        let places: Vec<(usize, Point)> = within.iter().map(|&i| (i, outlets[i].at)).collect();
        work.spend(places.len() * places.len());
        let sights = Sights::of(outlets.len(), &places, rules);
        let parts = divided(outlets, within, (safe_lpm, sights.as_ref()), work);
        let mut sets = Sets::new(outlets, safe_lpm, work, parts);
        (sets.rules, sets.sights) = (rules, sights.as_ref());
        sets.improve();
        while sets.dissolve_one() {
            sets.improve();
        }
        sets.sort_kinds();
        sets.unite();
        stations.extend(sets.members);
    }
    for members in &mut stations {
        members.sort_unstable();
    }
    stations.sort_by_key(|members| members[0]); // no station is empty
    stations
}

/// Groups heads that have stations already by their names; heads without one keep `None` in the
/// order of the input.
#[must_use]
pub fn by_name(names: &[Option<&str>]) -> (Vec<(String, Members)>, Members) {
    let mut stations: Vec<(String, Members)> = Vec::new();
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut unnamed = Vec::new();
    for (head, name) in names.iter().enumerate() {
        let Some(name) = name else {
            unnamed.push(head);
            continue;
        };
        let place = *places.entry(name).or_insert_with(|| {
            stations.push(((*name).to_owned(), Vec::new()));
            stations.len() - 1
        });
        stations[place].1.push(head); // places are made with stations
    }
    (stations, unnamed)
}

/// Top, middle and toe of a slope: 0, 1 or 2 for each head by thirds of the height; all 0 where
/// the fall over the heads is not above a limit.
#[must_use]
pub fn slope_thirds(elevations_m: &[f64], fall_least_m: f64) -> Vec<u32> {
    let high = elevations_m
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let low = elevations_m.iter().copied().fold(f64::INFINITY, f64::min);
    let fall_m = high - low;
    elevations_m
        .iter()
        .map(|height| {
            if fall_m <= fall_least_m {
                0
            } else {
                (((high - height) / fall_m * 3.0) as u32).min(2)
            }
        })
        .collect()
}

fn flow_of(outlets: &[Outlet], members: &[usize]) -> f64 {
    members.iter().map(|&i| outlets[i].flow_lpm).sum()
}

/// Cuts a set of heads into parts within the safe flow: into as many as the flow asks for, or a
/// few more where single heads do not fill them; where even that fails, wherever a cut is needed.
fn divided(
    outlets: &[Outlet],
    all: Members,
    (safe_lpm, sights): (f64, Option<&Sights>),
    work: &Work,
) -> Vec<Members> {
    let parts_for = |flow_lpm: f64| ((flow_lpm / safe_lpm - ROUNDING).ceil() as usize).max(1);
    let least = parts_for(flow_of(outlets, &all));
    for parts in least..=least + 1 + least / SPARE_PER {
        if work.is_spent() {
            break;
        }
        if let Some(sets) = evenly(outlets, &all, parts, (safe_lpm, sights), work) {
            return sets;
        }
    }
    let mut done = Vec::new();
    let mut open = vec![all];
    // Every cut leaves two smaller sets, so there are fewer cuts than heads.
    while let Some(members) = open.pop() {
        let mut parts = parts_for(flow_of(outlets, &members));
        if parts == 1 || members.len() == 1 {
            done.push(members);
            continue;
        }
        // At the latest with a part for each head every cut fits.
        let halves = loop {
            if work.is_spent() {
                break None;
            }
            let halves = cut(outlets, &members, parts, (safe_lpm, sights), work);
            if halves.is_some() {
                break halves;
            }
            parts += 1;
        };
        let Some(halves) = halves else {
            done.extend(filled(outlets, members, safe_lpm));
            continue;
        };
        open.push(halves.1);
        open.push(halves.0);
    }
    done
}

/// Fills heads into stations one after the other, in the order in which they stand along the direction
/// in which they are spread most.
fn filled(outlets: &[Outlet], mut members: Members, safe_lpm: f64) -> Vec<Members> {
    let along = principal(outlets, &members);
    members.sort_by(|&a, &b| {
        let way = |i: usize| outlets[i].at.dot(along);
        way(a).total_cmp(&way(b)).then(a.cmp(&b))
    });
    let mut stations: Vec<Members> = Vec::new();
    let mut open_lpm = f64::INFINITY;
    for head in members {
        open_lpm += outlets[head].flow_lpm;
        match stations.last_mut() {
            Some(open) if open_lpm <= safe_lpm * (1.0 + ROUNDING) => open.push(head),
            _ => {
                stations.push(vec![head]);
                open_lpm = outlets[head].flow_lpm;
            }
        }
    }
    stations
}

/// Cuts a set into exactly so many parts within the safe flow; `None` where that fails.
fn evenly(
    outlets: &[Outlet],
    all: &[usize],
    parts: usize,
    (safe_lpm, sights): (f64, Option<&Sights>),
    work: &Work,
) -> Option<Vec<Members>> {
    let mut done = Vec::new();
    let mut open = vec![(all.to_vec(), parts)];
    while let Some((members, parts)) = open.pop() {
        if parts == 1 {
            done.push(members);
            continue;
        }
        let (few, rest) = cut(outlets, &members, parts, (safe_lpm, sights), work)?;
        // The part with less flow is the one with fewer stations, if they differ.
        let few_first = flow_of(outlets, &few) <= flow_of(outlets, &rest);
        let (less, more) = (parts / 2, parts - parts / 2);
        open.push((rest, if few_first { more } else { less }));
        open.push((few, if few_first { less } else { more }));
    }
    Some(done)
}

/// Cuts a set in two so that one side can be half of so many stations; of several directions the
/// one with the most compact sides; where buildings stand between heads, of those with the fewest pieces,
/// and along the ways through the yard as well. `None` where no direction has such a cut.
fn cut(
    outlets: &[Outlet],
    members: &[usize],
    parts: usize,
    (safe_lpm, sights): (f64, Option<&Sights>),
    work: &Work,
) -> Option<(Members, Members)> {
    let few = (parts / 2).max(1);
    let many = parts - few;
    let total_lpm = flow_of(outlets, members);
    let along = principal(outlets, members);
    let across = Point::new(-along.y, along.x);
    let mut orders: Vec<Members> = Vec::new();
    for direction in [along, across, along + across, along - across] {
        work.spend(LOOKS_PER_CUT * members.len());
        let mut order = members.to_vec();
        order.sort_by(|&a, &b| {
            let way = |i: usize| outlets[i].at.dot(direction);
            way(a).total_cmp(&way(b)).then(a.cmp(&b))
        });
        orders.push(order);
    }
    if let Some(sights) = sights {
        let ends = [&orders[0], &orders[1]].map(|order| [order[0], order[order.len() - 1]]);
        for end in ends.into_iter().flatten() {
            work.spend(members.len() * members.len());
            orders.push(sights.by_way_from(end, members));
        }
    }
    let pieces = |set: &[usize]| sights.map_or(1, |sights| sights.pieces(set).len());
    let mut best: Option<(usize, f64, Members, Members)> = None;
    for order in orders {
        for (first, second) in [(few, many), (many, few)] {
            let (mut least, mut at, mut before_lpm) = (f64::INFINITY, None, 0.0);
            for k in 1..order.len() {
                before_lpm += outlets[order[k - 1]].flow_lpm;
                let (a, b) = (
                    before_lpm / first as f64,
                    (total_lpm - before_lpm) / second as f64,
                );
                let fits = a.max(b) <= safe_lpm * (1.0 + ROUNDING);
                if fits && (a - b).abs() < least {
                    (least, at) = ((a - b).abs(), Some(k));
                }
            }
            let Some(at) = at else { continue };
            let (one, rest) = order.split_at(at);
            let count = pieces(one) + pieces(rest);
            let spread_m2 = spread_m2(outlets, one) + spread_m2(outlets, rest);
            let is_better = best.as_ref().is_none_or(|(fewest, least, ..)| {
                count < *fewest || count == *fewest && spread_m2 < *least
            });
            if is_better {
                best = Some((count, spread_m2, one.to_vec(), rest.to_vec()));
            }
            if first == second {
                break;
            }
        }
    }
    best.map(|(.., a, b)| (a, b))
}

fn middle(outlets: &[Outlet], members: &[usize]) -> Point {
    let sum = members
        .iter()
        .fold(Point::default(), |sum, &i| sum + outlets[i].at);
    sum * (1.0 / members.len() as f64)
}

/// Sum of squared distances from the middle \[m²\].
fn spread_m2(outlets: &[Outlet], members: &[usize]) -> f64 {
    let middle = middle(outlets, members);
    members
        .iter()
        .map(|&i| (outlets[i].at - middle).dot(outlets[i].at - middle))
        .sum()
}

/// The direction in which heads are spread most, as a unit vector.
fn principal(outlets: &[Outlet], members: &[usize]) -> Point {
    let middle = middle(outlets, members);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for &i in members {
        let off = outlets[i].at - middle;
        xx += off.x * off.x;
        xy += off.x * off.y;
        yy += off.y * off.y;
    }
    let angle = 0.5 * libm::atan2(2.0 * xy, xx - yy);
    Point::new(libm::cos(angle), libm::sin(angle))
}

/// Stations while they are being improved.
struct Sets<'o> {
    outlets: &'o [Outlet],
    safe_lpm: f64,
    work: &'o Work,
    members: Vec<Members>,
    flows_lpm: Vec<f64>,
    sums: Vec<Point>,
    rules: Rules<'o>,
    sights: Option<&'o Sights>,
}

impl<'o> Sets<'o> {
    fn new(
        outlets: &'o [Outlet],
        safe_lpm: f64,
        work: &'o Work,
        members: Vec<Members>,
    ) -> Sets<'o> {
        let flows_lpm = members.iter().map(|m| flow_of(outlets, m)).collect();
        let sums = members
            .iter()
            .map(|m| middle(outlets, m) * m.len() as f64)
            .collect();
        Sets {
            outlets,
            safe_lpm,
            work,
            members,
            flows_lpm,
            sums,
            rules: Rules::default(),
            sights: None,
        }
    }

    /// A set with some heads less and others more.
    fn changed(&self, set: usize, leaving: &[usize], coming: &[usize]) -> Members {
        let stay = self.members[set].iter().copied();
        let stay = stay.filter(|head| !leaving.contains(head));
        stay.chain(coming.iter().copied()).collect()
    }

    /// Whether a set may become another: no more pieces than it had, and no more kinds of nozzles than a
    /// station should have, or than it had.
    fn may_become(&self, set: usize, leaving: &[usize], coming: &[usize]) -> bool {
        if self.sights.is_none() && self.rules.nozzles.is_empty() {
            return true;
        }
        let (before, after) = (&self.members[set], self.changed(set, leaving, coming));
        let kinds_of = |set: &Members| kinds(self.rules.nozzles, set.iter().copied());
        let most = MAX_NOZZLE_TYPES.max(kinds_of(before));
        if kinds_of(&after) > most {
            return false;
        }
        self.sights
            .is_none_or(|sights| sights.pieces(&after).len() <= sights.pieces(before).len().max(1))
    }

    /// The nearest set that can take a head: with room, whole and of few kinds after it.
    fn taker(&self, head: usize, from: usize) -> Option<usize> {
        self.near(head, from).into_iter().find(|&set| {
            let lpm = self.flows_lpm[set] + self.outlets[head].flow_lpm;
            lpm <= self.safe_lpm * (1.0 + ROUNDING) && self.may_become(set, &[], &[head])
        })
    }

    /// Moves rare kinds of nozzles out of stations that have too many, while neighbours can take them.
    fn sort_kinds(&mut self) {
        if self.rules.nozzles.is_empty() {
            return;
        }
        for set in 0..self.members.len() {
            // Every round leaves one kind less.
            while !self.work.is_spent() {
                let own = self.members[set].clone();
                if kinds(self.rules.nozzles, own.iter().copied()) <= MAX_NOZZLE_TYPES {
                    break;
                }
                let count = |kind: u32| {
                    let same = own.iter().filter(|&&i| self.rules.nozzles[i] == kind);
                    same.count()
                };
                let mut by_kind: Vec<u32> = own.iter().map(|&i| self.rules.nozzles[i]).collect();
                by_kind.sort_by_key(|&kind| (count(kind), kind));
                by_kind.dedup();
                let moved = by_kind.into_iter().any(|kind| self.move_kind(set, kind));
                if !moved {
                    break;
                }
            }
        }
    }

    /// Moves all heads of a kind to other sets; nothing where one of them finds no room.
    fn move_kind(&mut self, set: usize, kind: u32) -> bool {
        let of_kind = |&head: &usize| self.rules.nozzles[head] == kind;
        let heads: Members = self.members[set].iter().copied().filter(of_kind).collect();
        self.give_away(set, &heads)
    }

    /// Gives heads of a set to its neighbours; nothing where one of them finds no room, or the set would be
    /// left in more pieces.
    fn give_away(&mut self, set: usize, heads: &[usize]) -> bool {
        if heads.len() >= self.members[set].len() || !self.may_become(set, heads, &[]) {
            return false;
        }
        let before = (
            self.members.clone(),
            self.flows_lpm.clone(),
            self.sums.clone(),
        );
        for &head in heads {
            self.work.spend(LOOKS_PER_CHANGE * self.outlets.len());
            let Some(to) = self.taker(head, set) else {
                (self.members, self.flows_lpm, self.sums) = before;
                return false;
            };
            self.apply(set, &[head], &[]);
            self.apply(to, &[], &[head]);
        }
        true
    }

    /// Gives the smaller pieces of a parted station to its neighbours; those that find no room become
    /// stations of their own, where their flow is enough for a valve.
    fn unite(&mut self) {
        let Some(sights) = self.sights else { return };
        // Stations that are added are whole.
        for set in 0..self.members.len() {
            for piece in sights.pieces(&self.members[set]).into_iter().skip(1) {
                if self.give_away(set, &piece) {
                    continue;
                }
                let flow_lpm = flow_of(self.outlets, &piece);
                if flow_lpm >= self.rules.least_lpm {
                    self.apply(set, &piece, &[]);
                    self.sums
                        .push(middle(self.outlets, &piece) * piece.len() as f64);
                    self.flows_lpm.push(flow_lpm);
                    self.members.push(piece);
                }
            }
        }
    }

    fn middle(&self, set: usize) -> Point {
        self.sums[set] * (1.0 / self.members[set].len() as f64)
    }

    /// What a set's spread grows by when heads leave and others come \[m²\], from its sums only.
    fn change_m2(&self, set: usize, leaving: &[usize], coming: &[usize]) -> f64 {
        let n = self.members[set].len() as f64;
        let (mut count, mut sum, mut squares) = (n, self.sums[set], 0.0);
        // Squares about the old middle: the common part of both spreads falls out.
        let middle = self.middle(set);
        for (list, sign) in [(leaving, -1.0), (coming, 1.0)] {
            for &head in list {
                let off = self.outlets[head].at - middle;
                squares += sign * off.dot(off);
                sum = sum + self.outlets[head].at * sign;
                count += sign;
            }
        }
        if count < 0.5 {
            return squares;
        }
        let shift = sum * (1.0 / count) - middle;
        squares - count * shift.dot(shift)
    }

    fn apply(&mut self, set: usize, leaving: &[usize], coming: &[usize]) {
        self.members[set].retain(|head| !leaving.contains(head));
        self.members[set].extend(coming);
        for (list, sign) in [(leaving, -1.0), (coming, 1.0)] {
            for &head in list {
                self.flows_lpm[set] += sign * self.outlets[head].flow_lpm;
                self.sums[set] = self.sums[set] + self.outlets[head].at * sign;
            }
        }
    }

    fn near(&self, head: usize, but: usize) -> Vec<usize> {
        let at = self.outlets[head].at;
        self.work.spend(self.members.len());
        let mut nearest: Vec<(f64, usize)> = Vec::with_capacity(NEAR + 1);
        for set in (0..self.members.len()).filter(|&set| set != but) {
            let off = self.middle(set) - at;
            let square = off.dot(off);
            let place = nearest.partition_point(|&(other, _)| other <= square);
            if place < NEAR {
                nearest.insert(place, (square, set));
                nearest.truncate(NEAR);
            }
        }
        nearest.into_iter().map(|(_, set)| set).collect()
    }

    /// Moves single heads and changes pairs while that makes the stations more compact and equal.
    fn improve(&mut self) {
        let stations = self.members.len();
        if stations < 2 {
            return;
        }
        let total_m2: f64 = self
            .members
            .iter()
            .map(|m| spread_m2(self.outlets, m))
            .sum();
        let mean_lpm = self.flows_lpm.iter().sum::<f64>() / stations as f64;
        let price = BALANCE_WEIGHT * total_m2 / stations as f64 / (mean_lpm * mean_lpm);
        let least_gain = 1e-9 * total_m2.max(1.0);
        let mut home: Vec<(usize, usize)> = Vec::new();
        for (set, members) in self.members.iter().enumerate() {
            home.extend(members.iter().map(|&head| (head, set)));
        }
        home.sort_unstable();
        let mut home_of = vec![usize::MAX; self.outlets.len()];
        for &(head, set) in &home {
            home_of[head] = set;
        }
        for _ in 0..PASSES {
            let mut moved = false;
            for &(head, _) in &home {
                if self.work.is_spent() {
                    return;
                }
                let from = home_of[head];
                if self.members[from].len() < 2 {
                    continue;
                }
                let mut best: Option<(f64, usize, Option<usize>)> = None;
                for to in self.near(head, from) {
                    self.work.spend(LOOKS_PER_CHANGE * self.members[to].len());
                    let partners = std::iter::once(None)
                        .chain(self.members[to].iter().map(|&other| Some(other)));
                    for partner in partners {
                        let gain = self.gain(head, from, to, partner, mean_lpm, price);
                        let is_best = best.is_none_or(|(most, ..)| gain > most);
                        if gain > least_gain && is_best && self.may_change(head, from, to, partner)
                        {
                            best = Some((gain, to, partner));
                        }
                    }
                }
                if let Some((_, to, partner)) = best {
                    let coming: Vec<usize> = partner.into_iter().collect();
                    self.apply(from, &[head], &coming);
                    self.apply(to, &coming, &[head]);
                    home_of[head] = to;
                    for other in coming {
                        home_of[other] = from;
                    }
                    moved = true;
                }
            }
            if !moved {
                break;
            }
        }
    }

    fn may_change(&self, head: usize, from: usize, to: usize, partner: Option<usize>) -> bool {
        let single = partner.map(|other| [other]);
        let coming = single.as_ref().map_or(&[][..], |one| &one[..]);
        self.may_become(from, &[head], coming) && self.may_become(to, coming, &[head])
    }

    /// What a move, or a change of two heads, gains \[m²\]; negative infinity where it is too much
    /// for a station.
    fn gain(
        &self,
        head: usize,
        from: usize,
        to: usize,
        partner: Option<usize>,
        mean_lpm: f64,
        price: f64,
    ) -> f64 {
        let given = self.outlets[head].flow_lpm;
        let taken = partner.map_or(0.0, |other| self.outlets[other].flow_lpm);
        let after = (
            self.flows_lpm[from] - given + taken,
            self.flows_lpm[to] - taken + given,
        );
        if after.0.max(after.1) > self.safe_lpm * (1.0 + ROUNDING) {
            return f64::NEG_INFINITY;
        }
        let square = |lpm: f64| (lpm - mean_lpm) * (lpm - mean_lpm);
        let balance = square(self.flows_lpm[from]) + square(self.flows_lpm[to])
            - square(after.0)
            - square(after.1);
        let single = partner.map(|other| [other]);
        let coming = single.as_ref().map_or(&[][..], |one| &one[..]);
        price * balance
            - self.change_m2(from, &[head], coming)
            - self.change_m2(to, coming, &[head])
    }

    /// Gives the heads of the smallest station to its neighbours, where they all find room.
    fn dissolve_one(&mut self) -> bool {
        self.work.spend(self.outlets.len());
        if self.work.is_spent() {
            return false;
        }
        let Some(smallest) = (0..self.members.len()).min_by(|&a, &b| {
            self.flows_lpm[a]
                .total_cmp(&self.flows_lpm[b])
                .then(a.cmp(&b))
        }) else {
            return false;
        };
        let room_lpm: f64 = (0..self.members.len())
            .filter(|&set| set != smallest)
            .map(|set| self.safe_lpm - self.flows_lpm[set])
            .sum();
        let flow_lpm = self.flows_lpm[smallest];
        if flow_lpm > DISSOLVE_BELOW * self.safe_lpm || flow_lpm > room_lpm {
            return false;
        }
        let mut heads = self.members[smallest].clone();
        heads.sort_by(|&a, &b| {
            self.outlets[b]
                .flow_lpm
                .total_cmp(&self.outlets[a].flow_lpm)
                .then(a.cmp(&b))
        });
        let before = (
            self.members.clone(),
            self.flows_lpm.clone(),
            self.sums.clone(),
        );
        for head in heads {
            let room = self.taker(head, smallest);
            let Some(set) = room else {
                (self.members, self.flows_lpm, self.sums) = before;
                return false;
            };
            self.apply(set, &[], &[head]);
        }
        self.members.remove(smallest);
        self.flows_lpm.remove(smallest);
        self.sums.remove(smallest);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outlet(x: f64, y: f64, flow_lpm: f64) -> Outlet {
        Outlet {
            at: Point::new(x, y),
            flow_lpm,
            class: 0,
        }
    }

    #[test]
    fn two_lawns_far_apart_are_two_stations() {
        let heads: Vec<Outlet> = (0..8)
            .map(|k| {
                outlet(
                    f64::from(k % 4) * 4.0 + if k < 4 { 0.0 } else { 60.0 },
                    0.0,
                    5.0,
                )
            })
            .collect();
        assert_eq!(
            grouped(&heads, 25.0, &Work::default()),
            [vec![0, 1, 2, 3], vec![4, 5, 6, 7]]
        );
    }

    #[test]
    fn two_rows_with_a_house_between_are_cut_into_whole_stations() {
        // A long house 3 m deep with a row of heads on either side; one may pass at its east end.
        let house = |at: Point| at.x > -1.0 && at.x < 35.5 && at.y > 0.5 && at.y < 2.5;
        let clear =
            |a: Point, b: Point| (0..=40).all(|k| !house(a + (b - a) * (f64::from(k) / 40.0)));
        let heads: Vec<Outlet> = (0..20)
            .map(|k| outlet(4.0 * f64::from(k / 2), 3.0 * f64::from(k % 2), 4.0))
            .collect();
        let rules = Rules {
            is_clear: Some(&clear),
            least_lpm: 4.0,
            ..Rules::default()
        };
        let places: Vec<(usize, Point)> = heads.iter().map(|one| one.at).enumerate().collect();
        let sights = Sights::of(heads.len(), &places, rules).unwrap();
        let mut parted = 0;
        for safe_lpm in [12.0, 16.0, 20.0, 24.0, 30.0] {
            let plain = grouped(&heads, safe_lpm, &Work::default());
            parted += plain
                .iter()
                .filter(|set| sights.pieces(set).len() > 1)
                .count();
            let stations = grouped_by(&heads, safe_lpm, rules, &Work::default());
            for set in &stations {
                assert_eq!(sights.pieces(set).len(), 1, "{safe_lpm}: {set:?}");
                assert!(flow_of(&heads, set) <= safe_lpm);
            }
            let mut all = stations.concat();
            all.sort_unstable();
            assert!(all.into_iter().eq(0..heads.len()));
        }
        assert!(
            parted > 0,
            "the plain grouping parts none: nothing was tested"
        );
    }

    #[test]
    fn a_station_has_four_kinds_of_nozzles_where_its_neighbours_can_take_the_fifth() {
        let heads: Vec<Outlet> = (0..12).map(|k| outlet(f64::from(k), 0.0, 3.0)).collect();
        let nozzles = [0, 1, 2, 3, 4, 0, 0, 0, 0, 4, 4, 4];
        let rules = Rules {
            nozzles: &nozzles,
            ..Rules::default()
        };
        let most = |stations: &[Members]| {
            let counts = stations
                .iter()
                .map(|set| kinds(&nozzles, set.iter().copied()));
            counts.max().unwrap()
        };
        assert_eq!(most(&grouped(&heads, 21.0, &Work::default())), 5);
        assert_eq!(most(&grouped_by(&heads, 21.0, rules, &Work::default())), 4);
    }

    #[test]
    fn heads_that_pack_badly_get_more_stations_and_giants_stand_alone() {
        // Two of 13.5 fit into 34, three do not: five heads take three stations.
        let heads: Vec<Outlet> = (0..5).map(|k| outlet(f64::from(k), 0.0, 13.5)).collect();
        let stations = grouped(&heads, 34.0, &Work::default());
        assert_eq!(stations.len(), 3);
        let giants = [outlet(0.0, 0.0, 50.0), outlet(1.0, 0.0, 3.0)];
        assert_eq!(grouped(&giants, 34.0, &Work::default()), [vec![0], vec![1]]);
        assert!(grouped(&[], 34.0, &Work::default()).is_empty());
    }

    #[test]
    fn without_a_budget_every_head_still_has_a_station_within_the_safe_flow() {
        let heads: Vec<Outlet> = (0..500)
            .map(|k| outlet(f64::from(k % 25), f64::from(k / 25), 3.0 + f64::from(k % 4)))
            .collect();
        for looks in [0, 1_000, 100_000] {
            let work = Work::of(looks);
            let stations = grouped(&heads, 34.0, &work);
            assert!(work.is_coarse(), "{looks}");
            let mut found: Vec<usize> = stations.concat();
            found.sort_unstable();
            assert!(found.into_iter().eq(0..500), "{looks}");
            let flows = stations.iter().map(|members| flow_of(&heads, members));
            assert!(flows.fold(0.0, f64::max) <= 34.0, "{looks}");
        }
    }

    #[test]
    fn names_are_kept_in_the_order_of_their_first_heads() {
        let (stations, unnamed) = by_name(&[Some("B"), None, Some("A"), Some("B")]);
        assert_eq!(
            stations,
            [("B".to_owned(), vec![0, 3]), ("A".to_owned(), vec![2])]
        );
        assert_eq!(unnamed, [1]);
    }

    #[test]
    fn top_middle_and_toe() {
        assert_eq!(slope_thirds(&[9.0, 4.5, 0.0, 8.9], 1.0), [0, 1, 2, 0]);
        assert_eq!(slope_thirds(&[9.0, 8.5], 1.0), [0, 0]);
        assert!(slope_thirds(&[], 1.0).is_empty());
    }

    #[test]
    fn the_change_of_spread_is_what_it_says() {
        let heads: Vec<Outlet> = (0..7)
            .map(|k| outlet(f64::from(k * k % 5), f64::from(k * 3 % 7), 1.0))
            .collect();
        let work = Work::default();
        let mut sets = Sets::new(&heads, 9.0, &work, vec![vec![0, 1, 2, 3], vec![4, 5, 6]]);
        let before = spread_m2(&heads, &sets.members[0]);
        let change = sets.change_m2(0, &[1], &[5]);
        sets.apply(0, &[1], &[5]);
        assert!((spread_m2(&heads, &sets.members[0]) - before - change).abs() < 1e-9);
    }
}
