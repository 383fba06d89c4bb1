//! Labels: each that is drawn is read back by a reader of somebody else's, as a label printer of 203 dots an inch prints
//! it, and says exactly what it was made to say. The reader is zxing-cpp, which keeps FNC1 and names the symbology.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::process::Command;

use chrono::NaiveDate;
use fettle::domain::labelling::{Payload, Reading};
use fettle::domain::person::Role;
use fettle::formats::hibc;
use fettle::formats::label::{Label, Line, Marking, Sheet, Size, advice, laid_out, sheet, svg, zpl};
use serde_json::{Value, json};

use super::served::{Kind, Served};
use whole::within;

mod whole;

fn today() -> NaiveDate {
    "2026-11-25".parse().unwrap()
}

/// What a symbol has to say: the identifier that a reader puts before it, by symbol, and its bytes.
struct Case {
    text: String,
    payload: Payload,
    reading: Reading,
}

impl Case {
    fn is_gs1(&self) -> bool {
        matches!(self.payload, Payload::Gs1 { .. })
    }

    /// ISO/IEC 15424: `]d2` and `]C1` with FNC1 before the data, `]d1` and `]C0` without.
    fn identifier(&self) -> &'static str {
        match (self.reading, self.is_gs1()) {
            (Reading::Bars, true) => "]C1",
            (Reading::Bars, false) => "]C0",
            (_, true) => "]d2",
            (_, false) => "]d1",
        }
    }

    fn expected(&self) -> Value {
        json!([[self.identifier(), hex::encode(&self.text)]])
    }

    fn label(&self) -> Label {
        let symbol = self.payload.symbol(self.reading).expect("a symbol");
        let lines = vec![Line::strong("T-0142"), Line::plain("Telescope, 0° 4.0 × 300")];
        Label { symbol, caption: self.payload.caption().to_owned(), lines }
    }
}

/// Marks on the demonstration prefix 952, and what a house writes itself.
fn texts() -> Vec<String> {
    let primary = hibc::Primary { lic: "T999".into(), pcn: "SCOPE30".into(), unit_of_measure: 0 };
    let mut all: Vec<String> = [
        "80049521234F000001",
        "80049521234RRRRRRRRRRRRRRRRRRRRRRR",
        "800309521234000778SN001",
        "010952123400001321A0017",
        "010952123400001310LOT7\u{1d}21A0018",
        "01095212340000131726123110LOT7\u{1d}21A0018",
        "010952123400001321A-/%+_;",
        "M000001",
        "SET-04",
        "sink 2",
        "FTLDOTESTYZQWAM1234567890",
        "a^XA~b_\\c",
    ]
    .map(String::from)
    .into();
    all.push(hibc::compose(&primary, Some("SN-17"), today()).expect("a mark"));
    all
}

fn cases() -> Vec<Case> {
    let mut all = Vec::new();
    for text in texts() {
        for reading in Reading::ALL {
            let payload = Payload::of(&text, today());
            if payload.symbol(reading).is_ok() {
                all.push(Case { text: text.clone(), payload, reading });
            }
        }
    }
    all
}

const SIZES: [(f64, f64); 5] = [(25.0, 13.0), (38.0, 19.0), (50.0, 25.0), (70.0, 36.0), (100.0, 50.0)];

/// The sizes in which a label is drawn: those of the usual rolls, and the least one that is called enough.
fn sizes(label: &Label) -> Vec<Size> {
    let size = |(width_mm, height_mm): (f64, f64)| Size { width_mm, height_mm };
    let small = laid_out(label, size((5.0, 5.0))).expect_err("no label is that small");
    let usual = SIZES.into_iter().map(size).filter(|size| laid_out(label, *size).is_ok());
    let mut all: Vec<Size> = usual.collect();
    assert!(laid_out(label, small.needed).is_ok(), "{}: {:?} is called enough", label.caption, small.needed);
    all.push(small.needed);
    all
}

