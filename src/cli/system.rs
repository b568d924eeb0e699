//! What the program asks of the system: memory and processors. Elsewhere than under Linux with the C library of GNU
//! memory stays as the system has it.

use std::sync::OnceLock;

use rayon::{ThreadPool, ThreadPoolBuilder};

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

/// Makes what a command allots next lie in so many large pages where the system has such pages on request: each costs one
/// fault in place of five hundred.
///
/// To be called once, on the main thread, by a command that will need the room.
pub(super) fn large_pages(pages: usize) {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    {
        const PAGE: usize = 2 << 20;
        let room = Vec::<u8>::with_capacity((pages + 1) * PAGE);
        let before = room.as_ptr().align_offset(PAGE).min(PAGE);
        // SAFETY: the pages lie in the room, and the advice changes no byte. A system without large pages says no to it.
        unsafe {
            libc::madvise(room.as_ptr().add(before).cast_mut().cast(), pages * PAGE, libc::MADV_HUGEPAGE);
        }
        // The allocator gives this room out again from its beginning. What lies before the pages stays taken and unused,
        // so that all that comes next lies in them; addresses are all it costs.
        drop(room);
        std::mem::forget(std::hint::black_box(Vec::<u8>::with_capacity(before)));
    }
    #[cfg(not(all(target_os = "linux", target_env = "gnu")))]
    let _ = pages;
}

/// Makes the main thread one of those that share the work of all processors: with one processor there is no other, and
/// its memory lies where that of the main thread does.
///
/// To be called once, on the main thread, before any such work. From then on the main thread must not wait for a thread
/// of another kind that shares out work: with one processor nobody would take it up.
pub(super) fn work_on_main_thread() {
    // Where the threads stand already, they stay as they are.
    let _ = ThreadPoolBuilder::new().use_current_thread().build_global();
}

/// Two pieces of work at once, the second on another thread, where the program may use a second processor. For commands
/// alone: the thread stays until the program ends.
pub(super) fn beside<A, B: Send>(first: impl FnOnce() -> A, second: impl FnOnce() -> B + Send) -> (A, B) {
    // One thread for all such work: to wake it takes a tenth of the time in which one starts.
    static HELPER: OnceLock<Option<ThreadPool>> = OnceLock::new();
    let helper = || several_processors().then(|| ThreadPoolBuilder::new().num_threads(1).build().ok()).flatten();
    let Some(helper) = HELPER.get_or_init(helper) else { return (first(), second()) };
    let mut b = None;
    let a = helper.in_place_scope(|scope| {
        let b = &mut b;
        scope.spawn(move |_| *b = Some(second()));
        first()
    });
    (a, b.expect("the scope waits for it"))
}

/// Whether the program may use more than one processor.
#[cfg(all(target_os = "linux", target_env = "gnu"))]
pub(super) fn several_processors() -> bool {
    // The standard library's count reads the files of control groups, which takes as long as an option.
    // SAFETY: zeros are an empty set; the call fills in no more than its size, and the count only reads it.
    unsafe {
        let mut set: libc::cpu_set_t = std::mem::zeroed();
        libc::sched_getaffinity(0, size_of::<libc::cpu_set_t>(), &mut set) != 0 || libc::CPU_COUNT(&set) > 1
    }
}

/// Whether the program may use more than one processor.
#[cfg(not(all(target_os = "linux", target_env = "gnu")))]
pub(super) fn several_processors() -> bool {
    std::thread::available_parallelism().is_ok_and(|n| n.get() > 1)
}
