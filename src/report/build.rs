//! From a weighed job to the records of a proposal. No physics: sums, bins and names only.

use serde_json::Value;

use super::view::*;
use crate::energy::{HourColumns, OptionYear, Plan, Scratch, run};
use crate::job::{self, Job};
use crate::plane::ObstacleSpec;
use crate::plant::{StringBasis, StringCheck};
use crate::roof::{RoofMap, UNSHADED_LOSS};
use crate::units::Note;
use crate::weather::WeatherYear;
use crate::weigh::{self, Group, Study};

/// What a proposal is made from.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// The job.
    pub job: &'a Job,
    /// Its weather.
    pub weather: &'a WeatherYear,
    /// The planned options.
    pub plan: &'a Plan,
    /// Their first years, in the order of the plan.
    pub years: &'a [OptionYear],
    /// Their hourly tables, in the order of the plan; may be empty, and then the maps by hour are left out.
    pub hours: &'a [HourColumns],
    /// Gap, doubt, money, claims; `None` leaves their sections out.
    pub study: Option<&'a Study>,
    /// Every input with its source, as [`Job::ledger`] has them; may be empty, and then their list is left out.
    pub inputs: &'a [job::LedgerLine],
    /// The command that makes the report again.
    pub command: &'a str,
}

/// The hourly tables of all options of a plan.
pub fn hours(plan: &Plan, weather: &WeatherYear) -> Vec<HourColumns> {
    let mut scratch = Scratch::default();
    let mut all = Vec::with_capacity(plan.options.len());
    for option in &plan.options {
        run(&option.setup, &plan.site, &plan.common, &mut scratch);
        all.push(HourColumns::of(plan, &option.setup, weather, &scratch));
    }
    all
}

impl Proposal {
    /// All that the sources can show.
    pub fn of(s: &Source) -> Proposal {
        let spec = &s.job.spec;
        let words = spec.proposal.clone().unwrap_or_default();
        Proposal {
            job: s.job.name.clone(),
            title: spec.title.clone(),
            customer: words.customer,
            preparer: words.preparer,
            date: words.date,
            revision: words.revision,
            language: words.language.unwrap_or_else(|| "en".to_string()),
            site: site(s),
            sky: sky(s),
            options: s.years.iter().enumerate().map(|(i, year)| option(s, i, year)).collect(),
            gaps: s.study.map(|study| gaps(study, s.years)).unwrap_or_default(),
            roofs: s
                .plan
                .options
                .iter()
                .flat_map(|o| o.roof.iter().map(|map| roof(s.job, &o.tag, map, o.setup.nameplate.p_stc_w / 1000.0)))
                .collect(),
            money: s.study.map(money).unwrap_or_default(),
            claims: s.study.map(claims).unwrap_or_default(),
            ledger: s.inputs.iter().map(ledger_line).collect(),
            files: files(s),
            notes: notes(s),
            command: s.command.to_string(),
            version: env!("CARGO_PKG_VERSION").to_string(),
        }
    }
}

fn site(s: &Source) -> SiteView {
    let place = &s.weather.place;
    let offset_h = f64::from(place.utc_offset_min) / 60.0;
    match &s.job.spec.site {
        Some(site) => SiteView {
            name: site.name.clone(),
            latitude_deg: site.latitude_deg,
            longitude_deg: site.longitude_deg,
            elevation_m: site.elevation_m.unwrap_or(place.elevation_m),
            utc_offset_h: site.utc_offset_h.unwrap_or(offset_h),
        },
        None => SiteView {
            name: place.name.clone(),
            latitude_deg: place.latitude_deg,
            longitude_deg: place.longitude_deg,
            elevation_m: place.elevation_m,
            utc_offset_h: offset_h,
        },
    }
}

