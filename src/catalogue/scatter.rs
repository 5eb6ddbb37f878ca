//! How uneven the water of real nozzles is on the layout they are made for.
//!
//! A drawing adds up smooth profiles. Real nozzles have streams, sectors and makes; what that adds
//! to the coefficient of variation of the overlapped head-to-head field is the nozzle's scatter,
//! `CV² = CV_measured² − CV_drawn²` of the same test layout. It belongs to the field, not to one
//! head: overlap averages. Published tests give it for a kind of nozzle (`degradation.nozzle_*_cv`
//! of the assumptions, with range and source); a family says which kind it is of, or states a
//! value of its own.

use serde::Deserialize;

use super::parse::within;
use super::{Head, Pattern};

/// Whose published tests a family rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScatterKind {
    /// Fixed sprays, of fixed and of adjustable arc.
    #[default]
    Spray,
    /// Multi-stream rotary nozzles on spray bodies.
    Rotary,
    /// Gear-driven rotors of a single stream.
    Rotor,
}

impl ScatterKind {
    /// The word in a catalogue.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            ScatterKind::Spray => "spray",
            ScatterKind::Rotary => "rotary",
            ScatterKind::Rotor => "rotor",
        }
    }

    fn of_stream(stream: &str) -> ScatterKind {
        let words = stream.to_lowercase();
        if words.contains("spray") {
            ScatterKind::Spray
        } else if words.contains("single") {
            ScatterKind::Rotor
        } else {
            ScatterKind::Rotary
        }
    }
}

/// A value that the catalogue states for a family, as coefficients of variation.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnScatter {
    /// With nozzles of fixed arc.
    pub fixed_cv: f64,
    /// With nozzles of adjustable arc.
    pub adjustable_cv: f64,
    /// Arcs that are set with a nozzle of fixed arc \[degrees\].
    pub fixed_arcs_deg: Vec<u16>,
}

/// What a catalogue says of a family's scatter.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Scatter {
    /// Whose tests it rests on, and whose range its own value shares in proportion.
    pub kind: ScatterKind,
    /// Its own value; `None` where that of the kind holds.
    pub own: Option<OwnScatter>,
    /// Whether the catalogue says nothing, so that the kind was read from the words for its stream.
    pub is_assumed: bool,
}

impl Scatter {
    /// The coefficient of variation that the catalogue states for a layout: the root of the mean
    /// square over its heads, by the kind of their arcs; `None` where the catalogue states none, or
    /// there is no head.
    #[must_use]
    pub fn own_cv(&self, heads: &[Head]) -> Option<f64> {
        let own = self.own.as_ref().filter(|_| !heads.is_empty())?;
        let is_fixed = |head: &Head| match head.pattern {
            Pattern::Strip { .. } => true,
            Pattern::Sector { sweep_deg, .. } => own
                .fixed_arcs_deg
                .iter()
                .any(|&arc_deg| (f64::from(arc_deg) - sweep_deg).abs() < 0.5),
        };
        let fixed = heads.iter().filter(|head| is_fixed(head)).count() as f64;
        let share = fixed / heads.len() as f64;
        let variance = share * own.fixed_cv * own.fixed_cv
            + (1.0 - share) * own.adjustable_cv * own.adjustable_cv;
        Some(variance.sqrt())
    }
}

/// `nozzle_cv` as typed: a kind, one value, or two with the arcs that are fixed.
#[derive(Deserialize)]
#[serde(untagged)]
pub(super) enum ScatterText {
    Kind(String),
    One(f64),
    ByArc {
        fixed: f64,
        adjustable: f64,
        #[serde(default = "common_arcs_deg")]
        fixed_arcs_deg: Vec<u16>,
    },
}

/// Quarter, third, half, two thirds, three quarters and full circle: what nozzles of fixed arc come
/// in (common practice, no source).
fn common_arcs_deg() -> Vec<u16> {
    vec![90, 120, 180, 240, 270, 360]
}

/// Largest coefficient of variation that a catalogue may state: DU_lq is 0 from 0.787 on.
const MAX_CV: f64 = 0.8;

