//! Safety notices: a maker names a model with lots, serials or a range of serials, and one hold takes every piece of it
//! out of use. A piece whose lot or serial is not known may be one of them: it stands apart, and a recall holds it too
//! unless somebody leaves it out on purpose.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::hold::{HoldKind, HoldState, Place};
use super::id::Id;
pub use super::notice_cases::{CaseTouched, Touch};
use super::state::{Asset, Stage, State};
use super::text::Line;
use super::time::Time;

/// What becomes of pieces whose lot or serial nobody recorded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Unknown {
    Hold,
    Leave,
}

/// What a hold on a model named, as its entry keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Notice {
    pub model: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lots: Option<Vec<Line>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serials: Option<Vec<Line>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial_from: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial_to: Option<Line>,
    /// Pieces whose lot or serial is not known or not to be compared; with `hold` they are among those held.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_known: Vec<Id>,
    pub unknown: Unknown,
}

/// A serial or lot without what people write one way or another: capitals, spaces, hyphens.
fn plain(serial: &str) -> String {
    serial.chars().filter(|c| !c.is_whitespace() && *c != '-').flat_map(char::to_uppercase).collect()
}

/// The digits of a serial or lot, without the zeros before them.
fn digits(serial: &str) -> String {
    let all: String = serial.chars().filter(char::is_ascii_digit).collect();
    all.trim_start_matches('0').to_string()
}

/// A serial as letters and a number: `AB-0123` is AB and 123. None where it does not end in a number.
fn parted(serial: &str) -> Option<(String, u128)> {
    let plain = plain(serial);
    let letters = plain.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = plain[letters.len()..].parse().ok()?;
    Some((letters.to_string(), number))
}

/// Whether a range of serials can be compared at all: both ends with the same letters before their numbers, in order.
pub(super) fn range_whole(from: &Line, to: &Line) -> Result<(), Malformed> {
    let (Some(low), Some(high)) = (parted(from.as_str()), parted(to.as_str())) else {
        return Err(wrong(
            "/serial_from",
            "found a serial that does not end in a number; both ends of a range do",
        ));
    };
    if low.0 != high.0 {
        let detail =
            "found other letters before the number than in serial_from; both ends of a range begin alike";
        return Err(wrong("/serial_to", detail));
    }
    match low.1 <= high.1 {
        true => Ok(()),
        false => Err(wrong("/serial_to", "found the end of the range before its beginning")),
    }
}

/// What a notice says of one piece.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Is {
    Named,
    NotKnown,
    Another,
}

/// One serial or lot against one of a list. What differs in its letters alone may be the same, written otherwise.
fn same(listed: &str, found: &str) -> Is {
    let (known, asked) = (plain(found), plain(listed));
    let numbered = || parted(found).is_some_and(|it| parted(listed) == Some(it));
    match known == asked || numbered() {
        true => Is::Named,
        false if known.is_empty() => Is::NotKnown,
        false if known.contains(|c: char| c.is_ascii_digit()) && digits(&known) == digits(&asked) => {
            Is::NotKnown
        }
        false => Is::Another,
    }
}

fn listed(list: &Option<Vec<Line>>, found: &Option<Line>) -> Is {
    let (list, found) = match (list, found) {
        (None, _) => return Is::Named,
        (Some(_), None) => return Is::NotKnown,
        (Some(list), Some(found)) => (list, found),
    };
    let all: Vec<Is> = list.iter().map(|listed| same(listed.as_str(), found.as_str())).collect();
    let first = [Is::Named, Is::NotKnown].into_iter().find(|is| all.contains(is));
    first.unwrap_or(Is::Another)
}

fn in_range(ends: Option<(&Line, &Line)>, serial: &Option<Line>) -> Is {
    let Some((low, high)) = ends.and_then(|(from, to)| parted(from.as_str()).zip(parted(to.as_str()))) else {
        return Is::Named;
    };
    match serial.as_ref().and_then(|serial| parted(serial.as_str())) {
        None => Is::NotKnown,
        Some((_, number)) if !(low.1..=high.1).contains(&number) => Is::Another,
        Some((letters, _)) if letters == low.0 => Is::Named,
        // Its number is of the range: letters are left out, or are another maker's way to write them.
        Some(_) => Is::NotKnown,
    }
}

/// The pieces in the house that a hold on a model names, and those of which nobody knows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NamedPieces {
    pub named: Vec<Id>,
    pub not_known: Vec<Id>,
}

impl Place {
    /// What becomes of pieces that are not known: a recall holds them unless it says otherwise.
    pub fn unknown_are(&self) -> Unknown {
        let usual = if self.kind == HoldKind::Recall { Unknown::Hold } else { Unknown::Leave };
        self.unknown.unwrap_or(usual)
    }

    fn says_of(&self, asset: &Asset) -> Is {
        let ends = self.serial_from.as_ref().zip(self.serial_to.as_ref());
        says(&self.lots, &self.serials, ends, (&asset.lot, &asset.serial))
    }
}

impl Notice {
    /// Whether it holds a piece of its model with this lot and this serial.
    fn holds(&self, lot: &Option<Line>, serial: &Option<Line>) -> bool {
        let ends = self.serial_from.as_ref().zip(self.serial_to.as_ref());
        match says(&self.lots, &self.serials, ends, (lot, serial)) {
            Is::Named => true,
            Is::NotKnown => self.unknown == Unknown::Hold,
            Is::Another => false,
        }
    }
}

fn says(
    lots: &Option<Vec<Line>>,
    serials: &Option<Vec<Line>>,
    ends: Option<(&Line, &Line)>,
    (lot, serial): (&Option<Line>, &Option<Line>),
) -> Is {
    let all = [listed(lots, lot), listed(serials, serial), in_range(ends, serial)];
    let any = |is: Is| all.contains(&is);
    match (any(Is::Another), any(Is::NotKnown)) {
        (true, _) => Is::Another,
        (false, true) => Is::NotKnown,
        (false, false) => Is::Named,
    }
}

