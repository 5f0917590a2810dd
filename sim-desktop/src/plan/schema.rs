//! The JSON Schema of the plan file, for editors.
//!
//! It describes shape and words, not sense: units, names and cycles are for [`super::Plan::parse`].

#![cfg_attr(
    not(test),
    expect(
        clippy::indexing_slicing,
        reason = "keys of an object made just above; no text from outside comes here"
    )
)]

use serde_json::{Map, Value, json};

use super::place::ORDER_WORDS;
use super::stage::KINDS;
use crate::limits::{PICTURE_SIDE_MAX, QUANTITY_MAX, REVISION_MAX};

/// The schema, draft 2020-12.
#[must_use]
pub fn schema() -> Value {
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Evendraw plan",
        "description": "One build: its joints, tools, parts, and what must come before what. Quantities are texts as printed, with their unit.",
        "type": "object",
        "additionalProperties": false,
        "required": ["joint"],
        "properties": {
            "build": build(),
            "tool": list_of(&tool()),
            "part": list_of(&part()),
            "task": list_of(&task()),
            "joint": { "type": "array", "minItems": 1, "items": joint() },
        },
        "$defs": {
            "quantity": {
                "description": "A number with its unit as printed: \"33.2 lbf·ft\", \"24..28 lbf·ft\", \"max 10 N·m\", \"90°\".",
                "type": "string",
                "pattern": "[0-9]",
            },
            "torque": by_answer(&json!({ "$ref": "#/$defs/quantity" }), "A torque: \"33.2 lbf·ft\", \"24..28 lbf·ft\", \"max 10 N·m\". Units: N·m, lbf·ft, lbf·in, ozf·in, kgf·m, kgf·cm, N·cm."),
            "angle": by_answer(&json!({ "$ref": "#/$defs/quantity" }), "An angle: \"90°\", \"90..94°\"."),
            "tolerance": by_answer(&json!({ "type": "string", "pattern": "[0-9]" }), "What may be above and below: \"±5 %\", \"+10 % -0 %\", \"±2 N·m\", \"+4° -0°\"."),
            "label": { "type": ["string", "integer"] },
            "labels": {
                "description": "Labels of fasteners, or names of groups.",
                "anyOf": [
                    { "$ref": "#/$defs/label" },
                    { "type": "array", "items": { "$ref": "#/$defs/label" } },
                ],
            },
            "order": {
                "description": "How fasteners are taken: a word, or a list of labels.",
                "anyOf": [
                    { "enum": ORDER_WORDS },
                    { "type": "array", "items": { "$ref": "#/$defs/label" } },
                ],
            },
            "pairs": {
                "description": "Fasteners done at the same time, as the two ends of a stud.",
                "type": "array",
                "items": { "type": "array", "minItems": 2, "maxItems": 2, "items": { "$ref": "#/$defs/label" } },
            },
            "policy": {
                "description": "What follows: replace, ask, or restart at a stage by number or name.",
                "type": "string",
                "pattern": "^(replace|ask|restart .+)$",
            },
            "stage": stage(),
        },
    })
}

fn list_of(item: &Value) -> Value {
    json!({ "type": "array", "items": item })
}

fn text(about: &str) -> Value {
    json!({ "type": "string", "description": about })
}

/// The value itself, or a table with a value under each answer of the joint's variants.
fn by_answer(value: &Value, about: &str) -> Value {
    json!({
        "description": about,
        "anyOf": [ value, { "type": "object", "additionalProperties": value } ],
    })
}

fn described(reference: &str, about: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{reference}"), "description": about })
}

fn object(required: &[&str], properties: Vec<(&str, Value)>) -> Value {
    let properties: Map<String, Value> = properties
        .into_iter()
        .map(|(key, value)| (key.to_owned(), value))
        .collect();
    json!({
        "type": "object",
        "additionalProperties": false,
        "required": required,
        "properties": properties,
    })
}

