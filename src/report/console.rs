//! The answer on a console: at most 80 columns, colour by ANSI codes that the printing stream strips when piped.

use std::fmt::Write as _;

use anstyle::{AnsiColor, Style};

use super::number::{NumberStyle, decimals_for};
use super::view::{OptionView, Proposal, Verdict};
use super::words::{Words, columns, cut};
use crate::energy::Effect;

/// Widest line.
pub const WIDTH: usize = 80;

const HEAD: Style = Style::new().bold();
const FAINT: Style = Style::new().dimmed();
const TAG: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Cyan)));
const LOUD: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow)));

/// A table of one label column and a column for each option.
struct Sheet<'a> {
    out: &'a mut String,
    label: usize,
    cell: usize,
}

impl Sheet<'_> {
    fn row(&mut self, style: Style, label: &str, cells: &[String]) {
        let label = cut(label, self.label - 1);
        let mut line = String::with_capacity(2 * WIDTH);
        line.push_str(&label);
        let mut room = self.label - columns(&label);
        for cell in cells {
            let cell = cut(cell, self.cell - 1);
            room += self.cell - columns(&cell);
            line.extend(std::iter::repeat_n(' ', room));
            line.push_str(&cell);
            room = 0;
        }
        let line = line.trim_end();
        let _ = writeln!(self.out, "{style}{line}{style:#}");
    }

    fn rule(&mut self, count: usize) {
        let line = "\u{2500}".repeat(self.label + self.cell * count);
        let _ = writeln!(self.out, "{FAINT}{line}{FAINT:#}");
    }
}

/// Words broken at spaces into lines of at most `width` columns.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    // Columns of the last line.
    let mut used = 0;
    for word in text.split_whitespace() {
        let mut word = cut(word, usize::MAX);
        let mut wide = columns(&word);
        let last = lines.len() - 1;
        let free = width.saturating_sub(used + usize::from(!lines[last].is_empty()));
        if wide > free && !lines[last].is_empty() {
            lines.push(String::new());
            used = 0;
        }
        while wide > width {
            let mut head = String::new();
            while let Some(c) = word.chars().next() {
                if columns(&head) + columns(c.encode_utf8(&mut [0; 4])) > width {
                    break;
                }
                head.push(c);
                word.remove(0);
            }
            if head.is_empty() {
                break;
            }
            let last = lines.len() - 1;
            lines[last] = head;
            lines.push(String::new());
            wide = columns(&word);
        }
        let last = lines.len() - 1;
        if !lines[last].is_empty() {
            lines[last].push(' ');
            used += 1;
        }
        lines[last].push_str(&word);
        used += wide;
    }
    lines
}

/// A paragraph of at most [`WIDTH`] columns: `lead`, then the text, further lines under its first letter.
///
/// ```
/// let mut out = String::new();
/// yearlight::report::console::paragraph(&mut out, "note: ", &"word ".repeat(20));
/// assert_eq!(out.lines().nth(1).unwrap(), "      word word word word word");
/// ```
pub fn paragraph(out: &mut String, lead: &str, text: &str) {
    let indent = " ".repeat(columns(lead));
    for (i, line) in wrap(text, WIDTH.saturating_sub(columns(lead)).max(8)).iter().enumerate() {
        out.push_str(if i == 0 { lead } else { &indent });
        out.push_str(line.trim_end());
        out.push('\n');
    }
}

