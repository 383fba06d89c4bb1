//! One source file as the rules read it: without comments, without strings, with its blocks and functions.

use std::ops::Range;

/// A file's text in three forms of equal length, so that a position means the same in each of them.
pub struct Source {
    /// From the package's root, with `/` between the parts.
    pub path: String,
    pub raw: String,
    /// Comments are blank.
    pub text: String,
    /// Comments, strings and characters are blank.
    pub code: String,
}

/// A function's name, its first line and how many lines it has.
#[derive(Debug, PartialEq)]
pub struct Function {
    pub name: String,
    pub line: usize,
    pub lines: usize,
}

/// A module that a file declares: the names of the blocks around it and its own, and whether only tests see it.
#[derive(Debug, PartialEq)]
pub struct Declared {
    pub names: Vec<String>,
    pub test: bool,
}

impl Source {
    pub fn new(path: &str, raw: &str) -> Source {
        let mut reader = Reader { raw: raw.as_bytes(), at: 0, text: vec![], code: vec![] };
        while reader.at < reader.raw.len() {
            reader.step();
        }
        let own = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Source { path: path.into(), raw: raw.into(), text: own(reader.text), code: own(reader.code) }
    }

    pub fn line(&self, at: usize) -> usize {
        self.raw[..at].matches('\n').count() + 1
    }

    /// The place of `at` for a message.
    pub fn place(&self, at: usize) -> String {
        format!("{}:{}", self.path, self.line(at))
    }

    /// The words of the code with where they begin; a word is a name, a keyword or a number.
    pub fn words(&self) -> impl Iterator<Item = (usize, &str)> {
        let mut rest = 0;
        std::iter::from_fn(move || {
            let begin = rest + self.code[rest..].find(is_word)?;
            let end = self.code[begin..].find(|c| !is_word(c)).map_or(self.code.len(), |n| begin + n);
            rest = end;
            Some((begin, &self.code[begin..end]))
        })
    }

    /// The end of the item that begins at `at`: past its block, or past the semicolon where it has none.
    fn item(&self, at: usize) -> Range<usize> {
        let mut nested = 0;
        for (i, byte) in self.code.bytes().enumerate().skip(at) {
            match byte {
                b'(' | b'[' => nested += 1,
                b')' | b']' => nested -= 1,
                b';' if nested == 0 => return at..i + 1,
                b'{' if nested == 0 => return at..self.block(i),
                _ => {}
            }
        }
        at..self.code.len()
    }

    /// Past the brace that closes the one at `open`.
    fn block(&self, open: usize) -> usize {
        let mut depth = 0;
        for (i, byte) in self.code.bytes().enumerate().skip(open) {
            match byte {
                b'{' => depth += 1,
                b'}' if depth == 1 => return i + 1,
                b'}' => depth -= 1,
                _ => {}
            }
        }
        self.code.len()
    }

    pub fn functions(&self) -> Vec<Function> {
        let mut found = vec![];
        for (at, _) in self.words().filter(|&(_, word)| word == "fn") {
            // A pointer's type, `fn(u8)`, has no name and no body.
            let Some(name) = first_word(&self.code[at + 2..]) else {
                continue;
            };
            let lines = self.code[self.item(at)].matches('\n').count() + 1;
            found.push(Function { name: name.into(), line: self.line(at), lines });
        }
        found
    }

    /// The items that stand under `#[cfg(test)]`.
    pub fn test_ranges(&self) -> Vec<Range<usize>> {
        let mark = "#[cfg(test)]";
        let found = self.code.match_indices(mark);
        found.map(|(at, _)| at..self.item(self.past_attributes(at)).end).collect()
    }

    /// The code with every item under `#[cfg(test)]` blank.
    pub fn outside_tests(&self) -> String {
        let mut code = self.code.clone().into_bytes();
        for range in self.test_ranges() {
            code[range].iter_mut().filter(|byte| **byte != b'\n').for_each(|byte| *byte = b' ');
        }
        String::from_utf8(code).unwrap()
    }

