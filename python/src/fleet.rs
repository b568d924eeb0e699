//! Many sites, one table in and one out.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use pyo3::prelude::*;
use yearlight::fleet::{Cells, Fleet, FleetSpec, SiteTable};
use yearlight::job;
use yearlight::tables::Table as Columns;

use crate::arrow::{Table, Taken};
use crate::error::Words;
use crate::weigh::value;
use crate::work;

/// Sites between two looks for Ctrl-C.
const SITES: usize = 32;

/// Rows and refusals of a table of sites.
///
/// `template` is a path, or the text of a JSON object when `template_is_value`; `over`, a JSON object, takes the place of
/// the file's parts. `before` rows of a larger table stand
/// before this one, and `taken` names of theirs stand here again, with their rows.
#[pyfunction]
#[pyo3(signature = (table, template, template_is_value, over, base, weather, weather_set, weather_set_label, split, before,
                    taken, name, threads))]
pub fn fleet(
    py: Python<'_>,
    table: &Bound<'_, PyAny>,
    template: String,
    template_is_value: bool,
    over: Option<String>,
    base: PathBuf,
    weather: String,
    weather_set: Option<String>,
    weather_set_label: String,
    split: bool,
    before: usize,
    taken: HashMap<String, u64>,
    name: String,
    threads: Option<usize>,
) -> PyResult<(Table, Table)> {
    let sites = Taken::of(table)?;
    let spec = FleetSpec {
        title: name.clone(),
        template: String::new(),
        sites: String::new(),
        weather,
        weather_set,
        weather_set_label,
        sites_per_part: SITES,
        split,
        csv: false,
    };
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = stop.clone();
    let all = move || -> Result<(Table, Table), Words> {
        let spec = spec.checked(Path::new("fleet")).map_err(|e| Words::of(&e))?;
        let template = if template_is_value {
            value(&template, &base).map_err(|e| Words::of(&e))?
        } else {
            let over = over.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default();
            job::load_over(Path::new(&template), &over).map_err(|e| Words::of(&e))?
        };
        let (header, rows) = (sites.names.clone(), sites.rows);
        let cells = Cells(Box::new(move |row, column| sites.cell(row, column)));
        let table = SiteTable { name, header, rows, cells, before, taken };
        let fleet = Fleet::of_table(&base, spec, template, table).map_err(|e| Words::of(&e))?;
        let mut found: Option<Columns> = None;
        let mut refused = Vec::new();
        for part in 0..fleet.parts() {
            if stopped.load(Ordering::Relaxed) {
                return Err(Words::text("stopped"));
            }
            let (rows, more) = fleet.part_table(part);
            refused.extend(more);
            found = Some(match found {
                None => rows,
                Some(all) => all.below(rows),
            });
        }
        let refusals = Columns::new()
            .whole("row", refused.iter().map(|r| r.row as i64).collect())
            .text("site", refused.iter().map(|r| r.name.clone()).collect())
            .text("reason", refused.iter().map(|r| r.one_line()).collect());
        Ok((Table::of(found.unwrap_or_default()), Table::of(refusals)))
    };
    work::run(py, threads, &stop, true, all)?.map_err(|e| e.raise(py))
}
