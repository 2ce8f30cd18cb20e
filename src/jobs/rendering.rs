//! What reels are rendered with, and how large they become.

use std::collections::HashMap;
use std::path::Path;
use std::sync::Arc;

use super::cutup::CutupAsk;
use super::{Config, Tools};
use crate::base::{Error, FrameSpan, Result};
use crate::cut;
use crate::film::{ClipPlan, Codec, Film, FilmWriter, SoundPlan};
use crate::library::Library;
use crate::reel::{self, PlanCopy, Profile, ReelPlan, Store, Studio};

/// The library's folder of rendered segments.
pub(super) const SEGMENTS: &str = "segments";

/// Bytes of a reel whose pictures take so many.
pub(super) fn bytes(plan: &ReelPlan, pictures: u64, frames: u64) -> u64 {
    let sound = if plan.mute { 0.0 } else { SOUND_BYTES * plan.canvas.seconds(frames) };
    (pictures as f64 + sound) as u64 + frames * INDEX_BYTES + HEADER_BYTES
}

/// The library's rendered segments.
pub(super) fn segments(config: &Config, library: &Library) -> Result<Store> {
    Store::open(&library.at(Path::new(SEGMENTS)), config.settings.cache.bytes())
}

/// The profile of an ask.
pub(super) fn profile(config: &Config, ask: &CutupAsk) -> Profile {
    ask.profile.or_else(|| Profile::named(&config.settings.cutup.profile)).unwrap_or(Profile::Meeting)
}

/// What reels are rendered with, in the usual quality.
pub(super) fn studio<'a>(tools: Tools<'a>, config: &'a Config, store: &'a Store, ask: &CutupAsk) -> Studio<'a> {
    Studio {
        reader: tools.reader,
        writer: tools.writer,
        desk: tools.desk,
        templates: &config.templates,
        design: ask.design,
        codec: ask.codec.or_else(|| Codec::named(&config.settings.cutup.codec)).unwrap_or_default(),
        preset: config.settings.cutup.preset.clone(),
        crf: config.settings.cutup.crf,
        // The film's own packets are of its own quality: that of a tape.
        copies: (profile(config, ask) == Profile::Tape && ask.fit.is_none()).then_some(copy_plan as PlanCopy),
        jobs: 0,
        store,
        progress: tools.progress,
    }
}

/// Plans a stretch of one file of film.
fn copy_plan(writer: &dyn FilmWriter, film: &Film, span: FrameSpan) -> Result<ClipPlan> {
    Ok(cut::plan(film, span, span.start, &[writer.entry_points(film, 0)?], &[SoundPlan::None]))
}

/// The film behind a source of a plan.
pub(super) fn opened(sources: &HashMap<String, Arc<Film>>, source: &str) -> Result<Arc<Film>> {
    let known = sources.get(source).cloned();
    known.ok_or_else(|| Error::failed("its film is not open", source, "run the same command again"))
}

/// Renders in the best quality that fits.
pub(super) fn of_size(
    plan: &ReelPlan,
    config: &Config,
    tools: Tools<'_>,
    store: &Store,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
    (ask, out): (&CutupAsk, &Path),
) -> Result<reel::Rendered> {
    let qualities = profile(config, ask).qualities(config.settings.cutup.crf);
    let mut least = u64::MAX;
    let mut at = 0;
    while let Some(crf) = qualities.get(at) {
        let studio = Studio { crf: *crf, ..studio(tools, config, store, ask) };
        let Some(most) = ask.fit else { return reel::render(plan, &studio, open, out) };
        let prepared = reel::prepare(plan, &studio, open)?;
        let bytes = bytes(plan, prepared.bytes, prepared.frames);
        if bytes <= most {
            return reel::render(plan, &studio, open, out);
        }
        least = bytes;
        // One step is worth at least a fifth; steps that cannot be enough are passed over.
        let steps = ((bytes as f64 / most as f64).ln() / STEP_WORTH.ln()).floor().max(1.0) as usize;
        at = match at + steps {
            next if next < qualities.len() => next,
            _ if at + 1 < qualities.len() => qualities.len() - 1,
            _ => break,
        };
    }
    let mega = |bytes: u64| bytes as f64 / 1e6;
    Err(Error::refused(
        format!(
            "the reel cannot be brought under {:.1} MB: {:.1} MB are the least that is still to be read",
            mega(ask.fit.unwrap_or(0)),
            mega(least)
        ),
        out.display(),
        "show fewer plays (--first 12, --at-most 3m), one angle (--angle sideline), or less of each (--lead-in 2 --tail 1)",
    ))
}

/// Bytes a second of a reel's sound at 160 kbit/s.
const SOUND_BYTES: f64 = 20_000.0;
/// Bytes that a picture, with the sound heard with it, takes in the index (ISO/IEC 14496-12: sizes, times, chunks).
const INDEX_BYTES: u64 = 24;
/// Bytes of headers and chapters, at most.
const HEADER_BYTES: u64 = 40_000;
/// By how much one step of quality divides the size at most: a step too many would cost quality (measured on made film).
const STEP_WORTH: f64 = 1.8;
