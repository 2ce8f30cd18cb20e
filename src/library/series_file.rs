//! Measurements on disk: measured once, never used stale.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::Library;
use crate::base::{Error, IoContext, PendingFile, Result, name_file};
use crate::film::{Film, Sample, Series};

impl Library {
    /// Where the measurement of a film lies: `series/FINGERPRINT-vVERSION.json` in the library's folder. The first line
    /// is the BLAKE3 of the rest.
    pub fn series_path(&self, fingerprint: &str, version: u32) -> PathBuf {
        self.folder().join("series").join(format!("{}-v{version}.json", name_file(fingerprint)))
    }

    /// The measurement of a film by this version of measuring, if it was made. A file that is damaged, cut short or of
    /// another film or version counts as absent: it is measured anew.
    pub fn load_series(&self, fingerprint: &str, version: u32) -> Option<Series> {
        let series: Series = read_sealed(&self.series_path(fingerprint, version))?;
        (series.film == fingerprint && series.version == version).then_some(series)
    }

    /// Keeps a measurement, under the film and version it names.
    ///
    /// # Errors
    /// The disk; or a value that is not a finite number, which no file could give back.
    pub fn save_series(&self, series: &Series) -> Result<()> {
        let path = self.series_path(&series.film, series.version);
        let odd = |s: &Sample| {
            !s.time.is_finite() || [s.energy, s.robust, s.pan, s.pan_x, s.sigma, s.field].iter().any(|v| !v.is_finite())
        };
        if let Some(sample) = series.samples.iter().find(|s| odd(s)) {
            return Err(Error::failed(
                format!("the measurement of frame {} holds a value that is no number", sample.frame),
                path.display(),
                "this is a fault of the program; please report it",
            ));
        }
        write_sealed(&path, series)
    }

    /// A film as it was when last read, with the time of every frame: what a camera that comes later is paired by when
    /// the film itself is gone. Damaged or of another film it counts as absent. Paths in it are those of then.
    pub fn load_film(&self, fingerprint: &str) -> Option<Film> {
        let film: Film = read_sealed(&self.film_path(fingerprint))?;
        (film.fingerprint() == fingerprint).then_some(film)
    }

    /// Keeps a film's frame times: `series/FINGERPRINT-film.json`.
    pub fn save_film(&self, film: &Film) -> Result<()> {
        write_sealed(&self.film_path(&film.fingerprint()), film)
    }

    fn film_path(&self, fingerprint: &str) -> PathBuf {
        self.folder().join("series").join(format!("{}-film.json", name_file(fingerprint)))
    }
}

/// Reads what [`write_sealed`] wrote; `None` if it is not there or not as written.
fn read_sealed<T: DeserializeOwned>(path: &Path) -> Option<T> {
    let bytes = fs::read(path).ok()?;
    let end = bytes.iter().position(|b| *b == b'\n')?;
    let (seal, body) = (&bytes[..end], &bytes[end + 1..]);
    if seal != blake3::hash(body).to_hex().as_bytes() {
        return None;
    }
    serde_json::from_slice(body).ok()
}

/// Writes a value as JSON behind a line with its BLAKE3, whole or not at all.
fn write_sealed(path: &Path, value: &impl Serialize) -> Result<()> {
    let body = serde_json::to_vec(value).map_err(|cause| {
        let next = "this is a fault of the program; please report it";
        Error::failed("cannot write the measurement", path.display(), next).because(cause)
    })?;
    let pending = PendingFile::new(path)?;
    let seal = blake3::hash(&body).to_hex();
    fs::File::create(pending.path())
        .and_then(|mut file| {
            file.write_all(seal.as_bytes())?;
            file.write_all(b"\n")?;
            file.write_all(&body)
        })
        .doing("write the measurement", path)?;
    pending.commit()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Rate;
    use crate::film::{Whistle, scripted};

    fn series() -> Series {
        let samples = (0..50u64)
            .map(|k| Sample { frame: 2 * k, time: k as f64 / 15.0, energy: 0.1 + k as f32, ..Sample::default() })
            .collect();
        let whistles = vec![Whistle { time: 1.25, length: 0.4, score: 3.5, confidence: 0.8 }];
        Series { version: 4, film: "abc123".into(), cuts: vec![40, 77], samples, whistles, sound: true, damage: vec![] }
    }

    #[test]
    fn what_is_saved_comes_back_and_what_is_damaged_or_stale_does_not() {
        let folder = tempfile::tempdir().unwrap();
        let library = Library::create(folder.path(), None).unwrap();
        assert_eq!(library.load_series("abc123", 4), None);
        library.save_series(&series()).unwrap();
        assert_eq!(library.load_series("abc123", 4), Some(series()));
        assert_eq!(library.load_series("abc123", 5), None);
        assert_eq!(library.load_series("abc124", 4), None);

        let path = library.series_path("abc123", 4);
        let whole = fs::read(&path).unwrap();
        for harm in [0, 20, 66, whole.len() / 2, whole.len() - 2] {
            let mut bytes = whole.clone();
            bytes[harm] ^= 1;
            fs::write(&path, &bytes).unwrap();
            assert_eq!(library.load_series("abc123", 4), None, "byte {harm}");
            fs::write(&path, &whole[..harm]).unwrap();
            assert_eq!(library.load_series("abc123", 4), None, "cut at {harm}");
        }
        // Whole, but under another film's name.
        fs::write(library.series_path("abc124", 4), &whole).unwrap();
        assert_eq!(library.load_series("abc124", 4), None);
    }

    #[test]
    fn a_value_that_is_no_number_is_told_at_once() {
        let folder = tempfile::tempdir().unwrap();
        let library = Library::create(folder.path(), None).unwrap();
        let mut broken = series();
        broken.samples[7].pan = f32::NAN;
        assert!(library.save_series(&broken).unwrap_err().what.contains("frame 14"));
        assert_eq!(fs::read_dir(folder.path().join("series")).unwrap().count(), 0);
    }

    #[test]
    fn a_films_frame_times_outlive_the_film() {
        let folder = tempfile::tempdir().unwrap();
        let library = Library::create(folder.path(), None).unwrap();
        let rate = Rate { num: 30000, den: 1001 };
        let film =
            Film { parts: vec![scripted::part("a.mp4", 40, rate), scripted::part("b.mp4", 9, rate)], problems: vec![] };
        library.save_film(&film).unwrap();
        assert_eq!(library.load_film(&film.fingerprint()), Some(film.clone()));
        let other = Film { parts: film.parts[..1].to_vec(), problems: vec![] };
        assert_eq!(library.load_film(&other.fingerprint()), None);
        fs::copy(library.film_path(&film.fingerprint()), library.film_path(&other.fingerprint())).unwrap();
        assert_eq!(library.load_film(&other.fingerprint()), None, "under another's name");
    }
}
