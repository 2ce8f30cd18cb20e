//! Frames of a camera's film, decoded in order over all its parts.

use ff::ffi;
use ffmpeg_next as ff;

use super::alarm::Alarm;
use super::demux::Demux;
use super::failed;
use super::picture::Upright;
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{Decode, Film, FrameSource, PictureView};

/// Opens a decoder for the picture stream. `alarm` must outlive it.
pub fn open_decoder(demux: &Demux, how: Decode, threads: usize, alarm: &Alarm) -> Result<ff::decoder::Video> {
    let Some(parameters) = demux.parameters(demux.video) else {
        return Err(Error::refused("the file holds no moving picture", demux.path.display(), "name a film file"));
    };
    let mut context = ff::codec::context::Context::from_parameters(parameters)
        .map_err(|cause| failed("prepare decoding", &demux.path, cause))?;
    context.set_threading(ff::codec::threading::Config {
        count: threads,
        ..ff::codec::threading::Config::kind(ff::codec::threading::Type::Frame)
    });
    alarm.watch(&mut context);
    let mut decoder = context.decoder();
    decoder.set_packet_time_base(demux.time_base(demux.video));
    leave_out(&mut decoder, how);
    decoder.video().map_err(|cause| {
        Error::refused(
            "this film's codec cannot be decoded here",
            demux.path.display(),
            "install an FFmpeg that has the codec",
        )
        .because(cause)
    })
}

/// Tells a decoder what it may leave out from the next packet on.
fn leave_out(decoder: &mut ff::decoder::decoder::Decoder, how: Decode) {
    decoder.skip_loop_filter(if how == Decode::NoLoopFilter { ff::Discard::All } else { ff::Discard::Default });
    decoder.skip_frame(if how == Decode::References { ff::Discard::NonReference } else { ff::Discard::Default });
}

/// Frames that are told by counting alone must all come out.
fn possible(how: Decode, counting: bool) -> Decode {
    if counting && how == Decode::References { Decode::Exact } else { how }
}

/// Frames of a film.
pub struct Frames<'a> {
    film: &'a Film,
    starts: Vec<u64>,
    /// Film time at which each part begins, in seconds.
    times: Vec<f64>,
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
    /// What may be left out changed: what the decoder has begun is of no use.
    changed: bool,
}

struct OpenPart {
    demux: Demux,
    // Dropped before the alarm it rings.
    decoder: ff::decoder::Video,
    alarm: Alarm,
    ended: bool,
    /// How many frames this decoder gave: the rank, where times do not tell it.
    given: u64,
    counting: bool,
    /// After a seek, until the first frame is out: how far back the next try goes if that frame comes too late.
    trying: Option<usize>,
}

/// How far before the wanted frame each try of a seek begins, in seconds. Demuxers seek by decoding time or by byte,
/// and may land late; streams that refresh gradually need a run-up. After the last one, the file's beginning.
const RUN_UPS: [f64; 6] = [0.0, 0.5, 2.0, 5.0, 12.0, 30.0];

/// So many frames ahead it is cheaper to decode on than to begin again at a key frame: half a second at the usual
/// rates, the mean way from a key frame in film with one each second [practice].
const DECODE_ON: u64 = 16;

