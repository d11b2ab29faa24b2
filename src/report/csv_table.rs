//! CSV tables: one header row, names that end in their units, `inf` for an unbounded value, an empty
//! field where there is no value.

/// A CSV table in memory.
pub(super) struct CsvTable {
    writer: csv::Writer<Vec<u8>>,
}

impl CsvTable {
    pub(super) fn new() -> Self {
        Self { writer: csv::Writer::from_writer(Vec::new()) }
    }

    pub(super) fn row<S: AsRef<[u8]>>(
        &mut self,
        fields: impl IntoIterator<Item = S>,
    ) -> Result<(), csv::Error> {
        self.writer.write_record(fields)
    }

    pub(super) fn finish(self) -> Result<String, csv::Error> {
        let bytes =
            self.writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }
}

/// The shortest text that reads back to the same number; empty for none.
pub(super) fn optional(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A text that spreadsheets do not take for a formula: one that begins like one gets an apostrophe.
pub(super) fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}
