//! Marks that hold while the camera moves: `cargo bench --profile dev --bench follow -- [--quick] [--games N] [--plays N]
//! [--seed N] [--only turf|men] [--each]`.
//!
//! Games are drawn as the accuracy bench draws its own, in four sizes and rates, half with other kits, turf and encoder. Turf:
//! from every filmed play a frame is taken, and points of the field seen in it and 8 s later are held against the truth.
//! Men: tries of 3 s begin between 1.5 s before the snap and 1 s before the end, at a man who stays in the picture, clicked
//! with an error (normal, a tenth of his height each way). A try is traffic if another man's feet come within 1.5 yd, or
//! half of his box is covered by another's, else open. Lengths in the picture are told in heights of the man. He was
//! followed if the mark was on him to the end: never for half a second nearer to another man's feet and .35 (.7 yd) from
//! his, never for half a second .6 from his. All else is a loss; it was announced if the mark ended before it had been on
//! another man for half a second. Beside it stands what a plain tracker does (a template, normalized correlation, taken anew
//! in every frame).
#![allow(missing_docs)]

mod places;
#[allow(dead_code)]
mod pool;
#[allow(dead_code)]
mod tally;

use std::path::PathBuf;
use std::process::{Command, ExitCode};
use std::time::Instant;

use downbox::base::{FrameNo, FrameSpan, Silent};
use downbox::film::{Decode, Film, FilmReader, FrameSource};
use downbox::media::Media;
use downbox::sense::{Carried, carry, follow};
use places::Places;
use tally::wilson;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Sizes and rates by turns; the first is the maker's own.
const SHAPES: [&[&str]; 4] =
    [&[], &["--size", "640x360"], &["--size", "1280x720", "--fps", "60000/1001"], &["--size", "1920x1080"]];
/// A mark, frame by frame.
type Path = Vec<(FrameNo, (f64, f64))>;

/// Seconds after which a turf mark is judged.
const TURF: f64 = 8.0;
/// Seconds of a try.
const TRY: f64 = 3.0;
/// Tries of each kind.
const TRIES: usize = 200;

/// Numbers without a pattern (a linear congruence; Knuth's constants).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1u64 << 31) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// One camera's film with its truth.
struct Filmed {
    film: Film,
    name: String,
    places: Vec<Option<Places>>,
    /// Span, snap and end of each play's shot.
    plays: Vec<(FrameSpan, f64, f64)>,
    hz: f64,
    aspect: f64,
    rows: u32,
}

/// What became of one try.
#[derive(Clone, Copy, PartialEq)]
enum Outcome {
    Followed,
    Announced,
    Silent,
}

fn main() -> ExitCode {
    match bench() {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("{e}");
            ExitCode::from(2)
        }
    }
}

fn bench() -> Result<(), Failure> {
    let quick = pool::flag("--quick");
    let maker = pool::maker()?;
    let count = pool::number("--games", if quick { 2 } else { 8 })?;
    let plays = pool::number("--plays", if quick { 1 } else { 3 })?;
    let seeds = match pool::number("--seed", 0)? {
        0 => pool::seeds(count)?,
        first => (first..first + count).collect(),
    };
    println!("seeds {seeds:?}, {plays} plays each, looks 0 and 1 by turns, shapes {SHAPES:?}");
    let films = films(&maker, &seeds, u32::try_from(plays)?)?;
    let only = pool::option("--only", "")?;
    if only != "men" {
        turf(&films)?;
    }
    if only != "turf" {
        men(&films, if quick { 10 } else { TRIES }, seeds[0])?;
    }
    Ok(())
}

fn films(maker: &std::path::Path, seeds: &[u64], plays: u32) -> Result<Vec<Filmed>, Failure> {
    let media = Media::new()?;
    let mut out = Vec::new();
    for (k, &seed) in seeds.iter().enumerate() {
        let more: Vec<String> = SHAPES[k / 2 % SHAPES.len()].iter().map(|s| s.to_string()).collect();
        // The look goes by turns in the pool: a list of one would always be the first.
        let game = pool::game(maker, seed, (k % 2) as u32, plays, &more)?;
        let told = Command::new(maker)
            .args(["positions", "--out"])
            .arg(&game.folder)
            .args(["--seed", &seed.to_string(), "--look", &game.look.to_string(), "--plays", &plays.to_string()])
            .args(&more)
            .output()?;
        if !told.status.success() {
            return Err(String::from_utf8_lossy(&told.stderr).into());
        }
        for camera in &game.truth.cameras {
            let files: Vec<PathBuf> = camera.files.iter().map(|f| game.folder.join(&f.path)).collect();
            let film = media.read(&files, &Silent)?;
            let (hz, part) = (film.parts[0].rate.hz(), &film.parts[0]);
            let (aspect, rows) = (f64::from(part.width) / f64::from(part.height), part.height);
            let shot = |p: &pool::FilmedPlay| {
                let shot = &camera.shots[p.shot?];
                Some((FrameSpan::of(shot.start, shot.end), p.snap_time * hz, p.end_time * hz))
            };
            let plays = camera.plays.iter().filter_map(shot).collect();
            let places = places::read(&game.folder.join(format!("{}.positions", camera.angle)))?;
            let name = format!("{seed} look {} {} {}x{}", game.look, camera.angle, part.width, part.height);
            out.push(Filmed { film, name, places, plays, hz, aspect, rows });
        }
    }
    Ok(out)
}

