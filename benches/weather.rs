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
