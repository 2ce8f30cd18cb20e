//! One segment rendered by itself: pictures without sound, and sound without pictures.

use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::Arc;

use super::compose::Composer;
use super::copied::Copied;
use super::plan::{Layout, Segment};
use super::render::{CHANNELS, Studio};
use super::schedule::{Schedule, Seen, sample_at};
use super::sound::SegmentSound;
use super::store::key;
use crate::base::{Error, FrameNo, IoContext, Problem, Result, go_on};
use crate::film::{Beside, ClipSpec, DrawnSpec, Film, FilmReader, FrameSource, Hand, PictureView};
use crate::paint::{Card, CardKind, CardText, Overlay, Strip, Template, Templates};
use crate::reel::Canvas;

/// Version of the renderer: raised with every change that can change a segment's pictures or sound.
pub const RENDERER: u32 = 2;

/// A segment with its films and what each frame of the reel shows.
pub(super) struct Job<'a> {
    pub segment: &'a Segment,
    pub canvas: Canvas,
    pub films: Vec<Arc<Film>>,
    pub schedules: Vec<Schedule>,
    /// How it is made by copying; `None` where every frame is encoded.
    pub copied: Option<Copied>,
    /// How it is encoded, where it is to lie beside copied packets.
    pub beside: Option<Beside>,
    /// Pictures in the reel.
    frames: u64,
    /// What was not as planned.
    pub problems: Vec<Problem>,
}

impl<'a> Job<'a> {
    /// Lays a segment out over its films, one for each view.
    ///
    /// # Errors
    /// A film that has nothing of what is to be shown.
    pub fn of(segment: &'a Segment, films: Vec<Arc<Film>>, canvas: Canvas, templates: &Templates) -> Result<Self> {
        if let Some(card) = &segment.card {
            let seconds = card.seconds(card_template(templates, card));
            let frames = ((seconds * canvas.rate.hz()).round() as u64).max(1);
            let (schedules, problems) = (Vec::new(), Vec::new());
            let (copied, beside) = (None, None);
            return Ok(Self { segment, canvas, films, schedules, copied, beside, frames, problems });
        }
        let mut schedules: Vec<Schedule> = Vec::new();
        let mut problems = Vec::new();
        for (view, film) in segment.views.iter().zip(&films) {
            let span = Schedule::within(film, view.span);
            if span.is_empty() {
                let has = format!("it has only {} frames", film.frames());
                return Err(Error::refused(has, &view.source, ""));
            }
            if span != view.span {
                let what = format!("the clip ends at frame {}, before {}", span.end, view.span.end);
                problems.push(Problem::new(&view.source, what));
            }
            let own = Schedule::of(film, span, canvas.rate);
            schedules.push(match (schedules.first(), segment.views.first()) {
                (Some(main), Some(first)) => {
                    let apart = first.anchor.zip(view.anchor).map_or(own.from - main.from, |(a, b)| b - a);
                    main.beside(main.from + apart, span)
                }
                _ => own,
            });
        }
        let Some(frames) = schedules.first().map(|s| s.frames) else {
            return Err(Error::refused("it shows nothing", segment.source(), ""));
        };
        Ok(Self { segment, canvas, films, schedules, copied: None, beside: None, frames, problems })
    }

    /// Pictures that it has in the reel.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// On how many frames from the first on something is drawn.
    pub fn drawn(&self, studio: &Studio<'_>) -> u64 {
        match (&self.segment.strip, studio.templates.of(studio.design)) {
            (Some(_), Some(_)) => {
                self.segment.strip_for.map_or(u64::MAX, |s| (s * self.canvas.rate.hz()).round().max(0.0) as u64)
            }
            _ => 0,
        }
    }

    /// What the pictures are found by: all that shapes them, what encodes them too.
    pub fn picture_key(&self, studio: &Studio<'_>, encoder: &str) -> String {
        let Segment { views, layout, strip, strip_for, .. } = self.segment;
        // Where one view is seen its snap moves nothing.
        let anchored = views.len() > 1;
        let seen: Vec<_> = views.iter().map(|v| (&v.content, v.span, v.anchor.filter(|_| anchored))).collect();
        // What a template does not say makes no other picture.
        let template = studio.templates.of(studio.design);
        let drawn = strip.as_ref().zip(template).map(|(text, template)| (text.kept_for(template), template));
        let card = self.segment.card.as_ref().map(|card| {
            let template = card_template(studio.templates, card);
            (card.kept_for(template), template, self.frames)
        });
        // What every segment has of it is not told, so that reels without copied packets find their segments.
        let copied = self.copied.as_ref().map(|c| format!("{c:?}")).or(self.beside.map(|b| format!("{b:?}")));
        let copied = copied.unwrap_or_default();
        key(&format!(
            "pictures {RENDERER} {encoder} {:?} {seen:?} {layout:?} {drawn:?} {strip_for:?} {card:?} {} {}{copied}",
            self.canvas, studio.preset, studio.crf
        ))
    }

