//! What painting costs a frame: `cargo bench --bench paint`.
//!
//! The strip's blend is to stay within tens of microseconds beside an encoder's milliseconds.

use std::hint::black_box;
use std::time::Instant;

use downbox::base::{FrameNo, Result};
use downbox::film::{Color, Matrix, Picture, Transfer};
use downbox::paint::{Scaler, Strip, StripText, Template};
use downbox::reel::Fitter;

fn main() -> Result<()> {
    let text = include!("../../fixtures/strip_text.rs");
    let template = Template::strip()?;
    for (w, h) in [(1920, 1080), (1280, 720), (960, 540), (640, 360)] {
        let start = Instant::now();
        let strip = Strip::draw(&template, &text, w, h)?;
        let drawn = start.elapsed();
        let mut picture = Picture::filled(w, h, [120, 110, 120]);
        if let Some(overlay) = &strip.overlay {
            println!("{w}x{h}: strip drawn once {:.1} ms", drawn.as_secs_f64() * 1e3);
            per_frame("  blend", 10, || overlay.blend(black_box(&mut picture)));
        }
    }
    let hd = Color::default();
    let sd = Color { matrix: Matrix::Bt601, ..Color::default() };
    let hdr = |transfer| Color { matrix: Matrix::Bt2020, transfer, full_range: false };
    for (name, from, to, color) in [
        ("copy 1920x1080", (1920, 1080), (1920, 1080), hd),
        ("1920x1080 to 1280x720", (1920, 1080), (1280, 720), hd),
        ("1280x720 to 1920x1080", (1280, 720), (1920, 1080), hd),
        ("1920x1080, BT.601", (1920, 1080), (1920, 1080), sd),
        ("1920x1080, HLG", (1920, 1080), (1920, 1080), hdr(Transfer::Hlg)),
        ("3840x2160, PQ, to 1920x1080", (3840, 2160), (1920, 1080), hdr(Transfer::Pq)),
    ] {
        let mut film = Picture::filled(from.0, from.1, [120, 110, 120]);
        film.color = color;
        // Turf is no flat plane.
        for (i, v) in film.planes.iter_mut().flatten().enumerate() {
            *v = v.wrapping_add((i * i / 7 % 23) as u8);
        }
        let mut fitter = Fitter::new(to.0, to.1);
        let shown = (from.0 as u32, from.1 as u32);
        per_frame(&format!("fit {name}"), 1, || {
            black_box(fitter.fit(&film.view(FrameNo(0), 0.0), shown, Scaler::WHOLE));
        });
    }
    Ok(())
}

/// Prints the best of many short rounds, in microseconds a frame: what the work takes while nothing else is run.
fn per_frame(name: &str, frames: u32, mut work: impl FnMut()) {
    let best = (0..40)
        .map(|_| {
            let start = Instant::now();
            (0..frames).for_each(|_| work());
            start.elapsed().as_secs_f64() * 1e6 / f64::from(frames)
        })
        .fold(f64::INFINITY, f64::min);
    println!("{name}: {best:.0} microseconds a frame");
}