fn read(manifest: &[Value]) -> Vec<Value> {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let folder = tempfile::tempdir().unwrap();
    let listed = folder.path().join("labels.json");
    std::fs::write(&listed, Value::from(manifest.to_vec()).to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/labels.py");
    let output = Command::new(python).arg(script).arg(&listed).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn all_read(manifest: &[Value], expected: &[(String, Value)]) {
    let found = read(manifest);
    assert_eq!(found.len(), expected.len());
    let wrong: Vec<String> = found
        .iter()
        .zip(expected)
        .filter(|(found, (_, expected))| *found != expected)
        .map(|(found, (called, expected))| format!("{called}: read {found}, needed {expected}"))
        .collect();
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), expected.len(), wrong.join("\n"));
}

#[test]
fn every_label_reads_back_as_it_was_meant() {
    let (mut manifest, mut expected) = (Vec::new(), Vec::new());
    for case in cases() {
        let label = case.label();
        for size in sizes(&label) {
            let placed = laid_out(&label, size).expect("it fits");
            let called = format!("{:?} {:?} {size:?}", case.text, case.reading);
            within(&placed, size);
            manifest.push(json!({"svg": svg(&label, &placed, size)}));
            expected.push((format!("svg {called}"), case.expected()));
            manifest.push(json!({"printer": zpl(&label, &placed, size, 203)}));
            expected.push((format!("printer {called}"), case.expected()));
        }
    }
    // Each mark in at least one size of each symbol that takes it, in both drawings.
    assert!(expected.len() > 200, "{}", expected.len());
    for identifier in ["]d2", "]d1", "]C1", "]C0"] {
        assert!(expected.iter().any(|(_, value)| value[0][0] == identifier), "{identifier}");
    }
    all_read(&manifest, &expected);
}

#[test]
fn sheets_of_paper_read_back_with_places_left_empty() {
    let folder = tempfile::tempdir().unwrap();
    let (mut manifest, mut expected) = (Vec::new(), Vec::new());
    let a4 = Size { width_mm: 210.0, height_mm: 297.0 };
    for (n, (width_mm, height_mm)) in SIZES.into_iter().enumerate() {
        let size = Size { width_mm, height_mm };
        let fitting = |case: &Case| laid_out(&case.label(), size).is_ok();
        let cases: Vec<Case> = cases().into_iter().filter(fitting).collect();
        let labels: Vec<Label> = cases.iter().map(Case::label).collect();
        let places = Sheet::of(a4, size).expect("a sheet");
        let skip = 3;
        let file = folder.path().join(format!("{n}.pdf"));
        std::fs::write(&file, sheet(&labels, &places, skip).expect("a document")).unwrap();
        for (at, case) in cases.iter().enumerate() {
            let at = at + skip;
            let (left, top) = places.place(at);
            let page = at / places.a_page();
            manifest.push(json!({"pdf": file, "page": page, "box": [left, top, width_mm, height_mm]}));
            expected.push((format!("{:?} {:?} {size:?}", case.text, case.reading), case.expected()));
        }
        for at in 0..skip {
            let (left, top) = places.place(at);
            manifest.push(json!({"pdf": file, "page": 0, "box": [left, top, width_mm, height_mm]}));
            expected.push((format!("place {at} of {size:?}"), json!([])));
        }
    }
    all_read(&manifest, &expected);
}

#[test]
fn a_text_is_no_command_of_a_printer() {
    let payload = Payload::Plain("M000001".into());
    let symbol = payload.symbol(Reading::Square).unwrap();
    let evil = "^XZ^XA~JA^FS\\^FD_5E\u{1b}\u{202e}\r\n";
    let label =
        Label { symbol, caption: evil.into(), lines: vec![Line::strong(evil), Line::plain("~HS^JUF")] };
    let size = Size { width_mm: 100.0, height_mm: 50.0 };
    let text = zpl(&label, &laid_out(&label, size).unwrap(), size, 203);
    assert!(
        !text.contains('~') && text.matches("^XA").count() == 1 && text.matches("^XZ").count() == 1,
        "{text}"
    );
    for command in text.split('^').skip(1) {
        let known = ["XA", "CI28", "PW", "LL", "LH0,0", "FO", "GFA,", "FS", "A0N,", "FH_", "FD", "XZ"];
        assert!(known.iter().any(|it| command.starts_with(it)), "{command}");
    }
    let drawn = svg(&label, &laid_out(&label, size).unwrap(), size);
    assert!(!drawn.contains('\u{1b}') && !drawn.contains("<script"), "{drawn}");
}

