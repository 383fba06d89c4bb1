//! The house as HL7 FHIR R4, to be read: devices, their places and their uses, one by one or searched for.

mod asked;
pub mod outcome;
mod search;
mod sort;

use std::collections::BTreeMap;

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use chrono::{DateTime, SubsecRound};
use serde_json::json;

use super::super::problem::Problem;
use super::board::names_tag;
use super::caller::Caller;
use crate::domain::fhir::{Use, device, device_entry, location, places};
use crate::domain::id::Id;
use crate::domain::state::{Asset, State};
use crate::domain::time::Time;
use crate::formats::fhir::capability::{
    CapabilityStatement, Implementation, Offered, Rest, SearchParam, Security, Software,
};
use crate::formats::fhir::name::{self, Named};
use crate::formats::fhir::{Bundle, Link, MEDIA_TYPE, Meta, Resource, VERSION};
use asked::{Asked, Posted, unfit};
use search::{DEVICE, LOCATION, Place, USE, criteria};

/// When what the statement of capabilities says last changed.
const SAID: &str = "2026-11-26";

/// A resource with the place in the ledger of the last entry that may have changed it, where it has versions.
pub struct Told {
    id: String,
    entry: Option<u64>,
    resource: Resource,
    /// The entry that it tells of, where that is one.
    of: Option<u64>,
}

fn told_device(state: &State, asset: &Asset) -> Told {
    let device = device(state, asset);
    Told {
        id: device.id.clone(),
        entry: Some(device_entry(state, asset)),
        resource: Resource::Device(Box::new(device)),
        of: None,
    }
}

fn told_devices(state: &State) -> impl Iterator<Item = Told> + '_ {
    state.assets.values().map(|asset| told_device(state, asset))
}

fn told_places(state: &State) -> impl Iterator<Item = Told> + '_ {
    places(state).into_iter().map(|place| {
        let location = location(state, place);
        Told {
            id: location.id.clone(),
            entry: None,
            resource: Resource::Location(Box::new(location)),
            of: None,
        }
    })
}

fn told_use(site: &Id, it: &Use) -> Told {
    let told = it.told(site);
    Told {
        id: told.id.clone(),
        entry: Some(it.entry()),
        resource: Resource::DeviceUseStatement(Box::new(told)),
        of: Some(it.part.since),
    }
}

fn told_uses(state: &State) -> impl Iterator<Item = Told> + '_ {
    let uses = state.cases.values().flat_map(|case| Use::at(case));
    uses.map(|it| told_use(&state.site, &it))
}

/// The same with its version and the times that stand in the ledger.
fn timed(told: Told, times: &BTreeMap<u64, (Time, Time)>) -> Told {
    let time = |entry: u64| times.get(&entry).copied().unwrap_or_default();
    let Some(entry) = told.entry else { return told };
    let meta = Meta { version_id: entry.to_string(), last_updated: time(entry).1.to_string() };
    let resource = match told.resource {
        Resource::Device(mut device) => {
            device.meta = meta;
            Resource::Device(device)
        }
        Resource::DeviceUseStatement(mut statement) => {
            statement.meta = meta;
            let of = told.of.map(time);
            statement.timing_date_time = of.map(|(at, _)| at.to_string());
            statement.recorded_on = of.map(|(_, recorded_at)| recorded_at.to_string());
            Resource::DeviceUseStatement(statement)
        }
        other => other,
    };
    Told { resource, ..told }
}

async fn with_times(caller: &Caller, page: Vec<Told>) -> Result<Vec<Told>, Problem> {
    let mut places: Vec<u64> = page.iter().flat_map(|it| [it.entry, it.of]).flatten().collect();
    places.sort_unstable();
    places.dedup();
    let times = caller.app.house.times(&caller.site, &places).await?;
    Ok(page.into_iter().map(|it| timed(it, &times)).collect())
}

fn answer(resource: &Resource) -> Response {
    outcome::json(StatusCode::OK, &json!(resource))
}

