//! A CSV file as cells, to be changed and written again.

/// All cells are text; the first row is the header.
#[derive(Clone)]
pub struct Table {
    pub header: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// Of a file without quotes, as the simulator writes it.
    pub fn of(text: &str) -> Self {
        let cells = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
        let mut lines = text.lines();
        Self {
            header: cells(lines.next().expect("a header")),
            rows: lines.map(cells).collect(),
        }
    }

    pub fn text(&self) -> String {
        let mut text = self.header.join(",");
        for row in &self.rows {
            text.push('\n');
            text.push_str(&row.join(","));
        }
        text.push('\n');
        text
    }

    pub fn column(&self, name: &str) -> usize {
        let found = self.header.iter().position(|column| column == name);
        found.unwrap_or_else(|| panic!("no column {name}"))
    }

    /// Changes the numbers of a column; a row's other cells are at hand. Empty cells stay empty.
    pub fn change(&mut self, name: &str, change: impl Fn(f64, &dyn Fn(&str) -> f64) -> f64) {
        let column = self.column(name);
        let header = self.header.clone();
        for row in &mut self.rows {
            let other = |name: &str| {
                let index = header.iter().position(|column| column == name);
                row[index.expect("a column")].parse().expect("a number")
            };
            if let Ok(value) = row[column].parse::<f64>() {
                row[column] = change(value, &other).to_string();
            }
        }
    }
}