fn build() -> Value {
    let mut build = object(
        &[],
        vec![
            ("title", text("Title of the job.")),
            ("unit", text("The unit worked on, with its serial number.")),
            ("document", text("The document, its page and revision.")),
            ("customer", text("Customer or order.")),
            ("entered_by", text("Who typed the values in.")),
            ("checked_by", text("Who compared them with the document.")),
            ("note", text("A remark.")),
            (
                "revision",
                json!({ "type": "integer", "minimum": 1, "maximum": REVISION_MAX, "description": "Number of this state of the plan; 1 when silent. Higher than the last one where work that was begun would change." }),
            ),
            ("reason", text("Why this revision was made.")),
            (
                "decide",
                json!({ "enum": ["simple", "guarded"], "description": "How a value is held against a limit: as measured, or with the limit drawn in by the uncertainty of the tool (ISO 14253-1)." }),
            ),
            (
                "tools",
                json!({
                    "description": "Tools of the shop's register, tools.toml, by id.",
                    "anyOf": [ { "type": "string" }, { "type": "array", "items": { "type": "string" } } ],
                }),
            ),
            (
                "demo",
                json!({ "type": "boolean", "description": "Its values are invented: said on every face, never worked from." }),
            ),
        ],
    );
    build["description"] = json!("What is built, and by which document.");
    build
}

fn tool() -> Value {
    let day = json!({ "description": "A day: 2026-05-04.", "format": "date" });
    object(
        &["id", "kind"],
        vec![
            ("id", text("The number painted on it.")),
            (
                "kind",
                json!({ "enum": ["adapter", "stream", "display", "click", "beam", "dial", "angle-gauge", "hand"], "description": "How it shows what was reached." }),
            ),
            ("title", text("What it is called.")),
            ("capacity", described("quantity", "Highest torque.")),
            (
                "lowest",
                described(
                    "quantity",
                    "Lowest usable torque; 20 % of capacity for click and dial where not given.",
                ),
            ),
            (
                "step",
                described("quantity", "Graduation or display resolution."),
            ),
            ("accuracy", text("Share of the reading: \"2 %\".")),
            ("calibrated", day.clone()),
            ("due", day),
            (
                "certificate",
                text("The number of the calibration's certificate."),
            ),
            ("lines", lines()),
        ],
    )
}

fn lines() -> Value {
    let mut schema = object(
        &[],
        vec![
            (
                "columns",
                json!({
                    "description": "What a line holds, in order: time_s, time_ms, time_us, torque_ and its unit, angle_deg, angle_turns, skip. The instrument's own header where not given.",
                    "type": "array",
                    "maxItems": 32,
                    "items": { "type": "string", "pattern": "^(skip|time_(s|ms|us|µs)|torque_.+|angle_.+)$" },
                }),
            ),
            (
                "separator",
                json!({ "type": "string", "minLength": 1, "maxLength": 1, "description": "What stands between columns; a blank stands for any run of blanks. A comma where not given, a semicolon with a decimal comma." }),
            ),
            (
                "decimal",
                json!({ "enum": ["point", "comma"], "description": "The decimal mark." }),
            ),
            (
                "positive",
                json!({ "enum": ["clockwise", "counter-clockwise", "tightening"], "description": "Which way a positive reading pulls." }),
            ),
            (
                "rate",
                json!({ "type": "string", "pattern": "^ *[0-9.]+ *k?Hz *$", "description": "Lines a second of an instrument that prints no time: \"200 Hz\". The time of arrival where not given." }),
            ),
            (
                "baud",
                json!({ "type": "integer", "minimum": 300, "maximum": 4_000_000, "description": "Bits a second of the serial port; 115,200 where not given." }),
            ),
        ],
    );
    schema["description"] = json!("How a tool of kind stream prints its readings.");
    schema
}

