//! A play's pictures: from the library's clip, else from the film.

use std::path::PathBuf;

use super::{Tools, opener};
use crate::base::{Error, FrameNo, FrameSpan, Result, Silent};
use crate::film::{Film, Play, Sighting};
use crate::library::{CameraFilm, ClipFound, Library};
use crate::plays;

/// Where a clip's pictures come from.
pub(super) struct Footage {
    /// The clip's path in the library, or the film's file.
    pub source: String,
    /// Fingerprint of its content.
    pub content: String,
    /// The clip or the film.
    pub film: Film,
    /// The frames of `film` that are the clip.
    pub span: FrameSpan,
}

impl Footage {
    /// Opens a clip. One that is missing, broken or cut short is stood for by the camera's film, if that is there.
    pub fn open(tools: Tools<'_>, library: &Library, game: &str, clip: &ClipFound) -> Result<Self> {
        let read = tools.reader.read(&[library.at(&clip.path)], &Silent);
        if let Ok(film) = &read
            && film.frames() >= clip.frames
        {
            let span = FrameSpan::of(0, clip.frames);
            let (source, content) = (clip.path.display().to_string(), clip.hash.clone());
            return Ok(Self { source, content, film: film.clone(), span });
        }
        let camera = library.camera_film(game, &clip.camera)?.filter(|camera| camera.fingerprint == clip.film);
        let known = camera.as_ref().and_then(|c: &CameraFilm| opener::known(tools, library, c)).filter(|k| k.there);
        if let Some(known) = known {
            let part = known.film.parts.get(known.film.place(clip.span.start).part);
            let source = part.map_or(PathBuf::new(), |p| p.path.clone()).display().to_string();
            return Ok(Self { source, content: clip.film.clone(), film: known.film, span: clip.span });
        }
        let why = match read {
            Ok(film) if film.frames() > 0 => {
                // What is left of it is shown; the renderer tells where it ends.
                let span = FrameSpan::of(0, film.frames());
                // It is not what was recorded, so its own content is what counts.
                let content = film.fingerprint();
                return Ok(Self { source: clip.path.display().to_string(), content, film, span });
            }
            Ok(_) => "it has no picture".to_string(),
            Err(error) => error.to_string(),
        };
        Err(Error::failed(
            format!("its clip cannot be read and its film is gone: {why}"),
            clip.path.display(),
            "put the film back where it was and run `downbox cut` for the game again",
        ))
    }

    /// A frame of the camera's film as a frame of this footage; `None` where it lies outside.
    fn here(&self, clip: &ClipFound, frame: FrameNo) -> Option<FrameNo> {
        let at = FrameNo(self.span.start.0 + frame.0.checked_sub(clip.span.start.0)?);
        self.span.holds(at).then_some(at)
    }

    /// When the ball is snapped, in seconds of this footage; `None` where it is not known or not seen.
    pub fn snap(&self, clip: &ClipFound) -> Option<f64> {
        self.time_of(clip, clip.snap?.frame)
    }

    /// When a frame of the camera's film is shown, in seconds of this footage; `None` where it is not seen.
    pub fn time_of(&self, clip: &ClipFound, frame: FrameNo) -> Option<f64> {
        Some(self.film.time(self.here(clip, frame)?))
    }

    /// The frame to show of the play: the snap, else the set offense, else the middle.
    pub fn still(&self, clip: &ClipFound) -> FrameNo {
        let moments = [clip.snap.map(|s| s.frame), clip.set];
        let seen = moments.into_iter().flatten().find_map(|frame| self.here(clip, frame));
        seen.unwrap_or(FrameNo(self.span.start.0 + self.span.len() / 2))
    }

    /// The frames to show in a reel: all of the clip, or from lead-in to tail where both ends are sure.
    pub fn shown(&self, clip: &ClipFound, settings: &plays::Settings) -> FrameSpan {
        let moment = |s: Option<Sighting>| {
            let s = s?;
            let frame = self.here(clip, s.frame)?;
            Some(Sighting { frame, time: self.film.time(frame), confidence: s.confidence })
        };
        let play = Play {
            shot: 0,
            span: self.span,
            set: None,
            snap: moment(clip.snap),
            whistle: moment(clip.whistle),
            by: crate::film::Evidence::Nothing,
            doubt: clip.doubt.clone(),
        };
        plays::clip_span(&play, &self.film, settings)
    }
}
