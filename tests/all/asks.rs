//! The answers to phrases as a coach sees them, and the standing asks, through the binary.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use crate::desk::{Desk, told};

#[test]
fn an_answer_fits_the_terminal_is_counted_sorted_and_grouped() {
    let desk = Desk::with_game();
    for columns in ["60", "80", "140"] {
        let said = told(desk.command().env("COLUMNS", columns).args(["plays"]));
        let width: usize = columns.parse().unwrap();
        // The reading may be any length; it is there to be pasted back.
        for line in said.out.lines().skip(2) {
            assert!(line.chars().count() <= width, "{columns}: {line}");
        }
        assert!(said.out.starts_with("5 plays: all\n"), "{}", said.out);
        assert!(said.out.contains("mean gain") && said.out.contains("few plays"), "{}", said.out);
    }
    let gains = |words: &[&str]| -> Vec<Option<i64>> {
        let document = desk.run(&[&["plays", "--json"], words].concat()).json();
        document["plays"].as_array().unwrap().iter().map(|p| p["tags"]["gain"].as_i64()).collect()
    };
    let mut sorted = gains(&[]);
    sorted.sort_by_key(|gain| (gain.is_none(), *gain));
    assert_eq!(gains(&["--sort", "gain"]), sorted);
    sorted.sort_by_key(|gain| (gain.is_none(), gain.map(|g| -g)));
    assert_eq!(gains(&["--sort", "gain", "--reverse"]), sorted);
    let groups = desk.run(&["plays", "--group", "play type", "--json"]).json()["groups"].clone();
    let counts: u64 = groups.as_array().unwrap().iter().map(|g| g["count"].as_u64().unwrap()).sum();
    assert_eq!(counts, 5);
    let text = desk.run(&["plays", "--group", "play type"]).out;
    assert!(text.contains("play type run: ") || text.contains("play type pass: "), "{text}");
    let [what, _, next] = desk.run(&["plays", "--sort", "gian", "--json"]).error();
    assert!(what.contains("ordered or grouped") && next.contains("gain"), "{what} {next}");

    let csv = desk.run(&["plays", "--csv"]).out;
    let mut read = csv::Reader::from_reader(csv.as_bytes());
    let heads = read.headers().unwrap().clone();
    assert!(
        ["game", "label", "down", "ball_on", "clip sideline", "clip end-zone"]
            .iter()
            .all(|h| heads.iter().any(|k| k == *h))
    );
    assert_eq!(read.records().map(Result::unwrap).count(), 5);

    let page = desk.run(&["plays", "--grammar"]);
    assert!(page.code == 0 && page.out.contains("third and short vs one-high"), "{}", page.out);
}

#[test]
fn the_first_clip_goes_to_the_systems_player() {
    let desk = Desk::with_game();
    let bin = desk.at("bin");
    fs::create_dir(&bin).unwrap();
    let open = || told(desk.command().env("PATH", &bin).args(["plays", "play 2", "--open", "--json"]));
    let player = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
    let said = open();
    assert_eq!(said.code, 2);
    assert!(said.err.contains(player) && said.err.contains("open it by hand"), "{}", said.err);
    let script = bin.join(player);
    fs::write(&script, format!("#!/bin/sh\necho \"$1\" > {}\n", desk.at("opened").display())).unwrap();
    fs::set_permissions(&script, fs::Permissions::from_mode(0o755)).unwrap();
    let said = open();
    assert_eq!(said.code, 0, "{}", said.err);
    let opened = fs::read_to_string(desk.at("opened")).unwrap();
    assert!(opened.trim().ends_with("sideline/002.mp4"), "{opened}");
}

#[test]
fn standing_asks_are_made_once_and_again_only_where_something_changed() {
    let desk = Desk::with_game();
    let asks = desk.library().join("asks.toml");
    fs::write(
        &asks,
        "[ask.two]\nphrase = \"play 1, 2\"\n[ask.none]\nphrase = \"gain >= 90\"\n[ask.four]\nphrase = \"play 4\"\n",
    )
    .unwrap();
    let run = |more: &[&str]| desk.run(&[&["cutup", "--asks", "--json"], more].concat());
    let states = |document: &serde_json::Value| -> Vec<(String, String)> {
        let text = |v: &serde_json::Value| v.as_str().unwrap().to_string();
        let asks = document["asks"].as_array().unwrap();
        let reels = |a: &serde_json::Value| {
            let name = text(&a["name"]);
            let list = a["reels"].as_array().unwrap().clone();
            list.into_iter().map(move |r| (name.clone(), text(&r["state"])))
        };
        asks.iter().flat_map(reels).collect()
    };
    let of = |four: &str, two: &str| [("four".to_string(), four.to_string()), ("two".to_string(), two.to_string())];
    assert_eq!(states(&run(&["--dry-run"]).json()), of("to make", "to make"));
    assert!(!desk.library().join("cutups").exists());
    let first = run(&[]);
    assert_eq!((first.code, states(&first.json())), (0, of("made", "made").to_vec()), "{}", first.err);
    let reel = desk.library().join("cutups/two/2026-09-11 Badgers.mp4");
    let bytes = fs::read(&reel).unwrap();
    assert_eq!(states(&run(&[]).json()), of("unchanged", "unchanged"));
    assert_eq!(fs::read(&reel).unwrap(), bytes);

    // Another phrase changes its own reel only; a reel that is gone is made again.
    let text = fs::read_to_string(&asks).unwrap();
    fs::write(&asks, text.replace("play 1, 2", "play 1, 3")).unwrap();
    assert_eq!(states(&run(&[]).json()), of("unchanged", "made"));
    fs::remove_file(&reel).unwrap();
    assert_eq!(states(&run(&[]).json()), of("unchanged", "made"));

    // A file that is none of our reels stays, whatever was made under that name before, and the rest is made.
    fs::write(&reel, b"next week's film").unwrap();
    fs::remove_dir_all(desk.library().join("cutups/four")).unwrap();
    let said = run(&[]);
    assert_eq!((said.code, states(&said.json())), (2, of("made", "failed").to_vec()));
    assert_eq!(fs::read(&reel).unwrap(), b"next week's film");

    // A phrase that finds nothing any more leaves its reel for a person to remove, and says so.
    fs::remove_file(&reel).unwrap();
    fs::write(&asks, text.replace("play 4", "play 4 and not play 4")).unwrap();
    assert_eq!(states(&run(&[]).json()), of("outdated", "made"));
    fs::write(&asks, "[ask.two]\nphrase = \"thrid\"\n").unwrap();
    let [what, _, next] = run(&[]).error();
    assert!(what.contains("\"two\"") && next.contains("third"), "{what} {next}");
}
