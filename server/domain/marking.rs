//! Marks that the site gives out itself: the next number never repeats, and nothing but digits and capital letters stands
//! in them, so that neither caps lock nor another keyboard makes another part of one.

use std::fmt;

use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::ToSchema;

use super::apply::{When, change};
use super::asset::taken;
use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::refusal::{Code, Problem};
use super::scan::retired;
use super::site::{Policy, SetPolicy};
use super::state::State;
use super::text::{Line, Quantity};

/// A part without a mark gets one: the one that is told, or the site's next.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GiveMark {
    pub asset: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mark: Option<Line>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MarkGiven {
    pub asset: Id,
    pub mark: Line,
}

/// A size of label in millimetres, written `38 x 19`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LabelSize {
    pub width_mm: Quantity,
    pub height_mm: Quantity,
}

impl LabelSize {
    pub fn parse(text: &str) -> Option<LabelSize> {
        let (width, height) = text.split_once(['x', 'X', '×'])?;
        let side = |text: &str| {
            let side = Quantity::parse(text.trim().trim_end_matches("mm").trim_end())?;
            (side.0 >= Decimal::from(5) && side.0 <= Decimal::from(300)).then_some(side)
        };
        Some(LabelSize { width_mm: side(width)?, height_mm: side(height)? })
    }
}

impl fmt::Display for LabelSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} x {}", self.width_mm, self.height_mm)
    }
}

impl Serialize for LabelSize {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for LabelSize {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        LabelSize::parse(&text).ok_or_else(|| {
            serde::de::Error::custom(
                "found no size of a label; width x height of 5 to 300 mm is needed, as 38 x 19",
            )
        })
    }
}

/// What the site has settled of its own marks and labels.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Marking {
    /// The GS1 company prefix that the site may give asset numbers out under; none where it has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub company_prefix: Option<String>,
    /// What the site's own short codes begin with, where there is no company prefix.
    pub code_prefix: String,
    pub label_sizes: Vec<LabelSize>,
}

impl Default for Marking {
    fn default() -> Self {
        let size = |width: i64, height: i64| LabelSize {
            width_mm: Quantity(Decimal::from(width)),
            height_mm: Quantity(Decimal::from(height)),
        };
        Marking {
            company_prefix: None,
            code_prefix: "M".into(),
            label_sizes: vec![size(25, 13), size(38, 19), size(50, 25), size(70, 36), size(100, 50)],
        }
    }
}

/// More sizes than a house has rolls and sheets are a mistake.
const MOST_SIZES: usize = 20;

/// A policy of marks and labels that cannot be.
pub(super) fn whole(it: &SetPolicy) -> Result<(), Malformed> {
    if let Some(prefix) = it.company_prefix.as_deref().filter(|prefix| !prefix.is_empty())
        && !((4..=12).contains(&prefix.len()) && prefix.bytes().all(|digit| digit.is_ascii_digit()))
    {
        let detail = "found no company prefix; 4 to 12 digits are needed, as GS1 gave them to the site";
        return Err(wrong("/company_prefix", detail));
    }
    let plain = |letter: u8| letter.is_ascii_digit() || letter.is_ascii_uppercase();
    if let Some(prefix) = &it.code_prefix
        && !((1..=8).contains(&prefix.len())
            && prefix.bytes().all(plain)
            && prefix.starts_with(|first: char| first.is_ascii_uppercase()))
    {
        let detail =
            "found another beginning; a capital letter, then up to 7 digits and capital letters, is needed";
        return Err(wrong("/code_prefix", detail));
    }
    match it.label_sizes.as_ref().map(Vec::len) {
        Some(n) if n > MOST_SIZES => {
            Err(wrong("/label_sizes", format!("found {n} sizes; at most {MOST_SIZES} are needed")))
        }
        Some(0) => Err(wrong("/label_sizes", "found no size; at least one is needed")),
        _ => Ok(()),
    }
}