/// One resource, with its version as a weak entity tag: 304 where the caller has it.
async fn one(caller: &Caller, headers: &HeaderMap, told: Told) -> Result<Response, Problem> {
    let Some(entry) = told.entry else { return Ok(answer(&told.resource)) };
    let updated = caller.app.house.times(&caller.site, &[entry]).await?;
    let updated = updated.get(&entry).map(|(_, recorded_at)| recorded_at.utc().trunc_subsecs(0));
    // A second that is not over may bring another version: until then it does not tell one from the other.
    let updated = updated.filter(|it| *it < caller.app.house.clock.now().utc().trunc_subsecs(0));
    let tag = format!("W/\"{entry}\"");
    let known = match headers.contains_key(header::IF_NONE_MATCH) {
        true => names_tag(headers, &tag),
        false => {
            let since = headers.get(header::IF_MODIFIED_SINCE).and_then(|value| value.to_str().ok());
            let since = since.and_then(|it| DateTime::parse_from_rfc2822(it).ok());
            updated.zip(since).is_some_and(|(updated, since)| updated <= since)
        }
    };
    let mut response = match known {
        true => StatusCode::NOT_MODIFIED.into_response(),
        false => {
            let told = with_times(caller, vec![told]).await?.into_iter().next();
            answer(&told.ok_or_else(|| Problem::unknown_thing("resource", ""))?.resource)
        }
    };
    let changed = updated.map(|it| it.format("%a, %d %b %Y %H:%M:%S GMT").to_string());
    for (name, value) in [(header::ETAG, Some(tag)), (header::LAST_MODIFIED, changed)] {
        if let Some(value) = value.and_then(|value| HeaderValue::from_str(&value).ok()) {
            response.headers_mut().insert(name, value);
        }
    }
    Ok(response)
}

pub async fn read_device(
    caller: Caller,
    Path((_, id)): Path<(String, String)>,
    asked: Asked,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    asked.nothing_more()?;
    let (state, _) = caller.state().await?;
    let nobody = || Problem::unknown_thing("Device", &id);
    let Named::Names(names) = name::read(&id) else { return Err(nobody()) };
    let [name] = names.as_slice() else { return Err(nobody()) };
    let asset = state.asset(name).ok_or_else(nobody)?;
    one(&caller, &headers, told_device(&state, asset)).await
}

pub async fn read_location(
    caller: Caller,
    Path((_, id)): Path<(String, String)>,
    asked: Asked,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    asked.nothing_more()?;
    let (state, _) = caller.state().await?;
    let told = told_places(&state).find(|it| it.id == id);
    one(&caller, &headers, told.ok_or_else(|| Problem::unknown_thing("Location", &id))?).await
}

/// The use that has this logical id.
fn use_of<'a>(state: &'a State, id: &str) -> Option<Use<'a>> {
    let of = |case: &'a crate::domain::case::Case| Use::at(case).into_iter().find(|it| it.id() == id);
    match name::read(id) {
        Named::Names(names) => of(state.cases.get(names.first()?.as_str())?),
        Named::Hashed => state.cases.values().find_map(|case| of(case)),
        Named::Nothing => None,
    }
}

pub async fn read_use(
    caller: Caller,
    Path((_, id)): Path<(String, String)>,
    asked: Asked,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    asked.nothing_more()?;
    let (state, _) = caller.state().await?;
    let found = use_of(&state, &id).ok_or_else(|| Problem::unknown_thing("DeviceUseStatement", &id))?;
    one(&caller, &headers, told_use(&state.site, &found)).await
}

/// A kind of resource that is searched for.
struct Kind {
    name: &'static str,
    params: &'static [SearchParam],
    all: fn(&State) -> Box<dyn Iterator<Item = Told> + '_>,
}

const DEVICES: Kind = Kind { name: "Device", params: DEVICE, all: |state| Box::new(told_devices(state)) };
const LOCATIONS: Kind =
    Kind { name: "Location", params: LOCATION, all: |state| Box::new(told_places(state)) };
const USES: Kind = Kind { name: "DeviceUseStatement", params: USE, all: |state| Box::new(told_uses(state)) };

