//! Fleets: the demo with its traps, kills, shares, threads, disks that fill up.
#![cfg(feature = "tables")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use yearlight::energy::Plan;
use yearlight::tables::{Table, read_parquet};

const DEMO: &str = "configs/merrowby-fleet/fleet.toml";

fn yearlight(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_yearlight"));
    command.args(words).stdin(Stdio::null());
    command
}

fn run(words: &[&str]) -> Output {
    yearlight(words).output().unwrap()
}

fn code(output: &Output) -> i32 {
    let told = String::from_utf8_lossy(&output.stderr);
    output.status.code().unwrap_or_else(|| panic!("killed: {told}"))
}

/// Every file below a folder with its bytes; shares left out.
fn bytes(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    fn walk(root: &Path, folder: &Path, out: &mut BTreeMap<PathBuf, Vec<u8>>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                if !path.file_name().unwrap().to_string_lossy().starts_with("share-") {
                    walk(root, &path, out);
                }
            } else {
                out.insert(path.strip_prefix(root).unwrap().to_path_buf(), fs::read(&path).unwrap());
            }
        }
    }
    let mut out = BTreeMap::new();
    walk(folder, folder, &mut out);
    out
}

fn same(a: &Path, b: &Path) {
    let (a, b) = (bytes(a), bytes(b));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    for (name, x) in &a {
        assert!(x == &b[name], "{} differs", name.display());
    }
}

/// A fleet of `n` sites on one sky, two options, four sites in a part; one row in seven is bad.
fn small(folder: &Path, n: usize, more: &str) -> PathBuf {
    let root = env!("CARGO_MANIFEST_DIR");
    let template = fs::read_to_string("configs/merrowby-fleet/template.toml").unwrap();
    let template = template
        .replace("../merrowby-parts.toml", &format!("{root}/configs/merrowby-parts.toml"))
        .replace("../../weather", &format!("{root}/weather"));
    // Two options are enough here.
    let cut = template.find("[[option]]\ntag = \"C\"").unwrap();
    let rest = template[cut..].find("[cable]").unwrap() + cut;
    fs::write(folder.join("template.toml"), format!("{}{}", &template[..cut], &template[rest..])).unwrap();
    fs::write(
        folder.join("fleet.toml"),
        format!("title = \"Small\"\ntemplate = \"template.toml\"\nsites = \"sites.csv\"\nsites_per_part = 4\n{more}\n"),
    )
    .unwrap();
    let mut text = "site,plane.tilt_deg,country\n".to_string();
    for i in 0..n {
        text.push_str(&format!("s{i},{},{}\n", if i % 7 == 5 { 200 } else { 5 + i % 40 }, ["x", "y"][i % 2]));
    }
    fs::write(folder.join("sites.csv"), text).unwrap();
    folder.join("fleet.toml")
}

fn rows(folder: &Path) -> Vec<Table> {
    let mut paths: Vec<PathBuf> =
        fs::read_dir(folder.join("fleet.parquet")).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|p| read_parquet(p).unwrap()).collect()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[test]
