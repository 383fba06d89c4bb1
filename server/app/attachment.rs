//! Keeps pictures and scans, and gives them back.

use sha2::{Digest, Sha256};

use super::house::{House, Unavailable, unavailable};
use crate::domain::id::Id;
use crate::domain::person::Actor;
use crate::formats::attachment::Kind;
use crate::storage::attachment::{self, StoredAttachment};
use crate::storage::ledger;

/// An attachment has at most this many bytes: 8 MiB.
pub const ATTACHMENT_MOST: usize = 8 * 1024 * 1024;

/// What became of an upload.
pub enum Kept {
    Kept {
        sha256: String,
        bytes: usize,
        kind: Kind,
        /// It was not there before.
        new: bool,
    },
    /// It is none of the kinds of file that are kept.
    NoKnownKind,
    TooLarge,
}

/// An attachment as it is given back.
pub struct Attachment {
    pub kind: Kind,
    pub raw: Vec<u8>,
}

impl House {
    pub async fn keep_attachment(&self, site: &Id, actor: &Actor, raw: Vec<u8>) -> Result<Kept, Unavailable> {
        if raw.len() > ATTACHMENT_MOST {
            return Ok(Kept::TooLarge);
        }
        let Some(kind) = Kind::of(&raw) else { return Ok(Kept::NoKnownKind) };
        let sha256 = hex::encode(Sha256::digest(&raw));
        let bytes = raw.len();
        let it = StoredAttachment { media_type: kind.media_type().into(), raw };
        let when_and_who = (self.clock.now().0, actor.code.as_str());
        let new = attachment::add(&self.db, site.as_str(), &sha256, it, when_and_who).await;
        let new = new.map_err(|error| unavailable(&error))?;
        Ok(Kept::Kept { sha256, bytes, kind, new })
    }

    /// What kind of file an attachment is, where it is kept.
    pub async fn attachment_kind(&self, site: &Id, sha256: &str) -> Result<Option<Kind>, Unavailable> {
        let found = attachment::media_type(&self.db, site.as_str(), sha256).await;
        let found = found.map_err(|error| unavailable(&error))?;
        Ok(found.and_then(|media_type| Kind::of_media_type(&media_type)))
    }

    /// A person as the ledger names them: by their code, or by the words behind a seal, where these were not erased.
    pub async fn person_named(&self, site: &Id, named: &str) -> Result<Option<String>, Unavailable> {
        if !named.starts_with("sealed:") {
            return Ok(Some(named.to_string()));
        }
        ledger::sealed(&self.db, site.as_str(), named).await.map_err(|error| unavailable(&error))
    }

    pub async fn attachment(&self, site: &Id, sha256: &str) -> Result<Option<Attachment>, Unavailable> {
        let found = attachment::get(&self.db, site.as_str(), sha256).await;
        let found = found.map_err(|error| unavailable(&error))?;
        // The bytes themselves say once more what they are: a kind that is not known is not given out.
        Ok(found.and_then(|it| {
            let kind = Kind::of_media_type(&it.media_type).filter(|kind| Kind::of(&it.raw) == Some(*kind))?;
            Some(Attachment { kind, raw: it.raw })
        }))
    }
}
