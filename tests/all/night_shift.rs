//! The night shift on the real binary: films that come in pieces, kills, a late sheet, junk. At the end the library is what an
//! undisturbed night leaves, and the sources are as they were.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::desk::{Desk, game, told};
use crate::junk;

const FOLDER: &str = "2026-09-11 Badgers";
/// Nothing here takes so long.
const HOPELESS: Duration = Duration::from_secs(600);

/// A desk with an empty library for small reels, and its inbox.
fn desk() -> (Desk, PathBuf) {
    let desk = Desk::new();
    assert_eq!(desk.run(&["watch", "--once", "--settle", "0"]).code, 1, "an empty inbox");
    desk.small_reels();
    let settings = desk.library().join("downbox.toml");
    let text = fs::read_to_string(&settings).unwrap().replace("# reserve_gb = 2.0", "reserve_gb = 0.0");
    // What is short is not waited for.
    fs::write(&settings, text.replace("# patience = 15", "patience = 0.05")).unwrap();
    fs::write(desk.library().join("asks.toml"), "[ask.runs]\nphrase = \"run\"\n").unwrap();
    let inbox = desk.library().join("inbox");
    (desk, inbox)
}

/// The night shift at work; ended with the test.
struct Shift(Child);

impl Shift {
    fn start(desk: &Desk) -> Self {
        let mut command = desk.command();
        command.args(["watch", "--settle", "1", "--quiet"]).stdin(Stdio::null()).stdout(Stdio::null());
        Self(command.stderr(fs::File::create(desk.at("shift.log")).unwrap()).spawn().unwrap())
    }

    fn kill(mut self) {
        // SIGKILL: nothing of the program runs after it.
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

impl Drop for Shift {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn status(desk: &Desk) -> Value {
    let bytes = fs::read(desk.library().join("log/status.json")).unwrap_or_default();
    serde_json::from_slice(&bytes).unwrap_or_default()
}

/// Waits for a condition of the status.
fn until(desk: &Desk, what: &str, is: impl Fn(&Value) -> bool) {
    let begun = Instant::now();
    while !is(&status(desk)) {
        assert!(begun.elapsed() < HOPELESS, "{what}: {:#}\n{}", status(desk), log(desk));
        std::thread::park_timeout(Duration::from_millis(20));
    }
}

fn log(desk: &Desk) -> String {
    fs::read_to_string(desk.at("shift.log")).unwrap_or_default()
}

fn of_game<'a>(status: &'a Value, key: &str) -> &'a str {
    let games = status["games"].as_array().map_or(&[][..], Vec::as_slice);
    games.iter().find(|game| game["folder"] == FOLDER).and_then(|game| game[key].as_str()).unwrap_or("")
}

fn is_done(status: &Value) -> bool {
    of_game(status, "standing") == "done"
        && of_game(status, "words").contains("of 5 rows joined")
        && status["doing"].is_null()
}

fn deliver(from: &str, to: PathBuf) {
    fs::create_dir_all(to.parent().unwrap()).unwrap();
    fs::copy(game().join(from), to).unwrap();
}

/// Every file below a folder with its content's hash; the report tells when it was written, and is left out.
fn files(folder: &Path) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    for entry in fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if let Ok(to) = fs::read_link(&path) {
            out.insert(name, to.display().to_string());
        } else if path.is_dir() {
            out.extend(files(&path).into_iter().map(|(file, hash)| (format!("{name}/{file}"), hash)));
        } else if !name.starts_with("report") {
            match fs::read(&path) {
                Ok(bytes) => _ = out.insert(name, blake3::hash(&bytes).to_hex().to_string()),
                // No call takes the deep folder's path.
                Err(error) => assert_eq!(error.kind(), std::io::ErrorKind::InvalidFilename, "{}", path.display()),
            }
        }
    }
    out
}

