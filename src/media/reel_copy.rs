//! Film whose packets go into a reel as they are, after a stretch that is drawn on.
//!
//! A reel has one record of parameter sets. Films that bring sets of the same ids and another content cannot both be copied
//! into it; what is encoded for it beside copied packets uses ids that none of them has.

use std::path::Path;

use super::Media;
use super::cutter::{Cutter, Own};
use super::encode::VideoSpec;
use super::extradata;
use super::nal::Sets;
use crate::base::{Rate, Result};
use crate::film::{Beside, ClipPlan, Draw, DrawnSpec, Film, JoinShape, Joinable};

/// Which of the films can be copied into a reel of this shape.
pub fn joinable(media: &Media, films: &[&Film], shape: JoinShape) -> Result<Joinable> {
    let mut all = Sets::default();
    let mut like: Option<VideoSpec> = None;
    let mut fits = Vec::new();
    for film in films {
        let one = of_shape(media, film, shape)?.filter(|(sets, spec)| {
            let other = like.as_ref().is_some_and(|like| like != spec);
            !other && !all.contradicts(sets)
        });
        if let Some((sets, spec)) = &one {
            sets.all().for_each(|set| all.add(set));
            like.get_or_insert_with(|| spec.clone());
        }
        fits.push(one.is_some());
    }
    let ids = all.free_id().and_then(|first| Some((first, all.free_id_below(first)?)));
    Ok(match (ids, like) {
        (Some((first, set_id)), Some(VideoSpec { reorder, .. })) => {
            Joinable { fits, beside: Beside { set_id: first, reorder }, set_id }
        }
        _ => Joinable { fits: vec![false; films.len()], beside: Beside::default(), set_id: 0 },
    })
}

/// The parameter sets of a film of this shape, and what frames encoded beside its packets look like; `None` where its
/// packets cannot be copied.
fn of_shape(media: &Media, film: &Film, shape: JoinShape) -> Result<Option<(Sets, VideoSpec)>> {
    let [part] = film.parts.as_slice() else { return Ok(None) };
    let square = part.sample_aspect.num == part.sample_aspect.den;
    let plain = part.codec == "h264" && part.pixel_format == "yuv420p" && !part.interlaced && part.rotation == 0;
    let size = (part.width, part.height) == (shape.width, shape.height);
    if !(plain && square && size && !part.variable && part.index.by_packets && regular(part, shape.rate)) {
        return Ok(None);
    }
    let mut cutter = Cutter::over(media, film, 1);
    let parameters = cutter.picture_parameters(0)?;
    // SAFETY: the parameters are live; the binding shows none of these fields.
    let (width, height, space, range) = unsafe {
        let p = parameters.as_ptr();
        ((*p).width, (*p).height, (*p).color_space, (*p).color_range)
    };
    use ffmpeg_next::ffi::{AVColorRange, AVColorSpace};
    // What says nothing is taken for BT.709 from 720 lines up, by common practice.
    let colors = match space {
        AVColorSpace::AVCOL_SPC_BT709 => true,
        AVColorSpace::AVCOL_SPC_UNSPECIFIED => height >= 720,
        _ => false,
    };
    let coded = (width, height) == (shape.width as i32, shape.height as i32);
    if !(colors && coded) || range == AVColorRange::AVCOL_RANGE_JPEG {
        return Ok(None);
    }
    let Some((sets, _)) = Sets::read(&extradata(&parameters)) else { return Ok(None) };
    Ok(Some((sets, cutter.spec(part, &parameters))))
}

/// Whether every frame lasts exactly one of the reel's.
fn regular(part: &crate::film::Part, rate: Rate) -> bool {
    let (num, den) = (i128::from(rate.num), i128::from(rate.den));
    let (tick, ticks) = (i128::from(part.time_base.num), i128::from(part.time_base.den));
    part.index.pts.windows(2).all(|pair| i128::from(pair[1] - pair[0]) * tick * num == den * ticks)
}

/// Writes a clip without sound, what is encoded of it drawn on.
pub fn splice_drawn(
    media: &Media,
    film: &Film,
    plan: &ClipPlan,
    path: &Path,
    spec: &DrawnSpec,
    draw: &mut Draw<'_>,
) -> Result<()> {
    let media = Media { preset: spec.preset.clone(), crf: spec.crf, ..media.clone() };
    let mut cutter = Cutter::over(&media, film, spec.threads);
    cutter.own = Some(Own { set_id: spec.set_id, threads: spec.threads, draw });
    cutter.check(plan)?;
    cutter.splice(plan, path)
}
