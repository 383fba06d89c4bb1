//! The address that a rule of alerts names: read strictly, since the server itself will go there.

use std::net::IpAddr;

/// An address in its parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    pub secure: bool,
    /// A name, or an address without brackets.
    pub host: String,
    pub port: u16,
    /// Path and query, beginning with a stroke.
    pub path: String,
}

impl Address {
    /// Reads an address; else says what was found and what is needed.
    pub fn read(text: &str) -> Result<Address, String> {
        let needed = "an address as https://hooks.example.org/fettle is needed";
        let strange = |it: char| !it.is_ascii_graphic() || "\\\"<>^`{|}#".contains(it);
        if text.contains(strange) {
            return Err(format!("found a blank, a #, or a character that stands in no address; {needed}"));
        }
        let (secure, rest) = match (text.strip_prefix("https://"), text.strip_prefix("http://")) {
            (Some(rest), _) => (true, rest),
            (_, Some(rest)) => (false, rest),
            _ => return Err(format!("found \"{text}\"; {needed}")),
        };
        let end = rest.find(['/', '?']).unwrap_or(rest.len());
        let (place, path) = rest.split_at(end);
        if place.contains('@') {
            return Err(format!("found a name or a password before the host; {needed}"));
        }
        let (host, port) =
            split(place).ok_or_else(|| format!("found no host, or no port, in it; {needed}"))?;
        let path = if path.starts_with('/') { path.to_string() } else { format!("/{path}") };
        let port = port.unwrap_or(if secure { 443 } else { 80 });
        let address = Address { secure, host, port, path };
        if !secure && !address.names_this_machine() {
            return Err(
                "found http to another machine; https is needed, since what is told would be open to all"
                    .into(),
            );
        }
        Ok(address)
    }

    fn names_this_machine(&self) -> bool {
        let literal = self.host.parse::<IpAddr>();
        self.host == "localhost" || literal.is_ok_and(|address| address.is_loopback())
    }

    /// As it stands in the head of a request.
    pub fn authority(&self) -> String {
        let host = if self.host.contains(':') { format!("[{}]", self.host) } else { self.host.clone() };
        match (self.secure, self.port) {
            (true, 443) | (false, 80) => host,
            (_, port) => format!("{host}:{port}"),
        }
    }
}

/// Host and port.
fn split(place: &str) -> Option<(String, Option<u16>)> {
    let (host, port) = match place.strip_prefix('[') {
        Some(rest) => {
            let (host, rest) = rest.split_once(']')?;
            let IpAddr::V6(_) = host.parse().ok()? else { return None };
            (host, rest.strip_prefix(':').or(Some("").filter(|_| rest.is_empty()))?)
        }
        None => place.split_once(':').unwrap_or((place, "")),
    };
    let in_host = |it: char| it.is_ascii_alphanumeric() || "-._".contains(it);
    let is_name = !host.is_empty() && host.len() <= 253 && host.chars().all(in_host);
    let is_host = is_name || place.starts_with('[');
    let colon_without_port = place.ends_with(':');
    let port = match port {
        "" => None,
        digits if digits.bytes().all(|it| it.is_ascii_digit()) => {
            Some(digits.parse().ok().filter(|n| *n > 0)?)
        }
        _ => return None,
    };
    (is_host && !colon_without_port).then(|| (host.to_ascii_lowercase(), port))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_read_in_its_parts() {
        let read = |text: &str| Address::read(text).map(|it| (it.secure, it.host, it.port, it.path));
        let whole =
            |secure, host: &str, port, path: &str| Ok((secure, host.to_string(), port, path.to_string()));
        assert_eq!(read("https://Hooks.example.org"), whole(true, "hooks.example.org", 443, "/"));
        assert_eq!(read("https://h.example:8443/a/b?c=d"), whole(true, "h.example", 8443, "/a/b?c=d"));
        assert_eq!(read("https://h.example?c=d"), whole(true, "h.example", 443, "/?c=d"));
        assert_eq!(read("http://127.0.0.1:9/x"), whole(false, "127.0.0.1", 9, "/x"));
        assert_eq!(read("http://[::1]:9/x"), whole(false, "::1", 9, "/x"));
        assert_eq!(Address::read("https://[2001:db8::1]/").unwrap().authority(), "[2001:db8::1]");
        assert_eq!(Address::read("https://h.example:8443").unwrap().authority(), "h.example:8443");
    }

    #[test]
    fn what_could_be_read_in_two_ways_is_no_address() {
        for text in [
            "",
            "hooks.example.org",
            "ftp://hooks.example.org",
            "HTTPS://hooks.example.org",
            "https://",
            "https:///x",
            "https://:443/",
            "https://a:b@h.example/",
            "https://h.example@10.0.0.1/",
            "https://h.example:/",
            "https://h.example:0/",
            "https://h.example:99999/",
            "https://h.example:+1/",
            "https://h.example/#a",
            "https://h.example/a b",
            "https://h.example\\@x/",
            "https://hö.example/",
            "https://[::1",
            "https://[1.2.3.4]/",
            "http://h.example/",
            "http://10.0.0.1/",
            "http://localhost.example/",
        ] {
            assert!(Address::read(text).is_err(), "{text}");
        }
    }
}
