//! What a mark names: one piece, a kind of thing, a place, a person or a parcel.

use super::Element;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// One physical thing.
    Asset,
    /// A returnable kind of thing, without a number for the one in hand.
    AssetType,
    /// A product, or a lot of it: never one piece.
    Product,
    Location,
    /// Somebody who gives care: a badge of staff.
    Provider,
    /// Somebody who receives care: a patient's wristband.
    Recipient,
    LogisticUnit,
    /// Valid, and nothing of these.
    Other,
}

impl Kind {
    pub fn name(self) -> &'static str {
        match self {
            Kind::Asset => "asset",
            Kind::AssetType => "asset_type",
            Kind::Product => "product",
            Kind::Location => "location",
            Kind::Provider => "provider",
            Kind::Recipient => "recipient",
            Kind::LogisticUnit => "logistic_unit",
            Kind::Other => "other",
        }
    }
}

#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Named {
    pub kind: Kind,
    /// What it names, in a form that two marks of the same thing share.
    pub key: Option<String>,
    /// The assembly that it belongs to (identifier 7023).
    pub assembly: Option<String>,
}

impl Named {
    /// What elements name. What names one piece goes before what names a kind.
    pub fn of(elements: &[Element]) -> Named {
        let value = |ai: &str| elements.iter().find(|(own, _)| own == ai).map(|(_, value)| value.as_str());
        let (kind, key) = one_piece(value).or_else(|| anything_else(value)).unzip();
        Named {
            kind: kind.unwrap_or(Kind::Other),
            key,
            assembly: value("7023").map(|assembly| format!("giai:{assembly}")),
        }
    }
}

fn one_piece<'a>(value: impl Fn(&str) -> Option<&'a str>) -> Option<(Kind, String)> {
    /// A returnable asset without its filling zero: thirteen digits, then its own number.
    const TYPE: usize = 13;
    if let Some(giai) = value("8004") {
        return Some((Kind::Asset, format!("giai:{giai}")));
    }
    if let Some(grai) = value("8003").map(|grai| grai.strip_prefix('0').unwrap_or(grai)) {
        let kind = if grai.len() > TYPE { Kind::Asset } else { Kind::AssetType };
        return Some((kind, format!("grai:{grai}")));
    }
    let serial = value("21")?;
    match (value("01").or(value("03")), value("8006")) {
        (Some(gtin), _) => Some((Kind::Asset, format!("gtin:{gtin}/sn:{serial}"))),
        // A piece of a set that is sold as one: its number, and the set's serial.
        (None, Some(piece)) => Some((Kind::Asset, format!("itip:{piece}/sn:{serial}"))),
        (None, None) => None,
    }
}

fn anything_else<'a>(value: impl Fn(&str) -> Option<&'a str>) -> Option<(Kind, String)> {
    if let Some(sscc) = value("00") {
        return Some((Kind::LogisticUnit, format!("sscc:{sscc}")));
    }
    if let Some(gtin) = value("01").or(value("03")) {
        return Some((Kind::Product, format!("gtin:{gtin}")));
    }
    if let Some(piece) = value("8006") {
        return Some((Kind::Product, format!("itip:{piece}")));
    }
    if let Some(place) = value("414") {
        let extension = value("254").map(|extension| format!("/ext:{extension}")).unwrap_or_default();
        return Some((Kind::Location, format!("gln:{place}{extension}")));
    }
    let person = |ai, kind| value(ai).map(|number| (kind, format!("gsrn:{number}")));
    person("8017", Kind::Provider).or_else(|| person("8018", Kind::Recipient))
}
