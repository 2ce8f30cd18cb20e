//! One cell to values, by what its column holds.

use super::down_cell::{SlipOrder, date_slip, read_down};
use super::habits::{DayTimes, Habits, day_seconds};
use super::tidy_text::{digits, spreadsheet_debris, unknown};
use crate::football::{Distance, Field, GameClock, Kind, Spot, Value, Vocabulary, fold};

/// Field values read from one cell.
pub(super) type Parts = Vec<(Field, Value)>;

/// What a cell says.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Reading {
    /// Nothing.
    Unknown,
    /// As the trade writes it.
    Plain(Parts),
    /// Without doubt, in another notation; the text tells what was read where no value stands for it.
    Notation(Parts, &'static str),
    /// A word that the vocabulary has not.
    NewWord(Field, String),
    /// Damage undone; the text says what the damage is.
    Mended(Parts, String),
    /// Not readable as what the column holds; the text completes "the cell ...".
    Refused(String),
}

/// What cells of one sheet are read by.
#[derive(Debug, Clone, Copy)]
pub(super) struct CellReader<'a> {
    pub vocabulary: &'a Vocabulary,
    /// What the sheet's cells agree on.
    pub habits: Habits,
}

impl CellReader<'_> {
    /// Reads a tidied cell of a field's column.
    pub fn read(self, field: Field, text: &str) -> Reading {
        if field.kind() == Kind::Word && text == "-" && self.vocabulary.canonical(field, text).is_some() {
            return self.word(field, text);
        }
        if unknown(text) {
            return Reading::Unknown;
        }
        if let Some(debris) = spreadsheet_debris(text) {
            return Reading::Refused(debris.to_string());
        }
        match field.kind() {
            Kind::Number if field == Field::Down => read_down(text, &self.habits),
            Kind::Number if field == Field::Quarter => quarter(text),
            Kind::Number => gain(field, text),
            Kind::Distance => self.distance(text),
            Kind::Spot => self.spot(text),
            Kind::Clock => self.clock(text),
            Kind::Seconds => self.film_time(field, text),
            Kind::Word => self.word(field, text),
            Kind::Text => Reading::Plain(vec![(field, Value::Text(text.to_string()))]),
        }
    }

    /// Film time; a time of day that a spreadsheet program made of it is taken back.
    fn film_time(self, field: Field, text: &str) -> Reading {
        let habits = &self.habits;
        if (habits.time_is_fraction || habits.time == DayTimes::HoursAreMinutes)
            && let Some(seconds) = day_seconds(text)
        {
            return Reading::Notation(vec![(field, Value::Seconds(habits.time.typed(seconds)))], "");
        }
        match film_seconds(text) {
            Ok(seconds) => Reading::Plain(vec![(field, Value::Seconds(seconds))]),
            Err(why) => Reading::Refused(why.to_string()),
        }
    }

    fn clock(self, text: &str) -> Reading {
        if let Some(clock) = GameClock::parse(text).filter(|_| text.matches(':').count() < 2) {
            let part = vec![(Field::Clock, Value::Clock(clock))];
            let plain = clock.to_string() == text.trim_start_matches('0') || clock.to_string() == text;
            return if plain { Reading::Plain(part) } else { Reading::Notation(part, "") };
        }
        let seconds = day_seconds(text).map(|seconds| self.habits.clock.typed(seconds));
        let whole = seconds.filter(|s| (0.0..=900.0).contains(s)).map(|s| s as u16);
        // Of one cell alone the program's notation tells: 4:31:00 is 4:31.
        match whole.and_then(GameClock::from_seconds).or_else(|| GameClock::parse(text)) {
            Some(clock) => Reading::Notation(vec![(Field::Clock, Value::Clock(clock))], ""),
            None => Reading::Refused("is no game clock such as 12:34, at most 15:00".to_string()),
        }
    }

    fn spot(self, text: &str) -> Reading {
        if self.habits.plus_dropped
            && let Ok(yards @ 1..=49) = text.strip_suffix(".0").unwrap_or(text).parse::<u8>()
            && let Some(spot) = Spot::from_own_goal(100 - yards)
        {
            return Reading::Notation(vec![(Field::BallOn, Value::Spot(spot))], "");
        }
        spot(text)
    }

    fn distance(self, text: &str) -> Reading {
        let spelled = digits(&text.to_lowercase());
        if let Some(distance) = Distance::parse(&spelled) {
            let part = vec![(Field::Distance, Value::Distance(distance))];
            let plain = text.parse::<u8>().is_ok() || matches!(distance, Distance::Goal);
            return if plain { Reading::Plain(part) } else { Reading::Notation(part, "") };
        }
        // "3 & 7" in the distance's column.
        match read_down(text, &self.habits) {
            both @ (Reading::Notation(..) | Reading::Mended(..)) if both.parts().len() == 2 => both,
            _ => Reading::Refused("is no distance from 1 to 99 yards, nor goal".to_string()),
        }
    }

    fn word(self, field: Field, text: &str) -> Reading {
        let whole = text.strip_suffix(".0").filter(|n| n.bytes().all(|b| b.is_ascii_digit())).unwrap_or(text);
        if let Some(word) = self.vocabulary.canonical(field, whole) {
            return Reading::Plain(vec![(field, Value::Word(word.to_string()))]);
        }
        // "3-4" of a front becomes a date as well.
        if let Some((month, day)) = date_slip(text) {
            let both = [(SlipOrder::MonthFirst, month, day), (SlipOrder::DayFirst, day, month)];
            let known = both.iter().filter_map(|(order, a, b)| {
                self.vocabulary.canonical(field, &format!("{a}-{b}")).map(|word| (*order, word.to_string()))
            });
            let known: Vec<_> = known.collect();
            let chosen = match &known[..] {
                [(_, word)] => Some(word),
                [(_, a), (_, b)] if a == b => Some(a),
                _ => known.iter().find(|(order, _)| Some(*order) == self.habits.slips).map(|(_, word)| word),
            };
            return match chosen {
                Some(word) => Reading::Mended(
                    vec![(field, Value::Word(word.clone()))],
                    format!("a spreadsheet program took the {field} for a date"),
                ),
                None => Reading::Refused(format!(
                    "is a date that a spreadsheet program made of {month}-{day} or {day}-{month}; type it again"
                )),
            };
        }
        Reading::NewWord(field, whole.to_string())
    }

    /// Reads a cell that holds both how a pass went and how the play ended: "complete", "Inc", "complete, TD".
    pub fn result(self, text: &str) -> Option<Parts> {
        let known = |piece: &str| {
            let piece = piece.trim();
            let fields = [Field::PassResult, Field::Ending];
            let word = |field| self.vocabulary.canonical(field, piece).map(|w| (field, Value::Word(w.to_string())));
            if fold(piece).is_empty() { None } else { fields.into_iter().find_map(word) }
        };
        if let Some(part) = known(text) {
            return Some(vec![part]);
        }
        let pieces: Vec<&str> = text.split([',', ';', '/', '&', '+']).filter(|p| !p.trim().is_empty()).collect();
        let parts: Option<Parts> = pieces.iter().map(|p| known(p)).collect();
        let parts = parts.filter(|p| p.len() > 1).or_else(|| {
            let spaces = text.match_indices(' ').map(|(at, _)| text.split_at(at));
            spaces.filter_map(|(a, b)| Some(vec![known(a)?, known(b)?])).next()
        })?;
        // Two words for one field contradict each other.
        let both = |field| parts.iter().filter(|(f, _)| *f == field).count();
        (both(Field::PassResult) <= 1 && both(Field::Ending) <= 1).then_some(parts)
    }
}

