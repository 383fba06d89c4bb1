//! The house as HL7 FHIR R4, to be read: devices and their uses, one by one or searched for.

pub mod outcome;
mod search;

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::Path;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use crate::domain::fhir::{Use, device};
use crate::domain::id::Id;
use crate::domain::state::State;
use crate::domain::time::Time;
use crate::formats::fhir::capability::{
    CapabilityStatement, Implementation, Offered, Rest, Security, Software,
};
use crate::formats::fhir::name::{self, Named};
use crate::formats::fhir::{Bundle, Link, MEDIA_TYPE, Meta, Resource, VERSION};
use search::{Asked, DEVICE, Place, USE, criteria};

/// When what the statement of capabilities says last changed.
const SAID: &str = "2026-11-26";

/// A resource with the place in the ledger of the last entry that may have changed it.
pub struct Told {
    id: String,
    entry: u64,
    resource: Resource,
    /// The entry that it tells of, where that is one.
    of: Option<u64>,
}

fn told_devices(state: &State) -> impl Iterator<Item = Told> + '_ {
    state.assets.values().map(|asset| {
        let device = device(state, asset);
        Told {
            id: device.id.clone(),
            entry: asset.last_entry,
            resource: Resource::Device(Box::new(device)),
            of: None,
        }
    })
}

fn told_use(site: &Id, it: &Use) -> Told {
    let told = it.told(site);
    Told {
        id: told.id.clone(),
        entry: it.entry(),
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
    let meta = Meta { version_id: told.entry.to_string(), last_updated: time(told.entry).1.to_string() };
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
    let mut places: Vec<u64> = page.iter().flat_map(|it| [Some(it.entry), it.of]).flatten().collect();
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
    let told = with_times(caller, vec![told]).await?;
    let Some(told) = told.into_iter().next() else {
        return Err(Problem::unknown_thing("resource", ""));
    };
    let tag = format!("W/\"{}\"", told.entry);
    let wanted = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    let known = wanted.flat_map(|value| value.split(',')).any(|it| {
        let bare = |tag: &str| tag.trim().trim_start_matches("W/").to_owned();
        bare(it) == bare(&tag)
    });
    let mut response = if known { StatusCode::NOT_MODIFIED.into_response() } else { answer(&told.resource) };
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        response.headers_mut().insert(header::ETAG, tag);
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
    let told = Told {
        id,
        entry: asset.last_entry,
        resource: Resource::Device(Box::new(device(&state, asset))),
        of: None,
    };
    one(&caller, &headers, told).await
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

type All = fn(&State) -> Box<dyn Iterator<Item = Told> + '_>;

/// One page of what a search finds, by logical id as the house orders its names.
async fn found(caller: Caller, asked: Asked, kind: &'static str, all: All) -> Result<Response, Problem> {
    let (state, now) = caller.state().await?;
    let params = if kind == "Device" { DEVICE } else { USE };
    let search = criteria(params, &asked, state.zone)?;
    let mut place = BTreeMap::new();
    for time in search.times(now) {
        place.insert(time, caller.app.house.place_at(&caller.site, time, state.seq).await?);
    }
    let fits = |it: &Told| search.takes(&it.id, it.entry, &it.resource, &Place { place: &place, now });
    let house: Arc<State> = state.clone();
    let matching: Vec<Told> = all(&house).filter(fits).collect();
    let total = matching.len();
    let begins = match &search.after {
        None => 0,
        Some(after) => matching.iter().position(|it| it.id == *after).map(|at| at + 1).ok_or_else(|| {
            search::unfit("_after", format!("\"_after\" is \"{after}\", which no page ends with"))
        })?,
    };
    let mut page: Vec<Told> = matching.into_iter().skip(begins).take(search.count + 1).collect();
    let more = page.len() > search.count && search.count > 0;
    page.truncate(search.count);
    let next = page.last().filter(|_| more).map(|it| it.id.clone());
    let page = with_times(&caller, page).await?;
    let base = asked.base(&caller);
    let url = |after: Option<&str>| asked.address(&format!("{base}/{kind}"), after);
    let mut links = vec![Link { relation: "self", url: url(search.after.as_deref()) }];
    links.extend(next.map(|next| Link { relation: "next", url: url(Some(&next)) }));
    let entries = page.into_iter().map(|it| (format!("{base}/{kind}/{}", it.id), it.resource)).collect();
    Ok(answer(&Resource::Bundle(Bundle::found(total, links, entries))))
}

pub async fn devices(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    found(caller, asked, "Device", |state| Box::new(told_devices(state))).await
}

pub async fn uses(caller: Caller, asked: Asked) -> Result<Response, Problem> {
    found(caller, asked, "DeviceUseStatement", |state| Box::new(told_uses(state))).await
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
                Offered::read_only("Device", "A part of the house, as it is now.", DEVICE),
                Offered::read_only(
                    "DeviceUseStatement",
                    "A part that touched the patient of a case. What was opened there and not used is none.",
                    USE,
                ),
            ],
        }],
    };
    Ok(answer(&Resource::CapabilityStatement(Box::new(statement))))
}
