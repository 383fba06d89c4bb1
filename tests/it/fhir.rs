//! The house as HL7 FHIR R4: what it tells passes the same judgement as specimens do (`tests/python/resources.py`), and a search
//! finds what it should by the rules of the standard (hl7.org/fhir/R4: search, http, device, deviceusestatement).

mod asked;
mod wrong;

use std::process::Command;

use fettle::domain::person::Role::{self, Auditor, Biomed, Charge, Clinician, Desk, Lead};
use serde_json::{Value, json};

use super::case::{issue, plan};
use super::served::{BOTH, Served};

/// What is wrong with each resource, by somebody else's program and the value sets.
fn judged(resources: &[(&str, Value)]) -> Vec<Vec<String>> {
    let python = std::env::var("FETTLE_TEST_PYTHON")
        .expect("FETTLE_TEST_PYTHON names the test run's Python with tests/requirements.txt; use tests/run");
    let folder = tempfile::tempdir().unwrap();
    let listed = folder.path().join("resources.json");
    std::fs::write(&listed, json!(resources).to_string()).unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/resources.py");
    let output = Command::new(python).arg(script).arg(&listed).output().expect("Python");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let found: Vec<Vec<String>> = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found.len(), resources.len());
    found
}

#[track_caller]
fn all_valid(resources: Vec<Value>) {
    assert!(!resources.is_empty());
    let resources: Vec<(&str, Value)> = resources.into_iter().map(|it| ("R4", it)).collect();
    for (wrong, (_, resource)) in judged(&resources).iter().zip(&resources) {
        assert!(wrong.is_empty(), "{wrong:?} in {resource}");
    }
}

#[test]
fn the_judge_takes_what_is_valid_and_nothing_else() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/specimens/fhir");
    let mut names: Vec<String> =
        std::fs::read_dir(folder).unwrap().map(|it| it.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names.len(), 19);
    let read = |name: &String| {
        let text = std::fs::read_to_string(format!("{folder}/{name}")).unwrap();
        let release = if name.contains(".r5.") { "R5" } else { "R4" };
        (release, serde_json::from_str(&text).unwrap())
    };
    let resources: Vec<(&str, Value)> = names.iter().map(read).collect();
    for (name, wrong) in names.iter().zip(judged(&resources)) {
        assert_eq!(wrong.is_empty(), !name.starts_with("invalid-"), "{name}: {wrong:?}");
    }
}

struct Got {
    status: u16,
    kind: String,
    tag: String,
    body: Value,
}

impl Served {
    async fn fhir_as(&self, role: Role, path: &str) -> Got {
        let url = match path.starts_with("http") {
            true => path.to_string(),
            false => format!("{}/api/v1/{}/fhir/{path}", self.base, self.site),
        };
        got(self.client.get(url).bearer_auth(self.token(role))).await
    }

    /// A resource as the auditor reads it.
    async fn fhir(&self, path: &str) -> Value {
        let got = self.fhir_as(Auditor, path).await;
        assert_eq!((got.status, got.kind.as_str()), (200, "application/fhir+json"), "{path}: {}", got.body);
        got.body
    }

    /// The ids that a search finds.
    async fn ids(&self, path: &str) -> Vec<String> {
        let bundle = self.fhir(path).await;
        let empty = Vec::new();
        let entries = bundle["entry"].as_array().unwrap_or(&empty);
        entries.iter().map(|it| it["resource"]["id"].as_str().unwrap().to_string()).collect()
    }
}

async fn got(request: reqwest::RequestBuilder) -> Got {
    let answer = request.send().await.expect("an answer");
    let header = |name: &str| {
        answer.headers().get(name).and_then(|it| it.to_str().ok()).unwrap_or_default().to_string()
    };
    let (status, kind, tag) = (answer.status().as_u16(), header("content-type"), header("etag"));
    let body = answer.json().await.unwrap_or(Value::Null);
    Got { status, kind, tag, body }
}

