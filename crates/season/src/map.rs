//! The map of time zones, read where it lies in the program: nothing is unpacked, and only what a place needs is looked at.
//!
//! It is the file of `tzf-dist`, whose format is published with it. Numbers are little-endian; a coordinate is a whole number
//! of hundred-thousandths of a degree, east or north positive; a box is the least x and y and the largest x and y. At byte 8
//! stand flags, at byte 20 how many sections there are, and from byte 64 on their table of 16 bytes each: kind, begin, length.
//!
//! Borders are told once, however many zones they part. A zone has areas, an area an outer ring and rings of holes, a ring
//! refers to lines, and a line is cut into pieces of some hundred points. The records of zones and areas say where what they
//! have begins and how much it is (4 and 2 bytes, at byte 0) and their box (at byte 8); a ring's number stands at byte 8 and
//! its box at byte 12; a line has its first and last point at bytes 12 and 20 and its box at byte 28; a piece the begin of its
//! points (byte 0), their number (byte 4) and its box (byte 8), in which the way to the next piece lies too. Points are
//! variable-length numbers: the first of a piece, then steps.
//!
//! Before any border, tiles of the Web Mercator grid are asked that lie in one zone, and cells of a degree by a degree tell
//! which zones may be there.

use std::f64::consts::PI;
use std::ops::Range;

/// Parts of a degree in which coordinates are counted.
const PARTS_PER_DEGREE: f64 = 100_000.0;
/// The limits of the grid of tiles, in degrees: what lies beyond belongs to its outermost rows.
const TILES_END_DEG: f64 = 85.0511;
/// Zooms for which the keys of tiles have room.
const MAX_ZOOM: u8 = 28;
/// Marks a tile that lies in several zones.
const SEVERAL: u16 = 1 << 15;
/// The flag that says that a cell's only zone may not fill it.
const ONLY_IS_NOT_ALL: u32 = 1 << 1;
/// Beyond these a cell's only zone may not fill it.
const CELLS_TRUSTED_DEG: [f64; 2] = [179.0, 89.0];

/// A map of zones.
pub(crate) struct Map<'a> {
    only_is_all: bool,
    names: &'a [u8],
    zones: &'a [[u8; 24]],
    areas: &'a [[u8; 24]],
    rings: &'a [[u8; 28]],
    /// Which lines the rings have; the highest bit tells in which direction.
    ring_lines: &'a [[u8; 4]],
    lines: &'a [[u8; 44]],
    pieces: &'a [[u8; 24]],
    points: &'a [u8],
    cells: &'a [u8],
    tiles: Tiles<'a>,
}

/// Tiles of one zone, or of several.
struct Tiles<'a> {
    /// From the coarsest to the finest.
    zooms: Range<u8>,
    /// Zoom, column and row, in rising order.
    keys: &'a [[u8; 8]],
    /// The number of a zone, or of several zones.
    values: &'a [[u8; 2]],
    /// Where several zones begin among all of these, and their number.
    several: &'a [[u8; 4]],
    zones_of_several: &'a [[u8; 2]],
}

/// A place in parts of a degree.
#[derive(Clone, Copy, PartialEq)]
struct Place {
    x: f64,
    y: f64,
}

/// Where a place lies by a ring.
#[derive(Clone, Copy, PartialEq)]
enum Side {
    Inside,
    Edge,
    Outside,
}

impl<'a> Map<'a> {
    /// The map in these bytes; `None` where a section is missing.
    pub(crate) fn of(bytes: &'a [u8]) -> Option<Self> {
        let section = |kind| section(bytes, kind);
        Some(Self {
            only_is_all: number(bytes, 8)? & ONLY_IS_NOT_ALL == 0,
            names: section(1)?,
            zones: section(2)?.as_chunks().0,
            areas: section(3)?.as_chunks().0,
            rings: section(4)?.as_chunks().0,
            ring_lines: section(5)?.as_chunks().0,
            lines: section(6)?.as_chunks().0,
            pieces: section(7)?.as_chunks().0,
            cells: section(8)?,
            points: section(9)?,
            tiles: Tiles::of(section(10)?)?,
        })
    }