fn the_demo_gives_20_sites_in_order_and_4_refusals() {
    let dir = tempfile::tempdir().unwrap();
    let output = run(&["fleet", DEMO, "--out", text(dir.path())]);
    assert_eq!(code(&output), 3);
    let table = rows(dir.path()).remove(0);
    let (site, option) = (table.words("site").unwrap(), table.words("option").unwrap());
    assert_eq!(table.rows(), 60);
    assert!(option.chunks(3).all(|o| o == ["A", "B", "C"]));
    let sites: Vec<&str> = site.chunks(3).map(|s| s[0].as_str()).collect();
    let expected = "School|Town hall|Mill|Library|Fire station|South twin|Gap farm|Leap barn|No-diffuse works|\
        Hour-beginning hall|Watt-hour wharf|Kilojoule kiln|Polar pier|Late clock|Creamery|Bus garage|Swimming pool|\
        Cold store|Health centre|Sports hall";
    assert_eq!(sites.join("|"), expected);

    let mut reader = csv::Reader::from_path(dir.path().join("refused.csv")).unwrap();
    let refused: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let told: [(&str, &str, &str); 4] = [
        ("11", "Swapped depot", "Latitude and longitude look swapped"),
        ("16", "Lost archive", "no such file"),
        ("19", "Negative grid", "grid.export_limit_kw is -30"),
        ("20", "Mill", "the name Mill stands at configs/merrowby-fleet/fleet.csv:5 already"),
    ];
    assert_eq!(refused.len(), 4);
    for (record, (line, name, reason)) in refused.iter().zip(told) {
        assert_eq!((&record[1], &record[2]), (line, name));
        assert!(record[3].starts_with(&format!("configs/merrowby-fleet/fleet.csv:{line}: ")), "{}", &record[3]);
        assert!(record[3].contains(reason), "{}", &record[3]);
        assert!(String::from_utf8_lossy(&output.stderr).contains(reason));
    }

    let column = |name: &str| table.numbers(name).unwrap_or_else(|| panic!("{name}")).to_vec();
    let (e_ac, h_i, y_f) = (column("e_ac_kwh"), column("h_i_kwh_m2"), column("y_f_h"));
    let at = |name: &str| site.iter().position(|s| s == name).unwrap();
    let near = |a: f64, b: f64, share: f64| assert!((a / b - 1.0).abs() < share, "{a} against {b}");
    // The same sky in other clothes. The mapped files lack ground reflectance, rain and snow of the tidy one.
    near(e_ac[at("Watt-hour wharf")], e_ac[at("Hour-beginning hall")], 1e-12);
    near(e_ac[at("Kilojoule kiln")], e_ac[at("Hour-beginning hall")], 1e-6);
    near(e_ac[at("No-diffuse works")], e_ac[at("Hour-beginning hall")], 1e-3);
    near(e_ac[at("Hour-beginning hall")], e_ac[at("School")], 1e-3);
    // One more day of February.
    assert!((0.0..1.5).contains(&(h_i[at("Leap barn")] - h_i[at("School")])));
    // The same months half a year later, facing north; a made sky is drawn by chance within each month.
    near(h_i[at("South twin")], h_i[at("School")], 0.02);
    // No light in December at 69 N, and the draw at night goes on.
    assert!(column("e_ac_12_kwh")[at("Polar pier")] < 0.0);
    for (i, name) in site.iter().enumerate() {
        let months: f64 = (1..=12).map(|m| column(&format!("e_ac_{m:02}_kwh"))[i]).sum();
        assert!((months - e_ac[i]).abs() < 1e-9 * e_ac[i].abs(), "{name}");
        let lines: f64 =
            table.columns().iter().filter(|(n, _)| n.starts_with("account_")).map(|(n, _)| column(n)[i]).sum();
        assert!((lines - e_ac[i]).abs() < 1e-8 * e_ac[i].abs(), "{name}: the account does not close");
        near(y_f[i], e_ac[i] / column("p_stc_kw")[i], 1e-12);
    }

    // The first row leaves the template as it is: the same job by itself.
    let job = yearlight::job::load(Path::new("configs/merrowby-fleet/template.toml")).unwrap();
    let weather = yearlight::sky::read(&job.weather_path(), &job.read_hints().unwrap()).unwrap();
    let plan = Plan::of(&job, &weather).unwrap();
    let study = yearlight::weigh::study(&job, &weather, &plan).unwrap();
    for (k, o) in study.options.iter().enumerate() {
        assert_eq!(o.year.e_ac_kwh(), e_ac[k]);
        assert_eq!(o.lifetime_kwh(), column("lifetime_kwh")[k]);
    }
    // What each trap says in the results.
    let (warnings, weather) = (table.words("warnings").unwrap(), table.words("weather").unwrap());
    for (i, name) in site.iter().enumerate() {
        assert_eq!(warnings[i].contains("weather.label-shift"), name == "Late clock", "{name}: {}", warnings[i]);
        assert_eq!(weather[i] == "leap-year.csv.gz", name == "Leap barn", "{name}");
    }
    // Half an hour late, the east of the sky gives less and the west more, and a flat south roof hardly differs.
    near(e_ac[at("Late clock")], e_ac[at("Hour-beginning hall")], 0.02);
    assert!(e_ac[at("Late clock")] != e_ac[at("Hour-beginning hall")]);
    let csv = fs::read_to_string(dir.path().join("fleet.csv")).unwrap();
    assert_eq!(csv.lines().count(), 61);
    let page = fs::read_to_string(dir.path().join("index.html")).unwrap();
    assert!(page.contains("Swapped depot") && page.contains("Gap farm"));
}

