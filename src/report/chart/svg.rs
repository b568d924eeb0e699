//! A small writer of SVG: rectangles, lines, paths and text with classes instead of colours.

use std::fmt::Write as _;

/// Size of the chart's text, px.
pub(crate) const TEXT: f64 = 12.0;

/// Where a text is anchored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum At {
    Start,
    Middle,
    End,
}

/// A growing drawing.
#[derive(Debug)]
pub(crate) struct Svg {
    body: String,
    pub(crate) width: f64,
    pub(crate) height: f64,
    placed: Vec<[f64; 4]>,
}

impl Svg {
    pub(crate) fn new(width: f64, height: f64) -> Svg {
        Svg { body: String::with_capacity(16 * 1024), width, height, placed: Vec::new() }
    }

    pub(crate) fn rect(&mut self, x: f64, y: f64, w: f64, h: f64, class: &str, hover: &str) {
        self.body.push_str("<rect");
        self.attributes(&[("x", x), ("y", y), ("width", w.max(0.0)), ("height", h.max(0.0))]);
        self.end("rect", class, hover);
    }

    pub(crate) fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, class: &str) {
        self.body.push_str("<line");
        self.attributes(&[("x1", x1), ("y1", y1), ("x2", x2), ("y2", y2)]);
        self.end("line", class, "");
    }

    pub(crate) fn ellipse(&mut self, cx: f64, cy: f64, rx: f64, ry: f64, class: &str, hover: &str) {
        self.body.push_str("<ellipse");
        self.attributes(&[("cx", cx), ("cy", cy), ("rx", rx), ("ry", ry)]);
        self.end("ellipse", class, hover);
    }

    /// A path through points; closed when asked.
    pub(crate) fn path(&mut self, points: &[[f64; 2]], closed: bool, class: &str, hover: &str) {
        if points.is_empty() {
            return;
        }
        self.body.push_str("<path d=\"");
        for (i, [x, y]) in points.iter().enumerate() {
            self.body.push(if i == 0 { 'M' } else { 'L' });
            number(&mut self.body, *x);
            self.body.push(' ');
            number(&mut self.body, *y);
        }
        self.body.push_str(if closed { "Z\"" } else { "\"" });
        self.end("path", class, hover);
    }

    /// The marker of a series: disc, square, triangle, diamond in turn.
    pub(crate) fn marker(&mut self, series: usize, x: f64, y: f64, hover: &str) {
        let class = format!("o{}", series % 8);
        match series % 4 {
            0 => self.ellipse(x, y, 4.0, 4.0, &class, hover),
            1 => self.rect(x - 3.5, y - 3.5, 7.0, 7.0, &class, hover),
            2 => self.path(&[[x - 4.5, y + 3.8], [x + 4.5, y + 3.8], [x, y - 4.2]], true, &class, hover),
            _ => self.path(&[[x - 4.6, y], [x, y - 4.6], [x + 4.6, y], [x, y + 4.6]], true, &class, hover),
        }
    }

    /// Text with its baseline at `y`.
    pub(crate) fn text(&mut self, x: f64, y: f64, at: At, class: &str, text: &str) {
        self.placed.push(text_box(x, y, at, text));
        self.body.push_str("<text");
        self.attributes(&[("x", x), ("y", y)]);
        match at {
            At::Start => {}
            At::Middle => self.body.push_str(" text-anchor=\"middle\""),
            At::End => self.body.push_str(" text-anchor=\"end\""),
        }
        if !class.is_empty() {
            let _ = write!(self.body, " class=\"{class}\"");
        }
        self.body.push('>');
        escape(&mut self.body, text);
        self.body.push_str("</text>");
    }

    /// Text only where it stands inside the drawing and meets no other text.
    pub(crate) fn text_if_free(&mut self, x: f64, y: f64, at: At, class: &str, text: &str) -> bool {
        let b = text_box(x, y, at, text);
        let inside = b[0] >= 0.0 && b[2] <= self.width && b[1] >= 0.0 && b[3] <= self.height;
        let free = self.placed.iter().all(|p| b[2] + 3.0 < p[0] || p[2] + 3.0 < b[0] || b[3] < p[1] || p[3] < b[1]);
        if inside && free {
            self.text(x, y, at, class, text);
        }
        inside && free
    }

    pub(crate) fn finish(self, id: &str, title: &str, desc: &str, class: &str) -> String {
        let mut out = String::with_capacity(self.body.len() + 512);
        let _ = write!(out, "<svg class=\"chart {class}\" viewBox=\"0 0 ");
        number(&mut out, self.width);
        out.push(' ');
        number(&mut out, self.height);
        let _ = write!(out, "\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\"><title id=\"{id}-t\">");
        escape(&mut out, title);
        let _ = write!(out, "</title><desc id=\"{id}-d\">");
        escape(&mut out, desc);
        out.push_str("</desc>");
        out.push_str(&self.body);
        out.push_str("</svg>");
        out
    }

    fn attributes(&mut self, all: &[(&str, f64)]) {
        for (name, value) in all {
            self.body.push(' ');
            self.body.push_str(name);
            self.body.push_str("=\"");
            number(&mut self.body, *value);
            self.body.push('"');
        }
    }

    fn end(&mut self, tag: &str, class: &str, hover: &str) {
        if !class.is_empty() {
            let _ = write!(self.body, " class=\"{class}\"");
        }
        if hover.is_empty() {
            self.body.push_str("/>");
        } else {
            self.body.push_str("><title>");
            escape(&mut self.body, hover);
            let _ = write!(self.body, "</title></{tag}>");
        }
    }
}

