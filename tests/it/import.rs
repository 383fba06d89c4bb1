//! Lists on their way into the house, in memory: every form in which programs save them, what stands in them that will not
//! do, and that the same list again changes nothing. The forms and traps are those of a collection of specimens of
//! spreadsheets; what a program does to identifiers and dates is common experience, the guard against formulas is that of
//! the OWASP page "CSV Injection".

use std::collections::BTreeSet;

use fettle::domain::import::{self, Change, Chosen, Drafting, Kind, Plan, Question, problem_lines};
use fettle::domain::person::{Actor, Role};
use fettle::domain::simulate::Given;
use fettle::domain::simulate::ledger::Paper;
use fettle::domain::time::Time;
use fettle::formats::grid::value::{DayOrder, DecimalSign};
use fettle::formats::grid::{self, Charset};
use fettle::formats::table::Fault;
use serde_json::json;

use super::served::department;

mod fuzz;

/// The small department of every test, in memory.
pub struct Lists {
    pub paper: Paper,
    pub now: Time,
}

impl Lists {
    pub fn open() -> Lists {
        let now = Time::parse("2026-03-02T08:00:00+01:00").unwrap();
        let site = fettle::domain::id::Id::new("lists").unwrap();
        let mut lists = Lists { paper: Paper::new(site, chrono_tz::Europe::Berlin, now), now };
        for (role, command) in department() {
            lists.give(role, fettle::domain::Command::read(command).unwrap());
        }
        lists
    }

    fn give(&mut self, role: Role, command: fettle::domain::Command) {
        let told = format!("{command:?}");
        self.paper
            .take(&Given { now: self.now, role, command })
            .unwrap_or_else(|turned| panic!("{told}: {turned:?}"));
        self.now = self.now.plus_s(1);
    }

    fn plan_of(&self, role: Role, kind: Kind, bytes: &[u8], chosen: &Chosen) -> Plan {
        let grid = grid::read(bytes, chosen.charset).unwrap_or_else(|why| panic!("{why:?}"));
        let mut plan = import::plan(&self.paper.state, kind, &grid, chosen);
        let actor = Actor { code: role.name().into(), role };
        let (people, attachments) = (BTreeSet::new(), std::collections::BTreeMap::new());
        let with = Drafting { actor: &actor, now: self.now, people: &people, attachments: &attachments };
        import::decide_all(&self.paper.state, &with, &mut plan);
        plan
    }

    fn plan(&self, role: Role, kind: Kind, text: &str) -> Plan {
        self.plan_of(role, kind, text.as_bytes(), &Chosen::default())
    }

    /// Tries a list that has to do, and gives its commands.
    fn done(&mut self, role: Role, kind: Kind, text: &str) -> Plan {
        let plan = self.plan(role, kind, text);
        assert!(plan.may_import(), "{:?} {:?}", plan.questions, problem_lines(&plan));
        for planned in plan.planned.clone() {
            self.give(role, planned.command);
        }
        let wrong = fettle::domain::checks::check(&self.paper.state);
        assert!(wrong.is_empty(), "{wrong:?}");
        plan
    }

    /// The same list again: nothing changes.
    fn the_same_again(&self, role: Role, kind: Kind, text: &str) {
        let plan = self.plan(role, kind, text);
        assert!(plan.may_import() && plan.planned.is_empty(), "{:?} {:?}", problem_lines(&plan), plan.told);
        assert!(
            !plan.told.is_empty() && plan.told.iter().all(|it| it.change == Change::Same),
            "{:?}",
            plan.told
        );
    }
}

fn has(faults: &[Fault], line: u64, column: &str, found: &str) {
    let is = |it: &&Fault| it.line == line && it.column == column && it.found.contains(found);
    let one = faults.iter().find(is).unwrap_or_else(|| panic!("no {line} {column} {found}: {faults:#?}"));
    assert!(!one.needed.is_empty(), "{one:?}");
}

