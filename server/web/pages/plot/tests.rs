use super::*;
use crate::analysis::cycle::judge_steam;
use crate::analysis::limits::{DisinfectionLimits, SteamLimits};
use crate::analysis::record::Channel;
use crate::analysis::steam::saturation_pressure_kpa;

/// A record of one channel through these points, a sample each second.
pub fn curve(points: &[(f64, f64)]) -> Record {
    let (first, last) = (points[0].0 as i64, points[points.len() - 1].0 as i64);
    let time_s: Vec<f64> = (first..=last).map(|s| s as f64).collect();
    let at = |t: f64| {
        let n = points.windows(2).position(|pair| t <= pair[1].0).unwrap();
        let ((from_s, from_c), (to_s, to_c)) = (points[n], points[n + 1]);
        from_c + (to_c - from_c) * (t - from_s) / (to_s - from_s)
    };
    let temp_c = time_s.iter().map(|t| at(*t)).collect();
    Record { time_s, channels: vec![Channel { name: "temp_c".into(), temp_c }], ..Record::default() }
}

/// A steam cycle of two channels with its pressure: heated from 0:00 to 5:00, held at 134.6 °C for 4 min, cooled.
pub fn steam() -> Record {
    let points = [(0.0, 40.0), (299.0, 133.7), (301.0, 134.6), (541.0, 134.6), (545.0, 120.0), (900.0, 60.0)];
    let mut record = curve(&points);
    let drain = &mut record.channels[0];
    drain.name = "temp_c_drain".into();
    record.pressure_kpa_abs =
        Some(drain.temp_c.iter().map(|c| saturation_pressure_kpa(*c).unwrap()).collect());
    let load_c = drain.temp_c.iter().map(|c| c + 0.3).collect();
    record.channels.push(Channel { name: "temp_c_load".into(), temp_c: load_c });
    record
}

fn drawn(record: &Record, view: View, size: Size) -> String {
    let limits = SteamLimits::new(134.0, 180.0);
    let hold = judge_steam(record, &limits).unwrap().hold;
    let limits = Limits::Steam(limits);
    let phases = limits.phases(record, hold);
    let plotted = Plotted { record, limits, hold, phases: &phases, says: "Nothing <found> & \"told\"." };
    svg(&plotted, view, size, "p").unwrap()
}

/// Every element is closed by its own name, and nothing but the five entities of XML is used.
pub fn well_formed(text: &str) -> Result<(), String> {
    let mut open = Vec::new();
    let mut rest = text;
    while let Some(start) = rest.find('<') {
        let before = &rest[..start];
        if before.contains('>') {
            return Err(format!("a bare > in {before}"));
        }
        let end = rest[start..].find('>').ok_or("a tag does not end")? + start;
        let tag = &rest[start + 1..end];
        if tag.contains('<') || tag.matches('"').count() % 2 == 1 {
            return Err(format!("in the tag {tag}"));
        }
        let name = |tag: &str| tag.split([' ', '/']).next().unwrap_or_default().to_string();
        match tag.strip_prefix('/') {
            Some(closed) if open.pop().as_deref() != Some(closed) => {
                return Err(format!("{closed} was not open"));
            }
            Some(_) => {}
            None if tag.ends_with('/') => {}
            None => open.push(name(tag)),
        }
        rest = &rest[end + 1..];
    }
    for (at, _) in text.match_indices('&') {
        let known = ["&amp;", "&lt;", "&gt;", "&quot;", "&#39;"];
        if !known.iter().any(|entity| text[at..].starts_with(entity)) {
            return Err(format!("an entity at {at}"));
        }
    }
    if open.is_empty() { Ok(()) } else { Err(format!("{open:?} stay open")) }
}

/// Every text lies within the picture, as wide as it is thought to be.
pub fn texts_inside(text: &str, (width, height): (f64, f64)) {
    let number = |tag: &str, name: &str| -> f64 {
        let from = tag.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
        tag[from..].split('"').next().unwrap().parse().unwrap()
    };
    for part in text.split("<text ").skip(1) {
        let (tag, words) = part.split_once('>').map(|(tag, rest)| (format!(" {tag}"), rest)).unwrap();
        let words = words.split("</text>").next().unwrap();
        let (x, y, font) = (number(&tag, "x"), number(&tag, "y"), number(&tag, "font-size"));
        let wide = ink::width_of(words, font);
        let from = match tag.contains("\"middle\"") {
            true => x - wide / 2.0,
            false if tag.contains("\"end\"") => x - wide,
            false => x,
        };
        assert!(from >= -1.0 && from + wide <= width + 1.0, "{words} at {x}");
        assert!(y >= font * 0.7 && y <= height, "{words} at {y}");
    }
}

