#!/usr/bin/env python3
"""Compare runs of `plan` with the plain rule, area by area.

  compare_rule.py RULE.csv out/campus=normal out/village=normal --turf SETS
  compare_rule.py RULE.csv out/rule-campus=rule out/normal-campus=normal --scenario relayout

RULE.csv holds the rule's measures, one row per area and family; its lon, lat is the centroid of
the outline in degrees and its feature is `<set>:<0-based index in the set's turf layer>`.
A turf row of a run belongs to the rule row whose centroid lies nearest (within --near metres)
and whose area is within 1 %. With --turf SETS, a folder with `<set>/turf.geojson` inside, rows
are matched to the sets' own outlines first, which also finds outlines the run left out.
Runs with the same label are pooled. An area that a run did not plan counts as DU 0.

Only numpy is needed.
"""

import argparse
import csv
import json
import math
import os
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

FAMILIES = ("spray", "rotary-mid", "rotary-slow")
MEASURES = ("du_lq", "du_lq_robust", "over_frac", "weak_frac", "twice_frac", "h2h_frac", "dry_frac", "rate_mm_h")
AREA_SLACK = 0.01
POOL_M2 = (50.0, 1500.0)
POOL_WIDTH_M = 5.0
METRES_PER_DEGREE = 111_320.0


# --- reading ---------------------------------------------------------------------------


def number(text):
    try:
        return float(text)
    except (TypeError, ValueError):
        return None


