//! Parses arguments, calls the library, prints, sets the exit code.

fn main() -> std::process::ExitCode {
    yearlight::cli::main()
}