    /// The name of the zone of a place in degrees; where zones overlap, of the first one.
    pub(crate) fn name_at(&self, latitude_deg: f64, longitude_deg: f64) -> Option<&'a str> {
        if !(-90.0..=90.0).contains(&latitude_deg) || !(-180.0..=180.0).contains(&longitude_deg) {
            return None;
        }
        let zone = self.tiles.zone_at(latitude_deg, longitude_deg);
        self.name(zone.or_else(|| self.zone_within_borders(latitude_deg, longitude_deg))?)
    }

    /// Names begin with the length of their text; where each begins and the last one ends follows, then the text.
    fn name(&self, zone: u16) -> Option<&'a str> {
        let text = self.names.get(self.names.len().checked_sub(number(self.names, 0)? as usize)?..)?;
        let at = 4 + 4 * usize::from(zone);
        let range = number(self.names, at)? as usize..number(self.names, at + 4)? as usize;
        std::str::from_utf8(text.get(range)?).ok()
    }

    fn zone_within_borders(&self, latitude_deg: f64, longitude_deg: f64) -> Option<u16> {
        let zones = self.zones_of_cell(latitude_deg, longitude_deg)?;
        let trusted = longitude_deg.abs() < CELLS_TRUSTED_DEG[0] && latitude_deg.abs() < CELLS_TRUSTED_DEG[1];
        if let ([only], true) = (zones, trusted && self.only_is_all) {
            return Some(u16::from_le_bytes(*only));
        }
        let place = Place { x: longitude_deg * PARTS_PER_DEGREE, y: latitude_deg * PARTS_PER_DEGREE };
        let mut zones = zones.iter().map(|zone| u16::from_le_bytes(*zone));
        zones.find(|zone| self.zone_holds(*zone, place) == Some(true))
    }

    /// Cells begin with their least longitude and latitude, the number of their columns and rows (2 bytes each), and the number
    /// of all zones in them. A cell has the number of its zones in the 4 highest bits, and where they begin.
    fn zones_of_cell(&self, latitude_deg: f64, longitude_deg: f64) -> Option<&'a [[u8; 2]]> {
        let (head, rest) = self.cells.split_first_chunk::<12>()?;
        let [west, south, columns, rows] = [[0, 1], [2, 3], [4, 5], [6, 7]].map(|at| at.map(|at| head[at]));
        let column = longitude_deg.floor() as i64 - i64::from(i16::from_le_bytes(west));
        let row = latitude_deg.floor() as i64 - i64::from(i16::from_le_bytes(south));
        let (columns, rows) = (u16::from_le_bytes(columns), u16::from_le_bytes(rows));
        if !(0..i64::from(columns)).contains(&column) || !(0..i64::from(rows)).contains(&row) {
            return None;
        }
        let (cells, zones) = rest.split_at_checked(4 * usize::from(columns) * usize::from(rows))?;
        let cell = number(cells, 4 * (row as usize * usize::from(columns) + column as usize))?;
        let begin = (cell & 0x0FFF_FFFF) as usize;
        zones.as_chunks().0.get(begin..begin + (cell >> 28) as usize)
    }

    fn zone_holds(&self, zone: u16, place: Place) -> Option<bool> {
        let zone = self.zones.get(usize::from(zone))?;
        if !within(zone, 8, place)? {
            return Some(false);
        }
        for area in run(self.areas, zone, 4)? {
            if within(area, 8, place)? && self.area_holds(area, place)? {
                return Some(true);
            }
        }
        Some(false)
    }

    /// What lies on an edge belongs to the areas on both sides of it.
    fn area_holds(&self, area: &[u8; 24], place: Place) -> Option<bool> {
        let (outer, holes) = run(self.rings, area, 4)?.split_first()?;
        if self.side_of(outer, place)? == Side::Outside {
            return Some(false);
        }
        for hole in holes {
            if self.side_of(hole, place)? == Side::Inside {
                return Some(false);
            }
        }
        Some(true)
    }

    /// Inside a ring is where a ray to the east crosses it an odd number of times.
    fn side_of(&self, ring: &[u8; 28], place: Place) -> Option<Side> {
        if !within(ring, 12, place)? {
            return Some(Side::Outside);
        }
        let mut inside = false;
        for line in run(self.ring_lines, ring, 8)? {
            let line = self.lines.get((u32::from_le_bytes(*line) & !(1 << 31)) as usize)?;
            if !ray_meets(line, 28, place)? {
                continue;
            }
            if coordinate(line, 28)? > place.x {
                // All of the line lies to the east: its ends tell how often it is crossed.
                inside ^= (coordinate(line, 16)? > place.y) != (coordinate(line, 24)? > place.y);
                continue;
            }
            match self.side_of_line(line, place)? {
                Side::Edge => return Some(Side::Edge),
                side => inside ^= side == Side::Inside,
            }
        }
        Some(if inside { Side::Inside } else { Side::Outside })
    }

    /// Inside where the ray crosses the line an odd number of times.
    fn side_of_line(&self, line: &[u8; 44], place: Place) -> Option<Side> {
        let mut inside = false;
        let pieces = run(self.pieces, line, 8)?;
        for (at, piece) in pieces.iter().enumerate() {
            if !ray_meets(piece, 8, place)? {
                continue;
            }
            let mut rest = self.points.get(number(piece, 0)? as usize..)?;
            let mut from = point(&mut rest)?;
            for _ in 1..count(piece, 4)? {
                let step = point(&mut rest)?;
                let to = Place { x: from.x + step.x, y: from.y + step.y };
                match crossing(from, to, place) {
                    Side::Edge => return Some(Side::Edge),
                    side => inside ^= side == Side::Inside,
                }
                from = to;
            }
            // The points of the next piece follow.
            if at + 1 < pieces.len() {
                match crossing(from, point(&mut rest)?, place) {
                    Side::Edge => return Some(Side::Edge),
                    side => inside ^= side == Side::Inside,
                }
            }
        }
        Some(if inside { Side::Inside } else { Side::Outside })
    }
}

