//! Why one option gives more than another: the gap of a pair, cause by cause.

use rayon::prelude::*;

use crate::weigh::facts::Facts;
use crate::weigh::sentences::{limit_sentence, line_sentence};
use crate::weigh::shapley::{MAX_GROUPS, shapley_parts};
use crate::weigh::study::{Group, Split, SplitLine, SplitPart};

/// One option at the end of its chain, as the split sees it, by month, kWh.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct End {
    /// Energy with the AC and export limits lifted, outage kept.
    pub open: [f64; 12],
    /// What the AC limit takes from that, as it is missing at the meter.
    pub clipped: [f64; 12],
    /// What the export limit takes after that.
    pub export_lost: [f64; 12],
    /// Sum over the years of the share that ageing leaves (25 years without ageing: 25).
    pub sum_left: f64,
}

/// The runs behind the split of a pair: the open energy of every mix of the two options.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixes {
    /// Groups that differ, in the order of the bits; without ageing.
    pub players: Vec<Group>,
    /// Open energy by month, kWh, and installed power, kW, by mask: bit i set means `players[i]` is taken from B.
    pub runs: Vec<([f64; 12], f64)>,
    /// Groups that change together with the planes and are counted there; empty when both stand on the same planes.
    pub joined: Vec<Group>,
}

impl Mixes {
    /// Runs every mix once, on all threads, each with working memory from `scratch`. Nothing when there are more groups
    /// than [`MAX_GROUPS`].
    ///
    /// Neighbours in the order of running differ in groups late in the chain, so that working memory which keeps the
    /// stages of its last runs has little to do.
    pub fn run<S>(
        players: Vec<Group>,
        scratch: impl Fn() -> S + Sync,
        open: impl Fn(&mut S, u32) -> ([f64; 12], f64) + Sync,
    ) -> Option<Mixes> {
        let n = players.len();
        if n > MAX_GROUPS {
            return None;
        }
        let order = late_groups_first(&players);
        let share = ((1 << n) / SHARES).max(16);
        let found: Vec<(u32, ([f64; 12], f64))> = order
            .par_chunks(share)
            .flat_map_iter(|masks| {
                let mut scratch = scratch();
                masks.iter().map(|&mask| (mask, open(&mut scratch, mask))).collect::<Vec<_>>()
            })
            .collect();
        let mut runs = vec![([0.0; 12], 0.0); 1 << n];
        for (mask, run) in found {
            runs[mask as usize] = run;
        }
        Some(Mixes { players, runs, joined: Vec::new() })
    }

    /// Splits the first year (`years` is nothing) or all years of operation, with ageing as a cause of its own.
    ///
    /// `u_kwh` gives the doubt of a line, for its digits. The lines and the two limits sum to the difference of
    /// delivered energy up to rounding.
    pub fn split(
        &self,
        (a, facts_a): (&End, &Facts),
        (b, facts_b): (&End, &Facts),
        years: Option<u32>,
        u_kwh: impl Fn(Group) -> f64,
    ) -> Option<Split> {
        let ages = years.is_some() && a.sum_left != b.sum_left;
        let (f_a, f_b) = if years.is_some() { (a.sum_left, b.sum_left) } else { (1.0, 1.0) };
        let n = self.players.len();
        let value = |mask: u32| -> [f64; 24] {
            let (months, kw) = &self.runs[mask as usize & ((1 << n) - 1)];
            let factor = if mask >> n & 1 == 1 { f_b } else { f_a };
            std::array::from_fn(|k| {
                let kwh = months[k % 12] * factor;
                if k < 12 { kwh } else { per_kw(kwh, *kw) }
            })
        };
        let phi = shapley_parts(n + usize::from(ages), value)?;
        let line = |group: Group| {
            let at = match group {
                Group::Ageing => ages.then_some(n),
                _ => self.players.iter().position(|g| *g == group),
            };
            let part = at.map_or(SplitPart::default(), |i| part_of(&phi[i]));
            if self.joined.contains(&group) {
                let sentence = format!("What differs in {} goes with the planes and is counted there.", group.name());
                return SplitLine { group, equal: false, part, sentence };
            }
            let sentence = line_sentence(group, at.is_none(), facts_a, facts_b, &part, u_kwh(group), years);
            SplitLine { group, equal: at.is_none(), part, sentence }
        };
        let lines = Group::ALL.into_iter().filter(|g| years.is_some() || *g != Group::Ageing).map(line).collect();
        let (kw_a, kw_b) = (self.runs.first()?.1, self.runs.last()?.1);
        let lost = |x: &[f64; 12], y: &[f64; 12]| {
            part_of(&std::array::from_fn(|k| {
                let (x, y) = (x[k % 12] * f_a, y[k % 12] * f_b);
                if k < 12 { x - y } else { per_kw(x, kw_a) - per_kw(y, kw_b) }
            }))
        };
        let delivered =
            |e: &End, f: f64| (0..12).map(|m| (e.open[m] - e.clipped[m] - e.export_lost[m]) * f).sum::<f64>();
        let (e_a, e_b) = (delivered(a, f_a), delivered(b, f_b));
        let (clipping, export) = (lost(&a.clipped, &b.clipped), lost(&a.export_lost, &b.export_lost));
        Some(Split {
            kwh: e_b - e_a,
            kwh_per_kw: per_kw(e_b, kw_b) - per_kw(e_a, kw_a),
            lines,
            clipping_sentence: limit_sentence("AC limit", facts_a, facts_b, &clipping, years),
            export_sentence: limit_sentence("export limit", facts_a, facts_b, &export, years),
            clipping,
            export,
            runs: self.runs.len() as u32,
        })
    }
}