impl Reading {
    /// Values read.
    pub fn parts(&self) -> &[(Field, Value)] {
        match self {
            Self::Plain(parts) | Self::Notation(parts, _) | Self::Mended(parts, _) => parts,
            _ => &[],
        }
    }

    /// For tests: kind, values, words.
    #[cfg(test)]
    pub fn show(&self) -> String {
        let parts: String = self.parts().iter().map(|(f, v)| format!(" {}={v}", f.key())).collect();
        match self {
            Self::Unknown => "unknown".to_string(),
            Self::Plain(_) => format!("plain{parts}"),
            Self::Notation(..) => format!("notation{parts}"),
            Self::NewWord(field, word) => format!("new {}={word}", field.key()),
            Self::Mended(_, what) => format!("mended{parts}: {what}"),
            Self::Refused(what) => format!("refused: {what}"),
        }
    }
}

/// "3", "Q3", "3Q", "3rd", "OT", "2OT"; overtime periods count on from 5.
fn quarter(text: &str) -> Reading {
    let folded = fold(text);
    let bare = folded.strip_suffix(" 0").filter(|_| text.ends_with(".0")).unwrap_or(&folded);
    let plain = matches!(bare.parse::<i64>(), Ok(1..=9));
    let tokens =
        bare.replace("quarter", "").replace("qtr", "").replace('q', "").replace("overtime", "ot").replace(' ', "");
    let ordinals = ["1st", "2nd", "3rd", "4th"];
    let number = match tokens.as_str() {
        "ot" | "xt" => Some(5),
        "first" => Some(1),
        "second" => Some(2),
        "third" => Some(3),
        "fourth" => Some(4),
        t if ordinals.contains(&t) => t[..1].parse().ok(),
        t => match t.strip_prefix("ot").or_else(|| t.strip_suffix("ot")) {
            Some(n) => n.parse::<i64>().ok().filter(|n| (1..=9).contains(n)).map(|n| n + 4),
            None => t.parse::<i64>().ok().filter(|n| (1..=9).contains(n)),
        },
    };
    match number {
        Some(n) if plain => Reading::Plain(vec![(Field::Quarter, Value::Number(n))]),
        Some(n) => Reading::Notation(vec![(Field::Quarter, Value::Number(n))], ""),
        None => Reading::Refused("is no quarter from 1 to 4, nor overtime".to_string()),
    }
}

