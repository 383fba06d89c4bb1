//! A house that serves on a free port of this machine, on either database, with a fresh site and a token for each
//! role. A fresh site for each test instead of a fresh database: that is how a department's neighbours live too.

use std::net::SocketAddr;
use std::sync::Arc;

use fettle::app::house::House;
use fettle::domain::person::Role;
use fettle::web::{App, Options, router};
use serde_json::{Value, json};
use tempfile::TempDir;

/// The databases under test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Embedded,
    Server,
}

pub const BOTH: [Kind; 2] = [Kind::Embedded, Kind::Server];

/// The PostgreSQL of the test run; without it a test fails, it is never skipped.
pub fn postgres() -> String {
    std::env::var("FETTLE_TEST_POSTGRES")
        .expect("FETTLE_TEST_POSTGRES names the test run's PostgreSQL; use tests/run")
}

pub struct Served {
    pub base: String,
    pub url: String,
    pub house: Arc<House>,
    pub site: String,
    pub client: reqwest::Client,
    tokens: Vec<(Role, String)>,
    server: tokio::task::JoinHandle<()>,
    _folder: Option<TempDir>,
}

pub fn fresh_site() -> String {
    use std::sync::atomic::{AtomicU32, Ordering};
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let since = std::time::UNIX_EPOCH.elapsed().expect("a clock").as_nanos();
    format!("s{:x}-{}-{}", since, std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed))
}

impl Served {
    pub async fn start(kind: Kind) -> Served {
        let folder = (kind == Kind::Embedded).then(|| tempfile::tempdir().expect("a folder"));
        let url = match &folder {
            Some(folder) => format!("sqlite:{}", folder.path().join("fettle.db").display()),
            None => postgres(),
        };
        Served::on(url, folder, None).await
    }

    /// A server on a database that is there; with a site of its own, or with another server's.
    pub async fn on(url: String, folder: Option<TempDir>, site: Option<&Served>) -> Served {
        let house = Arc::new(House::open(&url).await.expect("a database"));
        let (site, tokens) = match site {
            Some(other) => (other.site.clone(), other.tokens.clone()),
            None => {
                let site = fresh_site();
                house.add_site(&site, "Test service", "Europe/Berlin").await.expect("a site");
                let mut tokens = Vec::new();
                for role in Role::ALL {
                    tokens.push((role, house.add_token(&site, role, None).await.expect("a token").1));
                }
                (site, tokens)
            }
        };
        let app = App::new(house.clone(), Options::default());
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let service = router::router(app).into_make_service_with_connect_info::<SocketAddr>();
        let server = tokio::spawn(async move { axum::serve(listener, service).await.expect("a server") });
        let client =
            reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().expect("a client");
        Served {
            base: format!("http://{address}"),
            url,
            house,
            site,
            client,
            tokens,
            server,
            _folder: folder,
        }
    }

    pub fn token(&self, role: Role) -> &str {
        &self.tokens.iter().find(|(known, _)| *known == role).expect("a token for each role").1
    }

    /// Another token of a role: another person at the same desk.
    pub async fn another(&self, role: Role) -> String {
        self.house.add_token(&self.site, role, None).await.expect("a token").1
    }

    /// Posts a command, or an array of them; answers the status and the body.
    pub async fn post_as(&self, token: &str, command: &Value) -> (u16, Value) {
        let url = format!("{}/api/v1/{}/commands", self.base, self.site);
        let answer = self.client.post(url).bearer_auth(token).json(command).send().await.expect("an answer");
        (answer.status().as_u16(), answer.json().await.expect("JSON"))
    }

    pub async fn post(&self, role: Role, command: Value) -> (u16, Value) {
        self.post_as(self.token(role), &command).await
    }

    /// A command that has to be accepted.
    pub async fn done(&self, role: Role, command: Value) -> Value {
        let told = command.to_string();
        let (status, body) = self.post(role, command).await;
        assert_eq!(status, 201, "{told}: {body}");
        body
    }

    /// A command that has to be refused with this code; answers the problem.
    pub async fn refused(&self, role: Role, command: Value, code: &str) -> Value {
        let told = command.to_string();
        let (status, body) = self.post(role, command).await;
        assert_eq!((status, body["code"].as_str()), (409, Some(code)), "{told}: {body}");
        for name in ["title", "detail", "found", "needed", "next"] {
            assert!(body[name].as_str().is_some_and(|text| !text.is_empty()), "{name} of {body}");
        }
        body
    }

