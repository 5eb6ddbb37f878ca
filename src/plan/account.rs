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
    /// Parts, work and visit at the start \[currency\]; `None` where parts cannot be counted.
    pub cost_cur: Option<f64>,
    /// What the rule would pay, whatever the water is worth \[currency\]; 0 where nothing may be
    /// paid.
    pub rebate_rule_cur: f64,
    /// What the claimed water is worth to the supplier less administration: the ceiling of a rebate
    /// \[currency\]; below 0 where the water is not worth its papers, `None` without a claim.
    pub rebate_worth_cur: Option<f64>,
    /// What is paid at most \[currency\]; 0 where nothing may be paid.
    pub rebate_cur: f64,
    /// Whether what is in the ground of a changed turf area was assumed, so that the rebate stands
    /// only once a survey has found it so.
    pub on_survey: bool,
    /// Present cost of a claimed cubic metre \[currency/m³\]; `None` where nothing is claimed.
    pub cost_cur_m3: Option<f64>,
    /// Years until the customer has their share of the cost back, without interest; `None` where
    /// that does not happen within the horizon.
    pub payback_yr: Option<f64>,
    /// Net present value for the customer \[currency\]; `None` where hardware stays.
    pub npv_customer_cur: Option<f64>,
    /// Net present value for the supplier \[currency\]; `None` where nothing is paid.
    pub npv_supplier_cur: Option<f64>,
    /// Net present value for society \[currency\]; `None` where nothing changes.
    pub npv_society_cur: Option<f64>,
    /// Why the program may not pay; empty where it may.
    pub reasons: Vec<String>,
    /// What the program would pay for each option of the parcel's ladder, in their order.
    pub offers: Vec<OptionOffer>,
}

/// One option of a parcel's ladder as the program sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct OptionOffer {
    /// What may be claimed, a mean over the life \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// Nozzles that are set.
    pub nozzles: u64,
    /// What the rule would pay \[currency\].
    pub rebate_rule_cur: f64,
    /// What is paid at most \[currency\].
    pub rebate_cur: f64,
    /// Whether the program may pay.
    pub eligible: bool,
    /// Whether what is in the ground of a changed turf area was assumed.
    pub on_survey: bool,
}

impl ParcelAccount {
    /// Whether the program may pay.
    #[must_use]
    pub fn eligible(&self) -> bool {
        self.reasons.is_empty()
    }

    /// The ceiling of a rebate for each nozzle \[currency\]; `None` without nozzles or a claim.
    #[must_use]
    pub fn rebate_worth_nozzle_cur(&self) -> Option<f64> {
        let worth_cur = self.rebate_worth_cur?;
        (self.nozzles > 0).then(|| worth_cur / self.nozzles as f64)
    }
}