/// A small department with a part for each way in which a device is told.
async fn furnish(served: &Served) {
    served.furnish().await;
    served
        .done(
            Biomed,
            json!({"do": "define_model", "model": "fine", "family": "forceps", "name": "Fine forceps", "route": "metal",
                   "maker": "Example Instruments", "gtin": "9521234000013"}),
        )
        .await;
    let long = "L".repeat(64);
    let udi = "]d2010952123400001311240301\u{1d}21A0017";
    for part in [
        json!({"asset": "U-1", "model": "fine", "mark": udi}),
        json!({"asset": "U-2", "model": "fine", "mark": "(01)09521234000013(10)LOT7"}),
        json!({"asset": "G-1", "model": "fine", "mark": "80049521234RE000017", "serial": "S9", "lot": "L9"}),
        json!({"asset": "H-1", "model": "cap", "mark": "+A123BJC5D6E71G"}),
        json!({"asset": "O_1", "model": "cap", "owner": "loan", "supplier": "Example Hire"}),
        json!({"asset": "O_2", "model": "cap", "owner": "trial"}),
        json!({"asset": long, "model": "cap", "mark": "dot.mark", "prior_cycles": 7, "prior_uses": 5}),
    ] {
        let mut command = json!({"do": "add_asset"});
        command.as_object_mut().unwrap().extend(part.as_object().unwrap().clone());
        served.done(Lead, command).await;
    }
    served.done(Biomed, json!({"do": "hold", "kind": "quality", "reason": "stiff", "scan": "U-2"})).await;
    let repair = json!({"do": "send_to_repair", "asset": "H-1", "reason": "bent", "decontaminated": true});
    served.done(Biomed, repair).await;
    let retire = json!({"do": "retire", "asset": "O_2", "cause": "worn", "failure": false});
    served.done(Biomed, retire).await;
    served.done(Desk, json!({"do": "put_away", "scan": "G-1", "location": "shelf 3"})).await;
}

/// One case with a patient, at which the tray was used and the optics were opened.
async fn operate(served: &Served) {
    served.round("SET-1").await;
    let mut planned = plan("K_1", 2);
    planned["patient"] = "Example, Jo 1970".into();
    served.done(Charge, planned).await;
    served.done(Charge, issue("K_1", "SET-1")).await;
    served.done(Clinician, json!({"do": "open", "case": "K_1", "scan": "T-1"})).await;
    served.done(Clinician, json!({"do": "use", "case": "K_1", "scan": ["B-1", "C-1"]})).await;
}