    fn past_attributes(&self, at: usize) -> usize {
        let mut at = at;
        while self.code[at..].trim_start().starts_with("#[") {
            let close = self.code[at..].find(']').map_or(self.code.len(), |n| at + n + 1);
            at = close;
        }
        at
    }

    /// The modules with a block here, outermost first as they stand: name and range.
    fn inline_modules(&self) -> Vec<(&str, Range<usize>)> {
        let mods = self.words().filter(|&(_, word)| word == "mod");
        mods.filter_map(|(at, _)| {
            let range = self.item(at);
            let name = first_word(&self.code[at + 3..])?;
            self.code[range.clone()].ends_with('}').then_some((name, range))
        })
        .collect()
    }

    /// The names of the modules whose blocks stand around `at`.
    pub fn blocks_around(&self, at: usize) -> Vec<&str> {
        let around =
            self.inline_modules().into_iter().filter(|(_, range)| range.contains(&at) && range.start != at);
        around.map(|(name, _)| name).collect()
    }

    /// The modules that have a file of their own.
    pub fn declared(&self) -> Vec<Declared> {
        let tests = self.test_ranges();
        let mut found = vec![];
        for (at, _) in self.words().filter(|&(_, word)| word == "mod") {
            let Some(name) = first_word(&self.code[at + 3..]) else {
                continue;
            };
            if self.code[self.item(at)].ends_with(';') {
                let names = self.blocks_around(at).into_iter().chain([name]).map(String::from).collect();
                found.push(Declared { names, test: tests.iter().any(|range| range.contains(&at)) });
            }
        }
        found
    }
}

pub fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The word that follows white space.
fn first_word(text: &str) -> Option<&str> {
    let name = text.trim_start();
    let end = name.find(|c| !is_word(c)).unwrap_or(name.len());
    (end > 0 && name.len() < text.len()).then(|| &name[..end])
}

/// Walks over Rust's text once and copies it twice, with blanks where a form leaves something out.
struct Reader<'a> {
    raw: &'a [u8],
    at: usize,
    text: Vec<u8>,
    code: Vec<u8>,
}

impl Reader<'_> {
    fn step(&mut self) {
        let rest = &self.raw[self.at..];
        let in_word = self.at > 0 && (is_word(self.raw[self.at - 1].into()) || self.raw[self.at - 1] >= 0x80);
        if rest.starts_with(b"//") {
            let n = rest.iter().position(|byte| *byte == b'\n').unwrap_or(rest.len());
            self.take(n, false, false);
        } else if rest.starts_with(b"/*") {
            self.take(comment(rest), false, false);
        } else if let Some(n) = raw_string(rest).filter(|_| !in_word) {
            self.take(n, true, false);
        } else if rest[0] == b'"' {
            self.take(quoted(rest, b'"'), true, false);
        } else if rest[0] == b'\'' && is_character(rest) {
            self.take(quoted(rest, b'\''), true, false);
        } else {
            self.take(1, true, true);
        }
    }

    fn take(&mut self, n: usize, in_text: bool, in_code: bool) {
        for &byte in &self.raw[self.at..self.at + n] {
            let kept = |keep: bool| if keep || byte == b'\n' { byte } else { b' ' };
            self.text.push(kept(in_text));
            self.code.push(kept(in_code));
        }
        self.at += n;
    }
}

