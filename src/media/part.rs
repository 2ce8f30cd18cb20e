//! One file of a camera: what it is.

use std::path::{Path, PathBuf};

use ff::ffi;
use ffmpeg_next as ff;

use super::alarm::Alarm;
use super::container;
use super::demux::Demux;
use super::frames::open_decoder;
use super::index;
use super::packets::Known;
use crate::base::{Error, IoContext, Problem, Rate, Result, TimeBase, natural_order};
use crate::film::{Decode, FILM_ENDINGS, FrameIndex, Part, fingerprint, named_as_film};

/// The files that paths mean: a folder stands for the films in it (hidden files and other endings left out).
pub fn files(paths: &[PathBuf]) -> Result<Vec<PathBuf>> {
    let mut all = Vec::new();
    for path in paths {
        let meta = std::fs::metadata(path).doing("open the film", path)?;
        if !meta.is_dir() {
            all.push(path.clone());
            continue;
        }
        let before = all.len();
        for entry in std::fs::read_dir(path).doing("read the folder", path)? {
            let entry = entry.doing("read the folder", path)?.path();
            let hidden = entry.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'));
            let film = named_as_film(&entry);
            if film && !hidden && entry.is_file() {
                all.push(entry);
            }
        }
        if all.len() == before {
            return Err(Error::refused(
                "the folder holds no film",
                path.display(),
                format!("put film files into it ({})", FILM_ENDINGS.join(", ")),
            ));
        }
    }
    if all.is_empty() {
        return Err(Error::refused("no film is named", "", "name at least one film file or folder"));
    }
    all.sort_by(|a, b| natural_order(&a.to_string_lossy(), &b.to_string_lossy()));
    all.dedup();
    Ok(all)
}

/// Puts parts into recording order: by the files' own times where every part has one and all differ, else they stay
/// in natural order of their names. Clocks in files are often wrong, but then usually all alike.
pub fn order(parts: &mut [Part]) {
    let mut times: Vec<_> = parts.iter().filter_map(|p| p.recorded).collect();
    times.sort_unstable();
    times.dedup();
    if times.len() == parts.len() {
        parts.sort_by_key(|p| p.recorded);
    }
}

