//! What studies have measured: the bracket beside every total.

/// A published share of the use as found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// `low`, `central` or `high`.
    pub name: &'static str,
    /// Share of the use as found that was saved.
    pub frac: f64,
    /// Where it was found.
    pub source: &'static str,
}

/// The bracket of published savings, low to high. It is a check beside the reckoning and enters
/// no figure.
pub const EVIDENCE: [Evidence; 3] = [
    Evidence {
        name: "low",
        frac: 0.05,
        source: "Baum, Dukes and Miller 2005, J. Irrig. Drain. Eng. 131(4): low quarters of 0.41 against 0.49, and 0.49 against 0.55, are worth 5 to 7 % of run time",
    },
    Evidence {
        name: "central",
        frac: 0.10,
        source: "US EPA, draft WaterSense specification for spray nozzles, 2023-24: about 10 % less; specification for spray bodies, 2017: 11 %",
    },
    Evidence {
        name: "high",
        frac: 0.25,
        source: "Solomon et al. 2007, Appl. Eng. Agric. 23(2): of the order of 20 to 30 % by uniformity (from memory)",
    },
];
