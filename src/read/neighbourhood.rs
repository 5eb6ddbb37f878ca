//! The layers of a run joined to parcels, one after the other, in input order.
//!
//! With a parcel layer there is one reading for each of its features. Without one, turf is
//! grouped by its `parcel_id`, and a lawn without it is a parcel by itself. A text sequence
//! without a parcel layer and heads streams: then the lawns of a parcel must stand together.

use std::collections::BTreeMap;
#[cfg(feature = "arrow")]
use std::io::Read;

#[cfg(feature = "arrow")]
use super::bundles::Bundles;
use super::feature::Feature;
use super::fields::{Fields, Least};
use super::ids::{MatchIds, RepeatedIds};
use super::join::{Plan, fetch_run, group_id};
use super::land::{LandField, LandSources};
use super::meter::MeterField;
use super::obstacles::ObstacleField;
use super::repair::{repair, united};
use super::source::Source;
use super::stream::Streamed;
use super::turf::{Joined, TurfIds, gather};
use super::usage::{Clues, LayerUse};
use crate::issue::{Code, Issue};
use crate::site::{Attributes, LonLatPolygon, Parcel};

/// What a run reads.
#[derive(Debug, Clone)]
pub struct Inputs {
    /// The parcel layer.
    pub parcels: Option<Source>,
    /// The turf layer.
    pub turf: Source,
    /// Existing heads.
    pub heads: Option<Source>,
    /// What stands in the way of water.
    pub obstacles: Option<Source>,
    /// Meters, points of connection, valves, controllers and pumps.
    pub supply: Option<Source>,
    /// The column that holds the parcel's id, in the parcel layer, or in the turf layer when
    /// there is no parcel layer.
    pub id_field: Option<String>,
    /// A condition on the parcel layer, or on the turf layer when there is no parcel layer.
    pub where_clause: Option<String>,
    /// A box on the same layer: west, south, east, north \[degrees\].
    pub bbox: Option<[f64; 4]>,
    /// What happens to parcels that share an id.
    pub repeated_ids: RepeatedIds,
    /// How ids of one layer are matched with those of another.
    pub match_ids: MatchIds,
}

impl Inputs {
    /// A turf layer alone.
    #[must_use]
    pub fn of_turf(turf: Source) -> Inputs {
        Inputs {
            parcels: None,
            turf,
            heads: None,
            obstacles: None,
            supply: None,
            id_field: None,
            where_clause: None,
            bbox: None,
            repeated_ids: RepeatedIds::default(),
            match_ids: MatchIds::default(),
        }
    }
}

/// One parcel of the input, usable or not.
#[derive(Debug, Clone, PartialEq)]
#[allow(
    clippy::large_enum_variant,
    reason = "readings pass one at a time; failures are few"
)]
pub enum Reading {
    /// A parcel to plan; its turf may be empty.
    Parcel(Box<Parcel>),
    /// A parcel, or a record, that cannot be planned.
    Failed {
        /// 0-based position in the run.
        index: u64,
        /// The parcel's id, or the number of the feature.
        id: String,
        /// Why.
        issue: Issue,
        /// Its attributes, as far as they were read.
        attributes: Attributes,
        /// Its outline, as far as it is usable; may be empty.
        outline: Vec<LonLatPolygon>,
    },
}

/// How many rows went where. Turf: `turf = turf_joined + turf_orphaned + turf_left_out`, once the
/// iteration has ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReadCounts {
    /// Readings made so far.
    pub parcels: u64,
    /// Of those, failed.
    pub parcels_failed: u64,
    /// Rows of the turf layer.
    pub turf: u64,
    /// Turf rows that belong to a parcel of the run, usable or not.
    pub turf_joined: u64,
    /// Turf rows that belong to no parcel.
    pub turf_orphaned: u64,
    /// Turf rows that the filters left out, by themselves or with their parcel.
    pub turf_left_out: u64,
    /// Rows of the parcel layer that the filters left out.
    pub parcels_left_out: u64,
    /// Rows of the layer of heads.
    pub heads: u64,
    /// Heads handed over with their parcel so far.
    pub heads_joined: u64,
    /// Heads left out: unusable, too far from any turf area, or of a parcel or turf area that does not
    /// exist.
    pub heads_orphaned: u64,
    /// Heads that went to the turf area that they name though they stand more than 1 m off it.
    pub heads_displaced: u64,
    /// Rows of the layer of obstacles.
    pub obstacles: u64,
    /// Obstacles that cannot be used.
    pub obstacles_unusable: u64,
}

