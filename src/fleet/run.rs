//! The run: sites in the order of the parts on all threads, each part written by the thread that ends it.

use std::collections::HashMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};

use rayon::prelude::*;
use serde_json::Value;

use super::error::FleetError;
use super::finish::{Joined, join};
use super::manifest::{self, Manifest, clear, prepare};
use super::queue::Queue;
use super::rows;
use super::set::WeatherSet;
use super::site::{Bench, OneSite, Shared, SiteDone, SiteRefused, Stages};
use super::sites::{GROUP_COLUMNS, PLAIN_COLUMNS, SiteRow, SiteTable, Sites};
use super::skies::{Asked, Skies};
use super::spec::FleetSpec;
use super::stamp::{self, Stamp, Stamps};
use crate::job::{self, FileDigest, Job, RightSections};
use crate::tables::{Table, parquet_as_csv, write_parquet, write_whole};
use crate::weather::read_up_to;

/// Largest table of sites, bytes: some five million rows.
const MAX_SITES_BYTES: u64 = 1 << 30;

/// A share of a fleet: part `i` (from 0) belongs to share `i mod n + 1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    /// From 1.
    pub k: usize,
    /// Number of shares.
    pub n: usize,
}

impl FromStr for Share {
    type Err = String;

    fn from_str(text: &str) -> Result<Share, String> {
        let share = text.split_once('/').and_then(|(k, n)| {
            let (k, n) = (k.trim().parse().ok()?, n.trim().parse().ok()?);
            (1..=n).contains(&k).then_some(Share { k, n })
        });
        share.ok_or_else(|| format!("the share is {text}; expected k/n with k from 1 to n, such as 2/8."))
    }
}

impl Share {
    fn has(self, part: usize) -> bool {
        part % self.n == self.k - 1
    }

    /// Name of its folder.
    pub fn folder(self) -> String {
        format!("share-{}-of-{}", self.k, self.n)
    }
}

/// How to run.
#[derive(Debug, Clone, Default)]
pub struct How {
    /// Keeps the parts that an earlier run of the same fleet has finished.
    pub resume: bool,
    /// Only a share; its parts go to a folder of their own, and [`super::gather`] joins them.
    pub share: Option<Share>,
    /// Threads; all when left out.
    pub threads: Option<usize>,
}

/// What a run did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ran {
    /// Sites run or refused now.
    pub sites: usize,
    /// Options run now.
    pub options: usize,
    /// Sites refused now.
    pub refused: usize,
    /// Parts that an earlier run had finished.
    pub kept: usize,
    /// Parts that an earlier run had finished, run again because a weather file behind them has changed since.
    pub stale: usize,
    /// Weather files read.
    pub reads: u64,
    /// The end files; nothing for a share.
    pub joined: Option<Joined>,
}

/// Working memory that is not in use: one for every thread, kept from site to site and from part to part.
#[derive(Default)]
struct Benches(Mutex<Vec<Box<Bench>>>);

impl Benches {
    fn free(&self) -> MutexGuard<'_, Vec<Box<Bench>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Work on a bench that nobody else works on meanwhile.
    fn lend<T>(&self, work: impl FnOnce(&mut Bench) -> T) -> T {
        let free = self.free().pop();
        let mut bench = free.unwrap_or_default();
        let result = work(&mut bench);
        self.free().push(bench);
        result
    }
}

/// What is done with the results of a part.
type Finish<'a> = dyn Fn(usize, Vec<SiteDone>, Vec<SiteRefused>) -> Result<(), FleetError> + Sync + 'a;

/// A fleet, read and checked.
pub struct Fleet {
    shared: Shared,
    benches: Benches,
    manifest: Manifest,
    groups: Vec<&'static str>,
}

impl Fleet {
    /// Reads the fleet file, the template with what it names, and the table of sites; no weather yet.
    ///
    /// # Errors
    /// [`FleetError`] for what concerns all sites; what is wrong with one row is found when it is run.
    pub fn load(path: &Path) -> Result<Fleet, FleetError> {
        let bytes = read_up_to(path, job::MAX_BYTES).map_err(|e| FleetError::unreadable(path, &e, "a fleet file"))?;
        let text = String::from_utf8_lossy(&bytes);
        let spec = FleetSpec::from_text(path, text.trim_start_matches('\u{feff}'))?;
        let base = path.parent().unwrap_or(Path::new("")).to_path_buf();

        let template_path = base.join(&spec.template);
        let template = job::load(&template_path)?;
        let sites_path = base.join(&spec.sites);
        let unreadable = |e: std::io::Error| FleetError::unreadable(&sites_path, &e, "a table of sites");
        let parquet = sites_path.extension().is_some_and(|e| e.eq_ignore_ascii_case("parquet"));
        let bytes = if parquet {
            parquet_as_csv(&sites_path)?
        } else {
            crate::weather::read_up_to(&sites_path, MAX_SITES_BYTES).map_err(unreadable)?
        };
        let sites = Sites::from_csv(&sites_path, bytes, parquet, spec.sites_per_part)?;
        let digest =
            |path: &Path, sha256: String| FileDigest { file: path.display().to_string().replace('\\', "/"), sha256 };
        let own_files =
            vec![digest(path, job::checksum(text.as_bytes())), digest(&sites_path, job::checksum(sites.bytes()))];
        Fleet::of(base, spec, template, sites, own_files)
    }