impl<'a> Tiles<'a> {
    /// Tiles begin with their finest and coarsest zoom (a byte each) and, from byte 4 on, how many tiles, several zones and zones
    /// of these there are.
    fn of(section: &'a [u8]) -> Option<Self> {
        let (head, rest) = section.split_first_chunk::<16>()?;
        let [tiles, several, zones] = [4, 8, 12].map(|at| number(head, at));
        let (keys, rest) = rest.split_at_checked((tiles? as usize).checked_mul(8)?)?;
        let (values, rest) = rest.split_at_checked((tiles? as usize).checked_mul(2)?)?;
        let (several, rest) = rest.split_at_checked((several? as usize).checked_mul(4)?)?;
        let zones = rest.get(..(zones? as usize).checked_mul(2)?)?;
        (head[0] <= MAX_ZOOM).then(|| Self {
            zooms: head[1]..head[0] + 1,
            keys: keys.as_chunks().0,
            values: values.as_chunks().0,
            several: several.as_chunks().0,
            zones_of_several: zones.as_chunks().0,
        })
    }

    fn zone_at(&self, latitude_deg: f64, longitude_deg: f64) -> Option<u16> {
        let finest = self.zooms.end.checked_sub(1)?;
        let (column, row) = column_and_row(latitude_deg, longitude_deg, finest);
        let at = self.zooms.clone().find_map(|zoom| {
            let shift = finest - zoom;
            let [zoom, column, row] = [u64::from(zoom), (column >> shift).into(), (row >> shift).into()];
            let key = zoom << 56 | column << 28 | row;
            self.keys.binary_search_by_key(&key, |bytes| u64::from_le_bytes(*bytes)).ok()
        })?;
        let value = u16::from_le_bytes(*self.values.get(at)?);
        if value & SEVERAL == 0 {
            return Some(value);
        }
        let [first, second, ..] = *self.several.get(usize::from(value & !SEVERAL))?;
        let first = u16::from_le_bytes([first, second]);
        self.zones_of_several.get(usize::from(first)).map(|zone| u16::from_le_bytes(*zone))
    }
}

