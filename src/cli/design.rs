//! How layouts are made: families, effort, what to favour, and what is assumed.

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::inputs::sha256_of_text;
use super::program_file::ProgramFile;
use crate::assumptions::{Assumptions, Key};
use crate::catalogue::{Catalogue, GENERIC_TOML};
use crate::climate::Climates;
use crate::issue::{Code, Issue};
use crate::place::{Effort, Favour};
use crate::plan::Planner;
use crate::program::{Program, Rule};
use crate::read::source::text_of;
use crate::write::run_record::{InputRecord, LayoutRecord, RunRecord};

const EFFORTS: [(&str, Effort); 4] = [
    ("rule", Effort::Rule),
    ("fast", Effort::Fast),
    ("normal", Effort::Normal),
    ("thorough", Effort::Thorough),
];

const FAVOURS: [(&str, Favour); 3] = [
    ("evenness", Favour::Evenness),
    ("balance", Favour::Balance),
    ("heads", Favour::Heads),
];

/// How layouts are made.
#[derive(Debug, Args)]
pub(super) struct DesignArgs {
    /// Nozzle families to plan with (TOML); without it the embedded generic families.
    #[arg(long, value_name = "FILE")]
    catalogue: Option<PathBuf>,

    /// Families to plan, separated by commas; without it all of the catalogue.
    #[arg(long, value_name = "A,B", value_delimiter = ',')]
    families: Vec<String>,

    /// How hard to look for a better layout [default: normal].
    #[arg(long, value_parser = PossibleValuesParser::new(EFFORTS.map(|(word, _)| word)))]
    effort: Option<String>,

    /// What to favour where evenness and the number of heads compete [default: evenness].
    #[arg(long, value_parser = PossibleValuesParser::new(FAVOURS.map(|(word, _)| word)))]
    favour: Option<String>,

    /// Reckon the need by months, or by a daily balance of the root zone; the same as
    /// `--set budget.balance=...` [default: monthly].
    #[arg(long, value_parser = PossibleValuesParser::new(["monthly", "daily"]))]
    balance: Option<String>,

    /// Wind in the watering hours (`water.wind_m_s`): heads stand closer in strong wind, and the rain is
    /// moved, from all sides alike (mean) or from the sides that the climate tells (rose); short for
    /// --set place.wind=… [default: none]
    #[arg(long, value_parser = ["none", "mean", "rose"])]
    wind: Option<String>,

    /// Write each parcel's stations as input files of EPANET, the public-domain network solver.
    #[arg(long)]
    inp: bool,

    /// Set one assumption; see `evenfall assumptions`.
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    set: Vec<String>,

    /// Seed of everything random [default: 1].
    #[arg(long, value_name = "N")]
    seed: Option<u64>,

    /// Plan as an earlier run did: its assumptions, families, effort and filters. The inputs are
    /// named again; flags count before the record.
    #[arg(long, value_name = "run.json")]
    from: Option<PathBuf>,
}

/// Everything that decides a layout.
pub(super) struct Design {
    /// What is assumed.
    pub(super) assumptions: Assumptions,
    /// Rules of who may be paid, beside the standing ones.
    pub(super) rules: Vec<Rule>,
    /// The families on offer.
    pub(super) catalogue: Catalogue,
    /// Whether they are the embedded ones.
    pub(super) catalogue_file: Option<String>,
    catalogue_sha256: String,
    layout: LayoutRecord,
    inp: bool,
}

impl DesignArgs {
    /// The record of the earlier run, if one was named.
    pub(super) fn record(&self) -> Result<Option<RunRecord>, Issue> {
        let Some(path) = &self.from else {
            return Ok(None);
        };
        RunRecord::parse(&text_of(path)?, &path.display().to_string()).map(Some)
    }

    /// Settles the design. A flag counts before the record of an earlier run, and that before the
    /// program file.
    pub(super) fn resolve(
        &self,
        program: Option<&ProgramFile>,
        record: Option<&RunRecord>,
    ) -> Result<Design, Issue> {
        let mut assumptions = match (record, program) {
            (Some(record), _) => Assumptions::from_json(&record.assumptions)?,
            (None, Some(file)) => file.on_top_of(&Assumptions::defaults())?,
            (None, None) => Assumptions::defaults(),
        };
        for setting in &self.set {
            assumptions = assumptions.with_setting(setting)?;
        }
        if let Some(balance) = &self.balance {
            assumptions = assumptions.with_setting(&format!("budget.balance={balance}"))?;
        }
        if let Some(wind) = &self.wind {
            assumptions = assumptions.with_setting(&format!("place.wind={wind}"))?;
        }
        let catalogue_file = self.catalogue.clone().or_else(|| {
            program
                .and_then(|file| file.input("catalogue"))
                .map(PathBuf::from)
        });
        let (catalogue, catalogue_sha256) = catalogue(catalogue_file.as_deref())?;
        let wanted = match record {
            Some(record) if self.families.is_empty() => &record.layout.families,
            _ => &self.families,
        };
        let chosen = |flag: &Option<String>, recorded: Option<&String>, default: &str| {
            flag.as_ref()
                .or(recorded)
                .map_or(default, String::as_str)
                .to_owned()
        };
        let layout = LayoutRecord {
            effort: chosen(
                &self.effort,
                record.map(|record| &record.layout.effort),
                "normal",
            ),
            favour: chosen(
                &self.favour,
                record.map(|record| &record.layout.favour),
                "evenness",
            ),
            families: families(&catalogue, wanted)?,
            seed: self
                .seed
                .or(record.map(|record| record.layout.seed))
                .unwrap_or(1),
        };
        word("effort", &EFFORTS, &layout.effort)?;
        word("favour", &FAVOURS, &layout.favour)?;
        let rules = match (record, program) {
            (Some(record), _) => record.eligibility.clone(),
            (None, Some(file)) => file.rules().to_vec(),
            (None, None) => Vec::new(),
        };
        Ok(Design {
            assumptions,
            rules,
            catalogue,
            catalogue_file: catalogue_file.map(|path| path.display().to_string()),
            catalogue_sha256,
            layout,
            inp: self.inp,
        })
    }
}

