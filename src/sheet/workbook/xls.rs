//! XLS: the compound file's streams are walked once for their bounds ([MS-CFB], [MS-XLS]), then read.

use std::io::Cursor;

use calamine::{Reader, SheetVisible, Xls, XlsError};

use super::{MOST_CELLS, Workbook, Worksheet, cell_text, damaged, guarded, locked, too_large};
use crate::base::{Error, Result};

/// Columns of a worksheet in this format.
const COLUMNS: u16 = 256;

/// Reads every worksheet.
pub fn read(bytes: &[u8], name: &str) -> Result<Workbook> {
    let stream = CompoundFile::open(bytes).and_then(|file| file.workbook());
    let stream = match stream {
        Some(Found::Workbook(stream)) => stream,
        Some(Found::Locked) => return Err(locked(name)),
        Some(Found::Other) => {
            return Err(Error::refused(
                "cannot read the tag sheet: it is an old office document and no workbook",
                name,
                "open it in the program it was made with, save the table as XLSX or CSV, then name that file",
            ));
        }
        None => return Err(damaged(name, "its table of contents leads nowhere")),
    };
    let area = area(&stream).ok_or_else(|| damaged(name, "a cell lies beyond the last column"))?;
    if area > MOST_CELLS as u64 {
        return Err(too_large(name, &format!("over {MOST_CELLS} cells")));
    }
    guarded(name, || {
        let mut book = Xls::new(Cursor::new(bytes)).map_err(|cause| match cause {
            XlsError::Password => locked(name),
            cause => damaged(name, cause),
        })?;
        let listed: Vec<(String, bool)> =
            book.sheets_metadata().iter().map(|s| (s.name.clone(), s.visible != SheetVisible::Visible)).collect();
        let mut sheets = Vec::new();
        for (title, hidden) in listed {
            let mut sheet = Worksheet { name: title.clone(), hidden, ..Worksheet::default() };
            let Ok(range) = book.worksheet_range(&title) else { continue };
            let (top, left) = range.start().unwrap_or_default();
            for (row, column, value) in range.used_cells() {
                let row = u32::try_from(row).unwrap_or(u32::MAX);
                sheet.put(top.saturating_add(row).saturating_add(1), left as usize + column, cell_text::value(value));
            }
            sheet.merge(&book.merge_cells_by_sheet_name(&title).unwrap_or_default());
            sheets.push(sheet);
        }
        Ok(Workbook { sheets, date_base: None })
    })
}

/// Cells in the largest box around any worksheet's cells; `None` if one lies beyond the format's columns.
fn area(stream: &[u8]) -> Option<u64> {
    let (mut most, mut rows, mut columns, mut at) = (0, 0, 0, 0);
    while let Some(head) = stream.get(at..at + 4) {
        let kind = u16::from_le_bytes([head[0], head[1]]);
        let length = usize::from(u16::from_le_bytes([head[2], head[3]]));
        let body = stream.get(at + 4..at + 4 + length).unwrap_or_default();
        at += 4 + length;
        match kind {
            // A substream begins.
            0x0009 | 0x0209 | 0x0409 | 0x0809 => (rows, columns) = (0, 0),
            // Formula, number, RK, shared and own text, truth or error; runs of RK.
            0x0006 | 0x0203 | 0x027e | 0x00fd | 0x0204 | 0x00d6 | 0x0205 | 0x00bd => {
                let [a, b, c, d, ..] = *body else { continue };
                let row = u64::from(u16::from_le_bytes([a, b])) + 1;
                let mut column = u16::from_le_bytes([c, d]);
                if kind == 0x00bd
                    && let [.., y, z] = *body
                {
                    column = column.max(u16::from_le_bytes([y, z]));
                }
                if column >= COLUMNS {
                    return None;
                }
                rows = rows.max(row);
                columns = columns.max(u64::from(column) + 1);
                most = most.max(rows * columns);
            }
            _ => {}
        }
    }
    Some(most)
}

/// What a compound file holds.
enum Found {
    /// The workbook's stream.
    Workbook(Vec<u8>),
    /// A workbook under a password.
    Locked,
    /// Something else.
    Other,
}

/// A compound file: sectors in chains.
struct CompoundFile<'a> {
    bytes: &'a [u8],
    sector: usize,
    /// For each sector the next one.
    next: Vec<u32>,
}

