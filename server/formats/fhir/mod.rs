//! HL7 FHIR R4 (4.0.1) as JSON: the resources that this house tells, and what a search asks for. Only what is read out;
//! nothing is taken in.

pub mod capability;
pub mod date;
pub mod name;
pub mod outcome;
pub mod search;

use serde::Serialize;

/// The media type of every answer.
pub const MEDIA_TYPE: &str = "application/fhir+json";
pub const VERSION: &str = "4.0.1";

/// Of device identifiers, by who issues them (FHIR R4, Device.udiCarrier.issuer).
pub const GS1_ISSUER: &str = "http://hl7.org/fhir/NamingSystem/gs1-di";
pub const HIBC_ISSUER: &str = "http://hl7.org/fhir/NamingSystem/hibcc-dI";
/// Why a value that has to be there is not.
const ABSENT: &str = "http://hl7.org/fhir/StructureDefinition/data-absent-reason";
const UCUM: &str = "http://unitsofmeasure.org";
const IDENTIFIER_TYPES: &str = "http://terminology.hl7.org/CodeSystem/v2-0203";

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "resourceType")]
pub enum Resource {
    Device(Box<Device>),
    DeviceUseStatement(Box<DeviceUseStatement>),
    Location(Box<Location>),
    Bundle(Bundle),
    OperationOutcome(outcome::OperationOutcome),
    CapabilityStatement(Box<capability::CapabilityStatement>),
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Coding {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub system: Option<String>,
    pub code: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub display: Option<String>,
}

#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize)]
pub struct Concept {
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub coding: Vec<Coding>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
}

impl Concept {
    pub fn code(system: &str, code: &str) -> Concept {
        let coding = Coding { system: Some(system.into()), code: code.into(), display: None };
        Concept { coding: vec![coding], text: None }
    }

    pub fn text(text: impl Into<String>) -> Concept {
        Concept { coding: Vec::new(), text: Some(text.into()) }
    }

