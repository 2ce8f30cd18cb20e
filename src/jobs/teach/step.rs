//! One step of a script, laid out over the library: which film, which of its moments, what is drawn.

use std::cmp::Reverse;
use std::collections::HashMap;
use std::sync::Arc;

use super::super::cutup::is_angle;
use super::super::footage::Footage;
use super::super::texts::{game_title, strip_text};
use super::super::{Config, Tools};
use super::MarkShown;
use super::pins::Pins;
use crate::base::{Error, FrameSpan, Problem, Result, go_on};
use crate::film::Film;
use crate::filter::{self, Filter, Words};
use crate::football::{Field, fold};
use crate::library::{ClipFound, GameFound, Library, PlayFound};
use crate::paint::{Design, StripText};
use crate::reel::script::{self, Again, Anchor, At, Fault, MarkAsk, Moment, Place, PlayAsk, Script, Step, ViewAsk};
use crate::reel::{Caption, Hold, Layout, Pace, PlacedMark, Segment, Span, Store, Teaching, View, Zoom, chapter_title};

/// What a mark needs to be seen, seconds. Nothing may come and go more than twice a second: three flashes are the limit of
/// WCAG 2.3.1 (from memory).
const SHORTEST: f64 = 0.5;
/// The next mark of a moment appears so long after the last, seconds.
const NEXT_MARK: f64 = 0.15;
/// A moment this little outside of the film is taken as its end, seconds.
const SLACK: f64 = 0.35;

/// What is at hand for laying out steps.
pub(super) struct Bench<'a> {
    tools: Tools<'a>,
    config: &'a Config,
    library: &'a Library,
    store: &'a Store,
    script: &'a Script,
    words: Words,
    games: Vec<GameFound>,
    all: Option<Vec<PlayFound>>,
    sources: HashMap<String, Arc<Film>>,
}

/// A step laid out: its segments, one for each time that it is shown.
#[derive(Default)]
pub(super) struct Ready {
    pub segments: Vec<Segment>,
    pub marks: Vec<MarkShown>,
    pub faults: Vec<Fault>,
    pub problems: Vec<Problem>,
}

impl Ready {
    /// Notes faults. A repeat shares its marks and moments with the step: what was told once is not told again.
    fn tell(&mut self, faults: Vec<Fault>) {
        for fault in faults {
            if !self.faults.contains(&fault) {
                self.faults.push(fault);
            }
        }
    }
}

/// A view with its film.
pub(super) struct Shot {
    pub clip: ClipFound,
    pub footage: Footage,
    pub game: String,
    pub label: String,
    text: StripText,
    name: Option<String>,
    rate: f64,
}

/// How often and how a step is shown: as it says itself, or as one of its repeats says.
struct Run<'s> {
    from: At<Moment>,
    to: At<Moment>,
    rate: f64,
    stops: &'s [script::Stop],
    speeds: &'s [script::Speed],
    captions: &'s [script::Caption],
    again: bool,
}

impl<'s> Run<'s> {
    fn of(step: &'s Step) -> impl Iterator<Item = Self> {
        let own = Self {
            from: step.from,
            to: step.to,
            rate: step.rate,
            stops: &step.stops,
            speeds: &step.speeds,
            captions: &step.captions,
            again: false,
        };
        let again = |again: &'s Again| Self {
            from: again.from.unwrap_or(step.from),
            to: again.to.unwrap_or(step.to),
            rate: again.rate.unwrap_or(step.rate),
            stops: &again.stops,
            speeds: &again.speeds,
            captions: &again.captions,
            again: true,
        };
        std::iter::once(own).chain(step.agains.iter().map(again))
    }
}

fn fault(place: Place, what: impl Into<String>, next: impl Into<String>) -> Fault {
    Fault { place, what: what.into(), next: next.into() }
}

