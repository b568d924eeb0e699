//! The index page of many sites: one table that sorts and filters.

use minijinja::context;
use serde::{Deserialize, Serialize};

use super::html::{ReportError, STYLE, page_words, pages};
use super::words::Words;

/// One site of the index.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct SiteRow {
    /// Its name.
    pub site: String,
    /// Relative path of its page, when there is one.
    pub link: Option<String>,
    /// Tag of the option with the most energy.
    pub best: String,
    /// Energy of that option in year one, kWh.
    pub kwh: Option<f64>,
    /// Its final yield, kWh/kW.
    pub y_f_h: Option<f64>,
    /// More than the first option, kWh.
    pub gap_kwh: Option<f64>,
    /// Why the site was refused.
    pub refused: Option<String>,
}

#[derive(Serialize)]
struct Cell {
    text: String,
    number: Option<f64>,
    link: Option<String>,
}

/// The index page.
///
/// A link that is not a plain relative path is left out.
///
/// # Errors
/// An unknown language; a fault in a template.
pub fn fleet_page(title: &str, rows: &[SiteRow], language: &str, version: &str) -> Result<String, ReportError> {
    let w = Words::of(language).ok_or_else(|| ReportError::Language { found: language.to_string() })?;
    let n = w.style();
    let names = [
        w.t("fleet.site").to_string(),
        w.t("fleet.best").to_string(),
        format!("{}, kWh", w.t("col.energy")),
        format!("{}, kWh/kW", w.t("col.yield")),
        format!("{}, kWh", w.fill("col.gap", &[("a", "A")])),
        w.t("fleet.state").to_string(),
    ];
    let head: Vec<_> =
        names.iter().map(|name| context! { name => name, sort => w.fill("fleet.sort", &[("column", name)]) }).collect();
    let plain = |link: &String| {
        let safe = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
        !link.starts_with('/') && link.chars().all(safe)
    };
    let number = |x: Option<f64>, signed: bool| {
        let x = x.filter(|x| x.is_finite());
        let text = x.map_or(n.none.clone(), |x| if signed { n.signed(x, 0) } else { n.number(x, 0) });
        Cell { text, number: x, link: None }
    };
    let word = |text: String| Cell { text, number: None, link: None };
    let cells: Vec<[Cell; 6]> = rows
        .iter()
        .map(|r| {
            let state = match &r.refused {
                Some(reason) => w.fill("fleet.refused", &[("reason", reason)]),
                None => w.t("fleet.done").to_string(),
            };
            [
                Cell { text: r.site.clone(), number: None, link: r.link.clone().filter(plain) },
                word(r.best.clone()),
                number(r.kwh, false),
                number(r.y_f_h, false),
                number(r.gap_kwh, true),
                word(state),
            ]
        })
        .collect();
    Ok(pages()?.get_template("fleet.html")?.render(context! {
        language => w.t("language.tag"),
        title => if title.is_empty() { w.t("fleet.title") } else { title },
        note => w.t("fleet.note"),
        filter => w.t("fleet.filter"),
        shown => w.t("fleet.shown"),
        head => head,
        rows => minijinja::Value::from(minijinja::value::Serde(&cells)),
        made_by => w.fill("page.made-by", &[("version", version)]),
        w => page_words(w),
        style => STYLE,
    })?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::html::tests::well_formed;

    fn rows() -> Vec<SiteRow> {
        (0..24)
            .map(|i| SiteRow {
                site: format!("Merrowby {}", ["hall", "mill", "barn", "school"][i % 4]) + &format!(" {i}"),
                link: Some(format!("site-{i}/report.html")),
                best: ["B", "C"][i % 2].into(),
                kwh: (i != 7).then_some(31_000.0 + 977.0 * ((i * 7) % 24) as f64),
                y_f_h: (i != 7).then_some(870.0 + i as f64),
                gap_kwh: (i != 7).then_some(12.0 * i as f64 - 40.0),
                refused: (i == 7).then(|| "the weather file is missing".to_string()),
            })
            .collect()
    }

    #[test]
    fn an_index_that_works_without_network() {
        for tag in super::super::words::LANGUAGES {
            let text = fleet_page("Merrowby district", &rows(), tag, "0.1.0").unwrap();
            well_formed(&text);
            assert!(!text.contains("http://") && !text.contains("https://") && !text.contains("src="));
        }
        if let Ok(folder) = std::env::var("YEARLIGHT_SAMPLE_DIR") {
            std::fs::create_dir_all(&folder).unwrap();
            let text = fleet_page("Merrowby district", &rows(), "en", "0.1.0").unwrap();
            std::fs::write(format!("{folder}/sample-fleet.html"), text).unwrap();
        }
    }

    #[test]
    fn user_text_and_links_do_nothing() {
        let mut rows = rows();
        rows[0].site = "<script>alert(1)</script>".into();
        rows[1].link = Some("javascript:alert(1)".into());
        rows[2].refused = Some("\"><img src=x onerror=alert(1)>".into());
        let text = fleet_page("</title><script>", &rows, "en", "0.1.0").unwrap();
        assert_eq!(text.matches("<script>").count(), 1, "only the page's own");
        assert!(!text.contains("javascript:") && !text.contains("<img"));
        well_formed(&text);
    }
}
