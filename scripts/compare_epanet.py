#!/usr/bin/env python3
"""Compare the pressures and flows of a run with those that EPANET finds for its exported files.

The files `network-*.inp` of the run are solved by the EPANET engine in the package wntr; the rows of
`heads.geojson` hold what the planner found. Ends with status 1 when fewer than 30 stations were
compared, or any head differs by more than 0.5 % in pressure or 0.3 % in flow. A head without pressure has
no emitter in the file, since that would draw water in; the solver must find no pressure there.
"""

import json
import os
import sys
import tempfile
import warnings
from collections import defaultdict
from pathlib import Path

LEAST_STATIONS = 30
PRESSURE_FRAC, FLOW_FRAC = 0.005, 0.003
# Below a hundredth of what a head works with, shares say nothing.
LEAST_KPA, LEAST_LPM = 2.0, 0.02
KPA_PER_M = 998.0 * 9.80665 / 1000.0
# Pressures are written to 0.1 kPa, flows to 0.0001 L/min.
ROUNDING_KPA, ROUNDING_LPM = 0.051, 0.00006


def main() -> int:
    import wntr

    run = Path(sys.argv[1])
    parcels = [f["properties"]["parcel_id"] for f in json.loads((run / "parcels.geojson").read_text())["features"]]
    heads = defaultdict(list)
    for feature in json.loads((run / "heads.geojson").read_text())["features"]:
        row = feature["properties"]
        if row["station"] and row["scenario"].startswith("relayout:"):
            heads[row["station"]].append(row)
    ranges = {}
    for feature in json.loads((run / "stations.geojson").read_text())["features"]:
        row = feature["properties"]
        ranges[row["station_id"]] = (row["least_kpa"], row["most_kpa"])
    compared, worst_kpa, worst_lpm, bad, emitters, fixed, dry = 0, 0.0, 0.0, [], 0, 0, 0
    for path in sorted(run.glob("network-*.inp")):
        _, index, scenario = path.stem.split("-", 2)
        parcel = parcels[int(index) - 1]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            network = wntr.network.WaterNetworkModel(str(path))
            with tempfile.TemporaryDirectory() as folder:
                found = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=os.path.join(folder, "run"))
        pressure_m, demand = found.node["pressure"].iloc[0], found.node["demand"].iloc[0]
        stations = sorted({name.split("H")[0] for name in network.junction_name_list if "H" in name})
        for station in stations:
            key = next(k for k in heads if k.startswith(f"{parcel}/relayout:") and k.endswith("/" + station)
                       and k.split("/")[-2].replace(":", "-") == scenario)
            # Heads are numbered in the order of the layer's rows.
            names = sorted((n for n in network.junction_name_list if n.startswith(station + "H")),
                           key=lambda n: int(n.split("H")[1]))
            if len(names) != len(heads[key]):
                bad.append(f"{key}: {len(heads[key])} heads here, {len(names)} in the file")
                continue
            for name, row in zip(names, heads[key]):
                lpm, kpa = float(demand[name]) * 60000.0, float(pressure_m[name]) * KPA_PER_M
                our_lpm, our_kpa = row["flow_lpm_delivered"], row["pressure_kpa_delivered"]
                is_emitter = network.get_node(name).emitter_coefficient not in (None, 0)
                emitters, fixed = emitters + is_emitter, fixed + (not is_emitter)
                off_lpm = max(0.0, abs(lpm - our_lpm) - ROUNDING_LPM) / max(our_lpm, LEAST_LPM)
                worst_lpm = max(worst_lpm, off_lpm)
                # A held head's inlet stands in its station's range; its nozzle has the set pressure.
                off_kpa = 0.0
                if is_emitter:
                    off_kpa = max(0.0, abs(kpa - our_kpa) - ROUNDING_KPA) / max(our_kpa, LEAST_KPA)
                    worst_kpa = max(worst_kpa, off_kpa)
                elif our_lpm == 0.0:
                    dry += 1
                    off_kpa = max(0.0, kpa - ROUNDING_KPA) / LEAST_KPA
                    worst_kpa = max(worst_kpa, off_kpa)
                if off_lpm > FLOW_FRAC or off_kpa > PRESSURE_FRAC:
                    bad.append(f"{key} {name}: {our_lpm} L/min at {our_kpa} kPa here, {lpm:.4f} at {kpa:.2f} there")
            inlets = [float(pressure_m[n]) * KPA_PER_M for n in names]
            is_dry = any(row["flow_lpm_delivered"] == 0.0 for row in heads[key])
            if not is_dry and not any(network.get_node(n).emitter_coefficient not in (None, 0) for n in names):
                for found_kpa, our_kpa in ((min(inlets), ranges[key][0]), (max(inlets), ranges[key][1])):
                    off_kpa = max(0.0, abs(found_kpa - our_kpa) - ROUNDING_KPA) / max(our_kpa, LEAST_KPA)
                    worst_kpa = max(worst_kpa, off_kpa)
                    if off_kpa > PRESSURE_FRAC:
                        bad.append(f"{key}: inlets to {our_kpa} kPa here, {found_kpa:.2f} there")
            compared += 1
    for line in bad[:20]:
        print("compare-epanet:", line, file=sys.stderr)
    print(f"EPANET: {compared} stations, {emitters} heads as emitters and {fixed} as fixed demands, {dry} of them without pressure; "
          f"largest difference {100 * worst_kpa:.4f} % of pressure, {100 * worst_lpm:.4f} % of flow")
    if compared < LEAST_STATIONS:
        print(f"compare-epanet: only {compared} stations, {LEAST_STATIONS} are wanted", file=sys.stderr)
        return 1
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