/// What a night leaves: plays as they are answered, clips byte by byte, reels by their pictures' count (an encoder with another
/// number of threads writes other bytes, and how many it has depends on how many plays are rendered at once).
fn left(desk: &Desk) -> (Value, BTreeMap<String, String>) {
    let plays = desk.run(&["plays", "--json"]);
    assert_eq!(plays.code, 0, "{}", plays.err);
    let said = desk.run(&["check", "--json"]);
    assert_eq!(said.code, 0, "{}{}", said.out, said.err);
    let mut plays = plays.json();
    // Films have other names where they came in another way.
    for play in plays["plays"].as_array_mut().unwrap() {
        for clip in play["clips"].as_array_mut().unwrap() {
            clip["parts"].take();
        }
    }
    let mut all = files(&desk.library().join("clips"));
    let reels = desk.library().join("cutups");
    let reel = |name: String| (name.clone(), crate::films::count(&reels.join(&name)).to_string());
    all.extend(files(&reels).into_keys().filter(|name| name.ends_with("mp4")).map(reel));
    (plays, all)
}

/// What an undisturbed night leaves.
fn undisturbed() -> &'static (Value, BTreeMap<String, String>) {
    static LEFT: OnceLock<(Value, BTreeMap<String, String>)> = OnceLock::new();
    LEFT.get_or_init(|| {
        let (desk, inbox) = desk();
        for file in ["sideline.mp4", "end-zone.mp4", "tags.csv"] {
            deliver(file, inbox.join(FOLDER).join(file));
        }
        let settings = desk.library().join("downbox.toml");
        let text = fs::read_to_string(&settings).unwrap();
        let hook = "after_done = \"echo $DOWNBOX_STATE $DOWNBOX_GAME: $DOWNBOX_WORDS; cp \\\"$DOWNBOX_REPORT\\\" ../mailed.html\"";
        fs::write(&settings, text.replace("# after_done = \"\"", hook)).unwrap();
        let mut command = desk.command();
        let said = told(command.args(["watch", "--once", "--settle", "0", "--json"]).current_dir(desk.library()));
        assert_eq!(said.code, 0, "{}", said.err);
        let words = said.json()["taken"][0]["outcome"].as_str().unwrap().to_string();
        assert!(words.starts_with("5 plays, 10 clips, 4 of 5 rows joined, "), "{words}");
        assert!(said.err.contains(&format!("your command said: done Badgers: {words}")), "{}", said.err);
        let page = fs::read_to_string(desk.at("mailed.html")).unwrap();
        assert!(page.contains("Plays to check") && page.contains("<img src=\"data:image/jpeg;base64,"), "{page}");
        assert_eq!(fs::read_to_string(desk.library().join("clips/Badgers/report.html")).unwrap(), page);
        let text = fs::read_to_string(desk.library().join("clips/Badgers/report.txt")).unwrap();
        assert!(text.contains("runs: ") && text.contains("cutups/runs/2026-09-11 Badgers.mp4"), "{text}");
        // A phrase never asked before is joined from what was rendered ahead.
        let cutup = desk.run(&["cutup", "pass", "--out", desk.at("pass.mp4").to_str().unwrap(), "--json"]);
        assert_eq!((cutup.code, &cutup.json()["rendered"]), (0, &Value::from(0)), "{}{}", cutup.out, cutup.err);
        let status = desk.run(&["status"]);
        assert!(status.out.contains("not running: all was done") && status.out.contains(&words), "{}", status.out);
        let left = left(&desk);
        assert!(left.1.len() >= 11, "{:?}", left.1.keys());
        left
    })
}

