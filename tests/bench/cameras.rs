//! Two cameras of a game: how well their shots are paired and set side by side, with sound, without it and where a camera
//! was restarted; and how well a woven film is split.
//!
//! `cargo bench --profile dev --bench cameras -- [--made DIR...] [--each] [--silent]`: games that were made before (those
//! of the accuracy bench serve), woven ones among them; without `--made` as the accuracy bench draws them (`--games N`,
//! `--plays N`, `--seed N`). What was measured over a film is kept beside it. Truth is the film maker's.
#![allow(missing_docs)]

#[allow(dead_code)]
mod pool;
#[allow(dead_code)]
mod tally;

use std::path::PathBuf;
use std::process::ExitCode;

use downbox::base::{FrameSpan, Silent};
use downbox::film::{Angle, Film, FilmReader, Play, Series};
use downbox::media::Media;
use downbox::plays::alike::{Alike, Moves, alike};
use downbox::plays::{self, Camera, Found, GamePlay, Heard, PairedBy, Settings, Stretch};
use downbox::sense::{ShotSounds, SoundMatcher};
use pool::{Game, TrueCamera};
use serde_json::Value;
use tally::{Tally, wilson};

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// The sync that is asked for: seconds with sound; a miss by more than so much is a gross one.
const WITH_SOUND: f64 = 0.067;
const GROSS: f64 = 0.5;

struct Scanned<'a> {
    truth: &'a TrueCamera,
    film: Film,
    series: Series,
    found: Found,
}

#[derive(Default)]
struct Report {
    heard: Vec<f64>,
    /// Error, and whether it was believed.
    seen: Vec<(f64, bool)>,
    snaps_apart: Vec<f64>,
    paired: [Tally; 3],
    /// Wrong pairs without a doubt, of how many wrong ones.
    slipped: [(usize, usize); 3],
    by: Vec<String>,
    doubted: (usize, usize),
    likeness: [Vec<f64>; 2],
    split: (usize, usize),
    split_unsure: usize,
    untold: usize,
    woven: Tally,
    woven_mute: Tally,
}

fn main() -> ExitCode {
    match bench() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("cameras: {error}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<(), Failure> {
    let name = pool::measurement()?;
    let maker = if pool::folders().is_empty() { pool::maker()? } else { PathBuf::new() };
    let games = pool::asked(&maker)?;
    let media = Media::new()?;
    let mut report = Report::default();
    for game in &games {
        let scans: Vec<Scanned<'_>> =
            game.truth.cameras.iter().map(|truth| scan(&media, game, truth, &name)).collect::<Result<_, _>>()?;
        match scans.as_slice() {
            [woven] if woven.truth.angle == "woven" => unweave(&mut report, &media, game, woven)?,
            [_, _] => {
                sync(&mut report, &media, game, &scans)?;
                pair(&mut report, &media, game, &scans)?;
            }
            _ => eprintln!("{}: neither two cameras nor a woven film", game.folder.display()),
        }
        eprintln!("done: {}", game.folder.display());
    }
    print(&report);
    Ok(())
}

fn scan<'a>(media: &Media, game: &'a Game, truth: &'a TrueCamera, name: &str) -> Result<Scanned<'a>, Failure> {
    let paths: Vec<_> = truth.files.iter().map(|f| game.folder.join(&f.path)).collect();
    let film = media.read(&paths, &Silent)?;
    let series = pool::measured(media, &film, &game.folder, &truth.angle, name)?;
    let found = plays::find(&series, &film, Angle::named(&truth.angle), &Settings::default());
    Ok(Scanned { truth, film, series, found })
}

/// The true play that a stretch of a camera shows (the one whose snap lies in it), and its snap from the stretch's start.
fn shows(scanned: &Scanned<'_>, span: FrameSpan) -> Option<(u64, f64)> {
    let inside = |time: f64| span.holds(scanned.film.frame_at(time));
    let play = scanned.truth.plays.iter().find(|p| inside(p.snap_time))?;
    Some((play.play, play.snap_time - scanned.film.time(span.start)))
}

/// Listens to the films of scans.
struct Microphones<'a> {
    sounds: Vec<ShotSounds<'a>>,
    matcher: SoundMatcher,
}