fn part() -> Value {
    object(
        &["name"],
        vec![
            ("name", text("The name that joints and tasks need it by.")),
            ("number", text("Part number.")),
            (
                "quantity",
                json!({ "anyOf": [ { "type": "integer", "minimum": 1, "maximum": QUANTITY_MAX }, { "type": "string", "pattern": "[1-9]" } ], "description": "How many, or how much with its unit: 2, \"0.5 L\". 1 when silent." }),
            ),
            (
                "on_order",
                json!({ "type": "boolean", "description": "Not here yet: holds its joint." }),
            ),
            ("note", text("A remark.")),
        ],
    )
}

fn task() -> Value {
    let names = |about: &str| {
        json!({
            "description": about,
            "anyOf": [ { "type": "string" }, { "type": "array", "items": { "type": "string" } } ],
        })
    };
    object(
        &["id"],
        vec![
            (
                "id",
                json!({ "type": "string", "pattern": "^[^ /]+$", "description": "The word that commands and the journal name." }),
            ),
            ("title", text("What is to be done.")),
            ("note", text("A remark.")),
            ("after", names("Joints and tasks that come first.")),
            (
                "closes",
                names("Joints and tasks that cannot be reached once this is done."),
            ),
            ("needs", names("Parts; a missing one holds the task.")),
            (
                "belongs_to",
                names(
                    "Joints and tasks that undo it when they come apart; those of after and closes when silent.",
                ),
            ),
            ("stack", names("What lies on what, from the bottom up.")),
            (
                "ask",
                text("What is asked when it is done; the answer is kept."),
            ),
            (
                "at",
                json!({ "enum": ["before start"], "description": "Last of all, before the unit is started." }),
            ),
        ],
    )
}

fn checked() -> Value {
    let mut checked = object(
        &["by", "day", "of"],
        vec![
            ("by", text("Who compared it with the document.")),
            (
                "day",
                json!({ "description": "When: 2026-11-29.", "format": "date" }),
            ),
            (
                "of",
                json!({ "type": "string", "pattern": "^[0-9a-fA-F]{8}$", "description": "The sum over what it said then, as the plan screen writes it." }),
            ),
        ],
    );
    checked["description"] =
        json!("A second person compared this line with the document; counts until it changes.");
    checked
}

fn picture(coordinate: &Value) -> Value {
    let two = |number: &Value, about: &str| {
        let point =
            json!({ "type": "array", "minItems": 2, "maxItems": 2, "items": number.clone() });
        json!({ "description": about, "type": "array", "minItems": 2, "maxItems": 2, "items": point })
    };
    let pixel = json!({ "type": "number", "minimum": 0, "maximum": PICTURE_SIDE_MAX });
    let mut picture = object(
        &["file"],
        vec![
            (
                "file",
                json!({ "type": "string", "pattern": "^[^./\\\\:][^/\\\\:]*\\.([Pp][Nn][Gg]|[Jj][Pp][Ee]?[Gg])$", "description": "PNG or JPEG in the plan's folder." }),
            ),
            (
                "pixels",
                two(
                    &pixel,
                    "Two points of the picture: pixels to the right and downwards from its top left.",
                ),
            ),
            (
                "places",
                two(
                    coordinate,
                    "Where these two points are: to the right and upwards, in mm.",
                ),
            ),
            (
                "sheet",
                json!({ "type": "boolean", "description": "Printed faint under the sheet's map." }),
            ),
        ],
    );
    picture["description"] = json!("A picture of the part, laid under the positions.");
    picture
}

