//! Serving: bind, answer, stop after what was accepted is finished.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use clap::Args;
use ipnet::IpNet;
use tokio::net::TcpListener;
use tokio::signal::unix::{SignalKind, signal};
use tokio::task::{JoinHandle, JoinSet};

use super::{Database, Failure};
use crate::app::alerts;
use crate::app::downtime;
use crate::app::house::{House, chain};
use crate::app::records;
use crate::domain::id::Id;
use crate::web::mllp::{self, Limits, Mllp};
use crate::web::pages::paper_pack;
use crate::web::webhook::{self, Reach, reach};
use crate::web::{App, Options, router};

/// After the signal to stop, requests under way have this long.
const GRACE: Duration = Duration::from_secs(20);

#[derive(Args)]
pub struct Serve {
    #[arg(long, env = "FETTLE_LISTEN", default_value = "127.0.0.1:8080")]
    listen: String,
    #[command(flatten)]
    database: Database,
    /// Send the session's cookie over TLS only: for a server behind a proxy that speaks TLS
    #[arg(long, env = "FETTLE_SECURE_COOKIE")]
    secure_cookie: bool,
    /// Take the caller's address from the proxy in front (the last one in X-Forwarded-For)
    #[arg(long, env = "FETTLE_TRUSTED_PROXY")]
    trusted_proxy: bool,
    /// Judge the records that appear in DIR/SITE/MACHINE/
    #[arg(long, env = "FETTLE_RECORDS", value_name = "DIR")]
    records: Option<PathBuf>,
    /// Keep the downtime pack in DIR/SITE/, made anew every hour: what is ready, and numbered blank sheets
    #[arg(long, env = "FETTLE_DOWNTIME", value_name = "DIR")]
    downtime: Option<PathBuf>,
    /// So many of the last hours are kept in the downtime folder
    #[arg(long, env = "FETTLE_DOWNTIME_KEEP", value_name = "HOURS", default_value_t = 24, value_parser = clap::value_parser!(u16).range(1..=720))]
    downtime_keep: u16,
    /// Take scheduling messages (HL7 SIU over MLLP) at this address
    #[arg(long, env = "FETTLE_MLLP", value_name = "ADDR")]
    mllp: Option<String>,
    /// The site that the scheduling messages are for; else their receiving facility names it
    #[arg(long, env = "FETTLE_MLLP_SITE", value_name = "CODE", requires = "mllp")]
    mllp_site: Option<String>,
    /// Networks of the house's own that webhooks of alerts may reach, as 10.1.0.0/16, with commas between them
    #[arg(long, env = "FETTLE_WEBHOOK_NETWORKS", value_name = "NETWORKS", value_delimiter = ',')]
    webhook_networks: Vec<IpNet>,
    /// Webhooks of alerts may reach this very machine, without TLS too
    #[arg(long, env = "FETTLE_WEBHOOK_LOOPBACK")]
    webhook_loopback: bool,
}

impl Serve {
    pub async fn run(self) -> Result<ExitCode, Failure> {
        let house = Arc::new(self.database.open().await?);
        let options = Options { secure_cookie: self.secure_cookie, trusted_proxy: self.trusted_proxy };
        let schedule = match &self.mllp {
            Some(address) => Some(schedule(address, self.mllp_site.as_deref(), &house).await?),
            None => None,
        };
        let watching = self.records.map(|folder| tokio::spawn(records::watch(house.clone(), folder)));
        let keep = usize::from(self.downtime_keep);
        let downtime = self.downtime.map(|folder| {
            let pack = downtime::Pack { folder, keep, written: paper_pack::file };
            tokio::spawn(downtime::keep(house.clone(), pack))
        });
        let reach = Reach::new(self.webhook_networks, self.webhook_loopback, reach::trusted())?;
        serve(
            &self.listen,
            house,
            options,
            Beside { watching, downtime, schedule, reach: Some(reach) },
            |_| {},
        )
        .await
    }
}

/// What runs beside the pages and the API.
#[derive(Default)]
pub struct Beside {
    pub watching: Option<JoinHandle<()>>,
    pub downtime: Option<JoinHandle<()>>,
    pub schedule: Option<Mllp>,
    /// Where webhooks may go; without it, to public addresses alone.
    pub reach: Option<Reach>,
}

