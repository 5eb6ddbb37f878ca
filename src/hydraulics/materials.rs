//! What has to be bought.

use super::laterals::Tree;
use crate::catalogue::{Hardware, Part, PipeSize};

/// A backflow device.
pub const BACKFLOW: &str = "backflow device";
/// The detail of metres bored under a building.
pub const UNDER_BUILDING: &str = "under a building";
/// The detail of metres in a sleeve off the parcel.
pub const OFF_PARCEL: &str = "off the parcel";

/// One line of a bill of materials.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// What kind of thing, e.g. `nozzle`.
    pub item: &'static str,
    /// Which of them, e.g. a nozzle's name or a pipe's size.
    pub detail: String,
    /// `each` or `m`.
    pub unit: &'static str,
    /// How many, or how long.
    pub quantity: f64,
    /// How many come in a box, or in a coil.
    pub per_box: u32,
    /// Boxes to order.
    pub boxes: u64,
    /// Cost of one, or of a metre, in the program's currency.
    pub unit_cost_cur: f64,
}

impl Line {
    fn new(item: &'static str, detail: String, quantity: f64, part: Part) -> Line {
        Line {
            item,
            detail,
            unit: "each",
            quantity,
            per_box: part.per_box,
            boxes: (quantity / f64::from(part.per_box) - 1e-9).ceil() as u64,
            unit_cost_cur: part.unit_cost_cur,
        }
    }

    /// Whether it has a price here; backflow devices are chosen and priced by licensed people.
    #[must_use]
    pub fn is_priced(&self) -> bool {
        self.item != BACKFLOW
    }

    /// Quantity × unit cost; 0 without a price.
    #[must_use]
    pub fn cost_cur(&self) -> f64 {
        self.quantity * self.unit_cost_cur
    }
}

/// Things of one scenario, as they are counted together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Count {
    nozzles: Vec<(String, u64, f64)>,
    /// Bodies that a family brings itself: its name, how many, and what one costs.
    own_bodies: Vec<(String, u64, f64)>,
    plain_bodies: u64,
    regulated_bodies: u64,
    adapters: u64,
    swing_pipes: u64,
    check_valves: u64,
    /// By index of the catalogue's pipes: metres of trench, and fittings.
    pipes: Vec<(f64, u64)>,
    /// By index of the catalogue's valves.
    valves: Vec<u64>,
    wire_m: f64,
    stations: u64,
    caps: u64,
    valve_boxes: u64,
    reducers: u64,
    backflows: u64,
    /// What, how long, and what a metre costs.
    borings: Vec<(&'static str, f64, f64)>,
}

impl Count {
    /// Counts one nozzle.
    pub fn nozzle(&mut self, name: &str, unit_cost_cur: f64) {
        match self.nozzles.iter_mut().find(|(known, ..)| known == name) {
            Some((_, count, _)) => *count += 1,
            None => self.nozzles.push((name.to_owned(), 1, unit_cost_cur)),
        }
    }

    /// Counts one body, with the swing pipe that joins it to its lateral.
    pub fn body(&mut self, regulated: bool) {
        if regulated {
            self.regulated_bodies += 1;
        } else {
            self.plain_bodies += 1;
        }
        self.swing_pipes += 1;
    }

    /// Counts one body that a family brings itself, with its swing pipe.
    pub fn own_body(&mut self, family: &str, unit_cost_cur: f64) {
        match self
            .own_bodies
            .iter_mut()
            .find(|(known, ..)| known == family)
        {
            Some((_, count, _)) => *count += 1,
            None => self.own_bodies.push((family.to_owned(), 1, unit_cost_cur)),
        }
        self.swing_pipes += 1;
    }

    /// Counts one adapter from an old body to a new nozzle.
    pub fn adapter(&mut self) {
        self.adapters += 1;
    }

    /// Counts one cap on a head that is given up.
    pub fn cap(&mut self) {
        self.caps += 1;
    }

