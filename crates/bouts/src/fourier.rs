//! Fourier sums at evenly spaced frequencies.

use std::f64::consts::TAU;

/// A complex number, its real part first.
type Complex = (f64, f64);

/// Squared lengths of the Fourier sums of values a step apart at `count` frequencies: `first`, `first + step` and so on, in
/// turns a value.
///
/// The chirp transform of Bluestein 1970 makes one convolution of all sums, since 2jk = j² + k² − (k − j)², and that takes
/// three fast transforms of Cooley and Tukey 1965.
pub(crate) fn powers(values: &[f64], first: f64, step: f64, count: usize) -> Vec<f64> {
    let length = (values.len() + count).next_power_of_two();
    let chirp = |index: usize| unit(0.5 * step * (index * index) as f64);
    let mut wound: Vec<Complex> = vec![(0.0, 0.0); length];
    for (index, (slot, &value)) in wound.iter_mut().zip(values).enumerate() {
        let (cos, sin) = times(unit(-first * index as f64), conjugate(chirp(index)));
        *slot = (value * cos, value * sin);
    }
    let mut kernel: Vec<Complex> = vec![(0.0, 0.0); length];
    for index in 0..count.max(values.len()) {
        let chirp = chirp(index);
        if index < count {
            kernel[index] = chirp;
        }
        if index > 0 && index < values.len() {
            kernel[length - index] = chirp;
        }
    }
    let units: Vec<Complex> = (0..length / 2).map(|index| unit(-(index as f64) / length as f64)).collect();
    transform(&mut wound, &units);
    transform(&mut kernel, &units);
    // A transform backwards is one forwards of the conjugates.
    wound.iter_mut().zip(&kernel).for_each(|(a, &b)| *a = conjugate(times(*a, b)));
    transform(&mut wound, &units);
    let scale = 1.0 / (length * length) as f64;
    wound[..count].iter().map(|(real, imaginary)| scale * (real * real + imaginary * imaginary)).collect()
}

/// The number on the unit circle after so many turns.
fn unit(turns: f64) -> Complex {
    let (sin, cos) = (TAU * turns.fract()).sin_cos();
    (cos, sin)
}

fn conjugate((real, imaginary): Complex) -> Complex {
    (real, -imaginary)
}

fn times(a: Complex, b: Complex) -> Complex {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// The discrete Fourier transform of as many values as a power of two, in place; `units` are the first half of the unit
/// circle, clockwise.
fn transform(values: &mut [Complex], units: &[Complex]) {
    let length = values.len();
    let spare_bits = usize::BITS - length.trailing_zeros();
    for index in 1..length {
        let other = index.reverse_bits() >> spare_bits;
        if index < other {
            values.swap(index, other);
        }
    }
    let mut half = 1;
    while half < length {
        let stride = length / (2 * half);
        for block in values.chunks_exact_mut(2 * half) {
            let (left, right) = block.split_at_mut(half);
            for ((a, b), &unit) in left.iter_mut().zip(right).zip(units.iter().step_by(stride)) {
                let turned = times(*b, unit);
                (*a, *b) = ((a.0 + turned.0, a.1 + turned.1), (a.0 - turned.0, a.1 - turned.1));
            }
        }
        half *= 2;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_are_those_of_the_sums_written_out() {
        let values: Vec<f64> =
            (0..37).map(|index| (0.9 * f64::from(index)).sin() + 0.1 * f64::from(index % 5)).collect();
        for (first, step, count) in [(0.02, 0.003, 50), (0.0, 0.01, 1), (0.3, -0.002, 20)] {
            for (at, power) in powers(&values, first, step, count).into_iter().enumerate() {
                let turns = first + step * at as f64;
                let sums =
                    values.iter().enumerate().map(|(index, value)| (value, unit(turns * index as f64)));
                let (real, imaginary) = sums
                    .fold((0.0, 0.0), |sum, (value, unit)| (sum.0 + value * unit.0, sum.1 + value * unit.1));
                assert!((power - (real * real + imaginary * imaginary)).abs() < 1e-9, "{at}: {power}");
            }
        }
    }

    #[test]
    fn one_value_has_the_same_power_everywhere() {
        assert!(powers(&[2.0], 0.1, 0.01, 3).iter().all(|power| (power - 4.0).abs() < 1e-12));
    }
}
