//! Tables as polars frames, and from there to CSV and Parquet.

use std::path::Path;

use polars::prelude::*;

use super::trust::{believe, believe_pages};
use super::{Column, Table, TableError, write_whole};

/// The table as a polars frame.
pub fn to_frame(table: &Table) -> PolarsResult<DataFrame> {
    let columns = table
        .columns()
        .iter()
        .map(|(name, column)| {
            let name = PlSmallStr::from_str(name);
            match column {
                Column::Text(x) => polars::prelude::Column::new(name, x.as_slice()),
                Column::Number(x) => polars::prelude::Column::new(name, x.as_slice()),
                Column::Whole(x) => polars::prelude::Column::new(name, x.as_slice()),
            }
        })
        .collect();
    DataFrame::new(table.rows(), columns)
}

/// A frame as a table; columns of other kinds than words, real and whole numbers are left out.
pub fn from_frame(frame: &DataFrame) -> PolarsResult<Table> {
    let mut table = Table::new();
    for column in frame.columns() {
        let name = column.name().to_string();
        let dtype = column.dtype().clone();
        if dtype.is_float() {
            let column = column.cast(&DataType::Float64)?;
            table = table.number(&name, column.f64()?.iter().map(|x| x.unwrap_or(f64::NAN)).collect());
        } else if dtype.is_integer() {
            let column = column.cast(&DataType::Int64)?;
            table = table.whole(&name, column.i64()?.iter().map(|x| x.unwrap_or(i64::MIN)).collect());
        } else if dtype == DataType::String {
            table = table.text(&name, column.str()?.iter().map(|x| x.unwrap_or_default().to_string()).collect());
        }
    }
    // A damaged file may hold columns of different length.
    match table.columns().iter().find(|(_, column)| column.len() != frame.height()) {
        Some((name, column)) => {
            let what = format!("column {name} has {} of {} rows", column.len(), frame.height());
            Err(PolarsError::ShapeMismatch(what.into()))
        }
        None => Ok(table),
    }
}

/// Writes a table as Parquet, whole or not at all.
///
/// # Errors
/// [`TableError`] when the table cannot be encoded or the file cannot be written.
pub fn write_parquet(table: &Table, path: &Path) -> Result<(), TableError> {
    write_whole(path, &parquet_bytes(table, path)?)
}

/// The table as a Parquet file.
///
/// # Errors
/// [`TableError::Encode`] when the table cannot be encoded; `path` stands in the message.
pub fn parquet_bytes(table: &Table, path: &Path) -> Result<Vec<u8>, TableError> {
    encoded(table).map_err(|e| TableError::Encode { path: path.to_path_buf(), reason: e.to_string() })
}

fn encoded(table: &Table) -> PolarsResult<Vec<u8>> {
    let mut frame = to_frame(table)?;
    let mut bytes = Vec::new();
    let writer = ParquetWriter::new(&mut bytes)
        .with_compression(ParquetCompression::Uncompressed)
        .with_row_group_size(Some(ROW_GROUP))
        // On the thread that asks for it: the library would start as many of its own as there are cores.
        .set_parallel(false);
    if frame.height() < ROW_GROUP {
        // As it stands: `finish` would take a frame of one row group apart and put it together again.
        let schema = frame.schema().clone();
        let mut writer = writer.batched(&schema)?;
        writer.write_batch(&frame)?;
        writer.finish()?;
    } else {
        writer.finish(&mut frame)?;
    }
    Ok(bytes)
}

/// Rows in a row group.
const ROW_GROUP: usize = 512 * 512;

/// Reads a Parquet file as a table.
///
/// # Errors
/// [`TableError::Read`] when the file is missing, cut or no Parquet.
pub fn read_parquet(path: &Path) -> Result<Table, TableError> {
    guarded(path, || {
        let frame = whole(path)?.finish().map_err(|e| unreadable(path, &e))?;
        from_frame(&frame).map_err(|e| unreadable(path, &e))
    })
}

