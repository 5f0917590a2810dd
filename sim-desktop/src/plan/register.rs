//! The shop's register of tools: one file for all plans, with what each calibration found.
//!
//! A plan names tools of it in `[build] tools`. What the register says of them is put behind the plan's own text before that is read,
//! and so into the journal: a record never depends on a file that changes later. Knows nothing of journals and readings.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use jiff::civil::Date;

use super::build::{Tool, date, tool};
use super::diagnostic::{Diagnostics, PlanErrors};
use super::tree::{Choice, Place, Reader, Typed, texts_of};
use super::{Plan, tree};
use crate::limits::{CALIBRATIONS_MAX, REGISTER_TOOLS_MAX, TOOLS_MAX, counted, read_plan};
use crate::quantity::{PercentUnit, Quantity};

/// What the file is called.
pub const FILE: &str = "tools.toml";
/// Folders above a plan that are looked into.
pub const HIGHEST: usize = 16;
/// A tool that is off by more is broken, and not off.
const OFF_PPM_MAX: i64 = 500_000;
/// The keys of a tool in the order that a plan is given them.
const KEYS: [&str; 8] = [
    "kind",
    "title",
    "capacity",
    "lowest",
    "step",
    "accuracy",
    "calibrated",
    "due",
];

/// Where a plan's tools may stand beside itself.
#[derive(Clone, Copy)]
pub(super) enum Shop<'r> {
    /// There is no register, or nobody looked for one.
    Nothing,
    /// In the register.
    Register(&'r Register),
    /// There is one, with errors.
    Wrong(&'r PlanErrors),
}

/// The register.
#[derive(Clone, Debug)]
pub struct Register {
    path: PathBuf,
    tools: Vec<Registered>,
}

/// A tool of the register.
#[derive(Clone, Debug)]
pub struct Registered {
    /// As a plan knows it, with its last calibration.
    pub tool: Tool,
    /// Its calibrations, the oldest first.
    pub calibrations: Vec<Calibration>,
    /// What a plan is given: its table in TOML.
    text: String,
}

/// One calibration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calibration {
    /// When.
    pub date: Date,
    /// Until when it holds.
    pub due: Option<Date>,
    /// What it found before anything was adjusted: how much the tool showed too much, in parts per million of the truth.
    pub as_found_ppm: Option<i64>,
    /// As typed.
    pub as_found: Option<String>,
    /// The number of its certificate.
    pub certificate: Option<String>,
    /// A remark.
    pub note: Option<String>,
}

