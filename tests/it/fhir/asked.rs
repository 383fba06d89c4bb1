//! Ways of asking: by place, in an order, for the number alone, by a form, for what changed.

use fettle::domain::person::Role::{Auditor, Biomed, Desk};
use serde_json::{Value, json};

use super::super::served::{BOTH, Kind, Served};
use super::{all_valid, furnish, got};

fn ids(bundle: &Value) -> Vec<&str> {
    let entries = bundle["entry"].as_array().map(Vec::as_slice).unwrap_or_default();
    entries.iter().map(|it| it["resource"]["id"].as_str().unwrap()).collect()
}

fn link(bundle: &Value, name: &str) -> Option<String> {
    let links = bundle["link"].as_array().unwrap();
    links.iter().find(|it| it["relation"] == name).map(|it| it["url"].as_str().unwrap().to_string())
}

impl Served {
    async fn sent(&self, kind: &str, fields: &[(&str, &str)]) -> Value {
        let url = format!("{}/api/v1/{}/fhir/{kind}/_search", self.base, self.site);
        let got = got(self.client.post(url).bearer_auth(self.token(Auditor)).form(fields)).await;
        assert_eq!((got.status, got.kind.as_str()), (200, "application/fhir+json"), "{}", got.body);
        got.body
    }
}

