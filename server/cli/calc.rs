//! `fettle calc KIND [FILE]`: one problem in, one JSON answer out, without a database.
//!
//! A biomedical engineer or an auditor checks the verdicts of the house with it, so it calls what the pages
//! call. Exit status 0 is an answer, also where a cycle failed; 2 is a problem that could not be used, and then
//! nothing stands on standard output.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand};
use serde::Serialize;

use crate::analysis::cycle::{judge_disinfection, judge_steam_and};
use crate::analysis::limits::{
    A0_FLOOR_C, BAND_WIDTH_K, DISINFECTION_HOLD_S, DisinfectionLimits, MAX_GAP_S, SATURATION_TOLERANCE_K,
    SteamLimits,
};
use crate::analysis::phases::{self, Phase};
use crate::analysis::record::{Record, Unusable};
use crate::analysis::steam::{Saturation, saturation_pressure_kpa, saturation_temp_c};
use crate::formats::record;

use super::calc_fit::{FitArgs, fit};
use super::calc_life::{LifeArgs, life};

/// The exit status for a problem that could not be used; the same as for arguments that could not.
const UNUSABLE: u8 = 2;

/// Calculate one thing without a database: JSON on standard output.
#[derive(Args, Debug)]
pub struct CalcArgs {
    #[command(subcommand)]
    kind: Kind,
}

#[derive(Subcommand, Debug)]
enum Kind {
    /// Judge a steam sterilisation cycle from its record (CSV).
    Steam(SteamArgs),
    /// Judge a thermal disinfection from its record (CSV).
    Disinfection(DisinfectionArgs),
    /// Give the other half of a point on the saturation line of water.
    Saturation(SaturationArgs),
    /// Say whether parts lie side by side in a lumen (JSON).
    Fit(FitArgs),
    /// Say how long things last, from the ages at which they failed or were last seen whole (JSON).
    Life(LifeArgs),
}

#[derive(Args, Debug)]
#[command(allow_negative_numbers = true)]
struct SteamArgs {
    /// The record; standard input without it, or with `-`.
    file: Option<PathBuf>,
    /// The lower limit of the band, in °C.
    #[arg(long, value_name = "C", value_parser = finite)]
    band_c: f64,
    /// How far the band reaches above it, in K.
    #[arg(long, value_name = "K", value_parser = finite, default_value_t = BAND_WIDTH_K)]
    band_width_k: f64,
    /// How long all channels must stay in the band, in s.
    #[arg(long, value_name = "S", value_parser = finite)]
    hold_s: f64,
    /// How far a channel may lie from the temperature of saturated steam, in K.
    #[arg(long, value_name = "K", value_parser = finite, default_value_t = SATURATION_TOLERANCE_K)]
    saturation_tolerance_k: f64,
    /// How far apart samples may lie around the hold, in s.
    #[arg(long, value_name = "S", value_parser = finite, default_value_t = MAX_GAP_S)]
    max_gap_s: f64,
    /// The absolute pressure of the air around the machine, in kPa; a gauge column needs it.
    #[arg(long, value_name = "KPA", value_parser = finite)]
    ambient_kpa: Option<f64>,
}

#[derive(Args, Debug)]
#[command(allow_negative_numbers = true)]
struct DisinfectionArgs {
    /// The record; standard input without it, or with `-`.
    file: Option<PathBuf>,
    /// The A0 that every channel must reach, in s.
    #[arg(long, value_name = "S", value_parser = finite)]
    a0_s: f64,
    /// The lower limit of the disinfection band, in °C.
    #[arg(long, value_name = "C", value_parser = finite)]
    band_c: f64,
    /// How long all channels must stay at or above it without a dip, in s.
    #[arg(long, value_name = "S", value_parser = finite, default_value_t = DISINFECTION_HOLD_S)]
    hold_s: f64,
    /// From which temperature on A0 counts, in °C.
    #[arg(long, value_name = "C", value_parser = finite, default_value_t = A0_FLOOR_C)]
    floor_c: f64,
    /// How far apart samples may lie around the hold, in s.
    #[arg(long, value_name = "S", value_parser = finite, default_value_t = MAX_GAP_S)]
    max_gap_s: f64,
}

#[derive(Args, Debug)]
#[command(allow_negative_numbers = true)]
#[group(required = true, multiple = false)]
struct SaturationArgs {
    /// A temperature, in °C, from 0 to 373.946.
    #[arg(long, value_name = "C", value_parser = finite)]
    temp_c: Option<f64>,
    /// An absolute pressure, in kPa, from 0.611213 to 22064.
    #[arg(long, value_name = "KPA", value_parser = finite)]
    pressure_kpa: Option<f64>,
}

/// The answer on a record: the verdict, and what the record looks like.
#[derive(Serialize)]
struct Answer<V> {
    #[serde(flatten)]
    verdict: V,
    phases: Vec<Phase>,
}

