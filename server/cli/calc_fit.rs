//! `fettle calc fit`: do these parts lie side by side in this lumen, and what is left of it?

use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use crate::analysis::packing::{Answer, Length, Needed, Placement, Problem};
use crate::formats;

#[derive(Args, Debug)]
pub struct FitArgs {
    /// The problem as JSON; standard input without it, or with `-`.
    file: Option<PathBuf>,
}

#[derive(Serialize)]
struct Told<'a> {
    answer: Answer,
    needed_mm: Bounds,
    spare_mm: f64,
    placement: Option<Vec<Placed<'a>>>,
    free_area_mm2: Option<f64>,
    free_fraction: Option<f64>,
    hydraulic_diameter_mm: Option<f64>,
}

#[derive(Serialize)]
struct Bounds {
    low: f64,
    high: f64,
}

#[derive(Serialize)]
struct Placed<'a> {
    name: &'a str,
    x_mm: f64,
    y_mm: f64,
    r_mm: f64,
}

/// What is left of a lumen beside the parts. It says nothing of how gas flows there.
struct Free {
    area_mm2: f64,
    fraction: f64,
    hydraulic_diameter_mm: f64,
}

pub fn fit(args: &FitArgs) -> Result<String, String> {
    let (source, bytes) = bytes(args.file.as_deref())?;
    let given = formats::fit::read(&bytes).map_err(|error| format!("{source}: {error}"))?;
    let problem = Problem { lumen: given.lumen, clearance: given.clearance, discs: &given.discs };
    let fit = problem.fit().map_err(|error| format!("{source}: {error}"))?;
    let Needed { low_mm, high_mm } = fit.needed;
    let free = fit.placement.is_some().then(|| Free::of(given.lumen, &given.discs));
    let told = Told {
        answer: fit.answer,
        needed_mm: Bounds { low: low_mm, high: high_mm },
        spare_mm: fit.spare_mm,
        placement: fit.placement.as_ref().map(|placement| placed(&given.names, placement)),
        free_area_mm2: free.as_ref().map(|free| free.area_mm2),
        free_fraction: free.as_ref().map(|free| free.fraction),
        hydraulic_diameter_mm: free.as_ref().map(|free| free.hydraulic_diameter_mm),
    };
    serde_json::to_string(&told).map_err(|error| format!("the answer could not be written: {error}"))
}

fn bytes(file: Option<&Path>) -> Result<(String, Vec<u8>), String> {
    let (source, read) = match file {
        Some(path) if path != Path::new("-") => (path.display().to_string(), std::fs::read(path)),
        _ => {
            let mut bytes = Vec::new();
            let read = std::io::stdin().lock().read_to_end(&mut bytes);
            ("standard input".to_owned(), read.map(|_| bytes))
        }
    };
    let bytes = read.map_err(|error| format!("{source}: {error}"))?;
    Ok((source, bytes))
}

fn placed<'a>(names: &'a [String], placement: &Placement) -> Vec<Placed<'a>> {
    let pairs = names.iter().zip(placement.iter());
    pairs.map(|(name, disc)| Placed { name, x_mm: disc.x_mm, y_mm: disc.y_mm, r_mm: disc.r_mm }).collect()
}

impl Free {
    /// π/4 (D² − Σd²) of area, and four times that by a wetted perimeter of π (D + Σd).
    fn of(lumen: Length, discs: &[Length]) -> Free {
        let squares: f64 = discs.iter().map(|disc| disc.mm() * disc.mm()).sum();
        let (whole, around) = (lumen.mm() * lumen.mm(), discs.iter().copied().sum::<Length>());
        let left = (whole - squares).max(0.0);
        Free {
            area_mm2: std::f64::consts::FRAC_PI_4 * left,
            fraction: left / whole,
            hydraulic_diameter_mm: left / (lumen + around).mm(),
        }
    }
}
