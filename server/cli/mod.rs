//! What is said on the command line: arguments, start and stop.

pub mod account;
pub mod calc;
mod calc_fit;
mod calc_life;
mod calc_mark;
pub mod check;
pub mod demo;
mod import;
pub mod serve;
pub mod simulate;

use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};
use tracing_subscriber::EnvFilter;

use crate::app::house::{House, chain};

/// Keeps the rigid instruments of an airway-endoscopy service ready and safe.
#[derive(Parser)]
#[command(name = "fettle", version, about)]
struct Cli {
    #[command(subcommand)]
    what: What,
}

/// Which database.
#[derive(Args, Clone, Debug)]
pub struct Database {
    /// sqlite:PATH or postgres://USER@HOST/NAME
    #[arg(long, env = "FETTLE_DATABASE", default_value = "sqlite:fettle.db")]
    pub database: String,
}

#[derive(Subcommand)]
enum What {
    /// Make a demo hospital, print how to sign in, serve it
    Demo(demo::Demo),
    /// Serve a database; it migrates itself
    Serve(serve::Serve),
    /// Found a site
    Site {
        #[command(subcommand)]
        what: account::Site,
    },
    /// Add, disable or re-key people
    Person {
        #[command(subcommand)]
        what: account::Person,
    },
    /// Bring a list of models, parts, count sheets, sets or cases into the house
    Import(import::Import),
    /// Make, list or revoke API tokens
    Token(account::Token),
    /// Replay the ledger and compare it with the tables
    Rebuild(check::Rebuild),
    /// Copy a database into a file, safe while serving
    Backup(check::Backup),
    /// Copy a backup into an empty database
    Restore(check::Restore),
    /// Write a simulated hospital's commands as JSON lines
    Simulate(simulate::Simulate),
    /// Compute without a database
    Calc(calc::CalcArgs),
}

/// The program.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    if let What::Calc(args) = cli.what {
        return calc::run(args);
    }
    if let What::Simulate(it) = cli.what {
        return it.run().unwrap_or_else(|error| failed(&*error));
    }
    let json = !matches!(cli.what, What::Demo(_));
    logs(json);
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return failed(&error),
    };
    let done = runtime.block_on(async move {
        match cli.what {
            What::Demo(it) => it.run().await,
            What::Serve(it) => it.run().await,
            What::Site { what } => what.run().await,
            What::Person { what } => what.run().await,
            What::Import(it) => it.run().await,
            What::Token(it) => it.run().await,
            What::Rebuild(it) => it.run().await,
            What::Backup(it) => it.run().await,
            What::Restore(it) => it.run().await,
            What::Calc(_) | What::Simulate(_) => Ok(ExitCode::SUCCESS),
        }
    });
    match done {
        Ok(code) => code,
        Err(error) => failed(&*error),
    }
}

/// What goes wrong on the command line, whatever floor it comes from.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

fn failed(error: &(dyn std::error::Error + 'static)) -> ExitCode {
    eprintln!("fettle: {}", chain(error));
    ExitCode::FAILURE
}

/// Logs go to standard error: standard output carries only what was promised.
fn logs(json: bool) {
    let filter = EnvFilter::try_from_env("FETTLE_LOG").unwrap_or_else(|_| EnvFilter::new("warn,fettle=info"));
    let to = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if json { to.json().init() } else { to.compact().init() }
}

impl Database {
    pub async fn open(&self) -> Result<House, Failure> {
        Ok(House::open(&self.database).await?)
    }
}
