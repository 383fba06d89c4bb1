//! `fettle calc mark` and `fettle calc schedule`: foreign text, as it is read.

use std::io::Read;

use chrono::NaiveDate;
use clap::{Args, ValueEnum};
use serde_json::json;

use crate::app::clock::Clock;
use crate::formats::{gs1, hl7, mark as answers};

#[derive(Clone, Copy, ValueEnum, Debug)]
enum Standard {
    Gs1,
    Hibc,
}

#[derive(Args, Debug)]
pub struct MarkArgs {
    /// The standard that the mark is written in.
    #[arg(long)]
    kind: Standard,
    /// The day from which two digits of a year are understood; today without it.
    #[arg(long, value_name = "DATE")]
    today: Option<NaiveDate>,
}

/// Reads a mark from standard input, exactly as it stands there. A mark that is wrong has an answer as well.
pub fn mark(args: &MarkArgs) -> Result<String, String> {
    let bytes = input(gs1::LONGEST as u64 + 1)?;
    let sent = String::from_utf8_lossy(&bytes);
    let today = args.today.unwrap_or_else(|| Clock::default().now().utc().date_naive());
    let answer = match args.kind {
        Standard::Gs1 => answers::gs1_answer(&sent, today),
        Standard::Hibc => answers::hibc_answer(&sent, today),
    };
    Ok(answer.to_string())
}

/// Reads one message from standard input, with the bytes that frame it or without.
pub fn schedule() -> Result<String, String> {
    let bytes = input(hl7::LONGEST as u64 + 1)?;
    match hl7::schedule::schedule(&hl7::text(&bytes)) {
        Ok(told) => {
            serde_json::to_string(&told).map_err(|error| format!("the answer could not be written: {error}"))
        }
        Err(why) => {
            let ack = why.answer().map(hl7::schedule::Answer::letters);
            Ok(json!({"refused": {"code": why.code(), "why": why.words(), "ack": ack}}).to_string())
        }
    }
}

/// Standard input, as much of it as could be a mark or a message at all.
fn input(most: u64) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    let read = std::io::stdin().lock().take(most).read_to_end(&mut bytes);
    read.map(|_| bytes).map_err(|error| format!("standard input: {error}"))
}
