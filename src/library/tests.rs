//! The library as a whole, on real folders.

use std::fs;
use std::path::{Path, PathBuf};

use super::folder::{DATABASE, LOCK, SETTINGS, WAL};
use super::*;
use crate::base::{ErrorKind, FrameNo, FrameSpan, PendingFile, Rate};
use crate::film::{Angle, Evidence, Film, Sighting, scripted};
use crate::filter::Filter;
use crate::football::{Distance, Field, Tags, Value};

mod opening;

const RATE: Rate = Rate { num: 30, den: 1 };
const GAME: &str = "Badgers";

fn film(name: &str) -> Film {
    let part = |n: u8| scripted::part(&format!("/films/{name}{n}.mp4"), 1500, RATE);
    Film { parts: vec![part(1), part(2)], problems: vec![] }
}

fn shot(camera: &str, start: u64, end: u64) -> CameraShot {
    let snap = Sighting { frame: FrameNo(start + 20), time: (start + 20) as f64 / 30.0, confidence: 0.9 };
    CameraShot {
        camera: camera.into(),
        span: FrameSpan::of(start, end),
        set: None,
        snap: Some(snap),
        whistle: None,
        by: Evidence::Picture,
        doubt: None,
    }
}

fn play(shots: Vec<CameraShot>) -> PlayIn {
    PlayIn { shots, doubt: None }
}

/// A play of 100 frames from the sideline, the k-th.
fn side(k: u64) -> PlayIn {
    play(vec![shot("sideline", k * 100, k * 100 + 100)])
}

fn open(folder: &Path) -> Library {
    let mut library = Library::create(folder, None).unwrap();
    let date = Some("2026-09-11".to_string());
    library.put_game(&GameIn { name: GAME.into(), date, ..GameIn::default() }).unwrap();
    library.put_camera(GAME, "sideline", &film("side"), false).unwrap();
    library
}

fn tags(down: i64, own: &str) -> Tags {
    let mut tags = Tags::default();
    tags.fields.insert(Field::Down, Value::Number(down));
    tags.fields.insert(Field::Distance, Value::Distance(Distance::Goal));
    tags.fields.insert(Field::Concept, Value::Word("mesh".into()));
    tags.own.insert("grade".into(), own.into());
    tags
}

fn row(record: u32, down: i64) -> RowIn {
    RowIn { place: format!("tags.csv:{record}"), tags: tags(down, "B+") }
}

fn pair(label: &str, record: u32) -> MatchIn {
    let place = format!("tags.csv:{record}");
    MatchIn { label: label.into(), place, matched_by: "time".into(), doubt: None }
}

fn labels(library: &Library) -> Vec<(String, u32)> {
    library.plays(&Filter::All).unwrap().into_iter().map(|p| (p.record.label, p.record.order)).collect()
}

fn key(start: u64, end: u64) -> PlanKey {
    PlanKey { film: film("side").fingerprint(), span: FrameSpan::of(start, end), version: 1 }
}

/// Cuts a clip as the job does: way made, file in place, row.
fn cut(library: &mut Library, label: &str, key: &PlanKey, content: &[u8]) -> PathBuf {
    let place = library.make_way(GAME, label, "sideline").unwrap();
    let pending = PendingFile::new(&place.path).unwrap();
    fs::write(pending.path(), content).unwrap();
    pending.commit().unwrap();
    let clip = ClipIn { key: key.clone(), frames: key.span.len(), rate: RATE };
    library.put_clip(GAME, label, "sideline", &clip).unwrap();
    place.relative
}

#[test]
fn a_game_is_known_by_its_name_however_spelled_and_its_day_stands() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let game = |name: &str, date: Option<&str>| GameIn {
        name: name.into(),
        date: date.map(Into::into),
        home: Some("Badgers".into()),
        away: None,
    };
    assert_eq!(library.put_game(&game("  badgers", None)).unwrap(), GAME);
    let error = library.put_game(&game(GAME, Some("2026-09-18"))).unwrap_err();
    assert!(error.what.contains("2026-09-11") && error.what.contains("2026-09-18"), "{}", error.what);
    assert!(library.put_game(&game("x", Some("2026-02-30"))).unwrap_err().what.contains("no day"));
    assert!(library.put_game(&game("?!", None)).is_err());
    library.put_game(&game("A/B", None)).unwrap();
    library.put_game(&game("a:b!", None)).unwrap();
    let games = library.games().unwrap();
    assert_eq!(games.iter().map(|g| g.name.as_str()).collect::<Vec<_>>(), [GAME, "A/B"]);
    assert_eq!(games[0].cameras, ["sideline"]);
    assert_eq!((games[0].date.as_deref(), games[0].home.as_deref()), (Some("2026-09-11"), Some("Badgers")));
}

