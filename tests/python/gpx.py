"""Recordings made for the tests: an invented outing on the sea off the equator."""

import datetime


def gpx(kinds=(("walk", 300), ("run", 120), ("walk", 90), ("run", 120), ("walk", 300)), pulse=True):
    """A track of so many seconds of each kind, at 1.4 and 2.8 m/s eastward along a parallel near the equator."""
    start = datetime.datetime(2025, 3, 1, 10)
    metres, second, points = 0.0, 0, []
    for kind, seconds in kinds:
        for _ in range(seconds):
            time = start + datetime.timedelta(seconds=second)
            # 111 320 m a degree at the equator.
            bpm = f"<extensions><hr>{120 + second % 7}</hr></extensions>" if pulse else ""
            points.append(
                f'<trkpt lat="0.01" lon="{-30 + metres / 111_320:.7f}"><ele>1.5</ele>'
                f"<time>{time.isoformat()}Z</time>{bpm}</trkpt>"
            )
            metres += 2.8 if kind == "run" else 1.4
            second += 1
    return f'<gpx version="1.1"><trk><trkseg>{"".join(points)}</trkseg></trk></gpx>'.encode()