#[test]
fn killed_at_any_moment_and_resumed_the_bytes_are_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let fleet = small(dir.path(), 34, "csv = true");
    let whole = dir.path().join("whole");
    let start = Instant::now();
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&whole), "--quiet"])), 3);
    let took = start.elapsed();
    let broken = dir.path().join("broken");
    let mut seed = 20_u64;
    let mut killed = 0;
    for round in 0..5 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let share = 0.7 * (seed >> 33) as f64 / f64::from(1_u32 << 31);
        let mut words = vec!["fleet", text(&fleet), "--out", text(&broken), "--quiet"];
        if round > 0 {
            words.push("--resume");
        }
        let mut child = yearlight(&words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_secs_f64(took.as_secs_f64() * share));
        // In turn as a job that is cancelled, and as a user's Ctrl-C.
        if round % 2 == 0 {
            let _ = child.kill();
        } else {
            let _ = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
        }
        killed += i32::from(child.wait().unwrap().code().is_none());
        // Whatever is under a final name is whole.
        if broken.join("fleet.parquet").exists() {
            for entry in fs::read_dir(broken.join("fleet.parquet")).unwrap() {
                let path = entry.unwrap().path();
                if path.extension().is_some_and(|e| e == "parquet") {
                    read_parquet(&path).unwrap();
                }
            }
        }
    }
    println!("{killed} of 5 runs were killed");
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&broken), "--quiet", "--resume"])), 3);
    same(&whole, &broken);

    // Nothing is done again, and a damaged part is.
    let part = broken.join("fleet.parquet/part-00002.parquet");
    let before = fs::metadata(broken.join("fleet.parquet/part-00001.parquet")).unwrap().modified().unwrap();
    fs::write(&part, &fs::read(&part).unwrap()[..100]).unwrap();
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&broken), "--quiet", "--resume"])), 3);
    same(&whole, &broken);
    let after = fs::metadata(broken.join("fleet.parquet/part-00001.parquet")).unwrap().modified().unwrap();
    assert_eq!(before, after);

    // Another table of sites is another run.
    let sites = dir.path().join("sites.csv");
    fs::write(&sites, fs::read_to_string(&sites).unwrap() + "one more,10,x\n").unwrap();
    let output = run(&["fleet", text(&fleet), "--out", text(&broken), "--resume"]);
    assert_eq!(code(&output), 1);
    assert!(String::from_utf8_lossy(&output.stderr).contains("table of sites"));
}

#[test]
fn shares_and_threads_give_the_bytes_of_one_run() {
    let dir = tempfile::tempdir().unwrap();
    let fleet = small(dir.path(), 18, "csv = true\nsplit = true");
    let (one, two, shares) = (dir.path().join("one"), dir.path().join("two"), dir.path().join("shares"));
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&one), "--threads", "1", "--quiet"])), 3);
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&two), "--threads", "2", "--quiet"])), 3);
    same(&one, &two);
    for k in ["1/3", "3/3"] {
        run(&["fleet", text(&fleet), "--out", text(&shares), "--part", k, "--quiet"]);
    }
    let output = run(&["gather", text(&shares)]);
    assert_eq!(code(&output), 1);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("part 1 (rows 5 to 8 of the sites) is missing"), "{told}");
    run(&["fleet", text(&fleet), "--out", text(&shares), "--part", "2/3", "--quiet"]);
    assert_eq!(code(&run(&["gather", text(&shares)])), 3);
    same(&one, &shares);
    // Again, and from the folder of one run.
    assert_eq!(code(&run(&["gather", text(&shares), "--quiet"])), 3);
    same(&one, &shares);
    assert_eq!(code(&run(&["gather", text(&two), "--json"])), 3);
    same(&one, &two);
    // A share from another cut.
    run(&["fleet", text(&fleet), "--out", text(&shares), "--part", "1/2", "--quiet"]);
    let output = run(&["gather", text(&shares)]);
    assert_eq!(code(&output), 1);
    assert!(String::from_utf8_lossy(&output.stderr).contains("as well"));
    let output = run(&["fleet", text(&fleet), "--part", "4/3"]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("k from 1 to n"));

    // The lines of a split sum to the gap.
    for table in rows(&one) {
        for i in 0..table.rows() {
            let number = |name: &str| table.numbers(name).unwrap()[i];
            for unit in ["_kwh", "_kwh_per_kw"] {
                let lines: f64 = table
                    .columns()
                    .iter()
                    .map(|(n, _)| n.as_str())
                    .filter(|n| n.starts_with("gap_") && n.ends_with(unit) && *n != format!("gap{unit}"))
                    .map(number)
                    .sum();
                assert!((lines - number(&format!("gap{unit}"))).abs() < 1e-6);
            }
        }
    }
}