#[test]
fn a_camera_keeps_its_film_unless_told_to_replace_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let mut moved = film("side");
    moved.parts[0].path = "/elsewhere/side1.mp4".into();
    assert_eq!(library.put_camera(GAME, "Sideline", &moved, false).unwrap(), "sideline");
    let known = library.camera_film(GAME, "sideline").unwrap().unwrap();
    assert_eq!(known.parts[0].path, Path::new("/elsewhere/side1.mp4"));
    assert_eq!((known.frames, known.parts[1].first_frame, known.rate), (3000, 1500, RATE));
    assert_eq!(known.angle, Angle::Sideline);
    assert_eq!(library.camera_film(GAME, "end-zone").unwrap(), None);

    let error = library.put_camera(GAME, "sideline", &film("other"), false).unwrap_err();
    assert!(error.next.contains("--replace"), "{}", error.next);
    assert_eq!(library.camera_film(GAME, "sideline").unwrap().unwrap().fingerprint, film("side").fingerprint());
    library.put_plays(GAME, &[side(0), side(1)]).unwrap();
    cut(&mut library, "1", &key(0, 100), b"old film");
    library.put_camera(GAME, "sideline", &film("other"), true).unwrap();
    assert_eq!(library.plays(&Filter::All).unwrap()[0].clips, [], "frames of the old film");
    assert_eq!(library.put_plays(GAME, &[side(0), side(2)]).unwrap().labels, ["1", "2"]);
    library.put_camera(GAME, "drone", &film("side"), false).unwrap();
    assert_eq!(library.camera_films(GAME).unwrap().len(), 2);
}

#[test]
fn labels_outlive_every_new_look() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let first: Vec<_> = [0, 1, 3, 4].map(side).into();
    assert_eq!(library.put_plays(GAME, &first).unwrap().labels, ["1", "2", "3", "4"]);
    let again = library.put_plays(GAME, &first).unwrap();
    assert_eq!((again.labels, again.gone), (["1", "2", "3", "4"].map(String::from).into(), vec![]));

    // The third shot proves to be a play, the first to be none, and one follows at the end.
    let second: Vec<_> = [1, 2, 3, 4, 5].map(side).into();
    let placed = library.put_plays(GAME, &second).unwrap();
    assert_eq!(placed.labels, ["2", "2a", "3", "4", "5"]);
    assert_eq!(placed.gone, ["1"]);
    let now = labels(&library);
    assert_eq!(now, [("2", 1), ("2a", 2), ("3", 3), ("4", 4), ("5", 5)].map(|(l, o)| (l.to_string(), o)));

    // What comes back takes its label again, and nothing else ever does.
    let third: Vec<_> = [0, 1, 2, 3].map(side).into();
    let placed = library.put_plays(GAME, &third).unwrap();
    assert_eq!(placed.labels, ["1", "2", "2a", "3"]);
    assert_eq!(placed.gone, ["4", "5"]);
    let placed = library.put_plays(GAME, &[side(0), side(1), side(2), side(3), side(9)]).unwrap();
    assert_eq!(placed.labels[4], "6");
}

#[test]
fn a_camera_that_comes_later_joins_the_plays_and_one_alone_takes_none_away() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[0, 1, 2].map(side)).unwrap();
    cut(&mut library, "2", &key(100, 200), b"two");
    library.put_camera(GAME, "end-zone", &film("end"), false).unwrap();
    let mut both = side(0);
    both.shots.push(shot("end-zone", 0, 90));
    let only_end = play(vec![shot("end-zone", 90, 180)]);
    let placed = library.put_plays(GAME, &[both.clone(), only_end.clone(), side(1), side(2)]).unwrap();
    assert_eq!(placed.labels, ["1", "1a", "2", "3"]);
    assert_eq!(library.plays(&Filter::All).unwrap()[2].clips.len(), 1);

    // The end zone looked at alone: 1a is no play after all, the rest stays where the sideline saw it.
    let placed = library.put_plays(GAME, &[play(vec![shot("end-zone", 0, 88)])]).unwrap();
    assert_eq!(
        (placed.labels, placed.kept, placed.gone),
        (vec!["1".into()], vec!["2".into(), "3".into()], vec!["1a".into()])
    );
    assert_eq!(labels(&library).len(), 3);
    let sights: i64 = library
        .db()
        .query_row("SELECT count(*) FROM shots s JOIN plays p ON p.id = s.play WHERE p.live", [], |r| r.get(0))
        .unwrap();
    assert_eq!(sights, 4);
    assert!(library.has_clip(GAME, "2", "sideline", &key(100, 200)).unwrap());
}

