//! A night's work on the real binary: films and a sheet in, clips, answers and a reel out.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::desk::{Desk, copy, game, told, truth};
use crate::films::{count, remade, run};

fn seconds(path: &Path) -> f64 {
    let args = ["-v", "error", "-show_entries", "format=duration", "-of", "csv=p=0", path.to_str().unwrap()];
    String::from_utf8(run("ffprobe", &args)).unwrap().trim().parse().unwrap()
}

/// The plays as JSON, without what depends on where the films lie.
fn plays(desk: &Desk, phrase: &[&str]) -> Value {
    let said = desk.run(&[&["plays", "--json"], phrase].concat());
    assert!(said.code < 2, "{}", said.err);
    said.json()
}

#[test]
fn every_play_is_a_clip_from_every_camera_and_no_film_of_it_is_lost() {
    let desk = Desk::with_game();
    let found = plays(&desk, &[]);
    let truth = truth();
    assert_eq!(found["count"], truth["plays"].as_array().unwrap().len());
    for (number, camera) in truth["cameras"].as_array().unwrap().iter().enumerate() {
        let rate = 30.0;
        for play in camera["plays"].as_array().unwrap() {
            let snap = play["snap_time"].as_f64().unwrap();
            let whistle = truth["plays"][play["play"].as_u64().unwrap() as usize - 1]["whistle"]["after_end_seconds"]
                .as_f64()
                .unwrap_or(0.0);
            let shot = &camera["shots"][play["shot"].as_u64().unwrap() as usize];
            let filmed = |time: f64| {
                ((time * rate) as u64).clamp(shot["start"].as_u64().unwrap(), shot["end"].as_u64().unwrap())
            };
            let needed = (filmed(snap - 2.0), filmed(play["end_time"].as_f64().unwrap() + whistle + 0.5));
            let angle = ["sideline", "end-zone"][number];
            let clips = found["plays"].as_array().unwrap().iter().flat_map(|p| p["clips"].as_array().unwrap());
            let clip = clips
                .filter(|c| c["angle"] == angle)
                .find(|c| c["film_start"].as_u64().unwrap() <= needed.0 && needed.1 <= c["film_end"].as_u64().unwrap());
            let clip = clip.unwrap_or_else(|| panic!("play {} from {angle} is in no clip", play["play"]));
            let frames = clip["film_end"].as_u64().unwrap() - clip["film_start"].as_u64().unwrap();
            assert_eq!(clip["frames"], frames);
            assert_eq!(count(&desk.library().join(clip["path"].as_str().unwrap())), frames);
        }
    }
}

#[test]
fn rows_come_to_their_plays_and_the_missing_and_the_doubled_row_are_told() {
    let desk = Desk::with_game();
    let truth = truth();
    let said = desk.cut(&["--sheet", "TAGS"]);
    let done = said.json();
    assert_eq!((done["plays"].as_u64(), done["rows"].as_u64(), done["matched"].as_u64()), (Some(5), Some(5), Some(4)));
    assert_eq!((done["clips"].as_u64(), done["new_clips"].as_u64()), (Some(10), Some(0)), "{done}");
    let missing = truth["sheet"]["missing"].as_u64().unwrap().to_string();
    let to_check = done["to_check"].as_array().unwrap();
    let why = to_check.iter().find(|c| c["label"] == missing).unwrap()["why"].as_str().unwrap();
    assert!(why.contains("no row of the sheet"), "{why}");
    let twice =
        done["problems"].as_array().unwrap().iter().any(|p| p["what"].as_str().unwrap().contains("typed twice"));
    assert!(twice, "{done}");
    for play in plays(&desk, &[])["plays"].as_array().unwrap() {
        let label = play["label"].as_str().unwrap();
        if label != missing {
            let tags = &truth["plays"][label.parse::<usize>().unwrap() - 1]["tags"];
            assert_eq!(play["tags"]["down"], tags["down"], "play {label}");
            assert_eq!(play["tags"]["shell"], tags["shell"], "play {label}");
            assert_eq!(play["tags"]["ball_on"], tags["ball_on"], "play {label}");
            assert_eq!(play["matched_by"], "time");
        }
    }
}