#[test]
fn a_full_disk_leaves_no_half_file() {
    let dir = tempfile::tempdir().unwrap();
    let fleet = small(dir.path(), 10, "csv = true");
    let whole = dir.path().join("whole");
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&whole), "--quiet"])), 3);
    // A small disk of its own, where the system lets a user mount one.
    let disk = dir.path().join("disk");
    fs::create_dir(&disk).unwrap();
    let (program, fleet, disk) = (env!("CARGO_BIN_EXE_yearlight"), text(&fleet).to_string(), text(&disk).to_string());
    let line = format!(
        "mount -t tmpfs -o size=48k tmpfs {disk} || exit 77; {program} fleet {fleet} --out {disk}/out --quiet; \
         code=$?; find {disk}/out -name '*.part' | grep . && exit 78; ls {disk}/out/summary.json 2>/dev/null && exit 79; \
         mount -o remount,size=4m {disk} && {program} fleet {fleet} --out {disk}/out --quiet --resume; \
         cp -r {disk}/out {disk}.copy; exit $code"
    );
    let output = Command::new("unshare").args(["-rm", "sh", "-c", &line]).output();
    match output {
        Ok(output) if output.status.code() == Some(1) && !Path::new(&format!("{disk}.copy")).exists() => {
            println!("no disk of one's own here: {}", String::from_utf8_lossy(&output.stderr));
        }
        Ok(output) if output.status.code() == Some(77) => println!("no disk of one's own here"),
        Ok(output) => {
            let told = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{told}");
            assert!(told.contains("cannot be written"), "{told}");
            same(&whole, Path::new(&format!("{disk}.copy")));
        }
        Err(_) => println!("no unshare here"),
    }

    // A limit on the size of files, which every user may set: the run is stopped in the middle of a write.
    #[cfg(unix)]
    {
        let out = dir.path().join("limited");
        let line = format!("ulimit -f 8; {program} fleet {fleet} --out {} --quiet", text(&out));
        let stopped = Command::new("sh").args(["-c", &line]).output().unwrap();
        assert!(!stopped.status.success() && !out.join("summary.json").exists());
        assert_eq!(code(&run(&["fleet", &fleet, "--out", text(&out), "--quiet", "--resume"])), 3);
        same(&whole, &out);
    }
}

#[test]
fn one_bad_weather_file_refuses_its_site_alone() {
    let dir = tempfile::tempdir().unwrap();
    let fleet = small(dir.path(), 1, "");
    let good = format!("{}/weather/merrowby.csv", env!("CARGO_MANIFEST_DIR"));
    let bytes = fs::read(&good).unwrap();
    fs::create_dir(dir.path().join("folder.csv")).unwrap();
    fs::write(dir.path().join("cut.csv"), &bytes[..bytes.len() / 2]).unwrap();
    fs::write(dir.path().join("empty.csv"), "").unwrap();
    fs::write(dir.path().join("broken.csv.gz"), [0x1f, 0x8b, 8, 0, 1, 2, 3]).unwrap();
    let mut names = vec!["folder.csv", "cut.csv", "empty.csv", "broken.csv.gz", "", "../nowhere.epw"];
    let mut words = vec!["is a directory", "the file is empty", "gzip", "no such file", "light_scale is 7"];
    // A file that is there and cannot be read; not even by root.
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("loop.csv", dir.path().join("loop.csv")).unwrap();
        names.push("loop.csv");
        words.push("loop.csv");
        use std::os::unix::fs::PermissionsExt;
        let closed = dir.path().join("closed.csv");
        fs::write(&closed, &bytes).unwrap();
        fs::set_permissions(&closed, fs::Permissions::from_mode(0o000)).unwrap();
        if fs::read(&closed).is_err() {
            names.push("closed.csv");
            words.push("may not be read");
        }
    }
    let lines: String = names.iter().enumerate().map(|(i, n)| format!("s{i},{n},0.9\n")).collect();
    fs::write(dir.path().join("sites.csv"), format!("site,weather,light_scale\n{lines}good,{good},7\n")).unwrap();
    let out = dir.path().join("out");
    let output = run(&["fleet", text(&fleet), "--out", text(&out)]);
    assert_eq!(code(&output), 3);
    let table = rows(&out).iter().map(|t| t.words("site").unwrap().to_vec()).collect::<Vec<_>>().concat();
    assert_eq!(table, ["s4", "s4"]);
    let refused = fs::read_to_string(out.join("refused.csv")).unwrap();
    assert_eq!(refused.lines().count() - 1, names.len(), "{refused}");
    for word in words {
        assert!(refused.contains(word), "{word}: {refused}");
    }
    // What is wrong for all sites is said once, before anything is run.
    for (head, word) in [("site,plane.tild_deg", "tilt_deg"), ("site,wether", "Did you mean weather")] {
        fs::write(dir.path().join("sites.csv"), format!("{head}\na,1\n")).unwrap();
        let output = run(&["fleet", text(&fleet), "--out", text(&out)]);
        assert_eq!(code(&output), 1);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains(word) && told.contains("sites.csv:1"), "{told}");
    }
}

