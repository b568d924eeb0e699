//! How far a long piece of work has come, told while it goes on.

/// What a watcher hears.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tick {
    /// So many more runs lie ahead.
    Ahead(u64),
    /// One of them is done.
    Done,
}

/// Someone who listens, from any thread.
pub type Watch<'a> = dyn Fn(Tick) + Sync + 'a;
