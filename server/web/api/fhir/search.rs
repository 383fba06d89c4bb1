//! What a search asks for: parameters that are known, each well-formed, or the search is refused with its name.

use std::collections::BTreeMap;

use axum::extract::{FromRequestParts, Query};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};
use chrono_tz::Tz;

use super::super::super::App;
use super::super::super::problem::Problem;
use super::super::caller::Caller;
use crate::domain::command::Malformed;
use crate::domain::time::{Time, on_day};
use crate::formats::fhir::capability::SearchParam;
use crate::formats::fhir::date::{self, Prefix};
use crate::formats::fhir::search::{Token, any_of, begins, plain};
use crate::formats::fhir::{Coding, Device, DeviceStatus, DeviceUseStatement, Resource};

const COUNT_MOST: usize = 1_000;
const COUNT_USUAL: usize = 100;
const STATUSES: &str = "http://hl7.org/fhir/device-status";

const fn param(name: &'static str, kind: &'static str, documentation: &'static str) -> SearchParam {
    SearchParam { name, kind, documentation }
}

const ID: SearchParam = param("_id", "token", "The logical id");
const UPDATED: SearchParam = param("_lastUpdated", "date", "When it was last changed here");

pub const DEVICE: &[SearchParam] = &[
    ID,
    UPDATED,
    param("identifier", "token", "The house's id, its mark, its GIAI or its serial number"),
    param("status", "token", "active, inactive or unknown"),
    param("model", "string", "How the model's name in the catalogue begins"),
    param("device-name", "string", "How the model's words, or those for its kind, begin"),
    param("udi-di", "string", "How the device identifier begins"),
];

pub const USE: &[SearchParam] = &[
    ID,
    UPDATED,
    param("identifier", "token", "The case"),
    param("device", "reference", "The device that was used"),
];

/// What stands behind the question mark, and where the caller thinks that this server is.
pub struct Asked {
    pairs: Vec<(String, String)>,
    address: String,
}

/// A refusal of the search itself.
pub fn unfit(name: &str, detail: impl Into<String>) -> Problem {
    let wrong = Malformed { pointer: format!("?{name}"), detail: detail.into() };
    Problem { status: StatusCode::BAD_REQUEST, ..Problem::malformed(&[wrong]) }
}

fn code_unfit(name: &str, detail: String) -> Problem {
    let mut problem = unfit(name, detail);
    problem.members.insert("code".into(), "code_invalid".into());
    problem
}

/// Formats in which an answer is given.
fn is_json(kind: &str) -> bool {
    let kind = kind.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    // A plus in an address is a space where it was not written as %2B.
    let kind = kind.replace(' ', "+");
    ["json", "application/json", "application/fhir+json", "application/*", "*/*"].contains(&kind.as_str())
}

impl FromRequestParts<App> for Asked {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let read = Query::<Vec<(String, String)>>::from_request_parts(parts, app).await;
        let Query(mut pairs) = read.map_err(|error| unfit("", error.to_string()))?;
        let text = |name| parts.headers.get(name).and_then(|value| value.to_str().ok());
        let formats: Vec<String> =
            pairs.extract_if(.., |(name, _)| name == "_format").map(|(_, value)| value).collect();
        let accepts = match formats.as_slice() {
            [] => text(header::ACCEPT).is_none_or(|kinds| kinds.split(',').any(is_json)),
            formats => formats.iter().all(|format| is_json(format)),
        };
        if !accepts {
            let detail = "Answers are application/fhir+json alone.";
            return Err(Problem::new(
                StatusCode::NOT_ACCEPTABLE,
                "not_acceptable",
                "Not in that format",
                detail,
            ));
        }
        let behind_tls = app.options.trusted_proxy
            && parts.headers.get("x-forwarded-proto").is_some_and(|value| value == "https");
        let scheme = if behind_tls || app.options.secure_cookie { "https" } else { "http" };
        let host = text(header::HOST).or(parts.uri.authority().map(|it| it.as_str())).unwrap_or("localhost");
        Ok(Asked { pairs, address: format!("{scheme}://{host}") })
    }
}

impl Asked {
    pub fn base(&self, caller: &Caller) -> String {
        format!("{}/api/v1/{}/fhir", self.address, caller.site)
    }

    /// A read takes no parameter.
    pub fn nothing_more(&self) -> Result<(), Problem> {
        match self.pairs.first() {
            None => Ok(()),
            Some((name, _)) => Err(not_known(name, &[])),
        }
    }

