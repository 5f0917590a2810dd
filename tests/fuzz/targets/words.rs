//! Lines, keys and values of a plan changed at random, with the words that the plan's schema knows.

use std::sync::LazyLock;

use evendraw::plan::schema::schema;
use serde_json::Value;

/// What the schema knows: keys, and the words that a value may be.
static KNOWN: LazyLock<(Vec<String>, Vec<String>)> = LazyLock::new(|| {
    let (mut keys, mut values) = (Vec::new(), Vec::new());
    collect(&schema(), &mut keys, &mut values);
    values.extend(VALUES.iter().map(|&value| value.to_owned()));
    (keys, values)
});

const VALUES: [&str; 32] = [
    "\"30 N·m\"",
    "\"24..28 lbf·ft\"",
    "\"max 10 N·m\"",
    "\"90°\"",
    "\"90..94°\"",
    "\"±5 %\"",
    "\"+10 % -0 %\"",
    "\"+4° -0°\"",
    "\"0.05..0.15 mm\"",
    "\"4 h\"",
    "\"3 min\"",
    "\"M10x1.5\"",
    "\"3/8-16 UNC\"",
    "\"restart 1\"",
    "\"2026-11-30\"",
    "\"110 mm\"",
    "{ number = 6, diameter = \"110 mm\" }",
    "{ 1 = [0, 0], 2 = [80, 0], 3 = [80, 60], 4 = [0, 60] }",
    "{ A = [\"1\", \"2\"], B = [\"3\"] }",
    "{ short = \"22 N·m\", long = \"18 N·m\" }",
    "[\"short\", \"long\"]",
    "[\"1\", \"2\"]",
    "[[1, 2], [3, 4]]",
    "[]",
    "{}",
    "\"\"",
    "true",
    "false",
    "0",
    "-1",
    "1.5",
    "9223372036854775807",
];

const HEADERS: [&str; 12] = [
    "[build]",
    "[[joint]]",
    "[[joint.stage]]",
    "[[joint.variant]]",
    "[[joint.block]]",
    "[[joint.block.stage]]",
    "[joint.positions]",
    "[[tool]]",
    "[[tool.calibration]]",
    "[tool.lines]",
    "[[part]]",
    "[[task]]",
];

const NUMBERS: [&str; 12] = [
    "0",
    "1",
    "2",
    "3",
    "7",
    "64",
    "65",
    "255",
    "256",
    "1000000",
    "0.001",
    "99999999999",
];

fn collect(schema: &Value, keys: &mut Vec<String>, values: &mut Vec<String>) {
    match schema {
        Value::Object(members) => {
            for (name, member) in members {
                match member {
                    Value::Object(own) if name == "properties" => keys.extend(own.keys().cloned()),
                    Value::Array(own) if name == "enum" => {
                        values.extend(own.iter().map(Value::to_string));
                    }
                    Value::String(_) if name == "const" => values.push(member.to_string()),
                    _ => {}
                }
                collect(member, keys, values);
            }
        }
        Value::Array(items) => {
            for item in items {
                collect(item, keys, values);
            }
        }
        _ => {}
    }
}

/// Numbers at random, by one seed.
pub struct Words(u32);

impl Words {
    pub fn new(seed: u32) -> Self {
        Self(seed | 1)
    }

    pub fn below(&mut self, count: usize) -> usize {
        // Xorshift: never zero, as it began with none.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        self.0 as usize % count.max(1)
    }

    fn one_of<'w>(&mut self, words: &'w [impl AsRef<str>]) -> &'w str {
        words[self.below(words.len())].as_ref()
    }

    fn entry(&mut self) -> String {
        let (keys, values) = &*KNOWN;
        format!("{} = {}", self.one_of(keys), self.one_of(values))
    }

    /// The text with one to three changes.
    pub fn change(&mut self, text: &str) -> String {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        for _ in 0..=self.below(3) {
            self.change_one(&mut lines);
        }
        lines.join("\n")
    }

    fn change_one(&mut self, lines: &mut Vec<String>) {
        if lines.is_empty() {
            lines.push("[[joint]]".to_owned());
        }
        let (from, to) = (self.below(lines.len()), self.below(lines.len()));
        match self.below(9) {
            0 => drop(lines.remove(from)),
            1 => lines.insert(to, lines[from].clone()),
            2 => lines.swap(from, to),
            3 => lines.insert(to, self.entry()),
            4 => {
                lines.insert(to, self.one_of(&HEADERS).to_owned());
                lines.insert(to + 1, self.entry());
            }
            5 => {
                if let (Some((key, _)), Some((_, value))) =
                    (lines[from].split_once('='), lines[to].split_once('='))
                {
                    lines[from] = format!("{key}={value}");
                }
            }
            6 => {
                if let Some((key, _)) = lines[from].split_once('=') {
                    lines[from] = format!("{key}= {}", self.one_of(&KNOWN.1));
                }
            }
            7 => {
                if let Some((_, value)) = lines[from].split_once('=') {
                    lines[from] = format!("{} ={value}", self.one_of(&KNOWN.0));
                }
            }
            _ => lines[from] = self.other_number(&lines[from]),
        }
    }

    /// The line with one of its numbers changed.
    fn other_number(&mut self, line: &str) -> String {
        let is_digit = |at: usize| line.as_bytes().get(at).is_some_and(u8::is_ascii_digit);
        let starts: Vec<usize> = (0..line.len())
            .filter(|&at| is_digit(at) && (at == 0 || !is_digit(at - 1)))
            .collect();
        if starts.is_empty() {
            return line.to_owned();
        }
        let start = starts[self.below(starts.len())];
        let end = (start..line.len())
            .find(|&at| !is_digit(at))
            .unwrap_or(line.len());
        format!(
            "{}{}{}",
            &line[..start],
            self.one_of(&NUMBERS),
            &line[end..]
        )
    }
}
