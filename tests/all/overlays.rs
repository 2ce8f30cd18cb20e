//! Chip and cards over a made picture of turf, kept to be looked at, and read by an outside eye: tesseract.

use std::path::Path;
use std::process::Command;

use downbox::film::Picture;
use downbox::football::Field;
use downbox::paint::{Card, CardText, NAMES, Strip, StripText, Templates};

use super::strip::{keep, look, third_and_two, through_ffmpeg, turf};

fn play() -> StripText {
    let mut text = third_and_two();
    let values =
        [("down_distance", "Third and 2"), ("set", "trips right"), ("defense", "one-high, cover 3"), ("hash", "left")];
    for (name, value) in values.into_iter().chain([("date", "2026-09-11")]) {
        text.put(name, Some(value));
    }
    text
}

/// Chip and cards at a size, by name.
fn drawn(width: usize, height: usize) -> [(&'static str, Picture); 3] {
    let templates = Templates::shipped().unwrap();
    let chip = Strip::draw(&templates.chip, &play(), width, height).unwrap();
    assert!(chip.problems.is_empty() && chip.dropped.is_empty(), "{chip:?}");
    let mut film = turf(width, height);
    chip.overlay.unwrap().blend(&mut film);
    let card = |template, text: CardText| {
        let (picture, problems) = Card::draw(template, &text, width, height).unwrap();
        assert_eq!(problems, []);
        picture
    };
    let group = CardText::group("third and short", (2, 5), 12, Some("3")).titled("third down by distance");
    [
        ("chip", film),
        ("card", card(&templates.card, CardText::play(&play(), None))),
        ("group", card(&templates.group, group)),
    ]
}

#[test]
fn chip_and_cards_are_drawn_at_every_common_size() {
    for (w, h, name) in [(1920, 1080, "1080"), (1280, 720, "720"), (640, 360, "360"), (406, 720, "upright")] {
        for (kind, picture) in drawn(w, h) {
            let file = look(&format!("{kind}-{name}.png"));
            keep(&picture, 0..h, 1, &file);
            assert!(std::fs::metadata(&file).unwrap().len() > 3_000);
        }
    }
}

/// What tesseract (Debian `tesseract-ocr`) reads of a film's first picture, spaces gone: it sees those of the narrow
/// typeface or does not. `cut`: FFmpeg's filters before; `layout`: tesseract's page segmentation mode.
pub(super) fn read(film: &Path, cut: &str, layout: &str) -> String {
    let file = film.with_extension("png");
    let run = Command::new("ffmpeg")
        .args(["-y", "-v", "error", "-i"])
        .arg(film)
        .args(["-vf", cut, "-frames:v", "1"])
        .arg(&file)
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let read = Command::new("tesseract")
        .args([file.as_os_str(), "-".as_ref(), "--psm".as_ref(), layout.as_ref()])
        // Its threads wait for one another where the tests use every core.
        .env("OMP_THREAD_LIMIT", "1")
        .output()
        .expect("tesseract is needed by this test: apt-get install tesseract-ocr");
    assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
    String::from_utf8_lossy(&read.stdout).split_whitespace().collect()
}

/// The smallest common picture after x264 at constant rate factor 30.
#[test]
fn an_outside_reader_reads_chip_and_cards_at_640_by_360_after_hard_compression() {
    let wide = "scale=1280:720:flags=bicubic,negate";
    // Of the chip the line of words right of the plate; of cards the whole.
    let chip = "crop=112:26:64:22,scale=336:78:flags=bilinear,pad=400:118:20:20:0x0F1512,negate";
    let asked: [(&str, &str, &[&str]); 3] = [
        ("7", chip, &["and 2", "opp 34"]),
        ("11", wide, &["Play 47", "4:31", "Third and 2", "trips right vs one-high", "opp 34", "Herons at Badgers"]),
        ("11", wide, &["Group 2 of 5", "Third and short", "12 plays", "down by distance"]),
    ];
    for ((kind, picture), (layout, cut, words)) in drawn(640, 360).into_iter().zip(asked) {
        let film = look(&format!("{kind}-360-crf30.mp4"));
        through_ffmpeg(
            &picture,
            &["-c:v", "libx264", "-preset", "veryfast", "-crf", "30", "-pix_fmt", "yuv420p"],
            &film,
        );
        let got = read(&film, cut, layout);
        for want in words {
            assert!(got.contains(&want.replace(' ', "")), "{kind}: {want} is not read in: {got}");
        }
    }
}

/// The page that a staff reads names every placeholder there is.
#[test]
fn the_page_on_templates_names_every_placeholder_and_every_file() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/overlays");
    let page = std::fs::read_to_string(folder.join("README.md")).unwrap();
    for name in Field::ALL.iter().map(|field| field.key()).chain(NAMES.iter().map(|(name, _)| *name)) {
        assert!(page.contains(&format!("`{{{name}}}`")), "{name} is not told");
    }
    for file in std::fs::read_dir(folder).unwrap().flatten() {
        let name = file.file_name().to_string_lossy().into_owned();
        assert!(!name.ends_with(".svg") || page.contains(&format!("`{name}`")), "{name} is not told");
    }
}
