//! What a search asks for: parameters that are known, each well-formed, or the search is refused with its name.

use std::collections::{BTreeMap, BTreeSet};

use chrono_tz::Tz;

use super::super::super::problem::Problem;
use super::asked::{Asked, code_unfit, not_known, unfit};
use super::sort::Order;
use crate::domain::id::Id;
use crate::domain::time::{Time, on_day};
use crate::formats::fhir::capability::SearchParam;
use crate::formats::fhir::date::{self, Prefix};
use crate::formats::fhir::search::{Token, any_of, begins, plain};
use crate::formats::fhir::{Coding, Device, DeviceStatus, DeviceUseStatement, Location, Reference, Resource};

const COUNT_MOST: usize = 1_000;
const COUNT_USUAL: usize = 100;
const STATUSES: &str = "http://hl7.org/fhir/device-status";

const fn param(name: &'static str, kind: &'static str, documentation: &'static str) -> SearchParam {
    SearchParam { name, kind, documentation }
}

const ID: SearchParam = param("_id", "token", "The logical id");
pub const UPDATED: SearchParam = param("_lastUpdated", "date", "When it was last changed here");

pub const DEVICE: &[SearchParam] = &[
    ID,
    UPDATED,
    param("identifier", "token", "The house's id, its mark, its GIAI or its serial number"),
    param("status", "token", "active, inactive or unknown"),
    param("model", "string", "How the model's name in the catalogue begins"),
    param("device-name", "string", "How the model's words, or those for its kind, begin"),
    param("udi-di", "string", "How the device identifier begins"),
    param("location", "reference", "The place where it lies"),
];

pub const LOCATION: &[SearchParam] = &[
    ID,
    param("identifier", "token", "The place's name"),
    param("name", "string", "How the place's name begins"),
];

pub const USE: &[SearchParam] = &[
    ID,
    UPDATED,
    param("identifier", "token", "The case"),
    param("device", "reference", "The device that was used"),
];

/// One parameter: any of its values will do; all parameters have to.
enum Criterion {
    Id(Vec<String>),
    Updated(Vec<date::Asked>),
    Identifier(Vec<Token>),
    Status(Vec<Token>),
    Model(Vec<String>),
    Name(Vec<String>),
    Udi(Vec<String>),
    /// Logical ids.
    Device(Vec<String>),
    Location(Vec<String>),
}

#[derive(Default)]
pub struct Search {
    criteria: Vec<Criterion>,
    pub count: usize,
    pub after: Option<String>,
    pub order: Order,
}

/// Where times lie in the ledger.
pub struct Place<'a> {
    pub place: &'a BTreeMap<Time, u64>,
    pub now: Time,
}

/// Reads a search of a site's resources.
pub fn criteria(known: &[SearchParam], asked: &Asked, site: &Id, zone: Tz) -> Result<Search, Problem> {
    let mut search = Search { count: COUNT_USUAL, ..Search::default() };
    let (mut once, mut counted) = (BTreeSet::new(), false);
    for (name, value) in &asked.pairs {
        if name.starts_with('_') && !known.iter().any(|it| it.name == name) && !once.insert(name) {
            return Err(unfit(name, format!("\"{name}\" stands twice; once is needed")));
        }
        match name.as_str() {
            "_count" => search.count = count(value)?,
            "_after" => search.after = Some(value.clone()),
            "_sort" => search.order = Order::read(value, known.iter().any(|it| it.name == UPDATED.name))?,
            "_summary" => counted = summary(value)?,
            "_total" => total(value)?,
            _ if known.iter().any(|it| it.name == name) => {
                search.criteria.push(criterion(name, value, site, zone)?);
            }
            _ => return Err(not_known(name, Some(known))),
        }
    }
    if counted {
        search.count = 0;
    }
    Ok(search)
}

/// How many on a page. Above the most the page is the most, as the standard lets a server do.
fn count(value: &str) -> Result<usize, Problem> {
    if value.is_empty() || !value.bytes().all(|b| b.is_ascii_digit()) {
        return Err(unfit("_count", format!("\"_count\" is \"{value}\"; a whole number is needed")));
    }
    Ok(value.parse().unwrap_or(COUNT_MOST).min(COUNT_MOST))
}

/// Whether the number alone is asked for. What a resource is without part of it is not told here: part of a device might
/// be taken for all of it.
fn summary(value: &str) -> Result<bool, Problem> {
    match value {
        "count" => Ok(true),
        "false" => Ok(false),
        "true" | "text" | "data" => {
            let detail = format!(
                "\"_summary\" is \"{value}\"; resources are told whole here: count or false is needed"
            );
            let mut problem = unfit("_summary", detail);
            problem.members.insert("code".into(), "not_supported".into());
            Err(problem)
        }
        _ => Err(code_unfit("_summary", format!("\"_summary\" is \"{value}\"; count or false is needed"))),
    }
}