/// One list in every form: separators, line ends, characters, quotes.
#[test]
fn one_list_is_the_same_in_every_form() {
    let lists = Lists::open();
    let header = "asset_no;serial;description;acquired;uses;site;model";
    let rows = [
        "SC-017;00123;\"Endoscope 30°, 4 mm\";2024-03-01;212;Main;scope",
        "SC-018;00124;\"Says \"\"new\"\"\";2024-12-05;0;\"Main; East\";scope",
        "SC-019;1E5;\"Line one\nline two\";;7;Åre;scope",
    ];
    let text = |end: &str| format!("{header}{end}{}{end}", rows.join(end));
    let utf_16: Vec<u8> =
        "\u{feff}".encode_utf16().chain(text("\r\n").encode_utf16()).flat_map(u16::to_le_bytes).collect();
    let western = encoding_rs::WINDOWS_1252.encode(&text("\r\n")).0.into_owned();
    let declared = Chosen { charset: Some(Charset::Windows1252), ..Chosen::default() };
    let forms: Vec<(&str, Vec<u8>, Chosen)> = vec![
        ("CRLF", text("\r\n").into_bytes(), Chosen::default()),
        ("LF", text("\n").into_bytes(), Chosen::default()),
        ("CR", text("\r").into_bytes(), Chosen::default()),
        ("byte order mark", format!("\u{feff}{}", text("\r\n")).into_bytes(), Chosen::default()),
        ("UTF-16", utf_16, Chosen::default()),
        ("Windows-1252", western, declared),
        ("hint", format!("sep=;\r\n{}", text("\r\n")).into_bytes(), Chosen::default()),
        ("no last line end", text("\n").trim_end().as_bytes().to_vec(), Chosen::default()),
        ("blank rows", format!("{};;;;;;\n\n;;;;;;\n", text("\n")).into_bytes(), Chosen::default()),
    ];
    for (form, bytes, chosen) in forms {
        let plan = lists.plan_of(Role::Lead, Kind::Assets, &bytes, &chosen);
        assert!(plan.may_import(), "{form}: {:?} {:?}", plan.questions, problem_lines(&plan));
        assert_eq!((plan.rows, plan.count(Change::New), plan.planned.len()), (3, 3, 3), "{form}");
        let first = plan.planned[0].command.to_value().unwrap();
        let expected = json!({"do": "add_asset", "asset": "SC-017", "serial": "00123", "acquired": "2024-03-01",
                              "prior_uses": 212, "model": "scope"});
        assert_eq!(first, expected, "{form}");
        assert_eq!(
            plan.planned[2].command.to_value().unwrap()["serial"],
            "1E5",
            "{form}: a serial number is text"
        );
        assert_eq!(plan.mapping.left_out(), ["description", "site"], "{form}");
    }
    assert!(
        grid::read(&encoding_rs::WINDOWS_1252.encode(&text("\n")).0, None).is_err(),
        "its characters are asked"
    );
}

#[test]
fn a_workbook_is_a_list_and_what_is_hidden_in_it_is_told() {
    let lists = Lists::open();
    let mut book = rust_xlsxwriter::Workbook::new();
    let day = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd");
    let sheet = book.add_worksheet();
    sheet.set_name("Parts").unwrap();
    for (place, name) in ["asset", "model", "serial", "acquired", "cost"].iter().enumerate() {
        sheet.write_string(0, place as u16, *name).unwrap();
    }
    sheet.write_string(1, 0, "W-1").unwrap();
    sheet.write_string(1, 1, "cap").unwrap();
    sheet.write_number(1, 2, 123_456.0).unwrap();
    let on = chrono::NaiveDate::from_ymd_opt(2024, 2, 29).unwrap();
    sheet.write_datetime_with_format(1, 3, on, &day).unwrap();
    sheet.write_number(1, 4, 120.5).unwrap();
    let hidden = book.add_worksheet();
    hidden.set_name("Old").unwrap().set_hidden(true);
    hidden.write_string(0, 0, "asset").unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let plan = lists.plan_of(Role::Lead, Kind::Assets, &bytes, &Chosen::default());
    assert!(plan.may_import(), "{:?}", problem_lines(&plan));
    let command = plan.planned[0].command.to_value().unwrap();
    assert_eq!((&command["acquired"], &command["cost_cents"]), (&json!("2024-02-29"), &json!(12_050)));
    // A number in the sheet may have lost noughts: told, and not refused.
    assert!(
        plan.doubts[0].found.contains("123456") && plan.doubts[0].column == "serial",
        "{:?}",
        plan.doubts
    );
    assert!(plan.notes.iter().any(|note| note.contains("passed over")), "{:?}", plan.notes);
}

