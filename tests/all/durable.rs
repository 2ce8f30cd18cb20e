//! In which order a clip and its row reach the disk, as the kernel sees it: content, name, folder, row. A row that came
//! first would, after a cut of power, name a clip that is not there.

use std::fs;
use std::process::Command;

use crate::desk::{Desk, told};

/// What strace saw of one call, in order: its name and the rest of the line.
fn calls(trace: &str) -> Vec<(String, String)> {
    let line = |line: &str| {
        let rest = line.split_once(' ').map_or(line, |(_, rest)| rest).trim_start();
        let (name, rest) = rest.split_once('(')?;
        Some((name.to_string(), rest.to_string()))
    };
    trace.lines().filter_map(line).collect()
}

#[test]
fn content_name_and_folder_are_on_the_disk_before_the_row() {
    let desk = Desk::with_game();
    let trace = desk.at("trace");
    let plain = desk.command();
    let mut command = Command::new("strace");
    command.args([
        "-f",
        "-y",
        "-s",
        "8192",
        "-e",
        "trace=write,pwrite64,fsync,fdatasync,rename,renameat,renameat2",
        "-o",
    ]);
    command.arg(&trace).arg(plain.get_program());
    command.args(["mend", "2", "--split-at", "+2", "--camera", "sideline"]);
    command.current_dir(desk.folder.path());
    for (name, value) in plain.get_envs() {
        if let Some(value) = value {
            command.env(name, value);
        }
    }
    let said = told(&mut command);
    assert_eq!(said.code, 0, "{}", said.err);
    let calls = calls(&String::from_utf8_lossy(&fs::read(&trace).unwrap()));
    let find = |from: usize, what: &str, is: &dyn Fn(&str, &str) -> bool| {
        let found = calls.iter().skip(from).position(|(name, rest)| is(name, rest));
        from + found.unwrap_or_else(|| panic!("{what} is not there after call {from} of {}", calls.len()))
    };
    let wal = |rest: &str| rest.contains("downbox.sqlite-wal>");
    let synced = |name: &str| matches!(name, "fsync" | "fdatasync");
    for clip in ["002a.mp4", "002.mp4"] {
        let row = format!("clips/Badgers/sideline/{clip}");
        let renamed = find(0, "the final name", &|name, rest| {
            name.starts_with("rename") && rest.trim_end().contains(&format!("{row}\")")) || {
                name.starts_with("renameat") && rest.contains(&format!("{row}\"")) && rest.contains(".pending-")
            }
        });
        let pending = calls[renamed].1.split('"').find(|part| part.contains(".pending-")).unwrap().to_string();
        let name = pending.rsplit('/').next().unwrap();
        let last = |is: &dyn Fn(&str, &str) -> bool| calls[..renamed].iter().rposition(|(n, rest)| is(n, rest));
        let written = last(&|n, rest| n.contains("write") && rest.contains(&format!("{name}>"))).unwrap();
        let content = last(&|n, rest| synced(n) && rest.contains(&format!("{name}>"))).unwrap();
        assert!(written < content, "{clip}: its content is synced after its last byte");
        let folder =
            find(renamed, "the folder's sync", &|n, rest| synced(n) && rest.contains("clips/Badgers/sideline>"));
        // The row of a clip that is new comes into the log once its file is there, and is synced then.
        let first = |from| find(from, "the row", &|n, rest| n.contains("write") && wal(rest) && rest.contains(&row));
        let logged = first(if clip == "002a.mp4" { 0 } else { folder });
        assert!(folder < logged, "{clip}: call {folder} syncs the folder, call {logged} writes the row");
        find(logged, "the row's sync", &|n, rest| synced(n) && wal(rest));
    }
}