/// Some columns of a Parquet file as a table; the others are not read.
///
/// # Errors
/// [`TableError::Read`] when the file is missing, cut or no Parquet, or lacks a column.
pub fn read_parquet_columns(path: &Path, columns: &[&str]) -> Result<Table, TableError> {
    guarded(path, || {
        let names = columns.iter().map(|c| c.to_string()).collect();
        let reader = whole(path)?.with_columns(Some(names));
        let frame = reader.finish().map_err(|e| unreadable(path, &e))?;
        from_frame(&frame).map_err(|e| unreadable(path, &e))
    })
}

/// Largest Parquet file that is read whole, bytes.
const MAX_WHOLE: u64 = 1 << 30;

/// A file in memory, ready to be read: one that is cut while it is read cannot pull the ground away from its mapping.
fn whole(path: &Path) -> Result<ParquetReader<std::io::Cursor<Vec<u8>>>, TableError> {
    let length = open(path)?.metadata().map_err(|e| unreadable(path, &e))?.len();
    if length > MAX_WHOLE {
        return Err(unreadable(path, &format!("the file has {length} bytes, more than {MAX_WHOLE}")));
    }
    let bytes = std::fs::read(path).map_err(|e| unreadable(path, &e))?;
    let length = bytes.len() as u64;
    let meta = believe(std::io::Cursor::new(bytes.as_slice()), length, path)?;
    believe_pages(&meta.row_groups, &mut std::io::Cursor::new(bytes.as_slice()), path)?;
    let mut reader = ParquetReader::new(std::io::Cursor::new(bytes));
    reader.set_metadata(meta);
    Ok(reader)
}

pub(super) fn open(path: &Path) -> Result<std::fs::File, TableError> {
    std::fs::File::open(path).map_err(|e| unreadable(path, &e))
}

/// The error of a file that cannot be read: the first line of what the reader says, without control characters.
pub(super) fn unreadable(path: &Path, why: &dyn std::fmt::Display) -> TableError {
    let text = why.to_string();
    let first: String = text.lines().next().unwrap_or("").chars().take(200).collect();
    let reason = crate::units::clean(first.trim_end_matches('.'));
    TableError::Read { path: path.to_path_buf(), reason }
}

/// Runs the table library's reader, which panics on some damaged files, and makes an error of that; what it would print
/// is held back.
pub(super) fn guarded<T>(path: &Path, read: impl FnOnce() -> Result<T, TableError>) -> Result<T, TableError> {
    use std::sync::Once;
    use std::sync::atomic::{AtomicUsize, Ordering};
    static READING: AtomicUsize = AtomicUsize::new(0);
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            let ours = info.location().is_some_and(|l| l.file().starts_with("src/") || l.file().contains("yearlight"));
            if ours || READING.load(Ordering::Relaxed) == 0 {
                before(info);
            }
        }));
    });
    READING.fetch_add(1, Ordering::Relaxed);
    let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(read));
    READING.fetch_sub(1, Ordering::Relaxed);
    result.unwrap_or_else(|_| Err(unreadable(path, &"the file is damaged")))
}

/// A Parquet file as CSV with the line of names; a cell without a value, or not a number, is empty.
///
/// # Errors
/// [`TableError`] when the file is missing, cut or no Parquet, or holds columns that are no cells.
pub fn parquet_as_csv(path: &Path) -> Result<Vec<u8>, TableError> {
    let fail = |e: PolarsError| TableError::Read { path: path.to_path_buf(), reason: e.to_string() };
    let mut frame = guarded(path, || whole(path)?.finish().map_err(fail))?;
    for name in frame.get_column_names_owned() {
        let column = frame.column(&name).map_err(fail)?;
        if column.dtype().is_float() {
            let column = column.cast(&DataType::Float64).map_err(fail)?;
            let numbers: Float64Chunked =
                column.f64().map_err(fail)?.iter().map(|x| x.filter(|x| !x.is_nan())).collect();
            frame.with_column(numbers.with_name(name).into_series().into()).map_err(fail)?;
        }
    }
    let mut bytes = Vec::new();
    CsvWriter::new(&mut bytes).finish(&mut frame).map_err(fail)?;
    Ok(bytes)
}