#[test]
fn the_page_of_a_site_has_the_numbers_of_its_row() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("out");
    // Before there are results: a page, and no index.
    let early = run(&["fleet", DEMO, "--out", text(&out), "--page", "Gap farm", "--quiet"]);
    assert_eq!(code(&early), 0, "{}", String::from_utf8_lossy(&early.stderr));
    let page = out.join("pages/00007-gap-farm.html");
    let first = fs::read(&page).unwrap();
    assert!(!out.join("index.html").exists());
    // A run begins anew, and the page of before goes with the rest.
    assert_eq!(code(&run(&["fleet", DEMO, "--out", text(&out), "--quiet"])), 3);
    assert!(!page.exists());
    let index = || fs::read_to_string(out.join("index.html")).unwrap();
    assert!(!index().contains("gap-farm"));
    let before = bytes(&out);

    let output = run(&["fleet", DEMO, "--out", text(&out), "--page", "Gap farm", "--json"]);
    assert_eq!(code(&output), 0, "{}", String::from_utf8_lossy(&output.stderr));
    assert!(fs::read(&page).unwrap() == first);
    assert_eq!(index().matches("00007-gap-farm.html").count(), 1);
    // Nothing but page and index is touched.
    let mut after = bytes(&out);
    after.remove(Path::new("pages/00007-gap-farm.html"));
    after.insert("index.html".into(), before[Path::new("index.html")].clone());
    assert!(before == after);

    let record: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let table = rows(&out).remove(0);
    let first_row = table.words("site").unwrap().iter().position(|s| s == "Gap farm").unwrap();
    let options = record["study"]["options"].as_array().unwrap();
    assert_eq!(options.len(), 3);
    for (k, option) in options.iter().enumerate() {
        let i = first_row + k;
        assert_eq!(option["year"]["tag"], table.words("option").unwrap()[i].as_str());
        let months = option["year"]["months"].as_array().unwrap();
        for (m, month) in months.iter().enumerate() {
            let column = table.numbers(&format!("e_ac_{:02}_kwh", m + 1)).unwrap();
            assert_eq!(month["e_ac_kwh"].as_f64().unwrap(), column[i]);
        }
        let years: f64 = option["years"].as_array().unwrap().iter().map(|y| y["e_ac_kwh"].as_f64().unwrap()).sum();
        assert_eq!(years, table.numbers("lifetime_kwh").unwrap()[i]);
    }
    // On whose word: cells of the row, keys of the template, defaults.
    let inputs = record["inputs"].as_array().unwrap();
    let line = |path: &str| inputs.iter().find(|l| l["path"] == path).unwrap_or_else(|| panic!("{path}"));
    assert_eq!(line("plane.roof.tilt_deg")["value"], 25.0);
    assert_eq!(line("plane.roof.tilt_deg")["source"], "configs/merrowby-fleet/fleet.csv:9");
    assert_eq!(line("cable.one_way_m")["given"], true);
    assert_eq!(line("losses.mismatch_pct")["given"], false);
    let files: Vec<&str> = record["files"].as_array().unwrap().iter().filter_map(|f| f["file"].as_str()).collect();
    for name in ["fleet.toml", "fleet.csv", "template.toml", "merrowby-parts.toml", "quarter-clock.csv.gz"] {
        assert!(files.iter().any(|f| f.ends_with(name)), "{name}: {files:?}");
    }

    for (words, told) in [
        (vec!["--page", "Gap frm"], "Did you mean \"Gap farm\"?"),
        (vec!["--page", "Negative grid"], "grid.export_limit_kw is -30"),
        (vec!["--page", "Mill", "--part", "1/2"], "without --resume and --part"),
    ] {
        let output = run(&[vec!["fleet", DEMO, "--out", text(&out)], words].concat());
        assert_eq!(code(&output), 1);
        assert!(String::from_utf8_lossy(&output.stderr).contains(told), "{told}");
    }
    // Results of another run are not given an index.
    let fleet = small(dir.path(), 4, "");
    let index_before = index();
    let output = run(&["fleet", text(&fleet), "--out", text(&out), "--page", "s1"]);
    assert_eq!(code(&output), 0);
    assert!(String::from_utf8_lossy(&output.stderr).contains("no index of this fleet") && index() == index_before);
}