/// The number of what was found is always told, and exact.
fn total(value: &str) -> Result<(), Problem> {
    match value {
        "none" | "estimate" | "accurate" => Ok(()),
        _ => Err(code_unfit(
            "_total",
            format!("\"_total\" is \"{value}\"; one of none, estimate, accurate is needed"),
        )),
    }
}

/// The logical id that a reference to this kind of resource names: `Device/x`, `x`, or the whole address of it here, by
/// whatever name this server is reached. What is elsewhere is refused: it would find nothing, without a word.
fn referred(name: &str, kind: &str, text: &str, site: &str) -> Result<String, Problem> {
    let whole = text.contains("://") || text.starts_with("urn:");
    let below = match text.rsplit_once(&format!("/api/v1/{site}/fhir/")) {
        Some((_, below)) if whole => below,
        _ => text,
    };
    let id = below.strip_prefix(kind).and_then(|rest| rest.strip_prefix('/')).unwrap_or(below);
    if id.is_empty() || id.contains(['/', ':']) {
        let detail = format!("\"{name}\" is \"{text}\"; a {kind} of this server is needed, as {kind}/X or X");
        return Err(unfit(name, detail));
    }
    Ok(id.to_owned())
}

fn criterion(name: &str, value: &str, site: &Id, zone: Tz) -> Result<Criterion, Problem> {
    if value.is_empty() {
        return Err(unfit(name, format!("\"{name}\" is empty")));
    }
    let all = any_of(value);
    if all.iter().any(String::is_empty) {
        // Everything begins with nothing: an empty value would find all there is.
        return Err(unfit(name, format!("\"{name}\" is \"{value}\"; one of its values is empty")));
    }
    let texts = || all.iter().map(|it| plain(it)).collect::<Vec<String>>();
    let tokens = || all.iter().map(|it| Token::read(it)).collect::<Vec<Token>>();
    let references =
        |kind| texts().iter().map(|it| referred(name, kind, it, site.as_str())).collect::<Result<_, _>>();
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
        "identifier" if tokens().iter().any(Token::is_empty) => {
            return Err(unfit(name, format!("\"{name}\" is \"{value}\"; a value or a system is needed")));
        }
        "identifier" => Criterion::Identifier(tokens()),
        "status" => Criterion::Status(statuses(tokens())?),
        "model" => Criterion::Model(texts()),
        "device-name" => Criterion::Name(texts()),
        "udi-di" => Criterion::Udi(texts()),
        "name" => Criterion::Name(texts()),
        "device" => Criterion::Device(references("Device")?),
        "location" => Criterion::Location(references("Location")?),
        other => return Err(not_known(other, None)),
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
            (it, Resource::Location(location)) => it.fits_location(location),
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
            Criterion::Location(ids) => {
                device.location.as_ref().is_some_and(|own| named(ids, "Location/", own))
            }
            Criterion::Id(_) | Criterion::Updated(_) | Criterion::Device(_) => false,
        }
    }

    fn fits_location(&self, location: &Location) -> bool {
        match self {
            Criterion::Identifier(tokens) => {
                location.identifier.iter().any(|own| tokens.iter().any(|token| token.names(own)))
            }
            Criterion::Name(texts) => texts.iter().any(|text| begins(&location.name, text)),
            Criterion::Id(_)
            | Criterion::Updated(_)
            | Criterion::Status(_)
            | Criterion::Model(_)
            | Criterion::Udi(_)
            | Criterion::Device(_)
            | Criterion::Location(_) => false,
        }
    }

    fn fits_use(&self, statement: &DeviceUseStatement) -> bool {
        match self {
            Criterion::Identifier(tokens) => {
                statement.identifier.iter().any(|own| tokens.iter().any(|token| token.names(own)))
            }
            Criterion::Device(ids) => named(ids, "Device/", &statement.device),
            Criterion::Id(_)
            | Criterion::Updated(_)
            | Criterion::Status(_)
            | Criterion::Model(_)
            | Criterion::Name(_)
            | Criterion::Udi(_)
            | Criterion::Location(_) => false,
        }
    }
}

/// Whether a reference names one of these.
fn named(ids: &[String], kind: &str, reference: &Reference) -> bool {
    let own = reference.reference.as_deref().and_then(|it| it.strip_prefix(kind));
    own.is_some_and(|own| ids.iter().any(|id| id == own))
}
