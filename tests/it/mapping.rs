//! Machines' own files, read by a record form. The forms and the machines are invented; what they have in common with
//! real ones (semicolons with decimal commas, a code page, units under the header, clocks that pass midnight, gauge
//! pressure in mbar) is common practice of recorders.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::formats::form::Form;
use fettle::formats::mapping::{Mapped, read};
use fettle::formats::record;
use proptest::prelude::*;
use serde_json::{Value, json};

pub fn form(of: Value) -> Form {
    let form: Form = serde_json::from_value(of).unwrap();
    form.check().unwrap();
    form
}

/// A file of a machine that writes semicolons, decimal commas, windows-1252, a clock, and gauge pressure in mbar.
fn wide() -> Value {
    json!({"separator": ";", "decimal": ",", "encoding": "windows-1252", "skip_lines": 3, "skip_rows": 1,
        "time": "clock", "ambient_kpa": "101.3",
        "marks": [{"line": "Zyklus Nr.", "is": "cycle_no"}],
        "columns": [{"column": "Zeit", "is": "time"}, {"column": "T Ablauf °C", "is": "temperature", "name": "drain", "unit": "°C"},
                    {"column": "Druck", "is": "pressure", "unit": "mbar", "reference": "gauge"}]})
}

fn latin(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect()
}

