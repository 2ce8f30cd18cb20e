//! Film as it is shown: frames of two fields become two pictures of full height.
//!
//! By FFmpeg's bwdif, which fills the rows that a field lacks from the fields before and after it: so the frame before
//! the one asked for is decoded too, and a picture is the same whether it was decoded on to or sought. Which field is
//! first the frames say themselves.

use std::collections::VecDeque;
use std::path::Path;

use ffmpeg_next as ff;

use super::failed;
use super::frames::{Decoded, Frames};
use super::picture::Upright;
use crate::base::{Error, FrameNo, FrameSpan, Result};
use crate::film::{Decode, Film, FrameSource, PictureView};

/// Pictures of a film as they are shown.
pub struct Fields<'a> {
    film: &'a Film,
    frames: Frames<'a>,
    threads: usize,
    weave: Option<Weave>,
    ready: VecDeque<Shown>,
    lent: Option<Shown>,
    /// Pictures of frames before this one are dropped.
    from: u64,
    upright: Upright,
}

/// A picture that is ready.
struct Shown {
    frame: ff::frame::Video,
    of: Decoded,
    second: bool,
    /// The frame was whole: it is both pictures.
    twice: bool,
}

impl<'a> Fields<'a> {
    /// From the film's start.
    pub fn new(film: &'a Film, threads: usize) -> Self {
        Self {
            film,
            frames: Frames::new(film, Decode::Exact, threads),
            threads,
            weave: None,
            ready: VecDeque::new(),
            lent: None,
            from: 0,
            upright: Upright::default(),
        }
    }

    /// Makes the next picture ready; false at the film's end.
    fn advance(&mut self) -> Result<bool> {
        if let Some(lent) = self.lent.as_mut().filter(|lent| lent.twice) {
            (lent.twice, lent.second) = (false, true);
            return Ok(true);
        }
        loop {
            while let Some(shown) = self.ready.pop_front() {
                if shown.of.no >= self.from {
                    self.lent = Some(shown);
                    return Ok(true);
                }
            }
            let Some(of) = self.frames.advance()? else {
                let Some(weave) = self.weave.take() else { return Ok(false) };
                weave.end(&mut self.ready).map_err(|cause| self.failed(None, cause))?;
                continue;
            };
            let frame = self.frames.take();
            if self.weave.as_ref().is_some_and(|weave| !weave.takes(&frame, of.part))
                && let Some(weave) = self.weave.take()
            {
                weave.end(&mut self.ready).map_err(|cause| self.failed(Some(of), cause))?;
            }
            let part = &self.film.parts[of.part];
            // A part that does not say so may still hold interlaced frames: they are shown, but at the rate of frames.
            if self.weave.is_none() && !part.interlaced && !frame.is_interlaced() {
                self.ready.push_back(Shown { frame, of, second: false, twice: false });
                continue;
            }
            if self.weave.is_none() {
                self.weave = Some(Weave::open(&frame, (of.part, &part.path), part.interlaced, self.threads)?);
            }
            if let Some(weave) = &mut self.weave {
                weave.take(frame, of, &mut self.ready).map_err(|cause| self.failed(Some(of), cause))?;
            }
        }
    }

    fn failed(&self, of: Option<Decoded>, cause: ff::Error) -> Error {
        let part = of.map_or(self.film.parts.last(), |of| self.film.parts.get(of.part));
        failed("deinterlace the picture", part.map_or(Path::new(""), |part| &part.path), cause)
    }
}

impl FrameSource for Fields<'_> {
    fn next_frame(&mut self) -> Result<Option<PictureView<'_>>> {
        if !self.advance()? {
            return Ok(None);
        }
        let Some(Shown { frame, of, second, .. }) = &self.lent else { return Ok(None) };
        let part = &self.film.parts[of.part];
        // Rows of a turned picture are columns of the filmed one: fields come first.
        let view = self.upright.view(frame, part.rotation, &part.path)?;
        let half = (part.seconds_at(of.rank + 1) - part.seconds_at(of.rank)) / 2.0;
        let time = if *second { of.time + half } else { of.time };
        Ok(Some(PictureView { no: FrameNo(of.no), time, second: *second, damaged: of.damaged, ..view }))
    }

    fn seek(&mut self, to: FrameNo) -> Result<()> {
        self.from = to.0;
        self.ready.clear();
        (self.weave, self.lent) = (None, None);
        let before = u64::from(self.film.place(to).frame > 0);
        self.frames.seek(FrameNo(to.0 - before))
    }

    fn leave_out(&mut self, how: Decode) {
        self.frames.leave_out(how);
    }

    fn damage(&self) -> Vec<FrameSpan> {
        self.frames.damage()
    }
}

// SAFETY: decoder, filters and frames are used by one thread at a time; the library allows moving them.
unsafe impl Send for Fields<'_> {}

