//! Series to shots and plays; pairing of cameras. Pure judgment: no file is opened here.

pub mod decode;
pub mod end;
pub mod snap;
pub mod track;