#[test]
fn everything_that_will_not_do_stands_in_one_list() {
    let lists = Lists::open();
    let text = "asset,mark,model,serial,acquired,prior_uses,cost,owner\n\
                P-1,M-1,cap,9.52E+12,2024-03-01,1,1.50,own\n\
                P-2,M-1,cap,S-2,2024-02-30,1,1.50,own\n\
                P-1,M-3,cap,S-3,2024-03-01,many,1.5055,own\n\
                P 4,M-4,cap,S-4,2024-03-01,1,1.50,rented\n\
                P-5,M-5,nothing,S-5,2024-03-01,1,1.50,own\n\
                P-6,M-6,cap,S-6,,,,\n\
                P-7,M-7,cap,S-6,,,,\n\
                SET-1,M-8,cap,S-8,,,,\n\
                ,,cap,,,,,\n\
                B-1,,cap,,,,,\n\
                P-8,,cap,S-9,,4294967295,90071992547409.93,\n\
                P-9,,cap,S-10,,,90071992547409.93,\n";
    let plan = lists.plan(Role::Lead, Kind::Assets, text);
    assert!(!plan.may_import());
    for (line, column, found) in [
        (2, "serial", "9.52E+12"),
        (3, "mark", "line 2"),
        (3, "acquired", "2024-02-30"),
        (4, "asset", "line 2"),
        (4, "prior_uses", "many"),
        (4, "cost", "1.5055"),
        (5, "asset", "P 4"),
        (5, "owner", "rented"),
        (6, "model", "No model is named \"nothing\""),
        (8, "serial", "line 7"),
        (9, "asset", "\"SET-1\" already names set SET-1"),
        (10, "asset", "a part without a name"),
        (11, "model", "\"cap\" where B-1 has \"barrel\""),
        (12, "prior_uses", "more than 1000000"),
        (13, "cost", "more than 10000000000"),
    ] {
        has(&plan.faults, line, column, found);
    }
    let lines = problem_lines(&plan);
    assert_eq!(lines.len(), plan.faults.len());
    assert!(lines.iter().all(|line| line.starts_with("line ") && !line.contains('\n')), "{lines:?}");
}

#[test]
fn what_nobody_can_know_is_asked_and_kept_to() {
    let lists = Lists::open();
    // 03/04 alone may be two days; one day above 12 in the column proves the order.
    let text = "asset,model,acquired\nP-1,cap,03/04/2024\nP-2,cap,05/06/2024\n";
    let plan = lists.plan(Role::Lead, Kind::Assets, text);
    let asked = matches!(&plan.questions[..], [Question::Dates { key: "acquired", column, .. }] if column == "acquired");
    assert!(asked && !plan.may_import() && plan.faults.is_empty(), "{:?} {:?}", plan.questions, plan.faults);
    let mut chosen = Chosen::default();
    for (order, first) in [(DayOrder::DayFirst, "2024-04-03"), (DayOrder::MonthFirst, "2024-03-04")] {
        chosen.dates.insert("acquired".into(), order);
        let plan = lists.plan_of(Role::Lead, Kind::Assets, text.as_bytes(), &chosen);
        assert!(plan.may_import(), "{:?}", problem_lines(&plan));
        assert_eq!(plan.planned[0].command.to_value().unwrap()["acquired"], first);
    }
    let proven = "asset,model,acquired\nP-1,cap,03/04/2024\nP-2,cap,13/04/2024\n";
    let plan = lists.plan(Role::Lead, Kind::Assets, proven);
    assert_eq!(plan.planned[0].command.to_value().unwrap()["acquired"], "2024-04-03");
    // What was told and what the column proves contradict each other: told, not guessed.
    let plan = lists.plan_of(Role::Lead, Kind::Assets, proven.as_bytes(), &chosen);
    has(&plan.faults, 3, "acquired", "13/04/2024");
    let both = "asset,model,acquired\nP-1,cap,03/14/2024\nP-2,cap,13/04/2024\n";
    has(&lists.plan(Role::Lead, Kind::Assets, both).faults, 1, "acquired", "some have the day first");
    // A sign before three digits may divide thousands.
    let text = "asset;model;cost\nP-1;cap;1,234\n";
    let plan = lists.plan(Role::Lead, Kind::Assets, text);
    assert!(matches!(&plan.questions[..], [Question::Decimal { .. }]), "{:?}", plan.questions);
    let comma = Chosen { decimal: Some(DecimalSign::Comma), ..Chosen::default() };
    let plan = lists.plan_of(Role::Lead, Kind::Assets, b"asset;model;cost\nP-1;cap;1234,5\n", &comma);
    assert_eq!(plan.planned[0].command.to_value().unwrap()["cost_cents"], 123_450);
    // A column that is not in the file may have one value for all rows.
    let chosen = Chosen { fixed: [("model".to_string(), "cap".to_string())].into(), ..Chosen::default() };
    let plan = lists.plan_of(Role::Lead, Kind::Assets, b"asset\nP-1\nP-2\n", &chosen);
    assert!(plan.may_import() && plan.planned.len() == 2, "{:?}", problem_lines(&plan));
}