fn number(out: &mut String, x: f64) {
    let tenths = (super::finite(x) * 10.0).round() as i64;
    if tenths < 0 {
        out.push('-');
    }
    let tenths = tenths.unsigned_abs();
    let _ = write!(out, "{}", tenths / 10);
    if !tenths.is_multiple_of(10) {
        let _ = write!(out, ".{}", tenths % 10);
    }
}

/// Escapes text for XML; characters that XML 1.0 forbids become spaces.
pub(crate) fn escape(out: &mut String, text: &str) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' => out.push(' '),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push(' '),
            c => out.push(c),
        }
    }
}

/// Estimated width of a text at [`TEXT`] px, on the wide side.
///
/// Advance widths in thousandths of the size are those of a wide sans-serif (measured on DejaVu Sans, rounded up).
pub(crate) fn text_width(text: &str) -> f64 {
    let units: u32 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' => 280,
            'I' | '.' | ',' | ':' | ';' | ' ' | '\u{a0}' | '|' => 330,
            '\u{202f}' => 210,
            'f' | 't' | 'r' | '(' | ')' | '-' | '/' => 420,
            'm' | '%' | 'w' | 'W' | 'M' | '@' => 990,
            'A'..='Z' => 740,
            '0'..='9' => 640,
            '+' | '\u{2212}' | '\u{b1}' | '=' | '<' | '>' => 840,
            c if c as u32 > 0x2e80 => 1000,
            _ => 640,
        })
        .sum();
    f64::from(units) * TEXT / 1000.0
}

/// A text cut with an ellipsis to a width in px.
pub(crate) fn fit(text: &str, width: f64) -> String {
    if text_width(text) <= width {
        return text.to_string();
    }
    let mut out = String::new();
    let mut used = text_width("\u{2026}") + 1.0;
    for c in text.chars() {
        used += text_width(c.encode_utf8(&mut [0; 4]));
        if used > width {
            break;
        }
        out.push(c);
    }
    out.push('\u{2026}');
    out
}

fn text_box(x: f64, y: f64, at: At, text: &str) -> [f64; 4] {
    let w = text_width(text);
    let left = match at {
        At::Start => x,
        At::Middle => x - w / 2.0,
        At::End => x - w,
    };
    [left, y - TEXT, left + w, y + 3.0]
}

/// Entries of a legend.
pub(crate) enum Key<'a> {
    /// A filled swatch of a class.
    Swatch(&'a str),
    /// A line with a marker of a series.
    Line(usize),
}

/// Draws a legend from `x`, with its first baseline at `y`; wraps; returns the baseline of its last row.
pub(crate) fn legend(s: &mut Svg, x0: f64, y0: f64, entries: &[(Key, String)]) -> f64 {
    let (mut x, mut y) = (x0, y0);
    for (key, name) in entries {
        let lead = match key {
            Key::Swatch(_) => 20.0,
            Key::Line(_) => 34.0,
        };
        let name = fit(name, s.width - x0 - lead - 2.0);
        let w = lead + text_width(&name);
        if x > x0 && x + w > s.width - 1.0 {
            x = x0;
            y += 19.0;
        }
        match key {
            Key::Swatch(class) => s.rect(x + 0.5, y - 10.5, 13.0, 12.0, class, ""),
            Key::Line(i) => {
                s.line(x, y - 4.0, x + 28.0, y - 4.0, &format!("l{}", i % 8));
                s.marker(*i, x + 14.0, y - 4.0, "");
            }
        }
        s.text(x + lead, y, At::Start, "", &name);
        x += w + 16.0;
    }
    y
}

/// Rows that a legend will take.
pub(crate) fn legend_rows(width: f64, x0: f64, names: &[&str], lead: f64) -> usize {
    let (mut x, mut rows) = (x0, 1);
    for name in names {
        let w = lead + text_width(name).min(width - x0 - lead - 2.0);
        if x > x0 && x + w > width - 1.0 {
            x = x0;
            rows += 1;
        }
        x += w + 16.0;
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn user_text_is_escaped() {
        let mut s = Svg::new(100.0, 50.0);
        s.rect(0.0, 0.0, 10.0, 10.0, "o0", "<script>alert(1)</script>");
        s.text(1.0, 12.0, At::Start, "", "a<b & \"c\"\u{0}");
        let text = s.finish("x", "<script>", "d", "wide");
        assert!(!text.contains("<script"));
        assert!(text.contains("a&lt;b &amp; &quot;c&quot; <"));
    }

    #[test]
    fn numbers_stay_numbers() {
        let mut s = Svg::new(f64::NAN, 50.0);
        s.line(f64::INFINITY, -0.04, 1.25, -3.0, "");
        let text = s.finish("x", "t", "d", "wide");
        assert!(!text.contains("NaN") && !text.contains("inf"));
        assert!(
            text.contains("x1=\"0\"")
                && text.contains("y1=\"0\"")
                && text.contains("x2=\"1.3\"")
                && text.contains("y2=\"-3\"")
        );
    }

    proptest! {
        #[test]
        fn fitted_text_fits(text in "\\PC{0,80}", width in 20.0..300.0f64) {
            prop_assert!(text_width(&fit(&text, width)) <= width + 1e-9);
        }
    }
}