    /// What the sound is found by.
    pub fn sound_key(&self) -> String {
        // A card is silent, as long as it stands.
        let heard = self.segment.views.first().map(|v| (&v.content, v.span));
        key(&format!("sound {RENDERER} {heard:?} {:?} {}", self.canvas.rate, self.frames()))
    }

    /// Encodes the pictures into a file; gives how many there are. `at` is told how many are done.
    ///
    /// # Errors
    /// A film without a picture there; writing; a stop.
    pub fn pictures(
        &self,
        studio: &Studio<'_>,
        threads: usize,
        path: &Path,
        at: &dyn Fn(u64),
    ) -> Result<(u64, Vec<Problem>)> {
        let Canvas { width, height, rate } = self.canvas;
        let spec = ClipSpec {
            width,
            height,
            rate,
            channels: 0,
            codec: studio.codec,
            beside: self.beside,
            preset: studio.preset.clone(),
            crf: studio.crf,
            threads,
            title: String::new(),
            chapters: Vec::new(),
        };
        if let Some(card) = &self.segment.card {
            let template = card_template(studio.templates, card);
            let (picture, problems) = Card::draw(template, card, width as usize, height as usize)?;
            let mut sink = studio.writer.create(path, &spec)?;
            for k in 0..self.frames {
                go_on(studio.progress, "rendering; what is rendered is kept")?;
                sink.picture(&picture.view(FrameNo(k), 0.0))?;
                at(k + 1);
            }
            sink.finish()?;
            return Ok((self.frames, problems));
        }
        let mut problems = Vec::new();
        let overlay = self.overlay(studio, &mut problems)?;
        let overlay_until = self.drawn(studio);
        if let (Some(copied), Some(film)) = (&self.copied, self.films.first()) {
            let spec = DrawnSpec { preset: spec.preset, crf: spec.crf, threads, set_id: copied.set_id };
            let mut composer = Composer::new(Layout::Single, (width as usize, height as usize), 1);
            let from = copied.plan.span.start.0;
            let mut draw = |picture: &PictureView<'_>, hand: &mut Hand<'_>| {
                go_on(studio.progress, "rendering; what is rendered is kept")?;
                let k = picture.no.0 - from;
                at(k + 1);
                if k >= overlay_until {
                    return hand(picture);
                }
                composer.take(0, picture, (width, height));
                hand(&composer.lay(overlay.as_ref()).view(picture.no, picture.time))
            };
            studio.writer.splice_drawn(film, &copied.plan, path, &spec, &mut draw)?;
            at(self.frames);
            return Ok((self.frames, problems));
        }
        let mut composer = Composer::new(self.segment.layout, (width as usize, height as usize), self.films.len());
        let mut readers: Vec<Pictures<'_>> = Vec::new();
        for (film, schedule) in self.films.iter().zip(&self.schedules) {
            readers.push(Pictures::open(studio.reader, film, schedule.source(film, 0).frame)?);
        }
        let mut sink = studio.writer.create(path, &spec)?;
        for k in 0..self.frames() {
            go_on(studio.progress, "rendering; what is rendered is kept")?;
            let mut fresh = k == overlay_until;
            for (view, (pictures, schedule)) in readers.iter_mut().zip(&self.schedules).enumerate() {
                fresh |= pictures.show(schedule.source(pictures.film, k), view, &mut composer);
                if k == 0 && !pictures.laid {
                    let why = pictures.ended.take().unwrap_or_else(|| "it has no picture there".into());
                    return Err(Error::failed(why, self.segment.source(), ""));
                }
            }
            let canvas = match fresh {
                true => composer.lay(overlay.as_ref().filter(|_| k < overlay_until)),
                false => composer.canvas(),
            };
            sink.picture(&canvas.view(FrameNo(k), 0.0))?;
            at(k + 1);
        }
        sink.finish()?;
        for (pictures, view) in readers.iter().zip(&self.segment.views) {
            pictures.note(&view.source, &mut problems);
        }
        Ok((self.frames(), problems))
    }

    fn overlay(&self, studio: &Studio<'_>, problems: &mut Vec<Problem>) -> Result<Option<Overlay>> {
        let Some((text, template)) = self.segment.strip.as_ref().zip(studio.templates.of(studio.design)) else {
            return Ok(None);
        };
        let strip = Strip::draw(template, text, self.canvas.width as usize, self.canvas.height as usize)?;
        problems.extend(strip.problems);
        Ok(strip.overlay)
    }

