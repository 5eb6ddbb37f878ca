//! The layers of a run: named by flags, or by the program file.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::PossibleValuesParser;
use sha2::{Digest, Sha256};

use super::program_file::ProgramFile;
use crate::climate::Climates;
use crate::issue::{Code, Issue};
use crate::read::filter::parse_bbox;
use crate::read::{Inputs, LandSources, MatchIds, Neighbourhood, RepeatedIds, Source, zone_years};
use crate::write::run_record::{InputRecord, ReadingRecord, RunRecord};

/// Files beside a Shapefile that are part of it.
const SHAPEFILE_PARTS: [&str; 4] = ["dbf", "shx", "prj", "cpg"];
/// Files beside a text grid that are part of it.
const GRID_PARTS: [&str; 1] = ["prj"];

/// Which layers to read, and which of their features.
#[derive(Debug, Args)]
pub(super) struct InputArgs {
    /// Program file: layers in its section `inputs`, assumptions in the others.
    #[arg(value_name = "PROGRAM.toml")]
    program: Option<PathBuf>,

    /// Parcels: polygons, FILE or FILE:LAYER.
    #[arg(long, value_name = "FILE")]
    parcels: Option<String>,

    /// Turf areas: polygons, linked to parcels by parcel_id or by overlap. `-` reads stdin.
    #[arg(long, value_name = "FILE")]
    turf: Option<String>,

    /// Existing heads: points.
    #[arg(long, value_name = "FILE")]
    heads: Option<String>,

    /// Buildings, walls, pavements, trunks: polygons with a column `kind`.
    #[arg(long, value_name = "FILE")]
    obstacles: Option<String>,

    /// Soils: polygons with a texture class, an intake rate, or the key of a map unit.
    #[arg(long, value_name = "FILE")]
    soils: Option<String>,

    /// What the keys of the soils mean: a CSV of key and texture.
    #[arg(long, value_name = "CSV")]
    soil_table: Option<String>,

    /// Elevation model: a raster of heights in metres, in a projected system.
    #[arg(long, value_name = "RASTER")]
    dem: Option<String>,

    /// Climate: a CSV of months (month, eto_mm, rain_mm, perhaps zone) or days (date, eto_mm,
    /// rain_mm); `evenfall climate` makes both.
    #[arg(long, value_name = "CSV")]
    climate: Option<String>,

    /// Climate zones: polygons that name a zone of the climate table, or carry its months.
    #[arg(long, value_name = "FILE")]
    climate_zones: Option<String>,

    /// Water supply: points with a column `kind` (meter, point-of-connection, valve, controller,
    /// pump), flow and pressures.
    #[arg(long, value_name = "FILE")]
    supply: Option<String>,

    /// Water meters: a CSV of parcel_id, start, end (or month) and m3.
    #[arg(long, value_name = "CSV")]
    meter: Option<String>,

    /// Column of the parcel layer that holds the id.
    #[arg(long, value_name = "COLUMN")]
    id_field: Option<String>,

    /// Parcels that share an id: the first keeps it and the others become ID~2, ID~3; or they are
    /// joined to one parcel (condominiums, parts split by a road); or the run is refused.
    #[arg(long, value_name = "HOW",
        value_parser = PossibleValuesParser::new(RepeatedIds::WORDS.map(|(word, _)| word)))]
    repeated_ids: Option<String>,

    /// Ids of turf, supply and meter are matched with those of parcels exactly, or also where they
    /// differ in case, spaces or leading zeros alone, and from one parcel only, which is reported.
    #[arg(long, value_name = "HOW",
        value_parser = PossibleValuesParser::new(MatchIds::WORDS.map(|(word, _)| word)))]
    match_ids: Option<String>,

    /// Plan only the parcels for which this holds, as in: OWNER = 'city'.
    #[arg(long = "where", value_name = "CONDITION")]
    filter: Option<String>,

    /// Plan only the parcels that meet this box, in degrees.
    #[arg(long, value_name = "W,S,E,N", allow_hyphen_values = true)]
    bbox: Option<String>,
}

/// The layers of a run, with everything that was typed resolved.
pub(super) struct Layers {
    /// The program file, if one was named.
    pub(super) program: Option<ProgramFile>,
    inputs: Inputs,
    land: LandSources,
    climate: Option<Source>,
    meter: Option<Source>,
}

/// How parcels, turf, heads, obstacles and supply come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Coming {
    FromFiles,
    #[cfg(feature = "arrow")]
    Streamed,
}

impl InputArgs {
    /// Finds the layers. A flag counts before the record of an earlier run and before the program
    /// file.
    pub(super) fn resolve(&self, record: Option<&RunRecord>) -> Result<Layers, Issue> {
        self.resolve_from(record, Coming::FromFiles)
    }

    /// Finds what is read beside parcels, turf, heads, obstacles and supply, which come as record batches.
    /// Those that the program file names are not read.
    #[cfg(feature = "arrow")]
    pub(super) fn resolve_streamed(&self, record: Option<&RunRecord>) -> Result<Layers, Issue> {
        let layers = self.resolve_from(record, Coming::Streamed)?;
        if layers.inputs.where_clause.is_some() || layers.inputs.bbox.is_some() {
            let found = "the recorded run plans a part of its input by --where or --bbox; send only that part";
            return Err(Issue::new(Code::RU01, found));
        }
        Ok(layers)
    }

