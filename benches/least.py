#!/usr/bin/env python3
"""Print the least time of every bench that was run, and its ratio to memcpy in the same group.

usage: least.py [FOLDER]

FOLDER is criterion's, `target/criterion` when left out. Other work on the machine makes a sample
longer and never shorter, so the least sample says more than the mean on a shared machine.

Exit status: 0; 2 when there are no results.
"""

import json
import pathlib
import sys


def least(folder):
    sample = json.loads((folder / "new" / "sample.json").read_text())
    return min(time / times for time, times in zip(sample["times"], sample["iters"]))


def main(arguments):
    root = pathlib.Path(arguments[1] if len(arguments) > 1 else "target/criterion")
    groups = {}
    for found in sorted(root.glob("*/*/new/benchmark.json")):
        named = json.loads(found.read_text())
        groups.setdefault(named["group_id"], []).append((named["function_id"], least(found.parents[1])))
    if not groups:
        print(f"found no results in {root}, wanted those of `cargo bench -p tapewright`", file=sys.stderr)
        return 2
    for group, benches in groups.items():
        yardstick = next((time for name, time in benches if name.startswith("memcpy")), None)
        print(group)
        for name, time in sorted(benches, key=lambda bench: bench[1]):
            ratio = f"{time / yardstick:8.1f} x memcpy, {100 * yardstick / time:6.1f} %" if yardstick else ""
            print(f"  {time / 1e6:9.2f} ms {ratio}  {name}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
