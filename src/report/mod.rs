//! Console text, HTML, charts.
