//! What lies under and over the lawns: soils, slopes, climate zones.

#[cfg(feature = "system-gis")]
use super::dem::Dem;
#[cfg(feature = "system-gis")]
use super::feature::bounds;
use super::layer::Role;
use super::majority::AreaField;
use super::soils::{self, SoilField, SoilTable};
use super::source::Source;
use super::usage::{Clues, LayerUse};
use super::zones;
#[cfg(feature = "system-gis")]
use crate::issue::Severity;
use crate::issue::{Code, Issue};
use crate::site::{Attributes, ExistingHead, Relief, SupplyPoint, TurfArea};

/// The layers of the land, as far as they are given.
#[derive(Debug, Clone, Default)]
pub struct LandSources {
    /// Polygons of soils.
    pub soils: Option<Source>,
    /// A table that explains the keys of the soils.
    pub soil_table: Option<Source>,
    /// A raster of heights.
    pub dem: Option<Source>,
    /// Polygons of climate zones.
    pub climate_zones: Option<Source>,
}

/// The open layers of the land.
#[derive(Default)]
pub(super) struct LandField {
    soils: Option<SoilField>,
    zones: Option<AreaField<String>>,
    #[cfg(feature = "system-gis")]
    dem: Option<Dem>,
}

impl LandField {
    /// Opens what is given; what cannot be used of a layer is added to the issues.
    ///
    /// # Errors
    /// As the layers; `RU01` for a table without soils, `EL02` and `EL03` for the raster.
    pub(super) fn open(sources: &LandSources, issues: &mut Vec<Issue>) -> Result<LandField, Issue> {
        if let (Some(table), None) = (&sources.soil_table, &sources.soils) {
            let found = "--soil-table explains the keys of a layer of soils; name it with --soils";
            return Err(Issue::new(Code::RU01, found).in_file(table.name()));
        }
        let spooled = |source: &Option<Source>| source.as_ref().map(Source::spooled).transpose();
        let table = match spooled(&sources.soil_table)? {
            Some(source) => Some(SoilTable::open(&source, issues)?),
            None => None,
        };
        let soils = match spooled(&sources.soils)? {
            Some(source) => Some(soils::open(&source, table.as_ref(), issues)?),
            None => None,
        };
        let zones = match spooled(&sources.climate_zones)? {
            Some(source) => Some(zones::open(&source, issues)?),
            None => None,
        };
        #[cfg(not(feature = "system-gis"))]
        if let Some(dem) = &sources.dem {
            return Err(Issue::new(Code::EL03, "this build has no GDAL").in_file(dem.name()));
        }
        Ok(LandField {
            soils,
            zones,
            #[cfg(feature = "system-gis")]
            dem: sources.dem.as_ref().map(Dem::open).transpose()?,
        })
    }

    /// How the rows of soils and climate zones were used so far.
    pub(super) fn usage(&self) -> Vec<(LayerUse, Clues)> {
        let soils = self
            .soils
            .iter()
            .map(|field| field.usage(Role::Soils, Code::SO02));
        let zones = self
            .zones
            .iter()
            .map(|field| field.usage(Role::Zones, Code::CL06));
        soils.chain(zones).collect()
    }

    /// Adds to a lawn what the layers say of it. A climate zone that the lawn or its parcel names
    /// counts before the layer of zones.
    ///
    /// # Errors
    /// `IN01` or `IN03` if a file changed in between, `EL05` where the raster cannot be read.
    pub(super) fn settle(
        &mut self,
        turf: &mut TurfArea,
        (parcel, attributes): (&str, &Attributes),
        issues: &mut Vec<Issue>,
    ) -> Result<(), Issue> {
        let place = |issue: Issue| issue.of_parcel(parcel).of_turf(turf.id.as_str());
        if let Some(soils) = &mut self.soils {
            turf.land.soil = soils.of_most(&turf.polygon)?;
            if turf.land.soil.is_none() {
                issues.push(place(Issue::new(Code::SO02, "")));
            }
        }
        if turf.land.climate_zone.is_none() {
            let named = attributes.text("climate_zone");
            turf.land.climate_zone = named.filter(|name| !name.trim().is_empty());
        }
        if let (Some(zones), None) = (&mut self.zones, &turf.land.climate_zone) {
            turf.land.climate_zone = zones.of_most(&turf.polygon)?;
        }
        #[cfg(feature = "system-gis")]
        if let Some(dem) = &self.dem {
            match dem.terrain(&turf.polygon) {
                Ok(terrain) => turf.land.terrain = Some(terrain),
                Err(issue) if issue.severity() == Severity::Fatal => return Err(issue),
                Err(issue) => issues.push(place(issue)),
            }
        }
        Ok(())
    }

    /// The heights of a parcel's ground: about its lawns, its heads and the points of its supply.
    /// `None` without an elevation model that covers most of it; its lawns say so.
    pub(super) fn relief(
        &self,
        turf: &[TurfArea],
        heads: &[(usize, ExistingHead)],
        supply: &[SupplyPoint],
    ) -> Option<Relief> {
        #[cfg(feature = "system-gis")]
        {
            let dem = self.dem.as_ref()?;
            let lawns = turf.iter().map(|area| bounds(&area.polygon));
            let points = heads.iter().map(|(_, head)| head.position);
            let points = points.chain(supply.iter().map(|point| point.position));
            let about = lawns
                .chain(points.map(|at| [at.x(), at.y(), at.x(), at.y()]))
                .reduce(|a, b| {
                    [
                        a[0].min(b[0]),
                        a[1].min(b[1]),
                        a[2].max(b[2]),
                        a[3].max(b[3]),
                    ]
                })?;
            dem.relief(about).ok()
        }
        #[cfg(not(feature = "system-gis"))]
        {
            let _ = (turf, heads, supply);
            None
        }
    }
}
