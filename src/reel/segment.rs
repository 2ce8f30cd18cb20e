//! One segment rendered by itself: pictures without sound, and sound without pictures.

use std::io::{BufWriter, Write};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use super::compose::Composer;
use super::copied::Copied;
use super::paced_sound::paced;
use super::pictures::Pictures;
use super::plan::{Layout, Segment};
use super::render::{CHANNELS, Studio};
use super::schedule::{Schedule, sample_at};
use super::sound::SegmentSound;
use super::store::key;
use super::taught::{Taught, schedule};
use super::teaching::WHOLE;
use crate::base::{Error, FrameNo, IoContext, Problem, Result, go_on};
use crate::film::{Beside, ClipSpec, DrawnSpec, Film, Hand, Picture, PictureView};
use crate::paint::{Card, CardKind, CardText, Design, Overlay, Strip, Template, Templates};
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
            let seconds = card_seconds(templates, card);
            let frames = canvas.rate.frames(seconds);
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
            if let Some(teaching) = &segment.teaching {
                schedules.push(schedule(segment, teaching, schedules.len(), span, canvas));
                continue;
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

    /// What is burned in.
    fn design(&self, studio: &Studio<'_>) -> Design {
        self.segment.teaching.as_ref().and_then(|teaching| teaching.design).unwrap_or(studio.design)
    }

    /// On how many frames from the first on something is drawn.
    pub fn drawn(&self, studio: &Studio<'_>) -> u64 {
        match (&self.segment.strip, studio.templates.of(self.design(studio))) {
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
        let template = studio.templates.of(self.design(studio));
        let drawn = strip.as_ref().zip(template).map(|(text, template)| (text.kept_for(template), template));
        let card = self.segment.card.as_ref().map(|card| {
            let template = card_template(studio.templates, card);
            (card.kept_for(template), template, self.frames)
        });
        // What every segment has of it is not told, so that reels without copied packets find their segments.
        let copied = self.copied.as_ref().map(|c| format!("{c:?}")).or(self.beside.map(|b| format!("{b:?}")));
        let copied = copied.unwrap_or_default();
        let taught = self.segment.teaching.as_ref().map(|t| format!(" {t:?}")).unwrap_or_default();
        key(&format!(
            "pictures {RENDERER} {encoder} {:?} {seen:?} {layout:?} {drawn:?} {strip_for:?} {card:?} {} {}{copied}{taught}",
            self.canvas, studio.preset, studio.crf
        ))
    }

    /// What the sound is found by.
    pub fn sound_key(&self) -> String {
        // A card is silent, as long as it stands.
        let heard = self.segment.views.first().map(|v| (&v.content, v.span));
        let taught = self.segment.teaching.as_ref().map(|t| format!(" {:?} {:?}", t.pace, t.sound)).unwrap_or_default();
        key(&format!("sound {RENDERER} {heard:?} {:?} {}{taught}", self.canvas.rate, self.frames()))
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
        let mut problems = Vec::new();
        if let (Some(copied), Some(film)) = (&self.copied, self.films.first()) {
            let overlay = self.overlay(studio, &mut problems)?;
            let overlay_until = self.drawn(studio);
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
                composer.take(0, picture, (width, height), WHOLE);
                hand(&composer.lay(overlay.as_ref()).view(picture.no, picture.time))
            };
            studio.writer.splice_drawn(film, &copied.plan, path, &spec, &mut draw)?;
            at(self.frames);
            return Ok((self.frames, problems));
        }
        let mut sink = studio.writer.create(path, &spec)?;
        self.draw(studio, 0..self.frames, &mut problems, &mut |k, picture| {
            sink.picture(&picture.view(FrameNo(k), 0.0))?;
            at(k + 1);
            Ok(())
        })?;
        sink.finish()?;
        Ok((self.frames(), problems))
    }

    /// Draws some of its pictures, in order, and hands each over.
    ///
    /// # Errors
    /// A film without a picture there; words that cannot be drawn; those of `hand`; a stop.
    pub fn draw(
        &self,
        studio: &Studio<'_>,
        frames: Range<u64>,
        problems: &mut Vec<Problem>,
        hand: &mut dyn FnMut(u64, &Picture) -> Result<()>,
    ) -> Result<()> {
        let size = (self.canvas.width as usize, self.canvas.height as usize);
        if let Some(card) = &self.segment.card {
            let template = card_template(studio.templates, card);
            let (picture, wrong) = Card::draw(template, card, size.0, size.1)?;
            problems.extend(wrong);
            for k in frames {
                go_on(studio.progress, "rendering; what is rendered is kept")?;
                hand(k, &picture)?;
            }
            return Ok(());
        }
        let overlay = self.overlay(studio, problems)?;
        let overlay_until = self.drawn(studio);
        let mut composer = Composer::new(self.segment.layout, size, self.films.len());
        let mut readers: Vec<Pictures<'_>> = Vec::new();
        for (view, (film, schedule)) in self.films.iter().zip(&self.schedules).enumerate() {
            let zooms = self.segment.teaching.as_ref().is_some_and(|t| t.zooms.iter().any(|z| z.view == view));
            readers.push(Pictures::open(studio.reader, film, schedule.source(film, frames.start).frame, zooms)?);
        }
        let mut taught = Taught::new(self, overlay.as_ref());
        for k in frames {
            go_on(studio.progress, "rendering; what is rendered is kept")?;
            let mut fresh = k == overlay_until;
            for (view, (pictures, schedule)) in readers.iter_mut().zip(&self.schedules).enumerate() {
                let region = taught.as_ref().map_or(WHOLE, |taught| taught.region(view, k));
                fresh |= pictures.show(schedule.source(pictures.film, k), view, region, &mut composer);
                if !pictures.laid {
                    let why = pictures.ended.take().unwrap_or_else(|| "it has no picture there".into());
                    return Err(Error::failed(why, self.segment.source(), ""));
                }
            }
            let overlay = overlay.as_ref().filter(|_| k < overlay_until);
            let canvas = match &mut taught {
                Some(taught) => taught.lay(&mut composer, overlay, k, fresh)?,
                None if fresh => composer.lay(overlay),
                None => composer.canvas(),
            };
            hand(k, canvas)?;
        }
        for (pictures, view) in readers.iter().zip(&self.segment.views) {
            pictures.note(&view.source, problems);
        }
        Ok(())
    }

    fn overlay(&self, studio: &Studio<'_>, problems: &mut Vec<Problem>) -> Result<Option<Overlay>> {
        let Some((text, template)) = self.segment.strip.as_ref().zip(studio.templates.of(self.design(studio))) else {
            return Ok(None);
        };
        let larger = if self.segment.teaching.is_some() { AT_ARMS_LENGTH } else { 1.0 };
        let (width, height) = (self.canvas.width as usize, self.canvas.height as usize);
        let strip = Strip::draw_larger(template, text, width, height, larger)?;
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
        if let Some(teaching) = &self.segment.teaching {
            let samples = sample_at(self.frames, self.canvas.rate) as usize + 2;
            let tools = (studio.reader, studio.desk);
            let (sound, broken) = paced(tools, film, (&teaching.pace, teaching.sound), samples)?;
            std::fs::write(path, in_bytes(&sound)).doing(doing, path)?;
            return Ok((self.frames, self.silence(broken)));
        }
        let mut sound = SegmentSound::open(studio.reader, film, schedule.from);
        let mut file = BufWriter::new(std::fs::File::create(path).doing(doing, path)?);
        let mut heard = Vec::new();
        let mut left = sample_at(self.frames(), self.canvas.rate) + 2;
        while left > 0 {
            let some = left.min(4096);
            left -= some;
            sound.take(some as usize, &mut heard);
            file.write_all(&in_bytes(&heard)).doing(doing, path)?;
        }
        file.flush().doing(doing, path)?;
        Ok((self.frames(), self.silence(sound.broken)))
    }

    /// Tells why its sound broke off.
    fn silence(&self, broken: Option<String>) -> Vec<Problem> {
        let told = |why| Problem::new(self.segment.source(), format!("its sound breaks off ({why}); silence follows"));
        broken.map(told).into_iter().collect()
    }
}

/// Samples as a sound file holds them.
fn in_bytes(samples: &[f32]) -> Vec<u8> {
    let sample = |sample: &f32| ((sample * 32767.0).round().clamp(-32768.0, 32767.0) as i16).to_le_bytes();
    samples.iter().flat_map(sample).collect()
}

/// The template of a card.
fn card_template<'t>(templates: &'t Templates, card: &CardText) -> &'t Template {
    match card.kind {
        CardKind::Title => &templates.card,
        CardKind::Group => &templates.group,
    }
}

/// How much larger the strip of a teaching reel is: the smallest words of the shipped one are 42 units of 1/1080 of the
/// picture's height, and a phone at arm's length needs 1/22 of it.
const AT_ARMS_LENGTH: f32 = 1080.0 / 22.0 / 42.0;

/// How long a card stands, seconds.
pub(super) fn card_seconds(templates: &Templates, card: &CardText) -> f64 {
    card.seconds(card_template(templates, card))
}

/// Bytes of one sample of all channels in a sound file.
pub(super) const SAMPLE_BYTES: usize = 2 * CHANNELS;
