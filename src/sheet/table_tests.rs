use super::*;

fn read(text: &str) -> Table {
    Table::read(text.as_bytes(), "tags.csv", &ColumnNames::default()).unwrap()
}

fn rows(table: &Table) -> Vec<String> {
    table.rows.iter().map(|r| format!("{}: {}", r.number, r.cells.join("|"))).collect()
}

fn words(table: &Table) -> String {
    table.problems.iter().map(|p| format!("{} [{}] {}\n", p.place, p.value, p.what)).collect()
}

#[test]
fn every_delimiter_reads_the_same() {
    for delimiter in DELIMITERS {
        let text = "Down,Dist,Shell\n1,10,one-high\n2,7,two-high\n".replace(',', &delimiter.to_string());
        let table = read(&text);
        assert_eq!(table.header, ["Down", "Dist", "Shell"], "{delimiter:?}");
        assert_eq!(rows(&table), ["2: 1|10|one-high", "3: 2|7|two-high"]);
    }
}

#[test]
fn a_semicolon_sheet_with_decimal_commas_and_commas_in_notes() {
    let table = read("Time;Down;Note\n12,5;1;a, b, c\n40,1;2;d, e\n");
    assert_eq!(rows(&table), ["2: 12,5|1|a, b, c", "3: 40,1|2|d, e"]);
}

#[test]
fn a_sep_line_is_no_record() {
    for first in ["sep=;\n", "SEP=;\r\n", "\"sep=;\"\r", "sep=;;;\n"] {
        let table = read(&format!("{first}Down;Dist\n1;10\n"));
        assert_eq!(rows(&table), ["2: 1|10"], "{first:?}");
    }
}

#[test]
fn titles_blanks_repeated_headers_headings_and_totals_are_no_plays() {
    let table = read(
        "Badgers at Otters,,,\nTyped by hand,Down,,\n,,,\nDown,Dist,Gain,Note\n1,10,3,\n\n,,,\n2,7,4,\n\
         2nd Quarter,,,\nDOWN,DIST,Gain,\n3,3,-2,long,extra\nTotals,,5,\n",
    );
    assert_eq!(rows(&table), ["2: 1|10|3|", "5: 2|7|4|", "8: 3|3|-2|long|extra"]);
    assert_eq!(table.used(), [true, true, true, true, true]);
    insta::assert_snapshot!(words(&table), @r"
    tags.csv:1 [] 2 rows above the header passed over; the header is record 1 in every address
    tags.csv:6 [2nd Quarter] a heading between the rows; not read as a play
    tags.csv:7 [DOWN] the header again; not read as a play
    tags.csv:8 [] the row has 5 cells, the header 4; what is beyond is kept by the column's number
    tags.csv:9 [Totals] a row of totals; not read as a play
    ");
}

#[test]
fn quoted_line_breaks_and_a_header_on_two_lines() {
    let table = read("\"Ball\nOn\",Down\r\n\"own 35\",\"1\"\r\"+20\",2\r\n");
    assert_eq!(table.header, ["Ball On", "Down"]);
    assert_eq!(rows(&table), ["2: own 35|1", "3: +20|2"]);
}

#[test]
fn an_unclosed_quote_is_told_by_its_cell() {
    let table = read("Down,Dist,Note\n1,10,\"go\n2,7,x\n3,4,y\n");
    assert_eq!(table.rows.len(), 3);
    insta::assert_snapshot!(words(&table), @r#"tags.csv:2 column Note ["go] a quote is opened and never closed; kept as a character, the cell ends at its line"#);
}

#[test]
fn a_sheet_without_a_known_column_lists_what_it_has() {
    let error = Table::read(b"Mood,Weather\ngood,rain\n", "tags.csv", &ColumnNames::default()).unwrap_err();
    insta::assert_snapshot!(format!("{error}\n{}", error.next), @r#"
    the tag sheet has no column that is known; its first row reads: Mood, Weather: tags.csv
    give the sheet a header row with names such as Down, Distance, Shell (downbox sheet blank OUT.xlsx writes one), or name the columns in the settings, such as [sheet.columns] "your header" = "down"
    "#);
}

#[test]
fn what_is_no_sheet_is_refused_with_the_next_step() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in [
        ("tags.xlsx", &b"PK\x03\x04...."[..]),
        ("tags.csv", &b"PK\x03\x04...."[..]),
        ("tags.xls", &b"\xd0\xcf\x11\xe0...."[..]),
        ("tags.xls", &b"<html><body><table>"[..]),
    ] {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let error = Table::open(&path, &ColumnNames::default()).unwrap_err();
        assert!(error.to_string().contains(name) && error.next.contains("CSV"), "{error}: {}", error.next);
    }
    // A text under a workbook's name is a text.
    let text = folder.path().join("tags.ODS");
    std::fs::write(&text, "Down\n1\n").unwrap();
    assert_eq!(rows(&Table::open(&text, &ColumnNames::default()).unwrap()), ["2: 1"]);
    let error = Table::open(folder.path(), &ColumnNames::default()).unwrap_err();
    assert!(error.to_string().contains("it is a folder"), "{error}");
    let error = Table::open(&folder.path().join("none.csv"), &ColumnNames::default()).unwrap_err();
    assert!(error.to_string().starts_with("cannot read the tag sheet"), "{error}");
}
