//! The sizes of parts as they are judged by: stated and measured are both kept, and the worse one counts.

use rust_decimal::Decimal;

use super::fit::{Size, Sizes, Whence};
use super::id::Id;
use super::model::{Dimensions, Family, Model};
use super::state::{Asset, State};
use super::text::Quantity;
use crate::analysis::packing::Length;

/// A part as it is judged: a piece of the house, or a model by itself.
#[derive(Clone, Copy, Debug)]
pub struct Piece<'a> {
    pub asset: Option<&'a Asset>,
    pub model: &'a Model,
}

/// A diameter between the smallest and the largest of what is known of it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Width {
    pub low: Length,
    pub high: Length,
}

/// A length, likewise.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Reach {
    pub low: Decimal,
    pub high: Decimal,
}

/// Which of two numbers is the worse one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Worse {
    Larger,
    Smaller,
}

/// A number of millimetres as sentences tell it: at most three places, none in vain.
pub fn mm(number: f64) -> String {
    let rounded = (number * 1_000.0).round() / 1_000.0;
    // No sentence says minus nothing.
    format!("{} mm", if rounded == 0.0 { 0.0 } else { rounded })
}

/// What is to spare, as sentences and pictures alike tell it: two places, but where that would say nothing.
pub fn spare_mm(number: f64) -> String {
    let rounded = (number * 100.0).round() / 100.0;
    mm(if rounded == 0.0 { number } else { rounded })
}

/// A family with the name of a piece; the name alone where it says the family already, as in "cap-0535".
pub fn named(family: Family, id: &Id) -> String {
    let (words, name) = (family.words(), id.as_str());
    let begins = name.get(..words.len()).is_some_and(|begin| begin.eq_ignore_ascii_case(&words));
    let goes_on = name.get(words.len()..).and_then(|rest| rest.chars().next());
    match begins && goes_on.is_none_or(|next| !next.is_alphabetic()) {
        true => name.to_string(),
        false => format!("{words} {name}"),
    }
}

/// French as millimetres, to three places: what people read beside it.
fn french_mm(french: Quantity) -> Quantity {
    Quantity((french.0 / Decimal::from(3)).round_dp(3).normalize())
}

impl Width {
    fn of(found: impl Iterator<Item = Length>) -> Option<Width> {
        found.fold(None, |all: Option<Width>, one| {
            let (low, high) = all.map_or((one, one), |all| (all.low.min(one), all.high.max(one)));
            Some(Width { low, high })
        })
    }
}

fn of_mm(quantity: Option<Quantity>) -> Option<Length> {
    quantity.and_then(|it| Length::of_mm(it.f64()))
}

fn of_french(quantity: Option<Quantity>) -> Option<Length> {
    quantity.and_then(|it| Length::of_french(it.f64()))
}

fn size(stated: Option<Quantity>, measured: Option<Quantity>, worse: Worse) -> Option<Size> {
    let by_measure = match (stated, measured) {
        (Some(stated), Some(measured)) => match worse {
            Worse::Larger => measured > stated,
            Worse::Smaller => measured < stated,
        },
        (None, Some(_)) => true,
        _ => false,
    };
    let used = if by_measure { measured } else { stated }?;
    let from = if by_measure { Whence::Measured } else { Whence::Stated };
    Some(Size { stated, measured, used_mm: used.f64(), from })
}