/// Reads one file. Damage is added to `problems`, what is seen of its packets to `known`.
pub fn read(path: &Path, problems: &mut Vec<Problem>, known: &Known) -> Result<Part> {
    let fingerprint = fingerprint(path)?;
    let bytes = std::fs::metadata(path).doing("open the film", path)?.len();
    let mut demux = Demux::open(path)?;
    let recorded = demux.input.metadata().get("creation_time").and_then(|t| t.parse::<jiff::Timestamp>().ok());
    // Cameras without a set clock write 1904 or 1970.
    let recorded = recorded.map(jiff::Timestamp::as_second).filter(|s| *s > 86_400 * 365 * 25);
    let sound = demux
        .audio
        .and_then(|audio| demux.parameters(audio))
        .is_some_and(|parameters| ff::decoder::find(parameters.id()).is_some());
    // Microseconds that the file's head promises.
    let whole = demux.input.duration().max(0) as f64 / f64::from(ffi::AV_TIME_BASE);
    let Some(stream) = demux.input.stream(demux.video) else {
        return Err(Error::refused("the file holds no moving picture", path.display(), "name a film file"));
    };
    let tb = stream.time_base();
    let time_base = TimeBase { num: tb.0.max(1) as u32, den: tb.1.max(1) as u32 };
    let told = [stream.avg_frame_rate(), stream.rate()].into_iter().find(|r| r.0 > 0 && r.1 > 0 && r.0 / r.1 < 1000);
    let rotation = rotation(&stream);
    let parameters = stream.parameters();
    // SAFETY: the parameters live as long as `stream`; the binding shows none of these fields.
    let (coded_width, coded_height, format, field_order) = unsafe {
        let p = parameters.as_ptr();
        ((*p).width, (*p).height, (*p).format, (*p).field_order)
    };
    // SAFETY: input and stream are live, and only read. What the container says goes before what the codec says.
    let aspect = unsafe {
        let (input, stream) = (demux.input.as_ptr().cast_mut(), stream.as_ptr().cast_mut());
        ffi::av_guess_sample_aspect_ratio(input, stream, std::ptr::null_mut())
    };
    if coded_width <= 0 || coded_height <= 0 {
        return Err(Error::refused("the film's picture has no size", path.display(), "check that it plays"));
    }
    let codec = parameters.id().name().to_string();
    let interlaced = match field_order {
        ffi::AVFieldOrder::AV_FIELD_PROGRESSIVE => false,
        // Containers and headers of DV say nothing; its pictures do.
        ffi::AVFieldOrder::AV_FIELD_UNKNOWN => first_is_interlaced(path)?,
        _ => true,
    };
    let sample_aspect = if aspect.num > 0 && aspect.den > 0 {
        Rate { num: aspect.num as u32, den: aspect.den as u32 }
    } else {
        Rate { num: 1, den: 1 }
    };
    let pixel_format = pixel_format_name(format);
    let index::Read { index, damaged, packets } = index::read(&mut demux, interlaced && codec == "h264")?;
    if let Some(packets) = packets {
        known.keep(&fingerprint, packets);
    }
    if index.pts.is_empty() {
        return Err(Error::refused("not one picture can be read from the film", path.display(), "check that it plays"));
    }
    let (rate, variable) = rate(&index, time_base, told);

    let square = (f64::from(coded_width as u32) * sample_aspect.hz()).round() as u32;
    let (mut width, mut height) = (square.max(1), coded_height as u32);
    if rotation % 180 == 90 {
        std::mem::swap(&mut width, &mut height);
    }
    let part = Part {
        path: path.to_path_buf(),
        bytes,
        fingerprint,
        recorded,
        time_base,
        rate,
        variable,
        width,
        height,
        codec,
        pixel_format,
        interlaced,
        rotation,
        sample_aspect,
        sound,
        index,
    };
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let cut_short = container::read(path)?.promised.is_some_and(|promised| promised > bytes);
    let damage = demux.broke.as_deref();
    if cut_short {
        let to = whole.max(part.seconds());
        problems.push(Problem::new(
            format!("{name} from {:.1} s to {to:.1} s", part.seconds()),
            "the file is cut short: nothing after this can be read, what comes before is used",
        ));
    } else if let Some(broke) = damage {
        problems.push(Problem::new(
            format!("{name} from {:.1} s on", part.seconds()),
            format!("the file is damaged ({broke}); it is read as far as it goes"),
        ));
    }
    for (from, to) in stretches(&damaged, &part) {
        problems.push(Problem::new(
            format!("{name} from {from:.1} s to {to:.1} s"),
            "bytes are damaged here: pictures are missing or broken, those after it keep their times",
        ));
    }
    Ok(part)
}

/// Seconds of the part over which damage reaches: from a packet to the next key frame, since what is predicted from a
/// damaged picture is damaged too; packets less than a second apart are one stretch.
fn stretches(damaged: &[i64], part: &Part) -> Vec<(f64, f64)> {
    let first = part.index.pts.first().copied().unwrap_or(0);
    let mut found: Vec<(f64, f64)> = Vec::new();
    for at in damaged {
        let from = part.time_base.seconds(at - first);
        let rank = part.index.pts.partition_point(|pts| pts <= at) as u64;
        let to = part.index.key_from(rank).map_or(from + 1.0 / part.rate.hz(), |key| part.seconds_at(key));
        match found.last_mut() {
            Some(last) if from - last.1 < 1.0 => last.1 = last.1.max(to),
            _ => found.push((from, to)),
        }
    }
    found
}