impl<'a> Bench<'a> {
    /// `store`: where ways of marks are kept.
    ///
    /// # Errors
    /// The library cannot be read.
    pub fn new(
        tools: Tools<'a>,
        config: &'a Config,
        library: &'a Library,
        store: &'a Store,
        script: &'a Script,
    ) -> Result<Self> {
        let (words, games) = (config.words(library)?, library.games()?);
        Ok(Self { tools, config, library, store, script, words, games, all: None, sources: HashMap::new() })
    }

    /// The film behind every source that a step names.
    pub fn into_sources(self) -> HashMap<String, Arc<Film>> {
        self.sources
    }

    /// Lays out a step. `follow`: what is pinned to turf and men is followed through the film.
    ///
    /// # Errors
    /// The library cannot be read; a stop. Faults of the script are listed.
    pub fn step(&mut self, number: usize, step: &Step, follow: bool) -> Result<Ready> {
        go_on(self.tools.progress, "looking at the plays; no reel was made")?;
        let mut ready = Ready::default();
        let mut shots = Vec::new();
        for view in &step.views {
            match self.shot(view)? {
                Ok(shot) => shots.push(shot),
                Err(fault) => ready.faults.push(fault),
            }
        }
        // A comparison that lacks one of its plays is none.
        if !ready.faults.is_empty() || shots.is_empty() {
            return Ok(ready);
        }
        let mut pins = Pins::new(self.tools, self.store, follow);
        for run in Run::of(step) {
            self.run(number, step, &run, &shots, &mut pins, &mut ready)?;
        }
        for shot in shots {
            self.sources.entry(shot.footage.source).or_insert_with(|| Arc::new(shot.footage.film));
        }
        Ok(ready)
    }

    /// The play and clip of a view.
    fn shot(&mut self, ask: &ViewAsk) -> Result<std::result::Result<Shot, Fault>> {
        let place = ask.play.place;
        let play = match &ask.play.value {
            PlayAsk::First(phrase) => {
                let filter = match filter::parse(phrase, &self.words) {
                    Ok(filter) => filter,
                    Err(error) => {
                        let error = Error::from(error);
                        return Ok(Err(fault(place, error.what, error.next)));
                    }
                };
                let mut found = self.library.plays(&filter)?;
                // The newest game first, then as they were played; what is in doubt only where nothing else fits.
                found.sort_by_key(|play| {
                    let record = &play.record;
                    let last = record.row_doubt.is_some() || play.clips.is_empty();
                    (last, Reverse(record.date.clone()), record.game.clone(), record.order)
                });
                match found.into_iter().next() {
                    Some(play) => play,
                    None => {
                        let next = format!("ask for less; downbox plays '{phrase}' lists what fits");
                        return Ok(Err(fault(place, format!("no play fits \"{phrase}\" ({filter})"), next)));
                    }
                }
            }
            PlayAsk::Named { game, label } => match self.named(game, label)? {
                Ok(play) => play,
                Err((what, next)) => return Ok(Err(fault(place, what, next))),
            },
        };
        let (game, label) = (play.record.game.clone(), play.record.label.clone());
        let fits = |clip: &&ClipFound| ask.angle.as_ref().is_none_or(|angle| is_angle(clip, &angle.value));
        let Some(clip) = play.clips.iter().find(fits).cloned() else {
            let place = ask.angle.as_ref().map_or(place, |angle| angle.place);
            let there: Vec<&str> = play.clips.iter().map(ClipFound::angle_name).collect();
            let (what, next) = match (&ask.angle, there.is_empty()) {
                (Some(angle), false) => (
                    format!("{game} play {label} has no clip from {}", angle.value),
                    format!("there is: {}", there.join(", ")),
                ),
                _ => (
                    format!("{game} play {label} has no clip"),
                    format!("run `downbox cut --game \"{game}\"` again with its film"),
                ),
            };
            return Ok(Err(fault(place, what, next)));
        };
        let footage = match Footage::open(self.tools, self.library, &game, &clip) {
            Ok(footage) => footage,
            Err(error) => return Ok(Err(fault(place, error.to_string(), error.next))),
        };
        let team = self.config.settings.staff.team.as_deref();
        let text = strip_text(&play.record, game_title(&game, &self.games)).for_team(team);
        let text = text.from_angle(clip.angle_name());
        let shell = play.record.tags.word(Field::Shell).map(str::to_string);
        let name = ask.label.clone().or_else(|| {
            let words = [Some(chapter_title(&text, &label, "")), shell].into_iter().flatten();
            Some(words.collect::<Vec<_>>().join(", "))
        });
        Ok(Ok(Shot { clip, footage, game, label, text, name, rate: ask.rate }))
    }

