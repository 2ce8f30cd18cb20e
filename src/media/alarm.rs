//! Damage that decoders only speak of in their log.
//!
//! A decoder that works in several threads hands a frame out before its last macroblocks are decoded, and the flag
//! "decoded with errors" comes too late to be seen on it (measured: set with one thread, lost with two). What it
//! writes to the log is the only sign left. So the library's log goes nowhere but here: messages of decoders that mean
//! broken pictures are counted, each in the alarm of the decoder that wrote it.

use std::ffi::{CStr, c_char, c_int, c_void};
use std::sync::atomic::{AtomicU64, Ordering};

use ff::ffi;
use ffmpeg_next as ff;

/// Counts messages of one decoder that mean broken pictures. Boxed, so that its address stays.
#[derive(Debug)]
pub struct Alarm {
    counted: Box<AtomicU64>,
    seen: u64,
}

/// Parts of messages that stand for pixels that are not what was filmed, in the library's words (versions 5.1 to 8):
/// error resilience at work, broken macroblocks or units, references that are gone.
const MESSAGES: [&str; 8] = [
    "concealing",
    "error while decoding MB",
    "Error splitting the input into NAL units",
    "Invalid NAL unit",
    "Frame num gap",
    "CABAC_MAX_BIN",
    "Could not find ref with POC",
    "ac-tex damaged",
];

impl Alarm {
    /// An alarm that has not gone off.
    pub fn new() -> Self {
        Self { counted: Box::new(AtomicU64::new(0)), seen: 0 }
    }

    /// Ties it to a decoder that is not open yet. It must live longer than the decoder.
    pub fn watch(&self, context: &mut ff::codec::context::Context) {
        // SAFETY: the context is ours and not open; `opaque` is for the caller's use and is copied to the contexts of
        // the decoder's threads. The box keeps its address when the alarm moves.
        unsafe { (*context.as_mut_ptr()).opaque = std::ptr::from_ref::<AtomicU64>(&self.counted).cast_mut().cast() };
    }

    /// Whether it went off since it was asked last.
    pub fn rang(&mut self) -> bool {
        let now = self.counted.load(Ordering::Relaxed);
        std::mem::replace(&mut self.seen, now) != now
    }
}

/// Takes the library's log over: nothing is printed.
pub fn listen() {
    let heard: unsafe extern "C" fn(*mut c_void, c_int, *const c_char, *mut c_void) = hear;
    // SAFETY: the last parameter is a list of variable arguments, whose type differs from one machine to another; it
    // is passed as one pointer or in memory behind one, and is never looked at.
    unsafe { ffi::av_log_set_callback(Some(std::mem::transmute::<*const (), _>(heard as *const ()))) };
}

/// Called by the library from any thread.
unsafe extern "C" fn hear(speaker: *mut c_void, level: c_int, format: *const c_char, _arguments: *mut c_void) {
    if speaker.is_null() || format.is_null() || level > ffi::AV_LOG_INFO as c_int {
        return;
    }
    // SAFETY: by the library's contract a speaker begins with a pointer to its class; the class named so is that of
    // codec contexts, and `opaque` of ours is null or an alarm's counter, which lives longer than its decoder.
    unsafe {
        let class = *speaker.cast::<*const ffi::AVClass>();
        if class.is_null() || (*class).class_name.is_null() || CStr::from_ptr((*class).class_name) != c"AVCodecContext"
        {
            return;
        }
        let counter = (*speaker.cast::<ffi::AVCodecContext>()).opaque.cast::<AtomicU64>();
        if counter.is_null() {
            return;
        }
        let format = CStr::from_ptr(format).to_bytes();
        let broken = MESSAGES.iter().any(|m| format.windows(m.len()).any(|w| w == m.as_bytes()));
        if broken {
            (*counter).fetch_add(1, Ordering::Relaxed);
        }
    }
}