    /// The address of this search, from another place on.
    pub fn address(&self, path: &str, after: Option<&str>) -> String {
        let rest = self.pairs.iter().filter(|(name, _)| name != "_after");
        let pairs = rest.map(|(name, value)| (name.as_str(), value.as_str()));
        let all: Vec<String> = pairs
            .chain(after.map(|after| ("_after", after)))
            .map(|(name, value)| format!("{}={}", escaped(name), escaped(value)))
            .collect();
        if all.is_empty() { path.to_owned() } else { format!("{path}?{}", all.join("&")) }
    }
}

/// Text as it stands in an address.
fn escaped(text: &str) -> String {
    let mut all = String::new();
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => all.push(char::from(byte)),
            other => all.push_str(&format!("%{other:02X}")),
        }
    }
    all
}

fn not_known(name: &str, known: &[SearchParam]) -> Problem {
    let mut names: Vec<&str> = known.iter().map(|it| it.name).collect();
    names.extend(["_count", "_format"]);
    let detail = format!("\"{name}\" is no parameter here; known are {}", names.join(", "));
    let mut problem = unfit(name, detail);
    problem.members.insert("code".into(), "not_supported".into());
    problem
}

/// One parameter: any of its values will do; all parameters have to.
enum Criterion {
    Id(Vec<String>),
    Updated(Vec<date::Asked>),
    Identifier(Vec<Token>),
    Status(Vec<Token>),
    Model(Vec<String>),
    Name(Vec<String>),
    Udi(Vec<String>),
    Device(Vec<String>),
}

pub struct Search {
    criteria: Vec<Criterion>,
    pub count: usize,
    pub after: Option<String>,
}

/// Where times lie in the ledger.
pub struct Place<'a> {
    pub place: &'a BTreeMap<Time, u64>,
    pub now: Time,
}

pub fn criteria(known: &[SearchParam], asked: &Asked, zone: Tz) -> Result<Search, Problem> {
    let mut search = Search { criteria: Vec::new(), count: COUNT_USUAL, after: None };
    for (name, value) in &asked.pairs {
        match name.as_str() {
            "_count" => {
                let whole = value.parse().ok();
                let detail = || format!("\"_count\" is \"{value}\"; a whole number is needed");
                search.count =
                    whole.map(|many: usize| many.min(COUNT_MOST)).ok_or_else(|| unfit(name, detail()))?;
            }
            "_after" => search.after = Some(value.clone()),
            _ if known.iter().any(|it| it.name == name) => {
                search.criteria.push(criterion(name, value, zone)?);
            }
            _ => return Err(not_known(name, known)),
        }
    }
    Ok(search)
}

fn criterion(name: &str, value: &str, zone: Tz) -> Result<Criterion, Problem> {
    if value.is_empty() {
        return Err(unfit(name, format!("\"{name}\" is empty")));
    }
    let all = any_of(value);
    let texts = || all.iter().map(|it| plain(it)).collect::<Vec<String>>();
    let tokens = || all.iter().map(|it| Token::read(it)).collect::<Vec<Token>>();
    Ok(match name {
        "_id" => Criterion::Id(texts()),
        "_lastUpdated" => {
            let local = |at: chrono::NaiveDateTime| on_day(at.date(), at.time(), zone).0;
            let read = |it: &String| {
                let detail = || {
                    format!(
                        "\"{name}\" is \"{it}\"; a prefix and a date are needed, as ge2026-03-02 or \
                         lt2026-03-02T07:15:00Z (a plus in an address is written %2B)"
                    )
                };
                date::read(it, local).ok_or_else(|| unfit(name, detail()))
            };
            Criterion::Updated(all.iter().map(read).collect::<Result<_, _>>()?)
        }
        "identifier" => Criterion::Identifier(tokens()),
        "status" => Criterion::Status(statuses(tokens())?),
        "model" => Criterion::Model(texts()),
        "device-name" => Criterion::Name(texts()),
        "udi-di" => Criterion::Udi(texts()),
        // `Device/x`, `x`, or the whole address of it.
        "device" => {
            let last = |it: String| it.rsplit('/').next().unwrap_or_default().to_owned();
            Criterion::Device(texts().into_iter().map(last).collect())
        }
        other => return Err(not_known(other, &[])),
    })
}

