//! Nights with their faults, on a clock that the test sets.

use std::time::Duration;

use super::bed::{Bed, GB, done, settings};
use super::event::{Event, Level, NightSettings};
use super::power::Supply;
use super::status::Standing;
use super::task::{Step, Task};
use crate::base::{Error, ErrorKind};
use crate::watch::Whole;

const BOTH: [&str; 9] = [
    "Badgers: probe sideline",
    "Badgers: scan sideline",
    "Badgers: probe end-zone",
    "Badgers: scan end-zone",
    "Badgers: pair",
    "Badgers: match",
    "Badgers: cut",
    "Badgers: prepare",
    "Badgers: asks",
];

fn with_both() -> Bed {
    let mut bed = Bed::new(settings());
    bed.put("2026-09-11 Badgers/sideline.mp4", 4 * GB);
    bed.put("2026-09-11 Badgers/end-zone.mp4", 4 * GB);
    bed.pass(21);
    bed
}

#[test]
fn a_game_goes_step_by_step_and_is_done_once() {
    let mut bed = Bed::new(settings());
    bed.pass(100);
    bed.put("2026-09-11 Badgers/sideline.mp4", 4 * GB);
    bed.put("2026-09-11 Badgers/end-zone.mp4", 4 * GB);
    bed.hear(Event::Hint);
    let dropped = bed.made.lock().unwrap().now;
    while bed.running.is_none() {
        assert!(bed.made.lock().unwrap().now < dropped + Duration::from_secs(60), "it does not begin");
        bed.pass(1);
    }
    let took = bed.made.lock().unwrap().now - dropped;
    assert!(took >= bed.settings.settle && took < bed.settings.settle + Duration::from_secs(5), "begun after {took:?}");
    assert!(bed.awake);
    bed.work();
    let mut want: Vec<String> = BOTH.iter().map(|s| s.to_string()).collect();
    want.push("Badgers: report".into());
    assert_eq!(bed.steps(), want);
    assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    assert!(!bed.awake);
    bed.pass(4000);
    assert_eq!(bed.steps(), Vec::<String>::new(), "done is done");
    bed.restart();
    bed.pass(100);
    assert_eq!(bed.steps(), Vec::<String>::new(), "also for the next process");
}

#[test]
fn a_kill_after_any_step_repeats_none_that_was_recorded() {
    for kill in 0..10 {
        let mut bed = with_both();
        let mut all = Vec::new();
        for _ in 0..kill {
            bed.finish(done);
        }
        let unfinished = bed.running.is_some();
        all.extend(bed.steps());
        bed.restart();
        bed.pass(21);
        bed.work();
        let again = bed.steps();
        if unfinished {
            assert_eq!(all.pop().as_ref(), again.first(), "the step that was cut off is done again");
        }
        all.extend(again);
        assert_eq!(all.len(), 10, "{kill}: {all:?}");
        assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    }
}

#[test]
fn a_sheet_that_comes_later_or_is_saved_again_is_matched_and_no_clip_is_cut_again() {
    let mut bed = with_both();
    bed.work();
    bed.steps();
    for size in [500, 600] {
        bed.put("2026-09-11 Badgers/tags.csv", size);
        bed.hear(Event::Hint);
        bed.pass(30);
        bed.work();
        let steps = ["read sheet", "match", "prepare", "asks", "report"].map(|step| format!("Badgers: {step}"));
        assert_eq!(bed.steps(), steps);
    }
    assert!(bed.standing("2026-09-11 Badgers").1.contains("6 of 6 rows joined"));
    // Saved in the middle of being matched: matched again.
    bed.put("2026-09-11 Badgers/tags.csv", 700);
    bed.pass(330);
    bed.finish(done);
    bed.put("2026-09-11 Badgers/tags.csv", 800);
    bed.hear(Event::Hint);
    bed.pass(5);
    bed.work();
    bed.pass(30);
    bed.work();
    assert_eq!(bed.steps().iter().filter(|step| step.ends_with("read sheet")).count(), 2);
    // A sheet that cannot be read keeps nothing else from being done, and is not tried again until it changes.
    bed.put("2026-09-11 Badgers/tags.csv", 900);
    bed.hear(Event::Hint);
    bed.pass(30);
    bed.finish(|_| Err(Error::refused("no column was understood", "tags.csv", "see its columns")));
    bed.work();
    assert_eq!(bed.steps(), ["Badgers: read sheet", "Badgers: report"]);
    let status = bed.night.status();
    assert!(status.games[0].aside[0][1].contains("no column was understood"), "{status:?}");
    bed.pass(8000);
    assert_eq!(bed.steps(), Vec::<String>::new());
}

