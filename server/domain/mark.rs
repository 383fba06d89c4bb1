//! What a scanned text names by its standard: one piece, a product, a place, a person, blood or tissue, or nothing here.
//!
//! Two readers write one mark differently: with or without a symbology identifier, with brackets, as an address. What names
//! one piece has a key that all of these share, and is found by it.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::command::{Malformed, wrong};
use super::id::Id;
use super::state::{Asset, Named, State};
use super::text::Line;
use crate::formats::gs1::{self, Kind};
use crate::formats::hibc;

/// What a text is, read by its standard.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Reads {
    /// One piece, by its key.
    Piece(String),
    /// A product, or a lot of it: never one piece.
    Product {
        key: String,
        number: String,
        lot: Option<String>,
    },
    /// A kind of returnable thing without a number for the one in hand.
    AssetType(String),
    Place(String),
    /// The badge of somebody who gives care.
    Badge(String),
    /// The wristband of somebody who receives care.
    Wristband,
    Parcel(String),
    /// The second half of a mark of two: lot and dates without the product.
    Half,
    /// ISBT 128: blood, cells, tissue.
    Tissue,
    /// It says that it is a mark by a standard, and is none; why.
    Faulty(&'static str),
    /// The site's own code, as it stands behind a symbology identifier.
    Own(String),
    /// Nothing of these.
    Plain,
}

/// Two digits of a year decide nothing of what a mark names, so that any day will do.
fn some_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).unwrap_or_default()
}

/// The symbology identifier that a reader puts before the data (ISO/IEC 15424): a bracket, a letter and a digit.
fn identifier(text: &str) -> Option<(&str, &str)> {
    let (prefix, rest) = text.split_at_checked(3)?;
    let mut letters = prefix.bytes();
    let is_one = letters.next() == Some(b']')
        && letters.next().is_some_and(|letter| letter.is_ascii_alphabetic())
        && letters.next().is_some_and(|digit| digit.is_ascii_alphanumeric());
    is_one.then_some((prefix, rest))
}

/// Reads a text by its standard.
pub fn read(text: &str) -> Reads {
    let (prefix, data) = identifier(text).unwrap_or(("", text));
    let as_gs1 = ["]d2", "]C1", "]Q3", "]e0", "]J1"].contains(&prefix);
    if !as_gs1 {
        if is_tissue(data) {
            return Reads::Tissue;
        }
        if data.starts_with('+') || data.starts_with("*+") {
            return of_hibc(text);
        }
    }
    match gs1::read(text, some_day()) {
        Ok(mark) => of_gs1(&mark),
        Err(fault) if as_gs1 || is_meant(data) => Reads::Faulty(fault.code.words()),
        Err(_) if !prefix.is_empty() && !data.is_empty() => Reads::Own(data.to_owned()),
        Err(_) => Reads::Plain,
    }
}

/// ISBT 128 structures begin with an equals sign or an ampersand and a character of their identifier (ICCBBA, from a
/// published example).
fn is_tissue(data: &str) -> bool {
    let mut letters = data.chars();
    matches!(letters.next(), Some('=' | '&'))
        && letters.next().is_some_and(|letter| letter.is_ascii_graphic())
}

/// Whether a text without an identifier can only have been meant as GS1: it stands in brackets, or begins as a mark
/// does and is as long as one.
fn is_meant(data: &str) -> bool {
    const SHORTEST: usize = 16;
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let bracketed = data.strip_prefix('(').is_some_and(|rest| {
        let many = digits(rest);
        (2..=4).contains(&many) && rest.get(many..).is_some_and(|rest| rest.starts_with(')'))
    });
    let begins = ["01", "8003", "8004", "8006", "8017", "8018", "414"].iter().any(|ai| data.starts_with(ai));
    bracketed || (begins && data.len() >= SHORTEST && digits(data) >= 8)
}

/// The check character may be a space, which a form takes from the end of a text: it is put back where it alone agrees.
fn of_hibc(text: &str) -> Reads {
    let as_sent = hibc::read(text, some_day());
    let mark = match &as_sent {
        Err(fault) if fault.code == hibc::Code::BadCheckChar => {
            hibc::read(&format!("{text} "), some_day()).or(as_sent)
        }
        _ => as_sent,
    };
    match mark {
        Ok(mark) => match mark.key() {
            Some((key, true)) => Reads::Piece(key),
            Some((key, false)) => {
                let number = mark.primary.as_ref().map(hibc::Primary::di).unwrap_or_default();
                let lot = mark.secondary.and_then(|secondary| secondary.lot);
                Reads::Product { key, number, lot }
            }
            None => Reads::Half,
        },
        Err(fault) => Reads::Faulty(fault.code.words()),
    }
}