    /// A play by its game and label, or what is wrong and what can be done.
    fn named(&mut self, game: &str, label: &str) -> Result<std::result::Result<PlayFound, (String, String)>> {
        if self.all.is_none() {
            self.all = Some(self.library.plays(&Filter::All)?);
        }
        let all = self.all.as_deref().unwrap_or_default();
        // A game by its name, or by a part of it that only one has.
        let games: Vec<&str> = self.games.iter().map(|game| game.name.as_str()).collect();
        let exact = games.iter().filter(|name| fold(name) == fold(game)).copied().collect::<Vec<_>>();
        let near = games.iter().filter(|name| fold(name).contains(&fold(game))).copied().collect::<Vec<_>>();
        let name = match (exact.as_slice(), near.as_slice()) {
            ([name, ..], _) | (_, [name]) => *name,
            (_, []) => {
                let next = match games.is_empty() {
                    true => "cut one with: downbox cut".to_string(),
                    false => format!("the library has: {}", games.join(", ")),
                };
                return Ok(Err((format!("there is no game \"{game}\""), next)));
            }
            (_, many) => {
                let what = format!("\"{game}\" could be {} games", many.len());
                return Ok(Err((what, format!("name it as one of: {}", many.join(", ")))));
            }
        };
        let plays = || all.iter().filter(|play| play.record.game == name);
        match plays().find(|play| fold(&play.record.label) == fold(label)) {
            Some(play) => Ok(Ok(play.clone())),
            None => {
                let ends = plays().next().zip(plays().next_back());
                let next = match ends {
                    Some((a, b)) => format!("its plays are {} to {}", a.record.label, b.record.label),
                    None => "it has no plays".to_string(),
                };
                Ok(Err((format!("{name} has no play {label}"), next)))
            }
        }
    }