    /// A fleet whose sites are a table in memory. `base` is the folder that paths of weather are relative to;
    /// `spec.template` and `spec.sites` are not read.
    ///
    /// # Errors
    /// [`FleetError`] for what concerns all sites.
    pub fn of_table(base: &Path, spec: FleetSpec, template: Job, table: SiteTable) -> Result<Fleet, FleetError> {
        let sites = Sites::from_table(table, spec.sites_per_part)?;
        Fleet::of(base.to_path_buf(), spec, template, sites, Vec::new())
    }

    fn of(
        base: PathBuf,
        spec: FleetSpec,
        template: Job,
        sites: Sites,
        own_files: Vec<FileDigest>,
    ) -> Result<Fleet, FleetError> {
        let record = template.record();
        let sections = record.get("job").cloned().unwrap_or(Value::Null);
        let given = template.ledger().into_iter().filter(|l| l.given).map(|l| l.path).collect();
        let mut files = HashMap::new();
        for digest in &template.files {
            let path = PathBuf::from(&digest.file);
            if let Ok(bytes) = read_up_to(&path, job::MAX_BYTES) {
                files.insert(path, bytes);
            }
        }

        let set_path = spec.weather_set.as_ref().map(|name| base.join(name));
        let label = spec.weather_set_label.parse().unwrap_or(crate::weather::Label::Beginning);
        let set = set_path.as_ref().map(|p| WeatherSet::open(p, label)).transpose()?;
        let set_length = |p: &PathBuf| std::fs::metadata(p).map_or(0, |m| m.len());
        let groups: Vec<&'static str> = GROUP_COLUMNS.into_iter().filter(|c| sites.column(c).is_some()).collect();
        let manifest = Manifest {
            program: env!("CARGO_PKG_VERSION").to_string(),
            title: spec.title.clone(),
            language: template.spec.proposal.as_ref().and_then(|p| p.language.clone()).unwrap_or("en".into()),
            fleet_sha256: own_files.first().map_or(String::new(), |f| f.sha256.clone()),
            template_sha256: template.files.iter().map(|f| (file_name(&f.file), f.sha256.clone())).collect(),
            sites_sha256: job::checksum(sites.bytes()),
            weather_set: set_path.as_ref().map(|p| (file_name(&p.display().to_string()), set_length(p))),
            sites: sites.rows,
            sites_per_part: sites.per_part,
            parts: sites.parts(),
            groups: groups.iter().map(|g| g.to_string()).collect(),
            split: spec.split,
            csv: spec.csv,
        };
        let shared = Shared {
            base,
            own_files,
            given,
            job_files: template.files.clone(),
            right: RightSections::of(&sections),
            sections,
            job_base: template.base.clone(),
            weather_file: template.weather_path(),
            files,
            sites,
            skies: Skies::default(),
            shared_files: OnceLock::new(),
            stages: Stages::default(),
            set,
            spec,
        };
        let fleet = Fleet { shared, benches: Benches::default(), manifest, groups };
        fleet.check_columns()?;
        Ok(fleet)
    }

    /// A column that names no key would refuse every site: said once, before the run.
    fn check_columns(&self) -> Result<(), FleetError> {
        let sites = &self.shared.sites;
        let first = sites.part(0);
        for (i, column) in sites.header.iter().enumerate().filter(|(_, c)| !PLAIN_COLUMNS.contains(&c.as_str())) {
            let cell = first.iter().filter_map(|r| r.cells.as_ref().ok()?.get(i)).find(|c| !c.is_empty());
            let fault = cell.and_then(|cell| self.shared.key_fault(column, cell));
            if let Some(fault) = fault {
                return Err(FleetError::Wrong {
                    at: sites.at(1),
                    found: format!("the column {column} is no key of the job: {fault}"),
                    expected: "keys as in a job file, such as plane.tilt_deg or option.A.target_kw".to_string(),
                    mend: "Rename or remove the column.".to_string(),
                });
            }
        }
        Ok(())
    }

