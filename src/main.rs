//! Parses arguments, calls the library, prints, sets the exit code.

/// Keeps memory that was given back: every site of a fleet asks for the same columns again, and a page that went back to
/// the system in between costs a fault and zeros.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
fn keep_memory() {
    const KEPT: libc::c_int = 32 << 20;
    // Room that is asked for at a time. It is only used up page by page, but every request stops all threads.
    const ROOM: libc::c_int = 4 << 20;
    // SAFETY: sets three numbers of the allocator, any value of which it takes; no other thread runs yet.
    unsafe {
        libc::mallopt(libc::M_TRIM_THRESHOLD, KEPT);
        libc::mallopt(libc::M_MMAP_THRESHOLD, KEPT);
        libc::mallopt(libc::M_TOP_PAD, ROOM);
    }
}

#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
fn keep_memory() {}

fn main() -> std::process::ExitCode {
    keep_memory();
    yearlight::cli::main()
}
