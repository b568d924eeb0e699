//! Sentences that the computing parts tell in English, in another language.
//!
//! The parts below the report speak English, and `run.json` keeps what they say. A language file `words/xx.phrases.toml`
//! lists each sentence as a pattern with its translation; what a slot of the pattern takes is put into the same slot of
//! the translation. A sentence that is not listed stays English; tests see to it that all are listed.

use std::collections::HashMap;

use serde::Deserialize;

use super::view::Proposal;

/// Most steps spent on one text: names come from users, and may be anything.
const STEPS: u32 = 200_000;

/// The search through one text.
struct Search {
    steps: u32,
    /// Parts that were looked at, so that none is looked at twice.
    known: HashMap<String, Option<String>>,
}

/// A piece of a pattern.
#[derive(Debug, Clone, PartialEq)]
enum Piece {
    Text(String),
    Slot { name: String, kind: Kind },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// `{x}`: a number or a name, taken over.
    Plain,
    /// `{=x}`: a part of a sentence, translated itself; a single word may stay.
    Part,
    /// `{#x}`: a number only.
    Number,
    /// `{.x}`: one word only.
    Word,
}

#[derive(Debug)]
struct Phrase {
    from: Vec<Piece>,
    to: Vec<Piece>,
}

/// The sentences of one language.
#[derive(Debug, Default)]
pub struct Phrases {
    /// Those with the most letters of their own first.
    all: Vec<Phrase>,
    decimal: String,
}

#[derive(Deserialize)]
struct File {
    phrase: Vec<(String, String)>,
}

impl Phrases {
    /// From a language file; `decimal` is what the language writes for a decimal point.
    pub(super) fn read(text: &str, decimal: &str) -> Phrases {
        let file: File = toml::from_str(text).unwrap_or(File { phrase: Vec::new() });
        let mut all: Vec<Phrase> =
            file.phrase.iter().map(|(from, to)| Phrase { from: pieces(from), to: pieces(to) }).collect();
        let letters = |p: &Phrase| -> usize {
            p.from.iter().map(|piece| if let Piece::Text(t) = piece { t.len() } else { 0 }).sum()
        };
        all.sort_by_key(|p| std::cmp::Reverse(letters(p)));
        Phrases { all, decimal: decimal.to_string() }
    }

    /// True for the language that the parts speak.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// A text in this language; as it is when it is not listed.
    pub fn say(&self, text: &str) -> String {
        self.find(text).unwrap_or_else(|| text.to_string())
    }

    /// A text in this language, if it is listed, as a whole or behind the tags of options.
    pub fn find(&self, text: &str) -> Option<String> {
        if self.all.is_empty() {
            return None;
        }
        let mut search = Search { steps: STEPS, known: HashMap::new() };
        if let Some(found) = self.whole(text, &mut search) {
            return Some(found);
        }
        let (tags, rest) = text.split_once(": ")?;
        Some(format!("{tags}: {}", self.whole(rest, &mut search)?))
    }

    fn whole(&self, text: &str, search: &mut Search) -> Option<String> {
        if let Some(known) = search.known.get(text) {
            return known.clone();
        }
        // A text is no part of itself.
        search.known.insert(text.to_string(), None);
        let found = self.all.iter().find_map(|p| self.through(p, text, search));
        search.known.insert(text.to_string(), found.clone());
        found
    }