/// Opens the schedule's door.
async fn schedule(address: &str, site: Option<&str>, house: &Arc<House>) -> Result<Mllp, Failure> {
    let site = match site {
        Some(code) if house.site_codes().await.is_ok_and(|all| all.iter().any(|known| known == code)) => {
            Id::new(code)
        }
        Some(code) => return Err(format!("there is no site \"{code}\"; --mllp-site names one").into()),
        None => None,
    };
    let opened = mllp::listen(address, house.clone(), site, Limits::default()).await;
    opened.map_err(|error| taken_or_not(address, &error, "--mllp").into())
}

fn taken_or_not(address: &str, error: &std::io::Error, flag: &str) -> String {
    match error.kind() {
        std::io::ErrorKind::AddrInUse => format!(
            "{address} is in use by another program; stop that one, or choose another address with {flag}"
        ),
        _ => format!("cannot listen on {address}: {error}"),
    }
}

/// Serves until the process is told to stop. `ready` is called once, when the server answers.
pub async fn serve(
    listen: &str,
    house: Arc<House>,
    options: Options,
    beside: Beside,
    ready: impl FnOnce(SocketAddr),
) -> Result<ExitCode, Failure> {
    let listener =
        TcpListener::bind(listen).await.map_err(|error| taken_or_not(listen, &error, "--listen"))?;
    let address = listener.local_addr()?;
    let app = App::new(house.clone(), options);
    let lives = app.lives.clone();
    let service = router::router(app).into_make_service_with_connect_info::<SocketAddr>();
    let reach = match beside.reach {
        Some(reach) => reach,
        None => Reach::new(Vec::new(), false, reach::trusted())?,
    };
    // Each ends with its task.
    let mut own = JoinSet::new();
    own.spawn(purge(house.clone()));
    own.spawn(alerts::watch(house.clone()));
    own.spawn(webhook::deliver(house.clone(), Arc::new(reach)));
    println!("listening on http://{address}");
    ready(address);
    let (stopping, stopped) = tokio::sync::watch::channel(false);
    let server = axum::serve(listener, service).with_graceful_shutdown(async move {
        told_to_stop().await;
        tracing::info!("stopping");
        // A board that renews itself never ends by itself.
        lives.close();
        // The receiver may be gone: then the server has ended already.
        let _ = stopping.send(true);
    });
    let mut server = tokio::spawn(server.into_future());
    let mut stopped = stopped;
    let told = stopped.clone();
    let schedule = tokio::spawn(close_schedule(beside.schedule, told));
    tokio::select! {
        ended = &mut server => ended??,
        _ = async {
            let _ = stopped.wait_for(|stop| *stop).await;
            tokio::time::sleep(GRACE).await;
        } => {
            // Somebody keeps a connection open without asking anything.
            server.abort();
        }
    }
    // A message on its way is due again a minute later, at this server or another.
    own.shutdown().await;
    // What it gave to the clerk is finished; a file that it has not moved yet is known again after the next start.
    // What it took of the schedule is answered.
    let _ = schedule.await;
    for beside in [beside.watching, beside.downtime].into_iter().flatten() {
        beside.abort();
    }
    house.close().await;
    Ok(ExitCode::SUCCESS)
}

/// Closes the schedule's door when the server stops, or has ended.
async fn close_schedule(schedule: Option<Mllp>, mut stopped: tokio::sync::watch::Receiver<bool>) {
    let Some(schedule) = schedule else { return };
    // A sender that is gone has ended.
    let _ = stopped.wait_for(|stop| *stop).await;
    schedule.close().await;
}

async fn told_to_stop() {
    let (Ok(mut terminate), Ok(mut interrupt)) =
        (signal(SignalKind::terminate()), signal(SignalKind::interrupt()))
    else {
        // Without signals the server runs until it is killed.
        return std::future::pending().await;
    };
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
}

/// Removes sessions that are over, every hour.
async fn purge(house: Arc<House>) {
    loop {
        tokio::time::sleep(Duration::from_secs(3_600)).await;
        match house.purge_sessions().await {
            Ok(0) => {}
            Ok(ended) => tracing::info!(ended, "sessions ended"),
            Err(error) => tracing::warn!(error = %chain(&error), "sessions could not be purged"),
        }
    }
}
