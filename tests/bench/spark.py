"""Whether the Spark SQL queries of sim-desktop/SCHEMA.md run on exported tables and say what those for DuckDB say.

    target/release/evendraw export SHELF --parquet /tmp/tables
    python tests/bench/spark.py /tmp/tables

Needs DuckDB and Spark (`pip install duckdb pyspark`) and a Java runtime. Reads both lists of queries out of the page as they stand there and
holds the answers against each other in pairs; of the fourth, whose middle Spark takes in another way, the groups.
"""

import re
import sys
from pathlib import Path

import duckdb
from pyspark.sql import SparkSession

TABLES = Path(sys.argv[1]).resolve()
PAGE = (Path(__file__).parent / "../../sim-desktop/SCHEMA.md").read_text()


def queries(engine):
    block = re.search(rf"## Queries for {engine}\n\n```sql\n(.*?)```", PAGE, re.S)[1]
    lines = [line for line in block.splitlines() if not line.startswith("--")]
    return [query for query in "\n".join(lines).replace("FOLDER", str(TABLES)).split(";\n") if query.strip(" ;\n")]


def plain(rows, keep):
    def one(value):
        return value.timestamp() if hasattr(value, "timestamp") else value

    return sorted(repr([one(value) for value in row][:keep]) for row in rows)


duck = duckdb.connect()
duck.execute("SET TimeZone = 'UTC'")
spark = (
    SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false")
    .config("spark.sql.session.timeZone", "UTC").config("spark.driver.memory", "1g").getOrCreate()
)
spark.sparkContext.setLogLevel("ERROR")
has_curves = (TABLES / "curves").is_dir()
answers = {}
for engine, run in [
    ("DuckDB", lambda query: duck.execute(query).fetchall()),
    ("Spark SQL", lambda query: [tuple(row) for row in spark.sql(query.rstrip(" ;\n")).collect()]),
]:
    answers[engine] = []
    for query in queries(engine):
        if "curves" in query and not has_curves:
            continue
        rows = run(query)
        if not query.lstrip().startswith("CREATE"):
            answers[engine].append(rows)
wrong = 0
for number, (ours, theirs) in enumerate(zip(answers["DuckDB"], answers["Spark SQL"], strict=True), 1):
    # class, grip, stage: what stands behind them is taken otherwise.
    keep = 3 if number == 4 else None
    same = plain(ours, keep) == plain(theirs, keep)
    wrong += not same
    print(f"query {number}: DuckDB {len(ours):,} rows, Spark {len(theirs):,}: {'equal' if same else 'DIFFERENT'}")
if not has_curves:
    print("no curves in these tables: the last query of either was not run")
spark.stop()
sys.exit(wrong)
