//! Proof and safety copies from the command line.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::{Database, Failure};
use crate::app::rebuild;
use crate::storage::{Db, copy};

#[derive(Args)]
pub struct Rebuild {
    /// Replay in memory, compare with the tables, run the checker; ends with 1 on a difference
    #[arg(long)]
    check: bool,
    #[command(flatten)]
    database: Database,
}

impl Rebuild {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        let house = self.database.open().await?;
        if !self.check {
            rebuild::make_anew(&house.db).await?;
        }
        let report = rebuild::check(&house.db).await?;
        house.close().await;
        for what in &report.wrong {
            println!("{what}");
        }
        println!("{} entries of {} sites, {} differences", report.entries, report.sites, report.wrong.len());
        Ok(if report.wrong.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE })
    }
}

#[derive(Args)]
pub struct Backup {
    /// The file to make: a SQLite database, whatever it is a copy of
    file: PathBuf,
    #[command(flatten)]
    database: Database,
}

impl Backup {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        if self.file.exists() {
            return Err(format!("{} exists already; a backup overwrites nothing", self.file.display()).into());
        }
        let house = self.database.open().await?;
        let to = Db::open(&format!("sqlite:{}", self.file.display())).await?;
        let copied = copied(&house.db, &to).await;
        house.close().await;
        copied
    }
}

#[derive(Args)]
pub struct Restore {
    /// A file that backup made
    file: PathBuf,
    #[command(flatten)]
    database: Database,
}

impl Restore {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        if !self.file.exists() {
            return Err(format!("{} is not there", self.file.display()).into());
        }
        let from = Db::open(&format!("sqlite:{}", self.file.display())).await?;
        let to = Db::open(&self.database.database).await?;
        let copied = copied(&from, &to).await;
        from.close().await;
        copied
    }
}

async fn copied(from: &Db, to: &Db) -> Result<ExitCode, Failure> {
    let entries = copy::copy(from, to).await?;
    rebuild::replay_all(to).await?;
    to.close().await;
    println!("{entries} entries");
    Ok(ExitCode::SUCCESS)
}
