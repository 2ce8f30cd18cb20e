//! Text to records: cells between delimiters, with quotes that people forget to close.
//!
//! Why not the csv package: it drops empty lines, so that the count of records, which is a cell's address, no longer
//! agrees with what a spreadsheet program shows; and a quote that is never closed swallows the rest of the sheet in
//! silence. Where both read the same text, a property test holds this reader to that package's reading.

/// One record: its cells as they stand, quotes undone.
pub type Record = Vec<String>;

/// Records of a text and the places of quotes that were never closed.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Records {
    /// Every record, empty lines too (one empty cell).
    pub records: Vec<Record>,
    /// Record and cell (both from 0) whose opening quote has no end; the quote was kept as a character.
    pub unclosed: Vec<(usize, usize)>,
}

/// Splits `text` at `delimiter`. Line ends are LF, CR LF or CR alone.
pub fn split(text: &str, delimiter: char) -> Records {
    let mut reader = Reader { text, at: 0, delimiter, width: None };
    let mut out = Records::default();
    while reader.at < text.len() {
        let mut record = Record::new();
        loop {
            let (cell, unclosed, end) = reader.cell();
            if unclosed {
                out.unclosed.push((out.records.len(), record.len()));
            }
            record.push(cell);
            match end {
                CellEnd::Delimiter if reader.at < text.len() => {}
                // A delimiter that ends the text still opens one more, empty cell.
                CellEnd::Delimiter => {
                    record.push(String::new());
                    break;
                }
                CellEnd::Line => break,
            }
        }
        if reader.width.is_none() && record.len() > 2 {
            reader.width = Some(record.len());
        }
        out.records.push(record);
    }
    out
}

#[derive(PartialEq)]
enum CellEnd {
    Delimiter,
    Line,
}

struct Reader<'a> {
    text: &'a str,
    /// Byte position.
    at: usize,
    delimiter: char,
    /// Cells of the first record that is wide enough to tell a record by.
    width: Option<usize>,
}

impl Reader<'_> {
    fn cell(&mut self) -> (String, bool, CellEnd) {
        let quoted = self.text[self.at..].starts_with('"');
        if quoted && let Some((cell, end)) = self.quoted() {
            return (cell, false, end);
        }
        let (cell, end) = self.plain();
        // `"fly" motion` opens and closes: sloppy, but nothing to tell.
        let unclosed = quoted && cell.matches('"').count() % 2 == 1;
        (cell, unclosed, end)
    }

    /// Up to the next delimiter or line end; quotes are characters.
    fn plain(&mut self) -> (String, CellEnd) {
        let rest = &self.text[self.at..];
        let delimiter = self.delimiter;
        let length = rest.find([delimiter, '\n', '\r']).unwrap_or(rest.len());
        self.at += length;
        (rest[..length].to_string(), self.end())
    }

    /// A quoted cell; `None`, with nothing consumed, if its quote has no end.
    fn quoted(&mut self) -> Option<(String, CellEnd)> {
        let rest = &self.text[self.at + 1..];
        let mut cell = String::new();
        let mut chars = rest.char_indices().peekable();
        while let Some((index, c)) = chars.next() {
            if c != '"' {
                cell.push(c);
                continue;
            }
            match chars.peek() {
                Some((_, '"')) => {
                    cell.push('"');
                    chars.next();
                }
                Some((_, next)) if *next != self.delimiter && *next != '\n' && *next != '\r' => {
                    // `"fly" motion` on one line is sloppy; after a line break it is the next quoted cell's opening,
                    // seen from inside a cell that was never closed.
                    if cell.contains(['\n', '\r']) {
                        return None;
                    }
                    cell.push('"');
                }
                _ => {
                    if self.swallowed_records(&cell) {
                        return None;
                    }
                    self.at += 1 + index + 1;
                    return Some((cell, self.end()));
                }
            }
        }
        None
    }

    /// Whether a whole line inside the cell has just as many delimiters as a record: then its quote was closed by
    /// another cell's quote.
    fn swallowed_records(&self, cell: &str) -> bool {
        let Some(width) = self.width else { return false };
        let lines: Vec<&str> = cell.split(['\n', '\r']).collect();
        lines.len() > 2 && lines[1..lines.len() - 1].iter().any(|l| l.matches(self.delimiter).count() + 1 == width)
    }

    /// Passes over the delimiter or line end at the position.
    fn end(&mut self) -> CellEnd {
        let rest = &self.text[self.at..];
        if rest.starts_with(self.delimiter) {
            self.at += self.delimiter.len_utf8();
            return CellEnd::Delimiter;
        }
        self.at += if rest.starts_with("\r\n") { 2 } else { usize::from(!rest.is_empty()) };
        CellEnd::Line
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn show(text: &str) -> Vec<String> {
        split(text, ',').records.iter().map(|r| r.join("|")).collect()
    }

    #[test]
    fn line_ends_and_quotes() {
        assert_eq!(show("a,b\r\n1,2\r3,4\n\n5,6"), ["a|b", "1|2", "3|4", "", "5|6"]);
        assert_eq!(show("\"a, b\",\"say \"\"go\"\"\"\n\"two\nlines\",x,"), ["a, b|say \"go\"", "two\nlines|x|"]);
        assert_eq!(show("6'2\" end,x"), ["6'2\" end|x"]);
        assert_eq!(show("\"fly\" motion,x"), ["\"fly\" motion|x"]);
        assert_eq!(split("\"fly\" motion,x", ',').unclosed, []);
        assert_eq!(show("a,"), ["a|"]);
    }

    #[test]
    fn an_unclosed_quote_loses_no_record() {
        let text = "d,e,f\n1,\"go,3\n2,x,4\n5,\"a, b\",6\n7,y,8\n";
        let read = split(text, ',');
        assert_eq!(read.records.len(), 5);
        assert_eq!(read.records[1], ["1", "\"go", "3"]);
        assert_eq!(read.records[3], ["5", "a, b", "6"]);
        assert_eq!(read.unclosed, [(1, 1)]);
        // Up to the end of the text, and closed by a quote that ends another cell.
        assert_eq!(split("d,e\n1,\"go\n2,x\n", ',').records.len(), 3);
        let inch = split("d,e,f\n1,\"go,3\n2,x,4\n3,6\",5\n", ',');
        assert_eq!((inch.records.len(), inch.unclosed), (4, vec![(1, 1)]));
    }

    proptest! {
        /// Outside check: the csv package's reading of what that package wrote.
        #[test]
        fn reads_what_the_csv_package_writes(rows in proptest::collection::vec(
            proptest::collection::vec("[ -~éß]{0,6}", 2..5), 1..6), delimiter in "[,;\t|]") {
            let delimiter = delimiter.as_bytes()[0];
            let mut writer = csv::WriterBuilder::new().flexible(true).delimiter(delimiter).from_writer(Vec::new());
            for row in &rows {
                writer.write_record(row).unwrap();
            }
            let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            prop_assert_eq!(split(&text, char::from(delimiter)).records, rows);
        }

        #[test]
        fn never_panics_and_loses_no_letter(text in "[ab,\"\n\r é]{0,60}") {
            let read = split(&text, ',');
            let letters = |s: &str| s.chars().filter(|c| "abé".contains(*c)).collect::<String>();
            prop_assert_eq!(letters(&read.records.concat().concat()), letters(&text));
        }
    }
}
