//! The layers of a run, or of one bundle of a stream, opened and joined: turf to parcels, heads to
//! lawns, obstacles and supply ready to be asked for.

use super::filter::{Filter, check_bbox};
use super::heads::HeadField;
use super::join::{LINK_COLUMN, Opening, Plan};
use super::neighbourhood::{Inputs, ReadCounts};
use super::obstacles::ObstacleField;
use super::parcels::{IdRules, Roll};
use super::supply::SupplyField;
use crate::issue::Issue;

/// What layers must hold at least.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Least {
    /// A parcel to plan and a row of turf, with a value in the column named for the id: less is a
    /// mistake.
    OneFeature,
    /// Nothing: they are a piece of a larger whole.
    Nothing,
}

/// The joined layers.
pub(super) struct Fields {
    pub plan: Plan,
    pub heads: Option<HeadField>,
    pub obstacles: Option<ObstacleField>,
    pub supply: Option<SupplyField>,
}

/// What was found when layers were joined.
pub(super) struct Found {
    /// Rows that found no parcel or cannot be used, in input order.
    pub orphans: Vec<Issue>,
    pub counts: ReadCounts,
    /// How many readings there will be, if that is known.
    pub expected: Option<u64>,
}

impl Fields {
    /// Nothing, before anything is opened.
    #[cfg_attr(
        not(feature = "arrow"),
        allow(dead_code, reason = "only record batches need it")
    )]
    pub(super) fn none() -> Fields {
        Fields {
            plan: Plan::Nothing,
            heads: None,
            obstacles: None,
            supply: None,
        }
    }

    /// Opens the layers and joins them. All but a stream are read through once here, so that
    /// what ends a run ends it before the first parcel.
    ///
    /// # Errors
    /// As [`Neighbourhood::open`](super::Neighbourhood::open).
    pub(super) fn open(inputs: &Inputs, least: Least) -> Result<(Fields, Found), Issue> {
        let filter = Filter {
            clause: inputs.where_clause.clone(),
            bbox: inputs.bbox.map(check_bbox).transpose()?,
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
        let mut supply = match &inputs.supply {
            Some(source) => Some(SupplyField::open(&source.spooled()?, &mut orphans)?),
            None => None,
        };
        let id_field = inputs.id_field.as_deref();
        let rules = IdRules {
            field: id_field,
            repeated: inputs.repeated_ids,
            matching: inputs.match_ids,
        };
        let mut opening = Opening {
            heads: heads.as_mut(),
            orphans,
            counts,
            least,
        };
        let (plan, expected) = match &inputs.parcels {
            Some(parcels) => {
                let source = parcels.spooled()?;
                let mut roll = Roll::open(&source, rules, &filter, least, &mut opening.orphans)?;
                if let Some(supply) = &mut supply {
                    opening.orphans.extend(supply.match_ids(&mut roll)?);
                }
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
            let (left_out, displaced) = heads.settle(&mut orphans)?;
            counts.heads_orphaned += left_out;
            counts.heads_displaced = displaced;
        }
        if let Some(obstacles) = &obstacles {
            (counts.obstacles, counts.obstacles_unusable) = obstacles.counts();
        }
        let fields = Fields {
            plan,
            heads,
            obstacles,
            supply,
        };
        let found = Found {
            orphans,
            counts,
            expected,
        };
        Ok((fields, found))
    }
}
