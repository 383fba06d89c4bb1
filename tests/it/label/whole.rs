//! What has to stand on a label stands there whole, within its edges.

use fettle::domain::labelling::{Payload, Reading};
use fettle::formats::label::{Label, Line, Placed, Size, laid_out, svg};

use super::{SIZES, today};

/// What is drawn of a label, its lines put together again.
fn drawn(svg: &str) -> String {
    let texts = svg.split("</text>").filter_map(|it| it.rsplit_once('>').map(|(_, text)| text));
    texts.collect::<Vec<_>>().join(" ")
}

/// A pack whose day is cut off, or whose load is not named, is no pack that anybody may open: the label says both, or is
/// refused with the size that is needed. In every size and symbol, with a long name of the set.
#[test]
fn what_a_pack_must_say_is_never_cut() {
    let size = |(width_mm, height_mm): (f64, f64)| Size { width_mm, height_mm };
    let must = [
        "optics: Adult bronchoscopy for the night, second of the emergency cupboard",
        "Packed 2026-11-25 08:59 by desk-1",
        "Load L-05247, steriliser-1, cycle 51237",
        "Sterile until 2027-05-24",
    ];
    let mut printed = 0;
    for reading in Reading::ALL {
        let label = Label {
            symbol: Payload::Plain("SET-04".into()).symbol(reading).unwrap(),
            caption: "SET-04".into(),
            lines: vec![
                Line::strong(must[0]),
                Line::plain("17 parts, count sheet Adult bronchoscopy, rigid, with jet ventilation"),
                Line::whole(must[1]),
                Line::whole(must[2]),
                Line::strong(must[3]),
            ],
        };
        let needed = laid_out(&label, size((5.0, 5.0))).unwrap_err().needed;
        assert!(needed.width_mm < 80.0 && needed.height_mm < 40.0, "{needed:?}");
        for size in SIZES.into_iter().map(size).chain([needed]) {
            let Ok(placed) = laid_out(&label, size) else { continue };
            printed += 1;
            let text = drawn(&svg(&label, &placed, size));
            for words in must {
                assert!(text.contains(words), "{words} on {size:?}, {reading:?}: {text}");
            }
            within(&placed, size);
        }
        assert!(laid_out(&label, needed).is_ok() && laid_out(&label, size((100.0, 50.0))).is_ok());
    }
    assert!(printed >= 9, "{printed}");
    // What may be cut stands there, too, as soon as there is a line for it.
    let symbol = Payload::Plain("CAM1".into()).symbol(Reading::Square).unwrap();
    let lines = vec![
        Line::strong("cable: Camera and light 1"),
        Line::plain("1 part, count sheet Camera and light"),
        Line::whole(must[1]),
        Line::whole("Load L-05247, steriliser-1, cycle 9347"),
        Line::strong(must[3]),
    ];
    let label = Label { symbol, caption: "CAM1".into(), lines };
    let size = size(SIZES[1]);
    assert!(drawn(&svg(&label, &laid_out(&label, size).unwrap(), size)).contains("1 part, count sheet Cam"));
}

/// Nothing stands outside the label, and no line over another.
pub fn within(placed: &[Placed], size: Size) {
    let mut above = 0.0;
    for item in placed {
        let Placed::Text { x_mm, y_mm, size_mm, wide_mm, .. } = item else { continue };
        assert!(x_mm + wide_mm <= size.width_mm - 0.9, "{item:?} on {size:?}");
        assert!(
            y_mm - size_mm >= above - 0.01 && y_mm + size_mm * 0.2 <= size.height_mm,
            "{item:?} on {size:?}"
        );
        assert!(*size_mm >= 1.69, "{item:?} is read");
        above = *y_mm;
    }
}

/// A date without its day is read and not written: the label names the same piece, as GS1, without the date.
#[test]
fn the_label_of_a_mark_with_an_open_date_names_its_piece() {
    let payload = Payload::of("]d201095212340000131727060021A0018", today());
    let Payload::Gs1 { data, bracketed } = payload else { panic!("{payload:?}") };
    assert_eq!(
        (data.as_str(), bracketed.as_str()),
        ("010952123400001321A0018", "(01)09521234000013(21)A0018")
    );
}