fn sky(s: &Source) -> SkyView {
    let from = &s.weather.provenance;
    let file = file_name(&from.file);
    let kind = [from.format.as_str(), from.kind.as_str()];
    let kind: Vec<&str> = kind.into_iter().filter(|k| !k.is_empty()).collect();
    let name = match (file.is_empty(), kind.is_empty()) {
        (true, _) => s.weather.place.name.clone(),
        (false, true) => file.to_string(),
        (false, false) => format!("{file} ({})", kind.join(", ")),
    };
    let whole = s.weather.is_whole_year();
    let step_h = s.weather.step_h();
    let mut steps = [0.0; 12];
    let mut sums = [[0.0; 12]; 3];
    let per_day = s.weather.steps_per_day;
    for d in 0..s.weather.days.len() {
        let (m, day) = (s.weather.month_of_day(d), d * per_day..(d + 1) * per_day);
        steps[m] += per_day as f64;
        // Side by side: each sum has to wait for its last addition.
        let [ghi, dhi, t_amb] = [&s.weather.ghi, &s.weather.dhi, &s.weather.t_amb].map(|x| &x[day.clone()]);
        let mut of_month = [0, 1, 2].map(|k| sums[k][m]);
        for ((ghi, dhi), t_amb) in ghi.iter().zip(dhi).zip(t_amb) {
            of_month = [of_month[0] + ghi, of_month[1] + dhi, of_month[2] + t_amb];
        }
        (0..3).for_each(|k| sums[k][m] = of_month[k]);
    }
    let energy = |sum: [f64; 12]| whole.then(|| sum.map(|x| x * step_h / 1000.0));
    let mut mean = sums[2];
    for (x, n) in mean.iter_mut().zip(steps) {
        *x /= f64::max(n, 1.0);
    }
    SkyView {
        name,
        stands_in: s.job.spec.weather.stand_in,
        ghi_kwh_m2: energy(sums[0]),
        dhi_kwh_m2: energy(sums[1]),
        t_amb_c: whole.then_some(mean),
        planes: s
            .plan
            .site
            .planes
            .iter()
            .map(|p| PlaneView {
                name: p.spec.name.clone(),
                tilt_deg: p.spec.tilt_deg,
                azimuth_deg: p.spec.azimuth_deg,
                h_i_kwh_m2: p.h_i,
            })
            .collect(),
    }
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn option(s: &Source, i: usize, year: &OptionYear) -> OptionView {
    let named = |name: Option<&String>, tag: &str| name.cloned().unwrap_or_else(|| tag.to_string());
    let result = s.study.and_then(|study| study.options.iter().find(|o| o.year.tag == year.tag));
    let planned = s.plan.options.get(i);
    let columns = s.hours.get(i).filter(|h| h.month.len() == s.weather.len());
    OptionView {
        module_name: named(s.job.modules.get(&year.module).and_then(|m| m.name.as_ref()), &year.module),
        inverter_name: named(s.job.inverters.get(&year.inverter).and_then(|m| m.name.as_ref()), &year.inverter),
        year: year.clone(),
        u_rel: result.and_then(|r| r.doubt.as_ref()).map(|d| d.first_year.u_pct / 100.0).filter(|u| *u > 0.0),
        years_kwh: result.map(|r| r.years.iter().map(|y| y.e_ac_kwh).collect()).unwrap_or_default(),
        years: result.map(|r| r.years.clone()).unwrap_or_default(),
        light_curve: planned.map(|o| light_curve(o, year)).unwrap_or_default(),
        hours: columns.map(|h| hour_map(h, s.weather.step_h())),
        light_heat: columns.and_then(|h| light_heat(h, s.weather.step_h())),
        strings: planned.map(|o| strings(&o.check, s.job.inverters.get(&year.inverter).and_then(|k| k.window_v))),
    }
}

fn light_curve(o: &crate::energy::PlannedOption, year: &OptionYear) -> Vec<[f64; 2]> {
    let p = o.setup.nameplate.p_stc_w;
    if p <= 0.0 || year.modules == 0 {
        return Vec::new();
    }
    let lights = [100.0, 150.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0, 900.0, 1000.0, 1100.0];
    let stc = o.setup.low_light.power(1000.0, 25.0);
    if stc <= 0.0 {
        return Vec::new();
    }
    lights.iter().map(|&g| [g, o.setup.low_light.power(g, 25.0) / stc / (g / 1000.0)]).collect()
}

fn hour_map(h: &HourColumns, step_h: f64) -> HourMap {
    let mut map = HourMap { mean_kw: [[0.0; 24]; 12], clipped_kwh: [[0.0; 24]; 12] };
    let mut count = [[0.0f64; 24]; 12];
    for i in 0..h.month.len() {
        let (m, hour) = ((h.month[i] - 1).clamp(0, 11) as usize, (h.minute[i] / 60).clamp(0, 23) as usize);
        map.mean_kw[m][hour] += h.p_ac[i] / 1000.0;
        map.clipped_kwh[m][hour] += h.p_clipped[i] * step_h / 1000.0;
        count[m][hour] += 1.0;
    }
    for (row, counts) in map.mean_kw.iter_mut().zip(&count) {
        for (x, n) in row.iter_mut().zip(counts) {
            // The night draw is no output.
            *x = (*x / n.max(1.0)).max(0.0);
        }
    }
    map
}

/// DC energy in bins of 100 W/m2 and 10 K, without empty rows and columns at the ends.
fn light_heat(h: &HourColumns, step_h: f64) -> Option<LightHeat> {
    const LIGHT: usize = 16;
    const HEAT: usize = 18;
    const COLDEST: f64 = -50.0;
    let mut kwh = vec![vec![0.0f64; LIGHT]; HEAT];
    for i in 0..h.p_dc.len() {
        let g = ((h.poa[i] / 100.0).max(0.0) as usize).min(LIGHT - 1);
        let t = (((h.t_cell[i] - COLDEST) / 10.0).max(0.0) as usize).min(HEAT - 1);
        kwh[t][g] += h.p_dc[i].max(0.0) * step_h / 1000.0;
    }
    let total: f64 = kwh.iter().flatten().sum();
    // Less than a ten-thousandth of the energy is no bin worth a row.
    let row = |t: &usize| kwh[*t].iter().sum::<f64>() > 1e-4 * total;
    let column = |g: &usize| kwh.iter().map(|r| r[*g]).sum::<f64>() > 1e-4 * total;
    let (low, high) = ((0..HEAT).find(row)?, (0..HEAT).rfind(row)?);
    let bright = (0..LIGHT).rfind(column)?;
    Some(LightHeat {
        light_edges_w_m2: (0..=bright + 1).map(|k| k as f64 * 100.0).collect(),
        heat_edges_c: (low..=high + 1).map(|k| COLDEST + k as f64 * 10.0).collect(),
        kwh: kwh[low..=high].iter().map(|r| r[..=bright].to_vec()).collect(),
    })
}

fn strings(check: &StringCheck, window_v: Option<[f64; 2]>) -> StringsView {
    use crate::plant::Verdict as V;
    let mut rows: Vec<StringRow> = Vec::new();
    for &n in &check.strings {
        match rows.iter_mut().find(|r| r.modules == n) {
            Some(row) => row.count += 1,
            None => rows.push(StringRow {
                modules: n,
                count: 1,
                v_oc_cold: check.v_oc_cold.map_or(0.0, |v| v * f64::from(n)),
                v_mp_hot: check.v_mp_hot * f64::from(n),
                v_mp_stc: 0.0,
            }),
        }
    }
    if check.v_oc_cold.is_none() {
        rows.clear();
    }
    // V_mp at 25 C from the hot value and its coefficient.
    let factor = 1.0 + check.v_mp_per_k * (check.t_hot_c - 25.0);
    for row in &mut rows {
        row.v_mp_stc = if factor > 0.1 { row.v_mp_hot / factor } else { row.v_mp_hot };
    }
    // Lines that are broken, not checked, or thin (less than 3 % in hand).
    let thin = check.lines.iter().filter(|l| l.margin_pct.is_some_and(|m| (0.0..3.0).contains(&m)));
    let findings = check.broken().chain(check.not_checked()).chain(thin);
    StringsView {
        basis: match check.basis {
            StringBasis::Iec62548 => "IEC 62548".to_string(),
            StringBasis::Nec6907 => "NEC 690.7".to_string(),
        },
        verdict: match check.verdict {
            V::Allowed | V::AllowedThin => Verdict::Allowed,
            V::PartlyChecked => Verdict::NotChecked,
            V::NotAllowed => Verdict::NotAllowed,
        },
        v_limit: check.v_limit,
        window_v,
        cold_c: check.t_cold_c,
        hot_c: Some(check.t_hot_c),
        allowed: check.n_min.zip(check.n_max).map(|(lo, hi)| [lo, hi]),
        rows,
        findings: findings.map(|l| format!("{}: {}", l.what, l.words())).collect(),
    }
}

fn gaps(study: &Study, years: &[OptionYear]) -> Vec<GapView> {
    let base = years.first().map_or(0.0, OptionYear::e_ac_kwh);
    study
        .gaps
        .iter()
        .map(|g| {
            let split = g.first_year.as_ref();
            let mut causes = Vec::new();
            let mut sentences = Vec::new();
            for line in split.iter().flat_map(|s| &s.lines).filter(|l| !l.equal) {
                causes.push(CauseView { name: group_key(line.group).to_string(), kwh: line.part.kwh });
                sentences.push(line.sentence.clone());
            }
            if let Some(s) = split {
                for (name, part, sentence) in
                    [("clipping", &s.clipping, &s.clipping_sentence), ("export", &s.export, &s.export_sentence)]
                {
                    if part.kwh != 0.0 {
                        causes.push(CauseView { name: name.to_string(), kwh: part.kwh });
                        sentences.push(sentence.clone());
                    }
                }
            }
            sentences.retain(|s| !s.is_empty());
            let band = g.doubt.as_ref().map(|d| d.roof);
            GapView {
                tag: g.to.clone(),
                against: g.from.clone(),
                kwh: g.kwh,
                u_kwh: band.map(|b| b.u_pct / 100.0 * base),
                likely: band.map(|b| if g.kwh < 0.0 { 1.0 - b.probability } else { b.probability }),
                causes,
                sentences,
                turns: g.turns.iter().map(|t| t.sentence.clone()).filter(|s| !s.is_empty()).collect(),
            }
        })
        .collect()
}

fn group_key(group: Group) -> &'static str {
    match group {
        Group::Nameplate => "nameplate",
        Group::LowLight => "low-light",
        Group::Temperature => "temperature",
        Group::Incidence => "incidence",
        Group::RearSpectrum => "rear-spectrum",
        Group::LightInduced => "light-induced",
        Group::Strings => "strings",
        Group::Inverter => "inverter",
        Group::Plane => "plane",
        Group::Slots => "slots",
        Group::Ageing => "ageing",
    }
}

