//! What lies on the disk: clips as files, and files that nothing names.

use std::fs::{self, File};
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use super::Tools;
use super::finding::{Finding, FindingKind};
use crate::base::{ErrorKind, Result, Silent};
use crate::film::Decode;
use crate::library::{ClipRecord, file_hash};

/// What to do about a clip that is not as recorded.
const CUT_AGAIN: &str = "cut it again from its film with: downbox check --repair";

/// What is wrong with a clip's file, if anything. `deep`: its whole content is read and decoded.
pub(super) fn look_at_clip(tools: Tools<'_>, folder: &Path, clip: &ClipRecord, deep: bool) -> Result<Option<Finding>> {
    use FindingKind::{ClipBroken, ClipChanged, ClipLength, ClipMissing, ClipRecord, ClipUnreadable};
    let found = |kind, what: String| {
        let (kind, next) = match clip.live {
            true => (kind, CUT_AGAIN),
            false => (FindingKind::ClipOutOfUse, "nothing need be done; its play is in no answer"),
        };
        Ok(Some(Finding::new(kind, clip.path.display(), what, next)))
    };
    let inside =
        clip.path.starts_with("clips") && clip.path.components().all(|c| matches!(c, std::path::Component::Normal(_)));
    if !inside {
        return found(ClipRecord, "the record names a file outside the library's clips".into());
    }
    let path = folder.join(&clip.path);
    let about = match fs::symlink_metadata(&path) {
        Ok(about) => about,
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => {
            return found(ClipMissing, "the clip is not there".into());
        }
        Err(cause) => return found(ClipUnreadable, format!("the clip cannot be looked at ({cause})")),
    };
    if !about.is_file() {
        return found(ClipUnreadable, "a folder or link lies where the clip should".into());
    }
    if about.len() != clip.bytes {
        return found(ClipLength, format!("the clip has {} bytes, {} are recorded", about.len(), clip.bytes));
    }
    if clip.frames != clip.span.len() || clip.span.end.0 > clip.film_frames {
        let what = format!(
            "the record says {} frames for frames {} to {} of a film of {}",
            clip.frames, clip.span.start, clip.span.end, clip.film_frames
        );
        return found(ClipRecord, what);
    }
    match whole_boxes(&path) {
        Ok(true) => {}
        Ok(false) => return found(ClipBroken, "the clip is no whole MP4 file".into()),
        Err(cause) => return found(ClipUnreadable, format!("the clip cannot be read ({cause})")),
    }
    if !deep {
        return Ok(None);
    }
    match file_hash(&path) {
        Ok((hash, _)) if hash == clip.hash => {}
        Ok(_) => return found(ClipChanged, "the clip's content is not what was written".into()),
        Err(error) => return found(ClipUnreadable, error.to_string()),
    }
    match decoded(tools, &path) {
        Ok((frames, 0)) if frames == clip.frames => Ok(None),
        Ok((frames, damaged)) => {
            let damage = if damaged > 0 { format!(", {damaged} of them damaged") } else { String::new() };
            found(ClipBroken, format!("{frames} frames of the clip can be shown{damage}; {} are recorded", clip.frames))
        }
        Err(error) if error.kind == ErrorKind::Interrupted => Err(error),
        Err(error) => found(ClipBroken, format!("the clip does not decode: {error}")),
    }
}

/// Frames that a clip decodes to, and how many stretches of it are damaged.
fn decoded(tools: Tools<'_>, path: &Path) -> Result<(u64, usize)> {
    let film = tools.reader.read(&[path.to_path_buf()], &Silent)?;
    let mut source = tools.reader.frames(&film, Decode::Exact, 0)?;
    let mut frames = 0;
    while source.next_frame()?.is_some() {
        frames += 1;
    }
    Ok((frames, source.damage().len() + film.problems.len()))
}

/// Whether a file's outermost boxes (ISO/IEC 14496-12) fill it to the last byte and one of them is the index.
fn whole_boxes(path: &Path) -> io::Result<bool> {
    let mut file = File::open(path)?;
    let length = file.metadata()?.len();
    let (mut at, mut index, mut first) = (0u64, false, true);
    while at < length {
        file.seek(SeekFrom::Start(at))?;
        let mut head = Vec::new();
        (&mut file).take(16).read_to_end(&mut head)?;
        let [a, b, c, d, e, f, g, h, rest @ ..] = head.as_slice() else { return Ok(false) };
        let kind = [*e, *f, *g, *h];
        if first && kind != *b"ftyp" {
            return Ok(false);
        }
        (first, index) = (false, index || kind == *b"moov");
        let size = match u32::from_be_bytes([*a, *b, *c, *d]) {
            0 => length - at,
            1 => rest.first_chunk::<8>().map_or(0, |bytes| u64::from_be_bytes(*bytes)),
            size => u64::from(size),
        };
        if size < 8 {
            return Ok(false);
        }
        at = at.saturating_add(size);
    }
    Ok(at == length && index)
}

/// Every file below a folder, relative to `top`, in order. Links are not followed; what cannot be listed becomes an error
/// text beside its path.
pub(super) fn walk(top: &Path, inner: &str) -> (Vec<PathBuf>, Vec<(PathBuf, String)>) {
    let (mut files, mut faults) = (Vec::new(), Vec::new());
    let mut open = vec![PathBuf::from(inner)];
    while let Some(folder) = open.pop() {
        let entries = match fs::read_dir(top.join(&folder)) {
            Ok(entries) => entries,
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => continue,
            Err(cause) => {
                faults.push((folder, cause.to_string()));
                continue;
            }
        };
        for entry in entries.flatten() {
            let path = folder.join(entry.file_name());
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                open.push(path);
            } else {
                files.push(path);
            }
        }
    }
    files.sort();
    (files, faults)
}

/// What a file's name says of whether it was still being written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hidden {
    /// A name that is listed.
    No,
    /// Being written by a process that lives.
    Writing,
    /// Left by a process that is gone.
    Leftover,
    /// A file manager's own.
    Other,
}

impl Hidden {
    pub fn of(path: &Path) -> Self {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let Some(rest) = name.strip_prefix('.') else {
            return if name == "Thumbs.db" || name == "desktop.ini" { Self::Other } else { Self::No };
        };
        let pid = rest.split_once(".pending-").map(|(pid, _)| pid).filter(|pid| pid.parse::<u32>().is_ok());
        match pid {
            None => Self::Other,
            // Where the system does not tell who lives, nothing is taken for left.
            Some(pid) if !Path::new("/proc/self").exists() || Path::new("/proc").join(pid).exists() => Self::Writing,
            Some(_) => Self::Leftover,
        }
    }
}