#[cfg(feature = "arrow")]
impl ReadCounts {
    /// Adds the rows of one more bundle. A row counts as often as it stands in one.
    fn add_rows(&mut self, bundle: &ReadCounts) {
        self.turf += bundle.turf;
        self.turf_joined += bundle.turf_joined;
        self.turf_orphaned += bundle.turf_orphaned;
        self.turf_left_out += bundle.turf_left_out;
        self.parcels_left_out += bundle.parcels_left_out;
        self.heads += bundle.heads;
        self.heads_orphaned += bundle.heads_orphaned;
        self.heads_displaced += bundle.heads_displaced;
        self.obstacles += bundle.obstacles;
        self.obstacles_unusable += bundle.obstacles_unusable;
    }
}

/// The parcels of a run, as an iterator. The first error ends it.
pub struct Neighbourhood {
    fields: Fields,
    /// Where the next small neighbourhood comes from, when this one is dealt with.
    #[cfg(feature = "arrow")]
    bundles: Option<Bundles>,
    meter: Option<MeterField>,
    /// Whether no filter leaves parcels out.
    is_whole: bool,
    land: LandField,
    turf_ids: TurfIds,
    orphans: Vec<Issue>,
    counts: ReadCounts,
    expected: Option<u64>,
    ended: bool,
    /// Rows of turf that belong to a parcel and cannot be used, by why.
    turf_unusable: BTreeMap<Code, u64>,
    usage: Vec<LayerUse>,
}

impl Neighbourhood {
    /// Opens the layers and joins them. All but a stream are read through once here, so that
    /// what ends a run ends it before the first parcel.
    ///
    /// # Errors
    /// The fatal issues of reading: `IN01` to `IN05`, `IN08` to `IN10`, `IN12`, `CR01`, `CR02`,
    /// `CR04`; `RU01` if more than one input is stdin.
    pub fn open(inputs: &Inputs) -> Result<Neighbourhood, Issue> {
        let others = [
            &inputs.parcels,
            &inputs.heads,
            &inputs.obstacles,
            &inputs.supply,
        ];
        let sources = others.into_iter().flatten().chain([&inputs.turf]);
        if sources.filter(|source| source.is_stdin()).count() > 1 {
            return Err(Issue::new(Code::RU01, "only one input may be `-`"));
        }
        let (fields, found) = Fields::open(inputs, Least::OneFeature)?;
        Ok(Neighbourhood {
            fields,
            #[cfg(feature = "arrow")]
            bundles: None,
            meter: None,
            is_whole: inputs.where_clause.is_none() && inputs.bbox.is_none(),
            land: LandField::default(),
            turf_ids: TurfIds::default(),
            orphans: found.orphans,
            counts: found.counts,
            expected: found.expected,
            ended: false,
            turf_unusable: BTreeMap::new(),
            usage: Vec::new(),
        })
    }

    /// The parcels of a stream of Arrow record batches, each with the rows that stand with it. What the
    /// stream is made of is known now; its rows are read as they are needed. Ids are matched exactly,
    /// and parcels that share one are numbered in the order of the stream: what other parcels are
    /// called is not known.
    ///
    /// # Errors
    /// `IN01`, `IN08`, `IN13`, `IN14`, `CR02` and `CR04` for what stands in front of the rows.
    #[cfg(feature = "arrow")]
    pub fn of_arrow(
        stream: impl Read + Send + 'static,
        id_field: Option<&str>,
        repeated_ids: RepeatedIds,
    ) -> Result<Neighbourhood, Issue> {
        let bundles = Bundles::open(Box::new(stream), id_field, repeated_ids)?;
        let orphans = bundles.notes();
        Ok(Neighbourhood {
            fields: Fields::none(),
            bundles: Some(bundles),
            meter: None,
            is_whole: false,
            land: LandField::default(),
            turf_ids: TurfIds::default(),
            orphans,
            counts: ReadCounts::default(),
            expected: None,
            ended: false,
            turf_unusable: BTreeMap::new(),
            usage: Vec::new(),
        })
    }