    /// A query below the site, as the auditor.
    pub async fn get(&self, path: &str) -> (u16, Value) {
        let url = format!("{}/api/v1/{}/{path}", self.base, self.site);
        let answer =
            self.client.get(url).bearer_auth(self.token(Role::Auditor)).send().await.expect("an answer");
        (answer.status().as_u16(), answer.json().await.expect("JSON"))
    }

    pub async fn asset(&self, asset: &str) -> Value {
        let (status, body) = self.get(&format!("assets/{asset}")).await;
        assert_eq!(status, 200, "{body}");
        body
    }

    pub async fn set(&self, set: &str) -> Value {
        let (status, body) = self.get(&format!("sets/{set}")).await;
        assert_eq!(status, 200, "{body}");
        body
    }

    /// A small department: a full route, an optics route, models, machines, one set `SET-1` of three parts in two packs
    /// (`B-1` and `C-1` in the tray, `T-1` in the optics pack), and a spare `C-2`.
    pub async fn furnish(&self) {
        for (role, command) in department() {
            self.done(role, command).await;
        }
    }

    /// What the ledger, the tables and the checker say of each other: nothing may differ.
    pub async fn sound(&self) {
        let report = fettle::app::rebuild::check(&self.house.db).await.expect("a check");
        let ours: Vec<&String> = report.wrong.iter().filter(|what| what.contains(&self.site)).collect();
        assert!(ours.is_empty(), "{ours:?}");
    }

    /// Another door of the same house, with what its handlers reach.
    pub async fn beside(&self) -> (App, String) {
        let app = App::new(self.house.clone(), Options::default());
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = listener.local_addr().expect("an address");
        let service = router::router(app.clone()).into_make_service_with_connect_info::<SocketAddr>();
        tokio::spawn(async move { axum::serve(listener, service).await.expect("a server") });
        (app, format!("http://{address}"))
    }

    pub async fn stop(self) {
        self.server.abort();
        self.house.close().await;
    }
}

/// The commands that furnish a small department, in order.
pub fn department() -> Vec<(Role, Value)> {
    let step = |step: &str| json!({"step": step});
    let all = ["treated", "received", "cleaned", "dried", "disinfected", "inspected", "packed"];
    let mut metal: Vec<Value> = all.into_iter().map(step).collect();
    metal.push(json!({"step": "sterilised", "method": "steam"}));
    let mut optics: Vec<Value> = ["treated", "received", "cleaned", "dried"].into_iter().map(step).collect();
    optics.push(json!({"step": "disinfected", "method": "manual"}));
    optics.extend([step("inspected"), step("packed"), json!({"step": "sterilised", "method": "steam"})]);
    let steam = json!({"steam": {"temp_c": 134, "hold_s": 180}});
    let model = |model: &str, family: &str, route: &str, limits: Value| {
        json!({"do": "define_model", "model": model, "family": family, "name": model, "route": route,
               "processing": steam, "limits": limits})
    };
    let line = |line: &str, family: &str, essential: bool, pack: &str| json!({"line": line, "family": family, "quantity": 1, "essential": essential, "pack": pack});
    let mut all = vec![
        (Role::Admin, json!({"do": "define_route", "route": "metal", "steps": metal})),
        (Role::Admin, json!({"do": "define_route", "route": "optics", "steps": optics})),
        (Role::Biomed, model("barrel", "bronchoscope", "metal", json!({}))),
        (Role::Biomed, model("cap", "cap", "metal", json!({"max_cycles": 3}))),
        (Role::Biomed, model("scope", "telescope", "optics", json!({"shelf_life_days": 30}))),
        (
            Role::Admin,
            json!({"do": "define_machine", "machine": "washer-1", "kind": "washer_disinfector", "programmes":
            [{"programme": "wash", "method": "machine", "band_c": 80, "a0_s": 600}]}),
        ),
        (
            Role::Admin,
            json!({"do": "define_machine", "machine": "steriliser-1", "kind": "steriliser", "programmes":
            [{"programme": "p134", "method": "steam", "band_c": 134, "hold_s": 180}]}),
        ),
        (
            Role::Lead,
            json!({"do": "define_count_sheet", "count_sheet": "adult", "name": "Adult", "lines":
            [line("barrel", "bronchoscope", true, "tray"), line("cap", "cap", false, "tray"),
             line("telescope", "telescope", true, "optics")]}),
        ),
        (Role::Lead, json!({"do": "build_set", "set": "SET-1", "count_sheet": "adult", "name": "Adult 1"})),
    ];
    for (asset, model) in [("B-1", "barrel"), ("C-1", "cap"), ("T-1", "scope"), ("C-2", "cap")] {
        all.push((Role::Lead, json!({"do": "add_asset", "asset": asset, "model": model})));
    }
    for (asset, line) in [("B-1", "barrel"), ("C-1", "cap"), ("T-1", "telescope")] {
        all.push((Role::Lead, json!({"do": "put_in_set", "set": "SET-1", "line": line, "asset": asset})));
    }
    all
}

