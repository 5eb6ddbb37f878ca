#!/usr/bin/env python3
"""Measures what runs over a made-up city cost, and prints them as a table.

    scripts/bench_city.py EVENFALL [--whole]

Processor time includes reading and writing; resident memory is that at its peak. The first rows take about
two minutes and 1 GB of disk; `--whole` adds 100,000 parcels at `fast` (half an hour of one core, 6 GB) and a
hundredth of 1,000,000 (5 minutes). Needs only Python 3.
"""

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
CITY = ["--layers", "turf,schedule"]


def city(home, parcels):
    """The layers of a city of so many parcels, made once."""
    folder = home / f"city-{parcels}"
    if not folder.exists():
        subprocess.run([ROOT / "scripts" / "make-city", str(parcels), folder], check=True, stdout=subprocess.DEVNULL)
    return ["--parcels", folder / "parcels.geojsonl", "--turf", folder / "turf.geojsonl"]


def measured(command):
    """Wall and processor time [s] and resident memory [MB] of a run."""
    began = time.monotonic()
    child = subprocess.Popen([str(word) for word in command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    wall_s = time.monotonic() - began
    code = os.waitstatus_to_exitcode(status)
    child.returncode = code  # it was waited for here
    if code not in (0, 1):
        raise SystemExit(f"status {code}: {' '.join(map(str, command))}")
    return wall_s, used.ru_utime + used.ru_stime, used.ru_maxrss / 1000


def kilobytes(folder):
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1000


def main():
    evenfall, whole = sys.argv[1], "--whole" in sys.argv[2:]
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        out = home / "out"
        print("| run | parcels planned | processor time | each parcel | wall | resident | outputs each parcel |")
        print("|---|---|---|---|---|---|---|", flush=True)

        def row(name, parcels, planned, flags, times=1):
            runs = []
            for _ in range(times):
                shutil.rmtree(out, ignore_errors=True)
                runs.append(measured([evenfall, "plan", *city(home, parcels), "-o", out, "-q", *flags]))
            wall_s, cpu_s, peak_mb = (statistics.median(column) for column in zip(*runs))
            print(f"| {name} | {planned:,} | {cpu_s:,.1f} s | {cpu_s * 1000 / planned:.1f} ms | {wall_s:,.1f} s "
                  f"| {peak_mb:.0f} MB | {kilobytes(out) / planned:.0f} kB |", flush=True)
            return wall_s

        row("`rule`, all layers, one thread", 1000, 1000, ["--effort", "rule", "-j1"])
        row("`fast`, all layers, one thread", 1000, 1000, ["--effort", "fast", "-j1"])
        fast = ["--effort", "fast", *CITY]
        one = row("`fast`, `--layers turf,schedule`, one thread", 1000, 1000, [*fast, "-j1"], 3)
        two = row("the same, two threads", 1000, 1000, [*fast, "-j2"], 3)
        if whole:
            row("the same", 100_000, 100_000, [*fast, "-j2"])
            row("the same, `--shard 1/100` of 1,000,000", 1_000_000, 10_000, [*fast, "-j2", "--shard", "1/100"])
        parts = [home / f"part-{part}" for part in (1, 2)]
        for part, folder in enumerate(parts, 1):
            flags = ["--effort", "rule", "--families", "rotary-slow", *CITY, "--shard", f"{part}/2"]
            measured([evenfall, "plan", *city(home, 10_000), "-o", folder, "-q", *flags])
        wall_s, cpu_s, peak_mb = measured([evenfall, "merge", *parts, "-o", home / "merged", "-q"])
        print(f"| `evenfall merge` of two shards, one family | 10,000 | {cpu_s:.1f} s | {cpu_s / 10:.2f} ms "
              f"| {wall_s:.1f} s | {peak_mb:.0f} MB | {kilobytes(home / 'merged') / 10_000:.0f} kB |")
        print(f"\nTwo threads take {one / two:.2f} times less than one (medians of three).")


if __name__ == "__main__":
    main()
