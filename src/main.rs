//! Calls the library's command line and hands its exit code on.

fn main() -> std::process::ExitCode {
    yearlight::cli::main()
}
