//! Film of high dynamic range or wide gamut brought to what reels are: BT.709, standard dynamic range.
//!
//! Light of the screen is what is kept: ITU-R BT.2100 gives it from the numbers (HLG as a screen of 1,000 cd/m² shows it),
//! 203 cd/m² of it are the white of standard film (HDR reference white, ITU-R BT.2408), and above 90 cd/m² it is rolled off
//! by the curve of ITU-R BT.2390 (EETF), so that 1,000 cd/m² are white and nothing below is clipped. A color that BT.709
//! lacks moves toward the gray of its own light, no further than it must.

use std::fmt;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::color::{to_rgb_matrix, ycbcr};
use crate::film::{Color, Matrix, Picture, Transfer};

/// HDR reference white, cd/m²: ITU-R BT.2408 (58 % PQ, 75 % HLG).
const WHITE: f64 = 203.0;

/// Light that becomes white, cd/m²: the nominal peak of HLG (ITU-R BT.2100) and what phones are graded for [practice].
const PEAK: f64 = 1000.0;

/// Light of a PQ signal in 0 to 1, cd/m²: ITU-R BT.2100 table 4, the EOTF.
fn from_pq(signal: f64) -> f64 {
    let root = signal.max(0.0).powf(1.0 / M2);
    10_000.0 * ((root - C1).max(0.0) / (C2 - C3 * root)).powf(1.0 / M1)
}

/// PQ signal of light in cd/m²: the inverse of [`from_pq`].
fn to_pq(light: f64) -> f64 {
    let y = (light.max(0.0) / 10_000.0).powf(M1);
    ((C1 + C2 * y) / (1.0 + C3 * y)).powf(M2)
}

const M1: f64 = 2610.0 / 16384.0;
const M2: f64 = 2523.0 / 4096.0 * 128.0;
const C1: f64 = 3424.0 / 4096.0;
const C2: f64 = 2413.0 / 4096.0 * 32.0;
const C3: f64 = 2392.0 / 4096.0 * 32.0;

/// Light of the scene, 0 to 1, of an HLG signal in 0 to 1: ITU-R BT.2100 table 5, the inverse OETF.
fn from_hlg(signal: f64) -> f64 {
    const A: f64 = 0.178_832_77;
    const B: f64 = 0.284_668_92;
    const C: f64 = 0.559_910_73;
    if signal <= 0.5 { signal * signal / 3.0 } else { (((signal - C) / A).exp() + B) / 12.0 }
}

/// Luma weights of BT.2020 and BT.709.
const WEIGHTS_2020: [f64; 3] = [0.2627, 0.6780, 0.0593];
const WEIGHTS_709: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// Linear light of BT.2020 primaries in those of BT.709, both with a white of D65: ITU-R BT.2087 gives four digits, these
/// follow from the chromaticities.
const TO_709: [[f64; 3]; 3] =
    [[1.660_491, -0.587_641, -0.072_850], [-0.124_550, 1.132_900, -0.008_349], [-0.018_151, -0.100_579, 1.118_730]];

fn weighed(light: [f64; 3], by: [f64; 3]) -> f64 {
    light.iter().zip(by).map(|(x, w)| x * w).sum()
}

/// Light of a screen, white at 1, of signals in 0 to 1.
fn on_screen(signals: [f64; 3], transfer: Transfer) -> [f64; 3] {
    let signals = signals.map(|s| s.clamp(0.0, 1.0));
    match transfer {
        Transfer::Sdr => signals.map(|s| s.powf(GAMMA)),
        Transfer::Pq => signals.map(|s| from_pq(s) / WHITE),
        Transfer::Hlg => {
            let scene = signals.map(from_hlg);
            // The OOTF: a gamma of 1.2 on the light of all three (BT.2100 table 5).
            let gain = PEAK * weighed(scene, WEIGHTS_2020).max(0.0).powf(0.2);
            scene.map(|light| gain * light / WHITE)
        }
    }
}

/// The gamma of a screen of standard dynamic range: ITU-R BT.1886.
const GAMMA: f64 = 2.4;

