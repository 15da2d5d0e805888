//! Files as exporters write them: indented, with sensors, 3 % of the points lacking heart rate. Invented, the same at
//! every run.

use std::fmt::Write;

/// A multiplicative congruential stream (Lehmer, 48271 mod 2³¹ − 1), so that files need no dependency.
pub(crate) struct Numbers(u64);

impl Numbers {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed % 2_147_483_646 + 1)
    }

    /// The next number from 0 to 1.
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0 * 48_271 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }
}

struct Sample {
    time: String,
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
    heart_rate_bpm: Option<u32>,
    cadence: u32,
    distance_m: f64,
    speed_m_per_s: f64,
}

fn samples(count: usize) -> impl Iterator<Item = Sample> {
    let mut numbers = Numbers::new(count as u64);
    let mut distance_m = 0.0;
    (0..count).map(move |index| {
        let runs = index % 300 > 100;
        let speed_m_per_s = if runs { 2.4 } else { 1.4 } + 0.2 * (numbers.next() - 0.5);
        distance_m += speed_m_per_s;
        let (days, seconds) = (index / 86_400, index % 86_400);
        Sample {
            time: format!(
                "2025-03-{:02}T{:02}:{:02}:{:02}.000Z",
                1 + days,
                seconds / 3600,
                seconds / 60 % 60,
                seconds % 60
            ),
            latitude_deg: 12.5 + distance_m * 9e-6 + 1e-5 * (numbers.next() - 0.5),
            longitude_deg: -38.25 + 2e-5 * (numbers.next() - 0.5),
            elevation_m: 12.0 + 3.0 * (index as f64 / 200.0).sin(),
            heart_rate_bpm: (numbers.next() > 0.03).then(|| 120 + (numbers.next() * 40.0) as u32),
            cadence: if runs { 78 } else { 56 } + (numbers.next() * 4.0) as u32,
            distance_m,
            speed_m_per_s,
        }
    })
}

/// An indented GPX 1.1 file with TrackPointExtension.
pub(crate) fn gpx(points: usize) -> Vec<u8> {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx creator=\"invented\" version=\"1.1\"\n  \
         xmlns:ns3=\"http://www.garmin.com/xmlschemas/TrackPointExtension/v1\"\n  \
         xmlns=\"http://www.topografix.com/GPX/1/1\">\n  <metadata>\n    <time>2025-03-01T00:00:00.000Z</time>\n  \
         </metadata>\n  <trk>\n    <name>Morning &amp; evening</name>\n    <type>running</type>\n    <trkseg>\n",
    );
    for sample in samples(points) {
        let heart_rate = sample
            .heart_rate_bpm
            .map_or(String::new(), |bpm| format!("            <ns3:hr>{bpm}</ns3:hr>\n"));
        write!(
            text,
            "      <trkpt lat=\"{:.12}\" lon=\"{:.12}\">\n        <ele>{:.6}</ele>\n        <time>{}</time>\n        \
             <extensions>\n          <ns3:TrackPointExtension>\n{heart_rate}            <ns3:cad>{}</ns3:cad>\n          \
             </ns3:TrackPointExtension>\n        </extensions>\n      </trkpt>\n",
            sample.latitude_deg, sample.longitude_deg, sample.elevation_m, sample.time, sample.cadence
        )
        .expect("strings take everything");
    }
    text.push_str("    </trkseg>\n  </trk>\n</gpx>\n");
    text.into_bytes()
}

/// An indented TCX v2 file with TPX extensions.
pub(crate) fn tcx(points: usize) -> Vec<u8> {
    let mut text = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<TrainingCenterDatabase\n  \
         xmlns:ns3=\"http://www.garmin.com/xmlschemas/ActivityExtension/v2\"\n  \
         xmlns=\"http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2\">\n  <Activities>\n    \
         <Activity Sport=\"Running\">\n      <Id>2025-03-01T00:00:00.000Z</Id>\n      \
         <Lap StartTime=\"2025-03-01T00:00:00.000Z\">\n        <TotalTimeSeconds>600.0</TotalTimeSeconds>\n        \
         <DistanceMeters>1200.0</DistanceMeters>\n        <Track>\n",
    );
    for sample in samples(points) {
        let heart_rate = sample.heart_rate_bpm.map_or(String::new(), |bpm| {
            format!("            <HeartRateBpm>\n              <Value>{bpm}</Value>\n            </HeartRateBpm>\n")
        });
        write!(
            text,
            "          <Trackpoint>\n            <Time>{}</Time>\n            <Position>\n              \
             <LatitudeDegrees>{:.12}</LatitudeDegrees>\n              <LongitudeDegrees>{:.12}</LongitudeDegrees>\n            \
             </Position>\n            <AltitudeMeters>{:.6}</AltitudeMeters>\n            \
             <DistanceMeters>{:.6}</DistanceMeters>\n{heart_rate}            <Extensions>\n              <ns3:TPX>\n                \
             <ns3:Speed>{:.6}</ns3:Speed>\n                <ns3:RunCadence>{}</ns3:RunCadence>\n              </ns3:TPX>\n            \
             </Extensions>\n          </Trackpoint>\n",
            sample.time,
            sample.latitude_deg,
            sample.longitude_deg,
            sample.elevation_m,
            sample.distance_m,
            sample.speed_m_per_s,
            sample.cadence
        )
        .expect("strings take everything");
    }
    text.push_str(
        "        </Track>\n      </Lap>\n    </Activity>\n  </Activities>\n</TrainingCenterDatabase>\n",
    );
    text.into_bytes()
}

