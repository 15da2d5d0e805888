//! Agreement of spans, of seconds and of measured values.

/// A half-open stretch of time `[start, end)` in seconds.
pub type Span = (f64, f64);

/// Intersection over union of two spans: 1 for equal ones, 0 for spans that do not meet.
///
/// ```
/// use boutwise_truth::evaluation::agreement::iou;
/// assert_eq!(iou((300.0, 360.0), (305.0, 363.0)), 55.0 / 63.0);
/// ```
pub fn iou(a: Span, b: Span) -> f64 {
    let shared_s = overlap_s(a, b);
    let covered_s = (a.1 - a.0) + (b.1 - b.0) - shared_s;
    if covered_s > 0.0 { shared_s / covered_s } else { 0.0 }
}

/// Seconds that two spans share.
pub fn overlap_s(a: Span, b: Span) -> f64 {
    (a.1.min(b.1) - a.0.max(b.0)).max(0.0)
}

/// Pairs (index of truth, index of found) that meet with at least this IoU, each span in one pair at most; the
/// best pairs first, then in order of time.
pub fn matches(truth: &[Span], found: &[Span], least_iou: f64) -> Vec<(usize, usize)> {
    let mut candidates = Vec::new();
    for (i, &a) in truth.iter().enumerate() {
        for (j, &b) in found.iter().enumerate() {
            let value = iou(a, b);
            if value >= least_iou {
                candidates.push((value, i, j));
            }
        }
    }
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let (mut used_truth, mut used_found) = (vec![false; truth.len()], vec![false; found.len()]);
    let mut pairs = Vec::new();
    for (_, i, j) in candidates {
        if !used_truth[i] && !used_found[j] {
            used_truth[i] = true;
            used_found[j] = true;
            pairs.push((i, j));
        }
    }
    pairs.sort_unstable();
    pairs
}

/// F1 of so many hits, false finds and misses; `None` where there is nothing to find and nothing was found.
pub fn f1(hits: f64, false_finds: f64, misses: f64) -> Option<f64> {
    let parts = 2.0 * hits + false_finds + misses;
    (parts > 0.0).then(|| 2.0 * hits / parts)
}

/// Cohen's kappa of a square table of counts (rows truth, columns found); `None` where chance alone agrees fully.
///
/// ```
/// use boutwise_truth::evaluation::agreement::kappa;
/// let value = kappa(&[[20.0, 5.0], [10.0, 15.0]]).ok_or("no kappa")?;
/// assert!((value - 0.4).abs() < 1e-12);
/// # Ok::<(), &str>(())
/// ```
pub fn kappa<const K: usize>(counts: &[[f64; K]; K]) -> Option<f64> {
    let total: f64 = counts.iter().flatten().sum();
    let observed = (0..K).map(|k| counts[k][k]).sum::<f64>() / total;
    let chance: f64 = (0..K)
        .map(|k| {
            counts[k].iter().sum::<f64>() * counts.iter().map(|row| row[k]).sum::<f64>() / (total * total)
        })
        .sum();
    (total > 0.0 && chance < 1.0).then(|| (observed - chance) / (1.0 - chance))
}

/// What became of true events and found ones (Ward, Lukowicz, Gellersen 2011).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Events {
    /// True events met by one found event that meets no other.
    pub correct: usize,
    /// True events met by several found ones.
    pub fragmented: usize,
    /// Found events that are such fragments.
    pub fragments: usize,
    /// True events that share one found event.
    pub merged: usize,
    /// Found events that are shared so.
    pub merging: usize,
    /// True events that nothing meets.
    pub deleted: usize,
    /// Found events that meet nothing.
    pub inserted: usize,
}

/// Sorts true and found events into what became of them.
pub fn events(truth: &[Span], found: &[Span]) -> Events {
    let meets = |a: Span, b: Span| overlap_s(a, b) > 0.0;
    let met_by = |span: Span, others: &[Span]| others.iter().filter(|&&other| meets(span, other)).count();
    let mut events = Events::default();
    for &span in truth {
        let partners = met_by(span, found);
        let shared = found.iter().any(|&other| meets(span, other) && met_by(other, truth) > 1);
        events.deleted += usize::from(partners == 0);
        events.fragmented += usize::from(partners > 1);
        events.merged += usize::from(shared);
        events.correct += usize::from(partners == 1 && !shared);
    }
    for &span in found {
        let partners = met_by(span, truth);
        let fragment = truth.iter().any(|&other| meets(span, other) && met_by(other, found) > 1);
        events.inserted += usize::from(partners == 0);
        events.merging += usize::from(partners > 1);
        events.fragments += usize::from(fragment);
    }
    events
}