/// A steam record that holds 134.5 °C for so many seconds; a sample every 5 s.
pub fn steam_record(hold_s: u32) -> String {
    record(60.0, 134.5, hold_s)
}

/// A washer record that holds 90 °C for so many seconds; a sample every 5 s.
pub fn wash_record(hold_s: u32) -> String {
    record(20.0, 90.0, hold_s)
}

fn record(from_c: f64, level_c: f64, hold_s: u32) -> String {
    let end = 300 + hold_s;
    let temp = |time: u32| match time {
        0..300 => from_c + (level_c - from_c) * f64::from(time) / 300.0,
        _ if time <= end => level_c,
        _ => level_c - f64::from(time - end) * 0.2,
    };
    let rows = (0..=end + 200).step_by(5).map(|time| format!("{time},{:.3}", temp(time)));
    format!("time_s,temp_c\n{}\n", rows.collect::<Vec<_>>().join("\n"))
}

impl Served {
    /// Takes a set through its whole route to ready, by the API; its optics are `T-1`.
    pub async fn round(&self, set: &str) {
        self.round_with(set, "T-1").await;
    }

    /// The same for a set with these optics, which are disinfected by hand.
    pub async fn round_with(&self, set: &str, optics: &str) {
        use Role::{Charge, Desk};
        let step = |step: &str| json!({"do": "record_step", "step": step, "scan": [set]});
        self.done(Charge, step("treated")).await;
        for name in ["received", "cleaned", "dried"] {
            self.done(Desk, step(name)).await;
        }
        self.done(Desk, json!({"do": "record_step", "step": "disinfected", "scan": [optics]})).await;
        self.rest_of_a_round(set).await;
    }

    /// From dried, the optics disinfected by hand, to ready.
    pub async fn rest_of_a_round(&self, set: &str) {
        use Role::Desk;
        let load = self.load("washer-1", "wash", set).await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": wash_record(300)})).await;
        self.done(Desk, json!({"do": "release_load", "load": load})).await;
        self.done(Desk, json!({"do": "inspect", "scan": set, "passed": true})).await;
        let pack = json!({"do": "record_step", "step": "packed", "scan": [set]});
        self.done(Desk, pack).await;
        let load = self.load("steriliser-1", "p134", set).await;
        self.done(Desk, json!({"do": "judge_load", "load": load, "record": steam_record(200)})).await;
        let chemical =
            json!({"do": "record_indicator", "load": load, "indicator": "chemical", "result": "pass"});
        self.done(Desk, chemical).await;
        self.done(Desk, json!({"do": "release_load", "load": load, "dry": true})).await;
    }

    pub async fn load(&self, machine: &str, programme: &str, set: &str) -> String {
        let start = json!({"do": "start_load", "machine": machine, "programme": programme, "scan": [set]});
        self.done(Role::Desk, start).await["made"].as_str().expect("a load's id").to_string()
    }
}

/// The text of a page, without the marks that keep names whole.
pub async fn whole(answer: reqwest::Response) -> String {
    let page = answer.text().await.expect("a page");
    page.replace("<bdi class=\"run\">", "").replace("<bdi>", "").replace("</bdi>", "")
}
