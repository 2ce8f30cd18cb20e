use proptest::prelude::*;

use super::super::{ColumnNames, Sheet};
use super::*;

fn read(text: &str) -> Sheet {
    Sheet::read(text.as_bytes(), "tags.csv", &ColumnNames::default(), &Vocabulary::default()).unwrap()
}

fn tags(sheet: &Sheet) -> Vec<String> {
    sheet.rows.iter().map(|r| format!("{} {}", r.place, r.tags.to_json())).collect()
}

fn words(sheet: &Sheet) -> String {
    let line = |p: &Problem| format!("{} | {} | {} | {}", p.place, p.value, p.what, p.took);
    sheet.problems.iter().map(line).collect::<Vec<_>>().join("\n")
}

const TIRED: &str = "\
Play #,Time,Qtr,Clock,Down,Dist,Ball On,Hash,Form,Shell,Result,Gain,Grade,Mood
1,12.5,1,12:00,1st,10,-25,L,Trips Rt,1-high,Complete,+5,A,
2,0:45.0,Q1,11:31,10-Jan,,own 30,M,Bunchh,single high,Inc,0,,
3,1:20,1,:45,3rd & 7,,33,R,bunchh,MOFO,\"complete, TD\",(3),,
4,,1Q,early,4th,long,+4,R,Trips Rt,weird,nice one,\u{2013}4,,
4,,1Q,early,4th,long,+4,R,Trips Rt,weird,nice one,\u{2013}4,,
5,2:40,OT,0:30,2,10,opp 5,,,,,4.5,,
6,,,,,,,,,,,,,
7,,,,,,,,,,,,,
";

