//! The layers of a run joined to parcels, one after the other, in input order.
//!
//! With a parcel layer there is one reading for each of its features. Without one, turf is
//! grouped by its `parcel_id`, and a lawn without it is a parcel by itself. A text sequence
//! without a parcel layer and heads streams: then the lawns of a parcel must stand together.

use super::feature::Feature;
use super::filter::{Filter, check_bbox};
use super::heads::HeadField;
use super::join::{LINK_COLUMN, Opening, Plan, fetch_run, group_id};
use super::land::{LandField, LandSources};
use super::meter::MeterField;
use super::obstacles::ObstacleField;
use super::parcels::{Roll, parcel_id};
use super::repair::repair;
use super::source::Source;
use super::stream::Streamed;
use super::supply::SupplyField;
use super::turf::{Joined, TurfIds, gather};
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
    /// A box on the same layer: west, south, east, north [degrees].
    pub bbox: Option<[f64; 4]>,
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
    /// Heads on no turf area, or unusable.
    pub heads_orphaned: u64,
    /// Rows of the layer of obstacles.
    pub obstacles: u64,
    /// Obstacles that cannot be used.
    pub obstacles_unusable: u64,
}

/// The parcels of a run, as an iterator. The first error ends it.
pub struct Neighbourhood {
    plan: Plan,
    heads: Option<HeadField>,
    obstacles: Option<ObstacleField>,
    supply: Option<SupplyField>,
    meter: Option<MeterField>,
    /// Whether no filter leaves parcels out.
    is_whole: bool,
    land: LandField,
    turf_ids: TurfIds,
    orphans: Vec<Issue>,
    counts: ReadCounts,
    expected: Option<u64>,
    ended: bool,
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
        let bbox = inputs.bbox.map(check_bbox).transpose()?;
        let filter = Filter {
            clause: inputs.where_clause.clone(),
            bbox,
        };
        let mut orphans = Vec::new();
        let mut counts = ReadCounts::default();
        let mut heads = match &inputs.heads {
            Some(source) => Some(HeadField::open(&source.spooled()?, &mut orphans)?),
            None => None,
        };
        counts.heads_orphaned = orphans.len() as u64;
        let obstacles = match &inputs.obstacles {
            Some(source) => Some(ObstacleField::open(&source.spooled()?, &mut orphans)?),
            None => None,
        };
        let supply = match &inputs.supply {
            Some(source) => Some(SupplyField::open(&source.spooled()?, &mut orphans)?),
            None => None,
        };
        let id_field = inputs.id_field.as_deref();
        let mut opening = Opening {
            heads: heads.as_mut(),
            orphans,
            counts,
        };
        let (plan, expected) = match &inputs.parcels {
            Some(parcels) => {
                let roll = Roll::open(&parcels.spooled()?, id_field, &filter)?;
                let expected = roll.selected();
                (
                    opening.by_parcel(roll, &inputs.turf.spooled()?)?,
                    Some(expected),
                )
            }
            None => opening.by_turf(&inputs.turf, id_field.unwrap_or(LINK_COLUMN), &filter)?,
        };
        let Opening {
            mut orphans,
            mut counts,
            ..
        } = opening;
        if let Some(heads) = &mut heads {
            counts.heads = heads.read();
            counts.heads_orphaned += heads.settle(&mut orphans);
        }
        if let Some(obstacles) = &obstacles {
            (counts.obstacles, counts.obstacles_unusable) = obstacles.counts();
        }
        let turf_ids = TurfIds::default();
        Ok(Neighbourhood {
            plan,
            heads,
            obstacles,
            supply,
            meter: None,
            is_whole: inputs.where_clause.is_none() && inputs.bbox.is_none(),
            land: LandField::default(),
            turf_ids,
            orphans,
            counts,
            expected,
            ended: false,
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
        if let Plan::Parcels { roll, .. } = &self.plan {
            field.know(|id| roll.find(id).is_some());
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

    /// How many rows went where, so far.
    #[must_use]
    pub fn counts(&self) -> ReadCounts {
        self.counts
    }

    /// The columns that parcels can have: those with a value on any feature of the parcel layer,
    /// or of the turf layer when there is none. `None` for a stream, which was not read yet.
    #[must_use]
    pub fn columns(&self) -> Option<Vec<&str>> {
        match &self.plan {
            Plan::Parcels { roll, .. } => Some(roll.columns().collect()),
            Plan::Groups { turf, .. } => Some(turf.columns().collect()),
            Plan::Stream(_) => None,
        }
    }

    /// How many readings there will be; `None` for a stream.
    #[must_use]
    pub fn expected(&self) -> Option<u64> {
        self.expected
    }

    fn read_next(&mut self) -> Result<Option<Reading>, Issue> {
        match &mut self.plan {
            Plan::Parcels {
                roll,
                turf,
                links,
                entry,
                link,
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
                let feature = roll.fetch(*entry)?;
                let lawns = fetch_run(turf, links, link, *entry)?;
                *entry += 1;
                self.parcel(&feature, &lawns).map(Some)
            }
            Plan::Groups {
                turf,
                column,
                links,
                link,
            } => {
                let Some(first) = links.get(*link).copied() else {
                    return Ok(None);
                };
                let lawns = fetch_run(turf, links, link, first.parcel)?;
                let id = lawns.first().map(|(first, _)| group_id(first, column));
                self.group(id.unwrap_or_default(), &lawns).map(Some)
            }
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
        match &self.plan {
            Plan::Parcels { turf, .. } | Plan::Groups { turf, .. } => turf.name().to_owned(),
            Plan::Stream(stream) => stream.name().to_owned(),
        }
    }

    /// A reading of a feature of the parcel layer.
    fn parcel(&mut self, feature: &Feature, lawns: &[(Feature, Joined)]) -> Result<Reading, Issue> {
        let Plan::Parcels { roll, .. } = &self.plan else {
            return Err(Issue::new(Code::RU02, "a parcel without a parcel layer"));
        };
        let id = parcel_id(feature, roll.id_field());
        let place = |issue: Issue| {
            issue
                .in_file(roll.name())
                .at_feature(feature.number)
                .of_parcel(id.as_str())
        };
        let mut issues: Vec<Issue> = feature.notes.iter().cloned().map(place).collect();
        let (mut outline, mut failure) = (Vec::new(), None);
        match feature.areas() {
            Err(issue) => failure = Some(place(issue)),
            Ok(areas) => {
                for area in areas {
                    match area.as_ref().map_err(Clone::clone).and_then(repair) {
                        Ok(repaired) => {
                            issues.extend(repaired.notes.into_iter().map(place));
                            outline.extend(repaired.parts);
                        }
                        Err(issue) if failure.is_none() => failure = Some(place(issue)),
                        Err(_) => {}
                    }
                }
            }
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
        if let Some(issue) = found.failure.filter(|_| found.areas.is_empty()) {
            return Ok(self.failed(id, issue, attributes, outline));
        }
        let heads = match &mut self.heads {
            Some(heads) => heads.on(&found.keys, &id, &mut issues)?,
            None => Vec::new(),
        };
        self.counts.heads_joined += heads.len() as u64;
        let mut turf = found.areas;
        for area in &mut turf {
            self.land
                .settle(area, (id.as_str(), &attributes), &mut issues)?;
        }
        let obstacles = match &mut self.obstacles {
            Some(field) => {
                field.near(outline.iter().chain(turf.iter().map(|area| &area.polygon)))?
            }
            None => Vec::new(),
        };
        let supply = match &mut self.supply {
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
        if let Some(field) = &mut self.supply {
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
        if matches!(next, Ok(None)) && self.is_whole {
            self.orphans
                .extend(self.supply.as_ref().and_then(SupplyField::strangers));
            // With a parcel layer the strangers were told when it was opened.
            if let (Some(field), false) = (&self.meter, matches!(self.plan, Plan::Parcels { .. })) {
                self.orphans.extend(field.strangers());
            }
        }
        next.transpose()
    }
}
