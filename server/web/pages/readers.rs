//! Readings instead of a record: who read them from the printout, who confirmed them, and the printout's picture.

use super::shared::segment;
use crate::app::house::Unavailable;
use crate::domain::load::Load;
use crate::domain::verdict::{Evidence, Judged};
use crate::formats::attachment::Kind;
use crate::web::App;
use crate::web::visitor::Visitor;

/// A picture of the printout, as the page shows or offers it.
pub struct Picture {
    pub href: String,
    pub sha256: String,
    /// A picture is shown; a PDF is downloaded.
    pub shown: bool,
}

pub struct Readers {
    pub first: String,
    pub second: String,
    pub picture: Option<Picture>,
}

/// Both readers and the picture, where the verdict stands on readings.
pub async fn of(
    app: &App,
    visitor: &Visitor,
    load: &Load,
    judged: Option<&Judged>,
) -> Result<Option<Readers>, Unavailable> {
    let Some(Evidence::Readings { second_reader, photo }) = judged.map(|judged| &judged.by) else {
        return Ok(None);
    };
    let site = &visitor.state.site;
    let second = app.house.person_named(site, second_reader).await?;
    let picture = match photo {
        Some(sha256) => app.house.attachment_kind(site, sha256).await?.map(|kind| Picture {
            href: format!("/attachments/{}", segment(sha256)),
            sha256: sha256.chars().take(12).collect(),
            shown: kind != Kind::Pdf,
        }),
        None => None,
    };
    Ok(Some(Readers {
        first: load.judged.as_ref().map(|it| it.by.to_string()).unwrap_or_default(),
        second: second.unwrap_or_else(|| "a person whose name was erased".into()),
        picture,
    }))
}
