//! Where marks go: with the turf, with a man, or nowhere.

use serde::{Deserialize, Serialize};

use super::MarkShown;
use super::step::{Clock, Shot};
use crate::base::{FrameNo, FrameSpan, IoContext, Result, go_on};
use crate::film::{Decode, FrameSource};
use crate::jobs::Tools;
use crate::paint::{Head, Mark, MarkKind};
use crate::reel::script::{MarkAsk, Pin};
use crate::reel::{self, Map, PlacedMark, STILL, Store, Track, WAY, mapped};
use crate::sense::{self, Carried, Followed};

/// A man's height as a share of the picture's where nobody was followed: film from the press box shows some twenty-two men.
const MAN: f64 = 0.085;
/// A ring's width in heights of its man, and its height as a share of its width from the sideline and from the end zone.
const RING: (f64, f64, f64) = (0.9, 0.38, 0.45);
/// What is nobody's and has no size, as a share of the picture's height.
const ZONE: (f64, f64) = (0.24, 0.11);

/// Version of what is followed: raised with every change of [`sense::carry`] or [`sense::follow`] that can change a way.
const FOLLOWER: u32 = 2;

/// Follows marks through the film of one step.
pub(super) struct Pins<'a> {
    tools: Tools<'a>,
    store: &'a Store,
    follow: bool,
    /// What was registered so far: by source, span and frame.
    carried: Vec<((String, FrameSpan, FrameNo), Carried)>,
}

/// A mark with its track.
pub(super) struct Placed {
    pub mark: PlacedMark,
    pub shown: MarkShown,
    /// It is lost before its end: what is wrong and what can be done.
    pub lost: Option<(String, String)>,
}

/// What was found of a mark's way. It is kept: following costs a reading of the film, and a script is rendered many times.
#[derive(Default, Serialize, Deserialize)]
struct Way {
    maps: Vec<Option<Map>>,
    /// The man's height, share of the picture's.
    height: Option<f64>,
    lost_at: Option<FrameNo>,
}

impl<'a> Pins<'a> {
    /// `follow`: else nothing is followed, and every mark stands still.
    pub fn new(tools: Tools<'a>, store: &'a Store, follow: bool) -> Self {
        Self { tools, store, follow, carried: Vec::new() }
    }

    /// Places a mark that is seen from `begins` to `ends` (seconds of the step) and whose points are those of the first view's
    /// film time `film`; or says what is wrong and what can be done.
    ///
    /// # Errors
    /// The film cannot be read; a stop.
    pub fn place(
        &mut self,
        shot: &Shot,
        ask: &MarkAsk,
        clock: &Clock<'_>,
        (begins, ends, film): (f64, f64, f64),
    ) -> Result<std::result::Result<Placed, (String, String)>> {
        let footage = &shot.footage;
        let view = ask.view.value;
        let bound = |time: f64| footage.film.frame_at(time).clamp(footage.span.start, FrameNo(footage.span.end.0 - 1));
        let at = bound(clock.of_view(view, film) + 1e-6);
        let last = bound(clock.of_view(view, clock.pace.film(ends - 1e-6).0));
        let span = FrameSpan::of(at.0, last.0.max(at.0) + 1);
        let way = match (ask.pin, self.follow) {
            (Pin::Screen, _) | (_, false) => Way::default(),
            (pin, true) => {
                let man = (pin == Pin::Man).then_some(ask.points[0]);
                match self.way(shot, span, at, man)? {
                    Ok(way) => way,
                    Err(fault) => return Ok(Err(fault)),
                }
            }
        };
        let track = Track { first: span.start, maps: way.maps };
        // Seconds of the step at which it is lost.
        let lost = way.lost_at.map(|frame| {
            let film = clock.of_main(view, footage.film.time(frame));
            (frame, clock.pace.first(film), film)
        });
        let lost = lost.filter(|(_, t, _)| *t < ends - 1e-3);
        let of_film = |frame: FrameNo| (shot.clip.span.start.0 + frame.0).saturating_sub(footage.span.start.0);
        let path = (span.start.0..span.end.0)
            .filter_map(|k| {
                let map = track.at(FrameNo(k))?;
                Some((of_film(FrameNo(k)), mapped(&map, ask.points[0])))
            })
            .collect();
        let by_man = matches!(ask.kind, MarkKind::Ring | MarkKind::Spotlight) || way.height.is_some();
        let height = way.height.unwrap_or(MAN);
        let shape = footage.film.parts.first().map_or(16.0 / 9.0, |p| f64::from(p.width) / f64::from(p.height.max(1)));
        let flat = if shot.clip.angle == crate::film::Angle::EndZone { RING.2 } else { RING.1 };
        let usual = match ask.kind {
            MarkKind::Ring => (RING.0 * height / shape, RING.0 * height * flat),
            _ => (ZONE.0 / shape, ZONE.1),
        };
        let path_head = match ask.kind {
            MarkKind::Arrow | MarkKind::Route => Head::Arrow,
            _ => Head::Plain,
        };
        let mark = PlacedMark {
            mark: Mark {
                kind: ask.kind,
                color: ask.color,
                thickness: ask.thickness as f32,
                dashed: ask.dashed.unwrap_or(false),
                head: ask.head.unwrap_or(path_head),
            },
            label: ask.label.clone(),
            view,
            points: ask.points.clone(),
            size: ask.size.unwrap_or(usual),
            height: if by_man {
                ask.size.filter(|_| ask.kind == MarkKind::Spotlight).map_or(height, |s| s.1)
            } else {
                0.0
            },
            from: begins,
            to: lost.map_or(ends, |(_, t, _)| t),
            fade: ask.fade,
            track,
        };
        let pin = Pin::WORDS.iter().find(|(_, pin)| *pin == ask.pin).map_or("", |(word, _)| word);
        let lost_at = lost.map(|(frame, ..)| of_film(frame));
        let shown = MarkShown { step: 0, mark: 0, kind: ask.kind, pin, path, lost_at };
        let lost = lost.map(|(_, _, at)| {
            let word = ask.kind.word();
            let here = at - film;
            let (why, next) = match ask.pin {
                Pin::Man => (
                    "he is not told from others, or from the ground, any more",
                    "end it before that (`to`), place a second mark from there on, or pin it to the turf or the screen",
                ),
                _ => (
                    "the camera's way is not to be made out there",
                    "end it before that (`to`), or place a second mark from there on",
                ),
            };
            (format!("the {word} is lost {here:.1} s after its beginning: {why}"), next.to_string())
        });
        Ok(Ok(Placed { mark, shown, lost }))
    }