/// Options side by side, twelve months, the account, loud notes and the cautions in brief.
///
/// Up to four options stand side by side; more are stacked in blocks. No line is longer than [`WIDTH`] columns. Colour
/// is in ANSI codes: print it through `anstream`, or strip it with [`plain`].
pub fn answer(p: &Proposal, words: &Words) -> String {
    let mut out = String::with_capacity(8192);
    let _ = writeln!(out, "{HEAD}{}{HEAD:#}", cut(&p.title, WIDTH));
    let _ = writeln!(out, "{FAINT}{}{FAINT:#}", cut(&place(p, words), WIDTH));
    let _ = writeln!(out, "{FAINT}{}{FAINT:#}", cut(&format!("{}: {}", words.t("console.sky"), p.sky.name), WIDTH));
    if p.sky.stands_in {
        let _ = writeln!(out, "{LOUD}{}{LOUD:#}", cut(words.t("console.stands-in"), WIDTH));
    }
    out.push('\n');
    for o in &p.options {
        let tag = cut(&o.year.tag, 12);
        let parts = format!("{}, {} x {}", o.module_name, o.year.inverters.max(1), o.inverter_name);
        let _ = writeln!(out, "{TAG}{tag}{TAG:#}  {}", cut(&parts, WIDTH - 2 - columns(&tag)));
    }
    let block = if p.options.len() > 4 { 3 } else { 4 };
    for (n, options) in p.options.chunks(block).enumerate() {
        out.push('\n');
        summary(&mut out, p, words, options, n * block);
    }
    for options in p.options.chunks(block) {
        out.push('\n');
        months(&mut out, words, options);
    }
    for options in p.options.chunks(block) {
        out.push('\n');
        account(&mut out, words, options);
    }
    out.push('\n');
    for note in p.notes.iter().filter(|n| n.loud) {
        let head = words.t("console.note");
        let text = words.phrases().say(&note.text);
        for (i, line) in wrap(&text, WIDTH - columns(head) - 2).iter().enumerate() {
            let lead = if i == 0 { format!("{head}: ") } else { " ".repeat(columns(head) + 2) };
            let _ = writeln!(out, "{LOUD}{lead}{LOUD:#}{line}");
        }
    }
    for line in wrap(words.t("console.caution"), WIDTH) {
        let _ = writeln!(out, "{FAINT}{line}{FAINT:#}");
    }
    out
}

/// A text without its ANSI codes.
pub fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

/// The place in a few words.
pub fn place(p: &Proposal, words: &Words) -> String {
    let s = words.console_style();
    let (lat, lon) = (p.site.latitude_deg, p.site.longitude_deg);
    let compass = words.fill(
        "page.compass",
        &[
            ("latitude", &s.number(lat.abs(), 2)),
            ("ns", words.t(if lat < 0.0 { "page.south" } else { "page.north" })),
            ("longitude", &s.number(lon.abs(), 2)),
            ("ew", words.t(if lon < 0.0 { "page.west" } else { "page.east" })),
            ("elevation", &s.number(p.site.elevation_m, 0)),
        ],
    );
    let compass = compass.replace('\u{a0}', " ");
    if p.site.name.is_empty() { compass } else { format!("{}, {compass}", p.site.name) }
}

fn sheet<'a>(out: &'a mut String, options: &[OptionView]) -> Sheet<'a> {
    let cell = if options.len() > 3 { 13 } else { 16 };
    Sheet { out, label: 28, cell }
}

fn tags(options: &[OptionView]) -> Vec<String> {
    options.iter().map(|o| o.year.tag.clone()).collect()
}

/// kWh, or MWh from ten million kWh up.
fn big(options: &[OptionView]) -> bool {
    options.iter().any(|o| o.year.account.nominal_kwh.iter().sum::<f64>().max(o.year.e_ac_kwh()) >= 1e7)
}

fn energy(s: &NumberStyle, kwh: f64, u: Option<f64>, mega: bool) -> String {
    if mega { s.rounded(kwh / 1000.0, u.map(|u| u / 1000.0)) } else { s.rounded(kwh, u) }
}

fn signed_energy(s: &NumberStyle, kwh: f64, u: Option<f64>, mega: bool) -> String {
    let (kwh, u) = if mega { (kwh / 1000.0, u.map(|u| u / 1000.0)) } else { (kwh, u) };
    s.signed(kwh, u.map_or(0, decimals_for))
}

