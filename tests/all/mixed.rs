//! One reel of mixed sources, each judged by what is to be seen where and when: where the picture lies and which way up,
//! colors, fields, frames. The films are drawn here and encoded by the ffmpeg program, which also decodes the reel.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use downbox::base::{FrameNo, FrameSpan, Silent};
use downbox::cut::plan;
use downbox::film::{Codec, Film, FilmReader, FilmWriter, Piece, Transfer};
use downbox::media::Media;
use downbox::paint::{Design, Templates, paint};
use downbox::reel::{Layout, Profile, ReelPlan, Segment, SourceShape, Store, Studio, View, render};

use crate::films::run;
use crate::marks;

/// Y, Cb, Cr.
type Color = [u8; 3];

/// Corner blocks: upper left red, upper right green, lower left yellow, lower right white. ITU-R BT.709, 8 bits, limited.
const BT709: [Color; 4] = [[63, 102, 240], [173, 42, 26], [219, 16, 138], [235, 128, 128]];
/// The same in ITU-R BT.601.
const BT601: [Color; 4] = [[81, 90, 240], [145, 54, 34], [210, 16, 146], [235, 128, 128]];
/// Colors below the knee at which high dynamic range is rolled off, in BT.709: R'G'B' of (150, 30, 30), (30, 140, 50),
/// (160, 150, 40), and a gray of 170.
const DARKER: [Color; 4] = [[64, 116, 181], [111, 100, 83], [140, 79, 137], [162, 128, 128]];

const GROUND: u8 = 60;
const MARK: u8 = 190;

/// One picture of a film: the bar code says `no`; the mark has made `steps` steps to the right.
fn drawn((w, h): (usize, usize), no: u32, steps: usize, colors: &[Color; 4]) -> Vec<u8> {
    let mut luma = vec![GROUND; w * h];
    marks::draw(no, &mut luma, w, h);
    let left = w / 10 + (steps * w) / 160;
    for row in luma.chunks_exact_mut(w).skip(h * 45 / 100).take(h * 15 / 100) {
        row[left..left + w / 16].fill(MARK);
    }
    let mut planes = [luma, vec![128; w * h / 4], vec![128; w * h / 4]];
    for (k, color) in colors.iter().enumerate() {
        for (plane, value) in color.iter().enumerate() {
            let (w, h) = if plane == 0 { (w, h) } else { (w / 2, h / 2) };
            let from = if k % 2 == 0 { 0 } else { w * 8 / 10 };
            let top = if k < 2 { h * 20 / 100 } else { h * 80 / 100 };
            for row in planes[plane].chunks_exact_mut(w).skip(top).take(h * 15 / 100) {
                row[from..from + w * 2 / 10].fill(*value);
            }
        }
    }
    planes.concat()
}

/// What a film is.
struct Source {
    name: &'static str,
    /// Size of what is drawn.
    size: (usize, usize),
    /// Drawn pictures a second.
    rate: &'static str,
    /// How many are drawn.
    drawn: u32,
    /// Drawn pictures in a frame of film: 2 where it is woven of fields.
    fields: u32,
    colors: &'static [Color; 4],
    /// What the ffmpeg program is told.
    args: &'static [&'static str],
    /// Where its picture lies on 1920x1080: left and width; it is as high as that.
    place: (usize, usize),
    /// The same on 1280x720.
    small: (usize, usize),
    /// Colors as they are expected in the reel, and how near.
    seen: (&'static [Color; 4], u8),
}

const X264: [&str; 6] = ["-c:v", "libx264", "-preset", "ultrafast", "-crf", "16"];

