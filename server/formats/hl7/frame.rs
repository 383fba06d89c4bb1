//! The frame around a message on a connection: a start byte, the message, an end byte and a carriage return.
//!
//! Source: the minimal lower layer protocol of HL7 version 2, appendix C, as several published pages quote it. What
//! stands between frames is passed over; every byte is looked at once, and no more is held than one message may have.

use memchr::{memchr, memchr2};

pub const START: u8 = 0x0b;
pub const END: u8 = 0x1c;

/// A message as its frame held it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Framed {
    pub bytes: Vec<u8>,
    /// It was longer than is kept; these are its first bytes.
    pub cut: bool,
}

/// Finds messages in what a connection brings, piece by piece.
#[derive(Debug)]
pub struct Framer {
    most: usize,
    held: Vec<u8>,
    inside: bool,
    /// Bytes of the message under way that were not kept.
    dropped: u64,
    /// Bytes passed over since the last whole message, but for line ends.
    passed_over: u64,
    /// Messages that another one followed before they ended.
    unended: u64,
}

impl Framer {
    /// A framer that keeps at most so many bytes of a message.
    pub fn new(most: usize) -> Framer {
        Framer { most, held: Vec::new(), inside: false, dropped: 0, passed_over: 0, unended: 0 }
    }

    /// Takes bytes up to the end of the next message: how many were taken, and the message, where it is whole.
    pub fn take(&mut self, input: &[u8]) -> (usize, Option<Framed>) {
        let mut at = 0;
        while let Some(rest) = input.get(at..).filter(|rest| !rest.is_empty()) {
            if !self.inside {
                let gap = memchr(START, rest).unwrap_or(rest.len());
                let odd = rest.iter().take(gap).filter(|byte| !matches!(byte, b'\r' | b'\n')).count();
                self.passed_over += odd as u64;
                self.inside = gap < rest.len();
                at += gap + usize::from(self.inside);
                continue;
            }
            let length = memchr2(START, END, rest).unwrap_or(rest.len());
            self.keep(rest.get(..length).unwrap_or_default());
            at += length;
            match rest.get(length) {
                Some(&END) => return (at + 1, Some(self.whole())),
                // A message that never ended: whoever sent it began anew.
                Some(_) => {
                    self.unended += 1;
                    self.forget();
                    at += 1;
                }
                None => {}
            }
        }
        (at, None)
    }

    fn keep(&mut self, bytes: &[u8]) {
        let room = self.most.saturating_sub(self.held.len()).min(bytes.len());
        self.held.extend_from_slice(bytes.get(..room).unwrap_or_default());
        self.dropped += (bytes.len() - room) as u64;
    }

    fn forget(&mut self) {
        self.held.clear();
        self.dropped = 0;
    }

    fn whole(&mut self) -> Framed {
        let cut = self.dropped > 0;
        let bytes = std::mem::take(&mut self.held);
        self.inside = false;
        self.passed_over = 0;
        self.forget();
        Framed { bytes, cut }
    }

    /// Whether a message has begun that has not ended.
    pub fn inside(&self) -> bool {
        self.inside
    }

    /// Bytes taken since the last whole message that are kept nowhere.
    pub fn wasted(&self) -> u64 {
        self.dropped + self.passed_over
    }

    pub fn unended(&self) -> u64 {
        self.unended
    }

    pub fn held(&self) -> usize {
        self.held.len()
    }
}

/// A message in its frame.
pub fn framed(message: &str) -> Vec<u8> {
    let mut out = Vec::with_capacity(message.len() + 3);
    out.push(START);
    out.extend_from_slice(message.as_bytes());
    out.extend_from_slice(&[END, b'\r']);
    out
}