impl Register {
    /// The register that counts for a folder: the one in it, or else in the nearest folder above. None where there is none.
    ///
    /// # Errors
    /// Everything that is wrong in the file, each with its place; that it cannot be read, likewise.
    pub fn of_folder(folder: &Path) -> Result<Option<Self>, PlanErrors> {
        let folder = if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        };
        let whole = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
        let found = whole
            .ancestors()
            .take(HIGHEST)
            .map(|folder| folder.join(FILE))
            .find(|path| path.is_file());
        let Some(path) = found else {
            return Ok(None);
        };
        match read_plan(&path) {
            Ok(text) => Self::parse(&path, &text).map(Some),
            Err(error) => {
                let to = Diagnostics::new(&path.display().to_string(), "");
                to.error(&(0..0), format!("cannot be read: {error}"), "", "");
                Err(to.into_errors())
            }
        }
    }

    /// Reads a register.
    ///
    /// # Errors
    /// Everything that is wrong, each with its place.
    pub fn parse(path: &Path, text: &str) -> Result<Self, PlanErrors> {
        let to = Diagnostics::new(&path.display().to_string(), text);
        let entries = tree::parse(text, &to);
        if to.has_errors() {
            return Err(to.into_errors());
        }
        let silent = Choice::default();
        let beginning = Place::new(0..0, &to);
        let mut reader = Reader::new("the register", &beginning, &entries, &silent);
        let nodes = reader.tables("tool", "tool");
        if let Some(one_too_many) = nodes.get(REGISTER_TOOLS_MAX) {
            one_too_many.place.error(
                format!(
                    "{} tools: more than the {} allowed",
                    counted(nodes.len()),
                    counted(REGISTER_TOOLS_MAX)
                ),
                "one too many",
                "",
            );
        }
        let table = text.parse::<toml::Table>().unwrap_or_default();
        let raw = table.get("tool").and_then(toml::Value::as_array);
        let mut ids = BTreeSet::new();
        let mut tools = Vec::new();
        for (at, node) in nodes.into_iter().take(REGISTER_TOOLS_MAX).enumerate() {
            let of = format!("tool {}", at.saturating_add(1));
            let Some(mut own) = Reader::of_node(of, node, &silent) else {
                continue;
            };
            for key in ["calibrated", "due"] {
                if own.has(key) {
                    own.key_place(key).error(
                        format!("`{key}` of {} stands outside its calibrations", own.of),
                        "here",
                        "write [[tool.calibration]] under the tool, with `date` and `due`",
                    );
                }
            }
            let calibrations = calibrations(&mut own);
            let Some(mut tool) = tool(&mut own, &mut ids) else {
                continue;
            };
            let last = calibrations.last();
            tool.calibrated = last.map(|last| last.date);
            tool.due = last.and_then(|last| last.due);
            tool.certificate = last.and_then(|last| last.certificate.clone());
            let raw = raw.and_then(|list| list.get(at)?.as_table());
            tools.push(Registered {
                text: raw.map_or_else(String::new, |raw| written(&tool, raw)),
                tool,
                calibrations,
            });
        }
        reader.finish(|_| None);
        to.settle()?;
        Ok(Self {
            path: path.to_owned(),
            tools,
        })
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The tools, in the order of the file.
    #[must_use]
    pub fn tools(&self) -> &[Registered] {
        &self.tools
    }

    /// The tool with this id.
    #[must_use]
    pub fn tool(&self, id: &str) -> Option<&Registered> {
        self.tools.iter().find(|own| own.tool.id == id)
    }

    fn ids(&self) -> Vec<&str> {
        self.tools.iter().map(|own| own.tool.id.as_str()).collect()
    }
}

impl Registered {
    /// The last calibration that found how far the tool was off, and the days between which it may have been: from the calibration
    /// before to the one that found it.
    #[must_use]
    pub fn last_found(&self) -> Option<(&Calibration, Option<Date>)> {
        let at = self
            .calibrations
            .iter()
            .rposition(|own| own.as_found_ppm.is_some())?;
        let before = at.checked_sub(1).and_then(|at| self.calibrations.get(at));
        Some((self.calibrations.get(at)?, before.map(|own| own.date)))
    }
}

/// The calibrations under a tool, the oldest first.
fn calibrations(own: &mut Reader<'_>) -> Vec<Calibration> {
    let silent = Choice::default();
    let nodes = own.tables("calibration", "tool.calibration");
    if let Some(one_too_many) = nodes.get(CALIBRATIONS_MAX) {
        one_too_many.place.error(
            format!(
                "{} calibrations: more than the {CALIBRATIONS_MAX} allowed",
                counted(nodes.len())
            ),
            "one too many",
            "",
        );
    }
    let mut list: Vec<Calibration> = Vec::new();
    for node in nodes.into_iter().take(CALIBRATIONS_MAX) {
        let of = format!("a calibration of {}", own.of);
        let Some(mut one) = Reader::of_node(of, node, &silent) else {
            continue;
        };
        if !one.has("date") {
            one.missing("date");
        }
        let day = date(&mut one, "date");
        let due = date(&mut one, "due");
        if let (Some(day), Some(due)) = (day, due)
            && due < day
        {
            one.key_place("due").error(
                format!("due on {due}, before the calibration on {day}"),
                "here",
                "due lies after date",
            );
        }
        let as_found = one.text("as_found");
        let as_found_ppm = as_found.as_ref().and_then(off);
        let certificate = one.text("certificate").map(|typed| typed.text);
        let note = one.text("note").map(|typed| typed.text);
        one.finish(|_| None);
        let Some(day) = day else { continue };
        if list.iter().any(|known| known.date == day) {
            one.key_place("date").error(
                format!("two calibrations of {} on {day}", own.of),
                "the second",
                "one a day",
            );
            continue;
        }
        list.push(Calibration {
            date: day,
            due,
            as_found_ppm,
            as_found: as_found.map(|typed| typed.text),
            certificate,
            note,
        });
    }
    list.sort_by_key(|own| own.date);
    list
}

