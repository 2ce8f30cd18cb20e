//! Measurements on disk: measured once, never used stale.

use std::fs;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::Library;
use crate::base::{Error, IoContext, PendingFile, Result, name_file};
use crate::film::{Film, Sample, Series, Unfinished};

/// A folder of measurements: a library's, or one of the user's own.
///
/// The measurement of a film lies in it as `FINGERPRINT-vVERSION.json`, one that was broken off as
/// `FINGERPRINT-vVERSION-unfinished.json`. The first line of each is the BLAKE3 of the rest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeriesFolder(PathBuf);

impl SeriesFolder {
    /// The folder of that path; it is made when something is first kept.
    pub fn at(folder: PathBuf) -> Self {
        Self(folder)
    }

    /// Its path.
    pub fn folder(&self) -> &Path {
        &self.0
    }

    /// Where the measurement of a film lies.
    pub fn path(&self, fingerprint: &str, version: u32) -> PathBuf {
        self.0.join(format!("{}-v{version}.json", name_file(fingerprint)))
    }

    /// Where one that was broken off lies.
    pub fn unfinished_path(&self, fingerprint: &str, version: u32) -> PathBuf {
        self.0.join(format!("{}-v{version}-unfinished.json", name_file(fingerprint)))
    }

    /// The measurement of a film by this version of measuring, if it was made. A file that is damaged, cut short or of
    /// another film or version counts as absent: it is measured anew.
    pub fn load(&self, fingerprint: &str, version: u32) -> Option<Series> {
        let series: Series = read_sealed(&self.path(fingerprint, version))?;
        (series.film == fingerprint && series.version == version).then_some(series)
    }

    /// What was measured of a film before it was broken off; absent where [`SeriesFolder::load`] says so.
    pub fn load_unfinished(&self, fingerprint: &str, version: u32) -> Option<Unfinished> {
        let begun: Unfinished = read_sealed(&self.unfinished_path(fingerprint, version))?;
        (begun.series.film == fingerprint && begun.series.version == version).then_some(begun)
    }

    /// Keeps a whole measurement, under the film and version it names, and drops what was kept of it unfinished.
    ///
    /// # Errors
    /// The disk; or a value that is not a finite number, which no file could give back.
    pub fn save(&self, series: &Series) -> Result<()> {
        let path = self.path(&series.film, series.version);
        check(series, &path)?;
        write_sealed(&path, series)?;
        // Left where it cannot be removed: beside a whole measurement it is never read.
        let _ = fs::remove_file(self.unfinished_path(&series.film, series.version));
        Ok(())
    }

    /// Keeps what is measured so far.
    ///
    /// # Errors
    /// Those of [`SeriesFolder::save`].
    pub fn save_unfinished(&self, begun: &Unfinished) -> Result<()> {
        let path = self.unfinished_path(&begun.series.film, begun.series.version);
        check(&begun.series, &path)?;
        write_sealed(&path, begun)
    }

    /// Notes that a film's measurement was of use now: [`SeriesFolder::shrink`] spares it the longest.
    pub fn touch(&self, fingerprint: &str, version: u32) {
        // Where the time cannot be set the measurement is merely thrown out sooner.
        if let Ok(file) = fs::File::options().append(true).open(self.path(fingerprint, version)) {
            let _ = file.set_modified(SystemTime::now());
        }
    }

    /// Throws out the oldest measurements until no more than `most` bytes are left, the newest always. What cannot be
    /// read or removed is left.
    pub fn shrink(&self, most: u64) {
        let files = fs::read_dir(&self.0).into_iter().flatten().flatten();
        let mut files: Vec<(SystemTime, PathBuf, u64)> = files
            .filter(|entry| entry.path().extension().is_some_and(|ending| ending == "json"))
            .filter_map(|entry| {
                let about = entry.metadata().ok().filter(fs::Metadata::is_file)?;
                Some((about.modified().ok()?, entry.path(), about.len()))
            })
            .collect();
        files.sort();
        let mut sum: u64 = files.iter().map(|(.., bytes)| bytes).sum();
        for (_, path, bytes) in &files[..files.len().saturating_sub(1)] {
            if sum <= most {
                break;
            }
            if fs::remove_file(path).is_ok() {
                sum -= bytes;
            }
        }
    }
}

fn check(series: &Series, path: &Path) -> Result<()> {
    let odd = |s: &Sample| {
        !s.time.is_finite()
            || [s.energy, s.clear, s.robust, s.pan, s.pan_x, s.sigma, s.field, s.moving, s.stirring]
                .iter()
                .any(|v| !v.is_finite())
    };
    match series.samples.iter().find(|s| odd(s)) {
        None => Ok(()),
        Some(sample) => Err(Error::failed(
            format!("the measurement of frame {} holds a value that is no number", sample.frame),
            path.display(),
            "this is a fault of the program; please report it",
        )),
    }
}

impl Library {
    /// Where the library keeps measurements: `series` in its folder.
    pub fn series(&self) -> SeriesFolder {
        SeriesFolder::at(self.folder().join("series"))
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
        self.series().folder().join(format!("{}-film.json", name_file(fingerprint)))
    }
}