impl Filmed {
    fn at(&self, frame: u64) -> Result<&Places, Failure> {
        self.places
            .get(frame as usize)
            .and_then(Option::as_ref)
            .ok_or_else(|| format!("no truth of frame {frame}").into())
    }
}

/// A share of sorted numbers.
fn quantile(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(((values.len().max(1) - 1) as f64 * share).round() as usize).copied().unwrap_or(f64::NAN)
}

/// One play's turf marks: errors in percent of the picture's width.
struct Marks {
    carried: Vec<f64>,
    still: Vec<f64>,
    chain: Vec<f64>,
    zoom: f64,
}

fn turf(films: &[Filmed]) -> Result<(), Failure> {
    let media = Media::new()?;
    let mut all = Vec::new();
    let (mut took, mut frames) = (0.0, 0.0);
    for f in films {
        for &(shot, ..) in &f.plays {
            let long = (TURF * f.hz) as u64;
            if shot.len() <= long + 2 {
                continue;
            }
            let from = shot.start.0 + (shot.len() - long) / 3;
            let span = FrameSpan::of(from, from + long + 1);
            let mut source = media.frames(&f.film, Decode::Exact, 0)?;
            let start = Instant::now();
            let carried = carry(&mut *source, span, span.start, &mut || Ok(()))?;
            took += start.elapsed().as_secs_f64();
            frames += span.len() as f64;
            let chain = if f.rows < 700 { chain(&mut *source, span)? } else { None };
            let mut m = marks(f, span, &carried, chain)?;
            if pool::flag("--each") {
                let (p, s) = (quantile(&mut m.carried, 0.95), quantile(&mut m.still, 0.5));
                println!("turf {} {}: 95th {p:.3} %, left still {s:.1} %, zoom {:.2}", f.name, span.start, m.zoom);
            }
            all.push(m);
        }
    }
    let mut dice = Dice(1);
    let mut told = |name: &str, keep: &dyn Fn(&Marks) -> bool| {
        let kept: Vec<&Marks> = all.iter().filter(|m| keep(m)).collect();
        let pooled =
            |of: &dyn Fn(&Marks) -> &Vec<f64>| kept.iter().flat_map(|m| of(m).iter().copied()).collect::<Vec<_>>();
        let mut errors = pooled(&|m| &m.carried);
        // Points of one play err together: plays are drawn, not points.
        let mut again: Vec<f64> = (0..400)
            .map(|_| {
                let drawn = (0..kept.len()).map(|_| kept[(dice.unit() * kept.len() as f64) as usize]);
                quantile(&mut drawn.flat_map(|m| m.carried.iter().copied()).collect::<Vec<_>>(), 0.95)
            })
            .collect();
        let (low, high) = (quantile(&mut again, 0.025), quantile(&mut again, 0.975));
        println!(
            "turf after 8 s, {name}: 95th {:.3} % of the width [{low:.3}, {high:.3}], median {:.3} %; {} points, {} plays; \
             left where it was 95th {:.1} %, median {:.1} %; chain of frames 95th {:.2} %",
            quantile(&mut errors, 0.95),
            quantile(&mut errors, 0.5),
            errors.len(),
            kept.len(),
            quantile(&mut pooled(&|m| &m.still), 0.95),
            quantile(&mut pooled(&|m| &m.still), 0.5),
            quantile(&mut pooled(&|m| &m.chain), 0.95),
        );
    };
    let moved = |m: &Marks| quantile(&mut m.still.clone(), 0.5);
    told("all", &|_| true);
    told("moved under 10 %", &|m| moved(m) < 10.0);
    told("moved 10 to 25 %", &|m| (10.0..25.0).contains(&moved(m)));
    told("moved over 25 %", &|m| moved(m) >= 25.0);
    told("zoomed over 5 %", &|m| m.zoom.ln().abs() > 0.05);
    println!("carrying: {:.2} ms a frame of wall time with decoding, {frames:.0} frames", took * 1e3 / frames);
    Ok(())
}

