//! The forms of a set-up sheet: what is wished for, and joints that somebody has tried.

use super::shared::capital;
use super::theatre::{Choice, techniques};
use crate::domain::configuration::{MOST_TOGETHER, Wish};
use crate::domain::fit::{Fit, Verdict};
use crate::domain::model::Family;
use crate::domain::state::State;

/// The families that work in a lumen, as a wish names them.
const INSTRUMENTS: [Family; 6] = [
    Family::Telescope,
    Family::Forceps,
    Family::SuctionTube,
    Family::Dilator,
    Family::StentPlacer,
    Family::Obturator,
];
/// How many a form asks for, where no more are wished for already.
const ASKED: usize = 4;

/// What is wished for, as the form begins.
pub struct WishForm {
    pub nominal: String,
    pub families: Vec<Choice>,
    /// One list of choices for each instrument.
    pub together: Vec<Vec<Choice>>,
    pub fall_back: Vec<Choice>,
}

fn choice(value: &str, label: &str, chosen: bool) -> Choice {
    Choice { value: value.into(), label: capital(label), chosen }
}

/// The families, and the models that can lie in a lumen.
fn instruments(state: &State, wished: Option<&str>) -> Vec<Choice> {
    let families = INSTRUMENTS.iter().map(|family| {
        let label = format!("any {}", family.words());
        choice(family.name(), &label, wished == Some(family.name()))
    });
    let models = state.models.values().filter(|model| model.family.is_instrument());
    let models = models.map(|model| {
        let id = model.model.as_str();
        choice(id, &model.name.0, wished == Some(id))
    });
    families.chain(models).collect()
}

pub fn wish(state: &State, wish: Option<&Wish>) -> WishForm {
    let barrels = [Family::Bronchoscope, Family::Tracheoscope];
    let family = wish.and_then(|wish| wish.barrel_family);
    let wished: Vec<&str> =
        wish.map(|wish| wish.together.iter().map(|one| one.as_str()).collect()).unwrap_or_default();
    let rows = (wished.len() + 1).clamp(ASKED, MOST_TOGETHER);
    WishForm {
        nominal: wish
            .and_then(|wish| wish.barrel_nominal)
            .map(|nominal| nominal.to_string())
            .unwrap_or_default(),
        families: barrels.iter().map(|it| choice(it.name(), &it.words(), family == Some(*it))).collect(),
        together: (0..rows).map(|row| instruments(state, wished.get(row).copied())).collect(),
        fall_back: techniques(wish.and_then(|wish| wish.fall_back)),
    }
}

/// The models of the parts, each once, in the order of assembly.
pub fn models(fit: &Fit) -> Vec<(String, String)> {
    let mut order: Vec<_> = fit.parts.iter().collect();
    order.sort_by_key(|part| part.step);
    let mut all: Vec<(String, String)> = Vec::new();
    for part in order {
        let model = part.model.to_string();
        if !all.iter().any(|(known, _)| *known == model) {
            all.push((model, format!("{} ({})", part.name, part.family.words())));
        }
    }
    all
}

/// A joint that nobody has tried, with what its form sends.
pub struct Untried {
    pub sentence: String,
    pub parts: [String; 2],
    pub ends: Option<[String; 2]>,
}

/// The joints between pieces whose fit is not known.
pub fn untried(fit: &Fit) -> Vec<Untried> {
    let one = |joint: &crate::domain::fit_part::Joint| {
        let piece = |at: usize| fit.parts.get(at)?.asset.as_ref().map(ToString::to_string);
        Some(Untried {
            sentence: joint.sentence.clone(),
            parts: [piece(joint.inner.part)?, piece(joint.outer_part)?],
            ends: joint.outer.as_ref().map(|outer| [joint.inner.end.clone(), outer.end.clone()]),
        })
    };
    fit.joints.iter().filter(|joint| joint.verdict == Verdict::NotKnown).filter_map(one).collect()
}
