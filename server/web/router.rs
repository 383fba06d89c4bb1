//! Every route with its method and the roles that it admits, in one table.

use std::any::Any;
use std::time::Duration;

use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Router};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::set_header::SetResponseHeaderLayer;
use tower_http::timeout::TimeoutLayer;

use super::problem::Problem;
use super::{
    App, account, alert, api, attachment, badge, export, form, import, live, pages, session, upload,
};
use crate::app::house::operation;
use crate::domain::person::Role;

/// The roles that a page admits; the page's visitor is checked against it.
#[derive(Clone, Copy, Debug)]
pub struct Admits(pub &'static [Role]);

/// How one comes through a route.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Door {
    /// Without a sign-in.
    Open,
    /// With a token of the site.
    Token,
    /// With a session.
    Session,
    /// With a session, or from the address of a wall display that the site names.
    Wall,
}

/// A line of the table.
pub struct Route {
    pub method: &'static str,
    pub path: &'static str,
    pub door: Door,
    pub admits: &'static [Role],
    handler: fn() -> MethodRouter<App>,
}

const ALL: &[Role] = &Role::ALL;
/// Who writes anything at all: everybody but the auditor.
const WRITERS: &[Role] =
    &[Role::Desk, Role::Lead, Role::Charge, Role::Clinician, Role::Biomed, Role::Infection, Role::Admin];
const AT_THE_DESK: &[Role] =
    &[Role::Desk, Role::Lead, Role::Charge, Role::Clinician, Role::Biomed, Role::Infection];
/// Who reads a patient's reference.
const PATIENT_READERS: &[Role] = &[Role::Charge, Role::Infection, Role::Auditor];
/// Who may begin a look-back at a patient whose reference they know.
const PATIENT_TRACERS: &[Role] = &[Role::Charge, Role::Infection, Role::Auditor, Role::Lead];
/// Who issues in an emergency.
const ISSUERS: &[Role] = &[Role::Charge, Role::Clinician, Role::Lead, Role::Desk];
const LOADERS: &[Role] = &[Role::Desk, Role::Lead];
const LEDGER_READERS: &[Role] = &[Role::Lead, Role::Infection, Role::Biomed, Role::Auditor, Role::Admin];
/// Who says how a machine's files read.
const FORMERS: &[Role] = &[Role::Lead, Role::Admin];
/// Who defines models.
const MODELLERS: &[Role] = &[Role::Biomed, Role::Admin];
/// Who reads why packs broke.
const BROKEN_READERS: &[Role] =
    &[Role::Infection, Role::Lead, Role::Biomed, Role::Charge, Role::Desk, Role::Auditor];
/// Who prints labels.
const LABELLERS: &[Role] = &[Role::Desk, Role::Lead, Role::Charge, Role::Biomed];
/// Who brings lists of models, parts, count sheets, sets or cases.
const IMPORTERS: &[Role] = &[Role::Lead, Role::Biomed, Role::Admin, Role::Charge];
/// Who sees the rules of alerts, and what other programs were told.
const ALERT_READERS: &[Role] = &[Role::Lead, Role::Charge, Role::Admin, Role::Auditor];
/// Who sets them.
const ALERT_KEEPERS: &[Role] = &[Role::Lead, Role::Charge, Role::Admin];
const ADMIN: &[Role] = &[Role::Admin];
const ADMIN_READERS: &[Role] = &[Role::Admin, Role::Auditor];
const SITE_READERS: &[Role] = &[Role::Admin, Role::Auditor, Role::Lead, Role::Charge];

macro_rules! table {
    ($($method:ident $path:literal $door:ident $admits:ident $handler:path;)*) => {
        /// The routes, each once for each of its methods.
        pub const ROUTES: &[Route] = &[
            $(Route {
                method: stringify!($method),
                path: $path,
                door: Door::$door,
                admits: $admits,
                handler: || $method($handler),
            },)*
        ];
    };
}

