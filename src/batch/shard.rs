//! A part of a run, so that many machines can share it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The `part`-th of `of` parts, from 1: the parcels whose id hashes to it, wherever they stand in the
/// input. Its neighbours in the street lie in other shards, so that all take about as long.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shard {
    /// Which part, from 1.
    pub part: u32,
    /// Of how many.
    pub of: u32,
}

impl Shard {
    /// Whether a parcel belongs to it.
    #[must_use]
    pub fn holds(self, id: &str) -> bool {
        spread(id) % u64::from(self.of) == u64::from(self.part - 1)
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.of)
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Shard, String> {
        let shard = text.split_once('/').and_then(|(part, of)| {
            let (part, of) = (part.parse().ok()?, of.parse().ok()?);
            (1..=of).contains(&part).then_some(Shard { part, of })
        });
        shard.ok_or_else(|| "a shard is i/n with i from 1 to n, as in 3/16".to_owned())
    }
}

/// A hash of a text that is the same in every version and on every machine: FNV-1a of 64 bits, its
/// halves mixed so that its low bits depend on the whole text.
///
/// # References
/// - Fowler G., Noll L. C., Vo K.-P., Eastlake D., Hansen T., *The FNV Non-Cryptographic Hash Algorithm*,
///   IETF Internet-Draft draft-eastlake-fnv (from memory).
fn spread(text: &str) -> u64 {
    let hash = fnv_1a(text.as_bytes());
    hash ^ (hash >> 32)
}

fn fnv_1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // Test vectors of the authors' reference code for 64-bit FNV-1a: "", "a", "foobar".
        assert_eq!(fnv_1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv_1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv_1a(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn every_parcel_is_in_one_shard_and_shards_are_alike() {
        for of in [1, 2, 3, 16, 100] {
            let mut counts = vec![0_u32; of as usize];
            for number in 0..20_000 {
                let id = format!("{number:05}");
                let holding: Vec<u32> = (1..=of)
                    .filter(|&part| Shard { part, of }.holds(&id))
                    .collect();
                let [part] = holding.as_slice() else {
                    panic!("{id}: {holding:?}")
                };
                counts[*part as usize - 1] += 1;
            }
            let mean = 20_000 / of;
            for count in counts {
                // Four standard deviations of a binomial are 400 of 10,000 and 57 of 200.
                assert!(
                    count.abs_diff(mean) <= 4 * mean.isqrt() + 1,
                    "{of}: {count}"
                );
            }
        }
    }

    #[test]
    fn a_shard_is_typed_as_i_of_n() {
        assert_eq!("3/16".parse(), Ok(Shard { part: 3, of: 16 }));
        for wrong in ["", "3", "0/4", "5/4", "a/b", "1/0", "-1/4", "1/4/2"] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
