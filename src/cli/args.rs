//! The command line's words. Raw flags only: each command resolves them.

use std::path::PathBuf;

use clap::{ArgMatches, Args, CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::film::Codec;
use crate::jobs::StripTime;
use crate::paint::Design;
use crate::reel::Profile;

/// Cuts football game film into one clip a play, joins it to the tag sheet, and answers a coach's phrase with one reel.
#[derive(Debug, Parser)]
#[command(name = "downbox", version, max_term_width = 100, disable_help_subcommand = true)]
#[command(after_help = "Film stays on this machine. Recording, keeping and exchanging it follow the rules of your \
league, school and state, which come before anything here.")]
pub struct Cli {
    /// What all commands share.
    #[command(flatten)]
    pub common: Common,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Heading of the flags that every command has.
const EVERYWHERE: &str = "Everywhere";

/// Flags of every command.
#[derive(Debug, Clone, Default, Args)]
pub struct Common {
    /// The library's folder [else DOWNBOX_LIBRARY, else the nearest folder upward with downbox.toml]
    #[arg(long, global = true, value_name = "DIR", help_heading = EVERYWHERE)]
    pub library: Option<PathBuf>,
    /// Print one JSON document on standard output and nothing else there
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// No progress and no remarks on standard error (warnings and errors stay)
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub quiet: bool,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Find shots and plays in one camera's film, and draw why; touches no library
    Scan(Scan),
    /// The main job: find the plays, join them to the tag sheet, cut them into the library
    Cut(Box<Cut>),
    /// Read a tag sheet and list every problem by its cell, or write an empty one
    #[command(subcommand)]
    Sheet(SheetCommand),
    /// List the plays a phrase means
    Plays(Plays),
    /// Correct a play: its row, its tags, its moments, whether it is one; it stays so whatever is read again
    Mend(Box<Mend>),
    /// Verify the library: clips, measurements, films, database; mend it; copy it
    Check(Check),
    /// Draw a contact sheet: one picture a play
    Stills(Stills),
    /// Make one reel of the plays a phrase means, with the situation burned in
    Cutup(Cutup),
    /// Make a teaching reel from a script: stops, marks, slow motion, plays side by side
    Reel(super::reel::Reel),
    /// The night shift: work off the game folders that are dropped into the library's inbox
    Watch(Watch),
    /// Tell what the night shift did, does, waits for, and what failed
    Status(StatusArgs),
}

/// `scan`.
#[derive(Debug, Args)]
pub struct Scan {
    /// The camera's files or folders; a camera may be many files
    #[arg(required = true, value_name = "FILM")]
    pub films: Vec<PathBuf>,
    /// From where the camera looks: sideline or end-zone
    #[arg(long, value_name = "ANGLE", default_value = "unknown")]
    pub angle: String,
    /// Draw why this play was found where it was: its number in film order, as the list shows it
    #[arg(long, value_name = "PLAY", requires = "out")]
    pub explain: Option<usize>,
    /// The picture to write (PNG)
    #[arg(long, value_name = "FILE", requires = "explain")]
    pub out: Option<PathBuf>,
    /// Measure anew, whatever is kept of an earlier scan
    #[arg(long)]
    pub fresh: bool,
}

/// `cut`.
#[derive(Debug, Args)]
pub struct Cut {
    /// The game's name
    #[arg(long, value_name = "NAME")]
    pub game: String,
    /// Day of the game, 2026-09-11
    #[arg(long, value_name = "DATE")]
    pub date: Option<String>,
    /// Home team
    #[arg(long, value_name = "TEAM")]
    pub home: Option<String>,
    /// Away team
    #[arg(long, value_name = "TEAM")]
    pub away: Option<String>,
    /// Film of the sideline (wide) camera: files or folders
    #[arg(long, num_args = 1.., value_name = "FILM")]
    pub sideline: Vec<PathBuf>,
    /// Film of the end-zone (tight) camera: files or folders
    #[arg(long, num_args = 1.., value_name = "FILM")]
    pub end_zone: Vec<PathBuf>,
    /// Film that holds the sideline and the end-zone camera's shots in turn: files or folders
    #[arg(long, num_args = 1.., value_name = "FILM", conflicts_with_all = ["sideline", "end_zone"])]
    pub woven: Vec<PathBuf>,
    /// Film of another camera: its name, then files or folders; may be given again
    #[arg(long, num_args = 2.., value_names = ["NAME", "FILM"], action = clap::ArgAction::Append)]
    pub camera: Vec<PathBuf>,
    /// `camera` by occurrence: a name and films each.
    #[arg(skip)]
    pub cameras: Vec<Vec<PathBuf>>,
    /// The tag sheet, as typed (CSV, TSV, XLSX, XLS or ODS); several, in the game's order, where each half has its own
    #[arg(long, num_args = 1.., value_name = "SHEET")]
    pub sheet: Vec<PathBuf>,
    /// Take what is proposed for columns of the sheet with new names, and remember it for this header
    #[arg(long, requires = "sheet")]
    pub yes: bool,
    /// Our team: it has the ball where our offense is on the field (the sheet's column of the unit)
    #[arg(long, value_name = "TEAM", requires_all = ["they", "sheet"])]
    pub we: Option<String>,
    /// The other team
    #[arg(long, value_name = "TEAM", requires = "we")]
    pub they: Option<String>,
    /// Seconds by which the sheet's times run late, where the fitted value is wrong
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = seconds)]
    pub offset: Option<f64>,
    /// Seconds an hour by which the sheet's times run ever later, where the fitted value is wrong
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true, value_parser = drift)]
    pub drift: Option<f64>,
    /// Take a film that has changed under the same name in place of the old one
    #[arg(long)]
    pub replace: bool,
    /// Then render every play as a cutup would show it, so that a phrase never asked before is ready at once
    #[arg(long, conflicts_with = "dry_run")]
    pub prepare: bool,
    /// Find and match, print what would be cut, write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// `sheet`.