/// Whether the first picture that can be decoded says that it is two fields.
fn first_is_interlaced(path: &Path) -> Result<bool> {
    /// A film whose first picture is further in than this is broken; the reader of its index tells more.
    const FAR: usize = 100;
    let mut demux = Demux::open(path)?;
    let video = demux.video;
    demux.only(&[video]);
    let alarm = Alarm::new();
    // A codec that is not there is told where the film is read.
    let Ok(mut decoder) = open_decoder(&demux, Decode::NoLoopFilter, 1, &alarm) else { return Ok(false) };
    let mut frame = ff::frame::Video::empty();
    for _ in 0..FAR {
        match demux.next() {
            Some(packet) if packet.stream() == video => drop(decoder.send_packet(packet)),
            Some(_) => {}
            None => drop(decoder.send_eof()),
        }
        if decoder.receive_frame(&mut frame).is_ok() {
            return Ok(frame.is_interlaced());
        }
    }
    Ok(false)
}

/// Clockwise rotation that shows the picture upright, from the display matrix.
fn rotation(stream: &ff::format::stream::Stream<'_>) -> u16 {
    for side in stream.side_data() {
        if side.kind() == ff::packet::side_data::Type::DisplayMatrix && side.data().len() >= 36 {
            let matrix: Vec<i32> =
                side.data().chunks_exact(4).take(9).map(|b| i32::from_ne_bytes([b[0], b[1], b[2], b[3]])).collect();
            // SAFETY: nine 32-bit integers are what the call reads.
            let counterclockwise = unsafe { ffi::av_display_rotation_get(matrix.as_ptr()) };
            if counterclockwise.is_finite() {
                return ((-counterclockwise / 90.0).round() as i64).rem_euclid(4) as u16 * 90;
            }
        }
    }
    0
}

fn pixel_format_name(format: i32) -> String {
    // SAFETY: the name is a static string of the library, null for a number it does not know.
    unsafe {
        let known: ffi::AVPixelFormat = if (-1..i32::from(u16::MAX)).contains(&format) {
            std::mem::transmute::<i32, ffi::AVPixelFormat>(format)
        } else {
            ffi::AVPixelFormat::AV_PIX_FMT_NONE
        };
        let name = ffi::av_get_pix_fmt_name(known);
        if name.is_null() { "unknown".into() } else { std::ffi::CStr::from_ptr(name).to_string_lossy().into_owned() }
    }
}

/// Average rate, and whether the time between frames varies by more than the rounding of the time base.
fn rate(index: &FrameIndex, time_base: TimeBase, told: Option<ff::Rational>) -> (Rate, bool) {
    let pts = &index.pts;
    let (first, last) = (pts.first().copied().unwrap_or(0), pts.last().copied().unwrap_or(0));
    let told = told.map(|r| Rate { num: r.0 as u32, den: r.1 as u32 });
    if pts.len() < 3 || last <= first {
        return (told.unwrap_or(Rate { num: 30, den: 1 }), false);
    }
    let step = (last - first) as f64 / (pts.len() - 1) as f64;
    // A step may be off by a tick for rounding, two where a muxer rounded once more.
    let variable = pts.windows(2).any(|w| ((w[1] - w[0]) as f64 - step).abs() > (0.05 * step).max(2.0).min(0.5 * step));
    let measured = 1.0 / (step * time_base.seconds(1));
    match told {
        Some(told) if !variable && (told.hz() / measured - 1.0).abs() < 0.005 => (told, false),
        _ => {
            let known = [24.0, 25.0, 30.0, 50.0, 60.0, 120.0]
                .into_iter()
                .flat_map(|hz| [Rate { num: hz as u32, den: 1 }, Rate { num: hz as u32 * 1000, den: 1001 }]);
            let near = known.into_iter().find(|r| (r.hz() / measured - 1.0).abs() < 0.0002);
            let exact = Rate { num: (measured * 1000.0).round().max(1.0) as u32, den: 1000 };
            (if variable { exact } else { near.unwrap_or(exact) }, variable)
        }
    }
}
