//! How long something lasted, in words.

/// "3 min 12 s", "41.5 s": never more than it was, so that a hold that misses its time does not read as if it met it.
pub fn lasting(seconds: f64) -> String {
    // A crossing computed in doubles may lie a hair below the number that it stands for.
    let tenths = ((seconds + 1e-6) * 10.0).floor().max(0.0);
    let (minutes, rest) = ((tenths / 600.0).floor(), tenths % 600.0);
    let (whole, tenth) = ((rest / 10.0).floor(), rest % 10.0);
    let seconds = if tenth > 0.0 { format!("{whole:.0}.{tenth:.0} s") } else { format!("{whole:.0} s") };
    match (minutes > 0.0, rest > 0.0) {
        (true, true) => format!("{minutes:.0} min {seconds}"),
        (true, false) => format!("{minutes:.0} min"),
        (false, _) => seconds,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_duration_is_never_told_longer_than_it_was() {
        for (seconds, words) in [
            (192.0, "3 min 12 s"),
            (180.0, "3 min"),
            (179.99, "2 min 59.9 s"),
            (179.999_999_9, "3 min"),
            (41.5, "41.5 s"),
            (0.0, "0 s"),
        ] {
            assert_eq!(lasting(seconds), words);
        }
    }
}
