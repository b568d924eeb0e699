//! Commands as a user types them, with output, errors and exit code.

#[test]
fn commands() {
    trycmd::TestCases::new().case("tests/cli/*.trycmd").case("tests/cli/*.toml").case("docs/skies.md");
}