/// Light rolled off into 0 to 1, white at 1: ITU-R BT.2390, EETF without a black level, from [`PEAK`] to [`WHITE`].
fn rolled_off(light: f64) -> f64 {
    let whole = to_pq(PEAK);
    let most = to_pq(WHITE) / whole;
    let knee = 1.5 * most - 0.5;
    let at = (to_pq(light * WHITE) / whole).min(1.0);
    if at <= knee {
        return light;
    }
    let t = (at - knee) / (1.0 - knee);
    let (t2, t3) = (t * t, t * t * t);
    let to = (2.0 * t3 - 3.0 * t2 + 1.0) * knee + (t3 - 2.0 * t2 + t) * (1.0 - knee) + (-2.0 * t3 + 3.0 * t2) * most;
    from_pq(to * whole) / WHITE
}

/// R'G'B' of BT.709, 0 to 1, of R'G'B' in 0 to 1 as film of that color has it.
fn brought(signals: [f64; 3], color: Color) -> [f64; 3] {
    let mut light = on_screen(signals, color.transfer);
    if color.transfer != Transfer::Sdr {
        // By the strongest of the three: hue and saturation stay, and none passes white.
        let most = light.into_iter().fold(1e-9, f64::max);
        let gain = rolled_off(most) / most;
        light = light.map(|x| x * gain);
    }
    if color.matrix == Matrix::Bt2020 {
        light = TO_709.map(|row| weighed(light, row));
    }
    let gray = weighed(light, WEIGHTS_709).clamp(0.0, 1.0);
    let mut keep = 1.0f64;
    for x in light {
        if x < 0.0 {
            keep = keep.min(gray / (gray - x));
        } else if x > 1.0 {
            keep = keep.min((1.0 - gray) / (x - gray));
        }
    }
    light.map(|x| (gray + keep * (x - gray)).clamp(0.0, 1.0).powf(1.0 / GAMMA))
}

/// Y'CbCr of a reel (8 bits, not rounded) of a film's.
fn exact(color: Color, y: f64, cb: f64, cr: f64) -> [f32; 3] {
    let offset = if color.full_range { 0.0 } else { 16.0 };
    let rgb = to_rgb_matrix(color).map(|row| weighed([y - offset, cb - 128.0, cr - 128.0], row));
    let [r, g, b] = brought(rgb, color).map(|x| x as f32);
    let [y, cb, cr] = ycbcr(r, g, b);
    [16.0 + y, 128.0 + cb, 128.0 + cr]
}

/// Levels of luma and of either chroma.
const LEVELS: usize = 256;

/// Y, Cb, Cr of a reel for every luma of one chroma.
type Column = [[u8; 3]; LEVELS];

/// The mapping as a table of what the formulas give: they take powers that no loop over pixels can afford. Its columns are
/// made when film first shows their chroma, which of 65,536 shows some thousands; no place is guessed from its neighbors,
/// since light is steep where a color leaves BT.709.
pub(super) struct Table {
    color: Color,
    /// By Cr, then Cb.
    columns: Vec<OnceLock<Box<Column>>>,
}

impl PartialEq for Table {
    fn eq(&self, other: &Self) -> bool {
        self.color == other.color
    }
}

impl Eq for Table {}

impl fmt::Debug for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Table").field("color", &self.color).finish_non_exhaustive()
    }
}

impl Table {
    /// The table of a color; all share it.
    pub fn of(color: Color) -> Arc<Self> {
        static MADE: Mutex<Vec<Arc<Table>>> = Mutex::new(Vec::new());
        let mut made = MADE.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(table) = made.iter().find(|table| table.color == color) {
            return table.clone();
        }
        let columns = std::iter::repeat_with(OnceLock::new).take(LEVELS * LEVELS).collect();
        let table = Arc::new(Self { color, columns });
        made.push(table.clone());
        table
    }

    fn column(&self, cb: u8, cr: u8) -> &Column {
        let column = &self.columns[usize::from(cr) * LEVELS + usize::from(cb)];
        column.get_or_init(|| {
            let (cb, cr) = (f64::from(cb), f64::from(cr));
            Box::new(std::array::from_fn(|y| exact(self.color, y as f64, cb, cr).map(|x| x.round() as u8)))
        })
    }