/// Column and row of the tile of a place.
fn column_and_row(latitude_deg: f64, longitude_deg: f64, zoom: u8) -> (u32, u32) {
    let size = f64::from(1_u32 << zoom);
    let column = ((longitude_deg / 360.0 + 0.5) * size) as u32;
    let row = if latitude_deg > TILES_END_DEG {
        0
    } else if latitude_deg < -TILES_END_DEG {
        size as u32 - 1
    } else {
        let sine = (latitude_deg * PI / 180.0).sin();
        ((0.5 - ((1.0 + sine) / (1.0 - sine)).ln() / (4.0 * PI)) * size) as u32
    };
    (column, row)
}

/// Whether a place lies on the way from one point to another (edge), or its ray to the east crosses the way (inside). A point
/// on the ray counts as below it, so that a ray through a corner crosses once or not at all. Shares and slopes are quotients:
/// so places on borders, which are rounded, belong where they belong by the library.
fn crossing(from: Place, to: Place, place: Place) -> Side {
    let (south, north) = if from.y < to.y { (from, to) } else { (to, from) };
    if place.y < south.y || place.y > north.y {
        return Side::Outside;
    }
    let (west, east) = (from.x.min(to.x), from.x.max(to.x));
    let straight = south.y == north.y || west == east;
    let share_x = (place.x - from.x) / (to.x - from.x);
    let share_y = (place.y - from.y) / (to.y - from.y);
    if share_x == share_y || straight && place.x >= west && place.x <= east {
        return Side::Edge;
    }
    if place.y == north.y || place.x >= east {
        return Side::Outside;
    }
    let y = if place.y == south.y { place.y.next_up() } else { place.y };
    let to_the_west =
        place.x <= west || (y - south.y) / (place.x - south.x) >= (north.y - south.y) / (north.x - south.x);
    if to_the_west { Side::Inside } else { Side::Outside }
}

/// Whether a place lies in the box that stands here.
fn within(record: &[u8], at: usize, place: Place) -> Option<bool> {
    Some(ray_meets(record, at, place)? && place.x >= coordinate(record, at)?)
}

/// Whether the ray from a place to the east meets the box that stands here.
fn ray_meets(record: &[u8], at: usize, place: Place) -> Option<bool> {
    let [south, east, north] = [at + 4, at + 8, at + 12].map(|at| coordinate(record, at));
    Some(place.y >= south? && place.y <= north? && place.x <= east?)
}

/// What belongs to a record: its begin stands at byte 0, its number here.
fn run<'a, T>(all: &'a [T], record: &[u8], count_at: usize) -> Option<&'a [T]> {
    let begin = number(record, 0)? as usize;
    all.get(begin..begin.checked_add(count(record, count_at)?.into())?)
}

/// The next point or step.
fn point(bytes: &mut &[u8]) -> Option<Place> {
    Some(Place { x: variable(bytes)?, y: variable(bytes)? })
}

/// The next number of variable length: 7 bits a byte from the lowest on, the highest bit where more follow; the lowest bit of
/// the number is its sign.
fn variable(bytes: &mut &[u8]) -> Option<f64> {
    let mut value = 0_u32;
    for shift in (0..32).step_by(7) {
        let byte;
        (byte, *bytes) = bytes.split_first()?;
        value |= u32::from(byte & 0x7F) << shift;
        if byte & 0x80 == 0 {
            return Some(f64::from((value >> 1) as i32 ^ -((value & 1) as i32)));
        }
    }
    None
}