/// Reads `nozzle_cv` of a family whose stream is described so.
pub(super) fn scatter(text: Option<ScatterText>, stream: &str) -> Result<Scatter, String> {
    let kind = ScatterKind::of_stream(stream);
    let own = |fixed_cv, adjustable_cv, fixed_arcs_deg| {
        within("nozzle_cv", fixed_cv, 0.0, MAX_CV)?;
        within("nozzle_cv", adjustable_cv, 0.0, MAX_CV)?;
        Ok(Scatter {
            kind,
            own: Some(OwnScatter {
                fixed_cv,
                adjustable_cv,
                fixed_arcs_deg,
            }),
            is_assumed: false,
        })
    };
    match text {
        None => Ok(Scatter {
            kind,
            own: None,
            is_assumed: true,
        }),
        Some(ScatterText::One(cv)) => own(cv, cv, Vec::new()),
        Some(ScatterText::ByArc {
            fixed,
            adjustable,
            fixed_arcs_deg,
        }) => own(fixed, adjustable, fixed_arcs_deg),
        Some(ScatterText::Kind(word)) => {
            let kinds = [ScatterKind::Spray, ScatterKind::Rotary, ScatterKind::Rotor];
            let kind = kinds.into_iter().find(|kind| kind.text() == word);
            let kind = kind.ok_or_else(|| {
                format!("nozzle_cv is `{word}`; allowed are spray, rotary, rotor, or a number")
            })?;
            Ok(Scatter {
                kind,
                own: None,
                is_assumed: false,
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Catalogue, GENERIC_TOML, Role};
    use super::*;
    use crate::issue::Code;
    use crate::shape::Point;
    use crate::units::Flow;

    fn head(sweep_deg: f64) -> Head {
        Head {
            at: Point::new(0.0, 0.0),
            role: Role::Kept,
            pattern: Pattern::Sector {
                radius_m: 3.0,
                start_deg: 0.0,
                sweep_deg,
            },
            nozzle: 0,
            flow: Flow::ZERO,
        }
    }

    fn spray_with(line: &str) -> Catalogue {
        let text = GENERIC_TOML.replacen("nozzle_cv = \"spray\"", line, 1);
        Catalogue::parse(&text, "x.toml").unwrap()
    }

    #[test]
    fn every_embedded_family_names_its_kind() {
        let kinds: Vec<(String, ScatterKind, bool)> = Catalogue::generic()
            .families
            .into_iter()
            .map(|family| (family.name, family.scatter.kind, family.scatter.is_assumed))
            .collect();
        let expected = [
            ("spray", ScatterKind::Spray),
            ("rotary-mid", ScatterKind::Rotary),
            ("rotary-slow", ScatterKind::Rotary),
            ("rotor", ScatterKind::Rotor),
        ];
        assert_eq!(
            kinds,
            expected.map(|(name, kind)| (name.to_owned(), kind, false))
        );
    }

    #[test]
    fn a_catalogue_states_one_value_or_one_for_each_kind_of_arc() {
        let one = spray_with("nozzle_cv = 0.3");
        assert_eq!(one.families[0].scatter.own_cv(&[head(95.0)]), Some(0.3));
        let two = spray_with("nozzle_cv = { fixed = 0.3, adjustable = 0.4 }");
        let own_cv = |heads: &[Head]| two.families[0].scatter.own_cv(heads);
        assert_eq!(own_cv(&[head(90.0), head(180.0)]), Some(0.3));
        assert_eq!(own_cv(&[head(95.0)]), Some(0.4));
        // Half of each: the root of (0.09 + 0.16) / 2.
        let mixed = own_cv(&[head(90.0), head(95.0)]).unwrap();
        assert!((mixed - 0.125_f64.sqrt()).abs() < 1e-12);
        assert_eq!(own_cv(&[]), None);
    }

    #[test]
    fn without_a_statement_the_stream_decides_and_that_is_said() {
        let silent = spray_with("");
        let scatter = &silent.families[0].scatter;
        assert_eq!(
            (scatter.kind, scatter.is_assumed),
            (ScatterKind::Spray, true)
        );
        assert_eq!(
            ScatterKind::of_stream("gear-driven single stream"),
            ScatterKind::Rotor
        );
        assert_eq!(ScatterKind::of_stream("anything"), ScatterKind::Rotary);
    }

    #[test]
    fn an_unknown_kind_and_an_impossible_value_are_refused() {
        for line in [
            "nozzle_cv = \"mist\"",
            "nozzle_cv = 0.9",
            "nozzle_cv = -0.1",
        ] {
            let text = GENERIC_TOML.replacen("nozzle_cv = \"spray\"", line, 1);
            let issue = Catalogue::parse(&text, "x.toml").unwrap_err();
            assert_eq!(issue.code, Code::CA02, "{line}: {issue}");
        }
    }
}