    fn source<'f>(&self, shot: &'f Shot) -> Result<Box<dyn FrameSource + Send + 'f>>
    where
        'a: 'f,
    {
        self.tools.reader.frames(&shot.footage.film, Decode::Exact, 0)
    }

    /// The turf's way from a frame on.
    fn carried(&mut self, shot: &Shot, span: FrameSpan, at: FrameNo) -> Result<&Carried> {
        let key = (shot.footage.source.clone(), span, at);
        let known = self.carried.iter().position(|(known, _)| *known == key);
        let index = match known {
            Some(index) => index,
            None => {
                let mut frames = self.source(shot)?;
                let mut stop = || go_on(self.tools.progress, "following marks; no reel was made");
                let carried = sense::carry(&mut *frames, span, at, &mut stop)?;
                self.carried.push((key, carried));
                self.carried.len() - 1
            }
        };
        Ok(&self.carried[index].1)
    }

    /// The way of the turf, or of the man who stands at `man`, from a frame on; what is wrong where none stands there.
    fn way(
        &mut self,
        shot: &Shot,
        span: FrameSpan,
        at: FrameNo,
        man: Option<(f64, f64)>,
    ) -> Result<std::result::Result<Way, (String, String)>> {
        let words = format!("way {FOLLOWER} {} {} {span:?} {at} {man:?}", sense::VERSION, shot.footage.content);
        let key = reel::key(&words);
        if self.store.get(&key, WAY).is_some()
            && let Ok(bytes) = std::fs::read(self.store.path(&key, WAY))
            && let Ok(way) = serde_json::from_slice(&bytes)
        {
            return Ok(Ok(way));
        }
        let way = match man {
            None => Ok(self.turf(shot, span, at)?),
            Some(feet) => self.man(shot, span, at, feet)?,
        };
        if let Ok(way) = &way
            && let Ok(text) = serde_json::to_vec(way)
        {
            let kept = self.store.put(&key, WAY, |path| {
                std::fs::write(path, &text).doing("keep a mark's way", path)?;
                Ok((span.len(), Vec::new()))
            });
            // What cannot be kept is followed again.
            if let Err(error) = kept {
                self.tools.progress.warn(&error.to_string());
            }
        }
        Ok(way)
    }

    fn turf(&mut self, shot: &Shot, span: FrameSpan, at: FrameNo) -> Result<Way> {
        let carried = self.carried(shot, span, at)?;
        let maps = (span.start.0..span.end.0).map(|k| carried.map(FrameNo(k))).collect();
        Ok(Way { maps, height: None, lost_at: carried.lost_at() })
    }

    /// A man's way; what is wrong where none stands there.
    fn man(
        &mut self,
        shot: &Shot,
        span: FrameSpan,
        at: FrameNo,
        feet: (f64, f64),
    ) -> Result<std::result::Result<Way, (String, String)>> {
        let carried = self.carried(shot, span, at)?.clone();
        let mut frames = self.source(shot)?;
        let mut stop = || go_on(self.tools.progress, "following marks; no reel was made");
        let followed: Followed = match sense::follow(&mut *frames, span, at, feet, &carried, &mut stop) {
            Ok(followed) => followed,
            Err(error) if error.kind == crate::base::ErrorKind::Refused => return Ok(Err((error.what, error.next))),
            Err(error) => return Err(error),
        };
        let mut maps: Vec<Option<Map>> = vec![None; span.len() as usize];
        for (frame, place) in &followed.path {
            let Some(map) = frame.0.checked_sub(span.start.0).and_then(|k| maps.get_mut(k as usize)) else { continue };
            // As large as the turf at his feet: the camera zooms.
            let scale = carried.map(*frame).map_or(1.0, |turf| {
                let (a, b) = (mapped(&turf, feet), mapped(&turf, (feet.0 + 1e-3, feet.1)));
                (a.0 - b.0).hypot(a.1 - b.1) / 1e-3
            });
            let [x, y] = [place.0 - scale * feet.0, place.1 - scale * feet.1];
            *map = Some([[scale, 0.0, x], [0.0, scale, y], [0.0, 0.0, 1.0]]);
        }
        if maps.first().is_some_and(Option::is_none) {
            maps[0] = Some(STILL);
        }
        Ok(Ok(Way { maps, height: Some(followed.height), lost_at: followed.lost_at }))
    }
}