    /// One site by its name, ready to be weighed by itself: the same job and weather as in the run of all.
    ///
    /// # Errors
    /// [`FleetError::Site`] when there is no such site, or it is refused.
    pub fn one(&self, name: &str) -> Result<OneSite, FleetError> {
        let row = self.shared.sites.find(name).map_err(|near| FleetError::Site {
            reason: format!(
                "{}: there is no site \"{name}\"; expected a name of the column site.\n  {}",
                self.shared.sites.file,
                near.map_or("Mend the name.".to_string(), |near| format!("Did you mean \"{near}\"?"))
            ),
        })?;
        self.shared.one(&row).map_err(|refused| FleetError::Site { reason: refused.reason })
    }

    /// Title of the fleet.
    pub fn title(&self) -> &str {
        &self.shared.spec.title
    }

    /// What the results are made from.
    pub fn manifest(&self) -> &Manifest {
        &self.manifest
    }

    /// Number of sites.
    pub fn sites(&self) -> usize {
        self.shared.sites.rows
    }

    /// Sites of a share.
    pub fn sites_of(&self, share: Option<Share>) -> usize {
        let parts = (0..self.manifest.parts).filter(|p| share.is_none_or(|s| s.has(*p)));
        parts.map(|p| self.manifest.rows_of(p).count()).sum()
    }

    /// Time by stage so far.
    pub fn stages(&self) -> &Stages {
        &self.shared.stages
    }

    /// Number of parts.
    pub fn parts(&self) -> usize {
        self.manifest.parts
    }

    /// One part as the table that `run` writes, and its refusals.
    pub fn part_table(&self, part: usize) -> (Table, Vec<SiteRefused>) {
        let found = Mutex::new((Vec::new(), Vec::new()));
        let keep = |_, done, refused| {
            *found.lock().unwrap_or_else(PoisonError::into_inner) = (done, refused);
            Ok(())
        };
        // Keeping cannot fail.
        let _ = self.each_part(std::iter::once(part), &|| {}, &keep);
        let (done, refused) = found.into_inner().unwrap_or_else(PoisonError::into_inner);
        (rows::table(&done, &self.groups, self.manifest.split), refused)
    }

    /// Runs some parts on all threads. The results of each go to `finish`, on the thread that is through with its last
    /// site; the first fault there ends the run.
    fn each_part(
        &self,
        mut parts: impl Iterator<Item = usize> + Send,
        on_site: &(dyn Fn() + Sync),
        finish: &Finish,
    ) -> Result<(), FleetError> {
        // Counted by all threads, before some of them wait at the queue for what another one does.
        self.shared.files_of_many();
        let queue = Queue::new(|| {
            let part = parts.next()?;
            let rows = self.shared.sites.part(part);
            self.announce(&rows);
            Some((part, rows))
        });
        let work = |bench: &mut Bench| {
            while let Some((open, row)) = queue.next() {
                let result = self.shared.site(&open.rows[row], bench);
                self.shared.through(&open.rows[row]);
                on_site();
                let Some(results) = open.put(row, result) else { continue };
                let (mut done, mut refused) = (Vec::new(), Vec::new());
                for result in results {
                    match result {
                        Ok(site) => done.push(site),
                        Err(site) => refused.push(site),
                    }
                }
                finish(open.part, done, refused).inspect_err(|_| queue.close())?;
            }
            Ok(())
        };
        let threads = rayon::current_num_threads();
        (0..threads).into_par_iter().with_max_len(1).try_for_each(|_| self.benches.lend(work))
    }

    /// Tells the skies which files a part shares, so that none is let go while another site waits for it.
    fn announce(&self, rows: &[SiteRow]) {
        let mut wanted: HashMap<PathBuf, Asked> = HashMap::new();
        for path in rows.iter().filter_map(|row| self.shared.file_of(row)) {
            let once = !self.shared.many_ask_for(&path);
            wanted.entry(path).or_insert(Asked { times: 0, once }).times += 1;
        }
        self.shared.skies.expect(wanted);
    }

