//! What the house tells in the terms of HL7 FHIR R4: a part as a Device, the place where it lies as a Location, its use at a
//! case as a DeviceUseStatement. What FHIR has no word for stands beside it, under a system of the house's own.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::asset::Owner;
use super::case::Case;
use super::exposure::{CasePart, Exposure};
use super::id::Id;
use super::model::Model;
use super::stage::Standing;
use super::state::{Asset, State};
use crate::formats::fhir::{
    Annotation, Concept, Device, DeviceName, DeviceStatus, DeviceUseStatement, GS1_ISSUER, HIBC_ISSUER,
    Identifier, Location, Meta, Property, Quantity, Reference, UdiCarrier, UseStatus, base64, name,
};
use crate::formats::{gs1, hibc};

/// Reasons for a status (FHIR R4, value set device-status-reason). Its `online` is left out: R4 defines it as "the device
/// is off".
const REASONS: &str = "http://terminology.hl7.org/CodeSystem/device-status-reason";
const GIAI: &str = "https://www.gs1.org/giai";
const STANDINGS: &str = "urn:fettle:standing";
const FAMILIES: &str = "urn:fettle:family";
const STAGES: &str = "urn:fettle:stage";
const OWNERS: &str = "urn:fettle:owner";
const PROPERTIES: &str = "urn:fettle:device-property";

/// Names of things of one site's own.
pub fn own_system(site: &Id, what: &str) -> String {
    format!("urn:fettle:site:{site}:{what}")
}

/// The logical id of a part.
pub fn device_id(asset: &Id) -> String {
    name::of(&[asset.as_str()])
}

/// The place in the ledger of the last entry that may have changed what is told of a part: one that touched it, or one that
/// defined its model anew.
pub fn device_entry(state: &State, asset: &Asset) -> u64 {
    asset.last_entry.max(state.models_told.get(&asset.model).copied().unwrap_or_default())
}

/// Whether the parts of a model are told alike by two of its definitions.
pub fn told_alike(one: &Model, other: &Model) -> bool {
    let told = |it: &Model| (it.family, it.name.clone(), it.maker.clone(), it.gtin.clone());
    told(one) == told(other)
}

/// Every place where a part lies, once.
pub fn places(state: &State) -> BTreeSet<&str> {
    state.assets.values().filter_map(|asset| asset.location.as_ref()).map(|place| place.as_str()).collect()
}

/// A place of the house. It is nothing but its name: what lies there is told by the parts.
pub fn location(state: &State, place: &str) -> Location {
    Location {
        id: name::of(&[place]),
        identifier: vec![Identifier::own(own_system(&state.site, "location"), place)],
        status: "active",
        name: place.into(),
        mode: "instance",
        managing_organization: Reference { kind: Some("Organization"), ..Reference::named(&state.name) },
    }
}

fn lies_at(place: &str) -> Reference {
    Reference {
        reference: Some(format!("Location/{}", name::of(&[place]))),
        kind: Some("Location"),
        ..Reference::named(place)
    }
}

/// A part as a device. Its version and time are those of the last entry that touched it, which the caller knows.
pub fn device(state: &State, asset: &Asset) -> Device {
    let model = state.model(&asset.model);
    let marked =
        asset.mark.as_ref().map(|mark| Marked::read(mark.as_str(), asset.added_at.utc().date_naive()));
    let marked = marked.unwrap_or_default();
    let set = asset.seat.as_ref().map(|seat| Annotation {
        text: format!("In set {}, line {}, position {}.", seat.set, seat.line, seat.position),
    });
    let text = |line: &Option<super::text::Line>| line.as_ref().map(|line| line.0.clone());
    Device {
        id: device_id(&asset.asset),
        meta: Meta::default(),
        identifier: identifiers(state, asset, &marked),
        udi_carrier: marked.carrier.clone().or_else(|| model.and_then(catalogued)).into_iter().collect(),
        status: status(asset.standing()),
        status_reason: vec![reason(asset.standing())],
        manufacturer: model.and_then(|model| text(&model.maker)),
        manufacture_date: marked.made,
        expiration_date: marked.expires,
        lot_number: text(&asset.lot).or(marked.lot),
        serial_number: text(&asset.serial).or(marked.serial),
        device_name: model.map(named).into_iter().collect(),
        model_number: asset.model.to_string(),
        kind: model.map_or_else(
            || Concept::text("instrument"),
            |model| Concept::code(FAMILIES, model.family.name()).with_text(model.family.words()),
        ),
        property: properties(asset),
        owner: owner(state, asset),
        location: asset.location.as_ref().map(|place| lies_at(place.as_str())),
        note: set.into_iter().collect(),
    }
}