impl<'a> Frames<'a> {
    /// From the film's start.
    pub fn new(film: &'a Film, how: Decode, threads: usize) -> Self {
        let mut times = Vec::with_capacity(film.parts.len());
        let mut at = 0.0;
        for part in &film.parts {
            times.push(at);
            at += part.seconds();
        }
        Self {
            film,
            starts: film.starts(),
            times,
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
            changed: false,
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
        // Without a time on every frame, decoding from the start is the only way that counts right.
        let counting = !part.index.timed;
        let how = possible(self.how, counting);
        self.changed = false;
        let alarm = Alarm::new();
        let decoder = open_decoder(&demux, how, self.threads, &alarm)?;
        self.open = Some(OpenPart { demux, decoder, alarm, ended: false, given: 0, counting, trying: None });
        if self.from > self.starts[self.part] {
            self.go_to(0)?;
        }
        Ok(())
    }

    /// Puts the open part at a key frame at or before frame `from`, beginning with run-up number `tried`.
    fn go_to(&mut self, tried: usize) -> Result<()> {
        let Some(open) = &mut self.open else { return Ok(()) };
        let video = open.demux.video;
        let k = self.from.saturating_sub(self.starts[self.part]);
        let pts = &self.film.parts[self.part].index.pts;
        open.ended = false;
        if let (false, Some(&want)) = (open.counting, pts.get(k as usize)) {
            let base = open.demux.time_base(video);
            let second = f64::from(base.1.max(1)) / f64::from(base.0.max(1));
            for (i, run_up) in RUN_UPS.iter().enumerate().skip(tried) {
                let target = want - (run_up * second) as i64;
                if target <= pts[0] || !open.demux.seek(target) {
                    break;
                }
                open.decoder.flush();
                if open.enter(want) {
                    open.trying = Some(i + 1);
                    return Ok(());
                }
            }
        }
        open.demux.reopen(&[video])?;
        open.decoder.flush();
        open.given = 0;
        open.trying = None;
        Ok(())
    }

    /// Decodes on to the next frame of the open part; `None` at its end. Gives the frame's rank within the part.
    fn decode(&mut self) -> Result<Option<u64>> {
        let Some(open) = &mut self.open else { return Ok(None) };
        let index = &self.film.parts[self.part].index;
        let pts = &index.pts;
        // Between the entry and the frame wanted only those pictures are decoded that it may be predicted from.
        let run_up = (index.by_packets && self.how != Decode::References)
            .then(|| pts.get(self.from.saturating_sub(self.starts[self.part]) as usize).copied())
            .flatten();
        loop {
            match open.decoder.receive_frame(&mut self.frame) {
                Ok(()) => {
                    let given = open.given;
                    open.given += 1;
                    let rank = if open.counting {
                        given
                    } else {
                        match self.frame.pts().or(self.frame.timestamp()).map(|t| pts.binary_search(&t)) {
                            Some(Ok(rank)) => rank as u64,
                            // Shown at no time the index knows: hidden by the edit list.
                            _ => continue,
                        }
                    };
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
                    if let Some(want) = run_up {
                        let early = packet.pts().is_some_and(|at| at < want);
                        open.decoder.skip_frame(if early { ff::Discard::NonReference } else { ff::Discard::Default });
                    }
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

    fn note_damage(&mut self, from: u64, to: u64) {
        match self.damage.last_mut() {
            Some(last) if last.0 <= from && from <= last.1 => last.1 = last.1.max(to),
            _ if to > from => self.damage.push((from, to)),
            _ => {}
        }
    }
}

impl OpenPart {
    /// Reads on to the first key frame and decodes it, if it is shown no later than `want`.
    fn enter(&mut self, want: i64) -> bool {
        let video = self.demux.video;
        while let Some(packet) = self.demux.next() {
            if packet.stream() != video {
                continue;
            }
            let at = packet.pts().or(packet.dts());
            if packet.is_key() {
                return at.is_some_and(|at| at <= want) && self.decoder.send_packet(packet).is_ok();
            }
            // A frame decoded after the wanted one is shown: no key frame was met in time.
            if packet.dts().is_some_and(|at| at > want) {
                return false;
            }
        }
        false
    }
}

/// What is known of a decoded frame.
#[derive(Debug, Clone, Copy)]
pub struct Decoded {
    /// Its number over the film.
    pub no: u64,
    /// The part it lies in.
    pub part: usize,
    /// Its rank within the part.
    pub rank: u64,
    /// Film time in seconds.
    pub time: f64,
    /// Whether the decoder met damage in it.
    pub damaged: bool,
}

impl Frames<'_> {
    /// Decodes on to the next frame that is to be given, as the decoder puts it out; `None` at the film's end.
    pub fn advance(&mut self) -> Result<Option<Decoded>> {
        loop {
            if self.part >= self.film.parts.len() {
                return Ok(None);
            }
            if self.open.is_none() {
                self.open_part()?;
            }
            let first = self.starts[self.part];
            let rank = self.decode()?;
            if let Some(tried) = self.open.as_mut().and_then(|open| open.trying.take())
                && rank.is_none_or(|rank| first + rank > self.from)
            {
                // The decoder began too late (no clean entry there): further back.
                self.go_to(tried)?;
                continue;
            }
            let Some(rank) = rank else {
                let end = first + self.film.parts[self.part].frames();
                if self.how != Decode::References && self.expected < end {
                    self.note_damage(self.expected.max(self.from), end);
                }
                self.expected = end;
                self.open = None;
                self.part += 1;
                continue;
            };
            let no = first + rank;
            let rang = self.open.as_mut().is_some_and(|open| open.alarm.rang());
            if no < self.from {
                continue;
            }
            if self.how != Decode::References && no > self.expected {
                self.note_damage(self.expected, no);
            }
            if rang {
                // The threads decode ahead of what comes out: the broken picture is one of the next few.
                let ahead = if self.threads == 0 { num_threads() } else { self.threads } as u64;
                self.note_damage(no, (no + 1 + ahead).min(first + self.film.parts[self.part].frames()));
            }
            let corrupt = self.frame.is_corrupt() || self.frame.has_decode_errors();
            if corrupt {
                self.note_damage(no, no + 1);
            }
            let damaged = corrupt || self.damage.last().is_some_and(|d| d.0 <= no && no < d.1);
            self.expected = no + 1;
            self.from = self.from.max(no + 1);
            let part = &self.film.parts[self.part];
            let time = self.times[self.part] + part.seconds_at(rank);
            return Ok(Some(Decoded { no, part: self.part, rank, time, damaged }));
        }
    }

    /// The frame decoded last, taken out.
    pub fn take(&mut self) -> ff::frame::Video {
        std::mem::replace(&mut self.frame, ff::frame::Video::empty())
    }
}

impl FrameSource for Frames<'_> {
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>> {
        let Some(Decoded { no, part, time, damaged, .. }) = self.advance()? else { return Ok(None) };
        let part = &self.film.parts[part];
        let rotation = if self.as_coded { 0 } else { part.rotation };
        let view = self.upright.view(&self.frame, rotation, &part.path)?;
        Ok(Some(PictureView { no: FrameNo(no), time, damaged, ..view }))
    }

    fn seek(&mut self, to: FrameNo) -> Result<()> {
        let place = self.film.place(to);
        let here = place.part == self.part && self.open.is_some();
        let counting = self.open.as_ref().is_some_and(|o| o.counting);
        let ahead = here && !self.changed && to.0 >= self.from && (counting || to.0 - self.from < DECODE_ON);
        self.changed = false;
        self.from = to.0;
        self.expected = to.0;
        if ahead {
            return Ok(());
        }
        if here {
            return self.go_to(0);
        }
        self.part = place.part;
        self.open = None;
        Ok(())
    }

    fn leave_out(&mut self, how: Decode) {
        if self.how == how {
            return;
        }
        self.how = how;
        self.changed = true;
        if let Some(open) = &mut self.open {
            leave_out(&mut open.decoder, possible(how, open.counting));
        }
    }

    fn damage(&self) -> Vec<FrameSpan> {
        self.damage.iter().map(|&(from, to)| FrameSpan::of(from, to)).collect()
    }
}

// SAFETY: the decoder and the demuxer are used by one thread at a time; the library allows moving them.
unsafe impl Send for Frames<'_> {}

/// Threads that a decoder takes when it may choose: one more than there are cores.
fn num_threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from) + 1
}

/// Ticks of `from` in `to`, rounded to the nearest.
pub fn rescale(ticks: i64, from: ff::Rational, to: ff::Rational) -> i64 {
    // SAFETY: a pure computation.
    unsafe { ffi::av_rescale_q(ticks, from.into(), to.into()) }
}