#[test]
fn a_play_that_cannot_be_is_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let twice = play(vec![shot("sideline", 0, 10), shot("Sideline", 20, 30)]);
    for bad in [PlayIn::default(), play(vec![shot("sideline", 5, 5)]), play(vec![shot("drone", 0, 9)]), twice] {
        assert!(library.put_plays(GAME, &[side(0), bad]).is_err());
        assert!(labels(&library).is_empty());
    }
    assert!(library.put_plays("Otters", &[side(0)]).unwrap_err().what.contains("no game \"Otters\""));
}

#[test]
fn rows_give_tags_and_corrections_stand_over_them() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let plays = [0, 1].map(side);
    library.put_plays(GAME, &plays).unwrap();
    library.put_rows(GAME, Path::new("/sheets/tags.csv"), &[row(2, 1), row(3, 2), row(4, 3)]).unwrap();
    library.put_matches(GAME, &[pair("1", 2), pair("2", 4)]).unwrap();
    let found = library.plays(&Filter::All).unwrap();
    assert_eq!(found[0].record.tags, tags(1, "B+"));
    assert_eq!(found[1].record.row.as_deref(), Some("tags.csv:4"));
    assert_eq!(found[1].record.matched_by.as_deref(), Some("time"));
    let sheet = library.sheet(GAME).unwrap().unwrap();
    assert_eq!((sheet.path.as_path(), sheet.rows.len()), (Path::new("/sheets/tags.csv"), 3));
    assert_eq!(sheet.rows[1], row(3, 2));
    let used = library.words_used().unwrap();
    assert_eq!(used.words, [(Field::Concept, "mesh".to_string())]);
    assert_eq!((used.own, used.games), (vec!["grade".to_string()], vec![GAME.to_string()]));

    library
        .db()
        .execute_batch(
            "INSERT INTO corrections (play, subject, name, kind, num, made_at)
             SELECT id, 'tag', 'down', 'number', 4, '' FROM plays WHERE label = '1';
             INSERT INTO corrections (play, subject, name, made_at)
             SELECT id, 'tag', 'concept', '' FROM plays WHERE label = '1';
             INSERT INTO corrections (play, subject, name, kind, text, made_at, undone)
             SELECT id, 'own', 'grade', 'text', 'F', '', 1 FROM plays WHERE label = '1';
             INSERT INTO corrections (play, subject, camera, film, num, time, made_at)
             SELECT play, 'snap', camera, film, 133, 4.433, '' FROM shots JOIN plays p ON p.id = play WHERE label = '2';
             INSERT INTO corrections (play, subject, camera, film, num, time, made_at)
             SELECT play, 'set', camera, film, 101, 3.4, '' FROM shots JOIN plays p ON p.id = play WHERE label = '2';",
        )
        .unwrap();
    cut(&mut library, "2", &key(100, 200), b"two");
    for _ in 0..2 {
        library.put_plays(GAME, &plays).unwrap();
        library.put_matches(GAME, &[pair("1", 2)]).unwrap();
        let found = library.plays(&Filter::All).unwrap();
        let (first, second) = (&found[0].record.tags, &found[1]);
        assert_eq!((first.down(), first.word(Field::Concept)), (Some(4), None));
        assert_eq!(first.own["grade"], "B+");
        assert_eq!((&second.record.row, &second.record.tags), (&None, &Tags::default()));
        let snap = second.clips[0].snap.unwrap();
        assert_eq!((snap.frame, snap.time, snap.confidence), (FrameNo(133), 4.433, 1.0));
        assert_eq!(second.clips[0].set, Some(FrameNo(101)));
    }

    // A corrected sheet: record 2 says the same, record 3 is gone. Then a line comes in above: whose row record 2 is
    // now, only matching tells.
    let place = Path::new("/sheets/tags.csv");
    let same = library.sheet(GAME).unwrap().unwrap().rows.into_iter().find(|r| r.place == "tags.csv:2").unwrap();
    library.put_rows(GAME, place, &[same, row(4, 3)]).unwrap();
    let first = &library.plays(&Filter::All).unwrap()[0].record;
    assert_eq!((first.row.as_deref(), first.tags.down()), (Some("tags.csv:2"), Some(4)));
    library.put_rows(GAME, place, &[row(2, 3), row(4, 3)]).unwrap();
    let first = &library.plays(&Filter::All).unwrap()[0].record;
    assert_eq!((&first.row, first.tags.down()), (&None, Some(4)), "the correction stands");
    library.put_rows(GAME, Path::new("/sheets/new.csv"), &[]).unwrap();
    let first = &library.plays(&Filter::All).unwrap()[0].record;
    assert_eq!((&first.row, first.tags.fields.len(), first.tags.down()), (&None, 1, Some(4)));
}