    /// The same parcels, each lawn with what the layers of the land say of it.
    ///
    /// # Errors
    /// The fatal issues of reading, and `CL08`, `SO03`, `EL02`, `EL03` for layers that cannot be
    /// used.
    pub fn over(mut self, land: &LandSources) -> Result<Neighbourhood, Issue> {
        self.land = LandField::open(land, &mut self.orphans)?;
        Ok(self)
    }

    /// The same parcels, each with what its water meter counted. Gives the table's text and name.
    ///
    /// # Errors
    /// `IN07` and `IN08` for a table that cannot be read.
    pub fn metered(mut self, text: &str, file: &str) -> Result<Neighbourhood, Issue> {
        let mut field = MeterField::parse(text, file)?;
        if let Plan::Parcels { roll, .. } = &mut self.fields.plan {
            self.orphans.extend(field.match_ids(roll)?);
            self.orphans.extend(field.strangers());
        }
        self.meter = Some(field);
        Ok(self)
    }

    /// Rows of turf, heads and obstacles that found no parcel or cannot be used, in input order.
    /// Complete once the iteration has ended.
    #[must_use]
    pub fn orphans(&self) -> &[Issue] {
        &self.orphans
    }

    /// What became of the rows of each layer, once the iteration has ended; empty before, and for record
    /// batches, whose rows stand with each parcel that needs them.
    #[must_use]
    pub fn usage(&self) -> &[LayerUse] {
        &self.usage
    }

    /// Counts how layers were used, and says where little of one was.
    fn end_usage(&mut self) {
        let mut found: Vec<(LayerUse, Clues)> = Vec::new();
        let mut turf = LayerUse::of("turf", self.counts.turf);
        let unusable: u64 = self.turf_unusable.values().sum();
        turf.used = self.counts.turf_joined.saturating_sub(unusable);
        turf.left_out = self.counts.turf_left_out;
        turf.unused = self.turf_unusable.clone();
        let mut clues = Clues {
            file: self.turf_name(),
            ..Clues::default()
        };
        let mut extent = None;
        match &self.fields.plan {
            Plan::Parcels {
                roll,
                turf: layer,
                unused,
                id_columns,
                ..
            } => {
                for (code, rows) in unused {
                    turf.add_unused(*code, *rows);
                }
                extent = roll.extent();
                clues = layer.clues();
                clues.id_columns.clone_from(id_columns);
            }
            Plan::Groups { turf: layer, .. } => extent = layer.extent(),
            Plan::Stream(stream) => extent = stream.extent(),
            Plan::Nothing => {}
        }
        found.push((turf, clues));
        let joined = self.counts.heads_joined;
        found.extend(self.fields.heads.iter().map(|field| field.usage(joined)));
        found.extend(self.fields.obstacles.iter().map(ObstacleField::usage));
        let is_whole = self.is_whole;
        found.extend(self.fields.supply.iter().map(|field| field.usage(is_whole)));
        found.extend(self.land.usage());
        found.extend(self.meter.iter().map(MeterField::usage));
        for (layer, clues) in found {
            // Of a part of the parcels nothing can be said of what lies around them.
            if is_whole || layer.left_out > 0 {
                self.orphans.extend(layer.issue(&clues, extent));
            }
            self.usage.push(layer);
        }
    }

    /// How many rows went where, so far.
    #[must_use]
    pub fn counts(&self) -> ReadCounts {
        self.counts
    }

    /// The columns that parcels can have: those with a value on any feature of the parcel layer,
    /// or of the turf layer when there is none. `None` for a text sequence, which was not read yet;
    /// record batches name theirs in front.
    #[must_use]
    pub fn columns(&self) -> Option<Vec<&str>> {
        #[cfg(feature = "arrow")]
        if let Some(bundles) = &self.bundles {
            return Some(bundles.columns());
        }
        match &self.fields.plan {
            Plan::Parcels { roll, .. } => Some(roll.columns().collect()),
            Plan::Groups { turf, .. } => Some(turf.columns().collect()),
            Plan::Stream(_) | Plan::Nothing => None,
        }
    }

    /// How many readings there will be; `None` for a stream.
    #[must_use]
    pub fn expected(&self) -> Option<u64> {
        self.expected
    }

    #[cfg(feature = "arrow")]
    fn read_next(&mut self) -> Result<Option<Reading>, Issue> {
        loop {
            if let Some(reading) = self.read_joined()? {
                return Ok(Some(reading));
            }
            let Some(bundles) = &mut self.bundles else {
                return Ok(None);
            };
            let Some(bundle) = bundles.next()? else {
                return Ok(None);
            };
            let (fields, found) = bundle.open()?;
            self.fields = fields;
            self.orphans.extend(found.orphans);
            self.counts.add_rows(&found.counts);
        }
    }

