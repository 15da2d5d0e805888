//! Otsu's threshold of a histogram.

/// The first bin of the upper class where the variance between the two classes is largest; `None` where one class
/// would be empty. Otsu 1979, IEEE Transactions on Systems, Man, and Cybernetics 9:62–66.
pub(crate) fn otsu(bins: &[f64]) -> Option<usize> {
    let total: f64 = bins.iter().sum();
    let total_sum: f64 = bins.iter().enumerate().map(|(bin, count)| bin as f64 * count).sum();
    let (mut count, mut sum) = (0.0, 0.0);
    let mut best: Option<(f64, usize)> = None;
    for (bin, bin_count) in bins.iter().enumerate() {
        if count > 0.0 && count < total {
            let difference = sum / count - (total_sum - sum) / (total - count);
            let between = count * (total - count) * difference * difference / (total * total);
            if best.is_none_or(|(best_between, _)| between > best_between) {
                best = Some((between, bin));
            }
        }
        count += bin_count;
        sum += bin as f64 * bin_count;
    }
    best.map(|(_, bin)| bin)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worked_example_is_cut_where_its_variances_say() {
        // Histogram 8 7 2 6 9 4 on levels 0–5: cut at level 3, within 0.4908841, between 2.6287147, total 3.1195988
        // (own calculation by Otsu's method).
        let bins = [8.0, 7.0, 2.0, 6.0, 9.0, 4.0];
        let cut = otsu(&bins);
        assert_eq!(cut, Some(3));
        let moments = |range: std::ops::Range<usize>| {
            let count: f64 = bins[range.clone()].iter().sum();
            let mean = range.clone().map(|i| bins[i] * i as f64).sum::<f64>() / count;
            let variance = range.map(|i| bins[i] * (i as f64 - mean).powi(2)).sum::<f64>() / count;
            (count / 36.0, mean, variance)
        };
        let (low, high, all) = (moments(0..3), moments(3..6), moments(0..6));
        let within = low.0 * low.2 + high.0 * high.2;
        let between = low.0 * high.0 * (high.1 - low.1).powi(2);
        assert!((within - 0.4908841).abs() < 1e-6 && (between - 2.6287147).abs() < 1e-6);
        assert!((within + between - all.2).abs() < 1e-12 && (all.2 - 3.1195988).abs() < 1e-6);
    }

    #[test]
    fn one_value_alone_has_no_cut() {
        assert_eq!(otsu(&[0.0, 5.0, 0.0]), None);
        assert_eq!(otsu(&[]), None);
    }
}