    fn resolve_from(&self, record: Option<&RunRecord>, coming: Coming) -> Result<Layers, Issue> {
        let program = self.program.as_deref().map(ProgramFile::read).transpose()?;
        let source = |flag: &Option<String>, role: &str| {
            let named = flag
                .clone()
                .or_else(|| program.as_ref().and_then(|file| file.input(role)));
            named.map(|named| Source::parse(&named)).transpose()
        };
        let layer = |flag: &Option<String>, role: &str| match coming {
            Coming::FromFiles => source(flag, role),
            #[cfg(feature = "arrow")]
            Coming::Streamed if role == "turf" => Source::parse("-").map(Some),
            #[cfg(feature = "arrow")]
            Coming::Streamed => Ok(None),
        };
        let Some(turf) = layer(&self.turf, "turf")? else {
            let found = "there is no turf layer; name one with --turf FILE, or under [inputs] in the program file";
            return Err(Issue::new(Code::RU01, found));
        };
        let recorded = record
            .map(|record| record.reading.clone())
            .unwrap_or_default();
        let bbox = self.bbox.as_deref().map(parse_bbox).transpose()?;
        let inputs = Inputs {
            parcels: layer(&self.parcels, "parcels")?,
            turf,
            heads: layer(&self.heads, "heads")?,
            obstacles: layer(&self.obstacles, "obstacles")?,
            supply: layer(&self.supply, "supply")?,
            id_field: self.id_field.clone().or(recorded.id_field),
            where_clause: self.filter.clone().or(recorded.where_clause),
            bbox: bbox.or(recorded.bbox),
            repeated_ids: chosen(
                self.repeated_ids
                    .as_ref()
                    .or(recorded.repeated_ids.as_ref()),
                &RepeatedIds::WORDS,
            )?,
            match_ids: chosen(
                self.match_ids.as_ref().or(recorded.match_ids.as_ref()),
                &MatchIds::WORDS,
            )?,
        };
        let land = LandSources {
            soils: source(&self.soils, "soils")?,
            soil_table: source(&self.soil_table, "soil_table")?,
            dem: source(&self.dem, "dem")?,
            climate_zones: source(&self.climate_zones, "climate_zones")?,
        };
        let climate = source(&self.climate, "climate")?;
        let meter = source(&self.meter, "meter")?;
        let layers = Layers {
            program,
            inputs,
            land,
            climate,
            meter,
        };
        let piped = layers.sources().filter(|(_, source)| source.is_stdin());
        if piped.count() > 1 {
            return Err(Issue::new(Code::RU01, "only one input may be `-`"));
        }
        Ok(layers)
    }
}

impl Layers {
    /// The layers by role, in a fixed order.
    fn sources(&self) -> impl Iterator<Item = (&'static str, &Source)> {
        let Inputs {
            parcels,
            turf,
            heads,
            obstacles,
            supply,
            ..
        } = &self.inputs;
        let LandSources {
            soils,
            soil_table,
            dem,
            climate_zones,
        } = &self.land;
        [
            ("parcels", parcels.as_ref()),
            ("turf", Some(turf)),
            ("heads", heads.as_ref()),
            ("obstacles", obstacles.as_ref()),
            ("supply", supply.as_ref()),
            ("soils", soils.as_ref()),
            ("soil_table", soil_table.as_ref()),
            ("dem", dem.as_ref()),
            ("climate", self.climate.as_ref()),
            ("climate_zones", climate_zones.as_ref()),
            ("meter", self.meter.as_ref()),
        ]
        .into_iter()
        .filter_map(|(role, source)| source.map(|source| (role, source)))
    }

    /// Whether there is a layer with this role.
    pub(super) fn has(&self, role: &str) -> bool {
        self.sources().any(|(named, _)| named == role)
    }

    /// Opens the layers.
    pub(super) fn open(&self) -> Result<Neighbourhood, Issue> {
        let neighbourhood = Neighbourhood::open(&self.inputs)?.over(&self.land)?;
        match &self.meter {
            Some(source) => neighbourhood.metered(&text_from(source)?, source.name()),
            None => Ok(neighbourhood),
        }
    }

    /// Opens the stream of record batches, and what is read beside it.
    #[cfg(feature = "arrow")]
    pub(super) fn open_streamed(&self) -> Result<Neighbourhood, Issue> {
        let id_field = self.inputs.id_field.as_deref();
        let repeated = self.inputs.repeated_ids;
        let neighbourhood =
            Neighbourhood::of_arrow(io::stdin(), id_field, repeated)?.over(&self.land)?;
        match &self.meter {
            Some(source) => neighbourhood.metered(&text_from(source)?, source.name()),
            None => Ok(neighbourhood),
        }
    }