impl<'a> Microphones<'a> {
    fn open(media: &Media, scans: &'a [Scanned<'_>]) -> Result<Self, Failure> {
        let sounds: Vec<_> = scans.iter().map(|s| ShotSounds::open(media, &s.film)).collect::<Result<_, _>>()?;
        Ok(Self { sounds, matcher: SoundMatcher::default() })
    }

    fn compare(&mut self, a: Stretch, b: Stretch) -> Option<Heard> {
        let x = self.sounds[a.0].shot(a.1).ok()??;
        let y = self.sounds[b.0].shot(b.1).ok()??;
        self.matcher.compare(&x, &y).map(|m| Heard { ratio: m.ratio, lag: m.lag })
    }
}

/// Sync of every play that both cameras found, by sound and by what moves.
fn sync(r: &mut Report, media: &Media, game: &Game, scans: &[Scanned<'_>]) -> Result<(), Failure> {
    let mut ears = Microphones::open(media, scans)?;
    let seen = |c: usize, play: &Play| Moves::of(&scans[c].series, &scans[c].film, play);
    for a in &scans[0].found.plays {
        let Some((number, snap_a)) = shows(&scans[0], a.span) else { continue };
        for b in &scans[1].found.plays {
            let Some((other, snap_b)) = shows(&scans[1], b.span) else { continue };
            let both = seen(0, a).zip(seen(1, b)).and_then(|(a, b)| alike(&a, &b));
            if let Some(both) = both {
                r.likeness[usize::from(number != other)].push(both.likeness);
            }
            if number != other {
                continue;
            }
            let truth = snap_b - snap_a;
            if !pool::flag("--silent")
                && let Some(heard) = ears.compare((0, a.span), (1, b.span))
                && heard.ratio > 3.0
            {
                r.heard.push(heard.lag - truth);
            }
            let clock = |c: usize, play: &Play| Some(play.snap?.time - scans[c].film.time(play.span.start));
            if let (Some(x), Some(y)) = (clock(0, a), clock(1, b)) {
                r.snaps_apart.push(y - x - truth);
            }
            if let Some(Alike { lag, belief, likeness }) = both {
                r.seen.push((lag - truth, belief >= plays::BELIEVED));
                if pool::flag("--each") {
                    let sure = |p: &Play| p.snap.map_or(-1.0, |s| s.confidence);
                    println!(
                        "  seed {} play {number}: lag off {:+.2} s, belief {belief:.2}, likeness {likeness:.2}, \
                         snaps off {:+.2} s, sure {:.2} {:.2}",
                        game.seed,
                        lag - truth,
                        clock(1, b).unwrap_or(0.0) - clock(0, a).unwrap_or(0.0) - truth,
                        sure(a),
                        sure(b)
                    );
                }
            }
        }
    }
    Ok(())
}

/// Pairing: with sound, mute, and with the end zone's plays cut in two now and then.
fn pair(r: &mut Report, media: &Media, game: &Game, scans: &[Scanned<'_>]) -> Result<(), Failure> {
    let mut ears = Microphones::open(media, scans)?;
    let series: Vec<Option<&Series>> = scans.iter().map(|s| Some(&s.series)).collect();
    let restarted = restarted(&scans[1]);
    for way in 0..3 {
        let second = if way == 2 { &restarted } else { &scans[1].found };
        if way != 1 && pool::flag("--silent") {
            continue;
        }
        let cameras =
            [Camera { film: &scans[0].film, found: &scans[0].found }, Camera { film: &scans[1].film, found: second }];
        let paired = plays::pair_seen(&cameras, &series, &mut |a, b| if way == 1 { None } else { ears.compare(a, b) });
        let both = both(scans);
        let found = judge(scans, &paired, both);
        r.paired[way].add(found.0);
        r.slipped[way].0 += found.1;
        r.slipped[way].1 += found.0.wrong;
        if way == 2 {
            let clips = paired.iter().filter_map(|p| p.takes.get(1)?.as_ref()).count();
            if clips != second.plays.len() {
                return Err(format!("seed {}: {} pieces, {clips} clips", game.seed, second.plays.len()).into());
            }
        } else {
            let doubted = paired.iter().filter(|p| p.doubt.is_some()).count();
            if way == 1 {
                r.doubted.0 += doubted;
                r.doubted.1 += paired.len();
                r.by.extend(paired.iter().map(|p| format!("{:?}", p.by)));
            }
        }
    }
    Ok(())
}

/// How many plays both cameras filmed.
fn both(scans: &[Scanned<'_>]) -> usize {
    scans[0].truth.plays.iter().filter(|p| scans[1].truth.plays.iter().any(|q| q.play == p.play)).count()
}

/// Right, wrong and missed pairs; and wrong ones without a doubt. A piece that holds no snap shows the play of the true
/// shot it lies in.
fn judge(scans: &[Scanned<'_>], paired: &[GamePlay], both: usize) -> (Tally, usize) {
    let (mut right, mut wrong, mut slipped) = (0, 0, 0);
    let number = |c: usize, play: &Play| {
        let s = &scans[c];
        let shot = s.truth.shots.iter().position(|t| t.start <= play.span.start.0 && play.span.start.0 < t.end)?;
        s.truth.plays.iter().find(|p| p.shot == Some(shot)).map(|p| p.play)
    };
    for play in paired {
        let [Some(a), Some(b)] = &play.takes[..] else { continue };
        if number(0, a).is_some() && number(0, a) == number(1, b) {
            right += 1;
        } else {
            wrong += 1;
            slipped += usize::from(play.doubt.is_none());
        }
    }
    (Tally { hits: right, wrong, missed: both.saturating_sub(right) }, slipped)
}

/// The camera's plays with every third cut in two: before its snap or after it, in turn.
fn restarted(scanned: &Scanned<'_>) -> Found {
    let mut found = Found { shots: scanned.found.shots.clone(), plays: Vec::new(), tail: scanned.found.tail };
    for (k, play) in scanned.found.plays.iter().enumerate() {
        let snap = play.snap.map(|s| s.frame.0);
        let at = match snap {
            Some(snap) if k % 3 == 1 => {
                let at = if k % 2 == 0 { snap.saturating_sub(60) } else { snap + 75 };
                at.clamp(play.span.start.0 + 45, play.span.end.0.saturating_sub(45).max(play.span.start.0 + 46))
            }
            _ => {
                found.plays.push(play.clone());
                continue;
            }
        };
        for span in [FrameSpan::of(play.span.start.0, at), FrameSpan::of(at, play.span.end.0)] {
            let inside = |s: &downbox::film::Sighting| span.holds(s.frame);
            found.plays.push(Play {
                span,
                snap: play.snap.filter(inside),
                whistle: play.whistle.filter(inside),
                set: play.set.filter(|f| span.holds(*f)),
                ..play.clone()
            });
        }
    }
    found
}

/// A woven film: whose shot is whose, and whether its two halves are paired.
fn unweave(r: &mut Report, media: &Media, game: &Game, woven: &Scanned<'_>) -> Result<(), Failure> {
    // The angle of shots and plays is what the truth of a woven film adds.
    let text: Value = serde_json::from_slice(&std::fs::read(game.folder.join("truth.json"))?)?;
    let camera = &text["cameras"][0];
    let angle_at = |frame: u64| -> Option<&str> {
        let shots = camera["shots"].as_array()?;
        let shot = shots.iter().find(|s| s["start"].as_u64() <= Some(frame) && Some(frame) < s["end"].as_u64())?;
        shot["angle"].as_str()
    };
    let plays = camera["plays"].as_array().cloned().unwrap_or_default();
    let truly = |play: &Play| {
        let shot = woven.truth.shots.iter().position(|s| {
            let middle = (play.span.start.0 + play.span.end.0) / 2;
            s.start <= middle && middle < s.end
        })?;
        let play = plays.iter().find(|p| p["shot"].as_u64() == Some(shot as u64))?;
        Some((play["play"].as_u64()?, play["angle"].as_str()?.to_string()))
    };
    let mut ears = Microphones::open(media, std::slice::from_ref(woven))?;
    let Some(split) = plays::split(&woven.film, &woven.series, &woven.found, &mut |a, b| ears.compare(a, b)) else {
        r.untold += 1;
        r.split.1 += woven.found.plays.len();
        return Ok(());
    };
    for (found, angle) in [(&split.sideline, "sideline"), (&split.end_zone, "end-zone")] {
        for play in &found.plays {
            r.split.1 += 1;
            let right = angle_at((play.span.start.0 + play.span.end.0) / 2) == Some(angle);
            r.split.0 += usize::from(right);
            if pool::flag("--each") && !right {
                println!("  seed {} {}: taken for {angle}, {:?}", game.seed, play.span.start.0, play.doubt);
            }
        }
    }
    r.split_unsure += split.sure.iter().filter(|s| **s < 0.9).count();
    let cameras =
        [Camera { film: &woven.film, found: &split.sideline }, Camera { film: &woven.film, found: &split.end_zone }];
    let numbers = |angle: &str| -> Vec<u64> {
        plays.iter().filter(|p| p["angle"] == angle).filter_map(|p| p["play"].as_u64()).collect()
    };
    let (side, end) = (numbers("sideline"), numbers("end-zone"));
    let both = side.iter().filter(|n| end.contains(n)).count();
    let series = [Some(&woven.series), Some(&woven.series)];
    for mute in [false, true] {
        let paired = plays::pair_seen(&cameras, &series, &mut |a, b| {
            // Both are stretches of the one film.
            if mute { None } else { ears.compare((0, a.1), (0, b.1)) }
        });
        let (mut right, mut wrong) = (0, 0);
        for play in &paired {
            let [Some(a), Some(b)] = &play.takes[..] else { continue };
            match (truly(a), truly(b)) {
                (Some(a), Some(b)) if a.0 == b.0 => right += 1,
                _ => wrong += 1,
            }
        }
        let tally = Tally { hits: right, wrong, missed: both.saturating_sub(right) };
        if mute { r.woven_mute.add(tally) } else { r.woven.add(tally) }
    }
    Ok(())
}

fn share(hits: usize, n: usize) -> String {
    let (low, high) = wilson(hits as f64 / n.max(1) as f64, n as f64);
    format!("{hits} of {n} [{low:.3}, {high:.3}]")
}

fn median(values: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = values.iter().map(|v| v.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}

fn print(r: &Report) {
    let within = |errors: &[f64], most: f64| errors.iter().filter(|e| e.abs() <= most).count();
    println!(
        "sync with sound: median {:.3} s, within {WITH_SOUND} s {}",
        median(&r.heard),
        share(within(&r.heard, WITH_SOUND), r.heard.len())
    );
    println!("snap to snap alone: median {:.3} s, n {}", median(&r.snaps_apart), r.snaps_apart.len());
    let all: Vec<f64> = r.seen.iter().map(|s| s.0).collect();
    let believed: Vec<f64> = r.seen.iter().filter(|s| s.1).map(|s| s.0).collect();
    let gross = |e: &&(f64, bool)| e.0.abs() > GROSS;
    println!("sync by motion, all: median {:.3} s, n {}", median(&all), all.len());
    println!(
        "sync by motion, believed: median {:.3} s, {}; within .1 s {}",
        median(&believed),
        share(believed.len(), all.len()),
        share(within(&believed, 0.1), believed.len())
    );
    let grossly = r.seen.iter().filter(gross).count();
    let flagged = r.seen.iter().filter(gross).filter(|s| !s.1).count();
    println!("gross misses (over {GROSS} s): {}; flagged {}", share(grossly, all.len()), share(flagged, grossly));
    for (k, name) in ["same", "different"].iter().enumerate() {
        let mut v = r.likeness[k].clone();
        v.sort_by(f64::total_cmp);
        let at = |q: f64| v.get(((v.len().max(1) - 1) as f64 * q) as usize).copied().unwrap_or(f64::NAN);
        println!(
            "likeness of {name} plays: 10th {:.2}, median {:.2}, 90th {:.2}, n {}",
            at(0.1),
            at(0.5),
            at(0.9),
            v.len()
        );
    }
    for (k, name) in ["with sound", "mute", "ragged, with sound"].iter().enumerate() {
        let (slipped, wrong) = r.slipped[k];
        println!("pairing {name}, F1: {}; wrong without a doubt: {slipped} of {wrong}", r.paired[k]);
    }
    let count = |by: PairedBy| r.by.iter().filter(|b| **b == format!("{by:?}")).count();
    println!(
        "mute plays by order {}, length {}, alone {}; doubted {}",
        count(PairedBy::Order),
        count(PairedBy::Length),
        count(PairedBy::Alone),
        share(r.doubted.0, r.doubted.1)
    );
    println!(
        "woven films, shots given to their camera: {}; unsure {}; films not told {}",
        share(r.split.0, r.split.1),
        r.split_unsure,
        r.untold
    );
    println!("woven films paired, F1: {}; mute {}", r.woven, r.woven_mute);
}