fn sources() -> [Source; 6] {
    let hd = Source {
        name: "hd.mp4",
        size: (1920, 1080),
        rate: "60",
        drawn: 24,
        fields: 1,
        colors: &BT709,
        args: &["-colorspace", "bt709", "-g", "8"],
        place: (0, 1920),
        small: (0, 1280),
        seen: (&BT709, 3),
    };
    [
        Source { name: "half.mp4", size: (1280, 720), rate: "30", ..hd },
        // Held upright, at a rate that varies; its samples are wider than high, which turning must turn too.
        Source {
            name: "phone.mp4",
            size: (720, 960),
            rate: "30",
            args: &[
                "-colorspace",
                "bt709",
                "-vf",
                "transpose=1,setsar=4/3,settb=1/1000,setpts='N*33+5*mod(N*N,5)'",
                "-fps_mode",
                "vfr",
                "-enc_time_base",
                "1/1000",
                "-video_track_timescale",
                "1000",
                "-g",
                "8",
            ],
            place: (656, 608),
            small: (436, 406),
            ..hd
        },
        Source {
            name: "woven.mts",
            rate: "60000/1001",
            drawn: 48,
            fields: 2,
            args: &[
                "-colorspace",
                "bt709",
                "-vf",
                "tinterlace=mode=interleave_top",
                "-flags",
                "+ildct+ilme",
                "-x264-params",
                "tff=1",
            ],
            seen: (&BT709, 4),
            ..hd
        },
        Source {
            name: "dv.mov",
            size: (720, 480),
            rate: "60000/1001",
            drawn: 48,
            fields: 2,
            colors: &BT601,
            args: &["-vf", "tinterlace=mode=interleave_bottom,setsar=8/9", "-c:v", "dvvideo", "-pix_fmt", "yuv411p"],
            place: (240, 1440),
            small: (160, 960),
            seen: (&BT709, 6),
        },
        Source {
            name: "hdr.mp4",
            rate: "30",
            colors: &DARKER,
            args: &[
                "-vf",
                "zscale=tin=709:min=709:pin=709:rin=limited:t=smpte2084:m=2020_ncl:p=2020:r=limited:npl=203",
                "-c:v",
                "libx265",
                "-preset",
                "ultrafast",
                "-crf",
                "12",
                "-pix_fmt",
                "yuv420p10le",
                "-tag:v",
                "hvc1",
                "-x265-params",
                "keyint=4:min-keyint=4:open-gop=0:bframes=0:log-level=error:colorprim=bt2020:transfer=smpte2084:\
                 colormatrix=bt2020nc",
            ],
            // PQ in eight bits, as frames are lent, has steps of this size in dark saturated colors.
            seen: (&DARKER, 9),
            ..hd
        },
        hd,
    ]
}

impl Source {
    /// Draws and encodes it.
    fn film(&self, folder: &Path) -> PathBuf {
        let out = folder.join(self.name);
        let upright = out.with_extension("coded.mp4");
        let turned = self.name == "phone.mp4";
        let size = format!("{}x{}", self.size.0, self.size.1);
        let mut args = vec!["-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-color_range", "tv", "-s"];
        args.extend([size.as_str(), "-framerate", self.rate, "-i", "-"]);
        args.extend(X264);
        args.extend(self.args);
        args.push(if turned { &upright } else { &out }.to_str().unwrap());
        let mut child = Command::new("ffmpeg").args(&args).stdin(Stdio::piped()).spawn().unwrap();
        let mut pipe = child.stdin.take().unwrap();
        for k in 0..self.drawn {
            pipe.write_all(&drawn(self.size, k / self.fields, k as usize, self.colors)).unwrap();
        }
        drop(pipe);
        assert!(child.wait().unwrap().success(), "{args:?}");
        if turned {
            let [from, to] = [&upright, &out].map(|path| path.to_str().unwrap());
            run("ffmpeg", &["-v", "error", "-i", from, "-c", "copy", "-metadata:s:v:0", "rotate=90", to]);
        }
        out
    }

    /// When frame `k` begins, seconds.
    fn time(&self, k: u32) -> f64 {
        match self.rate {
            _ if self.name == "phone.mp4" => f64::from(33 * k + 5 * (k * k % 5)) / 1000.0,
            "60000/1001" => f64::from(k) * 1001.0 / 30_000.0,
            rate => f64::from(k) / rate.parse::<f64>().unwrap(),
        }
    }
}

/// Frames of each film that are cut to a clip, and frames of the clip that are shown.
const CLIP: (u32, u32) = (4, 22);
const SHOWN: (u32, u32) = (2, 12);

/// The library's clip of a film.
fn clip(media: &Media, film: &Film, out: &Path) -> Vec<Piece> {
    let span = FrameSpan::of(u64::from(CLIP.0), u64::from(CLIP.1));
    let plan =
        plan(film, span, span.start, &[media.entry_points(film, 0).unwrap()], &[media.sound_plan(film, 0).unwrap()]);
    media.carry_out(film, std::slice::from_ref(&plan), &[out.to_path_buf()], &mut |_| Ok(())).unwrap();
    plan.pieces
}