/// Yards: "5", "+5", "-3", "(3)", "5 yds", "loss of 3", "no gain". A return can be 109 yards **[rule, from memory: 100
/// yards of field and 10 of end zone]**.
fn gain(field: Field, text: &str) -> Reading {
    let lower = digits(&text.to_lowercase());
    let (body, sign) = if let Some(inner) = lower.strip_prefix('(').and_then(|t| t.strip_suffix(')')) {
        (inner, -1)
    } else if let Some(loss) = lower.strip_prefix("loss of").or_else(|| lower.strip_prefix("loss")) {
        (loss, -1)
    } else if let Some(gain) = lower.strip_prefix("gain of").or_else(|| lower.strip_prefix("gain")) {
        (gain, 1)
    } else {
        (lower.as_str(), 1)
    };
    let body = if ["no gain", "none"].contains(&body) { "0" } else { body };
    let body = ["yards", "yard", "yds", "yd"].iter().find_map(|u| body.strip_suffix(u)).unwrap_or(body).trim();
    let body = body.strip_suffix(".0").unwrap_or(body);
    let digits = body.strip_prefix("- ").map(|rest| format!("-{rest}"));
    match digits.as_deref().unwrap_or(body).parse::<i64>() {
        Ok(yards) if (-109..=109).contains(&yards) && (sign == 1 || yards >= 0) => {
            let part = vec![(field, Value::Number(sign * yards))];
            if text.parse::<i64>().is_ok() { Reading::Plain(part) } else { Reading::Notation(part, "") }
        }
        _ => Reading::Refused("is no whole number of yards".to_string()),
    }
}

fn spot(text: &str) -> Reading {
    let lower = digits(&text.to_lowercase());
    let bare = ["yard line", "yd line", "yards", "yard", "yds", "yd"].iter().find_map(|u| lower.strip_suffix(u));
    let bare = bare.unwrap_or(&lower).trim().trim_start_matches('@').trim();
    let bare = if ["midfield", "mid field"].contains(&bare) { "50" } else { bare };
    match Spot::parse(bare) {
        Some(spot) => {
            let part = vec![(Field::BallOn, Value::Spot(spot))];
            if spot.to_string() == lower { Reading::Plain(part) } else { Reading::Notation(part, "") }
        }
        None if bare.trim_end_matches(".0").parse::<u8>().is_ok_and(|n| (1..=49).contains(&n)) => Reading::Refused(
            "does not tell which side of the field; write own 35 or opp 35 (or -35 and +35)".to_string(),
        ),
        None => Reading::Refused("is no spot on the field such as own 35, opp 20 or 50".to_string()),
    }
}

/// Film time in seconds: "754.2", "754,2", "12:34.5", "1:02:03", and a timecode "01:02:03:15", whose frames are passed
/// over (their rate is not known here, and a thumb is late by more).
pub(super) fn film_seconds(text: &str) -> Result<f64, &'static str> {
    let lower = text.to_lowercase();
    if lower.ends_with("am") || lower.ends_with("pm") {
        return Err("is a time of day, not a time in the film");
    }
    let bare = lower.trim_end_matches("sec").trim_end_matches('s').trim().replace(',', ".");
    let pieces: Vec<&str> = bare.split([':', ';']).collect();
    let (last, above) = pieces.split_last().ok_or("is no time in the film")?;
    let wrong = "is no time in the film such as 754.2, 12:34.5 or 1:02:03";
    let whole = |t: &str| if t.is_empty() { Ok(0) } else { t.parse::<u32>().map_err(|_| wrong) };
    let digits = !last.is_empty() && last.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    let seconds: f64 = if digits { last.parse().map_err(|_| wrong)? } else { return Err(wrong) };
    let (hours, minutes, seconds) = match above {
        [] => (0, 0, seconds),
        [m] => (0, whole(m)?, seconds),
        [h, m] => (whole(h)?, whole(m)?, seconds),
        [h, m, s] if seconds < 120.0 => (whole(h)?, whole(m)?, f64::from(whole(s)?)),
        _ => return Err(wrong),
    };
    if (!above.is_empty() && seconds >= 60.0) || (above.len() > 1 && minutes >= 60) || hours > 23 || seconds > 86_400.0
    {
        return Err(wrong);
    }
    Ok(f64::from(hours) * 3600.0 + f64::from(minutes) * 60.0 + seconds)
}

#[cfg(test)]
#[path = "cell_tests.rs"]
mod tests;
