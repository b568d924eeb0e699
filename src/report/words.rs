//! The words of the reports: one file for each language, in `words/`.

use std::sync::OnceLock;

use super::lexicon::{Lexicon, lexicon};
use super::number::NumberStyle;
use super::phrases::Phrases;
use crate::energy::Effect;

/// The words and the number style of one language.
#[derive(Debug)]
pub struct Words {
    words: Lexicon,
    style: NumberStyle,
    console_style: NumberStyle,
    phrases: Phrases,
}

/// Tags of the languages that ship, first the default.
pub const LANGUAGES: [&str; 2] = ["en", "de"];

static ENGLISH: OnceLock<Words> = OnceLock::new();
static GERMAN: OnceLock<Words> = OnceLock::new();

impl Words {
    /// The words of a language; `None` when it does not ship. An empty tag means English.
    pub fn of(tag: &str) -> Option<&'static Words> {
        match tag {
            "" | "en" => Some(Words::english()),
            "de" => Some(
                GERMAN
                    .get_or_init(|| Words::new(lexicon!("words/de.toml"), Some(include_str!("words/de.phrases.toml")))),
            ),
            _ => None,
        }
    }

    /// English.
    pub fn english() -> &'static Words {
        ENGLISH.get_or_init(|| Words::new(lexicon!("words/en.toml"), None))
    }

    fn new(words: Lexicon, phrases: Option<&str>) -> Words {
        let of = |key: &str, other: &str| words.find(key).unwrap_or(other).to_string();
        let style = NumberStyle {
            decimal: of("number.decimal", "."),
            thousands: of("number.thousands", " "),
            minus: of("number.minus", "-"),
            none: of("number.none", "-"),
        };
        let console_style = NumberStyle { thousands: " ".into(), minus: "-".into(), none: "-".into(), ..style.clone() };
        let phrases = phrases.map_or_else(Phrases::default, |text| Phrases::read(text, &style.decimal));
        Words { words, phrases, style, console_style }
    }

    /// The word under a key; the key itself when there is none.
    pub fn t<'a>(&'a self, key: &'a str) -> &'a str {
        self.find(key).unwrap_or(key)
    }

    /// The word under a key, if there is one.
    pub fn find(&self, key: &str) -> Option<&str> {
        self.words.find(key)
    }

    /// The word under a key with `{name}` filled in.
    pub fn fill(&self, key: &str, values: &[(&str, &str)]) -> String {
        let mut rest = self.t(key);
        let mut out = String::with_capacity(rest.len() + 32);
        while let Some(open) = rest.find('{') {
            let Some(close) = rest[open..].find('}') else { break };
            out.push_str(&rest[..open]);
            let name = &rest[open + 1..open + close];
            match values.iter().find(|(n, _)| *n == name) {
                Some((_, value)) => out.push_str(value),
                None => out.push_str(&rest[open..=open + close]),
            }
            rest = &rest[open + close + 1..];
        }
        out.push_str(rest);
        out
    }

    /// The sentences of the parts below the report in this language.
    pub fn phrases(&self) -> &Phrases {
        &self.phrases
    }

    /// All keys.
    #[cfg(test)]
    pub(super) fn keys(&self) -> impl Iterator<Item = String> {
        self.words.iter().map(|[section, key, _]| format!("{section}.{key}"))
    }

    /// How this language writes numbers on a page.
    pub fn style(&self) -> &NumberStyle {
        &self.style
    }

    /// How this language writes numbers on a console: plain spaces and hyphens.
    pub fn console_style(&self) -> &NumberStyle {
        &self.console_style
    }

    /// Name of a month, 0 is January.
    pub fn month(&self, index: usize) -> &str {
        const KEYS: [&str; 12] = [
            "month.m1",
            "month.m2",
            "month.m3",
            "month.m4",
            "month.m5",
            "month.m6",
            "month.m7",
            "month.m8",
            "month.m9",
            "month.m10",
            "month.m11",
            "month.m12",
        ];
        self.t(KEYS[index % 12])
    }

    /// Short name of a month, 0 is January.
    pub fn month_short(&self, index: usize) -> &str {
        const KEYS: [&str; 12] = [
            "month-short.m1",
            "month-short.m2",
            "month-short.m3",
            "month-short.m4",
            "month-short.m5",
            "month-short.m6",
            "month-short.m7",
            "month-short.m8",
            "month-short.m9",
            "month-short.m10",
            "month-short.m11",
            "month-short.m12",
        ];
        self.t(KEYS[index % 12])
    }

    /// Name of an effect of the account.
    pub fn effect(&self, effect: Effect) -> &str {
        self.t(effect_key(effect))
    }

    /// Name of a cause of the gap: the word under `[cause]`, or the text itself.
    pub fn cause<'a>(&'a self, name: &'a str) -> &'a str {
        self.find(&format!("cause.{name}")).unwrap_or(name)
    }
}

fn effect_key(effect: Effect) -> &'static str {
    match effect {
        Effect::Skyline => "effect.skyline",
        Effect::Shade => "effect.shade",
        Effect::Snow => "effect.snow",
        Effect::Dirt => "effect.dirt",
        Effect::Incidence => "effect.incidence",
        Effect::Spectrum => "effect.spectrum",
        Effect::Rear => "effect.rear",
        Effect::LowLight => "effect.low-light",
        Effect::Temperature => "effect.temperature",
        Effect::LightInduced => "effect.light-induced",
        Effect::ModuleConverter => "effect.module-converter",
        Effect::Mismatch => "effect.mismatch",
        Effect::DcCable => "effect.dc-cable",
        Effect::OutsideWindow => "effect.outside-window",
        Effect::Inverter => "effect.inverter",
        Effect::Clipping => "effect.clipping",
        Effect::NightDraw => "effect.night-draw",
        Effect::AcCable => "effect.ac-cable",
        Effect::Transformer => "effect.transformer",
        Effect::Outage => "effect.outage",
        Effect::ExportLimit => "effect.export-limit",
    }
}

