#!/usr/bin/env python3
"""Writes one lawn again and again, each with another supply, and an elevation model under them all.

    make_supply_sweep.py DIR      turf.geojson, supply.geojson, dem.asc (in degrees) and dem.prj

Every lawn is 24 by 16 m; the ground rises by a tenth to the north. Nothing is drawn at random.
"""

import json
import sys
from pathlib import Path

STATIC_KPA = range(100, 901, 100)
FLOWS_LPM = (10, 25, 40, 80, 120, 200, 300)
SIZES_MM = (None, 20, 25, 40, 50)
LON, LAT, STEP_DEG = -77.0, 39.0, 0.0006
# Metres in a degree at 39 degrees of latitude (WGS 84), to the metre.
M_PER_DEG = (86_630.0, 111_015.0)
CELL_DEG = 0.0001


def feature(geometry, **properties):
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def main() -> None:
    home = Path(sys.argv[1])
    home.mkdir(parents=True, exist_ok=True)
    cases = [(kpa, lpm, mm) for kpa in STATIC_KPA for lpm in FLOWS_LPM for mm in SIZES_MM]
    across = 20
    turf, supply = [], []
    for at, (kpa, lpm, mm) in enumerate(cases):
        name = f"{kpa}-{lpm}-{mm or 'none'}"
        west, south = LON + at % across * STEP_DEG, LAT + at // across * STEP_DEG
        east, north = west + 24.0 / M_PER_DEG[0], south + 16.0 / M_PER_DEG[1]
        ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
        turf.append(feature({"type": "Polygon", "coordinates": [ring]}, parcel_id=name))
        size = {} if mm is None else {"size_mm": mm}
        supply.append(feature({"type": "Point", "coordinates": [west, south]}, parcel_id=name, kind="meter",
                              static_kpa=kpa, flow_lpm=lpm, **size))
    for name, features in (("turf", turf), ("supply", supply)):
        layer = {"type": "FeatureCollection", "features": features}
        (home / f"{name}.geojson").write_text(json.dumps(layer))
    margin = 10
    columns = int(across * STEP_DEG / CELL_DEG) + 2 * margin
    rows = int((len(cases) // across + 1) * STEP_DEG / CELL_DEG) + 2 * margin
    header = (f"ncols {columns}\nnrows {rows}\nxllcorner {LON - margin * CELL_DEG}\n"
              f"yllcorner {LAT - margin * CELL_DEG}\ncellsize {CELL_DEG}\nNODATA_value -9999\n")
    rise_m = 0.1 * CELL_DEG * M_PER_DEG[1]
    lines = [" ".join([f"{100.0 + (rows - row) * rise_m:.3f}"] * columns) for row in range(rows)]
    (home / "dem.asc").write_text(header + "\n".join(lines) + "\n")
    (home / "dem.prj").write_text(
        'GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],'
        'PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]]')
    print(f"{len(cases)} lawns")


if __name__ == "__main__":
    main()
