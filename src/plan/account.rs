//! A parcel in money, as the program settles it.

/// What the recommended change of a parcel costs, and what a program would pay for it.
#[derive(Debug, Clone, PartialEq)]
pub struct ParcelAccount {
    /// Stations of the recommended scenarios.
    pub stations: u64,
    /// Nozzles that are set.
    pub nozzles: u64,
    /// Pressure-regulating bodies that are set.
    pub bodies: u64,
    /// Parts and work \[currency\]; `None` where parts cannot be counted.
    pub cost_cur: Option<f64>,
    /// The ceiling of the rebate \[currency\]; 0 where nothing may be paid.
    pub rebate_cur: f64,
    /// Levelised cost of a claimed cubic metre \[currency/m³\]; `None` where nothing is claimed.
    pub cost_cur_m3: Option<f64>,
    /// Years until the customer has their share of the cost back, without interest; `None` where
    /// that does not happen within the life.
    pub payback_yr: Option<f64>,
    /// Net present value for the customer \[currency\]; `None` where hardware stays.
    pub npv_customer_cur: Option<f64>,
    /// Net present value for the supplier \[currency\]; `None` where nothing is paid.
    pub npv_supplier_cur: Option<f64>,
    /// Why the program may not pay; empty where it may.
    pub reasons: Vec<String>,
}

impl ParcelAccount {
    /// Whether the program may pay.
    #[must_use]
    pub fn eligible(&self) -> bool {
        self.reasons.is_empty()
    }
}