    pub fn with_text(mut self, text: impl Into<String>) -> Concept {
        self.text = Some(text.into());
        self
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Identifier {
    #[serde(rename = "use", skip_serializing_if = "Option::is_none")]
    pub used: Option<&'static str>,
    #[serde(rename = "type", skip_serializing_if = "Option::is_none")]
    pub kind: Option<Concept>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub system: Option<String>,
    pub value: String,
}

impl Identifier {
    /// The house's own name for it.
    pub fn own(system: String, value: &str) -> Identifier {
        Identifier { used: Some("usual"), kind: None, system: Some(system), value: value.into() }
    }

    /// One with a type of HL7 table 0203: `RI` names a resource, `SNO` is a serial number.
    pub fn typed(code: &str, system: Option<&str>, value: &str) -> Identifier {
        let kind = Some(Concept::code(IDENTIFIER_TYPES, code));
        Identifier { used: Some("official"), kind, system: system.map(str::to_owned), value: value.into() }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize)]
pub struct Reference {
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub extension: Vec<Extension>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    #[serde(rename = "type", skip_serializing_if = "Option::is_none")]
    pub kind: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identifier: Option<Box<Identifier>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub display: Option<String>,
}

impl Reference {
    /// One that has no address here and is told by its name.
    pub fn named(display: &str) -> Reference {
        Reference { display: Some(display.into()), ..Reference::default() }
    }

    /// One that has to be there and is not known.
    pub fn unknown(kind: &'static str) -> Reference {
        let unknown = Extension { url: ABSENT, value_code: "unknown" };
        Reference { extension: vec![unknown], kind: Some(kind), ..Reference::default() }
    }
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Extension {
    pub url: &'static str,
    #[serde(rename = "valueCode")]
    pub value_code: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Meta {
    pub version_id: String,
    pub last_updated: String,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Annotation {
    pub text: String,
}

/// A count with the annotation of its unit (UCUM).
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Quantity {
    pub value: u64,
    pub unit: &'static str,
    pub system: &'static str,
    pub code: String,
}

impl Quantity {
    pub fn count(value: u64, unit: &'static str) -> Quantity {
        Quantity { value, unit, system: UCUM, code: format!("{{{unit}}}") }
    }
}

/// Value set device-status of R4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeviceStatus {
    Active,
    Inactive,
    Unknown,
}

impl DeviceStatus {
    /// Every code of the value set, those too that no part of a house ever has.
    pub const CODES: [&'static str; 4] = ["active", "inactive", "entered-in-error", "unknown"];

    pub fn code(self) -> &'static str {
        match self {
            DeviceStatus::Active => "active",
            DeviceStatus::Inactive => "inactive",
            DeviceStatus::Unknown => "unknown",
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Device {
    pub id: String,
    pub meta: Meta,
    pub identifier: Vec<Identifier>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub udi_carrier: Vec<UdiCarrier>,
    pub status: DeviceStatus,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub status_reason: Vec<Concept>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manufacturer: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manufacture_date: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expiration_date: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot_number: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial_number: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub device_name: Vec<DeviceName>,
    pub model_number: String,
    #[serde(rename = "type")]
    pub kind: Concept,
    pub property: Vec<Property>,
    pub owner: Reference,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub location: Option<Reference>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub note: Vec<Annotation>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct UdiCarrier {
    pub device_identifier: String,
    pub issuer: &'static str,
    /// What a reader sends, in base64.
    #[serde(rename = "carrierAIDC", skip_serializing_if = "Option::is_none")]
    pub carrier_aidc: Option<String>,
    /// What people read below the mark.
    #[serde(rename = "carrierHRF", skip_serializing_if = "Option::is_none")]
    pub carrier_hrf: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry_type: Option<&'static str>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DeviceName {
    pub name: String,
    #[serde(rename = "type")]
    pub kind: &'static str,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Property {
    #[serde(rename = "type")]
    pub kind: Concept,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub value_quantity: Vec<Quantity>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub value_code: Vec<Concept>,
}

/// Value set device-statement-status of R4, as far as it happens here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum UseStatus {
    Active,
    Completed,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct DeviceUseStatement {
    pub id: String,
    pub meta: Meta,
    pub identifier: Vec<Identifier>,
    pub status: UseStatus,
    pub subject: Reference,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timing_date_time: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded_on: Option<String>,
    pub device: Reference,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub note: Vec<Annotation>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct Location {
    pub id: String,
    pub identifier: Vec<Identifier>,
    pub status: &'static str,
    pub name: String,
    pub mode: &'static str,
    pub managing_organization: Reference,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bundle {
    #[serde(rename = "type")]
    pub kind: &'static str,
    pub total: usize,
    pub link: Vec<Link>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub entry: Vec<BundleEntry>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Link {
    pub relation: &'static str,
    pub url: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct BundleEntry {
    pub full_url: String,
    pub resource: Resource,
    pub search: Found,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Found {
    pub mode: &'static str,
}

impl Bundle {
    /// What a search found: one page of it, of so many altogether.
    pub fn found(total: usize, link: Vec<Link>, page: Vec<(String, Resource)>) -> Bundle {
        let entry =
            |(full_url, resource)| BundleEntry { full_url, resource, search: Found { mode: "match" } };
        Bundle { kind: "searchset", total, link, entry: page.into_iter().map(entry).collect() }
    }
}

/// Base64 as RFC 4648 has it, with padding.
pub fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |n: usize| u32::from(three.get(n).copied().unwrap_or_default());
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for n in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * n)) as usize & 63];
            text.push(if n <= three.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_rfc_4648() {
        // The test vectors of RFC 4648, section 10.
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }

    #[test]
    fn codes_of_a_status_are_of_the_value_set() {
        for status in [DeviceStatus::Active, DeviceStatus::Inactive, DeviceStatus::Unknown] {
            assert!(DeviceStatus::CODES.contains(&status.code()));
            assert_eq!(serde_json::json!(status), status.code());
        }
    }
}
