//! The command line: words, progress, what is printed. One small file for each command.

pub mod args;
mod asks;
mod check;
mod cut;
mod cutup;
mod explain;
mod header;
mod journal;
mod mend;
mod mend_play;
mod output;
mod plays;
mod plays_csv;
mod plays_table;
mod progress;
mod reel;
mod scan;
mod sheet;
mod shelf;
mod status;
mod stills;
mod stopping;
mod table;
mod watch;
mod wire;

use std::process::ExitCode;

use clap::error::ErrorKind;

use args::{Cli, Command};
use progress::Chain;

use crate::base::Error;

/// Reads the command line and does what it says.
pub fn run() -> ExitCode {
    let cli = match Cli::read() {
        Ok(cli) => cli,
        // No words at all: the help is the answer, on standard error, and nothing was done.
        Err(words) if words.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            let _ = words.print();
            return ExitCode::from(2);
        }
        Err(words) if words.use_stderr() => {
            let json = std::env::args_os().any(|arg| arg == "--json");
            return output::fail(&misread(&words), json);
        }
        Err(words) => {
            // Help and version are no failure; nor is a closed pipe.
            let _ = words.print();
            return ExitCode::SUCCESS;
        }
    };
    let chain = Chain::new(cli.common.quiet);
    let kept = match &cli.command {
        Command::Scan(_) => Some("what is measured is kept, the same command goes on from there"),
        Command::Cut(_) | Command::Watch(_) => {
            Some("what is measured and cut is kept, the same command goes on from there")
        }
        Command::Check(_) => Some("nothing is left half-done, the same command begins again"),
        Command::Stills(_) | Command::Cutup(_) | Command::Reel(_) => {
            Some("nothing is left half-made, the same command makes it")
        }
        // Done before anyone could stop it.
        Command::Plays(_) | Command::Mend(_) | Command::Sheet(_) => None,
        Command::Status(args) => args.follow.then_some("the night shift itself goes on"),
    };
    if let Some(kept) = kept
        && let Err(error) = stopping::listen(chain.stop(), (!cli.common.quiet).then_some(kept))
    {
        return output::fail(&error, cli.common.json);
    }
    let outcome = match &cli.command {
        Command::Scan(args) => scan::run(&cli.common, args, &chain),
        Command::Cut(args) => cut::run(&cli.common, args, &chain),
        Command::Plays(args) => plays::run(&cli.common, args),
        Command::Mend(args) => mend::run(&cli.common, args, &chain),
        Command::Check(args) => check::run(&cli.common, args, &chain),
        Command::Sheet(args) => sheet::run(&cli.common, args),
        Command::Stills(args) => stills::run(&cli.common, args, &chain),
        Command::Cutup(args) if args.asks => asks::run(&cli.common, args, &chain),
        Command::Cutup(args) => cutup::run(&cli.common, args, &chain),
        Command::Reel(args) => reel::run(&cli.common, args, &chain),
        Command::Watch(args) => watch::run(&cli.common, args, &chain),
        Command::Status(args) => status::run(&cli.common, args, &chain),
    };
    chain.end();
    match outcome {
        Ok(outcome) => outcome.into(),
        Err(error) => {
            if error.kind == crate::base::ErrorKind::Interrupted {
                stopping::tell();
            }
            output::fail(&error, cli.common.json)
        }
    }
}

/// What is wrong with the words of the command line, as every other error is told.
fn misread(words: &clap::Error) -> Error {
    let text = words.render().to_string();
    // The first paragraph is the fault, with what is missing on lines of its own; the rest repeats the usage.
    let fault = text.split("\n\n").next().unwrap_or(&text).trim_start_matches("error:");
    let fault = fault.split_whitespace().collect::<Vec<_>>().join(" ");
    let tip = text.lines().find_map(|line| line.trim().strip_prefix("tip: "));
    let command = std::env::args_os().nth(1).and_then(|word| word.into_string().ok());
    let command = command.filter(|word| !word.starts_with('-'));
    let help = match (tip, command) {
        (None, Some(command)) => format!("downbox {command} --help"),
        _ => "downbox --help".into(),
    };
    let next = match tip {
        Some(tip) => format!("{tip}; all words are told by: {help}"),
        None => format!("see the words it takes with: {help}"),
    };
    Error::refused(fault, "", next)
}