/// Columns that a text takes on a console: wide characters count two, combining marks none.
pub fn columns(text: &str) -> usize {
    if is_plain(text) {
        return text.len();
    }
    text.chars()
        .map(|c| match c as u32 {
            0..=0x1f | 0x7f | 0x300..=0x36f | 0x200b..=0x200f | 0x202a..=0x202e | 0xfe00..=0xfe0f => 0,
            0x1100..=0x115f | 0x2e80..=0xa4cf | 0xac00..=0xd7a3 | 0xf900..=0xfaff | 0xfe30..=0xfe6f => 2,
            0xff00..=0xff60 | 0xffe0..=0xffe6 | 0x1f300..=0x1faff | 0x20000..=0x3fffd => 2,
            _ => 1,
        })
        .sum()
}

/// One column for every byte.
fn is_plain(text: &str) -> bool {
    text.bytes().all(|b| (0x20..0x7f).contains(&b))
}

/// A text without control characters, cut to so many columns with an ellipsis.
pub fn cut(text: &str, width: usize) -> String {
    if text.len() <= width && is_plain(text) {
        return text.to_string();
    }
    let clean: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if columns(&clean) <= width {
        return clean;
    }
    let mut out = String::new();
    for c in clean.chars() {
        let mut one = [0; 4];
        if columns(&out) + columns(c.encode_utf8(&mut one)) + 1 > width {
            break;
        }
        out.push(c);
    }
    out.push('\u{2026}');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placeholders(text: &str) -> Vec<&str> {
        let mut found: Vec<&str> =
            text.split('{').skip(1).filter_map(|part| part.split_once('}')).map(|(name, _)| name).collect();
        found.sort_unstable();
        found
    }

    #[test]
    fn all_languages_hold_the_same_keys_and_placeholders() {
        let english = Words::english();
        let ours: Vec<String> = english.keys().collect();
        assert!(ours.len() > 150);
        for tag in LANGUAGES {
            let other = Words::of(tag).unwrap();
            assert_eq!(other.t("language.tag"), tag);
            assert_eq!(ours, other.keys().collect::<Vec<_>>(), "keys of {tag}");
            for key in &ours {
                let (word, theirs) = (english.t(key), other.t(key));
                assert_eq!(placeholders(word), placeholders(theirs), "placeholders of {key} in {tag}");
                assert!(!theirs.trim().is_empty() || key == "number.thousands", "{key} in {tag} is empty");
            }
        }
        assert!(Words::of("xx").is_none());
    }

    #[test]
    fn german_is_not_english() {
        // Words that both languages really share.
        let shared = [
            "language.tag",
            "number.",
            "month.m4",
            "month.m8",
            "month.m9",
            "month.m11",
            "month-short.",
            "page.north",
            "page.south",
            "page.west",
            "page.compass",
            "col.pr",
            "col.p50",
            "col.p90",
            "col.p10",
            "col.checksum",
            "chart.kwh",
            "chart.mwh",
            "chart.kw",
            "chart.w-m2",
            "chart.volt",
            "chart.metres",
            "chart.north",
            "effect.temperature",
            "cause.temperature",
            "col.ghi",
            "col.v-mp-stc",
            "col.dhi",
            "chart.ghi",
            "chart.dhi",
        ];
        let (en, de) = (Words::english(), Words::of("de").unwrap());
        for key in en.keys() {
            let word = en.t(&key);
            if shared.iter().any(|s| key == *s || (s.ends_with('.') && key.starts_with(s))) {
                continue;
            }
            assert_ne!(word, de.t(&key), "{key} is not translated");
        }
    }

    #[test]
    fn every_word_that_the_code_asks_for_exists() {
        let mut text = String::new();
        let mut folders = vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/src/report"))];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|e| e == "rs") {
                    text.push_str(&std::fs::read_to_string(path).unwrap());
                }
            }
        }
        let english = Words::english();
        let sections: Vec<&str> = english.words.iter().map(|[section, ..]| section).collect();
        let mut asked = std::collections::BTreeSet::new();
        for literal in text.split('"').filter(|l| l.len() < 40) {
            if literal.split_once('.').is_some_and(|(s, rest)| {
                sections.contains(&s)
                    && !rest.is_empty()
                    && rest != "html"
                    && rest.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
            }) {
                asked.insert(literal.to_string());
            }
        }
        for key in &asked {
            assert!(english.find(key).is_some(), "the code asks for {key}, which no language file holds");
        }
        for key in english.keys() {
            let filed = ["cause.", "number.", "language."].iter().any(|s| key.starts_with(s));
            assert!(filed || asked.contains(&key), "{key} stands in the language file, but nothing asks for it");
        }
    }

    #[test]
    fn fills_and_cuts() {
        let en = Words::english();
        assert_eq!(en.fill("page.made-by", &[("version", "1.0")]), "Made with yearlight 1.0");
        assert_eq!(en.fill("no.such-key", &[]), "no.such-key");
        assert_eq!(cut("Merrowby", 8), "Merrowby");
        assert_eq!(cut("Merrowby school", 8), "Merrowb\u{2026}");
        assert_eq!(cut("a\nb\u{1b}[31m", 80), "a b [31m");
        assert_eq!(columns("\u{6f22}\u{5b57}"), 4);
    }
}
