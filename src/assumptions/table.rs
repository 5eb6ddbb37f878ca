//! The table: every number that the user did not measure, with its default, unit, bounds and
//! source.
//!
//! "From memory" in a source means that the publication was not read again for this table, and
//! "common practice, no source" that there is none to cite. Both can be overridden; neither is a
//! measured truth.

/// What kind of value an assumption has, and what it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A number between two bounds, both allowed.
    Number {
        /// Value when nobody says otherwise.
        default: f64,
        /// Least value allowed.
        low: f64,
        /// Largest value allowed.
        high: f64,
    },
    /// One word of a list; the first is the default.
    Choice(&'static [&'static str]),
    /// Some words of a list; by default all of them.
    Set(&'static [&'static str]),
}

/// Whether a parcel's attribute may override the value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ByParcel {
    /// A column of the parcel layer may carry it.
    Yes,
    /// It holds for the whole run.
    No,
}

/// One row of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// Its name in the code.
    pub key: Key,
    /// `section.name`, as typed by the user.
    pub text: &'static str,
    /// What it is, one sentence without the full stop.
    pub meaning: &'static str,
    /// Unit, `-` for a pure number, empty for words.
    pub unit: &'static str,
    /// Kind, default and bounds.
    pub kind: Kind,
    /// Whether a parcel may override it.
    pub by_parcel: ByParcel,
    /// Where the default comes from.
    pub source: &'static str,
}

macro_rules! kind {
    (number $default:literal in $low:literal..$high:literal) => {
        Kind::Number { default: $default, low: $low, high: $high }
    };
    (choice $($word:literal)*) => { Kind::Choice(&[$($word),*]) };
    (set $($word:literal)*) => { Kind::Set(&[$($word),*]) };
}

macro_rules! assumptions {
    ($($key:ident $text:literal [$unit:literal] ($($kind:tt)*) $by_parcel:ident
       $meaning:literal, $source:literal;)*) => {
        /// The name of an assumption.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Key {
            $(#[doc = concat!("`", $text, "`: ", $meaning, ".")] $key,)*
        }

        /// Every assumption, in the order in which they are printed.
        pub const TABLE: &[Entry] = &[
            $(Entry {
                key: Key::$key,
                text: $text,
                meaning: $meaning,
                unit: $unit,
                kind: kind!($($kind)*),
                by_parcel: ByParcel::$by_parcel,
                source: $source,
            },)*
        ];
    };
}

