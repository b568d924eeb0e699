//! What a Parquet file says of itself, held against what it is: the table library asks for memory by these numbers, and
//! a number too large ends the program.

use std::io::{Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;

use polars::io::mmap::MmapBytesReader;
use polars::prelude::{ParquetReader, SerReader};
use polars_parquet::parquet::metadata::RowGroupMetadata;
use polars_parquet::read::FileMetadata;
use polars_parquet_format::thrift::protocol::TCompactInputProtocol;
use polars_parquet_format::{PageHeader, PageType};

use super::TableError;
use super::footer;
use super::frame::unreadable;

/// Most rows of one row group.
const MAX_GROUP_ROWS: usize = 1 << 26;
/// Largest column of one row group, unpacked, bytes.
const MAX_COLUMN: i64 = 4 << 30;
/// Longest head of a page, bytes; it may hold the least and the greatest text of the page.
const MAX_HEAD: usize = 1 << 20;

/// Reads the footer, once it is walked, and holds its numbers against the file's length: the table library asks for memory
/// by them.
pub(super) fn believe(
    mut file: impl MmapBytesReader,
    length: u64,
    path: &Path,
) -> Result<Arc<FileMetadata>, TableError> {
    footer::sound(&mut file, length).map_err(|e| unreadable(path, &e))?;
    let meta = ParquetReader::new(file).get_metadata().map_err(|e| unreadable(path, &e))?.clone();
    let damaged = |what: String| Err(unreadable(path, &format!("the footer is damaged: {what}")));
    let mut rows = 0_usize;
    for group in &meta.row_groups {
        let here = group.num_rows();
        if here > MAX_GROUP_ROWS {
            return damaged(format!("a row group of {here} rows, more than {MAX_GROUP_ROWS}"));
        }
        rows = rows.saturating_add(here);
        for column in group.parquet_columns() {
            let (packed, open) = (column.compressed_size(), column.uncompressed_size());
            let from = column.dictionary_page_offset().unwrap_or(i64::MAX).min(column.data_page_offset());
            let inside = from >= 0 && packed >= 0 && from.checked_add(packed).is_some_and(|end| end as u64 <= length);
            if !inside || !(0..=MAX_COLUMN).contains(&open) {
                return damaged(format!("a column of {packed} bytes at {from} in a file of {length}"));
            }
            if !(0..=MAX_GROUP_ROWS as i64).contains(&column.num_values()) {
                return damaged(format!("a column of {} values", column.num_values()));
            }
        }
    }
    if rows != meta.num_rows {
        return damaged(format!("{} rows in all, {rows} in its groups", meta.num_rows));
    }
    Ok(meta)
}

/// Holds the head of every page of some row groups against its column: the number of values, none below 0, and the
/// sizes.
pub(super) fn believe_pages(
    groups: &[RowGroupMetadata],
    file: &mut (impl Read + Seek),
    path: &Path,
) -> Result<(), TableError> {
    for column in groups.iter().flat_map(|g| g.parquet_columns()) {
        let range = column.byte_range();
        let (mut at, end) = (range.start, range.end);
        let (mut values, expected) = (0_i64, column.num_values());
        while at < end && values < expected {
            let (page, head) = page_head(file, at, end - at, path)?;
            let room = end - at - head;
            let damaged = |what: String| Err(unreadable(path, &format!("the page at byte {at} is damaged: {what}")));
            let (packed, open) = (page.compressed_page_size, page.uncompressed_page_size);
            if packed < 0 || u64::try_from(packed).unwrap_or(u64::MAX) > room {
                return damaged(format!("{packed} bytes, of {room} that its column has left"));
            }
            if open < 0 || i64::from(open) > column.uncompressed_size().max(0) {
                return damaged(format!("{open} bytes unpacked, of {} of its column", column.uncompressed_size()));
            }
            let here = match page.type_ {
                PageType::DICTIONARY_PAGE => {
                    // No value of a dictionary takes less than a byte.
                    let words = page.dictionary_page_header.as_ref().map_or(-1, |h| h.num_values);
                    if !(0..=open).contains(&words) {
                        return damaged(format!("{words} words in {open} bytes"));
                    }
                    0
                }
                PageType::DATA_PAGE => page.data_page_header.as_ref().map_or(-1, |h| h.num_values),
                PageType::DATA_PAGE_V2 => {
                    let Some(h) = &page.data_page_header_v2 else { return damaged("no head of its kind".into()) };
                    let levels = [h.repetition_levels_byte_length, h.definition_levels_byte_length];
                    if levels.iter().any(|l| !(0..=packed).contains(l)) || levels[0].saturating_add(levels[1]) > packed
                    {
                        return damaged(format!("levels of {} and {} bytes in {packed}", levels[0], levels[1]));
                    }
                    if h.num_nulls < 0 || h.num_nulls > h.num_values || h.num_rows < 0 || h.num_rows > h.num_values {
                        return damaged(format!("{} rows and {} empty of {}", h.num_rows, h.num_nulls, h.num_values));
                    }
                    h.num_values
                }
                _ => 0,
            };
            values += i64::from(here);
            if here < 0 || values > expected {
                return damaged(format!("{here} values, {values} so far of {expected} of its column"));
            }
            at += head + u64::from(packed.unsigned_abs());
        }
        if values != expected {
            return Err(unreadable(path, &format!("a column has {values} of {expected} values")));
        }
    }
    Ok(())
}

/// The head of the page at a byte of the file, and its length.
fn page_head(file: &mut (impl Read + Seek), at: u64, room: u64, path: &Path) -> Result<(PageHeader, u64), TableError> {
    // A head has some fifty bytes; one with long statistics is read again with more.
    let mut window = 512;
    loop {
        let most = room.min(window as u64) as usize;
        let mut bytes = vec![0; most];
        file.seek(SeekFrom::Start(at)).and_then(|_| file.read_exact(&mut bytes)).map_err(|e| unreadable(path, &e))?;
        let mut rest = bytes.as_slice();
        match PageHeader::read_from_in_protocol(&mut TCompactInputProtocol::new(&mut rest, most)) {
            Ok(page) => return Ok((page, (most - rest.len()) as u64)),
            Err(_) if most == window && window < MAX_HEAD => window *= 8,
            Err(e) => return Err(unreadable(path, &format!("the page at byte {at} is damaged: {e}"))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{read_parquet, sample, write_parquet};

    // A number of values below 0 in the head of a page was taken for 2^64 less a little, and memory asked for it.
    #[test]
    fn no_single_byte_ends_the_program() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        write_parquet(&sample(), &path).unwrap();
        let whole = std::fs::read(&path).unwrap();
        assert_eq!(read_parquet(&path).unwrap(), sample());
        let mut refused = 0;
        for at in 0..whole.len() {
            for value in [0x00, 0x7f, 0xff, whole[at] ^ 0x01] {
                let mut bytes = whole.clone();
                bytes[at] = value;
                std::fs::write(&path, &bytes).unwrap();
                if let Err(e) = read_parquet(&path) {
                    refused += 1;
                    let text = e.to_string();
                    assert!(text.contains("cannot be read as Parquet") && !text.contains('\u{1b}'), "{text}");
                }
            }
        }
        assert!(2 * refused > whole.len(), "{refused} of {} files refused", 4 * whole.len());
    }
}