#[test]
fn pairs_that_cannot_be_leave_the_old_ones() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[0, 1].map(side)).unwrap();
    let sheet = Path::new("/sheets/tags.csv");
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 2)]).unwrap();
    library.put_matches(GAME, &[pair("1", 2)]).unwrap();
    for bad in [[pair("1", 2), pair("2", 2)], [pair("1", 2), pair("1", 3)], [pair("1", 2), pair("9", 3)]] {
        assert!(library.put_matches(GAME, &bad).is_err(), "{bad:?}");
        assert_eq!(library.plays(&Filter::All).unwrap()[0].record.row.as_deref(), Some("tags.csv:2"));
    }
    assert!(library.put_rows(GAME, sheet, &[row(2, 1), row(2, 2)]).unwrap_err().what.contains("one address"));
    assert_eq!(library.sheet(GAME).unwrap().unwrap().rows.len(), 2);
}

#[test]
fn a_clip_counts_only_by_its_plan_and_with_its_whole_file() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[side(0), play(vec![shot("sideline", 1450, 1550)])]).unwrap();
    let wanted = key(1450, 1550);
    let has = |library: &Library, key: &PlanKey| library.has_clip(GAME, "2", "sideline", key).unwrap();
    assert!(!has(&library, &wanted));
    let clip = ClipIn { key: wanted.clone(), frames: 100, rate: RATE };
    assert!(library.put_clip(GAME, "2", "sideline", &clip).is_err(), "no file, no row");
    let relative = cut(&mut library, "2", &wanted, b"frames");
    assert!(has(&library, &wanted));
    assert!(!has(&library, &key(1450, 1551)) && !has(&library, &PlanKey { version: 2, ..wanted.clone() }));
    assert!(!has(&library, &PlanKey { film: "another".into(), ..wanted.clone() }));

    let found = library.plays(&Filter::All).unwrap();
    assert_eq!(found[0].clips, []);
    let clip = &found[1].clips[0];
    assert_eq!(clip.parts, [Path::new("/films/side1.mp4"), Path::new("/films/side2.mp4")]);
    assert_eq!((clip.span, clip.frames, clip.bytes, clip.rate), (wanted.span, 100, 6, RATE));
    assert_eq!((clip.camera.as_str(), clip.angle, &clip.film), ("sideline", Angle::Sideline, &wanted.film));
    assert_eq!(clip.snap.map(|s| s.frame), Some(FrameNo(1470)));

    let path = folder.path().join(&relative);
    fs::write(&path, b"fram").unwrap();
    assert!(!has(&library, &wanted), "cut short");
    fs::write(&path, b"frames").unwrap();
    library.make_way(GAME, "2", "sideline").unwrap();
    assert!(!has(&library, &wanted), "no row while the file is replaced");
    assert!(path.exists());
    let other_film = ClipIn { key: PlanKey { film: "another".into(), ..wanted }, frames: 100, rate: RATE };
    assert!(library.put_clip(GAME, "2", "sideline", &other_film).is_err());
}

#[test]
fn answers_come_by_day_then_name_then_film_order() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = Library::create(folder.path(), None).unwrap();
    for (name, date) in [("Otters", None), ("Badgers", Some("2026-09-18")), ("Herons", Some("2026-09-11"))] {
        library.put_game(&GameIn { name: name.into(), date: date.map(Into::into), ..GameIn::default() }).unwrap();
        library.put_camera(name, "sideline", &film(name), false).unwrap();
        library.put_plays(name, &[side(1)]).unwrap();
        library.put_plays(name, &[side(0), side(1)]).unwrap();
    }
    let found = library.plays(&Filter::All).unwrap();
    let order: Vec<_> = found.iter().map(|p| format!("{} {}", p.record.game, p.record.label)).collect();
    assert_eq!(order, ["Herons 0a", "Herons 1", "Badgers 0a", "Badgers 1", "Otters 0a", "Otters 1"]);
}

