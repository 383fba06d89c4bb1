//! Who comes through which door: every route with every role, and with nobody.

use fettle::domain::person::Role;
use fettle::web::router::{Door, ROUTES, Route};
use reqwest::{Method, Response, header};
use serde_json::Value;

use super::served::{BOTH, Served};

fn method(route: &Route) -> Method {
    route.method.to_uppercase().parse().expect("a method")
}

/// A path of the table with its blanks filled.
fn path(route: &Route, site: &str) -> String {
    let filled = route.path.replace("{site}", site).replace("{scan}", "B-1").replace("{set}", "SET-1");
    filled
        .replace("{load}", "load-00001")
        .replace("{file}", "style.css")
        .replace("{case}", "K-1")
        .replace("{repair}", "repair-0001")
}

/// The ends of paths whose forms carry files.
const MULTIPART: [&str; 3] = ["{load}/record", "/record-form", "/import"];

impl Served {
    async fn ask(&self, route: &Route, site: &str, token: Option<&str>) -> (u16, String) {
        let url = format!("{}{}", self.base, path(route, site));
        let mut asked = self.client.request(method(route), url);
        if let Some(token) = token {
            asked = asked.bearer_auth(token);
        }
        let answer = asked.send().await.expect("an answer");
        let status = answer.status().as_u16();
        // A stream has no end to wait for.
        let streams =
            answer.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind == "text/event-stream");
        let body = if streams { String::new() } else { answer.text().await.expect("a body") };
        // Below `/fhir` the code stands in the details of the outcome's issue.
        let code = serde_json::from_str(&body).map_or(String::new(), |body: Value| {
            let code = body["code"].as_str().or(body["issue"][0]["details"]["coding"][0]["code"].as_str());
            code.unwrap_or_default().to_string()
        });
        (status, code)
    }

    /// A person of this role, signed in through the door: the cookie, and what the forms of the session carry.
    async fn sign_in(&self, role: Role) -> (String, String) {
        let name = format!("Person {}", role.name());
        let code = self.house.add_person(&self.site, None, &name, role, "correct horse battery").await;
        let form = [
            ("site", self.site.as_str()),
            ("person", &code.expect("a person")),
            ("password", "correct horse battery"),
        ];
        let asked = self.client.post(format!("{}/sign-in", self.base)).form(&form);
        let answer = asked.send().await.expect("an answer");
        assert_eq!(answer.status(), 303, "{role:?}");
        let cookie = answer.headers()[header::SET_COOKIE].to_str().expect("a cookie");
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax"), "{cookie}");
        let pair = cookie.split(';').next().expect("a pair").to_string();
        let secret = pair.split_once('=').expect("a pair").1;
        let session = self.house.session(secret).await.expect("a session").expect("a session");
        (pair, session.csrf)
    }

    async fn visit(&self, route: &Route, cookie: Option<&str>, csrf: &str) -> Response {
        let url = format!("{}{}", self.base, path(route, &self.site));
        let mut asked = self.client.request(method(route), url);
        if let Some(cookie) = cookie {
            asked = asked.header(header::COOKIE, cookie);
        }
        if route.method == "post" && MULTIPART.iter().any(|end| route.path.ends_with(end)) {
            let body =
                format!("--x\r\nContent-Disposition: form-data; name=\"csrf\"\r\n\r\n{csrf}\r\n--x--\r\n");
            asked = asked.header(header::CONTENT_TYPE, "multipart/form-data; boundary=x").body(body);
        } else if route.method == "post" {
            asked = asked.form(&[("csrf", csrf)]);
        }
        asked.send().await.expect("an answer")
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_api_is_for_tokens_of_its_site() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let other = Served::on(served.url.clone(), None, None).await;
        for route in ROUTES.iter().filter(|route| route.door == Door::Token) {
            let (site, name) = (served.site.as_str(), route.path);
            let not_signed_in = (401, "not_signed_in".to_string());
            assert_eq!(served.ask(route, site, None).await, not_signed_in, "{name}");
            assert_eq!(served.ask(route, site, Some("made-up")).await, not_signed_in, "{name}");
            for role in Role::ALL {
                let own = Some(served.token(role));
                let elsewhere = (403, "not_your_role".to_string());
                assert_eq!(served.ask(route, site, Some(other.token(role))).await, elsewhere, "{name}");
                let unknown = (404, "unknown_site".to_string());
                assert_eq!(served.ask(route, "no-such-site", own).await, unknown, "{name}");
                let (status, code) = served.ask(route, site, own).await;
                let admitted = status != 401 && status != 403 && code != "unknown_site";
                assert_eq!(admitted, route.admits.contains(&role), "{name} as {role:?}: {status} {code}");
            }
        }
        let (id, token) = served.house.add_token(&served.site, Role::Desk, None).await.expect("a token");
        let assets = ROUTES.iter().find(|route| route.path.ends_with("/assets")).expect("a route");
        assert_eq!(served.ask(assets, &served.site, Some(&token)).await.0, 200);
        assert!(served.house.revoke_token(&served.site, &id).await.expect("an answer"));
        assert_eq!(served.ask(assets, &served.site, Some(&token)).await.0, 401, "a revoked token");
        other.stop().await;
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_are_for_sessions_of_their_roles() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        served.furnish().await;
        let (leaving, staying): (Vec<&Route>, Vec<&Route>) = ROUTES
            .iter()
            .filter(|route| matches!(route.door, Door::Session | Door::Wall))
            .partition(|route| route.path == "/sign-out");
        for route in staying.iter().chain(&leaving) {
            for cookie in [None, Some("fettle_session=made-up")] {
                let answer = served.visit(route, cookie, "").await;
                let to = answer
                    .headers()
                    .get(header::LOCATION)
                    .and_then(|to| to.to_str().ok())
                    .unwrap_or_default();
                assert_eq!(answer.status(), 303, "{}", route.path);
                assert!(to.starts_with("/sign-in"), "{}: {to}", route.path);
            }
        }
        for role in Role::ALL {
            let (cookie, csrf) = served.sign_in(role).await;
            for route in staying.iter().chain(&leaving) {
                let answer = served.visit(route, Some(&cookie), &csrf).await;
                let status = answer.status().as_u16();
                let told = format!("{} {} as {role:?}: {status}", route.method, route.path);
                assert_eq!(status != 403, route.admits.contains(&role), "{told}");
                assert!(status < 500, "{told}");
                let here = answer
                    .headers()
                    .get(header::LOCATION)
                    .is_none_or(|to| route.path == "/sign-out" || to != "/sign-in");
                assert!(here, "{told}");
                if route.method == "post" && route.path != "/sign-out" {
                    let foreign = served.visit(route, Some(&cookie), "made-up").await;
                    assert!(foreign.status().is_client_error(), "{told}: a form of another session");
                }
            }
            let start = staying.iter().find(|route| route.path == "/").expect("a start page");
            assert_eq!(served.visit(start, Some(&cookie), "").await.status(), 303, "signed out, {role:?}");
        }
        served.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wrong_password_signs_nobody_in() {
    for kind in BOTH {
        let served = Served::start(kind).await;
        let added =
            served.house.add_person(&served.site, Some("ada"), "Ada", Role::Desk, "a long password").await;
        added.expect("a person");
        let site = served.site.as_str();
        for (site, person, password) in [
            (site, "ada", "another password"),
            (site, "bob", "a long password"),
            ("no-site", "ada", "a long password"),
            (site, "ada", ""),
        ] {
            let form = [("site", site), ("person", person), ("password", password)];
            let asked = served.client.post(format!("{}/sign-in", served.base)).form(&form);
            let answer = asked.send().await.expect("an answer");
            assert_eq!(answer.status(), 401, "{site} {person}");
            assert!(answer.headers().get(header::SET_COOKIE).is_none());
        }
        served.stop().await;
    }
}