fn summary(out: &mut String, p: &Proposal, words: &Words, options: &[OptionView], offset: usize) {
    let s = words.console_style();
    let mega = big(options);
    let unit = words.t(if mega { "chart.mwh" } else { "chart.kwh" });
    let u = |o: &OptionView, x: f64| o.u_of(x);
    let mut t = sheet(out, options);
    let row = |t: &mut Sheet, label: String, f: &dyn Fn(&OptionView) -> String| {
        t.row(Style::new(), &label, &options.iter().map(f).collect::<Vec<_>>());
    };
    t.row(HEAD, words.t("col.option"), &tags(options));
    t.rule(options.len());
    row(&mut t, words.t("col.modules").into(), &|o| s.number(f64::from(o.year.modules), 0));
    row(&mut t, format!("{}, kW", words.t("col.power")), &|o| s.number(o.year.p_stc_kw, 2));
    let lead: Vec<String> =
        options.iter().map(|o| energy(s, o.year.e_ac_kwh(), u(o, o.year.e_ac_kwh()), mega)).collect();
    t.row(HEAD, &format!("{}, {unit}", words.t("col.energy")), &lead);
    if options.iter().any(|o| o.u_rel.is_some()) {
        row(&mut t, format!("  \u{b1} {}", words.t("col.doubt")), &|o| {
            u(o, o.year.e_ac_kwh()).map_or(s.none.clone(), |u| energy(s, u, Some(u), mega))
        });
    }
    row(&mut t, format!("{}, kWh/kW", words.t("col.yield")), &|o| s.rounded(o.year.y_f_h(), u(o, o.year.y_f_h())));
    row(&mut t, format!("{}, %", words.t("col.pr")), &|o| s.number(o.year.pr() * 100.0, 1));
    row(&mut t, format!("{}, {unit}", words.t("col.clipped")), &|o| energy(s, o.year.clipped_kwh(), None, mega));
    let Some(first) = p.options.first() else { return };
    if p.options.len() > 1 {
        let a = cut(&first.year.tag, 8);
        let gap = |i: usize| p.gap_of(offset + i);
        let kwh: Vec<String> = (0..options.len())
            .map(|i| gap(i).map_or(s.none.clone(), |g| signed_energy(s, g.kwh, g.u_kwh, mega)))
            .collect();
        t.row(HEAD, &format!("{}, {unit}", words.fill("console.gap", &[("a", &a)])), &kwh);
        let percent: Vec<String> = (0..options.len())
            .map(|i| match gap(i) {
                Some(g) if first.year.e_ac_kwh() > 0.0 => {
                    let k = 100.0 / first.year.e_ac_kwh();
                    match g.u_kwh {
                        Some(u) if u > 0.0 => {
                            let d = decimals_for(u * k).min(3);
                            format!("{} \u{b1} {}", s.signed(g.kwh * k, d), s.number(u * k, d))
                        }
                        _ => s.signed(g.kwh * k, 2),
                    }
                }
                _ => s.none.clone(),
            })
            .collect();
        t.row(Style::new(), &words.fill("console.gap-percent", &[("a", &a)]), &percent);
    }
    if options.iter().any(|o| o.strings.is_some()) {
        row(&mut t, words.t("col.string").into(), &|o| match o.strings.as_ref().map(|s| s.verdict) {
            Some(Verdict::Allowed) => words.t("text.allowed").into(),
            Some(Verdict::NotAllowed) => words.t("text.not-allowed").to_uppercase(),
            _ => words.t("text.not-checked").into(),
        });
    }
}

fn months(out: &mut String, words: &Words, options: &[OptionView]) {
    let s = words.console_style();
    let mega = big(options);
    let mut t = sheet(out, options);
    t.row(HEAD, words.t(if mega { "console.months-mwh" } else { "console.months" }), &tags(options));
    t.rule(options.len());
    // One place for the whole column: that of its largest month.
    let largest = |o: &OptionView| o.u_of(o.year.months.iter().map(|m| m.e_ac_kwh).fold(0.0, f64::max));
    for m in 0..12 {
        let cells: Vec<String> =
            options.iter().map(|o| energy(s, o.year.months[m].e_ac_kwh, largest(o), mega)).collect();
        t.row(Style::new(), words.month(m), &cells);
    }
    t.rule(options.len());
    let cells: Vec<String> =
        options.iter().map(|o| energy(s, o.year.e_ac_kwh(), o.u_of(o.year.e_ac_kwh()), mega)).collect();
    t.row(HEAD, words.t("console.year"), &cells);
}

