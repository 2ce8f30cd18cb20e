//! Segments rendered ahead: a meeting cannot wait, so that a phrase never asked before is a matter of joining.

use std::collections::HashSet;

use super::cutup::planned;
use super::rendering::{opened, profile, segments, studio};
use super::{Config, CutupAsk, Tools};
use crate::base::Result;
use crate::filter::Filter;
use crate::library::Library;
use crate::reel::{self, LeftOut, Studio};

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Prepared {
    /// Segments of the game's plays.
    pub segments: usize,
    /// Those rendered now.
    pub rendered: usize,
    /// Those that cannot be shown.
    pub left_out: Vec<LeftOut>,
}

/// Renders every play of a game from every camera as a cutup would show it where nothing is said of its profile. What lies
/// there is not rendered again. Older segments make room within the cache's bound.
///
/// # Errors
/// A full disk; a stop: what was rendered until then is kept.
pub fn prepare(tools: Tools<'_>, config: &Config, library: &Library, game: &str) -> Result<Prepared> {
    let ask = CutupAsk { with_doubtful: true, ..CutupAsk::default() };
    let plan = planned(tools, config, library, &ask, &Filter::Game(game.to_string()))?;
    let store = segments(config, library)?;
    // The quality that a cutup is made in where its size is not bounded.
    let usual = config.settings.cutup.crf;
    let crf = profile(config, &ask).qualities(usual).first().copied().unwrap_or(usual);
    let studio = Studio { crf, ..studio(tools, config, &store, &ask) };
    let done = reel::prepare(&plan.plan, &studio, &mut |source| opened(&plan.sources, source))?;
    Ok(Prepared { segments: plan.plan.segments.len(), rendered: done.fresh, left_out: done.left_out })
}

/// Removes every rendered segment of a library; gives how many there were and what they took.
///
/// # Errors
/// There is no place for them.
pub fn empty_segments(config: &Config, library: &Library) -> Result<(usize, u64)> {
    let store = segments(config, library)?;
    let held = store.size();
    store.trim(0, &HashSet::new());
    Ok(held)
}
