//! One layer of features, whatever its file is.

use std::sync::Arc;

use super::feature::{Feature, column_of};
use super::filter::Filter;
#[cfg(feature = "system-gis")]
use super::ogr::OgrLayer;
use super::records::Records;
use super::source::{Kind, Source};
use super::usage::{Clues, around};
use crate::clause::Clause;
use crate::issue::{Code, Issue};

/// What a layer is for; also the name that it should have in a file of many.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Parcels,
    Turf,
    Heads,
    Obstacles,
    Supply,
    Soils,
    Zones,
}

impl Role {
    /// The name of the layer.
    pub(super) fn name(self) -> &'static str {
        match self {
            Role::Parcels => "parcels",
            Role::Turf => "turf",
            Role::Heads => "heads",
            Role::Obstacles => "obstacles",
            Role::Supply => "supply",
            Role::Soils => "soils",
            Role::Zones => "climate_zones",
        }
    }
}

/// An open layer.
pub(super) struct Layer {
    name: String,
    body: Body,
    filter: Filter,
    condition: Option<Clause>,
    /// Whether each column of the condition was seen on any feature.
    unseen: Vec<String>,
    /// The columns that had a value on any feature so far, in the order in which they came.
    columns: Vec<String>,
    /// The box around what was read so far.
    extent: Option<[f64; 4]>,
}

enum Body {
    /// Features that were read before, and the place of the next one.
    Held(Arc<[Feature]>, usize),
    Records(Box<Records>),
    #[cfg(feature = "system-gis")]
    Ogr(Box<OgrLayer>),
}

impl Layer {
    /// Opens a layer.
    ///
    /// # Errors
    /// `IN01` to `IN04`, `IN10` and `CR01` to `CR04`.
    pub(super) fn open(source: &Source, role: Role, filter: &Filter) -> Result<Layer, Issue> {
        if let Some(features) = source.features() {
            return Ok(Layer {
                name: source.name().to_owned(),
                body: Body::Held(Arc::clone(features), 0),
                filter: filter.clone(),
                condition: None,
                unseen: Vec::new(),
                columns: Vec::new(),
                extent: None,
            });
        }
        let (kind, stream) = source.open()?;
        let mut condition = None;
        let body = match kind {
            Kind::Document | Kind::Sequence(_) => {
                if let Some(layer) = source.layer() {
                    let found = format!("`{layer}` is not there; GeoJSON has no layers");
                    return Err(Issue::new(Code::IN04, found).in_file(source.name()));
                }
                if let Some(clause) = &filter.clause {
                    condition = Some(Clause::parse(clause)?);
                }
                Body::Records(Box::new(Records::open(source, kind, stream)?))
            }
            Kind::Other => Layer::open_other(source, role, filter)?,
        };
        let unseen = condition
            .iter()
            .flat_map(Clause::columns)
            .map(str::to_owned)
            .collect();
        let name = source.name().to_owned();
        Ok(Layer {
            name,
            body,
            filter: filter.clone(),
            condition,
            unseen,
            columns: Vec::new(),
            extent: None,
        })
    }

    #[cfg(feature = "system-gis")]
    fn open_other(source: &Source, role: Role, filter: &Filter) -> Result<Body, Issue> {
        let layer = OgrLayer::open(source, role.name(), filter.clause.as_deref())?;
        Ok(Body::Ogr(Box::new(layer)))
    }

    #[cfg(not(feature = "system-gis"))]
    fn open_other(source: &Source, role: Role, _: &Filter) -> Result<Body, Issue> {
        let found = format!("this build reads GeoJSON only ({} layer)", role.name());
        Err(Issue::new(Code::IN02, found).in_file(source.name()))
    }

    /// The input's name as the user gave it.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// The columns that had a value on any feature that was read.
    pub(super) fn columns(&self) -> impl Iterator<Item = &str> {
        self.columns.iter().map(String::as_str)
    }

    /// The box around what was read: west, south, east, north \[degrees\].
    pub(super) fn extent(&self) -> Option<[f64; 4]> {
        self.extent
    }

    /// What may explain that little of it was used.
    pub(super) fn clues(&self) -> Clues {
        Clues {
            file: self.name.clone(),
            extent: self.extent,
            columns: self.columns.clone(),
            ..Clues::default()
        }
    }

    /// Whether this is a text sequence.
    pub(super) fn is_sequence(&self) -> bool {
        match &self.body {
            Body::Held(..) => false,
            Body::Records(records) => records.is_sequence(),
            #[cfg(feature = "system-gis")]
            Body::Ogr(_) => false,
        }
    }

    /// The next feature, with its `selected` flag set.
    ///
    /// # Errors
    /// Only what ends the run; what is wrong with one feature is in the feature.
    pub(super) fn next(&mut self) -> Result<Option<Feature>, Issue> {
        let next = match &mut self.body {
            Body::Held(features, at) => {
                *at += 1;
                Ok(features.get(*at - 1).cloned())
            }
            Body::Records(records) => records.next(),
            #[cfg(feature = "system-gis")]
            Body::Ogr(layer) => layer.next(),
        };
        let Some(mut feature) = next? else {
            return Ok(None);
        };
        self.unseen
            .retain(|column| column_of(&feature.attributes, column).is_none());
        for (name, _) in &feature.attributes.0 {
            if !self.columns.contains(name) {
                self.columns.push(name.clone());
            }
        }
        let bounds = feature.bounds();
        self.extent = around(self.extent, bounds);
        let meets = self.filter.meets(bounds);
        feature.selected &= meets
            && self.condition.as_ref().is_none_or(|condition| {
                condition.holds(|column| column_of(&feature.attributes, column))
            });
        Ok(Some(feature))
    }

    /// Reads a feature that was read before, by its locator and number.
    ///
    /// # Errors
    /// `IN01` or `IN03` if the file changed in between.
    pub(super) fn fetch(&mut self, locator: u64, number: u64) -> Result<Feature, Issue> {
        match &mut self.body {
            Body::Held(features, _) => {
                let held = usize::try_from(locator)
                    .ok()
                    .and_then(|at| features.get(at));
                let gone = || Issue::new(Code::RU02, "a feature that was not read");
                held.cloned()
                    .ok_or_else(|| gone().in_file(&self.name).at_feature(number))
            }
            Body::Records(records) => records.fetch(locator, number),
            #[cfg(feature = "system-gis")]
            Body::Ogr(layer) => layer.fetch(locator, number),
        }
    }

    /// The issue of a layer from which nothing is left to plan.
    pub(super) fn nothing_left(&self, read: u64) -> Issue {
        let filtered = self.filter.clause.is_some() || self.filter.bbox.is_some();
        let issue = match self.unseen.first() {
            Some(column) if read > 0 => {
                Issue::new(Code::IN10, format!("no feature has a column `{column}`"))
            }
            _ if filtered && read > 0 => Issue::new(
                Code::IN05,
                format!("none of {read} features meets the filter"),
            ),
            _ => Issue::new(Code::IN05, "the layer is empty"),
        };
        issue.in_file(&self.name)
    }
}
