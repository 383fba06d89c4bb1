use std::process::ExitCode;

use clap::Parser;
use fettle::cli::calc;

#[derive(Parser)]
#[command(name = "fettle", version)]
enum Cli {
    /// Calculate one thing without a database.
    Calc(calc::CalcArgs),
}

fn main() -> ExitCode {
    match Cli::parse() {
        Cli::Calc(args) => calc::run(args),
    }
}
