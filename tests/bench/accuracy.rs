//! How well plays are found: on a pool of made games whose seeds come from the commit, so that nobody could tune on them.
//!
//! `cargo bench --profile dev --bench accuracy [-- --games N] [--plays N] [--seed N] [--worst | --each]`; `--seed` measures
//! an earlier pool again,
//! `--made DIR...` games that were made before. First says whether the pool is hard; where it is not, no figure is
//! printed. What was measured over a film is kept beside it under the sources of the measurement, so that judgment can be
//! tried again quickly: `--tune` does that, without proof of hardness, and says that its figures do not count.
#![allow(missing_docs)]

mod pool;
mod tally;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::{Command, ExitCode};

use downbox::base::{FrameSpan, Silent};
use downbox::film::{Angle, Film, FilmReader, Series};
use downbox::media::Media;
use downbox::plays::{self, Camera, Found, Heard, Settings, Stretch};
use downbox::sense::{ShotSounds, SoundMatcher};
use pool::{FilmedPlay, Game, TrueCamera, flag};
use tally::{Tally, errors, wilson};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// One best threshold on camera-compensated motion may find at most this share of the snaps.
const THRESHOLD_LIMIT: f64 = 0.88;

/// One camera's film, measured and judged.
struct Scanned<'a> {
    truth: &'a TrueCamera,
    film: Film,
    series: Series,
    found: Found,
}

fn main() -> ExitCode {
    match bench() {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("accuracy: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<bool, Failure> {
    // Read at once: while a long run makes its games, somebody may edit.
    let name = pool::measurement()?;
    let tuning = flag("--tune");
    let maker = if tuning && !pool::folders().is_empty() { PathBuf::new() } else { pool::maker()? };
    let games = pool::asked(&maker)?;
    let words = if tuning {
        println!("for tuning: hardness is not judged, and no figure counts");
        String::new()
    } else {
        let hard = Command::new(&maker).arg("hard").args(games.iter().map(|g| &g.folder)).output()?;
        String::from_utf8_lossy(&hard.stdout).into_owned()
    };
    print!("{words}");
    let games = pool::encoded(games)?;
    let media = Media::new()?;
    let mut scans = Vec::new();
    for game in &games {
        scans.push(scan(&media, game, &name)?);
    }
    let threshold = best_threshold(scans.iter().map(|s| &s[0]));
    println!(
        "one best threshold on camera-compensated motion: {threshold:.3} of sideline snaps; at most {THRESHOLD_LIMIT}"
    );
    // A fault that stands at every snap trips a threshold there: such a pool is for doubt, not for moments.
    let faults = games.iter().all(|g| g.truth.faults);
    if !tuning && (!words.contains("pool: HARD") || (threshold > THRESHOLD_LIMIT && !faults)) {
        println!("the pool is not hard: the run is void");
        return Ok(false);
    }
    report(&media, &games, &scans)
}

fn scan<'a>(media: &Media, game: &'a Game, name: &str) -> Result<Vec<Scanned<'a>>, Failure> {
    let mut out = Vec::new();
    for truth in &game.truth.cameras {
        let paths: Vec<_> = truth.files.iter().map(|f| game.folder.join(&f.path)).collect();
        let film = media.read(&paths, &Silent)?;
        let series = pool::measured(media, &film, &game.folder, &truth.angle, name)?;
        let found = plays::find(&series, &film, Angle::named(&truth.angle), &Settings::default());
        eprintln!("scanned seed {} look {} {}: {} plays", game.seed, game.look, truth.angle, found.plays.len());
        out.push(Scanned { truth, film, series, found });
    }
    Ok(out)
}

