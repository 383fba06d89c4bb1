//! Fewer points, the same picture: of the samples that fall into one column of it, the lowest and the highest are drawn.

/// The samples to be drawn between two times, in order: the lowest and the highest of each column, the first and the
/// last, and the one before and the one after, so that the line reaches the edges.
pub fn reduced(time_s: &[f64], values: &[f64], (from_s, to_s): (f64, f64), columns: usize) -> Vec<usize> {
    let first = time_s.partition_point(|t| *t < from_s).saturating_sub(1);
    let end = time_s.len().min(time_s.partition_point(|t| *t <= to_s) + 1);
    let width_s = (to_s - from_s) / columns.max(1) as f64;
    let column = |i: usize| ((time_s[i] - from_s) / width_s).floor() as i64;
    let mut kept = Vec::new();
    let mut i = first;
    while i < end {
        let (mut low, mut high, mut next) = (i, i, i + 1);
        while next < end && column(next) == column(i) {
            if values[next] < values[low] {
                low = next;
            }
            if values[next] > values[high] {
                high = next;
            }
            next += 1;
        }
        kept.push(low.min(high));
        kept.push(low.max(high));
        i = next;
    }
    kept.extend((first < end).then_some(first));
    kept.extend((first < end).then_some(end - 1));
    kept.sort_unstable();
    kept.dedup();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_spike_is_lost_and_little_is_drawn() {
        let time_s: Vec<f64> = (0..1_000_000).map(|i| f64::from(i) * 0.01).collect();
        let mut values: Vec<f64> = time_s.iter().map(|t| 134.5 + (t * 7.0).sin() * 0.1).collect();
        values[123_456] = 141.0;
        values[777_777] = 20.0;
        let kept = reduced(&time_s, &values, (0.0, 10_000.0), 800);
        assert!(kept.len() <= 2 * 800 + 4, "{}", kept.len());
        assert!(kept.contains(&123_456) && kept.contains(&777_777));
        assert!(kept.contains(&0) && kept.contains(&999_999));
        assert!(kept.windows(2).all(|pair| pair[0] < pair[1]));
    }

    #[test]
    fn a_window_keeps_the_neighbours_outside_and_few_samples_are_all_kept() {
        let time_s: Vec<f64> = (0..10).map(f64::from).collect();
        assert_eq!(reduced(&time_s, &time_s, (3.5, 6.5), 100), [3, 4, 5, 6, 7]);
        assert_eq!(reduced(&time_s, &time_s, (0.0, 9.0), 100), (0..10).collect::<Vec<_>>());
    }
}
