//! Marks drawn onto film: what they are, and what they look like at one moment.
//!
//! Sizes are units of 1/1080 of the picture's height (see [`Brush`]). Every stroke lies on ink, so that no color has to stand
//! against turf or chalk by itself.

mod brush;
mod path;
mod shape;
mod words;

use super::color::{Rgb, paint};

pub use brush::{Brush, Pool, Sheet};
pub use words::{Plate, Spot};

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum MarkKind {
    /// An ellipse on the grass around a man's feet, open behind his legs.
    Ring,
    /// All but the men darkened.
    Spotlight,
    /// A straight arrow.
    Arrow,
    /// A path with bends that draws itself.
    Route,
    /// A filled area with a dashed edge.
    Zone,
    /// A line: leverage, a landmark, the line of scrimmage.
    Line,
    /// Words with a leader.
    Label,
    /// A darkened area.
    Shade,
}

impl MarkKind {
    /// Every kind, with its word.
    pub const WORDS: [(&'static str, Self); 8] = [
        ("ring", Self::Ring),
        ("spotlight", Self::Spotlight),
        ("arrow", Self::Arrow),
        ("route", Self::Route),
        ("zone", Self::Zone),
        ("line", Self::Line),
        ("label", Self::Label),
        ("shade", Self::Shade),
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }

    /// How long it takes to appear, seconds, for a path of so many units: paths grow, areas fade in.
    pub fn appears(self, units: f32) -> f64 {
        match self {
            Self::Ring => 0.25,
            Self::Spotlight | Self::Shade => 0.3,
            Self::Arrow | Self::Route => f64::from(units / UNITS_A_SECOND).clamp(0.35, 0.9),
            Self::Line => 0.35,
            Self::Zone | Self::Label => 0.2,
        }
    }

    /// Whether it grows along its path; the others fade in.
    pub fn grows(self) -> bool {
        matches!(self, Self::Ring | Self::Arrow | Self::Route | Self::Line)
    }
}

/// How fast a path is drawn, units a second.
const UNITS_A_SECOND: f32 = 900.0;

/// Whose a mark is. The four are told apart with every kind of color vision (Machado 2009): least CIEDE2000 17.6.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum MarkColor {
    /// Our men: flag yellow.
    #[default]
    Ours,
    /// Theirs: sky blue.
    Theirs,
    /// Neither's: chalk.
    Neutral,
    /// The one exception of a picture: rose.
    Exception,
}

impl MarkColor {
    /// Every color, in the order in which they are to be taken, with its words: what it means, then what it looks like.
    pub const WORDS: [(&'static str, Self); 8] = [
        ("ours", Self::Ours),
        ("theirs", Self::Theirs),
        ("neutral", Self::Neutral),
        ("exception", Self::Exception),
        ("flag", Self::Ours),
        ("sky", Self::Theirs),
        ("chalk", Self::Neutral),
        ("rose", Self::Exception),
    ];

    /// Its color on film.
    pub fn rgb(self) -> Rgb {
        match self {
            Self::Ours => paint::FLAG,
            Self::Theirs => paint::SKY,
            Self::Neutral => paint::CHALK,
            Self::Exception => paint::ROSE,
        }
    }
}

/// How a path ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Head {
    /// With a head: he goes there.
    Arrow,
    /// With a bar across: he blocks there.
    Bar,
    /// With nothing.
    Plain,
}

impl Head {
    /// All, with their words.
    pub const WORDS: [(&'static str, Self); 3] = [("arrow", Self::Arrow), ("bar", Self::Bar), ("plain", Self::Plain)];
}

/// A mark, without its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// What is drawn.
    pub kind: MarkKind,
    /// Whose it is.
    pub color: MarkColor,
    /// Factor on the width of its strokes.
    pub thickness: f32,
    /// Dashed: before the snap, or expected. Solid: done.
    pub dashed: bool,
    /// How its path ends.
    pub head: Head,
}

/// Where a mark stands at one moment, in pixels of the picture drawn on.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// Its points: a ring's and a spotlight's is where the man's feet are, a label's what it speaks of.
    pub points: Vec<(f32, f32)>,
    /// Width and height of what has a size: the ellipse of a ring, zone or shade of one point; a man of a spotlight.
    pub size: (f32, f32),
    /// How much of its path is drawn, 0 to 1.
    pub grown: f32,
    /// How much of it is seen, 0 to 1.
    pub seen: f32,
}

