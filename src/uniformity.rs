//! How evenly and how fast the water falls.

/// The measures of one layout on one turf area (still air, rated pressure).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uniformity {
    /// Cells whose centre lies in the turf.
    pub cells: usize,
    /// Side of a cell \[m\].
    pub cell_m: f64,
    /// Mean rate over the turf \[mm/h\].
    pub rate_mm_h: f64,
    /// 60 Σq / area \[mm/h\].
    pub rate_gross_mm_h: f64,
    /// Fractional low-quarter distribution uniformity.
    pub du_lq: f64,
    /// Mean of nine members: nominal, throws ×0.90 and ×1.05, arcs −5° and +5°, patterns
    /// shifted by 0.1 R to the four sides.
    pub du_lq_robust: f64,
    /// Christiansen uniformity \[%\].
    pub cu_pct: f64,
    /// Coefficient of variation (population).
    pub cv: f64,
    /// Scheduling coefficient over a disc of 5 % of the area; `None` when a disc stays dry.
    pub sc: Option<f64>,
    /// Share of the turf reached by no head (s ≤ 0.95).
    pub dry_frac: f64,
    /// Share of the turf below half the mean rate.
    pub weak_frac: f64,
    /// Share of the turf reached by two heads or more.
    pub twice_frac: f64,
    /// Share of heads within the throw of at least two others.
    pub h2h_frac: f64,
    /// Share of the volume that lands outside the turf.
    pub over_frac: f64,
    /// Share of the volume on pavement; `None` without an obstacle layer.
    pub paved_over_frac: Option<f64>,
    /// Share of the volume on the neighbour's land; `None` without a parcel layer.
    pub neighb_over_frac: Option<f64>,
    /// Share of the volume on buildings and walls, the water that they stop included; `None`
    /// without an obstacle layer.
    pub build_over_frac: Option<f64>,
}
