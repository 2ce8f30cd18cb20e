//! README's own commands, run in the order they stand in, in an empty folder.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::desk::{Desk, game, told};
use crate::films::remade;

#[test]
fn the_commands_of_the_readme_do_the_job() {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let blocks: Vec<&str> = readme.split("```").skip(1).step_by(2).collect();
    let lines: Vec<&str> =
        blocks.iter().flat_map(|block| block.lines()).filter(|line| line.starts_with("downbox ")).collect();
    assert!(lines.len() >= 4, "{lines:?}");

    let desk = Desk::new();
    let split = ["-c", "copy", "-f", "segment", "-segment_time", "40", "-reset_timestamps", "1"];
    remade(&game().join("sideline.mp4"), &desk.at("part%d.mp4"), &[], &split);
    fs::rename(desk.at("part0.mp4"), desk.at("a.mp4")).unwrap();
    fs::rename(desk.at("part1.mp4"), desk.at("b.mp4")).unwrap();
    fs::create_dir(desk.at("cards")).unwrap();
    fs::copy(game().join("end-zone.mp4"), desk.at("cards/00001.mp4")).unwrap();
    fs::copy(game().join("tags.csv"), desk.at("tags.csv")).unwrap();
    let folder = Path::new(env!("CARGO_BIN_EXE_downbox")).parent().unwrap();
    let path = format!("{}:{}", folder.display(), std::env::var("PATH").unwrap());
    for line in lines {
        // The made game has another third and short than the one in the example; second and short is its like.
        let line = line.replace("third and short vs one-high", "second and short vs two-high");
        let mut command = Command::new("bash");
        command.args(["-c", &line]).current_dir(desk.folder.path()).env("PATH", &path);
        command.env_remove("DOWNBOX_LIBRARY").env("XDG_CONFIG_HOME", desk.at("none"));
        command.env("XDG_CACHE_HOME", desk.at("cache"));
        let said = told(&mut command);
        assert_eq!(said.code, 0, "{line}\n{}\n{}", said.out, said.err);
    }
    for made in ["film-library/clips/Badgers/end-zone/005.mp4", "third-short.mp4", "game.png"] {
        assert!(desk.at(made).metadata().is_ok_and(|file| file.len() > 10_000), "{made}");
    }
}
