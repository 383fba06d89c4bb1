//! The program itself as a process: started, asked, stopped and killed.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use fettle::domain::person::Role;
use serde_json::Value;

use super::own::Own;
use super::served::Served;

const PROGRAM: &str = env!("CARGO_BIN_EXE_fettle");

/// The program's command line with arguments and a database, free of the caller's own settings.
pub fn fettle(arguments: &[&str], url: &str) -> Command {
    settled(Command::new(PROGRAM), arguments, url)
}

/// The same, where no file may grow beyond so many KiB: what a full disk is to a program that may not mount one. The
/// signal that comes with the limit is ignored, so that a write fails as it does on a full disk.
pub fn cramped(arguments: &[&str], url: &str, most_kib: u64) -> Command {
    let mut shell = Command::new("bash");
    let script = format!("trap '' XFSZ; ulimit -S -f {most_kib}; exec \"$0\" \"$@\"");
    shell.args(["-c", &script, PROGRAM]);
    settled(shell, arguments, url)
}

fn settled(mut command: Command, arguments: &[&str], url: &str) -> Command {
    command.args(arguments).args(["--database", url]);
    for name in ["LISTEN", "DATABASE", "SECURE_COOKIE", "TRUSTED_PROXY", "LOG"] {
        command.env_remove(format!("FETTLE_{name}"));
    }
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

/// A process that serves; killed when it is dropped.
pub struct Running {
    child: Child,
    pub base: String,
    pub client: reqwest::Client,
}

impl Running {
    pub fn start(url: &str) -> Running {
        Running::begin(fettle(&["serve", "--listen", "127.0.0.1:0"], url))
    }

    pub fn begin(mut command: Command) -> Running {
        let mut child = command.spawn().expect("a process");
        let mut line = String::new();
        let out = child.stdout.take().expect("its output");
        BufReader::new(out).read_line(&mut line).expect("a line");
        let base = line.trim_end().strip_prefix("listening on ").unwrap_or_else(|| panic!("\"{line}\""));
        let client = reqwest::Client::new();
        Running { child, base: base.into(), client }
    }

    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Kills it as a power cut would, at once.
    pub fn kill(&mut self) {
        self.child.kill().expect("a signal");
        self.child.wait().expect("its end");
    }

    pub fn signal(&self, name: &str) {
        let told = Command::new("bash").args(["-c", &format!("kill -{name} {}", self.id())]).status();
        assert!(told.expect("a shell").success());
    }

    /// How it ended; fails where it does not end in time.
    pub async fn ended(&mut self, within: Duration) -> ExitStatus {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("a status") {
                return status;
            }
            assert!(begun.elapsed() < within, "it does not end");
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }

    /// Posts to the command door; `None` where no whole answer came.
    pub async fn post(&self, at: &Place, command: &Value) -> Option<(u16, Value)> {
        post(&self.client, &self.base, at, command).await
    }
}

/// A caller of its own would outlive the borrow of the process, so this borrows none.
pub async fn post(client: &reqwest::Client, base: &str, at: &Place, command: &Value) -> Option<(u16, Value)> {
    let url = format!("{base}/api/v1/{}/commands", at.site);
    let answer = client.post(url).bearer_auth(&at.token).json(command).send().await.ok()?;
    let status = answer.status().as_u16();
    Some((status, answer.json().await.ok()?))
}

impl Drop for Running {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A site with the token of its lead.
#[derive(Clone)]
pub struct Place {
    pub site: String,
    pub token: String,
}

/// Furnishes a fresh site in a database and leaves it; answers the site and its lead's token.
pub async fn furnished(own: &Own) -> Place {
    let served = Served::on(own.url.clone(), None, None).await;
    served.furnish().await;
    let place = Place { site: served.site.clone(), token: served.token(Role::Lead).into() };
    served.stop().await;
    place
}

/// Every entry of a site with its leaf, read past the program that serves.
pub async fn entries(own: &Own, site: &str) -> Vec<Value> {
    let mut conn = own.connect().await;
    let stored = fettle::storage::ledger::after(&mut conn, site, 0, 1_000_000).await.expect("entries");
    stored.iter().map(|entry| serde_json::from_str(&entry.entry).expect("JSON")).collect()
}

/// What `rebuild --check` says: whether it ended well, and its words.
pub fn checked(own: &Own) -> (bool, String) {
    let done = fettle(&["rebuild", "--check"], &own.url).output().expect("a process");
    (done.status.success(), String::from_utf8(done.stdout).expect("text"))
}