impl Marking {
    pub(super) fn set(&mut self, change: &SetPolicy) {
        if let Some(prefix) = &change.company_prefix {
            self.company_prefix = Some(prefix.clone()).filter(|prefix| !prefix.is_empty());
        }
        if let Some(prefix) = &change.code_prefix {
            self.code_prefix.clone_from(prefix);
        }
        if let Some(sizes) = &change.label_sizes {
            let mut all: Vec<LabelSize> = Vec::new();
            sizes.iter().for_each(|size| all.extend((!all.contains(size)).then_some(*size)));
            self.label_sizes = all;
        }
    }
}

/// Digits of a running number; a million parts are more than a house has.
const DIGITS: usize = 6;
const LAST: u32 = 999_999;
/// Between the company prefix and the number, so that the site's own numbers are told from its maker's.
const OWN: &str = "F";

/// The next mark of the site: as a GS1 element string of one asset number (8004), or as its own short code.
pub fn next_mark(state: &State, policy: &Policy) -> Option<Line> {
    let (stem, front, filed) = match &policy.marking.company_prefix {
        Some(prefix) => (format!("{prefix}{OWN}"), "8004", "giai:"),
        None => (policy.marking.code_prefix.clone(), "", ""),
    };
    let from = format!("{filed}{stem}");
    let number = |own: &String| {
        let digits = own.strip_prefix(&from)?;
        (digits.len() == DIGITS).then(|| digits.parse::<u32>().ok()).flatten()
    };
    let top = match filed {
        "" => {
            let all = state.names.range(from.clone()..).map(|(own, _)| own);
            all.take_while(|own| own.starts_with(&from)).filter_map(number).max()
        }
        _ => {
            let all = state.pieces.range(from.clone()..).map(|(own, _)| own);
            all.take_while(|own| own.starts_with(&from)).filter_map(number).max()
        }
    };
    let mark = |n: u32| Line(format!("{front}{stem}{n:0DIGITS$}"));
    let free = |mark: &Line| taken(state, mark.as_str()).is_none();
    let next = top.unwrap_or(0).saturating_add(1);
    (next..=LAST).map(mark).find(free).or_else(|| (1..next).map(mark).find(free))
}

pub(super) fn give(deciding: &mut Deciding, it: &GiveMark) -> Option<What> {
    let asset = deciding.one(it.asset.as_str())?;
    if asset.retired.is_some() {
        deciding.against(retired(&asset).even_late());
    }
    // A product's mark is none of this piece: the one that it is given stands in its place.
    if let Some(mark) = asset.mark.as_ref().filter(|mark| super::mark::names_one(mark.as_str())) {
        deciding.against(Problem::new(
            Code::AlreadyDone,
            format!("{} has the mark {} already.", asset.called(), mark.0),
            "A part without a mark is needed.",
            "Print its label again; nothing else needs to be done.",
        ));
        return None;
    }
    let state = deciding.state;
    let mark = match &it.mark {
        Some(mark) => {
            if let Some(problem) = taken(state, mark.as_str()) {
                deciding.against(problem);
            }
            mark.clone()
        }
        None => match next_mark(state, &state.policy) {
            Some(mark) => mark,
            None => {
                deciding.against(Problem::new(
                    Code::NameTaken,
                    "Every number of this beginning is given out.",
                    "Another beginning of the site's marks is needed.",
                    "Let an administrator set another under the site's policies.",
                ));
                return None;
            }
        },
    };
    Some(What::MarkGiven(MarkGiven { asset: asset.asset.clone(), mark }))
}

pub(super) fn given(state: &mut State, when: &When, it: &MarkGiven) {
    if let Some(asset) = state.assets.get(&it.asset).cloned() {
        state.unname_product(&asset);
    }
    change(state, when, &it.asset, |asset| asset.mark = Some(it.mark.clone()));
    if let Some(asset) = state.assets.get(&it.asset).cloned() {
        state.name_asset(&asset);
    }
}
