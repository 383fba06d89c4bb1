//! What a file is, by its first bytes. Only pictures that cannot carry a script, and PDF, are known.

/// A kind of file that is kept.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    Jpeg,
    Png,
    WebP,
    Pdf,
}

impl Kind {
    pub const ALL: [Kind; 4] = [Kind::Jpeg, Kind::Png, Kind::WebP, Kind::Pdf];

    /// Signatures: JPEG's start of image with a marker (ITU-T T.81, B.1.1.3), PNG's eight bytes (ISO/IEC 15948, 5.2),
    /// WebP's RIFF header (RFC 9649, 2.4), PDF's header line (ISO 32000-1, 7.5.2).
    pub fn of(bytes: &[u8]) -> Option<Kind> {
        if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
            Some(Kind::Jpeg)
        } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Some(Kind::Png)
        } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(&b"WEBP"[..]) {
            Some(Kind::WebP)
        } else if bytes.starts_with(b"%PDF-") {
            Some(Kind::Pdf)
        } else {
            None
        }
    }

    pub fn media_type(self) -> &'static str {
        match self {
            Kind::Jpeg => "image/jpeg",
            Kind::Png => "image/png",
            Kind::WebP => "image/webp",
            Kind::Pdf => "application/pdf",
        }
    }

    /// Whether it is a picture, and no document.
    pub fn is_picture(self) -> bool {
        match self {
            Kind::Jpeg | Kind::Png | Kind::WebP => true,
            Kind::Pdf => false,
        }
    }

    pub fn of_media_type(text: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.media_type() == text)
    }

    /// The end of a file's name.
    pub fn ending(self) -> &'static str {
        match self {
            Kind::Jpeg => "jpg",
            Kind::Png => "png",
            Kind::WebP => "webp",
            Kind::Pdf => "pdf",
        }
    }
}
