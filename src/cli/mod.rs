//! The command line: words, progress, what is printed. One small file for each command.

pub mod args;
mod cut;
mod cutup;
mod output;
mod plays;
mod progress;
mod scan;
mod shelf;
mod stills;
mod watch;
mod wire;

use std::process::ExitCode;

use args::{Cli, Command};
use progress::Chain;

/// Reads the command line and does what it says.
pub fn run() -> ExitCode {
    let cli = match Cli::read() {
        Ok(cli) => cli,
        Err(words) => {
            // Help and version go to standard output and are no failure; all else is refused. A closed pipe is fine.
            let _ = words.print();
            return if words.use_stderr() { ExitCode::from(2) } else { ExitCode::SUCCESS };
        }
    };
    let chain = Chain::new(cli.common.quiet);
    let outcome = match &cli.command {
        Command::Scan(args) => scan::run(&cli.common, args, &chain),
        Command::Cut(args) => cut::run(&cli.common, args, &chain),
        Command::Plays(args) => plays::run(&cli.common, args),
        Command::Stills(args) => stills::run(&cli.common, args, &chain),
        Command::Cutup(args) => cutup::run(&cli.common, args, &chain),
        Command::Watch(args) => watch::run(&cli.common, args, &chain),
    };
    chain.end();
    match outcome {
        Ok(outcome) => outcome.into(),
        Err(error) => output::fail(&error, cli.common.json),
    }
}