/// Mean difference and its 95 % limits (Bland and Altman 1986, ±1.96 standard deviations).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Mean of the differences.
    pub mean: f64,
    /// Sample standard deviation of the differences.
    pub standard_deviation: f64,
    /// Mean − 1.96 standard deviations.
    pub lower: f64,
    /// Mean + 1.96 standard deviations.
    pub upper: f64,
}

/// Limits of agreement of these differences; `None` for fewer than two.
pub fn limits_of_agreement(differences: &[f64]) -> Option<Limits> {
    if differences.len() < 2 {
        return None;
    }
    let count = differences.len() as f64;
    let mean = differences.iter().sum::<f64>() / count;
    let squares: f64 = differences.iter().map(|d| (d - mean).powi(2)).sum();
    let standard_deviation = (squares / (count - 1.0)).sqrt();
    let reach = 1.96 * standard_deviation;
    Some(Limits { mean, standard_deviation, lower: mean - reach, upper: mean + reach })
}

#[cfg(test)]
mod tests {
    use approx::assert_abs_diff_eq;

    use super::*;

    #[test]
    fn kappa_of_the_textbook_table_is_0_4() {
        // Textbook example [[20, 5], [10, 15]]: observed 0.70, chance 0.50 (from memory, recomputed by hand).
        assert_abs_diff_eq!(kappa(&[[20.0, 5.0], [10.0, 15.0]]).unwrap(), 0.4, epsilon = 1e-12);
        assert_eq!(kappa(&[[5.0, 0.0], [0.0, 0.0]]), None);
    }

    #[test]
    fn iou_counts_half_open_seconds() {
        assert_abs_diff_eq!(iou((300.0, 360.0), (305.0, 363.0)), 55.0 / 63.0, epsilon = 1e-12);
        assert_eq!(iou((0.0, 10.0), (10.0, 20.0)), 0.0);
    }

    #[test]
    fn events_and_seconds_of_the_worked_example_come_out() {
        // The classes of Ward, Lukowicz and Gellersen 2011 on an example of our own, counted by hand.
        let truth = [(60.0, 120.0), (180.0, 240.0), (300.0, 360.0), (420.0, 480.0), (520.0, 540.0)];
        let found = [(62.0, 118.0), (180.0, 205.0), (212.0, 240.0), (300.0, 475.0), (600.0, 620.0)];
        let expected = Events {
            correct: 1,
            fragmented: 1,
            fragments: 2,
            merged: 2,
            merging: 1,
            deleted: 1,
            inserted: 1,
        };
        assert_eq!(events(&truth, &found), expected);
        let length_s = |spans: &[Span]| spans.iter().map(|s| s.1 - s.0).sum::<f64>();
        let hit_s: f64 = truth.iter().map(|&a| found.iter().map(|&b| overlap_s(a, b)).sum::<f64>()).sum();
        let (false_s, missed_s) = (length_s(&found) - hit_s, length_s(&truth) - hit_s);
        assert_eq!((hit_s, false_s, missed_s), (224.0, 80.0, 36.0));
        assert_abs_diff_eq!(hit_s / (hit_s + false_s), 0.7368421, epsilon = 1e-7);
        assert_abs_diff_eq!(hit_s / (hit_s + missed_s), 0.8615385, epsilon = 1e-7);
        assert_abs_diff_eq!(f1(hit_s, false_s, missed_s).unwrap(), 0.7943262, epsilon = 1e-7);
    }

    #[test]
    fn limits_of_agreement_of_the_two_flow_meters_come_out() {
        // Bland and Altman 1986, 17 people, two flow meters (data from memory): mean −2.1, s.d. 38.8.
        let wright = [
            494., 395., 516., 434., 476., 557., 413., 442., 650., 433., 417., 656., 267., 478., 178., 423.,
            427.,
        ];
        let mini = [
            512., 430., 520., 428., 500., 600., 364., 380., 658., 445., 432., 626., 260., 477., 259., 350.,
            451.,
        ];
        let differences: Vec<f64> = wright.iter().zip(mini).map(|(a, b)| a - b).collect();
        let limits = limits_of_agreement(&differences).unwrap();
        assert_abs_diff_eq!(limits.mean, -2.1176, epsilon = 1e-4);
        assert_abs_diff_eq!(limits.standard_deviation, 38.7651, epsilon = 1e-4);
        assert_abs_diff_eq!(limits.lower, -78.0973, epsilon = 1e-4);
        assert_abs_diff_eq!(limits.upper, 73.8620, epsilon = 1e-4);
    }

    #[test]
    fn matching_uses_each_span_once() {
        let pairs = matches(&[(0.0, 10.0), (10.0, 20.0)], &[(0.0, 20.0)], 0.5);
        assert_eq!(pairs, [(0, 0)]);
        assert_eq!(f1(0.0, 0.0, 0.0), None);
    }
}
