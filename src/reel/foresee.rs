//! What a reel will be, before anything of it is rendered.

use std::sync::Arc;

use super::plan::ReelPlan;
use super::render::{Laid, RenderedSegment, Studio, lay_out};
use super::store::PICTURES;
use crate::base::Result;
use crate::film::{Codec, Film};

/// Bits a sample of luma takes at [`USUAL_CRF`], before anything of this kind was rendered: 7.5 Mbit/s at 1920x1080 and 30
/// pictures a second, as grass and crowd in motion need with x264's quick presets \[practice\].
const BITS_A_SAMPLE: f64 = 0.12;
/// What the other codecs need of it, as they are asked to look alike \[practice\].
const HEVC_NEEDS: f64 = 0.75;
const AV1_NEEDS: f64 = 0.5;
/// The rate factor that [`BITS_A_SAMPLE`] is of.
const USUAL_CRF: f64 = 21.0;
/// With so many steps of the rate factor x264's rate is halved \[practice\].
const HALVED_BY: f64 = 6.0;

/// What a reel will be.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Foreseen {
    /// What is seen when.
    pub segments: Vec<RenderedSegment>,
    /// Length, seconds.
    pub seconds: f64,
    /// How many segments lie there already.
    pub ready: usize,
    /// Bytes of all pictures: of those that lie there as they are, of the others by the rate of those, or by a usual one
    /// where none lies there.
    pub bytes: u64,
    /// Pictures of all segments.
    pub frames: u64,
}

/// Lays a plan out and looks at what of it was rendered before; writes nothing.
///
/// # Errors
/// A stop.
pub fn foresee(
    plan: &ReelPlan,
    studio: &Studio<'_>,
    open: &mut dyn FnMut(&str) -> Result<Arc<Film>>,
) -> Result<Foreseen> {
    let Laid { shown, .. } = lay_out(plan, studio, open)?;
    let mut seen = Foreseen::default();
    let (mut known, mut known_frames) = (0, 0);
    for one in shown {
        let frames = one.job.frames();
        let (start, end) = (plan.canvas.seconds(seen.frames), plan.canvas.seconds(seen.frames + frames));
        seen.frames += frames;
        let (game, label) = (one.segment.game.clone(), one.segment.label.clone());
        seen.segments.push(RenderedSegment { game, label, angle: one.segment.angle.clone(), start, end });
        if let Some(made) = studio.store.peek(&one.pictures, PICTURES) {
            seen.ready += 1;
            known += made.bytes;
            known_frames += made.frames;
        }
    }
    seen.seconds = plan.canvas.seconds(seen.frames);
    let usual = {
        let needs = match studio.codec {
            Codec::H264 => 1.0,
            Codec::Hevc => HEVC_NEEDS,
            Codec::Av1 => AV1_NEEDS,
        };
        let samples = f64::from(plan.canvas.width) * f64::from(plan.canvas.height);
        needs * samples * BITS_A_SAMPLE / 8.0 * ((USUAL_CRF - f64::from(studio.crf)) / HALVED_BY).exp2()
    };
    let a_frame = if known_frames > 0 { known as f64 / known_frames as f64 } else { usual };
    seen.bytes = known + (a_frame * seen.frames.saturating_sub(known_frames) as f64) as u64;
    Ok(seen)
}
