#!/usr/bin/env python3
"""Rebuild the rain of a finished run from its own layers, as an outside auditor would.

Reads DIR/turf.geojson and DIR/heads.geojson (and DIR/throws.geojson with --shadows), lays
a grid of its own over every turf area, adds up what the heads throw, and compares every
measure with the column that states it. Nothing is shared with the planner: only numpy and
the definitions that the output carries.

What a head means
  sector: rate(r) = 60 q / (arc_rad R^2) * g(r/R) mm/h for r < R inside the arc, which starts
  at azimuth_deg (clockwise from north) and sweeps clockwise; the integral of g(s) s ds over
  0..1 is 1. A strip (arc null) wets a rectangle at 60 q / (length * width).
Where the definitions leave a choice, this program takes
  - grid: lower left corner of the turf's bounding box (--origin moves it);
  - sc: discs centred on turf cells, a cell belongs to a disc if its centre does;
  - a strip: its width counts as its throw for the cells, all of its rectangle is reached, it is
    shifted by a tenth of its longer reach from the head, and its neighbours lie within its throw
    up to its farthest corner;
  - shadow: a point is dry if the throw polygon ends before it on its ray from the head. It stays
    where it is when the throws are varied.

Exit status: 0 all within tolerance, 1 some row is not, 2 usage, 3 a layer cannot be read.
"""

import argparse
import json
import math
import os
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

# WGS 84 semi-major axis [m] and flattening.
SEMI_MAJOR_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
ECC2 = FLATTENING * (2.0 - FLATTENING)
ECC = math.sqrt(ECC2)

REACH = 0.95  # a head reaches out to this share of its throw
HEAD_TO_HEAD_SLACK_M = 0.01
FRAME_SLACK_M = 0.002  # x_m, y_m against the head's own longitude and latitude
SHADOW_RIM = 0.985  # throw polygons have chords for arcs: look for shadow inside this
AREA_TOLERANCE = 1e-3

# column: (tolerance, relative to the stated value, decides the exit status)
TOLERANCES = {
    "area_m2": (AREA_TOLERANCE, True, True),
    "heads": (0.0, False, True),
    "flow_lpm": (0.005, True, True),
    "rate_mm_h": (0.005, True, True),
    "rate_gross_mm_h": (0.005, True, True),
    "du_lq": (0.01, False, True),
    "cu_pct": (0.5, False, True),
    "sc": (0.02, True, True),
    "du_lq_robust": (0.01, False, True),
    "over_frac": (0.01, False, True),
    "dry_frac": (0.005, False, False),
    "weak_frac": (0.005, False, False),
    "twice_frac": (0.01, False, False),
    "h2h_frac": (1e-3, False, False),
}


# --- frame -----------------------------------------------------------------------------


def authalic_q(lat_rad):
    """Snyder's q of the authalic latitude (1987, p. 187, eq. 3-12)."""
    s = np.sin(lat_rad)
    return (1.0 - ECC2) * (
        s / (1.0 - ECC2 * s * s) - np.log((1.0 - ECC * s) / (1.0 + ECC * s)) / (2.0 * ECC)
    )


def laea(lon_deg, lat_deg, lon0_deg, lat0_deg):
    """Lambert azimuthal equal-area, ellipsoidal, oblique: degrees to metres.

    Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987,
    p. 187-190, eq. 24-17 to 24-20. Not for a centre at a pole.
    """
    lat = np.radians(np.asarray(lat_deg, float))
    d_lon = np.radians(np.asarray(lon_deg, float) - lon0_deg)
    d_lon = (d_lon + math.pi) % (2.0 * math.pi) - math.pi
    lat0 = math.radians(lat0_deg)
    q_pole = float(authalic_q(math.pi / 2))
    beta = np.arcsin(np.clip(authalic_q(lat) / q_pole, -1.0, 1.0))
    beta0 = math.asin(float(authalic_q(lat0)) / q_pole)
    radius_q = SEMI_MAJOR_M * math.sqrt(q_pole / 2.0)
    m0 = math.cos(lat0) / math.sqrt(1.0 - ECC2 * math.sin(lat0) ** 2)
    d = SEMI_MAJOR_M * m0 / (radius_q * math.cos(beta0))
    cos_c = math.sin(beta0) * np.sin(beta) + math.cos(beta0) * np.cos(beta) * np.cos(d_lon)
    b = radius_q * np.sqrt(2.0 / (1.0 + cos_c))
    x = b * d * np.cos(beta) * np.sin(d_lon)
    y = b / d * (math.cos(beta0) * np.sin(beta) - math.sin(beta0) * np.cos(beta) * np.cos(d_lon))
    return x, y


