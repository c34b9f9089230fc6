//! Which known word a mistyped one is most likely a slip of.

/// Likeness below which a guess misleads more than it helps (common practice, no source).
const LEAST_LIKENESS: f64 = 0.8;

/// The known word that `word` is most likely a slip of; `None` where none is near.
pub(crate) fn near<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    nearest(word, known).filter(|guess| likeness(word, guess) >= LEAST_LIKENESS)
}

/// The known word most like `word` (Jaro–Winkler, which favours a shared start); upper case, `-` and `_` make no
/// difference.
pub(crate) fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    known.max_by(|a, b| likeness(word, a).total_cmp(&likeness(word, b)))
}

fn likeness(a: &str, b: &str) -> f64 {
    let plain = |text: &str| text.to_lowercase().replace('-', "_");
    strsim::jaro_winkler(&plain(a), &plain(b))
}