#[derive(Debug, Subcommand)]
pub enum SheetCommand {
    /// Read a typed tag sheet: what each column holds, and every cell that was changed, refused or is missing
    Check(SheetCheck),
    /// Write an empty sheet to type in, with drop-downs from the vocabulary
    Blank(SheetBlank),
}

/// `sheet check`.
#[derive(Debug, Args)]
pub struct SheetCheck {
    /// The tag sheet: CSV, TSV, XLSX, XLS or ODS
    #[arg(value_name = "SHEET")]
    pub sheet: PathBuf,
    /// Take what is proposed for columns with new names, and remember it for this header
    #[arg(long)]
    pub yes: bool,
    /// Our team: it has the ball where our offense is on the field
    #[arg(long, value_name = "TEAM", requires = "they")]
    pub we: Option<String>,
    /// The other team
    #[arg(long, value_name = "TEAM", requires = "we")]
    pub they: Option<String>,
}

/// `sheet blank`.
#[derive(Debug, Args)]
pub struct SheetBlank {
    /// The file to write: .xlsx (with drop-downs), .csv or .tsv
    #[arg(value_name = "OUT")]
    pub out: PathBuf,
}

/// `plays`.
#[derive(Debug, Args)]
pub struct Plays {
    /// Such as: third and short vs one-high; every play without one
    #[arg(value_name = "PHRASE")]
    pub phrase: Vec<String>,
    /// Order by a field, a column of your own, game, date or label; plays of which it is unknown come last
    #[arg(long, value_name = "FIELD")]
    pub sort: Option<String>,
    /// The other way round
    #[arg(long, requires = "sort")]
    pub reverse: bool,
    /// A list, a count and a breakdown for each value of a field or column
    #[arg(long, value_name = "FIELD")]
    pub group: Option<String>,
    /// Print the plays as CSV, every field and clip a column
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Play the first clip with the system's player
    #[arg(long)]
    pub open: bool,
    /// Print how phrases are read, with examples
    #[arg(long, conflicts_with_all = ["phrase", "sort", "group", "csv", "open"])]
    pub grammar: bool,
}

