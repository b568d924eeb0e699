//! A language file as a table, laid out while the program is compiled: reading TOML at every start would take longer
//! than printing the answer.
//!
//! The files hold `[section]` and `key = "word"` lines, blank lines and comments; an escape is `\uXXXX`. Anything else
//! does not compile.

/// Bytes from and to in the text of a [`Lexicon`].
type Span = [u16; 2];

/// One word.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry {
    section: Span,
    key: Span,
    word: Span,
}

/// The words of one language, by section and key in ascending order.
#[derive(Debug)]
pub(super) struct Lexicon {
    text: &'static str,
    entries: &'static [Entry],
}

/// What is made of a file.
pub(super) struct Laid<const BYTES: usize, const WORDS: usize> {
    /// Names and words behind each other, escapes resolved; zeros to the end.
    pub text: [u8; BYTES],
    pub entries: [Entry; WORDS],
}

/// The table of the language file of a name.
macro_rules! lexicon {
    ($file:literal) => {{
        use $crate::report::lexicon::{Entry, Laid, Lexicon, lay, lines_of_words};
        const SOURCE: &str = include_str!($file);
        const BYTES: usize = SOURCE.len();
        const WORDS: usize = lines_of_words(SOURCE);
        const LAID: Laid<BYTES, WORDS> = lay(SOURCE);
        static TEXT: [u8; BYTES] = LAID.text;
        static ENTRIES: [Entry; WORDS] = LAID.entries;
        Lexicon::new(&TEXT, &ENTRIES)
    }};
}
pub(super) use lexicon;

impl Lexicon {
    pub const fn new(text: &'static [u8], entries: &'static [Entry]) -> Lexicon {
        match std::str::from_utf8(text) {
            Ok(text) => Lexicon { text, entries },
            Err(_) => panic!("a language file is UTF-8"),
        }
    }

    fn at(&self, [from, to]: Span) -> &'static str {
        &self.text[usize::from(from)..usize::from(to)]
    }

    /// The word under `section.key`.
    pub fn find(&self, key: &str) -> Option<&'static str> {
        let wanted = key.split_once('.')?;
        let found = self.entries.binary_search_by(|e| (self.at(e.section), self.at(e.key)).cmp(&wanted)).ok()?;
        Some(self.at(self.entries[found].word))
    }

    /// Section, key and word, in ascending order.
    #[cfg(test)]
    pub fn iter(&self) -> impl Iterator<Item = [&'static str; 3]> {
        self.entries.iter().map(|e| [e.section, e.key, e.word].map(|span| self.at(span)))
    }
}

/// Lines that are neither empty nor a comment nor the name of a section.
pub(super) const fn lines_of_words(source: &str) -> usize {
    let (source, mut i, mut lines) = (source.as_bytes(), 0, 0);
    while i < source.len() {
        if !matches!(source[i], b'\n' | b'#' | b'[') {
            lines += 1;
        }
        i = end_of_line(source, i) + 1;
    }
    lines
}

const fn end_of_line(source: &[u8], mut i: usize) -> usize {
    while i < source.len() && source[i] != b'\n' {
        i += 1;
    }
    i
}

/// The table of a language file.
pub(super) const fn lay<const BYTES: usize, const WORDS: usize>(source: &str) -> Laid<BYTES, WORDS> {
    let source = source.as_bytes();
    assert!(BYTES <= u16::MAX as usize, "a language file is shorter than 64 kB");
    let mut out = Laid { text: [0; BYTES], entries: [Entry { section: [0; 2], key: [0; 2], word: [0; 2] }; WORDS] };
    let (mut i, mut len, mut words, mut section) = (0, 0, 0, [0; 2]);
    while i < source.len() {
        let end = end_of_line(source, i);
        match source[i] {
            b'\n' | b'#' => {}
            b'[' => {
                assert!(source[end - 1] == b']', "a section is [name]");
                section = name(&mut out.text, &mut len, source, i + 1, end - 1);
            }
            _ => {
                let mut equals = i;
                while equals < end && source[equals] != b' ' {
                    equals += 1;
                }
                let key = name(&mut out.text, &mut len, source, i, equals);
                let quoted = equals + 4 < end
                    && source[equals + 1] == b'='
                    && source[equals + 2] == b' '
                    && source[equals + 3] == b'"'
                    && source[end - 1] == b'"';
                assert!(quoted, "a line is key = \"word\"");
                let word = word(&mut out.text, &mut len, source, equals + 4, end - 1);
                insert(&mut out.entries, words, Entry { section, key, word }, &out.text);
                words += 1;
            }
        }
        i = end + 1;
    }
    out
}