fn named(model: &Model) -> DeviceName {
    DeviceName { name: model.name.0.clone(), kind: "user-friendly-name" }
}

/// Every standing is a status of the value set; what it does not tell apart the reason does.
fn status(standing: Standing) -> DeviceStatus {
    match standing {
        Standing::InService | Standing::Held | Standing::InRepair => DeviceStatus::Active,
        Standing::Missing => DeviceStatus::Unknown,
        Standing::Retired => DeviceStatus::Inactive,
    }
}

fn reason(standing: Standing) -> Concept {
    let own = Concept::code(STANDINGS, standing.name()).with_text(standing.words());
    let theirs = match standing {
        Standing::Held => "not-ready",
        Standing::InRepair => "offline",
        Standing::Retired => "off",
        Standing::InService | Standing::Missing => return own,
    };
    let mut both = Concept::code(REASONS, theirs);
    both.coding.extend(own.coding);
    both.text = own.text;
    both
}

fn identifiers(state: &State, asset: &Asset, marked: &Marked) -> Vec<Identifier> {
    let mut all = vec![Identifier::own(own_system(&state.site, "asset"), asset.asset.as_str())];
    all.extend(marked.giai.iter().map(|giai| Identifier::typed("RI", Some(GIAI), giai)));
    if let Some(mark) = &asset.mark {
        all.push(Identifier::own(own_system(&state.site, "mark"), mark.as_str()));
    }
    let serial = asset.serial.as_ref().map(|serial| serial.0.as_str()).or(marked.serial.as_deref());
    all.extend(serial.map(|serial| Identifier::typed("SNO", None, serial)));
    all
}

fn properties(asset: &Asset) -> Vec<Property> {
    let count = |code: &str, words: &str, value: u32, unit| Property {
        kind: Concept::code(PROPERTIES, code).with_text(words),
        value_quantity: vec![Quantity::count(u64::from(value), unit)],
        value_code: Vec::new(),
    };
    let code = |code: &str, words: &str, value: Concept| Property {
        kind: Concept::code(PROPERTIES, code).with_text(words),
        value_quantity: Vec::new(),
        value_code: vec![value],
    };
    vec![
        count("cycles", "Steriliser cycles gone through", asset.cycles, "cycles"),
        count("uses", "Cases at which it was used", asset.uses, "uses"),
        count("turn", "Turn of its route", asset.turn, "turn"),
        code(
            "stage",
            "Last act of its turn",
            Concept::code(STAGES, asset.stage.name()).with_text(asset.stage.words()),
        ),
        code("owner", "Whose it is", Concept::code(OWNERS, asset.owner.name())),
    ]
}

/// Whose it is: this house's, or that of whoever supplied it, where that was said.
fn owner(state: &State, asset: &Asset) -> Reference {
    match (asset.owner, &asset.supplier) {
        (Owner::Own, _) => Reference { kind: Some("Organization"), ..Reference::named(&state.name) },
        (Owner::Loan | Owner::Trial, Some(supplier)) => {
            Reference { kind: Some("Organization"), ..Reference::named(supplier.as_str()) }
        }
        (Owner::Loan | Owner::Trial, None) => Reference::unknown("Organization"),
    }
}

/// What the catalogue knows of a product, where the piece itself bears no mark of it.
fn catalogued(model: &Model) -> Option<UdiCarrier> {
    let gtin = model.gtin.as_ref()?.as_str();
    let digits = !gtin.is_empty() && gtin.len() <= 14 && gtin.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| UdiCarrier {
        device_identifier: format!("{gtin:0>14}"),
        issuer: GS1_ISSUER,
        carrier_aidc: None,
        carrier_hrf: None,
        entry_type: None,
    })
}

