//! The footer of a Parquet file, walked before the table library reads it: that asks for memory by the announced length
//! of a list, and a length of thousands of millions ends the program.

use std::io::{Read, Seek, SeekFrom};

/// Longest footer, bytes: some two million columns of row groups.
const MAX_FOOTER: u64 = 256 << 20;
/// Longest list of a footer, elements.
const MAX_LIST: u64 = 1 << 23;
/// Fewest bytes of a struct of a footer: one field with one byte, and the end.
const LEAST_STRUCT: u64 = 3;
/// Deepest nesting; a footer has seven levels.
const MAX_DEPTH: u32 = 16;

/// What a value must be. The table library takes a field by its number, whatever kind it says it has, so that a wrong
/// kind would set it reading at another place than the walk.
#[derive(Clone, Copy)]
enum Kind {
    /// True or false.
    Flag,
    /// A byte, and numbers of 16, 32, 64 bits: 3 to 6 of the protocol.
    Number(u8),
    Bytes,
    Struct(Fields),
    List(&'static Kind),
}

/// Fields by number; of others only the end is sought.
type Fields = &'static [(i16, Kind)];

const I32: Kind = Kind::Number(5);
const I64: Kind = Kind::Number(6);
const EMPTY: Kind = Kind::Struct(&[]);

// Source: the description of the format, parquet.thrift (Apache Parquet), from memory and from files.
const FILE: Fields = &[
    (1, I32),
    (2, Kind::List(&Kind::Struct(SCHEMA))),
    (3, I64),
    (4, Kind::List(&Kind::Struct(ROW_GROUP))),
    (5, PAIRS),
    (6, Kind::Bytes),
    (7, Kind::List(&Kind::Struct(&[(1, EMPTY), (2, EMPTY)]))),
];
const PAIRS: Kind = Kind::List(&Kind::Struct(&[(1, Kind::Bytes), (2, Kind::Bytes)]));
const SCHEMA: Fields = &[
    (1, I32),
    (2, I32),
    (3, I32),
    (4, Kind::Bytes),
    (5, I32),
    (6, I32),
    (7, I32),
    (8, I32),
    (9, I32),
    (10, Kind::Struct(LOGICAL)),
];
const LOGICAL: Fields = &[
    (1, EMPTY),
    (2, EMPTY),
    (3, EMPTY),
    (4, EMPTY),
    (5, Kind::Struct(&[(1, I32), (2, I32)])),
    (6, EMPTY),
    (7, TIME),
    (8, TIME),
    (10, Kind::Struct(&[(1, Kind::Number(3)), (2, Kind::Flag)])),
    (11, EMPTY),
    (12, EMPTY),
    (13, EMPTY),
    (14, EMPTY),
    (15, EMPTY),
];
const TIME: Kind = Kind::Struct(&[(1, Kind::Flag), (2, Kind::Struct(&[(1, EMPTY), (2, EMPTY), (3, EMPTY)]))]);
const ROW_GROUP: Fields = &[
    (1, Kind::List(&Kind::Struct(CHUNK))),
    (2, I64),
    (3, I64),
    (4, Kind::List(&Kind::Struct(&[(1, I32), (2, Kind::Flag), (3, Kind::Flag)]))),
    (5, I64),
    (6, I64),
    (7, Kind::Number(4)),
];
const CHUNK: Fields = &[(1, Kind::Bytes), (2, I64), (3, Kind::Struct(COLUMN)), (4, I64), (5, I32), (6, I64), (7, I32)];
const COLUMN: Fields = &[
    (1, I32),
    (2, Kind::List(&I32)),
    (3, Kind::List(&Kind::Bytes)),
    (4, I32),
    (5, I64),
    (6, I64),
    (7, I64),
    (8, PAIRS),
    (9, I64),
    (10, I64),
    (11, I64),
    (12, Kind::Struct(STATISTICS)),
    (13, Kind::List(&Kind::Struct(&[(1, I32), (2, I32), (3, I32)]))),
    (14, I64),
    (15, I32),
];
const STATISTICS: Fields = &[
    (1, Kind::Bytes),
    (2, Kind::Bytes),
    (3, I64),
    (4, I64),
    (5, Kind::Bytes),
    (6, Kind::Bytes),
    (7, Kind::Flag),
    (8, Kind::Flag),
];

impl Kind {
    /// Whether a field or element that says it is of kind `code` is of this kind.
    fn is(self, code: u8) -> bool {
        match self {
            Kind::Flag => code == 1 || code == 2,
            Kind::Number(own) => code == own,
            Kind::Bytes => code == 8,
            Kind::List(_) => code == 9,
            Kind::Struct(_) => code == 12,
        }
    }
}

/// Walks the footer of a file of `length` bytes.
///
/// A file too short for a footer, or of another kind, passes: the table library says so.
///
/// # Errors
/// What is wrong, in words.
pub(super) fn sound(file: &mut (impl Read + Seek), length: u64) -> Result<(), String> {
    const TAIL: u64 = 8;
    if length < 2 * TAIL {
        return Ok(());
    }
    let mut tail = [0; TAIL as usize];
    let read = file.seek(SeekFrom::Start(length - TAIL)).and_then(|_| file.read_exact(&mut tail));
    read.map_err(|e| e.to_string())?;
    let [a, b, c, d, magic @ ..] = tail;
    let size = u64::from(u32::from_le_bytes([a, b, c, d]));
    if &magic != b"PAR1" || size > length - TAIL {
        return Ok(());
    }
    if size > MAX_FOOTER {
        return Err(format!("the footer has {size} bytes, more than {MAX_FOOTER}"));
    }
    let mut bytes = vec![0; size as usize];
    let read = file.seek(SeekFrom::Start(length - TAIL - size)).and_then(|_| file.read_exact(&mut bytes));
    read.map_err(|e| e.to_string())?;
    let whole = Walk { rest: &bytes }.fields(FILE, 0);
    whole.ok_or_else(|| {
        "the footer is damaged: a value is cut, of the wrong kind, or a list longer than its bytes".into()
    })
}

/// What is left of values in Thrift's compact protocol; `None` where they do not hold together.
struct Walk<'a> {
    rest: &'a [u8],
}