/// The rows of each group of equal cells in columns of words, in the order in which the groups appear.
///
/// # Errors
/// [`TableError::Encode`] when a column is missing.
pub fn group_rows(table: &Table, by: &[&str]) -> Result<Vec<Vec<usize>>, TableError> {
    let fail = |e: PolarsError| TableError::Encode { path: "summary".into(), reason: e.to_string() };
    let frame = to_frame(table).map_err(fail)?;
    let groups = frame.group_by_stable(by.iter().copied()).map_err(fail)?;
    let rows = groups.get_groups().iter().map(|group| match group {
        GroupsIndicator::Idx((_, rows)) => rows.iter().map(|&i| i as usize).collect(),
        GroupsIndicator::Slice([first, len]) => (first as usize..(first + len) as usize).collect(),
    });
    Ok(rows.collect())
}

#[cfg(test)]
mod tests {
    use super::super::sample;
    use super::*;

    #[test]
    fn parquet_returns_what_was_written() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        write_parquet(&sample(), &path).unwrap();
        assert_eq!(read_parquet(&path).unwrap(), sample());
    }

    // Against the library's own way to write a frame.
    #[test]
    fn a_frame_is_written_as_the_library_writes_it() {
        let mut whole = Vec::new();
        ParquetWriter::new(&mut whole)
            .with_compression(ParquetCompression::Uncompressed)
            .finish(&mut to_frame(&sample()).unwrap())
            .unwrap();
        assert_eq!(parquet_bytes(&sample(), Path::new("t.parquet")).unwrap(), whole);
    }

    #[test]
    fn missing_cells_of_a_parquet_file_are_empty() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        let mut frame = df![
            "site" => ["a", "b", "c"],
            "x" => [Some(1.5), None, Some(f64::NAN)],
            "n" => [Some(7_i64), None, Some(-30)],
            "t" => [None, Some("u, v"), None],
            "f" => [Some(true), None, Some(false)],
        ]
        .unwrap();
        ParquetWriter::new(std::fs::File::create(&path).unwrap()).finish(&mut frame).unwrap();
        let text = String::from_utf8(parquet_as_csv(&path).unwrap()).unwrap();
        assert_eq!(text, "site,x,n,t,f\na,1.5,7,,true\nb,,,\"u, v\",\nc,,-30,,false\n");
    }

    proptest::proptest! {
        #[test]
        fn our_csv_is_that_of_the_table_library(
            words in proptest::collection::vec("[a-z \\\"\n,;é]{1,12}", 3),
            wholes in proptest::collection::vec(proptest::num::i64::ANY, 3),
            numbers in proptest::collection::vec(proptest::num::f64::ANY, 3),
        ) {
            let table = Table::new().text("w", words).whole("n, of", wholes).number("x", numbers);
            let mut theirs = Vec::new();
            CsvWriter::new(&mut theirs).finish(&mut to_frame(&table).unwrap()).unwrap();
            let ours = super::super::csv_bytes(&table, true);
            proptest::prop_assert_eq!(String::from_utf8(ours).unwrap(), String::from_utf8(theirs).unwrap());
        }
    }

    #[test]
    fn groups_keep_their_rows_in_order() {
        let words = |w: &str| w.chars().map(|c| c.to_string()).collect::<Vec<_>>();
        let table = Table::new().text("x", words("bab")).text("y", words("ppp"));
        assert_eq!(group_rows(&table, &["x", "y"]).unwrap(), vec![vec![0, 2], vec![1]]);
        assert!(group_rows(&table, &["z"]).is_err());
    }

    #[test]
    fn a_cut_parquet_file_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("t.parquet");
        write_parquet(&sample(), &path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write(&path, &bytes[..bytes.len() / 2]).unwrap();
        assert!(read_parquet(&path).unwrap_err().to_string().contains("cannot be read as Parquet"));
    }
}
