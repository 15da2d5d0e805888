//! A robust line through points: the median of all slopes.

/// z for a two-sided 95 % interval.
const Z_95: f64 = 1.959_964;

/// A Theil–Sen line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Median slope, per unit of x.
    pub slope: f64,
    /// Median of y − slope·x.
    pub intercept: f64,
    /// Sen's 95 % interval of the slope; `None` for too few points.
    pub interval: Option<(f64, f64)>,
}

impl Trend {
    /// Fits points (x, y); `None` for fewer than two different x.
    ///
    /// Source: Theil 1950, Sen 1968 (from memory). The interval takes the k-th smallest and k-th largest slope with
    /// k = ⌊(N − z·√(n(n−1)(2n+5)/18))/2⌋.
    ///
    /// ```
    /// use boutwise_season::Trend;
    /// let trend = Trend::fit(&[(0.0, 400.0), (1.0, 402.5), (2.0, 405.0), (3.0, 999.0), (4.0, 410.0)]).unwrap();
    /// assert_eq!(trend.slope, 2.5);
    /// ```
    pub fn fit(points: &[(f64, f64)]) -> Option<Self> {
        let mut slopes: Vec<f64> = points
            .iter()
            .enumerate()
            .flat_map(|(at, a)| points[at + 1..].iter().map(move |b| (a, b)))
            .filter(|(a, b)| a.0 != b.0)
            .map(|(a, b)| (b.1 - a.1) / (b.0 - a.0))
            .collect();
        slopes.sort_by(f64::total_cmp);
        let slope = median(&slopes)?;
        let mut rest: Vec<f64> = points.iter().map(|(x, y)| y - slope * x).collect();
        rest.sort_by(f64::total_cmp);
        let n = points.len() as f64;
        let width = Z_95 * (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
        let k = ((slopes.len() as f64 - width) / 2.0).floor();
        let interval = (k >= 1.0).then(|| (slopes[k as usize - 1], slopes[slopes.len() - k as usize]));
        Some(Self { slope, intercept: median(&rest)?, interval })
    }

    /// Whether the interval leaves out 0, so that the direction is clear.
    pub fn is_clear(&self) -> bool {
        self.interval.is_some_and(|(low, high)| low > 0.0 || high < 0.0)
    }
}

/// Median of sorted values.
pub(crate) fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        odd if odd % 2 == 1 => Some(sorted[middle]),
        _ => Some((sorted[middle - 1] + sorted[middle]) / 2.0),
    }
}
