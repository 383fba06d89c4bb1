//! Every example is sent to a demo hospital, and what comes back is of a status and a shape that the document tells.

use fettle::app::demo;
use fettle::app::house::House;
use fettle::domain::person::Role;
use fettle::formats::fhir::base64;
use fettle::web::api::reference::{SITE, document, examples, operation_of};
use fettle::web::router::{Door, ROUTES, Route};
use reqwest::{Method, header};
use serde_json::{Value, json};

use super::super::served::Served;
use super::{fits, validator};

/// The smallest picture: one grey dot as PNG, composed by hand; the example of a picture names it by its SHA-256.
const DOT: &str = "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000000a49444154789c6360000000020001\
                   4802a4910000000049454e44ae426082";

struct Demo {
    served: Served,
    tokens: Vec<(Role, String)>,
}

struct Got {
    status: u16,
    kind: String,
    body: Option<Value>,
}

impl Demo {
    async fn start() -> Demo {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite:{}", folder.path().join("fettle.db").display());
        let house = House::open(&url).await.unwrap();
        demo::make(&house, 7).await.unwrap();
        house.close().await;
        let served = Served::on(url, Some(folder), None).await;
        let mut tokens = Vec::new();
        for role in Role::ALL {
            tokens.push((role, served.house.add_token(demo::SITE, role, None).await.unwrap().1));
        }
        Demo { served, tokens }
    }

    async fn ask(&self, role: Option<Role>, method: &str, path: &str, body: Vec<u8>) -> Got {
        let method = Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
        let mut asked = self.served.client.request(method, format!("{}{path}", self.served.base)).body(body);
        if path.contains("/_search") {
            asked = asked.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        }
        if let Some((_, token)) = self.tokens.iter().find(|(own, _)| Some(*own) == role) {
            asked = asked.bearer_auth(token);
        }
        let answer = asked.send().await.unwrap();
        let kind = answer.headers().get(header::CONTENT_TYPE).and_then(|it| it.to_str().ok());
        let (kind, status) = (kind.unwrap_or_default().to_string(), answer.status().as_u16());
        let body = serde_json::from_slice(&answer.bytes().await.unwrap()).ok();
        Got { status, kind, body }
    }

    /// What came back is told in the document.
    fn told(route: &Route, got: &Got, what: &str) {
        let answers = &document()["paths"][route.path][route.method]["responses"];
        let answer = &answers[got.status.to_string()];
        assert!(
            answer.is_object(),
            "{what}: {} stands nowhere among its answers: {:?}",
            got.status,
            got.body
        );
        let Some(content) = answer["content"].as_object() else { return };
        let kind = got.kind.split(';').next().unwrap_or_default();
        let content = content.get(kind).unwrap_or_else(|| panic!("{what}: {kind} stands nowhere"));
        if content["schema"].is_object() {
            fits(&validator(&content["schema"]), got.body.as_ref().expect("JSON"), what);
        }
    }
}

/// Of the roles that a route admits, the one that reads most.
fn reader(route: &Route) -> Role {
    let best = [Role::Auditor, Role::Lead, Role::Biomed].into_iter().find(|role| route.admits.contains(role));
    best.unwrap_or(route.admits[0])
}

/// The address of a route's example.
fn address(route: &Route) -> String {
    let example = operation_of(route).unwrap().example;
    let (mut path, mut query) = (route.path.replace("{site}", demo::SITE), Vec::new());
    for pair in example.split('&').filter(|pair| !pair.is_empty()) {
        let (name, value) = pair.split_once('=').unwrap();
        let place = format!("{{{name}}}");
        match path.contains(&place) {
            true => path = path.replace(&place, value),
            false => query.push(pair.to_string()),
        }
    }
    assert!(!path.contains('{'), "{}: the example gives no {path}", route.path);
    if query.is_empty() { path } else { format!("{path}?{}", query.join("&")) }
}