/// Sizes of GS1 General Specifications 5.12.3.7 for a mark of an asset number of 15 characters: 16 x 16 modules, at
/// 0.2 mm and one light module around it 3.6 mm; 18 x 18 at 0.1 mm is 2.0 mm.
#[test]
fn the_size_of_a_mark_on_metal_is_that_of_its_modules() {
    let of =
        |text: &str, reading| advice(&Payload::of(text, today()).symbol(reading).unwrap(), Marking::Laser);
    let close = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-9, "{found} {expected}");
    let giai = of("80049521234RE000017", Reading::Square);
    assert_eq!(giai.modules, (16, 16));
    close(giai.aim_mm.0, 3.6);
    close(giai.least_mm.0, 1.8);
    let serial = of("010952123400001321A0017", Reading::Square);
    assert_eq!(serial.modules, (18, 18));
    close(serial.least_mm.1, 2.0);
    // A rectangle along a thin shaft is lower: 12 modules and two light ones at 0.1 mm.
    let along = of("80049521234RE000017", Reading::Rectangle);
    assert_eq!(along.modules, (26, 12));
    close(along.least_mm.1, 1.4);
    assert!(along.least_shaft_mm < giai.least_shaft_mm);
    assert_eq!(of("80049521234RRRRRRRRRRRRRRRRRRRRRRR", Reading::Square).modules, (22, 22));
}