/// The maps of each frame to its neighbor, one after the other.
fn chain(source: &mut dyn FrameSource, span: FrameSpan) -> Result<Option<[[f64; 3]; 3]>, Failure> {
    let mut sum = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    // The frames are read once and held small: only neighbors are laid onto each other.
    let mut held = Held { pictures: Vec::new(), first: span.start.0, next: 0 };
    source.seek(span.start)?;
    while let Some(view) = source.next_frame()? {
        if view.no >= span.end {
            break;
        }
        held.pictures.push((view.time, view.to_picture()));
    }
    for n in span.start.0..span.end.0 - 1 {
        let Some(step) = carry(&mut held, FrameSpan::of(n, n + 2), FrameNo(n), &mut || Ok(()))?.map(FrameNo(n + 1))
        else {
            return Ok(None);
        };
        let before = sum;
        for (i, row) in sum.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = (0..3).map(|k| step[i][k] * before[k][j]).sum();
            }
        }
    }
    Ok(Some(sum))
}

/// Frames in memory.
struct Held {
    pictures: Vec<(f64, downbox::film::Picture)>,
    first: u64,
    next: u64,
}

impl FrameSource for Held {
    fn next_frame(&mut self) -> downbox::base::Result<Option<downbox::film::PictureView<'_>>> {
        let n = self.next;
        self.next += 1;
        Ok(self.pictures.get((n - self.first) as usize).map(|(time, p)| p.view(FrameNo(n), *time)))
    }

    fn seek(&mut self, to: FrameNo) -> downbox::base::Result<()> {
        self.next = to.0;
        Ok(())
    }

    fn leave_out(&mut self, _how: Decode) {}
}

fn marks(f: &Filmed, span: FrameSpan, carried: &Carried, chain: Option<[[f64; 3]; 3]>) -> Result<Marks, Failure> {
    let last = span.end.0 - 1;
    let (before, after) = (f.at(span.start.0)?, f.at(last)?);
    let mut out = Marks { carried: Vec::new(), still: Vec::new(), chain: Vec::new(), zoom: 1.0 };
    let percent = |a: (f64, f64), b: (f64, f64)| 100.0 * (a.0 - b.0).hypot((a.1 - b.1) / f.aspect);
    for k in 0..144 {
        let at = ((f64::from(k % 12) + 0.5) / 12.0, (f64::from(k / 12) + 0.5) / 12.0);
        let (x, y) = before.ground(at.0, at.1);
        let to = after.seen(x, y);
        let field = (0.0..120.0).contains(&x) && (0.0..160.0 / 3.0).contains(&y);
        if !field || !(0.0..1.0).contains(&to.0) || !(0.0..1.0).contains(&to.1) {
            continue;
        }
        // A mark that is lost is as wrong as one left where it was.
        out.carried.push(percent(carried.point(FrameNo(last), at).unwrap_or(at), to));
        out.still.push(percent(at, to));
        if let Some(m) = chain {
            let w = m[2][0] * at.0 + m[2][1] * at.1 + m[2][2];
            let go = |r: [f64; 3]| (r[0] * at.0 + r[1] * at.1 + r[2]) / w;
            out.chain.push(percent((go(m[0]), go(m[1])), to));
        }
    }
    let width = |p: &Places, at: (f64, f64)| {
        let (a, b) = (p.ground(at.0 - 0.05, at.1), p.ground(at.0 + 0.05, at.1));
        (a.0 - b.0).hypot(a.1 - b.1)
    };
    // The size at which the same turf is shown.
    let (x, y) = before.ground(0.5, 0.6);
    out.zoom = width(before, (0.5, 0.6)) / width(after, after.seen(x, y));
    Ok(out)
}

/// A man to be followed.
struct Try {
    from: u64,
    man: usize,
    traffic: bool,
    /// More than half of him is behind somebody where he is clicked.
    covered: bool,
    click: (f64, f64),
}

