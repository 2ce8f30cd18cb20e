//! The designs that ship, and the templates in force: a staff's own file stands for the shipped one.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::card::Look;
use super::strip::Frame;
use super::template::Template;
use crate::base::{Error, Result};

/// What is burned into the pictures of a play.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Design {
    /// A band along the foot of the picture: all that is known of the play.
    #[default]
    Strip,
    /// Down, distance and spot in a corner: the film's lower edge stays clear.
    Chip,
    /// Nothing: a clean picture.
    None,
}

impl Design {
    /// Every design.
    pub const ALL: [Self; 3] = [Self::Strip, Self::Chip, Self::None];

    /// Its word in settings and on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Strip => "strip",
            Self::Chip => "chip",
            Self::None => "none",
        }
    }

    /// The design of a word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|design| design.word().eq_ignore_ascii_case(word.trim()))
    }
}

impl fmt::Display for Design {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A template of its own file, as shipped: file name, source, whether it fills the picture.
type Shipped = (&'static str, &'static str, bool);

/// A staff's own file, where there is one: its text, and the place it is named by in errors.
pub type Own = Option<(String, String)>;

const STRIP: Shipped = ("strip.svg", include_str!("../../config/overlays/strip.svg"), false);
const CHIP: Shipped = ("chip.svg", include_str!("../../config/overlays/chip.svg"), false);
const CARD: Shipped = ("card.svg", include_str!("../../config/overlays/card.svg"), true);
const GROUP: Shipped = ("group.svg", include_str!("../../config/overlays/group.svg"), true);

impl Template {
    /// The strip as shipped (`config/overlays/strip.svg`).
    pub fn strip() -> Result<Self> {
        read(STRIP, &mut |_| Ok(None))
    }

    /// The template of a design as shipped; `None` for the one that draws nothing.
    pub fn of(design: Design) -> Result<Option<Self>> {
        match design {
            Design::Strip => Self::strip().map(Some),
            Design::Chip => read(CHIP, &mut |_| Ok(None)).map(Some),
            Design::None => Ok(None),
        }
    }
}

/// The templates in force.
#[derive(Debug, Clone, PartialEq)]
pub struct Templates {
    /// The strip.
    pub strip: Template,
    /// The corner chip.
    pub chip: Template,
    /// The title card before a play.
    pub card: Template,
    /// The card before a group of plays.
    pub group: Template,
}

impl Templates {
    /// Those that ship with the program.
    pub fn shipped() -> Result<Self> {
        Self::read(|_| Ok(None))
    }

    /// `own` gives a staff's own file of that name, where there is one: `strip.svg`, `chip.svg`, `card.svg`, `group.svg`.
    ///
    /// # Errors
    /// Those of `own`; a file that cannot be drawn as what its name says.
    pub fn read(mut own: impl FnMut(&str) -> Result<Own>) -> Result<Self> {
        let own = &mut own;
        Ok(Self { strip: read(STRIP, own)?, chip: read(CHIP, own)?, card: read(CARD, own)?, group: read(GROUP, own)? })
    }

    /// The template of a design; `None` for the one that draws nothing.
    pub fn of(&self, design: Design) -> Option<&Template> {
        match design {
            Design::Strip => Some(&self.strip),
            Design::Chip => Some(&self.chip),
            Design::None => None,
        }
    }
}

fn read((name, source, fills): Shipped, own: &mut dyn FnMut(&str) -> Result<Own>) -> Result<Template> {
    let (source, place) = own(name)?.unwrap_or_else(|| (source.into(), format!("config/overlays/{name}")));
    let template = Template::parse(&source, &place)?;
    // What cannot be laid out is refused now, by the file's name, and not at the first play of a night.
    let looked = if fills { Look::of(&template).map(drop) } else { Frame::of(&template).map(drop) };
    looked.map_err(|error| Error { place, ..error })?;
    Ok(template)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_template_is_taken_and_every_design_has_its_own() {
        let all = Templates::shipped().unwrap();
        for design in Design::ALL {
            assert_eq!(Template::of(design).unwrap().as_ref(), all.of(design), "{design}");
            assert_eq!(Design::named(&design.to_string()), Some(design));
        }
        assert!(all.of(Design::None).is_none() && all.strip != all.chip && all.card != all.group);
        assert_eq!(Design::named("ribbon"), None);
    }

    #[test]
    fn an_own_file_stands_for_the_shipped_one_and_is_looked_at_as_what_it_is() {
        let chip = r#"<svg viewBox="0 0 300 90" data-place="top right"><g data-side="left"><text>{tag:grade}</text></g></svg>"#;
        let with = |file: &str, source: &str| {
            Templates::read(|name| Ok((name == file).then(|| (source.to_string(), format!("mine/{name}")))))
        };
        let all = with("chip.svg", chip).unwrap();
        assert_eq!(all.chip.names().into_iter().collect::<Vec<_>>(), ["tag:grade"]);
        assert_eq!(all.strip, Template::strip().unwrap());
        for (file, source, part) in [
            ("chip.svg", "<svg/>", "viewBox"),
            ("chip.svg", &chip.replace("top right", "middle"), "data-place"),
            ("strip.svg", r#"<svg viewBox="0 0 9 9"><text>a</text></svg>"#, "data-side"),
            ("card.svg", r#"<svg viewBox="0 0 1920 1080"><rect/></svg>"#, "no text"),
            ("group.svg", r#"<svg><text>{group}</text></svg>"#, "viewBox"),
            ("group.svg", r#"<svg viewBox="0 0 1920 1080"><image href="a.png"/></svg>"#, "<image> is not taken"),
        ] {
            let error = with(file, source).unwrap_err();
            let said = error.to_string();
            assert!(said.contains(part) && error.place.contains(&format!("mine/{file}")), "{file}: {said}");
        }
    }
}
