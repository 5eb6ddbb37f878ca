//! The twelve texture classes of the USDA triangle, and what the published tables say of each.

use crate::assumptions::{Assumptions, Key, nearest};
use crate::issue::{Code, Issue};
pub use crate::site::Texture;
use crate::units::{Depth, Length, Rate};

/// Which conductivity loam and silt loam have in the Green–Ampt table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LoamVariant {
    /// As printed in 1983: loam 0.34, silt loam 0.65 cm/h.
    #[default]
    Printed,
    /// Interchanged, as half of another list of saturated conductivities suggests.
    Interchanged,
}

/// Which effective porosity clay loam has in the Green–Ampt table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ClayLoamVariant {
    /// As printed in 1983: 0.309.
    #[default]
    Printed,
    /// As probably intended: 0.390.
    Intended,
}

/// Which readings of the Green–Ampt table are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Reading {
    /// Loam and silt loam.
    pub loam: LoamVariant,
    /// Clay loam.
    pub clay_loam: ClayLoamVariant,
}

impl Reading {
    /// The readings that are assumed.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Reading {
        Reading {
            loam: match assumptions.choice(Key::SoilLoamVariant) {
                "interchanged" => LoamVariant::Interchanged,
                _ => LoamVariant::Printed,
            },
            clay_loam: match assumptions.choice(Key::SoilClayLoamVariant) {
                "intended" => ClayLoamVariant::Intended,
                _ => ClayLoamVariant::Printed,
            },
        }
    }
}

/// The parameters of the Green–Ampt equation for one soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreenAmpt {
    /// Effective porosity θ_e, between 0 and 1.
    pub effective_porosity: f64,
    /// Suction at the wetting front ψ, as a height of water.
    pub suction: Length,
    /// Effective conductivity K.
    pub conductivity: Rate,
}

impl GreenAmpt {
    /// The same soil with its conductivity multiplied: channels of turf roots raise it,
    /// compaction lowers it.
    #[must_use]
    pub fn scaled(self, intake_multiplier: f64) -> GreenAmpt {
        GreenAmpt {
            conductivity: self.conductivity * intake_multiplier,
            ..self
        }
    }

    /// ψ Δθ, the depth of water that suction is worth: Δθ = (1 − S_e) θ_e with the effective
    /// saturation S_e at the start (taken into 0 to 1).
    #[must_use]
    pub fn suction_deficit(self, saturation_frac: f64) -> Depth {
        let deficit = (1.0 - saturation_frac.clamp(0.0, 1.0)) * self.effective_porosity;
        Depth::of_depth_m(self.suction.m() * deficit)
    }
}

impl Texture {
    /// The twelve classes, from coarse to fine.
    pub const ALL: [Texture; 12] = [
        Texture::Sand,
        Texture::LoamySand,
        Texture::SandyLoam,
        Texture::Loam,
        Texture::SiltLoam,
        Texture::Silt,
        Texture::SandyClayLoam,
        Texture::ClayLoam,
        Texture::SiltyClayLoam,
        Texture::SandyClay,
        Texture::SiltyClay,
        Texture::Clay,
    ];

