//! The reader of cycle records on what nobody meant it for: it answers with finite numbers, or says on which line not.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::io::BufReader;

use fettle::analysis::cycle::{judge_disinfection, judge_steam};
use fettle::analysis::limits::{DisinfectionLimits, SteamLimits};
use fettle::analysis::phases;
use fettle::analysis::record::Record;
use fettle::formats::record::{RecordError, read, read_from};
use proptest::prelude::*;

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

/// A record as a good recorder writes it.
fn good_text() -> impl Strategy<Value = String> {
    let row = (1_u32..40, 1200_i32..1400, 1200_i32..1400, 9000_u32..33000);
    let day = prop::sample::select(vec![true, false]);
    (prop::collection::vec(row, 2..12), day, any::<bool>()).prop_map(|(rows, by_day, crlf)| {
        let end = if crlf { "\r\n" } else { "\n" };
        let mut text =
            format!("{},temp_c,temp_c_drain,pressure_kpa_abs{end}", if by_day { "time" } else { "time_s" });
        let mut tenths = 0;
        for (gap, a, b, kpa) in rows {
            tenths += gap;
            let (s, tenth) = (tenths / 10, tenths % 10);
            text += &match by_day {
                true => format!("2026-03-02T10:{:02}:{:02}.{tenth}+01:00", s / 60, s % 60),
                false => format!("{s}.{tenth}"),
            };
            let tenths = |value: i32| f64::from(value) / 10.0;
            text += &format!(",{},{},{}{end}", tenths(a), tenths(b), f64::from(kpa) / 100.0);
        }
        text
    })
}

/// What happens to a file on its way: bytes changed, lost and added, lines doubled, swapped and cut off.
#[derive(Clone, Debug)]
enum Harm {
    Change(prop::sample::Index, u8),
    Lose(prop::sample::Index),
    Add(prop::sample::Index, Vec<u8>),
    Double(prop::sample::Index),
    Swap(prop::sample::Index, prop::sample::Index),
    CutOff(prop::sample::Index),
}

fn harms() -> impl Strategy<Value = Vec<Harm>> {
    let at = any::<prop::sample::Index>;
    let piece = prop::sample::select(vec![
        "nan", "inf", "-", "1e400", ",", "\n", "\"", "\r", ";", "134,5", "\u{feff}", "\0",
    ]);
    let harm = prop_oneof![
        (at(), any::<u8>()).prop_map(|(at, byte)| Harm::Change(at, byte)),
        at().prop_map(Harm::Lose),
        (at(), piece).prop_map(|(at, piece)| Harm::Add(at, piece.into())),
        at().prop_map(Harm::Double),
        (at(), at()).prop_map(|(a, b)| Harm::Swap(a, b)),
        at().prop_map(Harm::CutOff),
    ];
    prop::collection::vec(harm, 0..4)
}

fn harmed(text: &str, harms: &[Harm]) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for harm in harms {
        if bytes.is_empty() {
            break;
        }
        let mut lines: Vec<Vec<u8>> =
            bytes.split_inclusive(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
        match harm {
            Harm::Change(at, byte) => *at.get_mut(&mut bytes) = *byte,
            Harm::Lose(at) => drop(bytes.remove(at.index(bytes.len()))),
            Harm::Add(at, piece) => {
                let at = at.index(bytes.len());
                bytes.splice(at..at, piece.iter().copied());
            }
            Harm::Double(at) => {
                let line = at.get(&lines).clone();
                lines.insert(at.index(lines.len()), line);
                bytes = lines.concat();
            }
            Harm::Swap(a, b) => {
                let (a, b) = (a.index(lines.len()), b.index(lines.len()));
                lines.swap(a, b);
                bytes = lines.concat();
            }
            Harm::CutOff(at) => bytes.truncate(at.index(bytes.len())),
        }
    }
    bytes
}

/// A number that is not finite becomes null in JSON, and nothing else here may be null but what is not there.
fn numbers_are_finite(record: &Record) -> Result<(), TestCaseError> {
    prop_assert_eq!(record.check(), Ok(()));
    let limits = SteamLimits::new(121.0, 1.0);
    let steam = judge_steam(record, &limits);
    if let Ok(verdict) = &steam {
        let value = serde_json::to_value(verdict).unwrap();
        prop_assert_eq!(value["hold"].is_null(), verdict.hold.is_none());
        prop_assert!(nulls(&value) <= 3, "{}", value);
        prop_assert!(verdict.f0_min.total.channels.values().all(|f0| f0.0.is_finite() && f0.0 >= 0.0));
        prop_assert!(verdict.reasons.iter().all(|reason| reason.found.is_finite()));
        for phase in phases::steam(record, verdict.hold) {
            prop_assert!(phase.start_s.is_finite() && phase.end_s.is_finite());
        }
    }
    let verdict = judge_disinfection(record, &DisinfectionLimits::new(600.0, 80.0)).unwrap();
    prop_assert!(verdict.a0_s.total.channels.values().all(|a0| a0.0.is_finite() && a0.0 >= 0.0));
    prop_assert!(verdict.reasons.iter().all(|reason| reason.found.is_finite()));
    Ok(())
}

fn nulls(value: &serde_json::Value) -> usize {
    match value {
        serde_json::Value::Null => 1,
        serde_json::Value::Array(items) => items.iter().map(nulls).sum(),
        serde_json::Value::Object(fields) => fields.values().map(nulls).sum(),
        serde_json::Value::Bool(_) | serde_json::Value::Number(_) | serde_json::Value::String(_) => 0,
    }
}

/// An error names a line of the file, unless there is none; one line of text says what was found and what is needed.
fn says_where(bytes: &[u8], error: &RecordError) -> Result<(), TestCaseError> {
    let lines = bytes.split(|byte| *byte == b'\n').count() as u64;
    match error.line {
        Some(line) => prop_assert!((1..=lines).contains(&line), "{}", error),
        None => prop_assert!(bytes.iter().all(|byte| b"\r\n\xef\xbb\xbf".contains(byte)), "{}", error),
    }
    prop_assert!(!error.found.is_empty() && !error.needed.is_empty(), "{}", error);
    prop_assert!(!error.to_string().contains(char::is_control), "{:?}", error.to_string());
    Ok(())
}

fn answers(bytes: &[u8], ambient_kpa: Option<f64>, want_pressure: bool) -> Result<(), TestCaseError> {
    match read(bytes, ambient_kpa, want_pressure) {
        Ok((record, _)) => numbers_are_finite(&record),
        Err(error) => says_where(bytes, &error),
    }
}

proptest! {
    #[test]
    fn any_bytes_are_answered(bytes in prop::collection::vec(any::<u8>(), 0..400), ambient in any::<Option<f64>>()) {
        answers(&bytes, ambient, true)?;
    }

    #[test]
    fn likely_text_is_answered(text in likely_text(), want_pressure in any::<bool>()) {
        answers(text.as_bytes(), Some(101.325), want_pressure)?;
    }

    #[test]
    fn good_records_are_read_and_harmed_ones_answered(text in good_text(), harms in harms(), piece in 1_usize..50) {
        let (record, warnings) = read(text.as_bytes(), None, true).unwrap();
        prop_assert!(warnings.is_empty());
        prop_assert_eq!(record.time_s.len() + 1, text.lines().count());
        let bytes = harmed(&text, &harms);
        answers(&bytes, None, true)?;
        // In pieces of any size it is the same.
        let source = BufReader::with_capacity(piece, bytes.as_slice());
        prop_assert_eq!(read_from(source, None, true).unwrap(), read(&bytes, None, true));
    }
}