fn roof(job: &Job, tag: &str, map: &RoofMap, p_kw: f64) -> RoofView {
    let spec = job.spec.plane.iter().find(|p| p.name == map.plane);
    let heights: Vec<f64> = spec
        .map(|p| {
            let height = |o: &ObstacleSpec| match o {
                ObstacleSpec::Box { size_m, .. } => size_m[2],
                ObstacleSpec::Cylinder { height_m, .. } => *height_m,
            };
            p.obstacles.iter().map(height).collect()
        })
        .unwrap_or_default();
    let known = heights.len() == map.obstacles.len();
    RoofView {
        tag: tag.to_string(),
        plane: map.plane.clone(),
        azimuth_deg: spec.map_or(180.0, |p| p.azimuth_deg),
        outline_m: map.outline.corners().to_vec(),
        slots: map
            .slots
            .iter()
            .map(|s| SlotView {
                at_m: [s.rect.x, s.rect.y],
                size_m: [s.rect.w, s.rect.h],
                used: s.used,
                lost_kwh: s.lost_kwh,
                shaded: s.lost_kwh > UNSHADED_LOSS * (s.yield_kwh_per_kw * p_kw + s.lost_kwh),
            })
            .collect(),
        obstacles: map
            .obstacles
            .iter()
            .enumerate()
            .map(|(i, (name, rect, round))| ObstacleView {
                name: name.clone(),
                round: *round,
                at_m: [rect.x, rect.y],
                size_m: [rect.w, rect.h],
                height_m: known.then(|| heights[i]),
            })
            .collect(),
    }
}