impl Walk<'_> {
    fn skip(&mut self, n: u64) -> Option<()> {
        self.rest = self.rest.get(usize::try_from(n).ok()?..)?;
        Some(())
    }

    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.rest.split_first()?;
        self.rest = rest;
        Some(*first)
    }

    fn varint(&mut self) -> Option<u64> {
        let mut value = 0_u64;
        for shift in (0..70).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f).checked_shl(shift)?;
            if byte < 0x80 {
                return Some(value);
            }
        }
        None
    }

    /// The fields of a struct, its end included.
    fn fields(&mut self, known: Fields, depth: u32) -> Option<()> {
        let mut id = 0_i16;
        loop {
            let head = self.byte()?;
            let code = head & 0x0f;
            if code == 0 {
                return Some(());
            }
            id = match head >> 4 {
                0 => {
                    let zigzag = self.varint()?;
                    i16::try_from((zigzag >> 1).cast_signed() ^ -(zigzag & 1).cast_signed()).ok()?
                }
                more => id.checked_add(i16::from(more))?,
            };
            let kind = known.iter().find(|(k, _)| *k == id).map(|(_, kind)| *kind);
            if kind.is_some_and(|kind| !kind.is(code)) {
                return None;
            }
            // Of a field of true or false the kind is the value.
            if code > 2 {
                self.value(code, kind, depth)?;
            }
        }
    }

    fn value(&mut self, code: u8, kind: Option<Kind>, depth: u32) -> Option<()> {
        match code {
            _ if depth > MAX_DEPTH => None,
            3 => self.skip(1),
            4..=6 => self.varint().map(drop),
            7 => self.skip(8),
            8 => self.varint().and_then(|n| self.skip(n)),
            9 => self.list(kind, depth),
            12 => self.fields(if let Some(Kind::Struct(fields)) = kind { fields } else { &[] }, depth + 1),
            // Sets and maps, and lists of true and false, stand in no footer.
            _ => None,
        }
    }

    fn list(&mut self, kind: Option<Kind>, depth: u32) -> Option<()> {
        let head = self.byte()?;
        let (count, code) = (if head >> 4 == 15 { self.varint()? } else { u64::from(head >> 4) }, head & 0x0f);
        let of = if let Some(Kind::List(of)) = kind { Some(*of) } else { None };
        if count > 0 && of.is_some_and(|of| !of.is(code)) {
            return None;
        }
        let room = self.rest.len() as u64 / if code == 12 { LEAST_STRUCT } else { 1 };
        if count > room.min(MAX_LIST) {
            return None;
        }
        (0..count).try_for_each(|_| self.value(code, of, depth + 1))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::super::{sample, write_parquet};
    use super::*;

    fn with_footer(footer: &[u8]) -> Vec<u8> {
        let mut bytes = b"PAR1\0\0\0\0".to_vec();
        bytes.extend(footer);
        bytes.extend((footer.len() as u32).to_le_bytes());
        bytes.extend(b"PAR1");
        bytes
    }

    fn judged(footer: &[u8]) -> Result<(), String> {
        let bytes = with_footer(footer);
        sound(&mut Cursor::new(&bytes), bytes.len() as u64)
    }

    #[test]
    fn a_whole_footer_passes_and_a_cut_one_does_not() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        write_parquet(&sample(), &path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        let size = u32::from_le_bytes(bytes[bytes.len() - 8..bytes.len() - 4].try_into().unwrap()) as usize;
        let footer = &bytes[bytes.len() - 8 - size..bytes.len() - 8];
        assert_eq!(judged(footer), Ok(()));
        for cut in 0..footer.len() {
            assert!(judged(&footer[..cut]).is_err(), "{cut}");
        }
    }

    /// Bytes after the protocol's own description (Apache Thrift, compact protocol): field 2 is a list (0x29) of
    /// structs (0x?c), of which it has as many as its head says.
    #[test]
    fn a_list_longer_than_its_bytes_is_refused() {
        let one = [0x15, 0x02, 0x00];
        let list = |head: &[u8]| judged(&[&[0x29][..], head, &one, &[0]].concat());
        assert_eq!(list(&[0x1c]), Ok(()));
        assert!(list(&[0x2c]).is_err());
        // 15 says that the length follows.
        assert_eq!(list(&[0xfc, 0x01]), Ok(()));
        assert!(list(&[0xfc, 0xff, 0xff, 0xff, 0xff, 0x07]).is_err());
        // A text longer than what is left, a number without an end, a struct within a struct without one.
        assert!(judged(&[0x08, 0x0c, 0x7f, 0x41, 0x00]).is_err());
        assert!(judged(&[0x36, 0xff, 0xff]).is_err());
        assert!(judged(&[0xfc; 200]).is_err());
        // Field 10, which has no meaning, given in full; true and false; a number of eight bytes.
        assert_eq!(judged(&[0x05, 0x14, 0x02, 0x12, 0x17, 1, 2, 3, 4, 5, 6, 7, 8, 0x00]), Ok(()));
        // An empty list may have no kind.
        assert_eq!(judged(&[0x59, 0x00, 0x00]), Ok(()));
    }

    #[test]
    fn a_field_of_the_wrong_kind_is_refused() {
        // Field 2 as a text, field 3 as a list, field 2 as a list of texts, a set, a map.
        for footer in
            [&[0x28, 1, 65, 0][..], &[0x39, 0x15, 2, 0], &[0x29, 0x18, 1, 65, 0], &[0xfa, 0x15, 2, 0], &[0xfb, 0, 0]]
        {
            assert!(judged(footer).is_err(), "{footer:x?}");
        }
    }

    #[test]
    fn what_is_no_footer_is_left_to_the_reader() {
        for bytes in [&b"PAR1"[..], &[7; 40], &with_footer(&[])[..8]] {
            assert_eq!(sound(&mut Cursor::new(bytes), bytes.len() as u64), Ok(()));
        }
    }
}
