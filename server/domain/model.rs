//! The catalogue: routes and models. What the maker made, and how it has to be processed between two uses.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::command::{Malformed, wrong};
use super::deciding::Deciding;
use super::event::What;
use super::id::Id;
use super::refusal::{Code, Problem};
pub use super::route::{DefineRoute, Method, RouteDefined, RouteStep, StepKind};
use super::sizes;
use super::solution::DisinfectionInstruction;
use super::state::State;
use super::text::{Line, Quantity, Text};

/// What kind of part a model is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    Bronchoscope,
    Tracheoscope,
    Head,
    AnaesthesiaConnector,
    JetAdapter,
    PortAdapter,
    Cap,
    Telescope,
    LightCable,
    CameraHead,
    Obturator,
    Forceps,
    SuctionTube,
    MouthGuard,
    Window,
    Injector,
    Dilator,
    StentPlacer,
    LightSource,
    Container,
    Accessory,
}

impl Family {
    pub const ALL: [Family; 21] = [
        Family::Bronchoscope,
        Family::Tracheoscope,
        Family::Head,
        Family::AnaesthesiaConnector,
        Family::JetAdapter,
        Family::PortAdapter,
        Family::Cap,
        Family::Telescope,
        Family::LightCable,
        Family::CameraHead,
        Family::Obturator,
        Family::Forceps,
        Family::SuctionTube,
        Family::MouthGuard,
        Family::Window,
        Family::Injector,
        Family::Dilator,
        Family::StentPlacer,
        Family::LightSource,
        Family::Container,
        Family::Accessory,
    ];

    /// As it stands in a command.
    pub fn name(self) -> &'static str {
        match self {
            Family::Bronchoscope => "bronchoscope",
            Family::Tracheoscope => "tracheoscope",
            Family::Head => "head",
            Family::AnaesthesiaConnector => "anaesthesia_connector",
            Family::JetAdapter => "jet_adapter",
            Family::PortAdapter => "port_adapter",
            Family::Cap => "cap",
            Family::Telescope => "telescope",
            Family::LightCable => "light_cable",
            Family::CameraHead => "camera_head",
            Family::Obturator => "obturator",
            Family::Forceps => "forceps",
            Family::SuctionTube => "suction_tube",
            Family::MouthGuard => "mouth_guard",
            Family::Window => "window",
            Family::Injector => "injector",
            Family::Dilator => "dilator",
            Family::StentPlacer => "stent_placer",
            Family::LightSource => "light_source",
            Family::Container => "container",
            Family::Accessory => "accessory",
        }
    }

    pub fn words(self) -> String {
        self.name().replace('_', " ")
    }
}

#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Dimensions {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inner_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outer_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shaft_diameter_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_width_mm: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub french: Option<Quantity>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub view_deg: Option<Quantity>,
    /// Of a cap. An empty list says that it has none, that it is blank; without a list nobody knows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hole_diameters_mm: Option<Vec<Quantity>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stack_height_mm: Option<Quantity>,
}

impl Dimensions {
    pub fn holes(&self) -> &[Quantity] {
        self.hole_diameters_mm.as_deref().unwrap_or_default()
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Coupling {
    pub end: Line,
    pub system: Line,
    /// This end is an opening into the lumen, through which gas and instruments may pass. Absent: a joint and no more
    /// (a light post, an eyepiece).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub port: Option<Port>,
    /// The bore behind the opening, which every instrument that goes in here has to pass.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bore_mm: Option<Quantity>,
}

/// Where an opening into the lumen lies.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Port {
    /// In line with the barrel.
    Proximal,
    Side,
}

/// When a part is put on, where the maker's instructions say more than the chain of couplings does.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Assembly {
    /// Lower goes first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub edition: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<Line>,
    /// A picture of the house's own, named by the SHA-256 of its bytes; no patient is in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub photo: Option<Line>,
}

/// Limits from the maker's instructions; each may be absent.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_cycles: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_uses: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspect_every_cycles: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspect_every_days: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shelf_life_days: Option<u32>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SteamInstruction {
    pub temp_c: Quantity,
    pub hold_s: Quantity,
    /// Longer than this the maker does not allow.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_hold_s: Option<Quantity>,
}

/// The maker's processing instructions, with their edition.
#[derive(Clone, Debug, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Processing {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub edition: Option<Line>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub steam: Option<Box<SteamInstruction>>,
    /// Named where the instructions admit that method.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hydrogen_peroxide: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ethylene_oxide: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub max_temp_c: Option<Quantity>,
    /// Manual disinfection: at the least so long, and so warm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disinfection: Option<Box<DisinfectionInstruction>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub immersible: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ultrasonic: Option<bool>,
    /// False where it may not be used straight from the steriliser.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub immediate_use: Option<bool>,
    /// From the end of its use until its cleaning begins: no longer than so many minutes, or it goes the delayed way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub clean_within_minutes: Option<u32>,
    /// What is done beside the usual where cleaning began later than that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub delayed: Option<Line>,
}

