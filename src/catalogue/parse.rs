//! Reads and validates a catalogue file.

use serde::Deserialize;

use super::hardware::{HardwareText, curve};
use super::scatter::{ScatterText, scatter};
use super::{Catalogue, Family, FlowFollows, Hardware, Nozzle, Profile, Strip, StripKind, Sweeps};
use crate::issue::{Code, Issue, Spot};
use crate::units::{Flow, Length, Pressure};

/// Largest ratio of rates inside a matched family (common practice, no source).
const MATCHED_RATIO: f64 = 1.10;

/// A file as typed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    #[serde(default)]
    title: String,
    #[serde(default, rename = "family")]
    families: Vec<toml::Spanned<FamilyText>>,
    hardware: Option<HardwareText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FamilyText {
    name: String,
    #[serde(default)]
    stream: String,
    rated_kpa: f64,
    working_kpa: [f64; 2],
    #[serde(default = "half")]
    flow_exponent: f64,
    #[serde(default = "zero")]
    throw_exponent: f64,
    /// Pressure [kPa], flow over rated flow, throw over rated throw.
    #[serde(default)]
    curve: Vec<(f64, f64, f64)>,
    profile: ProfileText,
    #[serde(default = "zero")]
    trajectory_deg: f64,
    #[serde(default = "zero")]
    drop_mm: f64,
    sweeps_deg: SweepsText,
    flow_follows: FollowsText,
    #[serde(default = "zero")]
    unit_cost_cur: f64,
    own_body_cur: Option<f64>,
    nozzle_cv: Option<ScatterText>,
    #[serde(default, rename = "nozzle")]
    nozzles: Vec<NozzleText>,
    #[serde(default, rename = "strip")]
    strips: Vec<StripText>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum ProfileText {
    Name(String),
    Points(Vec<(f64, f64)>),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SweepsText {
    from: u16,
    to: u16,
    step: u16,
    full_circle: bool,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum FollowsText {
    Rated,
    Throw,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NozzleText {
    name: String,
    throw_m: [f64; 2],
    full_circle_lpm: f64,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum KindText {
    End,
    Side,
    Centre,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StripText {
    name: String,
    kind: KindText,
    length_m: SideText,
    width_m: SideText,
    flow_lpm: f64,
}

/// A side of a strip: fixed, or shortest and rated.
#[derive(Deserialize)]
#[serde(untagged)]
enum SideText {
    Fixed(f64),
    Range([f64; 2]),
}

impl SideText {
    fn range_m(&self) -> (f64, f64) {
        match *self {
            SideText::Fixed(side_m) => (side_m, side_m),
            SideText::Range([shortest_m, rated_m]) => (shortest_m, rated_m),
        }
    }
}

fn half() -> f64 {
    0.5
}

fn zero() -> f64 {
    0.0
}

impl Catalogue {
    /// Reads a catalogue from TOML and validates it.
    ///
    /// # Errors
    /// `CA01` when the text is not a catalogue, `CA02` for an impossible value, `CA03` when the
    /// nozzles of a family differ in rate by more than 10 %.
    pub fn parse(text: &str, file: &str) -> Result<Catalogue, Issue> {
        let typed: FileText = toml::from_str(text).map_err(|error| {
            let spot = Spot::of_bytes(text, error.span().unwrap_or(0..0));
            let found = format!("line {}: {}", spot.line(), error.message());
            Issue::new(Code::CA01, found).in_file(file).at_spot(spot)
        })?;
        if typed.families.is_empty() {
            return Err(Issue::new(Code::CA01, "it has no [[family]]").in_file(file));
        }
        let mut families: Vec<Family> = Vec::new();
        for family in typed.families {
            let spot = Spot::of_bytes(text, family.span());
            let placed = |issue: Issue| issue.in_file(file).at_spot(spot.clone());
            let family = family.into_inner().validated().map_err(placed)?;
            if families.iter().any(|other| other.name == family.name) {
                let found = format!("family `{}` stands twice", family.name);
                return Err(placed(Issue::new(Code::CA02, found)));
            }
            families.push(family);
        }
        let hardware = match typed.hardware {
            Some(hardware) => hardware.validated().map_err(|issue| issue.in_file(file))?,
            None => Hardware::generic()?,
        };
        Ok(Catalogue {
            title: typed.title,
            families,
            hardware,
        })
    }
}

impl FamilyText {
    fn validated(self) -> Result<Family, Issue> {
        let name = self.name;
        let bad = |found: String| Issue::new(Code::CA02, format!("family `{name}`: {found}"));
        if name.is_empty()
            || !name
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
        {
            return Err(bad("the name must be letters, digits, - and _".into()));
        }
        if self.nozzles.is_empty() {
            return Err(bad("it has no [[family.nozzle]]".into()));
        }
        for (what, value, low, high) in [
            ("rated_kpa", self.rated_kpa, 50.0, 1_000.0),
            ("working_kpa[0]", self.working_kpa[0], 20.0, self.rated_kpa),
            (
                "working_kpa[1]",
                self.working_kpa[1],
                self.rated_kpa,
                2_000.0,
            ),
            ("flow_exponent", self.flow_exponent, 0.0, 1.0),
            ("throw_exponent", self.throw_exponent, 0.0, 1.0),
            ("trajectory_deg", self.trajectory_deg, 0.0, 60.0),
            ("drop_mm", self.drop_mm, 0.0, 6.0),
            ("unit_cost_cur", self.unit_cost_cur, 0.0, 1e6),
            ("own_body_cur", self.own_body_cur.unwrap_or(0.0), 0.0, 1e6),
        ] {
            within(what, value, low, high).map_err(bad)?;
        }
        let curve = curve(&self.curve, self.rated_kpa).map_err(bad)?;
        let scatter = scatter(self.nozzle_cv, &self.stream).map_err(bad)?;
        let sweeps = self.sweeps_deg;
        if sweeps.step == 0
            || !sweeps.step.is_multiple_of(5)
            || !sweeps.from.is_multiple_of(5)
            || sweeps.from < 5
            || sweeps.to < sweeps.from
            || sweeps.to > 355
        {
            return Err(bad(
                "sweeps_deg must run from 5 or more to 355 or less in steps of 5 or a multiple"
                    .into(),
            ));
        }
        let profile = match self.profile {
            ProfileText::Name(text) => Profile::parse(&text),
            ProfileText::Points(points) => Profile::tabulated(points),
        }
        .map_err(|error| bad(error.to_string()))?;
        let mut nozzles = Vec::new();
        for nozzle in self.nozzles {
            let [shortest, longest] = nozzle.throw_m;
            within("throw_m[0]", shortest, 0.5, 40.0).map_err(bad)?;
            within("throw_m[1]", longest, shortest, 40.0).map_err(bad)?;
            within("full_circle_lpm", nozzle.full_circle_lpm, 1e-3, 1_000.0).map_err(bad)?;
            nozzles.push(Nozzle {
                name: nozzle.name,
                shortest: Length::of_m(shortest),
                longest: Length::of_m(longest),
                full_circle: Flow::of_m3_s(nozzle.full_circle_lpm / 60_000.0),
            });
        }
        nozzles.sort_by(|a, b| {
            a.longest
                .m()
                .total_cmp(&b.longest.m())
                .then_with(|| a.name.cmp(&b.name))
        });
        for pair in nozzles.windows(2) {
            if pair[1].shortest.m() > pair[0].longest.m() + 1e-9 {
                return Err(bad(format!(
                    "no nozzle reaches between {} m and {} m",
                    pair[0].longest.m(),
                    pair[1].shortest.m()
                )));
            }
        }
        let rates: Vec<f64> = nozzles.iter().map(Nozzle::square_rate_mm_h).collect();
        let smallest = rates.iter().copied().fold(f64::INFINITY, f64::min);
        let largest = rates.iter().copied().fold(0.0, f64::max);
        if largest / smallest > MATCHED_RATIO + 1e-9 {
            return Err(Issue::new(
                Code::CA03,
                format!("family `{name}`: rates run from {smallest:.1} to {largest:.1} mm/h"),
            ));
        }
        let mut strips = Vec::new();
        for strip in self.strips {
            let (length_m, width_m) = (strip.length_m.range_m(), strip.width_m.range_m());
            within("length_m", length_m.1, 0.5, 40.0).map_err(bad)?;
            within("length_m[0]", length_m.0, 0.5, length_m.1).map_err(bad)?;
            within("width_m", width_m.1, 0.3, length_m.0).map_err(bad)?;
            within("width_m[0]", width_m.0, 0.3, width_m.1).map_err(bad)?;
            within("flow_lpm", strip.flow_lpm, 1e-3, 1_000.0).map_err(bad)?;
            strips.push(Strip {
                name: strip.name,
                kind: match strip.kind {
                    KindText::End => StripKind::End,
                    KindText::Side => StripKind::Side,
                    KindText::Centre => StripKind::Centre,
                },
                length: (Length::of_m(length_m.0), Length::of_m(length_m.1)),
                width: (Length::of_m(width_m.0), Length::of_m(width_m.1)),
                flow: Flow::of_m3_s(strip.flow_lpm / 60_000.0),
            });
        }
        Ok(Family {
            stream: self.stream,
            rated: Pressure::of_pa(self.rated_kpa * 1_000.0),
            working: (
                Pressure::of_pa(self.working_kpa[0] * 1_000.0),
                Pressure::of_pa(self.working_kpa[1] * 1_000.0),
            ),
            flow_exponent: self.flow_exponent,
            throw_exponent: self.throw_exponent,
            curve,
            profile,
            trajectory_deg: self.trajectory_deg,
            drop_mm: self.drop_mm,
            scatter,
            sweeps: Sweeps {
                from_deg: sweeps.from,
                to_deg: sweeps.to,
                step_deg: sweeps.step,
                full_circle: sweeps.full_circle,
            },
            flow_follows: match self.flow_follows {
                FollowsText::Rated => FlowFollows::Rated,
                FollowsText::Throw => FlowFollows::Throw,
            },
            unit_cost_cur: self.unit_cost_cur,
            own_body_cur: self.own_body_cur,
            nozzles,
            strips,
            name,
        })
    }
}

pub(super) fn within(what: &str, value: f64, low: f64, high: f64) -> Result<(), String> {
    if value.is_finite() && value >= low && value <= high {
        Ok(())
    } else {
        Err(format!("{what} is {value}; allowed is {low} to {high}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_families_are_the_four_and_apply_their_rates() {
        let catalogue = Catalogue::generic();
        let names: Vec<&str> = catalogue.families.iter().map(|f| f.name.as_str()).collect();
        assert_eq!(names, ["spray", "rotary-mid", "rotary-slow", "rotor"]);
        for (name, rate_mm_h, shortest_m, longest_m) in [
            ("spray", 40.0, 1.5, 4.5),
            ("rotary-mid", 20.0, 2.0, 5.0),
            ("rotary-slow", 10.0, 2.5, 10.0),
            ("rotor", 10.0, 8.0, 18.0),
        ] {
            let family = catalogue.family(name).unwrap();
            // Flows in the file carry eight digits.
            assert!(
                (family.rated_rate().mm_h() - rate_mm_h).abs() < 1e-5,
                "{name}"
            );
            assert_eq!(
                (family.shortest_m(), family.longest_m()),
                (shortest_m, longest_m),
                "{name}"
            );
            // A rotor throws too far for a strip.
            let strips = if name == "rotor" { 0 } else { 3 };
            assert_eq!(family.strips.len(), strips, "{name}");
        }
    }

    #[test]
    fn no_throw_is_shortened_by_more_than_a_quarter() {
        // More damages the pattern (common practice, no source).
        for family in Catalogue::generic().families {
            for nozzle in &family.nozzles {
                assert!(
                    nozzle.shortest.m() >= 0.745 * nozzle.longest.m(),
                    "{}",
                    nozzle.name
                );
            }
        }
    }

    #[test]
    fn strips_apply_their_family_s_rate_and_shrink_by_a_quarter_at_most() {
        for family in Catalogue::generic().families {
            for (i, strip) in family.strips.iter().enumerate() {
                // Flows in the file carry eight digits.
                assert!(
                    (strip.rate_mm_h() - family.rated_rate().mm_h()).abs() < 1e-4,
                    "{}",
                    strip.name
                );
                for (shortest, rated) in [strip.length, strip.width] {
                    assert!(shortest.m() >= 0.745 * rated.m(), "{}", strip.name);
                }
                let (length_m, width_m) = (strip.length.0.m(), strip.width.0.m());
                let set_lpm = family.strip_flow(i, length_m, width_m).lpm();
                let rated_mm_h = strip.rate_mm_h();
                match family.flow_follows {
                    FlowFollows::Rated => assert_eq!(set_lpm, strip.flow.lpm()),
                    FlowFollows::Throw => {
                        assert!((60.0 * set_lpm / (length_m * width_m) - rated_mm_h).abs() < 1e-9)
                    }
                }
            }
        }
    }

    #[test]
    fn a_side_of_a_strip_may_be_fixed() {
        let text =
            super::super::GENERIC_TOML.replacen("length_m = [3.4, 4.5]", "length_m = 4.5", 1);
        let catalogue = Catalogue::parse(&text, "x.toml").unwrap();
        let (shortest, rated) = catalogue.families[0].strips[0].length;
        assert_eq!((shortest.m(), rated.m()), (4.5, 4.5));
    }

    #[test]
    fn a_family_that_is_not_matched_is_refused() {
        let text = super::super::GENERIC_TOML
            .replace("full_circle_lpm = 1.5\n", "full_circle_lpm = 1.7\n");
        assert_eq!(
            Catalogue::parse(&text, "x.toml").unwrap_err().code,
            Code::CA03
        );
    }

    #[test]
    fn impossible_values_are_refused_with_the_place() {
        for (from, to, code) in [
            ("rated_kpa = 210.0", "rated_kpa = -1.0", Code::CA02),
            ("rated_kpa = 210.0", "rated_kpa = nan", Code::CA02),
            ("profile = \"triangular\"", "profile = \"cone\"", Code::CA02),
            ("throw_m = [1.5, 2.0]", "throw_m = [2.1, 2.0]", Code::CA02),
            ("throw_m = [3.4, 4.5]", "throw_m = [4.4, 4.5]", Code::CA02),
            ("length_m = [3.4, 4.5]", "length_m = [4.6, 4.5]", Code::CA02),
            ("width_m = [1.2, 1.6]", "width_m = [1.2, 5.0]", Code::CA02),
            ("name = \"rotary-mid\"", "name = \"spray\"", Code::CA02),
            ("name = \"spray\"", "nam = \"spray\"", Code::CA01),
            ("[[family]]", "[[family", Code::CA01),
        ] {
            let text = super::super::GENERIC_TOML.replacen(from, to, 1);
            let issue = Catalogue::parse(&text, "x.toml").unwrap_err();
            assert_eq!(issue.code, code, "{from} -> {to}: {issue}");
            assert_eq!(issue.place.file.as_deref(), Some("x.toml"));
        }
        assert_eq!(
            Catalogue::parse("title = 'x'", "x").unwrap_err().code,
            Code::CA01
        );
    }

    #[test]
    fn flow_follows_arc_and_throw_where_the_family_says_so() {
        let catalogue = Catalogue::generic();
        let slow = catalogue.family("rotary-slow").unwrap();
        let nozzle = slow.nozzle_for(9.0);
        assert_eq!(slow.nozzles[nozzle].name, "slow-100");
        // 10 mm/h at a square of 9 m: 13.5 L/min for the full circle, a quarter for 90°.
        assert!((slow.flow(nozzle, 9.0, 90.0).lpm() - 13.5 / 4.0).abs() < 1e-6);
        let spray = catalogue.family("spray").unwrap();
        let nozzle = spray.nozzle_for(3.0);
        assert!((spray.flow(nozzle, 2.5, 180.0).lpm() - 3.0).abs() < 1e-6);
    }
}
