//! Files that appear under their final name only when they are whole.

use std::cmp::Ordering;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use super::{IoContext, Result};

/// A file being written beside its final place.
///
/// Write to [`PendingFile::path`]; [`PendingFile::commit`] syncs it, renames it to the final name and syncs the
/// folder. Dropped without commit, it is removed and the final name is untouched.
#[derive(Debug)]
pub struct PendingFile {
    pending: PathBuf,
    last: PathBuf,
    done: bool,
}

impl PendingFile {
    /// Prepares to write `last`, making its folder if need be. The pending name ends in the same extension, since
    /// muxers choose by it.
    pub fn new(last: &Path) -> Result<Self> {
        let folder = folder_of(last);
        fs::create_dir_all(folder).doing("make the folder", folder)?;
        let name = last.file_name().unwrap_or_default().to_string_lossy().into_owned();
        clear_leftovers(folder, &name);
        let pending = folder.join(format!(".{}.pending-{name}", std::process::id()));
        Ok(Self { pending, last: last.to_path_buf(), done: false })
    }

    /// Where to write.
    pub fn path(&self) -> &Path {
        &self.pending
    }

    /// The final name.
    pub fn last(&self) -> &Path {
        &self.last
    }

    /// Makes the file durable and gives it its final name.
    pub fn commit(mut self) -> Result<()> {
        let file = File::open(&self.pending).doing("open what was written", &self.pending)?;
        file.sync_all().doing("write to disk", &self.last)?;
        fs::rename(&self.pending, &self.last).doing("give the file its final name", &self.last)?;
        self.done = true;
        sync_folder(folder_of(&self.last))
    }
}

impl Drop for PendingFile {
    fn drop(&mut self) {
        if !self.done {
            // The file may never have been made; there is nobody to tell.
            let _ = fs::remove_file(&self.pending);
        }
    }
}

/// Removes what killed processes left of a file of this name. Only where the system tells who is alive; a folder that
/// cannot be read, or a file that cannot be removed, is left.
fn clear_leftovers(folder: &Path, name: &str) {
    let living = Path::new("/proc");
    if !living.join("self").exists() {
        return;
    }
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let file = entry.file_name().to_string_lossy().into_owned();
        let pid = file.strip_prefix('.').and_then(|rest| rest.strip_suffix(&format!(".pending-{name}")));
        if let Some(pid) = pid.filter(|pid| pid.parse::<u32>().is_ok())
            && !living.join(pid).exists()
        {
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// Makes a folder's entries durable.
pub fn sync_folder(folder: &Path) -> Result<()> {
    File::open(folder).and_then(|f| f.sync_all()).doing("write the folder to disk", folder)
}

/// A name as a file or folder name: path separators, control signs and leading dots become `-`, never empty.
pub fn name_file(name: &str) -> String {
    let clean: String =
        name.trim().chars().map(|c| if c.is_control() || "/\\:*?\"<>|".contains(c) { '-' } else { c }).collect();
    let clean = clean.trim_start_matches('.').trim_end_matches(['.', ' ']);
    let mut short = String::new();
    for c in clean.chars() {
        // Most file systems take 255 bytes a name; room is left for an extension and a pending prefix.
        if short.len() + c.len_utf8() > 180 {
            break;
        }
        short.push(c);
    }
    if short.is_empty() { "-".into() } else { short }
}

/// Natural order: runs of digits compare as numbers (CLIP9 before CLIP10), letters without case first.
pub fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut x, mut y) = (a.chars().peekable(), b.chars().peekable());
    loop {
        match (x.peek().copied(), y.peek().copied()) {
            (None, None) => return a.cmp(b),
            (None, _) => return Ordering::Less,
            (_, None) => return Ordering::Greater,
            (Some(p), Some(q)) if p.is_ascii_digit() && q.is_ascii_digit() => {
                let (m, n) = (digits(&mut x), digits(&mut y));
                let order = m.len().cmp(&n.len()).then_with(|| m.cmp(&n));
                if order != Ordering::Equal {
                    return order;
                }
            }
            (Some(p), Some(q)) => {
                let order = p.to_lowercase().cmp(q.to_lowercase());
                if order != Ordering::Equal {
                    return order;
                }
                x.next();
                y.next();
            }
        }
    }
}

fn digits(chars: &mut std::iter::Peekable<std::str::Chars<'_>>) -> String {
    let mut run = String::new();
    while let Some(c) = chars.next_if(char::is_ascii_digit) {
        if !(run.is_empty() && c == '0' && chars.peek().is_some_and(char::is_ascii_digit)) {
            run.push(c);
        }
    }
    run
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_appears_before_commit_and_nothing_stays_without_it() {
        let folder = tempfile::tempdir().unwrap();
        let last = folder.path().join("a/b.mp4");
        let pending = PendingFile::new(&last).unwrap();
        fs::write(pending.path(), b"whole").unwrap();
        assert!(!last.exists());
        pending.commit().unwrap();
        assert_eq!(fs::read(&last).unwrap(), b"whole");

        let dropped = PendingFile::new(&last).unwrap();
        fs::write(dropped.path(), b"half").unwrap();
        drop(dropped);
        assert_eq!(fs::read(&last).unwrap(), b"whole");
        assert_eq!(fs::read_dir(last.parent().unwrap()).unwrap().count(), 1);
    }

    #[test]
    fn what_a_killed_process_left_goes_and_what_a_living_one_writes_stays() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        // No process has a number above the system's limit of 4194304 (proc(5), pid_max).
        let (dead, living, other) =
            (at(".4194999.pending-b.mp4"), at(".1.pending-b.mp4"), at(".4194999.pending-c.mp4"));
        for file in [&dead, &living, &other] {
            fs::write(file, b"half").unwrap();
        }
        PendingFile::new(&at("b.mp4")).unwrap();
        assert!(!dead.exists() && living.exists() && other.exists());
    }

    #[test]
    fn natural_order_counts() {
        let mut names = vec!["CLIP10.mp4", "CLIP9.mp4", "clip9a.mp4", "CLIP009.mp4", "B2", "a1"];
        names.sort_by(|a, b| natural_order(a, b));
        assert_eq!(names, ["a1", "B2", "CLIP009.mp4", "CLIP9.mp4", "clip9a.mp4", "CLIP10.mp4"]);
    }

    #[test]
    fn names_become_file_names() {
        assert_eq!(name_file("Badgers / Herons: 2026"), "Badgers - Herons- 2026");
        assert_eq!(name_file("../.."), "-");
        assert_eq!(name_file(""), "-");
        assert!(name_file(&"ß".repeat(300)).len() <= 180);
    }
}
