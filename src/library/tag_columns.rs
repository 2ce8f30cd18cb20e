//! Tags as columns of the database and back.

use rusqlite::types::{Value as Sql, ValueRef};
use rusqlite::{Connection, Row, params};

use crate::football::{Distance, Field, GameClock, Spot, Tags, Value, fold};

/// A tag's value as `kind`, `num`, `text` of the schema.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Columns {
    pub kind: &'static str,
    pub num: Sql,
    pub text: Option<String>,
}

impl Columns {
    pub fn of(value: &Value) -> Self {
        let (kind, num, text) = match value {
            Value::Number(n) => ("number", Sql::Integer(*n), None),
            Value::Distance(Distance::Yards(yards)) => ("distance", Sql::Integer((*yards).into()), None),
            Value::Distance(Distance::Goal) => ("distance", Sql::Null, None),
            Value::Spot(spot) => ("spot", Sql::Integer(spot.yards().into()), None),
            Value::Clock(clock) => ("clock", Sql::Integer(clock.seconds().into()), None),
            Value::Seconds(seconds) => ("seconds", Sql::Real(*seconds), None),
            Value::Word(word) => ("word", Sql::Null, Some(word.clone())),
            Value::Text(text) => ("text", Sql::Null, Some(text.clone())),
        };
        Self { kind, num, text }
    }

    /// The folded form of invariant 7.
    pub fn folded(&self) -> Option<String> {
        folded(self.text.as_deref())
    }
}

/// The folded form of invariant 7: `None` for a blank.
pub(super) fn folded(text: Option<&str>) -> Option<String> {
    text.filter(|t| !t.trim().is_empty()).map(fold)
}

/// A value from `kind`, `num`, `text`; `None` where they make no value (a library damaged or written by hand).
pub(super) fn value(kind: &str, num: ValueRef<'_>, text: Option<String>) -> Option<Value> {
    let whole = || match num {
        ValueRef::Integer(n) => Some(n),
        _ => None,
    };
    let small = || u8::try_from(whole()?).ok();
    Some(match kind {
        "number" => Value::Number(whole()?),
        "distance" if num == ValueRef::Null => Value::Distance(Distance::Goal),
        "distance" => Value::Distance(Distance::Yards(small()?)),
        "spot" => Value::Spot(Spot::from_own_goal(small()?)?),
        "clock" => Value::Clock(GameClock::from_seconds(u16::try_from(whole()?).ok()?)?),
        "seconds" => Value::Seconds(match num {
            ValueRef::Real(seconds) => seconds,
            ValueRef::Integer(seconds) => seconds as f64,
            _ => return None,
        }),
        "word" => Value::Word(text?),
        "text" => Value::Text(text?),
        _ => return None,
    })
}

/// Reads tags from a statement that gives own, field, kind, num, text for the one row or play bound to it.
pub(super) fn read(db: &Connection, sql: &str, id: i64) -> rusqlite::Result<Tags> {
    let mut ask = db.prepare_cached(sql)?;
    let mut rows = ask.query([id])?;
    let mut tags = Tags::default();
    while let Some(row) = rows.next()? {
        add(&mut tags, row)?;
    }
    Ok(tags)
}

/// The field of a key as the library writes it; `Field::named` forgives more and costs more.
fn of_key(key: &str) -> Option<Field> {
    Field::ALL.iter().copied().find(|f| f.key() == key).or_else(|| Field::named(key))
}

/// Adds the tag that a row's first columns tell: own, field, kind, num, text.
pub(super) fn add(tags: &mut Tags, row: &Row<'_>) -> rusqlite::Result<()> {
    let name = row.get_ref(1)?.as_str()?;
    if row.get(0)? {
        tags.own.insert(name.to_string(), row.get::<_, Option<String>>(4)?.unwrap_or_default());
    } else if let Some(field) = of_key(name)
        && let Some(value) = value(row.get_ref(2)?.as_str()?, row.get_ref(3)?, row.get(4)?)
    {
        tags.fields.insert(field, value);
    }
    Ok(())
}

/// Writes the tags of a sheet row.
pub(super) fn write_row_tags(db: &Connection, row: i64, tags: &Tags) -> rusqlite::Result<()> {
    let mut put =
        db.prepare_cached("INSERT INTO row_tags (row, own, field, kind, num, text) VALUES (?, ?, ?, ?, ?, ?)")?;
    for (own, name, columns) in all(tags) {
        put.execute(params![row, own, name, columns.kind, columns.num, columns.text])?;
    }
    Ok(())
}

/// Sets one tag of a play, in place of what it had.
pub(super) fn write_tag(db: &Connection, play: i64, own: bool, name: &str, columns: &Columns) -> rusqlite::Result<()> {
    db.prepare_cached(
        "INSERT OR REPLACE INTO tags (play, own, field, kind, num, text, folded) VALUES (?, ?, ?, ?, ?, ?, ?)",
    )?
    .execute(params![play, own, name, columns.kind, columns.num, columns.text, columns.folded()])?;
    Ok(())
}

/// Every tag: whether it is the staff's own, its name, its columns. In a fixed order.
pub(super) fn all(tags: &Tags) -> impl Iterator<Item = (bool, &str, Columns)> {
    // A time that is no number is no time; SQLite would keep it as NULL.
    let known = |value: &&Value| !matches!(value, Value::Seconds(s) if !s.is_finite());
    let fields = tags.fields.iter().filter(move |(_, v)| known(v)).map(|(f, v)| (false, f.key(), Columns::of(v)));
    let own = tags
        .own
        .iter()
        .map(|(name, text)| (true, name.as_str(), Columns { kind: "text", num: Sql::Null, text: Some(text.clone()) }));
    fields.chain(own)
}

/// A fingerprint of tags, hex: equal for equal tags.
pub(super) fn hash(tags: &Tags) -> String {
    let mut hash = blake3::Hasher::new();
    for (own, name, columns) in all(tags) {
        // Lengths keep "ab" + "c" from equaling "a" + "bc".
        let words = format!("{own} {}:{name} {} {:?} {:?};", name.len(), columns.kind, columns.num, columns.text);
        hash.update(words.as_bytes());
    }
    hash.finalize().to_hex()[..32].to_string()
}