    /// Counts one box for the valves of a place.
    pub fn valve_box(&mut self) {
        self.valve_boxes += 1;
    }

    /// Counts one pressure reducer behind a point of connection.
    pub fn reducer(&mut self) {
        self.reducers += 1;
    }

    /// Counts one backflow device, which licensed people choose, price and set.
    pub fn backflow(&mut self) {
        self.backflows += 1;
    }

    /// Counts metres that cannot be dug, and what one costs beside the pipe.
    pub fn boring(&mut self, what: &'static str, length_m: f64, cur_m: f64) {
        let known = self.borings.iter_mut().find(|(own, ..)| *own == what);
        match known {
            Some((_, sum_m, _)) => *sum_m += length_m,
            None => self.borings.push((what, length_m, cur_m)),
        }
    }

    /// Counts one check valve.
    pub fn check_valve(&mut self) {
        self.check_valves += 1;
    }

    /// Counts a tree of pipes: lengths by size, and a fitting where each pipe ends.
    pub fn pipes(&mut self, tree: &Tree, sizes: &[usize]) {
        for (node, &size) in sizes.iter().enumerate().skip(1) {
            self.pipe(tree.length_m(node), size);
        }
    }

    /// Counts one pipe of a size, by its index in the catalogue, and a fitting at its end.
    pub fn pipe(&mut self, length_m: f64, size: usize) {
        if self.pipes.len() <= size {
            self.pipes.resize(size + 1, (0.0, 0));
        }
        self.pipes[size].0 += length_m;
        self.pipes[size].1 += 1;
    }

    /// Adds what another count holds.
    pub fn add(&mut self, other: &Count) {
        let Count {
            nozzles,
            own_bodies,
            plain_bodies,
            regulated_bodies,
            adapters,
            swing_pipes,
            check_valves,
            pipes,
            valves,
            wire_m,
            stations,
            caps,
            valve_boxes,
            reducers,
            backflows,
            borings,
        } = other;
        for (name, count, unit_cost_cur) in nozzles {
            match self.nozzles.iter_mut().find(|(known, ..)| known == name) {
                Some((_, own, _)) => *own += count,
                None => self.nozzles.push((name.clone(), *count, *unit_cost_cur)),
            }
        }
        for (family, count, unit_cost_cur) in own_bodies {
            match self
                .own_bodies
                .iter_mut()
                .find(|(known, ..)| known == family)
            {
                Some((_, own, _)) => *own += count,
                None => self
                    .own_bodies
                    .push((family.clone(), *count, *unit_cost_cur)),
            }
        }
        self.plain_bodies += plain_bodies;
        self.regulated_bodies += regulated_bodies;
        self.adapters += adapters;
        self.swing_pipes += swing_pipes;
        self.check_valves += check_valves;
        if self.pipes.len() < pipes.len() {
            self.pipes.resize(pipes.len(), (0.0, 0));
        }
        for (own, (length_m, fittings)) in self.pipes.iter_mut().zip(pipes) {
            own.0 += length_m;
            own.1 += fittings;
        }
        if self.valves.len() < valves.len() {
            self.valves.resize(valves.len(), 0);
        }
        for (own, count) in self.valves.iter_mut().zip(valves) {
            *own += count;
        }
        self.wire_m += wire_m;
        self.stations += stations;
        self.caps += caps;
        self.valve_boxes += valve_boxes;
        self.reducers += reducers;
        self.backflows += backflows;
        for &(what, length_m, cur_m) in borings {
            self.boring(what, length_m, cur_m);
        }
    }

    /// Counts a valve that passes a flow, its wire and its station of the controller.
    pub fn valve(&mut self, flow_lpm: f64, wire_m: f64, hardware: &Hardware) {
        let size = hardware.valve_for(flow_lpm);
        let at = hardware.valves.iter().position(|valve| valve == size);
        self.valves.resize(hardware.valves.len(), 0);
        if let Some(at) = at {
            self.valves[at] += 1;
        }
        self.wire_m += wire_m;
        self.stations += 1;
    }

