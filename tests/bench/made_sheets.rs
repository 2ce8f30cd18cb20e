//! Made games for matching: what a film shows of each play, and what a tired person typed of it. Pure; no film is drawn.
//!
//! A game is played by football's rules from kickoff on. The film's side knows no down and no clock: only moments,
//! lengths, the gap from cut to cut, how far the camera panned, and perhaps a kick. Lengths follow the table of tracked
//! plays (snap to end 4.4, 6.2, 7.8, 10.4, 13.1 s at the 5th, 25th, 50th, 75th, 95th percentile), and what kind of play
//! it was and how far it went explain but a third of their spread. The pan is the ball's way with so much noise that it
//! correlates .77 with the gain. Nothing here is taken from the matcher's own constants.

use downbox::sheet::{PlayFacts, RowFacts, What};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What is wrong with sheet and film.
#[derive(Debug, Clone, Copy)]
pub struct Faults {
    /// Plays of the game.
    pub plays: usize,
    /// Share of rows that were not typed.
    pub dropped: f64,
    /// Rows too many, as a share of the plays: half are doubles.
    pub added: f64,
    /// Share of plays that were not found; half of them are in the film all the same.
    pub missed: f64,
    /// Shots that are no play, as a share of the plays.
    pub false_plays: f64,
    /// Neighboring rows changed over, as a share of the rows.
    pub swapped: f64,
    /// Typed times: standard deviation of the thumb in seconds; `None` for a sheet without times.
    pub jitter: Option<f64>,
    /// Greatest offset of the typed times, seconds, and greatest drift.
    pub offset: f64,
    pub drift: f64,
    /// How often a kick is told as one; `None` where the finder tells none.
    pub kicks: Option<f64>,
}

impl Faults {
    /// A tired night: the faults that the aims name.
    pub fn tired(plays: usize, jitter: Option<f64>) -> Self {
        Self {
            plays,
            dropped: 0.10,
            added: 0.05,
            missed: 0.05,
            false_plays: 0.05,
            swapped: 0.01,
            jitter,
            offset: 60.0,
            drift: 0.005,
            kicks: None,
        }
    }

    /// The same sheet and film with nothing lost and nothing added.
    #[allow(dead_code)]
    pub fn kept_with_care(plays: usize, jitter: Option<f64>) -> Self {
        let tired = Self::tired(plays, jitter);
        Self { dropped: 0.0, added: 0.0, missed: 0.0, false_plays: 0.0, swapped: 0.0, ..tired }
    }
}

/// A made game with its truth.
pub struct MadeGame {
    pub rows: Vec<RowFacts>,
    pub plays: Vec<PlayFacts>,
    /// For each row the index of its play as found, if it has one that was found.
    pub truth: Vec<Option<usize>>,
    /// For each row the row that says the same as it and stands beside it: either may hold the play.
    pub double: Vec<Option<usize>>,
    /// Gain and pan in yards of the plays from scrimmage, for a look at how hard it is.
    #[allow(dead_code)]
    pub gain_pan: Vec<(f64, f64)>,
}

/// One play as it was.
#[derive(Clone, Copy)]
struct Played {
    row: RowFacts,
    /// Yards from snap to end that the camera follows.
    way: f64,
    /// How long it runs for its kind, in standard deviations.
    long: f64,
    scrimmage: bool,
}

pub struct Chance(ChaCha8Rng);