/// One page of what a search finds, in the order that was asked for.
async fn found(caller: Caller, asked: Asked, kind: Kind) -> Result<Response, Problem> {
    let (state, now) = caller.state().await?;
    let base = asked.base(&caller);
    let search = criteria(kind.params, &asked, &caller.site, state.zone)?;
    let mut place = BTreeMap::new();
    for time in search.times(now) {
        place.insert(time, caller.app.house.place_at(&caller.site, time, state.seq).await?);
    }
    let key = |it: &Told| (it.entry.unwrap_or_default(), it.id.clone());
    let fits = |it: &Told| {
        search.takes(&it.id, it.entry.unwrap_or_default(), &it.resource, &Place { place: &place, now })
    };
    let mut matching: Vec<Told> = (kind.all)(&state).filter(fits).collect();
    let total = matching.len();
    let compared = |one: &Told, other: (u64, &str)| {
        search.order.compare((one.entry.unwrap_or_default(), &one.id), other)
    };
    matching.sort_by(|one, other| compared(one, (other.entry.unwrap_or_default(), &other.id)));
    if let Some(after) = &search.after {
        let place = search.order.place(after);
        let place = place
            .ok_or_else(|| unfit("_after", format!("\"_after\" is \"{after}\", which no page ends with")))?;
        matching.retain(|it| compared(it, place).is_gt());
    }
    let more = matching.len() > search.count && search.count > 0;
    matching.truncate(search.count);
    let next = matching.last().filter(|_| more).map(key);
    let page = with_times(&caller, matching).await?;
    let url = |after: Option<&str>| asked.address(&format!("{base}/{}", kind.name), after);
    let mut links = vec![Link { relation: "self", url: url(search.after.as_deref()) }];
    let next = next.map(|(entry, id)| search.order.cursor((entry, &id)));
    links.extend(next.map(|next| Link { relation: "next", url: url(Some(&next)) }));
    let entries =
        page.into_iter().map(|it| (format!("{base}/{}/{}", kind.name, it.id), it.resource)).collect();
    Ok(answer(&Resource::Bundle(Bundle::found(total, links, entries))))
}

pub async fn devices(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    found(caller, asked, DEVICES).await
}

pub async fn search_devices(caller: Caller, Posted(asked): Posted) -> Result<Response, Problem> {
    found(caller, asked, DEVICES).await
}

pub async fn locations(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    found(caller, asked, LOCATIONS).await
}

pub async fn search_locations(caller: Caller, Posted(asked): Posted) -> Result<Response, Problem> {
    found(caller, asked, LOCATIONS).await
}

pub async fn uses(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    found(caller, asked, USES).await
}

pub async fn search_uses(caller: Caller, Posted(asked): Posted) -> Result<Response, Problem> {
    found(caller, asked, USES).await
}

/// What can be read here, and by which parameters it is searched for.
pub async fn metadata(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    asked.nothing_more()?;
    let (state, _) = caller.state().await?;
    let statement = CapabilityStatement {
        status: "active",
        date: SAID,
        kind: "instance",
        software: Software { name: "Fettle", version: env!("CARGO_PKG_VERSION") },
        implementation: Implementation {
            description: format!("Instruments of {}, to be read only", state.name),
            url: asked.base(&caller),
        },
        fhir_version: VERSION,
        format: vec![MEDIA_TYPE, "json"],
        rest: vec![Rest {
            mode: "server",
            documentation: "Nothing is written here. A parameter that is not named here is refused.",
            security: Security {
                description: "A token of the site as a bearer token. Uses at cases are told to those who trace patients \
                              alone.",
            },
            resource: vec![
                Offered::read_only("Device", "A part of the house, as it is now.", DEVICE, true),
                Offered::read_only(
                    "Location",
                    "A place where a part lies. It has no versions.",
                    LOCATION,
                    false,
                ),
                Offered::read_only(
                    "DeviceUseStatement",
                    "A part that touched the patient of a case. What was opened there and not used is none.",
                    USE,
                    true,
                ),
            ],
        }],
    };
    Ok(answer(&Resource::CapabilityStatement(Box::new(statement))))
}
