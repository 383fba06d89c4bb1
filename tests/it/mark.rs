//! Marks and messages of others: what they name, and that no text of anybody's makes a reader panic or dawdle.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod fuzz;
mod hl7;

use std::io::Write;
use std::process::{Command, Output, Stdio};

use chrono::NaiveDate;
use fettle::formats::gs1::identifiers::check_digit;
use fettle::formats::{gs1, hibc, mark};
use serde_json::Value;

fn calc(arguments: &[&str], input: &[u8]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fettle"));
    command.arg("calc").args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().expect("the program");
    child.stdin.take().expect("its input").write_all(input).expect("room for the text");
    child.wait_with_output().expect("its output")
}

fn answer(arguments: &[&str], input: &[u8]) -> Value {
    let output = calc(arguments, input);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

pub fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Every mark of a file of specimens is read as it says, field by field, and with no field beside the sentence.
fn as_expected(specimens: &str, read: fn(&str, NaiveDate) -> Value) -> usize {
    let specimens: Value = serde_json::from_str(specimens).unwrap();
    let today = day(specimens["today"].as_str().unwrap());
    let marks = specimens["marks"].as_array().unwrap();
    for mark in marks {
        let mut found = read(mark["input"].as_str().unwrap(), today);
        let why = found.as_object_mut().unwrap().remove("why");
        assert_eq!(found, mark["expect"], "{}", mark["input"]);
        assert_eq!(why.is_some(), found["ok"] == false, "{}", mark["input"]);
    }
    marks.len()
}

/// Published examples and composed ones; where each is from stands in the file and in SOURCES.md.
#[test]
fn marks_are_read_as_published() {
    assert_eq!(as_expected(include_str!("../specimens/gs1.json"), mark::gs1_answer), 55);
    assert_eq!(as_expected(include_str!("../specimens/hibc.json"), mark::hibc_answer), 41);
}

#[test]
fn the_command_line_reads_what_a_reader_sent() {
    let said = answer(&["mark", "--kind", "gs1", "--today", "2026-11-25"], b"]d2010952123400001321A0017\r");
    assert_eq!((&said["kind"], &said["key"]), (&"asset".into(), &"gtin:09521234000013/sn:A0017".into()));
    // Bytes that are no text are answered, too.
    let said = answer(&["mark", "--kind", "gs1"], b"80049521234\xff\xfe");
    assert_eq!((&said["ok"], &said["errors"]), (&false.into(), &serde_json::json!(["bad_charset"])));
    let said = answer(&["mark", "--kind", "hibc"], b"+A123BJC5D6E71G");
    assert_eq!(said["di"], "A123BJC5D6E71");
    let long = "1".repeat(2_000_000);
    let said = answer(&["mark", "--kind", "gs1"], &long.as_bytes()[..20_000]);
    assert_eq!(said["errors"], serde_json::json!(["too_long"]));
    assert_eq!(calc(&["mark"], b"").status.code(), Some(2));
    assert_eq!(calc(&["mark", "--kind", "gs1", "--today", "yesterday"], b"").status.code(), Some(2));
}

/// What a lost separator does: lot and serial number become one lot, which is valid and names a product. It may never
/// be taken for one piece.
#[test]
fn without_a_serial_number_nothing_is_one_piece() {
    let today = day("2026-11-25");
    let whole = gs1::read("]d2010952123400001310LOT7\u{1d}21A0018", today).unwrap();
    let lost = gs1::read("]d2010952123400001310LOT721A0018", today).unwrap();
    assert_eq!((whole.named.kind, lost.named.kind), (gs1::Kind::Asset, gs1::Kind::Product));
    let product = hibc::read("+T9991Z0071/$LOT92", today).unwrap();
    assert_eq!(product.key(), Some(("hibc:T9991Z0071".into(), false)));
}

/// What may stand beside what, by the General Specifications, section 4.13.
#[test]
fn elements_that_need_or_exclude_one_another() {
    use gs1::Code;
    let today = day("2026-11-25");
    let code = |text: &str| gs1::read(text, today).map(|_| ()).map_err(|fault| (fault.code, fault.at));
    let at = |ai: &str| Some(ai.to_owned());
    for (text, wanted) in [
        ("(01)09521234000013(01)09521234000013", Ok(())),
        ("(01)09521234000013(01)09521234000020", Err((Code::ConflictingRepeat, at("01")))),
        ("(8017)952123400000000550(8018)952123400012345670", Err((Code::ExclusiveAis, at("8017")))),
        ("(01)09521234000013(37)6", Err((Code::ExclusiveAis, at("01")))),
        ("(02)09521234000020(37)6", Err((Code::MissingRequiredAi, at("37")))),
        ("(254)ROOM-2", Err((Code::MissingRequiredAi, at("254")))),
        ("(01)09521234000013(7003)2706001200", Err((Code::BadDate, at("7003")))),
        ("(01)09521234000013(7003)2706302460", Err((Code::BadDate, at("7003")))),
        ("(8003)19521234000778SN1", Err((Code::BadFormat, at("8003")))),
        ("(8004)95RE17", Err((Code::BadCompanyPrefix, at("8004")))),
        ("(8006)095212340000130302", Err((Code::BadFormat, at("8006")))),
        ("(01)0952123400001３", Err((Code::BadCharset, at("01")))),
        ("]X9123", Err((Code::UnknownSymbology, None))),
        ("]d201095212340000132", Err((Code::UnknownAi, None))),
        ("]d221A\u{1d}\u{1d}10B", Err((Code::EmptyElement, None))),
        ("https://id.gs1.org/01/09521234000013/21/A/10/B", Err((Code::BadFormat, None))),
        ("https://id.gs1.org/01/09521234000013/21/%zz", Err((Code::BadFormat, at("21")))),
        ("https://id.gs1.org/8004/9521234RE%2F17", Ok(())),
    ] {
        assert_eq!(code(text), wanted, "{text}");
    }
}

/// The check digit by the worked example of the General Specifications, section 7.9: 629104150021 has 3; and of EAN-13's
/// best known book prefix, ISBN 978-0-306-40615-7 (ISO 2108, annex C).
#[test]
fn check_digits_as_published() {
    assert_eq!(check_digit("629104150021"), Some('3'));
    assert_eq!(check_digit("978030640615"), Some('7'));
    assert_eq!(check_digit("12a"), None);
}
