//! Frames of a camera's film, decoded in order over all its parts.

use ff::ffi;
use ffmpeg_next as ff;

use super::demux::Demux;
use super::failed;
use super::picture::Upright;
use crate::base::{Error, FrameNo, Problem, Result};
use crate::film::{Decode, Film, FrameSource, PictureView};

/// Opens a decoder for the picture stream.
pub fn open_decoder(demux: &Demux, how: Decode, threads: usize) -> Result<ff::decoder::Video> {
    let Some(parameters) = demux.parameters(demux.video) else {
        return Err(Error::refused("the file holds no moving picture", demux.path.display(), "name a film file"));
    };
    let mut context = ff::codec::context::Context::from_parameters(parameters)
        .map_err(|cause| failed("prepare decoding", &demux.path, cause))?;
    context.set_threading(ff::codec::threading::Config {
        count: threads,
        ..ff::codec::threading::Config::kind(ff::codec::threading::Type::Frame)
    });
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(demux.time_base(demux.video));
    match how {
        Decode::Exact => {}
        Decode::NoLoopFilter => decoder.skip_loop_filter(ff::Discard::All),
        Decode::References => {
            decoder.skip_loop_filter(ff::Discard::All);
            decoder.skip_frame(ff::Discard::NonReference);
        }
    }
    decoder.video().map_err(|cause| {
        Error::refused("this film's codec cannot be decoded here", demux.path.display(), "install an FFmpeg that has the codec")
            .because(cause)
    })
}

/// Frames of a film.
pub struct Frames<'a> {
    film: &'a Film,
    starts: Vec<u64>,
    how: Decode,
    threads: usize,
    part: usize,
    open: Option<OpenPart>,
    /// Frames before this one (over the film) are decoded and dropped.
    from: u64,
    frame: ff::frame::Video,
    upright: Upright,
    /// Last frame given or known missing, plus one.
    expected: u64,
    damage: Vec<(u64, u64)>,
    as_coded: bool,
}

struct OpenPart {
    demux: Demux,
    decoder: ff::decoder::Video,
    ended: bool,
    /// How many frames this decoder gave: the rank, where times do not tell it.
    given: u64,
    counting: bool,
}

impl<'a> Frames<'a> {
    /// From the film's start.
    pub fn new(film: &'a Film, how: Decode, threads: usize) -> Self {
        Self {
            film,
            starts: film.starts(),
            how,
            threads,
            part: 0,
            open: None,
            from: 0,
            frame: ff::frame::Video::empty(),
            upright: Upright::default(),
            expected: 0,
            damage: Vec::new(),
            as_coded: false,
        }
    }

    /// Whether frames are lent as coded, not turned upright.
    pub fn upright_off(&mut self, off: bool) {
        self.as_coded = off;
    }

    fn open_part(&mut self) -> Result<()> {
        let part = &self.film.parts[self.part];
        let mut demux = Demux::open(&part.path)?;
        let video = demux.video;
        demux.only(&[video]);
        // Without a time on every packet, decoding from the start is the only way that counts right.
        let counting = !part.index.by_packets;
        let how = if counting && self.how == Decode::References { Decode::NoLoopFilter } else { self.how };
        let decoder = open_decoder(&demux, how, self.threads)?;
        self.open = Some(OpenPart { demux, decoder, ended: false, given: 0, counting });
        let first = self.starts[self.part];
        if self.from > first {
            self.go_to(self.from - first)?;
        }
        Ok(())
    }

    /// Puts the open part at or before its frame `k`.
    fn go_to(&mut self, k: u64) -> Result<()> {
        let Some(open) = &mut self.open else { return Ok(()) };
        if open.counting {
            return Ok(());
        }
        let pts = &self.film.parts[self.part].index.pts;
        let Some(&want) = pts.get(k as usize) else { return Ok(()) };
        // Demuxers seek by decoding time: step back until the packet reached is shown no later than the one wanted.
        let second = f64::from(open.demux.time_base(open.demux.video).1) / f64::from(open.demux.time_base(open.demux.video).0.max(1));
        let mut target = want;
        for step in [0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0] {
            target -= (step * second) as i64;
            if target <= pts[0] || !open.demux.seek(target) {
                break;
            }
            let video = open.demux.video;
            let landed = loop {
                match open.demux.next() {
                    Some(packet) if packet.stream() == video => break packet.pts(),
                    Some(_) => {}
                    None => break None,
                }
            };
            if landed.is_some_and(|at| at <= want) {
                open.demux.seek(target);
                open.decoder.flush();
                open.ended = false;
                return Ok(());
            }
        }
        let video = open.demux.video;
        open.demux.reopen(&[video])?;
        open.decoder.flush();
        open.ended = false;
        Ok(())
    }