/// `mend`.
#[derive(Debug, Args)]
#[command(
    after_help = "TIME is +4.6 (seconds into the play's clip, as a player shows it; -1.5 before it), 12:34.2 or 754.2 (film time) or \
1382f (a frame of the film). Every change keeps what stood before, outlives every later cut, and is taken back with --undo, \
the newest first."
)]
pub struct Mend {
    /// The play, by its label (17, 17a); `none` with --row: that row belongs to no play
    #[arg(value_name = "PLAY", required_unless_present_any = ["add", "history"])]
    pub play: Option<String>,
    /// The game, where the library has several
    #[arg(long, value_name = "NAME")]
    pub game: Option<String>,
    /// The row that belongs to it, by its address as `plays` and `cut` print it (tags.csv:14); `none`: it has no row
    #[arg(long, value_name = "WHERE", conflicts_with_all = CHANGES)]
    pub row: Option<String>,
    /// A tag, the trade's or your own, whatever its row says: down=3
    #[arg(long, num_args = 1.., value_name = "TAG=VALUE")]
    pub set: Vec<String>,
    /// A tag that is not known, whatever its row says
    #[arg(long, num_args = 1.., value_name = "TAG")]
    pub unset: Vec<String>,
    /// When the offense stands; `none`: not seen
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub stand: Option<String>,
    /// When the ball is snapped; `none`: not seen
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub snap: Option<String>,
    /// When the play is dead; `none`: not seen
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub end: Option<String>,
    /// Whose film the times are in, where several cameras show the play
    #[arg(long, value_name = "CAMERA")]
    pub camera: Option<String>,
    /// It is no play
    #[arg(long, conflicts_with_all = ["split_at", "join", "pair", "add", "from", "to"])]
    pub drop: bool,
    /// It is two plays; the second begins here
    #[arg(long, value_name = "TIME", allow_hyphen_values = true, conflicts_with_all = ["join", "pair", "add", "from", "to"])]
    pub split_at: Option<String>,
    /// It is one play with the one right after it
    #[arg(long, value_name = "PLAY", conflicts_with_all = ["pair", "add", "from", "to"])]
    pub join: Option<String>,
    /// What the camera named shows of it and of that play is exchanged; `none`: it is a play of its own
    #[arg(long, value_name = "PLAY", requires = "camera", conflicts_with_all = ["add", "from", "to"])]
    pub pair: Option<String>,
    /// A play that was missed, with --from and --to
    #[arg(long, requires_all = ["from", "to"], conflicts_with = "play")]
    pub add: bool,
    /// Where the play begins in the camera's film
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub from: Option<String>,
    /// Where it ends
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub to: Option<String>,
    /// Take back what was changed last of the play, or (with --row) what was said of the row
    #[arg(long, conflicts_with_all = CHANGES)]
    pub undo: bool,
    /// List what was changed, of one play or of the whole game
    #[arg(long, conflicts_with_all = CHANGES)]
    pub history: bool,
}

/// Flags of `mend` that change a play.
const CHANGES: [&str; 12] =
    ["set", "unset", "stand", "snap", "end", "drop", "split_at", "join", "pair", "add", "from", "to"];

/// `check`.
#[derive(Debug, Args)]
pub struct Check {
    /// Read every clip whole and decode it; measurements and films by their content, too
    #[arg(long)]
    pub deep: bool,
    /// Mend what can be mended: cut again from the film, take a moved film's new place; nothing is lost by it
    #[arg(long)]
    pub repair: bool,
    /// Remove every rendered segment: reels are rendered anew then
    #[arg(long)]
    pub empty_segments: bool,
    /// Folders in which films that were moved may lie
    #[arg(long, num_args = 1.., value_name = "DIR")]
    pub films: Vec<PathBuf>,
    /// Copy the library to a new folder, also while it is written to, and verify the copy
    #[arg(long, value_name = "DEST")]
    pub copy: Option<PathBuf>,
}