impl Chance {
    pub fn of(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }
    fn yes(&mut self, share: f64) -> bool {
        self.0.random::<f64>() < share
    }
    fn between(&mut self, from: f64, to: f64) -> f64 {
        self.0.random_range(from..to)
    }
    fn normal(&mut self) -> f64 {
        let (a, b): (f64, f64) = (self.0.random_range(f64::EPSILON..1.0), self.0.random());
        (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
    fn lognormal(&mut self, middle: f64, spread: f64) -> f64 {
        middle * (spread * self.normal()).exp()
    }
}

/// Yards of noise on the ball's way, so that the pan correlates .77 with the gain (the bench prints what it came to).
const PAN_NOISE: f64 = 4.7;
/// Share of a play's length that its kind and gain explain, as a correlation: a third of the variance.
const LENGTH_TOLD: f64 = 0.58;
/// Error of a found play's length, seconds.
const LENGTH_ERROR: f64 = 0.46;

/// Snap to end, seconds, by the table of tracked plays; `rank` from 0 to 1.
fn length_at(rank: f64) -> f64 {
    const TABLE: [(f64, f64); 7] =
        [(0.0, 2.2), (0.05, 4.4), (0.25, 6.2), (0.5, 7.8), (0.75, 10.4), (0.95, 13.1), (1.0, 18.0)];
    let at = TABLE.windows(2).find(|w| rank <= w[1].0).unwrap_or(&TABLE[5..7]);
    at[0].1 + (rank - at[0].0) / (at[1].0 - at[0].0) * (at[1].1 - at[0].1)
}

fn normal_rank(z: f64) -> f64 {
    1.0 / (1.0 + (-(0.07056 * z.powi(3) + 1.5976 * z)).exp())
}

/// Plays a game by the rules, far enough.
fn played(count: usize, c: &mut Chance) -> Vec<Played> {
    let mut all: Vec<Played> = Vec::new();
    let mut kickoff = true;
    let mut after_score = false;
    // Yards from the offense's own goal line, down, yards to gain.
    let (mut spot, mut down, mut to_gain) = (25.0f64, 1, 10.0f64);
    let mut half = false;
    while all.len() < count {
        let quarter = 1 + (4 * all.len() / count) as i64;
        if quarter >= 3 && !half {
            (half, kickoff, after_score) = (true, true, false);
        }
        let base = RowFacts { quarter: Some(quarter), ..RowFacts::default() };
        if after_score {
            after_score = false;
            kickoff = true;
            let way = 2.0 * c.normal();
            all.push(Played { row: RowFacts { what: What::Try, ..base }, way, long: -1.2, scrimmage: false });
            continue;
        }
        if kickoff {
            kickoff = false;
            let touchback = c.yes(0.45);
            let back = if touchback { 0.0 } else { c.lognormal(20.0, 0.4).min(95.0) };
            (spot, down, to_gain) = (if touchback { 25.0 } else { (back + 3.0).clamp(8.0, 60.0) }, 1, 10.0);
            let row = RowFacts { what: What::Kickoff, ..base };
            let long = if touchback { 0.1 } else { 1.0 };
            all.push(Played { row, way: c.between(58.0, 68.0) - back, long, scrimmage: false });
            continue;
        }
        let to_goal = 100.0 - spot;
        let row = RowFacts { down: Some(down), to_gain: Some(to_gain), ..base };
        if down == 4 && !(to_gain <= 2.0 && c.yes(0.35)) {
            if to_goal <= 37.0 {
                let good = c.yes(0.8);
                let row = RowFacts { what: What::FieldGoal, ..row };
                all.push(Played { row, way: 2.0 * c.normal(), long: -1.0, scrimmage: false });
                if good {
                    kickoff = true;
                } else {
                    (spot, down, to_gain) = (100.0 - spot + 7.0, 1, 10.0);
                }
            } else {
                let net = (c.between(26.0, 52.0)).min(to_goal - 5.0);
                let gain = c.yes(0.25).then_some(net.round());
                let row = RowFacts { what: What::Punt, gain, ..row };
                all.push(Played { row, way: net, long: 0.9, scrimmage: false });
                (spot, down, to_gain) = ((to_goal - net).clamp(2.0, 60.0), 1, 10.0);
            }
            continue;
        }
        if c.yes(0.05) {
            // A penalty: the down is played again, or the chains move.
            let yards = if c.yes(0.5) { 5.0f64 } else { 10.0 } * if c.yes(0.6) { -1.0 } else { 1.0 };
            let yards = yards.clamp(-(spot / 2.0).floor(), (to_goal / 2.0).floor());
            let ran = c.yes(0.5);
            let (way, long) = if ran { (c.between(-2.0, 12.0), -0.1) } else { (0.0, -1.6) };
            all.push(Played { row: RowFacts { what: What::NoPlay, ..row }, way, long, scrimmage: false });
            spot += yards;
            if yards >= to_gain {
                (down, to_gain) = (1, 10.0f64.min(100.0 - spot));
            } else {
                to_gain -= yards;
            }
            continue;
        }
        let share = match (down, to_gain) {
            (3 | 4, y) if y >= 5.0 => 0.88,
            (3 | 4, _) => 0.45,
            (2, y) if y >= 8.0 => 0.62,
            _ => 0.48,
        };
        let (what, gain, turnover) = if c.yes(share) {
            let draw = c.between(0.0, 1.0);
            if draw < 0.34 {
                (What::Incomplete, 0.0, false)
            } else if draw < 0.41 {
                (What::Sack, -c.between(2.0, 10.0).round(), false)
            } else if draw < 0.435 {
                (What::Intercepted, 0.0, true)
            } else {
                let deep = if c.yes(0.18) { c.lognormal(22.0, 0.45) } else { c.lognormal(8.0, 0.6) - 1.5 };
                (What::Complete, deep.round(), c.yes(0.01))
            }
        } else {
            let draw = c.between(0.0, 1.0);
            let gain = if draw < 0.2 {
                -c.between(0.0, 3.5)
            } else if draw < 0.92 {
                c.lognormal(4.0, 0.55) - 0.5
            } else {
                c.lognormal(16.0, 0.6)
            };
            (What::Run, gain.round(), c.yes(0.012))
        };
        let gain = gain.clamp(1.0 - spot, to_goal);
        let touchdown = gain >= to_goal && !turnover;
        let kind = match what {
            What::Incomplete => -0.55,
            What::Sack => -0.1,
            What::Intercepted => 0.9,
            What::Complete => 0.25,
            _ => -0.25,
        };
        let long = kind + 1.1 * (gain.max(0.0) / 15.0).min(2.5);
        let way = if what == What::Intercepted { c.between(-20.0, 25.0) } else { gain };
        // An incomplete pass sends the camera after the ball, which comes back nowhere.
        let way = if what == What::Incomplete { way + c.between(0.0, 9.0) } else { way };
        let row = RowFacts { what, gain: Some(gain), touchdown, turnover, ..row };
        all.push(Played { row, way, long, scrimmage: true });
        spot += gain;
        if touchdown {
            after_score = true;
        } else if turnover {
            (spot, down, to_gain) = ((100.0 - spot).clamp(3.0, 97.0), 1, 10.0);
        } else if gain >= to_gain {
            (down, to_gain) = (1, 10.0f64.min(100.0 - spot));
        } else if down == 4 {
            (spot, down, to_gain) = (100.0 - spot, 1, 10.0);
        } else {
            (down, to_gain) = (down + 1, to_gain - gain);
        }
        to_gain = to_gain.max(1.0);
        spot = spot.clamp(1.0, 99.0);
    }
    all.truncate(count);
    all
}

/// What a person typed of a play: mostly what it was.
fn typed(mut row: RowFacts, c: &mut Chance) -> RowFacts {
    if c.yes(0.03) {
        row.gain = None;
    } else if c.yes(0.05) {
        row.gain = row.gain.map(|gain| gain + if c.yes(0.5) { 1.0 } else { -1.0 });
    }
    if c.yes(0.02) {
        row.what = What::Unknown;
    }
    if c.yes(0.02) {
        row.to_gain = row.to_gain.map(|yards| (yards + if c.yes(0.5) { 1.0 } else { -1.0 }).max(1.0));
    }
    row
}

/// A shot of the film.
struct Shot {
    start: f64,
    snap: f64,
    length: f64,
    pan: f64,
    kick: bool,
    /// Whether it was found, and which play of the game it is.
    found: bool,
    play: Option<usize>,
}

/// Makes a game.
pub fn made_game(seed: u64, faults: &Faults) -> MadeGame {
    let mut c = Chance::of(seed);
    let plays = played(faults.plays, &mut c);
    // This film's habits: unit of the pan, lead-in and tail, whether the scoreboard comes between.
    let unit = c.between(0.01, 0.05);
    let (lead, tail) = (c.lognormal(4.4, 0.15), c.lognormal(2.0, 0.2));
    let scoreboards = if c.yes(0.3) { 0.3 } else { 0.0 };
    let mut at = 5.0;
    let mut shots: Vec<Shot> = Vec::new();
    let mut gain_pan = Vec::new();
    let filmed = |c: &mut Chance, at: &mut f64, length: f64, pan: f64, kick: bool, found: bool, play: Option<usize>| {
        let start = *at;
        let snap = start + c.lognormal(lead, 0.38);
        *at = snap + length + c.lognormal(tail, 0.45);
        if c.yes(scoreboards) {
            *at += 2.0;
        }
        let error = if c.yes(0.03) { 1.0 } else { 0.12 };
        let seen = (length + LENGTH_ERROR * c.normal()).max(1.0);
        Shot { start, snap: snap + error * c.normal(), length: seen, pan, kick, found, play }
    };
    for (number, play) in plays.iter().enumerate() {
        let z = LENGTH_TOLD * play.long / 0.75 + (1.0 - LENGTH_TOLD.powi(2)).sqrt() * c.normal();
        let length = length_at(normal_rank(z));
        let pan = (play.way + PAN_NOISE * c.normal()).abs();
        if let (true, Some(gain)) = (play.scrimmage, play.row.gain) {
            gain_pan.push((gain, pan));
        }
        let found = !c.yes(faults.missed);
        // Of plays that were not found the camera missed half; the others' film is there and looks like a longer shot.
        if found || c.yes(0.5) {
            let kick = c.yes(if play.row.what.is_kick() { faults.kicks.unwrap_or(0.0) } else { 0.01 });
            shots.push(filmed(&mut c, &mut at, length, pan * unit, kick, found, Some(number)));
        }
        if c.yes(faults.false_plays) {
            let (length, pan) = (c.lognormal(5.0, 0.5), (0.8 * PAN_NOISE * c.normal()).abs());
            shots.push(filmed(&mut c, &mut at, length, pan * unit, false, true, None));
        }
    }
    let snaps: Vec<(Option<usize>, f64)> = shots.iter().map(|s| (s.play, s.snap)).collect();
    let found: Vec<&Shot> = shots.iter().filter(|s| s.found).collect();
    let facts = found.iter().enumerate().map(|(i, shot)| PlayFacts {
        time: shot.snap,
        weak: false,
        length: Some(shot.length),
        gap: found.get(i + 1).map(|next| next.start - shot.start),
        pan: Some(shot.pan),
        kick: faults.kicks.map(|_| shot.kick),
        no_row: false,
    });
    let facts: Vec<PlayFacts> = facts.collect();
    let place = |play: usize| found.iter().position(|s| s.play == Some(play));

    // The sheet. A row's time is its snap's; of a play that was not filmed, where the film goes on without it.
    let (offset, drift) = (c.between(-faults.offset, faults.offset), c.between(-faults.drift, faults.drift));
    let snap_of = |play: usize| {
        let own = snaps.iter().find(|(p, _)| *p == Some(play)).map(|s| s.1);
        own.or_else(|| snaps.iter().find(|(p, _)| p.is_some_and(|p| p > play)).map(|s| s.1 - 8.0))
            .or_else(|| snaps.last().map(|s| s.1 + 10.0))
            .unwrap_or(0.0)
    };
    // Row, its play, film time, whether it is the row above typed again.
    let mut rows: Vec<(RowFacts, Option<usize>, f64, bool)> = Vec::new();
    for (number, play) in plays.iter().enumerate() {
        let time = snap_of(number);
        if !c.yes(faults.dropped) {
            rows.push((typed(play.row, &mut c), place(number), time, false));
            if c.yes(faults.added / 2.0) {
                let last = rows[rows.len() - 1];
                rows.push((last.0, last.1, last.2 + c.between(0.0, 3.0), true));
            }
        }
        if c.yes(faults.added / 2.0) {
            // Of no play of this film: copied from elsewhere, or one that was whistled dead.
            let other = (c.between(0.0, plays.len() as f64) as usize).min(plays.len() - 1);
            let row = RowFacts { quarter: play.row.quarter, ..plays[other].row };
            rows.push((typed(row, &mut c), None, time + c.between(3.0, 11.0), false));
        }
    }
    let mut facts_of_rows = Vec::new();
    for (row, play, film, twice) in rows {
        let jitter = faults.jitter.unwrap_or(0.0) * c.normal();
        let time = faults.jitter.map(|_| offset + film * (1.0 + drift) + jitter);
        facts_of_rows.push((RowFacts { time, twin: twice, ..row }, play, twice));
    }
    let mut index = 0;
    while index + 1 < facts_of_rows.len() {
        let doubled =
            facts_of_rows[index + 1].2 || facts_of_rows.get(index + 2).is_some_and(|r| r.2) || facts_of_rows[index].2;
        if !doubled && c.yes(faults.swapped) {
            facts_of_rows.swap(index, index + 1);
            index += 1;
        }
        index += 1;
    }
    // Some rows say what the row above says without having been typed twice: a run for no gain after another.
    let same = |a: &RowFacts, b: &RowFacts| {
        (a.what, a.gain, a.down, a.to_gain, a.quarter) == (b.what, b.gain, b.down, b.to_gain, b.quarter)
    };
    let twins: Vec<bool> =
        (0..facts_of_rows.len()).map(|i| i > 0 && same(&facts_of_rows[i].0, &facts_of_rows[i - 1].0)).collect();
    let double = (0..facts_of_rows.len())
        .map(|i| match (facts_of_rows[i].2, facts_of_rows.get(i + 1).is_some_and(|r| r.2)) {
            (true, _) => Some(i - 1),
            (_, true) => Some(i + 1),
            _ => None,
        })
        .collect();
    let truth = facts_of_rows.iter().map(|r| r.1).collect();
    let rows = facts_of_rows.into_iter().zip(twins).map(|((row, ..), twin)| RowFacts { twin, ..row }).collect();
    MadeGame { rows, plays: facts, truth, double, gain_pan }
}

impl MadeGame {
    /// Whether a row stands where it should: on its play, or on none. Of two that say the same either may hold it, and
    /// the other none.
    pub fn is_right(&self, row: usize, play_of: &dyn Fn(usize) -> Option<usize>) -> bool {
        let play = play_of(row);
        match self.double[row] {
            None => play == self.truth[row],
            Some(other) => {
                let pair = (play, play_of(other));
                pair == (self.truth[row], None) || pair == (None, self.truth[row])
            }
        }
    }
}
