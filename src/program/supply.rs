//! The supply curve of saved water: the cheapest cubic metres first.

/// A parcel on offer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offer {
    /// What it saves \[m³/yr\].
    pub saving_m3_yr: f64,
    /// Its levelised cost \[currency/m³\]; `None` leaves it out of the curve.
    pub cost_cur_m3: Option<f64>,
    /// What the program pays \[currency\].
    pub rebate_cur: f64,
}

/// A step of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Index of the offer.
    pub offer: usize,
    /// Its levelised cost \[currency/m³\].
    pub cost_cur_m3: f64,
    /// Savings up to and with it \[m³/yr\].
    pub cumulative_m3_yr: f64,
    /// Rebates up to and with it \[currency\].
    pub cumulative_cur: f64,
}

/// Sorts offers by their levelised cost, ties by index, and adds up. Offers that save nothing or
/// have no cost are left out; the caller lists them apart.
#[must_use]
pub fn supply_curve(offers: &[Offer]) -> Vec<Step> {
    let mut order: Vec<(f64, usize)> = offers
        .iter()
        .enumerate()
        .filter(|(_, offer)| offer.saving_m3_yr > 0.0)
        .filter_map(|(i, offer)| Some((offer.cost_cur_m3?, i)))
        .collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let (mut cumulative_m3_yr, mut cumulative_cur) = (0.0, 0.0);
    order
        .into_iter()
        .map(|(cost_cur_m3, offer)| {
            cumulative_m3_yr += offers[offer].saving_m3_yr;
            cumulative_cur += offers[offer].rebate_cur;
            Step {
                offer,
                cost_cur_m3,
                cumulative_m3_yr,
                cumulative_cur,
            }
        })
        .collect()
}
