//! Real play-by-play (nflgame 1.2.20 from PyPI, numbers only), written as sheets in five shapes by
//! `tests/sheets/play_by_play.py`, is read back equal; the checks across rows raise what the data itself breaks.

use crate::real_cuts::outside;
use crate::typed_sheets::run;

#[path = "../sheets/games.rs"]
mod games;

#[test]
fn ten_games_in_five_shapes_read_back_equal() {
    let (Some(archive), Some(packages)) = (outside("nflgame-1.2.20.tar.gz"), outside("python")) else { return };
    let folder = tempfile::tempdir().unwrap();
    run("play_by_play.py", &[archive.as_os_str(), folder.path().as_os_str(), "10".as_ref(), packages.as_os_str()]);
    let mut shapes = std::collections::BTreeSet::new();
    let mut rows = 0;
    for game in games::all(folder.path()) {
        let read = games::read(&game);
        assert!(read.wrong.is_empty(), "{}: {:#?}", game.sheet.display(), &read.wrong[..read.wrong.len().min(10)]);
        assert_eq!(read.raised, game.broken, "{}", game.sheet.display());
        shapes.insert(game.shape);
        rows += game.rows.len();
    }
    assert_eq!(shapes.len(), 5);
    assert!(rows > 1500, "{rows} rows");
}