fn draw(f: &Filmed, play: &(FrameSpan, f64, f64), dice: &mut Dice) -> Result<Option<Try>, Failure> {
    let &(shot, snap, end) = play;
    let long = (TRY * f.hz) as u64;
    let from = (snap - 1.5 * f.hz + (end - snap + 0.5 * f.hz) * dice.unit()).max(shot.start.0 as f64) as u64;
    if from + long >= shot.end.0 {
        return Ok(None);
    }
    let first = f.at(from)?;
    let man = (dice.unit() * first.men.len() as f64) as usize;
    let (mut traffic, mut covered) = (false, false);
    for frame in from..=from + long {
        let now = f.at(frame)?;
        let (feet, tall) = now.man(man);
        if !(0.02..0.98).contains(&feet.0) || !(0.1..0.97).contains(&feet.1) {
            return Ok(None);
        }
        for other in (0..now.men.len()).filter(|&o| o != man) {
            let ((x, y), height) = now.man(other);
            let (a, b) = (now.men[man], now.men[other]);
            let wide = |tall: f64| 0.4 * tall / f.aspect / 2.0;
            let (w, v) = (wide(tall), wide(height));
            let across = ((feet.0 + w).min(x + v) - (feet.0 - w).max(x - v)).max(0.0);
            let down = (feet.1.min(y) - (feet.1 - tall).max(y - height)).max(0.0);
            let half = across * down > 0.5 * 2.0 * w * tall;
            traffic |= (a.0 - b.0).hypot(a.1 - b.1) < 1.5 || half;
            covered |= frame == from && half && y > feet.1;
        }
    }
    let (feet, tall) = first.man(man);
    let click = (feet.0 + 0.1 * tall / f.aspect * dice.normal(), feet.1 + 0.1 * tall * dice.normal());
    Ok(Some(Try { from, man, traffic, covered, click }))
}

fn judge(f: &Filmed, t: &Try, path: &[(FrameNo, (f64, f64))], lost: bool) -> Result<(Outcome, f64), Failure> {
    let half = (0.5 * f.hz) as usize;
    let (mut on_other, mut off, mut swapped, mut strayed, mut last) = (0, 0, false, false, f64::INFINITY);
    for &(frame, mark) in path {
        let now = f.at(frame.0)?;
        let tall = now.man(t.man).1;
        let apart: Vec<f64> = (0..now.men.len())
            .map(|i| {
                let feet = now.man(i).0;
                ((mark.0 - feet.0) * f.aspect).hypot(mark.1 - feet.1) / tall
            })
            .collect();
        last = apart[t.man];
        let others = apart.iter().enumerate().filter(|(i, _)| *i != t.man);
        let other = others.map(|(_, &d)| d).fold(f64::INFINITY, f64::min);
        on_other = if other < last && last > 0.35 && other < 0.5 { on_other + 1 } else { 0 };
        off = if last > 0.6 { off + 1 } else { 0 };
        swapped |= on_other >= half;
        strayed |= off >= half;
    }
    let followed = !lost && !swapped && !strayed && last < 0.6;
    let outcome = match (followed, lost && !swapped) {
        (true, _) => Outcome::Followed,
        (_, true) => Outcome::Announced,
        _ => Outcome::Silent,
    };
    Ok((outcome, last))
}

