//! From a weighed job to what a proposal prints and draws.

use super::view::{
    CauseView, ClaimVerdict, ClaimView, FileView, GapView, HourMap, LedgerLine, LightHeat, MoneyView, ObstacleView,
    OptionView, PlaneView, Proposal, RoofView, SiteView, SkyView, SlotView, StringRow, StringsView, Verdict,
};
use crate::energy::{HourColumns, Plan, PlannedOption};
use crate::job::{Job, Placed};
use crate::plant::{self, StringCheck};
use crate::roof::RoofMap;
use crate::units::Note;
use crate::weather::WeatherYear;
use crate::weigh::{self, Gap, Group, OptionResult, Split, Study};

/// Light on the efficiency curve, W/m2.
const CURVE_LIGHT: [f64; 12] = [50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 500.0, 600.0, 700.0, 800.0, 900.0, 1000.0];

/// Everything that a proposal is made from.
#[derive(Debug, Clone, Copy)]
pub struct Material<'a> {
    /// The job.
    pub job: &'a Job,
    /// The weather year.
    pub weather: &'a WeatherYear,
    /// Where it was put.
    pub placed: &'a Placed,
    /// The setups.
    pub plan: &'a Plan,
    /// The result.
    pub study: &'a Study,
    /// The hours of each option.
    pub hours: &'a [HourColumns],
    /// The command line that makes it again.
    pub command: &'a str,
}

impl Proposal {
    /// Turns a weighed job into plain records.
    pub fn of(m: &Material<'_>) -> Proposal {
        let spec = &m.job.spec;
        let cover = spec.proposal.clone().unwrap_or_default();
        let mut notes: Vec<Note> = Vec::new();
        let all = m
            .weather
            .provenance
            .notes
            .iter()
            .chain(&m.placed.notes)
            .chain(&m.plan.notes)
            .chain(m.plan.options.iter().flat_map(|o| &o.notes))
            .chain(&m.study.notes);
        for note in all {
            if !notes.contains(note) {
                notes.push(note.clone());
            }
        }
        let mut files: Vec<FileView> =
            m.job.files.iter().map(|f| FileView { path: f.file.clone(), sha256: f.sha256.clone(), bytes: 0 }).collect();
        files.push(FileView {
            path: m.weather.provenance.file.clone(),
            sha256: m.weather.provenance.sha256.clone(),
            bytes: 0,
        });
        Proposal {
            job: m.job.name.clone(),
            title: spec.title.clone(),
            customer: cover.customer,
            preparer: cover.preparer,
            date: cover.date,
            revision: cover.revision,
            language: cover.language.unwrap_or_else(|| "en".to_string()),
            site: site(m),
            sky: sky(m),
            options: (0..m.study.options.len()).map(|k| option(m, k)).collect(),
            gaps: m.study.gaps.iter().map(gap).collect(),
            roofs: m.plan.options.iter().flat_map(|o| o.roof.iter().map(move |r| roof(m, o, r))).collect(),
            money: money(m.study),
            claims: m.study.claims.iter().map(claim).collect(),
            ledger: m.job.ledger().into_iter().map(ledger).collect(),
            files,
            notes,
            command: m.command.to_string(),
            version: env!("CARGO_PKG_VERSION").to_string(),
        }
    }
}

fn site(m: &Material<'_>) -> SiteView {
    let given = m.job.spec.site.as_ref();
    let place = &m.weather.place;
    SiteView {
        name: m.placed.place.name.clone(),
        latitude_deg: given.map_or(place.latitude_deg, |s| s.latitude_deg),
        longitude_deg: given.map_or(place.longitude_deg, |s| s.longitude_deg),
        elevation_m: given.and_then(|s| s.elevation_m).unwrap_or(place.elevation_m),
        utc_offset_h: given.and_then(|s| s.utc_offset_h).unwrap_or(f64::from(place.utc_offset_min) / 60.0),
    }
}