def rings_in_frame(geometry, lon0, lat0):
    """All rings of a polygon or multipolygon, closed, in metres; holes are rings too."""
    if geometry is None:
        return []
    if geometry["type"] == "Polygon":
        parts = [geometry["coordinates"]]
    elif geometry["type"] == "MultiPolygon":
        parts = geometry["coordinates"]
    elif geometry["type"] == "GeometryCollection":
        return [r for g in geometry["geometries"] for r in rings_in_frame(g, lon0, lat0)]
    else:
        return []
    rings = []
    for part in parts:
        for ring in part:
            lonlat = np.array([position[:2] for position in ring], float)
            if len(lonlat) >= 4:
                rings.append(np.column_stack(laea(lonlat[:, 0], lonlat[:, 1], lon0, lat0)))
    return rings


def rings_area(rings):
    """Area by even-odd nesting: outer rings minus holes, whatever way they turn."""
    total = 0.0
    for i, ring in enumerate(rings):
        x, y = ring[:, 0], ring[:, 1]
        area = 0.5 * abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])))
        depth = sum(
            bool(inside(other, ring[:1, 0], ring[:1, 1])[0]) for j, other in enumerate(rings) if j != i
        )
        total += area if depth % 2 == 0 else -area
    return total


def inside(ring, x, y):
    """Even-odd test of points against one closed ring."""
    found = np.zeros(np.shape(x), bool)
    for (x1, y1), (x2, y2) in zip(ring[:-1], ring[1:]):
        if y1 == y2:
            continue
        crosses = (y1 > y) != (y2 > y)
        found ^= crosses & (x < (x2 - x1) * (y - y1) / (y2 - y1) + x1)
    return found


# --- grid ------------------------------------------------------------------------------


class Grid:
    """Cell centres over a turf area; `turf` marks the cells that count."""

    def __init__(self, rings, cell_m, margin_m=0.0, shift=(0.0, 0.0)):
        points = np.vstack(rings)
        low = points.min(0) - margin_m
        high = points.max(0) + margin_m
        low = low - np.array(shift) * cell_m
        self.cell_m = cell_m
        self.x = np.arange(low[0] + cell_m / 2, high[0] + cell_m, cell_m)
        self.y = np.arange(low[1] + cell_m / 2, high[1] + cell_m, cell_m)
        self.turf = self.fill(rings)

    def fill(self, rings):
        """Even-odd scanline: one sorted list of crossings per row of centres."""
        mask = np.zeros((len(self.y), len(self.x)), bool)
        start = np.vstack([r[:-1] for r in rings])
        end = np.vstack([r[1:] for r in rings])
        for row, y in enumerate(self.y):
            hit = (start[:, 1] > y) != (end[:, 1] > y)
            if not hit.any():
                continue
            a, b = start[hit], end[hit]
            x = np.sort(a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1]))
            mask[row] = np.searchsorted(x, self.x) % 2 == 1
        return mask

    def window(self, x_m, y_m, reach_m):
        """Slices of rows and columns within `reach_m` of a point."""
        cols = slice(*np.searchsorted(self.x, [x_m - reach_m, x_m + reach_m]))
        rows = slice(*np.searchsorted(self.y, [y_m - reach_m, y_m + reach_m]))
        return rows, cols


# --- heads -----------------------------------------------------------------------------


class Profile:
    """g(s), scaled so that the integral of g(s) s ds over 0..1 is 1."""

    NAMED = {
        "triangular": lambda s: 6.0 * (1.0 - s),
        "elliptical": lambda s: 3.0 * np.sqrt(np.maximum(0.0, 1.0 - s * s)),
        "uniform": lambda s: np.full_like(s, 2.0),
        "parabolic": lambda s: 4.0 * (1.0 - s * s),
    }
    seen = {}

    @classmethod
    def of(cls, text):
        key = text if isinstance(text, str) else json.dumps(text)
        if key not in cls.seen:
            cls.seen[key] = cls.NAMED[key] if key in cls.NAMED else cls.tabulated(json.loads(key))
        return cls.seen[key]

    @staticmethod
    def tabulated(pairs):
        s, f = np.array(pairs, float).T
        if s[0] > 0.0:  # constant-extended towards the head
            s, f = np.insert(s, 0, 0.0), np.insert(f, 0, f[0])
        # Exact integral of a piecewise linear f times s.
        integral = float(
            np.sum((s[1:] - s[:-1]) / 6.0 * (f[:-1] * (2 * s[:-1] + s[1:]) + f[1:] * (s[:-1] + 2 * s[1:])))
        )
        return lambda at: np.interp(at, s, f / integral, right=0.0)