/// The filter, over the frames of one part that are of one kind.
struct Weave {
    graph: ff::filter::Graph,
    part: usize,
    kind: (ff::format::Pixel, u32, u32),
    /// Whether both pictures of a frame are wanted.
    both: bool,
    /// Frames that went in: the next one's time.
    gone_in: i64,
    /// Those whose pictures have not all come out, oldest first, with their times.
    inside: VecDeque<(i64, Decoded)>,
    /// A first picture whose second may follow.
    first: Option<(i64, Shown)>,
}

impl Weave {
    fn open(frame: &ff::frame::Video, (part, path): (usize, &Path), both: bool, threads: usize) -> Result<Self> {
        let kind = kind(frame);
        let filter = |name: &str| {
            ff::filter::find(name).ok_or_else(|| {
                let what = format!("this film is interlaced, and this FFmpeg has no filter {name}");
                Error::failed(what, path.display(), "install an FFmpeg that has it (Debian's has)")
            })
        };
        let (source, weave, sink) = (filter("buffer")?, filter("bwdif")?, filter("buffersink")?);
        let doing = |cause| failed("prepare deinterlacing", path, cause);
        let mut graph = ff::filter::Graph::new();
        // SAFETY: the graph is ours and empty; the binding does not show how many threads its filters take.
        unsafe { (*graph.as_mut_ptr()).nb_threads = threads as i32 };
        let format = ff::ffi::AVPixelFormat::from(kind.0) as i32;
        let (_, width, height) = kind;
        let args = format!("video_size={width}x{height}:pix_fmt={format}:time_base=1/1:pixel_aspect=1/1");
        let mut from = graph.add(&source, "in", &args).map_err(doing)?;
        let mut through = graph.add(&weave, "weave", "mode=send_field:parity=auto:deint=interlaced").map_err(doing)?;
        let mut to = graph.add(&sink, "out", "").map_err(doing)?;
        from.link(0, &mut through, 0);
        through.link(0, &mut to, 0);
        graph.validate().map_err(doing)?;
        Ok(Self { graph, part, kind, both, gone_in: 0, inside: VecDeque::new(), first: None })
    }

    fn takes(&self, frame: &ff::frame::Video, part: usize) -> bool {
        (self.part, self.kind) == (part, kind(frame))
    }

    fn take(
        &mut self,
        mut frame: ff::frame::Video,
        of: Decoded,
        out: &mut VecDeque<Shown>,
    ) -> std::result::Result<(), ff::Error> {
        frame.set_pts(Some(self.gone_in));
        self.inside.push_back((self.gone_in, of));
        self.gone_in += 1;
        let mut source = self.graph.get("in").ok_or(ff::Error::FilterNotFound)?;
        source.source().add(&frame)?;
        self.drain(out)
    }

    /// The part's last pictures.
    fn end(mut self, out: &mut VecDeque<Shown>) -> std::result::Result<(), ff::Error> {
        let mut source = self.graph.get("in").ok_or(ff::Error::FilterNotFound)?;
        source.source().flush()?;
        self.drain(out)?;
        self.give(out);
        Ok(())
    }

    fn drain(&mut self, out: &mut VecDeque<Shown>) -> std::result::Result<(), ff::Error> {
        let mut sink = self.graph.get("out").ok_or(ff::Error::FilterNotFound)?;
        loop {
            let mut frame = ff::frame::Video::empty();
            match sink.sink().frame(&mut frame) {
                Ok(()) => self.came_out(frame, out),
                Err(ff::Error::Eof) => return Ok(()),
                Err(ff::Error::Other { errno }) if errno == ff::error::EAGAIN => return Ok(()),
                Err(cause) => return Err(cause),
            }
        }
    }

    /// The filter's clock runs twice as fast as ours: at even ticks first pictures come out, at odd ones second ones.
    fn came_out(&mut self, frame: ff::frame::Video, out: &mut VecDeque<Shown>) {
        let Some(tick) = frame.pts() else { return };
        let (at, second) = (tick.div_euclid(2), tick.rem_euclid(2) == 1);
        self.inside.retain(|(time, _)| *time >= at);
        let Some(&(_, of)) = self.inside.front().filter(|(time, _)| *time == at) else { return };
        if !second {
            self.give(out);
            // A frame that is whole passes as it is, once.
            self.first = Some((at, Shown { frame, of, second, twice: self.both }));
            return;
        }
        if let Some((_, first)) = self.first.as_mut().filter(|(first, _)| *first == at) {
            first.twice = false;
        }
        self.give(out);
        if self.both {
            out.push_back(Shown { frame, of, second, twice: false });
        }
    }

    /// Hands on a first picture that was held back.
    fn give(&mut self, out: &mut VecDeque<Shown>) {
        out.extend(self.first.take().map(|(_, shown)| shown));
    }
}

fn kind(frame: &ff::frame::Video) -> (ff::format::Pixel, u32, u32) {
    (frame.format(), frame.width(), frame.height())
}