    fn through(&self, phrase: &Phrase, text: &str, search: &mut Search) -> Option<String> {
        let mut taken = Vec::new();
        if !self.fits(&phrase.from, text, search, &mut taken) {
            return None;
        }
        let mut out = String::with_capacity(2 * text.len());
        for piece in &phrase.to {
            match piece {
                Piece::Text(t) => out.push_str(t),
                Piece::Slot { name, .. } => out.push_str(taken.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)),
            }
        }
        Some(out)
    }

    /// Whether a text is what the pieces say; fills in what the slots take, in this language.
    fn fits<'a>(
        &self,
        pieces: &'a [Piece],
        text: &str,
        search: &mut Search,
        taken: &mut Vec<(&'a str, String)>,
    ) -> bool {
        if search.steps == 0 {
            return false;
        }
        search.steps -= 1;
        match pieces {
            [] => text.is_empty(),
            [Piece::Text(t), rest @ ..] => {
                text.strip_prefix(t.as_str()).is_some_and(|text| self.fits(rest, text, search, taken))
            }
            // The end of a sentence is no part of it.
            [Piece::Slot { kind: Kind::Part, .. }] if text.ends_with('.') => false,
            [Piece::Slot { name, kind }] => match self.slot(text, *kind, search) {
                Some(value) => {
                    taken.push((name, value));
                    true
                }
                None => false,
            },
            [Piece::Slot { name, kind }, rest @ ..] => {
                let Some(Piece::Text(next)) = rest.first() else { return false };
                for (at, _) in text.match_indices(next.as_str()) {
                    let known = taken.len();
                    if at > 0
                        && let Some(value) = self.slot(&text[..at], *kind, search)
                    {
                        taken.push((name, value));
                        if self.fits(rest, &text[at..], search, taken) {
                            return true;
                        }
                        taken.truncate(known);
                    }
                }
                false
            }
        }
    }

    fn slot(&self, text: &str, kind: Kind, search: &mut Search) -> Option<String> {
        if text.is_empty() {
            return None;
        }
        match kind {
            Kind::Plain => Some(self.plain(text, search)),
            Kind::Number => is_number(text).then(|| self.plain(text, search)),
            Kind::Word => (!text.contains(char::is_whitespace)).then(|| self.plain(text, search)),
            Kind::Part => self
                .whole(text, search)
                .or_else(|| (!text.contains(char::is_whitespace)).then(|| self.plain(text, search))),
        }
    }

    /// A name as it is; a number, with or without a unit, in the way of the language.
    fn plain(&self, text: &str, search: &mut Search) -> String {
        let (first, rest) = text.split_once(' ').unwrap_or((text, ""));
        match is_number(first) {
            false => text.to_string(),
            true if rest.is_empty() => first.replace('.', &self.decimal),
            true => {
                let rest = self.whole(rest, search).unwrap_or_else(|| rest.to_string());
                format!("{} {rest}", first.replace('.', &self.decimal))
            }
        }
    }

    /// A proposal with all its sentences in this language.
    pub(super) fn translate(&self, p: &Proposal) -> Proposal {
        let mut p = p.clone();
        let say = |text: &mut String| {
            if let Some(found) = self.find(text) {
                *text = found;
            }
        };
        texts(&mut p).into_iter().for_each(say);
        p
    }
}

/// All texts of a proposal that come from the parts below; what users wrote is left out.
fn texts(p: &mut Proposal) -> Vec<&mut String> {
    let mut all: Vec<&mut String> = p.notes.iter_mut().map(|n| &mut n.text).collect();
    for gap in &mut p.gaps {
        all.extend(gap.sentences.iter_mut().chain(&mut gap.turns));
    }
    for claim in &mut p.claims {
        all.extend([&mut claim.finding, &mut claim.unit]);
    }
    for strings in p.options.iter_mut().filter_map(|o| o.strings.as_mut()) {
        all.extend(&mut strings.findings);
    }
    for line in &mut p.ledger {
        if !line.given {
            all.push(&mut line.source);
        }
        all.push(&mut line.unit);
    }
    all
}

fn is_number(text: &str) -> bool {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.ends_with(|c: char| c.is_ascii_digit())
        && digits.chars().all(|c| c.is_ascii_digit() || c == '.')
        && digits.matches('.').count() <= 1
}

fn pieces(pattern: &str) -> Vec<Piece> {
    let mut all = Vec::new();
    let mut rest = pattern;
    while let Some((before, after)) = rest.split_once('{') {
        let Some((name, after)) = after.split_once('}') else { break };
        if !before.is_empty() {
            all.push(Piece::Text(before.to_string()));
        }
        let kind = match name.chars().next() {
            Some('=') => Kind::Part,
            Some('#') => Kind::Number,
            Some('.') => Kind::Word,
            _ => Kind::Plain,
        };
        all.push(Piece::Slot { name: name.trim_start_matches(['=', '#', '.']).to_string(), kind });
        rest = after;
    }
    if !rest.is_empty() {
        all.push(Piece::Text(rest.to_string()));
    }
    all
}

#[cfg(test)]
pub(crate) mod tests {
    use std::path::Path;

    use super::super::words::Words;
    use super::*;

    /// Sentences of a proposal that a language does not list. Single words are symbols, or the users' own.
    pub(crate) fn unlisted(phrases: &Phrases, p: &Proposal) -> Vec<String> {
        let mut p = p.clone();
        let all = texts(&mut p).into_iter().filter(|t| t.contains(' ') && phrases.find(t).is_none());
        let mut all: Vec<String> = all.map(|t| t.clone()).collect();
        all.dedup();
        all
    }

    /// English stretches of the language files that stand in a German text all the same.
    pub(crate) fn english_in(text: &str) -> Vec<String> {
        let (en, de) = (Words::english(), Words::of("de").unwrap());
        let file: File = toml::from_str(include_str!("words/de.phrases.toml")).unwrap();
        let mut pairs: Vec<(String, String)> =
            en.keys().map(|k| (en.t(&k).to_string(), de.t(&k).to_string())).collect();
        pairs.extend(file.phrase);
        // The longest stretch between slots, where it is long enough to be told from chance.
        let stretches: Vec<String> = pairs
            .iter()
            .filter_map(|(english, german)| {
                let stretch = english.split(['{', '}']).step_by(2).max_by_key(|s| s.len())?.trim();
                let tells = stretch.len() >= 12 && stretch.contains(' ') && !german.contains(stretch);
                tells.then(|| stretch.to_string())
            })
            .collect();
        assert!(stretches.len() > 200, "{}", stretches.len());
        stretches.into_iter().filter(|s| text.contains(s)).collect()
    }