class Head:
    """One head in the frame, as the heads layer describes it."""

    def __init__(self, properties, geometry, lon0, lat0):
        self.head_id = properties.get("head_id")
        self.role = properties.get("role")
        self.frame_gap_m = None
        lonlat = geometry["coordinates"] if geometry else None
        from_lonlat = None
        if lonlat:
            x, y = laea(lonlat[0], lonlat[1], lon0, lat0)
            from_lonlat = (float(x), float(y))
        if properties.get("x_m") is not None and properties.get("y_m") is not None:
            self.x_m, self.y_m = float(properties["x_m"]), float(properties["y_m"])
            if from_lonlat:
                self.frame_gap_m = math.hypot(self.x_m - from_lonlat[0], self.y_m - from_lonlat[1])
        else:
            self.x_m, self.y_m = from_lonlat
        self.flow_lpm = float(properties["flow_lpm"])
        self.azimuth_deg = float(properties.get("azimuth_deg") or 0.0)
        arc = properties.get("arc_deg")
        self.arc_deg = None if arc is None else float(arc)
        self.radius_m = float(properties.get("radius_m") or 0.0)
        self.profile = None if arc is None else Profile.of(properties.get("profile") or "triangular")
        self.shadow_rings = None
        if arc is None:
            self.strip_w_m = float(properties["strip_w_m"])
            self.strip_l_m = float(properties["strip_l_m"])
            words = f"{properties.get('pattern')} {properties.get('nozzle')}".lower()
            self.strip = next((k for k in ("side", "end", "centre") if k in words), "side")

    @property
    def throw_m(self):
        """The throw that sets the cells."""
        return self.strip_w_m if self.arc_deg is None else self.radius_m

    @property
    def span_m(self):
        """The throw of which a pattern is shifted by a tenth."""
        if self.arc_deg is not None:
            return self.radius_m
        return self.strip_l_m if self.strip == "end" else self.strip_l_m / 2

    @property
    def reach_m(self):
        """The farthest point that the pattern wets."""
        if self.arc_deg is not None:
            return self.radius_m
        sides = {
            "end": (self.strip_l_m, self.strip_w_m / 2),
            "side": (self.strip_l_m / 2, self.strip_w_m),
            "centre": (self.strip_l_m / 2, self.strip_w_m / 2),
        }
        return math.hypot(*sides[self.strip])

    def wet(self, grid, scale=1.0, turn_deg=0.0, shift_m=(0.0, 0.0)):
        """Window of the grid, rate in it [mm/h], and where the head reaches."""
        x0, y0 = self.x_m + shift_m[0], self.y_m + shift_m[1]
        if self.arc_deg is None:
            return self.wet_strip(grid, x0, y0, scale, turn_deg)
        radius = self.radius_m * scale
        rows, cols = grid.window(x0, y0, radius)
        dx = grid.x[cols][None, :] - x0
        dy = grid.y[rows][:, None] - y0
        r = np.hypot(dx, dy)
        hit = r < radius
        if self.arc_deg < 360.0:
            azimuth = np.degrees(np.arctan2(dx, dy))
            hit &= (azimuth - self.azimuth_deg - turn_deg) % 360.0 <= self.arc_deg + 1e-9
        if self.shadow_rings:
            hit &= self.lit(dx + shift_m[0], dy + shift_m[1])
        s = np.minimum(r / radius, 1.0)
        peak = 60.0 * self.flow_lpm / (math.radians(self.arc_deg) * radius * radius)
        return (rows, cols), np.where(hit, peak * self.profile(s), 0.0), hit & (s <= REACH)

    def lit(self, dx, dy):
        """False where a building stands between the head and the cell."""
        r = np.hypot(dx, dy)
        pull = np.minimum(1.0, SHADOW_RIM * self.radius_m / np.maximum(r, 1e-9))
        if self.arc_deg < 360.0:
            # Turn back into the arc as planned: the polygon says nothing beyond it.
            turn = (np.degrees(np.arctan2(dx, dy)) - self.azimuth_deg) % 360.0
            nearer_start = turn > (360.0 + self.arc_deg) / 2.0
            turn = np.clip(np.where(nearer_start, 0.0, turn), 0.2, self.arc_deg - 0.2)
            azimuth = np.radians(self.azimuth_deg + turn)
            px, py = self.x_m + r * pull * np.sin(azimuth), self.y_m + r * pull * np.cos(azimuth)
        else:
            px, py = self.x_m + dx * pull, self.y_m + dy * pull
        found = np.zeros(np.shape(r), bool)
        for ring in self.shadow_rings:
            found ^= inside(ring, px, py)
        return found

    def wet_strip(self, grid, x0, y0, scale, turn_deg):
        width, length = self.strip_w_m * scale, self.strip_l_m * scale
        rows, cols = grid.window(x0, y0, math.hypot(width, length))
        dx = grid.x[cols][None, :] - x0
        dy = grid.y[rows][:, None] - y0
        azimuth = math.radians(self.azimuth_deg + turn_deg)
        ahead = dx * math.sin(azimuth) + dy * math.cos(azimuth)
        across = dx * math.cos(azimuth) - dy * math.sin(azimuth)
        if self.strip == "end":
            near, far, half = 0.0, length, width / 2
        elif self.strip == "centre":
            near, far, half = -width / 2, width / 2, length / 2
        else:
            near, far, half = 0.0, width, length / 2
        hit = (ahead >= near) & (ahead < far) & (across >= -half) & (across < half)
        return (rows, cols), np.where(hit, 60.0 * self.flow_lpm / (width * length), 0.0), hit