fn taken(bytes: &[u8], of: Value) -> Mapped {
    read(bytes, &form(of), None, true).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn a_foreign_file_is_read_over_midnight() {
    let text = "Prüfgerät 7\r\nZyklus Nr.: 00311\r\n\r\nZeit;T Ablauf °C;Druck;Tür\r\nh;°C;mbar;\r\n\
                23:59:58;134,2;2029,4;zu\r\n23:59:59,5;134,4;2030;zu\r\n00:00:01;134,6;-0,5;zu\r\n\r\n";
    let mapped = taken(&latin(text), wide());
    assert_eq!(mapped.record.time_s, [0.0, 1.5, 3.0]);
    assert_eq!(mapped.record.channels[0].name, "temp_c_drain");
    assert_eq!(mapped.record.channels[0].temp_c, [134.2, 134.4, 134.6]);
    assert_eq!(mapped.record.pressure_kpa_abs.as_deref(), Some(&[304.24, 304.3, 101.25][..]));
    assert_eq!(mapped.said.cycle_no, Some(("00311".into(), 2)));
    assert_eq!(mapped.warnings.iter().map(|it| it.column.as_str()).collect::<Vec<_>>(), ["Tür"]);
    // What a program made UTF-8 of it reads the same.
    assert_eq!(taken(text.as_bytes(), wide()).record, mapped.record);
}

/// 5/9 and 32 as NIST SP 811, appendix B.8, has them; 273.2 °F is 134 °C, 212 °F 100 °C. 1 bar is 100 kPa, 1 mbar 0.1 kPa
/// (the same); 1 psi is 6.894757 kPa to the seven figures that it prints.
#[test]
fn units_are_converted_to_the_last_digit() {
    let column = |is: &str, unit: &str| {
        let mut all = json!([{"column": "t", "is": "time"}, {"column": "T", "is": "temperature", "unit": "°C"},
                             {"column": "x", "is": is, "unit": unit}]);
        match is {
            "pressure" => all[2]["reference"] = "abs".into(),
            _ => all[2]["name"] = "x".into(),
        }
        json!({"time": "seconds", "columns": all})
    };
    let first = |is: &str, unit: &str, cell: &str| {
        let mapped = taken(format!("t,T,x\n0,20,{cell}\n1,20,{cell}\n").as_bytes(), column(is, unit)).record;
        mapped.pressure_kpa_abs.map_or_else(|| mapped.channels[1].temp_c[0], |all| all[0])
    };
    for (is, unit, cell, expected) in [
        ("temperature", "°F", "273.2", 134.0),
        ("temperature", "°F", "212", 100.0),
        ("temperature", "°F", "-40", -40.0),
        ("temperature", "°C", "1.342e2", 134.2),
        ("pressure", "mbar", "3042.5", 304.25),
        ("pressure", "mbar", "3042.1", 304.21),
        ("pressure", "bar", "3.0421", 304.21),
        ("pressure", "kpa", "304.21", 304.21),
    ] {
        assert_eq!(first(is, unit, cell), expected, "{cell} {unit}");
    }
    assert!((first("pressure", "psi", "1") - 6.894_757).abs() < 5e-7);
    // 4.4482216152605 N / 0.00064516 m² in Pa, worked out to 20 figures by hand: 6894.7572931683613367; the double
    // nearest to it prints as here.
    assert_eq!(first("pressure", "psi", "1000"), 6_894.757_293_168_362);
    assert_eq!(first("pressure", "psi", "44.12"), 304.196_691_774_588_1);
}

/// Temperatures in tenths of a degree and pressures in tenths of a mbar, a sample every 4 s over midnight, up to 134 °C and
/// back; the steam is a little off saturation, as it is.
fn samples() -> Vec<(u32, i64, i64)> {
    let temp = |n: u32| match n {
        0..40 => 600 + 19 * i64::from(n),
        40..96 => 1_345 + i64::from(n % 3),
        _ => 1_345 - 14 * i64::from(n - 95),
    };
    (0..120).map(|n| (4 * n, temp(n), 30_421 + i64::from(n % 7))).collect()
}

fn tenths(of: i64, sign: char) -> String {
    format!("{}{sign}{}", of / 10, of % 10)
}

/// The same cycle as the plain form has it: kPa, absolute.
fn plain() -> String {
    let rows = samples().into_iter().map(|(at, temp, mbar10)| {
        format!("{at},{},{}.{:02}\n", tenths(temp, '.'), mbar10 / 100, mbar10 % 100)
    });
    format!("time_s,temp_c_drain,pressure_kpa_abs\n{}", rows.collect::<String>())
}

fn three_forms() -> [(Vec<u8>, Form); 3] {
    let clock = |at: u32| {
        let second = (86_400 - 100 + at) % 86_400;
        format!("{:02}:{:02}:{:02}", second / 3_600, second / 60 % 60, second % 60)
    };
    let one: String = samples()
        .into_iter()
        .map(|(at, temp, mbar10)| {
            format!("{};{};{}\r\n", clock(at), tenths(temp, ','), tenths(mbar10 - 10_130, ','))
        })
        .collect();
    let mut one_form = wide();
    one_form["ambient_kpa"] = json!(101.3);
    one_form["marks"] = json!([]);
    let one = format!("Gerät\r\n\r\n\r\nZeit;T Ablauf °C;Druck\r\nh;°C;mbar\r\n{one}");
    // Whole thousandths of a minute cannot say 4 s, so this one writes a day and a time in a zone.
    let day = |at: u32| {
        let date = if at < 100 { "29.03.2026" } else { "30.03.2026" };
        (date, clock(at))
    };
    let two: String = samples()
        .into_iter()
        .map(|(at, temp, mbar10)| {
            let (date, time) = day(at);
            // Fahrenheit of tenths of a degree Celsius has two decimals: times 9/5.
            let f100 = temp * 18 + 3_200;
            format!("{}\t{}.{:02}\t{date}\t{time}\n", tenths(mbar10, '.'), f100 / 100, f100 % 100)
        })
        .collect();
    let two = format!("P\tT\tDay\tTime\n{two}");
    let two_form = json!({"separator": "tab", "time": "pattern", "pattern": "%d.%m.%Y %H:%M:%S", "zone": "Europe/Berlin",
        "columns": [{"column": "Day", "is": "date"}, {"column": "Time", "is": "time"},
                    {"column": "T", "is": "temperature", "name": "drain", "unit": "°F"},
                    {"column": "P", "is": "pressure", "unit": "mbar", "reference": "abs"}]});
    let three: String = samples()
        .into_iter()
        .map(|(at, temp, mbar10)| {
            format!("\"{}\" | x | {} | {}.{:04}\n", at, tenths(temp, '.'), mbar10 / 10_000, mbar10 % 10_000)
        })
        .collect();
    let three = format!("\u{feff}\"Sekunden\" | note | Kammer | Bar\n{three}");
    let three_form = json!({"separator": "|", "time": "seconds",
        "columns": [{"column": "Sekunden", "is": "time"}, {"column": "Kammer", "is": "temperature", "name": "drain", "unit": "°C"},
                    {"column": "Bar", "is": "pressure", "unit": "bar", "reference": "abs"}]});
    [(latin(&one), form(one_form)), (two.into(), form(two_form)), (three.into(), form(three_form))]
}

/// All conversions here are exact, so the verdicts are the same to the last digit.
#[test]
fn the_same_cycle_in_three_forms_gives_the_same_verdict() {
    let (expected, _) = record::read(plain().as_bytes(), None, true).unwrap();
    let steam = judge_steam(&expected, &SteamLimits::new(134.0, 180.0)).unwrap();
    let wash = judge_disinfection(&expected, &DisinfectionLimits::new(600.0, 80.0)).unwrap();
    for (bytes, form) in three_forms() {
        let mapped = read(&bytes, &form, None, true).unwrap_or_else(|error| panic!("{error}")).record;
        assert_eq!(mapped.time_s, expected.time_s);
        assert_eq!(mapped.channels, expected.channels);
        assert_eq!(mapped.pressure_kpa_abs, expected.pressure_kpa_abs);
        let told = |it: &dyn erased::Told| it.told();
        let limits = SteamLimits::new(134.0, 180.0);
        assert_eq!(told(&judge_steam(&mapped, &limits).unwrap()), told(&steam));
        let limits = DisinfectionLimits::new(600.0, 80.0);
        assert_eq!(told(&judge_disinfection(&mapped, &limits).unwrap()), told(&wash));
    }
}

mod erased {
    /// A verdict as its whole answer, digit by digit.
    pub trait Told {
        fn told(&self) -> String;
    }

    impl<T: serde::Serialize> Told for T {
        fn told(&self) -> String {
            serde_json::to_string(self).unwrap()
        }
    }
}

/// Minutes with decimals are seconds to the last digit: 0.1 min is 6 s.
#[test]
fn minutes_are_seconds() {
    let of = json!({"time": "minutes", "columns": [{"column": "m", "is": "time"},
                    {"column": "T", "is": "temperature", "unit": "°C"}]});
    let mapped = taken(b"m,T\n0,20\n0.1,20\n0.7,21\n60.05,22\n", of);
    assert_eq!(mapped.record.time_s, [0.0, 6.0, 42.0, 3_603.0]);
}

/// In Berlin clocks went back from 03:00 to 02:00 on 25 October 2026 and forward from 02:00 to 03:00 on 29 March 2026
/// (Directive 2000/84/EC: the last Sundays of March and October at 01:00 UTC).
#[test]
fn an_hour_that_stands_twice_is_read_in_its_order() {
    let of = |zone: &str| {
        json!({"time": "pattern", "pattern": "%Y-%m-%d %H:%M:%S", "zone": zone,
               "columns": [{"column": "t", "is": "time"}, {"column": "T", "is": "temperature", "unit": "°C"}]})
    };
    let text = "t,T\n2026-10-25 02:59:50,90\n2026-10-25 02:59:55,90\n2026-10-25 02:00:00,90\n2026-10-25 02:00:05,90\n2026-10-25 03:00:00,9\n";
    let mapped = taken(text.as_bytes(), of("Europe/Berlin"));
    assert_eq!(mapped.record.time_s, [0.0, 5.0, 10.0, 15.0, 3_610.0]);
    // 02:59:50 in summer time is 00:59:50 UTC: 1792889990 s after 1970.
    assert_eq!(mapped.record.started_us, Some(1_792_889_990_000_000));
    let spring = "t,T\n2026-03-29 01:59:59,90\n2026-03-29 03:00:00,90\n";
    assert_eq!(taken(spring.as_bytes(), of("Europe/Berlin")).record.time_s, [0.0, 1.0]);
    assert_eq!(taken(spring.as_bytes(), of("UTC")).record.time_s, [0.0, 3_601.0]);
    let none = "t,T\n2026-03-29 01:59:59,90\n2026-03-29 02:30:00,90\n";
    let error = read(none.as_bytes(), &form(of("Europe/Berlin")), None, true).unwrap_err();
    assert!(error.to_string().contains("which no clock of Europe/Berlin showed"), "{error}");
}

/// Where and what is said of a file that the form does not fit.
#[track_caller]
fn refused(bytes: &[u8], of: Value, line: Option<u64>, column: Option<&str>, said: &str) {
    let shown = String::from_utf8_lossy(bytes);
    let error = read(bytes, &form(of), None, true).expect_err(&shown);
    assert_eq!((error.line, error.column.as_deref()), (line, column), "{shown}: {error}");
    assert!(error.to_string().contains(said), "{shown}: {error}");
    assert!(!error.needed.is_empty() && !error.found.is_empty());
}

#[test]
fn files_that_do_not_fit_say_where_and_what() {
    let head = "a\nZyklus Nr. 7\nb\nZeit;T Ablauf °C;Druck\nh;C;mbar\n";
    let with = |rows: &str| latin(&format!("{head}{rows}"));
    let good = "10:00:00;20,1;5\n";
    refused(b"", wide(), None, None, "no line that begins with \"Zyklus Nr.\"");
    refused(b"a\nZyklus Nr. 7\n", wide(), None, None, "ends before line 4");
    refused(&with(""), wide(), Some(4), None, "0 samples");
    refused(&with(good), wide(), Some(6), None, "1 sample;");
    refused(
        &with(&format!("{good}10:00:04;20.5;5\n")),
        wide(),
        Some(7),
        Some("T Ablauf °C"),
        "decimal sign \",\"",
    );
    refused(&with(&format!("{good}10:00:04;;5\n")), wide(), Some(7), Some("T Ablauf °C"), "an empty cell");
    refused(&with(&format!("{good}10:00:04;NaN;5\n")), wide(), Some(7), Some("T Ablauf °C"), "finite");
    refused(&with(&format!("{good}10:00:04;1,2,3;5\n")), wide(), Some(7), Some("T Ablauf °C"), "finite");
    refused(&with(&format!("{good}10:00:04;-300;5\n")), wide(), Some(7), Some("T Ablauf °C"), "-273.15");
    refused(&with(&format!("{good}10:00:04;20\n")), wide(), Some(7), None, "2 cells; 3 are needed");
    refused(&with(&format!("{good}\n10:00:04;20;5\n")), wide(), Some(7), None, "an empty line");
    refused(&with(&format!("{good}10:00:00;20;5\n")), wide(), Some(7), Some("Zeit"), "stands still");
    refused(&with(&format!("{good}09:59:59;20;5\n")), wide(), Some(7), Some("Zeit"), "goes back");
    refused(&with(&format!("{good}24:00:00;20;5\n")), wide(), Some(7), Some("Zeit"), "time of day");
    refused(&with(&format!("{good}\"10:00:04;20;5\n")), wide(), Some(7), None, "quotation mark");
    refused(&with(&format!("{good}10:00:04;20;1e400\n")), wide(), Some(7), Some("Druck"), "finite");
    refused(&with(&format!("{good}10:00:04;20;1e300\n")), wide(), Some(7), Some("Druck"), "28 digits");
    let head_only = latin("a\nZyklus Nr. 7\nb\nZeit;T;Druck\n");
    refused(
        &head_only,
        wide(),
        Some(4),
        Some("T Ablauf °C"),
        "no column of that name among Zeit | T | Druck",
    );
    let twice = latin("a\nZyklus Nr. 7\nb\nZeit;Zeit;T Ablauf °C;Druck\n");
    refused(&twice, wide(), Some(4), Some("Zeit"), "twice");
    let mut bare = wide();
    bare.as_object_mut().unwrap().remove("ambient_kpa");
    refused(&with(good), bare, Some(4), Some("Druck"), "without the ambient pressure");
    let mut utf8 = wide();
    utf8["encoding"] = "utf-8".into();
    refused(&with(good), utf8, Some(4), None, "not UTF-8");
    refused(b"a\n\0", wide(), Some(2), None, "U+0000");
    let columns = json!({"time": "seconds", "columns": [{"column": "t", "is": "time"}, {"column": "n", "is": "cycle_no"},
                         {"column": "T", "is": "temperature", "unit": "°C"}]});
    refused(b"t,n,T\n0,7,20\n1,,20\n2,8,20\n", columns, Some(4), Some("n"), "\"8\" after \"7\" in line 2");
}

#[test]
fn forms_that_cannot_be_meant_say_where() {
    let check = |change: &dyn Fn(&mut Value), at: &str, said: &str| {
        let mut of = wide();
        change(&mut of);
        let told = match serde_json::from_value::<Form>(of.clone()) {
            Ok(form) => form.check().expect_err(&of.to_string()),
            Err(error) => (at.to_string(), error.to_string()),
        };
        assert_eq!(told.0, at, "{of}");
        assert!(told.1.contains(said), "{}", told.1);
    };
    check(&|it| it["separator"] = ";;".into(), "", "one character");
    check(&|it| it["separator"] = "\"".into(), "", "one character");
    check(&|it| it["decimal"] = ";".into(), "", "unknown variant");
    check(&|it| it["skip_lines"] = 1_001.into(), "/skip_lines", "1001");
    check(&|it| it["time"] = "pattern".into(), "/pattern", "missing");
    check(&|it| it["pattern"] = "%H".into(), "/pattern", "time that is pattern");
    check(&|it| it["zone"] = "Europe/Berlin".into(), "/zone", "only a time by pattern");
    check(&|it| it["ambient_kpa"] = 0.into(), "/ambient_kpa", "above 0");
    check(&|it| it["columns"][1]["unit"] = "kpa".into(), "/columns/1/unit", "°C or °F");
    check(&|it| it["columns"][2]["unit"] = "°C".into(), "/columns/2/unit", "kpa, mbar, bar or psi");
    check(
        &|it| drop(it["columns"][2].as_object_mut().unwrap().remove("reference")),
        "/columns/2/reference",
        "abs or gauge",
    );
    check(&|it| it["columns"][0]["unit"] = "bar".into(), "/columns/0/unit", "only a temperature");
    check(&|it| it["columns"][1]["name"] = "a b".into(), "/columns/1/name", "a b");
    check(&|it| it["columns"][2]["column"] = "Zeit".into(), "/columns/2/column", "twice");
    check(&|it| it["columns"][1]["is"] = "time".into(), "/columns/1/unit", "only a temperature");
    check(&|it| it["columns"] = json!([{"column": "t", "is": "time"}]), "/columns", "no temperature");
    check(&|it| it["marks"][0]["is"] = "time".into(), "/marks/0/is", "cycle_no");
    for pattern in ["%d.%m.%Y", "%H:%M:%S", "%Q", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S%z", "%", ""] {
        let change = |it: &mut Value| {
            it["time"] = "pattern".into();
            it["pattern"] = pattern.into();
        };
        check(&change, "/pattern", "year, month, day");
    }
}

proptest! {
    /// Whatever the bytes and the form, an answer comes, and what was read is a record.
    #[test]
    fn no_bytes_bring_the_reader_down(bytes in proptest::collection::vec(any::<u8>(), 0..400), which in 0usize..3) {
        let (_, form) = &three_forms()[which];
        if let Ok(mapped) = read(&bytes, form, None, true) {
            prop_assert!(mapped.record.check().is_ok());
        }
    }

    /// Good files with a few bytes changed.
    #[test]
    fn no_changed_byte_brings_the_reader_down(which in 0usize..3, at in proptest::collection::vec((0usize..4_000, any::<u8>()), 1..6)) {
        let (mut bytes, form) = three_forms()[which].clone();
        for (at, byte) in at {
            let at = at % bytes.len();
            bytes[at] = byte;
        }
        if let Ok(mapped) = read(&bytes, &form, None, true) {
            prop_assert!(mapped.record.check().is_ok());
        }
    }
}

/// The same file in both orders of UTF-16, with its byte order mark or declared (Unicode Standard, section 3.10, from
/// memory: FF FE is little-endian, FE FF big-endian).
#[test]
fn utf_16_is_read_where_a_mark_or_the_form_says_so() {
    let text = "Prüfgerät 7\r\nZyklus Nr.: 00311\r\n\r\nZeit;T Ablauf °C;Druck\r\nh;°C;mbar\r\n\
                23:59:58;134,2;2029,4\r\n23:59:59,5;134,4;2030\r\n";
    let known = taken(text.as_bytes(), wide());
    let le: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let be: Vec<u8> = text.encode_utf16().flat_map(u16::to_be_bytes).collect();
    for (mark, bytes, name) in [(b"\xff\xfe", &le, "utf-16le"), (b"\xfe\xff", &be, "utf-16be")] {
        // With its mark it is read whatever the form says of the encoding; without one it has to be declared.
        assert_eq!(taken(&[&mark[..], bytes].concat(), wide()), known, "{name}");
        let mut declared = wide();
        declared["encoding"] = name.into();
        assert_eq!(taken(bytes, declared.clone()), known, "{name}");
        assert_eq!(taken(text.as_bytes(), declared.clone()), known, "what a program made UTF-8 of it");
        let error = read(bytes, &form(wide()), None, true).expect_err("undeclared");
        assert!(error.needed.contains("where the file is UTF-16"), "{error}");
        let mut torn = bytes.clone();
        torn.pop();
        let error = read(&torn, &form(declared), None, true).expect_err("half a character");
        assert!(error.found.contains("not UTF-16") && error.line.is_some(), "{error}");
    }
}
