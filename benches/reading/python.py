"""MB of file a second of two readers in Python on the files of the benchmark:

    cargo bench -p boutwise-track --bench reading -- --keep FOLDER
    pip install gpxpy lxml
    python benches/reading/python.py FOLDER/*
"""

import sys
import time
from datetime import datetime
from pathlib import Path

import gpxpy
from lxml import etree

POINTS = ("{*}trkpt", "{*}Trackpoint")
NUMBERS = {
    "ele": 1, "AltitudeMeters": 1, "LatitudeDegrees": 2, "LongitudeDegrees": 3, "hr": 4, "Value": 4, "cad": 5,
    "RunCadence": 5, "DistanceMeters": 6, "speed": 7, "Speed": 7,
}  # fmt: skip


def with_lxml(path):
    """Points as columns, as a researcher would write it."""
    points = []
    for _, point in etree.iterparse(path, tag=POINTS):
        values = [None] * 8
        if "lat" in point.attrib:
            values[2:4] = float(point.get("lat")), float(point.get("lon"))
        for value in point.iterdescendants():
            name = value.tag.rpartition("}")[2]
            if name in ("time", "Time"):
                values[0] = datetime.fromisoformat(value.text.replace("Z", "+00:00"))
            elif name in NUMBERS and value.text.strip():
                values[NUMBERS[name]] = float(value.text)
        points.append(values)
        point.clear()
    return points


def with_gpxpy(path):
    with open(path, encoding="utf-8") as file:
        return gpxpy.parse(file)


def main():
    for path in sys.argv[1:]:
        readers = {"lxml iterparse": with_lxml}
        if path.endswith(".gpx"):
            readers["gpxpy"] = with_gpxpy
        for name, read in readers.items():
            start = time.perf_counter()
            read(path)
            print(f"{Path(path).name}: {name} {Path(path).stat().st_size / 1e6 / (time.perf_counter() - start):.1f} MB/s")


if __name__ == "__main__":
    main()
