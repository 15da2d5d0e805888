//! Who and what wrote a file, as far as it says: for finding its owner, and for nothing that is written down.

use memchr::memmem::find;

/// Longest text of an origin, in bytes (own choice: longer ones are no names).
const MAX_TEXT_BYTES: usize = 200;
/// Tracks whose titles are looked at (own choice).
const MAX_TRACKS: usize = 64;

/// Who and what wrote a file. Texts as the file has them; whoever handles them keeps them to the process.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The title of each track or activity, in the order of the file.
    pub titles: Vec<Option<String>>,
    /// The author.
    pub author: Option<String>,
    /// The device, with its number where there is one; else the program.
    pub device: Option<String>,
}

impl Origin {
    /// Looks for the origin in a GPX or TCX text in UTF-8, without regard to its nesting: what is not found is `None`.
    pub(crate) fn of(text: &[u8]) -> Self {
        if find(text, b"<TrainingCenterDatabase").is_some() { Self::of_tcx(text) } else { Self::of_gpx(text) }
    }

    fn of_gpx(text: &[u8]) -> Self {
        let starts = starts_of(text, b"<trk");
        let head = &text[..starts.first().copied().unwrap_or(text.len())];
        let creator = find(head, b"<gpx").and_then(|at| {
            let tag = &head[at..at + find(&head[at..], b">")?];
            let from = find(tag, b"creator=")? + b"creator=".len();
            let quote = *tag.get(from)?;
            let value = &tag[from + 1..];
            plain(&value[..value.iter().position(|byte| *byte == quote)?])
        });
        let author = element(head, "author").and_then(|author| match element(author, "name") {
            Some(name) => plain(name),
            None => plain(author),
        });
        let titles = starts.iter().take(MAX_TRACKS).map(|at| {
            let track = &text[*at..];
            let before_points = &track[..find(track, b"<trkseg").unwrap_or(track.len().min(4096))];
            element(before_points, "name").and_then(plain)
        });
        Self { titles: titles.collect(), author, device: creator }
    }

    fn of_tcx(text: &[u8]) -> Self {
        let starts = starts_of(text, b"<Activity");
        let creator = find(text, b"<Creator").map(|at| &text[at..]).map(|from| {
            let creator = &from[..find(from, b"</Creator>").unwrap_or(0)];
            let part = |name| element(creator, name).and_then(plain);
            [part("Name"), part("UnitId")].into_iter().flatten().collect::<Vec<_>>().join(" ")
        });
        let program = || {
            let at = find(text, b"<Author")?;
            element(&text[at..], "Name").and_then(plain)
        };
        let titles = starts.iter().enumerate().take(MAX_TRACKS).map(|(number, at)| {
            let end = starts.get(number + 1).copied().unwrap_or(text.len());
            element(&text[*at..end], "Notes").and_then(plain)
        });
        let device = creator.filter(|device| !device.is_empty()).or_else(program);
        Self { titles: titles.collect(), author: None, device }
    }
}

/// Where tags of a name begin; longer names that begin alike are others.
fn starts_of(text: &[u8], tag: &[u8]) -> Vec<usize> {
    memchr::memmem::find_iter(text, tag)
        .filter(|at| text.get(at + tag.len()).is_some_and(|byte| b" \t\r\n>".contains(byte)))
        .take(MAX_TRACKS)
        .collect()
}

/// What stands in the first element of a name.
fn element<'t>(text: &'t [u8], name: &str) -> Option<&'t [u8]> {
    let at = *starts_of(text, format!("<{name}").as_bytes()).first()?;
    let from = at + find(&text[at..], b">")? + 1;
    if text[from - 2] == b'/' {
        return None;
    }
    let length = find(&text[from..], format!("</{name}").as_bytes())?;
    Some(&text[from..from + length])
}

/// A text without markup; `None` for nothing and for more than a name.
fn plain(text: &[u8]) -> Option<String> {
    let text = text.strip_prefix(b"<![CDATA[").and_then(|text| text.strip_suffix(b"]]>")).unwrap_or(text);
    if text.len() > MAX_TEXT_BYTES || text.contains(&b'<') {
        return None;
    }
    let mut text = String::from_utf8_lossy(text).into_owned();
    for (escape, sign) in [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&apos;", "'"), ("&amp;", "&")] {
        text = text.replace(escape, sign);
    }
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> (Vec<Option<String>>, Option<String>, Option<String>) {
        let Origin { titles, author, device } = Origin::of(text.as_bytes());
        (titles, author, device)
    }

    #[test]
    fn titles_author_and_device_are_found_in_both_formats() {
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(
            of(
                "<gpx version='1.1' creator=\"Pocket Logger 7\"><metadata><author><name>Zo\u{e9} &amp; co</name></author>\
                </metadata><trk><name><![CDATA[Run with Ben]]></name><trkseg/></trk><trk ><trkseg/></trk></gpx>"
            ),
            (vec![some("Run with Ben"), None], some("Zoé & co"), some("Pocket Logger 7"))
        );
        assert_eq!(
            of(
                "<gpx creator='x'><author>Mira</author><trk><trkseg><trkpt><name>no title</name></trkpt></trkseg></trk></gpx>"
            ),
            (vec![None], some("Mira"), some("x"))
        );
        assert_eq!(
            of(
                "<TrainingCenterDatabase><Activities><Activity Sport='Running'><Lap/><Notes>Hills</Notes><Creator xsi:type='D'>\
                <Name>Wrist 3</Name><UnitId>77</UnitId></Creator></Activity></Activities></TrainingCenterDatabase>"
            ),
            (vec![some("Hills")], None, some("Wrist 3 77"))
        );
    }

    #[test]
    fn broken_texts_give_nothing_and_no_panic() {
        for text in [
            "",
            "<gpx",
            "<gpx creator=",
            "<gpx creator='",
            "<trk><name>",
            "<gpx><author/><trk>",
            "<TrainingCenterDatabase><Creator",
        ] {
            let (_, author, device) = of(text);
            assert_eq!((author, device), (None, None), "{text}");
        }
    }
}