#[test]
fn a_late_camera_is_added_and_films_that_are_tidied_away_take_nothing_with_them() {
    let mut bed = Bed::new(settings());
    bed.put("Badgers/sideline.mp4", GB);
    bed.pass(21);
    bed.work();
    bed.steps();
    bed.put("Badgers/tight 1.mp4", GB);
    bed.hear(Event::Hint);
    bed.pass(30);
    bed.work();
    assert_eq!(bed.steps()[..3], ["probe end-zone", "scan end-zone", "pair"].map(|s| format!("Badgers: {s}")));
    bed.remove("Badgers/sideline.mp4");
    bed.pass(600);
    assert_eq!((bed.steps(), bed.standing("Badgers").0), (vec![], Standing::Done));
    // A further card of the other camera comes after that.
    bed.put("Badgers/tight 2.mp4", GB);
    bed.hear(Event::Hint);
    bed.pass(30);
    let pair = |bed: &mut Bed| loop {
        let task = bed.running.clone().unwrap();
        if task.step == Step::Pair {
            return task.ask.cameras;
        }
        bed.finish(done);
    };
    let cameras = pair(&mut bed);
    assert_eq!((cameras.len(), cameras[0].1.len()), (1, 2), "both cards, and only that camera: {cameras:?}");
    bed.work();
    bed.steps();
    bed.remove("Badgers/tight 1.mp4");
    bed.remove("Badgers/tight 2.mp4");
    bed.pass(600);
    assert_eq!(bed.steps(), Vec::<String>::new());
}

#[test]
fn a_film_that_is_copied_slowly_is_waited_for_and_one_that_stands_still_not_forever() {
    let mut bed = Bed::new(settings());
    bed.put("Badgers/sideline.mp4", GB);
    for size in 1..10 {
        bed.put_as("Badgers/end-zone.mp4", size * 100_000, Whole::Not("its index is not there yet".into()));
        bed.hear(Event::Hint);
        bed.pass(15);
        bed.work();
    }
    assert_eq!(bed.steps(), ["Badgers: probe sideline", "Badgers: scan sideline"], "what has settled is measured");
    assert!(bed.standing("Badgers").1.contains("still changing"));
    // It stops growing for a minute, goes on, and is whole.
    bed.pass(60);
    assert!(bed.standing("Badgers").1.contains("its index is not there yet"), "{:?}", bed.standing("Badgers"));
    bed.put("Badgers/end-zone.mp4", 2 * GB);
    bed.hear(Event::Hint);
    bed.pass(30);
    bed.work();
    assert_eq!(bed.steps()[2], "Badgers: pair");
    // Another never goes on: after a while the game is cut without it, and says so.
    bed.put("Herons/sideline.mp4", GB);
    bed.put_as("Herons/end-zone.mp4", 7, Whole::Not("0.0 of 9.0 MB are there".into()));
    bed.put_as("Herons/sideline 2.mp4", 7, Whole::NoFilm("it is no MP4 or MOV file".into()));
    bed.put("Herons/cam3.mp4.part", 9);
    bed.hear(Event::Hint);
    bed.pass(800);
    bed.work();
    assert_eq!(bed.standing("Herons").0, Standing::Settling);
    bed.pass(500);
    bed.work();
    assert_eq!(bed.standing("Herons").0, Standing::Done);
    let status = bed.night.status();
    let aside = &status.games.iter().find(|game| game.folder == "Herons").unwrap().aside;
    assert_eq!(aside.len(), 3, "{aside:?}");
}

#[test]
fn a_drive_that_vanishes_and_returns_costs_nothing() {
    let mut bed = with_both();
    bed.finish(done);
    bed.finish(done);
    assert_eq!(bed.running.as_ref().unwrap().name(), "probe end-zone");
    bed.made.lock().unwrap().away = true;
    bed.pass(5);
    assert!(bed.broken, "the step is broken off");
    bed.finish(|_| Err(Error::failed("cannot read the film", "end-zone.mp4", "check the disk")));
    bed.pass(7200);
    assert!(bed.running.is_none());
    assert!(bed.night.status().warnings.iter().any(|w| w.contains("the inbox cannot be read")));
    bed.made.lock().unwrap().away = false;
    bed.pass(60);
    bed.work();
    let steps = bed.steps();
    assert_eq!(steps.iter().filter(|s| s.ends_with("scan sideline")).count(), 1, "{steps:?}");
    assert_eq!(steps.iter().filter(|s| s.ends_with("probe end-zone")).count(), 2);
    assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    // An empty mount point in the drive's place is no game that has lost its film.
    let files = std::mem::take(&mut bed.made.lock().unwrap().files);
    bed.pass(600);
    assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    bed.made.lock().unwrap().files = files;
    bed.steps();
    bed.pass(600);
    assert_eq!(bed.steps(), Vec::<String>::new());
}

