"""A fleet on Spark: ``mapInArrow`` hands every partition of the sites to ``yearlight.fleet``.

    python python/examples/spark_fleet.py --out run --sites 400
    python python/examples/spark_fleet.py --out run --sites 42 --check target/release/yearlight

Runs on a local Spark of two workers' worth of threads; give ``--master`` for another. Every executor needs the package
and sees the weather files under the same path. Needs Java 17 and ``pip install './python[spark]'``.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from dask_fleet import TEMPLATE, WEATHER, prepare


def mapper(template: str, weather: str) -> Callable[[Iterator[Any]], Iterator[Any]]:
    """The function that each partition goes through: Arrow batches of sites in, Arrow batches of rows out.

    The column ``row`` holds the number of each site in the whole table, and ``taken`` the row where its name stood before,
    0 for a new name. Spark takes a dot in a name for the field of a struct, so that names come with a slash instead.
    """

    def runs(table: Any) -> Iterator[Any]:
        """Pieces whose rows follow one another: Spark may put rows of several files into one batch."""
        numbers = table["row"].to_pylist()
        cuts = [i for i in range(1, len(numbers)) if numbers[i] != numbers[i - 1] + 1]
        for start, end in zip([0, *cuts], [*cuts, len(numbers)]):
            if end > start:
                yield table.slice(start, end - start)

    def run(batches: Iterator[Any]) -> Iterator[Any]:
        import pyarrow

        import yearlight

        for table in (piece for batch in batches for piece in runs(pyarrow.Table.from_batches([batch]))):
            dots = [name.replace("/", ".") for name in table.column_names if name not in ("row", "taken")]
            taken = {name: row for name, row in zip(table["site"].to_pylist(), table["taken"].to_pylist()) if row}
            result = yearlight.fleet(
                table.drop_columns(["row", "taken"]).rename_columns(dots),
                template=template,
                weather=weather,
                first_row=table["row"][0].as_py(),
                taken=taken,
                name="sites",
                threads=1,
            )
            # Refusals travel in the same table, as rows without results.
            rows = result.to_arrow()
            refused = result.refused.to_arrow()
            rows = rows.append_column("refused", pyarrow.nulls(len(rows), pyarrow.string()))
            refused = refused.rename_columns(["row", "site", "refused"])
            yield from pyarrow.concat_tables([rows, refused], promote_options="default").combine_chunks().to_batches()

    return run


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True, help="folder of the run; must not be there yet")
    parser.add_argument("--sites", type=int, default=10_000, help="number of generated sites")
    parser.add_argument("--per-part", type=int, default=64, help="sites in a partition")
    parser.add_argument("--master", default="local[2]", help="Spark's master")
    parser.add_argument("--check", metavar="PROGRAM", help="run the same by the command line and compare")
    args = parser.parse_args()
    if args.out.exists():
        parser.error(f"{args.out} is there already; name a new folder")

    import pyarrow
    import pyarrow.parquet
    from pyspark.sql import SparkSession
    from pyspark.sql.pandas.types import from_arrow_schema

    import yearlight

    tasks = prepare(args.out, args.sites, args.per_part)
    for task in tasks:
        path = args.out / "sites.parquet" / f"part-{task['part']:05}.parquet"
        table = pyarrow.parquet.read_table(path)
        table = table.rename_columns([name.replace(".", "/") for name in table.column_names])
        rows = range(task["first_row"], task["first_row"] + len(table))
        taken = [task["taken"].get(name, 0) for name in table["site"].to_pylist()]
        table = table.append_column("row", pyarrow.array(rows, pyarrow.int64()))
        pyarrow.parquet.write_table(table.append_column("taken", pyarrow.array(taken, pyarrow.int64())), path)

    # The columns of the results, from one site.
    one = yearlight.fleet(
        pyarrow.table({"site": ["one"], "country": ["x"], "climate": ["x"]}), template=str(TEMPLATE), weather=WEATHER
    )
    schema = pyarrow.schema(one).append(pyarrow.field("refused", pyarrow.string()))

    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    session = SparkSession.builder.master(args.master).appName("yearlight").config("spark.ui.enabled", "false")
    session = session.config("spark.sql.execution.arrow.maxRecordsPerBatch", args.per_part)
    spark = session.getOrCreate()
    spark.sparkContext.setLogLevel("ERROR")
    start = time.perf_counter()
    sites = spark.read.parquet(str((args.out / "sites.parquet").resolve()))
    rows = sites.mapInArrow(mapper(str(TEMPLATE), WEATHER), from_arrow_schema(schema))
    rows.write.parquet(str((args.out / "fleet.parquet").resolve()))
    seconds = time.perf_counter() - start
    spark.stop()

    found = pyarrow.parquet.read_table(args.out / "fleet.parquet")
    seen = sorted(set(found["row"].to_pylist()))
    if seen != list(range(1, args.sites + 1)):
        raise SystemExit(f"{args.out}: {len(seen)} sites stand in the results; expected each of {args.sites} once.")
    print(f"{args.sites} sites, {len(found)} rows in {seconds:.1f} s, start of Spark's workers included")
    if args.check:
        alone = args.out / "alone"
        command = [args.check, "fleet", args.out / "made" / "fleet.toml", "--out", alone, "--quiet"]
        if subprocess.run(command, stdout=subprocess.DEVNULL).returncode not in (0, 3):
            raise SystemExit(f"{args.check} fleet failed")
        theirs = pyarrow.parquet.read_table(alone / "fleet.parquet")
        ours = found.filter(found["refused"].is_null()).select(theirs.column_names)

        def rows_of(table: Any) -> list[dict[str, Any]]:
            return sorted(table.to_pylist(), key=lambda row: (row["row"], row["option"]))

        if rows_of(ours) != rows_of(theirs):
            raise SystemExit("the rows differ from what yearlight fleet writes")
        print(f"the same {len(ours)} rows as yearlight fleet on one machine")


if __name__ == "__main__":
    main()
