"""Writes the kept figures anew, or shows what differs; see the package's own words."""

from __future__ import annotations

import argparse
import sys
import time

from tests.frozen.cases import CASES
from tests.frozen.comparing import differences, tolerance_of
from tests.frozen.recording import KEPT, as_text, file_of, kept, record
from tests.helpers.fewer import few_runs, few_sets
from tests.helpers.lending import lending


def main() -> int:
    """Read the command line, run, return the exit code: 1 if anything differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.frozen", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="CASE", help="cases, or the beginnings of their names")
    parser.add_argument("--show", action="store_true", help="write nothing")
    parser.add_argument("--most", type=int, default=8, help="differences shown of a case (default: 8)")
    given = parser.parse_args()
    chosen = [c for c in CASES if not given.names or any(c.name.startswith(n) for n in given.names)]
    KEPT.mkdir(exist_ok=True)
    if not given.show and not given.names:
        for path in {*KEPT.glob("*.json")} - {file_of(case) for case in CASES}:
            path.unlink()
    alike = True
    with few_sets(), few_runs(), lending():
        for case in chosen:
            began = time.process_time()
            now = record(case)
            spent = time.process_time() - began
            path = file_of(case)
            found = (
                differences(kept(case.name), now, rel=tolerance_of(case.words[0])) if path.exists() else None
            )
            word = "new" if found is None else "as it was" if not found else f"{len(found)} differ"
            print(f"{case.name}: {word} ({spent:.1f} s without ngspice)", flush=True)
            for one in (found or [])[: given.most]:
                print(f"    {one.place}: {one.was} -> {one.now} ({one.size:.2g})")
            if found is None or found:
                alike = False
                if not given.show:
                    path.write_text(as_text(now), encoding="utf-8")
    return 0 if alike else 1


if __name__ == "__main__":
    sys.exit(main())