impl State {
    /// The pieces that a hold on a model would take, without placing it.
    pub fn named_by(&self, it: &Place) -> NamedPieces {
        let mut all = NamedPieces::default();
        let of_model = self.assets.values().filter(|asset| Some(&asset.model) == it.model.as_ref());
        for asset in of_model.filter(|asset| asset.retired.is_none()) {
            match it.says_of(asset) {
                Is::Named => all.named.push(asset.asset.clone()),
                Is::NotKnown => all.not_known.push(asset.asset.clone()),
                Is::Another => {}
            }
        }
        all
    }

    /// The holds that stand whose notices a piece falls under that comes into the house now.
    pub fn notices_of(&self, model: &Id, lot: &Option<Line>, serial: &Option<Line>) -> Vec<Id> {
        let names = |hold: &&std::sync::Arc<HoldState>| {
            let notice = hold.notice.as_ref().filter(|notice| notice.model == *model);
            hold.lifted_at.is_none() && notice.is_some_and(|notice| notice.holds(lot, serial))
        };
        self.holds.values().filter(names).map(|hold| hold.hold.clone()).collect()
    }

    /// Where a piece is now, in the words of the house.
    pub fn place_of(&self, asset: &Asset) -> String {
        if asset.missing {
            return "missing".into();
        }
        if asset.in_repair {
            return "in repair".into();
        }
        if let Some(load) = &asset.in_load {
            return format!("in load {load}");
        }
        let out = |part: &super::exposure::CasePart| part.out;
        if asset.stage.is_out()
            && let Some(case) = self.open_cases().find(|case| case.parts.get(&asset.asset).is_some_and(out))
        {
            return format!("at case {}", case.case);
        }
        match (&asset.location, asset.stage) {
            (Some(location), _) => location.0.clone(),
            (None, Stage::Issued | Stage::InUse) => "out at a case".into(),
            (None, _) => "no place told".into(),
        }
    }
}

/// One piece that a notice is about, as it is now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Concerned {
    pub asset: Id,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub serial: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lot: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set: Option<Id>,
    pub place: String,
    pub stage: Stage,
    /// The hold is on it still.
    pub held: bool,
}

/// What a hold means for the house now.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NoticeReport {
    /// Every piece that it named, by where it is.
    pub places: BTreeMap<String, Vec<Concerned>>,
    /// Pieces whose lot or serial is not known, apart from the others.
    pub not_known: Vec<Concerned>,
    /// The cases of the site's day, closed ones too, and those of before that are still open.
    pub cases: Vec<CaseTouched>,
}

impl State {
    /// Pieces by place and the day's cases: of a hold that stands, or of what one would name.
    pub fn notice(&self, hold: Option<&Id>, pieces: &NamedPieces, now: Time) -> NoticeReport {
        let concerned = |id: &Id| {
            let asset = self.assets.get(id)?;
            Some(Concerned {
                asset: id.clone(),
                serial: asset.serial.clone(),
                lot: asset.lot.clone(),
                set: asset.seat.as_ref().map(|seat| seat.set.clone()),
                place: self.place_of(asset),
                stage: asset.stage,
                held: asset.holds.iter().any(|held| Some(&held.hold) == hold),
            })
        };
        let mut places: BTreeMap<String, Vec<Concerned>> = BTreeMap::new();
        for it in pieces.named.iter().filter_map(concerned) {
            places.entry(it.place.clone()).or_default().push(it);
        }
        let not_known = pieces.not_known.iter().filter_map(concerned).collect();
        let all: Vec<&Id> = pieces.named.iter().chain(&pieces.not_known).collect();
        NoticeReport { places, not_known, cases: self.cases_touched(&all, now) }
    }

    /// The pieces of a hold that stands: those that it holds, and those of its notice that are not known.
    pub fn pieces_of_hold(&self, hold: &Id) -> Option<NamedPieces> {
        let known = self.holds.get(hold)?;
        let not_known = known.notice.as_ref().map(|it| it.not_known.clone()).unwrap_or_default();
        let on = |asset: &&std::sync::Arc<Asset>| asset.holds.iter().any(|it| it.hold == *hold);
        let held = self.assets.values().filter(on).map(|asset| asset.asset.clone());
        Some(NamedPieces { named: held.filter(|id| !not_known.contains(id)).collect(), not_known })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn serials_are_compared_as_numbers_behind_the_same_letters() {
        let range = |from: &str, to: &str| range_whole(&Line(from.into()), &Line(to.into()));
        assert_eq!(parted("ab-0099"), Some(("AB".into(), 99)));
        assert_eq!(parted("0123A"), None);
        assert!(range("A99", "A100").is_ok() && range("99", "0100").is_ok());
        let is = |listed_as: &str, found: &str| {
            listed(&Some(vec![Line(listed_as.into())]), &Some(Line(found.into())))
        };
        for found in ["SN-0100", "sn0100", "SN 0100", "Sn-100"] {
            assert_eq!(is("SN0100", found), Is::Named, "{found}");
        }
        for found in ["0100", "SM-0100", "0100A", " - "] {
            assert_eq!(is("SN0100", found), Is::NotKnown, "{found}");
        }
        assert_eq!(
            (is("SN0100", "SN0101"), is("KA", "KB"), is("KA", "k-a")),
            (Is::Another, Is::Another, Is::Named)
        );
        assert!(range("A100", "A99").is_err() && range("A1", "B2").is_err() && range("A1", "A").is_err());
    }
}