    /// Writes the sound into a file: 16 bits are what a microphone beside a crowd is worth. Two samples more than the
    /// pictures last: a segment that begins at another sample of the reel may need one more.
    ///
    /// # Errors
    /// Writing.
    pub fn sound(&self, studio: &Studio<'_>, path: &Path) -> Result<(u64, Vec<Problem>)> {
        let doing = "write the segment's sound";
        let (Some(film), Some(schedule)) = (self.films.first(), self.schedules.first()) else {
            let samples = sample_at(self.frames, self.canvas.rate) + 2;
            std::fs::write(path, vec![0u8; samples as usize * SAMPLE_BYTES]).doing(doing, path)?;
            return Ok((self.frames, Vec::new()));
        };
        let mut sound = SegmentSound::open(studio.reader, film, schedule.from);
        let mut file = BufWriter::new(std::fs::File::create(path).doing(doing, path)?);
        let (mut heard, mut bytes) = (Vec::new(), Vec::new());
        let mut left = sample_at(self.frames(), self.canvas.rate) + 2;
        while left > 0 {
            let some = left.min(4096);
            left -= some;
            sound.take(some as usize, &mut heard);
            bytes.clear();
            for sample in &heard {
                bytes.extend(((sample * 32767.0).round().clamp(-32768.0, 32767.0) as i16).to_le_bytes());
            }
            file.write_all(&bytes).doing(doing, path)?;
        }
        file.flush().doing(doing, path)?;
        let broken = sound
            .broken
            .map(|why| Problem::new(self.segment.source(), format!("its sound breaks off ({why}); silence follows")));
        Ok((self.frames(), broken.into_iter().collect()))
    }
}

/// The template of a card.
fn card_template<'t>(templates: &'t Templates, card: &CardText) -> &'t Template {
    match card.kind {
        CardKind::Title => &templates.card,
        CardKind::Group => &templates.group,
    }
}

/// Bytes of one sample of all channels in a sound file.
pub(super) const SAMPLE_BYTES: usize = 2 * CHANNELS;

/// The source of a view's pictures, at the one it has come to.
struct Pictures<'f> {
    source: Box<dyn FrameSource + Send + 'f>,
    film: &'f Film,
    at: Option<Seen>,
    /// Whether one of them was laid.
    laid: bool,
    /// Frames in which the decoder met damage.
    damaged: u64,
    /// Why no more come.
    ended: Option<String>,
}

impl<'f> Pictures<'f> {
    fn open(reader: &'f dyn FilmReader, film: &'f Film, from: FrameNo) -> Result<Self> {
        let mut source = reader.shown(film, 1)?;
        source.seek(from)?;
        Ok(Self { source, film, at: None, laid: false, damaged: 0, ended: None })
    }

    /// Reads on to picture `to` and hands it to the composer; gives whether there is a new one. Where the film has ended the
    /// one before stays.
    fn show(&mut self, to: Seen, view: usize, composer: &mut Composer) -> bool {
        let mut fresh = false;
        while self.ended.is_none() && self.at.is_none_or(|at| at < to) {
            match self.source.next_frame() {
                Ok(Some(picture)) => {
                    let at = Seen { frame: picture.no, second: picture.second };
                    self.at = Some(at);
                    self.damaged += u64::from(picture.damaged && !picture.second);
                    if at >= to {
                        let part = self.film.parts.get(self.film.place(picture.no).part);
                        let shown = part.map(|p| (p.width, p.height)).filter(|&(w, h)| w > 0 && h > 0);
                        let shown = shown.unwrap_or((picture.width as u32, picture.height as u32));
                        composer.take(view, &picture, shown);
                        self.laid = true;
                        fresh = true;
                    }
                }
                Ok(None) => self.ended = Some("the film ends there".into()),
                Err(error) => self.ended = Some(error.to_string()),
            }
        }
        fresh
    }

    fn note(&self, source: &str, problems: &mut Vec<Problem>) {
        if let (Some(why), Some(at)) = (&self.ended, self.at) {
            let what = format!("no picture after frame {} ({why}); the last one is held", at.frame);
            problems.push(Problem::new(source, what));
        }
        let damage = self.source.damage();
        // A decoder that marks pictures without telling where is still told of.
        if damage.is_empty() && self.damaged > 0 {
            problems.push(Problem::new(source, format!("{} damaged frames are shown", self.damaged)));
        }
        problems.extend(damage.into_iter().map(|span| self.film.damage(span)));
    }
}
