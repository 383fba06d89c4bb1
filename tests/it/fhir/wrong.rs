//! What goes wrong is told as the standard tells it: an OperationOutcome with a code of its value set.

use fettle::domain::person::Role::{self, Auditor, Biomed, Charge, Clinician, Desk, Infection, Lead};
use serde_json::json;

use super::super::served::{Kind, Served};
use super::{all_valid, furnish, got, operate};

/// What is asked, by whom, and how it is refused.
const ASKED: &[(&str, Role, u16, &str)] = &[
    ("Device/NOPE", Auditor, 404, "not-found"),
    ("Device/O_1", Auditor, 404, "not-found"),
    ("Device/a..b", Auditor, 404, "not-found"),
    ("Device/.9abc", Auditor, 404, "not-found"),
    ("DeviceUseStatement/K.11..B-1..9", Auditor, 404, "not-found"),
    ("DeviceUseStatement/.9abc", Auditor, 404, "not-found"),
    ("Patient/1", Auditor, 404, "not-found"),
    ("Device?colour=red", Auditor, 400, "not-supported"),
    ("Device?status:not=active", Auditor, 400, "not-supported"),
    ("Device?_sort=status", Auditor, 400, "not-supported"),
    ("Device?_sort=", Auditor, 400, "not-supported"),
    ("Location?_sort=_lastUpdated", Auditor, 400, "not-supported"),
    ("Location?_lastUpdated=ge2020", Auditor, 400, "not-supported"),
    ("Device?_elements=id", Auditor, 400, "not-supported"),
    ("Device?_summary=true", Auditor, 400, "not-supported"),
    ("Device?_summary=text", Auditor, 400, "not-supported"),
    ("Device?_summary=data", Auditor, 400, "not-supported"),
    ("Device?_summary=all", Auditor, 400, "code-invalid"),
    ("Device?_total=about", Auditor, 400, "code-invalid"),
    ("Device?_count=1&_count=2", Auditor, 400, "value"),
    ("Device?_sort=_id&_sort=-_id", Auditor, 400, "value"),
    ("Device?_count=%2B5", Auditor, 400, "value"),
    ("Device?location=Device/B-1", Auditor, 400, "value"),
    ("Device?location=http://example.org/Location/shelf.23", Auditor, 400, "value"),
    ("DeviceUseStatement?device=Device/B-1/_history/2", Auditor, 400, "value"),
    ("DeviceUseStatement?device=urn:uuid:1", Auditor, 400, "value"),
    ("Device?location=", Auditor, 400, "value"),
    ("DeviceUseStatement?device=Patient/1", Auditor, 400, "value"),
    ("Location/nowhere", Auditor, 404, "not-found"),
    ("Location/.9abc", Auditor, 404, "not-found"),
    ("DeviceUseStatement?status=active", Auditor, 400, "not-supported"),
    ("Device/B-1?_summary=true", Auditor, 400, "not-supported"),
    ("metadata?mode=full", Auditor, 400, "not-supported"),
    ("Device?status=broken", Auditor, 400, "code-invalid"),
    ("Device?_lastUpdated=yesterday", Auditor, 400, "value"),
    ("Device?_lastUpdated=ge2026-02-30", Auditor, 400, "value"),
    ("Device?_lastUpdated=2026-01-01T10:00:00+01:00", Auditor, 400, "value"),
    ("Device?_count=-1", Auditor, 400, "value"),
    ("Device?_count=many", Auditor, 400, "value"),
    ("Device?_after=no%20id", Auditor, 400, "value"),
    ("Device?_sort=_lastUpdated&_after=B-1", Auditor, 400, "value"),
    ("Device?_id=", Auditor, 400, "value"),
    ("Device?_id=B-1,", Auditor, 400, "value"),
    ("Device?identifier=S9,", Auditor, 400, "value"),
    ("Device?identifier=,", Auditor, 400, "value"),
    ("Device?identifier=%7C", Auditor, 400, "value"),
    ("Device?model=,fine", Auditor, 400, "value"),
    ("Device?_format=json;fhirVersion=5.0", Auditor, 406, "not-supported"),
    ("Device?_format=xml", Auditor, 406, "not-supported"),
    ("Device?_id=%00", Auditor, 422, "value"),
    ("DeviceUseStatement", Desk, 403, "forbidden"),
    ("DeviceUseStatement", Biomed, 403, "forbidden"),
    ("DeviceUseStatement/K.11..B-1..1", Clinician, 403, "forbidden"),
];

