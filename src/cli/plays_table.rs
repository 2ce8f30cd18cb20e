//! The answer to a phrase as a table with its breakdown.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::output;
use super::plays_csv::heading;
use super::table::{Line, grouped, terminal};
use crate::filter::{Filter, SuccessShares, Truth};
use crate::football::{Field, Tags};
use crate::jobs::{Groups, Key};
use crate::library::PlayFound;

/// Fewer plays than this are no tendency, and the line says so (our own choice).
const FEW: usize = 10;

/// Everything the table is made of.
pub struct Answer<'a> {
    /// How the phrase was read.
    pub reads: &'a str,
    /// The plays, in the order they are shown.
    pub found: &'a [PlayFound],
    /// The games that have a sheet.
    pub sheeted: &'a BTreeSet<String>,
    /// What makes a play a success.
    pub shares: SuccessShares,
    /// What they were ordered by.
    pub sort: Option<&'a Key>,
    /// What they were grouped by, and the groups.
    pub groups: Option<(&'a Key, &'a Groups<'a>)>,
}

/// On terminals narrower than this the rows' addresses give way to the words (our own choice).
const NARROW: usize = 72;

/// Fields that the table shows anyway.
const SHOWN: [Field; 9] = [
    Field::Down,
    Field::Distance,
    Field::BallOn,
    Field::Formation,
    Field::PlayType,
    Field::Concept,
    Field::Shell,
    Field::Coverage,
    Field::Gain,
];

impl Answer<'_> {
    /// The count and how the phrase was read, a line that breaks the plays down, and a line for each play.
    pub fn table(&self) -> String {
        let mut out = String::new();
        let count = output::strong(output::count(self.found.len(), "play"));
        let _ = writeln!(out, "{count}: {}", output::paste(self.reads));
        if self.found.is_empty() {
            return out;
        }
        let all: Vec<&PlayFound> = self.found.iter().collect();
        let _ = writeln!(out, "{}", output::dim(self.breakdown(&all)));
        let extra = self.sort.filter(|key| match key {
            Key::Field(field) => !SHOWN.contains(field),
            Key::Own(_) => true,
            Key::Game | Key::Date | Key::Label => false,
        });
        let by_game = self.groups.is_none() && self.sort.is_none_or(|key| matches!(key, Key::Game | Key::Date));
        let several = self.found.iter().any(|p| p.record.game != self.found[0].record.game);
        let with_game = several && !by_game;
        let narrow = terminal() < NARROW;
        let mut heads = vec!["play", "down", "ball on", "offense", "defense", "gain"];
        heads.extend((!narrow).then_some("row"));
        if with_game {
            heads.insert(0, "game");
        }
        heads.extend(extra.map(Key::words));
        let line = |play: &PlayFound| {
            let mut cells = Vec::from(row(play));
            cells.truncate(cells.len() - usize::from(narrow));
            if with_game {
                cells.insert(0, play.record.game.clone());
            }
            cells.extend(extra.map(|key| key.value(play).unwrap_or_default()));
            Line { cells, check: self.reasons(play).join("; ") }
        };
        let mut groups: Vec<(String, Vec<Line>)> = Vec::new();
        if let Some((key, list)) = self.groups {
            for (value, plays) in list {
                let head = output::strong(heading(key, value.as_deref(), plays.len()));
                let head = format!("\n{head}\n{}\n", output::dim(self.breakdown(plays)));
                groups.push((head, plays.iter().map(|p| line(p)).collect()));
            }
        } else if by_game {
            let mut game = None;
            for play in self.found {
                if game != Some(&play.record.game) {
                    game = Some(&play.record.game);
                    let date = play.record.date.as_ref().map(|date| format!(" {date}")).unwrap_or_default();
                    groups.push((format!("\n{}{date}\n", play.record.game), Vec::new()));
                }
                groups.last_mut().into_iter().for_each(|(_, rows)| rows.push(line(play)));
            }
        } else {
            groups.push(("\n".into(), self.found.iter().map(line).collect()));
        }
        out.push_str(&grouped(&heads, &groups));
        out
    }

    /// Why a person should look at a play.
    fn reasons(&self, play: &PlayFound) -> Vec<String> {
        let mut reasons = play.doubts();
        if play.record.row.is_none() && self.sheeted.contains(&play.record.game) {
            reasons.insert(0, "no row of the sheet was joined to it".into());
        }
        reasons
    }

    /// `7 run, 4 pass, 1 unknown; success 6 of 11; mean gain 5.3 yards (12 plays)`.
    fn breakdown(&self, plays: &[&PlayFound]) -> String {
        let mut kinds: Vec<(String, usize)> = Vec::new();
        for play in plays {
            let kind = Key::Field(Field::PlayType).value(play).unwrap_or_else(|| "of unknown type".into());
            match kinds.iter_mut().find(|(known, _)| *known == kind) {
                Some((_, count)) => *count += 1,
                None => kinds.push((kind, 1)),
            }
        }
        kinds.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
        let kinds: Vec<_> = kinds.iter().map(|(kind, count)| format!("{count} {kind}")).collect();
        let mut line = kinds.join(", ");
        let success = Filter::Success(self.shares);
        let judged: Vec<Truth> =
            plays.iter().map(|p| success.fits(&p.record)).filter(|t| *t != Truth::Unknown).collect();
        if !judged.is_empty() {
            let good = judged.iter().filter(|t| t.is_true()).count();
            let _ = write!(line, "; success {good} of {}", judged.len());
        }
        let gains: Vec<i64> = plays.iter().filter_map(|p| p.record.tags.number(Field::Gain)).collect();
        if !gains.is_empty() {
            let mean = gains.iter().map(|g| *g as f64).sum::<f64>() / gains.len() as f64;
            let _ = write!(line, "; mean gain {mean:.1} ({})", output::count(gains.len(), "play"));
        }
        if plays.len() < FEW {
            line.push_str("; few plays, no tendency");
        }
        line
    }
}

fn row(play: &PlayFound) -> [String; 7] {
    let tags = &play.record.tags;
    let words = |fields: &[Field]| {
        let words: Vec<&str> = fields.iter().filter_map(|field| tags.word(*field)).collect();
        words.join(", ")
    };
    [
        play.record.label.clone(),
        situation(tags),
        tags.ball_on().map(|spot| spot.to_string()).unwrap_or_default(),
        words(&[Field::Formation, Field::PlayType, Field::Concept]),
        words(&[Field::Shell, Field::Coverage, Field::Pressure]),
        tags.number(Field::Gain).map(|gain| gain.to_string()).unwrap_or_default(),
        play.record.row.clone().unwrap_or_else(|| "no row".into()),
    ]
}

/// `3 and 2`; what is unknown is left out.
fn situation(tags: &Tags) -> String {
    match (tags.down(), tags.distance()) {
        (Some(down), Some(distance)) => format!("{down} and {distance}"),
        (Some(down), None) => down.to_string(),
        (None, _) => String::new(),
    }
}
