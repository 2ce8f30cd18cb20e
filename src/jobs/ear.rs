//! Listens to two cameras' shots, from the films or, where a film is gone, from the library's clips.

use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;

use super::Tools;
use crate::base::FrameSpan;
use crate::film::Film;
use crate::plays::{Heard, Stretch};
use crate::sense::{ShotSound, ShotSounds, SoundMatcher};

/// Where a camera's sound is to be had.
pub(super) enum Source<'a> {
    /// Its film lies there.
    Film(&'a Film),
    /// Its film is gone: clips of whole shots by their first frame.
    Clips(BTreeMap<u64, PathBuf>),
}

/// One camera to be heard.
pub(super) struct Microphone<'a> {
    /// Where from.
    pub source: Source<'a>,
}

/// Compares the sound of shots; each shot is read once.
pub(super) struct Ear<'a> {
    tools: Tools<'a>,
    microphones: &'a [Microphone<'a>],
    open: Vec<Option<ShotSounds<'a>>>,
    heard: HashMap<Stretch, Option<ShotSound>>,
    matcher: SoundMatcher,
}

impl<'a> Ear<'a> {
    pub fn new(tools: Tools<'a>, microphones: &'a [Microphone<'a>]) -> Self {
        let open = microphones.iter().map(|m| match &m.source {
            // Sound that cannot be opened tells nothing; the pairing then goes by order.
            Source::Film(film) => ShotSounds::open(tools.reader, film).ok(),
            Source::Clips(_) => None,
        });
        Self { tools, microphones, open: open.collect(), heard: HashMap::new(), matcher: SoundMatcher::default() }
    }

    /// How the sound of two stretches of film agrees; `None` where one cannot be heard.
    pub fn compare(&mut self, a: Stretch, b: Stretch) -> Option<Heard> {
        self.hear(a);
        self.hear(b);
        let (Some(Some(x)), Some(Some(y))) = (self.heard.get(&a), self.heard.get(&b)) else { return None };
        self.matcher.compare(x, y).map(|found| Heard { ratio: found.ratio, lag: found.lag })
    }

    fn hear(&mut self, at: Stretch) {
        if !self.heard.contains_key(&at) {
            let sound = self.sound(at);
            self.heard.insert(at, sound);
        }
    }

    fn sound(&mut self, (camera, span): Stretch) -> Option<ShotSound> {
        let microphone = self.microphones.get(camera)?;
        match &microphone.source {
            Source::Film(_) => self.open.get_mut(camera)?.as_mut()?.shot(span).ok()?,
            Source::Clips(clips) => {
                let clip = self.tools.reader.read(&[clips.get(&span.start.0)?.clone()], &crate::base::Silent).ok()?;
                // Another length than the shot's: not cut from all of it, so that its clock is another.
                if clip.frames() != span.len() {
                    return None;
                }
                let whole = FrameSpan::of(0, clip.frames());
                ShotSounds::open(self.tools.reader, &clip).ok()?.shot(whole).ok()?
            }
        }
    }
}
