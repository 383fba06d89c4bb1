//! Cycle records as files: what is read, what is refused, where and with which words.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::{BufReader, Read};

use fettle::analysis::record::Channel;
use fettle::formats::record::{read, read_from};

#[test]
fn times_of_day_are_kept() {
    let text =
        "\u{feff}time,door,temp_c\r\n2026-03-02T23:59:59.5+02:00,open,90\r\n2026-03-02T22:00:00Z,,90\r\n";
    let (record, warnings) = read(text.as_bytes(), None, false).unwrap();
    assert_eq!(record.time_s, [0.0, 0.5]);
    assert_eq!(record.started_us, Some(1_772_488_799_500_000));
    assert_eq!(record.ended_us, Some(1_772_488_800_000_000));
    assert_eq!(
        warnings.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["column door is not known and was ignored"]
    );
    assert_eq!(record.channels, [Channel { name: "temp_c".into(), temp_c: vec![90.0, 90.0] }]);
}

/// A file that cannot be used: on which line, in which column, and a part of what is said.
fn check_refused(bytes: &[u8], line: Option<u64>, column: Option<&str>, said: &str) {
    let shown = String::from_utf8_lossy(bytes);
    let error = read(bytes, None, true).expect_err(&shown);
    assert_eq!((error.line, error.column.as_deref()), (line, column), "{shown}: {error}");
    assert!(error.to_string().contains(said), "{shown}: {error}");
}

#[test]
fn unusable_files_say_where_and_what() {
    let cell =
        |line, column, text: &str, said| check_refused(text.as_bytes(), Some(line), Some(column), said);
    let row = |line, text: &str, said| check_refused(text.as_bytes(), Some(line), None, said);
    check_refused(b"", None, None, "an empty file");
    check_refused("\u{feff}\r\n\n".as_bytes(), None, None, "an empty file");
    row(1, "\ntime_s,temp_c\n", "an empty line");
    row(1, "time_s,temp_c\n", "0 samples");
    row(2, "time_s,temp_c\n0,1\n\n", "1 sample;");
    row(3, "time_s,temp_c\n0,1\n\n1,1\n", "an empty line");
    row(3, "time_s,temp_c\r\n0,1\r\n\r\n1,1\r\n", "an empty line");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1\n", "found 1 cell in \"1\"; 2 are needed");
    row(3, "time_s,temp_c\n0,1\n1,134,5\n", "found 3 cells in \"1,134,5\"; 2 are needed");
    row(3, "time_s,temp_c\n0,1\n1,134,5\n", "134.5, not 134,5");
    row(1, "time_s;temp_c\n0;1\n", "no comma separates");
    row(1, "time_s,temp_c\r0,1\r1,1\r", "a carriage return alone");
    row(1, "temp_c\n1\n", "no time column");
    row(1, "time_s\n1\n", "no temperature");
    row(1, "time,time_s,temp_c\n", "both time_s and time");
    cell(2, "time_s", "time_s,temp_c\n\"0,1\n1,1\n", "line break");
    cell(2, "temp_c", "time_s,temp_c\n0,\"1\"5\n", "behind the closing quotation mark");
    cell(1, "2", "time_s,\"temp_c\n0,1\n", "line break");
    cell(2, "temp_c", "time_s,temp_c\n0,\u{0}\n", "U+0000");
    cell(1, "2", "time_s,\u{0}\n", "U+0000");
    check_refused(b"time_s,temp_c\n0,1\n1,\xff\n", Some(3), Some("temp_c"), "UTF-8");
    check_refused(b"time_s,door,temp_c\n0,\xe9,1\n", Some(2), Some("door"), "UTF-8");
    // calc.md: CSV in UTF-8. A byte order mark of UTF-16 (Unicode, section 3.10, from memory) says what it is instead.
    check_refused(b"\xff\xfet\0i\0m\0e\0", Some(1), None, "a file in UTF-16");
    check_refused(b"\xfe\xff\0t\0i\0m\0e", Some(1), None, "a file in UTF-16");
    check_refused(b"t\0i\0m\0e\0", Some(1), Some("1"), "where the file is UTF-16, a record form");
    // A name that is written large is told, where passing over it would leave a channel unjudged.
    for name in ["Pressure_bar_abs", "PRESSURE_KPA_ABS", "Temp_C", "temp_C_drain", "TEMP_C_DRAIN"] {
        cell(1, name, &format!("time_s,temp_c,{name}\n0,1,1\n1,1,1\n"), "capital letters");
    }
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,warm\n", "found \"warm\"; a finite number");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,NaN\n", "found \"NaN\"; a finite number");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,inf\n", "finite");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,1e999\n", "finite");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,\"134,5\"\n", "found \"134,5\"; a number with a decimal point");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,\n", "an empty cell");
    cell(2, "temp_c", "time_s,temp_c\n0,-999\n", "-273.15");
    cell(3, "time_s", "time_s,temp_c\n1,1\n1,1\n", "found \"1\", where the time stands still");
    cell(3, "time_s", "time_s,temp_c\n1,1\n0,1\n", "goes back");
    cell(2, "time", "time,temp_c\n2026-03-02T23:57:00,1\n", "RFC 3339");
    cell(1, "door", "time_s,door,temp_c,door\n", "twice");
    cell(1, "temp_c_", "time_s,temp_c_\n", "underscore");
    for name in ["pressure", "pressure_bar", "pressures", "pressure_torr_abs", "pressure_bar_abs_2"] {
        cell(1, name, &format!("time_s,temp_c,{name}\n"), "unit and reference");
    }
    cell(1, "pressure_bar_gauge", "time_s,temp_c,pressure_bar_gauge\n", "ambient");
    cell(1, "pressure_bar_abs", "time_s,temp_c,pressure_kpa_abs,pressure_bar_abs\n", "second pressure");
}

#[test]
fn every_pressure_unit_is_the_same_pressure() {
    for (name, value) in [
        ("kpa_abs", "300"),
        ("mbar_abs", "3000"),
        ("bar_abs", "3"),
        ("psi_abs", "43.51132131906"),
        ("kpa_gauge", "200"),
        ("mbar_gauge", "2000"),
        ("bar_gauge", "2"),
        ("psi_gauge", "29.00754754604"),
    ] {
        let text = format!("time_s,temp_c,pressure_{name}\n0,1,{value}\n1,1,{value}\n");
        let (record, warnings) = read(text.as_bytes(), Some(100.0), true).unwrap();
        let kpa = record.pressure_kpa_abs.unwrap();
        assert!(warnings.is_empty() && kpa.iter().all(|kpa| (kpa - 300.0).abs() < 1e-9), "{name}: {kpa:?}");
    }
}

#[test]
fn cells_may_stand_in_quotation_marks() {
    let text = "\"time_s\",\"note, of the day\",temp_c\n\"0\",\"a \"\"b\"\", c\",\"134.5\"\n1, , 134.5 \n";
    let (record, warnings) = read(text.as_bytes(), None, true).unwrap();
    assert_eq!((record.time_s, &record.channels[0].temp_c), (vec![0.0, 1.0], &vec![134.5, 134.5]));
    assert_eq!(warnings[0].column, "note, of the day");
}

#[test]
fn a_record_larger_than_the_limit_is_refused_with_the_limit_named() {
    let header = b"time_s,temp_c\n0,1\n";
    let source = header.chain(std::io::repeat(b'1').take(64 * 1024 * 1024));
    let error = read_from(BufReader::new(source), None, true).unwrap().unwrap_err();
    assert_eq!(error.line, Some(3));
    assert_eq!(error.to_string(), "line 3: found more than 64 MiB; a record of at most 64 MiB is needed");
}
