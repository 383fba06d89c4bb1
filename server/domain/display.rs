//! Where a wall display stands: an address, or a range of addresses, at which the wall is shown without a sign-in.

use std::net::IpAddr;

use ipnet::IpNet;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::command::{Malformed, wrong};

/// A site names so many at most.
const MOST: usize = 100;

/// An address as `10.1.2.3`, or a range of them as `10.1.2.0/28`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct DisplayAddress(IpNet);

impl DisplayAddress {
    pub fn parse(text: &str) -> Option<DisplayAddress> {
        let one = || text.parse::<IpAddr>().ok().map(IpNet::from);
        text.parse::<IpNet>().ok().or_else(one).map(|it| DisplayAddress(it.trunc()))
    }

    pub fn contains(&self, address: IpAddr) -> bool {
        self.0.contains(&address)
    }
}

impl std::fmt::Display for DisplayAddress {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0.prefix_len() == self.0.max_prefix_len() {
            true => self.0.addr().fmt(to),
            false => self.0.fmt(to),
        }
    }
}

impl Serialize for DisplayAddress {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for DisplayAddress {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let told: String = text.chars().take(60).collect();
        let wrong = || {
            let needed = "an address as 10.1.2.3, or a range as 10.1.2.0/28, is needed";
            serde::de::Error::custom(format!("found \"{told}\"; {needed}"))
        };
        DisplayAddress::parse(&text).ok_or_else(wrong)
    }
}

/// Displays are named: a range of every address there is names none.
pub(super) fn whole(all: &[DisplayAddress]) -> Result<(), Malformed> {
    if all.len() > MOST {
        let detail = format!("found {} addresses; at most {MOST} are needed", all.len());
        return Err(wrong("/wall_addresses", detail));
    }
    if all.iter().any(|it| it.0.prefix_len() == 0) {
        let detail = "found every address there is; the addresses of the displays are needed";
        return Err(wrong("/wall_addresses", detail));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_and_a_range_are_read_and_told_alike() {
        let range = DisplayAddress::parse("10.1.2.7/28").unwrap();
        assert_eq!(range.to_string(), "10.1.2.0/28");
        let within = |text: &str| range.contains(text.parse().unwrap());
        assert!(within("10.1.2.0") && within("10.1.2.15") && !within("10.1.2.16") && !within("::1"));
        let one = DisplayAddress::parse("2001:db8::7").unwrap();
        assert_eq!(one.to_string(), "2001:db8::7");
        assert!(
            one.contains("2001:db8::7".parse().unwrap()) && !one.contains("2001:db8::8".parse().unwrap())
        );
        for wrong in ["", "10.1.2", "10.1.2.3/33", "display-1", "10.1.2.3:80", " 10.1.2.3"] {
            assert_eq!(DisplayAddress::parse(wrong), None, "{wrong:?}");
        }
        assert!(whole(&[range, one]).is_ok());
        assert!(whole(&[DisplayAddress::parse("0.0.0.0/0").unwrap()]).is_err());
    }
}