/// One of several, drawn anew each time.
fn one_of<'a>(numbers: &mut Numbers, choices: &[&'a str]) -> &'a str {
    choices[((numbers.next() * choices.len() as f64) as usize).min(choices.len() - 1)]
}

/// Elements in an order drawn anew, some left out, each on its own line with blanks before it drawn anew.
fn irregular(numbers: &mut Numbers, mut elements: Vec<String>) -> String {
    let mut text = String::new();
    while !elements.is_empty() {
        let index = (numbers.next() * elements.len() as f64) as usize % elements.len();
        let element = elements.swap_remove(index);
        if numbers.next() < 0.9 {
            text += one_of(numbers, &["", " ", "\n", "\n  ", "\n    ", "\r\n\t", "\n\t\t"]);
            text += &element;
        }
    }
    text
}

/// A GPX file without any layout: each point is written in its own way.
pub(crate) fn irregular_gpx(points: usize) -> Vec<u8> {
    let mut numbers = Numbers::new(11);
    let mut text = String::from("<gpx version=\"1.1\"><trk><trkseg>");
    for sample in samples(points) {
        let quote = one_of(&mut numbers, &["\"", "'"]);
        let (latitude, longitude) = (
            format!("lat={quote}{:.7}{quote}", sample.latitude_deg),
            format!("lon={quote}{:.7}{quote}", sample.longitude_deg),
        );
        let heart_rate = sample.heart_rate_bpm.map(|bpm| format!("<x:hr>{bpm}</x:hr>"));
        let sensors = heart_rate.into_iter().chain([
            format!("<x:cad>{}</x:cad>", sample.cadence),
            format!("<x:speed>{:.3}</x:speed>", sample.speed_m_per_s),
            "<x:atemp>21.5</x:atemp>".to_owned(),
        ]);
        let sensors = irregular(&mut numbers, sensors.collect());
        let children = irregular(
            &mut numbers,
            vec![
                format!("<ele>{:.3}</ele>", sample.elevation_m),
                format!("<time>{}</time>", sample.time),
                "<name>a <![CDATA[b]]></name>".to_owned(),
                format!(
                    "<extensions><x:TrackPointExtension xmlns:x=\"urn:x\">{sensors}</x:TrackPointExtension></extensions>"
                ),
            ],
        );
        let attributes = if numbers.next() < 0.5 {
            format!("{latitude} {longitude}")
        } else {
            format!("{longitude}  {latitude}")
        };
        text += &format!("<trkpt {attributes}>{children}</trkpt>");
    }
    text.push_str("</trkseg></trk></gpx>");
    text.into_bytes()
}

/// A TCX file without any layout: each point is written in its own way.
pub(crate) fn irregular_tcx(points: usize) -> Vec<u8> {
    let mut numbers = Numbers::new(12);
    let mut text = String::from(
        "<TrainingCenterDatabase><Activities><Activity Sport=\"Running\"><Lap StartTime=\"\"><Track>",
    );
    for sample in samples(points) {
        let heart_rate = sample.heart_rate_bpm.map(|bpm| {
            format!("<HeartRateBpm xsi:type=\"x\" xmlns:xsi=\"urn:x\"><Value>{bpm}</Value></HeartRateBpm>")
        });
        let sensors = irregular(
            &mut numbers,
            vec![
                format!("<x:Speed>{:.3}</x:Speed>", sample.speed_m_per_s),
                format!("<x:RunCadence>{}</x:RunCadence>", sample.cadence),
                "<x:Watts>210</x:Watts>".to_owned(),
            ],
        );
        let children = heart_rate.into_iter().chain([
            format!("<Time>{}</Time>", sample.time),
            format!(
                "<Position><LatitudeDegrees>{:.7}</LatitudeDegrees> <LongitudeDegrees>{:.7}</LongitudeDegrees></Position>",
                sample.latitude_deg, sample.longitude_deg
            ),
            format!("<AltitudeMeters>{:.3}</AltitudeMeters>", sample.elevation_m),
            format!("<DistanceMeters>{:.2}</DistanceMeters>", sample.distance_m),
            format!("<Extensions><x:TPX xmlns:x=\"urn:x\">{sensors}</x:TPX></Extensions>"),
        ]);
        text += &format!("<Trackpoint>{}</Trackpoint>", irregular(&mut numbers, children.collect()));
    }
    text.push_str("</Track></Lap></Activity></Activities></TrainingCenterDatabase>");
    text.into_bytes()
}