fn sky(m: &Material<'_>) -> SkyView {
    let w = m.weather;
    let mut count = [0.0; 12];
    let mut sums = [[0.0; 12]; 3];
    for i in 0..w.len() {
        let month = w.month_of(i);
        count[month] += 1.0;
        sums[0][month] += w.ghi[i];
        sums[1][month] += w.dhi[i];
        sums[2][month] += w.t_amb[i];
    }
    let kwh = |x: [f64; 12]| x.map(|sum| sum * w.step_h() / 1000.0);
    SkyView {
        name: w.place.name.clone(),
        stands_in: m.placed.stands_in,
        ghi_kwh_m2: Some(kwh(sums[0])),
        dhi_kwh_m2: Some(kwh(sums[1])),
        t_amb_c: Some(std::array::from_fn(|k| sums[2][k] / f64::max(count[k], 1.0))),
        planes: m
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

fn option(m: &Material<'_>, k: usize) -> OptionView {
    let result: &OptionResult = &m.study.options[k];
    let planned = &m.plan.options[k];
    let name = |given: &Option<String>, tag: &str| given.clone().unwrap_or_else(|| tag.to_string());
    let mut low = vec![0.0; CURVE_LIGHT.len()];
    planned.setup.low_light.low_light(&CURVE_LIGHT, &mut low);
    let hours = m.hours.get(k);
    OptionView {
        module_name: name(&m.job.modules[&planned.module].name, &planned.module),
        inverter_name: name(&m.job.inverters[&planned.inverter].name, &planned.inverter),
        u_rel: result.doubt.as_ref().map(|d| d.first_year.u_pct / 100.0),
        years_kwh: result.years.iter().map(|y| y.e_ac_kwh).collect(),
        light_curve: CURVE_LIGHT.iter().zip(low).map(|(&g, a)| [g, a]).collect(),
        hours: hours.map(|h| hour_map(h, m.weather)),
        light_heat: hours.map(|h| light_heat(h, m.weather.step_h())),
        strings: Some(strings(&planned.check, planned, m.job)),
        year: result.year.clone(),
    }
}

fn hour_map(h: &HourColumns, w: &WeatherYear) -> HourMap {
    let mut map = HourMap { mean_kw: [[0.0; 24]; 12], clipped_kwh: [[0.0; 24]; 12] };
    let mut count = [[0.0_f64; 24]; 12];
    for i in 0..h.p_ac.len() {
        let (month, hour) = (h.month[i] as usize - 1, (h.minute[i] / 60) as usize % 24);
        count[month][hour] += 1.0;
        map.mean_kw[month][hour] += h.p_ac[i] / 1000.0;
        map.clipped_kwh[month][hour] += h.p_clipped[i] * w.step_h() / 1000.0;
    }
    for (row, n) in map.mean_kw.iter_mut().flatten().zip(count.iter().flatten()) {
        *row /= n.max(1.0);
    }
    map
}

/// DC energy by light (100 W/m2) and cell temperature (10 K); the outer bins are open.
fn light_heat(h: &HourColumns, step_h: f64) -> LightHeat {
    let light_edges_w_m2: Vec<f64> = (0..=12).map(|i| f64::from(i) * 100.0).collect();
    let heat_edges_c: Vec<f64> = (-2..=8).map(|i| f64::from(i) * 10.0).collect();
    let (columns, rows) = (light_edges_w_m2.len() - 1, heat_edges_c.len() - 1);
    let mut kwh = vec![vec![0.0; columns]; rows];
    for i in 0..h.p_dc.len() {
        if h.p_dc[i] > 0.0 {
            let column = ((h.poa[i] / 100.0).max(0.0) as usize).min(columns - 1);
            let row = (((h.t_cell[i] - heat_edges_c[0]) / 10.0).max(0.0) as usize).min(rows - 1);
            kwh[row][column] += h.p_dc[i] * step_h / 1000.0;
        }
    }
    LightHeat { light_edges_w_m2, heat_edges_c, kwh }
}

fn strings(check: &StringCheck, planned: &PlannedOption, job: &Job) -> StringsView {
    let mut rows: Vec<StringRow> = Vec::new();
    let v_mp = job.modules[&planned.module].v_mp;
    for &n in &check.strings {
        match rows.iter_mut().find(|r| r.modules == n) {
            Some(row) => row.count += 1,
            None => rows.push(StringRow {
                modules: n,
                count: 1,
                v_oc_cold: f64::from(n) * check.v_oc_cold.unwrap_or(0.0),
                v_mp_hot: f64::from(n) * check.v_mp_hot,
                v_mp_stc: f64::from(n) * v_mp,
            }),
        }
    }
    let basis = serde_json::to_value(check.basis).ok().and_then(|v| v.as_str().map(str::to_string));
    let mut findings: Vec<String> = check
        .lines
        .iter()
        .filter(|l| l.standing != plant::Standing::Passed)
        .map(|l| format!("{}: {}", l.what, l.words()))
        .collect();
    findings.extend(check.notes.iter().map(|n| n.text.clone()));
    StringsView {
        basis: basis.unwrap_or_default(),
        verdict: match check.verdict {
            plant::Verdict::Allowed | plant::Verdict::AllowedThin => Verdict::Allowed,
            plant::Verdict::NotAllowed => Verdict::NotAllowed,
            plant::Verdict::PartlyChecked => Verdict::NotChecked,
        },
        v_limit: check.v_limit,
        window_v: job.inverters[&planned.inverter].window_v,
        cold_c: check.t_cold_c,
        hot_c: Some(check.t_hot_c),
        allowed: check.n_min.zip(check.n_max).map(|(a, b)| [a, b]),
        rows,
        findings,
    }
}

/// Key of a group's name in the language files.
fn cause_key(group: Group) -> &'static str {
    match group {
        Group::Nameplate => "nameplate",
        Group::LowLight => "low-light",
        Group::Temperature => "temperature",
        Group::Incidence => "incidence",
        Group::RearSpectrum => "rear-and-spectrum",
        Group::LightInduced => "light-induced",
        Group::Strings => "strings-and-wire",
        Group::Inverter => "inverter",
        Group::Plane => "plane",
        Group::Slots => "slots",
        Group::Ageing => "ageing",
    }
}

fn gap(g: &Gap) -> GapView {
    let causes = g.first_year.as_ref().map(causes).unwrap_or_default();
    GapView {
        tag: g.to.clone(),
        against: g.from.clone(),
        kwh: g.kwh,
        // The band is in percent of the first option's energy.
        u_kwh: g
            .doubt
            .as_ref()
            .filter(|_| g.pct != 0.0)
            .map(|d| (d.roof.u_pct / 100.0 * g.kwh / (g.pct / 100.0)).abs()),
        likely: g.doubt.as_ref().map(|d| if g.kwh < 0.0 { 1.0 - d.roof.probability } else { d.roof.probability }),
        causes,
    }
}

fn causes(split: &Split) -> Vec<CauseView> {
    let mut causes: Vec<CauseView> = split
        .lines
        .iter()
        .filter(|l| !l.equal)
        .map(|l| CauseView { name: cause_key(l.group).to_string(), kwh: l.part.kwh })
        .collect();
    for (name, part) in [("clipping", &split.clipping), ("export", &split.export)] {
        if part.kwh != 0.0 {
            causes.push(CauseView { name: name.to_string(), kwh: part.kwh });
        }
    }
    causes
}

fn roof(m: &Material<'_>, option: &PlannedOption, map: &RoofMap) -> RoofView {
    let plane = m.plan.site.planes.iter().find(|p| p.spec.name == map.plane);
    RoofView {
        tag: option.tag.clone(),
        plane: map.plane.clone(),
        azimuth_deg: plane.map_or(180.0, |p| p.spec.azimuth_deg),
        outline_m: map.outline.corners().to_vec(),
        slots: map
            .slots
            .iter()
            .map(|s| SlotView {
                at_m: [s.rect.x, s.rect.y],
                size_m: [s.rect.w, s.rect.h],
                used: s.used,
                lost_kwh: s.lost_kwh,
            })
            .collect(),
        obstacles: map
            .obstacles
            .iter()
            .map(|(name, rect, round)| ObstacleView {
                name: name.clone(),
                round: *round,
                at_m: [rect.x, rect.y],
                size_m: [rect.w, rect.h],
                height_m: None,
            })
            .collect(),
    }
}

fn money(study: &Study) -> Vec<MoneyView> {
    study
        .options
        .iter()
        .filter_map(|o| {
            let own = o.money.as_ref()?;
            let gap = study.gaps.iter().find(|g| g.to == o.year.tag).and_then(|g| g.money.as_ref());
            Some(MoneyView {
                tag: o.year.tag.clone(),
                currency: own.currency.clone(),
                price_per_w: Some(own.price_per_w),
                break_even_per_w: gap.map(|g| g.break_even_per_w),
                lcoe_per_kwh: Some(own.lcoe_per_kwh),
                npv_gap: gap.map(|g| g.npv),
            })
        })
        .collect()
}

fn claim(c: &weigh::Claim) -> ClaimView {
    let in_kwh = c.unit == "kWh";
    ClaimView {
        claim: c.text.clone(),
        finding: c.sentence.clone(),
        kwh: c.number.filter(|_| in_kwh),
        u_kwh: c.u.filter(|_| in_kwh),
        verdict: match c.verdict {
            weigh::Verdict::Holds => ClaimVerdict::Holds,
            weigh::Verdict::WithinDoubt => ClaimVerdict::WithinDoubt,
            weigh::Verdict::DoesNotHold => ClaimVerdict::Fails,
            weigh::Verdict::CannotBeComputed => ClaimVerdict::CannotSay,
        },
    }
}

fn ledger(line: crate::job::LedgerLine) -> LedgerLine {
    LedgerLine {
        key: line.path,
        value: match line.value {
            serde_json::Value::String(text) => text,
            other => other.to_string(),
        },
        unit: line.unit,
        source: line.source.unwrap_or_default(),
        given: line.given,
    }
}
