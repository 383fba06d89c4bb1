//! What a look-back was asked for: the words of a form or a link, as an origin; and an origin as a link.

use crate::domain::id::Id;
use crate::domain::lookback::Origin;
use crate::domain::state::State;
use crate::domain::text::{LONGEST_LINE, Line};
use crate::domain::time::{Time, on_day};
use crate::web::session::encoded;

/// What was typed, as it was typed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Typed {
    pub load: String,
    pub asset: String,
    pub case: String,
    pub machine: String,
    pub lot: String,
    pub model: String,
    pub serial: String,
    pub from: String,
    pub to: String,
    pub done: Option<u64>,
}

impl Typed {
    pub fn of(pairs: &[(String, String)]) -> Typed {
        let text = |name: &str| {
            let found = pairs.iter().find(|(key, value)| key == name && !value.trim().is_empty());
            found.map(|(_, value)| value.trim().to_string()).unwrap_or_default()
        };
        Typed {
            load: text("load"),
            asset: text("asset"),
            case: text("case"),
            machine: text("machine"),
            lot: text("lot"),
            model: text("model"),
            serial: text("serial"),
            from: text("from"),
            to: text("to"),
            done: text("done").parse().ok(),
        }
    }

    pub fn is_empty(&self) -> bool {
        let lot = [&self.lot, &self.model, &self.serial];
        let others = [&self.load, &self.asset, &self.case, &self.machine, &self.from, &self.to];
        lot.into_iter().chain(others).all(|it| it.is_empty())
    }

    /// The origin that the words name, or what is wrong with them.
    pub fn origin(&self, state: &State) -> Result<Origin, String> {
        let id = |kind: &str, text: &str| match text {
            "" => Ok(None),
            _ => {
                Id::new(text).map(Some).ok_or_else(|| format!("No {kind} can be called \"{}\".", short(text)))
            }
        };
        if self.asset.chars().count() > LONGEST_LINE {
            return Err(format!("No part can be called \"{}\".", short(&self.asset)));
        }
        let line = |kind: &str, text: &str| match text.chars().count() {
            0 => Ok(None),
            n if n > LONGEST_LINE => Err(format!("No {kind} is \"{}\".", short(text))),
            _ => Ok(Some(Line(text.to_string()))),
        };
        let origin = Origin {
            load: id("load", &self.load)?,
            asset: Some(self.asset.clone()).filter(|asset| !asset.is_empty()).map(Line),
            case: id("case", &self.case)?,
            machine: id("machine", &self.machine)?,
            model: id("model", &self.model)?,
            lot: line("lot", &self.lot)?,
            serial: line("number", &self.serial)?,
            from: moment(state, &self.from, false)?,
            to: moment(state, &self.to, true)?,
        };
        origin.whole().map_err(|error| match error.pointer.as_str() {
            "/origin/from" => "A window goes with a machine: name the machine too.".to_string(),
            "/origin/to" => "The window ends before it begins.".to_string(),
            "/origin/model" => "A model goes with a lot or a number: name one of them too.".to_string(),
            _ => "One origin is needed: a load, a part, a case, a machine or a lot.".to_string(),
        })?;
        Ok(origin)
    }
}

/// A name that is too long to be one is shown by its beginning.
pub fn short(text: &str) -> String {
    let cut: String = text.chars().take(60).collect();
    if cut.len() < text.len() { format!("{cut}…") } else { cut }
}

/// How the form's fields for times write them.
pub const MINUTES: &str = "%Y-%m-%dT%H:%M";

/// A time as a form or a link gives it: with its offset, or in the site's own hours. The minute that ends a window
/// belongs to it whole.
fn moment(state: &State, text: &str, ends: bool) -> Result<Option<Time>, String> {
    if text.is_empty() {
        return Ok(None);
    }
    if let Some(exact) = Time::parse(text) {
        return Ok(Some(exact));
    }
    let forms = [(MINUTES, 60_000_000), ("%Y-%m-%d %H:%M", 60_000_000), ("%Y-%m-%dT%H:%M:%S", 1_000_000)];
    let read = |form: &str| chrono::NaiveDateTime::parse_from_str(text, form).ok();
    let local = forms.iter().find_map(|(form, grain)| Some((read(form)?, *grain)));
    let (local, grain) =
        local.ok_or_else(|| format!("\"{}\" is no time; 2026-03-02T07:15 is one.", short(text)))?;
    let at = on_day(local.date(), local.time(), state.zone);
    Ok(Some(if ends { Time(at.0.saturating_add(grain - 1)) } else { at }))
}

pub fn pairs(origin: &Origin) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    let mut put = |name, text: Option<String>| all.extend(text.map(|text| (name, text)));
    put("load", origin.load.as_ref().map(Id::to_string));
    put("asset", origin.asset.as_ref().map(|asset| asset.0.clone()));
    put("case", origin.case.as_ref().map(Id::to_string));
    put("machine", origin.machine.as_ref().map(Id::to_string));
    put("lot", origin.lot.as_ref().map(|lot| lot.0.clone()));
    put("model", origin.model.as_ref().map(Id::to_string));
    put("serial", origin.serial.as_ref().map(|serial| serial.0.clone()));
    put("from", origin.from.map(|at| at.to_string()));
    put("to", origin.to.map(|at| at.to_string()));
    all
}

/// The address of a look-back's answer.
pub fn address(path: &str, origin: &Origin) -> String {
    let pairs: Vec<String> =
        pairs(origin).into_iter().map(|(name, value)| format!("{name}={}", encoded(&value))).collect();
    format!("{path}?{}", pairs.join("&"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::sample;

    #[test]
    fn what_names_nothing_is_told_and_kept() {
        let state = &sample::visitor().state;
        let long = "x".repeat(5_000);
        for (name, value, told) in [
            ("load", "<script>", "No load can be called"),
            ("case", long.as_str(), "No case can be called"),
            ("asset", long.as_str(), "No part can be called"),
            ("from", "yesterday", "is no time"),
            ("from", "2026-03-03T00:00", "A window goes with a machine"),
        ] {
            let pairs = [(name.to_string(), value.to_string()), ("load".into(), "S-311".into())];
            let why = Typed::of(&pairs).origin(state).unwrap_err();
            assert!(why.contains(told) && why.len() < 200, "{name}: {why}");
        }
        let day = |text: &str, ends| moment(state, text, ends).unwrap().unwrap().to_string();
        assert_eq!(day("2026-03-03T06:00", false), "2026-03-03T05:00:00Z");
        assert_eq!(day("2026-03-03T06:00", true), "2026-03-03T05:00:59.999999Z");
    }
}