    /// The name in the `soil_texture` column, e.g. `sandy loam`.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Texture::Sand => "sand",
            Texture::LoamySand => "loamy sand",
            Texture::SandyLoam => "sandy loam",
            Texture::Loam => "loam",
            Texture::SiltLoam => "silt loam",
            Texture::Silt => "silt",
            Texture::SandyClayLoam => "sandy clay loam",
            Texture::ClayLoam => "clay loam",
            Texture::SiltyClayLoam => "silty clay loam",
            Texture::SandyClay => "sandy clay",
            Texture::SiltyClay => "silty clay",
            Texture::Clay => "clay",
        }
    }

    /// The abbreviation of soil surveys.
    fn abbreviation(self) -> &'static str {
        match self {
            Texture::Sand => "s",
            Texture::LoamySand => "ls",
            Texture::SandyLoam => "sl",
            Texture::Loam => "l",
            Texture::SiltLoam => "sil",
            Texture::Silt => "si",
            Texture::SandyClayLoam => "scl",
            Texture::ClayLoam => "cl",
            Texture::SiltyClayLoam => "sicl",
            Texture::SandyClay => "sc",
            Texture::SiltyClay => "sic",
            Texture::Clay => "c",
        }
    }

    /// Reads a texture as soil surveys write it: the name in any letter case, with spaces,
    /// hyphens or underscores; the survey's abbreviation (`SICL`); size and stone words in front
    /// (`very fine sandy loam`, `gravelly loam`) do not change the class.
    ///
    /// # Errors
    /// `SO01` for any other text, with the nearest class.
    ///
    /// # Example
    /// ```
    /// use evenfall::soil::Texture;
    /// assert_eq!(Texture::parse("Fine Sandy_Loam")?, Texture::SandyLoam);
    /// assert_eq!(Texture::parse("SiCL")?, Texture::SiltyClayLoam);
    /// assert!(Texture::parse("sandy laom").unwrap_err().found.contains("`sandy loam`"));
    /// # Ok::<(), evenfall::issue::Issue>(())
    /// ```
    pub fn parse(text: &str) -> Result<Texture, Issue> {
        const NO_CLASS: [&str; 8] = [
            "very", "fine", "coarse", "medium", "gravelly", "cobbly", "stony", "channery",
        ];
        let lower = text.to_lowercase().replace(['_', '-'], " ");
        let words: Vec<&str> = lower
            .split_whitespace()
            .skip_while(|word| NO_CLASS.contains(word))
            .collect();
        let name = words.join(" ");
        let class = Texture::ALL
            .into_iter()
            .find(|class| class.text() == name || class.abbreviation() == name);
        class.ok_or_else(|| {
            let hint = nearest(&name, Texture::ALL.iter().map(|class| class.text()))
                .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
            Issue::new(Code::SO01, format!("`{text}`{hint}"))
        })
    }

    /// The texture that is assumed where no layer says.
    #[must_use]
    pub fn assumed(assumptions: &Assumptions) -> Texture {
        // The words of the assumption are the names of the classes; a test compares them.
        Texture::parse(assumptions.choice(Key::SoilTexture)).unwrap_or(Texture::Loam)
    }

    /// Green–Ampt parameters. Silt has no row of its own and takes that of silt loam.
    ///
    /// # References
    /// - Rawls, W. J., Brakensiek, D. L. and Miller, N., "Green-Ampt infiltration parameters from
    ///   soils data", Journal of Hydraulic Engineering 109(1), 1983, p. 62–70, table 2 (by a
    ///   transcription). Its loam (0.34) and silt loam (0.65 cm/h) look interchanged against half
    ///   of a list of saturated conductivities, and the effective porosity of clay loam (0.309)
    ///   looks like a slip for 0.390; [`Reading`] says which are used.
    #[must_use]
    pub fn green_ampt(self, reading: Reading) -> GreenAmpt {
        let (loam_cm_h, silt_loam_cm_h) = match reading.loam {
            LoamVariant::Printed => (0.34, 0.65),
            LoamVariant::Interchanged => (0.65, 0.34),
        };
        let clay_loam_porosity = match reading.clay_loam {
            ClayLoamVariant::Printed => 0.309,
            ClayLoamVariant::Intended => 0.390,
        };
        let (effective_porosity, suction_cm, conductivity_cm_h) = match self {
            Texture::Sand => (0.417, 4.95, 11.78),
            Texture::LoamySand => (0.401, 6.13, 2.99),
            Texture::SandyLoam => (0.412, 11.01, 1.09),
            Texture::Loam => (0.434, 8.89, loam_cm_h),
            Texture::SiltLoam | Texture::Silt => (0.486, 16.68, silt_loam_cm_h),
            Texture::SandyClayLoam => (0.330, 21.85, 0.15),
            Texture::ClayLoam => (clay_loam_porosity, 20.88, 0.10),
            Texture::SiltyClayLoam => (0.432, 27.30, 0.10),
            Texture::SandyClay => (0.321, 23.90, 0.06),
            Texture::SiltyClay => (0.423, 29.22, 0.05),
            Texture::Clay => (0.385, 31.63, 0.03),
        };
        GreenAmpt {
            effective_porosity,
            suction: Length::of_m(suction_cm / 100.0),
            conductivity: Rate::of_m_s(conductivity_cm_h / 360_000.0),
        }
    }

    /// Available water capacity: depth of water held per depth of soil, between field capacity
    /// and wilting \[mm/m\]. Classes without a value of their own take the nearest that has one
    /// (common practice, no source).
    ///
    /// # References
    /// - Irrigation Association, *Landscape Irrigation Scheduling and Water Management*, 2005,
    ///   and Allen et al. 1998, FAO Irrigation and Drainage Paper 56, table 19 (from memory).
    #[must_use]
    pub fn available_water_mm_m(self) -> f64 {
        match self {
            Texture::Sand => 60.0,
            Texture::LoamySand => 80.0,
            Texture::SandyLoam => 120.0,
            Texture::Loam | Texture::Clay | Texture::SiltyClay | Texture::SandyClay => 170.0,
            Texture::SiltLoam
            | Texture::Silt
            | Texture::ClayLoam
            | Texture::SandyClayLoam
            | Texture::SiltyClayLoam => 180.0,
        }
    }

    /// Whether the depletion allowed on clay applies.
    #[must_use]
    pub fn is_clay(self) -> bool {
        matches!(
            self,
            Texture::Clay | Texture::SiltyClay | Texture::SandyClay
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::assumptions::Kind;

    #[test]
    fn names_abbreviations_and_survey_words() {
        for class in Texture::ALL {
            assert_eq!(Texture::parse(class.text()).unwrap(), class);
            assert_eq!(
                Texture::parse(&class.abbreviation().to_uppercase()).unwrap(),
                class
            );
        }
        for (text, class) in [
            ("Very fine sandy-loam", Texture::SandyLoam),
            ("gravelly  clay_loam", Texture::ClayLoam),
            (" LOAM ", Texture::Loam),
        ] {
            assert_eq!(Texture::parse(text).unwrap(), class);
        }
        for text in ["", "very fine", "bedrock", "sand and gravel"] {
            assert_eq!(Texture::parse(text).unwrap_err().code, Code::SO01, "{text}");
        }
    }

    #[test]
    fn every_word_of_the_assumption_is_a_class() {
        let Kind::Choice(words) = Key::SoilTexture.entry().kind else {
            panic!("a choice")
        };
        assert_eq!(words.len(), 12);
        for word in words {
            assert_eq!(Texture::parse(word).unwrap().text(), *word);
        }
    }

    #[test]
    fn conductivity_is_half_of_the_saturated_list_but_for_loam_and_silt_loam() {
        // The list of saturated conductivities [cm/h] that SCIENCE section 6.4 cites; nine of
        // eleven rows agree within rounding.
        let list = [
            (Texture::Sand, 23.56),
            (Texture::LoamySand, 5.98),
            (Texture::SandyLoam, 2.18),
            (Texture::Loam, 1.32),
            (Texture::SiltLoam, 0.68),
            (Texture::SandyClayLoam, 0.30),
            (Texture::ClayLoam, 0.20),
            (Texture::SiltyClayLoam, 0.20),
            (Texture::SandyClay, 0.12),
            (Texture::SiltyClay, 0.10),
            (Texture::Clay, 0.06),
        ];
        let agree = |reading: Reading| {
            list.iter()
                .filter(|(class, saturated)| {
                    let cm_h = class.green_ampt(reading).conductivity.mm_h() / 10.0;
                    (cm_h - saturated / 2.0).abs() < 0.011
                })
                .count()
        };
        assert_eq!(agree(Reading::default()), 9);
        assert_eq!(
            agree(Reading {
                loam: LoamVariant::Interchanged,
                ..Reading::default()
            }),
            11
        );
    }

    #[test]
    fn suction_deficit_of_a_silt_loam() {
        // Chow, Maidment and Mays 1988, Applied Hydrology, example 4.3.1: 5.68 cm at 30 %.
        let soil = Texture::SiltLoam.green_ampt(Reading::default());
        assert!((soil.suction_deficit(0.3).mm() - 56.75).abs() < 0.01);
        assert_eq!(soil.suction_deficit(1.0).mm(), 0.0);
        assert_eq!(soil.suction_deficit(7.0).mm(), 0.0);
        let twice = soil.scaled(2.0).conductivity / soil.conductivity;
        assert!((twice - 2.0).abs() < 1e-12);
    }
}