/// The shipped year as mapped CSV, its light times a factor.
fn plain_sky(factor: f64) -> String {
    let whole = fs::read_to_string("weather/merrowby.csv").unwrap();
    let mut lines = whole.lines().filter(|l| !l.starts_with('#'));
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let column = |name: &str| names.iter().position(|n| *n == name).unwrap();
    let at = ["time", "ghi", "dni", "dhi", "t_amb", "wind"].map(column);
    let mut text = "time,ghi,dni,dhi,t_amb,wind\n".to_string();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let light = |k: usize| cells[at[k]].parse::<f64>().unwrap() * factor;
        text.push_str(&format!("{},{},{},{},", cells[at[0]], light(1), light(2), light(3)));
        text.push_str(&format!("{},{}\n", cells[at[4]], cells[at[5]]));
    }
    text
}

/// The template of a small fleet reads such files, and each site has a place of its own.
fn with_plain_skies(folder: &Path, more: &str, sites: &[(&str, &str)]) -> PathBuf {
    let fleet = small(folder, 1, more);
    let path = folder.join("template.toml");
    let template = fs::read_to_string(&path).unwrap();
    let columns = "label = \"beginning\"\n[weather.columns]\ntime = \"time\"\nghi = \"ghi [W/m2]\"\n\
        dni = \"dni [W/m2]\"\ndhi = \"dhi [W/m2]\"\nt_amb = \"t_amb [C]\"\nwind = \"wind [m/s]\"\n";
    let cut = template.find("[[plane]]").unwrap();
    fs::write(&path, format!("{}{columns}\n{}", &template[..cut], &template[cut..])).unwrap();
    let mut table = "site,weather,latitude_deg,longitude_deg,elevation_m,utc_offset_h\n".to_string();
    for (i, (site, sky)) in sites.iter().enumerate() {
        table.push_str(&format!("{site},{sky},{},-1.1,300,0\n", 52.0 + 0.1 * i as f64));
    }
    fs::write(folder.join("sites.csv"), table).unwrap();
    fleet
}

