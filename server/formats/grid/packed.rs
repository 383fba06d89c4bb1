//! What a workbook unpacks to is measured before anything of it is read: a small file may unpack to very much, and may
//! promise more than it holds.

use std::io::{Cursor, Read};

use super::{COLUMNS_MOST, ROWS_MOST};
use crate::formats::table::Fault;

/// What a workbook may unpack to.
const UNPACKED_MOST: u64 = 256 << 20;
/// What any part of it may unpack to that is neither a sheet nor the texts of the sheets.
const PART_MOST: u64 = 32 << 20;
/// What its looks may unpack to: of each a hundred times as much is kept.
const LOOKS_MOST: u64 = 8 << 20;
const PARTS_MOST: usize = 1_000;
/// As many texts as the cells of a list could hold.
const TEXTS_MOST: u64 = (ROWS_MOST * COLUMNS_MOST) as u64;
/// The attribute in which the texts say how many they are: readers make room for so many at once.
const PROMISE: &[u8] = b"uniqueCount";

fn broken() -> Fault {
    Fault::new(1, "", "a broken workbook", "a workbook saved as .xlsx is needed")
}

fn too_large(most: u64) -> Fault {
    let what = if most == UNPACKED_MOST { "a workbook that" } else { "a workbook of which a part" };
    let found = format!("{what} unpacks to more than {} MiB", most >> 20);
    Fault::new(1, "", found, "a smaller one is needed, or text (CSV)")
}

/// Unpacks everything once into nothing, and counts.
///
/// # Errors
/// Where it is no archive, or too much would come of it.
pub fn bounded(bytes: &[u8]) -> Result<(), Fault> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    if archive.len() > PARTS_MOST {
        let found = format!("a workbook of {} parts", archive.len());
        return Err(Fault::new(1, "", found, format!("at most {PARTS_MOST} are needed")));
    }
    let mut left = UNPACKED_MOST;
    for at in 0..archive.len() {
        let part = archive.by_index(at).map_err(|_| broken())?;
        let name = String::from_utf8_lossy(part.name_raw()).to_lowercase();
        let texts = name.ends_with("sharedstrings.xml");
        let most = match () {
            () if name.ends_with("styles.xml") => LOOKS_MOST,
            () if texts || name.contains("worksheets/") => UNPACKED_MOST,
            () => PART_MOST,
        };
        let mut promise = Promise::default();
        let unpacked = counted(part, most.min(left), |piece| {
            if texts {
                promise.look(piece)
            }
        })?;
        let Some(unpacked) = unpacked else {
            return Err(too_large(if most < left { most } else { UNPACKED_MOST }));
        };
        if promise.most > TEXTS_MOST {
            let found = format!("a workbook that promises {} texts", promise.most);
            return Err(Fault::new(1, "", found, format!("at most {TEXTS_MOST} are needed")));
        }
        left -= unpacked;
    }
    Ok(())
}

/// How much a part unpacks to, each piece looked at; none where it is more than it may be.
fn counted(mut part: impl Read, most: u64, mut look: impl FnMut(&[u8])) -> Result<Option<u64>, Fault> {
    let mut piece = vec![0; 64 << 10];
    let mut unpacked = 0;
    loop {
        let long = part.read(&mut piece).map_err(|_| broken())?;
        if long == 0 {
            return Ok(Some(unpacked));
        }
        unpacked += long as u64;
        if unpacked > most {
            return Ok(None);
        }
        look(piece.get(..long).unwrap_or_default());
    }
}

/// The largest number that stands in that attribute, wherever in the part, in one byte a letter or in two.
#[derive(Default)]
struct Promise {
    most: u64,
    /// How much of the attribute's name was seen, and the digits behind it.
    seen: usize,
    number: u64,
}

impl Promise {
    fn look(&mut self, piece: &[u8]) {
        for byte in piece.iter().filter(|byte| **byte != 0) {
            let next = PROMISE.get(self.seen).copied();
            self.seen = match (next, byte) {
                (Some(next), byte) if next == *byte => self.seen + 1,
                (Some(_), byte) => usize::from(PROMISE.first() == Some(byte)),
                (None, digit @ b'0'..=b'9') => {
                    self.number = self.number.saturating_mul(10).saturating_add(u64::from(digit - b'0'));
                    self.most = self.most.max(self.number);
                    self.seen
                }
                (None, b'=' | b'"' | b'\'' | b'+' | b' ' | b'\t' | b'\r' | b'\n') if self.number == 0 => {
                    self.seen
                }
                (None, _) => {
                    self.number = 0;
                    usize::from(PROMISE.first() == Some(byte))
                }
            };
        }
    }
}
