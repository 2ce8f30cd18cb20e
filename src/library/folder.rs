//! What lies where in a library's folder, and how the folder is found.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

/// Marks a folder as a library and holds its settings.
pub(super) const SETTINGS: &str = "downbox.toml";
/// The database.
pub(super) const DATABASE: &str = "downbox.sqlite";
/// What the database has written but not yet taken into its file.
pub(super) const WAL: &str = "downbox.sqlite-wal";
/// Held by whoever writes.
pub(super) const LOCK: &str = "downbox.lock";
/// Folders a new library has. The others come when something is put in them.
pub(super) const FOLDERS: [&str; 4] = ["inbox", "clips", "series", "log"];
/// Where a library is made if none is named.
pub(super) const USUAL: &str = "film-library";

/// The settings file of a new library where the caller has no text of its own.
pub(super) const BARE_SETTINGS: &str = "\
# Settings of this film library. Its place marks the folder as a library: keep it.
# What is not set here is taken from your own settings, else from the program's defaults.
";

/// The folder of the library in question: `explicit`, else `env` unless empty, else the nearest folder from `cwd`
/// upward that holds `downbox.toml`, else `film-library` in `cwd` if that is one (a first cut without a library makes
/// it, so that the question after it finds it). Only the last two are known to exist.
pub(super) fn find(explicit: Option<&Path>, env: Option<&OsStr>, cwd: &Path) -> Option<PathBuf> {
    let is_library = |folder: &Path| folder.join(SETTINGS).is_file();
    if let Some(named) = explicit.or(env.filter(|e| !e.is_empty()).map(Path::new)) {
        return Some(cwd.join(named));
    }
    let usual = cwd.join(USUAL);
    cwd.ancestors().find(|f| is_library(f)).map(Path::to_path_buf).or_else(|| is_library(&usual).then_some(usual))
}

/// Whether a folder lies on a network file system, where the shared memory of a write-ahead log does not work.
pub fn on_network(folder: &Path) -> bool {
    // Without the table (another system than Linux) the answer is no; SQLite then refuses a log that cannot work.
    let mounts = std::fs::read_to_string("/proc/self/mountinfo").unwrap_or_default();
    let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_path_buf());
    file_system(&mounts, &folder).is_some_and(|kind| {
        ["nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "lustre", "glusterfs", "ncpfs", "coda"]
            .contains(&kind)
            || ["fuse.sshfs", "fuse.glusterfs", "fuse.ceph", "fuse.s3fs", "fuse.rclone", "fuse.davfs"].contains(&kind)
    })
}

/// The type of the file system that holds `folder`, by the table of mounts (Linux, proc(5) "mountinfo": fields split
/// by spaces, the fifth is the mount point with spaces as `\040`, the type follows a lone `-`). The last mount on the
/// longest path counts.
fn file_system<'a>(mounts: &'a str, folder: &Path) -> Option<&'a str> {
    let mut best: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        let Some((left, right)) = line.split_once(" - ") else { continue };
        let (Some(point), Some(kind)) = (left.split(' ').nth(4), right.split(' ').next()) else { continue };
        let point = point.replace("\\040", " ").replace("\\011", "\t").replace("\\134", "\\");
        if folder.starts_with(&point) && best.is_none_or(|(length, _)| point.len() >= length) {
            best = Some((point.len(), kind));
        }
    }
    best.map(|(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_library_is_found_in_the_order_told() {
        let top = tempfile::tempdir().unwrap();
        let deep = top.path().join("season/week 3");
        std::fs::create_dir_all(&deep).unwrap();
        assert_eq!(find(None, None, &deep), None);
        std::fs::create_dir_all(deep.join(USUAL)).unwrap();
        assert_eq!(find(None, None, &deep), None, "a folder of that name alone is no library");
        std::fs::write(deep.join(USUAL).join(SETTINGS), "").unwrap();
        assert_eq!(find(None, None, &deep), Some(deep.join(USUAL)));
        std::fs::write(top.path().join(SETTINGS), "").unwrap();
        assert_eq!(find(None, None, &deep).as_deref(), Some(top.path()));
        let env = OsStr::new("/films");
        assert_eq!(find(None, Some(env), &deep), Some("/films".into()));
        assert_eq!(find(None, Some(OsStr::new("")), &deep).as_deref(), Some(top.path()));
        assert_eq!(find(Some(Path::new("here")), Some(env), &deep), Some(deep.join("here")));
    }

    #[test]
    fn the_file_system_is_that_of_the_longest_mount() {
        let mounts = "21 1 8:1 / / rw - ext4 /dev/sda1 rw\n\
                      30 21 0:40 / /mnt/film\\040room rw,relatime shared:2 - nfs4 nas:/film rw\n\
                      31 30 8:2 / /mnt/film\\040room/local rw - xfs /dev/sdb1 rw\n\
                      32 21 0:41 / /mnt/film rw - cifs //nas/x rw\n";
        for (folder, want) in [
            ("/home/staff", Some("ext4")),
            ("/mnt/film room/season", Some("nfs4")),
            ("/mnt/film room/local/season", Some("xfs")),
            ("/mnt/filmless", Some("ext4")),
            ("/mnt/film/a", Some("cifs")),
        ] {
            assert_eq!(file_system(mounts, Path::new(folder)), want, "{folder}");
        }
        assert_eq!(file_system("", Path::new("/")), None);
    }
}