/// What is to be seen in picture `k` of a segment at `hz` pictures a second: bar code and steps of the mark. Both fields
/// of woven film are seen where the reel is fast enough, else the first.
fn expected(source: &Source, k: u64, hz: f64) -> (u32, u32) {
    let (from, to) = (CLIP.0 + SHOWN.0, CLIP.0 + SHOWN.1);
    let at = source.time(from) + (k as f64 + 0.5) / hz;
    let no = (from..to).rev().find(|n| source.time(*n) <= at).unwrap_or(from);
    let half = (source.time(no) + source.time(no + 1)) / 2.0;
    let second = source.fields == 2 && hz > 40.0 && at >= half;
    (no, no * source.fields + u32::from(second))
}

/// A frame of the reel.
struct Seen {
    planes: Vec<u8>,
    width: usize,
    height: usize,
}

impl Seen {
    /// The color at a place, as the mean of so many samples around it on each side, half as many of chroma.
    fn at(&self, x: usize, y: usize, around: usize) -> Color {
        let mean = |first: usize, stride: usize, x: usize, y: usize, r: usize| {
            let sum: usize = (y - r..=y + r)
                .flat_map(|y| (x - r..=x + r).map(move |x| first + y * stride + x))
                .map(|at| usize::from(self.planes[at]))
                .sum();
            let count = (2 * r + 1) * (2 * r + 1);
            ((sum + count / 2) / count) as u8
        };
        let (w, h) = (self.width, self.height);
        let chroma = |first| mean(first, w / 2, x / 2, y / 2, around / 2);
        [mean(0, w, x, y, around), chroma(w * h), chroma(w * h * 5 / 4)]
    }

    /// Where the mark's middle lies in rows `from`, `from + 2` and so on, of a picture from `left` on, `width` wide.
    fn mark(&self, from: usize, (left, width): (usize, usize)) -> f64 {
        let (mut sum, mut weight) = (0.0, 0.0);
        for y in (from..self.height * 58 / 100).step_by(2) {
            for x in left + 4..left + width - 4 {
                let over = f64::from(self.planes[y * self.width + x].saturating_sub(GROUND + 25));
                sum += over * (x as f64 + 0.5 - left as f64);
                weight += over;
            }
        }
        sum / weight.max(1.0)
    }
}

/// Judges one picture of a segment.
fn judge(source: &Source, seen: &Seen, k: u64, hz: f64) {
    let (left, width) = if seen.width == 1920 { source.place } else { source.small };
    let (no, steps) = expected(source, k, hz);
    let label = format!("{} picture {k} at {hz}", source.name);
    let inside: Vec<u8> = seen.planes[..seen.width * seen.height]
        .chunks(seen.width)
        .flat_map(|r| &r[left..left + width])
        .copied()
        .collect();
    assert_eq!(marks::read(&inside, width, seen.height, width), Some(no), "{label}");
    let near = |x: usize, y: usize, want: Color, by: u8| {
        // Film of ten bits is dithered to eight.
        let got = seen.at(x, y, if source.name == "hdr.mp4" { 8 } else { 2 });
        assert!(got.iter().zip(want).all(|(a, b)| a.abs_diff(b) <= by), "{label}: {got:?}, not {want:?} at {x}, {y}");
    };
    for (corner, color) in source.seen.0.iter().enumerate() {
        let x = if corner % 2 == 0 { left + width / 10 } else { left + width * 9 / 10 };
        let y = if corner < 2 { seen.height * 275 / 1000 } else { seen.height * 875 / 1000 };
        near(x, y, *color, source.seen.1);
    }
    // The picture's sides: what lies outside is ink, and the corner blocks reach to the edge.
    if left > 0 {
        for y in [seen.height * 275 / 1000, seen.height / 2, seen.height * 875 / 1000] {
            near(left - 8, y, paint::INK.ycbcr(), 4);
            near(left + width + 8, y, paint::INK.ycbcr(), 4);
        }
        near(left + 8, seen.height * 275 / 1000, source.seen.0[0], source.seen.1 + 3);
        near(left + width - 9, seen.height * 275 / 1000, source.seen.0[1], source.seen.1 + 3);
    }
    // The mark is where it was at that field's own time, in odd rows as in even ones.
    let want = width as f64 * (0.1 + 1.0 / 32.0 + f64::from(steps) / 160.0);
    let rows = seen.height * 47 / 100;
    for parity in 0..2 {
        let got = seen.mark(rows + parity, (left, width));
        let off = (got - want) * 160.0 / width as f64;
        assert!(off.abs() < 0.35, "{label}: the mark is {off:.2} steps off in rows of parity {parity}");
    }
}