fn money(study: &Study) -> Vec<MoneyView> {
    study
        .options
        .iter()
        .filter_map(|o| {
            let m = o.money.as_ref()?;
            let gap = study.gaps.iter().find(|g| g.to == o.year.tag).and_then(|g| g.money);
            Some(MoneyView {
                tag: o.year.tag.clone(),
                currency: m.currency.clone(),
                price_per_w: Some(m.price_per_w),
                break_even_per_w: gap.map(|g| g.break_even_per_w),
                lcoe_per_kwh: Some(m.lcoe_per_kwh),
                npv_gap: gap.map(|g| g.npv),
            })
        })
        .collect()
}

fn claims(study: &Study) -> Vec<ClaimView> {
    let verdict = |v| match v {
        weigh::Verdict::Holds => ClaimVerdict::Holds,
        weigh::Verdict::WithinDoubt => ClaimVerdict::WithinDoubt,
        weigh::Verdict::DoesNotHold => ClaimVerdict::Fails,
        weigh::Verdict::CannotBeComputed => ClaimVerdict::CannotSay,
    };
    study
        .claims
        .iter()
        .map(|c| ClaimView {
            claim: c.text.clone(),
            finding: c.sentence.clone(),
            number: c.number,
            unit: c.unit.clone(),
            u: c.u,
            verdict: verdict(c.verdict),
        })
        .collect()
}

fn ledger_line(l: &job::LedgerLine) -> LedgerLine {
    LedgerLine {
        key: l.path.clone(),
        value: value_text(&l.value),
        unit: l.unit.clone(),
        source: l.source.clone().unwrap_or_default(),
        given: l.given,
    }
}

/// A value as people write it: whole numbers without a point, lists with spaces.
fn value_text(v: &Value) -> String {
    match v {
        Value::String(s) => s.clone(),
        Value::Number(n) => match n.as_f64() {
            Some(x) if x.fract() == 0.0 && x.abs() < 1e15 => format!("{x:.0}"),
            _ => n.to_string(),
        },
        Value::Array(all) => format!("[{}]", all.iter().map(value_text).collect::<Vec<_>>().join(", ")),
        other => other.to_string(),
    }
}