#[test]
fn what_fails_is_tried_again_ever_later_and_the_others_go_on() {
    let mut bed = with_both();
    bed.put("2026-09-04 Herons/wide.mp4", GB);
    bed.hear(Event::Hint);
    let fails = |_: &Task| Err(Error::failed("the disk reported an error", "x", "check the disk"));
    bed.finish(fails);
    assert!(bed.standing("2026-09-11 Badgers").1.contains("tried again"));
    bed.pass(25);
    bed.work();
    assert!(bed.steps().iter().any(|s| s == "Herons: report"), "the other game is done meanwhile");
    bed.pass(40);
    bed.finish(fails);
    bed.pass(290);
    assert!(bed.running.is_none());
    bed.pass(20);
    // The third time it is set aside, and the other camera is cut.
    bed.finish(fails);
    bed.work();
    assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    assert!(bed.night.status().games[0].aside[0][0].contains("camera sideline"));
    bed.steps();
    bed.pass(1000);
    bed.work();
    assert_eq!(bed.steps()[..3], ["probe sideline", "scan sideline", "pair"].map(|s| format!("Badgers: {s}")));
}

#[test]
fn a_full_disk_is_waited_out_and_the_reserve_is_kept() {
    let mut bed = with_both();
    for _ in 0..4 {
        bed.finish(done);
    }
    bed.finish(|_| Err(Error::failed("cannot write", "x", "free some room").of_kind(ErrorKind::DiskFull)));
    bed.pass(30);
    assert!(bed.running.as_ref().is_none_or(|task| task.step == Step::Pair));
    bed.pass(60);
    bed.finish(done);
    bed.finish(done);
    assert_eq!(bed.running.as_ref().unwrap().step, Step::Cut);
    // Others fill the disk while clips are cut.
    bed.made.lock().unwrap().room = 3 * GB;
    bed.pass(2);
    assert!(!bed.broken);
    bed.made.lock().unwrap().room = GB;
    bed.pass(2);
    assert!(bed.broken);
    bed.finish(|_| Err(Error::failed("stopped", "", "").of_kind(ErrorKind::Interrupted)));
    bed.pass(600);
    assert!(bed.running.is_none());
    assert!(
        bed.standing("2026-09-11 Badgers").1.contains("1.0 GB are free"),
        "{:?}",
        bed.standing("2026-09-11 Badgers")
    );
    bed.made.lock().unwrap().room = 3 * GB;
    bed.pass(600);
    bed.finish(done);
    assert!(bed.log.iter().any(|(level, words)| *level == Level::Warn && words.contains("fills up")), "{:?}", bed.log);
    // Without room the game is done without what is rendered ahead, which follows when there is room.
    bed.made.lock().unwrap().room = GB;
    bed.pass(2);
    bed.finish(|_| Err(Error::failed("stopped", "", "").of_kind(ErrorKind::Interrupted)));
    bed.work();
    assert_eq!(bed.standing("2026-09-11 Badgers").0, Standing::Done);
    bed.steps();
    bed.made.lock().unwrap().room = 100 * GB;
    bed.pass(600);
    bed.work();
    assert_eq!(bed.steps(), ["Badgers: prepare", "Badgers: asks", "Badgers: report"]);
}

#[test]
fn nothing_is_begun_while_the_last_step_cannot_be_written_down() {
    let mut bed = with_both();
    // A file where the folder of records should be: nothing can be written.
    let records = bed.records.path().to_path_buf();
    std::fs::remove_dir_all(&records).unwrap();
    std::fs::write(&records, "").unwrap();
    bed.finish(done);
    bed.pass(60);
    assert!(bed.running.is_none());
    assert_eq!(bed.log.iter().filter(|(_, words)| words.contains("nothing more is begun")).count(), 1);
    std::fs::remove_file(&records).unwrap();
    bed.pass(10);
    assert_eq!(bed.running.as_ref().unwrap().name(), "scan sideline");
    std::fs::create_dir_all(&records).unwrap();
}