/// `stills`.
#[derive(Debug, Args)]
pub struct Stills {
    /// Which plays; every play without one
    #[arg(value_name = "PHRASE")]
    pub phrase: Vec<String>,
    /// The picture to write (PNG); further pages get -2, -3 ... before the ending
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Print which plays would be shown, write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// `cutup`.
#[derive(Debug, Args)]
pub struct Cutup {
    /// Which plays: third and short vs one-high
    #[arg(required_unless_present = "asks", value_name = "PHRASE")]
    pub phrase: Vec<String>,
    /// The reel to write (MP4)
    #[arg(long, required_unless_present = "asks", value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// Make every standing ask of asks.toml: a folder of reels each, one a game, under the library's cutups; what has not
    /// changed is not made again
    #[arg(long, conflicts_with_all = ASKED)]
    pub asks: bool,
    /// Only this angle or camera: sideline, end-zone [default: all, the sideline first]
    #[arg(long, value_name = "ANGLE")]
    pub angle: Option<String>,
    /// Both angles at once, set side by side at the snap: two halves, or the second in a corner of the first
    #[arg(long, value_name = "HOW", conflicts_with = "angle")]
    pub at_once: Option<AtOnce>,
    /// What the reel is for: tape (the film's size, high quality), meeting (1920x1080), phone (1280x720, silent unless
    /// --sound) [default: the settings', meeting]
    #[arg(long, value_name = "PROFILE", value_parser = profile)]
    pub profile: Option<Profile>,
    /// What its pictures are encoded as: h264 (plays everywhere), hevc, av1 (smaller, for newer devices) [default: the
    /// settings', h264]
    #[arg(long, value_name = "CODEC", value_parser = codec)]
    pub codec: Option<Codec>,
    /// Leave the sound out: press-box microphones record the staff
    #[arg(long)]
    pub mute: bool,
    /// Keep the sound, also in a phone's reel
    #[arg(long, conflicts_with = "mute")]
    pub sound: bool,
    /// Bring the file under this size, such as 25MB: a phone's reel takes the best of four qualities that fits
    #[arg(long, value_name = "SIZE", value_parser = size)]
    pub fit: Option<u64>,
    /// What is burned in: strip (a band along the foot), chip (a corner), none [default: strip]
    #[arg(long, value_name = "DESIGN", value_parser = design)]
    pub design: Option<Design>,
    /// A card before each play that tells its situation; groups have theirs anyway
    #[arg(long)]
    pub cards: bool,
    /// How long the strip stands: whole, snap (until the snap), a number of seconds, or none
    #[arg(long, value_name = "HOW", default_value = "whole", value_parser = strip)]
    pub strip: StripTime,
    /// Order by a field, a column of your own, game, date or label [default: newest game first, as played]
    #[arg(long, value_name = "FIELD")]
    pub sort: Option<String>,
    /// The other way round
    #[arg(long, requires = "sort")]
    pub reverse: bool,
    /// Show the plays of each value of a field or column together
    #[arg(long, value_name = "FIELD")]
    pub group: Option<String>,
    /// Only the first so many plays
    #[arg(long, value_name = "PLAYS")]
    pub first: Option<usize>,
    /// Only as many plays as this length holds: 8m, 90s, 8:30
    #[arg(long, value_name = "TIME", value_parser = length)]
    pub at_most: Option<f64>,
    /// Seconds before the snap [default: the settings']
    #[arg(long, value_name = "SECONDS", value_parser = length)]
    pub lead_in: Option<f64>,
    /// Seconds after the end [default: the settings']
    #[arg(long, value_name = "SECONDS", value_parser = length)]
    pub tail: Option<f64>,
    /// Also take plays whose row of the sheet is in doubt
    #[arg(long)]
    pub with_doubtful: bool,
    /// Write beside the reel: vtt (captions), csv (its segments), otio (a timeline), edl (CMX3600), html (a page with
    /// stills), or all
    #[arg(long, value_name = "KIND", value_delimiter = ',')]
    pub sidecar: Vec<String>,
    /// Print what would be in the reel, write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// What an ask says for itself.
const ASKED: [&str; 17] = [
    "phrase",
    "out",
    "angle",
    "at_once",
    "profile",
    "codec",
    "mute",
    "sound",
    "fit",
    "with_doubtful",
    "sort",
    "group",
    "first",
    "at_most",
    "lead_in",
    "tail",
    "sidecar",
];

/// How two angles are seen at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum AtOnce {
    /// Two halves side by side.
    Beside,
    /// The second in an upper corner of the first.
    Inset,
}

pub(super) fn profile(text: &str) -> Result<Profile, String> {
    Profile::named(text).ok_or_else(|| "it is tape, meeting or phone".into())
}

pub(super) fn codec(text: &str) -> Result<Codec, String> {
    Codec::named(text).ok_or_else(|| "it is h264, hevc or av1".into())
}

fn design(text: &str) -> Result<Design, String> {
    Design::named(text).ok_or_else(|| "it is strip, chip or none".into())
}

fn strip(text: &str) -> Result<StripTime, String> {
    match text.trim().to_ascii_lowercase().as_str() {
        "whole" => Ok(StripTime::Whole),
        "snap" => Ok(StripTime::Snap),
        "none" => Ok(StripTime::None),
        other => {
            length(other).map(StripTime::Seconds).map_err(|_| "it is whole, snap, none or a number of seconds".into())
        }
    }
}

/// A size in bytes: 25MB, 1.5 GB; units of a thousand.
pub(super) fn size(text: &str) -> Result<u64, String> {
    let text = text.trim().to_ascii_lowercase();
    let (number, factor) = ["kb", "mb", "gb", "k", "m", "g"]
        .iter()
        .zip([1e3, 1e6, 1e9, 1e3, 1e6, 1e9])
        .find_map(|(unit, factor)| Some((text.strip_suffix(unit)?, factor)))
        .unwrap_or((&text, 1.0));
    match number.trim().parse::<f64>() {
        Ok(number) if number > 0.0 && number * factor < 1e15 => Ok((number * factor) as u64),
        _ => Err("a size is wanted, such as 25MB".into()),
    }
}

/// A length of time in seconds: 90, 90s, 8m, 8:30.
fn length(text: &str) -> Result<f64, String> {
    let text = text.trim().to_ascii_lowercase();
    let number = |t: &str| t.trim().parse::<f64>().ok().filter(|n| (0.0..=86_400.0).contains(n));
    let seconds = match text.split_once(':') {
        Some((minutes, seconds)) => number(minutes).zip(number(seconds)).map(|(m, s)| m * 60.0 + s),
        None => match text.strip_suffix("min").or(text.strip_suffix('m')) {
            Some(minutes) => number(minutes).map(|m| m * 60.0),
            None => number(text.strip_suffix('s').unwrap_or(&text)),
        },
    };
    seconds.ok_or_else(|| "a length of time is wanted, such as 90s, 8m or 8:30".into())
}

/// `watch`.
#[derive(Debug, Args)]
#[command(
    after_help = "What is not said here is taken from [watch] in the settings. See what it does with: downbox status"
)]
pub struct Watch {
    /// Do what can be done with what lies in the inbox, then stop
    #[arg(long)]
    pub once: bool,
    /// Another inbox than the library's own, such as a network share
    #[arg(long, value_name = "DIR")]
    pub inbox: Option<PathBuf>,
    /// Seconds a file must stay unchanged before it is taken [default: the settings', 20]
    #[arg(long, value_name = "SECONDS")]
    pub settle: Option<u64>,
    /// Cores to use [default: the settings', all]
    #[arg(long, value_name = "CORES")]
    pub jobs: Option<usize>,
    /// What is kept free on the library's disk, such as 10GB [default: the settings']
    #[arg(long, value_name = "SIZE", value_parser = room)]
    pub reserve: Option<u64>,
    /// Do not render plays ahead
    #[arg(long)]
    pub no_prepare: bool,
}