    /// Shows a step once.
    fn run(
        &self,
        number: usize,
        step: &Step,
        run: &Run<'_>,
        shots: &[Shot],
        pins: &mut Pins<'_>,
        ready: &mut Ready,
    ) -> Result<()> {
        let Some(main) = shots.first() else { return Ok(()) };
        let mut faults = Vec::new();
        let from = instant(main, &run.from, step.place, &mut faults);
        let to = instant(main, &run.to, step.place, &mut faults);
        // Where the plays are set side by side. One alone needs no such moment.
        let mut anchors = Vec::new();
        for shot in shots.iter().filter(|_| shots.len() > 1) {
            anchors.push(instant(shot, &step.sync, step.sync.place, &mut faults));
        }
        let mut holds = Vec::new();
        for stop in run.stops {
            holds.extend(instant(main, &stop.at, step.place, &mut faults).map(|at| (at, stop.hold, stop.at.place)));
        }
        let mut spans = Vec::new();
        for speed in run.speeds {
            let ends = [&speed.from, &speed.to].map(|at| instant(main, at, step.place, &mut faults));
            if let [Some(from), Some(to)] = ends {
                spans.push(Span { from, to, rate: speed.rate });
            }
        }
        let (Some(from), Some(to)) = (from, to) else {
            ready.tell(faults);
            return Ok(());
        };
        if to < from || (to - from < 1e-3 && holds.is_empty()) {
            faults.push(fault(
                run.to.place,
                "the step ends before it begins",
                "give a later `to`, or an earlier `from`",
            ));
            ready.tell(faults);
            return Ok(());
        }
        for (at, _, place) in &holds {
            if *at < from - 1e-6 || *at > to + 1e-6 {
                let what = format!("the film does not come by there: the step shows {}", span_words(main, from, to));
                faults.push(fault(*place, what, "stop within it, or show more of the play"));
            }
        }
        holds.retain(|(at, ..)| *at >= from - 1e-6 && *at <= to + 1e-6);
        let film = &main.footage.film;
        let holds: Vec<Hold> = holds.iter().map(|(at, seconds, _)| Hold { at: *at, seconds: *seconds }).collect();
        let pace = Pace::of(from..to, run.rate, &spans, &holds);
        let time = |at: &At<Moment>, faults: &mut Vec<Fault>| {
            instant(main, at, step.place, faults).map(|film| pace.first(film.clamp(from, to)))
        };
        let mut zooms = Vec::new();
        for zoom in &step.zooms {
            if let (Some(from), Some(to)) = (time(&zoom.from, &mut faults), time(&zoom.to, &mut faults)) {
                // Up to a stop's moment is up to the stop's end: what is looked at there is looked at while it stands.
                let to = instant(main, &zoom.to, step.place, &mut Vec::new())
                    .and_then(|film| pace.stands(film))
                    .map_or(to, |s| s.end);
                let script::Zoom { on, factor, ease, view, .. } = *zoom;
                if to > from {
                    zooms.push(Zoom { view: view.value, from, to, on, factor, ease });
                }
            }
        }
        let mut captions = Vec::new();
        for caption in run.captions {
            let from = caption.from.as_ref().map_or(Some(0.0), |at| time(at, &mut faults));
            let to = caption.to.as_ref().map_or(Some(pace.seconds()), |at| time(at, &mut faults));
            match (from, to) {
                (Some(from), Some(to)) if to - from >= SHORTEST => {
                    captions.push(Caption { text: caption.text.clone(), from, to });
                }
                (Some(_), Some(_)) => {
                    let what = "the caption stands under half a second here: nobody reads it";
                    faults.push(fault(caption.place, what, "give it a later `to`"));
                }
                _ => {}
            }
        }
        let beside: Vec<f64> = shots.iter().map(|shot| shot.rate).collect();
        let anchors: Vec<f64> = match shots.len() {
            1 => vec![0.0],
            _ => anchors.into_iter().flatten().collect(),
        };
        if anchors.len() < shots.len() {
            ready.tell(faults);
            return Ok(());
        }
        let clock = Clock { pace: &pace, anchors: &anchors, beside: &beside, film: (from, to) };
        let mut marks: Vec<PlacedMark> = Vec::new();
        for (at, ask) in step.marks.iter().enumerate() {
            let Some(shot) = shots.get(ask.view.value) else { continue };
            let timed = self.timed(ask, step, main, &clock, run, &mut faults);
            let Some((begins, ends, film_from)) = timed else { continue };
            let stagger = NEXT_MARK * marks.iter().filter(|mark| (mark.from - begins).abs() < SHORTEST).count() as f64;
            let placed = pins.place(shot, ask, &clock, (begins, ends, film_from))?;
            match placed {
                Err((what, next)) => faults.push(fault(ask.place, what, next)),
                Ok(mut placed) => {
                    placed.mark.from += stagger.min((ends - begins - SHORTEST).max(0.0));
                    if let Some((what, next)) = placed.lost.take() {
                        faults.push(fault(ask.place, what, next));
                    }
                    if !run.again {
                        ready.marks.push(MarkShown { step: number, mark: at, ..placed.shown });
                    }
                    if placed.mark.to - placed.mark.from > 0.0 {
                        marks.push(placed.mark);
                    }
                }
            }
        }
        ready.tell(faults);
        let text = &main.text;
        let angle = shots.iter().map(|shot| shot.clip.angle_name()).collect::<Vec<_>>().join(" and ");
        let one = shots.len() == 1;
        let title = step.title.clone().unwrap_or_else(|| match one {
            true => chapter_title(text, &main.label, &angle),
            false => shots.iter().filter_map(|shot| shot.name.clone()).collect::<Vec<_>>().join(" and "),
        });
        let design = step.strip.or(self.script.strip);
        let first = film.frame_at(from);
        let last = film.frame_at(to);
        let views = shots.iter().enumerate().map(|(k, shot)| View {
            source: shot.footage.source.clone(),
            content: shot.footage.content.clone(),
            // What is beside it may begin before and end after.
            span: if k == 0 { FrameSpan::of(first.0, last.0 + 1) } else { shot.footage.span },
            anchor: anchors.get(k).copied(),
        });
        // One play alone is told by its strip; a label of its own is written all the same.
        let own = |k: usize| step.views.get(k).and_then(|ask| ask.label.clone());
        let named = |(k, shot): (usize, &Shot)| if one { own(k) } else { shot.name.clone() };
        ready.segments.push(Segment {
            game: main.game.clone(),
            label: main.label.clone(),
            views: views.collect(),
            layout: match shots.len() {
                1 => Layout::Single,
                2 => Layout::Beside,
                _ => Layout::Quarters,
            },
            title: if run.again { format!("{title}, again") } else { title },
            // Two plays have two downs: their labels tell them apart.
            strip: (one && design != Some(Design::None)).then(|| text.clone()),
            strip_for: None,
            card: None,
            teaching: Some(Box::new(Teaching {
                beside,
                labels: shots.iter().enumerate().map(named).collect(),
                snap: main.footage.snap(&main.clip).filter(|at| *at >= from && *at < to).map(|at| pace.first(at)),
                design: step.strip,
                sound: step.sound.unwrap_or(self.script.sound),
                zooms,
                captions,
                marks,
                pace,
            })),
            angle,
        });
        Ok(())
    }