fn joint() -> Value {
    let names = |about: &str| {
        json!({
            "description": about,
            "anyOf": [ { "type": "string" }, { "type": "array", "items": { "type": "string" } } ],
        })
    };
    let coordinate = json!({ "type": ["number", "string"] });
    let mut schema = object(
        &["id"],
        vec![
            (
                "id",
                json!({ "type": "string", "pattern": "^[^ /]+$", "description": "The word that commands and shares name." }),
            ),
            ("title", text("What it is called.")),
            (
                "document",
                text("The document, its page and revision, where it is another than the build's."),
            ),
            (
                "entered_by",
                text("Who typed its values in, where it was another than for the build."),
            ),
            ("note", text("A remark.")),
            (
                "thread",
                by_answer(
                    &text(""),
                    "M10x1.5, M10, 3/8-16 UNC, 3/8 BSW, 3/8 BSF, 2BA, Tr 40x7, G 1/8, R 1/8, 3/8 BSP, 1/8-27 NPT.",
                ),
            ),
            (
                "class",
                by_answer(
                    &text(""),
                    "Property class: 8.8, 10.9, 12.9, A2-50 to A4-80, B7.",
                ),
            ),
            (
                "nut",
                by_answer(&text(""), "Property class of a steel nut: 5, 6, 8, 10, 12."),
            ),
            (
                "grade",
                by_answer(
                    &text(""),
                    "Grade of inch fasteners: 2, 5, 8, A325, A490, B7.",
                ),
            ),
            (
                "grip",
                by_answer(&text(""), "Clamped length with its unit."),
            ),
            (
                "condition",
                by_answer(
                    &text(""),
                    "What must be on the threads: dry, oiled, threadlocker, sealant, or a named compound.",
                ),
            ),
            (
                "printed_for",
                by_answer(
                    &text(""),
                    "What the document prints its torques for: dry, oiled, threadlocker, sealant, or a named compound.",
                ),
            ),
            (
                "hand",
                json!({ "enum": ["right", "left"], "description": "Hand of the thread." }),
            ),
            (
                "reuse",
                json!({ "description": "May a fastener that was tight be used again? Also cycles = 5.", "anyOf": [
                { "enum": ["free", "replace-if-loosened"] },
                { "type": "object", "required": ["cycles"], "additionalProperties": false, "properties": { "cycles": { "type": "integer", "minimum": 1, "maximum": 200 } } },
            ] }),
            ),
            (
                "redo",
                json!({ "enum": ["fastener", "neighbours", "joint"], "description": "What one disturbed fastener spoils." }),
            ),
            (
                "positions",
                json!({
                    "description": "A place for each label: to the right and upwards, in mm.",
                    "type": "object",
                    "minProperties": 1,
                    "maxProperties": 64,
                    "additionalProperties": { "type": "array", "minItems": 2, "maxItems": 2, "items": coordinate },
                }),
            ),
            ("circle", {
                let mut circle = object(
                    &["number", "diameter"],
                    vec![
                        (
                            "number",
                            json!({ "type": "integer", "minimum": 1, "maximum": 64, "description": "How many there are." }),
                        ),
                        (
                            "diameter",
                            described("quantity", "Diameter of the bolt circle."),
                        ),
                        (
                            "first_at",
                            described("quantity", "Where the first sits, clockwise from the top."),
                        ),
                    ],
                );
                circle["description"] =
                    json!("Fasteners on a circle, labelled 1, 2, 3… clockwise from the top.");
                circle
            }),
            (
                "groups",
                json!({ "type": "object", "additionalProperties": { "$ref": "#/$defs/labels" }, "description": "Names for sets of fasteners." }),
            ),
            (
                "front",
                json!({ "enum": ["left", "right", "top", "bottom"], "description": "Edge of the map at which FRONT is written." }),
            ),
            ("picture", picture(&coordinate)),
            (
                "order",
                described("order", "The joint's own order; `reverse` is for stages."),
            ),
            (
                "together",
                described("pairs", "Fasteners done at the same time."),
            ),
            (
                "after",
                names("Joints that must be final and tasks that must be done first."),
            ),
            (
                "closes",
                names("Joints that cannot be reached once this one is fitted."),
            ),
            ("needs", names("Parts; a missing one holds the joint.")),
            (
                "shares",
                json!({ "type": "object", "additionalProperties": { "type": "string", "pattern": "/" }, "description": "Own label = other joint/label: one fastener, two joints." }),
            ),
            (
                "second_look",
                json!({ "anyOf": [ { "type": "boolean" }, { "$ref": "#/$defs/labels" } ], "description": "Fasteners that a second person must look at." }),
            ),
            (
                "snug",
                described("torque", "Members in firm contact; angle counts from here."),
            ),
            (
                "prevailing",
                by_answer(
                    &text(""),
                    "Running torque that every torque of the joint comes on top of: \"measure\" or a value.",
                ),
            ),
            ("train", text("Stiffness of the tool train: \"20 N·m/°\".")),
            (
                "sum_max",
                described("angle", "Limit on the sum of a fastener's angles."),
            ),
            ("access", {
                let mut access = object(
                    &["lever", "offset"],
                    vec![
                        (
                            "lever",
                            described("quantity", "Hand to the adapter's axis."),
                        ),
                        (
                            "offset",
                            described("quantity", "Adapter's axis to the fastener."),
                        ),
                        (
                            "angle",
                            described(
                                "quantity",
                                "Between the two; 0° in line, away from the hand.",
                            ),
                        ),
                    ],
                );
                access["description"] =
                    json!("An offset adapter between tool and fastener; `check` says the setting.");
                access
            }),
            ("checked", checked()),
            (
                "variant",
                list_of(&object(
                    &["ask", "answers"],
                    vec![
                        ("id", text("By what the answer is given.")),
                        ("ask", text("The question.")),
                        (
                            "answers",
                            json!({ "type": "array", "minItems": 2, "items": { "type": "string" }, "description": "The answers, at least two." }),
                        ),
                        (
                            "also",
                            json!({ "type": "object", "additionalProperties": { "type": "string" }, "description": "Further answers, each with the one whose values it takes." }),
                        ),
                    ],
                )),
            ),
            (
                "stage",
                json!({ "type": "array", "minItems": 1, "items": { "$ref": "#/$defs/stage" } }),
            ),
            (
                "block",
                list_of(&object(
                    &["stage"],
                    vec![
                        ("name", text("What it is called.")),
                        (
                            "one_at_a_time",
                            json!({ "type": "boolean", "description": "Finishes one fastener before the next." }),
                        ),
                        (
                            "mock_up",
                            json!({ "type": "boolean", "description": "A trial that must come apart again." }),
                        ),
                        ("on", described("labels", "Which fasteners.")),
                        ("order", described("order", "How they are taken.")),
                        (
                            "together",
                            described("pairs", "Fasteners done at the same time."),
                        ),
                        (
                            "stage",
                            json!({ "type": "array", "minItems": 1, "items": { "$ref": "#/$defs/stage" } }),
                        ),
                    ],
                )),
            ),
        ],
    );
    schema["oneOf"] = json!([{ "required": ["positions"] }, { "required": ["circle"] }]);
    schema["anyOf"] = json!([{ "required": ["stage"] }, { "required": ["block"] }]);
    schema
}

