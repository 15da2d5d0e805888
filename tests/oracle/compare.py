"""Holds points, duration, distance and mean heart rate of `boutwise audit` against an independent reading.

    compare.py AUDIT_RESULT FOLDER

The oracle reads with lxml and measures with geographiclib; it shares nothing with the program. It takes the plain
definitions: points with a time; last minus first time; the sum of WGS-84 geodesics over consecutive positions; the mean
over heart rates other than 0 and 255. Of points at one time the first counts, of a truncated file its whole points.
"""

import csv
import gzip
import sys
from datetime import datetime
from pathlib import Path

from geographiclib.geodesic import Geodesic
from lxml import etree

# Half a unit of the last decimal in the table, and 1e-8 of the distance, the bound of the reader's cheaper step.
DURATION_S = 0.05
DISTANCE_M = 0.005
DISTANCE_RELATIVE = 1e-8
HEART_RATE_BPM = 0.05
ROUNDING = 1e-9

def table(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def local(element):
    return etree.QName(element).localname


def points(content):
    """Time, latitude, longitude and heart rate of each point with a time; one list a session."""
    root = etree.fromstring(content, etree.XMLParser(huge_tree=True))
    is_gpx = local(root) == "gpx"
    for session in root.iter("{*}trk" if is_gpx else "{*}Activity"):
        found = []
        for point in session.iter("{*}trkpt" if is_gpx else "{*}Trackpoint"):
            time = latitude = longitude = heart_rate = total_m = None
            if is_gpx:
                latitude, longitude = float(point.get("lat")), float(point.get("lon"))
            for value in point.iterdescendants(etree.Element):
                text = (value.text or "").strip()
                match local(value):
                    case "time" | "Time":
                        time = datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()
                    case "LatitudeDegrees":
                        latitude = float(text)
                    case "LongitudeDegrees":
                        longitude = float(text)
                    case "hr":
                        heart_rate = float(text)
                    case "Value" if local(value.getparent()) == "HeartRateBpm":
                        heart_rate = float(text)
                    case "DistanceMeters":
                        total_m = float(text)
            if time is not None and not (found and found[-1][0] == time):
                found.append((time, latitude, longitude, heart_rate, total_m))
        if found:
            yield found


def measures(found):
    places = [(latitude, longitude) for _, latitude, longitude, _, _ in found if latitude is not None]
    steps = (Geodesic.WGS84.Inverse(*a, *b, Geodesic.DISTANCE)["s12"] for a, b in zip(places, places[1:]))
    distance_m = sum(steps) if len(places) > 1 else None
    if distance_m is None:
        totals_m = [total_m for *_, total_m in found if total_m is not None]
        distance_m = totals_m[-1] - totals_m[0] if len(totals_m) > 1 else None
    heart_rates = [bpm for _, _, _, bpm, _ in found if bpm is not None and bpm not in (0, 255)]
    return {
        "points": len(found),
        "duration_s": found[-1][0] - found[0][0],
        "distance_m": distance_m,
        "hr_mean_bpm": sum(heart_rates) / len(heart_rates) if heart_rates else None,
    }


def tolerance(column, expected):
    match column:
        case "points":
            return 0
        case "duration_s":
            return DURATION_S
        case "distance_m":
            return DISTANCE_M + DISTANCE_RELATIVE * expected
        case "hr_mean_bpm":
            return HEART_RATE_BPM


def main():
    result, folder = Path(sys.argv[1]), Path(sys.argv[2])
    rows = table(result / "sessions.csv")
    files = {row["file"]: row for row in table(result / "files.csv")}
    compared, unlike = 0, []
    for file in sorted({row["file"] for row in rows}):
        sessions = [row for row in rows if row["file"] == file]
        content = (folder / file).read_bytes()
        if content[:2] == b"\x1f\x8b":
            content = gzip.decompress(content)
        if files[file]["status"] == "partial":
            content = content[: content.rindex(b"</trkpt>")] + b"</trkpt></trkseg></trk></gpx>"
        expected = sorted(points(content), key=lambda found: found[0][0])
        if len(expected) != len(sessions):
            unlike.append(f"{file}: {len(sessions)} sessions, expected {len(expected)}")
            continue
        for row, found in zip(sessions, expected):
            compared += 1
            for column, value in measures(found).items():
                cell = row[column]
                if (cell == "") != (value is None):
                    unlike.append(f"{file}: {column} {cell or 'empty'}, expected {value}")
                elif value is not None and abs(float(cell) - value) > tolerance(column, value) + ROUNDING:
                    unlike.append(f"{file}: {column} {cell}, expected {value}")
    print(f"{compared} sessions compared, {len(unlike)} values unlike")
    for line in unlike:
        print(f"UNLIKE: {line}")
    sys.exit(bool(unlike) or compared == 0)


main()
