//! Which of two versions is the newer.

use std::cmp::Ordering;

/// Compares version names as people count: runs of digits by their number, the rest letter by letter. No version at
/// all is older than any.
///
/// ```
/// use plateproof::summary::compare_versions;
/// assert!(compare_versions(Some("v9"), Some("v010")).is_lt());
/// assert!(compare_versions(None, Some("v001")).is_lt());
/// ```
pub fn compare_versions(a: Option<&str>, b: Option<&str>) -> Ordering {
    match (a, b) {
        (Some(a), Some(b)) => compare_texts(a, b).then_with(|| a.cmp(b)),
        (a, b) => a.is_some().cmp(&b.is_some()),
    }
}

fn compare_texts(mut a: &str, mut b: &str) -> Ordering {
    loop {
        let (number_a, rest_a) = split_digits(a);
        let (number_b, rest_b) = split_digits(b);
        if !number_a.is_empty() && !number_b.is_empty() {
            match compare_numbers(number_a, number_b) {
                Ordering::Equal => (a, b) = (rest_a, rest_b),
                unequal => return unequal,
            }
            continue;
        }
        let (mut letters_a, mut letters_b) = (a.chars(), b.chars());
        match (letters_a.next(), letters_b.next()) {
            (None, None) => return Ordering::Equal,
            (letter_a, letter_b) if letter_a != letter_b => return letter_a.cmp(&letter_b),
            _ => (a, b) = (letters_a.as_str(), letters_b.as_str()),
        }
    }
}

fn split_digits(text: &str) -> (&str, &str) {
    text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()))
}

/// Digits of any length by their value, without turning them into a number that might overflow.
fn compare_numbers(a: &str, b: &str) -> Ordering {
    let (a, b) = (a.trim_start_matches('0'), b.trim_start_matches('0'));
    a.len().cmp(&b.len()).then_with(|| a.cmp(b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn versions_count_as_people_do() {
        let rising = ["", "a", "v1", "v002", "v10", "v10b", "v10c2", "v99999999999999999999999", "w1"];
        for pair in rising.windows(2) {
            assert!(compare_versions(Some(pair[0]), Some(pair[1])).is_lt(), "{pair:?}");
            assert!(compare_versions(Some(pair[1]), Some(pair[0])).is_gt(), "{pair:?}");
        }
        assert!(compare_versions(Some("v1"), Some("v01")).is_ne(), "two names are never the same version");
        assert!(compare_versions(None, None).is_eq());
    }
}