/// A model as it stands in a command, in its event and in the catalogue.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DefineModel {
    pub model: Id,
    pub family: Family,
    pub name: Line,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<Line>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gtin: Option<Line>,
    pub route: Id,
    #[serde(default)]
    pub dimensions: Dimensions,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub couplings: Vec<Coupling>,
    #[serde(default)]
    pub limits: Limits,
    #[serde(default)]
    pub processing: Processing,
    #[serde(default)]
    pub single_use: bool,
    /// It stays in the patient: a steriliser load that holds one is released on a biological indicator that passed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub implant: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assembly: Option<Box<Assembly>>,
}

pub type Model = DefineModel;

impl DefineModel {
    /// The house's own picture of it.
    pub fn photo(&self) -> Option<&str> {
        self.assembly.as_ref()?.photo.as_ref().map(|photo| photo.as_str())
    }

    pub(super) fn whole(&self) -> Result<(), Malformed> {
        let sizes = &self.dimensions;
        let lengths = [
            ("inner_diameter_mm", sizes.inner_diameter_mm),
            ("outer_diameter_mm", sizes.outer_diameter_mm),
            ("length_mm", sizes.length_mm),
            ("shaft_diameter_mm", sizes.shaft_diameter_mm),
            ("max_width_mm", sizes.max_width_mm),
            ("french", sizes.french),
        ];
        for (name, size) in lengths {
            if size.is_some_and(|q| q.0 <= rust_decimal::Decimal::ZERO) {
                return Err(wrong(format!("/dimensions/{name}"), "found zero or less; a size is above zero"));
            }
        }
        for (n, coupling) in self.couplings.iter().enumerate() {
            if coupling.bore_mm.is_some_and(|bore| bore.0 <= rust_decimal::Decimal::ZERO) {
                return Err(wrong(
                    format!("/couplings/{n}/bore_mm"),
                    "found zero or less; a bore is above zero",
                ));
            }
            if coupling.bore_mm.is_some() && coupling.port.is_none() {
                let detail = "found a bore at an end that is no opening; port says where the opening lies";
                return Err(wrong(format!("/couplings/{n}/port"), detail));
            }
        }
        let steam = self.processing.steam.as_ref();
        if steam.is_some_and(|steam| steam.max_hold_s.is_some_and(|most| most < steam.hold_s)) {
            let detail = "found less than hold_s; the longest hold is no shorter than the needed one";
            return Err(wrong("/processing/steam/max_hold_s", detail));
        }
        Ok(())
    }

    /// Cautions that belong at the sink and the bath, in the words of the makers' prohibitions.
    pub fn cautions(&self) -> Vec<&'static str> {
        let mut all = Vec::new();
        if self.processing.immersible == Some(false) {
            all.push("Do not immerse.");
        }
        if self.processing.ultrasonic == Some(false) {
            all.push("Not in the ultrasonic bath.");
        }
        all
    }
}

pub(super) fn define_model(deciding: &mut Deciding, it: &DefineModel) -> Option<What> {
    deciding.touches(None);
    if !deciding.state.routes.contains_key(&it.route) {
        deciding.against(unknown("route", it.route.as_str()));
    }
    let kept = &deciding.asked.attachments;
    let photo =
        it.photo().filter(|photo| !kept.contains_key(*photo)).map(|photo| unknown("attachment", photo));
    photo.into_iter().for_each(|problem| deciding.against(problem));
    let looked = sizes::look(it, &sizes::Known::of(deciding.state));
    deciding.malformed.extend(looked.wrong.iter().map(sizes::Point::malformed));
    deciding.doubts = looked.doubts.iter().map(sizes::Point::doubt).collect();
    Some(What::ModelDefined(it.clone()))
}

/// Nothing of this kind has that name.
pub fn unknown(kind: &str, name: &str) -> Problem {
    Problem::new(
        Code::UnknownThing,
        format!("No {kind} is named \"{name}\"."),
        format!("The name of a {kind} of this site is needed."),
        "Check the name, or scan again.",
    )
}

/// A blank reason is none.
pub fn reason_given(deciding: &mut Deciding, reason: &Text) {
    if reason.is_blank() {
        deciding.against(Problem::new(
            Code::NeedsReason,
            "The reason is blank.",
            "A reason in words is needed.",
            "Say why, in a few words.",
        ));
    }
}

impl State {
    pub fn model(&self, id: &Id) -> Option<&Model> {
        self.models.get(id).map(|model| &**model)
    }
}