fn account(out: &mut String, words: &Words, options: &[OptionView]) {
    let s = words.console_style();
    let mega = big(options);
    let shares = options.len() <= 3 && !mega;
    let mut t = sheet(out, options);
    let head = if shares {
        "console.account"
    } else if mega {
        "console.account-mwh"
    } else {
        "console.account-kwh"
    };
    let head = words.t(head);
    if columns(head) >= t.label {
        let _ = writeln!(t.out, "{HEAD}{}{HEAD:#}", cut(head, WIDTH));
        t.row(HEAD, "", &tags(options));
    } else {
        t.row(HEAD, head, &tags(options));
    }
    t.rule(options.len());
    let nominal: Vec<f64> = options.iter().map(|o| o.year.account.nominal_kwh.iter().sum()).collect();
    let cell = |i: usize, kwh: f64, signed: bool| {
        let text = if signed { signed_energy(s, kwh, None, mega) } else { energy(s, kwh, None, mega) };
        if !shares {
            return text;
        }
        let percent = if nominal[i] > 0.0 { 100.0 * kwh / nominal[i] } else { 0.0 };
        let percent = if signed { s.signed(percent, 1) } else { s.number(percent, 1) };
        format!("{text} {percent:>6}")
    };
    let missing = if shares { format!("{} {:>6}", s.none, s.none) } else { s.none.clone() };
    t.row(
        Style::new(),
        words.t("col.nominal"),
        &(0..options.len()).map(|i| cell(i, nominal[i], false)).collect::<Vec<_>>(),
    );
    for effect in Effect::ALL {
        let of = |o: &OptionView| o.year.account.lines.iter().find(|l| l.effect == effect).map(|l| l.kwh());
        if options.iter().all(|o| of(o).is_none()) {
            continue;
        }
        let cells: Vec<String> =
            options.iter().enumerate().map(|(i, o)| of(o).map_or(missing.clone(), |kwh| cell(i, kwh, true))).collect();
        t.row(Style::new(), &format!("  {}", words.effect(effect)), &cells);
    }
    t.rule(options.len());
    let cells: Vec<String> =
        options.iter().enumerate().map(|(i, o)| cell(i, o.year.account.delivered_kwh.iter().sum(), false)).collect();
    t.row(HEAD, words.t("col.delivered"), &cells);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use proptest::prelude::*;

    #[test]
    fn reads_well_in_english_and_german() {
        let p = sample::merrowby();
        insta::assert_snapshot!("console_en", plain(&answer(&p, Words::english())));
        insta::assert_snapshot!("console_de", plain(&answer(&p, Words::of("de").unwrap())));
    }

    #[test]
    fn no_line_is_longer_than_80_columns() {
        for tag in super::super::words::LANGUAGES {
            let words = Words::of(tag).unwrap();
            for count in 0..10 {
                for scale in [1e-3, 1.0, 37.0, 1e4, 1e7] {
                    let mut p = sample::with_options(count, scale);
                    p.title = "A title that goes on and on, ".repeat(8);
                    p.notes.push(crate::units::Note::loud("x.y", "w".repeat(300)));
                    for line in plain(&answer(&p, words)).lines() {
                        assert!(columns(line) <= WIDTH, "{count} options, {tag}: {} columns: {line}", columns(line));
                    }
                }
            }
        }
    }

    #[test]
    fn colour_is_stripped_and_control_codes_of_users_do_not_pass() {
        let mut p = sample::merrowby();
        p.title = "\u{1b}[2Jgone".into();
        let text = answer(&p, Words::english());
        assert!(text.contains("\u{1b}[1m"), "headings are bold");
        assert!(!text.contains("\u{1b}[2J"));
        assert!(!plain(&text).contains('\u{1b}'));
    }

    proptest! {
        #[test]
        fn wrapped_lines_fit_and_keep_every_letter(text in "\\PC{0,200}", width in 8..90usize) {
            let lines = wrap(&text, width);
            let kept: String = lines.concat().split_whitespace().collect();
            let given: String = text.split_whitespace().collect();
            prop_assert_eq!(kept, given);
            for line in lines {
                prop_assert!(columns(&line) <= width);
            }
        }
    }
}