fn stage() -> Value {
    let flag = |about: &str| json!({ "type": "boolean", "description": about });
    let passes = |about: &str| json!({ "type": "integer", "minimum": 1, "maximum": 30, "description": about });
    let mut schema = object(
        &["do"],
        vec![
            (
                "do",
                json!({ "enum": KINDS, "description": "What is done." }),
            ),
            (
                "name",
                text("By which other stages refer to it, and the key of its answer."),
            ),
            ("note", text("A remark.")),
            (
                "only",
                json!({ "description": "Done under these answers only.", "anyOf": [ { "type": "string" }, { "type": "array", "items": { "type": "string" } } ] }),
            ),
            (
                "on",
                described("labels", "Which fasteners; all where not given."),
            ),
            (
                "order",
                described(
                    "order",
                    "How they are taken; the joint's order where not given.",
                ),
            ),
            (
                "together",
                described("pairs", "Fasteners done at the same time."),
            ),
            (
                "tool",
                json!({ "description": "Tools to use, by id.", "anyOf": [ { "type": "string" }, { "type": "array", "items": { "type": "string" } } ] }),
            ),
            (
                "evidence",
                json!({ "enum": ["any", "setting", "reading", "curve"], "description": "The least evidence that will do; any by default." }),
            ),
            ("mock_up", flag("A trial that must come apart again.")),
            ("checked", checked()),
            (
                "torque",
                described("torque", "The torque; of a turn, where its end must lie."),
            ),
            (
                "printed",
                described(
                    "torque",
                    "The second printed value, compared with the first.",
                ),
            ),
            (
                "within",
                described(
                    "tolerance",
                    "±4 % for a torque and ±5° for an angle where not given.",
                ),
            ),
            (
                "each",
                json!({ "type": "object", "description": "Targets by fastener or group.", "additionalProperties": { "$ref": "#/$defs/torque" } }),
            ),
            (
                "prevailing",
                by_answer(
                    &text(""),
                    "Running torque to add, here and in every later stage: \"measure\" or a value.",
                ),
            ),
            ("angle", described("angle", "How far.")),
            ("one_sweep", flag("One pull must do.")),
            (
                "sum_max",
                described("angle", "Limit on the sum of a fastener's angles."),
            ),
            (
                "to",
                json!({ "enum": ["free"], "description": "Until it turns freely, in place of an angle." }),
            ),
            (
                "seconds",
                json!({ "type": "integer", "minimum": 1, "maximum": 86_400, "description": "How long, in whole seconds." }),
            ),
            (
                "still",
                described("angle", "Movement that counts as none; 2° where not given."),
            ),
            ("min", passes("Passes at least; 1 where not given.")),
            ("max", passes("Passes at most; 4 where not given.")),
            (
                "turns",
                json!({ "description": "Turns by hand.", "anyOf": [ { "type": "number", "exclusiveMinimum": 0, "maximum": 100 }, { "type": "string" } ] }),
            ),
            ("ask", text("The question, or what is measured.")),
            (
                "per",
                json!({ "enum": ["joint", "fastener"], "description": "Asked once for the joint, or at each fastener." }),
            ),
            (
                "length",
                by_answer(
                    &json!({ "$ref": "#/$defs/quantity" }),
                    "A length: \"0.05..0.15 mm\", \"max 0.2 mm\".",
                ),
            ),
            ("at_least", described("quantity", "Not before: \"4 h\".")),
            ("at_most", described("quantity", "Not after: \"3 min\".")),
            (
                "after",
                text(
                    "Of a wait, the stage or moment it counts from; of a later retorque, the running it is due after.",
                ),
            ),
            (
                "engine",
                json!({ "enum": ["cold", "hot", "any"], "description": "The state it is done in." }),
            ),
            (
                "on_over",
                described("policy", "What follows when it ends too high or too far."),
            ),
            (
                "on_under",
                described("policy", "What follows when a length is too small."),
            ),
        ],
    );
    let needs = |kind: &str, keys: &[&str]| {
        json!({
            "if": { "properties": { "do": { "const": kind } }, "required": ["do"] },
            "then": { "required": keys },
        })
    };
    schema["allOf"] = json!([
        needs("tighten", &["torque"]),
        needs("turn", &["angle"]),
        needs("hold", &["torque", "seconds"]),
        needs("start-by-hand", &["turns"]),
        needs("check", &["ask"]),
        needs("measure", &["ask", "length"]),
        needs("align", &["torque"]),
        needs("retorque", &["torque", "after"]),
        {
            "if": { "properties": { "do": { "const": "back-off" } }, "required": ["do"] },
            "then": { "oneOf": [ { "required": ["angle"] }, { "required": ["to"] } ] },
        },
        {
            "if": { "properties": { "do": { "const": "wait" } }, "required": ["do"] },
            "then": { "anyOf": [ { "required": ["at_least"] }, { "required": ["at_most"] }, { "required": ["after"] } ] },
        },
    ]);
    schema
}