/// Whether a file of measurements is as written: its beginning and end alone, or (`whole`) its seal.
///
/// # Errors
/// It cannot be read.
pub fn sealed(path: &Path, whole: bool) -> Result<bool> {
    let doing = "read the measurement";
    if whole {
        return Ok(unsealed(&fs::read(path).doing(doing, path)?).is_some());
    }
    let mut file = fs::File::open(path).doing(doing, path)?;
    let mut head = Vec::new();
    Read::by_ref(&mut file).take(66).read_to_end(&mut head).doing(doing, path)?;
    let mut last = [0];
    let whole = head.len() == 66
        && head[..64].iter().all(u8::is_ascii_hexdigit)
        && head[64..] == *b"\n{"
        && file.seek(SeekFrom::End(-1)).and_then(|_| file.read_exact(&mut last)).is_ok();
    Ok(whole && last == *b"}")
}

/// Reads what [`write_sealed`] wrote; `None` if it is not there or not as written.
fn read_sealed<T: DeserializeOwned>(path: &Path) -> Option<T> {
    serde_json::from_slice(unsealed(&fs::read(path).ok()?)?).ok()
}

/// What stands behind the seal; `None` if the seal is not its own.
fn unsealed(bytes: &[u8]) -> Option<&[u8]> {
    let end = bytes.iter().position(|b| *b == b'\n')?;
    let (seal, body) = (&bytes[..end], &bytes[end + 1..]);
    (seal == blake3::hash(body).to_hex().as_bytes()).then_some(body)
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
        let kept = Library::create(folder.path(), None).unwrap().series();
        assert_eq!(kept.load("abc123", 4), None);
        kept.save(&series()).unwrap();
        assert_eq!(kept.load("abc123", 4), Some(series()));
        assert_eq!(kept.load("abc123", 5), None);
        assert_eq!(kept.load("abc124", 4), None);

        let path = kept.path("abc123", 4);
        let whole = fs::read(&path).unwrap();
        for harm in [0, 20, 66, whole.len() / 2, whole.len() - 2] {
            let mut bytes = whole.clone();
            bytes[harm] ^= 1;
            fs::write(&path, &bytes).unwrap();
            assert_eq!(kept.load("abc123", 4), None, "byte {harm}");
            fs::write(&path, &whole[..harm]).unwrap();
            assert_eq!(kept.load("abc123", 4), None, "cut at {harm}");
        }
        // Whole, but under another film's name.
        fs::write(kept.path("abc124", 4), &whole).unwrap();
        assert_eq!(kept.load("abc124", 4), None);
    }

    #[test]
    fn what_was_broken_off_is_kept_until_the_whole_is_there() {
        let folder = tempfile::tempdir().unwrap();
        let kept = SeriesFolder::at(folder.path().join("deep/series"));
        let begun = Unfinished { series: Series { whistles: vec![], ..series() }, cuts_to: 70 };
        assert_eq!(kept.load_unfinished("abc123", 4), None);
        kept.save_unfinished(&begun).unwrap();
        assert_eq!((kept.load("abc123", 4), kept.load_unfinished("abc123", 4)), (None, Some(begun.clone())));
        assert_eq!((kept.load_unfinished("abc123", 5), kept.load_unfinished("abc12", 4)), (None, None));
        let path = kept.unfinished_path("abc123", 4);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() - 9]).unwrap();
        assert_eq!(kept.load_unfinished("abc123", 4), None, "cut short");
        kept.save_unfinished(&begun).unwrap();
        kept.save(&series()).unwrap();
        assert!(kept.load("abc123", 4).is_some() && !path.exists());
    }

    #[test]
    fn the_oldest_go_first_and_the_newest_never() {
        let folder = tempfile::tempdir().unwrap();
        let kept = SeriesFolder::at(folder.path().to_path_buf());
        let old = SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(1_000_000);
        for (age, name) in ["a", "b", "c", "d"].iter().enumerate() {
            kept.save(&Series { film: (*name).into(), ..series() }).unwrap();
            let file = fs::File::options().append(true).open(kept.path(name, 4)).unwrap();
            file.set_modified(old + std::time::Duration::from_secs(age as u64)).unwrap();
        }
        fs::write(folder.path().join("notes.txt"), vec![0; 100_000]).unwrap();
        let one = fs::metadata(kept.path("a", 4)).unwrap().len();
        kept.touch("a", 4);
        let there = || ["a", "b", "c", "d"].map(|name| kept.load(name, 4).is_some());
        kept.shrink(4 * one);
        assert_eq!(there(), [true; 4]);
        kept.shrink(2 * one + one / 2);
        assert_eq!(there(), [true, false, false, true], "a was of use lately");
        kept.shrink(1);
        assert_eq!(there(), [true, false, false, false]);
        assert!(folder.path().join("notes.txt").exists());
    }

    #[test]
    fn a_value_that_is_no_number_is_told_at_once() {
        let folder = tempfile::tempdir().unwrap();
        let kept = Library::create(folder.path(), None).unwrap().series();
        let mut broken = series();
        broken.samples[7].pan = f32::NAN;
        assert!(kept.save(&broken).unwrap_err().what.contains("frame 14"));
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