    /// Maps a picture in place. Each chroma sample serves its four luma samples, and goes by their mean.
    pub fn apply(&self, picture: &mut Picture) {
        let (width, half) = (picture.width.max(1), picture.width.div_ceil(2).max(1));
        let [luma, cbs, crs] = &mut picture.planes;
        for ((rows, cbs), crs) in luma.chunks_mut(2 * width).zip(cbs.chunks_mut(half)).zip(crs.chunks_mut(half)) {
            let (upper, lower) = rows.split_at_mut(width.min(rows.len()));
            let mut below = lower.chunks_mut(2);
            for ((above, cb), cr) in upper.chunks_mut(2).zip(cbs).zip(crs) {
                let below = below.next().unwrap_or_default();
                let column = self.column(*cb, *cr);
                let count = (above.len() + below.len()).max(1);
                let sum: usize = above.iter().chain(below.iter()).map(|y| usize::from(*y)).sum();
                [_, *cb, *cr] = column[(sum + count / 2) / count];
                for y in above.iter_mut().chain(below) {
                    *y = column[usize::from(*y)][0];
                }
            }
        }
        picture.color = Color::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn color(transfer: Transfer) -> Color {
        Color { matrix: Matrix::Bt2020, transfer, full_range: false }
    }

    fn near(got: f64, want: f64, by: f64) {
        assert!((got - want).abs() <= by, "{got}, not {want}");
    }

    /// SMPTE ST 2084 / ITU-R BT.2100 table 4, and the levels of ITU-R BT.2408 table 1: reference white 203 cd/m², 58 % PQ,
    /// 75 % HLG; gray card of 18 % 26 cd/m², 38 % of both (from memory).
    #[test]
    fn signals_tell_the_light_that_the_standards_give() {
        for (light, signal) in [(100.0, 0.5081), (1000.0, 0.7518), (10_000.0, 1.0), (0.0, 0.0), (203.0, 0.5807)] {
            near(to_pq(light), signal, 1e-4);
            near(from_pq(signal), light, 0.003 * light + 0.001);
        }
        near(from_pq(0.38), 26.0, 1.0);
        near(from_hlg(0.5), 1.0 / 12.0, 1e-9);
        near(from_hlg(1.0), 1.0, 1e-6);
        near(on_screen([0.75; 3], Transfer::Hlg)[0], 1.0, 0.005);
        near(on_screen([1.0; 3], Transfer::Hlg)[1] * WHITE, 1000.0, 0.01);
        near(on_screen([0.38; 3], Transfer::Hlg)[0] * WHITE, 26.0, 1.0);
    }

    /// Primaries and white of ITU-R BT.709 and BT.2020 as CIE xy.
    #[test]
    fn primaries_turn_into_one_another_as_their_chromaticities_say() {
        let xyz = |x: f64, y: f64| [x / y, 1.0, (1.0 - x - y) / y];
        let wide = [xyz(0.708, 0.292), xyz(0.170, 0.797), xyz(0.131, 0.046)];
        let narrow = [xyz(0.640, 0.330), xyz(0.300, 0.600), xyz(0.150, 0.060)];
        // What each primary gives to white is its luma weight.
        for (k, primary) in wide.iter().enumerate() {
            for axis in 0..3 {
                let there: f64 = (0..3).map(|i| TO_709[i][k] * WEIGHTS_709[i] * narrow[i][axis]).sum();
                near(there, WEIGHTS_2020[k] * primary[axis], 2e-4);
            }
        }
    }

    /// The curve of ITU-R BT.2390 by hand: knee .6588 of the signal of 1,000 cd/m², which is 90 cd/m²; reference white
    /// becomes .7391 of it.
    #[test]
    fn light_is_kept_to_the_knee_and_then_rolled_off_to_white() {
        for light in [0.0, 0.01, 0.2, 0.43] {
            near(rolled_off(light), light, 1e-9);
        }
        near(to_pq(rolled_off(1.0) * WHITE) / to_pq(1000.0), 0.7391, 0.0005);
        near(rolled_off(1000.0 / WHITE), 1.0, 1e-6);
        near(rolled_off(10_000.0 / WHITE), 1.0, 1e-6);
        let curve: Vec<f64> = (0..600).map(|k| rolled_off(f64::from(k) / 100.0)).collect();
        assert!(curve.windows(2).all(|w| w[0] <= w[1] && w[1] <= 1.0 + 1e-9));
    }

    /// What SDR film would be as HLG and PQ by BT.2408 (its white at 203 cd/m²) comes back as it was, up to the knee.
    #[test]
    fn film_of_standard_range_comes_back_from_high_range() {
        for rgb in [[0.18; 3], [0.6, 0.1, 0.1], [0.1, 0.55, 0.2], [0.3, 0.3, 0.65], [0.0; 3], [0.69; 3]] {
            let light = rgb.map(|x: f64| x.powf(GAMMA));
            // The inverse of the matrix, by Cramer's rule, is left to elimination on paper: BT.2087 gives it.
            let wide = [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
                .map(|row| weighed(light, row));
            let back = brought(wide.map(|x| to_pq(x * WHITE)), color(Transfer::Pq));
            for (got, want) in back.iter().zip(rgb) {
                near(*got, want, 0.004);
            }
        }
    }

    /// Film's numbers of three colors and a gray of standard range in 10 bits, computed from ITU-R BT.2100 and BT.2087 by a
    /// program of its own; for PQ FFmpeg's zscale gives the same to the last bit (its HLG takes the gamma of each channel
    /// alone, so that colors other than gray differ there).
    #[test]
    fn numbers_of_another_program_come_back_to_bt709() {
        type Numbers = [f64; 3];
        let cases: [(Numbers, Numbers, Numbers); 4] = [
            ([285.0, 447.0, 648.0], [317.0, 467.0, 586.0], [64.0, 116.0, 181.0]),
            ([431.0, 411.0, 438.0], [413.0, 458.0, 478.0], [111.0, 100.0, 83.0]),
            ([511.0, 365.0, 531.0], [453.0, 436.0, 521.0], [140.0, 79.0, 137.0]),
            ([573.0, 512.0, 512.0], [486.0, 512.0, 512.0], [162.0, 128.0, 128.0]),
        ];
        for (hlg, pq, want) in cases {
            for (transfer, film) in [(Transfer::Hlg, hlg), (Transfer::Pq, pq)] {
                let [y, cb, cr] = film.map(|x| x / 4.0);
                for (got, want) in exact(color(transfer), y, cb, cr).iter().zip(want) {
                    near(f64::from(*got), want, 0.8);
                }
            }
        }
    }

    #[test]
    fn gray_stays_gray_and_what_bt709_lacks_stays_within_it() {
        for transfer in [Transfer::Sdr, Transfer::Pq, Transfer::Hlg] {
            for level in [0.0, 0.3, 0.75, 1.0] {
                let [r, g, b] = brought([level; 3], color(transfer));
                assert!((r - g).abs() < 1e-3 && (g - b).abs() < 1e-3, "{transfer:?} {level}: {r} {g} {b}");
            }
            // Pure green of BT.2020: as green as BT.709 can be at its light.
            let [r, g, b] = brought([0.0, 0.5, 0.0], color(transfer));
            assert!(r < 1e-3 && g > 0.1 && b < g, "{transfer:?} {r} {g} {b}");
        }
        near(brought([1.0; 3], color(Transfer::Sdr))[0], 1.0, 1e-3);
        near(brought([0.4; 3], color(Transfer::Sdr))[0], 0.4, 1e-3);
    }

    #[test]
    fn the_table_gives_what_the_formulas_give_also_at_odd_edges() {
        for transfer in [Transfer::Sdr, Transfer::Pq, Transfer::Hlg] {
            let color = color(transfer);
            let table = Table::of(color);
            for film in [[16u8, 128, 128], [97, 111, 151], [140, 90, 120], [235, 128, 128], [255, 0, 255]] {
                let mut picture = Picture { color, ..Picture::filled(3, 3, film) };
                // The lower right block is one luma sample alone.
                picture.planes[0][8] = 60;
                table.apply(&mut picture);
                let of = |y: u8| exact(color, f64::from(y), f64::from(film[1]), f64::from(film[2]));
                let want = of(film[0]).map(|x| x.round() as u8);
                assert_eq!(picture.planes[0], [vec![want[0]; 8], vec![of(60)[0].round() as u8]].concat());
                assert_eq!((picture.planes[1][0], picture.planes[2][0]), (want[1], want[2]));
                assert_eq!(picture.planes[1][3], of(60)[1].round() as u8);
                assert_eq!(picture.color, Color::default());
            }
        }
    }
}
