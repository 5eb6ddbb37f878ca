//! The nearest word of a list to a mistyped one.

/// Number of single-letter insertions, deletions, replacements and swaps of neighbours that turn
/// one word into the other (optimal string alignment).
///
/// # References
/// - Damerau, F. J., "A technique for computer detection and correction of spelling errors",
///   Communications of the ACM 7(3), 1964, p. 171–176, DOI 10.1145/363958.363994.
#[must_use]
pub fn edit_distance(one: &str, other: &str) -> usize {
    let one: Vec<char> = one.chars().collect();
    let other: Vec<char> = other.chars().collect();
    let width = other.len() + 1;
    let mut before_last = vec![0; width];
    let mut last: Vec<usize> = (0..width).collect();
    for (i, &letter) in one.iter().enumerate() {
        let mut row = vec![i + 1; width];
        for (j, &against) in other.iter().enumerate() {
            let replaced = last[j] + usize::from(letter != against);
            let mut least = replaced.min(last[j + 1] + 1).min(row[j] + 1);
            let swapped = i > 0 && j > 0 && letter == other[j - 1] && one[i - 1] == against;
            if swapped {
                least = least.min(before_last[j - 1] + 1);
            }
            row[j + 1] = least;
        }
        before_last = last;
        last = row;
    }
    last[width - 1]
}

/// The word of the list that the typed one was probably meant to be: the nearest by
/// [`edit_distance`], letter case ignored, if it is nearer than a third of the typed length
/// (two edits at least); ties go to the first in the list.
///
/// # Example
/// ```
/// let words = ["sand", "loam", "clay"];
/// assert_eq!(evenfall::assumptions::nearest("Laom", words), Some("loam"));
/// assert_eq!(evenfall::assumptions::nearest("gravel", words), None);
/// ```
#[must_use]
pub fn nearest<'a>(typed: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Longer inputs are not slips of the finger, and the distance costs their product.
    const LONGEST: usize = 64;
    let typed = typed.trim().to_lowercase();
    let letters = typed.chars().count();
    if letters > LONGEST {
        return None;
    }
    let allowed = (letters / 3).max(2);
    words
        .into_iter()
        .map(|word| (edit_distance(&typed, &word.to_lowercase()), word))
        .filter(|&(distance, word)| distance <= allowed && distance < word.chars().count())
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, word)| word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_count_edits() {
        for (one, other, edits) in [
            ("", "", 0),
            ("", "abc", 3),
            ("loam", "laom", 1),
            ("kitten", "sitting", 3),
            ("ü", "u", 1),
        ] {
            assert_eq!(edit_distance(one, other), edits, "{one} {other}");
            assert_eq!(edit_distance(other, one), edits, "{other} {one}");
        }
    }

    #[test]
    fn the_nearest_word_is_offered_and_a_far_one_is_not() {
        let words = ["sand", "loamy sand", "sandy loam", "clay"];
        assert_eq!(nearest("sandyloam", words), Some("sandy loam"));
        assert_eq!(nearest("SANDS", words), Some("sand"));
        assert_eq!(nearest("bedrock", words), None);
        assert_eq!(nearest(&"x".repeat(1_000_000), words), None);
    }
}