/// The length of a comment in `/*`, which may hold others.
fn comment(rest: &[u8]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < rest.len() {
        match &rest[at..rest.len().min(at + 2)] {
            b"/*" => (depth, at) = (depth + 1, at + 2),
            b"*/" if depth == 1 => return at + 2,
            b"*/" => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
    }
    rest.len()
}

/// The length of a raw string, if one begins here: `r"…"`, `r#"…"#`, and with a `b` or `c` before.
fn raw_string(rest: &[u8]) -> Option<usize> {
    let prefix = rest.iter().take_while(|byte| matches!(byte, b'b' | b'c')).count();
    let hashes = rest.get(prefix + 1..)?.iter().take_while(|byte| **byte == b'#').count();
    let open = prefix + 1 + hashes;
    if prefix > 1 || rest[prefix] != b'r' || rest.get(open) != Some(&b'"') {
        return None;
    }
    let close = [b"\"".as_slice(), &b"#".repeat(hashes)].concat();
    let inside = &rest[open + 1..];
    let end = inside.windows(close.len()).position(|window| window == close);
    Some(end.map_or(rest.len(), |end| open + 1 + end + close.len()))
}

/// The length of a string or character with its quotes, where a backslash keeps the next byte from closing it.
fn quoted(rest: &[u8], quote: u8) -> usize {
    let mut at = 1;
    while at < rest.len() && rest[at] != quote {
        at += if rest[at] == b'\\' { 2 } else { 1 };
    }
    rest.len().min(at + 1)
}

/// Whether an apostrophe begins a character and not a lifetime.
fn is_character(rest: &[u8]) -> bool {
    let next = std::str::from_utf8(&rest[1..rest.len().min(9)]);
    let next = next.or_else(|error| std::str::from_utf8(&rest[1..1 + error.valid_up_to()]));
    let mut letters = next.unwrap_or("").chars();
    letters.next() == Some('\\') || letters.next() == Some('\'')
}

#[test]
fn comments_and_strings_are_left_out() {
    let check = |raw: &str, text: &str, code: &str| {
        let source = Source::new("x.rs", raw);
        let short = |form: &str| form.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!((short(&source.text), short(&source.code)), (text.into(), code.into()), "{raw}");
        assert_eq!((source.text.len(), source.code.len()), (raw.len(), raw.len()), "{raw}");
    };
    check("a // b { \"\nc", "a c", "a c");
    check("a /* b /* c */ d */ e", "a e", "a e");
    check(r#"a("} // \" {") + b"#, r#"a("} // \" {") + b"#, "a( ) + b");
    check(r##"r#"x " y"# z"##, r##"r#"x " y"# z"##, "z");
    check(r#"br"\" + bar"\"" + 'x'"#, r#"br"\" + bar"\"" + 'x'"#, "+ bar +");
    check(r"'{' '\'' '\u{7d}' '•' b'}' 'a: x", r"'{' '\'' '\u{7d}' '•' b'}' 'a: x", "b 'a: x");
    check("f::<'a, 'b>('c')", "f::<'a, 'b>('c')", "f::<'a, 'b>( )");
    check("r#fn \"é\" é", "r#fn \"é\" é", "r#fn é");
}

#[test]
fn functions_are_measured() {
    let check = |raw: &str, expected: &[(&str, usize, usize)]| {
        let found: Vec<_> =
            Source::new("x.rs", raw).functions().into_iter().map(|f| (f.name, f.line, f.lines)).collect();
        let expected: Vec<_> =
            expected.iter().map(|&(name, line, lines)| (name.into(), line, lines)).collect();
        assert_eq!(found, expected, "{raw}");
    };
    check("fn a() {}", &[("a", 1, 1)]);
    check("\nfn a(x: [u8; 3])\n-> [u8; 2] {\n  '}'; \"}\" // }\n}\nx", &[("a", 2, 4)]);
    check("trait T { fn a(); fn b() {\n} }", &[("a", 1, 1), ("b", 1, 2)]);
    check("fn a() {\n fn b() {\n }\n}", &[("a", 1, 4), ("b", 2, 2)]);
    check("type F = fn(u8); let f: fn() = x;", &[]);
}

#[test]
fn tests_and_modules_are_told_apart() {
    let raw = "mod a;\nmod b { mod c; }\n#[cfg(test)]\n#[allow(x)]\nmod t {\n use z;\n}\n#[cfg(test)] mod u;\nfn end() {}";
    let source = Source::new("x.rs", raw);
    let declared: Vec<_> = source.declared().into_iter().map(|d| (d.names.join("/"), d.test)).collect();
    assert_eq!(declared, [("a".into(), false), ("b/c".into(), false), ("u".into(), true)]);
    let left: Vec<_> = source.outside_tests().split_whitespace().map(String::from).collect();
    assert_eq!(left.join(" "), "mod a; mod b { mod c; } fn end() {}");
    assert_eq!(source.blocks_around(raw.find("use").unwrap()), ["t"]);
}
