"""The rows that all benches leave, and the one table of them.

Owns, with benches/paired/rows.rs, the form of `benches/rows.tsv` in the target directory: bench, group, name, figure, unit,
ratio, to what, limit, verdict. A bench replaces the rows that it left the last time. Usage: benches/rows.py BENCH ...
"""

import os
import pathlib
import re
import sys

_top = pathlib.Path(__file__).resolve().parent.parent
FILE = _top / os.environ.get("CARGO_TARGET_DIR", "target") / "benches" / "rows.tsv"
COLUMNS = 9
TINY = os.environ.get("BENCH_SIZE") == "tiny"

_bench = pathlib.Path(sys.argv[0]).stem
_group = ""
_begun = False


def group(title):
    """What the following rows have in common."""
    global _group
    _group = title
    print(f"\n{title}")


def stored():
    try:
        return [line.split("\t") for line in FILE.read_text().splitlines()]
    except FileNotFoundError:
        return []


def leave(name, figure="", unit="", ratio=None, to="", limit="", verdict=""):
    global _begun
    rows = stored()
    if not _begun:
        rows = [row for row in rows if row[0] != _bench]
        _begun = True
    rows.append([_bench, _group, name, figure, unit, "" if ratio is None else f"{ratio:.2f}", to, limit, verdict])
    FILE.parent.mkdir(parents=True, exist_ok=True)
    FILE.write_text("".join("\t".join(row) + "\n" for row in rows))


def show(name, value, limit):
    """Prints a figure with its unit, such as "14.5 MiB", and leaves its row. A limit is "at most 16" or "at least 0.9";
    other words say what the figure is for."""
    print(f"  {name:<58} {value:>16}  ({limit})")
    figure, _, unit = str(value).partition(" ")
    asked = re.match(r"at (most|least) ([0-9.]+)", limit)
    verdict = ""
    if asked:
        most, bound = asked.group(1) == "most", float(asked.group(2))
        met = float(figure) <= bound if most else float(figure) >= bound
        verdict = "tiny" if TINY else "met" if met else "MISSED"
    leave(name, figure, unit, limit=limit if asked else "", verdict=verdict)


def left_out(name, why):
    print(f"  {name}: {why}, left out")
    leave(name, verdict=f"left out: {why}")


def figure_of(bench, name):
    """A figure that another bench of the same run has left, or None."""
    for row in stored():
        if row[0] == bench and row[2] == name:
            return float(row[3].replace(" ", ""))
    return None


def table(benches):
    """All rows of these benches; those that miss their limit begin with "!"."""
    rows = [row for bench in benches for row in stored() if row[0] == bench and len(row) == COLUMNS]
    print("\n\n==== Everything in one table ====")
    heading = None
    for bench, title, name, figure, unit, ratio, to, limit, verdict in rows:
        if heading != (bench, title):
            heading = (bench, title)
            print(f"\n  {bench}: {title}" if title else f"\n  {bench}")
        beside = f"{ratio:>8} of {to}" if ratio else ""
        mark = "!" if verdict == "MISSED" else " "
        asked = f"{limit}: {verdict}" if limit else verdict
        print(f"{mark}   {name:<58} {figure:>12} {unit:<14} {asked:<28}{beside}".rstrip())
    missed = sum(row[8] == "MISSED" for row in rows)
    met = sum(row[8] == "met" for row in rows)
    print(f"\n  limits met {met}, missed {missed}" + (", tiny: the figures mean nothing" if TINY else ""))


if __name__ == "__main__":
    table(sys.argv[1:])
