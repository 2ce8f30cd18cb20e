//! A sheet to draw on: rectangles, pictures, words.

use tiny_skia::{Color, Paint, Pixmap, Rect, Transform};

use super::color::{Rgb, to_rgb};
use super::fonts::{FAMILY, escape, plain, text_width};
use super::scale::Scaler;
use super::strip::rasterize;
use crate::base::{Error, Result};
use crate::film::PictureView;

/// How words look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Style {
    /// Font size in pixels.
    pub size: f32,
    /// 500, 600 or 700.
    pub weight: u16,
    /// Their color.
    pub color: Rgb,
}

/// Which end of a text lies at the place given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The text begins there.
    Left,
    /// Its middle lies there.
    Middle,
    /// It ends there.
    Right,
}

/// An RGB drawing. Rectangles and pictures lie over one another in the order drawn; words lie above them all.
pub struct Canvas {
    pixels: Pixmap,
    shapes: String,
    words: String,
}

impl Canvas {
    /// A sheet of one color.
    pub fn new(width: u32, height: u32, ground: Rgb) -> Result<Self> {
        let mut pixels = Pixmap::new(width, height).ok_or_else(|| {
            Error::refused("cannot draw a sheet of that size", format!("{width}x{height}"), "put fewer plays on a page")
        })?;
        let [r, g, b] = ground.0;
        pixels.fill(Color::from_rgba8(r, g, b, 255));
        Ok(Self { pixels, shapes: String::new(), words: String::new() })
    }

    /// A filled rectangle with sharp edges, in whole pixels.
    pub fn rect(&mut self, x: i32, y: i32, width: u32, height: u32, color: Rgb) {
        let mut paint = Paint { anti_alias: false, ..Paint::default() };
        let [r, g, b] = color.0;
        paint.set_color(Color::from_rgba8(r, g, b, 255));
        if let Some(rect) = Rect::from_xywh(x as f32, y as f32, width as f32, height as f32) {
            self.pixels.fill_rect(rect, &paint, Transform::identity(), None);
        }
    }

    /// A filled rectangle with round corners, above rectangles and pictures, below words.
    pub fn plate(&mut self, [x, y, width, height]: [f32; 4], radius: f32, color: Rgb) {
        self.shapes.push_str(&format!(
            r#"<rect x="{x}" y="{y}" width="{width}" height="{height}" rx="{radius}" fill="{}"/>"#,
            color.hex()
        ));
    }

