"""Speed and distance of stretches of a recording, from its positions alone, by plain chords of about 10 s.

The program filters speed along the track; this is another, rougher measure of the same, so it is compared with tolerance.
"""

import bisect
import math

EARTH_M = 6_371_008.8
CHORD_S = 10.0
# Half of the chord that gives the speed of a second.
HALF_S = 5.0


class Way:
    def __init__(self, session):
        self.placed = {}
        known = [(t, p) for t, p in zip(session.since_start_s(), session.places_deg) if p is not None]
        if not known:
            # The device's distance, where there are no positions.
            known = [(t, m) for t, m in zip(session.since_start_s(), session.totals_m) if m is not None]
            self.times_s, self.x = [t for t, _ in known], [m for _, m in known]
            self.y = [0.0] * len(known)
            return
        self.times_s = [t for t, _ in known]
        scale = math.cos(math.radians(known[0][1][0]))
        self.x = [math.radians(p[1]) * EARTH_M * scale for _, p in known]
        self.y = [math.radians(p[0]) * EARTH_M for _, p in known]

    def is_known(self):
        return len(self.times_s) > 1

    def place(self, time_s):
        if time_s not in self.placed:
            self.placed[time_s] = self.interpolated(time_s)
        return self.placed[time_s]

    def interpolated(self, time_s):
        at = min(max(bisect.bisect_right(self.times_s, time_s), 1), len(self.times_s) - 1)
        before, after = self.times_s[at - 1], self.times_s[at]
        share = min(1.0, max(0.0, (time_s - before) / (after - before)))
        mix = lambda values: values[at - 1] + share * (values[at] - values[at - 1])
        return mix(self.x), mix(self.y)

    def longest_hole_s(self, from_s, to_s):
        """Longest time without a position that reaches into a stretch."""
        steps = zip(self.times_s, self.times_s[1:])
        return max((b - a for a, b in steps if b > from_s and a < to_s), default=0.0)

    def chord_m(self, from_s, to_s):
        (x1, y1), (x2, y2) = self.place(from_s), self.place(to_s)
        return math.hypot(x2 - x1, y2 - y1)

    def metres(self, from_s, to_s):
        count = max(1, round((to_s - from_s) / CHORD_S))
        edges = [from_s + (to_s - from_s) * n / count for n in range(count + 1)]
        return sum(self.chord_m(a, b) for a, b in zip(edges, edges[1:]))

    def speeds(self, from_s, to_s, within):
        """Metres in each whole second from `from_s` to `to_s`, by chords that stay within (start, end)."""
        speeds = []
        for second in range(math.ceil(from_s), math.floor(to_s)):
            a, b = max(within[0], second + 0.5 - HALF_S), min(within[1], second + 0.5 + HALF_S)
            speeds.append(self.chord_m(a, b) / (b - a))
        return speeds
