//! A list into the house from the command line, beside a server or without one. Every problem is a line on standard
//! error; standard output carries what became of it.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use clap::Args;

use super::{Database, Failure};
use crate::app::house::House;
use crate::app::import::{ACTOR, Tried, Written, role_for};
use crate::domain::id::Id;
use crate::domain::import::{Change, Chosen, Kind, line, problem_lines};
use crate::domain::person::Actor;
use crate::formats::grid::value::{DayOrder, DecimalSign};
use crate::formats::grid::{BYTES_MOST, Charset, Refused};

#[derive(Args)]
pub struct Import {
    /// What the list is of: models, assets, count_sheets, sets or cases
    #[arg(value_parser = kind)]
    kind: Kind,
    /// A list as CSV or as a workbook (.xlsx)
    file: PathBuf,
    #[arg(long)]
    site: String,
    /// Look at the list and record nothing
    #[arg(long)]
    dry_run: bool,
    /// The characters of a text file that is not UTF-8, such as windows-1252
    #[arg(long, value_parser = charset)]
    charset: Option<Charset>,
    /// Which stands first in dates without the year first: day_first or month_first; for one column: acquired=day_first
    #[arg(long = "dates", value_name = "[COLUMN=]ORDER")]
    dates: Vec<String>,
    /// What stands before the decimals of numbers: point or comma
    #[arg(long, value_parser = sign)]
    decimal: Option<DecimalSign>,
    /// Which column of the file is what, such as asset="Our number"; nothing behind the sign: none is
    #[arg(long = "column", value_name = "NAME=COLUMN")]
    columns: Vec<String>,
    /// One value for all rows whose own cell is empty, such as model=T-4-30
    #[arg(long = "fixed", value_name = "NAME=VALUE")]
    fixed: Vec<String>,
    #[command(flatten)]
    database: Database,
}

fn kind(text: &str) -> Result<Kind, String> {
    let names: Vec<&str> = Kind::ALL.iter().map(|kind| kind.name()).collect();
    Kind::named(text).ok_or_else(|| format!("one of {} is needed", names.join(", ")))
}

fn charset(text: &str) -> Result<Charset, String> {
    let names: Vec<&str> = Charset::ALL.iter().map(|charset| charset.name()).collect();
    Charset::named(text).ok_or_else(|| format!("one of {} is needed", names.join(", ")))
}

fn sign(text: &str) -> Result<DecimalSign, String> {
    match text {
        "point" => Ok(DecimalSign::Point),
        "comma" => Ok(DecimalSign::Comma),
        _ => Err("point or comma is needed".into()),
    }
}

fn order(text: &str) -> Result<DayOrder, Failure> {
    match text {
        "day_first" => Ok(DayOrder::DayFirst),
        "month_first" => Ok(DayOrder::MonthFirst),
        _ => Err(format!("\"{text}\": day_first or month_first is needed").into()),
    }
}

fn pairs(given: &[String]) -> Result<BTreeMap<String, String>, Failure> {
    let pair = |text: &String| {
        let (name, value) =
            text.split_once('=').ok_or_else(|| format!("\"{text}\": NAME=VALUE is needed"))?;
        Ok((name.to_string(), value.to_string()))
    };
    given.iter().map(pair).collect()
}