fn of_gs1(mark: &gs1::Mark) -> Reads {
    let key = mark.named.key.clone().unwrap_or_default();
    let number = key.split_once(':').map(|(_, number)| number.to_owned()).unwrap_or_default();
    let lot = mark.elements.iter().find(|(ai, _)| ai == "10").map(|(_, lot)| lot.clone());
    match mark.named.kind {
        Kind::Asset => Reads::Piece(key),
        Kind::Product => Reads::Product { key, number, lot },
        Kind::AssetType => Reads::AssetType(number),
        Kind::Location => Reads::Place(number),
        Kind::Provider => Reads::Badge(number),
        Kind::Recipient => Reads::Wristband,
        Kind::LogisticUnit => Reads::Parcel(number),
        Kind::Other => Reads::Faulty("It names no thing: no product, piece, place or person."),
    }
}

/// How every printed command of a workplace begins: the desk reads it as an act, and never as a thing.
pub const COMMANDS: &str = "FTLDO";

/// What is said of a mark that stands on many pieces.
pub const UNNAMING: (&str, &str) = (
    "the mark of a product, which each of its pieces carries, so that no scan of it finds this one",
    "a mark with a number of this piece is needed, or one that the house gives it",
);

/// What is odd about a mark that may be recorded all the same: what was found, and what is needed.
pub fn doubt(mark: &str) -> Option<(String, &'static str)> {
    match read(mark) {
        Reads::Faulty(why) => Some((
            format!("a mark that does not read: {}", why.trim_end_matches('.')),
            "look whether it is what stands on the part",
        )),
        _ if !names_one(mark) => Some((UNNAMING.0.to_string(), UNNAMING.1)),
        _ => None,
    }
}

/// Whether a mark names the one part that carries it, so that a scan of it finds that part. The mark of a product stands
/// on every piece of it: it may be recorded, and finds none.
pub fn names_one(mark: &str) -> bool {
    match read(mark) {
        Reads::Piece(_) | Reads::Own(_) | Reads::Faulty(_) | Reads::Plain => true,
        Reads::Tissue => !is_of_tissue(mark),
        Reads::Product { .. }
        | Reads::AssetType(_)
        | Reads::Place(_)
        | Reads::Badge(_)
        | Reads::Wristband
        | Reads::Parcel(_)
        | Reads::Half => false,
    }
}

/// A house may begin a code of its own with the sign of ISBT 128; what is as long as one of those, and made as they are
/// made, is one.
fn is_of_tissue(mark: &str) -> bool {
    const SHORTEST: usize = 10;
    let digits = mark.bytes().filter(u8::is_ascii_digit).count();
    mark.len() >= SHORTEST && 2 * digits >= mark.len() && !mark.contains([' ', '"', '(', ')'])
}

/// Whether a text may be recorded as the mark of a part: that of a person never is, and what is told does not repeat it.
pub(super) fn may_be_kept(at: &str, mark: Option<&Line>) -> Result<(), Malformed> {
    let Some(mark) = mark.map(Line::as_str) else { return Ok(()) };
    let found = match read(mark) {
        Reads::Own(code) if code.starts_with(COMMANDS) => "a printed command of a workplace",
        Reads::Plain if mark.starts_with(COMMANDS) => "a printed command of a workplace",
        Reads::Wristband => "the wristband of a patient",
        Reads::Badge(_) => "a badge of staff",
        Reads::Place(_) => "the mark of a place",
        Reads::Parcel(_) => "the mark of a parcel",
        Reads::Half => "the second half of a mark, which does not say of what",
        Reads::Tissue if is_of_tissue(mark) => "a mark for blood and tissue (ISBT 128)",
        Reads::Piece(_)
        | Reads::Product { .. }
        | Reads::AssetType(_)
        | Reads::Tissue
        | Reads::Faulty(_)
        | Reads::Own(_)
        | Reads::Plain => return Ok(()),
    };
    Err(wrong(
        format!("{at}/mark"),
        format!("found {found}; the mark that the part itself carries is needed"),
    ))
}

/// A mark that is to name the part, and not only to stand on it.
pub(super) fn may_name(at: &str, mark: Option<&Line>) -> Result<(), Malformed> {
    may_be_kept(at, mark)?;
    match mark.filter(|mark| !names_one(mark.as_str())) {
        None => Ok(()),
        Some(_) => {
            let (found, needed) = UNNAMING;
            Err(wrong(format!("{at}/mark"), format!("found {found}; {needed}")))
        }
    }
}

/// The key by which a recorded mark is found in whatever way it is written; none where only its own letters find it.
pub fn key_of(mark: &str) -> Option<String> {
    match read(mark) {
        Reads::Piece(key) => Some(key),
        Reads::Own(code) => Some(own_key(&code)),
        Reads::Product { key, .. } => Some(product_key(&key)),
        Reads::AssetType(_)
        | Reads::Place(_)
        | Reads::Badge(_)
        | Reads::Wristband
        | Reads::Parcel(_)
        | Reads::Half
        | Reads::Tissue
        | Reads::Faulty(_)
        | Reads::Plain => None,
    }
}