fn off(typed: &Typed<'_>) -> Option<i64> {
    let found = off_ppm(&typed.text);
    if found.is_none() {
        typed.place.error(
            format!("`{}` is not a share of the torque", typed.text),
            "here",
            "what the tool showed too much, from -50 % to +50 %: \"-6 %\" where it showed too little",
        );
    }
    found
}

/// How much a tool showed too much, in parts per million of the truth: `-6 %`, `+2.5%`. None where the text is no such share.
pub(crate) fn off_ppm(text: &str) -> Option<i64> {
    let text = text.trim();
    let (sign, size) = match text.strip_prefix(['-', '−']) {
        Some(size) => (-1, size),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let size = Quantity::<PercentUnit>::parse(size.trim()).ok()?;
    let ppm = size.parts_per_million().checked_mul(sign)?;
    (ppm.unsigned_abs() <= OFF_PPM_MAX.unsigned_abs()).then_some(ppm)
}

/// A tool as a plan is given it.
fn written(tool: &Tool, raw: &toml::Table) -> String {
    let mut text = String::from("[[tool]]\n");
    let mut put = |key: &str, value: &dyn std::fmt::Display| {
        let _ = writeln!(text, "{key} = {value}");
    };
    let of_text = |text: &str| toml::Value::String(text.to_owned());
    put("id", &of_text(&tool.id));
    for key in KEYS {
        if let Some(value) = raw.get(key) {
            put(key, value);
        }
    }
    if let Some(day) = tool.calibrated {
        put("calibrated", &day);
    }
    if let Some(day) = tool.due {
        put("due", &day);
    }
    if let Some(number) = &tool.certificate {
        put("certificate", &of_text(number));
    }
    if let Some(lines) = raw.get("lines").and_then(toml::Value::as_table) {
        text.push_str("[tool.lines]\n");
        for (key, value) in lines {
            let _ = writeln!(text, "{key} = {value}");
        }
    }
    text
}

impl Plan {
    /// Reads, checks and compiles a plan that may name tools of the register that counts for `folder`. What it takes from there stands
    /// behind the text as typed, in [`Plan::text`].
    ///
    /// # Errors
    /// As [`Plan::parse`]; a register that is needed and wrong is an error where the plan names its tools.
    pub fn read(name: &str, text: &str, folder: &Path) -> Result<Self, PlanErrors> {
        if named_elsewhere(text).is_empty() {
            return Self::parse(name, text);
        }
        match Register::of_folder(folder) {
            Ok(Some(register)) => {
                let whole = with_register(text, &register);
                Self::parse_with(name, &whole, Shop::Register(&register))
            }
            Ok(None) => Self::parse(name, text),
            Err(errors) => Self::parse_with(name, text, Shop::Wrong(&errors)),
        }
    }
}

/// The plan's text, and behind it the tools of the register that it names and does not list itself.
fn with_register(text: &str, register: &Register) -> String {
    let named = named_elsewhere(text);
    let taken: Vec<&Registered> = named.iter().filter_map(|id| register.tool(id)).collect();
    let mut whole = text.to_owned();
    if taken.is_empty() {
        return whole;
    }
    if !whole.ends_with('\n') {
        whole.push('\n');
    }
    let _ = write!(
        whole,
        "\n# From the register of tools, {FILE}, as it was when this plan was read:\n"
    );
    for own in taken {
        whole.push('\n');
        whole.push_str(&own.text);
    }
    whole
}

/// The tools that `[build] tools` names and the plan does not list. Whatever else is wrong is told by whoever reads the plan.
fn named_elsewhere(text: &str) -> Vec<String> {
    let Ok(table) = text.parse::<toml::Table>() else {
        return Vec::new();
    };
    let id = |value: &toml::Value| match value {
        toml::Value::String(text) => Some(text.clone()),
        toml::Value::Integer(number) => Some(number.to_string()),
        _ => None,
    };
    let own: Vec<String> = match table.get("tool") {
        Some(toml::Value::Array(list)) => {
            list.iter().filter_map(|tool| id(tool.get("id")?)).collect()
        }
        _ => Vec::new(),
    };
    let mut named: Vec<String> = Vec::new();
    match table.get("build").and_then(|build| build.get("tools")) {
        Some(toml::Value::Array(list)) => named.extend(list.iter().filter_map(id)),
        Some(one) => named.extend(id(one)),
        None => {}
    }
    let mut seen = BTreeSet::new();
    named.retain(|id| !own.contains(id) && seen.insert(id.clone()));
    named.truncate(TOOLS_MAX);
    named
}

/// The tools named in `[build]`. Says which of them stand neither in the plan nor in the register.
pub(super) fn named(
    build: Option<&tree::Node<'_>>,
    ids: &BTreeSet<String>,
    shop: Shop<'_>,
) -> Vec<String> {
    let Some(tree::Value::Table(entries)) = build.map(|node| &node.value) else {
        return Vec::new();
    };
    let Some((_, node)) = entries.iter().find(|(key, _)| key.text == "tools") else {
        return Vec::new();
    };
    let mut seen = BTreeSet::new();
    let mut list = Vec::new();
    for typed in texts_of(node, "`tools` of [build]") {
        if !seen.insert(typed.text.clone()) {
            typed.place.error(
                format!("tool `{}` is named twice", typed.text),
                "the second",
                "each tool once",
            );
        } else if ids.contains(&typed.text) {
            list.push(typed.text);
        } else if let Shop::Wrong(errors) = shop {
            wrong(node, errors);
            return list;
        } else {
            missing(&typed, shop);
        }
    }
    list
}

/// A tool that stands nowhere.
fn missing(typed: &Typed<'_>, shop: Shop<'_>) {
    let (what, allowed) = match shop {
        Shop::Register(register) => (
            format!(
                "tool `{}` stands neither in this plan nor in the register {}",
                typed.text,
                register.path.display()
            ),
            match typed.place.to.closest(&typed.text, register.ids()) {
                Some(near) => format!("did you mean `{near}`?"),
                None => format!("tools there: {}", register.ids().join(", ")),
            },
        ),
        Shop::Nothing | Shop::Wrong(_) => (
            format!(
                "tool `{}` does not stand in this plan, and there is no register",
                typed.text
            ),
            format!("list it here as [[tool]], or in {FILE} in the plan's folder or one above it"),
        ),
    };
    typed.place.error(what, "named here", allowed);
}

/// A register with errors is told at the plan, so that the plan's lines stay the plan's.
fn wrong(node: &tree::Node<'_>, errors: &PlanErrors) {
    let first = errors.list().first().map_or_else(String::new, |first| {
        format!("line {}: {}", first.line(), first.what())
    });
    let more = match errors.count() {
        0 | 1 => String::new(),
        count => format!("; {} more", count.saturating_sub(1)),
    };
    node.place.error(
        format!("the register {} has errors: {first}{more}", errors.name()),
        "tools of it are named here",
        "`evendraw tools FOLDER`, with the folder that it lies in, shows each at its place",
    );
}