table! {
    get "/health" Open ALL pages::health::get;
    get "/sign-in" Open ALL pages::sign_in::get;
    post "/sign-in" Open ALL session::post;
    post "/badge" Open ALL badge::post;
    get "/static/{file}" Open ALL pages::files::get;

    get "/api/v1/openapi.json" Open ALL api::reference::get;
    post "/api/v1/{site}/commands" Token ALL api::command::post;
    get "/api/v1/{site}/assets" Token ALL api::asset::list;
    get "/api/v1/{site}/assets/{scan}" Token ALL api::asset::get;
    get "/api/v1/{site}/assets/{scan}/history" Token ALL api::asset::history;
    get "/api/v1/{site}/sets" Token ALL api::set::list;
    get "/api/v1/{site}/sets/{set}" Token ALL api::set::get;
    get "/api/v1/{site}/set-moves" Token ALL api::set::moves;
    get "/api/v1/{site}/sink" Token ALL api::set::sink;
    get "/api/v1/{site}/unfollowed" Token ALL api::set::unfollowed;
    get "/api/v1/{site}/machines" Token ALL api::machine::list;
    get "/api/v1/{site}/machines/{machine}" Token ALL api::machine::get;
    get "/api/v1/{site}/models" Token ALL api::model::list;
    post "/api/v1/{site}/models/check" Token MODELLERS api::model::check;
    get "/api/v1/{site}/models/{model}" Token ALL api::model::get;
    get "/api/v1/{site}/loads" Token ALL api::load::list;
    get "/api/v1/{site}/loads/{load}" Token ALL api::load::get;
    get "/api/v1/{site}/board" Token ALL api::board::get;
    get "/api/v1/{site}/board/live" Token ALL live::facts;
    get "/api/v1/{site}/forecast" Token ALL api::forecast::get;
    get "/api/v1/{site}/week" Token ALL api::week::get;
    get "/api/v1/{site}/cases" Token ALL api::case::list;
    get "/api/v1/{site}/cases/{case}" Token ALL api::case::get;
    get "/api/v1/{site}/cases/{case}/patient" Token PATIENT_READERS api::case::patient;
    get "/api/v1/{site}/cases/{case}/sheet" Token ALL api::fit::sheet;
    post "/api/v1/{site}/fit" Token ALL api::fit::post;
    get "/api/v1/{site}/due" Token ALL api::due::get;
    get "/api/v1/{site}/exceptions" Token ALL api::exception::get;
    get "/api/v1/{site}/wear" Token ALL api::wear::get;
    get "/api/v1/{site}/wear/inspect-next" Token ALL api::wear_more::next;
    get "/api/v1/{site}/wear/money" Token ALL api::wear_more::money;
    get "/api/v1/{site}/wear/repairs" Token ALL api::wear_more::repairs;
    get "/api/v1/{site}/assets/{scan}/values" Token ALL api::wear_more::values;
    get "/api/v1/{site}/assets/{scan}/repair-or-replace" Token ALL api::wear_more::repair_or_replace;
    get "/api/v1/{site}/holds" Token ALL api::hold::list;
    get "/api/v1/{site}/holds/{hold}" Token ALL api::hold::get;
    get "/api/v1/{site}/look-back" Token ALL api::lookback::get;
    post "/api/v1/{site}/look-back" Token PATIENT_TRACERS api::lookback::post;
    get "/api/v1/{site}/findings" Token ALL api::finding::findings;
    get "/api/v1/{site}/repairs" Token ALL api::finding::repairs;
    get "/api/v1/{site}/missing" Token ALL api::finding::missing;
    get "/api/v1/{site}/look-backs" Token ALL api::lookback::list;
    get "/api/v1/{site}/recalls" Token ALL api::recall::list;
    get "/api/v1/{site}/recalls/{recall}" Token ALL api::recall::get;
    get "/api/v1/{site}/records" Token ALL api::record_form::waiting;
    post "/api/v1/{site}/machines/{machine}/record-form/try" Token FORMERS api::record_form::attempt;
    get "/api/v1/{site}/broken-packs" Token BROKEN_READERS api::broken::get;
    get "/api/v1/{site}/published-programmes" Token ALL api::programme::get;
    post "/api/v1/{site}/attachments" Token WRITERS api::attachment::post;
    get "/api/v1/{site}/attachments/{sha256}" Token ALL api::attachment::get;
    get "/api/v1/{site}/labels" Token ALL api::label::get;
    post "/api/v1/{site}/import" Token IMPORTERS api::import::post;
    get "/api/v1/{site}/schedule-lines" Token ALL api::schedule::list;
    get "/api/v1/{site}/schedule-lines/{line}" Token ALL api::schedule::get;
    get "/api/v1/{site}/schedule-lines/{line}/message" Token PATIENT_READERS api::schedule::message;
    get "/api/v1/{site}/paper-sheets" Token ALL api::paper::sheets;
    get "/api/v1/{site}/wrong-things" Token ALL api::paper::wrong_things;
    get "/api/v1/{site}/requests" Token ALL api::request::list;
    get "/api/v1/{site}/requests/{request}" Token ALL api::request::get;
    get "/api/v1/{site}/loans" Token ALL api::visit::loans;
    get "/api/v1/{site}/loans/{loan}" Token ALL api::visit::one_loan;
    get "/api/v1/{site}/strangers" Token ALL api::visit::strangers;
    get "/api/v1/{site}/strangers/{stranger}" Token ALL api::visit::one_stranger;
    get "/api/v1/{site}/identity-doubts" Token ALL api::visit::doubts;
    get "/api/v1/{site}/stock" Token ALL api::visit::stock;
    get "/api/v1/{site}/stock/{model}" Token ALL api::visit::stock_of;
    get "/api/v1/{site}/cases/{case}/stock" Token ALL api::visit::used_at;
    get "/api/v1/{site}/procedures" Token ALL api::schedule::procedures;
    get "/api/v1/{site}/alerts" Token ALL api::alert::list;
    get "/api/v1/{site}/alert-rules" Token ALERT_READERS api::alert::rules;
    post "/api/v1/{site}/alert-rules/{rule}/secret" Token ALERT_KEEPERS api::alert::secret;
    get "/api/v1/{site}/alert-deliveries" Token ALERT_READERS api::alert::deliveries;
    get "/api/v1/{site}/ledger" Token ALL api::ledger::get;
    get "/api/v1/{site}/fhir/metadata" Token ALL api::fhir::metadata;
    get "/api/v1/{site}/fhir/Device" Token ALL api::fhir::devices;
    post "/api/v1/{site}/fhir/Device/_search" Token ALL api::fhir::search_devices;
    get "/api/v1/{site}/fhir/Device/{id}" Token ALL api::fhir::read_device;
    get "/api/v1/{site}/fhir/Location" Token ALL api::fhir::locations;
    post "/api/v1/{site}/fhir/Location/_search" Token ALL api::fhir::search_locations;
    get "/api/v1/{site}/fhir/Location/{id}" Token ALL api::fhir::read_location;
    get "/api/v1/{site}/fhir/DeviceUseStatement" Token PATIENT_TRACERS api::fhir::uses;
    post "/api/v1/{site}/fhir/DeviceUseStatement/_search" Token PATIENT_TRACERS api::fhir::search_uses;
    get "/api/v1/{site}/fhir/DeviceUseStatement/{id}" Token PATIENT_TRACERS api::fhir::read_use;

    get "/" Session ALL pages::start::get;
    get "/desk" Session AT_THE_DESK pages::desk::get;
    post "/desk" Session AT_THE_DESK pages::desk::post;
    get "/queue" Session ALL pages::queue::get;
    get "/board" Session ALL pages::board::get;
    get "/board/live" Session ALL live::board;
    get "/board/wall" Wall ALL pages::board_wall::get;
    get "/board/wall/live" Wall ALL live::wall;
    get "/cases" Session ALL pages::cases::get;
    get "/cases/{case}" Session ALL pages::case::get;
    get "/cases/{case}/sheet" Session ALL pages::setup_sheet::get;
    get "/cases/{case}/room" Session ALL pages::room::get;
    post "/cases/{case}/patient" Session PATIENT_READERS pages::case::patient;
    get "/week" Session ALL pages::week::get;
    get "/schedule" Session ALL pages::schedule::get;
    post "/schedule/{line}/message" Session PATIENT_READERS pages::schedule::message;
    get "/procedures" Session ALL pages::procedures::get;
    get "/emergency" Session ISSUERS pages::emergency::get;
    get "/loads" Session ALL pages::loads::get;
    get "/loads/{load}" Session ALL pages::load::get;
    get "/loads/{load}/plot" Session ALL pages::load_plot::get;
    post "/loads/{load}/record" Session LOADERS upload::post;
    get "/loads/{load}/record" Session ALL upload::get;
    get "/machines" Session ALL pages::machines::get;
    get "/machines/{machine}" Session ALL pages::machine::get;
    post "/loads/{load}/readings" Session LOADERS attachment::readings;
    get "/attachments/{sha256}" Session ALL attachment::get;
    get "/sets" Session ALL pages::sets::get;
    get "/sets/moves" Session ALL pages::migration::get;
    get "/sets/{set}" Session ALL pages::set::get;
    get "/holds/{hold}/box" Session ALL pages::sealed_box::get;
    post "/holds/{hold}/patient" Session PATIENT_READERS pages::sealed_box::patient;
    get "/sets/{set}/count" Session ALL pages::set_count::get;
    get "/report" Session AT_THE_DESK pages::report::get;
    get "/reports" Session AT_THE_DESK pages::reports::get;
    post "/reports/{finding}/picture" Session AT_THE_DESK attachment::picture;
    get "/assets" Session ALL pages::assets::get;
    get "/assets/{scan}" Session ALL pages::asset::get;
    get "/machines/{machine}/record-form" Session ALL pages::record_form::get;
    post "/machines/{machine}/record-form" Session FORMERS pages::record_form::post;
    get "/catalogue" Session ALL pages::catalogue::get;
    get "/catalogue/model" Session MODELLERS pages::model_form::get;
    post "/catalogue/model" Session MODELLERS pages::model_form::post;
    get "/catalogue/models" Session MODELLERS pages::model_table::get;
    post "/catalogue/models" Session MODELLERS pages::model_table::post;
    post "/catalogue/picture" Session MODELLERS attachment::model;
    get "/export/{what}" Session ALL export::get;
    get "/import" Session IMPORTERS pages::import::get;
    post "/import" Session IMPORTERS import::upload;
    get "/import/{id}" Session IMPORTERS pages::import::one;
    post "/import/{id}" Session IMPORTERS import::choose;
    post "/import/{id}/record" Session IMPORTERS import::record;
    post "/import/{id}/drop" Session IMPORTERS import::drop_list;
    get "/import/{id}/problems.csv" Session IMPORTERS pages::import::problems;
    get "/models/{model}" Session ALL pages::model::get;
    get "/ledger" Session LEDGER_READERS pages::ledger::get;
    get "/people" Session ADMIN_READERS pages::people::get;
    post "/people/add" Session ADMIN account::add;
    post "/people/disable" Session ADMIN account::disable;
    post "/people/password" Session ADMIN account::password;
    post "/people/badge" Session ADMIN account::badge;
    post "/people/pin" Session ADMIN account::pin;
    post "/people/token" Session ADMIN account::token;
    post "/people/revoke" Session ADMIN account::revoke;
    get "/site" Session SITE_READERS pages::site::get;
    post "/sign-out" Session ALL session::out;
    post "/act" Session WRITERS form::post;
    get "/loans" Session ALL pages::loans::get;
    get "/loans/arrive" Session AT_THE_DESK pages::loans::arrive;
    get "/loans/{loan}" Session ALL pages::loan::get;
    get "/strangers" Session ALL pages::strangers::get;
    get "/strangers/{stranger}/certificate" Session ALL pages::loan::of_stranger;
    get "/shelf" Session ALL pages::shelf::get;
    get "/cases/{case}/shelf" Session ALL pages::shelf::of_case;
    get "/due" Session ALL pages::due::get;
    get "/exceptions" Session ALL pages::exception::get;
    get "/wear" Session ALL pages::wear::get;
    get "/wear/notice" Session ALL pages::wear::notice::get;
    get "/wear/notice/{hold}" Session ALL pages::wear::notice::of_hold;
    get "/wear/pieces.xlsx" Session ALL pages::wear::pieces::book;
    get "/wear/pieces.csv" Session ALL pages::wear::pieces::csv;
    get "/wear/year" Session ALL pages::wear::year::get;
    get "/wear/report" Session ALL pages::wear::report::get;
    get "/wear/report.xlsx" Session ALL pages::wear::report::book;
    get "/wear/report.csv" Session ALL pages::wear::report::csv;
    get "/look-back" Session ALL pages::lookback::get;
    post "/look-back" Session PATIENT_TRACERS pages::lookback::post;
    get "/look-back.csv" Session ALL pages::lookback::csv;
    get "/look-back.xlsx" Session ALL pages::lookback::book;
    get "/recalls" Session ALL pages::recalls::get;
    get "/recalls/{recall}" Session ALL pages::recall::get;
    get "/recalls/{recall}/narrow" Session ALL pages::recall_narrow::get;
    get "/recalls/{recall}/sheet.csv" Session ALL pages::recall::csv;
    get "/recalls/{recall}/sheet.xlsx" Session ALL pages::recall::book;
    get "/findings" Session ALL pages::finding::get;
    get "/repairs/{repair}" Session ALL pages::repair::get;
    get "/broken-packs" Session BROKEN_READERS pages::broken::get;
    get "/broken-packs.csv" Session BROKEN_READERS pages::broken::csv;
    get "/broken-packs.xlsx" Session BROKEN_READERS pages::broken::book;
    get "/alerts" Session ALL pages::alerts::get;
    get "/alerts/band" Session ALL pages::alerts::band;
    post "/alerts/{alert}/seen" Session WRITERS alert::seen;
    post "/alerts/rules/{rule}/secret" Session ALERT_KEEPERS alert::secret;
    get "/paper" Session ALL pages::paper::get;
    get "/paper/pack" Session ALL pages::paper_pack::get;
    get "/paper/{sheet}" Session ALL pages::paper_entry::get;
    post "/paper/{sheet}" Session AT_THE_DESK pages::paper_entry::post;
    get "/wrong-things" Session ALL pages::wrong_things::get;
    get "/handover" Session ALL pages::handover::get;
    get "/api-reference" Session ALL pages::api_reference::get;
    get "/labels" Session LABELLERS pages::labels::get;
    get "/labels.pdf" Session LABELLERS pages::labels::pdf;
    get "/labels.zpl" Session LABELLERS pages::labels::printer;
}

