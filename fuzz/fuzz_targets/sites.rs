#![no_main]

#[path = "../../tests/doors/check.rs"]
#[allow(dead_code)]
mod check;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| check::sites(bytes));
