//! Bad input on the command line: status 2, and a message that says what, where, and what is allowed. Never a panic.

use std::fs;
use std::path::Path;

use evendraw_tests::binary::run;

/// A command line and what its message must name.
struct Row {
    line: &'static [&'static str],
    says: &'static [&'static str],
}

const fn row(line: &'static [&'static str], says: &'static [&'static str]) -> Row {
    Row { line, says }
}

const ROWS: &[Row] = &[
    // The command line itself.
    row(&["--lefty"], &["--lefty"]),
    row(&["nowhere.toml"], &["nowhere.toml"]),
    row(&["plan.toml", "check"], &["plan.toml", "after"]),
    row(&[], &["display", "rehearse"]),
    row(&["plan.toml"], &["display", "rehearse"]),
    // Plans.
    row(&["check", "nowhere.toml"], &["nowhere.toml"]),
    row(
        &["check", "bad-unit.toml"],
        &["lb", "bad-unit.toml:7", "lbf·ft"],
    ),
    row(&["check", "bad-key.toml"], &["torqe", "torque"]),
    row(&["check", "noise.bin"], &["noise.bin", "UTF-8"]),
    row(
        &["plan", "diff", "nowhere.toml", "bad-key.toml"],
        &["nowhere.toml"],
    ),
    row(
        &["plan", "revise", "nowhere.journal", "bad-unit.toml"],
        &["lb", "bad-unit.toml:7", "lbf·ft"],
    ),
    row(&["check", "empty.toml"], &["joint"]),
    row(&["plan", "fmt"], &["<PLANS>"]),
    row(&["plan", "fmt", "nowhere.toml"], &["nowhere.toml"]),
    row(&["plan", "fmt", "noise.bin"], &["noise.bin", "UTF-8"]),
    row(
        &["plan", "fmt", "plan.toml", "broken.toml"],
        &["broken.toml:2", "]"],
    ),
    row(
        &["plan", "add-joint", "nowhere.toml"],
        &["nowhere.toml", "--new"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--new"],
        &["plan.toml", "there already"],
    ),
    row(
        &["plan", "add-joint", "broken.toml", "--like", "P7"],
        &["broken.toml:2", "]"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--like", "P99"],
        &["P99", "P1 (", "P27 ("],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--behind", "keel"],
        &["--behind keel", "it has: lid"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--from", "bad-unit.toml"],
        &["lb", "bad-unit.toml:7", "lbf·ft"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--set", "thread"],
        &["--set thread", "KEY=VALUE"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--set", "stage.2.do=fit"],
        &["stage.2.do", "counted from 1", "1 adds one"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--set", "stage=fit"],
        &["`stage` is a list", "stage.1.do"],
    ),
    row(
        &[
            "plan",
            "add-joint",
            "plan.toml",
            "--like",
            "P7",
            "--set",
            "stage.1.torque=20 lb",
        ],
        &["plan.toml, as it would be:", "20 lb", "lbf·ft"],
    ),
    row(
        &["plan", "add-joint", "plan.toml", "--table", "good.csv"],
        &["good.csv", "time_s"],
    ),
    row(
        &["plan", "diff", "plan.toml", "noise.bin"],
        &["noise.bin", "UTF-8"],
    ),
    // Rehearsals.
    row(&["rehearse", "nowhere.toml"], &["nowhere.toml"]),
    row(&["rehearse", "bad-unit.toml"], &["lb"]),
    row(
        &["rehearse", "--joint", "keel"],
        &["keel", "head", "manifold"],
    ),
    row(
        &["rehearse", "--hand", "heavy"],
        &["heavy", "steady, hurried, jerky"],
    ),
    row(&["rehearse", "--seed", "one"], &["one", "--seed"]),
    row(&["rehearse", "--pulls", "0"], &["--pulls", "1..=50"]),
    row(
        &["rehearse", "--joint", "head", "--fault", "4"],
        &["--fault 4", "FASTENER=KIND"],
    ),
    row(
        &["rehearse", "--joint", "head", "--fault", "4=bent"],
        &["bent", "cross-thread", "stripping"],
    ),
    row(
        &["rehearse", "--joint", "head", "--fault", "44=oiled"],
        &["44", "head", "10"],
    ),
    row(
        &["rehearse", "--fault", "4=oiled"],
        &["which joint", "JOINT/FASTENER=KIND"],
    ),
    row(&["rehearse", "--fault", "keel/4=oiled"], &["keel", "head"]),
    row(
        &["rehearse", "--answer", "condition"],
        &["condition", "KEY=ANSWER"],
    ),
    row(
        &["rehearse", "--answer", "moon=full"],
        &["moon", "condition", "head gasket"],
    ),
    row(
        &["rehearse", "--answer", "condition=maybe"],
        &["maybe", "yes, no"],
    ),
    row(
        &["rehearse", "--journal", "noise.bin"],
        &["noise.bin", "journal"],
    ),
    row(
        &["rehearse", "--journal", "no/such/folder.journal"],
        &["no/such/folder.journal"],
    ),
    row(
        &["rehearse", "plan.toml", "--journal", "other.journal"],
        &["other.journal", "plan.toml"],
    ),
    // Traces.
    row(
        &["judge", "--plan", "plan.toml", "nowhere.csv"],
        &["nowhere.csv"],
    ),
    row(&["judge", "bad-row.csv"], &["--joint", "head"]),
    row(
        &["judge", "--joint", "head", "bad-row.csv"],
        &[
            "bad-row.csv",
            "line 3",
            "4 columns",
            "12,5",
            "decimal point",
        ],
    ),
    row(
        &["judge", "--joint", "head", "no-header.csv"],
        &["line 1", "time_s,torque_Nm,angle_deg"],
    ),
    row(
        &["judge", "--joint", "head", "back.csv"],
        &["line 4", "time_s", "never go back"],
    ),
    row(
        &["judge", "--joint", "head", "noise.bin"],
        &["noise.bin", "line 1"],
    ),
    row(&["judge", "--joint", "head", "empty.toml"], &["no sample"]),
    row(
        &["judge", "--joint", "impeller", "--running", "N", "good.csv"],
        &["--running N", "FASTENER=TORQUE"],
    ),
    row(
        &[
            "judge",
            "--joint",
            "impeller",
            "--running",
            "N=8",
            "good.csv",
        ],
        &["--running N=8", "N·m"],
    ),
    row(
        &[
            "judge",
            "--joint",
            "impeller",
            "--running",
            "N=710 N·m",
            "good.csv",
        ],
        &["N=710 N·m", "up to the target"],
    ),
    row(
        &[
            "judge",
            "--joint",
            "head",
            "--running",
            "4=8 N·m",
            "good.csv",
        ],
        &["4=8 N·m", "prevailing"],
    ),
    row(
        &["judge", "--joint", "head", "--start", "4", "good.csv"],
        &["--start 4", "FASTENER/STAGE"],
    ),
    row(
        &["judge", "--joint", "head", "--start", "44/2", "good.csv"],
        &["44", "10"],
    ),
    row(
        &["judge", "--joint", "head", "--start", "4/9", "good.csv"],
        &["stage 9", "1 to 6"],
    ),
    row(
        &["judge", "--joint", "head", "--start", "4/1", "good.csv"],
        &["stage 1"],
    ),
    row(
        &[
            "judge",
            "--plan",
            "plan.toml",
            "--joint",
            "keel",
            "good.csv",
        ],
        &["keel", "lid"],
    ),
    // What a trace cannot be: too far off zero, begun in the middle, the wrong way round.
    row(
        &["judge", "--joint", "head", "off-zero.csv"],
        &["off-zero.csv", "4.00 N·m", "within 2.00 N·m"],
    ),
    row(
        &["judge", "--joint", "head", "mid-pull.csv"],
        &["mid-pull.csv", "middle of a pull", "10.00 N·m", "0.05 s"],
    ),
    row(
        &["judge", "--joint", "head", "--start", "1/2", "negative.csv"],
        &[
            "negative.csv",
            "-40.00 N·m",
            "wrong hand",
            "positive clockwise",
        ],
    ),
    // Records.
    row(&["record", "nowhere.journal"], &["nowhere.journal"]),
    row(&["record", "noise.bin"], &["noise.bin", "journal"]),
    row(&["record", "empty.toml"], &["empty.toml", "journal"]),
    row(
        &["record", "other.journal", "--csv", "--json"],
        &["--csv", "--json"],
    ),
    row(&["sheet"], &["--blank"]),
    // A shelf of builds.
    row(&["shelf", "nowhere"], &["nowhere"]),
    row(
        &["shelf", ".", "--sort", "colour"],
        &["colour", "name", "worked"],
    ),
    row(&["recall", "."], &["--tool", "--thread"]),
    row(&["recall", "nowhere", "--tool", "A1"], &["nowhere"]),
    row(&["recall", ".", "--from", "May"], &["May", "--from"]),
    row(
        &["recall", ".", "--from", "2026-05-02", "--to", "2026-05-01"],
        &["--to 2026-05-01", "2026-05-02"],
    ),
    row(
        &["recall", ".", "--tool", "A1", "--off", "6 N·m"],
        &["6 N·m", "-50% to +50%"],
    ),
    row(
        &["recall", ".", "--tool", "A1", "--off", "-60%"],
        &["-60%", "-50% to +50%"],
    ),
    row(&["recall", ".", "--tool", "A1", "--outside"], &["--off"]),
    row(
        &["recall", ".", "--tool", "A1", "--csv", "--json"],
        &["--csv and --json"],
    ),
    row(
        &["recall", ".", "--tool", "A1", "-o", "plan.toml", "--force"],
        &["plan.toml"],
    ),
    row(&["recall", ".", "--as-found"], &["--tool"]),
    row(
        &["recall", ".", "--tool", "A1", "--as-found"],
        &["register", "tools.toml"],
    ),
    row(&["tools", "nowhere"], &["nowhere"]),
    row(&["tools", "."], &["register", "tools.toml"]),
    row(&["history", "nowhere"], &["nowhere"]),
    row(
        &["history", ".", "--journal", "noise.bin"],
        &["noise.bin", "journal"],
    ),
    row(&["export", "."], &["--parquet"]),
    row(
        &["export", ".", "--csv", "."],
        &["holds something else already", "new or empty"],
    ),
    row(&["export", "nowhere", "--csv", "tables"], &["nowhere"]),
    row(
        &["sheet", "nowhere.journal", "-o", "a.html"],
        &["nowhere.journal"],
    ),
    row(&["sheet", "noise.bin", "-o", "a.html"], &["noise.bin"]),
    row(
        &["sheet", "other.journal", "-o", "other.journal"],
        &["other.journal", "a journal is there"],
    ),
    row(
        &["sheet", "other.journal", "-o", "no/such/a.html"],
        &["no/such/a.html"],
    ),
    row(
        &["sheet", "other.journal", "--plan", "bad-unit.toml"],
        &["lb"],
    ),
    row(&["sheet", "--blank"], &["sheet --blank", "--plan PLAN"]),
    row(
        &["sheet", "--blank", "--plan", "nowhere.toml"],
        &["nowhere.toml"],
    ),
    row(
        &[
            "paper",
            "nowhere.journal",
            "--fastener",
            "1",
            "--stage",
            "1",
        ],
        &["nowhere.journal"],
    ),
    row(
        &[
            "paper",
            "other.journal",
            "--joint",
            "keel",
            "--fastener",
            "1",
            "--stage",
            "1",
        ],
        &["keel"],
    ),
    row(
        &["paper", "other.journal", "--fastener", "9", "--stage", "1"],
        &["9", "L, R"],
    ),
    row(
        &["paper", "other.journal", "--fastener", "L", "--stage", "0"],
        &["stage 0", "1 to 1"],
    ),
    row(
        &["paper", "other.journal", "--fastener", "L", "--stage", "1"],
        &["settled already"],
    ),
    // A whole working sheet.
    row(&["paper", "other.journal", "nowhere.csv"], &["nowhere.csv"]),
    row(
        &["paper", "nowhere.journal", "sheet-cell.csv"],
        &["nowhere.journal"],
    ),
    row(
        &["paper", "other.journal", "noise.bin"],
        &["noise.bin", "UTF-8"],
    ),
    row(
        &["paper", "other.journal", "sheet-cell.csv"],
        &[
            "sheet-cell.csv",
            "line 2, column `fastener`",
            "`9`",
            "L, R",
            "nothing was recorded",
        ],
    ),
    row(
        &["paper", "other.journal", "sheet-head.csv"],
        &["sheet-head.csv", "line 1", "`torque`", "value"],
    ),
    row(
        &[
            "paper",
            "other.journal",
            "sheet-cell.csv",
            "--fastener",
            "L",
        ],
        &["--fastener"],
    ),
    row(&["paper", "other.journal"], &["--fastener"]),
    row(&["paper", "nowhere.toml", "--blank"], &["nowhere.toml"]),
    row(
        &["paper", "other.journal", "--blank", "-o", "other.journal"],
        &["other.journal", "a journal is there"],
    ),
    row(&["tonight", "nowhere.toml"], &["nowhere.toml"]),
    row(
        &["tonight", "plan.toml", "-o", "other.journal", "--force"],
        &["other.journal", "a journal is there"],
    ),
    row(
        &["compare", "nowhere.toml", "--joint", "head"],
        &["nowhere.toml"],
    ),
    row(&["compare", "--joint", "keel"], &["keel", "head"]),
    row(
        &["compare", "--joint", "head", "--runs", "0"],
        &["--runs 0", "1 to"],
    ),
    row(
        &["compare", "--joint", "head", "--orders", "zigzag"],
        &["zigzag", "centre-out"],
    ),
    row(&["adapter"], &["<PORT>", "<COMMAND>"]),
    row(&["adapter", "no-such-port", "watch"], &["no-such-port"]),
    row(
        &[
            "adapter",
            "no-such-port",
            "calibrate",
            "--lever",
            "300 mm",
            "--weights",
            "5,2",
        ],
        &["--weights", "heavier than the one before"],
    ),
    row(
        &[
            "adapter",
            "no-such-port",
            "calibrate",
            "--lever",
            "3 mm",
            "--weights",
            "2,5",
        ],
        &["--lever", "10 mm to 5 m"],
    ),
    row(
        &[
            "adapter",
            "no-such-port",
            "calibrate",
            "--lever",
            "300 mm",
            "--weights",
            "2,heavy",
        ],
        &["a number is wanted"],
    ),
    row(
        &["adapter", "no-such-port", "send"],
        &["adapter send", "plan file"],
    ),
    row(
        &["adapter", "no-such-port", "send", "nowhere.toml"],
        &["nowhere.toml"],
    ),
    row(
        &["adapter", "no-such-port", "pull", "nowhere.journal"],
        &["nowhere.journal", "--plan PLAN"],
    ),
    row(&["guide", "winch"], &["winch"]),
    row(&["schema", "-o", "no/such/x.json"], &["no/such/x.json"]),
    row(&["check", "--done", "keel"], &["keel", "head"]),
    // The shop's arithmetic.
    row(&["convert", "29.5 lb"], &["lb"]),
    row(&["convert", "lots"], &["lots"]),
    row(&["convert"], &["convert"]),
    row(
        &[
            "setting", "--torque", "90 N·m", "--lever", "300", "--offset", "25 mm",
        ],
        &["300"],
    ),
    row(
        &[
            "preload", "--thread", "M99x1", "--class", "10.9", "--torque", "lots",
        ],
        &["lots"],
    ),
    row(
        &[
            "preload", "--thread", "screw", "--k", "0.2", "--class", "10.9", "--torque", "40 N·m",
        ],
        &["screw"],
    ),
    row(&["thread", "M10", "elephant"], &["elephant"]),
    row(&["thread", "3/8 BSW", "13/64 BSF"], &["13/64", "BSF"]),
    row(&["thread", "2BA", "40BA"], &["40", "0BA to 16BA"]),
    row(&["thread", "Tr 40x7", "Tr 40x14 P7"], &["one start"]),
    row(
        &["preload", "--thread", "M10", "--class", "8.8", "--k", "0.2"],
        &["--torque"],
    ),
    row(
        &[
            "preload", "--thread", "M10", "--class", "8.8", "--k", "0.2", "--want", "20 N·m",
        ],
        &["20 N·m", "kN"],
    ),
    row(
        &[
            "preload", "--thread", "M10", "--class", "8.8", "--k", "0.2", "--want", "900 kN",
        ],
        &["preload in kN 900", "0.001 to 46.3917"],
    ),
    row(
        &[
            "preload",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--k",
            "0.2",
            "--share-proof",
            "150 %",
        ],
        &["share of the proof load", "0.01 to 1"],
    ),
    row(
        &[
            "stretch", "--thread", "M12", "--class", "10.9", "--grip", "60 mm",
        ],
        &["--load"],
    ),
    row(
        &[
            "stretch", "--thread", "M12", "--class", "10.9", "--grip", "60 mm", "--load", "900 kN",
        ],
        &["load in kN 900", "0 to"],
    ),
    row(
        &[
            "stretch", "--thread", "G 1/8", "--class", "10.9", "--grip", "60 mm", "--load", "9 kN",
        ],
        &["pipe thread", "metric"],
    ),
    row(
        &[
            "stretch", "--thread", "M12", "--class", "10.9", "--grip", "60 mm", "--shank", "80 mm",
            "--load", "9 kN",
        ],
        &["shank in mm 80", "0 to 60"],
    ),
    row(
        &[
            "stretch",
            "--thread",
            "M12",
            "--class",
            "10.9",
            "--grip",
            "60 mm",
            "--members",
            "wood",
            "--load",
            "9 kN",
        ],
        &["wood", "steel, aluminium, cast iron"],
    ),
    row(
        &["engagement", "--thread", "M10", "--class", "8.8"],
        &["--into"],
    ),
    row(
        &[
            "engagement",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--into",
            "cheese",
        ],
        &["cheese", "cast-iron", "--shear"],
    ),
    row(
        &[
            "engagement",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--nut",
            "9",
        ],
        &["`9`", "5, 6, 8, 10, 12"],
    ),
    row(
        &[
            "engagement",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--shear",
            "3 MPa",
        ],
        &["shear strength in MPa 3", "10 to 2000"],
    ),
    row(
        &[
            "engagement",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--into",
            "steel",
            "--length",
            "0.2 mm",
        ],
        &["engagement in mm 0.2", "1.5 to"],
    ),
    row(
        &[
            "slope",
            "--thread",
            "M10",
            "--class",
            "8.8",
            "--grip",
            "40 mm",
            "nowhere.csv",
        ],
        &["nowhere.csv"],
    ),
    row(
        &[
            "slope", "--thread", "M10", "--class", "8.8", "--grip", "40 mm", "good.csv",
        ],
        &["good.csv", "needed: 8"],
    ),
    row(
        &[
            "slope", "--thread", "M10", "--class", "8.8", "--grip", "40 mm", "--train", "soft",
            "good.csv",
        ],
        &["soft", "20 N·m/°"],
    ),
    row(&["twist"], &["<BAR>"]),
    row(&["twist", "stick"], &["stick", "10 mm x 250 mm"]),
    row(&["twist", "10 bore 12 x 250"], &["bore 12", "0.95"]),
    row(&["twist", "0.1 x 250"], &["diameter 0.1", "1 to 200"]),
    row(&["pattern", "--circle", "0"], &["0"]),
    row(
        &["pattern", "--plan", "plan.toml", "--joint", "keel"],
        &["keel"],
    ),
];

const PLAN: &str = "[build]\ntitle = \"Lid\"\n\n[[joint]]\nid = \"lid\"\npositions = { L = [0, 0], R = [40, 0] }\n\n\
    [[joint.stage]]\ndo = \"tighten\"\ntorque = \"9 N·m\"\nwithin = \"±10 %\"\n";

fn prepare(folder: &Path) {
    let write = |name: &str, content: &[u8]| fs::write(folder.join(name), content).expect("a file");
    write("plan.toml", PLAN.as_bytes());
    write("bad-unit.toml", b"[build]\n\n[[joint]]\nid = \"a\"\npositions = { 1 = [0, 0] }\n[[joint.stage]]\ntorque = \"9 lb\"\ndo = \"tighten\"\n");
    write(
        "bad-key.toml",
        PLAN.replace("torque =", "torqe =").as_bytes(),
    );
    write("empty.toml", b"");
    write("sheet-cell.csv", b"fastener,stage,way,value\n9,1,ticked,\n");
    write("sheet-head.csv", b"fastener,stage,torque\nL,1,48\n");
    write("noise.bin", &[0xFF, 0x00, 0x9D, 0x80].repeat(300));
    for (name, rest, peak) in [
        ("off-zero.csv", 4.0, 36.0),
        ("mid-pull.csv", 10.0, 0.0),
        ("negative.csv", 0.0, -40.0),
    ] {
        let mut text = "time_s,torque_Nm,angle_deg\n".to_owned();
        for step in 0..400_i32 {
            // 0.4 s of rest, then up evenly; what begins in the middle has no rest.
            let millis = f64::from(step) * 5.0;
            let part = ((millis - 400.0) / 1_600.0).max(0.0);
            let turned = if peak == 0.0 {
                0.1 * millis
            } else {
                90.0 * part
            };
            let torque = rest + peak * part + if peak == 0.0 { 0.02 * millis } else { 0.0 };
            text += &format!("{:.3},{torque:.3},{turned:.3}\n", millis / 1e3);
        }
        text += &format!("2.1,{:.3},90\n", rest + peak);
        write(name, text.as_bytes());
    }
    write("broken.toml", b"[build]\n[[joint\n");
    write("good.csv", b"time_s,torque_Nm,angle_deg\n0,0,0\n0.1,1,2\n");
    write(
        "bad-row.csv",
        b"time_s,torque_Nm,angle_deg\n0,0,0\n0.1,12,5,2\n",
    );
    write("no-header.csv", b"0,0,0\n");
    write(
        "back.csv",
        b"time_s,torque_Nm,angle_deg\n0,0,0\n0.2,0,0\n0.1,0,0\n",
    );
    let made = run(
        folder,
        ["rehearse", "plan.toml", "--journal", "other.journal"],
    );
    assert!(
        made.status.code().is_some_and(|code| code < 2),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    // From here on the plan is another text than the one in the journal.
    write("plan.toml", format!("# changed\n{PLAN}").as_bytes());
}

#[test]
fn bad_input_is_told_with_what_where_and_what_is_allowed() {
    let folder = tempfile::tempdir().expect("a folder");
    prepare(folder.path());
    let mut faults = Vec::new();
    for Row { line, says } in ROWS {
        let output = run(folder.path(), *line);
        let told = String::from_utf8_lossy(&output.stderr);
        let shown = line.join(" ");
        if output.status.code() != Some(2) {
            faults.push(format!(
                "`{shown}`: status {:?}\n{told}",
                output.status.code()
            ));
        }
        if told.contains("panicked") {
            faults.push(format!("`{shown}` panicked:\n{told}"));
        }
        // A message may be broken over lines and framed.
        let flat = told
            .split_whitespace()
            .filter(|word| *word != "│")
            .collect::<Vec<_>>()
            .join(" ");
        for word in *says {
            if !flat.contains(word) {
                faults.push(format!("`{shown}` does not say `{word}`:\n{told}"));
            }
        }
    }
    assert!(
        faults.is_empty(),
        "{} faults:\n\n{}",
        faults.len(),
        faults.join("\n\n")
    );
}

#[test]
fn every_command_has_a_help_with_examples() {
    let folder = tempfile::tempdir().expect("a folder");
    let help = run(folder.path(), ["--help"]);
    let help = String::from_utf8(help.stdout).expect("UTF-8");
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| line.starts_with("  "))
        .filter(|line| line.chars().nth(2).is_some_and(|letter| letter != ' '))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.len() >= 10, "{help}");
    for command in commands {
        let output = run(folder.path(), [command, "--help"]);
        let text = String::from_utf8(output.stdout).expect("UTF-8");
        assert_eq!(output.status.code(), Some(0), "{command}");
        assert!(
            text.contains("Example") && text.contains(&format!("evendraw {command}")),
            "{command}:\n{text}"
        );
    }
}
