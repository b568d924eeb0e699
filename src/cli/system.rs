//! What the program asks of the system. Elsewhere than under Linux with the C library of GNU memory stays as the system
//! has it.

/// Keeps memory that was given back: every site of a fleet asks for the same columns again, and a page that went back to
/// the system in between costs a fault and zeros.
pub fn keep_memory() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    {
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
}

/// Makes the weather file and the columns of a small run lie in two large pages where the system has such pages on
/// request: they cost a fault each in place of some five hundred, which take as long as all options.
///
/// To be called once, on the main thread, by a command that will need the room.
pub(super) fn columns_in_large_pages() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    {
        const PAGE: usize = 2 << 20;
        const PAGES: usize = 2;
        let room = Vec::<u8>::with_capacity((PAGES + 1) * PAGE);
        let before = room.as_ptr().align_offset(PAGE).min(PAGE);
        // SAFETY: the pages lie in the room, and the advice changes no byte. A system without large pages says no to it.
        unsafe {
            libc::madvise(room.as_ptr().add(before).cast_mut().cast(), PAGES * PAGE, libc::MADV_HUGEPAGE);
        }
        // The allocator gives this room out again from its beginning. What lies before the pages stays taken and unused,
        // so that all that comes next lies in them; addresses are all it costs.
        drop(room);
        std::mem::forget(std::hint::black_box(Vec::<u8>::with_capacity(before)));
    }
}