impl Demo {
    /// Every command's example, in order; what the server made is put where the next one asks for it.
    async fn commands(&self) {
        let route = ROUTES.iter().find(|it| it.path.ends_with("/commands")).unwrap();
        let path = SITE.replace("{site}", demo::SITE) + "/commands";
        let (mut made, mut entry) = (Value::Null, Value::Null);
        // By what the document says alone: a program has nothing else.
        let told = &document()["paths"][route.path]["post"]["requestBody"]["content"]["application/json"];
        let story = told["examples"].as_object().unwrap();
        assert_eq!(story.len(), examples().count());
        for (name, example) in story {
            let mut command = example["value"].clone();
            if let Some(field) = example["x-takes"]["field"].as_str() {
                let from = if example["x-takes"]["from"] == "made" { &made } else { &entry };
                command[field] = from.clone();
            }
            let role = Role::parse(example["x-role"].as_str().unwrap());
            let needed = u16::try_from(example["x-status"].as_u64().unwrap()).unwrap();
            let what = format!("{name} {command}");
            let got = self.ask(role, "post", &path, command.to_string().into()).await;
            Demo::told(route, &got, &what);
            assert_eq!(got.status, needed, "{what}: {:?}", got.body);
            if let (201, Some(body)) = (got.status, got.body) {
                entry = body["entry"].clone();
                made = body.get("made").cloned().unwrap_or(made);
            }
        }
        let list = json!([{"do": "put_away", "scan": "EX-B1", "location": "shelf 9"}, {"do": "nothing"}]);
        let got = self.ask(Some(Role::Desk), "post", &path, list.to_string().into()).await;
        assert_eq!(got.status, 200);
        Demo::told(route, &got, "a list");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn every_example_works_in_the_demo() {
    let demo = Demo::start().await;
    let ours: Vec<&Route> = ROUTES.iter().filter(|it| it.path.starts_with("/api/")).collect();
    let dot = hex::decode(DOT).unwrap();
    let body_of = |route: &Route| match operation_of(route).unwrap().sends {
        sent if sent == base64(&dot) => dot.clone(),
        other => other.as_bytes().to_vec(),
    };
    // The picture first, since a command names it.
    let picture = ours.iter().find(|it| it.path.ends_with("/attachments")).unwrap();
    let got = demo.ask(Some(Role::Desk), "post", &address(picture), dot.clone()).await;
    assert_eq!(got.status, 201);
    demo.commands().await;
    for route in ours.iter().filter(|it| !it.path.ends_with("/commands")) {
        let (path, what) = (address(route), format!("{} {}", route.method, route.path));
        let got = demo.ask(Some(reader(route)), route.method, &path, body_of(route)).await;
        assert!((200..300).contains(&got.status), "{what}: {} {:?}", got.status, got.body);
        Demo::told(route, &got, &what);
        // And what it refuses.
        let site = path.replace(demo::SITE, "nowhere");
        let unknown = format!("{path}{}colour=red", if path.contains('?') { '&' } else { '?' });
        if route.door == Door::Token {
            for (role, path, wanted) in [
                (None, &path, &[401][..]),
                (Some(reader(route)), &site, &[404]),
                (Some(reader(route)), &unknown, &[400, 422]),
            ] {
                let got = demo.ask(role, route.method, path, body_of(route)).await;
                assert!(wanted.contains(&got.status), "{what}, {path}: {} {:?}", got.status, got.body);
                Demo::told(route, &got, &format!("{what}, {path}"));
            }
        }
    }
    let labels = ROUTES.iter().find(|it| it.path.ends_with("/labels")).unwrap();
    for form in ["pdf", "zpl", "svg"] {
        let path = format!("{}&as={form}", address(labels));
        let got = demo.ask(Some(Role::Auditor), "get", &path, Vec::new()).await;
        assert_eq!(got.status, 200, "{path}");
        Demo::told(labels, &got, &path);
    }
    whole_lists(&demo).await;
    demo.served.stop().await;
}

/// Everything that a year and a half left in the lists has the shape that the document tells.
async fn whole_lists(demo: &Demo) {
    for name in
        ["assets", "sets", "machines", "models", "loads", "cases", "due", "holds", "findings", "repairs"]
            .into_iter()
            .chain([
                "missing",
                "look-backs",
                "recalls",
                "wear/inspect-next",
                "fhir/Device",
                "fhir/Location",
                "fhir/DeviceUseStatement",
            ])
    {
        let route = ROUTES.iter().find(|it| it.path.strip_prefix(SITE) == Some(&format!("/{name}"))).unwrap();
        let limit = if name.starts_with("fhir") { "_count" } else { "limit" };
        let path = format!("{}/{name}?{limit}=1000", SITE.replace("{site}", demo::SITE));
        let got = demo.ask(Some(reader(route)), "get", &path, Vec::new()).await;
        assert_eq!(got.status, 200);
        Demo::told(route, &got, name);
    }
}