#[test]
fn the_newest_game_goes_first_and_a_person_before_all() {
    let mut bed = Bed::new(settings());
    bed.put("2026-09-04 Herons/wide.mp4", GB);
    bed.put("2026-09-11 Badgers/wide.mp4", GB);
    bed.put("Otters 2026-08-28/wide.mp4", GB);
    bed.pass(21);
    bed.made.lock().unwrap().asked = Some("cutup third and short".into());
    bed.pass(2);
    assert!(bed.broken);
    bed.finish(|_| Err(Error::failed("stopped", "", "").of_kind(ErrorKind::Interrupted)));
    bed.pass(60);
    assert!(bed.running.is_none());
    assert!(bed.night.status().paused.contains("cutup third and short"));
    bed.made.lock().unwrap().asked = None;
    bed.pass(2);
    bed.work();
    let games: Vec<String> = bed.steps().iter().filter(|s| s.ends_with("report")).cloned().collect();
    assert_eq!(games, ["Badgers: report", "Herons: report", "Otters: report"]);
}

#[test]
fn quiet_hours_use_fewer_cores_and_a_clock_that_is_set_back_changes_nothing_else() {
    let mut bed = Bed::new(NightSettings { quiet: Some((8 * 60, 18 * 60)), quiet_jobs: 0, ..settings() });
    bed.put("Badgers/wide.mp4", GB);
    // The clock on the wall is set back by an hour while the file settles.
    bed.pass(10);
    bed.made.lock().unwrap().set = -3600;
    bed.pass(12);
    assert!(bed.running.is_some(), "it settles by the clock that never goes back");
    bed.finish(done);
    // Nine in the morning.
    bed.made.lock().unwrap().set = 10 * 3600;
    bed.pass(2);
    assert!(bed.broken);
    bed.finish(|_| Err(Error::failed("stopped", "", "").of_kind(ErrorKind::Interrupted)));
    bed.pass(3600);
    assert!(bed.running.is_none());
    assert!(bed.night.status().paused.contains("quiet hours"));
    bed.made.lock().unwrap().set = 19 * 3600;
    bed.pass(2);
    bed.work();
    assert_eq!(bed.standing("Badgers").0, Standing::Done);
}

#[test]
fn the_battery_is_warned_of_and_the_end_is_expected() {
    let mut bed = with_both();
    assert!(bed.night.status().expected.is_some());
    bed.made.lock().unwrap().supply = Supply::Battery(41);
    bed.pass(3);
    assert!(bed.log.iter().any(|(level, words)| *level == Level::Warn && words.contains("battery (41 %)")));
    bed.finish(done);
    assert!(bed.night.status().warnings.iter().any(|w| w.contains("battery")));
    bed.work();
    bed.pass(2);
    assert_eq!(bed.night.status().expected, None);
}

#[test]
fn the_staffs_command_hears_of_a_game_once_and_again_when_it_changed() {
    let on = NightSettings { after_done: "mail".into(), after_failed: "call".into(), ..settings() };
    let mut bed = Bed::new(on);
    bed.put("Badgers/wide.mp4", GB);
    bed.pass(21);
    bed.work();
    assert_eq!(bed.hooks.len(), 1);
    let (folder, state, command) = bed.hooks.remove(0);
    assert_eq!(command, "mail");
    bed.hear(Event::Hooked(folder, state, "done".into(), "sent\u{1b}[2J".into()));
    assert!(bed.log.iter().any(|(_, words)| words == "Badgers: your command said: sent?[2J"), "{:?}", bed.log);
    bed.restart();
    bed.pass(400);
    assert!(bed.hooks.is_empty(), "also after a restart");
    bed.put("Badgers/tags.csv", 500);
    bed.pass(400);
    bed.work();
    assert_eq!(bed.hooks.len(), 1, "the sheet came");
    bed.put("Herons/wide.mp4", GB);
    bed.hear(Event::Hint);
    bed.pass(30);
    bed.finish(|_| Err(Error::refused("it is no film", "x", "name a film")));
    bed.work();
    assert_eq!(bed.hooks.last().map(|(.., command)| command.as_str()), Some("call"));
    let (standing, words) = bed.standing("Herons");
    assert!(standing == Standing::Failed && words.contains("it is no film"), "{words}");
}