#[cfg(test)]
mod tests {
    use palette::color_difference::Ciede2000;
    use palette::{IntoColor, Lab, LinSrgb, Srgb};

    use super::*;

    const COLORS: [MarkColor; 4] = [MarkColor::Ours, MarkColor::Theirs, MarkColor::Neutral, MarkColor::Exception];

    /// Machado, Oliveira and Fernandes 2009, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
    /// severity 1: protan, deutan, tritan; on linear RGB (the numbers from memory).
    const VISION: [[[f64; 3]; 3]; 4] = [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[0.152_286, 1.052_583, -0.204_868], [0.114_503, 0.786_281, 0.099_216], [-0.003_882, -0.048_116, 1.051_998]],
        [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
        [[1.255_528, -0.076_749, -0.178_779], [-0.078_411, 0.930_809, 0.147_602], [0.004_733, 0.691_367, 0.303_900]],
    ];

    fn linear(color: Rgb) -> [f64; 3] {
        let [r, g, b] = color.0;
        let linear: LinSrgb<f64> = Srgb::new(r, g, b).into_format::<f64>().into_linear();
        [linear.red, linear.green, linear.blue]
    }

    fn seen(color: Rgb, vision: &[[f64; 3]; 3]) -> Lab {
        let linear = linear(color);
        let [r, g, b] = vision.map(|row| row.iter().zip(linear).map(|(a, v)| a * v).sum::<f64>().clamp(0.0, 1.0));
        let lab: Lab<palette::white_point::D65, f64> = LinSrgb::new(r, g, b).into_color();
        Lab::new(lab.l as f32, lab.a as f32, lab.b as f32)
    }

    #[test]
    fn marks_are_told_from_each_other_and_from_turf_with_every_kind_of_color_vision() {
        // Turf of made film: 2nd, 50th and 98th percentile.
        let turf = [[0x30, 0x5E, 0x2F], [0x40, 0x75, 0x3A], [0x5F, 0x8F, 0x56]].map(Rgb);
        for vision in &VISION {
            for (k, color) in COLORS.iter().enumerate() {
                let one = seen(color.rgb(), vision);
                for other in &COLORS[k + 1..] {
                    let apart = one.difference(seen(other.rgb(), vision));
                    assert!(apart > 17.0, "{color:?} and {other:?}: {apart:.1}");
                }
                for turf in turf {
                    assert!(one.difference(seen(turf, vision)) > 18.0, "{color:?} on {turf:?}");
                }
            }
        }
    }

    #[test]
    fn every_mark_stands_against_its_ink_where_that_is_weakest_and_no_color_of_the_chain_crew_is_among_them() {
        // WCAG 2.2, relative luminance and contrast; 3 : 1 for graphics (1.4.11), 4.5 : 1 for words (1.4.3).
        let light = |[r, g, b]: [f64; 3]| 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let contrast = |a: [f64; 3], b: [f64; 3]| {
            let (a, b) = (light(a), light(b));
            (a.max(b) + 0.05) / (a.min(b) + 0.05)
        };
        // Ink of 85 % over a chalk line.
        let mix = |k: usize| 0.85 * f64::from(paint::INK.0[k]) + 0.15 * f64::from(paint::CHALK.0[k]);
        let weakest = linear(Rgb([mix(0) as u8, mix(1) as u8, mix(2) as u8]));
        for color in COLORS {
            let stands = contrast(linear(color.rgb()), weakest);
            assert!(stands > 4.5, "{color:?}: {stands:.1}");
            assert_ne!(color.rgb(), paint::POLE);
        }
        assert!(contrast(linear(paint::CHALK), linear(paint::INK)) > 16.0, "words on ink");
    }
}