fn coded<'a>(list: &'a Value, code: &str) -> &'a Value {
    let found = list.as_array().unwrap().iter().find(|it| it["type"]["coding"][0]["code"] == code);
    found.unwrap_or_else(|| panic!("{code} in {list}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_part_is_a_device() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let it = served.fhir("Device/U-1").await;
        // base64 of the mark with its separator, by Python's own.
        let sent = "XWQyMDEwOTUyMTIzNDAwMDAxMzExMjQwMzAxHTIxQTAwMTc=";
        assert_eq!(
            it["udiCarrier"],
            json!([{"deviceIdentifier": "09521234000013", "issuer": "http://hl7.org/fhir/NamingSystem/gs1-di",
                    "carrierAIDC": sent, "carrierHRF": "(01)09521234000013(11)240301(21)A0017",
                    "entryType": "barcode"}])
        );
        let told = [
            &it["manufactureDate"],
            &it["serialNumber"],
            &it["modelNumber"],
            &it["status"],
            &it["manufacturer"],
        ];
        assert_eq!(told, ["2024-03-01", "A0017", "fine", "active", "Example Instruments"], "{it}");
        let it = served.fhir("Device/U-2").await;
        assert_eq!((&it["status"], &it["lotNumber"]), (&json!("active"), &json!("LOT7")));
        assert_eq!(it["statusReason"][0]["coding"][0]["code"], "not-ready");
        assert_eq!(it["statusReason"][0]["coding"][1]["code"], "held");
        assert_eq!(it["udiCarrier"][0].get("carrierAIDC"), None, "typed from the text below a mark");
        // A mark without a product: the product is that of the catalogue, with all its digits.
        let it = served.fhir("Device/G-1").await;
        assert_eq!(
            it["udiCarrier"],
            json!([{"deviceIdentifier": "09521234000013", "issuer": "http://hl7.org/fhir/NamingSystem/gs1-di"}])
        );
        let giai = coded(&it["identifier"].as_array().unwrap()[1..2].to_vec().into(), "RI").clone();
        assert_eq!(giai["value"], "9521234RE000017");
        assert_eq!((&it["serialNumber"], &it["lotNumber"]), (&json!("S9"), &json!("L9")));
        assert_eq!(it["location"]["display"], "shelf 3");
        let it = served.fhir("Device/H-1").await;
        assert_eq!(it["udiCarrier"][0]["deviceIdentifier"], "A123BJC5D6E71");
        assert_eq!(it["udiCarrier"][0]["issuer"], "http://hl7.org/fhir/NamingSystem/hibcc-dI");
        assert_eq!(it["statusReason"][0]["coding"][0]["code"], "offline");
        assert_eq!(served.fhir("Device/O.11").await["owner"]["display"], "Example Hire");
        let it = served.fhir("Device/O.12").await;
        assert_eq!(
            (&it["status"], &it["owner"]["extension"][0]["valueCode"]),
            (&json!("inactive"), &json!("unknown"))
        );
        let it = served.fhir(&format!("Device/{}", "L".repeat(64))).await;
        let count = |code| coded(&it["property"], code)["valueQuantity"][0]["value"].clone();
        assert_eq!((count("cycles"), count("uses"), count("turn")), (json!(7), json!(5), json!(1)));
        // In the set, and not accounted for.
        served.done(Lead, json!({"do": "report_missing", "scan": "SET-1", "asset": "C-1"})).await;
        let it = served.fhir("Device/C-1").await;
        assert_eq!(
            (&it["status"], &it["statusReason"][0]["coding"][0]["code"]),
            (&json!("unknown"), &json!("missing"))
        );
        assert_eq!(it["note"][0]["text"], "In set SET-1, line cap, position 1.");
        let all = served.fhir("Device").await;
        assert_eq!(all["total"], 11);
        let mut each: Vec<Value> =
            all["entry"].as_array().unwrap().iter().map(|it| it["resource"].clone()).collect();
        each.extend([all.clone(), served.fhir("metadata").await]);
        all_valid(each);
        served.sound().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_use_names_the_device_and_no_patient() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        operate(&served).await;
        let all = served.fhir("DeviceUseStatement").await;
        let ids = served.ids("DeviceUseStatement").await;
        // The optics were opened beside the patient and did not touch them: a look-back tells that, this does not.
        assert_eq!(ids, ["K.11..B-1..1", "K.11..C-1..1"]);
        let it = served.fhir("DeviceUseStatement/K.11..B-1..1").await;
        assert_eq!((&it["status"], &it["device"]["reference"]), (&json!("active"), &json!("Device/B-1")));
        assert_eq!(it["subject"]["type"], "Patient");
        let sealed = it["subject"]["identifier"]["value"].as_str().unwrap().to_string();
        assert!(sealed.len() > 20 && !all.to_string().contains("Example, Jo"), "{all}");
        assert_eq!(it["identifier"][0]["value"], "K_1");
        let (_, ledger) = served.get("assets/B-1/history").await;
        let used =
            ledger["items"].as_array().unwrap().iter().find(|it| it["kind"] == "used").unwrap().clone();
        assert_eq!((&it["timingDateTime"], &it["recordedOn"]), (&used["at"], &used["recorded_at"]), "{used}");
        served.done(Charge, json!({"do": "close_count", "case": "K_1"})).await;
        let closed = served.fhir("DeviceUseStatement/K.11..B-1..1").await;
        assert_eq!(closed["status"], "completed");
        assert_ne!(closed["meta"]["versionId"], it["meta"]["versionId"]);
        assert_eq!(served.ids("DeviceUseStatement?device=Device/B-1").await, ["K.11..B-1..1"]);
        assert_eq!(served.ids("DeviceUseStatement?device=U-1").await, Vec::<String>::new());
        assert_eq!(served.ids("DeviceUseStatement?identifier=K_1").await.len(), 2);
        // A case without a patient has a subject that is not known.
        served.round("SET-1").await;
        served.done(Charge, plan("K-2", 2)).await;
        served.done(Charge, issue("K-2", "SET-1")).await;
        served.done(Charge, json!({"do": "close_count", "case": "K-2"})).await;
        let other = served.fhir("DeviceUseStatement/K-2..T-1..2").await;
        assert_eq!(other["subject"]["extension"][0]["valueCode"], "unknown");
        let each = served.fhir("DeviceUseStatement").await;
        assert_eq!(each["total"], 5);
        let mut told: Vec<Value> =
            each["entry"].as_array().unwrap().iter().map(|it| it["resource"].clone()).collect();
        told.push(each);
        all_valid(told);
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_search_finds_what_was_asked_for() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        let own = format!("urn:fettle:site:{}:asset", served.site);
        for (query, found) in [
            ("_id=B-1,C-1", vec!["B-1", "C-1"]),
            ("_id=O.11", vec!["O.11"]),
            ("status=inactive", vec!["O.12"]),
            ("status=http://hl7.org/fhir/device-status|inactive", vec!["O.12"]),
            ("status=http://example.org|inactive", vec![]),
            ("status=entered-in-error", vec![]),
            ("identifier=https://www.gs1.org/giai|9521234RE000017", vec!["G-1"]),
            ("identifier=S9", vec!["G-1"]),
            ("identifier=|S9", vec!["G-1"]),
            ("identifier=https://www.gs1.org/giai|", vec!["G-1"]),
            (&format!("identifier={own}|O_1"), vec!["O.11"]),
            (&format!("identifier={own}|S9"), vec![]),
            ("model=FIN&_count=1&_id=U-1", vec!["U-1"]),
            ("udi-di=0952123", vec!["G-1", "U-1", "U-2"]),
            ("device-name=fine", vec!["G-1", "U-1", "U-2"]),
            ("device-name=telesc", vec!["T-1"]),
            ("_id=B-1&status=inactive", vec![]),
            ("_format=json&_id=B-1", vec!["B-1"]),
        ] {
            assert_eq!(served.ids(&format!("Device?{query}")).await, found, "{query}");
        }
        let bundle = served.fhir("Device?_count=0").await;
        assert_eq!((&bundle["total"], bundle.get("entry")), (&json!(11), None));
        all_valid(vec![bundle, served.fhir("Device?_id=nothing").await]);
        // Pages, by their links alone.
        let (mut next, mut all, mut pages) =
            (Some("Device?_count=4&status=active".to_string()), Vec::new(), Vec::new());
        while let Some(path) = next.take() {
            let page = served.fhir(&path).await;
            assert_eq!(page["total"], 10);
            let entries = page["entry"].as_array().unwrap();
            all.extend(entries.iter().map(|it| it["resource"]["id"].as_str().unwrap().to_string()));
            for entry in entries {
                assert_eq!(served.fhir(entry["fullUrl"].as_str().unwrap()).await, entry["resource"]);
            }
            let link = |name: &str| {
                let links = page["link"].as_array().unwrap().iter().find(|it| it["relation"] == name);
                links.map(|it| it["url"].as_str().unwrap().to_string())
            };
            assert_eq!(served.fhir(&link("self").unwrap()).await, page);
            next = link("next");
            pages.push(page);
        }
        assert_eq!((all.len(), pages.len()), (10, 3));
        let mut sorted = all.clone();
        sorted.sort();
        sorted.dedup();
        assert_eq!(sorted.len(), 10, "each once: {all:?}");
        all_valid(pages);
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_changed_since_is_found_also_where_it_is_told_late() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        furnish(&served).await;
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        let since = chrono::Utc::now();
        let told = since.to_rfc3339_opts(chrono::SecondsFormat::Micros, true);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=ge{told}")).await, Vec::<String>::new());
        assert_eq!(served.ids(&format!("Device?_lastUpdated=lt{told}")).await.len(), 11);
        // It happened yesterday; here it changed now.
        let at = (since - chrono::TimeDelta::hours(1)).to_rfc3339();
        let late = json!({"do": "put_away", "scan": "U-1", "location": "drawer", "at": at,
                          "late": {"cause": "forgotten"}});
        served.done(Desk, late).await;
        assert_eq!(served.ids(&format!("Device?_lastUpdated=ge{told}")).await, ["U-1"]);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=gt{told}")).await, ["U-1"]);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=lt{told}")).await.len(), 10);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=ge{told},lt{told}")).await.len(), 11);
        let between = format!("Device?_lastUpdated=ge{told}&_lastUpdated=lt{told}");
        assert_eq!(served.ids(&between).await, Vec::<String>::new());
        let whole = served.fhir("Device/U-1").await;
        let updated = whole["meta"]["lastUpdated"].as_str().unwrap();
        assert_eq!(served.ids(&format!("Device?_lastUpdated={updated}")).await, ["U-1"]);
        assert_eq!(served.ids(&format!("Device?_lastUpdated=ne{updated}")).await.len(), 10);
        let years = ["eq2020", "le2020-05", "eb2020-05-01", "gt2100", "sa2100-01-01"];
        for none in years {
            assert_eq!(
                served.ids(&format!("Device?_lastUpdated={none}")).await,
                Vec::<String>::new(),
                "{none}"
            );
        }
        for all in ["gt2020", "lt2100-01-01", "ne2020", "ge2020-01-01T10:00", "ap2020,gt2021"] {
            assert_eq!(served.ids(&format!("Device?_lastUpdated={all}")).await.len(), 11, "{all}");
        }
        // The version as an entity tag.
        let got = served.fhir_as(Desk, "Device/U-1").await;
        assert_eq!(got.tag, format!("W/\"{}\"", whole["meta"]["versionId"].as_str().unwrap()));
        let url = format!("{}/api/v1/{}/fhir/Device/U-1", served.base, served.site);
        let again = served.client.get(url).bearer_auth(served.token(Desk)).header("if-none-match", got.tag);
        assert_eq!(again.send().await.unwrap().status(), 304);
        served.stop().await;
    }
}