/// What a mark says of its piece.
#[derive(Default)]
struct Marked {
    carrier: Option<UdiCarrier>,
    giai: Option<String>,
    serial: Option<String>,
    lot: Option<String>,
    made: Option<String>,
    expires: Option<String>,
}

impl Marked {
    fn read(text: &str, today: NaiveDate) -> Marked {
        if let Ok(mark) = gs1::read(text, today) {
            return Marked::of_gs1(text, &mark);
        }
        hibc::read(text, today).map(|mark| Marked::of_hibc(text, mark)).unwrap_or_default()
    }

    fn of_gs1(text: &str, mark: &gs1::Mark) -> Marked {
        let of = |ai: &str| mark.elements.iter().find(|(own, _)| own == ai).map(|(_, value)| value.clone());
        let typed = matches!(mark.source, gs1::Source::Bracketed | gs1::Source::DigitalLink);
        let carrier = of("01").map(|device_identifier| UdiCarrier {
            device_identifier,
            issuer: GS1_ISSUER,
            carrier_aidc: (!typed).then(|| base64(text.as_bytes())),
            carrier_hrf: Some(gs1::bracketed(&mark.elements)),
            entry_type: Some(if text.starts_with(']') { "barcode" } else { "unknown" }),
        });
        Marked {
            carrier,
            giai: of("8004"),
            serial: of("21"),
            lot: of("10"),
            made: mark.dates.get("11").cloned(),
            expires: mark.dates.get("17").cloned(),
        }
    }

    fn of_hibc(text: &str, mark: hibc::Mark) -> Marked {
        let carrier = mark.primary.as_ref().map(|primary| UdiCarrier {
            device_identifier: primary.di(),
            issuer: HIBC_ISSUER,
            carrier_aidc: Some(base64(text.as_bytes())),
            carrier_hrf: None,
            entry_type: Some("unknown"),
        });
        let secondary = mark.secondary;
        Marked {
            carrier,
            giai: None,
            serial: secondary.as_ref().and_then(|it| it.serial.clone()),
            lot: secondary.and_then(|it| it.lot),
            made: None,
            expires: None,
        }
    }
}

/// One use: a part that touched the patient of a case, in one of its turns. A part whose pack was only opened there is
/// exposed, which a look-back tells, but it was not used.
#[derive(Clone, Copy, Debug)]
pub struct Use<'a> {
    pub case: &'a Case,
    pub asset: &'a Id,
    pub part: &'a CasePart,
}

impl<'a> Use<'a> {
    /// Every use at a case, by part and turn.
    pub fn at(case: &'a Case) -> Vec<Use<'a>> {
        let used = case.all_parts().filter(|(_, part)| part.exposure == Some(Exposure::Used));
        let mut all: Vec<Use<'a>> = used.map(|(asset, part)| Use { case, asset, part }).collect();
        all.sort_by_key(|it| (it.asset.clone(), it.part.turn));
        all
    }

    pub fn id(&self) -> String {
        name::of(&[self.case.case.as_str(), self.asset.as_str(), &self.part.turn.to_string()])
    }

    /// The place in the ledger of the last entry that may have changed it.
    pub fn entry(&self) -> u64 {
        self.case.last_entry.max(self.part.since)
    }

    /// The use as it is told. Who the patient is stands nowhere in it: the subject is the case's sealed reference,
    /// another for each case.
    pub fn told(&self, site: &Id) -> DeviceUseStatement {
        let subject = match &self.case.patient {
            Some(sealed) => Reference {
                kind: Some("Patient"),
                identifier: Some(Box::new(Identifier {
                    used: Some("secondary"),
                    kind: None,
                    system: Some(own_system(site, "sealed-patient")),
                    value: sealed.clone(),
                })),
                ..Reference::default()
            },
            None => Reference::unknown("Patient"),
        };
        DeviceUseStatement {
            id: self.id(),
            meta: Meta::default(),
            identifier: vec![Identifier::own(own_system(site, "case"), self.case.case.as_str())],
            status: if self.part.out { UseStatus::Active } else { UseStatus::Completed },
            subject,
            timing_date_time: None,
            recorded_on: None,
            device: Reference {
                reference: Some(format!("Device/{}", device_id(self.asset))),
                kind: Some("Device"),
                ..Reference::default()
            },
            note: Vec::new(),
        }
    }
}
