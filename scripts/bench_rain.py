#!/usr/bin/env python3
"""What an analyst would write with numpy and shapely: rain the sectors of a finished run again and
measure them, and compare time and figures with a JSON-lines file of the program's own.

Usage: bench_rain.py DIR SCENARIO CELL_M REPEATS OURS.jsonl
"""

import json
import math
import statistics
import sys
import time
from collections import defaultdict

import numpy as np
import shapely

PROFILES = {
    "triangular": lambda s: 6.0 * (1.0 - s),
    "elliptical": lambda s: 3.0 * np.sqrt(np.clip(1.0 - s * s, 0.0, None)),
    "uniform": lambda s: np.full_like(s, 2.0),
    "parabolic": lambda s: 4.0 * (1.0 - s * s),
}


def one_pass(polygon, heads, cell_m):
    """Cells inside the turf, their rain, and its evenness."""
    west, south, east, north = polygon.bounds
    x = np.arange(west + cell_m / 2.0, east, cell_m)
    y = np.arange(south + cell_m / 2.0, north, cell_m)
    xs, ys = np.meshgrid(x, y)
    turf = shapely.contains_xy(polygon, xs, ys)
    rate = np.zeros_like(xs)
    for head in heads:
        dx, dy = xs - head["x_m"], ys - head["y_m"]
        s = np.hypot(dx, dy) / head["radius_m"]
        wet = s < 1.0
        if head["arc_deg"] < 360:
            bearing = np.degrees(np.arctan2(dx, dy))
            wet &= (bearing - head["azimuth_deg"]) % 360.0 <= head["arc_deg"]
        scale = 60.0 * head["flow_lpm"] / (math.radians(head["arc_deg"]) * head["radius_m"] ** 2)
        rate += np.where(wet, scale * PROFILES[head["profile"]](s), 0.0)
    depths = np.sort(rate[turf])
    mean = depths.mean()
    quarter = len(depths) / 4.0
    whole = int(quarter)
    low = depths[:whole].sum() + (quarter - whole) * depths[whole]
    return mean, low / quarter / mean, 100.0 * (1.0 - np.abs(depths - mean).mean() / mean)


def features(path, scenario):
    with open(path, encoding="utf-8") as file:
        rows = json.load(file)["features"]
    return [row for row in rows if row["properties"]["scenario"] == scenario]


def in_frame(ring, lon0, lat0):
    """Degrees to metres on a plane that touches WGS 84 at the origin: within 1e-4 on a lawn."""
    lat = math.radians(lat0)
    e2 = 0.00669437999014
    w = 1.0 - e2 * math.sin(lat) ** 2
    per_lon = math.radians(1.0) * 6378137.0 * math.cos(lat) / math.sqrt(w)
    per_lat = math.radians(1.0) * 6378137.0 * (1.0 - e2) / w**1.5
    return [((lon - lon0) * per_lon, (at - lat0) * per_lat) for lon, at in ring]


def main():
    folder, scenario, cell_m, repeats, ours_path = sys.argv[1:]
    cell_m, repeats = float(cell_m), int(repeats)
    with open(ours_path, encoding="utf-8") as file:
        ours = {row["turf_id"]: row for row in map(json.loads, file)}
    heads = defaultdict(list)
    for row in features(f"{folder}/heads.geojson", scenario):
        if row["properties"]["arc_deg"] is not None:
            heads[row["properties"]["turf_id"]].append(row["properties"])
    mine_s, ours_s, worst_du, worst_cu = [], [], 0.0, 0.0
    for row in features(f"{folder}/turf.geojson", scenario):
        facts = row["properties"]
        turf_id = facts["turf_id"]
        if turf_id not in ours or any(head["profile"] not in PROFILES for head in heads[turf_id]):
            continue
        rings = [in_frame(ring, facts["lon0"], facts["lat0"]) for ring in row["geometry"]["coordinates"]]
        polygon = shapely.Polygon(rings[0], rings[1:])
        shapely.prepare(polygon)
        least_s = math.inf
        for _ in range(repeats):
            began = time.perf_counter()
            _, du_lq, cu_pct = one_pass(polygon, heads[turf_id], cell_m)
            least_s = min(least_s, time.perf_counter() - began)
        mine_s.append(least_s)
        ours_s.append(ours[turf_id]["s"])
        worst_du = max(worst_du, abs(du_lq - ours[turf_id]["du_lq"]))
        worst_cu = max(worst_cu, abs(cu_pct - ours[turf_id]["cu_pct"]))
    if not mine_s:
        sys.exit("bench: no turf area to compare")
    ratios = [mine / ours for mine, ours in zip(mine_s, ours_s)]
    print(f"| turf areas | cells of | numpy + shapely, median | here, median | ratio, median | P10 | P90 | largest DU_lq off | CU off |")
    print("|---|---|---|---|---|---|---|---|---|")
    p10, _, p90 = (float(np.quantile(ratios, q)) for q in (0.1, 0.5, 0.9))
    print(
        f"| {len(ratios)} | {cell_m} m | {1e3 * statistics.median(mine_s):.2f} ms"
        f" | {1e6 * statistics.median(ours_s):.0f} µs | {statistics.median(ratios):.0f} | {p10:.0f} | {p90:.0f}"
        f" | {worst_du:.4f} | {worst_cu:.2f} |"
    )


if __name__ == "__main__":
    main()
