//! What asking costs: `cargo bench --profile dev --bench library_size [-- GAMES...]`.
//!
//! Made libraries of 10, 100 and 1,000 games, each of 160 plays from two cameras (rows only: asking opens no clip). For the
//! opening (the library, the settings, every word that its sheets have used) and for some phrases it prints the CPU time of
//! this thread (median of 5 batches) and, beside a phrase, the ratio to SQL that a person would write for the same question
//! in the sqlite3 shell: which plays, and their tags and clips as plain rows. The last column is the growth from the library
//! before, whose plays are ten times fewer. Then files are laid where the clips' records say, and `downbox check` looks at
//! all of it.

#![allow(clippy::expect_used)]

mod child_cpu;

use std::path::Path;
use std::process::{Command, Stdio};

use child_cpu::children;

use downbox::base::Result;
use downbox::filter;
use downbox::jobs::Config;
use downbox::library::{Access, Library};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rusqlite::{Connection, params};

/// Phrase, and the condition on a play `p` that says the same in SQL.
const PHRASES: [(&str, &str); 7] = [
    (
        "third and short vs one-high",
        "EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'down' AND num = 3) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'distance' AND num BETWEEN 1 AND 3) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'shell' AND folded = 'one high')",
    ),
    (
        "mesh, red zone, gain >= 10",
        "EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'concept' AND folded = 'mesh') AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'ball_on' AND num BETWEEN 80 AND 99) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'gain' AND num >= 10)",
    ),
    (
        "bunch, not motion, fourth quarter, money down",
        "EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'formation' AND folded = 'bunch') AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'motion' AND folded = 'no') AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'quarter' AND num = 4) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'down' AND num IN (3, 4))",
    ),
    (
        "opener, verticals",
        "EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'concept' AND folded = 'verticals') AND \
         (SELECT folded FROM tags WHERE play = p.id AND own = 0 AND field = 'ball') IS NOT \
         (SELECT folded FROM tags WHERE play = (SELECT q.id FROM plays q WHERE q.game = p.game AND \
          q.position = p.position - 1) AND own = 0 AND field = 'ball')",
    ),
    (
        "last 3 games, third and long",
        "p.game IN (SELECT id FROM games ORDER BY date DESC, name DESC LIMIT 3) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'down' AND num = 3) AND \
         EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'distance' AND num >= 7)",
    ),
    (
        "note \"late rotation\"",
        "EXISTS (SELECT 1 FROM tags WHERE play = p.id AND own = 0 AND field = 'note' AND instr(folded, 'late rotation'))",
    ),
    ("game \"Game 7\"", "p.game = (SELECT id FROM games WHERE folded = 'game 7')"),
];

/// Nanoseconds that this thread has been on a core.
fn cpu() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    text.split(' ').next().and_then(|n| n.parse().ok()).unwrap_or(0.0)
}

/// Size of a clip's file.
const BYTES: u32 = 200;

/// A batch runs at least so long, milliseconds: the clock of some kernels goes in steps of four.
const BATCH: f64 = 100.0;

/// Milliseconds of CPU a run, the median of five batches, and what the last run gave.
fn median<T>(mut work: impl FnMut() -> Result<T>) -> Result<(f64, T)> {
    let mut last = work()?;
    let mut times = Vec::new();
    for _ in 0..5 {
        let (start, mut runs) = (cpu(), 0);
        while runs == 0 || cpu() - start < BATCH * 1e6 {
            last = work()?;
            runs += 1;
        }
        times.push((cpu() - start) / 1e6 / f64::from(runs));
    }
    times.sort_by(f64::total_cmp);
    Ok((times[2], last))
}

fn make(folder: &Path, games: u32) -> Result<()> {
    Library::create(folder, None)?.close()?;
    let mut db = Connection::open(folder.join("downbox.sqlite")).expect("the library's file");
    fill(&mut db, games).expect("rows");
    Ok(())
}