#[test]
fn a_set_of_many_skies_gives_the_bytes_of_single_files() {
    let dir = tempfile::tempdir().unwrap();
    let skies = [("dim", 0.8), ("fair", 0.9), ("mean", 1.0), ("plain", 0.95), ("weak", 0.7)];
    // The set is sorted by name; the sites ask in another order, one sky twice and one that is not there.
    let sites =
        [("s1", "weak"), ("s2", "dim"), ("s3", "mean"), ("s4", "dim"), ("s5", "none"), ("s6", "fair"), ("s7", "plain")];
    let mut columns: Vec<Vec<f64>> = vec![Vec::new(); 5];
    let (mut names, mut times) = (Vec::new(), Vec::new());
    for (name, factor) in skies {
        let sky = plain_sky(factor);
        fs::write(dir.path().join(name), &sky).unwrap();
        for line in sky.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            names.push(name.to_string());
            times.push(cells[0].to_string());
            columns.iter_mut().zip(&cells[1..]).for_each(|(column, cell)| column.push(cell.parse().unwrap()));
        }
    }
    let mut table = Table::new().text("site", names).text("time", times);
    for (name, column) in ["ghi", "dni", "dhi", "t_amb", "wind"].into_iter().zip(columns) {
        table = table.number(name, column);
    }
    let set = dir.path().join("skies.parquet");
    yearlight::tables::write_parquet(&table, &set).unwrap();

    let fleet = with_plain_skies(dir.path(), "csv = true", &sites);
    let (files, of_set) = (dir.path().join("files"), dir.path().join("of-set"));
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&files), "--quiet"])), 3);
    let spec = fs::read_to_string(&fleet).unwrap();
    fs::write(&fleet, spec.clone() + "weather_set = \"skies.parquet\"\nweather_set_label = \"beginning\"\n").unwrap();
    let output = run(&["fleet", text(&fleet), "--out", text(&of_set), "--quiet"]);
    assert_eq!(code(&output), 3, "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(rows(&files).iter().map(Table::rows).sum::<usize>(), 12);
    for name in ["fleet.csv", "fleet.parquet/part-00000.parquet", "fleet.parquet/part-00001.parquet", "index.html"] {
        let (a, b) = (fs::read(files.join(name)).unwrap(), fs::read(of_set.join(name)).unwrap());
        // The index names why the one site was refused, in words of its own.
        assert!(a == b || name == "index.html", "{name} differs");
    }
    let refused = fs::read_to_string(of_set.join("refused.csv")).unwrap();
    assert!(refused.contains("there is no site \"\"none\"\"") && refused.lines().count() == 2, "{refused}");

    // The set is stamped as a file is: what was made from it is made again when it changes.
    let again = || String::from_utf8(run(&["fleet", text(&fleet), "--out", text(&of_set), "--resume"]).stderr).unwrap();
    assert!(!again().contains("run again"));
    yearlight::tables::write_parquet(&table, &set).unwrap();
    assert!(again().contains("2 parts were run again"));
}

#[test]
fn resumed_on_weather_that_changed_the_run_is_as_if_made_anew() {
    let dir = tempfile::tempdir().unwrap();
    let sites =
        [("s1", "a"), ("s2", "a"), ("s3", "b"), ("s4", "b"), ("s5", "b"), ("s6", "c"), ("s7", "c"), ("s8", "c")];
    let fleet = with_plain_skies(dir.path(), "csv = true", &[&sites[..], &[("s9", "a")]].concat());
    for (name, factor) in [("a", 1.0), ("b", 0.9)] {
        fs::write(dir.path().join(name), plain_sky(factor)).unwrap();
    }
    let (out, anew) = (dir.path().join("out"), dir.path().join("anew"));
    // c is not there yet.
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&out), "--quiet"])), 3);
    let refused = || fs::read_to_string(out.join("refused.csv")).unwrap().lines().count() - 1;
    assert_eq!(refused(), 3);
    let stamp =
        |part: usize| fs::metadata(out.join(format!("fleet.parquet/part-0000{part}.parquet"))).unwrap().modified();
    let kept = [0, 1, 2].map(|part| stamp(part).unwrap());
    fs::write(dir.path().join("c"), plain_sky(0.8)).unwrap();
    let output = run(&["fleet", text(&fleet), "--out", text(&out), "--resume"]);
    assert_eq!((code(&output), refused()), (0, 0));
    assert!(String::from_utf8_lossy(&output.stderr).contains("1 part was run again: weather files behind them"));
    assert_eq!([stamp(0).unwrap(), stamp(2).unwrap()], [kept[0], kept[2]]);
    assert_ne!(stamp(1).unwrap(), kept[1]);
    // Another sky under the same name.
    fs::write(dir.path().join("a"), plain_sky(0.75)).unwrap();
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&out), "--resume", "--quiet"])), 0);
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&anew), "--quiet"])), 0);
    same(&out, &anew);
}

#[test]
fn shares_that_saw_different_skies_are_not_joined() {
    let dir = tempfile::tempdir().unwrap();
    let sites = ["s1", "s2", "s3", "s4", "s5"].map(|s| (s, "a"));
    let fleet = with_plain_skies(dir.path(), "", &sites);
    let out = dir.path().join("out");
    fs::write(dir.path().join("a"), plain_sky(1.0)).unwrap();
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&out), "--part", "1/2", "--quiet"])), 0);
    fs::write(dir.path().join("a"), plain_sky(0.83)).unwrap();
    assert_eq!(code(&run(&["fleet", text(&fleet), "--out", text(&out), "--part", "2/2", "--quiet"])), 0);
    let output = run(&["gather", text(&out)]);
    assert_eq!(code(&output), 1);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("the weather file a had") && told.contains("share-1-of-2"), "{told}");
}