    /// When a mark appears and is gone, seconds of the step, and the film time at which its points were placed.
    fn timed(
        &self,
        ask: &MarkAsk,
        step: &Step,
        main: &Shot,
        clock: &Clock<'_>,
        run: &Run<'_>,
        faults: &mut Vec<Fault>,
    ) -> Option<(f64, f64, f64)> {
        let pace = clock.pace;
        let (from, to) = clock.film;
        let film_from = match &ask.from {
            Some(at) => instant(main, at, step.place, faults)?,
            None => from,
        };
        let film_to = match &ask.to {
            Some(at) => Some(instant(main, at, step.place, faults)?),
            None => None,
        };
        // A repeat that runs through where the step stood still has no time for what was drawn on the standing picture.
        let of_a_stop = |stop: &script::Stop| {
            let at = instant(main, &stop.at, step.place, &mut Vec::new());
            at.is_some_and(|at| (at - film_from).abs() < 1e-3)
        };
        if run.again && ask.to.is_none() && pace.stands(film_from).is_none() && step.stops.iter().any(of_a_stop) {
            return None;
        }
        let begins = pace.first(film_from);
        let ends = match film_to {
            Some(to) => pace.first(to),
            // What is drawn on a standing picture leaves before the film runs on.
            None => pace.stands(film_from).map_or(pace.seconds(), |stop| stop.end),
        };
        // A repeat shows less of the play: marks of what it leaves out are left out with it.
        let outside = film_from > to + 1e-6 || film_to.is_some_and(|t| t < from - 1e-6);
        if outside || ends - begins < SHORTEST {
            if run.again {
                return None;
            }
            let what = match outside {
                true => format!("the mark is never seen: the step shows {}", span_words(main, from, to)),
                false => "the mark stands under half a second: nobody sees it".to_string(),
            };
            faults.push(fault(ask.place, what, "give it an earlier `from` or a later `to`"));
            return None;
        }
        Some((begins, ends, film_from))
    }
}