def rain(grid, heads, scale=1.0, turn_deg=0.0, shift=(0.0, 0.0), count=False):
    """Rate [mm/h] on the whole grid; with `count` also by how many heads a cell is reached."""
    rate = np.zeros(grid.turf.shape)
    reached = np.zeros(grid.turf.shape, np.int32) if count else None
    for head in heads:
        step = (shift[0] * head.span_m, shift[1] * head.span_m)
        at, add, near = head.wet(grid, scale, turn_deg, step)
        rate[at] += add
        if count:
            reached[at] += near
    return (rate, reached) if count else rate


# --- measures --------------------------------------------------------------------------


def low_quarter(depths):
    """Fractional low-quarter distribution uniformity of equal cells."""
    ordered = np.sort(depths)
    mean = ordered.mean()
    if mean <= 0.0:
        return None
    quarter = len(ordered) / 4.0
    whole = int(quarter)
    total = ordered[:whole].sum() + (quarter - whole) * ordered[whole]
    return float(total / quarter / mean)


def scheduling_coefficient(grid, rate, turf_m2):
    """Mean over the lowest mean in a disc of 5 % of the area, at least half inside."""
    radius = math.sqrt(0.05 * turf_m2 / math.pi)
    n = int(radius / grid.cell_m)
    offsets = np.arange(-n, n + 1) * grid.cell_m
    disc = (offsets[:, None] ** 2 + offsets[None, :] ** 2 <= radius * radius).astype(float)
    shape = (grid.turf.shape[0] + 2 * n, grid.turf.shape[1] + 2 * n)
    kernel = np.fft.rfft2(disc, shape)

    def summed(field):
        full = np.fft.irfft2(np.fft.rfft2(field, shape) * kernel, shape)
        return full[n : n + field.shape[0], n : n + field.shape[1]]

    cells = np.round(summed(grid.turf.astype(float)))
    depth = summed(np.where(grid.turf, rate, 0.0))
    valid = grid.turf & (cells >= 0.5 * disc.sum())
    if not valid.any():
        return None
    lowest = float((depth[valid] / cells[valid]).min())
    return None if lowest <= 1e-9 else float(rate[grid.turf].mean() / lowest)


def head_to_head(heads):
    """Share of heads that lie within the throw of at least two others."""
    at = np.array([(h.x_m, h.y_m) for h in heads])
    throw = np.array([h.reach_m for h in heads])
    gap = np.hypot(at[:, None, 0] - at[None, :, 0], at[:, None, 1] - at[None, :, 1])
    covered = gap <= throw[None, :] + HEAD_TO_HEAD_SLACK_M
    np.fill_diagonal(covered, False)
    return float((covered.sum(1) >= 2).mean())


