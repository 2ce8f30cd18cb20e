//! Damaged and malicious sheets: every reader ends, with rows or with an error that a person can act on, and takes no
//! memory for what a file only claims.

use std::fs;
use std::io::{Cursor, Read, Write};
use std::process::Command;

use downbox::football::Vocabulary;
use downbox::sheet::{ColumnNames, Sheet};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use crate::desk::{Desk, told};
use crate::typed_sheets::habits;

/// Mutants of each file of the corpus; `DOWNBOX_MUTANTS` asks for more, each run of more begins with the same ones.
fn mutants() -> usize {
    std::env::var("DOWNBOX_MUTANTS").ok().and_then(|n| n.parse().ok()).unwrap_or(120)
}

fn mutate(bytes: &mut Vec<u8>, chance: &mut ChaCha8Rng) {
    for _ in 0..chance.random_range(1..6) {
        if bytes.is_empty() {
            return;
        }
        let at = chance.random_range(0..bytes.len());
        match chance.random_range(0..7) {
            0 => bytes[at] ^= 1 << chance.random_range(0..8),
            1 => bytes[at] = chance.random(),
            2 => bytes.truncate(at),
            3 => {
                let end = (at + chance.random_range(1..64)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + chance.random_range(1..64)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                let to = chance.random_range(0..=bytes.len());
                bytes.splice(to..to, piece);
            }
            5 => {
                let number: &[u8] = [&b"99999999999"[..], b"-1", b"0", b"\"", b"<", b"\0", b"\xff\xff\xff\xff"]
                    [chance.random_range(0..7)];
                bytes.splice(at..at, number.iter().copied());
            }
            _ => {
                // A number grows: rows, columns, counts.
                if let Some(digit) = bytes[at..].iter().position(u8::is_ascii_digit) {
                    bytes.splice(at + digit..at + digit, b"9".repeat(chance.random_range(1..12)));
                }
            }
        }
    }
}

/// Mutates one part of a workbook and signs it anew, so that the mutant gets past the archive's check sums.
fn mutate_inside(bytes: &[u8], chance: &mut ChaCha8Rng) -> Vec<u8> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).unwrap();
    let victim = chance.random_range(0..archive.len());
    let mut out = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index).unwrap();
        let mut body = Vec::new();
        entry.read_to_end(&mut body).unwrap();
        let name = entry.name().unwrap().into_owned();
        if index == victim {
            mutate(&mut body, chance);
        }
        out.start_file(name, SimpleFileOptions::default().compression_method(CompressionMethod::Stored)).unwrap();
        out.write_all(&body).unwrap();
    }
    out.finish().unwrap().into_inner()
}

#[test]
fn mutants_end_in_rows_or_in_words() {
    let Some(folder) = habits() else { return };
    let (names, vocabulary) = (ColumnNames::default(), Vocabulary::default());
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let (mut read, mut refused) = (0, 0);
    for (seed, file) in files.iter().enumerate() {
        let bytes = fs::read(file).unwrap();
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let mut chance = ChaCha8Rng::seed_from_u64(seed as u64);
        for mutant in 0..mutants() {
            let mutated = if bytes.starts_with(b"PK") && mutant % 4 > 0 {
                mutate_inside(&bytes, &mut chance)
            } else {
                let mut mutated = bytes.clone();
                mutate(&mut mutated, &mut chance);
                mutated
            };
            match Sheet::read(&mutated, &name, &names, &vocabulary) {
                Ok(sheet) => {
                    assert!(!sheet.rows.is_empty());
                    read += 1;
                }
                Err(error) => {
                    assert!(!error.next.is_empty(), "{error}");
                    refused += 1;
                }
            }
        }
    }
    // A mutation that always or never destroys the file tests nothing.
    assert!(read > 200 && refused > 100, "{read} read, {refused} refused");
}

fn archive(parts: &[(&str, Vec<u8>)]) -> Vec<u8> {
    let mut out = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, body) in parts {
        out.start_file(*name, SimpleFileOptions::default()).unwrap();
        out.write_all(body).unwrap();
    }
    out.finish().unwrap().into_inner()
}

fn ods(rows: &str) -> Vec<u8> {
    let content = format!(
        "<office:document-content xmlns:office=\"o\" xmlns:table=\"t\" xmlns:text=\"x\"><office:body><office:spreadsheet>\
         <table:table table:name=\"P\">{rows}</table:table></office:spreadsheet></office:body></office:document-content>"
    );
    archive(&[
        ("mimetype", b"application/vnd.oasis.opendocument.spreadsheet".to_vec()),
        ("content.xml", content.into_bytes()),
    ])
}

