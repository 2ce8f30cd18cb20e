//! XLSX.

use std::io::Cursor;

use calamine::{DataRef, Reader, SheetVisible, Xlsx, XlsxError};

use super::{DateBase, MOST_CELLS, Workbook, Worksheet, cell_text, damaged, guarded, too_large};
use crate::base::Result;

/// Reads every worksheet, cell by cell: what the file says of its dimensions is not believed.
pub fn read(bytes: &[u8], name: &str) -> Result<Workbook> {
    guarded(name, || {
        let mut book = Xlsx::new(Cursor::new(bytes)).map_err(|cause| why(name, &cause))?;
        let base = if book.has_1904_epoch() { DateBase::Y1904 } else { DateBase::Y1900 };
        let mut sheets = Vec::new();
        let mut left = MOST_CELLS;
        let listed: Vec<(String, bool)> =
            book.sheets_metadata().iter().map(|s| (s.name.clone(), s.visible != SheetVisible::Visible)).collect();
        for (title, hidden) in listed {
            let mut sheet = Worksheet { name: title.clone(), hidden, ..Worksheet::default() };
            // A chart's sheet has no cells.
            let Ok(mut cells) = book.worksheet_cells_reader(&title) else { continue };
            while let Some(cell) = cells.next_cell_with_formula().map_err(|cause| why(name, &cause))? {
                left = left.checked_sub(1).ok_or_else(|| too_large(name, &format!("over {MOST_CELLS} cells")))?;
                let text = match cell.value {
                    // A formula whose value was never computed: another program wrote it.
                    DataRef::Empty => cell.formula.map(|f| format!("={f}")).unwrap_or_default(),
                    value => cell_text::value(&value.into()),
                };
                let (row, column) = cell.pos;
                sheet.put(row.saturating_add(1), column as usize, text);
            }
            drop(cells);
            sheet.merge(&book.merge_cells_by_sheet_name(&title).unwrap_or_default());
            sheets.push(sheet);
        }
        Ok(Workbook { sheets, date_base: Some(base) })
    })
}

fn why(name: &str, cause: &XlsxError) -> crate::base::Error {
    match cause {
        XlsxError::Password => super::locked(name),
        cause => damaged(name, cause),
    }
}
