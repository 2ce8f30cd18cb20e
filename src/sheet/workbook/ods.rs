//! ODS (OpenDocument 1.2, part 1, chapter 9: tables).

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::{MOST_CELLS, MOST_COLUMNS, Merged, Workbook, Worksheet, archive, cell_text, damaged, locked, too_large};
use crate::base::Result;

/// Rows of a sheet that repeat one another and hold anything; beyond this a count is damage.
const MOST_REPEATED: u64 = 10_000;

/// Reads every table of the document.
pub fn read(bytes: &[u8], name: &str) -> Result<Workbook> {
    let manifest = archive::text(bytes, "META-INF/manifest.xml", name)?.unwrap_or_default();
    if manifest.windows(15).any(|w| w == b"encryption-data") {
        return Err(locked(name));
    }
    let content = archive::text(bytes, "content.xml", name)?.unwrap_or_default();
    let mut out = Document { name, sheets: Vec::new(), left: MOST_CELLS, at: At::default() };
    let mut reader = Reader::from_reader(content.as_slice());
    let mut buffer = Vec::new();
    let mut ended = false;
    loop {
        match reader.read_event_into(&mut buffer).map_err(|cause| damaged(name, cause))? {
            Event::Start(tag) => out.open(&tag)?,
            Event::Empty(tag) => {
                out.open(&tag)?;
                out.close(tag.local_name().as_ref())?;
            }
            Event::End(tag) => {
                ended = tag.local_name().as_ref() == "document-content";
                out.close(tag.local_name().as_ref())?;
            }
            Event::Text(text) => out.text(&text.xml10_content()),
            Event::GeneralRef(entity) => {
                let text = match entity.resolve_char_ref() {
                    Ok(Some(c)) => c.to_string(),
                    _ => match entity.as_ref() {
                        "lt" => "<",
                        "gt" => ">",
                        "amp" => "&",
                        "apos" => "'",
                        "quot" => "\"",
                        _ => "",
                    }
                    .to_string(),
                };
                out.text(&text);
            }
            Event::Eof => break,
            _ => {}
        }
        buffer.clear();
    }
    if !ended {
        return Err(damaged(name, "it is cut short"));
    }
    Ok(Workbook { sheets: out.sheets, date_base: None })
}

/// Where the reader stands.
#[derive(Default)]
struct At {
    row: u32,
    column: usize,
    row_repeats: u64,
    cell_repeats: u64,
    spans: u32,
    /// Cells of the row in hand.
    cells: Vec<(usize, String)>,
    merged: Vec<(usize, u32)>,
    cell: Option<CellInHand>,
    paragraphs: u32,
    in_paragraph: bool,
    /// Depth of a remark pinned to a cell, which is no value.
    remark: u32,
    hidden_styles: Vec<String>,
    style: String,
}

#[derive(Default)]
struct CellInHand {
    /// The value as an attribute says it.
    value: Option<String>,
    text: String,
    formula: Option<String>,
}

struct Document<'a> {
    name: &'a str,
    sheets: Vec<Worksheet>,
    left: usize,
    at: At,
}

