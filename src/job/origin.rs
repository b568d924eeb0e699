//! The document behind a job: where each key stands, and whether it was written at all.

use std::sync::Arc;

use super::error::At;
use super::tree::{Files, Kind, Mark, Tree};

/// A document and the names of its files. Paths are those of [`super::LedgerLine::path`].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Origin(Arc<(Tree, Files)>);

impl Origin {
    pub fn new(tree: Tree, files: Files) -> Origin {
        Origin(Arc::new((tree, files)))
    }

    pub fn tree(&self) -> &Tree {
        &self.0.0
    }

    /// Where a key or a record of a list was written.
    pub fn at(&self, path: &str) -> Option<At> {
        find(self.tree(), path).map(|(mark, _)| self.0.1.at(mark))
    }

    /// True for a value that was written: no section, and no list of sections.
    pub fn holds(&self, path: &str) -> bool {
        find(self.tree(), path).is_some_and(|(_, value)| match &value.kind {
            Kind::Table(_) => false,
            Kind::List(items) => !items.iter().any(|item| matches!(item.kind, Kind::Table(_))),
            _ => true,
        })
    }
}

/// What a path leads to. Names may hold dots themselves.
fn find<'t>(tree: &'t Tree, path: &str) -> Option<(Mark, &'t Tree)> {
    let below = |name: &str, mark: Mark, value: &'t Tree| {
        let rest = path.strip_prefix(name)?;
        if rest.is_empty() { Some((mark, value)) } else { find(value, rest.strip_prefix('.')?) }
    };
    match &tree.kind {
        Kind::Table(entries) => entries.iter().find_map(|e| below(&e.key, e.mark, &e.value)),
        Kind::List(items) => items.iter().enumerate().find_map(|(i, item)| {
            if !matches!(item.kind, Kind::Table(_)) {
                return None;
            }
            match ["tag", "name"].iter().find_map(|key| item.get(key).and_then(Tree::text)) {
                Some(name) => below(name, item.mark, item),
                None => below(&(i + 1).to_string(), item.mark, item),
            }
        }),
        _ => None,
    }
}