fn fill(db: &mut Connection, games: u32) -> rusqlite::Result<()> {
    let mut chance = ChaCha8Rng::seed_from_u64(5);
    db.pragma_update(None, "synchronous", "OFF")?;
    let work = db.transaction()?;
    for game in 1..=i64::from(games) {
        let name = format!("Game {game}");
        let date = format!("{:04}-{:02}-{:02}", 2000 + game / 336, 1 + game / 28 % 12, 1 + game % 28);
        work.execute(
            "INSERT INTO games (id, name, folded, folder, date, home, away) VALUES (?, ?, ?, ?, ?, 'Badgers', 'Herons')",
            params![game, name, name.to_lowercase(), name, date],
        )?;
        for (side, camera) in ["sideline", "end-zone"].iter().enumerate() {
            let film = game * 2 + side as i64;
            work.execute(
                "INSERT INTO films VALUES (?, ?, 400000, 13000.0, 30, 1, 0)",
                params![film, format!("f{film}")],
            )?;
            work.execute(
                "INSERT INTO parts VALUES (?, 0, ?, 1, 'p', 0, 400000, 30, 1, 1920, 1080, NULL)",
                params![film, format!("/films/{film}.mp4")],
            )?;
            work.execute(
                "INSERT INTO cameras VALUES (?, ?, ?, ?, ?, ?, ?)",
                params![film, game, camera, camera.replace('-', " "), camera, camera, film],
            )?;
        }
        let mut ball = 0;
        for position in 1..=160i64 {
            let play = game * 1000 + position;
            work.prepare_cached("INSERT INTO rows VALUES (?, ?, ?, ?, ?)")?.execute(params![
                play,
                game,
                format!("tags.csv:{}", position + 1),
                position - 1,
                play.to_string()
            ])?;
            work.prepare_cached(
                "INSERT INTO plays (id, game, label, position, row, matched_by) VALUES (?, ?, ?, ?, ?, 'time')",
            )?
            .execute(params![play, game, position.to_string(), position, play])?;
            for side in 0..2 {
                let camera = game * 2 + side;
                let start = position * 2000;
                work.prepare_cached(
                    "INSERT INTO shots (play, camera, film, film_start, film_end, snap, snap_time, snap_confidence, \
                     found_by) VALUES (?, ?, ?, ?, ?, ?, ?, .9, 'picture')",
                )?
                .execute(params![
                    play,
                    camera,
                    camera,
                    start,
                    start + 400,
                    start + 120,
                    (start + 120) as f64 / 30.0
                ])?;
                work.prepare_cached("INSERT INTO clips VALUES (?, ?, ?, ?, ?, ?, 1, 400, 30, 1, 200, 'h')")?.execute(
                    params![play, camera, format!("clips/{game}/{side}/{position:03}.mp4"), camera, start, start + 400],
                )?;
            }
            if chance.random_range(0..6) == 0 {
                ball = 1 - ball;
            }
            let mut pick = |words: &[&'static str]| words[chance.random_range(0..words.len())];
            let words = [
                ("ball", ["Badgers", "Herons"][ball]),
                ("unit", pick(&["offense", "defense"])),
                ("hash", pick(&["left", "middle", "right"])),
                ("personnel", pick(&["11", "12", "21", "10"])),
                ("formation", pick(&["trips right", "bunch", "empty", "three-back", "doubles"])),
                ("backfield", pick(&["gun", "pistol", "under center"])),
                ("motion", pick(&["no", "no", "jet", "yes"])),
                ("play_type", pick(&["run", "pass", "screen", "run-pass option"])),
                ("concept", pick(&["mesh", "power", "counter", "verticals", "inside zone", "smash", "flood", "stick"])),
                ("front", pick(&["four-down", "odd", "even", "bear"])),
                ("shell", pick(&["one-high", "two-high", "zero-high"])),
                ("coverage", pick(&["cover 1", "cover 2", "cover 3", "cover 4"])),
                ("ending", pick(&["tackle", "out of bounds", "touchdown"])),
                ("note", pick(&["", "late rotation by the safety", "busted", "watch the tackle's feet"])),
            ];
            let own = [("grade", pick(&["A", "B", "C"])), ("Read Key", pick(&["x", "y", "z"]))];
            let tags = words.iter().map(|w| (0, w)).chain(own.iter().map(|w| (1, w)));
            for (own, (field, text)) in tags {
                let kind = if own == 1 || matches!(*field, "ball" | "note") { "text" } else { "word" };
                let folded = (!text.is_empty()).then(|| downbox::football::fold(text));
                work.prepare_cached("INSERT INTO row_tags VALUES (?, ?, ?, ?, NULL, ?)")?
                    .execute(params![play, own, field, kind, text])?;
                work.prepare_cached("INSERT INTO tags VALUES (?, ?, ?, ?, NULL, ?, ?)")?
                    .execute(params![play, own, field, kind, text, folded])?;
            }
            let numbers = [
                ("quarter", "number", 1 + (position - 1) / 40),
                ("clock", "clock", 900 - (position - 1) % 40 * 22),
                ("down", "number", chance.random_range(1..5)),
                ("distance", "distance", chance.random_range(1..13)),
                ("ball_on", "spot", chance.random_range(1..100)),
                ("gain", "number", chance.random_range(-4..21)),
            ];
            for (field, kind, number) in numbers {
                work.prepare_cached("INSERT INTO row_tags VALUES (?, 0, ?, ?, ?, NULL)")?
                    .execute(params![play, field, kind, number])?;
                work.prepare_cached("INSERT INTO tags VALUES (?, 0, ?, ?, ?, NULL, NULL)")?
                    .execute(params![play, field, kind, number])?;
            }
        }
    }
    work.commit()
}

/// CPU milliseconds of the sqlite3 shell for the plays, tags and clips of a condition as plain rows, and how many plays.
/// The shell's start and the reading of the schema are taken off.
fn shell(database: &Path, condition: &str, runs: u32) -> std::io::Result<(f64, usize)> {
    let ask = format!(
        "SELECT p.id, g.name, g.date, p.label FROM plays p JOIN games g ON g.id = p.game WHERE p.live AND {condition} \
         ORDER BY g.date, g.name, p.position"
    );
    let one = format!(
        "CREATE TEMP TABLE found AS {ask};
         .output /dev/null
         SELECT * FROM found;
         SELECT t.own, t.field, t.kind, t.num, t.text FROM found f JOIN tags t ON t.play = f.id;
         SELECT k.path, s.snap FROM found f JOIN clips k ON k.play = f.id
             JOIN shots s ON s.play = k.play AND s.camera = k.camera;
         .output
         DROP TABLE found;\n"
    );
    let run = |script: String| -> std::io::Result<(f64, String)> {
        let before = children()?;
        let mut child = Command::new("sqlite3")
            .arg("-readonly")
            .arg(database)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()?;
        if let Some(input) = &mut child.stdin {
            std::io::Write::write_all(input, script.as_bytes())?;
        }
        let said = child.wait_with_output()?;
        assert!(said.status.success(), "the shell refused: {script}");
        Ok((1000.0 * (children()? - before), String::from_utf8_lossy(&said.stdout).into_owned()))
    };
    let start = "SELECT count(*) FROM sqlite_schema;\n".to_string();
    let (bare, _) = run(start.clone())?;
    let mut script = start + &format!("SELECT count(*) FROM ({ask});\n");
    for _ in 0..runs {
        script += &one.lines().map(|line| format!("{}\n", line.trim())).collect::<String>();
    }
    let (time, said) = run(script)?;
    let count = said.lines().nth(1).and_then(|line| line.parse().ok()).unwrap_or(0);
    Ok(((time - bare).max(0.0) / f64::from(runs), count))
}

/// A file of the size that its record says and with the outermost boxes of a clip; it is never decoded here.
fn clip_files(folder: &Path, games: u32) -> std::io::Result<()> {
    let boxed = |kind: &[u8; 4], size: u32| {
        let mut bytes = size.to_be_bytes().to_vec();
        bytes.extend(kind);
        bytes.resize(size as usize, 0);
        bytes
    };
    let clip = [boxed(b"ftyp", 32), boxed(b"moov", 64), boxed(b"free", 8), boxed(b"mdat", BYTES - 104)].concat();
    for game in 1..=games {
        for side in 0..2 {
            let folder = folder.join(format!("clips/{game}/{side}"));
            std::fs::create_dir_all(&folder)?;
            for play in 1..=160 {
                std::fs::write(folder.join(format!("{play:03}.mp4")), &clip)?;
            }
        }
    }
    Ok(())
}

/// CPU seconds of `downbox check` over the library, and what it says of it.
fn checked(folder: &Path) -> std::io::Result<(f64, String)> {
    let before = children()?;
    let mut command = Command::new(env!("CARGO_BIN_EXE_downbox"));
    let said = command.args(["check", "--library"]).arg(folder).stderr(Stdio::null()).output()?;
    let text = String::from_utf8_lossy(&said.stdout).into_owned();
    Ok((
        children()? - before,
        text.lines().last().and_then(|l| Some(l.split_once(": ")?.1)).unwrap_or_default().to_string(),
    ))
}

fn main() -> Result<()> {
    let asked: Vec<u32> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![10, 100, 1000] } else { asked };
    let mut before: Vec<f64> = Vec::new();
    for games in sizes {
        let folder = tempfile::tempdir().expect("a folder");
        make(folder.path(), games)?;
        println!("{games} games, {} plays", games * 160);
        let mut now = Vec::new();
        let growth = |at: usize, time: f64| before.get(at).map_or(String::new(), |b| format!("  x{:.1}", time / b));
        let (time, _) = median(|| {
            let library = Library::open(folder.path(), Access::Read)?;
            Config::load(Some(folder.path()))?.words(&library)
        })?;
        println!("  {time:8.2} ms          opening{}", growth(0, time));
        now.push(time);
        let library = Library::open(folder.path(), Access::Read)?;
        let words = Config::load(Some(folder.path()))?.words(&library)?;
        let database = folder.path().join("downbox.sqlite");
        for (phrase, condition) in PHRASES {
            let (ours, found) = median(|| library.plays(&filter::parse(phrase, &words)?))?;
            let runs = (300.0 / ours).clamp(3.0, 100.0) as u32;
            let mut theirs: Vec<_> = (0..5).map(|_| shell(&database, condition, runs).expect("sqlite3")).collect();
            theirs.sort_by(|a, b| a.0.total_cmp(&b.0));
            let (theirs, count) = theirs[2];
            let same = if count == found.len() { String::new() } else { format!(" (plain: {count})") };
            println!(
                "  {ours:8.2} ms  x{:<5.2}  {phrase}: {} plays{same}{}",
                ours / theirs,
                found.len(),
                growth(now.len(), ours)
            );
            now.push(ours);
        }
        library.close()?;
        clip_files(folder.path(), games).expect("clips");
        let (time, said) = checked(folder.path()).expect("a check");
        println!("  {time:8.2} s           check{}: {said}", growth(now.len(), time));
        now.push(time);
        before = now;
    }
    Ok(())
}