#[test]
fn a_camera_and_the_sheet_may_come_later_also_when_the_first_film_is_gone() {
    let at_once = Desk::with_game();
    let desk = Desk::new();
    let films = desk.at("films");
    copy(&game(), &films);
    let sideline = films.join("sideline.mp4");
    let first = desk.cut(&["--sideline", sideline.to_str().unwrap()]);
    assert_eq!((first.code, first.json()["clips"].as_u64()), (0, Some(5)), "{}", first.err);
    fs::remove_file(&sideline).unwrap();
    let second = desk.cut(&["--end-zone", "END"]);
    assert_eq!((second.code, second.json()["clips"].as_u64()), (0, Some(10)), "{}", second.err);
    let third = desk.cut(&["--sheet", "TAGS"]);
    assert_eq!((third.code, third.json()["matched"].as_u64()), (0, Some(4)), "{}", third.err);

    let told = |desk: &Desk| {
        let mut found = plays(desk, &[]);
        for play in found["plays"].as_array_mut().unwrap() {
            play["clips"].as_array_mut().unwrap().iter_mut().for_each(|clip| clip["parts"] = json!(null));
        }
        found
    };
    assert_eq!(told(&desk), told(&at_once));
}

#[test]
fn cutting_again_with_either_camera_or_nothing_new_changes_nothing() {
    let desk = Desk::with_game();
    let before = plays(&desk, &[]);
    for args in [&["--end-zone", "END"][..], &["--end-zone", "END"], &["--sideline", "SIDELINE"], &["--sheet", "TAGS"]]
    {
        let said = desk.cut(args);
        assert_eq!((said.code, said.json()["new_clips"].as_u64()), (0, Some(0)), "{args:?}: {}", said.err);
        assert_eq!(plays(&desk, &[]), before, "{args:?}");
    }
    // Nor does a dry run find anything to do.
    let dry = desk.cut(&["--sideline", "SIDELINE", "--end-zone", "END", "--dry-run"]).json();
    assert_eq!((&dry["planned"], dry["matched"].as_u64()), (&json!([]), Some(4)), "{dry}");
}

#[test]
fn an_offset_given_by_hand_stays_until_another_is_given() {
    let desk = Desk::with_game();
    let rows = |desk: &Desk| -> Vec<Value> {
        plays(desk, &[])["plays"].as_array().unwrap().iter().map(|play| play["row"].clone()).collect()
    };
    let fitted = rows(&desk);
    assert_eq!(desk.cut(&["--sheet", "TAGS", "--offset", "14"]).code, 0);
    let by_hand = rows(&desk);
    assert_ne!(by_hand, fitted);
    assert_eq!(desk.cut(&["--end-zone", "END"]).code, 0);
    assert_eq!(rows(&desk), by_hand);
    let [what, ..] = desk.cut(&["--sheet", "TAGS", "--offset", "nan"]).error();
    assert!(what.contains("seconds"), "{what}");
}

