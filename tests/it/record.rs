//! Cycle records as files: what is read, what is refused and where, and that nothing panics.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use fettle::analysis::record::Channel;
use fettle::formats::record::read;
use proptest::prelude::*;

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
    row(1, "\ntime_s,temp_c\n", "an empty line");
    row(1, "time_s,temp_c\n", "0 samples");
    row(2, "time_s,temp_c\n0,1\n\n", "1 sample;");
    row(3, "time_s,temp_c\n0,1\n\n1,1\n", "an empty line");
    row(3, "time_s,temp_c\r\n0,1\r\n\r\n1,1\r\n", "an empty line");
    row(3, "time_s,temp_c\n0,1\n1\n", "1 cell; 2 are needed");
    row(3, "time_s,temp_c\n0,1\n1,134,5\n", "134.5, not 134,5");
    row(1, "time_s;temp_c\n0;1\n", "no comma separates");
    row(1, "temp_c\n1\n", "no time column");
    row(1, "time_s\n1\n", "no temperature");
    row(1, "time,time_s,temp_c\n", "both time_s and time");
    row(2, "time_s,temp_c\n\"0,1\n1,1\n", "line break");
    row(2, "time_s,temp_c\n0,\u{0}\n", "U+0000");
    check_refused(b"time_s,temp_c\n0,1\n1,\xff\n", Some(3), None, "UTF-8");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,inf\n", "finite");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,1e999\n", "finite");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,\"134,5\"\n", "comma");
    cell(3, "temp_c", "time_s,temp_c\n0,1\n1,\n", "an empty cell");
    cell(2, "temp_c", "time_s,temp_c\n0,-999\n", "-273.15");
    cell(3, "time_s", "time_s,temp_c\n1,1\n1,1\n", "stands still");
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

/// Text made of what records are made of, so that faults lie deep in the file.
fn likely_text() -> impl Strategy<Value = String> {
    const PIECES: [&str; 22] = [
        "time_s",
        "time",
        "temp_c",
        "temp_c_drain",
        "pressure_bar_abs",
        ",",
        ",",
        "\n",
        "\n",
        "\r\n",
        "\"",
        "0",
        "1",
        "134.5",
        "-",
        "NaN",
        "2026-03-02T23:57:00Z",
        ";",
        " ",
        "\u{feff}",
        "°",
        "\u{0}",
    ];
    prop::collection::vec(prop::sample::select(&PIECES[..]), 0..60).prop_map(|parts| {
        if parts.len() % 2 == 0 { parts.concat() } else { format!("time_s,temp_c\n{}", parts.concat()) }
    })
}

proptest! {
    #[test]
    fn reading_never_panics(bytes in prop::collection::vec(any::<u8>(), 0..400), ambient in any::<Option<f64>>()) {
        let _ = read(&bytes, ambient, true);
    }

    #[test]
    fn what_is_read_can_be_judged(text in likely_text(), want_pressure in any::<bool>()) {
        if let Ok((record, _)) = read(text.as_bytes(), Some(101.325), want_pressure) {
            prop_assert_eq!(record.check(), Ok(()));
        }
    }
}