fn files(s: &Source) -> Vec<FileView> {
    let from = &s.weather.provenance;
    let mut all: Vec<FileView> =
        s.job.files.iter().map(|f| FileView { path: f.file.clone(), sha256: f.sha256.clone(), bytes: None }).collect();
    if !from.sha256.is_empty() && all.iter().all(|f| f.sha256 != from.sha256) {
        all.push(FileView { path: from.file.clone(), sha256: from.sha256.clone(), bytes: None });
    }
    all
}

/// All notes of all layers, each once; what several options share carries all their tags.
fn notes(s: &Source) -> Vec<Note> {
    let mut all: Vec<Note> = Vec::new();
    let mut add = |note: &Note| {
        if !all.iter().any(|n| n.code == note.code && n.text == note.text) {
            all.push(note.clone());
        }
    };
    s.job.notes.iter().chain(&s.weather.provenance.notes).chain(&s.plan.notes).for_each(&mut add);
    let mut shared: Vec<(&Note, Vec<&str>)> = Vec::new();
    for o in &s.plan.options {
        for note in &o.notes {
            match shared.iter_mut().find(|(n, _)| n.code == note.code && n.text == note.text) {
                Some((_, tags)) if tags.contains(&o.tag.as_str()) => {}
                Some((_, tags)) => tags.push(&o.tag),
                None => shared.push((note, vec![&o.tag])),
            }
        }
    }
    for (note, tags) in &shared {
        let named = s.plan.options.len() < 2 || tags.iter().any(|t| note.text.starts_with(&format!("{t}: ")));
        let text = if named { note.text.clone() } else { format!("{}: {}", tags.join(", "), note.text) };
        add(&Note { text, ..(*note).clone() });
    }
    // The study may repeat notes of the layers below it.
    for note in s.study.iter().flat_map(|study| &study.notes) {
        if !shared.iter().any(|(n, _)| n.code == note.code && n.text == note.text) {
            add(note);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn values_read_well() {
        assert_eq!(value_text(&json!(300.0)), "300");
        assert_eq!(value_text(&json!(-0.35)), "-0.35");
        assert_eq!(value_text(&json!([[1.0, 98.5], [25.0, 84.8]])), "[[1, 98.5], [25, 84.8]]");
        assert_eq!(value_text(&json!("IEC 62548")), "IEC 62548");
    }

    #[test]
    fn hours_and_bins_keep_every_kwh() {
        // Two days of hourly steps in January with a made-up course of power.
        let n = 48;
        let wave = |i: usize| (((i % 24) as f64 - 12.0) / 6.0 * std::f64::consts::FRAC_PI_2).cos().max(0.0);
        let columns = HourColumns {
            month: vec![1; n],
            day: (0..n).map(|i| 1 + (i / 24) as i64).collect(),
            minute: (0..n).map(|i| (i % 24) as i64 * 60).collect(),
            ghi: vec![0.0; n],
            t_amb: vec![5.0; n],
            poa: (0..n).map(|i| 800.0 * wave(i)).collect(),
            g_eff: vec![0.0; n],
            t_cell: (0..n).map(|i| 5.0 + 25.0 * wave(i)).collect(),
            p_dc: (0..n).map(|i| 4000.0 * wave(i)).collect(),
            v_dc: vec![0.0; n],
            p_ac: (0..n).map(|i| 3900.0 * wave(i) - 2.0).collect(),
            p_clipped: (0..n).map(|i| 50.0 * wave(i)).collect(),
            ..HourColumns::default()
        };
        let bins = light_heat(&columns, 1.0).unwrap();
        let dc: f64 = columns.p_dc.iter().sum::<f64>() / 1000.0;
        assert!((bins.kwh.iter().flatten().sum::<f64>() / dc - 1.0).abs() < 1e-3);
        assert_eq!(bins.kwh.len() + 1, bins.heat_edges_c.len());
        let map = hour_map(&columns, 1.0);
        let clipped: f64 = columns.p_clipped.iter().sum::<f64>() / 1000.0;
        assert!((map.clipped_kwh.iter().flatten().sum::<f64>() - clipped).abs() < 1e-12);
        assert!((map.mean_kw[0][12] - 3.898).abs() < 1e-12);
        assert_eq!(map.mean_kw[0][0], 0.0, "the night draw is no output");
        assert_eq!(map.mean_kw[6], [0.0; 24]);
    }
}