#[test]
fn a_phrase_becomes_one_reel_with_its_plays_in_order() {
    let desk = Desk::with_game();
    let out = desk.at("run.mp4");
    let said = desk.run(&["cutup", "--json", "run two-high", "--out", out.to_str().unwrap()]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    let truth = truth();
    let missing = truth["sheet"]["missing"].as_u64().unwrap();
    // By the truth, not by what was typed: no play that does not fit, none that fits and is surely joined left out.
    let fits = |play: &&Value| {
        play["tags"]["play_type"] == "run" && play["tags"]["shell"] == "two-high" && play["play"] != missing
    };
    let want: Vec<String> =
        truth["plays"].as_array().unwrap().iter().filter(fits).map(|p| p["play"].to_string()).collect();
    assert!(want.len() >= 2, "{want:?}");
    let segments = done["segments"].as_array().unwrap();
    let shown: Vec<(&str, &str)> =
        segments.iter().map(|s| (s["label"].as_str().unwrap(), s["angle"].as_str().unwrap())).collect();
    let expected: Vec<(&str, &str)> =
        want.iter().flat_map(|label| [(label.as_str(), "sideline"), (label.as_str(), "end-zone")]).collect();
    assert_eq!(shown, expected);
    for pair in segments.windows(2) {
        assert_eq!(pair[0]["end"], pair[1]["start"]);
    }
    let length = done["seconds"].as_f64().unwrap();
    assert!((seconds(&out) - length).abs() < 0.05, "{} {length}", seconds(&out));
    assert_eq!(count(&out), (length * 30.0).round() as u64);
    let chapters = run("ffprobe", &["-v", "error", "-show_chapters", "-of", "json", out.to_str().unwrap()]);
    let chapters: Value = serde_json::from_slice(&chapters).unwrap();
    assert_eq!(chapters["chapters"].as_array().unwrap().len(), segments.len());

    // One angle, no sound, and a plan that writes nothing.
    let plan = desk.run(&["cutup", "run", "--out", "plan.mp4", "--angle", "wide", "--mute", "--dry-run", "--json"]);
    assert_eq!(plan.code, 0, "{}", plan.err);
    assert!(plan.json()["plan"][0].as_str().unwrap().contains("no sound"), "{}", plan.out);
    assert!(!desk.at("plan.mp4").exists());
    let silent = desk.run(&["cutup", "play 1", "--out", "one.mp4", "--angle", "sideline", "--mute"]);
    assert_eq!(silent.code, 0, "{}", silent.err);
    let streams = ["-v", "error", "-select_streams", "a", "-show_entries", "stream=codec_type", "-of", "csv=p=0"];
    let sounds = |file: &str| run("ffprobe", &[&streams[..], &[desk.at(file).to_str().unwrap()]].concat()).len();
    assert_eq!(sounds("one.mp4"), 0);
    assert!(sounds("run.mp4") > 0);
}

#[test]
fn a_row_in_doubt_stays_out_of_the_reel_unless_asked_for() {
    let desk = Desk::with_game();
    // The fourth row's time is off by what its neighbors cannot explain.
    let typed = fs::read_to_string(game().join("tags.csv")).unwrap();
    let moved = typed.replace("4,0:52.3,", "4,1:01.5,");
    assert_ne!(typed, moved);
    fs::write(desk.at("tags.csv"), moved).unwrap();
    let done = desk.cut(&["--sheet", "tags.csv"]).json();
    let reason =
        done["to_check"].as_array().unwrap().iter().find(|c| c["label"] == "4").expect("a doubt")["why"].clone();
    assert!(reason.as_str().unwrap().contains("its row is in doubt"), "{reason}");
    let cutup = |more: &[&str]| {
        desk.run(&[&["cutup", "down 2", "--out", "r.mp4", "--dry-run", "--json"], more].concat()).json()
    };
    let without = cutup(&[]);
    let left = without["left_out"].as_array().unwrap();
    let of_four = left.iter().find(|l| l["label"] == "4").expect("left out");
    assert!(of_four["why"].as_str().unwrap().starts_with("row in doubt"), "{without}");
    let with = cutup(&["--with-doubtful"]);
    assert_eq!(with["plays"].as_u64().unwrap(), without["plays"].as_u64().unwrap() + left.len() as u64);
    assert_eq!(with["left_out"].as_array().unwrap().len(), 0);
}

#[test]
fn with_every_film_gone_the_library_answers_from_its_clips() {
    let desk = Desk::new();
    let films = desk.at("films");
    copy(&game(), &films);
    let at = |name: &str| films.join(name).display().to_string();
    let said =
        desk.cut(&["--sideline", &at("sideline.mp4"), "--end-zone", &at("end-zone.mp4"), "--sheet", &at("tags.csv")]);
    assert_eq!(said.code, 0, "{}", said.err);
    let before = plays(&desk, &["run"]);
    fs::remove_dir_all(&films).unwrap();
    assert_eq!(plays(&desk, &["run"]), before);
    let cutup = desk.run(&["cutup", "run", "--out", "run.mp4", "--json"]);
    assert_eq!((cutup.code, cutup.json()["left_out"].as_array().unwrap().len()), (0, 0), "{}", cutup.err);
    let stills = desk.run(&["stills", "--out", "game.png", "--json"]);
    assert_eq!((stills.code, stills.json()["plays"].as_u64()), (0, Some(5)), "{}", stills.err);
    assert_eq!(stills.json()["problems"], json!([]));
    let size = run(
        "ffprobe",
        &[
            "-v",
            "error",
            "-show_entries",
            "stream=width,height",
            "-of",
            "csv=p=0",
            desk.at("game.png").to_str().unwrap(),
        ],
    );
    assert_eq!(String::from_utf8(size).unwrap().trim(), "2112,1494");
    // A clip that is lost as well takes its own play out, not the reel.
    fs::remove_file(desk.library().join("clips/Badgers/sideline/001.mp4")).unwrap();
    let cutup = desk.run(&["cutup", "run", "--out", "run.mp4", "--json", "--dry-run"]).json();
    assert_eq!(cutup["left_out"][0]["angle"], "sideline");
}

#[test]
fn a_damaged_film_is_cut_as_far_as_it_goes_and_the_damage_has_its_address() {
    let desk = Desk::new();
    let mut bytes = fs::read(game().join("sideline.mp4")).unwrap();
    // A bad block of a card: 4 KiB of one value, in the picture of the middle of the film.
    let middle = bytes.len() / 2;
    bytes[middle..middle + 4096].fill(0xaa);
    fs::write(desk.at("sideline.mp4"), &bytes).unwrap();
    let said = desk.cut(&["--sideline", "sideline.mp4", "--sheet", "TAGS"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    assert_eq!((done["plays"].as_u64(), done["clips"].as_u64()), (Some(5), Some(5)), "{done}");
    let told = done["problems"].as_array().unwrap().iter().find(|p| p["what"].as_str().unwrap().contains("damaged"));
    let place = told.expect("the damage is told")["where"].as_str().unwrap();
    let times: Vec<f64> = place.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    let film = seconds(&game().join("sideline.mp4"));
    assert!(times.len() == 2 && times[0] < times[1] && times[0] > 0.2 * film && times[1] < 0.8 * film, "{place}");
    assert_eq!(fs::read(desk.at("sideline.mp4")).unwrap(), bytes, "the source is as it was");
}

#[test]
fn one_file_three_parts_or_a_file_for_every_shot_give_the_same_plays() {
    let desk = Desk::new();
    let film = game().join("sideline.mp4");
    let truth = truth();
    let cuts: Vec<u64> = truth["cameras"][0]["cuts"].as_array().unwrap().iter().map(|c| c.as_u64().unwrap()).collect();
    let frames = truth["cameras"][0]["frames"].as_u64().unwrap();
    // Three parts of one recording: the card's border lies inside shots.
    let thirds = [frames / 3, 2 * frames / 3];
    // Coded once, with key frames at every border, then only copied: the pictures of all three are the same to the bit.
    let list = |borders: &[u64], sep: &str| borders.iter().map(u64::to_string).collect::<Vec<_>>().join(sep);
    let keys = format!("expr:eq(n,{})", list(&[&thirds[..], &cuts].concat(), ")+eq(n,"));
    let whole = desk.at("whole.mov");
    let coded = ["-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-bf", "0", "-force_key_frames", &keys];
    remade(&film, &whole, &[], &[&coded[..], &["-c:a", "pcm_s16le"]].concat());
    let mut found = Vec::new();
    for (name, borders) in [("one", &[][..]), ("three", &thirds), ("each", &cuts)] {
        let folder = desk.at(name);
        fs::create_dir_all(&folder).unwrap();
        let at = list(borders, ",");
        let split = ["-c", "copy", "-f", "segment", "-segment_frames", &at, "-reset_timestamps", "1"];
        match borders {
            [] => remade(&whole, &folder.join("film.mov"), &[], &["-c", "copy"]),
            _ => remade(&whole, &folder.join("film%03d.mov"), &[], &split),
        }
        let said = desk.run(&["scan", folder.to_str().unwrap(), "--angle", "sideline", "--json"]);
        assert_eq!(said.code, 0, "{}", said.err);
        let film = said.json()["films"][0].clone();
        assert_eq!(film["frames"], frames, "{name}");
        assert_eq!(film["parts"].as_array().unwrap().len(), borders.len() + 1, "{name}");
        found.push((name, film));
    }
    let (_, one) = &found[0];
    assert_eq!(one["plays"].as_array().unwrap().len(), 5);
    for (name, film) in &found[1..] {
        assert_eq!(film["shots"], one["shots"], "{name}");
        for (play, other) in film["plays"].as_array().unwrap().iter().zip(one["plays"].as_array().unwrap()) {
            assert_eq!(play["shot"], other["shot"], "{name}");
            // Each part's first picture is looked at, so that others of its pictures are than of the whole film.
            let near = |key: &str, most: f64| match (play[key].as_f64(), other[key].as_f64()) {
                (Some(a), Some(b)) => assert!((a - b).abs() <= most, "{name}, {key}: {a} for {b}"),
                (a, b) => assert_eq!(a, b, "{name}, {key}"),
            };
            near("set", 6.0);
            near("snap", 2.0);
            near("snap_confidence", 0.1);
            // Each file's sound begins anew, within a few samples of where the one before ended.
            let end = |p: &Value| p["whistle_time"].as_f64();
            match (end(play), end(other)) {
                (Some(a), Some(b)) => assert!((a - b).abs() < 0.05, "{name}: {play} {other}"),
                (a, b) => assert_eq!(a, b, "{name}"),
            }
        }
    }
}

#[test]
fn the_watcher_takes_a_settled_game_folder_once() {
    let desk = Desk::new();
    let inbox = desk.library().join("inbox");
    let nothing = desk.run(&["watch", "--once", "--settle", "0"]);
    assert_eq!(nothing.code, 1, "{}", nothing.err);
    assert!(nothing.err.contains("a new library is made"), "{}", nothing.err);
    desk.small_reels();
    copy(&game(), &inbox.join("2026-09-11 Badgers"));
    fs::create_dir_all(inbox.join("Empty")).unwrap();
    fs::write(inbox.join("Empty/notes.pdf"), "x").unwrap();
    let said = desk.run(&["watch", "--once", "--settle", "0", "--json"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    assert_eq!(done["taken"][0]["folder"], "2026-09-11 Badgers");
    let outcome = done["taken"][0]["outcome"].as_str().unwrap();
    assert!(outcome.starts_with("5 plays, 10 clips, 4 of 5 rows joined, "), "{outcome}");
    assert!(done["empty"][0]["outcome"].as_str().unwrap().contains("holds no film"), "{done}");
    let found = plays(&desk, &["all"]);
    assert_eq!((&found["plays"][0]["game"], &found["plays"][0]["date"]), (&json!("Badgers"), &json!("2026-09-11")));
    assert_eq!(desk.run(&["watch", "--once", "--settle", "0"]).code, 1, "done is done");
}

#[test]
fn a_dry_run_plans_and_writes_nothing() {
    let desk = Desk::new();
    let said = desk.cut(&["--sideline", "SIDELINE", "--sheet", "TAGS", "--dry-run"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let done = said.json();
    assert_eq!((done["plays"].as_u64(), done["matched"].as_u64()), (Some(5), Some(4)));
    let planned = done["planned"].as_array().unwrap();
    assert_eq!(planned.len(), 5);
    assert!(planned[1].as_str().unwrap().contains("copy "), "{}", planned[1]);
    let (copied, encoded) = (done["frames_copied"].as_u64().unwrap(), done["frames_encoded"].as_u64().unwrap());
    assert!(copied > encoded && encoded > 0, "{copied} copied, {encoded} encoded");
    assert!(!desk.library().exists());
}

#[test]
fn a_closed_pipe_is_no_failure() {
    let desk = Desk::with_game();
    let binary = env!("CARGO_BIN_EXE_downbox");
    let script = format!(
        "set -o pipefail; '{binary}' plays | true; '{binary}' plays --json | head -c 1 >/dev/null; \
         '{binary}' plays fourth 2>&1 >/dev/null | true; test ${{PIPESTATUS[0]}} = 1"
    );
    let mut command = std::process::Command::new("bash");
    command.args(["-c", &script]).env("DOWNBOX_LIBRARY", desk.library()).env("XDG_CONFIG_HOME", desk.at("none"));
    let said = told(&mut command);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
}