/// What the server says that it can do with places.
fn offers_places(statement: &Value) {
    let offered = statement["rest"][0]["resource"].as_array().unwrap();
    let of = |kind: &str| offered.iter().find(|it| it["type"] == kind).unwrap();
    let (location, device) = (of("Location"), of("Device"));
    assert_eq!(location["interaction"], json!([{"code": "read"}, {"code": "search-type"}]));
    assert_eq!(
        (&device["versioning"], &device["conditionalRead"]),
        (&json!("versioned"), &json!("full-support"))
    );
    assert_eq!((&location["versioning"], location.get("conditionalRead")), (&json!("no-version"), None));
    assert!(device["searchParam"].as_array().unwrap().iter().any(|it| it["name"] == "location"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_place_is_read_and_its_devices_are_found() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        for (scan, place) in
            [("U-1", "shelf 3"), ("U-2", "Schrank \u{fc}ber der Sp\u{fc}le"), ("B-1", "shelf.3")]
        {
            served.done(Desk, json!({"do": "put_away", "scan": scan, "location": place})).await;
        }
        // What a device refers to is there, under that very address.
        let mut told = Vec::new();
        for (device, place) in
            [("G-1", "shelf 3"), ("U-2", "Schrank \u{fc}ber der Sp\u{fc}le"), ("B-1", "shelf.3")]
        {
            let it = served.fhir(&format!("Device/{device}")).await;
            assert_eq!(
                (&it["location"]["display"], &it["location"]["type"]),
                (&json!(place), &json!("Location"))
            );
            let address = it["location"]["reference"].as_str().unwrap();
            let location = served.fhir(address).await;
            assert_eq!((&location["name"], &location["status"]), (&json!(place), &json!("active")));
            assert_eq!(format!("Location/{}", location["id"].as_str().unwrap()), address);
            assert_eq!(
                served.fhir(&format!("Location?_id={}", location["id"].as_str().unwrap())).await["total"],
                1
            );
            told.push(location);
        }
        assert_eq!(served.fhir("Device/C-1").await.get("location"), None);
        let all = served.fhir("Location").await;
        assert_eq!((&all["total"], ids(&all).len()), (&json!(3), 3));
        told.push(all.clone());
        let base = format!("{}/api/v1/{}/fhir", served.base, served.site);
        for (query, found) in [
            ("Location?name=SHELF".into(), vec!["shelf.03", "shelf.23"]),
            ("Location?name=elf".into(), vec![]),
            (
                format!("Location?identifier=urn:fettle:site:{}:location|shelf%203", served.site),
                vec!["shelf.23"],
            ),
            ("Device?location=Location/shelf.23".into(), vec!["G-1", "U-1"]),
            ("Device?location=shelf.23".into(), vec!["G-1", "U-1"]),
            (format!("Device?location={base}/Location/shelf.23"), vec!["G-1", "U-1"]),
            (
                format!(
                    "Device?location=https://elsewhere.example/fettle/api/v1/{}/fhir/Location/shelf.23",
                    served.site
                ),
                vec!["G-1", "U-1"],
            ),
            ("Device?location=nowhere".into(), vec![]),
            ("Device?location=shelf.23,shelf.03&_sort=-_id".into(), vec!["U-1", "G-1", "B-1"]),
            ("Location?_count=1&_sort=-_id&name=shelf".into(), vec!["shelf.23"]),
        ] {
            assert_eq!(served.ids(&query).await, found, "{query}");
        }
        let statement = served.fhir("metadata").await;
        offers_places(&statement);
        told.push(statement);
        all_valid(told);
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_are_in_order_and_whole_while_things_change() {
    let served = Served::start(Kind::Embedded).await;
    furnish(&served).await;
    served.done(Desk, json!({"do": "put_away", "scan": "C-1", "location": "drawer"})).await;
    let newest = served.fhir("Device?_sort=-_lastUpdated&_count=1000").await;
    let versions: Vec<u64> = newest["entry"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["resource"]["meta"]["versionId"].as_str().unwrap().parse().unwrap())
        .collect();
    assert_eq!(ids(&newest)[0], "C-1");
    assert!(versions.windows(2).all(|two| two[0] >= two[1]), "{versions:?}");
    let mut oldest = served.ids("Device?_sort=_lastUpdated,-_id").await;
    oldest.reverse();
    assert_eq!(oldest, ids(&newest), "backwards whole");
    // What a page ended with leaves the search, and the next page begins after its place all the same.
    for sort in ["_id", "_lastUpdated"] {
        let first = served.fhir(&format!("Device?status=active&_count=2&_sort={sort}")).await;
        let total = first["total"].as_u64().unwrap();
        let last = ids(&first)[1].to_string();
        let place = json!({"do": "retire", "asset": last, "cause": "worn", "failure": false});
        served.done(Biomed, place).await;
        let (mut all, mut next): (Vec<String>, _) =
            (ids(&first).into_iter().map(String::from).collect(), link(&first, "next"));
        while let Some(url) = next {
            let page = served.fhir(&url).await;
            assert_eq!(page["total"].as_u64().unwrap(), total - 1);
            assert_eq!(link(&page, "self").as_deref(), Some(url.as_str()));
            all.extend(ids(&page).into_iter().map(String::from));
            next = link(&page, "next");
            all_valid(vec![page]);
        }
        let mut once = all.clone();
        once.sort();
        once.dedup();
        assert_eq!((once.len() as u64, all.len() as u64), (total, total), "{sort}: {all:?}");
    }
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_asks_as_an_address_does_and_a_number_alone_is_told() {
    let served = Served::start(Kind::Embedded).await;
    furnish(&served).await;
    let by_address = served.fhir("Device?status=active&_count=3&_sort=-_id").await;
    let by_form = served.sent("Device", &[("status", "active"), ("_count", "3"), ("_sort", "-_id")]).await;
    assert_eq!(by_form, by_address);
    // Its links are addresses, which go on without a form.
    let next = served.fhir(&link(&by_form, "next").unwrap()).await;
    assert!(ids(&next).iter().all(|id| !ids(&by_form).contains(id)) && ids(&next).len() == 3);
    for kind in ["Location", "DeviceUseStatement"] {
        assert_eq!(served.sent(kind, &[]).await, served.fhir(kind).await);
    }
    for query in ["_summary=count", "_count=0", "_summary=count&_count=5&_sort=_lastUpdated&_total=accurate"]
    {
        let bundle = served.fhir(&format!("Device?status=active&{query}")).await;
        assert_eq!((&bundle["total"], bundle.get("entry")), (&by_address["total"], None), "{query}");
        assert_eq!(link(&bundle, "next"), None);
        all_valid(vec![bundle]);
    }
    assert_eq!(ids(&served.fhir("Device?_summary=false&_count=99999999999999999999999").await).len(), 11);
    served.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_model_that_is_defined_anew_changes_its_devices() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let model = json!({"do": "define_model", "model": "fine", "family": "forceps", "name": "Fine forceps",
                           "route": "metal", "maker": "Example Instruments", "gtin": "9521234000013"});
        let before = served.fhir("Device/U-1").await;
        let since = || chrono::Utc::now().to_rfc3339_opts(chrono::SecondsFormat::Micros, true);
        tokio::time::sleep(std::time::Duration::from_millis(5)).await;
        let asked = since();
        // A limit is told to nobody as a device.
        let mut other = model.clone();
        other["limits"] = json!({"max_cycles": 400});
        served.done(Biomed, other.clone()).await;
        assert_eq!(served.fhir("Device/U-1").await, before);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=ge{asked}")).await, Vec::<String>::new());
        for (field, value) in [
            ("name", json!("Fine forceps, long")),
            ("maker", json!("Example Works")),
            ("gtin", json!("9521234000020")),
            ("family", json!("accessory")),
        ] {
            tokio::time::sleep(std::time::Duration::from_millis(5)).await;
            let (asked, was) = (since(), served.fhir("Device/G-1").await);
            other[field] = value;
            served.done(Biomed, other.clone()).await;
            let is = served.fhir("Device/G-1").await;
            let mut differs = is.clone();
            differs["meta"] = was["meta"].clone();
            assert_ne!(differs, was, "{field} is told");
            assert_ne!(is["meta"], was["meta"], "{field}");
            assert_eq!(
                served.ids(&format!("Device?_lastUpdated=ge{asked}")).await,
                ["G-1", "U-1", "U-2"],
                "{field}"
            );
        }
        served.sound().await;
        // Another server reads it from the tables.
        let again = Served::on(served.url.clone(), None, Some(&served)).await;
        let mut is = again.fhir("Device?_sort=-_lastUpdated&_count=3").await;
        let was = served.fhir("Device?_sort=-_lastUpdated&_count=3").await;
        is["link"] = was["link"].clone();
        assert_eq!(is.to_string().replace(&again.base, &served.base), was.to_string());
        again.stop().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_has_it_is_told_so() {
    let served = Served::start(Kind::Embedded).await;
    furnish(&served).await;
    let url = format!("{}/api/v1/{}/fhir/Device/U-1", served.base, served.site);
    let ask = |name: &'static str, value: String| {
        let request = served.client.get(&url).bearer_auth(served.token(Desk));
        async move { request.header(name, value).send().await.unwrap() }
    };
    served.done(Desk, json!({"do": "put_away", "scan": "U-1", "location": "drawer"})).await;
    // Within the second of the change its time says nothing: another version may follow in it.
    let at_once = ask("accept", "*/*".into()).await;
    let changed = chrono::DateTime::parse_from_rfc3339(
        served.fhir("Device/U-1").await["meta"]["lastUpdated"].as_str().unwrap(),
    )
    .unwrap();
    let same_second = chrono::Utc::now().timestamp() == changed.timestamp();
    assert!(!same_second || at_once.headers().get("last-modified").is_none());
    tokio::time::sleep(std::time::Duration::from_millis(1_100)).await;
    let got = ask("accept", "*/*".into()).await;
    let (tag, modified) = (
        got.headers()["etag"].to_str().unwrap().to_string(),
        got.headers()["last-modified"].to_str().unwrap().to_string(),
    );
    assert_eq!(chrono::DateTime::parse_from_rfc2822(&modified).unwrap().timestamp(), changed.timestamp());
    assert!(modified.ends_with(" GMT"));
    let earlier = "Thu, 01 Jan 2026 00:00:00 GMT";
    for (name, value, status) in [
        ("if-none-match", tag.clone(), 304),
        ("if-none-match", format!("W/\"1\", {tag}"), 304),
        ("if-none-match", "*".into(), 304),
        ("if-none-match", "W/\"1\"".into(), 200),
        ("if-modified-since", modified.clone(), 304),
        ("if-modified-since", earlier.into(), 200),
        ("if-modified-since", "yesterday".into(), 200),
    ] {
        let answer = ask(name, value.clone()).await;
        assert_eq!(answer.status(), status, "{name}: {value}");
        assert_eq!(
            (answer.headers()["etag"].to_str().unwrap(), answer.headers()["last-modified"].to_str().unwrap()),
            (tag.as_str(), modified.as_str())
        );
    }
    // The tag outranks the time (RFC 9110, section 13.2.2).
    let both = served
        .client
        .get(&url)
        .bearer_auth(served.token(Desk))
        .header("if-none-match", "W/\"1\"")
        .header("if-modified-since", &modified);
    assert_eq!(both.send().await.unwrap().status(), 200);
    served.done(Desk, json!({"do": "put_away", "scan": "U-1", "location": "shelf"})).await;
    assert_eq!(ask("if-modified-since", modified).await.status(), 200);
    served.stop().await;
}