    /// The bill, in a fixed order; nozzles by name. What is not needed has no line.
    #[must_use]
    pub fn lines(&self, hardware: &Hardware) -> Vec<Line> {
        let mut nozzles = self.nozzles.clone();
        nozzles.sort_by(|a, b| a.0.cmp(&b.0));
        let mut lines: Vec<Line> = nozzles
            .into_iter()
            .map(|(name, count, unit_cost_cur)| {
                let part = Part {
                    per_box: hardware.nozzles_per_box,
                    unit_cost_cur,
                };
                Line::new("nozzle", name, count as f64, part)
            })
            .collect();
        let mut own_bodies = self.own_bodies.clone();
        own_bodies.sort_by(|a, b| a.0.cmp(&b.0));
        for (family, count, unit_cost_cur) in own_bodies {
            let part = Part {
                per_box: hardware.plain_body.per_box,
                unit_cost_cur,
            };
            lines.push(Line::new("body", family, count as f64, part));
        }
        let plain = String::new;
        for (item, count, part) in [
            ("body", self.plain_bodies, hardware.plain_body),
            (
                "regulated body",
                self.regulated_bodies,
                hardware.regulated_body,
            ),
            ("adapter", self.adapters, hardware.adapter),
            ("cap", self.caps, hardware.cap),
            ("check valve", self.check_valves, hardware.check_valve),
            ("swing pipe", self.swing_pipes, hardware.swing_pipe),
        ] {
            lines.push(Line::new(item, plain(), count as f64, part));
        }
        for (pipe, (length_m, _)) in hardware.pipes.iter().zip(&self.pipes) {
            lines.push(Line {
                item: "pipe",
                detail: size_text(pipe.nominal_mm),
                unit: "m",
                quantity: *length_m,
                per_box: pipe.coil_m as u32,
                boxes: (length_m / pipe.coil_m - 1e-9).ceil() as u64,
                unit_cost_cur: pipe.unit_cost_cur,
            });
        }
        for (pipe, (_, fittings)) in hardware.pipes.iter().zip(&self.pipes) {
            let size = size_text(pipe.nominal_mm);
            lines.push(Line::new(
                "fitting",
                size,
                *fittings as f64,
                fitting(pipe, hardware),
            ));
        }
        for (valve, count) in hardware.valves.iter().zip(&self.valves) {
            let part = Part {
                per_box: 1,
                unit_cost_cur: valve.unit_cost_cur,
            };
            lines.push(Line::new(
                "valve",
                size_text(valve.nominal_mm),
                *count as f64,
                part,
            ));
        }
        lines.push(Line::new(
            "valve box",
            plain(),
            self.valve_boxes as f64,
            hardware.valve_box,
        ));
        lines.push(Line::new(
            "pressure reducer",
            plain(),
            self.reducers as f64,
            hardware.pressure_reducer,
        ));
        let mut borings = self.borings.clone();
        borings.sort_by(|a, b| b.0.cmp(a.0));
        lines.extend(borings.into_iter().map(|(what, length_m, cur_m)| Line {
            unit: "m",
            ..Line::new("boring", what.to_owned(), length_m, per_metre(cur_m))
        }));
        lines.push(Line {
            unit: "m",
            ..Line::new("wire", plain(), self.wire_m, hardware.wire_m)
        });
        let stations = self.stations as f64;
        lines.push(Line::new(
            "controller station",
            plain(),
            stations,
            hardware.controller_station,
        ));
        lines.push(Line::new(
            BACKFLOW,
            "by licensed practice".to_owned(),
            self.backflows as f64,
            per_metre(0.0),
        ));
        lines.retain(|line| line.quantity > 0.0);
        lines
    }
}

