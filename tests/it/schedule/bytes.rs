//! Bytes as connections bring them, of whatever kind: nothing panics, nothing grows, and frames are found however they
//! are cut.

use std::time::{Duration, Instant};

use fettle::domain::schedule_next;
use fettle::domain::schedule_read;
use fettle::formats::hl7::frame::{Framed, Framer, framed};
use fettle::formats::hl7::{self, appointment::reduced};
use proptest::collection::vec;
use proptest::prelude::*;

use super::{told, ward};
use crate::ward::time;

/// Everything that is done with a message's bytes before somebody decides on it.
fn through(bytes: &[u8]) {
    let ward = ward();
    let text = hl7::text(bytes).replace('\0', "\u{fffd}");
    let Ok(message) = hl7::read(&text) else { return };
    assert!(reduced(&message, true).len() <= 20_010);
    let Ok(incoming) = schedule_read::read(&message, ward.paper.state.zone) else { return };
    let next = schedule_next::next(&ward.paper.state, &incoming, None, time("2026-03-02T09:00:00+01:00"));
    if let Some(act) = schedule_next::kept(&incoming, &next, &reduced(&message, true)) {
        let command = fettle::domain::Command::plain(act).to_value().expect("a command");
        fettle::domain::Command::read(command.clone()).unwrap_or_else(|wrong| panic!("{command}: {wrong:?}"));
    }
}

fn all(framer: &mut Framer, pieces: &[&[u8]]) -> Vec<Framed> {
    let mut found = Vec::new();
    for piece in pieces {
        let mut rest = *piece;
        while !rest.is_empty() {
            let (taken, message) = framer.take(rest);
            assert!(taken > 0, "it goes on");
            rest = &rest[taken..];
            found.extend(message);
        }
    }
    found
}

/// Messages with some of their characters changed, left out or doubled.
fn broken() -> impl Strategy<Value = Vec<u8>> {
    let text = told("S13").text().into_bytes();
    vec((0..text.len(), any::<u8>(), 0..4_u8), 0..12).prop_map(move |changes| {
        let mut bytes = text.clone();
        for (at, byte, how) in changes {
            let at = at.min(bytes.len().saturating_sub(1));
            match how {
                0 => bytes[at] = byte,
                1 => drop(bytes.remove(at)),
                2 => bytes.insert(at, b'|'),
                _ => bytes.insert(at, b"^~\\&\r\x0b\x1c\0"[usize::from(byte) % 8]),
            }
        }
        bytes
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_read_without_a_panic(bytes in vec(any::<u8>(), 0..400)) {
        through(&bytes);
        through(&[b"MSH|^~\\&|A|B|C|D|1||SIU^S12|1|P|2.5\rSCH|".as_slice(), &bytes].concat());
    }

    #[test]
    fn broken_messages_are_read_without_a_panic(bytes in broken()) {
        through(&bytes);
    }

    /// Frames are found whole however a connection cuts them, and no more is held than one may have.
    #[test]
    fn frames_are_found_however_they_are_cut(
        bytes in vec(prop_oneof![Just(0x0b), Just(0x1c), Just(b'\r'), Just(b'a'), any::<u8>()], 0..300),
        cuts in vec(0..300_usize, 0..6),
        most in 1..40_usize,
    ) {
        let mut one = Framer::new(most);
        let whole = all(&mut one, &[&bytes]);
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(bytes.len())).collect();
        cuts.extend([0, bytes.len()]);
        cuts.sort_unstable();
        let pieces: Vec<&[u8]> = cuts.windows(2).map(|pair| &bytes[pair[0]..pair[1]]).collect();
        let mut many = Framer::new(most);
        prop_assert_eq!(&whole, &all(&mut many, &pieces));
        prop_assert!(many.held() <= most && whole.iter().all(|it| it.bytes.len() <= most));
        prop_assert_eq!((one.inside(), one.wasted(), one.unended()), (many.inside(), many.wasted(), many.unended()));
    }
}

#[test]
fn garbage_and_frames_without_an_end_are_passed_over() {
    let mut framer = Framer::new(100);
    let bytes =
        [b"noise\r\n".as_slice(), &framed("one"), b"\r\n", b"\x0bnever ends", &framed("two"), b"xx"].concat();
    let found = all(&mut framer, &[&bytes]);
    let texts: Vec<&[u8]> = found.iter().map(|it| it.bytes.as_slice()).collect();
    assert_eq!(texts, [b"one".as_slice(), b"two"]);
    assert_eq!((framer.unended(), framer.wasted(), framer.inside()), (1, 2, false));
    let cut = all(&mut framer, &[&framed(&"x".repeat(101))]);
    assert!(cut[0].cut && cut[0].bytes.len() == 100);
}

/// Twice as much takes about twice as long: a megabyte of separators is no way to keep the reader busy.
#[test]
fn a_megabyte_of_separators_takes_no_quadratic_time() {
    for sign in
        ["|", "^", "~", "\\", "\r", "&", "AIS|\r", "AIL|1||OR^1|||2026\r", "PID|||1~\r", "MSH|^~\\&\r"]
    {
        let body = sign.repeat(hl7::LONGEST / sign.len() - 1_000);
        let text = format!("MSH|^~\\&|A|B|C|D|1||SIU^S12|1|P|2.5\rSCH||F||||||||^^^202603031000{body}");
        let begun = Instant::now();
        through(text.as_bytes());
        // A quadratic reader would need the square of a million steps; this is generous to a busy machine.
        assert!(begun.elapsed() < Duration::from_secs(20), "{sign:?}: {:?}", begun.elapsed());
    }
}