fn xlsx(cells: &str) -> Vec<u8> {
    let main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    let rel = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let package = "http://schemas.openxmlformats.org/package/2006";
    let rels = |kind: &str, target: &str| {
        format!(
            "<Relationships xmlns=\"{package}/relationships\"><Relationship Id=\"rId1\" Type=\"{rel}/{kind}\" \
             Target=\"{target}\"/></Relationships>"
        )
        .into_bytes()
    };
    archive(&[
        ("[Content_Types].xml", format!("<Types xmlns=\"{package}/content-types\"/>").into_bytes()),
        ("_rels/.rels", rels("officeDocument", "xl/workbook.xml")),
        (
            "xl/workbook.xml",
            format!(
                "<workbook xmlns=\"{main}\" xmlns:r=\"{rel}\"><sheets><sheet name=\"P\" sheetId=\"1\" \
                 r:id=\"rId1\"/></sheets></workbook>"
            )
            .into_bytes(),
        ),
        ("xl/_rels/workbook.xml.rels", rels("worksheet", "worksheets/sheet1.xml")),
        (
            "xl/worksheets/sheet1.xml",
            format!("<worksheet xmlns=\"{main}\"><sheetData>{cells}</sheetData></worksheet>").into_bytes(),
        ),
    ])
}

/// What only claims to be large must not take memory: read under a limit of 700 MB of address space, of which the
/// program with its libraries takes some 300.
#[test]
fn claims_take_no_memory() {
    let desk = Desk::new();
    let text = |t: &str| format!("<c r=\"{t}\" t=\"inlineStr\"><is><t>Down</t></is></c>");
    let head = format!("<row r=\"1\">{}<c r=\"B1\" t=\"inlineStr\"><is><t>Dist</t></is></c></row>", text("A1"));
    let play = "<row r=\"2\"><c r=\"A2\"><v>1</v></c><c r=\"B2\"><v>10</v></c></row>";
    let cell =
        |v: &str| format!("<table:table-cell office:value-type=\"string\"><text:p>{v}</text:p></table:table-cell>");
    let head_ods = format!("<table:table-row>{}{}</table:table-row>", cell("Down"), cell("Dist"));
    let play_ods = format!("<table:table-row>{}{}</table:table-row>", cell("1"), cell("10"));
    let bomb = format!("<row r=\"1\">{}</row>", " ".repeat(120 << 20));
    let cases: Vec<(&str, Vec<u8>, i32)> = vec![
        ("far.xlsx", xlsx(&format!("{head}{play}<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>")), 0),
        ("bomb.xlsx", xlsx(&bomb), 2),
        (
            "shared.xlsx",
            xlsx(&format!(
                "{head}<row r=\"2\"><c r=\"A2\"><f t=\"shared\" si=\"4000000000\" ref=\"A2\">1</f><v>1</v></c></row>"
            )),
            2,
        ),
        (
            "rows.ods",
            ods(&format!(
                "{head_ods}{play_ods}<table:table-row table:number-rows-repeated=\"4000000000\">{}</table:table-row>",
                cell("x")
            )),
            2,
        ),
        (
            "columns.ods",
            ods(&format!(
                "{head_ods}{play_ods}<table:table-row><table:table-cell table:number-columns-repeated=\"4000000000\" office:value-type=\"string\"><text:p>x</text:p></table:table-cell></table:table-row>"
            )),
            0,
        ),
        (
            "empty.ods",
            ods(&format!(
                "{head_ods}{play_ods}<table:table-row table:number-rows-repeated=\"4000000000\"><table:table-cell table:number-columns-repeated=\"4000000000\"/></table:table-row>"
            )),
            0,
        ),
        ("whole.ods", ods(&format!("{head_ods}{play_ods}")), 0),
    ];
    for (name, bytes, code) in cases {
        fs::write(desk.at(name), bytes).unwrap();
        let mut limited = Command::new("bash");
        let line = "ulimit -v 700000; exec \"$0\" sheet check \"$1\" --json";
        limited.args(["-c", line, env!("CARGO_BIN_EXE_downbox"), name]).current_dir(desk.folder.path());
        limited.env("XDG_CONFIG_HOME", desk.at("no-config")).env("DOWNBOX_LIBRARY", desk.library());
        let said = told(&mut limited);
        assert_eq!(said.code, code, "{name}: {}\n{}", said.out.chars().take(2000).collect::<String>(), said.err);
        if code == 2 {
            assert!(said.json()["error"]["next"].as_str().is_some_and(|n| !n.is_empty()), "{name}");
        } else {
            assert_eq!(said.json()["rows"][0]["tags"]["distance"], 10, "{name}");
        }
    }
}