#[test]
fn what_would_be_refused_is_told_beforehand_and_asking_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    let game = |name: &str, date: &str| GameIn { name: name.into(), date: Some(date.into()), ..GameIn::default() };
    assert_eq!(library.check_game(&game("BADGERS", "2026-09-11")).unwrap(), GAME);
    assert_eq!(library.check_game(&game(" Owls ", "2026-09-18")).unwrap(), "Owls");
    for (asked, part) in
        [(game("badgers", "2026-09-12"), "of 2026-09-11"), (game("?", "2026-09-12"), "letter"), (game("x", "1"), "day")]
    {
        let (early, late) = (library.check_game(&asked).unwrap_err(), library.put_game(&asked).unwrap_err());
        assert!(early.what.contains(part), "{early}");
        assert_eq!((early.what, early.next), (late.what, late.next));
    }
    assert_eq!(library.check_camera(GAME, "Sideline", &film("side"), false).unwrap(), "sideline");
    assert_eq!(library.check_camera(GAME, "sideline", &film("other"), true).unwrap(), "sideline");
    assert_eq!(library.check_camera("Owls", "roof", &film("side"), false).unwrap(), "roof");
    for name in ["sideline", "--"] {
        let early = library.check_camera(GAME, name, &film("other"), false).unwrap_err();
        let late = library.put_camera(GAME, name, &film("other"), false).unwrap_err();
        assert_eq!((early.what, early.next), (late.what, late.next));
    }
    assert_eq!(library.games().unwrap().len(), 1);
    assert_eq!(library.camera_films(GAME).unwrap()[0].fingerprint, film("side").fingerprint());
}

#[test]
fn shots_come_back_as_they_were_put_and_not_of_a_film_that_was_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_camera(GAME, "end-zone", &film("end"), false).unwrap();
    let mut first = play(vec![shot("sideline", 0, 100), shot("end-zone", 0, 120)]);
    first.shots[1].doubt = Some("the snap is hard to see".into());
    first.shots[1].by = Evidence::PictureAndSound;
    first.doubt = Some("look".into());
    library.put_plays(GAME, &[first.clone(), side(1)]).unwrap();
    let told = library.play_shots("badgers").unwrap();
    assert_eq!((told[0].label.as_str(), &told[0].shots, &told[0].doubt), ("1", &first.shots, &first.doubt));
    assert_eq!((told[1].label.as_str(), &told[1].shots), ("2", &side(1).shots));
    assert!(library.play_shots("Owls").unwrap().is_empty());

    library.put_camera(GAME, "end-zone", &film("better"), true).unwrap();
    let cameras: Vec<String> = library.play_shots(GAME).unwrap()[0].shots.iter().map(|s| s.camera.clone()).collect();
    assert_eq!(cameras, ["sideline"]);
    let place = library.clip_place(GAME, "1", "sideline").unwrap();
    assert_eq!(place.relative, Path::new("clips/Badgers/sideline/001.mp4"));
    cut(&mut library, "1", &key(0, 100), b"clip");
    library.clip_place(GAME, "1", "sideline").unwrap();
    assert!(library.has_clip(GAME, "1", "sideline", &key(0, 100)).unwrap(), "asking for the place keeps the clip");
}

#[test]
fn a_film_that_grows_keeps_its_plays_and_their_labels() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[side(1), side(2), side(16)]).unwrap();
    // A card that was recorded before comes later, as does one recorded after.
    let part = |name: &str| scripted::part(&format!("/films/{name}.mp4"), 1500, RATE);
    let grown = Film { parts: vec![part("side0"), part("side1"), part("side2"), part("side3")], problems: vec![] };
    assert_eq!(library.check_camera(GAME, "sideline", &grown, false).unwrap(), "sideline");
    library.put_camera(GAME, "sideline", &grown, false).unwrap();
    let placed = library.put_plays(GAME, &[side(3), side(16), side(17), side(31), side(50)]).unwrap();
    assert_eq!(placed.labels, ["0a", "1", "2", "3", "4"]);
    assert!(placed.gone.is_empty());

    let mut lacking = grown.clone();
    lacking.parts.remove(1);
    assert!(library.check_camera(GAME, "sideline", &lacking, false).unwrap_err().what.contains("another film"));
}

