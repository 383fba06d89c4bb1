//! Any bytes at all, and texts made of what marks are made of.

use fettle::formats::gs1::{self, Element};
use fettle::formats::{hibc, hl7, mark};
use proptest::prelude::*;

use super::day;

fn likely() -> impl Strategy<Value = String> {
    const PIECES: [&str; 34] = [
        "]d2",
        "]C1",
        "]d1",
        "01",
        "09521234000013",
        "10",
        "21",
        "8004",
        "9521234RE17",
        "(",
        ")",
        "(01)",
        "\u{1d}",
        "\u{241d}",
        "17",
        "261200",
        "https://",
        "id.gs1.org/",
        "/",
        "?",
        "%2F",
        "%",
        "+",
        "$$",
        "$$+",
        "7",
        "9",
        "S",
        "16D",
        "*",
        " ",
        "é",
        "５",
        "\r",
    ];
    prop::collection::vec(prop::sample::select(&PIECES[..]), 0..40).prop_map(|pieces| pieces.concat())
}

fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![likely(), any::<String>(), prop::collection::vec(any::<u8>(), 0..400).prop_map(lossy)]
}

fn lossy(bytes: Vec<u8>) -> String {
    String::from_utf8_lossy(&bytes).into_owned()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn no_text_makes_a_reader_panic(text in any_text()) {
        let today = day("2026-11-25");
        for answer in [mark::gs1_answer(&text, today), mark::hibc_answer(&text, today)] {
            prop_assert!(answer["ok"].is_boolean(), "{}", answer);
        }
        // What is told of one piece is never told of a text that has no number of one.
        if let Ok(mark) = gs1::read(&text, today) && mark.named.kind == gs1::Kind::Asset {
            let individual = ["8004", "8003", "21"];
            prop_assert!(mark.elements.iter().any(|(ai, _)| individual.contains(&ai.as_str())));
        }
    }

    #[test]
    fn no_message_makes_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), header in any::<bool>()) {
        let bytes = if header { [&b"MSH|^~\\&|A|B|C|D|2026||SIU^S12|1|P|2.5\rSCH|"[..], &bytes].concat() } else { bytes };
        let text = hl7::text(&bytes);
        let _ = hl7::schedule::schedule(&text);
        if let Ok(message) = hl7::read(&text) {
            for segment in &message.segments {
                for field in 0..12 {
                    let _ = message.unescaped(segment.field(field));
                }
            }
        }
    }

    /// Whatever is composed is read again as what it was composed of, and the separator stands only where it must.
    #[test]
    fn what_is_composed_is_read_again(
        serial in "[!%-?A-Z_a-z\"]{1,20}", lot in "[0-9A-Z]{1,20}", giai in "[0-9]{4}[0-9A-Z]{0,26}", with_lot in any::<bool>(),
    ) {
        let today = day("2026-11-25");
        let own = |ai: &str, value: &str| -> Element { (ai.into(), value.into()) };
        let mut product = vec![own("01", "09521234000013"), own("17", "270630")];
        product.extend(with_lot.then(|| own("10", &lot)));
        product.push(own("21", &serial));
        for elements in [product, vec![own("8004", &giai)]] {
            let text = gs1::element_string(&elements, today).unwrap();
            prop_assert_eq!(&gs1::read(&format!("]d2{text}"), today).unwrap().elements, &elements);
            prop_assert_eq!(text.matches(gs1::GS).count(), usize::from(with_lot && elements.len() > 1));
            let address = gs1::digital_link("https://marks.example/p", &elements, today).unwrap();
            let mut read = gs1::read(&address, today).unwrap().elements;
            let mut meant = elements.clone();
            read.sort();
            meant.sort();
            prop_assert_eq!(read, meant);
            let printed = gs1::bracketed(&elements);
            // A serial number may hold what looks like the next bracket; then the print reads as something else.
            if !serial.contains('(') {
                prop_assert_eq!(gs1::read(&printed, today).unwrap().elements, elements);
            }
        }
    }

    /// One wrong character is always found in a HIBC mark, and a wrong digit in a GTIN (both are properties of the codes).
    #[test]
    fn one_wrong_character_is_found(serial in "[0-9A-Z]{1,18}", at in 1usize..12, by in 1usize..43) {
        const ALPHABET: &[u8; 43] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%";
        let today = day("2026-11-25");
        let primary = hibc::Primary { lic: "T999".into(), pcn: "1Z007".into(), unit_of_measure: 1 };
        let good = hibc::compose(&primary, Some(&serial), today).unwrap();
        prop_assert!(hibc::read(&good, today).is_ok());
        let mut wrong = good.clone().into_bytes();
        let value = ALPHABET.iter().position(|own| *own == wrong[at]).unwrap();
        wrong[at] = ALPHABET[(value + by) % ALPHABET.len()];
        let fault = hibc::read(&String::from_utf8(wrong).unwrap(), today).unwrap_err();
        prop_assert_eq!(fault.code, hibc::Code::BadCheckChar);
    }
}

/// A mebibyte of what a reader could stumble over again and again. Work that grew with the square of it would not end
/// within hours.
#[test]
fn long_texts_are_read_in_time_that_grows_with_them() {
    let today = day("2026-11-25");
    for piece in
        ["(01)", "(", "\u{1d}", "90A\u{1d}", "/01/1", "MSH|^~\\&|\r", "\\X41\\", "|", "~", "^", "SCH|1\r"]
    {
        for begin in ["", "(90)", "]d2", "https://a/", "MSH|^~\\&|"] {
            let text = format!("{begin}{}", piece.repeat((hl7::LONGEST - begin.len()) / piece.len()));
            let cut = text.get(..gs1::LONGEST).unwrap();
            let _ = (gs1::read(cut, today), hibc::read(cut, today));
            if let Ok(message) = hl7::read(&text) {
                let _ = (hl7::schedule::of(&message), message.unescaped(&text));
            }
        }
    }
    assert_eq!(gs1::read(&"0".repeat(2_000_000), today).unwrap_err().code, gs1::Code::TooLong);
}
