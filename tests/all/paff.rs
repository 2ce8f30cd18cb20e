//! H.264 in field pictures (PAFF), which no free encoder writes: every field is a picture of raw macroblocks (I_PCM).
//! After ITU-T H.264 (08/2021): 7.3.2.1 (sequence), 7.3.2.2 (picture), 7.3.3 (slice header), 7.3.5 (macroblock).

use std::io::Write;
use std::path::Path;

use crate::films::run;

/// A bit string, most significant bit first.
#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    used: u32,
}

impl Bits {
    fn put(&mut self, value: u32, count: u32) {
        for k in (0..count).rev() {
            if self.used == 0 {
                self.bytes.push(0);
            }
            let last = self.bytes.len() - 1;
            self.bytes[last] |= ((value >> k & 1) as u8) << (7 - self.used);
            self.used = (self.used + 1) % 8;
        }
    }

    /// Exp-Golomb, 9.1.
    fn ue(&mut self, value: u32) {
        let bits = 32 - (value + 1).leading_zeros();
        self.put(0, bits - 1);
        self.put(value + 1, bits);
    }

    fn align(&mut self) {
        self.used = 0;
    }

    fn stop(&mut self) {
        self.put(1, 1);
        self.align();
    }

    /// As a NAL unit of a byte stream, with emulation prevention (7.4.1, annex B).
    fn nal(&self, head: u8) -> Vec<u8> {
        let mut out = vec![0, 0, 0, 1, head];
        let mut zeros = 0;
        for &byte in &self.bytes {
            if zeros >= 2 && byte <= 3 {
                out.push(3);
                zeros = 0;
            }
            out.push(byte);
            zeros = if byte == 0 { zeros + 1 } else { 0 };
        }
        out
    }
}

/// Two frames of `film` become the two fields of one picture, upper first, `w` by `h` (a multiple of 32).
pub fn write(film: &Path, out: &Path, w: usize, h: usize, rate: u32) {
    let scale = format!("scale={w}:{h}");
    let input = ["-v", "error", "-i", film.to_str().unwrap(), "-vf", &scale, "-pix_fmt", "yuv420p"];
    let raw = run("ffmpeg", &[&input[..], &["-f", "rawvideo", "-"]].concat());
    let frames: Vec<&[u8]> = raw.chunks_exact(w * h * 3 / 2).collect();
    let mut file = std::io::BufWriter::new(std::fs::File::create(out).unwrap());
    let (sequence, picture) = (sequence(w, h, rate), picture());
    for (k, pair) in frames.chunks_exact(2).enumerate() {
        // Every first field is an IDR picture; the second of an IDR picture is an I field that is none (7.4.1.2.4).
        file.write_all(&sequence).unwrap();
        file.write_all(&picture).unwrap();
        for (bottom, frame) in pair.iter().enumerate() {
            file.write_all(&field(frame, w, h, bottom == 1, k as u32)).unwrap();
        }
    }
    file.flush().unwrap();
}

fn sequence(w: usize, h: usize, rate: u32) -> Vec<u8> {
    let mut b = Bits::default();
    b.put(77, 8); // Main profile, no constraints, level 4.0
    b.put(0, 8);
    b.put(40, 8);
    b.ue(0); // id
    b.ue(0); // log2_max_frame_num - 4
    b.ue(0); // picture order by number ...
    b.ue(4); // ... of 8 bits
    b.ue(1); // reference frames
    b.put(0, 1);
    b.ue(w as u32 / 16 - 1);
    b.ue(h as u32 / 32 - 1); // map units are pairs of macroblock rows
    b.put(0, 1); // frame_mbs_only_flag: fields may come
    b.put(0, 1); // no adaptive frames
    b.put(1, 1); // direct_8x8_inference_flag
    b.put(0, 1); // no cropping
    b.put(1, 1); // VUI with timing alone
    b.put(0, 4);
    b.put(1, 1);
    b.put(1, 32);
    b.put(2 * rate, 32); // ticks are fields
    b.put(1, 1);
    b.put(0, 4);
    b.stop();
    b.nal(0x67)
}

fn picture() -> Vec<u8> {
    let mut b = Bits::default();
    b.ue(0);
    b.ue(0);
    b.put(0, 1); // CAVLC
    b.put(0, 1);
    b.ue(0); // one slice group
    b.ue(0);
    b.ue(0);
    b.put(0, 1);
    b.put(0, 2);
    b.ue(0); // quantizer 26 and the same for chroma
    b.ue(0);
    b.ue(0);
    b.put(1, 1); // deblocking is told by slice
    b.put(0, 2);
    b.stop();
    b.nal(0x68)
}

fn field(frame: &[u8], w: usize, h: usize, bottom: bool, number: u32) -> Vec<u8> {
    let mut b = Bits::default();
    b.ue(0); // first macroblock
    b.ue(7); // I, as all slices of the picture
    b.ue(0);
    b.put(0, 4); // frame_num
    b.put(1, 1); // field_pic_flag
    b.put(u32::from(bottom), 1);
    if !bottom {
        b.ue(number % 2); // idr_pic_id
    }
    b.put(u32::from(bottom), 8); // picture order
    if bottom {
        b.put(0, 1); // sliding window
    } else {
        b.put(0, 2); // nothing kept from before, no long-term picture
    }
    b.ue(0); // quantizer
    b.ue(1); // no deblocking
    let (luma, chroma) = frame.split_at(w * h);
    let (cb, cr) = chroma.split_at(w * h / 4);
    let from = usize::from(bottom);
    for my in 0..h / 32 {
        for mx in 0..w / 16 {
            b.ue(25); // I_PCM
            b.align();
            for (plane, stride, size) in [(luma, w, 16), (cb, w / 2, 8), (cr, w / 2, 8)] {
                for y in 0..size {
                    let at = ((my * size + y) * 2 + from) * stride + mx * size;
                    b.bytes.extend_from_slice(&plane[at..at + size]);
                }
            }
        }
    }
    b.stop();
    b.nal(if bottom { 0x61 } else { 0x65 })
}