#[test]
fn two_cameras_without_a_name_are_told_by_what_they_show() {
    let mut bed = Bed::new(settings());
    bed.put("Badgers/tower-1.mp4", GB);
    bed.put("Badgers/cam-1.mp4", GB);
    bed.pass(21);
    while bed.running.as_ref().is_some_and(|task| task.step != Step::Pair) {
        bed.finish(done);
    }
    let names: Vec<String> = bed.running.as_ref().unwrap().ask.cameras.iter().map(|(n, _)| n.clone()).collect();
    assert_eq!(names, ["sideline", "end-zone"]);
    bed.work();
    // A third camera later does not change what they are called.
    bed.steps();
    bed.put("Badgers/drone.mp4", GB);
    bed.hear(Event::Hint);
    bed.pass(30);
    while bed.running.as_ref().is_some_and(|task| task.step != Step::Pair) {
        bed.finish(done);
    }
    let names: Vec<String> = bed.running.as_ref().unwrap().ask.cameras.iter().map(|(n, _)| n.clone()).collect();
    assert_eq!(names, ["sideline", "drone", "end-zone"]);
}

#[test]
fn a_games_own_settings_hold_it_and_a_slip_in_them_is_named() {
    let mut bed = Bed::new(settings());
    bed.put("Badgers/wide.mp4", GB);
    bed.put("Badgers/game.toml", 12);
    bed.made.lock().unwrap().texts.insert("Badgers/game.toml".into(), "hold = true".into());
    bed.pass(30);
    assert!(bed.running.is_none() && bed.standing("Badgers").1.contains("held"));
    bed.put("Badgers/game.toml", 13);
    bed.made.lock().unwrap().texts.insert("Badgers/game.toml".into(), "hold = maybe".into());
    bed.hear(Event::Hint);
    bed.pass(30);
    assert_eq!(bed.standing("Badgers").0, Standing::Failed);
    bed.put("Badgers/game.toml", 14);
    bed.made.lock().unwrap().texts.insert("Badgers/game.toml".into(), "name = \"Foxes\"".into());
    bed.hear(Event::Hint);
    bed.pass(30);
    assert_eq!(bed.steps(), ["Foxes: probe sideline"]);
}

#[test]
fn a_single_round_ends_when_nothing_is_left() {
    let mut bed = Bed::new(NightSettings { once: true, ..settings() });
    bed.put("Badgers/wide.mp4", GB);
    bed.put("Empty/notes.pdf", 1);
    bed.pass(15);
    bed.put("Herons/wide.mp4", GB);
    bed.pass(6);
    assert!(!bed.ended);
    bed.work();
    // The other film goes on growing: a round does not wait for it forever.
    for size in 2..9 {
        bed.put("Herons/wide.mp4", size * GB);
        bed.hear(Event::Hint);
        bed.pass(10);
    }
    assert!(bed.ended && bed.running.is_none());
    let round = bed.night.round();
    let names = |list: &[(String, String)]| list.iter().map(|(folder, _)| folder.clone()).collect::<Vec<_>>();
    assert_eq!(
        [names(&round.taken), names(&round.changing), names(&round.empty)],
        [["Badgers"], ["Herons"], ["Empty"]]
    );
    assert!(round.failed.is_empty());
}

#[test]
fn junk_makes_no_game_and_a_lone_short_film_is_told() {
    let mut bed = Bed::new(NightSettings { after_failed: "call".into(), ..settings() });
    bed.put_as("Junk/wide.mp4", 9, Whole::NoFilm("it is no MP4 or MOV file".into()));
    bed.put_as("Half/wide.mp4", 9, Whole::Not("0.0 of 9.0 MB are there".into()));
    bed.pass(2000);
    assert_eq!(bed.steps(), Vec::<String>::new());
    assert_eq!(bed.standing("Junk").0, Standing::NoFilm);
    let (standing, words) = bed.standing("Half");
    assert!(standing == Standing::Failed && words.contains("0.0 of 9.0 MB"), "{words}");
    assert_eq!(bed.hooks.len(), 1);
}

#[test]
fn a_stop_ends_when_the_step_has_and_an_idle_night_hardly_looks() {
    let mut bed = with_both();
    bed.hear(Event::Stop);
    assert!(bed.broken && !bed.ended);
    bed.finish(|_| Err(Error::failed("stopped", "", "").of_kind(ErrorKind::Interrupted)));
    assert!(bed.ended);
    let mut idle = Bed::new(settings());
    idle.pass(3600);
    assert!(idle.made.lock().unwrap().walks <= 14, "{}", idle.made.lock().unwrap().walks);
}