impl Import {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        let raw = self.bytes()?;
        let house = self.database.open().await?;
        let done = self.import(&house, raw).await;
        house.close().await;
        done
    }

    /// The file's bytes; one that is too large is refused before it is read.
    fn bytes(&self) -> Result<Vec<u8>, Failure> {
        let told = |error: std::io::Error| format!("{}: {error}", self.file.display());
        let file = std::fs::File::open(&self.file).map_err(told)?;
        let size = file.metadata().map_err(told)?.len();
        if size > BYTES_MOST as u64 {
            return Err(format!(
                "{}: found {size} bytes; at most {BYTES_MOST} are needed",
                self.file.display()
            )
            .into());
        }
        let mut raw = Vec::new();
        file.take(BYTES_MOST as u64 + 1).read_to_end(&mut raw).map_err(told)?;
        Ok(raw)
    }

    /// What was said now goes before what was known of lists of this kind.
    fn chosen(&self, mut known: Chosen) -> Result<Chosen, Failure> {
        known.charset = self.charset.or(known.charset);
        known.decimal = self.decimal.or(known.decimal);
        known.columns.extend(pairs(&self.columns)?);
        known.fixed.extend(pairs(&self.fixed)?);
        for given in &self.dates {
            match given.split_once('=') {
                Some((column, text)) => drop(known.dates.insert(column.to_string(), order(text)?)),
                None => {
                    let order = order(given)?;
                    let all = crate::domain::import::columns::dated(self.kind);
                    known.dates.extend(all.into_iter().map(|key| (key.to_string(), order)));
                }
            }
        }
        Ok(known)
    }

    async fn import(&self, house: &House, raw: Vec<u8>) -> Result<ExitCode, Failure> {
        let gone = |operation: String| format!("the database does not answer; operation {operation}");
        let site = Id::new(&self.site).ok_or_else(|| format!("\"{}\" is no site", self.site))?;
        let state = house.state(&site).await.map_err(|error| gone(error.operation))?;
        let state = state.ok_or_else(|| format!("there is no site \"{site}\""))?;
        let actor = Actor { code: ACTOR.into(), role: role_for(self.kind) };
        let known = house.kept_mapping(&site, self.kind).await.map_err(|error| gone(error.operation))?;
        let chosen = self.chosen(known)?;
        let raw = Arc::new(raw);
        let tried = house.try_list(&state, &actor, self.kind, raw.clone(), chosen.clone()).await;
        let mut tried = match tried.map_err(|error| gone(error.operation))? {
            Ok(tried) => tried,
            Err(refused) => return Ok(unread(&refused)),
        };
        if self.dry_run || !tried.plan.may_import() {
            return Ok(said(self.kind, &tried));
        }
        let written = house.record_list(&site, &actor, &raw, &mut tried, Arc::default()).await;
        match written.map_err(|error| gone(error.operation))? {
            Some(written) => {
                let kept = house.keep_mapping(&site, self.kind, &chosen, &actor).await;
                kept.map_err(|error| gone(error.operation))?;
                println!("{}", summary(self.kind, &written));
                Ok(ExitCode::SUCCESS)
            }
            None => Ok(said(self.kind, &tried)),
        }
    }
}

fn unread(refused: &Refused) -> ExitCode {
    match refused {
        Refused::Fault(fault) => eprintln!("{}", line(fault)),
        Refused::WhichCharset { suggested } => {
            eprintln!(
                "line 1: found bytes that are not UTF-8; --charset is needed, such as --charset {}",
                suggested.name()
            );
        }
    }
    println!("nothing was recorded");
    ExitCode::FAILURE
}

/// What was found and not recorded.
fn said(kind: Kind, tried: &Tried) -> ExitCode {
    let problems = problem_lines(&tried.plan);
    problems.iter().for_each(|problem| eprintln!("{problem}"));
    tried.plan.doubts.iter().for_each(|doubt| eprintln!("doubtful: {}", line(doubt)));
    let count = |change| tried.plan.count(change);
    let (_, many) = kind.words();
    let (new, changes, same) = (count(Change::New), count(Change::Changes), count(Change::Same));
    if problems.is_empty() {
        println!("{new} {many} new, {changes} changed, {same} the same; nothing was recorded");
        return ExitCode::SUCCESS;
    }
    println!("{} problems in {} rows; nothing was recorded", problems.len(), tried.plan.rows);
    ExitCode::FAILURE
}

fn summary(kind: Kind, it: &Written) -> String {
    let (_, many) = kind.words();
    if it.entries == 0 {
        return format!("nothing changes: all {} {many} stand so already", it.same);
    }
    format!(
        "{} {many} new, {} changed, {} the same; recorded as entries {} to {}",
        it.new, it.changes, it.same, it.first, it.last
    )
}
