//! Overlay templates to pixels, blended onto film; the drawing that sheets share; color and scaling of pictures.
//!
//! Nothing from outside is loaded: the typeface is compiled in, templates may not refer to anything.

mod canvas;
mod color;
mod field_line;
mod fonts;
mod overlay;
mod scale;
mod strip;
mod template;

pub use canvas::{Align, Canvas, Style};
pub use color::{Conversion, Rgb, paint};
pub use fonts::{missing_signs, plain, shorten, text_width};
pub use overlay::Overlay;
pub use scale::Scaler;
pub use strip::{Strip, StripText};
pub use template::Template;