/// Calculates what was asked, writes the answer and says how it went.
pub fn run(args: CalcArgs) -> ExitCode {
    let answer = match args.kind {
        Kind::Steam(args) => steam(&args),
        Kind::Disinfection(args) => disinfection(&args),
        Kind::Saturation(args) => saturation(&args),
        Kind::Fit(args) => fit(&args),
        Kind::Life(args) => life(&args),
    };
    let written = answer.and_then(|json| {
        writeln!(std::io::stdout(), "{json}").map_err(|e| format!("the answer could not be written: {e}"))
    });
    match written {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            say(&message);
            ExitCode::from(UNUSABLE)
        }
    }
}

fn steam(args: &SteamArgs) -> Result<String, String> {
    let limits = SteamLimits {
        band_c: args.band_c,
        band_width_k: args.band_width_k,
        hold_s: args.hold_s,
        saturation_tolerance_k: args.saturation_tolerance_k,
        max_gap_s: args.max_gap_s,
    };
    let (record, header) = read_record(args.file.as_deref(), args.ambient_kpa, true)?;
    let look = |hold| phases::steam(&record, hold);
    let (verdict, phases) = judge_steam_and(&record, &limits, look).map_err(|e| located(&e, &header))?;
    json(&Answer { verdict, phases })
}

fn disinfection(args: &DisinfectionArgs) -> Result<String, String> {
    let limits = DisinfectionLimits {
        a0_s: args.a0_s,
        band_c: args.band_c,
        hold_s: args.hold_s,
        floor_c: args.floor_c,
        max_gap_s: args.max_gap_s,
    };
    let (record, header) = read_record(args.file.as_deref(), None, false)?;
    let verdict = judge_disinfection(&record, &limits).map_err(|e| located(&e, &header))?;
    let phases = phases::disinfection(&record, verdict.continuous);
    json(&Answer { verdict, phases })
}

fn saturation(args: &SaturationArgs) -> Result<String, String> {
    let point = match (args.temp_c, args.pressure_kpa) {
        (Some(temp_c), _) => saturation_pressure_kpa(temp_c)
            .map(|pressure_kpa_abs| Saturation { temp_c, pressure_kpa_abs })
            .map_err(|e| format!("--temp-c: {e}"))?,
        (None, Some(pressure_kpa_abs)) => saturation_temp_c(pressure_kpa_abs)
            .map(|temp_c| Saturation { temp_c, pressure_kpa_abs })
            .map_err(|e| format!("--pressure-kpa: {e}"))?,
        (None, None) => return Err("--temp-c or --pressure-kpa is needed".to_owned()),
    };
    json(&point)
}

/// A record, and the line of its header.
fn read_record(
    file: Option<&Path>,
    ambient_kpa: Option<f64>,
    want_pressure: bool,
) -> Result<(Record, Vec<u8>), String> {
    /// How much of a file is in memory at a time.
    const PIECE: usize = 256 * 1024;
    /// A header that is longer is read, and not kept whole.
    const HEADER_KEPT: u64 = 64 * 1024;
    let mut header = Vec::new();
    let mut read = |mut source: &mut dyn BufRead| {
        (&mut source).take(HEADER_KEPT).read_until(b'\n', &mut header)?;
        record::read_from(header.as_slice().chain(source), ambient_kpa, want_pressure)
    };
    let (name, read) = match file {
        Some(path) if path != Path::new("-") => {
            let file = File::open(path);
            let read = file.and_then(|file| read(&mut BufReader::with_capacity(PIECE, file)));
            (path.display().to_string(), read)
        }
        _ => {
            let input = std::io::stdin().lock();
            ("standard input".to_owned(), read(&mut BufReader::with_capacity(PIECE, input)))
        }
    };
    let (record, warnings) =
        read.map_err(|error| format!("{name}: {error}"))?.map_err(|error| error.to_string())?;
    for warning in warnings {
        say(&format!("warning: {warning}"));
    }
    Ok((record, header))
}

/// Says an error about a sample with the line that the sample stands on: the first one follows the header.
fn located(error: &Unusable, header: &[u8]) -> String {
    match error {
        Unusable::Pressure { sample, range } => {
            let column = record::pressure_column(header);
            record::RecordError::unsaturated(*sample as u64 + 2, column.as_deref(), range).to_string()
        }
        other => other.to_string(),
    }
}

fn json(answer: &impl Serialize) -> Result<String, String> {
    serde_json::to_string(answer).map_err(|error| format!("the answer could not be written: {error}"))
}

/// Writes a line to standard error. Where that is closed nobody is left to be told.
fn say(message: &str) {
    let _ = writeln!(std::io::stderr(), "{message}");
}

/// A number as the command line takes it: Rust alone would also read `nan` and `inf`.
fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err("a finite number is needed, with a decimal point".to_owned()),
    }
}