    #[cfg(not(feature = "arrow"))]
    fn read_next(&mut self) -> Result<Option<Reading>, Issue> {
        self.read_joined()
    }

    /// The next reading of the layers that are joined.
    fn read_joined(&mut self) -> Result<Option<Reading>, Issue> {
        match &mut self.fields.plan {
            Plan::Parcels {
                roll,
                turf,
                links,
                entry,
                link,
                ..
            } => {
                while *entry < roll.len() && !roll.is_selected(*entry) {
                    *entry += 1;
                }
                if *entry == roll.len() {
                    return Ok(None);
                }
                while links.get(*link).is_some_and(|found| found.parcel < *entry) {
                    *link += 1;
                }
                let at = *entry;
                let feature = roll.fetch(at)?;
                let lawns = fetch_run(turf, links, link, at)?;
                *entry += 1;
                self.parcel(at, &feature, &lawns).map(Some)
            }
            Plan::Groups {
                turf,
                column,
                links,
                link,
                renamed,
            } => {
                let Some(first) = links.get(*link).copied() else {
                    return Ok(None);
                };
                let lawns = fetch_run(turf, links, link, first.parcel)?;
                let id = match renamed.get(&first.parcel) {
                    Some(name) => Some(name.clone()),
                    None => lawns.first().map(|(first, _)| group_id(first, column)),
                };
                self.group(id.unwrap_or_default(), &lawns).map(Some)
            }
            Plan::Nothing => Ok(None),
            Plan::Stream(stream) => match stream.next(&mut self.counts)? {
                None => Ok(None),
                Some(Streamed::Group(id, lawns)) => self.group(id, &lawns).map(Some),
                Some(Streamed::Late(id, feature)) => {
                    let found = format!("parcel `{id}` was closed before; sort by parcel_id");
                    let issue = Issue::new(Code::IN06, found)
                        .in_file(self.turf_name())
                        .at_feature(feature.number)
                        .of_parcel(id.as_str());
                    Ok(Some(self.failed(id, issue, feature.attributes, Vec::new())))
                }
            },
        }
    }

    fn turf_name(&self) -> String {
        match &self.fields.plan {
            Plan::Parcels { turf, .. } | Plan::Groups { turf, .. } => turf.name().to_owned(),
            Plan::Stream(stream) => stream.name().to_owned(),
            Plan::Nothing => String::new(),
        }
    }

    /// A reading of a feature of the parcel layer, and of those that are joined to it.
    fn parcel(
        &mut self,
        entry: u32,
        feature: &Feature,
        lawns: &[(Feature, Joined)],
    ) -> Result<Reading, Issue> {
        let Plan::Parcels { roll, .. } = &mut self.fields.plan else {
            return Err(Issue::new(Code::RU02, "a parcel without a parcel layer"));
        };
        let parts = roll.parts(entry, feature)?;
        let id = roll.id_of(entry, feature);
        let place = |issue: Issue, feature: &Feature| {
            issue
                .in_file(roll.name())
                .at_feature(feature.number)
                .of_parcel(id.as_str())
        };
        let said = parts.issues.into_iter();
        let mut issues: Vec<Issue> = said.map(|issue| place(issue, feature)).collect();
        let (mut outline, mut failure) = (Vec::new(), None);
        for feature in std::iter::once(feature).chain(&parts.features) {
            let notes = feature.notes.iter().cloned();
            issues.extend(notes.map(|issue| place(issue, feature)));
            match feature.areas() {
                Err(issue) if failure.is_none() => failure = Some(place(issue, feature)),
                Err(_) => {}
                Ok(areas) => {
                    for area in areas {
                        match area.as_ref().map_err(Clone::clone).and_then(repair) {
                            Ok(repaired) => {
                                let notes = repaired.notes.into_iter();
                                issues.extend(notes.map(|issue| place(issue, feature)));
                                outline.extend(repaired.parts);
                            }
                            Err(issue) if failure.is_none() => {
                                failure = Some(place(issue, feature));
                            }
                            Err(_) => {}
                        }
                    }
                }
            }
        }
        if !parts.features.is_empty() {
            outline = united(&outline);
        }
        let attributes = feature.attributes.clone();
        match failure {
            Some(issue) => Ok(self.failed(id, issue, attributes, outline)),
            None => self.assemble(id, attributes, outline, lawns, issues),
        }
    }

