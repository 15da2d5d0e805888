"""Statistics that the tables use: Theil-Sen with Sen's interval, medians, means on a circle (domain.md, E1, E3, G6)."""

import math
from itertools import combinations

# Two-sided 95 % quantile of the normal distribution.
NORMAL_95 = 1.959964
# Below this resultant length there is no usual time (domain.md, G6).
NO_DIRECTION = 0.1


def mean(values):
    return sum(values) / len(values) if values else None


def median(values):
    ordered = sorted(values)
    if not ordered:
        return None
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def theil_sen(x, y):
    """Slope, intercept and the 95 % interval of the slope; the interval is None for too few values."""
    pairs = combinations(zip(x, y), 2)
    slopes = sorted((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in pairs if x1 != x2)
    if not slopes:
        return None
    slope = median(slopes)
    intercept = median([b - slope * a for a, b in zip(x, y)])
    count = len(x)
    half_width = NORMAL_95 * math.sqrt(count * (count - 1) * (2 * count + 5) / 18)
    rank = math.floor((len(slopes) - half_width) / 2)
    interval = (slopes[rank - 1], slopes[-rank]) if rank >= 1 else None
    return slope, intercept, interval


def circular(values, period):
    """Mean (None where the values lie all around) and circular standard deviation, in the unit of the values."""
    if not values:
        return None, None
    angles = [2 * math.pi * value / period for value in values]
    east, north = mean([math.cos(a) for a in angles]), mean([math.sin(a) for a in angles])
    resultant = min(1.0, math.hypot(east, north))
    spread = math.sqrt(max(0.0, -2 * math.log(resultant))) * period / (2 * math.pi)
    direction = math.atan2(north, east) * period / (2 * math.pi) % period
    return (direction if resultant >= NO_DIRECTION else None), spread