/// The whole program as a service.
pub fn router(app: App) -> Router {
    let mut router = Router::new();
    for route in ROUTES {
        router = router.route(route.path, (route.handler)().layer(Extension(Admits(route.admits))));
    }
    let own = |name: &'static str, value: &'static str| {
        SetResponseHeaderLayer::if_not_present(HeaderName::from_static(name), HeaderValue::from_static(value))
    };
    router
        .fallback(nothing_here)
        .method_not_allowed_fallback(not_so)
        .layer(middleware::from_fn(readable))
        .layer(DefaultBodyLimit::max(api::command::BODY_MOST))
        .layer(CompressionLayer::new())
        .layer(own("content-security-policy", POLICY))
        .layer(own("x-content-type-options", "nosniff"))
        .layer(own("referrer-policy", "same-origin"))
        .layer(own("x-frame-options", "DENY"))
        .layer(own("cache-control", "no-store"))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, Duration::from_secs(60)))
        .layer(middleware::from_fn(api::fhir::outcome::told))
        .layer(middleware::from_fn(super::drain::drained))
        .layer(middleware::from_fn(logged))
        .with_state(app)
}

/// Nothing from another host, nothing inline, no frame around it.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; font-src 'self'; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// One line in the log for each request, under the id that its answer carries too.
async fn logged(request: Request, next: Next) -> Response {
    let operation = operation();
    let (method, path) = (request.method().clone(), request.uri().path().to_string());
    let mut response = next.run(request).await;
    let status = response.status().as_u16();
    if status >= 500 {
        tracing::error!(operation, %method, path, status, "answered");
    } else {
        tracing::debug!(operation, %method, path, status, "answered");
    }
    if let Ok(value) = HeaderValue::from_str(&operation) {
        response.headers_mut().insert("x-operation", value);
    }
    response
}

