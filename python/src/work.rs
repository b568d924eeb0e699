//! Long work beside the interpreter: its lock is free meanwhile, and Ctrl-C is heard.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use pyo3::exceptions::{PyRuntimeError, PyValueError};
use pyo3::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};

/// How often signals are looked for.
const BEAT: Duration = Duration::from_millis(50);
/// How long a cancelled run may take to lay down its work.
const GRACE: Duration = Duration::from_secs(10);

/// The pool of this process. A forked child has none of its parent's threads and makes its own.
static POOL: Mutex<Option<(u32, Arc<ThreadPool>)>> = Mutex::new(None);

fn pool(threads: Option<usize>) -> PyResult<Arc<ThreadPool>> {
    let make = |n: usize| {
        let pool = ThreadPoolBuilder::new().num_threads(n).thread_name(|i| format!("yearlight-{i}")).build();
        pool.map(Arc::new).map_err(|e| PyRuntimeError::new_err(format!("threads cannot be started ({e})")))
    };
    match threads {
        Some(0) => Err(PyValueError::new_err("threads is 0; expected 1 or more.\n  Leave it out to use all.")),
        Some(n) => make(n),
        None => {
            let mut held = POOL.lock().unwrap_or_else(|e| e.into_inner());
            let process = std::process::id();
            if let Some((owner, pool)) = held.as_ref()
                && *owner == process
            {
                return Ok(pool.clone());
            }
            let made = make(0)?;
            // A parent's pool is never taken down: its threads are not here to be joined.
            if let Some(old) = held.replace((process, made.clone())) {
                std::mem::forget(old);
            }
            Ok(made)
        }
    }
}

/// Runs `work` on a pool while other Python threads go on. On Ctrl-C `stop` is set, and the error of the signal comes
/// back at once, or when `patient` as soon as the work has laid itself down.
pub fn run<T: Send + 'static>(
    py: Python<'_>,
    threads: Option<usize>,
    stop: &Arc<AtomicBool>,
    patient: bool,
    work: impl FnOnce() -> T + Send + 'static,
) -> PyResult<T> {
    let pool = pool(threads)?;
    let (send, receive) = sync_channel(1);
    let body = move || {
        let result = catch_unwind(AssertUnwindSafe(|| pool.install(work)));
        // Nobody waits any more after Ctrl-C.
        let _ = send.send(result);
    };
    let started = std::thread::Builder::new().name("yearlight".into()).stack_size(8 << 20).spawn(body);
    started.map_err(|e| PyRuntimeError::new_err(format!("a thread cannot be started ({e})")))?;
    let receive = Mutex::new(receive);
    let wait = |time: Duration| py.detach(|| receive.lock().unwrap_or_else(|e| e.into_inner()).recv_timeout(time));
    loop {
        match wait(BEAT) {
            Ok(Ok(result)) => return Ok(result),
            Ok(Err(_)) | Err(RecvTimeoutError::Disconnected) => {
                return Err(PyRuntimeError::new_err("a fault inside the program stopped this run. Please report it."));
            }
            Err(RecvTimeoutError::Timeout) => {
                if let Err(signal) = py.check_signals() {
                    stop.store(true, Ordering::Relaxed);
                    if patient {
                        let _ = wait(GRACE);
                    }
                    return Err(signal);
                }
            }
        }
    }
}