#[test]
fn a_tired_persons_sheet() {
    let sheet = read(TIRED);
    insta::assert_snapshot!(tags(&sheet).join("\n"), @r#"
    tags.csv:2 {"sheet_number":"1","time":12.5,"quarter":1,"clock":"12:00","down":1,"distance":10,"ball_on":"own 25","hash":"left","formation":"trips right","shell":"one-high","pass_result":"complete","gain":5,"Grade":"A"}
    tags.csv:3 {"sheet_number":"2","time":45.0,"quarter":1,"clock":"11:31","down":1,"distance":10,"ball_on":"own 30","hash":"middle","formation":"Bunchh","shell":"one-high","pass_result":"incomplete","gain":0}
    tags.csv:4 {"sheet_number":"3","time":80.0,"quarter":1,"clock":"0:45","down":3,"distance":7,"hash":"right","formation":"bunchh","shell":"two-high","pass_result":"complete","ending":"touchdown","gain":-3,"Ball On (as typed)":"33"}
    tags.csv:5 {"sheet_number":"4","quarter":1,"down":4,"ball_on":"opp 4","hash":"right","formation":"trips right","shell":"weird","gain":-4,"Clock (as typed)":"early","Dist (as typed)":"long","Result":"nice one"}
    tags.csv:6 {"sheet_number":"4","quarter":1,"down":4,"ball_on":"opp 4","hash":"right","formation":"trips right","shell":"weird","gain":-4,"Clock (as typed)":"early","Dist (as typed)":"long","Result":"nice one"}
    tags.csv:7 {"sheet_number":"5","time":160.0,"quarter":5,"clock":"0:30","down":2,"distance":10,"ball_on":"opp 5","Gain (as typed)":"4.5"}
    "#);
    insta::assert_snapshot!(words(&sheet), @r#"
    tags.csv:2 column Down | 1st | another notation, read without doubt (4 cells of the column) | 1
    tags.csv:2 column Ball On | -25 | another notation, read without doubt (3 cells of the column) | own 25
    tags.csv:3 column Down | 10-Jan | a spreadsheet program took down and distance for a date | 1 and 10
    tags.csv:3 column Qtr | Q1 | another notation, read without doubt (4 cells of the column) | 1
    tags.csv:3 column Form | Bunchh | is no known formation; kept as typed in 2 cells; the nearest known is "bunch" | 
    tags.csv:4 column Ball On | 33 | the cell does not tell which side of the field; write own 35 or opp 35 (or -35 and +35) | 
    tags.csv:4 column Clock | :45 | another notation, read without doubt | 0:45
    tags.csv:4 column Gain | (3) | another notation, read without doubt | -3
    tags.csv:4 |  | the down goes from 1 to 3 after record 3; is a row missing? | 
    tags.csv:5 column Clock | early | the cell is no game clock such as 12:34, at most 15:00 | 
    tags.csv:5 column Dist | long | the cell is no distance from 1 to 99 yards, nor goal | 
    tags.csv:5 column Shell | weird | is no known shell; kept as typed in 2 cells | 
    tags.csv:5 column Result | nice one | is no known pass result or ending; kept as typed in 2 cells | 
    tags.csv:6 column Clock | early | the cell is no game clock such as 12:34, at most 15:00 | 
    tags.csv:6 column Dist | long | the cell is no distance from 1 to 99 yards, nor goal | 
    tags.csv:6 |  | says the same as record 5; was it typed twice? | 
    tags.csv:7 column Gain | 4.5 | the cell is no whole number of yards | 
    tags.csv:7 |  | 10 yards to gain from opp 5 go beyond the goal line; both are kept | 
    tags.csv:8 |  | 2 rows hold nothing but a number; not read as plays |
    "#);
}

#[test]
fn the_document_for_machines() {
    let sheet = read("Down,Dist,Notes,Grade\n1,10,,A\n10-Jan,,x,\n");
    insta::assert_snapshot!(serde_json::to_string_pretty(&sheet.to_json()).unwrap(), @r#"
    {
      "rows": [
        {
          "where": "tags.csv:2",
          "tags": {
            "down": 1,
            "distance": 10,
            "Grade": "A"
          }
        },
        {
          "where": "tags.csv:3",
          "tags": {
            "down": 1,
            "distance": 10,
            "note": "x"
          }
        }
      ],
      "problems": [
        {
          "where": "tags.csv:3 column Down",
          "value": "10-Jan",
          "what": "a spreadsheet program took down and distance for a date",
          "took": "1 and 10"
        }
      ],
      "columns": {
        "down": "Down",
        "distance": "Dist",
        "note": "Notes"
      },
      "own_columns": [
        "Grade"
      ],
      "looks_like": {},
      "worksheet": null
    }
    "#);
}

#[test]
fn a_time_column_that_runs_down_is_the_clock() {
    let sheet = read("Time,Down\n12:00,1\n11:20,2\n10:55,3\n9:40,1\n12:00,1\n11:00,2\n");
    assert_eq!(sheet.rows[1].tags.clock().map(|c| c.to_string()).as_deref(), Some("11:20"));
    assert_eq!(sheet.rows[1].tags.time(), None);
    assert!(words(&sheet).contains("run down as a game clock"), "{}", words(&sheet));
    let film = read("Time,Down\n0:12,1\n0:50,2\n1:30,3\n2:10,1\n");
    assert_eq!(film.rows[1].tags.time(), Some(50.0));
}

#[test]
fn a_field_of_its_own_wins_over_what_another_cell_says() {
    let sheet = read("Down,Dist,Pass Result,Result\n3 & 7,8,complete,inc\n3 & 7,,,inc TD\n");
    let text = tags(&sheet).join("\n");
    insta::assert_snapshot!(text, @r#"
    tags.csv:2 {"down":3,"distance":8,"pass_result":"complete"}
    tags.csv:3 {"down":3,"distance":7,"pass_result":"incomplete","ending":"touchdown"}
    "#);
}

#[test]
fn a_header_and_nothing_below_is_refused() {
    let read = |text: &str| Sheet::read(text.as_bytes(), "t.csv", &ColumnNames::default(), &Vocabulary::default());
    assert!(read("Down,Dist\n,\n").unwrap_err().to_string().contains("no play below it"));
    assert!(read("Play #,Dist\n1,\n2,\n").unwrap_err().to_string().contains("no play below it"));
}

#[test]
fn a_name_with_a_colon_still_sorts_by_record() {
    assert_eq!(record_of("week:3.csv:12 column gain"), 12);
    assert_eq!(record_of("tags.csv:12 column a:9"), 12);
}

proptest! {
    /// Whatever is typed, each row that holds something beyond its number stands in the result, and no word is lost.
    #[test]
    fn no_cell_is_lost(cells in proptest::collection::vec(
        proptest::collection::vec("[0-9A-Za-z&+/:.()' -]{0,8}|10-Jan|3 & 7|own 35|Q3", 5), 1..8)) {
        let mut text = "Down,Dist,Ball On,Result,Zeal\n".to_string();
        for row in &cells {
            text += &row.join(",");
            text.push('\n');
        }
        let Ok(sheet) = Sheet::read(text.as_bytes(), "t.csv", &ColumnNames::default(), &Vocabulary::default()) else {
            return Ok(());
        };
        for row in &sheet.rows {
            let typed = &cells[row.number as usize - 2];
            let zeal = typed[4].trim();
            prop_assert_eq!(row.tags.own.get("Zeal").map(String::as_str).unwrap_or_default(), zeal);
            for (index, (field, name)) in [(Field::Down, "Down"), (Field::Distance, "Dist"), (Field::BallOn, "Ball On")].into_iter().enumerate() {
                let text = tidy(&typed[index]);
                let kept = row.tags.get(field).is_some() || row.tags.own.contains_key(&format!("{name} (as typed)"));
                prop_assert!(kept || unknown(&text) || text.starts_with('0'), "{:?} {:?}", field, text);
            }
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let header = b"Down,Dist,Ball On,Time\n".to_vec();
        let with_header = [header, bytes.clone()].concat();
        for bytes in [bytes, with_header] {
            let _ = Sheet::read(&bytes, "t.csv", &ColumnNames::default(), &Vocabulary::default());
        }
    }
}
