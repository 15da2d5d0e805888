//! Warning signs, and the everyday words in which people note them.

use std::sync::{Arc, LazyLock};

use toml::de::{DeTable, DeValue};

use crate::error::Flaw;
use crate::keys;
use crate::name::folded_name;

/// A sign for which running stops until a licensed professional has been asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum WarningSign {
    /// Pain or pressure in the chest.
    Chest,
    /// Fainting or nearly so.
    Faint,
    /// Dizziness.
    Dizzy,
    /// Breathlessness out of proportion.
    Breathless,
    /// A racing or irregular heartbeat.
    Heartbeat,
    /// Another sign that the coach takes as a warning, or words that were not understood.
    Other,
}

impl WarningSign {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Chest, Self::Faint, Self::Dizzy, Self::Breathless, Self::Heartbeat, Self::Other];

    /// The word in the journal.
    pub fn word(self) -> &'static str {
        match self {
            Self::Chest => "chest",
            Self::Faint => "faint",
            Self::Dizzy => "dizzy",
            Self::Breathless => "breathless",
            Self::Heartbeat => "heartbeat",
            Self::Other => "other",
        }
    }
}

/// The words of the file beside this one, and those that a settings file adds. Who has the same shares them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignWords {
    /// Beginnings of words, folded, that together mean a sign.
    signs: Arc<Vec<(Vec<String>, WarningSign)>>,
    /// Whole cells, folded, that mean no sign.
    no: Arc<Vec<String>>,
}

/// What a cell of warning signs says.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Said {
    pub(crate) signs: Vec<WarningSign>,
    /// Phrases that were not understood, as written.
    pub(crate) not_understood: Vec<String>,
}

/// What parts the phrases of a cell.
const PHRASE_ENDS: [char; 10] = [',', ';', '+', '|', '&', '/', '.', '!', '?', '\n'];

static BUILT_IN: LazyLock<SignWords> = LazyLock::new(|| {
    let mut words = SignWords { signs: Arc::default(), no: Arc::default() };
    if let Ok(document) = DeTable::parse(include_str!("words.toml"))
        && let Some(DeValue::Table(signs)) = document.get_ref().get("signs").map(|value| value.get_ref())
    {
        // The file is part of the program: a test reads it and finds no flaw.
        let _ = words.add(signs);
    }
    words
});

impl Default for SignWords {
    /// The words that the program knows by itself.
    fn default() -> Self {
        BUILT_IN.clone()
    }
}

impl SignWords {
    /// Every entry as `sign: beginnings of words` or `no: cell`, in the order in which they are tried.
    pub fn entries(&self) -> Vec<String> {
        let signs = self.signs.iter().map(|(words, sign)| format!("{}: {}", sign.word(), words.join(" ")));
        signs.chain(self.no.iter().map(|cell| format!("no: {cell}"))).collect()
    }

    /// Adds the lists of a table `[signs]`.
    pub(crate) fn add(&mut self, table: &DeTable<'_>) -> Result<(), Flaw> {
        const NO: &str = "no";
        let mut known: Vec<&str> = WarningSign::ALL.map(WarningSign::word).to_vec();
        known.push(NO);
        keys::refuse_unknown(table, "in [signs]", &known)?;
        let (signs, no) = (Arc::make_mut(&mut self.signs), Arc::make_mut(&mut self.no));
        for (key, value) in table {
            let key = key.get_ref().as_ref();
            let example = format!("[\"a word\", \"two words\"], a list under {key}");
            for word in keys::list(value, key, &example)? {
                let folded = folded_name(keys::text(word, key, &example)?);
                if folded.is_empty() {
                    let mend = "write the beginning of a word, or take it out";
                    return Err(Flaw::new(word.span(), "an empty word", "a word", mend));
                }
                match WarningSign::ALL.into_iter().find(|sign| sign.word() == key) {
                    Some(sign) => {
                        signs.push((words(&folded).map(str::to_owned).collect(), sign));
                    }
                    None => no.push(folded),
                }
            }
        }
        Ok(())
    }

