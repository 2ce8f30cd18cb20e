//! The pictures of one view of a segment, read on as the reel goes.

use super::compose::Composer;
use super::schedule::Seen;
use super::teaching::{Region, WHOLE};
use crate::base::{FrameNo, Problem, Result};
use crate::film::{Film, FilmReader, FrameSource, Picture, PictureView};

/// The source of a view's pictures, at the one it has come to.
pub(super) struct Pictures<'f> {
    source: Box<dyn FrameSource + Send + 'f>,
    pub film: &'f Film,
    at: Option<Seen>,
    /// Whether one of them was laid.
    pub laid: bool,
    /// Frames in which the decoder met damage.
    damaged: u64,
    /// Why no more come.
    pub ended: Option<String>,
    /// The last one laid, where only a part of it was shown: while the film stands another part may be.
    kept: Option<(Picture, FrameNo)>,
    /// Whether parts of it are shown.
    zooms: bool,
    region: Region,
}

impl<'f> Pictures<'f> {
    /// Those of a film from one of its frames on.
    ///
    /// # Errors
    /// A film that cannot be opened.
    pub fn open(reader: &'f dyn FilmReader, film: &'f Film, from: FrameNo, zooms: bool) -> Result<Self> {
        let mut source = reader.shown(film, 1)?;
        source.seek(from)?;
        Ok(Self { source, film, at: None, laid: false, damaged: 0, ended: None, kept: None, zooms, region: WHOLE })
    }

    /// Reads on to picture `to` and hands the part `region` of it to the composer; gives whether there is anything new. Where
    /// the film has ended the picture before stays.
    pub fn show(&mut self, to: Seen, view: usize, region: Region, composer: &mut Composer) -> bool {
        let mut fresh = false;
        while self.ended.is_none() && self.at.is_none_or(|at| at < to) {
            match self.source.next_frame() {
                Ok(Some(picture)) => {
                    let at = Seen { frame: picture.no, second: picture.second };
                    self.at = Some(at);
                    self.damaged += u64::from(picture.damaged && !picture.second);
                    if at >= to {
                        composer.take(view, &picture, shown(self.film, &picture), region);
                        self.laid = true;
                        // Where the picture moves over the film it may have to be taken once more while the film stands.
                        self.kept = self.zooms.then(|| (picture.to_picture(), picture.no));
                        self.region = region;
                        fresh = true;
                    }
                }
                Ok(None) => self.ended = Some("the film ends there".into()),
                Err(error) => self.ended = Some(error.to_string()),
            }
        }
        if let (false, Some((picture, no))) = (fresh || region == self.region, &self.kept) {
            let picture = picture.view(*no, 0.0);
            composer.take(view, &picture, shown(self.film, &picture), region);
            self.region = region;
            fresh = true;
        }
        fresh
    }

    /// Notes what was not as it should be.
    pub fn note(&self, source: &str, problems: &mut Vec<Problem>) {
        if let (Some(why), Some(at)) = (&self.ended, self.at) {
            let what = format!("no picture after frame {} ({why}); the last one is held", at.frame);
            problems.push(Problem::new(source, what));
        }
        let damage = self.source.damage();
        // A decoder that marks pictures without telling where is still told of.
        if damage.is_empty() && self.damaged > 0 {
            problems.push(Problem::new(source, format!("{} damaged frames are shown", self.damaged)));
        }
        problems.extend(damage.into_iter().map(|span| self.film.damage(span)));
    }
}

/// The size of a picture in square pixels.
fn shown(film: &Film, picture: &PictureView<'_>) -> (u32, u32) {
    let part = film.parts.get(film.place(picture.no).part);
    let shown = part.map(|p| (p.width, p.height)).filter(|&(w, h)| w > 0 && h > 0);
    shown.unwrap_or((picture.width as u32, picture.height as u32))
}