/// From the site's prefix to a label, through a reader, and back to the part.
#[tokio::test(flavor = "multi_thread")]
async fn a_mark_that_the_site_gave_is_printed_read_and_found() {
    let house = Served::start(Kind::Embedded).await;
    house.furnish().await;
    let give = |asset: &str| json!({"do": "give_mark", "asset": asset});
    let event = house.done(Role::Lead, give("C-1")).await["event"].clone();
    assert_eq!(event["mark"], "M000001", "without a company prefix a short code: {event}");
    house.refused(Role::Lead, give("C-1"), "already_done").await;
    house.done(Role::Admin, json!({"do": "set_policy", "company_prefix": "9521234"})).await;
    for (asset, mark) in [("B-1", "80049521234F000001"), ("T-1", "80049521234F000002")] {
        assert_eq!(house.done(Role::Biomed, give(asset)).await["event"]["mark"], mark);
    }
    // A number is never given twice, not even once its part has left the house.
    house.done(Role::Biomed, json!({"do": "retire", "asset": "T-1", "cause": "worn", "failure": true})).await;
    assert_eq!(house.done(Role::Lead, give("C-2")).await["event"]["mark"], "80049521234F000003");
    let (status, body) = house.get("labels?kind=part&scan=B-1%0AC-1&size=38%20x%2019").await;
    assert_eq!(status, 200, "{body}");
    let labels = body["items"].as_array().unwrap();
    assert_eq!(labels[0]["caption"], "(8004)9521234F000001");
    let found = read(&labels.iter().map(|label| json!({"svg": label["svg"]})).collect::<Vec<_>>());
    for (found, asset) in found.iter().zip(["B-1", "C-1"]) {
        let bytes = hex::decode(found[0][1].as_str().unwrap()).unwrap();
        let scan = format!("{}{}", found[0][0].as_str().unwrap(), String::from_utf8(bytes).unwrap());
        assert_eq!(house.asset(&scan.replace(']', "%5D")).await["asset"], asset, "{scan}");
    }
    house.sound().await;
    house.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_packs_label_says_what_was_packed_and_never_sterile_too_early() {
    let house = Served::start(Kind::Embedded).await;
    house.furnish().await;
    let lines = async || {
        let (status, body) = house.get("labels?kind=pack&scan=SET-1&size=100%20x%2050").await;
        (status, body.to_string())
    };
    let (status, text) = lines().await;
    assert!(status == 409 && text.contains("no closed pack"), "{text}");
    house.round("SET-1").await;
    let (status, text) = lines().await;
    assert_eq!(status, 200, "{text}");
    for words in [
        "tray: Adult 1",
        "optics: Adult 1",
        "count sheet Adult",
        "Packed 20",
        "steriliser-1",
        "Sterile until 20",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(text.contains("Event-related: sterile while the pack is intact"), "{text}");
    house.done(Role::Desk, json!({"do": "pack_broken", "scan": "SET-1", "why": "wet"})).await;
    house.done(Role::Desk, json!({"do": "record_step", "step": "packed", "scan": "SET-1"})).await;
    let (_, text) = lines().await;
    assert!(text.contains("Not sterile before its load is released; then for 30 days"), "{text}");
    assert!(!text.contains("Sterile until") && !text.contains("steriliser-1"), "{text}");
    let (status, body) = house.get("labels?kind=nothing").await;
    assert!(status == 422 && body["errors"][0]["pointer"] == "?kind", "{body}");
    house.stop().await;
}

/// The pages of the desk: the sheet of commands, for paper and for a label printer, each mark read back.
#[tokio::test(flavor = "multi_thread")]
async fn the_sheet_of_commands_is_printed_and_reads_back() {
    let house = Served::start(Kind::Embedded).await;
    house.furnish().await;
    let person = house.house.add_person(
        &house.site,
        Some("lead-9"),
        "Lead Nine",
        Role::Lead,
        super::browser::PASSWORD,
    );
    person.await.expect("a person");
    let client = reqwest::Client::builder().cookie_store(true).build().expect("a client");
    let form = [("site", house.site.as_str()), ("person", "lead-9"), ("password", super::browser::PASSWORD)];
    client.post(format!("{}/sign-in", house.base)).form(&form).send().await.expect("an answer");
    let get = async |path: &str| client.get(format!("{}{path}", house.base)).send().await.expect("an answer");
    let asked = "?kind=command&scan=sink%202&size=50%20x%2025&symbol=square";
    let page = get(&format!("/labels{asked}")).await.text().await.unwrap();
    assert!(page.contains("read one with your scanner before you print the rest"), "{page}");
    assert_eq!(page.matches("<title>FTLDO").count(), 15, "eleven steps, two acts, the test and a station");
    let sheet = get(&format!("/labels.pdf{asked}&skip=4&paper=letter")).await;
    assert_eq!(sheet.headers()["content-type"], "application/pdf");
    assert!(sheet.bytes().await.unwrap().starts_with(b"%PDF-"));
    let printer = get(&format!("/labels.zpl{asked}")).await.text().await.unwrap();
    let all: Vec<Value> = printer.split("^XA").skip(1).map(|it| json!({"printer": it})).collect();
    let found: Vec<String> = read(&all)
        .iter()
        .map(|it| String::from_utf8(hex::decode(it[0][1].as_str().unwrap()).unwrap()).unwrap())
        .collect();
    for mark in ["FTLDOLOOK", "FTLDOUNDO", "FTLDODONE", "FTLDOTESTYZQWAM1234567890", "FTLDOSTNsink 2"] {
        assert!(found.iter().any(|it| it == mark), "{mark}: {found:?}");
    }
    let page = get("/assets/B-1").await.text().await.unwrap();
    assert!(
        page.contains("The site's next one is M000001.") && page.contains("laser or etching, square"),
        "{page}"
    );
    let page = get("/labels?kind=part&scan=SET-1&size=25%20x%2013&symbol=bars").await;
    let (status, page) = (page.status(), page.text().await.unwrap());
    assert!(status == 409 || page.contains("<title>B-1"), "{page}");
    let (status, page) = {
        let answer = get("/labels?kind=place&scan=%5EXA%7E%3Cscript%3E").await;
        (answer.status().as_u16(), answer.text().await.unwrap())
    };
    assert!(status == 200 && !page.contains("<script>") && page.contains("&lt;script&gt;"), "{page}");
    house.stop().await;
}
