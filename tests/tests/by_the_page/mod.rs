//! Reads bytes by the tables of a written page: forms as its first table says them, groups and choices as the others list them.
//!
//! Knows no code of the core: what reads here can be read by anybody who has the page.

use std::collections::BTreeMap;

/// A field of a group or a choice: its name and its form.
pub(crate) type Fields = Vec<(String, String)>;

/// What the page's tables say.
#[derive(Default)]
pub(crate) struct Forms {
    pub(crate) groups: BTreeMap<String, Fields>,
    pub(crate) choices: BTreeMap<String, BTreeMap<u8, (String, Fields)>>,
    /// What the limits are where nobody says otherwise.
    pub(crate) defaults: Vec<String>,
    /// Bytes of a text at most.
    pub(crate) text_max: usize,
}

fn rows<'p>(page: &'p str, heading: &str, cells: usize) -> Vec<Vec<&'p str>> {
    let (_, after) = page.split_once(heading).expect("the heading");
    let rows: Vec<Vec<&str>> = after
        .lines()
        .skip_while(|line| !line.starts_with('|'))
        .take_while(|line| line.starts_with('|'))
        .skip(2)
        .map(|line| line.trim_matches('|').split('|').map(str::trim).collect())
        .collect();
    assert!(
        rows.iter().all(|row| row.len() == cells),
        "{heading}: {rows:?}"
    );
    rows
}

/// The tables of a page; groups and limits where it has them.
pub(crate) fn forms(page: &str, text_max: usize) -> Forms {
    let mut forms = Forms {
        text_max,
        ..Forms::default()
    };
    if page.contains("\n## Groups\n") {
        for row in rows(page, "\n## Groups\n", 4) {
            let field = (row[1].to_owned(), row[2].to_owned());
            forms
                .groups
                .entry(row[0].to_owned())
                .or_default()
                .push(field);
        }
        for row in rows(page, "\n### Limits\n", 4) {
            let field = (row[0].to_owned(), row[1].to_owned());
            forms
                .groups
                .entry("limits".to_owned())
                .or_default()
                .push(field);
            forms.defaults.push(row[2].to_owned());
        }
    }
    for row in rows(page, "\n## Choices\n", 4) {
        let fields = row[3]
            .split(", ")
            .filter(|field| !field.is_empty())
            .map(|field| {
                // "one sweep flag": the form is the last word, "torque option angle" has two.
                let words: Vec<&str> = field.split(' ').collect();
                let from = words.iter().position(|word| *word == "option");
                let (name, form) = words.split_at(from.unwrap_or(words.len() - 1));
                (name.join(" "), form.join(" "))
            });
        let choice = forms.choices.entry(row[0].to_owned()).or_default();
        let number = row[1].parse().expect("a number");
        choice.insert(number, (row[2].to_owned(), fields.collect()));
    }
    forms
}

/// A value met, with its place, its bytes and what it is.
#[derive(Debug)]
pub(crate) struct Met {
    pub(crate) path: String,
    pub(crate) from: usize,
    pub(crate) to: usize,
    pub(crate) value: String,
    pub(crate) means: String,
}

pub(crate) struct Reader<'b> {
    pub(crate) bytes: &'b [u8],
    pub(crate) at: usize,
    pub(crate) met: Vec<Met>,
    pub(crate) forms: &'b Forms,
}

