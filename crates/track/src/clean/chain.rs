//! Samples that follow each other as they can in a person, and short parts between that lead nowhere.

/// Longest stretch of wild samples, in seconds (own choice).
pub(super) const MAX_WILD_S: f64 = 120.0;

/// Chains that are looked through for the one that goes on behind wild samples (own choice).
const MAX_WILD_CHAINS: usize = 8;

/// What was measured at a time.
pub(super) trait Sample {
    /// Seconds from the start.
    fn time_s(&self) -> f64;

    /// Whether a person can have come from this sample to a later one.
    fn leads_to(&self, next: &Self) -> bool;
}

/// Samples of which each leads to the next. Never empty.
#[derive(Debug)]
pub(super) struct Chain<'a, S>(pub(super) &'a [S]);

impl<S> Clone for Chain<'_, S> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<S> Copy for Chain<'_, S> {}

impl<'a, S: Sample> Chain<'a, S> {
    pub(super) fn first(&self) -> &'a S {
        &self.0[0]
    }

    pub(super) fn last(&self) -> &'a S {
        &self.0[self.0.len() - 1]
    }

    pub(super) fn duration_s(&self) -> f64 {
        self.last().time_s() - self.first().time_s()
    }

    pub(super) fn leads_to(&self, next: &Self) -> bool {
        self.last().leads_to(next.first())
    }
}

pub(super) fn chains<S: Sample>(samples: &[S]) -> Vec<Chain<'_, S>> {
    samples.chunk_by(S::leads_to).map(Chain).collect()
}

/// Leaves out short chains between two that connect with each other.
pub(super) fn without_excursions<'a, S: Sample>(chains: &[Chain<'a, S>]) -> Vec<Chain<'a, S>> {
    let mut kept = vec![chains[0]];
    let mut next = 1;
    while next < chains.len() {
        let before = kept[kept.len() - 1];
        let until = chains.len().min(next + 1 + MAX_WILD_CHAINS);
        let connected = (next + 1..until).find(|&later| {
            chains[later].first().time_s() - before.last().time_s() <= MAX_WILD_S
                && before.leads_to(&chains[later])
        });
        next = connected.unwrap_or(next);
        kept.push(chains[next]);
        next += 1;
    }
    kept
}