/// The things of one scenario of a parcel by the turf areas that need them, so that the complete bill
/// of any of its turf areas can be drawn up: what several share is in the bill of each of them, and
/// once in the bill of them all.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Counts(Vec<(Vec<usize>, Count)>);

impl Counts {
    /// The count of what is needed as soon as one of these turf areas is changed; `areas` ascending.
    pub fn of(&mut self, areas: &[usize]) -> &mut Count {
        let known = self.0.iter().position(|(own, _)| own == areas);
        let at = known.unwrap_or_else(|| {
            self.0.push((areas.to_vec(), Count::default()));
            self.0.len() - 1
        });
        &mut self.0[at].1
    }

    /// Whether nothing is needed.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Every count with the turf areas that need it.
    pub fn pieces(&self) -> impl Iterator<Item = (&[usize], &Count)> {
        self.0
            .iter()
            .map(|(areas, count)| (areas.as_slice(), count))
    }

    /// What is needed where the turf areas for which `is_changed` holds are changed.
    #[must_use]
    pub fn total(&self, is_changed: impl Fn(usize) -> bool) -> Count {
        let mut total = Count::default();
        for (areas, count) in &self.0 {
            if areas.iter().any(|&area| is_changed(area)) {
                total.add(count);
            }
        }
        total
    }
}

/// What is bought by the piece or metre, in no box.
fn per_metre(unit_cost_cur: f64) -> Part {
    Part {
        per_box: 1,
        unit_cost_cur,
    }
}

/// Fittings cost in proportion to the pipe's size; the catalogue gives that of its narrowest.
fn fitting(pipe: &PipeSize, hardware: &Hardware) -> Part {
    let narrowest_mm = hardware.pipes[0].nominal_mm; // a catalogue has at least one pipe
    Part {
        unit_cost_cur: hardware.fitting.unit_cost_cur * pipe.nominal_mm / narrowest_mm,
        ..hardware.fitting
    }
}

