//! Labels: chosen, looked at, and printed on sheets or by a label printer.

use askama::Template;
use axum::extract::{Query, State as Reach};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::command_mark;
use super::labels_made::{Asked, Kind, made, page_words};
use super::shared::{Page, count};
use crate::domain::labelling::Reading;
use crate::formats::label::{Label, PdfError, Sheet, Size, laid_out, sheet, svg, zpl};
use crate::web::App;
use crate::web::visitor::{Visitor, render};

/// So many labels are drawn in the page; all of them are printed.
const DRAWN: usize = 24;

#[derive(Template)]
#[template(path = "labels.html")]
pub struct LabelsPage {
    pub page: Page,
    pub heading: String,
    pub kinds: Vec<(&'static str, &'static str, bool)>,
    pub readings: Vec<(&'static str, &'static str, bool)>,
    pub sizes: Vec<(String, bool)>,
    pub papers: Vec<(&'static str, &'static str, bool)>,
    pub dpis: Vec<(u32, bool)>,
    pub scan: String,
    pub skip: usize,
    /// Each label as a picture.
    pub drawn: Vec<String>,
    pub more: usize,
    pub trouble: String,
    pub any: bool,
    pub commands: usize,
}

/// The labels as pictures; or why one of them cannot be drawn in this size.
fn drawn(labels: &[Label], size: Size) -> Result<Vec<String>, String> {
    labels.iter().take(DRAWN).map(|label| Ok(svg(label, &placed(label, size)?, size))).collect()
}

fn placed(label: &Label, size: Size) -> Result<Vec<crate::formats::label::Placed>, String> {
    laid_out(label, size).map_err(|small| too_small(&label.caption, small.needed))
}

fn too_small(caption: &str, needed: Size) -> String {
    format!(
        "The label of {caption} is too small to be read: at least {:.0} x {:.0} mm are needed for its symbol and \
         for what has to stand beside it whole. Choose a larger size, or another symbol.",
        needed.width_mm.ceil(),
        needed.height_mm.ceil()
    )
}

impl LabelsPage {
    pub fn of(visitor: &Visitor, asked: &Asked, labels: Result<Vec<Label>, String>) -> LabelsPage {
        let (labels, mut trouble) = match labels {
            Ok(labels) => (labels, String::new()),
            Err(why) => (Vec::new(), why),
        };
        let size = asked.size(&visitor.state);
        let pictures = drawn(&labels, size).unwrap_or_else(|why| {
            trouble = why;
            Vec::new()
        });
        let heading = match (trouble.is_empty(), labels.len()) {
            (false, _) => trouble.clone(),
            (true, 0) => "What shall the labels be of?".into(),
            (true, n) => format!(
                "{} of {}: read one with your scanner before you print the rest.",
                count(n, "label", "labels"),
                asked.size_text(&visitor.state)
            ),
        };
        let sizes = visitor.state.policy.marking.label_sizes.iter().map(|it| it.to_string());
        let chosen = asked.size_text(&visitor.state);
        LabelsPage {
            page: Page::of(visitor, "/labels", "/labels", None),
            heading,
            kinds: Kind::ALL.iter().map(|it| (it.name(), it.words(), *it == asked.kind())).collect(),
            readings: Reading::ALL.iter().map(|it| (it.name(), it.words(), *it == asked.reading())).collect(),
            sizes: sizes.map(|it| (it.clone(), it == chosen)).collect(),
            papers: page_words()
                .iter()
                .map(|(name, words)| (*name, *words, *name == asked.paper()))
                .collect(),
            dpis: [203, 300, 600].map(|dpi| (dpi, dpi == asked.dpi())).to_vec(),
            scan: asked.scan.clone(),
            skip: asked.skip(),
            more: labels.len().saturating_sub(DRAWN),
            any: !pictures.is_empty(),
            drawn: pictures,
            trouble,
            commands: command_mark::all().len(),
        }
    }
}

pub async fn get(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let labels = made(&app, &visitor.state, visitor.now, &asked).await;
    let page = LabelsPage::of(&visitor, &asked, labels);
    let status = if page.trouble.is_empty() { StatusCode::OK } else { StatusCode::CONFLICT };
    (status, render(&page)).into_response()
}

/// A sheet of paper for any printer.
pub async fn pdf(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let labels = made(&app, &visitor.state, visitor.now, &asked).await;
    let bytes = labels.and_then(|labels| as_pdf(&labels, &asked, asked.size(&visitor.state)));
    match bytes {
        Ok(bytes) => file(bytes, "application/pdf", "labels.pdf"),
        Err(why) => refused(&visitor, &asked, why),
    }
}

/// The labels in the language of label printers.
pub async fn printer(Reach(app): Reach<App>, visitor: Visitor, Query(asked): Query<Asked>) -> Response {
    let labels = made(&app, &visitor.state, visitor.now, &asked).await;
    let text = labels.and_then(|labels| as_zpl(&labels, &asked, asked.size(&visitor.state)));
    match text {
        Ok(text) => file(text.into_bytes(), "text/plain; charset=utf-8", "labels.zpl"),
        Err(why) => refused(&visitor, &asked, why),
    }
}

fn refused(visitor: &Visitor, asked: &Asked, why: String) -> Response {
    (StatusCode::CONFLICT, render(&LabelsPage::of(visitor, asked, Err(why)))).into_response()
}

/// # Errors
/// A sentence, where a label does not fit its size or the size its page.
pub fn as_pdf(labels: &[Label], asked: &Asked, size: Size) -> Result<Vec<u8>, String> {
    let paper = asked.paper_size();
    let places = Sheet::of(paper, size).ok_or("A label of that size does not fit on the page.")?;
    labels.iter().try_for_each(|label| placed(label, size).map(drop))?;
    sheet(labels, &places, asked.skip()).map_err(|error| match error {
        PdfError::TooSmall(small) => too_small("one of them", small.needed),
        PdfError::Unwritten => "The sheet could not be written.".into(),
    })
}

/// # Errors
/// A sentence, where a label does not fit its size.
pub fn as_zpl(labels: &[Label], asked: &Asked, size: Size) -> Result<String, String> {
    labels.iter().map(|label| Ok(zpl(label, &placed(label, size)?, size, asked.dpi()))).collect()
}

/// # Errors
/// A sentence, where a label does not fit its size.
pub fn as_svg(label: &Label, size: Size) -> Result<String, String> {
    Ok(svg(label, &placed(label, size)?, size))
}

pub fn file(bytes: Vec<u8>, kind: &'static str, name: &str) -> Response {
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    if let Ok(name) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}
