//! How a library is made, opened, locked and closed.

use super::*;

#[test]
fn a_new_library_is_marked_and_opened_again_and_keeps_its_settings() {
    let top = tempfile::tempdir().unwrap();
    let folder = top.path().join("season");
    assert!(Library::open(&folder, Access::Read).unwrap_err().what.contains("no downbox.toml"));
    Library::create(&folder, Some("# we = \"Badgers\"\n")).unwrap().close().unwrap();
    assert_eq!(fs::read_to_string(folder.join(SETTINGS)).unwrap(), "# we = \"Badgers\"\n");
    assert!(folder.join("inbox").is_dir() && folder.join("clips").is_dir());
    Library::create(&folder, Some("other")).unwrap().close().unwrap();
    assert_eq!(fs::read_to_string(folder.join(SETTINGS)).unwrap(), "# we = \"Badgers\"\n");
    assert_eq!(Library::find(None, None, &folder.join("inbox")).as_deref(), Some(folder.as_path()));
    assert!(labels(&Library::open(&folder, Access::Read).unwrap()).is_empty());
}

#[test]
fn clips_without_their_database_are_not_given_an_empty_one() {
    let folder = tempfile::tempdir().unwrap();
    open(folder.path()).close().unwrap();
    fs::create_dir_all(folder.path().join("clips/Badgers")).unwrap();
    fs::remove_file(folder.path().join(DATABASE)).unwrap();
    for access in [Access::Read, Access::Write] {
        assert!(Library::open(folder.path(), access).unwrap_err().what.contains("no downbox.sqlite"));
    }
    assert!(Library::create(folder.path(), None).unwrap_err().what.contains("no downbox.sqlite"));
    assert!(!folder.path().join(DATABASE).exists());
}

#[test]
fn a_second_writer_is_told_who_writes_and_a_reader_is_let_in() {
    let folder = tempfile::tempdir().unwrap();
    let mut writer = open(folder.path());
    let error = Library::open(folder.path(), Access::Write).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Busy);
    assert!(error.what.contains(&format!("process {}", std::process::id())), "{}", error.what);
    let reader = Library::open(folder.path(), Access::Read).unwrap();
    assert!(labels(&reader).is_empty());
    writer.put_plays(GAME, &[side(0)]).unwrap();
    assert_eq!(labels(&reader), [("1".to_string(), 1)]);
    drop(writer);
    Library::open(folder.path(), Access::Write).unwrap();
}

#[test]
fn a_reader_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    open(folder.path()).close().unwrap();
    let mut reader = Library::open(folder.path(), Access::Read).unwrap();
    assert!(reader.put_plays(GAME, &[side(0)]).is_err());
    assert!(reader.db().execute("DELETE FROM games", []).is_err());
    assert_eq!(reader.games().unwrap().len(), 1);
}

#[test]
fn on_a_network_folder_a_rollback_journal_is_kept_and_no_log() {
    let folder = tempfile::tempdir().unwrap();
    Library::create(folder.path(), None).unwrap().close().unwrap();
    let wal = folder.path().join("downbox.sqlite-wal");
    let beside = |library: &mut Library| {
        library.put_game(&GameIn { name: GAME.into(), ..GameIn::default() }).unwrap();
        wal.exists()
    };
    let mut library = Library::open_on(folder.path(), false).unwrap();
    assert!(beside(&mut library), "here a log is written");
    library.close().unwrap();
    let mut library = Library::open_on(folder.path(), true).unwrap();
    let mode: String = library.db().query_row("PRAGMA journal_mode", [], |r| r.get(0)).unwrap();
    assert_eq!(mode, "truncate");
    assert!(!beside(&mut library));
    let reader = Library::open(folder.path(), Access::Read).unwrap();
    assert_eq!(reader.games().unwrap().len(), 1);
    library.close().unwrap();
}

#[test]
fn closed_it_is_one_file_and_a_copy_works_from_its_new_place() {
    let top = tempfile::tempdir().unwrap();
    let (here, there) = (top.path().join("here"), top.path().join("there"));
    let mut library = open(&here);
    library.put_plays(GAME, &[side(0), side(1)]).unwrap();
    cut(&mut library, "2", &key(100, 200), b"clip two");
    drop(Library::open(&here, Access::Read).unwrap());
    library.close().unwrap();
    assert!(fs::metadata(here.join(WAL)).map_or(0, |m| m.len()) == 0, "the log is taken in");

    copy(&here, &there);
    fs::remove_dir_all(&here).unwrap();
    let library = Library::open(&there, Access::Read).unwrap();
    let clip = library.plays(&Filter::Label("2".into())).unwrap().remove(0).clips.remove(0);
    assert_eq!(clip.path, Path::new("clips/Badgers/sideline/002.mp4"));
    assert_eq!(fs::read(library.at(&clip.path)).unwrap(), b"clip two");
    assert!(library.has_clip(GAME, "2", "sideline", &key(100, 200)).unwrap());
    drop(library);
    Library::open(&there, Access::Write).unwrap();
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn where_nothing_can_be_written_a_closed_library_is_read_and_an_open_one_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = open(folder.path());
    library.put_plays(GAME, &[side(0)]).unwrap();
    assert!(fs::metadata(folder.path().join(WAL)).unwrap().len() > 0);
    let error = Library::open_frozen(folder.path()).unwrap_err();
    assert!(error.what.contains("downbox.sqlite-wal"), "{}", error.what);
    library.close().unwrap();

    // A folder where the log's shared memory cannot be made: what SQLite meets on a read-only disk, and unlike
    // permissions it binds an administrator too.
    for file in [WAL, "downbox.sqlite-shm"] {
        let _ = fs::remove_file(folder.path().join(file));
    }
    fs::create_dir(folder.path().join("downbox.sqlite-shm")).unwrap();
    let frozen = Library::open(folder.path(), Access::Read).unwrap();
    assert_eq!(labels(&frozen), [("1".to_string(), 1)]);
    assert_eq!(fs::metadata(folder.path().join(WAL)).map_or(0, |m| m.len()), 0);
    assert!(!frozen.writable());
}

#[test]
fn a_newer_library_is_refused_for_reading_and_writing() {
    let folder = tempfile::tempdir().unwrap();
    let library = open(folder.path());
    library.db().pragma_update(None, "user_version", 99).unwrap();
    library.close().unwrap();
    for access in [Access::Read, Access::Write] {
        let error = Library::open(folder.path(), access).unwrap_err();
        assert!(error.what.contains("newer downbox"), "{}", error.what);
        assert_eq!(error.kind, ErrorKind::Refused);
    }
    // Being refused leaves no lock behind.
    assert_eq!(fs::read_to_string(folder.path().join(LOCK)).unwrap(), "");
}