    /// Decodes on to the next frame of the open part; `None` at its end. Gives the frame's rank within the part.
    fn decode(&mut self) -> Result<Option<u64>> {
        let Some(open) = &mut self.open else { return Ok(None) };
        let pts = &self.film.parts[self.part].index.pts;
        loop {
            match open.decoder.receive_frame(&mut self.frame) {
                Ok(()) => {
                    let rank = if open.counting {
                        open.given
                    } else {
                        match self.frame.timestamp().map(|t| pts.binary_search(&t)) {
                            Some(Ok(rank)) => rank as u64,
                            // Shown at no time the index knows: hidden by the edit list.
                            _ => continue,
                        }
                    };
                    open.given += 1;
                    if rank >= pts.len() as u64 {
                        continue;
                    }
                    return Ok(Some(rank));
                }
                Err(_) if open.ended => return Ok(None),
                Err(_) => {}
            }
            let video = open.demux.video;
            match open.demux.next() {
                Some(packet) if packet.stream() == video => {
                    // What cannot be decoded shows as missing frames, which are counted.
                    let _ = open.decoder.send_packet(packet);
                }
                Some(_) => {}
                None => {
                    open.ended = true;
                    let _ = open.decoder.send_eof();
                }
            }
        }
    }

    fn note_missing(&mut self, from: u64, to: u64) {
        match self.damage.last_mut() {
            Some(last) if last.1 == from => last.1 = to,
            _ if to > from => self.damage.push((from, to)),
            _ => {}
        }
    }
}

impl FrameSource for Frames<'_> {
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>> {
        loop {
            if self.part >= self.film.parts.len() {
                return Ok(None);
            }
            if self.open.is_none() {
                self.open_part()?;
            }
            let first = self.starts[self.part];
            let Some(rank) = self.decode()? else {
                let end = first + self.film.parts[self.part].frames();
                if self.how != Decode::References && self.expected < end {
                    self.note_missing(self.expected.max(self.from), end);
                }
                self.expected = end;
                self.open = None;
                self.part += 1;
                continue;
            };
            let no = first + rank;
            if no < self.from {
                continue;
            }
            if self.how != Decode::References && no > self.expected {
                self.note_missing(self.expected, no);
            }
            let corrupt = self.frame.is_corrupt() || self.frame.has_decode_errors();
            if corrupt {
                self.note_missing(no, no + 1);
            }
            self.expected = no + 1;
            self.from = self.from.max(no + 1);
            let part = &self.film.parts[self.part];
            let time = self.film.time(FrameNo(no));
            let rotation = if self.as_coded { 0 } else { part.rotation };
            let mut view = self.upright.view(&self.frame, rotation, &part.path)?;
            view.no = FrameNo(no);
            view.time = time;
            view.damaged = corrupt;
            return Ok(Some(view));
        }
    }

    fn seek(&mut self, to: FrameNo) -> Result<()> {
        let place = self.film.place(to);
        let near = place.part == self.part && self.open.is_some() && to.0 >= self.from && to.0 - self.from < 24;
        let counting = self.open.as_ref().is_some_and(|o| o.counting);
        let ahead = place.part == self.part && counting && to.0 >= self.from;
        self.from = to.0;
        self.expected = to.0;
        // A few frames ahead it is cheaper to decode on than to begin again at a key frame.
        if near || ahead {
            return Ok(());
        }
        if place.part == self.part && self.open.is_some() && !counting {
            return self.go_to(place.frame);
        }
        self.part = place.part;
        self.open = None;
        Ok(())
    }

    fn damage(&self) -> Vec<Problem> {
        self.damage
            .iter()
            .map(|&(from, to)| {
                let place = self.film.place(FrameNo(from));
                let part = &self.film.parts[place.part];
                let name = part.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
                let end = place.frame + (to - from);
                Problem::new(
                    format!("{name} from {:.1} s to {:.1} s", part.seconds_at(place.frame), part.seconds_at(end)),
                    "the picture is damaged here",
                )
            })
            .collect()
    }
}

// SAFETY: the decoder and the demuxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Frames<'_> {}

/// Ticks of `from` in `to`, rounded to the nearest.
pub fn rescale(ticks: i64, from: ff::Rational, to: ff::Rational) -> i64 {
    // SAFETY: a pure computation.
    unsafe { ffi::av_rescale_q(ticks, from.into(), to.into()) }
}