ROBUST_MEMBERS = (
    [dict(scale=0.90), dict(scale=1.05), dict(turn_deg=-5.0), dict(turn_deg=5.0)]
    + [dict(shift=s) for s in ((0.0, 0.1), (0.1, 0.0), (0.0, -0.1), (-0.1, 0.0))]
)


def cell_size(heads):
    return float(np.clip(min(h.throw_m for h in heads) / 20.0, 0.1, 0.4))


def measure(rings, heads, full=True, shift=(0.0, 0.0), cell_m=None):
    """Every measure of one turf area in one scenario, from scratch."""
    turf_m2 = rings_area(rings)
    grid = Grid(rings, cell_m or cell_size(heads), shift=shift)
    if not grid.turf.any():
        return None
    rate, reached = rain(grid, heads, count=True)
    depths, by = rate[grid.turf], reached[grid.turf]
    mean = float(depths.mean())
    flow = sum(h.flow_lpm for h in heads)
    gross = 60.0 * flow / turf_m2
    found = {
        "area_m2": turf_m2,
        "heads": len(heads),
        "flow_lpm": flow,
        "rate_mm_h": mean,
        "rate_gross_mm_h": gross,
        "over_frac": 1.0 - mean / gross if gross > 0 else None,
        "du_lq": low_quarter(depths),
        "cu_pct": 100.0 * (1.0 - float(np.abs(depths - mean).mean()) / mean) if mean > 0 else None,
        "dry_frac": float((by == 0).mean()),
        "twice_frac": float((by >= 2).mean()),
        "weak_frac": float((depths < 0.5 * mean).mean()),
        "h2h_frac": head_to_head(heads),
    }
    if full:
        found["sc"] = scheduling_coefficient(grid, rate, turf_m2)
        members = [found["du_lq"]]
        for member in ROBUST_MEMBERS:
            members.append(low_quarter(rain(grid, heads, **member)[grid.turf]))
        found["du_lq_robust"] = None if None in members else float(np.mean(members))
    return found


# --- layers ----------------------------------------------------------------------------


def features_of(path):
    """Features of a collection, or of a GeoJSON text sequence."""
    text = path.read_text(encoding="utf-8")
    try:
        return json.loads(text)["features"]
    except json.JSONDecodeError:
        return [json.loads(line) for line in text.replace("\x1e", "").splitlines() if line.strip()]


class Run:
    """The layers of one output folder, joined by turf area and scenario."""

    def __init__(self, folder, shadows=False):
        self.folder = Path(folder)
        self.rows = features_of(self.folder / "turf.geojson")
        self.heads = defaultdict(list)
        for feature in features_of(self.folder / "heads.geojson"):
            p = feature["properties"]
            self.heads[str(p["turf_id"]), p["scenario"]].append(feature)
        self.throws = {}
        self.shadows = shadows
        if shadows:
            for feature in features_of(self.folder / "throws.geojson"):
                self.throws[feature["properties"]["head_id"]] = feature["geometry"]

    def key(self, row):
        return str(row["properties"]["turf_id"]), row["properties"]["scenario"]

    def rings(self, row):
        p = row["properties"]
        return rings_in_frame(row["geometry"], p["lon0"], p["lat0"])

    def heads_of(self, row):
        p = row["properties"]
        found = [
            Head(f["properties"], f["geometry"], p["lon0"], p["lat0"]) for f in self.heads.get(self.key(row), [])
        ]
        for head in found:
            rings = rings_in_frame(self.throws.get(head.head_id), p["lon0"], p["lat0"])
            if rings and head.arc_deg is not None:
                sector_m2 = math.radians(head.arc_deg) / 2 * head.radius_m**2
                if rings_area(rings) < 0.985 * sector_m2:
                    head.shadow_rings = rings
        return found


# --- comparison ------------------------------------------------------------------------