    /// A closed shape through these points, above rectangles and pictures, below words.
    pub fn shape(&mut self, points: &[(f32, f32)], color: Rgb) {
        self.shapes.push_str(&format!(r#"<polygon points="{}" fill="{}"/>"#, listed(points), color.hex()));
    }

    /// A shape of which the ground shows through: `opacity` 0 to 1. Above pictures, below words.
    pub fn wash(&mut self, points: &[(f32, f32)], color: Rgb, opacity: f32) {
        let (points, color) = (listed(points), color.hex());
        self.shapes.push_str(&format!(r#"<polygon points="{points}" fill="{color}" fill-opacity="{opacity}"/>"#));
    }

    /// A line through these points with round ends; `dash`: lengths drawn and left out. Above pictures, below words.
    pub fn line(&mut self, points: &[(f32, f32)], width: f32, color: Rgb, dash: Option<(f32, f32)>) {
        let dash = dash.map(|(on, off)| format!(r#" stroke-dasharray="{on} {off}""#)).unwrap_or_default();
        self.shapes.push_str(&format!(
            r#"<polyline points="{}" fill="none" stroke="{}" stroke-width="{width}" stroke-linecap="round" stroke-linejoin="round"{dash}/>"#,
            listed(points),
            color.hex()
        ));
    }

    /// A rectangle of slanting lines, `apart` pixels from one to the next.
    pub fn hatch(&mut self, [x, y, width, height]: [f32; 4], apart: f32, color: Rgb) {
        let mut along = -height;
        while along < width {
            let (from, to) = ((-along).max(0.0), height.min(width - along));
            if to > from {
                self.line(&[(x + along + from, y + from), (x + along + to, y + to)], 1.5, color, None);
            }
            along += apart.max(2.0);
        }
    }

    /// A frame of film, shown as `shape` (width and height in square pixels), fitted into the rectangle and centered.
    pub fn picture(&mut self, view: &PictureView<'_>, shape: (u32, u32), [x, y, width, height]: [u32; 4]) {
        let (sw, sh) = (f64::from(shape.0.max(1)), f64::from(shape.1.max(1)));
        let fit = (f64::from(width) / sw).min(f64::from(height) / sh);
        let (w, h) = (((sw * fit).round() as u32).clamp(1, width), ((sh * fit).round() as u32).clamp(1, height));
        let rgb = to_rgb(view);
        if view.width == 0 || view.height == 0 || w == 0 || h == 0 {
            return;
        }
        let mut scaler = Scaler::luma((view.width, view.height), Scaler::WHOLE, (w as usize, h as usize));
        let planes: [Vec<u8>; 3] = std::array::from_fn(|i| {
            let plane: Vec<u8> = rgb.iter().skip(i).step_by(3).copied().collect();
            let mut out = vec![0; (w * h) as usize];
            scaler.run(&plane, view.width, &mut out, w as usize);
            out
        });
        let (x, y) = (x + (width - w) / 2, y + (height - h) / 2);
        let (across, rows) = (self.pixels.width(), self.pixels.height());
        let data = self.pixels.data_mut();
        for r in 0..h.min(rows.saturating_sub(y)) {
            for c in 0..w.min(across.saturating_sub(x)) {
                let (from, to) = ((r * w + c) as usize, (((y + r) * across + x + c) * 4) as usize);
                data[to..to + 4].copy_from_slice(&[planes[0][from], planes[1][from], planes[2][from], 255]);
            }
        }
    }

    /// Words with their baseline at `y`. If they are wider than `room`, they end in an ellipsis.
    pub fn text(&mut self, text: &str, (x, y): (f32, f32), align: Align, room: f32, style: Style) {
        let text = fit(&plain(text), room, style);
        let anchor = match align {
            Align::Left => "start",
            Align::Middle => "middle",
            Align::Right => "end",
        };
        self.words.push_str(&format!(
            r#"<text x="{x}" y="{y}" font-size="{}" font-weight="{}" text-anchor="{anchor}" fill="{}">{}</text>"#,
            style.size,
            style.weight,
            style.color.hex(),
            escape(&text)
        ));
    }

    /// The drawing as PNG.
    pub fn png(mut self) -> Result<Vec<u8>> {
        self.finish()?;
        self.pixels
            .encode_png()
            .map_err(|cause| Error::failed("cannot make a PNG", cause, "report this with the command that was run"))
    }

    /// The drawing as JPEG, `quality` 1 to 100.
    pub fn jpeg(mut self, quality: u8) -> Result<Vec<u8>> {
        self.finish()?;
        let (width, height) = (self.pixels.width(), self.pixels.height());
        let rgb: Vec<u8> =
            self.pixels.data().chunks_exact(4).flat_map(|pixel| [pixel[0], pixel[1], pixel[2]]).collect();
        let mut out = Vec::new();
        let size = (u16::try_from(width).ok(), u16::try_from(height).ok());
        let (Some(width), Some(height)) = size else {
            let next = "put fewer plays on a page";
            return Err(Error::refused("cannot make a JPEG of that size", format!("{width}x{height}"), next));
        };
        jpeg_encoder::Encoder::new(&mut out, quality)
            .encode(&rgb, width, height, jpeg_encoder::ColorType::Rgb)
            .map_err(|cause| Error::failed("cannot make a JPEG", cause, "report this with the command that was run"))?;
        Ok(out)
    }

    /// Lays shapes and words over the pixels.
    fn finish(&mut self) -> Result<()> {
        let (width, height) = (self.pixels.width(), self.pixels.height());
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-family="{FAMILY}">{}{}</svg>"#,
            self.shapes, self.words
        );
        let above = rasterize(&svg, width, height, Transform::identity())?;
        self.pixels.draw_pixmap(0, 0, above.as_ref(), &Default::default(), Transform::identity(), None);
        Ok(())
    }
}

fn listed(points: &[(f32, f32)]) -> String {
    points.iter().map(|(x, y)| format!("{x:.2},{y:.2}")).collect::<Vec<_>>().join(" ")
}

/// The text, or as much of its beginning as fits with an ellipsis.
fn fit(text: &str, room: f32, style: Style) -> String {
    let width = |text: &str| text_width(text, style.size, style.weight);
    if width(text) <= room {
        return text.into();
    }
    let letters: Vec<char> = text.chars().collect();
    // Halving over the number of letters kept: wider texts have more letters.
    let (mut fits, mut not) = (0, letters.len());
    while not - fits > 1 {
        let middle = (fits + not) / 2;
        let tried: String = letters[..middle].iter().collect();
        if width(&format!("{}…", tried.trim_end())) <= room { fits = middle } else { not = middle }
    }
    let kept: String = letters[..fits].iter().collect();
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::FrameNo;
    use crate::film::Picture;
    use crate::paint::paint;

    #[test]
    fn pictures_are_fitted_and_words_lie_over_them() {
        let mut canvas = Canvas::new(100, 60, paint::INK).unwrap();
        let red = Picture::filled(40, 40, Rgb([255, 0, 0]).ycbcr());
        canvas.picture(&red.view(FrameNo(0), 0.0), (40, 40), [10, 10, 80, 40]);
        canvas.text("<&\"", (50.0, 40.0), Align::Middle, 60.0, Style { size: 20.0, weight: 700, color: paint::CHALK });
        let png = Pixmap::decode_png(&canvas.png().unwrap()).unwrap();
        let at = |x: u32, y: u32| {
            let p = png.pixel(x, y).unwrap();
            [p.red(), p.green(), p.blue()]
        };
        assert_eq!(at(5, 5), paint::INK.0);
        assert_eq!(at(28, 30), paint::INK.0, "a square picture keeps its shape");
        let red = at(32, 12);
        assert!(red[0] > 250 && red[1] < 5 && red[2] < 5, "{red:?}");
        assert!((32..68).any(|x| (20..44).any(|y| at(x, y)[1] > 200)), "the words are seen");
    }

    #[test]
    fn lines_washes_and_hatching_stay_where_they_belong() {
        let mut canvas = Canvas::new(120, 60, Rgb([0, 0, 0])).unwrap();
        let white = Rgb([255, 255, 255]);
        canvas.line(&[(5.0, 5.0), (45.0, 5.0)], 3.0, white, None);
        canvas.line(&[(5.0, 20.0), (45.0, 20.0)], 3.0, white, Some((6.0, 8.0)));
        canvas.wash(&[(60.0, 0.0), (80.0, 0.0), (80.0, 20.0), (60.0, 20.0)], white, 0.5);
        canvas.hatch([90.0, 10.0, 20.0, 40.0], 8.0, white);
        let png = Pixmap::decode_png(&canvas.png().unwrap()).unwrap();
        let at = |x: u32, y: u32| png.pixel(x, y).unwrap().red();
        assert!((6..44).all(|x| at(x, 5) > 200), "a line is whole");
        let lit = (6..44).filter(|&x| at(x, 20) > 128).count();
        assert!((10..30).contains(&lit), "a dashed line has gaps: {lit}");
        assert!((120..136).contains(&at(70, 10)), "{}", at(70, 10));
        let (mut inside, mut outside) = (0, 0);
        for (x, y) in (84..118).flat_map(|x| (0..60).map(move |y| (x, y))) {
            let near = (88..112).contains(&x) && (8..52).contains(&y);
            *if near { &mut inside } else { &mut outside } += usize::from(at(x, y) > 60);
        }
        assert!(inside > 100 && outside == 0, "{inside} inside, {outside} outside");
    }

    #[test]
    fn words_too_long_end_in_an_ellipsis_and_fit() {
        let style = Style { size: 20.0, weight: 500, color: paint::SOFT };
        let text = "trips right closed, orbit motion, split zone";
        let cut = fit(text, 150.0, style);
        assert!(cut.ends_with('…') && text_width(&cut, 20.0, 500) <= 150.0, "{cut}");
        assert!(text_width(&cut, 20.0, 500) > 130.0, "{cut} uses its room");
        assert_eq!(fit("mesh", 150.0, style), "mesh");
    }
}