#[test]
fn hard_blanks_and_look_alikes_are_told() {
    let lists = Lists::open();
    let text = "asset,mark,model\nP-1,M\u{2011}1\u{a0},cap\nP-2,\u{200b}00123,cap\n";
    let plan = lists.plan(Role::Lead, Kind::Assets, text);
    assert!(plan.may_import(), "{:?}", problem_lines(&plan));
    assert!(plan.doubts[0].found.contains("U+2011"), "{:?}", plan.doubts);
    assert_eq!(plan.planned[1].command.to_value().unwrap()["mark"], "00123");
    has(
        &lists.plan(Role::Lead, Kind::Assets, "asset,model\nP\u{2011}1,cap\n").faults,
        2,
        "asset",
        "P\u{2011}1",
    );
    // What an export guards against formulas is read without its guard; a formula as an id is none.
    let plan = lists.plan(Role::Lead, Kind::Assets, "asset,serial,model\nP-1,'-2,cap\n");
    assert_eq!(plan.planned[0].command.to_value().unwrap()["serial"], "-2");
    has(&lists.plan(Role::Lead, Kind::Assets, "asset,model\n=1+1,cap\n").faults, 2, "asset", "=1+1");
}

/// Everything that a department starts with, one list after the other, each in the role that brings it.
#[test]
fn a_department_comes_from_its_lists_and_comes_once() {
    let mut lists = Lists::open();
    let all = [
        (
            Role::Biomed,
            Kind::Models,
            "model;family;name;route;ID mm;OD mm;length cm;steam_temp_c;steam_hold_s\n\
            tube-5;bronchoscopes;Tube 5;metal;5,0;5,7;30;134;180\nlid;cap;Lid;metal;;;;134;180\n",
        ),
        (
            Role::Lead,
            Kind::Assets,
            "id,model,serial,location\nTB-1,tube-5,00017,shelf 4\nLD-1,lid,,\nLD-2,lid,,shelf 5\n",
        ),
        (
            Role::Lead,
            Kind::CountSheets,
            "sheet,name,line,family,models,qty,essential\n\
            child,Child,tube,bronchoscope,tube-5,1,yes\nchild,,lids,cap,,2,no\n",
        ),
        (
            Role::Lead,
            Kind::Sets,
            "set,count sheet,name,line,position,asset\n\
            SET-9,child,Child 9,tube,1,TB-1\nSET-9,,,lids,1,LD-1\nSET-9,,,lids,2,LD-2\n",
        ),
        (
            Role::Charge,
            Kind::Cases,
            "case,date,time,minutes,room,technique,needs\n\
            K-7,2026-03-09,08:30,45,2,jet open,child\nK-8,2026-03-09,10:00,60,,,adult; child\n",
        ),
    ];
    for (role, kind, text) in all {
        let plan = lists.done(role, kind, text);
        assert!(plan.count(Change::New) > 0 && plan.count(Change::Same) == 0, "{kind:?}");
        lists.the_same_again(role, kind, text);
    }
    let state = &lists.paper.state;
    assert_eq!(state.assets.get("TB-1").unwrap().location.as_ref().unwrap().as_str(), "shelf 4");
    assert_eq!(state.sets.get("SET-9").unwrap().seats.len(), 3);
    assert_eq!(state.models.get("tube-5").unwrap().dimensions.length_mm.unwrap().to_string(), "300");
    assert_eq!(state.cases.get("K-7").unwrap().start.to_string(), "2026-03-09T07:30:00Z");
    assert_eq!(state.cases.get("K-8").unwrap().needs.len(), 2);
}