fn size_text(nominal_mm: f64) -> String {
    format!("{nominal_mm} mm")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;
    use crate::shape::Point;

    #[test]
    fn a_bill_has_only_what_is_needed_in_whole_boxes() {
        let hardware = Catalogue::generic().hardware;
        let mut count = Count::default();
        for k in 0..31 {
            count.nozzle(if k < 30 { "slow-40" } else { "mid-30" }, 7.0);
            count.body(true);
        }
        let tree = Tree {
            nodes: (0..32)
                .map(|k| Point::new(4.0 * f64::from(k), 0.0))
                .collect(),
            feeds: (0..32_usize).map(|k| k.saturating_sub(1)).collect(),
            heads: (1..32).collect(),
            crossings: 0,
        };
        let sizes: Vec<usize> = (0..32).map(|k| usize::from(k < 2)).collect();
        count.pipes(&tree, &sizes);
        count.valve(40.0, 12.5, &hardware);
        let lines = count.lines(&hardware);
        let text: Vec<String> = lines
            .iter()
            .map(|line| {
                let Line {
                    item,
                    detail,
                    quantity,
                    boxes,
                    ..
                } = line;
                format!("{item}/{detail}/{quantity}/{boxes}")
            })
            .collect();
        assert_eq!(
            text,
            [
                "nozzle/mid-30/1/1",
                "nozzle/slow-40/30/1",
                "regulated body//31/2",
                "swing pipe//31/1",
                "pipe/25 mm/120/2",
                "pipe/32 mm/4/1",
                "fitting/25 mm/30/3",
                "fitting/32 mm/1/1",
                "valve/25 mm/1/1",
                "wire//12.5/1",
                "controller station//1/1",
            ]
        );
        let cost: f64 = lines.iter().map(Line::cost_cur).sum();
        let expected = 31.0 * 7.0
            + 31.0 * (9.0 + 1.5)
            + 120.0
            + 4.0 * 1.5
            + 30.0 * 1.5
            + 1.5 * 32.0 / 25.0
            + 25.0
            + 5.0
            + 25.0;
        assert!((cost - expected).abs() < 1e-9, "{cost} {expected}");
    }

    #[test]
    fn a_bill_of_some_turf_areas_holds_what_they_share_once() {
        let hardware = Catalogue::generic().hardware;
        let mut counts = Counts::default();
        counts.of(&[0]).nozzle("slow-40", 7.0);
        counts.of(&[1]).nozzle("slow-40", 7.0);
        counts.of(&[1]).nozzle("mid-30", 7.0);
        counts.of(&[0, 1]).pipe(10.0, 1);
        counts.of(&[2]).pipe(5.0, 0);
        let bill = |is_changed: fn(usize) -> bool| -> Vec<String> {
            let lines = counts.total(is_changed).lines(&hardware);
            lines
                .iter()
                .map(|line| format!("{} {} {}", line.item, line.detail, line.quantity))
                .collect()
        };
        assert_eq!(
            bill(|area| area == 0),
            ["nozzle slow-40 1", "pipe 32 mm 10", "fitting 32 mm 1"]
        );
        assert_eq!(
            bill(|area| area < 2),
            [
                "nozzle mid-30 1",
                "nozzle slow-40 2",
                "pipe 32 mm 10",
                "fitting 32 mm 1"
            ]
        );
        assert_eq!(bill(|area| area == 2), ["pipe 25 mm 5", "fitting 25 mm 1"]);
        assert!(bill(|_| false).is_empty());
    }

    #[test]
    fn what_is_bored_capped_and_left_to_others_has_its_line() {
        let hardware = Catalogue::generic().hardware;
        let mut count = Count::default();
        for (what, length_m) in [
            (UNDER_BUILDING, 2.0),
            (OFF_PARCEL, 3.0),
            (UNDER_BUILDING, 0.5),
        ] {
            let cur_m = if what == OFF_PARCEL { 40.0 } else { 100.0 };
            count.boring(what, length_m, cur_m);
        }
        count.cap();
        count.valve_box();
        count.reducer();
        count.backflow();
        let mut twice = count.clone();
        twice.add(&count);
        for (count, times) in [(count, 1.0), (twice, 2.0)] {
            let lines = count.lines(&hardware);
            let found: Vec<(&str, &str, f64)> = lines
                .iter()
                .map(|line| (line.item, line.detail.as_str(), line.quantity / times))
                .collect();
            assert_eq!(
                found,
                [
                    ("cap", "", 1.0),
                    ("valve box", "", 1.0),
                    ("pressure reducer", "", 1.0),
                    ("boring", UNDER_BUILDING, 2.5),
                    ("boring", OFF_PARCEL, 3.0),
                    (BACKFLOW, "by licensed practice", 1.0),
                ]
            );
            let priced: Vec<bool> = lines.iter().map(Line::is_priced).collect();
            assert_eq!(priced, [true, true, true, true, true, false]);
            let cost: f64 = lines.iter().map(Line::cost_cur).sum();
            let parts = [hardware.cap, hardware.valve_box, hardware.pressure_reducer];
            let parts: f64 = parts.iter().map(|part| part.unit_cost_cur).sum();
            assert!(
                (cost - times * (parts + 250.0 + 120.0)).abs() < 1e-9,
                "{cost}"
            );
        }
    }

    #[test]
    fn a_swap_needs_nozzles_and_adapters_only() {
        let mut count = Count::default();
        count.nozzle("slow-40", 7.0);
        count.adapter();
        let hardware = Catalogue::generic().hardware;
        let items: Vec<&str> = count
            .lines(&hardware)
            .iter()
            .map(|line| line.item)
            .collect();
        assert_eq!(items, ["nozzle", "adapter"]);
        assert!(Count::default().lines(&hardware).is_empty());
    }
}