/// Into so many parts the mixes are dealt among threads, the same for any number of them.
const SHARES: usize = 4;

/// Every mask once; counting up, the groups that act last in the chain change first.
fn late_groups_first(players: &[Group]) -> Vec<u32> {
    let stage = |group: Group| match group {
        Group::Inverter | Group::Ageing => 0,
        Group::Nameplate => 1,
        Group::LightInduced => 2,
        Group::Strings => 3,
        Group::LowLight => 4,
        Group::Temperature => 5,
        Group::RearSpectrum => 6,
        Group::Incidence => 7,
        Group::Slots => 8,
        Group::Plane => 9,
    };
    let mut bits: Vec<usize> = (0..players.len()).collect();
    bits.sort_by_key(|&bit| stage(players[bit]));
    let mask = |i: u32| bits.iter().enumerate().fold(0, |mask, (k, bit)| mask | (i >> k & 1) << bit);
    (0..1_u32 << players.len()).map(mask).collect()
}

fn per_kw(kwh: f64, kw: f64) -> f64 {
    if kw > 0.0 { kwh / kw } else { 0.0 }
}

fn part_of(phi: &[f64; 24]) -> SplitPart {
    let months = |from: usize| std::array::from_fn(|m| phi[from + m]);
    let (months_kwh, months_kwh_per_kw): ([f64; 12], [f64; 12]) = (months(0), months(12));
    SplitPart {
        kwh: months_kwh.iter().sum(),
        kwh_per_kw: months_kwh_per_kw.iter().sum(),
        months_kwh,
        months_kwh_per_kw,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PLAYERS: [Group; 4] = [Group::Nameplate, Group::LowLight, Group::Temperature, Group::Inverter];

    /// A chain of four factors by month; the nameplate is the power itself.
    fn energy(x: &[f64; 4]) -> [f64; 12] {
        std::array::from_fn(|m| {
            let sun = 20.0 + 100.0 * (std::f64::consts::PI * m as f64 / 11.0).sin();
            x[0] * sun * x[1] * (1.0 - x[2] * sun / 1000.0) * x[3]
        })
    }

    fn mixes(a: [f64; 4], b: [f64; 4]) -> (Mixes, End, End) {
        let mix =
            move |mask: u32| -> [f64; 4] { std::array::from_fn(|i| if mask >> i & 1 == 1 { b[i] } else { a[i] }) };
        let mixes = Mixes::run(PLAYERS.to_vec(), || (), |(), mask| (energy(&mix(mask)), mix(mask)[0])).unwrap();
        let end = |x: &[f64; 4], clipped: f64, sum_left: f64| End {
            open: energy(x),
            clipped: [clipped; 12],
            export_lost: [0.5 * clipped; 12],
            sum_left,
        };
        (mixes, end(&a, 0.3, 23.4), end(&b, 0.7, 23.8))
    }

    proptest! {
        #[test]
        fn the_lines_close(a in prop::array::uniform4(0.5..1.5_f64), b in prop::array::uniform4(0.5..1.5_f64)) {
            let (m, x, y) = mixes(a, b);
            let facts = Facts::default();
            for years in [None, Some(25)] {
                let s = m.split((&x, &facts), (&y, &facts), years, |_| 1.0).unwrap();
                let scale = 1e4;
                prop_assert!(s.residual_kwh().abs() < 1e-9 * scale);
                prop_assert!(s.residual_kwh_per_kw().abs() < 1e-9 * scale);
                prop_assert_eq!(s.line(Group::Incidence).unwrap().part, SplitPart::default());
            }
        }

        #[test]
        fn swapped_options_flip_every_sign(a in prop::array::uniform4(0.5..1.5_f64), b in prop::array::uniform4(0.5..1.5_f64)) {
            let (there, x, y) = mixes(a, b);
            let (back, ..) = mixes(b, a);
            let facts = Facts::default();
            for years in [None, Some(25)] {
                let s = there.split((&x, &facts), (&y, &facts), years, |_| 1.0).unwrap();
                let t = back.split((&y, &facts), (&x, &facts), years, |_| 1.0).unwrap();
                prop_assert_eq!(s.kwh, -t.kwh);
                for (p, q) in s.lines.iter().zip(&t.lines) {
                    prop_assert_eq!(p.part.kwh, -q.part.kwh);
                    prop_assert_eq!(p.part.kwh_per_kw, -q.part.kwh_per_kw);
                }
                prop_assert_eq!(s.clipping.kwh, -t.clipping.kwh);
            }
        }

        #[test]
        fn the_same_option_twice_has_no_gap_in_any_line(a in prop::array::uniform4(0.5..1.5_f64)) {
            let (m, x, _) = mixes(a, a);
            let facts = Facts::default();
            let s = m.split((&x, &facts), (&x, &facts), Some(25), |_| 1.0).unwrap();
            prop_assert!(s.kwh == 0.0 && s.lines.iter().all(|l| l.part.kwh == 0.0 && l.part.kwh_per_kw == 0.0));
        }
    }

    #[test]
    fn every_mix_is_run_once_and_stands_in_its_place() {
        let players = [Group::Nameplate, Group::Temperature, Group::Incidence, Group::Inverter, Group::Slots];
        let mut order = late_groups_first(&players);
        // The inverter's bit changes from each run to the next, that of the slots once.
        assert!(order.windows(2).all(|w| (w[0] ^ w[1]) & 0b01000 != 0));
        assert_eq!(order.windows(2).filter(|w| (w[0] ^ w[1]) & 0b10000 != 0).count(), 1);
        order.sort_unstable();
        assert!(order.iter().enumerate().all(|(i, mask)| i as u32 == *mask));
        let mixes = Mixes::run(players.to_vec(), || (), |(), mask| ([f64::from(mask); 12], 1.0)).unwrap();
        assert!(mixes.runs.iter().enumerate().all(|(i, run)| run.0[0] == i as f64));
    }

    #[test]
    fn one_group_gets_all() {
        let (m, x, y) = mixes([1.0, 0.9, 0.4, 0.95], [1.0, 0.9, 0.3, 0.95]);
        let (x, y) = (
            End { clipped: [0.0; 12], export_lost: [0.0; 12], ..x },
            End { clipped: [0.0; 12], export_lost: [0.0; 12], ..y },
        );
        let facts = Facts::default();
        let s = m.split((&x, &facts), (&y, &facts), None, |_| 1.0).unwrap();
        assert!((s.line(Group::Temperature).unwrap().part.kwh - s.kwh).abs() < 1e-9);
        assert!(s.lines.iter().filter(|l| l.group != Group::Temperature).all(|l| l.part.kwh == 0.0));
        assert!(s.line(Group::Ageing).is_none());
    }
}