/// Codes of the value set, or the search is refused: a status that does not exist would find nothing without a word.
fn statuses(tokens: Vec<Token>) -> Result<Vec<Token>, Problem> {
    for token in &tokens {
        let code = token.value.as_deref().unwrap_or_default();
        if !DeviceStatus::CODES.contains(&code) {
            let detail =
                format!("\"status\" is \"{code}\"; one of {} is needed", DeviceStatus::CODES.join(", "));
            return Err(code_unfit("status", detail));
        }
    }
    Ok(tokens)
}

fn bounds(asked: &date::Asked, now: Time) -> [Time; 2] {
    match asked.prefix {
        Prefix::Ap => {
            let gap = now.0.saturating_sub(asked.from).saturating_abs() / 10;
            [Time(asked.from.saturating_sub(gap)), Time(asked.to.saturating_add(gap))]
        }
        _ => [Time(asked.from), Time(asked.to)],
    }
}

impl Search {
    /// The times whose places in the ledger the search needs.
    pub fn times(&self, now: Time) -> Vec<Time> {
        let dates = self.criteria.iter().filter_map(|it| match it {
            Criterion::Updated(dates) => Some(dates),
            _ => None,
        });
        dates.flatten().flat_map(|it| bounds(it, now)).collect()
    }

    pub fn takes(&self, id: &str, entry: u64, resource: &Resource, place: &Place) -> bool {
        self.criteria.iter().all(|it| match (it, resource) {
            (Criterion::Id(ids), _) => ids.iter().any(|wanted| wanted == id),
            (Criterion::Updated(dates), _) => dates.iter().any(|it| updated(it, entry, place)),
            (it, Resource::Device(device)) => it.fits_device(device),
            (it, Resource::DeviceUseStatement(statement)) => it.fits_use(statement),
            (_, Resource::Bundle(_) | Resource::OperationOutcome(_) | Resource::CapabilityStatement(_)) => {
                false
            }
        })
    }
}

/// Whether an entry was recorded as a date asks. Times of recording never decrease, so that places tell it.
fn updated(asked: &date::Asked, entry: u64, place: &Place) -> bool {
    let [from, to] = bounds(asked, place.now).map(|time| place.place.get(&time).copied().unwrap_or(u64::MAX));
    match asked.prefix {
        Prefix::Eq | Prefix::Ap => (from..to).contains(&entry),
        Prefix::Ne => !(from..to).contains(&entry),
        Prefix::Gt | Prefix::Sa => entry >= to,
        Prefix::Lt | Prefix::Eb => entry < from,
        Prefix::Ge => entry >= from,
        Prefix::Le => entry < to,
    }
}

impl Criterion {
    fn fits_device(&self, device: &Device) -> bool {
        match self {
            Criterion::Identifier(tokens) => {
                device.identifier.iter().any(|own| tokens.iter().any(|token| token.names(own)))
            }
            Criterion::Status(tokens) => {
                let code = Coding {
                    system: Some(STATUSES.into()),
                    code: device.status.code().into(),
                    display: None,
                };
                tokens.iter().any(|token| token.codes(&code))
            }
            Criterion::Model(texts) => texts.iter().any(|text| begins(&device.model_number, text)),
            Criterion::Name(texts) => {
                let names =
                    device.device_name.iter().map(|it| it.name.as_str()).chain(device.kind.text.as_deref());
                let names: Vec<&str> = names.collect();
                texts.iter().any(|text| names.iter().any(|name| begins(name, text)))
            }
            Criterion::Udi(texts) => {
                let own = device.udi_carrier.iter().map(|it| &it.device_identifier);
                own.into_iter().any(|own| texts.iter().any(|text| begins(own, text)))
            }
            Criterion::Id(_) | Criterion::Updated(_) | Criterion::Device(_) => false,
        }
    }

    fn fits_use(&self, statement: &DeviceUseStatement) -> bool {
        match self {
            Criterion::Identifier(tokens) => {
                statement.identifier.iter().any(|own| tokens.iter().any(|token| token.names(own)))
            }
            Criterion::Device(ids) => {
                let own = statement.device.reference.as_deref().and_then(|it| it.strip_prefix("Device/"));
                ids.iter().any(|id| own == Some(id.as_str()))
            }
            Criterion::Id(_)
            | Criterion::Updated(_)
            | Criterion::Status(_)
            | Criterion::Model(_)
            | Criterion::Name(_)
            | Criterion::Udi(_) => false,
        }
    }
}
