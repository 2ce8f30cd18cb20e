//! Files that lie in a real inbox and are no film.

use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::{fs, io};

/// Lays so many of them into an inbox, among them some beside the film in `game`. `film`: a film to be cut short. Gives how
/// many there are.
///
/// # Errors
/// The disk.
pub fn lay(inbox: &Path, game: &Path, film: &Path, count: usize) -> io::Result<usize> {
    let bytes = fs::read(film)?;
    let loose = inbox.join("a camera's card");
    fs::create_dir_all(&loose)?;
    let mut laid = 0;
    for number in 0..count {
        let folder: PathBuf = match number % 4 {
            0 => inbox.to_path_buf(),
            1 => loose.clone(),
            2 => inbox.join(format!("junk {}", number % 40)),
            _ if number % 100 < 20 => game.to_path_buf(),
            _ => loose.join("DCIM"),
        };
        fs::create_dir_all(&folder)?;
        let ending = ["mp4", "mov", "mts", "avi", "mkv", "csv.bak"][number % 6];
        let name = |name: String| folder.join(name);
        let made = match number % 12 {
            0 => fs::write(name(format!("empty {number}.{ending}")), ""),
            1 => fs::write(name(format!("text {number}.{ending}")), "third and short vs one-high\n".repeat(50)),
            2 => fs::write(name(format!("half {number}.mp4")), &bytes[..bytes.len() * (number % 97 + 1) / 100]),
            3 => symlink(&folder, name(format!("circle {number}"))),
            4 => symlink(format!("self {number}.mp4"), name(format!("self {number}.mp4"))),
            5 => fs::write(name(format!("{}.mp4", "ü".repeat(123) + &format!("{:05}", number))), "x"),
            6 => {
                let mut raw = b"raw \xff\xfe".to_vec();
                raw.extend(format!("{number}.mp4").bytes());
                fs::write(folder.join(OsStr::from_bytes(&raw)), "no text")
            }
            7 => fs::write(name(format!("line\nbreak {number}\t.mp4")), "x"),
            8 => fs::write(name(format!("wide \u{202e}4pm.{number}.exe")), "x"),
            9 => fs::write(name(format!("turned \u{202e}{number}.mp4")), vec![0; 4096]),
            10 => fs::write(name(format!("~$tags {number}.xlsx")), "x"),
            _ => fs::write(name(format!(".hidden {number}.mp4")), "x"),
        };
        made?;
        laid += 1;
    }
    // A path longer than any call takes (PATH_MAX, 4096 bytes): made step by step from within.
    let deep = "d".repeat(200);
    let program =
        format!("cd \"$1\" && for k in $(seq 25); do mkdir {deep} && cd -P {deep} || exit 1; done; echo x > deep.mp4");
    let made = std::process::Command::new("bash").args(["-c", &program, "bash"]).arg(inbox).status()?;
    if !made.success() {
        return Err(io::Error::other("the deep folder was not made"));
    }
    Ok(laid + 1)
}
