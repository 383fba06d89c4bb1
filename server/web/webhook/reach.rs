//! Where the server goes of itself, and where it does not: a person may name any address, and the machines of the house are
//! none of those that a message may reach, unless the one who runs the server says so.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;

use ipnet::IpNet;
use tokio_rustls::rustls::{self, ClientConfig, RootCertStore};

use crate::domain::alert_address::Address;

/// What the server's options say of the way to other programs.
pub struct Reach {
    /// Networks that may be reached although they are the house's own.
    pub networks: Vec<IpNet>,
    /// This machine may be reached too, and without TLS.
    pub loopback: bool,
    pub tls: Arc<ClientConfig>,
}

/// Who vouches for other programs: whom this machine trusts, or, where it names nobody, the public authorities.
pub fn trusted() -> RootCertStore {
    let mut roots = RootCertStore::empty();
    let found = rustls_native_certs::load_native_certs();
    for error in &found.errors {
        tracing::warn!(%error, "a certificate of this machine could not be read");
    }
    roots.add_parsable_certificates(found.certs);
    if roots.is_empty() {
        roots.extend(webpki_roots::TLS_SERVER_ROOTS.iter().cloned());
    }
    roots
}

impl Reach {
    pub fn new(networks: Vec<IpNet>, loopback: bool, roots: RootCertStore) -> Result<Reach, rustls::Error> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(provider).with_safe_default_protocol_versions()?;
        let tls = Arc::new(config.with_root_certificates(roots).with_no_client_auth());
        Ok(Reach { networks, loopback, tls })
    }

    /// Whether an address may be reached.
    pub fn admits(&self, address: IpAddr) -> bool {
        let plain = address.to_canonical();
        is_public(plain)
            || (self.loopback && plain.is_loopback())
            || self.networks.iter().any(|network| network.contains(&plain))
    }

    /// The places of an address that may be reached. They are looked up once, and gone to as they were looked at: a name
    /// that says another place a moment later leads nowhere else.
    pub async fn places(&self, address: &Address) -> Result<Vec<SocketAddr>, String> {
        if !address.secure && !self.loopback {
            return Err("Not sent: http is not allowed by this server.".into());
        }
        let found: Vec<SocketAddr> = match address.host.parse::<IpAddr>() {
            Ok(literal) => vec![SocketAddr::new(literal, address.port)],
            Err(_) => {
                let found = tokio::net::lookup_host((address.host.as_str(), address.port)).await;
                found.map_err(|_| format!("The name {} leads nowhere.", address.host))?.collect()
            }
        };
        let open: Vec<SocketAddr> = found.iter().copied().filter(|place| self.admits(place.ip())).collect();
        let own = |place: &SocketAddr| address.secure || place.ip().to_canonical().is_loopback();
        let open: Vec<SocketAddr> = open.into_iter().filter(own).collect();
        match (open.is_empty(), found.first()) {
            (false, _) => Ok(open),
            (true, None) => Err(format!("The name {} leads nowhere.", address.host)),
            (true, Some(first)) => Err(format!(
                "Not sent: {} is an address of the house's own networks or of none, which this server does not allow.",
                first.ip()
            )),
        }
    }
}

/// Whether an address is one of the public networks, by the registries of special-purpose addresses (RFC 6890 and its
/// updates, from memory).
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        IpAddr::V6(address) => is_public_v6(address),
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    let special = matches!(
        (a, b, c),
        // This network, shared space (RFC 6598), protocol assignments, documentation, benchmarks, 6to4 relays, and
        // everything from multicast on.
        (0, ..)
            | (100, 64..=127, _)
            | (192, 0, 0 | 2)
            | (198, 18 | 19, _)
            | (198, 51, 100)
            | (203, 0, 113)
            | (192, 88, 99)
            | (224.., ..)
    );
    !(special || address.is_private() || address.is_loopback() || address.is_link_local())
}

fn is_public_v6(address: Ipv6Addr) -> bool {
    let [a, b, c, d, e, f, g, h] = address.segments();
    let leads = (c, d, e) == (0, 0, 0);
    let inner = |high: u16, low: u16| {
        let ([x, y], [z, w]) = (high.to_be_bytes(), low.to_be_bytes());
        is_public_v4(Ipv4Addr::new(x, y, z, w))
    };
    match (a, b) {
        // An address of version 4 in other clothes is what it leads to: mapped, translated (RFC 6052), 6to4 (RFC 3056).
        (0, 0) if leads && f == 0xffff => inner(g, h),
        (0x64, 0xff9b) if leads && f == 0 => inner(g, h),
        (0x2002, _) => inner(b, c),
        // Teredo and the rest of the protocol assignments, and documentation.
        (0x2001, 0..=0x01ff | 0x0db8) => false,
        (0x3fff, 0..=0x0fff) => false,
        // Only this part is given to anybody in public (RFC 4291, the registry of unicast addresses): local, unique
        // local and multicast addresses lie outside of it.
        (0x2000..=0x3fff, _) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_houses_own_networks_are_not_public() {
        for (text, public) in [
            ("10.1.2.3", false),
            ("172.16.0.1", false),
            ("172.32.0.1", true),
            ("192.168.1.1", false),
            ("127.0.0.1", false),
            ("127.255.255.254", false),
            ("169.254.169.254", false),
            ("100.64.0.1", false),
            ("100.128.0.1", true),
            ("0.0.0.0", false),
            ("0.1.2.3", false),
            ("192.0.0.8", false),
            ("192.0.2.1", false),
            ("192.0.3.1", true),
            ("198.18.0.1", false),
            ("203.0.113.9", false),
            ("224.0.0.1", false),
            ("240.0.0.1", false),
            ("255.255.255.255", false),
            ("8.8.8.8", true),
            ("::", false),
            ("::1", false),
            ("::ffff:10.0.0.1", false),
            ("::ffff:8.8.8.8", true),
            ("::10.0.0.1", false),
            ("64:ff9b::a00:1", false),
            ("64:ff9b::808:808", true),
            ("64:ff9b:1::808:808", false),
            ("2002:a00:1::", false),
            ("2002:808:808::", true),
            ("2001::1", false),
            ("2001:db8::1", false),
            ("2001:4860::1", true),
            ("3fff:1::1", false),
            ("fe80::1", false),
            ("fec0::1", false),
            ("fc00::1", false),
            ("fd12:3456::1", false),
            ("ff02::1", false),
            ("100::1", false),
            ("4000::1", false),
        ] {
            assert_eq!(is_public(text.parse().unwrap()), public, "{text}");
        }
    }

    #[test]
    fn options_open_what_they_name_and_no_more() {
        let reach = |networks: &[&str], loopback| {
            let networks = networks.iter().map(|it| it.parse().unwrap()).collect();
            Reach::new(networks, loopback, RootCertStore::empty()).unwrap()
        };
        let may = |reach: &Reach, text: &str| reach.admits(text.parse().unwrap());
        let plain = reach(&[], false);
        assert!(may(&plain, "8.8.8.8") && !may(&plain, "127.0.0.1") && !may(&plain, "10.0.0.1"));
        let own = reach(&["10.1.0.0/16"], false);
        assert!(may(&own, "10.1.2.3") && may(&own, "::ffff:10.1.2.3"));
        assert!(!may(&own, "10.2.0.1") && !may(&own, "::1"));
        let here = reach(&[], true);
        assert!(may(&here, "127.0.0.1") && may(&here, "::1") && !may(&here, "10.0.0.1"));
    }
}