fn panicked(_: Box<dyn Any + Send + 'static>) -> Response {
    let operation = operation();
    tracing::error!(operation, "a handler panicked");
    let detail = format!("Something went wrong here; operation {operation} stands in the log.");
    Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "defect", "A defect", detail).into_response()
}

async fn nothing_here(request: Request) -> Response {
    let path = request.uri().path();
    if path.starts_with("/api/") {
        return Problem::unknown_thing("path", path).into_response();
    }
    super::fail::nothing_here()
}

/// What could not even be read is answered in plain text below; a person gets a page instead, a program a problem.
async fn readable(request: Request, next: Next) -> Response {
    let path = request.uri().path().to_string();
    let response = next.run(request).await;
    let kind = response.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    let plain = kind.is_some_and(|kind| kind.starts_with("text/plain"));
    if !(plain && response.status().is_client_error()) {
        return response;
    }
    match (response.status(), path.starts_with("/api/")) {
        (StatusCode::PAYLOAD_TOO_LARGE, true) => Problem::too_large(api::command::BODY_MOST).into_response(),
        (StatusCode::PAYLOAD_TOO_LARGE, false) => super::fail::too_large(),
        (_, true) => Problem::unknown_thing("path", &path).into_response(),
        (status, false) => super::fail::unreadable(status),
    }
}

async fn not_so(request: Request) -> Response {
    if !request.uri().path().starts_with("/api/") {
        return super::fail::not_here();
    }
    let detail = format!("{} is not done here.", request.method());
    Problem::new(StatusCode::METHOD_NOT_ALLOWED, "not_allowed", "Not done here", detail).into_response()
}