#[test]
fn a_night_of_kills_and_surprises_ends_as_an_undisturbed_one() {
    let want = undisturbed();
    let (desk, inbox) = desk();
    let place = inbox.join(FOLDER);
    let junk = junk::lay(&inbox, &place, &game().join("end-zone.mp4"), 120).unwrap();
    let shift = Shift::start(&desk);
    // A film comes slowly, under another name until it is whole.
    let whole = fs::read(game().join("sideline.mp4")).unwrap();
    fs::write(place.join("Wide.mp4.part"), &whole[..whole.len() / 2]).unwrap();
    until(&desk, "half a film is waited for", |status| of_game(status, "words").contains("copied"));
    fs::write(place.join("Wide.mp4.part"), &whole).unwrap();
    fs::rename(place.join("Wide.mp4.part"), place.join("Wide.mp4")).unwrap();
    until(&desk, "it is measured", |status| status["doing"]["step"] == "scan sideline");
    shift.kill();
    let said = desk.run(&["status"]);
    assert!(said.out.contains("went away without a word"), "{}", said.out);
    // The other camera comes while nobody is there.
    deliver("end-zone.mp4", place.join("cards/tight/00001.MP4"));
    let shift = Shift::start(&desk);
    until(&desk, "clips are cut", |status| status["doing"]["step"] == "cut");
    shift.kill();
    // A sheet that is another game's, and then the right one, while plays are rendered.
    fs::write(place.join("tags.csv"), "Play,Down,Distance\n1,1,10\n").unwrap();
    let shift = Shift::start(&desk);
    until(&desk, "plays are rendered ahead", |status| status["doing"]["step"] == "prepare");
    deliver("tags.csv", place.join("tags.csv"));
    until(&desk, "the new sheet is joined", is_done);
    shift.kill();
    let sources = files(&inbox);
    // The next night finds nothing to do but what was cut off.
    let shift = Shift::start(&desk);
    let pid = shift.0.id();
    until(&desk, "it is done", |status| is_done(status) && status["pid"] == pid);
    let stopped = Command::new("kill").args(["-TERM", &shift.0.id().to_string()]).status().unwrap();
    assert!(stopped.success());
    let mut shift = shift;
    assert_eq!(shift.0.wait().unwrap().code(), Some(130), "{}", log(&desk));
    let said = desk.run(&["status", "--json"]);
    assert_eq!(said.json()["state"], "stopped", "{}", said.out);
    assert_eq!(&left(&desk), want);
    assert_eq!(files(&inbox), sources, "the inbox is as it was");
    assert_eq!(desk.run(&["plays", "--json"]).json()["plays"].as_array().unwrap().len(), 5);
    let games = said.json();
    let taken: Vec<&Value> =
        games["games"].as_array().unwrap().iter().filter(|game| game["standing"] == "done").collect();
    assert_eq!(taken.len(), 1, "of {junk} junk files none is a game: {games:#}");
}

#[test]
fn a_person_goes_first_and_one_shift_is_enough() {
    let (desk, inbox) = desk();
    for file in ["sideline.mp4", "end-zone.mp4"] {
        deliver(file, inbox.join(FOLDER).join(file));
    }
    let shift = Shift::start(&desk);
    until(&desk, "plays are rendered ahead", |status| status["doing"]["step"] == "prepare");
    let second = desk.run(&["watch", "--json"]);
    let [what, _, _] = second.error();
    assert!(what.contains("the inbox is being worked off by process"), "{what}");
    let out = desk.at("all.mp4");
    let cutup = desk.run(&["cutup", "all", "--angle", "sideline", "--out", out.to_str().unwrap()]);
    assert_eq!(cutup.code, 0, "{}", cutup.err);
    // A drive goes and comes back while it works.
    let mended = desk.run(&["mend", "2", "--set", "down=4"]);
    assert_eq!(mended.code, 0, "{}", mended.err);
    let away = desk.at("away");
    fs::rename(&inbox, &away).unwrap();
    until(&desk, "the inbox is away", |status| !status["warnings"].as_array().is_none_or(Vec::is_empty));
    fs::rename(&away, &inbox).unwrap();
    until(&desk, "it is done", |status| of_game(status, "standing") == "done" && status["doing"].is_null());
    drop(shift);
    let log: String = fs::read_dir(desk.library().join("log"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "log"))
        .map(|path| fs::read_to_string(path).unwrap())
        .collect();
    assert!(log.contains("a person's request goes first: cutup all"), "{log}");
    let plays = desk.run(&["plays", "fourth", "--json"]).json();
    assert_eq!(plays["count"], 1, "{plays}");
}
