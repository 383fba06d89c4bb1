//! Labels for programs: as pictures, as a sheet of paper, or for a label printer.

use axum::http::StatusCode;
use axum::response::Response;
use serde_json::json;

use super::super::problem::Problem;
use super::caller::Caller;
use super::ok;
use super::params::Params;
use crate::domain::command::wrong;
use crate::domain::labelling::Reading;
use crate::web::pages::labels::{as_pdf, as_svg, as_zpl, file};
use crate::web::pages::labels_made::{Asked, Kind, made};

/// How the labels are answered.
const FORMS: [&str; 3] = ["svg", "pdf", "zpl"];

fn unfit(name: &str, found: &str, needed: &[String]) -> Problem {
    let detail = format!("found \"{found}\"; one of {} is needed", needed.join(", "));
    Problem::malformed(&[wrong(format!("?{name}"), detail)])
}

fn one_of(name: &str, found: &str, needed: &[String]) -> Result<(), Problem> {
    let fits = found.is_empty() || needed.iter().any(|it| it == found);
    if fits { Ok(()) } else { Err(unfit(name, found, needed)) }
}

pub async fn get(caller: Caller, mut params: Params) -> Result<Response, Problem> {
    let mut text = |name: &str| Ok::<_, Problem>(params.take(name)?.unwrap_or_default());
    let asked = Asked {
        kind: text("kind")?,
        scan: text("scan")?,
        size: text("size")?,
        symbol: text("symbol")?,
        paper: text("paper")?,
        skip: text("skip")?,
        dpi: text("dpi")?,
    };
    let form = text("as")?;
    params.done()?;
    let (state, now) = caller.state().await?;
    let names = |all: &[&str]| all.iter().map(ToString::to_string).collect::<Vec<_>>();
    one_of("kind", &asked.kind, &names(&Kind::ALL.map(Kind::name)))?;
    one_of("symbol", &asked.symbol, &names(&Reading::ALL.map(Reading::name)))?;
    one_of("as", &form, &names(&FORMS))?;
    one_of("paper", &asked.paper, &names(&["a4", "letter"]))?;
    one_of("dpi", &asked.dpi, &names(&["203", "300", "600"]))?;
    let sizes: Vec<String> = state.policy.marking.label_sizes.iter().map(ToString::to_string).collect();
    one_of("size", &asked.size, &sizes)?;
    let size = asked.size(&state);
    let not_so = |why: String| Problem::new(StatusCode::CONFLICT, "not_printable", "No such label", why);
    let labels = made(&caller.app, &state, now, &asked).await.map_err(not_so)?;
    match form.as_str() {
        "pdf" => {
            let bytes = as_pdf(&labels, &asked, size).map_err(not_so)?;
            Ok(file(bytes, "application/pdf", "labels.pdf"))
        }
        "zpl" => {
            let text = as_zpl(&labels, &asked, size).map_err(not_so)?;
            Ok(file(text.into_bytes(), "text/plain; charset=utf-8", "labels.zpl"))
        }
        _ => {
            let items = labels.iter().map(|label| {
                Ok(json!({"caption": label.caption, "svg": as_svg(label, size)?,
                    "lines": label.lines.iter().map(|line| &line.text).collect::<Vec<_>>()}))
            });
            let items = items.collect::<Result<Vec<_>, String>>().map_err(not_so)?;
            Ok(ok(&json!({"items": items, "next": null})))
        }
    }
}