/// `status`.
#[derive(Debug, Args)]
pub struct StatusArgs {
    /// Go on showing it until it is stopped
    #[arg(long)]
    pub follow: bool,
}

/// A size in bytes, also none.
fn room(text: &str) -> Result<u64, String> {
    if text.trim() == "0" { Ok(0) } else { size(text) }
}

/// Seconds of a game, a plain number.
fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if seconds.abs() <= 86_400.0 => Ok(seconds),
        _ => Err("a number of seconds is wanted, such as 12 or -3.5".into()),
    }
}

/// Seconds of drift an hour, as a share: 3.6 is .001.
fn drift(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if seconds.abs() <= 72.0 => Ok(seconds / 3600.0),
        _ => Err("a number of seconds an hour is wanted, at most 72, such as 4 or -1.5".into()),
    }
}

impl Cli {
    /// Reads the command line.
    pub fn read() -> Result<Self, clap::Error> {
        Self::of(Self::command().try_get_matches()?)
    }

    fn of(matches: ArgMatches) -> Result<Self, clap::Error> {
        let mut cli = Self::from_arg_matches(&matches)?;
        // Which films belong to which --camera only the occurrences tell.
        if let (Command::Cut(cut), Some(matches)) = (&mut cli.command, matches.subcommand_matches("cut"))
            && let Some(cameras) = matches.get_occurrences::<PathBuf>("camera")
        {
            cut.cameras = cameras.map(|one| one.cloned().collect()).collect();
        }
        Ok(cli)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &str) -> Result<Cli, clap::Error> {
        Cli::of(Cli::command().try_get_matches_from(words.split(' '))?)
    }

    #[test]
    fn the_words_of_the_program_are_sound() {
        Cli::command().debug_assert();
    }

    #[test]
    fn each_camera_keeps_its_own_films() {
        let cli =
            read("downbox cut --game B --sideline a.mp4 b.mp4 --camera roof c.mp4 d --camera drone e.mp4").unwrap();
        let Command::Cut(cut) = cli.command else { panic!("not a cut") };
        assert_eq!(cut.sideline.len(), 2);
        let cameras: Vec<Vec<String>> =
            cut.cameras.iter().map(|c| c.iter().map(|p| p.display().to_string()).collect()).collect();
        assert_eq!(cameras, [vec!["roof", "c.mp4", "d"], vec!["drone", "e.mp4"]]);
        assert!(read("downbox cut --game B --camera roof").is_err());
    }
}