// Each row: key "section.name" [unit] (kind, default, bounds) overridable by parcel?
//           "meaning", "source".
assumptions! {
    // The clock as it was found.
    ClockFollows "clock.follows" [""] (choice "need" "clock") Yes
        "whether the owner is taken to water to need today, with run times that bring it, or by the clock values below all season",
        "cautious choice of this program: without a known clock no saving is claimed for the schedule";
    ClockMinutes "clock.minutes_min" ["min"] (number 10.0 in 0.0..240.0) Yes
        "run time of one start of the clock as found (used when clock.follows is clock; else the run time is the one that brings the need)",
        "common practice, no source: about ten minutes is what spray stations are often left at";
    ClockStarts "clock.starts_per_day" ["-"] (number 1.0 in 1.0..12.0) Yes
        "starts a watering day of the clock as found",
        "common practice, no source";
    ClockDays "clock.days_per_week" ["d/week"] (number 3.0 in 0.0..7.0) Yes
        "watering days a week of the clock as found; where clock.follows is need at least one",
        "common practice, no source";
    ClockFirstMonth "clock.first_month" ["-"] (number 4.0 in 1.0..12.0) Yes
        "first month in which the clock as found runs (used when clock.follows is clock)",
        "common practice, no source";
    ClockLastMonth "clock.last_month" ["-"] (number 10.0 in 1.0..12.0) Yes
        "last month in which the clock as found runs (used when clock.follows is clock)",
        "common practice, no source";

    // The plants.
    PlantGrass "plant.grass" [""] (choice "cool" "warm") Yes
        "kind of grass where the turf layer does not say",
        "choice of this program: the cool-season factor is the larger one";
    PlantExposure "plant.exposure" [""] (choice "sun" "part" "shade") Yes
        "sun on the turf where the turf layer does not say",
        "choice of this program: full sun needs most";
    PlantFactorForm "plant.factor_form" [""] (choice "annual" "monthly") Yes
        "one plant factor for the year, or a monthly curve scaled to the same mean",
        "annual: ASABE S623; monthly: shape of Meyer and Gibeault 1986, Calif. Agric.; both from memory";
    PlantFactorCool "plant.factor_cool" ["-"] (number 0.8 in 0.1..1.2) Yes
        "plant factor of cool-season turf",
        "ASABE S623 (2015), from memory";
    PlantFactorWarm "plant.factor_warm" ["-"] (number 0.6 in 0.1..1.2) Yes
        "plant factor of warm-season turf",
        "ASABE S623 (2015), from memory";
    PlantPartFrac "plant.exposure_part_frac" ["-"] (number 0.84 in 0.3..1.0) Yes
        "demand in part shade as a fraction of full sun",
        "controller test protocol, 50 % shade, by one secondary transcription";
    PlantShadeFrac "plant.exposure_shade_frac" ["-"] (number 0.67 in 0.2..1.0) Yes
        "demand in shade as a fraction of full sun",
        "controller test protocol, 75 % shade, by one secondary transcription";

    // The sky.
    ClimateRainMethod "climate.effective_rain_method" [""] (choice "tr21" "fixed" "short") No
        "how effective rain is reckoned from the month's rain",
        "tr21: USDA-SCS Technical Release 21 (NEH 623 ch. 2 eq. 2-84); short: USDA-SCS short form, from memory";
    ClimateRainFrac "climate.effective_rain_frac" ["-"] (number 0.5 in 0.0..1.0) No
        "share of the rain that counts, for the method fixed",
        "turf audit practice, from memory";
    ClimateEtoScale "climate.eto_scale" ["-"] (number 1.0 in 0.5..1.5) Yes
        "factor on reference evapotranspiration: from the station of the table to the lawn",
        "choice of this program: the table is taken as it is";
    ClimateRainScale "climate.effective_rain_scale" ["-"] (number 1.0 in 0.0..2.0) Yes
        "factor on effective rain, whatever the method; it never passes the rain or the demand (by months only)",
        "choice of this program: the method is taken as it is";
    ClimateMissingWind "climate.missing_wind_m_s" ["m/s"] (number 2.0 in 0.5..8.0) No
        "wind at 2 m where the weather does not give it",
        "Allen et al. 1998, FAO Irrigation and Drainage Paper 56, ch. 3: 2 m/s";
    ClimateRadiationK "climate.radiation_coefficient" ["-"] (number 0.16 in 0.1..0.25) No
        "coefficient of solar radiation from the daily range of temperature",
        "Allen et al. 1998, FAO Paper 56, eq. 50: 0.16 interior, 0.19 coast";
    ClimateWindHeight "climate.wind_height_m" ["m"] (number 2.0 in 1.0..20.0) No
        "height above ground at which the weather's wind was measured",
        "Allen et al. 1998, FAO Paper 56, ch. 3: standard height 2 m";

    // The soil.
    SoilTexture "soil.texture" [""] (choice "loam" "sand" "loamy sand" "sandy loam" "silt loam" "silt"
            "sandy clay loam" "clay loam" "silty clay loam" "sandy clay" "silty clay" "clay") Yes
        "USDA texture class where no soil layer says",
        "choice of this program: the middle of the triangle; results are flagged soil-assumed";
    SoilLoamVariant "soil.loam_variant" [""] (choice "printed" "interchanged") No
        "conductivity of loam and silt loam as printed in 1983, or the two values interchanged",
        "Rawls, Brakensiek and Miller 1983, J. Hydraul. Eng. 109(1):62-70, table 2; the two look interchanged against other lists";
    SoilClayLoamVariant "soil.clay_loam_variant" [""] (choice "printed" "intended") No
        "effective porosity of clay loam as printed (0.309) or as probably intended (0.390)",
        "Rawls, Brakensiek and Miller 1983, table 2";
    SoilIntakeFrom "soil.intake_from" [""] (choice "basic" "conductivity") No
        "which table gives the intake rate of a texture; it is the basic intake of the accumulation method and the conductivity of the ponding method alike, so that both see one soil",
        "choice of this program: basic, the intake of the controller test protocol (by secondary transcription); conductivity, Rawls, Brakensiek and Miller 1983, table 2 (by a transcription), is 0.1 to 8 times that";
    SoilIntakeMultiplier "soil.intake_multiplier" ["-"] (number 1.0 in 0.05..5.0) Yes
        "factor on the intake rate of both runoff methods: channels of turf roots 1.5 to 3, compaction 0.1 to 0.5",
        "common practice, no source";
    SoilSaturationStart "soil.saturation_start_frac" ["-"] (number 0.6 in 0.0..1.0) Yes
        "effective saturation of the soil when water starts",
        "choice of this program: about half of the available water is used up; no source";
    SoilRecovery "soil.cycle_recovery" [""] (choice "redistribute" "carry") No
        "what a soak does: the water spreads through the root zone and intake starts afresh at the higher saturation, or nothing (each cycle goes on where the last stopped)",
        "choice of this program; carry is the cautious bound; no source";
    SoilSurfaceStorage "soil.surface_storage" [""] (choice "none" "slope") No
        "water that may stand on the surface before it runs off: none, or by slope",
        "slope: Dillon, Hiler and Vittetoe 1972 (centre pivots), from memory";
    SoilRootDepth "soil.root_depth_mm" ["mm"] (number 150.0 in 50.0..600.0) Yes
        "depth of the roots",
        "turf 100 to 300 mm: Irrigation Association 2005 and FAO Paper 56, from memory";
    SoilDepletion "soil.depletion_frac" ["-"] (number 0.5 in 0.1..0.8) Yes
        "share of the available water that may be used up between waterings",
        "turf 0.5: Irrigation Association 2005, from memory";
    SoilDepletionClay "soil.depletion_clay_frac" ["-"] (number 0.4 in 0.1..0.8) Yes
        "the same on clay",
        "turf on clay 0.4: Irrigation Association 2005, from memory";
    SoilAvailableWater "soil.available_water_multiplier" ["-"] (number 1.0 in 0.3..2.0) Yes
        "factor on the texture's available water capacity",
        "1; FAO Paper 56 table 19 gives ranges of about -30 to +30 %, from memory";
    SoilRunoffMethod "soil.runoff_method" [""] (choice "accumulation" "green-ampt") No
        "which runoff enters the volumes; both are printed, and half of the draws take the other",
        "accumulation: controller test protocol, by secondary transcription; green-ampt: Mein and Larson 1973";
    SoilSlope "soil.slope_pct" ["%"] (number 2.0 in 0.0..100.0) Yes
        "slope of the turf where no elevation model says",
        "choice of this program: lawns are graded at about 2 % to drain; common practice, no source";

    // Losses on the way to the turf.
    WaterDriftMethod "water.drift_method" [""] (choice "fixed" "solid-set" "solid-set-humidity" "solid-set-wind"
            "day" "night-wind" "night-humidity" "moving-lateral" "vapour-pressure" "wind-strong" "nozzle-size"
            "nozzle-pressure") No
        "drift and evaporation loss: one fraction, or a published regression (farm sprinklers: a proxy for lawns)",
        "regressions: Playan et al. 2005, Agric. Water Manage. 76:139-159, and earlier ones, by secondary transcription";
    WaterDriftFrac "water.drift_frac" ["-"] (number 0.05 in 0.0..0.4) Yes
        "drift and evaporation loss of every family, for the method fixed",
        "choice of this program: night watering in light air; no source";
    WaterDriftSprayExtra "water.drift_spray_extra_frac" ["-"] (number 0.02 in 0.0..0.05) Yes
        "what fixed sprays lose more than slower families to drift and evaporation",
        "choice of this program: no measurement on turf is known; inside the range of 0 to 5 %, not at its end";
    WaterWind "water.wind_m_s" ["m/s"] (number 1.5 in 0.0..8.0) Yes
        "wind at 2 m in the watering hours",
        "choice of this program; auditors test below 2.2 m/s";
    WaterWindDisplacement "water.wind_displacement_frac" ["-"] (number 0.7 in 0.0..1.2) No
        "share of wind x flight time by which the wind moves a pattern, where place.wind is mean or rose",
        "common practice 0.6 to 0.8, no source; drops of 1 to 3 mm integrated by the drag law of Fukui, Nakanishi and Okamura 1980 (from memory)";
    WaterHumidity "water.rh_pct" ["%"] (number 70.0 in 5.0..100.0) Yes
        "relative humidity in the watering hours",
        "choice of this program; no source";
    WaterAirTemperature "water.air_c" ["degC"] (number 18.0 in -5.0..45.0) Yes
        "air temperature in the watering hours",
        "choice of this program; no source";
    WaterRunoffMost "water.runoff_most_frac" ["-"] (number 0.3 in 0.0..0.9) No
        "largest runoff that enters volumes, on every side of a comparison; the computed runoff is printed as it is",
        "cautious choice of this program: an owner who loses more sees it in the gutter, and the turf goes short instead";

    // From the drawing to the field.
    DegradationNozzleSpray "degradation.nozzle_spray_cv" ["-"] (number 0.398 in 0.0..0.8) No
        "scatter of fixed sprays: what real nozzles add to the drawing of their overlapped head-to-head field, fixed and adjustable arcs alike",
        "DU 0.49 under ideal conditions (CV 0.401): Baum, Dukes and Miller 2005, J. Irrig. Drain. Eng. 131(4):336-341 (abstract), less our drawing of a square of quarter circles, CV 0.046";
    DegradationNozzleRotary "degradation.nozzle_rotary_cv" ["-"] (number 0.30 in 0.0..0.8) No
        "the same of multi-stream rotary nozzles",
        "inferred: no published before-and-after field test was found; about the middle between a trade article's DU 0.70 and no gain over sprays";
    DegradationNozzleRotor "degradation.nozzle_rotor_cv" ["-"] (number 0.351 in 0.0..0.8) No
        "the same of gear-driven rotors",
        "DU 0.55 under ideal conditions (CV 0.354): Baum, Dukes and Miller 2005 (abstract), less the same drawing";
    DegradationStretched "degradation.stretched_factor" ["-"] (number 1.15 in 1.0..2.0) No
        "factor on the scatter of nozzles whose heads stand farther apart than head to head (flags stretched and swap-gap)",
        "choice of this program: tests were head to head, and less overlap averages less; no source";
    DegradationInstall "degradation.install_cv" ["-"] (number 0.14 in 0.0..0.8) No
        "variation that every installed system adds, the same for all families",
        "homes less ideal conditions in quadrature, less pressure 0.10: variance 0.035 (CV 0.187) with wear, Baum, Dukes and Miller 2005 (abstract); its share is a choice of this program";
    DegradationWear "degradation.wear_cv" ["-"] (number 0.124 in 0.0..0.8) No
        "variation from wear that is not seen head by head: tilted, sunk, clogged heads",
        "the rest of the same variance";
    DegradationWearAfter "degradation.wear_after_frac" ["-"] (number 1.0 in 0.0..1.0) No
        "share of the wear variance that a repaired or new system carries, as a mean over its life",
        "cautious choice of this program: 1 gives no credit for being new; 0.5 means that wear comes back evenly over its life";
    DegradationPressure "degradation.pressure_cv" ["-"] (number 0.10 in 0.0..0.5) No
        "variation from pressure differences between heads without regulation",
        "common practice, no source: up to 20 % of pressure along a station, and throw off its best pressure";
    DegradationRegulated "degradation.pressure_regulated_cv" ["-"] (number 0.03 in 0.0..0.5) No
        "the same with regulated bodies",
        "common practice, no source: regulated flow within about +-5 %";
    DegradationWind "degradation.wind_cv" ["-"] (number 0.05 in 0.0..0.5) No
        "variation from wind in the watering hours beyond the light wind of the tests (2.2 m/s at most)",
        "choice of this program: the scatter of nozzles contains the wind of their tests; no source";

    // Gross depth.
    BudgetMultiplierForm "budget.run_time_multiplier_form" [""] (choice "blend" "low-quarter" "low-half") No
        "run-time multiplier: 1/(0.4 + 0.6 DU), 1/DU, or 1/(0.3723 + 0.6277 DU)",
        "blend: Irrigation Association 2005, from memory; low-quarter: US EPA; low-half: exact line of a normal distribution (Warrick 1983)";
    BudgetMultiplierMost "budget.run_time_multiplier_most" ["-"] (number 4.0 in 1.0..20.0) No
        "largest run-time multiplier; beyond it the turf needs repair, not minutes",
        "common practice, no source";

    BudgetBalance "budget.balance" [""] (choice "monthly" "daily") No
        "whether the need follows from the months of the mean year, or from a daily balance of the root zone where the climate is given by days",
        "monthly: needs no daily weather; daily: Allen et al. 1998, FAO Paper 56, eq. 85";

    // The hardware that is proposed.
    HardwareNewBodies "hardware.new_bodies" [""] (choice "regulated" "unregulated") No
        "whether bodies of new layouts regulate pressure, and whether regulated bodies are offered as a measure of their own beside repair and swap, which keep bodies where they can",
        "choice of this program: pressure-regulating bodies are what rebate programs ask for; what they save is never credited to a nozzle";

    // The clock that is proposed.
    RestrictionDays "restrictions.allowed_weekdays" [""] (set "mon" "tue" "wed" "thu" "fri" "sat" "sun") No
        "days on which watering is allowed",
        "no restriction by default; see the local rule";
    RestrictionDayRule "restrictions.day_rule" [""] (choice "weekdays" "odd-even") No
        "whether days are allowed by weekday, or every other day by house number",
        "no restriction by default; see the local rule";
    RestrictionClosedFrom "restrictions.closed_from_h" ["h"] (number 10.0 in 0.0..24.0) No
        "hour of the day from which watering is closed",
        "23 CCR 492.7: overhead irrigation between 8 p.m. and 10 a.m., from memory";
    RestrictionClosedTo "restrictions.closed_to_h" ["h"] (number 20.0 in 0.0..24.0) No
        "hour of the day to which watering is closed",
        "23 CCR 492.7, from memory";
    RestrictionMostMinutes "restrictions.most_minutes_per_day" ["min"] (number 1440.0 in 1.0..1440.0) No
        "most minutes a station may run on one day",
        "no restriction by default; see the local rule";
    RestrictionLowRateExempt "restrictions.low_rate_exempt_mm_h" ["mm/h"] (number 0.0 in 0.0..100.0) No
        "stations at or below this rate are exempt from the most minutes a day",
        "no exemption by default; see the local rule";
    ControllerStarts "controller.starts_most" ["-"] (number 4.0 in 1.0..24.0) Yes
        "starts that one program of the controller can hold",
        "common practice, no source";
    ControllerPrograms "controller.programs" ["-"] (number 3.0 in 1.0..12.0) Yes
        "programs that the controller can hold",
        "common practice, no source";
    ControllerStations "controller.stations" ["-"] (number 12.0 in 1.0..200.0) Yes
        "stations that the controller can serve",
        "common practice, no source";
    ControllerMinutesMost "controller.minutes_most" ["min"] (number 240.0 in 10.0..1440.0) Yes
        "longest run time that can be keyed in",
        "common practice, no source";
    ControllerCycleLeast "controller.cycle_least_min" ["min"] (number 3.0 in 1.0..30.0) Yes
        "shortest cycle that a planned schedule uses: heads must rise and streams form",
        "common practice, no source";
    ControllerSoakLeast "controller.soak_least_min" ["min"] (number 20.0 in 0.0..240.0) Yes
        "shortest rest between two cycles of a planned schedule",
        "common practice, no source";

    // Rules of the public programs.
    OrdinanceSteepSlope "ordinance.steep_slope_pct" ["%"] (number 25.0 in 1.0..100.0) No
        "slope above which fast families are refused",
        "23 CCR 492.7(a)(1)(V), 2015 text";
    OrdinanceSteepRate "ordinance.steep_rate_mm_h" ["mm/h"] (number 19.05 in 1.0..60.0) No
        "largest rate on such slopes",
        "23 CCR 492.7(a)(1)(V), 2015 text: 0.75 in/h";
    OrdinanceFactor "ordinance.et_adjustment_frac" ["-"] (number 0.55 in 0.1..1.0) No
        "evapotranspiration adjustment factor of the landscape ordinance",
        "23 CCR 492.4, 2015 text: 0.55 residential, 0.45 non-residential";
    OrdinanceEfficiency "ordinance.irrigation_efficiency_frac" ["-"] (number 0.75 in 0.3..1.0) No
        "irrigation efficiency of overhead spray in the landscape ordinance",
        "23 CCR 492.4, 2015 text: 0.75 overhead, 0.81 drip";
    OrdinanceRainCredit "ordinance.rain_credit_frac" ["-"] (number 0.0 in 0.0..0.25) No
        "share of the year's rain that is taken off ETo in the ordinance",
        "23 CCR 492.4: up to 25 % may be credited, from memory";
    HomeBudgetFactor "home_budget.et_adjustment_frac" ["-"] (number 0.7 in 0.1..1.0) No
        "allowance of the federal new-home budget as a fraction of ETo",
        "US EPA, revised water budget approach 2009: 70 %";
    HomeBudgetRain "home_budget.peak_rain_frac" ["-"] (number 0.25 in 0.0..1.0) No
        "share of the peak month's rain that counts in the federal budget",
        "US EPA water budget: 25 %, from memory";
    HomeBudgetDuSpray "home_budget.du_spray" ["-"] (number 0.65 in 0.3..1.0) No
        "low-quarter uniformity of fixed sprays in the federal budget",
        "US EPA water budget: 0.65, from memory";
    HomeBudgetDuRotary "home_budget.du_rotary" ["-"] (number 0.7 in 0.3..1.0) No
        "low-quarter uniformity of rotary heads in the federal budget",
        "US EPA water budget: 0.70, from memory";

    // From the potential to the claim.
    SavingsBehaviour "savings.behaviour" [""] (choice "retimed" "unchanged" "scaled") Yes
        "what the owner does with the clock after new hardware: gross savings and claims follow it",
        "choice of this program: re-timed, as every sheet asks for; potential figures always assume it, and the other two are printed beside it";
    SavingsCounterfactual "savings.counterfactual" [""] (choice "reclock" "as-found" "repair") No
        "against what new hardware is credited: the old hardware under the same rule for the clock, the turf area as found, or the old hardware repaired",
        "choice of this program: reclock, so that hardware is paid for what hardware does; all three are printed";
    SavingsRealisation "savings.realisation_frac" ["-"] (number 0.8 in 0.0..1.0) No
        "share of what new hardware saves that a program realises, the clock apart: parts not fitted, fitted wrong or changed back",
        "choice of this program; no source. Common practice takes 0.3 to 0.7 of a potential that counts the clock too";
    SavingsRealisationClock "savings.realisation_clock_frac" ["-"] (number 0.5 in 0.0..1.0) No
        "share of what a right schedule saves that a program realises (used where savings.counterfactual is as-found and the clock is known)",
        "common practice 0.3 to 0.7, no source";
    SavingsFreeRiders "savings.free_ridership_frac" ["-"] (number 0.2 in 0.0..1.0) No
        "share of participants who would have changed anyway",
        "common practice 0.1 to 0.3, no source";
    SavingsSpillover "savings.spillover_frac" ["-"] (number 0.0 in 0.0..1.0) No
        "savings of others who followed without a rebate",
        "cautious choice of this program: none";
    SavingsDecay "savings.decay_frac_yr" ["1/yr"] (number 0.05 in 0.0..0.5) No
        "yearly loss of savings",
        "common practice 2 to 8 % a year, no source";
    SavingsLife "savings.life_yr" ["yr"] (number 7.0 in 1.0..30.0) No
        "life of a nozzle",
        "common practice 5 to 8 years, no source";
    SavingsReview "savings.review_above_frac" ["-"] (number 0.3 in 0.05..1.0) No
        "savings above this share of the use are flagged for review",
        "published evidence lies between 5 and 25 %: US EPA 2017 and 2024, Baum et al. 2005, Solomon et al. 2007";

    SavingsRangeWidth "savings.range_width" ["-"] (number 1.0 in 0.0..2.0) No
        "factor on the width of all ranges from which draws are taken; 0 makes every draw the central value",
        "choice of this program: the ranges as listed";

    SavingsTier "savings.tier_m3_yr" ["m3/yr"] (number 3.0 in 0.0..1000.0) No
        "claim from which a parcel without a meter stands in the tier high if nine of ten draws reach it, and low if nine of ten do not",
        "the 9.1 m3 a home of US EPA's draft nozzle specification, 2023-24, times realisation, free riders and persistence as assumed here";

    // The water meter.
    MeterEfficiency "meter.allowance_efficiency_frac" ["-"] (number 0.7 in 0.3..1.0) No
        "efficiency of the allowance that metered outdoor use is held against: net need over this",
        "US EPA water budget: low-quarter uniformity of 0.65 for sprays and 0.70 for rotary heads, from memory";
    MeterUnder "meter.under_watered_below" ["-"] (number 0.9 in 0.0..2.0) No
        "ratio of metered outdoor use to allowance below which a parcel under-waters and claims nothing",
        "choice of this program; no source";
    MeterClaimMost "meter.claim_most_frac" ["-"] (number 0.25 in 0.0..1.0) No
        "largest claim as a share of metered outdoor use",
        "upper end of published evidence: Solomon et al. 2007, from memory";
    MeterRaiseMost "meter.raise_most_frac" ["-"] (number 0.5 in 0.0..2.0) No
        "largest share by which a meter above the model raises the use as found; what it adds is the schedule's, never the hardware's",
        "choice of this program; no source: what lies further above is taken for pools, leaks and beds that are not turf";
    MeterWinter "meter.winter_need_frac" ["-"] (number 0.25 in 0.0..0.9) No
        "a period counts as winter when turf needs at most this share of the peak month's need a day",
        "choice of this program; no source";
    MeterSeasonLeast "meter.season_least_frac" ["-"] (number 0.5 in 0.0..1.0) No
        "share of the year's need that metered periods must hold to stand for the year",
        "choice of this program; no source";
    MeterOutdoorScale "meter.outdoor_scale" ["-"] (number 1.0 in 0.1..3.0) Yes
        "factor on metered outdoor use: what the winter minimum takes for indoor use, or for outdoor use, and is not",
        "choice of this program: the winter minimum is taken as it is";

    // Heads that are in the ground.
    HeadsOnBoundary "heads.on_boundary_m" ["m"] (number 1.0 in 0.2..3.0) Yes
        "an existing head this near to the boundary of the turf stands on it: its arc follows the boundary",
        "choice of this program: a position by hand-held receiver is good to about a metre; no source";
    HeadsSunkThrow "heads.sunk_throw_frac" ["-"] (number 0.75 in 0.3..1.0) No
        "throw of a sunk head as a fraction of a sound one: the grass catches the stream",
        "common practice, no source";
    HeadsTiltedThrow "heads.tilted_throw_frac" ["-"] (number 0.9 in 0.5..1.0) No
        "throw of a tilted head as a fraction of a sound one, a mean over its arc",
        "common practice, no source";
    HeadsBlockedThrow "heads.blocked_throw_frac" ["-"] (number 0.7 in 0.2..1.0) No
        "throw of a head with a blocked screen or nozzle as a fraction of a sound one",
        "common practice, no source";
    HeadsBlockedFlow "heads.blocked_flow_frac" ["-"] (number 0.5 in 0.0..1.0) No
        "flow of a head with a blocked screen or nozzle as a fraction of a sound one",
        "common practice, no source";
    HeadsLeakingThrow "heads.leaking_throw_frac" ["-"] (number 0.9 in 0.5..1.0) No
        "throw of a head that leaks at its body as a fraction of a sound one",
        "common practice, no source";
    HeadsLeakingFlow "heads.leaking_flow_frac" ["-"] (number 0.8 in 0.3..1.0) No
        "what the nozzle of a leaking head gets as a fraction of a sound one; the leak itself enters no volume, which is cautious",
        "common practice, no source";
    HeadsBrokenThrow "heads.broken_throw_frac" ["-"] (number 0.3 in 0.1..1.0) No
        "throw of a broken head as a fraction of a sound one: the water wells up near it",
        "common practice, no source";
    HeadsBrokenFlow "heads.broken_flow_frac" ["-"] (number 0.5 in 0.0..2.0) No
        "flow of a broken head as a fraction of a sound one: between a riser that stays down and a nozzle that is gone",
        "common practice, no source";
    HeadsMisaimed "heads.misaimed_deg" ["deg"] (number 30.0 in 0.0..90.0) No
        "how far clockwise a misaimed head is turned where its azimuth is not given",
        "common practice, no source";
    HeadsCappedBelow "heads.capped_below_frac" ["-"] (number 0.5 in 0.0..0.7) No
        "in a swap a head nearer to another than this share of its throw is capped if the lawn is no worse without it",
        "common practice, no source: heads stand half a throw apart at least";
    HeadsReachOverWidth "heads.reach_over_width_frac" ["-"] (number 1.5 in 1.0..3.0) No
        "longest throw that closes a gap between existing heads, as a share of the turf's inscribed diameter; beyond it a head is added",
        "choice of this program: a longer throw waters the neighbour; no source";
    HeadsWideTurf "heads.wide_turf_m" ["m"] (number 12.0 in 5.0..100.0) Yes
        "where heads are not known, turf whose largest circle is wider than this is taken to have rotors, narrower turf sprays",
        "choice of this program: from about 8 to 15 m across rotors take the place of sprays (common practice, no source)";
    HeadsPopUp "heads.pop_up_mm" ["mm"] (number 100.0 in 50.0..300.0) Yes
        "least pop-up height in turf: lower bodies are changed",
        "common practice 100 mm, no source";

    // Where heads may stand.
    PlaceOverheadSetback "place.overhead_setback_m" ["m"] (number 0.0 in 0.0..3.0) Yes
        "distance to pavement inside which no overhead head may throw",
        "none by default; 23 CCR 492.7(a)(1)(U), 2015 text, asks 0.61 m unless the pavement drains to the planting";
    PlaceOffsetPavement "place.offset_pavement_m" ["m"] (number 0.075 in 0.05..1.0) Yes
        "distance of a head from a kerb or the edge of the turf",
        "common practice 50 to 100 mm, no source";
    PlaceOffsetWall "place.offset_wall_m" ["m"] (number 0.2 in 0.05..1.0) Yes
        "distance of a head from a building, wall or fence",
        "common practice 150 to 300 mm, no source";
    PlaceTrunkClearance "place.trunk_clearance_m" ["m"] (number 2.0 in 0.0..10.0) Yes
        "distance of a head from a tree trunk",
        "common practice, no source";
    PlaceWind "place.wind" [""] (choice "none" "mean" "rose") No
        "wind in the watering hours (water.wind_m_s): none; mean: heads stand closer and the rain is moved, from all sides alike; rose: from the sides that the climate tells",
        "spacing: Rochester 1995, Landscape Irrigation Design, ASAE, wind classes by secondary transcription, percentages from memory";
    PlaceWindSpacing "place.wind_spacing_frac" ["-"] (number 1.0 in 0.5..1.2) Yes
        "factor on the largest spacing for wind",
        "1 is head to head; place.wind=mean and rose multiply it by the share for the wind";
    PlaceMinimumWidth "place.minimum_overhead_width_m" ["m"] (number 3.05 in 0.0..10.0) Yes
        "turf narrower than this in any direction is flagged narrow-ordinance; it is planned all the same",
        "23 CCR 492.7(a)(1)(T), 2015 text: 10 ft";
    PlaceMostOver "place.narrow_over_frac" ["-"] (number 0.25 in 0.02..0.9) Yes
        "turf is too narrow for a family when more than this share of its water lands beside it",
        "choice of this program: a quarter; no source";
    PlaceWidestThrows "place.widest_throws" ["-"] (number 8.0 in 2.0..100.0) Yes
        "a turf area is too wide for a family when its largest circle is more than this many of the longest throws across",
        "choice of this program: about fifty full circles inside that circle; larger turf asks for larger heads; no source";

    // The water supply.
    SupplyStatic "supply.static_kpa" ["kPa"] (number 415.0 in 50.0..2000.0) Yes
        "static pressure at the point of connection where no reading says",
        "choice of this program: 60 psi, the pressure of the example home in US EPA, WaterSense specification for spray sprinkler bodies, 2017";
    SupplyStaticAllowance "supply.static_allowance_frac" ["-"] (number 0.10 in 0.0..0.5) No
        "share taken off a static pressure for days when it is lower",
        "common practice, no source: lowest recorded less 10 %";
    SupplyMeterSize "supply.meter_mm" ["mm"] (number 0.0 in 0.0..300.0) Yes
        "nominal size of meter and service line where the supply layer does not say; 0 takes the smallest from 20 mm up that carries the flow given, or else brings supply.night_depth_mm to all turf in supply.night_h",
        "none: a value given here is the user's own; homes have 15 to 25 mm (common practice, no source)";
    SupplyNightDepth "supply.night_depth_mm" ["mm"] (number 8.0 in 1.0..50.0) No
        "depth that an assumed supply must bring to all turf in one night",
        "choice of this program: about the largest daily need with its losses; no source";
    SupplyNightHours "supply.night_h" ["h"] (number 8.0 in 1.0..24.0) No
        "hours in which it must do so",
        "choice of this program; no source";
    SupplyFlow "supply.flow_lpm" ["L/min"] (number 0.0 in 0.0..20000.0) Yes
        "safe flow of the supply; 0 takes the flow in the supply layer, or reckons it from meter and service line",
        "none: a value given here is the user's own";
    SupplyMeterShare "supply.meter_share_frac" ["-"] (number 0.75 in 0.1..1.0) No
        "share of the meter's safe maximum that irrigation may draw",
        "common practice, no source: 75 %";
    SupplyMeterLossShare "supply.meter_loss_frac" ["-"] (number 0.10 in 0.01..0.5) No
        "largest loss in the meter as a share of the static pressure",
        "common practice, no source: 10 %";
    SupplyMeterLoss "supply.meter_loss_at_safe_kpa" ["kPa"] (number 90.0 in 10.0..200.0) No
        "loss in the meter at its safe maximum; it falls with the square of the flow",
        "AWWA C700 allows 13 psi at the safe maximum of small displacement meters, from memory";
    SupplyServiceVelocity "supply.service_velocity_m_s" ["m/s"] (number 1.8 in 0.5..3.0) No
        "largest velocity in the service line",
        "common practice 1.5 to 2.1 m/s, no source";
    SupplyServiceLength "supply.service_length_m" ["m"] (number 15.0 in 0.0..200.0) Yes
        "length of the service line between the main and the meter or point of connection",
        "choice of this program; no source";
    SupplyServiceC "supply.service_roughness_c" ["-"] (number 140.0 in 60.0..160.0) No
        "Hazen-Williams C of the service line",
        "copper 140: common tables, from memory";
    SupplyBackflow "supply.backflow_loss_kpa" ["kPa"] (number 40.0 in 0.0..150.0) Yes
        "loss in the backflow device",
        "common practice, no source: vacuum breakers 20 to 40, reduced-pressure assemblies 80 to 100 kPa";
    SupplyPumpLeast "supply.pump_least_frac" ["-"] (number 0.3 in 0.0..1.0) Yes
        "least flow of a pump as a share of its rated flow",
        "common practice, no source";

    // How long what is bought lasts; a nozzle's life is savings.life_yr.
    LivesBody "lives.body_yr" ["yr"] (number 12.0 in 1.0..50.0) No
        "life of a body, with its swing pipe and check valve",
        "common practice 10 to 15 years for pressure-regulating bodies, no source";
    LivesPipe "lives.pipe_yr" ["yr"] (number 30.0 in 1.0..100.0) No
        "life of pipes, valves, wire and everything else that stays in the ground",
        "choice of this program: round number; no source";

    // What a change costs; money is in the program's own currency.
    CostPartsScale "costs.parts_scale" ["-"] (number 1.0 in 0.1..10.0) No
        "factor on the catalogue's unit costs of all parts",
        "choice of this program: the catalogue is taken as it is";
    CostLabour "costs.labour_cur_h" ["cur/h"] (number 60.0 in 0.0..1000.0) No
        "an hour of a crew",
        "round number of this program; no source";
    CostNozzle "costs.nozzle_min" ["min"] (number 6.0 in 0.0..120.0) No
        "work to set, aim and adjust one nozzle",
        "common practice, no source";
    CostBody "costs.body_min" ["min"] (number 20.0 in 0.0..240.0) No
        "work to set or change one body",
        "common practice, no source";
    CostTrench "costs.trench_min_m" ["min/m"] (number 6.0 in 0.0..120.0) No
        "work to open, lay and close a metre of pipe",
        "common practice, no source";
    CostValve "costs.valve_min" ["min"] (number 60.0 in 0.0..600.0) No
        "work to set one valve and wire it",
        "common practice, no source";
    CostBoring "costs.boring_cur_m" ["cur/m"] (number 100.0 in 0.0..5000.0) No
        "extra cost of a metre of pipe under a building, where there is no way round",
        "choice of this program: a round number for boring with a small machine; no source";
    CostSleeve "costs.sleeve_cur_m" ["cur/m"] (number 40.0 in 0.0..5000.0) No
        "extra cost of a metre of pipe off the parcel: a sleeve under a walk or a lane, and the permit",
        "choice of this program: a round number; no source";
    CostVisit "costs.visit_cur" ["cur"] (number 60.0 in 0.0..10000.0) No
        "cost of every parcel on which anything is changed: the way there, and the clock set anew",
        "round number of this program; no source";
    CostAdmin "costs.admin_cur" ["cur"] (number 40.0 in 0.0..10000.0) No
        "what a funded parcel costs the program beside its rebate: papers and inspection",
        "round number of this program; no source";

    // What water is worth.
    PriceWater "prices.water_cur_m3" ["cur/m3"] (number 1.8 in 0.0..100.0) No
        "what the customer pays for the cubic metre that is saved",
        "round number of this program; no source: enter the marginal price of the tariff";
    PriceAvoided "prices.avoided_cur_m3" ["cur/m3"] (number 0.9 in 0.0..100.0) No
        "what the supplier is spared for it: supply, treatment, energy",
        "round number of this program; no source: enter the supplier's own avoided cost";
    PriceExternality "prices.externality_cur_m3" ["cur/m3"] (number 0.0 in 0.0..100.0) No
        "what a saved cubic metre is worth to others beside customer and supplier: streams, wells, energy",
        "none by default: enter a published value of the place";
    DiscountRate "discount.rate_frac_yr" ["1/yr"] (number 0.04 in 0.0..0.3) No
        "real interest by which later years count less",
        "common practice 3 to 6 %, no source";

    // Which change is worth its cost.
    RecommendPerspective "recommend.perspective" [""] (choice "society" "customer" "supplier") No
        "whose value of water decides what is recommended: society (avoided cost and externality, net saving, administration), customer (price of water, gross saving), supplier (avoided cost, net saving, administration)",
        "choice of this program; the sides are those of benefit-cost practice for conservation programs (customer, supplier, society), original not consulted";
    RecommendHorizon "recommend.horizon_yr" ["yr"] (number 10.0 in 1.0..50.0) No
        "years over which costs and water are compared; what lasts longer has a residual value, what lasts less is bought again",
        "choice of this program: between the lives of nozzles and of bodies";
    RecommendLostRevenue "recommend.lost_revenue" [""] (choice "ignored" "counted") No
        "whether the supplier's value of a saved cubic metre is less by the price that the customer no longer pays",
        "choice of this program: prices follow costs in time, so lost revenue is a transfer";

    // The rebate: its parts add up, then come the caps.
    RebateNozzle "rebate.per_nozzle_cur" ["cur"] (number 0.0 in 0.0..1000.0) No
        "paid for each nozzle that is set",
        "none by default";
    RebateBody "rebate.per_body_cur" ["cur"] (number 0.0 in 0.0..1000.0) No
        "paid for each pressure-regulating body that is set",
        "none by default";
    RebateTurf "rebate.per_turf_cur_m2" ["cur/m2"] (number 0.0 in 0.0..1000.0) No
        "paid for each square metre of turf whose hardware changes",
        "none by default";
    RebateCostShare "rebate.cost_share_frac" ["-"] (number 0.5 in 0.0..1.0) No
        "share of the cost that is paid",
        "trade guidance is to pay at least half of the equipment; Irrigation Association presentation, by secondary transcription";
    RebateClaim "rebate.per_claim_cur_m3" ["cur per m3/yr"] (number 0.0 in 0.0..1000.0) No
        "paid for each cubic metre a year that may be claimed",
        "none by default";
    RebateMost "rebate.most_cur" ["cur"] (number 1000000.0 in 0.0..1000000000.0) No
        "no parcel is paid more",
        "no cap by default";
    RebateMostOfCost "rebate.most_of_cost_frac" ["-"] (number 1.0 in 0.0..1.0) No
        "no parcel is paid more than this share of its cost",
        "a rebate is no gain: the whole cost is the bound";
    RebateHeldTo "rebate.held_to" [""] (choice "worth" "rule") No
        "whether a rebate is paid at most to what the water is worth (present value of the claimed water at the avoided cost, less administration) and to the incremental cost, or as the rule says",
        "choice of this program: beyond that ceiling the supplier pays more than the water spares it";
    RebateLeast "rebate.least_cur" ["cur"] (number 0.0 in 0.0..1000000.0) No
        "a rebate below this is not paid",
        "no floor by default";
    RebateNewestBuild "rebate.newest_build_yr" ["-"] (number 2015.0 in 1800.0..2200.0) No
        "last year_built that is not taken for a new build",
        "23 CCR 490 (2015): new landscapes fall under the ordinance from December 2015, from memory";
    RebateParticipation "rebate.participation_frac" ["-"] (number 1.0 in 0.001..1.0) No
        "share of the invited parcels that take part; 1 where they have applied already",
        "none by default: give what earlier programs saw";

    // What an inspection makes of its findings.
    InspectShare "inspection.share_frac" ["-"] (number 0.1 in 0.1..1.0) No
        "share of each stratum that is visited beside the large and the flagged",
        "choice of this program: a tenth at least";
    InspectLarge "inspection.large_m3_yr" ["m3/yr"] (number 100.0 in 0.0..1000000.0) No
        "claim from which a parcel is always visited",
        "choice of this program: round number; no source";
    InspectCatch "inspection.catch_test_frac" ["-"] (number 0.25 in 0.0..1.0) No
        "share of the visits with a catch test",
        "choice of this program; no source";
    InspectUnset "inspection.clock_not_reset_frac" ["-"] (number 0.0 in 0.0..1.0) No
        "share of a claim that stands where the clock was not set anew",
        "cautious choice of this program: none, since a claim supposes a re-timed clock";
    InspectOverPlan "inspection.over_plan_frac" ["-"] (number 0.2 in 0.0..5.0) No
        "how far counts on receipts may pass the plan before they are flagged",
        "choice of this program: a fifth; no source";

    // Heads under pressure.
    PressureBodyLoss "pressure.body_loss_kpa" ["kPa"] (number 20.0 in 0.0..100.0) No
        "loss inside a regulated body",
        "common practice 10 to 35 kPa, no source";
    MistFrom "pressure.mist_from_factor" ["-"] (number 1.25 in 1.0..3.0) No
        "multiple of the rated pressure from which mist is lost",
        "common practice, no source";
    MistPer100Kpa "pressure.mist_frac_per_100kpa" ["-"] (number 0.04 in 0.0..0.2) No
        "share of the flow lost as mist for every 100 kPa above that",
        "common practice, no source: 1 % for each 25 kPa";
    MistMost "pressure.mist_most_frac" ["-"] (number 0.10 in 0.0..0.3) No
        "largest share of the flow that is lost as mist",
        "common practice, no source";

    // Valves and pipes.
    PipeC "pipe.roughness_c" ["-"] (number 150.0 in 80.0..160.0) No
        "Hazen-Williams C of plastic pipe",
        "PVC and PE 140 to 150: common tables, from memory";
    PipeVelocity "pipe.velocity_most_m_s" ["m/s"] (number 1.5 in 0.5..3.0) No
        "largest velocity in mains and laterals",
        "common practice: 1.5 m/s (5 ft/s) against water hammer, no source";
    PipeMainLoss "pipe.main_loss_most_kpa" ["kPa"] (number 30.0 in 1.0..200.0) No
        "largest loss in a main, from the point of connection to its farthest valve",
        "choice of this program: about a tenth of the pressure at the heads; no source";
    PipeSpread "pipe.spread_most_frac" ["-"] (number 0.20 in 0.02..0.5) No
        "largest spread of pressure inside a station, over the design pressure",
        "common practice 20 % (10 % of flow): Keller and Bliesner 1990, from memory";
    PipeFittings "pipe.fittings_length_frac" ["-"] (number 0.10 in 0.0..0.5) No
        "length added to every pipe for its fittings",
        "common practice: 10 %, no source";
    PipeRoute "pipe.main_route_factor" ["-"] (number 1.2 in 1.0..2.0) No
        "length of a main over the straight distance",
        "common practice, no source";
    PipeOffTurf "pipe.off_turf_factor" ["-"] (number 2.0 in 1.0..20.0) No
        "what a metre of trench outside of turf counts, in metres inside",
        "choice of this program: pavements and beds are dearer to open; no source";
    PipeOffParcel "pipe.off_parcel_factor" ["-"] (number 10.0 in 1.0..100.0) No
        "what a metre of trench outside the parcel and its turf counts, in metres on turf: a way on the parcel is taken unless it is so many times longer",
        "choice of this program: the ground of others is opened where there is no other way; no source";
    PipeRoots "pipe.roots_factor" ["-"] (number 4.0 in 1.0..100.0) No
        "what a metre of pipe through the roots of a tree counts beside what it counts anyway, in metres on turf",
        "choice of this program: a way round is dug unless it leaves the parcel; no source";
    PipeObstructed "pipe.obstructed_factor" ["-"] (number 100.0 in 1.0..10000.0) No
        "what a metre of pipe under a building or through a wall counts, in metres on turf",
        "choice of this program: every way round on the parcel is shorter than that; no source";
    PipePathWeight "pipe.path_weight" ["-"] (number 0.15 in 0.0..1.0) No
        "how much of the way back to the valve counts when a head picks the pipe it joins; 0 is the shortest trench",
        "choice of this program: straighter laterals for a few percent of trench; no source";
    PipeRootZone "pipe.root_zone_m" ["m"] (number 2.0 in 0.0..10.0) Yes
        "distance of a trench from a tree trunk, where there is a way round",
        "common practice, no source";
    SupplyReducer "supply.reducer_above_kpa" ["kPa"] (number 550.0 in 300.0..1500.0) No
        "static pressure above which a pressure reducer stands behind the point of connection",
        "plumbing codes ask for a reducer above 80 psi, 552 kPa (Uniform Plumbing Code, section 608.2; original not consulted)";
    ValveLoss "valve.loss_kpa" ["kPa"] (number 25.0 in 0.0..100.0) No
        "loss in an open valve",
        "common practice 15 to 35 kPa, no source";
    ValveLeast "valve.least_lpm" ["L/min"] (number 4.0 in 0.0..50.0) No
        "least flow at which a valve closes surely",
        "common practice about 1 gpm, no source";

    ValveClear "valve.head_clearance_m" ["m"] (number 0.6 in 0.0..3.0) No
        "least distance of a valve from a head, where there is room",
        "choice of this program: a box about 0.5 m long beside a head, and a spade between them; no source";
    ValveJoin "valve.box_join_m" ["m"] (number 8.0 in 0.0..50.0) No
        "valves whose places lie within this distance of one another stand in one box",
        "choice of this program: a few metres of pipe for one box to find, open and wire; no source";
    ValveBox "valve.box_valves_most" ["-"] (number 6.0 in 1.0..20.0) No
        "largest number of valves in one box",
        "choice of this program: common boxes hold up to six small valves; no source";

    // Stations.
    StationJoin "station.join_gap_m" ["m"] (number 6.0 in 0.0..50.0) Yes
        "lawns of one class that are this near may share a station",
        "choice of this program: a sleeve under a drive is as long; no source";
    StationSlope "station.slope_class_pct" ["%"] (number 8.0 in 1.0..50.0) No
        "slope from which top, middle and toe get stations of their own",
        "common practice, no source";
    StationFall "station.fall_most_m" ["m"] (number 1.0 in 0.1..20.0) No
        "fall inside a station from which it drains through its lowest head unless check valves hold the water",
        "common practice, no source: check valves hold 2 to 4 m";
}
