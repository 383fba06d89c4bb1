//! `fettle calc life`: how long things last, from the ages at which they failed or were last seen whole.

use std::io::Read;
use std::path::Path;

use crate::formats::life::{self, KINDS};
use crate::formats::life_answer;
use clap::Args;

/// What is longer is not read: some ten million rows.
const MOST_BYTES: u64 = 512 * 1024 * 1024;

#[derive(Args, Debug)]
pub struct LifeArgs {
    /// The kind, where the input is its data alone; without it the input is {"kind": …, "data": …}. Then a file with the problem as
    /// JSON; standard input without it, or with `-`.
    #[arg(value_name = "KIND | FILE", num_args = 0..=2)]
    what: Vec<String>,
}

impl LifeArgs {
    /// The kind and the file.
    fn parts(&self) -> Result<(Option<&str>, Option<&str>), String> {
        match self.what.as_slice() {
            [] => Ok((None, None)),
            [one] if KINDS.contains(&one.as_str()) => Ok((Some(one), None)),
            [file] => Ok((None, Some(file))),
            [kind, file] if KINDS.contains(&kind.as_str()) => Ok((Some(kind), Some(file))),
            [kind, ..] => Err(format!("found kind {kind:?}, one of {} is needed", KINDS.join(", "))),
        }
    }
}

pub fn life(args: &LifeArgs) -> Result<String, String> {
    let (kind, file) = args.parts()?;
    let (source, bytes) = bytes(file)?;
    let problem = match kind {
        Some(kind) => life::read_data(kind, &bytes),
        None => life::read(&bytes),
    };
    let problem = problem.map_err(|error| format!("{source}: {error}"))?;
    let answer = life_answer::of(problem).unwrap_or_else(|refused| life_answer::refused(&refused));
    serde_json::to_string(&answer).map_err(|error| format!("the answer could not be written: {error}"))
}

fn bytes(file: Option<&str>) -> Result<(String, Vec<u8>), String> {
    let mut bytes = Vec::new();
    let (source, read) = match file {
        Some(path) if path != "-" => {
            let opened = std::fs::File::open(Path::new(path));
            let read = opened.and_then(|it| it.take(MOST_BYTES + 1).read_to_end(&mut bytes));
            (path.to_owned(), read)
        }
        _ => {
            let read = std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes);
            ("standard input".to_owned(), read)
        }
    };
    read.map_err(|error| format!("{source}: {error}"))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(format!("{source}: found more than {MOST_BYTES} bytes, {MOST_BYTES} at most are needed"));
    }
    Ok((source, bytes))
}