/// The share of snaps that the first crossing of one threshold in a play's shot finds within a second, at the threshold
/// that an oracle picks.
fn best_threshold<'a>(sidelines: impl Iterator<Item = &'a Scanned<'a>>) -> f64 {
    let mut shots = Vec::new();
    for s in sidelines {
        for play in &s.truth.plays {
            let Some(shot) = play.shot.and_then(|k| s.truth.shots.get(k)) else { continue };
            let samples: Vec<(f64, f32)> = s
                .series
                .samples
                .iter()
                .filter(|x| x.frame > shot.start + 4 && x.frame < shot.end && !x.bad)
                .map(|x| (x.time, x.energy))
                .collect();
            shots.push((play.snap_time, samples));
        }
    }
    let mut best = 0;
    let mut threshold = 0.001f32;
    while threshold < 1.0 {
        let hits = shots
            .iter()
            .filter(|(snap, samples)| {
                samples.iter().find(|s| s.1 > threshold).is_some_and(|s| (s.0 - snap).abs() <= 1.0)
            })
            .count();
        best = best.max(hits);
        threshold *= 1.05;
    }
    best as f64 / shots.len().max(1) as f64
}

/// What of the true plays is in clips.
#[derive(Default)]
struct Clips {
    in_no_clip: Vec<String>,
    losing: Vec<String>,
    surplus: Vec<f64>,
    /// Clips, and how many of them show no play.
    all: usize,
    extra: usize,
}

#[derive(Default)]
struct Report {
    cuts: Tally,
    snaps: BTreeMap<&'static str, Tally>,
    snap_errors: BTreeMap<&'static str, Vec<f64>>,
    ends: BTreeMap<&'static str, Tally>,
    end_errors: BTreeMap<&'static str, Vec<f64>>,
    /// Clips of each camera alone, and of the cameras together, as they are cut.
    alone: Clips,
    together: Clips,
    doubts: usize,
    /// Snaps: right and sure, right and doubted, wrong and doubted, wrong and sure.
    doubted: BTreeMap<&'static str, [usize; 4]>,
    /// Snaps off by over half a second, and how many of them are shown to a person.
    off: BTreeMap<&'static str, [usize; 2]>,
    /// Shots that show no play, and how many of them were taken for one with a snap, and kept to be looked at, by kind.
    others: BTreeMap<String, [usize; 3]>,
    why: BTreeMap<String, usize>,
    /// Plays of which any camera's snap is off by over half a second as they are cut, and how many of
    /// them are shown to a person.
    off_as_cut: [usize; 2],
    game_plays: usize,
    game_doubts: usize,
    paired: Tally,
    by: BTreeMap<String, usize>,
}