    /// Runs the fleet into a folder. `on_site` is called from any thread when a site is through.
    ///
    /// # Errors
    /// [`FleetError`] when results cannot be written, or the folder holds another run's and `resume` is set.
    pub fn run(&self, out: &Path, how: &How, on_site: &(dyn Fn() + Sync)) -> Result<Ran, FleetError> {
        match how.threads {
            None => self.run_here(out, how, on_site),
            Some(n) => {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(n.max(1)).build();
                let pool = pool.map_err(|e| FleetError::Folder {
                    path: out.to_path_buf(),
                    reason: format!("{n} threads cannot be started ({e})"),
                })?;
                pool.install(|| self.run_here(out, how, on_site))
            }
        }
    }

    fn run_here(&self, out: &Path, how: &How, on_site: &(dyn Fn() + Sync)) -> Result<Ran, FleetError> {
        let folder = how.share.map_or_else(|| out.to_path_buf(), |s| out.join(s.folder()));
        prepare(&folder)?;
        let earlier = if how.resume { Manifest::of(&folder)? } else { None };
        if let Some(earlier) = &earlier {
            self.manifest.expect(earlier, &folder)?;
        }
        clear(&folder, earlier.is_none())?;
        if earlier.is_none() {
            self.manifest.write(&folder)?;
        }
        let ran = Mutex::new(Ran::default());
        let count = |add: &dyn Fn(&mut Ran)| add(&mut ran.lock().unwrap_or_else(PoisonError::into_inner));
        let mine = (0..self.manifest.parts).filter(|p| how.share.is_none_or(|s| s.has(*p))).filter(|&part| {
            if earlier.is_none() || self.manifest.check(&folder, part).is_err() {
                return true;
            }
            let kept = self.same_weather(&folder, part);
            if kept {
                count(&|ran| ran.kept += 1);
                self.manifest.rows_of(part).for_each(|_| on_site());
            } else {
                count(&|ran| ran.stale += 1);
            }
            !kept
        });
        let finish = |part, done: Vec<SiteDone>, refused: Vec<SiteRefused>| {
            count(&|ran| {
                ran.sites += done.len() + refused.len();
                ran.refused += refused.len();
                ran.options += done.iter().map(|s| s.options.len()).sum::<usize>();
            });
            // A fault inside the table library ends the run at once too.
            catch_unwind(AssertUnwindSafe(|| self.write_part(&folder, part, &done, &refused))).unwrap_or_else(|_| {
                Err(FleetError::Folder { path: folder.clone(), reason: "the writer stopped".to_string() })
            })
        };
        self.each_part(mine, on_site, &finish)?;
        let mut ran = ran.into_inner().unwrap_or_else(PoisonError::into_inner);
        ran.reads = self.shared.skies.reads();
        if how.share.is_none() {
            ran.joined = Some(join(&folder, &self.manifest)?);
        }
        Ok(ran)
    }

    /// The weather files behind a part, each as this run first saw it.
    fn stamps(&self, part: usize) -> Stamps {
        let files = self.shared.sites.part(part).iter().filter_map(|row| self.shared.sky_file(row)).collect::<Vec<_>>();
        files.into_iter().map(|(name, path)| (name, self.shared.skies.stamp(&path))).collect()
    }

    /// Whether the weather files behind a finished part are those that it was made from.
    fn same_weather(&self, folder: &Path, part: usize) -> bool {
        let rows = self.shared.sites.part(part);
        let now: Stamps =
            rows.iter().filter_map(|r| self.shared.sky_file(r)).map(|(n, p)| (n, Stamp::of(&p))).collect();
        stamp::read(&manifest::weather_file(folder, part)).is_some_and(|then| then == now)
    }

    /// Refusals and weather first: a part counts as done when its rows are there.
    fn write_part(
        &self,
        folder: &Path,
        part: usize,
        done: &[SiteDone],
        refused: &[SiteRefused],
    ) -> Result<(), FleetError> {
        let path = manifest::refused_file(folder, part);
        let mut csv = csv::Writer::from_writer(Vec::new());
        let row = |e: csv::Error| FleetError::Folder { path: path.clone(), reason: e.to_string() };
        csv.write_record(["row", "line", "site", "reason"]).map_err(row)?;
        for site in refused {
            csv.write_record([&site.row.to_string(), &site.line.to_string(), &site.name, &site.one_line()])
                .map_err(row)?;
        }
        let bytes = csv.into_inner().map_err(|e| FleetError::folder(&path, e.error()))?;
        write_whole(&path, &bytes)?;
        stamp::write(&self.stamps(part), &manifest::weather_file(folder, part))?;
        let table = rows::table(done, &self.groups, self.manifest.split);
        Ok(write_parquet(&table, &manifest::rows_file(folder, part))?)
    }
}

fn file_name(path: &str) -> String {
    Path::new(path).file_name().map_or(path.to_string(), |n| n.to_string_lossy().into_owned())
}
