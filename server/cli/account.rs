//! Sites, people and tokens from the command line. A running server sees each change at its next request.

use std::io::Read;
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::{Database, Failure};
use crate::domain::id::Id;
use crate::domain::person::Role;

fn role(text: &str) -> Result<Role, String> {
    let names: Vec<&str> = Role::ALL.iter().map(|role| role.name()).collect();
    Role::parse(text).ok_or_else(|| format!("one of {} is needed", names.join(", ")))
}

#[derive(Subcommand)]
pub enum Site {
    /// Found a site
    Add {
        #[arg(long)]
        site: String,
        #[arg(long)]
        name: String,
        /// A zone of the zone database, as Europe/Berlin
        #[arg(long)]
        timezone: String,
        /// A site for teaching, with invented instruments: every page and label of it says PRACTICE
        #[arg(long)]
        practice: bool,
        #[command(flatten)]
        database: Database,
    },
}

impl Site {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        let Site::Add { site, name, timezone, practice, database } = self;
        let house = database.open().await?;
        if practice {
            crate::app::demo::practice(&house, &site, &name, &timezone).await?;
        } else {
            house.add_site(&site, &name, &timezone).await?;
        }
        house.close().await;
        println!("{site}");
        Ok(ExitCode::SUCCESS)
    }
}

#[derive(Subcommand)]
pub enum Person {
    /// Add a person; the password is read from standard input
    Add {
        #[arg(long)]
        site: String,
        #[arg(long)]
        name: String,
        #[arg(long, value_parser = role)]
        role: Role,
        /// The code to sign in with; made from the name where it is not given
        #[arg(long)]
        code: Option<String>,
        #[command(flatten)]
        database: Database,
    },
    /// Disable a person and end their sessions
    Disable {
        #[arg(long)]
        site: String,
        #[arg(long)]
        code: String,
        #[command(flatten)]
        database: Database,
    },
    /// Give a person a badge, read from standard input as its reader sends it; an empty line takes it back
    Badge {
        #[arg(long)]
        site: String,
        #[arg(long)]
        code: String,
        #[command(flatten)]
        database: Database,
    },
    /// Give a person a PIN of 4 to 8 digits, read from standard input, for signing in with the badge
    Pin {
        #[arg(long)]
        site: String,
        #[arg(long)]
        code: String,
        #[command(flatten)]
        database: Database,
    },
    /// Set a person's password, read from standard input, and end their sessions
    Password {
        #[arg(long)]
        site: String,
        #[arg(long)]
        code: String,
        #[command(flatten)]
        database: Database,
    },
}

/// The first line of standard input.
fn password() -> Result<String, Failure> {
    let mut text = String::new();
    std::io::stdin().take(4_096).read_to_string(&mut text)?;
    Ok(text.lines().next().unwrap_or_default().to_string())
}

fn known(found: bool, site: &str, code: &str) -> Result<(), Failure> {
    if found { Ok(()) } else { Err(format!("there is no person \"{code}\" at site \"{site}\"").into()) }
}

impl Person {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        match self {
            Person::Add { site, name, role, code, database } => {
                let password = password()?;
                let house = database.open().await?;
                let code = house.add_person(&site, code.as_deref(), &name, role, &password).await?;
                house.close().await;
                println!("{code}");
            }
            Person::Disable { site, code, database } => {
                let house = database.open().await?;
                let found = house.disable_person(&site, &code).await?;
                house.close().await;
                known(found, &site, &code)?;
            }
            Person::Badge { site, code, database } => {
                let badge = password()?;
                let house = database.open().await?;
                let found = house.set_badge(&site, &code, &badge).await?;
                house.close().await;
                known(found, &site, &code)?;
            }
            Person::Pin { site, code, database } => {
                let pin = password()?;
                let house = database.open().await?;
                let found = house.set_pin(&site, &code, &pin).await?;
                house.close().await;
                known(found, &site, &code)?;
            }
            Person::Password { site, code, database } => {
                let password = password()?;
                let house = database.open().await?;
                let found = house.set_password(&site, &code, &password).await?;
                house.close().await;
                known(found, &site, &code)?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

#[derive(Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Token {
    #[command(subcommand)]
    what: Option<TokenWhat>,
    #[arg(long)]
    site: Option<String>,
    #[arg(long, value_parser = role)]
    role: Option<Role>,
    #[arg(long)]
    name: Option<String>,
    #[command(flatten)]
    database: Database,
}

#[derive(Subcommand)]
enum TokenWhat {
    /// List the tokens of a site: id, role, name, and whether it is revoked
    List {
        #[arg(long)]
        site: String,
        #[command(flatten)]
        database: Database,
    },
    /// Revoke a token by its id
    Revoke {
        #[arg(long)]
        site: String,
        #[arg(long)]
        id: String,
        #[command(flatten)]
        database: Database,
    },
}

impl Token {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        match self.what {
            None => {
                let site = self.site.ok_or("--site is needed")?;
                let role = self.role.ok_or("--role is needed")?;
                let house = self.database.open().await?;
                let (_, secret) = house.add_token(&site, role, self.name.as_deref()).await?;
                house.close().await;
                println!("{secret}");
            }
            Some(TokenWhat::List { site, database }) => {
                let house = database.open().await?;
                let code = Id::new(&site).ok_or_else(|| format!("\"{site}\" is no site"))?;
                let (_, tokens) = house.accounts(&code).await?;
                house.close().await;
                for token in tokens {
                    let revoked = if token.revoked { "revoked" } else { "in force" };
                    println!("{}\t{}\t{}\t{revoked}", token.id, token.role.name(), token.name);
                }
            }
            Some(TokenWhat::Revoke { site, id, database }) => {
                let house = database.open().await?;
                let found = house.revoke_token(&site, &id).await?;
                house.close().await;
                if !found {
                    return Err(format!("there is no token \"{id}\" at site \"{site}\"").into());
                }
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}