/// The key of a site's own code that was recorded as a reader sent it, with its identifier.
pub fn own_key(code: &str) -> String {
    format!("own:{code}")
}

/// The key of parts that carry the mark of a product: it finds none of them, and says which they are.
fn product_key(key: &str) -> String {
    format!("of:{key}")
}

impl State {
    /// Files a part under its id, its mark, and the key of its mark.
    pub fn name_asset(&mut self, asset: &Asset) {
        let named = Named::Asset(asset.asset.clone());
        self.names.insert(asset.asset.to_string(), named.clone());
        if let Some(mark) = &asset.mark {
            if names_one(&mark.0) {
                self.names.insert(mark.0.clone(), named);
            }
            if let Some(key) = key_of(&mark.0) {
                let mut all = self.pieces_of(&key).to_vec();
                all.push(asset.asset.clone());
                self.pieces.insert(key, all.into());
            }
        }
    }

    /// A part whose mark is about to be another one: those that carry a product's mark are without it.
    pub(super) fn unname_product(&mut self, asset: &Asset) {
        let key = asset.mark.as_ref().filter(|mark| !names_one(&mark.0)).and_then(|mark| key_of(&mark.0));
        if let Some(key) = key {
            let others = self.pieces_of(&key).iter().filter(|id| **id != asset.asset);
            let others: Vec<Id> = others.cloned().collect();
            match others.is_empty() {
                true => drop(self.pieces.remove(&key)),
                false => drop(self.pieces.insert(key, others.into())),
            }
        }
    }

    /// The parts whose marks have this key: one, but for ledgers that other means wrote.
    pub fn pieces_of(&self, key: &str) -> &[Id] {
        self.pieces.get(key).map_or(&[], |all| all)
    }

    /// The parts of a product: first those that carry its mark, then those with a mark that begins with it, or of a model
    /// with its number.
    pub fn of_product(&self, key: &str, number: &str) -> Vec<&Asset> {
        let bare = |gtin: &str| gtin.trim_start_matches('0').to_owned();
        let models: Vec<&Id> = self
            .models
            .values()
            .filter(|model| model.gtin.as_ref().is_some_and(|gtin| bare(&gtin.0) == bare(number)))
            .map(|model| &model.model)
            .collect();
        let serial = format!("{key}/sn:");
        let own = self.pieces.range(serial.clone()..).take_while(|(own, _)| own.starts_with(&serial));
        let with_it = self.pieces_of(&product_key(key));
        let marked: BTreeSet<&Id> = own.flat_map(|(_, all)| all.iter()).chain(with_it).collect();
        let all = self.assets.values().filter(|it| it.retired.is_none());
        let all = all.filter(|it| models.contains(&&it.model) || marked.contains(&it.asset));
        let mut all: Vec<&Asset> = all.map(|it| &**it).collect();
        all.sort_by_key(|it| !with_it.contains(&it.asset));
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_piece_has_one_key_in_every_writing() {
        // A GIAI and a GTIN with its serial number, on the demonstration prefix 952.
        for same in ["8004952123400017", "]d28004952123400017", "]C18004952123400017", "(8004)952123400017"] {
            assert_eq!(read(same), Reads::Piece("giai:952123400017".into()), "{same}");
        }
        let serial = Reads::Piece("gtin:09521234543213/sn:A0018".into());
        for same in [
            "010952123454321310LOT7\u{1d}21A0018",
            "]d2010952123454321321A0018\u{1d}10LOT7",
            "(01)09521234543213(21)A0018",
            "https://id.gs1.org/01/09521234543213/10/LOT7/21/A0018",
        ] {
            assert_eq!(read(same), serial, "{same}");
        }
        // The separator swallowed: a product with a lot, never that piece.
        assert!(matches!(read("010952123454321310LOT721A0018"), Reads::Product { .. }));
    }

    #[test]
    fn what_is_no_instrument_is_known_for_what_it_is() {
        assert_eq!(read("=A99972312345600"), Reads::Tissue);
        assert_eq!(read("]C0=A99972312345600"), Reads::Tissue);
        assert_eq!(read("]d1M000017"), Reads::Own("M000017".into()));
        for plain in ["SET-1", "T-0142", "801", "=", "&", "]", "]d", "", "+", "B2 past date"] {
            assert!(matches!(read(plain), Reads::Plain | Reads::Faulty(_)), "{plain}");
        }
        assert!(matches!(read("]d2XYZ"), Reads::Faulty(_)));
        assert!(matches!(read("(01)09521234543214"), Reads::Faulty(words) if words.contains("check digit")));
    }
}