fn report(media: &Media, games: &[Game], scans: &[Vec<Scanned<'_>>]) -> Result<bool, Failure> {
    let mut r = Report::default();
    for (game, cameras) in games.iter().zip(scans) {
        for scanned in cameras {
            let as_f64 = |v: &[u64]| v.iter().map(|&c| c as f64).collect::<Vec<_>>();
            let cuts = Tally::of(&as_f64(&scanned.series.cuts), &as_f64(&scanned.truth.cuts), 2.0);
            if cuts.wrong + cuts.missed > 0 {
                println!("  cuts of seed {} {}: {cuts}", game.seed, scanned.truth.angle);
            }
            r.cuts.add(cuts);
            if scanned.truth.angle == "woven" {
                continue;
            }
            let name = match (game.truth.take.as_str(), scanned.truth.angle.as_str()) {
                _ if game.truth.faults && scanned.truth.angle == "sideline" => "a fault at the snap, sideline",
                _ if game.truth.faults => "a fault at the snap, end zone alone",
                ("long", "sideline") => "long take, sideline",
                ("long", _) => "long take, end zone alone",
                (_, "sideline") => "sideline",
                _ => "end zone alone",
            };
            moments(&mut r, name, game, scanned, &scanned.found.plays);
            alone(&mut r, game, scanned);
        }
        if let [_, _] = &cameras[..] {
            pairing(&mut r, media, game, cameras)?;
        } else {
            for scanned in cameras.iter().filter(|s| s.truth.angle != "woven") {
                r.together.add(game, scanned, &scanned.found.plays);
            }
        }
    }
    print(&r);
    let sideline = r.snaps.get("sideline").map_or(1.0, Tally::f1);
    Ok(r.cuts.f1() >= 0.98 && sideline >= 0.93 && r.together.in_no_clip.is_empty() && r.together.losing.is_empty())
}

fn moments(r: &mut Report, name: &'static str, game: &Game, scanned: &Scanned<'_>, found: &[downbox::film::Play]) {
    let snaps: Vec<f64> = found.iter().filter_map(|p| p.snap).map(|s| s.time).collect();
    let ends: Vec<f64> = found.iter().filter_map(|p| p.whistle).map(|s| s.time).collect();
    let truth = &scanned.truth.plays;
    let true_snaps: Vec<f64> = truth.iter().map(|p| p.snap_time).collect();
    let true_ends: Vec<f64> = truth.iter().map(|p| p.end_time).collect();
    r.snaps.entry(name).or_default().add(Tally::of(&snaps, &true_snaps, 1.0));
    r.ends.entry(name).or_default().add(Tally::of(&ends, &true_ends, 1.0));
    let worst = flag("--worst");
    for p in found {
        let Some(snap) = p.snap else { continue };
        let right = true_snaps.iter().any(|t| (snap.time - t).abs() <= 1.0);
        let cell = match (right, p.doubt.is_some()) {
            (true, false) => 0,
            (true, true) => 1,
            (false, true) => 2,
            (false, false) => 3,
        };
        r.doubted.entry(name).or_default()[cell] += 1;
    }
    for play in truth {
        let holds = |p: &&downbox::film::Play| p.span.holds(scanned.film.frame_at(play.snap_time));
        let off = |p: &downbox::film::Play| p.snap.map_or(f64::INFINITY, |s| (s.time - play.snap_time).abs());
        let near = found.iter().filter(holds).filter(|p| p.snap.is_some()).min_by(|a, b| off(a).total_cmp(&off(b)));
        let Some((p, snap)) = near.and_then(|p| Some((p, p.snap?))) else {
            if worst || flag("--each") {
                println!("  {name}: seed {} play {} at {:.1} s: no snap found", game.seed, play.play, play.snap_time);
            }
            continue;
        };
        let error = snap.time - play.snap_time;
        r.snap_errors.entry(name).or_default().push(error);
        if error.abs() > 0.5 {
            let [all, shown] = r.off.entry(name).or_default();
            *all += 1;
            *shown += usize::from(p.doubt.is_some());
        }
        let end = p.whistle.map(|end| end.time - play.end_time);
        r.end_errors.entry(name).or_default().extend(end);
        if (worst && error.abs() > 0.5) || flag("--each") {
            println!(
                "  {name}: seed {} play {} frame {} off by {error:+.2} s, end by {:+.2} s, confidence {:.2}, doubt {:?}",
                game.seed,
                play.play,
                snap.frame,
                end.unwrap_or(f64::NAN),
                snap.confidence,
                p.doubt
            );
        }
    }
}

/// The film that a clip must hold: from 2 s before the snap to half a second after the whistle, where it was filmed.
fn needed(game: &Game, scanned: &Scanned<'_>, play: &FilmedPlay) -> Option<FrameSpan> {
    let shot = play.shot.and_then(|k| scanned.truth.shots.get(k))?;
    let whistle = game.truth.plays.iter().find(|p| p.play == play.play).and_then(|p| p.whistle.as_ref());
    let late = whistle.map_or(0.0, |w| w.after_end_seconds + w.seconds);
    let from = scanned.film.frame_at((play.snap_time - 2.0).max(0.0)).0.max(shot.start);
    let to = (scanned.film.frame_at(play.end_time + late + 0.5).0 + 1).min(shot.end);
    Some(FrameSpan::of(from, to))
}

fn alone(r: &mut Report, game: &Game, scanned: &Scanned<'_>) {
    let found = &scanned.found;
    r.doubts += found.plays.iter().filter(|p| p.doubt.is_some()).count();
    for why in found.plays.iter().filter_map(|p| p.doubt.as_deref()).flat_map(|d| d.split("; ")) {
        let plain: String = why.chars().filter(|c| !c.is_ascii_digit() && *c != '.').collect();
        *r.why.entry(plain).or_default() += 1;
    }
    let clips = r.alone.add(game, scanned, &found.plays);
    for shot in scanned.truth.shots.iter().filter(|s| !matches!(s.kind.as_str(), "play" | "long")) {
        let [all, taken, kept] = r.others.entry(shot.kind.clone()).or_default();
        *all += 1;
        // A play's clip that begins in the middle of it, or holds that, is of this shot.
        let middle = downbox::base::FrameNo((shot.start + shot.end) / 2);
        let held = |snap: bool| {
            let with =
                |(clip, play): (&FrameSpan, &downbox::film::Play)| clip.holds(middle) && play.snap.is_some() == snap;
            clips.iter().zip(&found.plays).any(with)
        };
        *taken += usize::from(held(true));
        *kept += usize::from(held(false));
    }
}

impl Clips {
    /// One camera's plays.
    fn add(&mut self, game: &Game, scanned: &Scanned<'_>, plays: &[downbox::film::Play]) -> Vec<FrameSpan> {
        let settings = Settings::default();
        let clips: Vec<FrameSpan> = plays.iter().map(|p| plays::clip_span(p, &scanned.film, &settings)).collect();
        let mut used = vec![false; clips.len()];
        for play in &scanned.truth.plays {
            let Some(needed) = needed(game, scanned, play) else { continue };
            let snap = scanned.film.frame_at(play.snap_time);
            let what = || format!("seed {} {} play {}", game.seed, scanned.truth.angle, play.play);
            let holding = |k: &usize| clips[*k].holds(snap);
            // Of clips that overlap the one that holds most of it is the play's.
            let held = |k: usize| needed.end.min(clips[k].end).0.saturating_sub(needed.start.max(clips[k].start).0);
            match (0..clips.len()).filter(holding).max_by_key(|&k| held(k)) {
                None => self.in_no_clip.push(what()),
                Some(k) => {
                    used[k] = true;
                    if !clips[k].covers(needed) {
                        self.losing.push(what());
                    }
                    self.surplus.push(clips[k].len().saturating_sub(needed.len()) as f64 / scanned.film.hz());
                }
            }
        }
        if flag("--each") {
            let spans = clips.iter().zip(&used).map(|(c, used)| {
                format!(
                    "{}{:.1}-{:.1}",
                    if *used { "" } else { "no play: " },
                    scanned.film.time(c.start),
                    scanned.film.time(c.end)
                )
            });
            println!("  clips of seed {} {}: {}", game.seed, scanned.truth.angle, spans.collect::<Vec<_>>().join(", "));
        }
        self.all += clips.len();
        self.extra += used.iter().filter(|u| !**u).count();
        clips
    }

    fn print(&self, name: &str) {
        let n = self.surplus.len() + self.in_no_clip.len();
        let share = |k: usize| {
            let (low, high) = wilson(k as f64 / n.max(1) as f64, n as f64);
            format!("{k} of {n} [{low:.3}, {high:.3}]")
        };
        let lost = share(self.losing.len());
        println!("{name}: true plays in no clip: {} {:?}", share(self.in_no_clip.len()), self.in_no_clip);
        println!("{name}: clips that lose film of [snap - 2 s, whistle + .5 s]: {lost} {:?}", self.losing);
        let mut surplus = self.surplus.clone();
        surplus.sort_by(f64::total_cmp);
        let median = surplus.get(surplus.len() / 2).copied().unwrap_or(0.0);
        println!("{name}: surplus, median {median:.1} s; clips of no play: {} of {}", self.extra, self.all);
    }
}

fn pairing(r: &mut Report, media: &Media, game: &Game, scans: &[Scanned<'_>]) -> Result<(), Failure> {
    let cameras: Vec<Camera<'_>> = scans.iter().map(|s| Camera { film: &s.film, found: &s.found }).collect();
    let mut sounds = Vec::new();
    for s in scans {
        sounds.push(ShotSounds::open(media, &s.film)?);
    }
    let mut matcher = SoundMatcher::default();
    let mut failure = None;
    let mut listen = |a: Stretch, b: Stretch| {
        let mut read = |(c, span): Stretch| sounds[c].shot(span);
        match (read(a), read(b)) {
            (Ok(Some(x)), Ok(Some(y))) => matcher.compare(&x, &y).map(|m| Heard { ratio: m.ratio, lag: m.lag }),
            (Err(e), _) | (_, Err(e)) => {
                failure = Some(e);
                None
            }
            _ => None,
        }
    };
    let paired = plays::pair(&cameras, &mut listen);
    if let Some(error) = failure {
        return Err(error.into());
    }
    // Which true play a take shows: of those whose snap lies in its film the one nearest to the snap that was found.
    let shows = |c: usize, play: &downbox::film::Play| {
        let held = scans[c].truth.plays.iter().filter(|p| play.span.holds(scans[c].film.frame_at(p.snap_time)));
        let off = |p: &FilmedPlay| play.snap.map_or(0.0, |s| (s.time - p.snap_time).abs());
        held.min_by(|a, b| off(a).total_cmp(&off(b))).map(|p| p.play)
    };
    let (mut right, mut wrong) = (0, 0);
    r.game_plays += paired.len();
    let to_check = |p: &plays::GamePlay| p.doubt.is_some() || p.takes.iter().flatten().any(|t| t.doubt.is_some());
    r.game_doubts += paired.iter().filter(|p| to_check(p)).count();
    for play in &paired {
        let off = |(k, take): (usize, &downbox::film::Play)| {
            let Some(snap) = take.snap else { return false };
            let near =
                scans[k].truth.plays.iter().map(|p| (p.snap_time - snap.time).abs()).fold(f64::INFINITY, f64::min);
            near > 0.5
        };
        if play.takes.iter().enumerate().filter_map(|(k, t)| Some((k, t.as_ref()?))).any(off) {
            r.off_as_cut[0] += 1;
            r.off_as_cut[1] += usize::from(to_check(play));
        }
        *r.by.entry(format!("{:?}", play.by).to_lowercase()).or_default() += 1;
        if let [Some(a), Some(b)] = &play.takes[..] {
            if shows(0, a).is_some() && shows(0, a) == shows(1, b) { right += 1 } else { wrong += 1 }
        }
    }
    let both = scans[0].truth.plays.iter().filter(|p| scans[1].truth.plays.iter().any(|q| q.play == p.play)).count();
    r.paired.add(Tally { hits: right, wrong, missed: both.saturating_sub(right) });
    let takes = |k: usize| paired.iter().filter_map(|p| p.takes.get(k).cloned().flatten()).collect::<Vec<_>>();
    for (k, scanned) in scans.iter().enumerate() {
        r.together.add(game, scanned, &takes(k));
    }
    let long = game.truth.take == "long";
    let name = match (game.truth.faults, long) {
        (true, _) => "a fault at the snap, end zone with the sideline's",
        (_, true) => "long take, end zone with the sideline's",
        _ => "end zone with the sideline's",
    };
    moments(r, name, game, &scans[1], &takes(1));
    Ok(())
}

fn print(r: &Report) {
    println!("cuts, F1 within 2 frames: {}", r.cuts);
    for (name, tally) in &r.snaps {
        println!("snap, {name}, F1 within 1 s: {tally}; {}", errors(&r.snap_errors[name]));
    }
    for (name, tally) in &r.ends {
        println!("end, {name}, F1 within 1 s: {tally}; {}", errors(&r.end_errors[name]));
    }
    println!("cameras paired, F1: {}; {:?}", r.paired, r.by);
    r.together.print("as cut");
    r.alone.print("each camera alone");
    for (name, [sure, doubted, caught, slipped]) in &r.doubted {
        println!(
            "doubt, {name}: {caught} of {} wrong snaps, {doubted} of {} right ones",
            caught + slipped,
            sure + doubted
        );
    }
    for (name, [all, shown]) in &r.off {
        let (low, high) = wilson(*shown as f64 / (*all).max(1) as f64, *all as f64);
        println!("snaps off by over .5 s, {name}: {all}, shown to a person: {shown} [{low:.3}, {high:.3}]");
    }
    println!("shots of no play, taken for one, kept to be looked at: {:?}", r.others);
    println!("doubted before pairing: {} of {} {:?}", r.doubts, r.alone.all, r.why);
    let [all, shown] = r.off_as_cut;
    let (low, high) = wilson(shown as f64 / all.max(1) as f64, all as f64);
    println!("plays with a snap off by over .5 s, as cut: {all}, shown to a person: {shown} [{low:.3}, {high:.3}]");
    println!("plays of a game shown to a person: {} of {}", r.game_doubts, r.game_plays);
}
