"""The input files, read independently of the program: lxml for the markup, PROJ's geodesics for the way.

The plain definitions: points with a time, of points at one time the first, of a truncated file the whole points.
"""

import gzip
import zipfile
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from lxml import etree
from pyproj import Geod

WGS84 = Geod(ellps="WGS84")

# Values that devices write for "none" (the exchange formats hold them in one byte).
NO_HEART_RATE_BPM = (0, 255)
NO_CADENCE_SPM = 255

# Two recordings of one session: design.md, "Duplicates".
DUPLICATE_ENDS_S = 5
DUPLICATE_PLACE_M = 10


@dataclass
class Session:
    """One recorded session; each list has a value for each point, None where it is missing."""

    file: str
    number: int
    times_s: list = field(default_factory=list)
    places_deg: list = field(default_factory=list)
    heart_rates_bpm: list = field(default_factory=list)
    cadences_spm: list = field(default_factory=list)
    totals_m: list = field(default_factory=list)
    values: int = 0
    # What the file itself says of the zone, in seconds east; None where times are in UTC.
    offset_s: int | None = None

    def start(self):
        return datetime.fromtimestamp(self.times_s[0], UTC)

    def duration_s(self):
        return self.times_s[-1] - self.times_s[0]

    def since_start_s(self):
        return [time_s - self.times_s[0] for time_s in self.times_s]

    def way_m(self):
        """Sum of WGS-84 geodesics between positions; the device's distance only where there are none."""
        places = [place for place in self.places_deg if place is not None]
        if len(places) > 1:
            return WGS84.line_length(*reversed(list(zip(*places))))
        totals_m = [total_m for total_m in self.totals_m if total_m is not None]
        return totals_m[-1] - totals_m[0] if len(totals_m) > 1 else None

    def known_heart_rates(self):
        return [bpm for bpm in self.heart_rates_bpm if bpm is not None]


@dataclass
class File:
    """One input file with what is expected of its row."""

    name: str
    status: str
    format: str | None = None
    sessions: list = field(default_factory=list)
    # Points in the file, with a time or not.
    points: int = 0
    # The file that this one repeats.
    first: str | None = None


def local(element):
    return etree.QName(element).localname


def read_point(point, is_gpx):
    """Values of one point by name, and how many it has."""
    values = {}
    if is_gpx:
        values["latitude"], values["longitude"] = float(point.get("lat")), float(point.get("lon"))
    for value in point.iterdescendants(etree.Element):
        text = (value.text or "").strip()
        if len(value) or not text:
            continue
        match local(value):
            case "time" | "Time":
                values["time"] = datetime.fromisoformat(text.replace("Z", "+00:00"))
            case "LatitudeDegrees":
                values["latitude"] = float(text)
            case "LongitudeDegrees":
                values["longitude"] = float(text)
            case "hr":
                values["heart_rate"] = float(text)
            case "Value" if local(value.getparent()) == "HeartRateBpm":
                values["heart_rate"] = float(text)
            case "cad" | "Cadence" | "RunCadence":
                values["cadence"] = float(text)
            case "DistanceMeters":
                values["total"] = float(text)
            case other:
                values[other] = text
    return values


def read_sessions(root, file):
    is_gpx = local(root) == "gpx"
    found, points = [], 0
    for element in root.iter("{*}trk" if is_gpx else "{*}Activity"):
        session = Session(file, 0)
        for point in element.iter("{*}trkpt" if is_gpx else "{*}Trackpoint"):
            points += 1
            values = read_point(point, is_gpx)
            time = values.get("time")
            if time is None or (session.times_s and session.times_s[-1] == time.timestamp()):
                continue
            if not session.times_s and time.utcoffset():
                session.offset_s = int(time.utcoffset().total_seconds())
            session.times_s.append(time.timestamp())
            known = "latitude" in values and "longitude" in values
            session.places_deg.append((values["latitude"], values["longitude"]) if known else None)
            bpm, spm = values.get("heart_rate"), values.get("cadence")
            session.heart_rates_bpm.append(None if bpm in NO_HEART_RATE_BPM else bpm)
            session.cadences_spm.append(None if spm == NO_CADENCE_SPM else spm)
            session.totals_m.append(values.get("total"))
            session.values += len(values)
        if session.times_s:
            found.append(session)
    found.sort(key=lambda session: session.times_s[0])
    for number, session in enumerate(found, 1):
        session.number = number
    return found, points


def read_file(name, content):
    if content[:2] == b"\x1f\x8b":
        content = gzip.decompress(content)
    status = "read"
    parser = etree.XMLParser(huge_tree=True)
    try:
        root = etree.fromstring(content, parser)
    except etree.XMLSyntaxError:
        if b"<trkpt" not in content:
            return File(name, "ignored")
        status = "partial"
        whole = content[: content.rindex(b"</trkpt>")] + b"</trkpt></trkseg></trk></gpx>"
        root = etree.fromstring(whole, parser)
    sessions, points = read_sessions(root, name)
    if not sessions:
        return File(name, "ignored")
    return File(name, status, "gpx" if local(root) == "gpx" else "tcx", sessions, points)


def read_folder(folder):
    """Every file below a folder, members of archives among them, in order of name."""
    files = []
    for path in sorted(path for path in Path(folder).rglob("*") if path.is_file()):
        name = path.relative_to(folder).as_posix()
        if name.endswith(".zip"):
            with zipfile.ZipFile(path) as archive:
                members = [info.filename for info in archive.infolist() if not info.is_dir()]
                files += [read_file(f"{name}/{member}", archive.read(member)) for member in members]
        else:
            files.append(read_file(name, path.read_bytes()))
    return files


def is_same(a, b):
    """Whether two recordings hold the same session."""
    if abs(a.times_s[0] - b.times_s[0]) > DUPLICATE_ENDS_S or abs(a.times_s[-1] - b.times_s[-1]) > DUPLICATE_ENDS_S:
        return False
    places = dict(zip(b.times_s, b.places_deg))
    both = [(place, places.get(time_s)) for time_s, place in zip(a.times_s, a.places_deg)]
    apart_m = sorted(WGS84.line_length(*reversed(list(zip(one, other)))) for one, other in both if one and other)
    return bool(apart_m) and apart_m[len(apart_m) // 2] <= DUPLICATE_PLACE_M


def set_duplicates_apart(files, athlete_of):
    """Marks files whose sessions another file of the same athlete holds with more values, or earlier in path order."""
    single = [file for file in files if len(file.sessions) == 1]
    for file in single:
        for other in single:
            if other is file or other.status == "duplicate" or athlete_of(file.name) != athlete_of(other.name):
                continue
            mine, theirs = file.sessions[0], other.sessions[0]
            outranked = (-theirs.values, other.name) < (-mine.values, file.name)
            if outranked and is_same(mine, theirs):
                file.status, file.first = "duplicate", other.name