#[test]
fn a_changed_row_is_a_change_where_a_command_has_one_and_refused_where_none_does() {
    let mut lists = Lists::open();
    let plan = lists.plan(Role::Lead, Kind::Assets, "asset,model,serial,location\nC-2,cap,S-9,shelf 1\n");
    has(&plan.faults, 2, "serial", "\"S-9\" where C-2 has nothing");
    let plan = lists.done(Role::Lead, Kind::Assets, "asset,model,location\nC-2,cap,shelf 1\n");
    assert_eq!((plan.count(Change::Changes), plan.planned.len()), (1, 1));
    assert!(plan.told[0].words.contains("nowhere → shelf 1"), "{:?}", plan.told);
    let plan = lists.done(Role::Biomed, Kind::Models, "model,name\ncap,Silicone cap\n");
    assert!(plan.told[0].words.contains("name: cap → Silicone cap"), "{:?}", plan.told);
    // A sheet that is brought again stands for all of its lines.
    let sheet = "count_sheet,line,family,quantity,essential\nadult,barrel,bronchoscope,1,yes\n";
    let plan = lists.plan(Role::Lead, Kind::CountSheets, sheet);
    assert!(plan.told[0].words.contains("without line \"cap\""), "{:?}", plan.told);
    let plan = lists.plan(Role::Lead, Kind::Sets, "set,name,line,asset\nSET-1,Other,barrel,C-2\n");
    has(&plan.faults, 2, "name", "\"Other\" where set SET-1 has \"Adult 1\"");
    let plan = lists.plan(
        Role::Lead,
        Kind::Sets,
        "set,line,asset\nSET-1,barrel,C-2\nSET-1,lid,C-1\nSET-1,cap,C-1\n",
    );
    has(&plan.faults, 2, "", "C-2");
    has(&plan.faults, 3, "", "no line \"lid\"");
    has(&plan.faults, 4, "asset", "line 3");
    let case = "case,start,minutes\nK-1,2026-03-09 08:30,45\n";
    lists.done(Role::Charge, Kind::Cases, case);
    let plan = lists.plan(Role::Charge, Kind::Cases, "case,start,minutes\nK-1,2026-03-09 09:30,45\n");
    assert!(plan.may_import() && plan.told[0].words.contains("start"), "{:?}", plan.told);
    // Whoever may plan and not change is told once.
    let plan = lists.plan(Role::Lead, Kind::Cases, "case,start,minutes\nK-1,2026-03-09 09:30,45\n");
    has(&plan.faults, 2, "", "change_case by the role lead");
}

/// The clock of Berlin goes from 2 to 3 on 29 March 2026 and back from 3 to 2 on 25 October (zone database).
#[test]
fn a_case_starts_at_an_hour_that_the_day_has_once() {
    let lists = Lists::open();
    let text = "case,start,minutes\nK-1,2026-03-29 02:30,45\nK-2,2026-10-25 02:30,45\nK-3,2026-10-25T02:30:00+01:00,45\n\
                K-4,2026-03-09,45\nK-5,2020-03-09 08:00,45\n";
    let plan = lists.plan(Role::Charge, Kind::Cases, text);
    has(&plan.faults, 2, "start", "skips");
    has(&plan.faults, 3, "start", "twice");
    has(&plan.faults, 5, "start", "2026-03-09");
    has(&plan.faults, 6, "", "is said to start");
    assert_eq!(plan.faults.len(), 4, "{:?}", plan.faults);
}

#[test]
fn a_list_that_is_too_long_is_refused_whole() {
    let rows = |n: usize| (0..n).fold(String::from("asset,model\n"), |all, n| all + &format!("P-{n},cap\n"));
    assert!(grid::read(rows(20_000).as_bytes(), None).is_ok());
    let why = format!("{:?}", grid::read(rows(20_001).as_bytes(), None));
    assert!(why.contains("at most 20000 rows"), "{why}");
    let models = (0..2_001)
        .fold(String::from("model,family,name,route\n"), |all, n| all + &format!("m-{n},cap,m,metal\n"));
    let plan = Lists::open().plan(Role::Biomed, Kind::Models, &models);
    has(&plan.faults, 1, "", "2001 rows");
    let header = Lists::open().plan(Role::Lead, Kind::Assets, "asset,model\n");
    assert!(header.may_import() && header.told.is_empty() && header.rows == 0);
}