fn men(films: &[Filmed], tries: usize, seed: u64) -> Result<(), Failure> {
    let media = Media::new()?;
    let plays: usize = films.iter().map(|f| f.plays.len()).sum();
    let mut found = [const { Vec::<[Outcome; 2]>::new() }; 2];
    let mut errors = Vec::new();
    let mut covered = (0, 0);
    let (mut took, mut frames) = (0.0, 0.0);
    let mut left = plays;
    for f in films {
        let mut source = media.frames(&f.film, Decode::Exact, 0)?;
        for play in &f.plays {
            let mut dice =
                Dice(seed ^ play.0.start.0.wrapping_mul(0x9e37_79b9) ^ (f.rows as u64) << 40 ^ f.name.len() as u64);
            // Each play gives its share of what is still wanted.
            let want = [0, 1].map(|kind: usize| found[kind].len() + (tries - found[kind].len()).div_ceil(left));
            left -= 1;
            for _ in 0..400 {
                if found[0].len() >= want[0] && found[1].len() >= want[1] {
                    break;
                }
                let Some(t) = draw(f, play, &mut dice)? else { continue };
                let kind = usize::from(t.traffic);
                if found[kind].len() >= want[kind] {
                    continue;
                }
                let span = FrameSpan::of(t.from, t.from + (TRY * f.hz) as u64 + 1);
                let carried = carry(&mut *source, span, span.start, &mut || Ok(()))?;
                let start = Instant::now();
                let ours = match follow(&mut *source, span, span.start, t.click, &carried, &mut || Ok(())) {
                    Ok(followed) => {
                        took += start.elapsed().as_secs_f64();
                        frames += followed.path.len() as f64;
                        judge(f, &t, &followed.path, followed.lost_at.is_some())?
                    }
                    // To say that there is no man announces it.
                    Err(_) => (Outcome::Announced, f64::INFINITY),
                };
                let (path, lost) = plain(&mut *source, f, span, &t)?;
                let theirs = judge(f, &t, &path, lost)?.0;
                if ours.0 == Outcome::Followed {
                    errors.push(ours.1);
                }
                if t.covered {
                    covered = (covered.0 + usize::from(ours.0 == Outcome::Followed), covered.1 + 1);
                }
                if pool::flag("--each") {
                    let word = match ours.0 {
                        Outcome::Followed => "followed",
                        Outcome::Announced => "lost, announced",
                        Outcome::Silent => "lost, not announced",
                    };
                    println!("man {} frame {} man {} traffic {}: {word}", f.name, t.from, t.man, t.traffic);
                }
                found[kind].push([ours.0, theirs]);
            }
        }
    }
    for (who, name) in ["followed", "plain template"].iter().enumerate() {
        let mut all = (0, 0);
        for (kind, ground) in ["in the open", "through traffic"].iter().enumerate() {
            let n = found[kind].len();
            let many = |o: Outcome| found[kind].iter().filter(|t| t[who] == o).count();
            let (kept, told) = (many(Outcome::Followed), many(Outcome::Announced));
            println!("{name} 3 s without a swap {ground}: {}", share(kept, n));
            println!("{name}, losses {ground} that were announced: {}", share(told, n - kept));
            all = (all.0 + told, all.1 + n - kept);
        }
        println!("{name}, losses announced in all: {}", share(all.0, all.1));
    }
    println!(
        "followed of those who were more than half covered where they were clicked: {}",
        share(covered.0, covered.1)
    );
    println!(
        "mark to feet at the end of what was followed, heights of the man: median {:.2}, 95th {:.2}",
        quantile(&mut errors, 0.5),
        quantile(&mut errors, 0.95)
    );
    println!("following: {:.2} ms a frame of wall time with decoding, {frames:.0} frames", took * 1e3 / frames);
    Ok(())
}

fn share(k: usize, n: usize) -> String {
    let p = k as f64 / n.max(1) as f64;
    let (low, high) = wilson(p, n as f64);
    format!("{p:.3} [{low:.3}, {high:.3}] ({k} of {n})")
}

/// What a plain tracker does: the man's box of luma, found again around where it was by normalized correlation, and taken anew.
/// It says that it lost him below a correlation of .5.
fn plain(source: &mut dyn FrameSource, f: &Filmed, span: FrameSpan, t: &Try) -> Result<(Path, bool), Failure> {
    const ACROSS: i32 = 10;
    const DOWN: i32 = 24;
    let tall = f.at(t.from)?.man(t.man).1 * f64::from(f.rows);
    let step = tall / f64::from(DOWN);
    let columns = f.aspect * f64::from(f.rows);
    let mut feet = (t.click.0 * columns, t.click.1 * f64::from(f.rows));
    let mut template: Vec<f64> = Vec::new();
    let mut path = Vec::new();
    source.seek(span.start)?;
    while let Some(view) = source.next_frame()? {
        if view.no >= span.end {
            break;
        }
        let cut = |feet: (f64, f64)| -> Vec<f64> {
            let at = |k: i32| {
                let x = feet.0 + f64::from(k % ACROSS - ACROSS / 2) * step;
                let y = feet.1 - f64::from(DOWN - k / ACROSS) * step;
                let (x, y) = (x.clamp(0.0, columns - 1.0) as usize, y.clamp(0.0, f64::from(f.rows) - 1.0) as usize);
                f64::from(view.planes[0][y * view.strides[0] + x])
            };
            let mut values: Vec<f64> = (0..ACROSS * DOWN).map(at).collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            values.iter_mut().for_each(|v| *v -= mean);
            let size = values.iter().map(|v| v * v).sum::<f64>().sqrt().max(1e-6);
            values.iter_mut().for_each(|v| *v /= size);
            values
        };
        if !template.is_empty() {
            let mut best = (f64::NEG_INFINITY, feet);
            for k in 0..17 * 17 {
                let to = (feet.0 + f64::from(k % 17 - 8) * step, feet.1 + f64::from(k / 17 - 8) * step);
                let alike = cut(to).iter().zip(&template).map(|(a, b)| a * b).sum::<f64>();
                if alike > best.0 {
                    best = (alike, to);
                }
            }
            if best.0 < 0.5 {
                return Ok((path, true));
            }
            feet = best.1;
        }
        template = cut(feet);
        path.push((view.no, (feet.0 / columns, feet.1 / f64::from(f.rows))));
    }
    Ok((path, false))
}