/// Renders a reel and hands each of its pictures on, by segment.
fn judged(profile: Profile, clips: &[Arc<Film>], folder: &Path, each: &mut dyn FnMut(usize, u64, f64, &Seen)) {
    let media = Media::new().unwrap();
    let segment = |k: usize| Segment {
        game: "Badgers".into(),
        label: k.to_string(),
        angle: "sideline".into(),
        views: vec![View {
            source: k.to_string(),
            content: k.to_string(),
            span: FrameSpan::of(u64::from(SHOWN.0), u64::from(SHOWN.1)),
            anchor: None,
        }],
        layout: Layout::Single,
        strip: None,
        strip_for: None,
        card: None,
        teaching: None,
        title: k.to_string(),
    };
    let plan = ReelPlan {
        title: "mixed".into(),
        canvas: profile.canvas(clips.iter().flat_map(|film| SourceShape::of(film))),
        segments: (0..clips.len()).map(segment).collect(),
        mute: true,
        voice: Vec::new(),
    };
    let templates = Templates::shipped().unwrap();
    let store = Store::open(&folder.join(profile.as_str()), u64::MAX).unwrap();
    let studio = Studio {
        reader: &media,
        writer: &media,
        desk: &media,
        templates: &templates,
        design: Design::Strip,
        codec: Codec::H264,
        copies: None,
        preset: "ultrafast".into(),
        crf: 16,
        jobs: 2,
        store: &store,
        progress: &Silent,
    };
    let out = folder.join(format!("{}.mp4", profile.as_str()));
    let mut open = |source: &str| Ok(clips[source.parse::<usize>().unwrap()].clone());
    let done = render(&plan, &studio, &mut open, &out).unwrap();
    assert_eq!((done.problems.len(), done.left_out.len()), (0, 0), "{:?} {:?}", done.problems, done.left_out);

    let stills = look().join(format!("{}-%02d.png", profile.as_str()));
    let middles = "select=not(mod(n-5\\,10))";
    let args = ["-v", "error", "-y", "-i", out.to_str().unwrap(), "-vf", middles, "-fps_mode", "passthrough"];
    run("ffmpeg", &[&args[..], &[stills.to_str().unwrap()]].concat());

    let (width, height) = (plan.canvas.width as usize, plan.canvas.height as usize);
    let hz = plan.canvas.rate.hz();
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-i", out.to_str().unwrap(), "-fps_mode", "passthrough"])
        .args(["-f", "rawvideo", "-pix_fmt", "yuv420p", "-"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut pipe = child.stdout.take().unwrap();
    let mut seen = Seen { planes: vec![0; width * height * 3 / 2], width, height };
    let mut pictures = 0;
    for (k, at) in done.segments.iter().enumerate() {
        let count = ((at.end - at.start) * hz).round() as u64;
        for picture in 0..count {
            pipe.read_exact(&mut seen.planes).unwrap();
            each(k, picture, hz, &seen);
        }
        pictures += count;
    }
    assert_eq!(pictures, done.frames);
    assert_eq!(pipe.read(&mut [0]).unwrap(), 0, "more pictures than were told");
    child.wait().unwrap();
}

/// The folder in which pictures of each segment are kept to be looked at.
fn look() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_BIN_EXE_downbox")).parent().unwrap().with_file_name("look").join("mixed");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn mixed_sources_become_one_canvas_upright_in_order_and_in_color() {
    let folder = tempfile::tempdir().unwrap();
    let media = Media::new().unwrap();
    let sources = sources();
    let mut clips = Vec::new();
    for source in &sources {
        let film = media.read(&[source.film(folder.path())], &Silent).unwrap();
        assert_eq!(film.frames(), u64::from(source.drawn / source.fields), "{}", source.name);
        assert_eq!(film.parts[0].interlaced, source.fields == 2, "{}", source.name);
        assert_eq!(film.parts[0].variable, source.name == "phone.mp4", "{}", source.name);
        let out = folder.path().join(format!("clip-{}.mp4", source.name));
        let pieces = clip(&media, &film, &out);
        let clip = media.read(&[out], &Silent).unwrap();
        let shape = |film: &Film| (film.parts[0].width, film.parts[0].height, film.parts[0].interlaced);
        assert_eq!(shape(&clip), shape(&film), "{}: the clip is as the film", source.name);
        // Packets that are copied are still to be turned, and still of ten bits.
        let copied = pieces.iter().any(|piece| matches!(piece, Piece::Copy(_)));
        assert_eq!(copied, source.fields == 1, "{}: {pieces:?}", source.name);
        if source.name == "hdr.mp4" {
            let mut frames = media.frames(&clip, downbox::film::Decode::Exact, 1).unwrap();
            assert_eq!(frames.next_frame().unwrap().unwrap().color.transfer, Transfer::Pq);
        }
        clips.push(Arc::new(clip));
    }
    for (profile, canvas) in [(Profile::Tape, (1920, 1080, 60.0)), (Profile::Phone, (1280, 720, 30.0))] {
        let mut counts = [0; 6];
        judged(profile, &clips, folder.path(), &mut |segment, k, hz, seen| {
            assert_eq!((seen.width, seen.height, hz), canvas);
            counts[segment] += 1;
            judge(&sources[segment], seen, k, hz);
        });
        // As long as what is shown lasts: 10 frames at 30, of 33 to 34 ms, at 29.97, at 60 a second.
        let want = if canvas.2 > 40.0 { [20, 20, 20, 20, 20, 10] } else { [10, 10, 10, 10, 10, 5] };
        assert_eq!(counts, want);
    }
}

/// Every picture of woven film, decoded from the start and sought one by one, is the same to the last sample.
#[test]
fn fields_that_are_sought_are_those_that_are_decoded_on_to() {
    let folder = tempfile::tempdir().unwrap();
    let media = Media::new().unwrap();
    for (kind, args) in [
        ("woven.mts", &["-vf", "scale=320:180,tinterlace=mode=interleave_top", "-x264-params", "tff=1"][..]),
        ("under.mp4", &["-vf", "scale=320:180,tinterlace=mode=interleave_bottom", "-x264-params", "bff=1"]),
    ] {
        let mut all = args.to_vec();
        all.extend(["-flags", "+ildct+ilme", "-bf", "2", "-g", "10"]);
        let source = Source {
            name: kind,
            size: (640, 360),
            rate: "60000/1001",
            drawn: 60,
            fields: 2,
            colors: &BT709,
            args: Box::leak(all.into_boxed_slice()),
            place: (0, 0),
            small: (0, 0),
            seen: (&BT709, 0),
        };
        let film = media.read(&[source.film(folder.path())], &Silent).unwrap();
        assert_eq!((film.frames(), film.parts[0].interlaced), (30, true), "{kind}");
        let mut frames = media.shown(&film, 2).unwrap();
        let mut through = Vec::new();
        while let Some(view) = frames.next_frame().unwrap() {
            let half = (film.time(FrameNo(view.no.0 + 1)) - film.time(view.no)) / 2.0;
            let time = film.time(view.no) + if view.second { half } else { 0.0 };
            assert!((view.time - time).abs() < 1e-6, "{kind}");
            let mark = marks::read(view.planes[0], view.width, view.height, view.strides[0]);
            assert_eq!(mark, Some(view.no.0 as u32), "{kind}");
            let picture = view.to_picture();
            let seen = Seen { planes: picture.planes.concat(), width: 320, height: 180 };
            let steps = f64::from(2 * view.no.0 as u32 + u32::from(view.second));
            for row in [85, 86] {
                let off = seen.mark(row, (0, 320)) / 2.0 - (16.0 + 5.0 + steps);
                assert!(off.abs() < 0.35, "{kind}: frame {}, {}: {off:.2} steps off", view.no, view.second);
            }
            through.push((view.no.0, view.second, picture));
        }
        let order: Vec<_> = through.iter().map(|(no, second, _)| (*no, *second)).collect();
        assert_eq!(order, (0..30).flat_map(|no| [(no, false), (no, true)]).collect::<Vec<_>>(), "{kind}");
        for no in (0..30).rev().chain([3, 4, 29, 0]) {
            frames.seek(FrameNo(no)).unwrap();
            for (want, second, picture) in &through[2 * no as usize..(2 * no as usize + 3).min(60)] {
                let view = frames.next_frame().unwrap().unwrap();
                assert_eq!((view.no.0, view.second), (*want, *second), "{kind}: seek to {no}");
                assert!(view.to_picture() == *picture, "{kind}: frame {want} sought by {no} is another picture");
            }
        }
    }
}
