//! A demo hospital: made, told how to sign in, served.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use clap::Args;

use super::{Failure, serve};
use crate::app::demo;
use crate::app::house::House;
use crate::domain::person::Role;
use crate::web::Options;

#[derive(Args)]
pub struct Demo {
    #[arg(long, env = "FETTLE_LISTEN", default_value = "127.0.0.1:8080")]
    listen: String,
    /// Where the demo's database is kept; without it, in a new temporary folder
    #[arg(long)]
    data: Option<PathBuf>,
    /// Another number makes another history
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

impl Demo {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        let folder = match self.data {
            Some(folder) => folder,
            None => std::env::temp_dir().join(format!("fettle-demo-{}", std::process::id())),
        };
        std::fs::create_dir_all(&folder)?;
        let path = folder.join("demo.db");
        if !path.exists() {
            made(&folder, &path, self.seed).await?;
        }
        let house = Arc::new(House::open(&url(&path)).await?);
        let (_, token) = house.add_token(demo::SITE, Role::Auditor, Some("demo")).await?;
        let text = told(&path.display().to_string(), &token);
        serve::serve(&self.listen, house, Options::default(), serve::Beside::default(), |address| {
            println!("{}", text.replace("ADDR", &address.to_string()));
        })
        .await
    }
}

fn url(path: &Path) -> String {
    format!("sqlite:{}", path.display())
}

/// A database as it lies on the disk: its log and its index lie beside it.
fn files(path: &Path) -> [PathBuf; 3] {
    ["-wal", "-shm", ""].map(|end| PathBuf::from(format!("{}{end}", path.display())))
}

/// Makes the demo under another name and gives it its own when it is whole: one that broke off is never served.
async fn made(folder: &Path, path: &Path, seed: u64) -> Result<(), Failure> {
    let unfinished = folder.join("unfinished.db");
    for left in files(&unfinished).into_iter().chain(files(path)) {
        match std::fs::remove_file(&left) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error.into()),
            _ => {}
        }
    }
    let house = House::open(&url(&unfinished)).await?;
    let made = demo::make(&house, seed).await;
    house.close().await;
    made?;
    // The database itself comes last: until it has its name, nothing has been made.
    for (from, to) in files(&unfinished).into_iter().zip(files(path)) {
        if from.exists() {
            std::fs::rename(from, to)?;
        }
    }
    Ok(())
}

fn told(path: &str, token: &str) -> String {
    let mut text = format!("\nA demo hospital with invented people and parts, in {path}\n\n");
    text.push_str(&format!("Open http://ADDR and sign in at site {}:\n\n", demo::SITE));
    for (code, _, role) in demo::PEOPLE {
        text.push_str(&format!("    {code:<10} {}   ({})\n", demo::PASSWORD, role.words()));
    }
    text.push_str("\nThe same by the API, as the auditor:\n\n");
    text.push_str(&format!(
        "    curl -H 'Authorization: Bearer {token}' http://ADDR/api/v1/{}/sets\n",
        demo::SITE
    ));
    text
}