impl Reader<'_> {
    fn byte(&mut self) -> Result<u8, String> {
        let byte = self.bytes.get(self.at).copied();
        self.at += 1;
        byte.ok_or_else(|| format!("ends at byte {}", self.at))
    }

    fn number(&mut self, bits: u32) -> Result<u64, String> {
        let (mut value, mut shift) = (0_u128, 0_u32);
        loop {
            let byte = self.byte()?;
            value |= u128::from(byte & 0x7F) << shift;
            if byte & 0x80 == 0 {
                if byte == 0 && shift > 0 || value >> bits != 0 {
                    return Err(format!("no number at byte {}", self.at));
                }
                return Ok(u64::try_from(value).expect("of so many bits"));
            }
            shift += 7;
            if shift > 63 {
                return Err(format!("no number at byte {}", self.at));
            }
        }
    }

    fn keep(&mut self, path: &str, from: usize, value: impl ToString, means: &str) {
        self.met.push(Met {
            path: path.trim_start().to_owned(),
            from,
            to: self.at,
            value: value.to_string(),
            means: means.to_owned(),
        });
    }

    pub(crate) fn read(&mut self, path: &str, form: &str) -> Result<(), String> {
        let from = self.at;
        let forms = self.forms;
        if let Some(form) = form.strip_prefix("option ") {
            let is_some = self.byte()?;
            self.keep(
                path,
                from,
                is_some,
                if is_some == 0 { "none" } else { "some" },
            );
            return match is_some {
                0 => Ok(()),
                1 => self.read(path, form),
                _ => Err(format!("no option at byte {from}")),
            };
        }
        if let Some(form) = form.strip_prefix("list ") {
            let count = self.number(16)?;
            self.keep(path, from, count, "how many");
            return (0..count).try_for_each(|index| self.read(&format!("{path} {index}"), form));
        }
        if let Some(form) = form.strip_prefix("four ") {
            return (0..4).try_for_each(|index| self.read(&format!("{path} {index}"), form));
        }
        match form {
            "u8" => {
                let value = self.byte()?;
                self.keep(path, from, value, "");
            }
            "flag" => match self.byte()? {
                value @ (0 | 1) => self.keep(path, from, value, ["no", "yes"][usize::from(value)]),
                _ => return Err(format!("no flag at byte {from}")),
            },
            "u16" | "u32" | "time" => {
                let bits = match form {
                    "u16" => 16,
                    "u32" => 32,
                    _ => 64,
                };
                let value = self.number(bits)?;
                self.keep(path, from, value, if form == "time" { "µs" } else { "" });
            }
            "unix" => {
                let number = i128::from(self.number(64)?);
                let value = if number % 2 == 0 {
                    number / 2
                } else {
                    -(number + 1) / 2
                };
                self.keep(path, from, value, "s");
            }
            "torque" | "angle" | "length" => {
                let number = i64::try_from(self.number(32)?).expect("of 32 bits");
                let value = if number % 2 == 0 {
                    number / 2
                } else {
                    -(number + 1) / 2
                };
                if value.abs() > 1_000_000_000 {
                    return Err(format!("too large at byte {from}"));
                }
                let unit = match form {
                    "torque" => "mN·m",
                    "angle" => "m°",
                    _ => "µm",
                };
                self.keep(path, from, value, unit);
            }
            "text" => {
                let length = usize::try_from(self.number(16)?).expect("of 16 bits");
                let text = self
                    .bytes
                    .get(self.at..self.at + length)
                    .filter(|_| length <= forms.text_max);
                let text = text.and_then(|text| std::str::from_utf8(text).ok());
                let text = text.ok_or_else(|| format!("no text at byte {from}"))?;
                self.at += length;
                self.keep(path, from, text, "");
            }
            group if forms.groups.contains_key(group) => {
                for (field, form) in &forms.groups[group] {
                    self.read(&format!("{path} {field}"), form)?;
                }
            }
            choice => {
                let listed = forms
                    .choices
                    .get(choice)
                    .ok_or_else(|| format!("what is `{choice}`?"))?;
                let number = self.byte()?;
                let (means, fields) = listed
                    .get(&number)
                    .ok_or_else(|| format!("no {choice} at byte {from}"))?;
                self.keep(path, from, number, means);
                for (field, form) in fields {
                    self.read(&format!("{path} {field}"), form)?;
                }
            }
        }
        Ok(())
    }
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    let digits: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    digits.join(" ")
}

/// A line for each value: its bytes, its place, what it is. The values lie end to end.
pub(crate) fn listing(bytes: &[u8], met: &[Met]) -> String {
    let (mut lines, mut at) = (String::new(), 0);
    for met in met {
        assert_eq!(met.from, at, "{met:?}");
        at = met.to;
        let means = format!(" {}", met.means);
        let line = format!(
            "{:<12} {} = {}{}\n",
            hex(&bytes[met.from..met.to]),
            met.path,
            met.value,
            means.trim_end()
        );
        lines.push_str(&line);
    }
    assert_eq!(at, bytes.len());
    lines
}

/// The bytes in front of such lines.
pub(crate) fn listed(lines: &str) -> Vec<u8> {
    let byte = |word: &str| {
        u8::from_str_radix(word, 16)
            .ok()
            .filter(|_| word.len() == 2)
    };
    lines
        .lines()
        .flat_map(|line| line.split(' ').map_while(byte))
        .collect()
}

/// What the text block of a page shows, and the page with that block made this.
pub(crate) fn example<'p>(page: &'p str, wanted: &str) -> (&'p str, String) {
    let (head, rest) = page.split_once("```text\n").expect("an example");
    let (shown, tail) = rest.split_once("```").expect("its end");
    (shown, format!("{head}```text\n{wanted}```{tail}"))
}
