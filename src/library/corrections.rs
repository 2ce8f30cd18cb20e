//! What a person corrected, laid over what the film and the sheet say.

use rusqlite::Connection;
use rusqlite::types::Value as Sql;

use super::tag_columns::{Columns, value, write_tag};

/// Lays a game's standing tag corrections over its plays' tags. Of several about one tag the newest counts.
pub(super) fn lay_over_tags(work: &Connection, game: i64) -> rusqlite::Result<()> {
    let mut ask = work.prepare(
        "SELECT c.play, c.subject = 'own', c.name, c.kind, c.num, c.text
         FROM corrections c JOIN plays p ON p.id = c.play
         WHERE p.game = ? AND c.subject IN ('tag', 'own') AND NOT c.undone ORDER BY c.id",
    )?;
    let mut rows = ask.query([game])?;
    while let Some(row) = rows.next()? {
        let (play, own, name): (i64, bool, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let kind: Option<String> = row.get(3)?;
        let new = match kind {
            Some(kind) => value(&kind, row.get_ref(4)?, row.get(5)?),
            None => None,
        };
        match new {
            Some(new) => write_tag(work, play, own, &name, &Columns::of(&new))?,
            None => {
                work.prepare_cached("DELETE FROM tags WHERE play = ? AND own = ? AND field = ?")?
                    .execute((play, own, &name))?;
            }
        }
    }
    Ok(())
}

/// Lays a game's standing corrections of moments over its shots. A correction holds for the film it was made on, and
/// while its frame lies within the play (a play may be split). A corrected moment is sure.
pub(super) fn lay_over_shots(work: &Connection, game: i64) -> rusqlite::Result<()> {
    let mut ask = work.prepare(
        "SELECT c.subject, c.num, c.time, c.play, c.camera, c.film
         FROM corrections c JOIN plays p ON p.id = c.play
         WHERE p.game = ? AND c.camera IS NOT NULL AND NOT c.undone ORDER BY c.id",
    )?;
    let mut rows = ask.query([game])?;
    while let Some(row) = rows.next()? {
        let subject: String = row.get(0)?;
        let (frame, time): (Sql, Option<f64>) = (row.get(1)?, row.get(2)?);
        let place: (i64, i64, i64) = (row.get(3)?, row.get(4)?, row.get(5)?);
        let sure = (frame != Sql::Null).then_some(1.0);
        let (play, camera, film) = place;
        if subject == "set" {
            work.prepare_cached(
                "UPDATE shots SET set_frame = ?1 WHERE play = ?2 AND camera = ?3 AND film = ?4
                   AND (?1 IS NULL OR (?1 >= film_start AND ?1 < film_end))",
            )?
            .execute((&frame, play, camera, film))?;
            continue;
        }
        let sql = if subject == "snap" {
            "UPDATE shots SET snap = ?1, snap_time = ?2, snap_confidence = ?3 WHERE play = ?4 AND camera = ?5 AND film = ?6
             AND (?1 IS NULL OR (?1 >= film_start AND ?1 < film_end))"
        } else {
            "UPDATE shots SET whistle = ?1, whistle_time = ?2, whistle_confidence = ?3
             WHERE play = ?4 AND camera = ?5 AND film = ?6
             AND (?1 IS NULL OR (?1 >= film_start AND ?1 < film_end))"
        };
        work.prepare_cached(sql)?.execute((&frame, time, sure, play, camera, film))?;
    }
    Ok(())
}
