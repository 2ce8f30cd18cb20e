//! Overlay templates to pixels, blended onto film; cards; the drawing that sheets share, and what pages do; color and scaling of pictures.
//!
//! Nothing from outside is loaded: the typeface is compiled in, templates may not refer to anything.

mod canvas;
mod card;
mod card_text;
mod color;
mod design;
mod element;
mod field_line;
mod fonts;
mod light;
mod mark;
mod overlay;
pub mod page;
mod placeholder;
mod scale;
mod strip;
mod strip_text;
mod template;
mod wrap;

pub use canvas::{Align, Canvas, Style};
pub use card::Card;
pub use card_text::{CardKind, CardText};
pub use color::{Conversion, Rgb, paint};
pub use design::{Design, Own, Templates};
pub use fonts::{missing_signs, plain, shorten, text_width};
pub use mark::{Brush, Head, Mark, MarkColor, MarkKind, Plate, Pool, Pose, Sheet, Spot};
pub use overlay::Overlay;
pub use placeholder::{NAMES, own_column};
pub use scale::Scaler;
pub use strip::Strip;
pub use strip_text::StripText;
pub use template::Template;
