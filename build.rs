//! Tells which FFmpeg the bindings were made for: since version 8 side data of a stream lie in its codec parameters, and
//! fields of a frame are told by its flags alone.

fn main() {
    println!("cargo::rustc-check-cfg=cfg(downbox_ffmpeg_8)");
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-env-changed=DEP_FFMPEG_FFMPEG_8_0");
    // The bindings crate hands its findings to direct dependents only, so pkg-config is asked as it does.
    let version = std::process::Command::new("pkg-config").args(["--modversion", "libavformat"]).output();
    let major = version.ok().and_then(|out| {
        String::from_utf8_lossy(&out.stdout).split('.').next().and_then(|n| n.trim().parse::<u32>().ok())
    });
    // libavformat 62 is FFmpeg 8.
    if major.is_some_and(|m| m >= 62) {
        println!("cargo::rustc-cfg=downbox_ffmpeg_8");
    }
}