impl<'a> Piece<'a> {
    pub fn of(state: &'a State, asset: &'a Asset) -> Option<Piece<'a>> {
        Some(Piece { asset: Some(asset), model: state.model(&asset.model)? })
    }

    pub fn family(&self) -> Family {
        self.model.family
    }

    pub fn id(&self) -> Option<&'a Id> {
        self.asset.map(|asset| &asset.asset)
    }

    /// How sentences call it.
    pub fn called(&self) -> String {
        match self.asset {
            Some(asset) => named(self.family(), &asset.asset),
            None => self.model.name.0.clone(),
        }
    }

    fn both(&self) -> impl Iterator<Item = &'a Dimensions> {
        std::iter::once(&self.model.dimensions).chain(self.measured())
    }

    pub fn measured(&self) -> Option<&'a Dimensions> {
        self.asset.and_then(|asset| asset.measured.as_deref())
    }

    fn pair(&self, of: impl Fn(&Dimensions) -> Option<Quantity>) -> (Option<Quantity>, Option<Quantity>) {
        (of(&self.model.dimensions), self.measured().and_then(of))
    }

    fn reach(&self, of: impl Fn(&Dimensions) -> Option<Quantity>) -> Option<Reach> {
        let (stated, measured) = self.pair(of);
        let (one, other) = (stated.or(measured)?.0, measured.or(stated)?.0);
        Some(Reach { low: one.min(other), high: one.max(other) })
    }

    /// The lumen of a barrel. Its nominal label is none.
    pub fn inner(&self) -> Option<Width> {
        Width::of(self.both().filter_map(|it| of_mm(it.inner_diameter_mm)))
    }

    /// What lies in a lumen: the shaft, by every number that is given for it.
    pub fn shaft(&self) -> Option<Width> {
        Width::of(self.both().flat_map(|it| {
            [of_mm(it.shaft_diameter_mm), of_mm(it.outer_diameter_mm), of_french(it.french)]
                .into_iter()
                .flatten()
        }))
    }

    /// The widest part with the jaws closed; of what has no jaws, the shaft.
    pub fn widest(&self) -> Option<Width> {
        let named = Width::of(self.both().filter_map(|it| of_mm(it.max_width_mm)));
        let has_jaws = matches!(self.family(), Family::Forceps);
        match (named, self.shaft()) {
            (Some(named), Some(shaft)) => {
                Some(Width { low: named.low.max(shaft.low), high: named.high.max(shaft.high) })
            }
            (Some(named), None) => Some(named),
            (None, shaft) => shaft.filter(|_| !has_jaws),
        }
    }

    pub fn length(&self) -> Option<Reach> {
        self.reach(|it| it.length_mm)
    }

    pub fn stack(&self) -> Option<Reach> {
        self.reach(|it| it.stack_height_mm)
    }

    /// The holes of a cap, the widest first: of what is stated, and of what was measured in its place.
    pub fn holes(&self) -> Vec<Width> {
        let of = |it: &Dimensions| -> Vec<Length> {
            let mut all: Vec<Length> = it.holes().iter().filter_map(|hole| of_mm(Some(*hole))).collect();
            all.sort_by(|a, b| b.cmp(a));
            all
        };
        let stated = of(&self.model.dimensions);
        let measured = self.measured().map(of).unwrap_or_default();
        let count = stated.len().max(measured.len());
        let both = |n: usize| [stated.get(n), measured.get(n)].into_iter().flatten().copied();
        (0..count).filter_map(|n| Width::of(both(n))).collect()
    }

    /// Whether somebody entered or measured the holes of a cap; that it is blank is known so, too.
    pub fn holes_known(&self) -> bool {
        self.both().any(|it| it.hole_diameters_mm.is_some())
    }

    /// The sizes as the answer tells them.
    pub fn sizes(&self) -> Sizes {
        let told = |of: fn(&Dimensions) -> Option<Quantity>, worse| {
            let (stated, measured) = self.pair(of);
            size(stated, measured, worse)
        };
        // Of several numbers for a shaft the widest counts.
        let shaft = |it: &Dimensions| {
            let named = [it.shaft_diameter_mm, it.outer_diameter_mm, it.french.map(french_mm)];
            named.into_iter().flatten().max()
        };
        let barrel = self.family().is_barrel();
        let instrument = self.family().is_instrument();
        let mut sizes = Sizes {
            nominal: self.model.dimensions.nominal,
            inner: told(|it| it.inner_diameter_mm, Worse::Smaller),
            outer: told(|it| it.outer_diameter_mm, Worse::Larger),
            length: told(|it| it.length_mm, if barrel { Worse::Larger } else { Worse::Smaller }),
            shaft: told(shaft, Worse::Larger).filter(|_| instrument),
            widest: told(|it| it.max_width_mm, Worse::Larger),
            stack: told(|it| it.stack_height_mm, Worse::Larger),
            french: self.model.dimensions.french,
            view_deg: self.model.dimensions.view_deg,
            holes: Vec::new(),
            blank: self.holes_known() && self.holes().is_empty(),
        };
        // French is thirds of a millimetre, exactly; its decimal beside it is for reading.
        if let (Some(shaft), Some(width)) = (&mut sizes.shaft, self.shaft()) {
            shaft.used_mm = width.high.mm();
        }
        let measured = self.measured().map(Dimensions::holes).unwrap_or_default();
        let stated = self.model.dimensions.holes();
        let holes = 0..stated.len().max(measured.len());
        sizes.holes = holes
            .filter_map(|n| size(stated.get(n).copied(), measured.get(n).copied(), Worse::Larger))
            .collect();
        sizes
    }
}