/// The step's time and its films' times.
pub(super) struct Clock<'c> {
    pub pace: &'c Pace,
    anchors: &'c [f64],
    beside: &'c [f64],
    /// Film time of the first view, from and to.
    pub film: (f64, f64),
}

impl Clock<'_> {
    /// The film time of a view when the first view's is `film`.
    pub fn of_view(&self, view: usize, film: f64) -> f64 {
        let anchor = |at: usize| self.anchors.get(at).copied().unwrap_or(0.0);
        anchor(view) + (film - anchor(0)) * self.beside.get(view).copied().unwrap_or(1.0)
    }

    /// The first view's film time when a view's is `film`.
    pub fn of_main(&self, view: usize, film: f64) -> f64 {
        let anchor = |at: usize| self.anchors.get(at).copied().unwrap_or(0.0);
        anchor(0) + (film - anchor(view)) / self.beside.get(view).copied().unwrap_or(1.0)
    }
}

/// A moment as film time of a shot; a fault where it is not known, or lies outside of the film. `left_out`: where moments that
/// were not typed stand; those give way.
fn instant(shot: &Shot, at: &At<Moment>, left_out: Place, faults: &mut Vec<Fault>) -> Option<f64> {
    let Shot { clip, footage, game, label, .. } = shot;
    let (start, end) = (footage.film.time(footage.span.start), footage.film.time(footage.span.end));
    let typed = at.place != left_out;
    let (base, name) = match at.value.anchor {
        Anchor::Start => (Some(start), "start"),
        Anchor::End => (Some(end), "end"),
        Anchor::Set => (clip.set.and_then(|frame| footage.time_of(clip, frame)), "set"),
        Anchor::Snap => (footage.snap(clip), "snap"),
        Anchor::Whistle => (clip.whistle.and_then(|whistle| footage.time_of(clip, whistle.frame)), "whistle"),
    };
    let Some(base) = base else {
        if !typed {
            // The film's own end stands for an end that was not found.
            return Some(if at.value.anchor == Anchor::Whistle { end } else { start });
        }
        let what = format!("the {name} of {game} play {label} is not known from {}", clip.angle_name());
        let next = match name {
            "set" => "count from the snap".to_string(),
            _ => {
                let flag = if name == "whistle" { "end" } else { name };
                format!("set it with: downbox mend {label} --game \"{game}\" --camera {} --{flag} TIME", clip.camera)
            }
        };
        let known = fault(at.place, what, next);
        if !faults.contains(&known) {
            faults.push(known);
        }
        return None;
    };
    let time = base + at.value.offset;
    if typed && (time < start - SLACK || time > end + SLACK) {
        let (what, by, edge) = match time < start {
            true => ("before the clip begins", start - time, start - base),
            false => ("after the clip ends", time - end, end - base),
        };
        faults.push(fault(
            at.place,
            format!("that is {by:.1} s {what}: {game} play {label} from {}", clip.angle_name()),
            format!(
                "there is film from {} on to {}; {name}{edge:+.1}s is its edge",
                offset(start - base, name),
                offset(end - base, name)
            ),
        ));
        return None;
    }
    Some(time.clamp(start, end))
}

fn offset(seconds: f64, name: &str) -> String {
    format!("{name}{seconds:+.1}s")
}

/// What of a play a step shows, in the words of a script.
fn span_words(shot: &Shot, from: f64, to: f64) -> String {
    let (base, name) = match shot.footage.snap(&shot.clip) {
        Some(snap) => (snap, "snap"),
        None => (shot.footage.film.time(shot.footage.span.start), "start"),
    };
    format!("{} to {}", offset(from - base, name), offset(to - base, name))
}