class Rule:
    """The rule's rows, by feature and family, and the outlines they stand for."""

    def __init__(self, path):
        self.rows, self.outlines = {}, {}
        with open(path, newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                values = {k: number(v) if k not in ("feature", "family") else v for k, v in row.items()}
                self.rows[values["feature"], values["family"]] = values
                self.outlines[values["feature"]] = values
        self.sets = sorted({f.split(":")[0] for f in self.outlines})

    def pooled(self, feature):
        outline = self.outlines[feature]
        return POOL_M2[0] <= outline["area_m2"] <= POOL_M2[1] and outline["w_m"] >= POOL_WIDTH_M


def ring_moments(ring):
    """Signed area and first moments of a ring about its first point, in degrees."""
    xy = np.array([p[:2] for p in ring], float)
    origin = xy[0]
    x, y = (xy - origin).T
    cross = x[:-1] * y[1:] - x[1:] * y[:-1]
    area = 0.5 * cross.sum()
    mx = ((x[:-1] + x[1:]) * cross).sum() / 6.0
    my = ((y[:-1] + y[1:]) * cross).sum() / 6.0
    return area, mx + area * origin[0], my + area * origin[1]


def centroid_and_area(geometry):
    """Centroid in degrees, and the area in m2 good to about 0.5 %."""
    parts = geometry["coordinates"] if geometry["type"] == "MultiPolygon" else [geometry["coordinates"]]
    total = np.zeros(3)
    for part in parts:
        for i, ring in enumerate(part):
            moments = np.array(ring_moments(ring))
            outward = np.sign(moments[0]) or 1.0
            total += outward * moments if i == 0 else -outward * moments
    lon, lat = total[1] / total[0], total[2] / total[0]
    # Radii of curvature on WGS 84 make degrees into metres.
    e2 = 0.00669437999014
    s2 = math.sin(math.radians(lat)) ** 2
    prime_vertical = 6378137.0 / math.sqrt(1.0 - e2 * s2)
    meridian = 6378137.0 * (1.0 - e2) / (1.0 - e2 * s2) ** 1.5
    m2 = total[0] * math.radians(1) ** 2 * prime_vertical * math.cos(math.radians(lat)) * meridian
    return lon, lat, abs(m2)


class Places:
    """Find by nearest centroid among those with the right area."""

    def __init__(self, entries):
        self.names = [e[0] for e in entries]
        self.at = np.array([e[1:4] for e in entries], float).reshape(-1, 3)

    def nearest(self, lon, lat, area_m2, near_m):
        if not len(self.at):
            return None
        dx = (self.at[:, 0] - lon) * METRES_PER_DEGREE * math.cos(math.radians(lat))
        dy = (self.at[:, 1] - lat) * METRES_PER_DEGREE
        gap = np.hypot(dx, dy)
        gap[np.abs(self.at[:, 2] - area_m2) > AREA_SLACK * self.at[:, 2]] = math.inf
        best = int(np.argmin(gap))
        return self.names[best] if gap[best] <= near_m else None


def features_of(path):
    text = path.read_text(encoding="utf-8")
    try:
        return json.loads(text)["features"]
    except json.JSONDecodeError:
        return [json.loads(line) for line in text.replace("\x1e", "").splitlines() if line.strip()]


def radii_of(folder):
    """Median throw of each turf area and scenario, from the heads layer."""
    found = defaultdict(list)
    path = folder / "heads.geojson"
    if path.exists():
        for feature in features_of(path):
            p = feature["properties"]
            if p.get("radius_m"):
                found[str(p["turf_id"]), p["scenario"]].append(p["radius_m"])
    return {key: float(np.median(v)) for key, v in found.items()}


def places_in_sets(folder, sets):
    entries = []
    for name in sets:
        path = folder / name / "turf.geojson"
        if not path.exists():
            print(f"compare_rule: no {name}/turf.geojson under the --turf folder", file=sys.stderr)
            continue
        for i, feature in enumerate(features_of(path)):
            if feature["geometry"]:
                entries.append((f"{name}:{i}", *centroid_and_area(feature["geometry"])))
    return Places(entries)


def read_run(folder, places, args):
    """(feature, family) -> turf properties; and what could not be matched."""
    radii, found, strangers, centres = radii_of(folder), {}, [], {}
    for row in features_of(folder / "turf.geojson"):
        p = row["properties"]
        kind, _, family = p["scenario"].partition(":")
        if kind != args.scenario or row["geometry"] is None:
            continue
        turf_id = str(p["turf_id"])
        if turf_id not in centres:
            lon, lat, m2 = centroid_and_area(row["geometry"])
            centres[turf_id] = places.nearest(lon, lat, p.get("area_m2") or m2, args.near)
        feature = centres[turf_id]
        family = p.get("family") or family
        if feature is None:
            strangers.append(turf_id)
            continue
        found[feature, family] = dict(p, radius_m=radii.get((turf_id, p["scenario"])))
    return found, sorted(set(strangers))


# --- comparing -------------------------------------------------------------------------


def middle(values, at=50):
    values = [v for v in values if v is not None and not math.isnan(v)]
    return float(np.percentile(values, at)) if values else math.nan


def shown(value, digits=4):
    return "-" if value is None or math.isnan(value) else f"{value:.{digits}f}"


def differences(rule, ours, family):
    rows = []
    for (feature, fam), theirs in rule.rows.items():
        if fam != family or (feature, fam) not in ours:
            continue
        mine = ours[feature, fam]
        row = {"feature": feature, "family": fam, "mine": mine, "rule": theirs}
        heads = mine.get("heads")
        row["heads"] = None if heads is None else (heads - theirs["heads"]) / theirs["heads"]
        for column in MEASURES:
            row[column] = None if mine.get(column) is None else mine[column] - theirs[column]
        row["radius_m"] = None if mine.get("radius_m") is None else mine["radius_m"] - theirs["radius_m"]
        rows.append(row)
    return rows


def print_agreement(rule, ours):
    columns = ("du_lq", "over_frac", "du_lq_robust", "radius_m")
    print("  row by row, all areas (heads as a share of the rule's)")
    print(f"  {'family':<12} {'rows':>5} {'same n':>7} {'|dheads|':>9} {'dheads':>8} "
          + " ".join(f"{'|d ' + c + '|':>15}" for c in columns))  # fmt: skip
    every = []
    for family in FAMILIES:
        rows = differences(rule, ours, family)
        every += rows
        if not rows:
            continue
        same = np.mean([r["heads"] == 0 for r in rows])

        def size(column):
            return shown(middle([abs(r[column]) for r in rows if r[column] is not None]))

        print(
            f"  {family:<12} {len(rows):>5} {same:>7.1%} {size('heads'):>9} {shown(middle([r['heads'] for r in rows])):>8} "
            + " ".join(f"{size(column):>15}" for column in columns)
        )
    return every


def print_pool(rule, ours, features, title):
    pool = [f for f in features if rule.pooled(f)]
    if not pool:
        return
    print(f"  {title}: {len(pool)} areas of {POOL_M2[0]:g}-{POOL_M2[1]:g} m2 and {POOL_WIDTH_M:g} m or wider")
    print(f"  {'family':<12} {'whose':<6} {'planned':>7} {'heads':>6} {'ratio':>6} {'fewer|=':>8} "
          f"{'du med':>7} {'du P10':>7} "
          f"{'robust':>7} {'over':>7} {'weak':>7} {'twice':>7} {'h2h':>7} {'dry':>7}")  # fmt: skip
    for family in FAMILIES:
        theirs = [rule.rows[f, family] for f in pool if (f, family) in rule.rows]
        mine = {f: ours[f, family] for f in pool if (f, family) in ours}
        mine = {f: p for f, p in mine.items() if p.get("du_lq") is not None}
        if not theirs or not any(fam == family for _, fam in ours):
            continue
        for whose, rows, missing in (("rule", theirs, 0), ("run", list(mine.values()), len(pool) - len(mine))):

            def mid(column, at=50, unplanned=None):
                gone = [] if unplanned is None else [unplanned] * missing
                return shown(middle([r.get(column) for r in rows] + gone, at))

            ratio = [mine[f]["heads"] / rule.rows[f, family]["heads"] for f in mine if mine[f].get("heads")]
            is_run = whose == "run"
            print(
                f"  {family:<12} {whose:<6} {len(rows):>7} {middle([r.get('heads') for r in rows]):>6.1f} "
                f"{shown(middle(ratio), 2) if is_run else '1.00':>6} "
                f"{f'{np.mean(np.array(ratio) <= 1):.0%}' if is_run and ratio else '':>8} "
                f"{mid('du_lq', 50, 0.0):>7} {mid('du_lq', 10, 0.0):>7} {mid('du_lq_robust', 50, 0.0):>7} "
                f"{mid('over_frac'):>7} {mid('weak_frac'):>7} "
                f"{mid('twice_frac'):>7} {mid('h2h_frac'):>7} {mid('dry_frac'):>7}"
            )
    absent = [f for f in pool if not any((f, family) in ours for family in FAMILIES)]
    if absent:
        print(f"  not planned ({len(absent)}): {' '.join(absent[:12])}{' ...' if len(absent) > 12 else ''}")


def print_worst(rule, every, count, pool_only):
    """Areas that differ most from the rule, each gap against what is allowed for it."""

    def weight(row):
        parts = (("heads", 0.05), ("du_lq", 0.02), ("over_frac", 0.02), ("du_lq_robust", 0.02))
        return max(abs(row[c]) / allowed for c, allowed in parts if row[c] is not None)

    rows = [r for r in every if r["heads"] is not None and (not pool_only or rule.pooled(r["feature"]))]
    rows.sort(key=weight, reverse=True)
    print(f"  {count} areas furthest from the rule{' (pool)' if pool_only else ''}")
    print(f"  {'feature':<34} {'family':<12} {'m2':>7} {'w_m':>6} {'radius':>13} {'heads':>9} {'du_lq':>13} "
          f"{'robust':>13} {'over':>13}")  # fmt: skip
    for row in rows[:count]:
        mine, theirs = row["mine"], row["rule"]

        def pair(column, digits=2):
            return f"{shown(mine.get(column), digits)}/{shown(theirs[column], digits)}"

        print(
            f"  {row['feature']:<34} {row['family']:<12} {theirs['area_m2']:>7.0f} {theirs['w_m']:>6.1f} "
            f"{pair('radius_m'):>13} {pair('heads', 0):>9} {pair('du_lq', 3):>13} {pair('du_lq_robust', 3):>13} "
            f"{pair('over_frac', 3):>13}"
        )


def print_lowest(ours, rule, count):
    """The run's own weak spots in the pool: lowest uniformity."""
    known = {k: p for k, p in ours.items() if k in rule.rows and rule.pooled(k[0]) and p.get("du_lq") is not None}
    rows = [(p["du_lq"], key, p) for key, p in known.items()]
    rows.sort(key=lambda r: (r[0], r[1]))
    print(f"  {count} lowest du_lq of the run (pool)")
    for du, (feature, family), p in rows[:count]:
        theirs = rule.rows[feature, family]
        print(
            f"  {feature:<34} {family:<12} turf {p['turf_id']!s:<16} du {du:.3f} (rule {theirs['du_lq']:.3f}) "
            f"heads {p.get('heads')} (rule {theirs['heads']:.0f}) {p.get('flags') or ''}"
        )


def main():
    parser = argparse.ArgumentParser(description="Compare runs of `plan` with the plain rule, area by area.")
    parser.add_argument("rule", type=Path, metavar="RULE.csv")
    parser.add_argument("runs", nargs="+", metavar="DIR=LABEL")
    parser.add_argument("--turf", type=Path, metavar="SETDIR", help="folder with <set>/turf.geojson")
    parser.add_argument("--scenario", default="relayout", help="scenario before the colon (relayout)")
    parser.add_argument("--near", type=float, default=2.0, help="largest distance between centroids, metres")
    parser.add_argument("--worst", type=int, default=10)
    parser.add_argument("--pool-only", action="store_true", help="list worst areas of the pool only")
    args = parser.parse_args()
    try:
        rule = Rule(args.rule)
        if args.turf:
            places = places_in_sets(args.turf, rule.sets)
        else:
            places = Places([(f, o["lon"], o["lat"], o["area_m2"]) for f, o in rule.outlines.items()])
        labels = {}
        for text in args.runs:
            folder, _, label = text.rpartition("=")
            if not folder:
                folder, label = text, "run"
            found, strangers = read_run(Path(folder), places, args)
            ours, unknown = labels.setdefault(label, ({}, []))
            ours.update(found)
            unknown += strangers
    except (OSError, ValueError, KeyError) as problem:
        print(f"compare_rule: {problem!r}", file=sys.stderr)
        return 3
    size = sum(rule.pooled(f) for f in rule.outlines)
    print(f"rule: {len(rule.outlines)} areas, {len(rule.rows)} rows, {size} areas in the pool of {len(rule.sets)} sets")
    together = {}
    for label, (ours, strangers) in labels.items():
        features = {f for f, _ in ours}
        extra = sorted({f for f in features if f not in rule.outlines})
        print(f"\n== {label}: {len(ours)} rows, {len(features)} areas; "
              f"{len(extra)} areas the rule does not have; {len(strangers)} turf areas match none")  # fmt: skip
        if strangers:
            print(f"  no match: {' '.join(strangers[:12])}{' ...' if len(strangers) > 12 else ''}")
        every = print_agreement(rule, ours)
        if not every:
            continue
        sets = {f.split(":")[0] for f in features}
        scope = [f for f in rule.outlines if f.split(":")[0] in sets]
        print_pool(rule, ours, scope, "pool over " + ", ".join(sorted(sets)))
        print_worst(rule, every, args.worst, args.pool_only)
        print_lowest(ours, rule, args.worst)
        together[label] = ours
    # Labels that name the sets: pool them too, if they do not cover the same areas.
    if len(together) > 1:
        keys = [k for ours in together.values() for k in ours]
        if len(keys) == len(set(keys)):
            print("\n== all labels together")
            pooled = {k: v for ours in together.values() for k, v in ours.items()}
            print_agreement(rule, pooled)
            sets = {f.split(":")[0] for f, _ in pooled}
            print_pool(rule, pooled, [f for f in rule.outlines if f.split(":")[0] in sets], "pool over all")
    return 0 if together else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