#[tokio::test(flavor = "multi_thread")]
async fn what_goes_wrong_is_an_operation_outcome() {
    let served = Served::start(Kind::Embedded).await;
    furnish(&served).await;
    operate(&served).await;
    let mut outcomes = Vec::new();
    for (path, role, status, code) in ASKED {
        let (path, role, status, code) = (*path, *role, *status, *code);
        let got = served.fhir_as(role, path).await;
        let found = (got.status, got.kind.as_str(), got.body["issue"][0]["code"].as_str());
        assert_eq!(found, (status, "application/fhir+json", Some(code)), "{path}: {}", got.body);
        outcomes.push(got.body);
    }
    for role in [Charge, Infection, Auditor, Lead] {
        assert_eq!(served.fhir_as(role, "DeviceUseStatement").await.status, 200, "{role:?}");
    }
    // Beside it the API goes on as before.
    let (status, body) = served.get("assets/NOPE").await;
    assert_eq!((status, &body["code"]), (404, &json!("unknown_thing")));
    all_valid(outcomes);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_fails_on_the_way_is_one_too() {
    let served = Served::start(Kind::Embedded).await;
    furnish(&served).await;
    let mut outcomes = Vec::new();
    let url = |site: &str, path: &str| format!("{}/api/v1/{site}/fhir/{path}", served.base);
    let token = served.token(Auditor);
    let client = &served.client;
    let here = url(&served.site, "Device");
    for (request, status, code) in [
        (client.get(&here), 401, "login"),
        (client.get(&here).bearer_auth("nobody"), 401, "login"),
        (client.get(url("nowhere", "Device")).bearer_auth(token), 404, "not-found"),
        (client.post(&here).bearer_auth(token).json(&json!({})), 405, "not-supported"),
        (client.post(format!("{here}/_search")).form(&[("colour", "red")]), 401, "login"),
        (
            client.post(format!("{here}/_search")).bearer_auth(token).form(&[("colour", "red")]),
            400,
            "not-supported",
        ),
        (client.post(format!("{here}/_search")).bearer_auth(token).json(&json!({})), 415, "not-supported"),
        (client.post(format!("{here}/_search")).bearer_auth(token).form(&[("_id", "\0")]), 400, "value"),
        (
            client.post(format!("{here}/_search")).bearer_auth(token).form(&[("_id", "x".repeat(70_000))]),
            413,
            "too-long",
        ),
        (
            client
                .post(url(&served.site, "DeviceUseStatement/_search"))
                .bearer_auth(served.token(Desk))
                .form(&[("_count", "1")]),
            403,
            "forbidden",
        ),
        (client.delete(format!("{here}/B-1")).bearer_auth(token), 405, "not-supported"),
        (client.get(&here).bearer_auth(token).header("accept", "application/fhir+xml"), 406, "not-supported"),
        (client.get(format!("{here}/%FF")).bearer_auth(token), 404, "not-found"),
    ] {
        let got = got(request.header("accept-encoding", "gzip")).await;
        let found = (got.status, got.kind.as_str(), got.body["issue"][0]["code"].as_str());
        assert_eq!(found, (status, "application/fhir+json", Some(code)), "{}", got.body);
        outcomes.push(got.body);
    }
    all_valid(outcomes);
    served.stop().await;
}