    /// A reading of lawns that are a parcel by their id, or by being alone.
    fn group(&mut self, id: String, lawns: &[(Feature, Joined)]) -> Result<Reading, Issue> {
        let attributes = lawns.first().map(|(first, _)| first.attributes.clone());
        self.assemble(
            id,
            attributes.unwrap_or_default(),
            Vec::new(),
            lawns,
            Vec::new(),
        )
    }

    fn assemble(
        &mut self,
        id: String,
        attributes: Attributes,
        outline: Vec<LonLatPolygon>,
        lawns: &[(Feature, Joined)],
        mut issues: Vec<Issue>,
    ) -> Result<Reading, Issue> {
        let file = self.turf_name();
        let found = gather(lawns, &id, &outline, &file, &mut self.turf_ids);
        issues.extend(found.issues);
        for code in found.unusable {
            *self.turf_unusable.entry(code).or_default() += 1;
        }
        if let Some(issue) = found.failure.filter(|_| found.areas.is_empty()) {
            return Ok(self.failed(id, issue, attributes, outline));
        }
        let heads = match &mut self.fields.heads {
            Some(heads) => heads.on(&found.keys, &id, &mut issues)?,
            None => Vec::new(),
        };
        self.counts.heads_joined += heads.len() as u64;
        let mut turf = found.areas;
        for area in &mut turf {
            self.land
                .settle(area, (id.as_str(), &attributes), &mut issues)?;
        }
        let obstacles = match &mut self.fields.obstacles {
            Some(field) => {
                field.near(outline.iter().chain(turf.iter().map(|area| &area.polygon)))?
            }
            None => Vec::new(),
        };
        let supply = match &mut self.fields.supply {
            Some(field) => {
                let lawns = turf.iter().map(|area| &area.polygon);
                field.of(&id, &outline, lawns, &mut issues)?
            }
            None => Vec::new(),
        };
        let meter = match &mut self.meter {
            Some(field) => field.of(&id, &mut issues),
            None => Vec::new(),
        };
        let relief = self.land.relief(&turf, &heads, &supply);
        let index = self.counts.parcels;
        self.counts.parcels += 1;
        let parcel = Parcel {
            index,
            id,
            outline,
            attributes,
            turf,
            obstacles,
            heads,
            supply,
            relief,
            meter,
            issues,
        };
        Ok(Reading::Parcel(Box::new(parcel)))
    }

    fn failed(
        &mut self,
        id: String,
        issue: Issue,
        attributes: Attributes,
        outline: Vec<LonLatPolygon>,
    ) -> Reading {
        if let Some(field) = &mut self.fields.supply {
            // Its points are not planned with, but they belong to somebody.
            field.claim(&id, &outline, std::iter::empty());
        }
        let index = self.counts.parcels;
        self.counts.parcels += 1;
        self.counts.parcels_failed += 1;
        Reading::Failed {
            index,
            id,
            issue,
            attributes,
            outline,
        }
    }
}

impl Iterator for Neighbourhood {
    type Item = Result<Reading, Issue>;

    fn next(&mut self) -> Option<Result<Reading, Issue>> {
        if self.ended {
            return None;
        }
        let next = self.read_next();
        self.ended = !matches!(next, Ok(Some(_)));
        if let (Ok(None), Plan::Stream(stream)) = (&next, &self.fields.plan) {
            self.orphans.extend(stream.missing_ids());
        }
        if matches!(next, Ok(None)) && self.is_whole {
            self.orphans.extend(
                self.fields
                    .supply
                    .as_ref()
                    .and_then(|field| field.strangers()),
            );
            // With a parcel layer the strangers were told when it was opened.
            if let (Some(field), false) = (
                &self.meter,
                matches!(self.fields.plan, Plan::Parcels { .. }),
            ) {
                self.orphans.extend(field.strangers());
            }
        }
        #[cfg(feature = "arrow")]
        let is_bundled = self.bundles.is_some();
        #[cfg(not(feature = "arrow"))]
        let is_bundled = false;
        if matches!(next, Ok(None)) && !is_bundled {
            self.end_usage();
        }
        next.transpose()
    }
}
