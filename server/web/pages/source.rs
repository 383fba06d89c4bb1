//! Where a programme's limits come from, in words.

use crate::domain::programme::{Programme, SOURCED};

/// What each limit is called beside its source.
pub fn limit(name: &str) -> &'static str {
    match name {
        "band_c" => "band",
        "hold_s" => "hold",
        "a0_s" => "A0",
        "air_removal_test" => "air-removal test",
        "cooling_s" => "cooling",
        "chemical" => "chemical indicator",
        "biological" => "biological indicator",
        _ => "limit",
    }
}

/// Each source once, with the limits that come from it: "Band and hold: …".
pub fn of(programme: &Programme) -> Vec<String> {
    let mut by_source: Vec<(&str, Vec<String>)> = Vec::new();
    for name in SOURCED {
        let Some(source) = programme.sources.get(name) else { continue };
        let limit = limit(name).to_string();
        match by_source.iter_mut().find(|(known, _)| *known == source.as_str()) {
            Some((_, limits)) => limits.push(limit),
            None => by_source.push((source.as_str(), vec![limit])),
        }
    }
    let told = |(source, limits): (&str, Vec<String>)| {
        let limits = super::shared::capital(&super::shared::listed(&limits));
        format!("{limits}: {}", crate::domain::text::ended(source))
    };
    by_source.into_iter().map(told).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_of_one_source_stand_together() {
        let programme =
            crate::domain::starter::published("steam-134-3").and_then(|it| it.programme()).unwrap();
        let told = of(&programme);
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].starts_with("Band and hold: Common moist-heat pairs"), "{told:?}");
        assert!(told[1].starts_with("Air-removal test: "), "{told:?}");
    }
}