impl Document<'_> {
    fn open(&mut self, tag: &BytesStart<'_>) -> Result<()> {
        let local = tag.local_name();
        let attribute = |wanted: &str| -> Result<Option<String>> {
            for found in tag.attributes() {
                let found = found.map_err(|cause| damaged(self.name, cause))?;
                if found.key.local_name().as_ref() == wanted {
                    let value = found.normalized_value(quick_xml::XmlVersion::Explicit1_0);
                    return value.map(|v| Some(v.into_owned())).map_err(|cause| damaged(self.name, cause));
                }
            }
            Ok(None)
        };
        let count = |wanted: &str| -> Result<u64> {
            Ok(attribute(wanted)?.and_then(|v| v.parse::<u64>().ok()).unwrap_or(1).max(1))
        };
        match local.as_ref() {
            "style" => self.at.style = attribute("name")?.unwrap_or_default(),
            "table-properties" if attribute("display")?.is_some_and(|d| d == "false") => {
                self.at.hidden_styles.push(self.at.style.clone());
            }
            "table" => {
                let hidden = attribute("style-name")?.is_some_and(|s| self.at.hidden_styles.contains(&s));
                let name = attribute("name")?.unwrap_or_else(|| format!("Sheet{}", self.sheets.len() + 1));
                self.sheets.push(Worksheet { name, hidden, ..Worksheet::default() });
                self.at.row = 1;
            }
            "table-row" => {
                self.at.row_repeats = count("number-rows-repeated")?;
                (self.at.column, self.at.cells, self.at.merged) = (0, Vec::new(), Vec::new());
            }
            "table-cell" | "covered-table-cell" => {
                self.at.cell_repeats = count("number-columns-repeated")?;
                self.at.spans = u32::try_from(count("number-rows-spanned")?).unwrap_or(1);
                let kind = attribute("value-type")?.unwrap_or_default();
                let value = match kind.as_str() {
                    "float" | "percentage" | "currency" => {
                        attribute("value")?.map(|v| v.parse::<f64>().map(cell_text::number).unwrap_or(v))
                    }
                    "date" => attribute("date-value")?.map(|v| v.replace('T', " ")),
                    "time" => attribute("time-value")?.map(|v| cell_text::iso_duration(&v)),
                    "boolean" => attribute("boolean-value")?.map(|v| cell_text::truth(v == "true")),
                    _ => attribute("string-value")?,
                };
                let formula = attribute("formula")?;
                self.at.cell = Some(CellInHand { value, text: String::new(), formula });
                self.at.paragraphs = 0;
            }
            "annotation" => self.at.remark += 1,
            "p" if self.at.remark == 0 => {
                self.at.in_paragraph = true;
                if self.at.paragraphs > 0 {
                    self.text("\n");
                }
                self.at.paragraphs += 1;
            }
            "s" => {
                let spaces = count("c")?.min(1000) as usize;
                self.text(&" ".repeat(spaces));
            }
            "tab" | "line-break" => self.text(" "),
            _ => {}
        }
        Ok(())
    }

    fn text(&mut self, text: &str) {
        if self.at.in_paragraph
            && self.at.remark == 0
            && let Some(cell) = &mut self.at.cell
        {
            cell.text.push_str(text);
        }
    }

    fn close(&mut self, local: &str) -> Result<()> {
        match local {
            "annotation" => self.at.remark = self.at.remark.saturating_sub(1),
            "p" => self.at.in_paragraph = false,
            "table-cell" | "covered-table-cell" => self.close_cell()?,
            "table-row" => self.close_row()?,
            _ => {}
        }
        Ok(())
    }

    fn close_cell(&mut self) -> Result<()> {
        let Some(cell) = self.at.cell.take() else { return Ok(()) };
        let shown = if cell.text.is_empty() { None } else { Some(cell.text) };
        let text = cell.value.or(shown);
        let text = text.or_else(|| cell.formula.map(|f| format!("={}", f.trim_start_matches("of:="))));
        let repeats = usize::try_from(self.at.cell_repeats).unwrap_or(usize::MAX);
        if let Some(text) = text.filter(|t| !t.is_empty()) {
            if self.at.spans > 1 {
                self.at.merged.push((self.at.column, self.at.spans));
            }
            for column in (self.at.column..self.at.column.saturating_add(repeats)).take(MOST_COLUMNS) {
                self.spend(1)?;
                self.at.cells.push((column, text.clone()));
            }
        }
        self.at.column = self.at.column.saturating_add(repeats);
        Ok(())
    }

    fn close_row(&mut self) -> Result<()> {
        let repeats = self.at.row_repeats;
        let cells = std::mem::take(&mut self.at.cells);
        if !cells.is_empty() {
            if repeats > MOST_REPEATED {
                return Err(too_large(self.name, &format!("a row that repeats {repeats} times")));
            }
            self.spend(cells.len() * (repeats as usize - 1))?;
            if let Some(sheet) = self.sheets.last_mut() {
                for repeat in 0..repeats as u32 {
                    for (column, text) in &cells {
                        sheet.put(self.at.row.saturating_add(repeat), *column, text.clone());
                    }
                }
                let top = self.at.row;
                sheet.merged.extend(self.at.merged.drain(..).map(|(left, spans)| Merged {
                    top,
                    bottom: top.saturating_add(spans - 1),
                    left,
                }));
            }
        }
        self.at.row = self.at.row.saturating_add(u32::try_from(repeats).unwrap_or(u32::MAX));
        Ok(())
    }

    fn spend(&mut self, cells: usize) -> Result<()> {
        let too = || too_large(self.name, &format!("over {MOST_CELLS} cells"));
        self.left = self.left.checked_sub(cells).ok_or_else(too)?;
        Ok(())
    }
}
