//! A sheet's header that was never seen: shown with what it may hold, and taken only if a person says so.

use std::fmt::Write;
use std::io::{BufRead, IsTerminal};
use std::path::Path;

use super::args::Common;
use super::output;
use super::table::table;
use crate::base::{Error, IoContext, Result};
use crate::jobs::Config;
use crate::sheet::Draft;

/// Settles what the columns of `sheet` hold. Where too little of its header is known the proposal is shown; `yes` takes
/// it, a terminal is asked, and all else is refused with the next step. What was taken is remembered for this header in
/// the library's folder, else the user's, if `remember`.
pub fn settle(
    common: &Common,
    config: &mut Config,
    folder: Option<&Path>,
    sheet: &Path,
    yes: bool,
    remember: bool,
) -> Result<()> {
    let draft = Draft::open(sheet, &config.columns, &config.vocabulary)?;
    if draft.proposal.columns.is_empty() || (draft.settled() && !yes) {
        return Ok(());
    }
    if !common.quiet || !yes {
        output::note(shown(&draft, sheet).trim_end());
    }
    let terminal = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    if !yes && (!terminal || common.json) {
        return Err(draft.refusal(&output::path(sheet)));
    }
    if !yes && !agreed()? {
        return Err(Error::refused(
            "the columns were not confirmed; nothing was done",
            sheet.display(),
            "name them in the settings, such as [sheet.columns] \"your header\" = \"down\", or change the sheet's header",
        ));
    }
    let confirmed = draft.confirmed();
    if remember {
        let file = Config::remember(folder, &confirmed)?;
        if !common.quiet {
            output::note(format!("remembered for this header in {}", output::path(&file)));
        }
    }
    config.columns = std::mem::take(&mut config.columns).knowing([confirmed]);
    Ok(())
}

fn agreed() -> Result<bool> {
    output::ask("Read them so, and remember it for this header? [y/N] ");
    let mut answer = String::new();
    std::io::stdin().lock().read_line(&mut answer).doing("read the answer", Path::new("the terminal"))?;
    Ok(["y", "yes"].contains(&answer.trim().to_lowercase().as_str()))
}

fn shown(draft: &Draft, sheet: &Path) -> String {
    let mut out = String::new();
    let known = if draft.settled() { "some columns are" } else { "the header is" };
    let _ = writeln!(out, "{}: {known} new; by names and values it may be:\n", output::path(sheet));
    let rows: Vec<Vec<String>> = draft
        .proposal
        .columns
        .iter()
        .map(|p| vec![p.name.clone(), p.role.words().to_string(), p.values.join(", "), p.why.clone()])
        .collect();
    out.push_str(&table(&["column", "read as", "such as", "because"], &rows));
    let others = draft.others();
    if !others.is_empty() {
        let _ = writeln!(out, "\nkept as your own tags: {}", others.join(", "));
    }
    out
}