#[test]
fn an_offset_that_a_person_gave_stays_with_the_game() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    assert_eq!(library.sheet_line(GAME).unwrap(), None);
    library.put_rows(GAME, Path::new("/sheets/tags.csv"), &[row(2, 1)]).unwrap();
    assert_eq!(
        library.sheet_line(GAME).unwrap(),
        Some(SheetLine { path: "/sheets/tags.csv".into(), offset: None, drift: None })
    );
    library.put_sheet_line(GAME, Some(12.5), Some(0.001)).unwrap();
    assert_eq!(
        library.sheet_line("badgers").unwrap(),
        Some(SheetLine { path: "/sheets/tags.csv".into(), offset: Some(12.5), drift: Some(0.001) })
    );
    library.put_sheet_line(GAME, None, None).unwrap();
    assert_eq!(
        library.sheet_line(GAME).unwrap(),
        Some(SheetLine { path: "/sheets/tags.csv".into(), offset: None, drift: None })
    );
}

#[test]
fn a_pin_follows_its_row_through_a_sheet_that_is_saved_again() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[0, 1, 2].map(side)).unwrap();
    let sheet = Path::new("/sheets/tags.csv");
    let pins = |library: &Library| -> Vec<String> {
        let word = |text: Option<String>| text.unwrap_or_else(|| "none".into());
        let of = |pin: PinFound| format!("{} {} {}", word(pin.label), word(pin.place), pin.found);
        library.pins(GAME).unwrap().into_iter().map(of).collect()
    };
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 2), row(4, 3)]).unwrap();
    library.put_matches(GAME, &[pair("1", 2), pair("2", 3)]).unwrap();
    let before = library.pin(GAME, Some("2"), Some("tags.csv:4")).unwrap();
    assert_eq!((before.row_of_play.as_deref(), before.play_of_row), (Some("tags.csv:3"), None));
    assert_eq!(pins(&library), ["2 tags.csv:4 true"]);
    // A line comes in above: the row is known by what it says.
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 4), row(4, 2), row(5, 3)]).unwrap();
    assert_eq!(pins(&library), ["2 tags.csv:5 true"]);
    // The row itself is changed under its address.
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 4), row(4, 2), row(5, 1)]).unwrap();
    let told = pins(&library);
    assert_eq!(told, ["2 tags.csv:5 false"], "it says what row 2 says: another row may have moved there");
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 4), row(4, 2), row(5, 3)]).unwrap();
    assert_eq!(pins(&library), ["2 tags.csv:5 true"], "the row is back");
    let changed = RowIn { tags: tags(3, "C"), ..row(5, 3) };
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 4), row(4, 2), changed.clone()]).unwrap();
    assert_eq!(pins(&library), ["2 tags.csv:5 true"]);
    // The row goes, and its address is taken by one that stood elsewhere: nothing is pinned to that.
    library.put_rows(GAME, sheet, &[row(2, 1), row(3, 4), RowIn { place: "tags.csv:5".into(), ..row(4, 2) }]).unwrap();
    assert_eq!(pins(&library), ["2 tags.csv:5 false"]);

    // The newest word on a play or row stands, and is taken back; what was said is never deleted.
    library.pin(GAME, Some("2"), None).unwrap();
    assert_eq!(pins(&library), ["2 none true"]);
    library.pin(GAME, None, Some("tags.csv:3")).unwrap();
    assert_eq!(pins(&library), ["2 none true", "none tags.csv:3 true"]);
    assert_eq!(library.unpin(GAME, Some("2"), None).unwrap(), 1);
    assert_eq!(library.unpin(GAME, Some("2"), None).unwrap(), 0);
    assert_eq!(library.unpin(GAME, None, Some("tags.csv:3")).unwrap(), 1);
    assert!(pins(&library).is_empty());
    let all: i64 = library.db().query_row("SELECT count(*) FROM pins", [], |r| r.get(0)).unwrap();
    assert_eq!(all, 3);
    assert!(library.pin(GAME, Some("9"), Some("tags.csv:3")).unwrap_err().what.contains("no play 9"));
    let error = library.pin(GAME, Some("1"), Some("tags.csv:77")).unwrap_err();
    assert!(error.what.contains("no row tags.csv:77") && error.next.contains("tags.csv:2"), "{error}");
    assert!(library.pin(GAME, None, None).is_err());
}
