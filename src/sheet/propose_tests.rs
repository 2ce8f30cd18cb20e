use super::*;

fn proposed(text: &str) -> String {
    let names = ColumnNames::default();
    let table = Table::read(text.as_bytes(), "tags.csv", &names).unwrap();
    propose(&table, &names, &Vocabulary::default()).in_words()
}

/// Ten plays under a header of which no name is known.
fn sheet(header: &str) -> String {
    let rows = [
        "1,I,12:00,1,10,own 25,trips,single high,4,Ada",
        "2,I,11:31,2,6,own 29,bunch,2-high,-2,Bo",
        "3,I,10:50,3,8,own 27,trips,MOFC,12,Ada",
        "4,I,10:20,1,10,own 39,empty,single high,0,Cy",
        "5,I,9:58,2,10,own 39,doubles,2-high,5,Ada",
        "6,I,9:20,3,5,own 44,trips,single high,9,Bo",
        "7,I,8:51,1,10,opp 47,bunch,MOFO,3,Ada",
        "8,I,8:10,2,7,opp 44,empty,2-high,8,Cy",
        "9,I,7:40,1,10,opp 36,trips,single high,-1,Di",
        "10,I,7:02,2,11,opp 37,bunch,MOFC,20,Ada",
    ];
    format!("{header}\n{}\n", rows.join("\n"))
}

#[test]
fn values_tell_what_a_header_does_not() {
    assert_eq!(
        proposed(&sheet("aa,bb,cc,dd,ee,ff,gg,hh,ii,jj")),
        "\"aa\" as sheet number, \"cc\" as clock, \"dd\" as down, \"ee\" as distance, \"ff\" as ball on, \
         \"gg\" as formation, \"hh\" as shell, \"ii\" as gain"
    );
}

#[test]
fn known_names_keep_their_roles_and_slips_are_near() {
    assert_eq!(
        proposed(&sheet("No,Per,Clok,Down,Distnace,Spott,Lineup,Coverage look,Gained yds,Typist")),
        "\"Clok\" as clock, \"Distnace\" as distance, \"Spott\" as ball on, \"Lineup\" as formation, \
         \"Coverage look\" as shell, \"Gained yds\" as gain"
    );
}

#[test]
fn down_and_distance_in_one_column_are_told() {
    let text = "aa,bb,cc\n1st & 10,x,q\n2nd & 6,y,q\n3rd & 2,x,q\n1st & G,z,q\n";
    assert_eq!(proposed(text), "\"aa\" as down");
}

#[test]
fn what_two_fields_know_alike_is_left_to_the_name() {
    // Yes and no are a motion's and a shift's; left and right a hash's and a strength's.
    let text = "aa,bb,cc\nyes,left,1\nno,right,7\nyes,left,1\nno,right,3\n";
    assert_eq!(proposed(text), "");
    let text = "hash side,moving,cc\nleft,yes,1\nright,no,7\nleft,yes,3\nright,no,3\n";
    assert!(proposed(text).contains("\"hash side\" as hash"), "{}", proposed(text));
}

#[test]
fn a_proposal_that_was_taken_reads_the_sheet() {
    let text = sheet("aa,bb,cc,dd,ee,ff,gg,hh,ii,jj");
    let names = ColumnNames::default();
    let vocabulary = Vocabulary::default();
    let table = Table::read(text.as_bytes(), "tags.csv", &names).unwrap();
    let confirmed = propose(&table, &names, &vocabulary).confirmed(&table, &names);
    let sheet = super::super::Sheet::read(text.as_bytes(), "x.csv", &names.knowing([confirmed]), &vocabulary).unwrap();
    assert_eq!(
        sheet.rows[1].tags.to_json().to_string(),
        "{\"sheet_number\":\"2\",\"clock\":\"11:31\",\"down\":2,\"distance\":6,\"ball_on\":\"own 29\",\
         \"formation\":\"bunch\",\"shell\":\"two-high\",\"gain\":-2,\"bb\":\"I\",\"jj\":\"Bo\"}"
    );
}
