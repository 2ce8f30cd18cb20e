//! A clip encoded whole: across parts, of another codec, or with nothing to copy in it.

use std::path::Path;

use ff::ffi;
use ffmpeg_next as ff;

use super::cutter::{Cutter, base_of, ticks_at, turned};
use super::encode::{VideoEncoder, VideoSpec};
use super::fields::Fields;
use super::mux::Muxer;
use super::nal::Sets;
use super::track::Track;
use crate::base::{Error, Result};
use crate::film::{ClipPlan, FrameSource, PictureView};

/// Ticks a second of a clip over parts whose own clocks differ: the MPEG systems clock, in which every usual frame
/// rate but 60000/1001 is whole.
const COMMON_TICKS: i32 = 90_000;

impl Cutter<'_> {
    /// Writes a clip encoded whole, upright, every frame at its own time.
    pub fn encode_whole(&mut self, plan: &ClipPlan, path: &Path) -> Result<()> {
        let place = self.film.place(plan.span.start);
        let part = &self.film.parts[place.part];
        let first = self.film.starts()[place.part];
        let one_part = self.film.parts_of(plan.span).count() == 1;
        // Within a part its own ticks keep every time exact.
        let base = if one_part { base_of(part) } else { ff::Rational(1, COMMON_TICKS) };
        let zero_ticks = ticks_at(part, plan.span.start.0 - first);
        let zero = self.film.time(plan.span.start);
        let end = (self.film.time(plan.span.end) - zero).max(0.0);
        let step = (f64::from(base.1) / f64::from(base.0.max(1)) / part.rate.hz()).round().max(1.0) as i64;

        let parameters = self.picture_parameters(place.part)?;
        let like = self.spec(part, &parameters);
        let aspect = if part.rotation % 180 == 90 { turned(part.sample_aspect) } else { part.sample_aspect };
        // SAFETY: the parameters are live; the binding shows no field order.
        let order = match unsafe { (*parameters.as_ptr()).field_order } {
            ffi::AVFieldOrder::AV_FIELD_TT | ffi::AVFieldOrder::AV_FIELD_TB => Some(true),
            ffi::AVFieldOrder::AV_FIELD_BB | ffi::AVFieldOrder::AV_FIELD_BT => Some(false),
            _ => None,
        };
        // Rows of a turned picture are columns of the filmed one: there the fields are filled up, one picture a frame.
        let mut turned_fields = (part.interlaced && part.rotation != 0).then(|| Fields::new(self.film, 0));
        self.frames.upright_off(false);
        match &mut turned_fields {
            Some(fields) => fields.seek(plan.span.start)?,
            None => self.frames.seek(plan.span.start)?,
        }
        let mut muxer = Muxer::create(path, "")?;
        let mut encoder: Option<VideoEncoder> = None;
        let mut track = Track::None;
        let mut size = (0, 0);
        let mut gone = plan.span.start.0;
        while gone < plan.span.end.0 {
            let source: &mut dyn FrameSource = match &mut turned_fields {
                Some(fields) => fields,
                None => &mut self.frames,
            };
            let Some(view) = source.next_frame()? else { break };
            if view.second {
                continue;
            }
            if view.no >= plan.span.end {
                break;
            }
            let (no, time, upper_first) = (view.no, view.time, view.upper_first);
            gone = no.0 + 1;
            let (w, h) = (view.width & !1, view.height & !1);
            let even = PictureView { width: w, height: h, ..view };
            let pts = if one_part {
                ticks_at(part, no.0 - first) - zero_ticks
            } else {
                ((time - zero) * f64::from(COMMON_TICKS)).round() as i64
            };
            if encoder.is_none() {
                size = (w, h);
                let spec = VideoSpec {
                    width: w as u32,
                    height: h as u32,
                    time_base: base,
                    aspect,
                    upper_first: upper_first.or(order).filter(|_| part.interlaced && part.rotation == 0),
                    reorder: 1,
                    ..like.clone()
                };
                encoder = Some(VideoEncoder::open(&spec, path)?);
            }
            if (w, h) != size {
                return Err(Error::refused(
                    format!("frames {} to {} change their size on the way", plan.span.start, plan.span.end),
                    part.path.display(),
                    "give the parts with another size as another camera",
                ));
            }
            let Some(open) = &mut encoder else { break };
            let mut packets = Vec::new();
            open.encode(&even, pts, false, &mut |mut packet| {
                packet.set_duration(step);
                packets.push(packet);
                Ok(())
            })?;
            if !muxer.begun() {
                muxer.add(&open.parameters(), base, open.sets().avcc(&Sets::default()).as_deref(), None)?;
                track = self.sound_track(plan, path)?;
                if let Some((parameters, base)) = track.stream() {
                    muxer.add(&parameters, base, None, None)?;
                }
                muxer.begin()?;
            }
            self.feed_sound(&mut track, (time - zero + 0.5).min(end), &mut |packet| muxer.write(1, packet))?;
            for packet in packets {
                muxer.write(0, packet)?;
            }
        }
        let Some(mut encoder) = encoder else {
            return Err(Error::failed(
                format!("frames {} to {} cannot be decoded", plan.span.start, plan.span.end),
                part.path.display(),
                "check that the film plays there",
            ));
        };
        encoder.flush(&mut |mut packet| {
            packet.set_duration(step);
            muxer.write(0, packet)
        })?;
        self.end_sound(track, &mut |packet| muxer.write(1, packet))?;
        muxer.finish()
    }
}