    /// Reads a cell. Whatever is neither a sign nor a plain no is a sign that was not understood.
    pub(crate) fn read(&self, cell: &str) -> Said {
        let mut said = Said::default();
        let whole = folded_name(cell);
        if whole.is_empty() || self.is_no(&whole) {
            return said;
        }
        for phrase in cell.split(PHRASE_ENDS).filter(|phrase| phrase.contains(char::is_alphanumeric)) {
            let folded = folded_name(phrase);
            // "chest, no dizziness" is no plain no: a word for a sign counts whatever stands beside it.
            if self.is_no(&folded) {
                continue;
            }
            let mut understood = false;
            for (parts, sign) in self.signs.iter() {
                let is_said = |part: &String| words(&folded).any(|word| word.starts_with(part.as_str()));
                if parts.iter().all(is_said) {
                    understood = true;
                    if !said.signs.contains(sign) {
                        said.signs.push(*sign);
                    }
                }
            }
            if !understood && folded == WarningSign::Other.word() {
                understood = true;
                if !said.signs.contains(&WarningSign::Other) {
                    said.signs.push(WarningSign::Other);
                }
            }
            if !understood {
                said.not_understood.push(phrase.trim().to_owned());
            }
        }
        if said.signs.is_empty() && said.not_understood.is_empty() && !self.is_no_by_parts(cell) {
            said.not_understood.push(cell.trim().to_owned());
        }
        if !said.not_understood.is_empty() && !said.signs.contains(&WarningSign::Other) {
            said.signs.push(WarningSign::Other);
        }
        said.signs.sort_unstable();
        said
    }

    fn is_no(&self, folded: &str) -> bool {
        let bare = folded.trim_end_matches(['.', '!', ' ']);
        self.no.iter().any(|no| no == folded || no == bare)
    }

    /// Whether there are phrases, and each of them is a plain no.
    fn is_no_by_parts(&self, cell: &str) -> bool {
        let mut phrases =
            cell.split(PHRASE_ENDS).filter(|phrase| phrase.contains(char::is_alphanumeric)).peekable();
        phrases.peek().is_some() && phrases.all(|phrase| self.is_no(&folded_name(phrase)))
    }
}

fn words(folded: &str) -> impl Iterator<Item = &str> {
    folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signs(cell: &str) -> String {
        let said = SignWords::default().read(cell);
        said.signs.iter().map(|sign| sign.word()).collect::<Vec<_>>().join("+")
    }

    #[test]
    fn the_words_of_the_program_have_no_flaw() {
        let document = DeTable::parse(include_str!("words.toml")).unwrap();
        let DeValue::Table(table) = document.get_ref().get("signs").unwrap().get_ref() else { panic!() };
        let mut words = SignWords { signs: Arc::default(), no: Arc::default() };
        words.add(table).unwrap();
        assert_eq!(words, SignWords::default());
        assert!(words.no.len() > 20 && words.signs.len() > 60);
    }

    #[test]
    fn everyday_words_are_understood_and_the_rest_counts_as_a_sign() {
        for (cell, expected) in [
            ("chest pain", "chest"),
            ("Tightness in the CHEST", "chest"),
            ("Brustschmerzen", "chest"),
            ("douleur à la poitrine", "chest"),
            ("felt faint", "faint"),
            ("passed out at home", "faint"),
            ("Schwindel", "dizzy"),
            ("light-headed", "dizzy"),
            ("short of breath", "breathless"),
            ("couldn't breathe", "breathless"),
            ("I couldn\u{2019}t get any air", "breathless"),
            ("everything went black", "faint"),
            ("the room was spinning", "dizzy"),
            ("no puedo respirar", "breathless"),
            ("dolore al petto", "chest"),
            ("my heart was racing", "heartbeat"),
            ("Herzrasen + Schwindel", "dizzy+heartbeat"),
            ("chest; dizzy", "chest+dizzy"),
            ("étourdi", "dizzy"),
            ("e\u{301}tourdi", "dizzy"),
            ("other", "other"),
            ("yes", "other"),
            ("something odd", "other"),
            ("chest and a sore knee", "chest"),
            ("chest, sore knee", "chest+other"),
            ("no dizziness", "dizzy"),
            ("???", "other"),
        ] {
            assert_eq!(signs(cell), expected, "{cell}");
        }
        assert_eq!(SignWords::default().read("chest, sore knee").not_understood, ["sore knee"]);
    }

    #[test]
    fn a_plain_no_is_none() {
        for cell in [
            "",
            "no",
            "None",
            "NO.",
            "0",
            "-",
            "–",
            "no pain",
            "No symptoms.",
            "Keine Beschwerden",
            "nein",
            "keine",
            "rien",
            "nada",
            "n/a",
            "no, none",
        ] {
            assert_eq!(signs(cell), "", "{cell}");
        }
    }
}
