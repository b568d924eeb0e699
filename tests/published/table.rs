//! Reads the CSV tables beside the tests: `#` remarks, a header line, values by column name.

/// One row, its values reached by the names of the header.
pub struct Row {
    names: std::rc::Rc<Vec<String>>,
    values: Vec<String>,
}

impl Row {
    pub fn text(&self, name: &str) -> &str {
        let i = self.names.iter().position(|n| n == name).unwrap_or_else(|| panic!("no column {name}"));
        &self.values[i]
    }

    pub fn num(&self, name: &str) -> f64 {
        let text = self.text(name);
        text.parse().unwrap_or_else(|_| panic!("{name} is {text}"))
    }
}

/// The rows of a table.
pub fn rows(text: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let names = std::rc::Rc::new(reader.headers().unwrap().iter().map(str::to_string).collect::<Vec<_>>());
    reader
        .records()
        .map(|record| Row { names: names.clone(), values: record.unwrap().iter().map(str::to_string).collect() })
        .collect()
}