impl Design {
    /// What plans one parcel.
    ///
    /// # Errors
    /// `CL07` when a daily balance is asked for and days are not known, `CL09` when the wind rose is
    /// and it is not known.
    pub(super) fn planner(&self, climates: Climates) -> Result<Planner, Issue> {
        if self.assumptions.choice(Key::BudgetBalance) == "daily" && !climates.has_days() {
            return Err(Issue::new(Code::CL07, "only months are known"));
        }
        if self.assumptions.choice(Key::PlaceWind) == "rose" && !climates.has_winds() {
            return Err(Issue::new(Code::CL09, "no month has a share"));
        }
        Ok(Planner {
            catalogue: self.catalogue.clone(),
            families: self.layout.families.clone(),
            effort: word("effort", &EFFORTS, &self.layout.effort)?,
            favour: word("favour", &FAVOURS, &self.layout.favour)?,
            assumptions: self.assumptions.clone(),
            climates,
            inp: self.inp,
            seed: self.layout.seed,
        })
    }

    /// What settles one parcel; `columns` are those of the parcel layer, where they are known.
    ///
    /// # Errors
    /// `AS03` and `PR01` for rules that cannot be used.
    pub(super) fn program(&self, columns: Option<&[&str]>) -> Result<Program, Issue> {
        Program::of(&self.assumptions, &self.rules, columns)
    }

    /// The choices that go into the record of the run.
    pub(super) fn layout(&self) -> &LayoutRecord {
        &self.layout
    }

    /// The choices that bear on the outputs and do not stand in the record of the run.
    pub(super) fn settings(&self) -> Vec<(&'static str, String)> {
        vec![("--inp", self.inp.to_string())]
    }

    /// The catalogue as an input of the run.
    pub(super) fn catalogue_record(&self) -> InputRecord {
        InputRecord {
            role: "catalogue".to_owned(),
            part: None,
            sha256: Some(self.catalogue_sha256.clone()),
        }
    }
}

/// The catalogue of a file, or the embedded one, and the SHA-256 of its text.
pub(super) fn catalogue(path: Option<&Path>) -> Result<(Catalogue, String), Issue> {
    match path {
        Some(path) => {
            let text = text_of(path)?;
            Ok((
                Catalogue::parse(&text, &path.display().to_string())?,
                sha256_of_text(&text),
            ))
        }
        None => Ok((Catalogue::generic(), sha256_of_text(GENERIC_TOML))),
    }
}

/// The assumptions of a program file, or the defaults, with settings on top.
pub(super) fn assumed(program: Option<&Path>, settings: &[String]) -> Result<Assumptions, Issue> {
    let mut assumptions = Assumptions::defaults();
    if let Some(path) = program {
        assumptions = ProgramFile::read(path)?.on_top_of(&assumptions)?;
    }
    settings
        .iter()
        .try_fold(assumptions, |assumptions, setting| {
            assumptions.with_setting(setting)
        })
}

/// The wanted families in the catalogue's order; all of them when none is named.
fn families(catalogue: &Catalogue, wanted: &[String]) -> Result<Vec<String>, Issue> {
    if let Some(unknown) = wanted.iter().find(|name| catalogue.family(name).is_none()) {
        return Err(Issue::new(Code::CA04, format!("`{unknown}`")));
    }
    let names = catalogue.families.iter().map(|family| family.name.clone());
    Ok(names
        .filter(|name| wanted.is_empty() || wanted.contains(name))
        .collect())
}

/// The meaning of a word; a record may hold any.
pub(super) fn word<T: Copy>(what: &str, words: &[(&str, T)], wanted: &str) -> Result<T, Issue> {
    let found = words
        .iter()
        .find(|(word, _)| *word == wanted)
        .map(|&(_, meaning)| meaning);
    found.ok_or_else(|| Issue::new(Code::AS03, format!("{what} `{wanted}`")))
}