/// First number that is no sector.
const NO_SECTOR: u32 = 0xffff_fffa;

impl<'a> CompoundFile<'a> {
    fn open(bytes: &'a [u8]) -> Option<Self> {
        let shift = u16_at(bytes, 30)?;
        if !(7..=16).contains(&shift) {
            return None;
        }
        let mut file = Self { bytes, sector: 1 << shift, next: Vec::new() };
        let mut tables: Vec<u32> = (0..109).filter_map(|i| u32_at(bytes, 76 + 4 * i)).collect();
        // Files beyond 7 MiB list further tables in sectors of their own.
        let mut list = u32_at(bytes, 68)?;
        for _ in 0..bytes.len() / file.sector {
            let Some(body) = file.body(list) else { break };
            let numbers = body.len() / 4;
            tables.extend((0..numbers.saturating_sub(1)).filter_map(|i| u32_at(body, 4 * i)));
            list = u32_at(body, 4 * numbers.saturating_sub(1))?;
        }
        for table in tables.into_iter().filter(|t| *t < NO_SECTOR).take(bytes.len() / file.sector + 1) {
            let body = file.body(table)?;
            file.next.extend((0..body.len() / 4).filter_map(|i| u32_at(body, 4 * i)));
        }
        Some(file)
    }

    fn body(&self, sector: u32) -> Option<&'a [u8]> {
        let from = (sector as usize).checked_add(1)?.checked_mul(self.sector)?;
        let body = self.bytes.get(from..)?;
        (!body.is_empty()).then(|| &body[..body.len().min(self.sector)])
    }

    /// A chain of sectors, at most the file's length.
    fn chain(&self, first: u32) -> Vec<u8> {
        let (mut out, mut sector) = (Vec::new(), first);
        while let Some(body) = self.body(sector) {
            out.extend_from_slice(body);
            sector = self.next.get(sector as usize).copied().unwrap_or(NO_SECTOR);
            if sector >= NO_SECTOR || out.len() > self.bytes.len() {
                break;
            }
        }
        out
    }

    fn workbook(&self) -> Option<Found> {
        let folder = self.chain(u32_at(self.bytes, 48)?);
        let (mut small, mut locked, mut book) = ((NO_SECTOR, 0), false, None);
        for entry in folder.chunks_exact(128) {
            let length = usize::from(u16_at(entry, 64)?).min(64);
            let units = entry[..length].chunks_exact(2).map(|u| u16::from_le_bytes([u[0], u[1]]));
            let title: String = char::decode_utf16(units.take_while(|u| *u != 0)).filter_map(|c| c.ok()).collect();
            let place = (u32_at(entry, 116)?, u32_at(entry, 120)? as usize);
            match title.as_str() {
                "Root Entry" => small = place,
                "EncryptedPackage" => locked = true,
                "Workbook" | "Book" if book.is_none() || title == "Workbook" => book = Some(place),
                _ => {}
            }
        }
        match book {
            _ if locked => Some(Found::Locked),
            None => Some(Found::Other),
            Some((first, size)) => {
                let cutoff = u32_at(self.bytes, 56)? as usize;
                let mut stream = if size < cutoff { self.small(small.0, first)? } else { self.chain(first) };
                stream.truncate(size);
                Some(Found::Workbook(stream))
            }
        }
    }

    /// A chain of small sectors, which lie in a stream of their own.
    fn small(&self, container: u32, first: u32) -> Option<Vec<u8>> {
        let (all, table) = (self.chain(container), self.chain(u32_at(self.bytes, 60)?));
        let sector = 1usize << u16_at(self.bytes, 32)?.min(12);
        let (mut out, mut at) = (Vec::new(), first);
        while at < NO_SECTOR && out.len() <= all.len() {
            let from = (at as usize).checked_mul(sector)?;
            out.extend_from_slice(all.get(from..all.len().min(from.checked_add(sector)?))?);
            at = u32_at(&table, (at as usize).checked_mul(4)?).unwrap_or(NO_SECTOR);
        }
        Some(out)
    }
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..at.checked_add(2)?).map(|b| u16::from_le_bytes([b[0], b[1]]))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..at.checked_add(4)?).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}
