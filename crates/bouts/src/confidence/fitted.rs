//! What was fitted: products of terms, and weights.

use super::Product;
use super::Term::*;

/// The products that stand beside the terms of bouts of each of the first six of [`Model::ALL`]: chosen one after the other, the
/// one that fits best what is left, by `fit-confidence 2500 products`.
pub(super) const PRODUCTS: [&[Product]; 6] = [
    // WalkBetween
    &[
        Product(Pair, Faster),
        Product(Long, Roundness),
        Product(Short, LogContrast),
        Product(Alike, Share),
        Product(Pair, Share),
        Product(Faster, HeartRate),
        Product(Model, Alike),
        Product(Long, Long),
        Product(Noise, LogContrast),
        Product(Share, Share),
        Product(Noise, Long),
        Product(Slower, Roundness),
    ],
    // RunBetween
    &[
        Product(Share, Share),
        Product(Pair, Roundness),
        Product(Long, Alike),
        Product(Slower, Slower),
        Product(Model, Pair),
        Product(Model, Short),
        Product(Noise, LogContrast),
        Product(Pair, Alike),
        Product(Noise, Pair),
        Product(Noise, Faster),
        Product(Short, Share),
        Product(Slower, Share),
    ],
    // WalkAtAStop
    &[
        Product(Short, Share),
        Product(Short, LogContrast),
        Product(Long, Faster),
        Product(Short, Pair),
        Product(Long, Long),
        Product(Model, Alone),
        Product(Noise, Pair),
        Product(Long, Share),
        Product(HeartRate, Alone),
        Product(Share, Share),
        Product(Model, Long),
        Product(Noise, Alone),
    ],
    // RunAtAStop
    &[
        Product(Share, Share),
        Product(Slower, Slower),
        Product(Pair, Slower),
        Product(LogContrast, Faster),
        Product(Slower, Share),
        Product(Slower, Alone),
        Product(Pair, Pair),
        Product(Slower, Roundness),
        Product(LogContrast, LogContrast),
        Product(Long, Faster),
        Product(Model, Short),
        Product(Long, Alone),
    ],
    // WalkAtAnEnd
    &[
        Product(Long, Long),
        Product(Short, Share),
        Product(Noise, Alone),
        Product(Long, Faster),
        Product(Share, Share),
        Product(HeartRate, HeartRate),
        Product(Pair, Contrast),
        Product(Long, Share),
        Product(Long, Pair),
        Product(Noise, Long),
        Product(Model, LogContrast),
        Product(Faster, Share),
    ],
    // RunAtAnEnd
    &[
        Product(Pair, Pair),
        Product(Share, Share),
        Product(Slower, Slower),
        Product(Noise, Pair),
        Product(Long, Alike),
        Product(Pair, Alike),
        Product(Model, Short),
        Product(LogContrast, Faster),
        Product(Long, Long),
        Product(Slower, Share),
        Product(LogContrast, Slower),
        Product(Short, Pair),
    ],
];

/// The fitted weights, in the order of [`Model::ALL`]: those of bouts by `fit-confidence 2500`, those of sessions and
/// of stated bouts with these by `fit-confidence 2500 sessions`. No unit; they are log odds for each unit of a term.
#[allow(clippy::approx_constant, reason = "weights that come near a constant by chance")]
pub(super) const FITTED: [&[f64]; 10] = [
    // WalkBetween
    &[
        3.900, 0.119, -0.193, 2.476, 0.339, 1.453, 1.988, -3.398, -14.926, 0.649, -0.074, -0.083, 0.279,
        -1.277, 0.000, -0.150, -9.113, 3.519, -0.964, 0.591, 0.431, 5.274, 0.124, -0.871, -0.904, -0.175,
        -0.686, -13.827,
    ],
    // RunBetween
    &[
        -2.898, 0.275, -1.332, 1.619, 0.374, -0.369, 0.548, 11.694, -2.747, 1.432, 0.174, 3.142, 0.447,
        2.625, 0.000, -2.480, -0.540, 3.361, -0.472, -41.061, 0.185, -0.353, -1.723, 0.652, -0.783, 1.909,
        -0.811, 3.924,
    ],
    // WalkAtAStop
    &[
        2.263, 0.232, 0.052, -2.493, 0.753, 1.059, 0.464, -2.562, -7.528, 0.166, -0.289, 1.010, 0.263,
        -1.324, 0.403, -0.282, -1.141, 1.285, -6.592, -1.825, -0.359, -0.244, -0.294, -0.252, -0.376, -0.172,
        0.077, -0.530,
    ],
    // RunAtAStop
    &[
        3.121, 0.111, -0.088, 0.615, 0.105, 2.584, 0.599, 6.309, -3.875, -0.177, 0.049, 0.346, 0.173, -1.959,
        0.647, -1.196, -0.282, -32.531, -1.276, 4.439, 2.678, -3.713, -0.229, 3.798, 0.479, 0.636, -0.106,
        0.303,
    ],
    // WalkAtAnEnd
    &[
        1.238, 0.411, 0.686, -3.179, 3.987, 1.333, 1.796, -5.338, -7.130, 0.192, -0.029, 1.930, 0.221,
        -1.494, -0.748, -0.342, -1.532, -3.454, -1.730, -3.549, -0.305, 0.158, 0.878, -0.637, -0.760, -0.529,
        0.207, 4.086,
    ],
    // RunAtAnEnd
    &[
        1.818, 0.091, -0.377, 5.601, -0.425, 2.480, 0.170, 5.162, -4.434, 1.759, -0.022, 1.540, 0.276,
        -0.178, 1.841, -1.972, -0.718, -0.334, -56.088, -0.570, -0.607, 0.795, -0.245, 4.209, 0.226, 1.975,
        -5.566, 2.171,
    ],
    // TwoKinds
    &[
        3.667, -1.155, -1.194, 0.537, -0.525, 0.737, -0.720, 0.259, 1.216, -1.423, -3.747, 2.520, 0.434,
        -0.275, -0.922, -0.791, 0.446, 0.900, 3.176, 2.618, -2.169, 1.134, -1.023, -1.706, 2.052,
    ],
    // RunAlone
    &[
        2.772, 0.000, -1.237, 0.343, -0.037, 0.257, 0.000, 0.000, 0.710, -0.803, -3.390, 0.773, 0.347, 0.000,
        -0.028, 0.000, 2.982, -0.144, 1.386, 3.398, -2.575, 2.370, -2.375, 0.000, 0.000,
    ],
    // WalkAlone
    &[
        -1.646, 0.000, -0.964, 0.744, -0.041, 1.194, 0.208, 0.000, -2.406, 1.775, 0.000, 0.000, 0.000, 0.000,
        0.000, 0.000, 0.175, 0.000, 1.114, 2.229, 0.000, 5.519, 0.000, -4.096, 0.000,
    ],
    // Stated
    &[0.550, 0.764, 0.239],
];