fn coordinate(bytes: &[u8], at: usize) -> Option<f64> {
    Some(f64::from(number(bytes, at)?.cast_signed()))
}

fn count(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(*bytes.get(at..)?.first_chunk()?))
}

fn number(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(*bytes.get(at..)?.first_chunk()?))
}

/// The section of this kind.
fn section(bytes: &[u8], kind: u32) -> Option<&[u8]> {
    let table = bytes.get(64..)?.as_chunks::<16>().0;
    let count = number(bytes, 20)? as usize;
    let entry = table.iter().take(count).find(|entry| number(*entry, 0) == Some(kind))?;
    bytes.get(number(entry, 4)? as usize..)?.get(..number(entry, 8)? as usize)
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_pcg::Pcg64Mcg;
    use tzf_dist::load_lite_tzb;
    use tzf_rs::EmbeddedFinder;

    use super::*;
    use crate::Zone;

    /// Latitude and longitude in degrees.
    type Degrees = (f64, f64);

    fn map() -> Map<'static> {
        Map::of(load_lite_tzb()).expect("the map is whole")
    }

    /// The same map by a library, which reads and checks all of it first.
    fn library() -> EmbeddedFinder {
        EmbeddedFinder::from_tzb(load_lite_tzb()).expect("the map is whole")
    }

    /// Some places for which the map tells another zone than the library.
    fn wrong(map: &Map<'_>, library: &EmbeddedFinder, places: &[Degrees]) -> Vec<Degrees> {
        let same = |place: &&Degrees| {
            map.name_at(place.0, place.1).unwrap_or("") == library.get_tz_name(place.1, place.0)
        };
        places.iter().filter(|place| !same(place)).take(5).copied().collect()
    }

    /// Places spread evenly over the globe.
    fn anywhere(count: usize) -> Vec<Degrees> {
        let mut random = Pcg64Mcg::seed_from_u64(1);
        let mut place = || {
            let sine: f64 = random.random_range(-1.0..=1.0);
            (sine.asin().to_degrees(), random.random_range(-180.0..=180.0))
        };
        (0..count).map(|_| place()).collect()
    }

    /// South-west corner, middle and north-east corner of each tile.
    fn of_tiles(map: &Map<'_>) -> Vec<Degrees> {
        let mut places = Vec::new();
        for bytes in map.tiles.keys {
            let key = u64::from_le_bytes(*bytes);
            let size = f64::from(1_u32 << (key >> 56));
            let [column, row] = [key >> 28, key].map(|part| (part & 0xFFF_FFFF) as f64);
            places.extend([0.0, 0.5, 1.0].map(|part| {
                let latitude = (PI * (1.0 - 2.0 * (row + 1.0 - part) / size)).sinh().atan();
                (latitude.to_degrees(), (column + part) / size * 360.0 - 180.0)
            }));
        }
        places
    }

    /// Points of borders, the middle between each and the next, and places some metres or centimetres away.
    fn of_borders(map: &Map<'_>) -> Vec<Degrees> {
        let mut random = Pcg64Mcg::seed_from_u64(2);
        let mut places = Vec::new();
        for piece in map.pieces {
            let mut rest = &map.points[number(piece, 0).unwrap() as usize..];
            let mut at = point(&mut rest).unwrap();
            for number in 1..count(piece, 4).unwrap() {
                let step = point(&mut rest).unwrap();
                if number % 8 == 1 {
                    let degrees =
                        |share: f64, more: f64| (at.y + share * step.y + more, at.x + share * step.x - more);
                    let near = random.random_range(-1.0..1.0);
                    let places_deg = [(0.0, 0.0), (0.5, 0.0), (0.0, 1.0), (0.3, near), (0.7, 30.0 * near)];
                    let places_deg = places_deg.map(|(share, more)| degrees(share, more));
                    places.extend(places_deg.map(|(y, x)| (y / PARTS_PER_DEGREE, x / PARTS_PER_DEGREE)));
                }
                at = Place { x: at.x + step.x, y: at.y + step.y };
            }
        }
        places
    }

    #[test]
    fn every_place_has_the_zone_that_the_library_tells() {
        let (map, library) = (map(), library());
        assert_eq!(wrong(&map, &library, &anywhere(200_000)), []);
        assert_eq!(wrong(&map, &library, &of_tiles(&map)), []);
        let borders = of_borders(&map);
        assert!(borders.len() > 100_000, "only {} places at borders", borders.len());
        assert_eq!(wrong(&map, &library, &borders), []);
    }

    #[test]
    fn the_ends_of_the_map_and_whole_degrees_have_the_zones_that_the_library_tells() {
        let latitudes = (-90..=90).map(f64::from);
        let latitudes =
            latitudes.chain([85.06, 85.0511, -85.0511, 89.5, 90.1, -90.1, f64::NAN, f64::INFINITY]);
        let longitudes = (-180..=180).map(f64::from).chain([179.999, -179.999, -0.0, 180.1, f64::NAN]);
        let longitudes: Vec<f64> = longitudes.collect();
        let places: Vec<Degrees> = latitudes
            .flat_map(|latitude| longitudes.iter().map(move |longitude| (latitude, *longitude)))
            .collect();
        assert_eq!(wrong(&map(), &library(), &places), []);
    }

    #[test]
    fn a_wrong_tile_or_point_would_be_noticed() {
        let (bytes, library, whole) = (load_lite_tzb(), library(), map());
        let offset = |part: &[u8]| part.as_ptr() as usize - bytes.as_ptr() as usize;
        let values = offset(whole.tiles.values.as_flattened());
        let tiles = of_tiles(&whole);
        for tile in [0, tiles.len() / 6, tiles.len() / 3 - 1] {
            let mut changed = bytes.to_vec();
            changed[values + 2 * tile] ^= 1;
            assert_ne!(wrong(&Map::of(&changed).expect("whole"), &library, &tiles), [], "tile {tile}");
        }
        let borders = of_borders(&whole);
        for at in [1_000, whole.points.len() / 2] {
            let mut changed = bytes.to_vec();
            changed[offset(whole.points) + at] ^= 0x08;
            assert_ne!(wrong(&Map::of(&changed).expect("whole"), &library, &borders), [], "byte {at}");
        }
    }

    #[test]
    fn every_name_of_the_map_is_a_zone() {
        let library = library();
        for (number, name) in library.timezonenames().into_iter().enumerate() {
            assert_eq!(map().name(number as u16), Some(name));
            assert!(Zone::parse(name).is_ok(), "{name}");
            assert_eq!(name.parse().ok().map(Zone::Named), Zone::parse(name).ok());
        }
    }

    #[test]
    fn a_cut_or_damaged_map_costs_its_answers_alone() {
        let bytes = load_lite_tzb();
        for length in (0..300).chain((0..bytes.len()).step_by(100_003)) {
            assert!(Map::of(&bytes[..length]).is_none(), "{length} bytes");
        }
        let mut random = Pcg64Mcg::seed_from_u64(3);
        for round in 0..20 {
            let mut changed = bytes.to_vec();
            for _ in 0..100_000 {
                let at = random.random_range(if round < 10 { 64..bytes.len() } else { 224..120_000 });
                changed[at] = random.random();
            }
            for place in
                Map::of(&changed).iter().flat_map(|map| anywhere(500).into_iter().map(move |at| (map, at)))
            {
                _ = place.0.name_at(place.1.0, place.1.1);
            }
        }
    }
}
