"""Recall and export over a large shelf: figures, and whether three answers equal those of DuckDB and of a plain scan.

    cargo run --release -p evendraw-tests --example shelf -- /tmp/shop          # 2,000 builds; or any shelf made by it
    cargo build --release -p evendraw
    python tests/bench/recall.py target/release/evendraw /tmp/shop /tmp/tables

Needs DuckDB (`pip install duckdb`) and GNU time. Takes its folder for tables anew and leaves it. The plain scan reads the journals by
itself after core/JOURNAL.md and the limits out of the plan's text; it shares no code with the program. Writes one more build into the
shelf, a copy of its first under another name, for the export of one new build, and takes it away again.
"""

import csv
import json
import os
import re
import shutil
import struct
import subprocess
import sys
from datetime import datetime, timezone
from decimal import Decimal
from pathlib import Path

import duckdb

PROGRAM, SHELF, TABLES = os.path.abspath(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
ENVIRONMENT = {**os.environ, "TZ": "UTC"}


def run(label, *line, keep=None):
    with open(keep or os.devnull, "w") as out:
        ran = subprocess.run(
            ["/usr/bin/time", "-v", PROGRAM, *line], stdout=out, stderr=subprocess.PIPE, text=True, check=False, env=ENVIRONMENT
        )
    if ran.returncode not in (0, 1):
        sys.exit(ran.stderr)
    wall = re.search(r"Elapsed \(wall clock\) time .*: ([\d:.]+)", ran.stderr)[1]
    seconds = sum(float(part) * 60**power for power, part in enumerate(reversed(wall.split(":"))))
    memory = int(re.search(r"Maximum resident set size \(kbytes\): (\d+)", ran.stderr)[1]) / 1024
    print(f"{label:<58} {seconds:7.2f} s {memory:6.0f} MB", flush=True)
    return seconds


# The journal by itself: frames, postcard's numbers, three kinds of record.
def number(data, at):
    value, shift = 0, 0
    while True:
        byte = data[at]
        value |= (byte & 127) << shift
        at, shift = at + 1, shift + 7
        if byte < 128:
            return value, at


def signed(data, at):
    value, at = number(data, at)
    return (value >> 1) ^ -(value & 1), at


def scan(tool, begin, end):
    """Build, joint, fastener, stage, torque, low, high in mN·m, of every attempt with the tool in these seconds."""
    found = []
    for path in sorted(SHELF.glob("**/*.evj")):
        plan = path.with_suffix(".toml").read_text()
        windows = []
        for joint in plan.split("[[joint]]")[1:]:
            stages = []
            for stage in joint.split("[[joint.stage]]")[1:]:
                if single := re.search(r'^torque = "(\d+) N·m"', stage, re.M):
                    target = int(single[1]) * 1000
                    stages.append((target * 96 // 100, target * 104 // 100, False))
                else:
                    low, high = re.search(r'^torque = "(\d+)\.\.(\d+) N·m"', stage, re.M).groups()
                    stages.append((int(low) * 1000, int(high) * 1000, True))
            windows.append(stages)
        data, at = path.read_bytes(), 0
        name = path.relative_to(SHELF).with_suffix("").as_posix()
        named, zero = {}, None
        while at < len(data):
            length, kind, _ = struct.unpack_from("<HBB", data, at)
            payload = data[at + 8 : at + 8 + length]
            at += 12 + length
            if kind not in (3, 9, 11):
                continue
            joint, p = payload[0], 1
            _, p = number(payload, p)
            _, p = number(payload, p)
            micros, p = number(payload, p)
            if kind == 9:
                size, p = number(payload, p)
                named[joint] = payload[p : p + size].decode()
            elif kind == 11:
                seconds, p = signed(payload, p)
                zero = seconds - micros // 1_000_000
            else:
                when = zero + micros // 1_000_000
                if named.get(joint) != tool or not begin <= when < end:
                    continue
                _, p = number(payload, p)
                fastener, stage, verdict = payload[p], payload[p + 1], payload[p + 4]
                _, p = number(payload, p + 5)
                peak, p = signed(payload, p)
                final, p = signed(payload, p)
                low, high, turn = windows[joint][stage]
                found.append((name, f"ring-{joint + 1}", str(fastener + 1), stage + 1, final if turn else peak, low, high, verdict, peak))
    return found


def told(path):
    rows = []
    with open(path) as file:
        for line in file:
            row = json.loads(line)
            milli = [int(round(row[key] * 1000)) for key in ("torque_Nm", "low_Nm", "high_Nm")]
            rows.append((row["build"], row["joint"], row["fastener"], row["stage"], *milli))
    return rows


def queried(where):
    rows = engine.execute(
        "SELECT build, joint, fastener, stage, torque_Nm, low_Nm, high_Nm FROM attempts WHERE NOT rehearsal AND " + where
    ).fetchall()
    return [(*row[:4], *(int(value * 1000) for value in row[4:])) for row in rows]


def unix(day):
    return int(datetime.fromisoformat(day).replace(tzinfo=timezone.utc).timestamp())


shutil.rmtree(SHELF / ".evendraw-shelf", ignore_errors=True)
shutil.rmtree(TABLES, ignore_errors=True)
journals = sum(path.stat().st_size for path in SHELF.glob("**/*.evj"))
print(f"{len(list(SHELF.glob('**/*.evj')))} journals, {journals / 1e6:.0f} MB", flush=True)
answer = TABLES.parent / "recall-answer.jsonl"
first = ["recall", str(SHELF), "--json", "--tool", "A1", "--from", "2025-05-01", "--to", "2025-06-30"]
run("recall, no index yet", *first, keep=answer)
run("recall, index there", *first, keep=answer)
run("recall again", *first, keep=answer)
run("recall of a quarter of all attempts, 6 % off", "recall", str(SHELF), "--json", "--tool", "A1", "--off", "-6%", "--outside")
run("shelf, index there", "shelf", str(SHELF), "--json")
taken = run("export of everything as Parquet", "export", str(SHELF), "--parquet", str(TABLES))
engine = duckdb.connect()
engine.execute("SET TimeZone = 'UTC'")
engine.execute(
    f"CREATE VIEW attempts AS SELECT * FROM read_parquet('{TABLES}/attempts/*/*.parquet', hive_partitioning = true)"
)
count = {name: engine.execute(f"SELECT count(*) FROM read_parquet('{TABLES}/{name}/*/*.parquet')").fetchone()[0]
         for name in ("builds", "joints", "fasteners", "attempts", "facts")}
size = {name: sum(path.stat().st_size for path in (TABLES / name).glob("**/*.parquet")) for name in count}
print(f"{sum(count.values()):,} rows, {sum(count.values()) / taken:,.0f} rows a second, {sum(size.values()) / 1e6:.0f} MB: {count}")
commas = TABLES.parent / "recall-commas"
shutil.rmtree(commas, ignore_errors=True)
by_commas = run("the same rows with commas", "export", str(SHELF), "--csv", str(commas))
other = {name: sum(path.stat().st_size for path in (commas / name).glob("**/*.csv")) for name in count}
for name in ("attempts", "facts"):
    print(f"  {name}: {size[name] / count[name]:.1f} bytes a row, with commas {other[name] / count[name]:.1f}")
print(f"  with commas {sum(count.values()) / by_commas:,.0f} rows a second, {sum(other.values()) / 1e6:.0f} MB")
shutil.rmtree(commas)
run("export again, nothing new", "export", str(SHELF), "--parquet", str(TABLES))
one = sorted(SHELF.glob("*/pump.evj"))[0]
new = SHELF / "pump-new"
new.mkdir(exist_ok=True)
shutil.copy(one, new / "pump.evj")
shutil.copy(one.with_suffix(".toml"), new / "pump.toml")
run("export of one new build", "export", str(SHELF), "--parquet", str(TABLES))
shutil.rmtree(new)

# The ready queries of the page, as they stand there.
page = (Path(__file__).parent / "../../sim-desktop/SCHEMA.md").read_text()
ready = re.search(r"## Queries for DuckDB\n\n```sql\n(.*?)```", page, re.S)[1].replace("FOLDER", str(TABLES))
other_engine = duckdb.connect()
for query in ready.split(";\n"):
    if query.strip() and ("curves" not in query or (TABLES / "curves").is_dir()):
        other_engine.execute(query)
print("the ready queries of SCHEMA.md run")

wrong = 0
end_of_time = 1 << 40
for label, line, where, (tool, begin, end), outside in [
    ("tool A1 from May to June 2025", first, "tool = 'A1' AND made_at >= TIMESTAMPTZ '2025-05-01 00:00Z' AND made_at < TIMESTAMPTZ '2025-07-01 00:00Z'",
     ("A1", unix("2025-05-01"), unix("2025-07-01")), None),
    ("tool B3 after its calibration ran out", ["recall", str(SHELF), "--json", "--tool", "B3", "--from", "2025-07-01"],
     "tool = 'B3' AND made_at >= TIMESTAMPTZ '2025-07-01 00:00Z'", ("B3", unix("2025-07-01"), end_of_time), None),
    ("tool C4, accepted, outside were it 2.5 % off", ["recall", str(SHELF), "--json", "--tool", "C4", "--off", "+2.5%", "--outside"],
     "tool = 'C4' AND verdict = 'accepted' AND (torque_Nm < low_Nm * 1.025 OR peak_torque_Nm > high_Nm * 1.025)",
     ("C4", 0, end_of_time), 1025),
]:
    run(f"recall: {label}", *line, keep=answer)
    own, theirs = sorted(told(answer)), sorted(row for row in queried(where) if not row[0].startswith("pump-new"))
    plain = scan(tool, begin, end)
    if outside:
        plain = [row for row in plain if row[7] == 0 and (row[4] * 1000 < row[5] * outside or row[8] * 1000 > row[6] * outside)]
    plain = sorted(row[:7] for row in plain)
    same = own == theirs == plain
    wrong += not same
    print(f"  {len(own):,} attempts; DuckDB {len(theirs):,}, plain scan {len(plain):,}: {'equal' if same else 'DIFFERENT'}", flush=True)
answer.unlink()
sys.exit(wrong)
