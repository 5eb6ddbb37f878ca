//! Which parcels are looked at in the field, and what the findings say of the claims.
//!
//! Every parcel above a threshold and every flagged one is visited; of the others a seeded share
//! of each stratum. The findings give the ratio of verified to claimed savings with an interval:
//! the combined ratio estimator of a stratified sample.
//!
//! # References
//! - Cochran W. G., *Sampling Techniques*, 3rd ed., Wiley 1977, ch. 6.10–6.12: ratio estimates in
//!   stratified sampling (from memory).

use crate::savings::Words;

/// Two-sided 90 % quantile of the normal distribution.
const Z_90: f64 = 1.645;

/// A parcel that could be visited.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Which stratum it belongs to.
    pub stratum: usize,
    /// What is claimed for it \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// Whether something about it asks for a look.
    pub flagged: bool,
}

/// Why a parcel is visited.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Its claim is at or above the threshold.
    Large,
    /// It is flagged.
    Flagged,
    /// It was drawn.
    Drawn,
}

impl Why {
    /// The word in the form.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Why::Large => "large-claim",
            Why::Flagged => "flagged",
            Why::Drawn => "drawn",
        }
    }
}

/// Chooses the parcels to visit: indices, ascending, with the reason. Of what is neither large
/// nor flagged, a share of each stratum, at least one, rounded up.
#[must_use]
pub fn sample(sites: &[Site], share: f64, large_m3_yr: f64, seed: u64) -> Vec<(usize, Why)> {
    let mut visits = Vec::new();
    let mut strata: Vec<(usize, Vec<usize>)> = Vec::new();
    for (i, site) in sites.iter().enumerate() {
        if site.claimed_m3_yr >= large_m3_yr {
            visits.push((i, Why::Large));
        } else if site.flagged {
            visits.push((i, Why::Flagged));
        } else if let Some((_, members)) = strata.iter_mut().find(|(s, _)| *s == site.stratum) {
            members.push(i);
        } else {
            strata.push((site.stratum, vec![i]));
        }
    }
    for (stratum, mut members) in strata {
        let wanted = (members.len() as f64 * share.clamp(0.0, 1.0) - 1e-9).ceil() as usize;
        Words::of(seed, &format!("stratum {stratum}")).shuffle(&mut members);
        visits.extend(
            members
                .into_iter()
                .take(wanted.max(1))
                .map(|i| (i, Why::Drawn)),
        );
    }
    visits.sort_unstable_by_key(|&(i, _)| i);
    visits
}

/// What a visit found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Finding {
    /// The stratum; parcels visited for certain are strata of their own kind.
    pub stratum: usize,
    /// What was claimed \[m³/yr\].
    pub claimed_m3_yr: f64,
    /// What was verified \[m³/yr\].
    pub verified_m3_yr: f64,
}

/// Verified over claimed, with its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Realisation {
    /// The ratio.
    pub ratio: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
    /// Visits that it rests on.
    pub visits: usize,
}

/// The combined ratio of a stratified sample. `population` holds how many parcels each stratum
/// has in all. A stratum that was visited as a whole adds no uncertainty; one with a single visit
/// out of several takes the spread of all. `None` without findings or without claims.
#[must_use]
pub fn realisation(findings: &[Finding], population: &[usize]) -> Option<Realisation> {
    let mut counts = vec![0usize; population.len()];
    for finding in findings {
        *counts.get_mut(finding.stratum)? += 1;
    }
    let weight = |s: usize| population[s].max(counts[s]) as f64 / counts[s] as f64;
    let (mut claimed, mut verified) = (0.0, 0.0);
    for finding in findings {
        claimed += weight(finding.stratum) * finding.claimed_m3_yr;
        verified += weight(finding.stratum) * finding.verified_m3_yr;
    }
    if claimed <= 0.0 {
        return None;
    }
    let ratio = verified / claimed;
    let residual = |finding: &Finding| finding.verified_m3_yr - ratio * finding.claimed_m3_yr;
    let spread_of = |residuals: &[f64]| {
        let mean = residuals.iter().sum::<f64>() / residuals.len() as f64;
        residuals
            .iter()
            .map(|r| (r - mean) * (r - mean))
            .sum::<f64>()
            / (residuals.len() - 1) as f64
    };
    let all: Vec<f64> = findings.iter().map(residual).collect();
    let mut variance = 0.0;
    for (stratum, &count) in counts.iter().enumerate() {
        let whole = population[stratum].max(count);
        if count == 0 || whole == count {
            continue;
        }
        let own: Vec<f64> = findings
            .iter()
            .filter(|finding| finding.stratum == stratum)
            .map(residual)
            .collect();
        let s2 = match (own.len(), all.len()) {
            (2.., _) => spread_of(&own),
            (_, 2..) => spread_of(&all),
            // One visit in all says nothing of the spread: as large as the finding itself.
            _ => findings[0].claimed_m3_yr * findings[0].claimed_m3_yr,
        };
        let (n, m) = (count as f64, whole as f64);
        variance += m * m * (1.0 - n / m) * s2 / n;
    }
    let half = Z_90 * variance.sqrt() / claimed;
    Some(Realisation {
        ratio,
        low: ratio - half,
        high: ratio + half,
        visits: findings.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stratum_is_visited_and_certain_ones_always() {
        let sites: Vec<Site> = (0..100)
            .map(|i| Site {
                stratum: i % 3,
                claimed_m3_yr: i as f64,
                flagged: i == 5,
            })
            .collect();
        let visits = sample(&sites, 0.1, 95.0, 1);
        let large = visits.iter().filter(|(_, why)| *why == Why::Large).count();
        assert_eq!(large, 5);
        assert!(visits.contains(&(5, Why::Flagged)));
        // 94 others in strata of 32, 32 and 30: four, four and three.
        assert_eq!(visits.len(), 5 + 1 + 11);
        assert_eq!(visits, sample(&sites, 0.1, 95.0, 1));
        assert_ne!(visits, sample(&sites, 0.1, 95.0, 2));
    }

    #[test]
    fn a_census_is_certain_and_a_sample_is_not() {
        let finding = |stratum: usize, claimed_m3_yr: f64, verified_m3_yr: f64| Finding {
            stratum,
            claimed_m3_yr,
            verified_m3_yr,
        };
        let findings = [
            finding(0, 10.0, 8.0),
            finding(0, 20.0, 18.0),
            finding(1, 5.0, 1.0),
            finding(1, 5.0, 4.0),
        ];
        let census = realisation(&findings, &[2, 2]).unwrap();
        assert_eq!(census.ratio, 31.0 / 40.0);
        assert_eq!((census.low, census.high), (census.ratio, census.ratio));
        // Stratum 1 stands for ten: (26 + 5 · 5) / (30 + 5 · 10).
        let part = realisation(&findings, &[2, 10]).unwrap();
        assert!((part.ratio - 51.0 / 80.0).abs() < 1e-12);
        assert!(part.low < part.ratio && part.high > part.ratio);
        assert_eq!(realisation(&[], &[2, 2]), None);
        assert_eq!(realisation(&[finding(3, 1.0, 1.0)], &[2, 2]), None);
    }
}
