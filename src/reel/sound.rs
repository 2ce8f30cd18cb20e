//! The sound of one segment, sliced at exact samples.

use super::render::CHANNELS;
use super::schedule::SOUND_RATE;
use crate::film::{Film, FilmReader, SoundSource};

/// A film's sound from a moment on; silence where it has none, before its start and after its end.
pub(super) struct SegmentSound<'f> {
    source: Option<Box<dyn SoundSource + Send + 'f>>,
    /// Samples read and not taken yet, interleaved.
    waiting: Vec<f32>,
    /// How many of `waiting` are taken.
    taken: usize,
    /// Why it broke off, where it did.
    pub broken: Option<String>,
}

impl<'f> SegmentSound<'f> {
    /// From film time `from` (seconds) on. A film whose sound cannot be opened is silent, and says why.
    pub fn open(reader: &'f dyn FilmReader, film: &'f Film, from: f64) -> Self {
        let mut sound = Self { source: None, waiting: Vec::new(), taken: 0, broken: None };
        let start = (from * f64::from(SOUND_RATE)).round().max(0.0) as u64;
        let opened = reader.sound(film, SOUND_RATE, CHANNELS).and_then(|source| match source {
            Some(mut source) => source.seek(start).map(|()| Some(source)),
            None => Ok(None),
        });
        match opened {
            Ok(Some(source)) if source.rate() == SOUND_RATE && source.channels() == CHANNELS => {
                sound.source = Some(source);
            }
            Ok(Some(source)) => {
                sound.broken = Some(format!("{} channels at {} Hz", source.channels(), source.rate()));
            }
            Ok(None) => {}
            Err(error) => sound.broken = Some(error.to_string()),
        }
        sound
    }

    /// Puts the next `samples` sample frames into `out`, replacing what it held.
    pub fn take(&mut self, samples: usize, out: &mut Vec<f32>) {
        out.clear();
        let wanted = samples * CHANNELS;
        while out.len() < wanted {
            if self.taken == self.waiting.len() && !self.read_on() {
                break;
            }
            let n = (wanted - out.len()).min(self.waiting.len() - self.taken);
            out.extend_from_slice(&self.waiting[self.taken..self.taken + n]);
            self.taken += n;
        }
        out.resize(wanted, 0.0);
    }

    fn read_on(&mut self) -> bool {
        let Some(source) = &mut self.source else { return false };
        match source.next_block() {
            Ok(Some(block)) => {
                self.waiting.clear();
                self.waiting.extend_from_slice(block);
                self.taken = 0;
                true
            }
            Ok(None) => {
                self.source = None;
                false
            }
            Err(error) => {
                self.broken = Some(error.to_string());
                self.source = None;
                false
            }
        }
    }
}