    fn german() -> &'static Phrases {
        Words::of("de").unwrap().phrases()
    }

    #[test]
    fn slots_are_filled_and_numbers_follow_the_language() {
        let cases = [
            (
                "The weather file is of Merrowby: north, 1.5 km from the site.",
                "Die Wetterdatei ist von Merrowby: north, 1,5 km vom Ort.",
            ),
            (
                "Because its efficiency falls 0.06 %/K less, B gives 41 kWh more a year at this site, two thirds of it from May to August.",
                "Weil der Wirkungsgrad um 0,06 %/K weniger fällt: B liefert an diesem Ort im Jahr 41 kWh mehr, zwei Drittel davon von Mai bis August.",
            ),
            (
                "A, B: The sheet gives no beta_pct_per_k; -0.280 %/K, typical of the technology, is taken.",
                "A, B: Das Datenblatt gibt kein beta_pct_per_k; -0,280 %/K, üblich für die Technik, wird genommen.",
            ),
            (
                "Cold V_oc of 23 modules, inverter: 995.7 V against 1000.0 V, 4.3 V (0.4 %) left",
                "V_oc kalt von 23 Modulen, Wechselrichter: 995,7 V bei Grenze 1000,0 V, 4,3 V (0,4 %) Abstand",
            ),
        ];
        for (english, wanted) in cases {
            assert_eq!(german().say(english), wanted);
        }
        assert_eq!(german().say("Nobody said this before."), "Nobody said this before.");
        assert!(Words::english().phrases().is_empty());
        // A name that looks like a pattern, and one that makes many ways to match.
        let evil = "a, ".repeat(3000) + "x from y to z km from the site.";
        let start = std::time::Instant::now();
        let _ = german().say(&format!("The weather file is of {evil}"));
        assert!(start.elapsed().as_secs() < 5);
    }

    #[test]
    fn the_same_slots_on_both_sides() {
        for phrase in &german().all {
            let names = |pieces: &[Piece]| -> Vec<String> {
                pieces
                    .iter()
                    .filter_map(|p| if let Piece::Slot { name, .. } = p { Some(name.clone()) } else { None })
                    .collect()
            };
            let (from, to) = (names(&phrase.from), names(&phrase.to));
            assert!(to.iter().all(|n| from.contains(n)), "{:?}", phrase.to);
            let side_by_side =
                |p: &[Piece]| p.windows(2).any(|w| matches!(w, [Piece::Slot { .. }, Piece::Slot { .. }]));
            assert!(!side_by_side(&phrase.from), "{:?}", phrase.from);
        }
    }

    /// Words in quotes inside the calls that make notes, as they stand in the source; slots become a 7.
    fn notes_in(source: &str) -> Vec<String> {
        let source = source.split("#[cfg(test)]").next().unwrap_or("");
        let mut all = Vec::new();
        for call in ["Note::loud(", "Note::quiet("] {
            for (at, _) in source.match_indices(call) {
                let mut depth = 1;
                let mut chars = source[at + call.len()..].chars();
                while let Some(c) = chars.next().filter(|_| depth > 0) {
                    match c {
                        '(' => depth += 1,
                        ')' => depth -= 1,
                        '"' => all.push(quoted(&mut chars)),
                        _ => {}
                    }
                }
            }
        }
        all
    }

    fn quoted(chars: &mut std::str::Chars) -> String {
        let mut text = String::new();
        let mut skip = false;
        while let Some(c) = chars.next() {
            match c {
                '"' => break,
                '\\' => match chars.next() {
                    Some('\n') => skip = true,
                    Some(c) => text.push(c),
                    None => break,
                },
                c if skip && c.is_whitespace() => {}
                '{' => {
                    chars.by_ref().find(|c| *c == '}');
                    text.push('7');
                    skip = false;
                }
                c => {
                    skip = false;
                    text.push(c);
                }
            }
        }
        text
    }

    #[test]
    fn every_note_in_the_source_is_listed() {
        let mut missing = Vec::new();
        let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
        let mut found = 0;
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("report/sample.rs") {
                    for text in notes_in(&std::fs::read_to_string(&path).unwrap()) {
                        // Sentences; what is put together from parts shows up in the test of the shipped jobs.
                        if text.ends_with('.') && text.matches(' ').count() >= 3 {
                            found += 1;
                            if german().find(&text).is_none() {
                                missing.push(text);
                            }
                        }
                    }
                }
            }
        }
        assert!(found > 40, "{found}");
        assert!(missing.is_empty(), "without a translation:\n{}", missing.join("\n"));
    }
}
