//! One value as a person types it on the command line: read as a cell of its column.

use super::cell::{CellReader, Reading, film_seconds};
use super::habits::Habits;
use super::tidy_text::tidy;
use crate::football::{Field, Value, Vocabulary};

/// The values of a text as a cell of a field's column; one text may say two things ("3 and 7"). `Err` completes "the
/// value ...".
pub fn typed_value(field: Field, text: &str, vocabulary: &Vocabulary) -> Result<Vec<(Field, Value)>, String> {
    let text = tidy(text);
    match (CellReader { vocabulary, habits: Habits::default() }).read(field, &text) {
        Reading::Plain(parts) | Reading::Notation(parts, _) | Reading::Mended(parts, _) if !parts.is_empty() => {
            Ok(parts)
        }
        Reading::NewWord(field, word) => Ok(vec![(field, Value::Word(word))]),
        Reading::Refused(why) => Err(why),
        _ => Err("says nothing; to make it unknown use --unset".into()),
    }
}

/// Film time as a person types it, seconds: `754.2`, `12:34.2`, `1:02:03`.
///
/// # Errors
/// What is wrong with it, completing "the time ...".
pub fn film_time(text: &str) -> Result<f64, &'static str> {
    film_seconds(&tidy(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_read_as_in_a_sheet() {
        let vocabulary = Vocabulary::default();
        let read = |field, text| {
            let parts = typed_value(field, text, &vocabulary)?;
            Ok::<_, String>(parts.iter().map(|(f, v)| format!("{}={v}", f.key())).collect::<Vec<_>>().join(" "))
        };
        assert_eq!(read(Field::Down, "3").unwrap(), "down=3");
        assert_eq!(read(Field::Down, "3 & 7").unwrap(), "down=3 distance=7");
        assert_eq!(read(Field::Gain, "-4").unwrap(), "gain=-4");
        assert!(read(Field::Down, "7").is_err());
        assert!(read(Field::Down, " ").unwrap_err().contains("--unset"));
        assert_eq!(film_time("12:34.5"), Ok(754.5));
    }
}
