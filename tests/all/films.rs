//! Made films for the tests, kept under target/films so that they are made once.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;

/// One film is made at a time: the maker itself uses every core.
static MAKING: Mutex<()> = Mutex::new(());

fn target() -> PathBuf {
    Path::new(env!("CARGO_BIN_EXE_downbox")).parent().and_then(Path::parent).unwrap().to_path_buf()
}

/// The film maker, which `cargo test` builds beside the tests.
pub fn maker() -> PathBuf {
    Path::new(env!("CARGO_BIN_EXE_downbox")).with_file_name("examples").join("filmmaker")
}

/// A file or folder under target/films made by `args` of the film maker; `OUT` among them stands for its path.
/// Kept under a name that holds the arguments and the maker's sources, so that neither can be stale.
pub fn made(name: &str, args: &[&str]) -> PathBuf {
    let mut hash = blake3::Hasher::new();
    let mut sources: Vec<_> = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/filmmaker"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    sources.sort();
    sources.iter().filter(|p| p.is_file()).for_each(|p| {
        hash.update(&fs::read(p).unwrap());
    });
    args.iter().chain([&name]).for_each(|a| {
        hash.update(a.as_bytes());
        hash.update(b"\0");
    });
    let folder = target().join("films").join(&hash.finalize().to_hex()[..16]);
    let out = folder.join(name);
    let _one = MAKING.lock().unwrap_or_else(|e| e.into_inner());
    if out.exists() {
        return out;
    }
    let making = folder.with_extension("making");
    let _ = fs::remove_dir_all(&making);
    fs::create_dir_all(&making).unwrap();
    let pending = making.join(name);
    fs::create_dir_all(pending.parent().unwrap()).unwrap();
    let pending = pending.display().to_string();
    let args: Vec<String> = args.iter().map(|a| a.replace("OUT", &pending)).collect();
    let done = Command::new(maker()).args(&args).output().unwrap();
    assert!(done.status.success(), "filmmaker {args:?}: {}", String::from_utf8_lossy(&done.stderr));
    let _ = fs::remove_dir_all(&folder);
    fs::rename(&making, &folder).unwrap();
    out
}

/// Runs the film maker, which must succeed.
pub fn run_maker(args: &[String]) {
    let done = Command::new(maker()).args(args).output().unwrap();
    assert!(done.status.success(), "filmmaker {args:?}: {}", String::from_utf8_lossy(&done.stderr));
}

/// Runs a program that must succeed and gives its standard output.
pub fn run(program: &str, args: &[&str]) -> Vec<u8> {
    let done = if program == "ffprobe" { Command::new("ffprobe") } else { Command::new("ffmpeg") }
        .args(args)
        .output()
        .unwrap();
    assert!(done.status.success(), "{program} {args:?}: {}", String::from_utf8_lossy(&done.stderr));
    done.stdout
}

/// Luma of every frame of a file as the ffmpeg program decodes it, `w` by `h`.
pub fn luma(path: &Path, w: usize, h: usize) -> Vec<Vec<u8>> {
    let size = format!("scale={w}:{h}:flags=neighbor");
    let raw = run(
        "ffmpeg",
        &[
            "-v",
            "error",
            "-i",
            path.to_str().unwrap(),
            "-vf",
            &size,
            "-fps_mode",
            "passthrough",
            "-f",
            "rawvideo",
            "-pix_fmt",
            "gray",
            "-",
        ],
    );
    raw.chunks_exact(w * h).map(<[u8]>::to_vec).collect()
}

/// Sound of a file as the ffmpeg program decodes it: mono floats at 48 kHz.
pub fn sound(path: &Path) -> Vec<f32> {
    let raw = run(
        "ffmpeg",
        &["-v", "error", "-i", path.to_str().unwrap(), "-vn", "-ac", "1", "-ar", "48000", "-f", "f32le", "-"],
    );
    raw.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect()
}

/// MD5 of every frame's pixels, by the ffmpeg program.
pub fn frame_sums(path: &Path) -> Vec<String> {
    let text = run(
        "ffmpeg",
        &[
            "-v",
            "error",
            "-i",
            path.to_str().unwrap(),
            "-map",
            "0:v",
            "-fps_mode",
            "passthrough",
            "-f",
            "framemd5",
            "-",
        ],
    );
    let text = String::from_utf8(text).unwrap();
    text.lines().filter(|l| !l.starts_with('#')).map(|l| l.rsplit(',').next().unwrap().trim().to_string()).collect()
}

/// How many frames the ffprobe program counts by decoding.
pub fn count(path: &Path) -> u64 {
    let args = [
        "-v",
        "error",
        "-select_streams",
        "v:0",
        "-count_frames",
        "-show_entries",
        "stream=nb_read_frames",
        "-of",
        "csv=p=0",
        path.to_str().unwrap(),
    ];
    let text = String::from_utf8(run("ffprobe", &args)).unwrap();
    // A transport stream is listed twice, by itself and in its program.
    text.split([',', '\n']).find_map(|n| n.trim().parse().ok()).unwrap()
}

/// Runs the ffmpeg program over a film: `before` the input, `after` it.
pub fn remade(source: &Path, out: &Path, before: &[&str], after: &[&str]) {
    let mut args = vec!["-v", "error", "-y"];
    args.extend(before);
    args.extend(["-i", source.to_str().unwrap()]);
    args.extend(after);
    args.push(out.to_str().unwrap());
    run("ffmpeg", &args);
}

/// The film as interlaced H.264 in a transport stream, upper field first, without sound.
pub fn interlaced(source: &Path, out: &Path) {
    let coded = ["-c:v", "libx264", "-preset", "ultrafast", "-flags", "+ildct+ilme", "-x264-params", "tff=1"];
    // The encoder goes by what each frame says.
    remade(source, out, &[], &[&["-vf", "setfield=tff"], &coded[..], &["-an", "-f", "mpegts"]].concat());
}
