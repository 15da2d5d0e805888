//! Global alignment of two sequences (Needleman–Wunsch 1970), for comparing what was found with a plan by order alone.

/// Best score of aligning two sequences from end to end: `matching` for a pair of equals, `mismatch` for a pair of
/// unequals, `gap` for an item left alone.
///
/// ```
/// use boutwise_truth::evaluation::alignment::score;
/// assert_eq!(score(b"GCATGCG", b"GATTACA", 1, -1, -1), 0);
/// ```
pub fn score<T: PartialEq>(a: &[T], b: &[T], matching: i64, mismatch: i64, gap: i64) -> i64 {
    let mut row: Vec<i64> = (0..=b.len() as i64).map(|j| j * gap).collect();
    for (i, x) in a.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = (i as i64 + 1) * gap;
        for (j, y) in b.iter().enumerate() {
            let paired = diagonal + if x == y { matching } else { mismatch };
            diagonal = row[j + 1];
            row[j + 1] = paired.max(row[j + 1] + gap).max(row[j] + gap);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn teaching_example_and_a_plan_cut_short_align_as_known() {
        // Needleman–Wunsch 1970, the teaching example (from memory); the plans are examples of our own.
        assert_eq!(score(b"GCATGCG", b"GATTACA", 1, -1, -1), 0);
        assert_eq!(score(b"RWRWRW", b"RWRW", 1, -1, -1), 2);
        assert_eq!(score(b"RWRWRW", b"RWRWRW", 1, -1, -1), 6);
        assert_eq!(score(b"", b"RW", 1, -1, -1), -2);
    }
}
