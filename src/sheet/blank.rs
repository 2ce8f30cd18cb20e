//! An empty sheet to type in.

use rust_xlsxwriter::{DataValidation, DataValidationErrorStyle, Format, FormatAlign, Formula, Workbook, XlsxError};

use super::workbook::letters;
use crate::base::{Error, Result};
use crate::football::{Field, Kind, Vocabulary};

/// Rows that have drop-downs: a game has 120 to 200 plays **[practice]**, twice that is never too few.
const ROWS: u32 = 400;

/// Name of the worksheet that is typed in.
const PLAYS: &str = "Plays";
/// Name of the hidden one that the drop-downs take their words from.
const WORDS: &str = "Words";

/// The header: every field by the trade's words, in the order in which a sheet usually has them.
pub fn blank_header() -> Vec<String> {
    Field::ALL.iter().map(|f| capital(f.words())).collect()
}

/// An empty sheet as text: the header alone, with a mark by which spreadsheet programs know UTF-8.
pub fn blank_text(delimiter: char) -> String {
    format!("\u{feff}{}\r\n", blank_header().join(&delimiter.to_string()))
}

/// An empty sheet as an XLSX workbook, with drop-downs from the vocabulary. Words that are not listed can be typed: the
/// program asks once. Every cell but numbers is text, so that no program makes a date of "3-7" or a time of "12:34".
///
/// # Errors
/// The workbook cannot be put together, by its own words.
pub fn blank_workbook(vocabulary: &Vocabulary) -> Result<Vec<u8>> {
    write(vocabulary).map_err(|cause| {
        Error::failed("cannot make the empty sheet", "", "try an empty sheet as text: downbox sheet blank OUT.csv")
            .because(cause)
    })
}

fn write(vocabulary: &Vocabulary) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let heading = Format::new().set_bold().set_text_wrap().set_align(FormatAlign::Top);
    let text = Format::new().set_num_format("@");
    let mut words: Vec<(u16, Vec<String>)> = Vec::new();
    let sheet = book.add_worksheet().set_name(PLAYS)?;
    sheet.set_freeze_panes(1, 0)?;
    for (column, field) in (0u16..).zip(Field::ALL.iter().copied()) {
        let title = capital(field.words());
        sheet.write_string_with_format(0, column, &title, &heading)?;
        let wide = match field.kind() {
            Kind::Text if field == Field::Note => 30,
            Kind::Word => 14,
            _ => 9,
        };
        sheet.set_column_width(column, wide)?;
        if !matches!(field, Field::Gain | Field::Quarter | Field::Down) {
            sheet.set_column_format(column, &text)?;
        }
        let rule = DataValidation::new().set_input_title(title)?.set_input_message(hint(field))?;
        let rule = rule.set_error_style(DataValidationErrorStyle::Information);
        let rule = rule
            .set_error_title("Not in the list")?
            .set_error_message("It is kept as you typed it. If it is a slip, choose Cancel and type it again.")?;
        let list = list(field, vocabulary);
        let rule = if list.is_empty() {
            rule.allow_any_value()
        } else {
            let letter = letters(usize::from(column));
            let range = format!("={WORDS}!${letter}$2:${letter}${}", list.len() + 1);
            words.push((column, list));
            rule.allow_list_formula(Formula::new(range))
        };
        sheet.add_data_validation(1, column, ROWS, column, &rule)?;
    }
    let sheet = book.add_worksheet().set_name(WORDS)?;
    sheet.set_hidden(true);
    for (column, list) in &words {
        sheet.write_string(0, *column, format!("words of column {}", letters(usize::from(*column))))?;
        for (row, word) in (1u32..).zip(list) {
            match word.parse::<f64>() {
                // A drop-down of numbers gives numbers.
                Ok(number) if word.len() == 1 => sheet.write_number(row, *column, number)?,
                _ => sheet.write_string(row, *column, word)?,
            };
        }
    }
    book.save_to_buffer()
}

/// What the drop-down of a field offers.
fn list(field: Field, vocabulary: &Vocabulary) -> Vec<String> {
    match field {
        Field::Down | Field::Quarter => (1..=4).map(|n| n.to_string()).collect(),
        _ => {
            let mut words: Vec<String> = Vec::new();
            for entry in vocabulary.entries().iter().filter(|e| e.field == field) {
                if !words.contains(&entry.word) {
                    words.push(entry.word.clone());
                }
            }
            words
        }
    }
}

/// What is typed into a column, in few words.
fn hint(field: Field) -> &'static str {
    match field {
        Field::SheetNumber => "Your own number of the play",
        Field::Time => "Time in the film at the snap: 12:34.5 or 754.5. Leave it empty if you have none",
        Field::Quarter => "1 to 4; 5 is overtime",
        Field::Clock => "Time left in the quarter: 12:34",
        Field::Margin => "Points by which you lead; with a minus where you trail",
        Field::Ball => "The team that has the ball",
        Field::Unit => "Whose unit of yours is on the field",
        Field::Down => "1 to 4; empty for kickoffs and tries",
        Field::Distance => "Yards to the line to gain, or goal",
        Field::BallOn => "own 35, 50, opp 20",
        Field::Hash => "As the offense sees it",
        Field::Personnel => "Backs and tight ends: 11 is one of each",
        Field::Gain => "Yards; a loss with a minus; 0 for none",
        Field::Note => "Anything",
        _ => "Pick one or type your own word",
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|c| c.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::{ColumnNames, Role, Sheet};
    use super::*;

    #[test]
    fn every_column_of_a_blank_sheet_is_known_by_its_name() {
        let names = ColumnNames::default();
        for (title, field) in blank_header().iter().zip(Field::ALL) {
            assert_eq!(names.role(title), Some((Role::Field(*field), 0)), "{title}");
        }
    }

    #[test]
    fn a_blank_sheet_has_no_play_and_says_so() {
        let vocabulary = Vocabulary::default();
        for bytes in [blank_workbook(&vocabulary).unwrap(), blank_text(',').into_bytes()] {
            let error = Sheet::read(&bytes, "blank", &ColumnNames::default(), &vocabulary).unwrap_err();
            assert!(error.to_string().contains("no play below it"), "{error}");
        }
    }
}