/// Takes over a name of small letters, digits and hyphens.
const fn name(text: &mut [u8], len: &mut usize, source: &[u8], mut i: usize, end: usize) -> Span {
    let from = *len as u16;
    assert!(i < end, "a name has a letter");
    while i < end {
        assert!(matches!(source[i], b'a'..=b'z' | b'0'..=b'9' | b'-'), "names are small letters, digits and hyphens");
        push(text, len, source[i]);
        i += 1;
    }
    [from, *len as u16]
}

/// Takes over a word, escapes resolved.
const fn word(text: &mut [u8], len: &mut usize, source: &[u8], mut i: usize, end: usize) -> Span {
    let from = *len as u16;
    while i < end {
        assert!(source[i] != b'"', "a word has no quotes");
        if source[i] != b'\\' {
            push(text, len, source[i]);
            i += 1;
            continue;
        }
        assert!(i + 6 <= end && source[i + 1] == b'u', "an escape is \\uXXXX");
        let code =
            digit(source[i + 2]) << 12 | digit(source[i + 3]) << 8 | digit(source[i + 4]) << 4 | digit(source[i + 5]);
        match char::from_u32(code) {
            Some(c) => {
                let mut bytes = [0; 4];
                let count = c.encode_utf8(&mut bytes).len();
                let mut k = 0;
                while k < count {
                    push(text, len, bytes[k]);
                    k += 1;
                }
            }
            None => panic!("an escape is a letter"),
        }
        i += 6;
    }
    [from, *len as u16]
}

const fn digit(hex: u8) -> u32 {
    match (hex as char).to_digit(16) {
        Some(digit) => digit,
        None => panic!("an escape has four digits"),
    }
}

const fn push(text: &mut [u8], len: &mut usize, byte: u8) {
    text[*len] = byte;
    *len += 1;
}

/// Puts an entry among the first `count`, which are in order.
const fn insert(entries: &mut [Entry], count: usize, entry: Entry, text: &[u8]) {
    let mut i = count;
    while i > 0 && after(&entries[i - 1], &entry, text) {
        entries[i] = entries[i - 1];
        i -= 1;
    }
    entries[i] = entry;
}

/// True where `a` comes after `b`.
const fn after(a: &Entry, b: &Entry, text: &[u8]) -> bool {
    match order(a.section, b.section, text) {
        0 => order(a.key, b.key, text) > 0,
        order => order > 0,
    }
}

/// Above zero where the bytes at `a` come after those at `b`, below where before.
const fn order(a: Span, b: Span, text: &[u8]) -> i32 {
    if a[0] == b[0] {
        return 0;
    }
    let (mut i, mut j) = (a[0], b[0]);
    while i < a[1] && j < b[1] {
        let (x, y) = (text[i as usize], text[j as usize]);
        if x != y {
            return x as i32 - y as i32;
        }
        (i, j) = (i + 1, j + 1);
    }
    (a[1] - a[0]) as i32 - (b[1] - b[0]) as i32
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    #[test]
    fn holds_what_the_files_hold() {
        for (lexicon, source) in [
            (lexicon!("words/en.toml"), include_str!("words/en.toml")),
            (lexicon!("words/de.toml"), include_str!("words/de.toml")),
        ] {
            let read: BTreeMap<String, BTreeMap<String, String>> = toml::from_str(source).unwrap();
            let read: Vec<[&str; 3]> = read
                .iter()
                .flat_map(|(section, words)| words.iter().map(|(key, word)| [section.as_str(), key, word]))
                .collect();
            assert_eq!(lexicon.iter().collect::<Vec<_>>(), read);
            for [section, key, word] in read {
                assert_eq!(lexicon.find(&format!("{section}.{key}")), Some(word));
            }
            assert_eq!((lexicon.find("page"), lexicon.find("nothing.page")), (None, None));
        }
    }
}
