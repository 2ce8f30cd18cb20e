//! `downbox sheet`: what a typed tag sheet says and what is wrong in it; an empty one to type in.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

use serde_json::json;

use super::args::{Common, SheetBlank, SheetCheck, SheetCommand};
use super::output::{self, Outcome};
use super::table::table;
use super::{header, shelf};
use crate::base::{Error, IoContext, PendingFile, Problem, Result};
use crate::football::Field;
use crate::jobs::Config;
use crate::sheet::{Role, Sheet, blank_header, blank_text, blank_workbook, give_ball};

/// Runs it.
pub fn run(common: &Common, command: &SheetCommand) -> Result<Outcome> {
    match command {
        SheetCommand::Check(args) => check(common, args),
        SheetCommand::Blank(args) => blank(common, args),
    }
}

fn check(common: &Common, args: &SheetCheck) -> Result<Outcome> {
    let folder = shelf::present(common)?;
    let mut config = Config::load(folder.as_deref())?;
    header::settle(common, &mut config, folder.as_deref(), &args.sheet, args.yes, true)?;
    let mut sheet = Sheet::open(&args.sheet, &config.columns, &config.vocabulary)?;
    if let (Some(we), Some(they)) = (&args.we, &args.they) {
        give_ball(&mut sheet.rows, we, they);
    }
    if common.json {
        output::print_json(&sheet.to_json())?;
    } else {
        output::print(&report(&sheet, &args.sheet))?;
    }
    Ok(Outcome::Done)
}

/// What was read, column by column, then every problem by its cell.
fn report(sheet: &Sheet, path: &Path) -> String {
    let mut out = String::new();
    let worksheet = sheet.worksheet.as_ref().map(|w| format!(", worksheet {w}")).unwrap_or_default();
    let _ = writeln!(
        out,
        "{}{worksheet}: {}, {}\n",
        output::path(path),
        output::strong(output::count(sheet.rows.len(), "play")),
        match sheet.problems.len() {
            0 => "nothing to remark".to_string(),
            n => output::count(n, "remark"),
        }
    );
    let plays = sheet.rows.len();
    let mut rows: Vec<Vec<String>> = Vec::new();
    for (_, column) in sheet.columns.iter() {
        let (read_as, filled) = match column.role {
            Role::Field(field) => {
                let filled = sheet.rows.iter().filter(|r| r.tags.get(field).is_some()).count();
                (field.words().to_string(), filled)
            }
            Role::Result => {
                let known = |f| move |r: &&crate::sheet::Row| r.tags.get(f).is_some();
                let ended =
                    sheet.rows.iter().filter(|r| known(Field::Ending)(r) || known(Field::PassResult)(r)).count();
                ("pass result and ending".to_string(), ended)
            }
            Role::Own => {
                let filled = sheet.rows.iter().filter(|r| r.tags.own.contains_key(&column.name)).count();
                ("your own tag".to_string(), filled)
            }
        };
        rows.push(vec![column.name.clone(), read_as, format!("{filled} of {plays}")]);
    }
    out.push_str(&table(&["column", "read as", "filled"], &rows));
    if !sheet.problems.is_empty() {
        let _ = write!(out, "\n{}", table(&["where", "typed", "remark", "taken as"], &lines(sheet)));
    }
    out
}

/// Remarks of one kind on one column that are shown; the rest are counted, and `--json` has them all.
const SHOWN: usize = 3;

fn lines(sheet: &Sheet) -> Vec<Vec<String>> {
    // Of a place the column: `Down` of `12 Down`, `C` of `C12`.
    let kind = |line: &Vec<String>| {
        let column: String = line[0].chars().filter(|c| !c.is_ascii_digit()).collect();
        (column.trim().to_string(), line[2].clone())
    };
    let all: Vec<Vec<String>> = sheet.problems.iter().map(|p| line(p, sheet)).collect();
    let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
    for line in &all {
        *counts.entry(kind(line)).or_default() += 1;
    }
    let mut seen: BTreeMap<(String, String), usize> = BTreeMap::new();
    let mut out = Vec::new();
    for line in all {
        let kind = kind(&line);
        let (count, so_far) = (counts.get(&kind).copied().unwrap_or(0), seen.entry(kind).or_default());
        *so_far += 1;
        // A summary that stands for one line saves nothing.
        if count <= SHOWN + 1 || *so_far <= SHOWN {
            out.push(line);
        } else if *so_far == SHOWN + 1 {
            out.push(vec![
                "...".into(),
                String::new(),
                format!("the same of {} more cells", count - SHOWN),
                String::new(),
            ]);
        }
    }
    out
}

fn line(problem: &Problem, sheet: &Sheet) -> Vec<String> {
    // The file and the worksheet stand above the table.
    let inside = problem.place.strip_prefix(&sheet.name).unwrap_or(&problem.place);
    let inside = match &sheet.worksheet {
        Some(worksheet) => inside.trim_start_matches('!').strip_prefix(worksheet.as_str()).unwrap_or(inside),
        None => inside,
    };
    let place = inside.trim_start_matches(['!', ':']).replacen(" column ", " ", 1);
    vec![place, problem.value.clone(), problem.what.clone(), problem.took.clone()]
}

fn blank(common: &Common, args: &SheetBlank) -> Result<Outcome> {
    let out = &args.out;
    let ending = out.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default();
    if !["xlsx", "csv", "tsv"].contains(&ending.as_str()) {
        return Err(Error::refused(
            "an empty sheet is written as a workbook or a text",
            out.display(),
            "name it with the ending .xlsx (with drop-downs) or .csv",
        ));
    }
    if out.symlink_metadata().is_ok() {
        return Err(Error::refused(
            "there is a file of this name already, and a sheet that was typed is not written over",
            out.display(),
            "choose another name, or move that file away",
        ));
    }
    let folder = shelf::present(common)?;
    let config = Config::load(folder.as_deref())?;
    let bytes = match ending.as_str() {
        "xlsx" => blank_workbook(&config.vocabulary)?,
        "tsv" => blank_text('\t').into_bytes(),
        _ => blank_text(',').into_bytes(),
    };
    let pending = PendingFile::new(out)?;
    std::fs::write(pending.path(), bytes).doing("write the empty sheet", pending.path())?;
    pending.commit()?;
    if common.json {
        output::print_json(&json!({"out": out.display().to_string(), "columns": blank_header()}))?;
    } else {
        output::print(&format!(
            "{}: {} columns; delete those you do not need, add your own\nthen: {}\n",
            output::path(out),
            blank_header().len(),
            output::paste(format!("downbox sheet check {}", output::path(out)))
        ))?;
    }
    Ok(Outcome::Done)
}