#[test]
fn every_size_of_every_view_is_well_formed_and_keeps_its_words_inside() {
    let mut record = steam();
    record.channels[0].temp_c[330] = 141.0;
    record.pressure_kpa_abs.iter_mut().flatten().for_each(|kpa| *kpa -= 40.0);
    for view in [View::Cycle, View::Hold] {
        for (size, room) in [
            (Size::Phone, (360.0, 380.0)),
            (Size::Half, (480.0, 440.0)),
            (Size::Page, (960.0, 440.0)),
            (Size::Large, (1600.0, 760.0)),
        ] {
            let text = drawn(&record, view, size);
            well_formed(&text).unwrap_or_else(|wrong| panic!("{view:?} {size:?}: {wrong}"));
            assert!(!text.contains("style=") && text.contains("role=\"img\""));
            assert!(text.contains("&lt;found&gt; &amp; &quot;told&quot;"));
            texts_inside(&text, room);
        }
    }
}

#[test]
fn the_verdict_is_drawn_and_told() {
    let text = drawn(&steam(), View::Cycle, Size::Page);
    assert!(text.contains(">held 4 min 1") && text.contains("band 134 to 137 °C"), "{text}");
    assert!(text.contains(">hold<") && text.contains("Phases: heating from"), "{text}");
    assert!(text.contains(">drain<") && text.contains(">load<") && text.contains("curve steam"));
    assert!(!text.contains("class=\"breach\""));
    let mut short = steam();
    short.channels[1].temp_c[400] = 133.2;
    let text = drawn(&short, View::Cycle, Size::Page);
    assert!(text.contains("3 min needed") && text.contains("fell to 133.2 °C"));
}

#[test]
fn a_spike_of_one_sample_in_a_million_is_drawn_and_little_else() {
    let time_s: Vec<f64> = (0..1_000_000).map(|i| f64::from(i) * 0.002).collect();
    let mut temp_c: Vec<f64> = time_s.iter().map(|t| 134.5 + (t * 3.0).sin() * 0.2).collect();
    temp_c[654_321] = 160.0;
    let channel = Channel { name: "temp_c".into(), temp_c };
    let record = Record { time_s, channels: vec![channel], ..Record::default() };
    let text = drawn(&record, View::Cycle, Size::Page);
    let spike = format!("L{:.1} ", 56.0 + (960.0 - 130.0 - 56.0) * 654_321.0 / 999_999.0);
    assert!(text.contains(&spike) && text.contains("reached 160 °C"), "{spike}");
    assert!(text.len() < 40_000, "{}", text.len());
}

#[test]
fn a_hostile_name_is_escaped_and_cut() {
    let mut record = steam();
    record.channels[0].name = "temp_c_</text><script>alert(1)</script>&\u{1}".into();
    let text = drawn(&record, View::Cycle, Size::Page);
    well_formed(&text).unwrap();
    assert!(!text.contains("<script") && !text.contains('\u{1}'));
    texts_inside(
        &text.replace("&lt;", "<").replace("&gt;", ">").replace("</text><", "</text>"),
        (1e9, 440.0),
    );
}

#[test]
fn without_a_hold_there_is_no_enlarged_hold_and_the_cycle_says_never() {
    let record = curve(&[(0.0, 20.0), (600.0, 120.0), (900.0, 40.0)]);
    let limits = Limits::Steam(SteamLimits::new(134.0, 180.0));
    let plotted = Plotted { record: &record, limits, hold: None, phases: &[], says: "x" };
    assert!(svg(&plotted, View::Hold, Size::Half, "h").is_none());
    assert!(svg(&plotted, View::Cycle, Size::Page, "c").unwrap().contains("Never in the band 134 to 137 °C"));
}

#[test]
fn a_disinfection_shows_its_floor_and_a_band_without_an_upper_limit() {
    let record = curve(&[(0.0, 20.0), (300.0, 92.0), (700.0, 92.0), (900.0, 40.0)]);
    let limits = DisinfectionLimits::new(3000.0, 90.0);
    let verdict = crate::analysis::cycle::judge_disinfection(&record, &limits).unwrap();
    let limits = Limits::Disinfection(limits);
    let plotted = Plotted { record: &record, limits, hold: verdict.continuous, phases: &[], says: "x" };
    let text = svg(&plotted, View::Cycle, Size::Page, "c").unwrap();
    well_formed(&text).unwrap();
    assert!(text.contains("A0 counts from 65 °C") && text.contains("90 °C and above"));
    texts_inside(&text, (960.0, 440.0));
}
