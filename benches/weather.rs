//! Reading one year of weather, each way in one run; the numbers to compare are ratios.
//!
//! `cargo bench --no-default-features --bench weather`

mod common;

use common::{epw, hints, year};
use yearlight::sky;
use yearlight::weather::{ReadHints, read_raw_bytes, write_tidy};

fn main() {
    divan::main();
}

fn rows(bytes: &[u8]) -> &[u8] {
    let at = memchr::memchr_iter(b'\n', bytes).nth(7).expect("a header") + 1;
    &bytes[at..]
}

/// Columns that both baselines parse: the stamp's five and the eleven that yearlight keeps.
const WANTED: [usize; 16] = [0, 1, 2, 3, 4, 6, 8, 9, 13, 14, 15, 21, 28, 30, 32, 33];

/// The plain way: `csv` records, `fast-float2` numbers.
#[divan::bench]
fn a_csv_records(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(rows(&bytes));
        let mut record = csv::ByteRecord::new();
        let mut columns: Vec<Vec<f64>> = WANTED.iter().map(|_| Vec::with_capacity(8760)).collect();
        while reader.read_byte_record(&mut record).expect("a record") {
            for (c, at) in columns.iter_mut().zip(WANTED) {
                c.push(fast_float2::parse(&record[at]).expect("a number"));
            }
        }
        columns
    });
}

/// A bare pass of `csv-core` over the same bytes that parses the needed columns.
#[divan::bench]
fn a_csv_core_pass(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| {
        let mut reader = csv_core::Reader::new();
        let (mut out, mut ends) = ([0_u8; 4096], [0_usize; 64]);
        let mut columns: Vec<Vec<f64>> = WANTED.iter().map(|_| Vec::with_capacity(8760)).collect();
        let mut input = rows(&bytes);
        loop {
            let (result, used, _, fields) = reader.read_record(input, &mut out, &mut ends);
            input = &input[used..];
            match result {
                csv_core::ReadRecordResult::Record => {
                    for (c, at) in columns.iter_mut().zip(WANTED) {
                        let from = if at == 0 { 0 } else { ends[at - 1] };
                        debug_assert!(at < fields);
                        c.push(fast_float2::parse(&out[from..ends[at]]).expect("a number"));
                    }
                }
                csv_core::ReadRecordResult::End => break,
                // The whole file is there and a record fits the buffer.
                _ => continue,
            }
        }
        columns
    });
}

/// A year by yearlight: header, columns, grid, missing values; no checksum.
#[divan::bench]
fn b_epw(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| read_raw_bytes("x.epw", &bytes, &hints()).expect("a year"));
}

/// With ranges checked and the year completed.
#[divan::bench]
fn c_epw_checked(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| sky::read_bytes("x.epw", &bytes, &hints()).expect("a year"));
}

/// With the checksum of the file.
#[divan::bench]
fn d_epw_checked_and_summed(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| sky::read_bytes("x.epw", &bytes, &ReadHints::default()).expect("a year"));
}

/// The tidy CSV of the same year.
#[divan::bench]
fn e_tidy(b: divan::Bencher) {
    let mut bytes = Vec::new();
    write_tidy(&year(), &mut bytes).expect("text");
    b.bench(|| sky::read_bytes("x.csv", &bytes, &hints()).expect("a year"));
}

/// The file of EPW rows whose every row needs the careful reader (a quoted cell in the first one).
#[divan::bench]
fn f_epw_careful(b: divan::Bencher) {
    let mut bytes = epw();
    let at = memchr::memmem::find(&bytes, b"?9?9").expect("flags");
    bytes[at] = b'#';
    b.bench(|| read_raw_bytes("x.epw", &bytes, &hints()).expect("a year"));
}

/// Whole inspection.
#[divan::bench(sample_count = 10)]
fn g_inspect(b: divan::Bencher) {
    let bytes = epw();
    b.bench(|| sky::inspect(read_raw_bytes("x.epw", &bytes, &hints()).expect("a year"), &hints()));
}

/// The label note that every run asks for, on a year without shift.
#[divan::bench]
fn h_label_note(b: divan::Bencher) {
    let y = year();
    let sun = yearlight::sun::SunTrack::over(&y);
    b.bench(|| sky::shift::label_note(&y, &sun));
}

/// The same columns from Parquet, through the table library.
#[cfg(feature = "tables")]
#[divan::bench]
fn g_parquet(b: divan::Bencher) {
    use yearlight::tables::{Table, read_parquet, write_parquet};
    let y = year();
    let table = Table::new()
        .number("ghi", y.ghi.clone())
        .number("dni", y.dni.clone())
        .number("dhi", y.dhi.clone())
        .number("t_amb", y.t_amb.clone())
        .number("wind", y.wind.clone());
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("year.parquet");
    write_parquet(&table, &path).expect("written");
    b.bench(|| read_parquet(&path).expect("a year"));
}