def compare(run, args):
    gaps = defaultdict(list)  # column -> [(gap, row label, stated, rebuilt)]
    frame_gaps, skipped, done = [], defaultdict(int), 0
    for row in run.rows:
        p = row["properties"]
        label = f"{p['turf_id']} {p['scenario']}"
        if args.scenario and p["scenario"] not in args.scenario:
            continue
        if args.turf and str(p["turf_id"]) not in args.turf:
            continue
        if args.limit is not None and done >= args.limit:
            break
        if p.get("lon0") is None or row["geometry"] is None:
            skipped["no frame or geometry"] += 1
            continue
        heads = run.heads_of(row)
        if not heads:
            skipped["no heads in the heads layer"] += 1
            continue
        if run.shadows and not any(head.head_id in run.throws for head in heads):
            skipped["throws not drawn (plan --throws all)"] += 1
            continue
        found = measure(run.rings(row), heads, full=args.effort == "full", shift=args.origin)
        if found is None:
            skipped["no cell inside the turf"] += 1
            continue
        found["area_m2"] += p.get("drip_m2") or 0.0  # the geometry leaves slivers out
        done += 1
        frame_gaps += [(h.frame_gap_m, h.head_id) for h in heads if h.frame_gap_m is not None]
        for column, (_, relative, _) in TOLERANCES.items():
            stated, rebuilt = p.get(column), found.get(column)
            if stated is None or rebuilt is None:
                continue
            gap = abs(rebuilt - stated)
            if relative:
                gap = gap / abs(stated) if stated else (0.0 if rebuilt == 0 else math.inf)
            gaps[column].append((gap, label, stated, rebuilt))
    return gaps, frame_gaps, skipped, done


def report(gaps, frame_gaps, skipped, done, worst):
    """Print the table; True if every deciding column is within its tolerance."""
    good = done > 0
    print(f"rebuilt {done} turf rows" + "".join(f"; skipped {n}: {why}" for why, n in skipped.items()))
    print(f"{'column':<16} {'rows':>6} {'median gap':>11} {'max gap':>11} {'allowed':>9} {'outside':>8}  verdict")
    bad = []
    for column, (allowed, relative, decides) in TOLERANCES.items():
        found = gaps.get(column)
        if not found:
            print(f"{column:<16} {0:>6} {'not stated or not rebuilt':>42}")
            continue
        size = np.array([g[0] for g in found])
        outside = int((size > allowed + 1e-12).sum())
        verdict = "ok" if outside == 0 else ("OUTSIDE" if decides else "differs (not decisive)")
        good &= outside == 0 or not decides
        unit = "rel" if relative else "abs"
        print(
            f"{column:<16} {len(size):>6} {np.median(size):>11.5f} {size.max():>11.5f} "
            f"{allowed:>5g} {unit} {outside:>8}  {verdict}"
        )
        bad += [
            (g[0] / max(allowed, 1e-9), column, g)
            for g in sorted(found, key=lambda g: -g[0])[:worst]
            if g[0] > allowed + 1e-12
        ]
    if frame_gaps:
        size = np.array([g[0] for g in frame_gaps])
        outside = int((size > FRAME_SLACK_M).sum())
        good &= outside == 0
        print(
            f"{'x_m, y_m':<16} {len(size):>6} {np.median(size):>11.5f} {size.max():>11.5f} "
            f"{FRAME_SLACK_M:>5g} m   {outside:>8}  {'ok' if outside == 0 else 'OUTSIDE'}"
        )
        if outside:
            print(f"  worst head: {max(frame_gaps)[1]}")
    for _, column, (gap, label, stated, rebuilt) in sorted(bad, key=lambda b: -b[0])[:worst]:
        print(f"  worst: {column:<16} {label:<44} stated {stated:.5g} rebuilt {rebuilt:.5g} gap {gap:.5f}")
    return good


def main():
    parser = argparse.ArgumentParser(description="Rebuild the rain of a run and compare it with its columns.")
    parser.add_argument("dir", type=Path, metavar="DIR")
    parser.add_argument("--limit", type=int, help="stop after this many turf rows")
    parser.add_argument("--turf", action="append", help="only this turf_id (repeatable)")
    parser.add_argument("--scenario", action="append", help="only this scenario (repeatable)")
    parser.add_argument("--effort", choices=("quick", "full"), default="full", help="quick leaves out sc and robust")
    parser.add_argument("--shadows", action="store_true", help="take buildings' shadow from throws.geojson")
    parser.add_argument("--worst", type=int, default=10, help="how many worst rows to list")
    parser.add_argument(
        "--origin", type=float, nargs=2, default=(0.0, 0.0), metavar=("X", "Y"), help="shift of the grid, in cells"
    )
    args = parser.parse_args()
    try:
        run = Run(args.dir, args.shadows)
    except (OSError, ValueError, KeyError) as problem:
        print(f"rebuild_rain: {problem!r}", file=sys.stderr)
        return 3
    return 0 if report(*compare(run, args), args.worst) else 1


if __name__ == "__main__":
    try:
        sys.exit(main())
    except BrokenPipeError:  # the reader, such as `head`, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