    /// Refuses an output folder in which an input of the run lies, also by way of a link.
    ///
    /// # Errors
    /// `OU08`.
    pub(super) fn lie_outside(&self, output: &Path) -> Result<(), Issue> {
        let Ok(folder) = output.canonicalize() else {
            return Ok(()); // it is not there yet
        };
        let program = self.program.as_ref().map(ProgramFile::path);
        let inputs = self.sources().filter_map(|(_, source)| source.path());
        for path in inputs.chain(program) {
            // Where it lies, and where the link to it lies that a new file would replace.
            let whole = path.canonicalize().ok();
            let parent = path
                .parent()
                .filter(|parent| !parent.as_os_str().is_empty());
            let link = parent.unwrap_or(Path::new(".")).canonicalize().ok();
            if whole
                .iter()
                .chain(&link)
                .any(|path| path.starts_with(&folder))
            {
                let found = format!("it lies in {}", output.display());
                return Err(Issue::new(Code::OU08, found).in_file(path.display().to_string()));
            }
        }
        Ok(())
    }

    /// The climates of the run; the second value says which days are missing and what is doubtful. Without a table and
    /// without zones that carry their months, the embedded one is assumed.
    pub(super) fn climates(&self) -> Result<(Climates, Vec<Issue>), Issue> {
        if let Some(source) = &self.climate {
            return Climates::parse(&text_from(source)?, source.name());
        }
        let Some(zones) = &self.land.climate_zones else {
            return Ok((Climates::assumed(), Vec::new()));
        };
        match zone_years(zones)? {
            Some(years) => Ok((Climates::of_years(years)?, Vec::new())),
            None => {
                let found = "it carries no months, and there is no --climate table";
                Err(Issue::new(Code::CL08, found).in_file(zones.name()))
            }
        }
    }

    /// The choices that bear on which features are read.
    pub(super) fn reading(&self) -> ReadingRecord {
        ReadingRecord {
            id_field: self.inputs.id_field.clone(),
            where_clause: self.inputs.where_clause.clone(),
            bbox: self.inputs.bbox,
            repeated_ids: unusual(self.inputs.repeated_ids, &RepeatedIds::WORDS),
            match_ids: unusual(self.inputs.match_ids, &MatchIds::WORDS),
        }
    }

    /// The SHA-256 of every layer. What comes through a pipe has none.
    pub(super) fn hashes(&self) -> Result<Vec<InputRecord>, Issue> {
        let mut records = Vec::new();
        for (role, source) in self.sources() {
            let hash = |path: &Path| {
                sha256_of_file(path).map_err(|error| {
                    Issue::new(Code::IN01, error.to_string()).in_file(source.name())
                })
            };
            let file = source.path().filter(|path| path.is_file());
            let sha256 = file.map(hash).transpose()?;
            records.push(InputRecord {
                role: role.to_owned(),
                part: None,
                sha256,
            });
            let Some(path) = file else { continue };
            let ending = path.extension().unwrap_or_default().to_ascii_lowercase();
            let parts: &[&str] = match ending.to_str() {
                Some("shp") => &SHAPEFILE_PARTS,
                Some("asc") => &GRID_PARTS,
                _ => continue,
            };
            for &part in parts {
                let beside =
                    [part.to_owned(), part.to_ascii_uppercase()].map(|e| path.with_extension(e));
                if let Some(beside) = beside.iter().find(|path| path.is_file()) {
                    let sha256 = Some(hash(beside)?);
                    records.push(InputRecord {
                        role: role.to_owned(),
                        part: Some(part.to_owned()),
                        sha256,
                    });
                }
            }
        }
        Ok(records)
    }
}

/// What a word stands for; without a word what is usual.
fn chosen<T: Copy + Default>(word: Option<&String>, words: &[(&str, T)]) -> Result<T, Issue> {
    let Some(word) = word else {
        return Ok(T::default());
    };
    let known = words.iter().find(|(known, _)| known == word);
    known.map(|&(_, choice)| choice).ok_or_else(|| {
        let found = format!("`{word}` in the recorded run is not known");
        Issue::new(Code::AS03, found)
    })
}

/// The word for a choice; none for what is usual.
fn unusual<T: Copy + Default + PartialEq>(choice: T, words: &[(&str, T)]) -> Option<String> {
    let word = words.iter().find(|(_, known)| *known == choice);
    word.filter(|_| choice != T::default())
        .map(|(word, _)| (*word).to_owned())
}

/// The text of a table.
fn text_from(source: &Source) -> Result<String, Issue> {
    source.text()
}

fn sha256_of_file(path: &Path) -> io::Result<String> {
    let mut file = File::open(path)?;
    let mut hasher = Sha256::new();
    let mut buffer = vec![0; 1 << 16];
    loop {
        match file.read(&mut buffer)? {
            0 => return Ok(hexadecimal(&hasher.finalize())),
            count => hasher.update(&buffer[..count]),
        }
    }
}

/// The SHA-256 of a text.
pub(super) fn sha256_of_text(text: &str) -> String {
    hexadecimal(&Sha256::digest(text.as_bytes()))
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hashes_are_those_of_the_standard() {
        // FIPS 180-4, example of one block: "abc".
        let published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256_of_text("abc"), published);
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), "abc").unwrap();
        assert_eq!(sha256_of_file(file.path()).unwrap(), published);
    }
}
