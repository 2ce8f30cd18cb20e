//! What a film's file is known by, wherever it lies.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use crate::base::{IoContext, Result};

/// Fingerprint of a film's file: size and 64 blocks of 64 KiB spread over it, BLAKE3, 32 hex digits.
pub fn fingerprint(path: &Path) -> Result<String> {
    const BLOCK: u64 = 64 * 1024;
    const BLOCKS: u64 = 64;
    let mut file = File::open(path).doing("open the film", path)?;
    let size = file.metadata().doing("open the film", path)?.len();
    let mut hash = blake3::Hasher::new();
    hash.update(&size.to_le_bytes());
    let mut buffer = vec![0; BLOCK as usize];
    for k in 0..BLOCKS {
        let at = if size <= BLOCK * BLOCKS { k * BLOCK } else { (size - BLOCK) * k / (BLOCKS - 1) };
        if at >= size {
            break;
        }
        file.seek(SeekFrom::Start(at)).doing("read the film", path)?;
        let mut got = 0;
        while got < buffer.len() {
            match file.read(&mut buffer[got..]).doing("read the film", path)? {
                0 => break,
                n => got += n,
            }
        }
        hash.update(&buffer[..got]);
    }
    Ok(hash.finalize().to_hex()[..32].to_string())
}
