//! A defect in ten seconds: the part, and one of a few words. A dim image asks first which part makes it so.

use askama::Template;
use axum::extract::Query;
use axum::response::Response;
use serde::Deserialize;

use super::headline::part_name;
use super::refused;
use super::shared::{Page, capital, segment};
use crate::domain::case::Case;
use crate::domain::check_lines::parts_of;
use crate::domain::finding::Severity;
use crate::domain::finding_words::{DIM, severity, words};
use crate::domain::id::Id;
use crate::domain::model::Family;
use crate::domain::scan::resolve;
use crate::domain::state::{Asset, Named, State};
use crate::formats::json::normal;
use crate::web::visitor::{Visitor, render};

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub part: String,
    pub case: String,
    /// The image is dim, and it is asked what makes it so.
    pub dim: Option<String>,
}

/// What may make an image dim: the parts at the case, or the line of the check where none of them is known.
pub struct Culprit {
    pub label: &'static str,
    pub hint: &'static str,
    pub parts: Vec<(String, String)>,
    /// The line of the function check that fails where no part of it is known at the case.
    pub line: &'static str,
}

#[derive(Template)]
#[template(path = "report.html")]
pub struct ReportPage {
    pub page: Page,
    pub heading: String,
    pub trouble: String,
    pub part: String,
    pub case: String,
    /// Where the form goes on to.
    pub onward: String,
    pub stops: Vec<&'static str>,
    pub watches: Vec<&'static str>,
    pub dim: String,
    pub culprits: Vec<Culprit>,
    pub severities: Vec<(&'static str, String)>,
    pub known: Vec<String>,
}

fn culprits(state: &State, case: Option<&Case>, asset: &Asset) -> Vec<Culprit> {
    let parts = case.map(|case| parts_of(state, case)).unwrap_or_default();
    let of = |families: &[Family]| {
        let family = |asset: &Asset| state.model(&asset.model).map(|model| model.family);
        let all = parts.iter().filter(|asset| family(asset).is_some_and(|it| families.contains(&it)));
        all.map(|asset| (asset.asset.to_string(), part_name(state, &asset.asset))).collect::<Vec<_>>()
    };
    let itself = vec![(asset.asset.to_string(), part_name(state, &asset.asset))];
    vec![
        Culprit {
            label: "The light cable",
            hint: "another cable makes it bright",
            parts: of(&[Family::LightCable]),
            line: "light",
        },
        Culprit {
            label: "The light source",
            hint: "another source makes it bright, or it is turned down",
            parts: of(&[Family::LightSource]),
            line: "light",
        },
        Culprit {
            label: "The camera",
            hint: "the eye sees it bright through the eyepiece",
            parts: of(&[Family::CameraHead]),
            line: "camera",
        },
        Culprit {
            label: "The telescope",
            hint: "cable, source and camera are good",
            parts: itself,
            line: "image",
        },
    ]
}

impl ReportPage {
    pub fn of(visitor: &Visitor, asked: &Asked) -> ReportPage {
        let state = &*visitor.state;
        let case = state.cases.get(asked.case.as_str()).map(|case| &**case);
        let name = normal(&asked.part);
        let (asset, trouble) = match resolve(state, &name) {
            Ok(Named::Asset(id)) => (state.assets.get(&id).cloned(), String::new()),
            Ok(Named::Set(set)) => {
                (None, format!("{set} is a set. Scan the part itself, or choose it from the case's list."))
            }
            Err(_) if name.trim().is_empty() => (None, String::new()),
            Err(problem) => (None, refused::reason(&problem).found),
        };
        let family = asset.as_ref().and_then(|asset| state.model(&asset.model)).map(|model| model.family);
        let all = family.map(words).unwrap_or_default();
        let of = |wanted: Severity| {
            all.iter().copied().filter(|it| *it != DIM && severity(it) == wanted).collect()
        };
        let dim = asset.as_ref().filter(|_| all.contains(&DIM)).map(|asset| {
            format!("/report?case={}&part={}&dim=1", segment(&asked.case), segment(asset.asset.as_str()))
        });
        let called = asset.as_ref().map(|asset| part_name(state, &asset.asset));
        let asks = asked.dim.is_some() && dim.is_some();
        let heading = match (&called, asks) {
            (Some(called), true) => format!("The image of {called} is dim. What makes it so?"),
            (Some(called), false) => format!("What is wrong with {called}?"),
            (None, _) => "Which part is it?".into(),
        };
        let known = asset.as_ref().map(|asset| state.open_findings(&asset.asset)).unwrap_or_default();
        let onward = match case {
            Some(case) => format!("/cases/{}/room", segment(case.case.as_str())),
            None => "/reports".into(),
        };
        ReportPage {
            page: Page::of(visitor, "/reports", "/report", None),
            heading,
            trouble,
            part: asset.as_ref().map_or_else(String::new, |asset| asset.asset.to_string()),
            case: case.map(|case| case.case.to_string()).unwrap_or_default(),
            onward,
            stops: of(Severity::Stop),
            watches: of(Severity::Watch),
            dim: dim.unwrap_or_default(),
            culprits: asset
                .as_deref()
                .filter(|_| asks)
                .map(|it| culprits(state, case, it))
                .unwrap_or_default(),
            severities: Severity::ALL.iter().map(|it| (it.name(), capital(it.words()))).collect(),
            known: known.iter().map(|it| format!("{}: {}", it.finding, it.what)).collect(),
        }
    }
}

/// The page on which a part is reported.
pub fn address(case: Option<&Id>, part: &str) -> String {
    let case = case.map(|case| format!("case={}&", segment(case.as_str()))).unwrap_or_default();
    format!("/report?{case}part={}", segment(part))
}

pub async fn get(visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    render(&ReportPage::of(&visitor, &asked))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    fn show(name: &str, part: &str, dim: bool) -> String {
        let asked = Asked { part: part.into(), case: "K-1".into(), dim: dim.then(|| "1".into()) };
        sample::show(name, &ReportPage::of(&sample::in_the_room(), &asked))
    }

    #[test]
    fn a_word_of_the_family_is_one_tap() {
        let text = show("report", "CAP-01", false);
        assert!(text.contains("value=\"torn\"") && text.contains("value=\"hole too wide\""), "{text}");
        assert!(!text.contains("image dim"), "a cap has no image: {text}");
    }

    #[test]
    fn a_dim_image_asks_cable_source_and_camera_before_the_telescope() {
        let text = show("report-words", "T-0138", false);
        assert!(text.contains("dim=1") && !text.contains("value=\"image dim\""), "{text}");
        let text = show("report-dim", "T-0138", true);
        let at = |word: &str| text.find(word).unwrap_or_else(|| panic!("{word}: {text}"));
        let [cable, source] = [at("The light cable"), at("The light source")];
        assert!(cable < source && source < at("The camera") && at("The camera") < at("The telescope"));
        // Nobody knows the room's own source as a part: the line of the check fails instead.
        assert!(text.contains("value=\"record_check\"") && text.contains("value=\"report_finding\""));
    }
}
