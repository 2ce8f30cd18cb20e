//! The command line's words. Raw flags only: each command resolves them.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

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

/// Flags of every command.
#[derive(Debug, Clone, Default, Args)]
pub struct Common {
    /// Print one JSON document on standard output and nothing else there
    #[arg(long, global = true)]
    pub json: bool,
    /// No progress and no remarks on standard error (warnings and errors stay)
    #[arg(long, global = true)]
    pub quiet: bool,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Find shots and plays in one camera's film
    Scan(Scan),
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
}
