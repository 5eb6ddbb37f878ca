"""Reopens the outputs of a run in every format with independent readers and compares them.

Usage: check_formats.py DIR PROGRAM

PROGRAM prints the JSON Schemas that the files are checked against. DIR is the output of `evenfall plan -f geojson,geojsonseq,gpkg,flatgeobuf,geoparquet,csv`. GeoJSON
is read by this script itself and checked against RFC 7946; the others by pyogrio and geopandas,
GeoParquet by pyarrow too. Counts are equal, areas agree to 1e-6, ids are the same text.
"""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import geopandas
import jsonschema
import pyarrow.parquet
import pyogrio
from pyproj import CRS, Geod
from shapely.geometry import shape

LAYERS = ["parcels", "turf", "heads", "throws", "stations", "laterals"]
TABLES = ["schedule", "materials", "failures"]
GEOD = Geod(ellps="WGS84")
# Areas come from the same coordinates by way of two readers; the sum is taken in another order.
AREA_TOLERANCE = 1e-6


def check(condition, what):
    if not condition:
        raise SystemExit(f"check-formats: {what}")


def signed_area(ring):
    x0, y0 = ring[0]
    return sum(
        (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        for (x1, y1), (x2, y2) in zip(ring, ring[1:])
    )


def check_geojson(name, collection):
    """RFC 7946: members, ranges, closed and right-handed rings, no crs."""
    check(collection["type"] == "FeatureCollection", f"{name}: not a collection")
    check("crs" not in collection, f"{name}: a crs member")
    for feature in collection["features"]:
        check(feature["type"] == "Feature", f"{name}: not a feature")
        geometry = feature["geometry"]
        if geometry is None:
            continue
        kind, positions = geometry["type"], geometry["coordinates"]
        if kind in ("Polygon", "MultiPolygon"):
            for rings in [positions] if kind == "Polygon" else positions:
                for at, ring in enumerate(rings):
                    check(len(ring) >= 4 and ring[0] == ring[-1], f"{name}: an open ring")
                    area = signed_area(ring)
                    check(area > 0 if at == 0 else area < 0, f"{name}: a ring turns the wrong way")
                    for lon, lat in ring:
                        check(abs(lon) <= 180 and abs(lat) <= 90, f"{name}: out of range")


def area_m2(geometry):
    if geometry is None or geometry.is_empty:
        return 0.0
    return abs(GEOD.geometry_area_perimeter(geometry)[0])


def columns_of(frame):
    return [c for c in frame.columns if c not in ("geometry", "bbox", "wkt", "geom")]


def compare(name, source, features, frame):
    """The rows of a frame are those of the GeoJSON, whatever their order."""
    check(len(frame) == len(features), f"{name} in {source}: {len(frame)} rows, not {len(features)}")
    if not features:
        return
    titles = list(features[0]["properties"])
    check(columns_of(frame) == titles, f"{name} in {source}: other columns")
    for column in [t for t in titles if t.endswith("_id")]:
        expected = sorted(f["properties"][column] or "" for f in features)
        found = sorted("" if value is None or value != value else value for value in frame[column])
        check(all(isinstance(v, str) for v in found), f"{name} in {source}: {column} is no text")
        check(found == expected, f"{name} in {source}: other {column}")
    for column in titles:
        values = [f["properties"][column] for f in features]
        if not any(isinstance(v, (int, float)) for v in values):
            continue
        expected = sum(float(v) for v in values if v is not None)
        found = float(frame[column].astype(float).sum())
        close = abs(found - expected) <= 1e-9 * max(1.0, abs(expected))
        check(close, f"{name} in {source}: {column} sums to {found}, not {expected}")
    expected = sum(area_m2(shape(f["geometry"])) for f in features if f["geometry"])
    found = sum(area_m2(geometry) for geometry in frame.geometry)
    close = abs(found - expected) <= AREA_TOLERANCE * max(1.0, expected)
    check(close, f"{name} in {source}: {found} m², not {expected}")


def check_parquet(path, features):
    held = pyarrow.parquet.ParquetFile(path)
    check(held.metadata.num_rows == len(features), f"{path.name}: another count")
    check(held.metadata.created_by.startswith("evenfall"), f"{path.name}: created by")
    geo = json.loads(held.metadata.metadata[b"geo"])
    check(geo["version"] == "1.1.0", f"{path.name}: another version")
    column = geo["columns"][geo["primary_column"]]
    check(CRS.from_json_dict(column["crs"]).equals(CRS("OGC:CRS84")), f"{path.name}: another CRS")
    if not features:
        return
    # The bounds beside each row are those of its geometry.
    frame = geopandas.read_parquet(path)
    boxes = held.read(columns=["bbox"]).column("bbox").to_pylist()
    for geometry, box in zip(frame.geometry, boxes):
        if geometry is None:
            check(box is None, f"{path.name}: bounds of nothing")
            continue
        found = (box["xmin"], box["ymin"], box["xmax"], box["ymax"])
        check(found == geometry.bounds, f"{path.name}: other bounds")
    west, south, east, north = column["bbox"]
    part = geopandas.read_parquet(path, bbox=(west, south, (west + east) / 2, north))
    check(0 < len(part) <= len(frame), f"{path.name}: the covering finds nothing")


def check_schemas(folder, program):
    """Outputs and sample inputs are what their schemas say."""

    def schema(name):
        printed = subprocess.run([program, "schema", name], capture_output=True, check=True, text=True)
        held = json.loads(printed.stdout)
        jsonschema.Draft202012Validator.check_schema(held)
        return jsonschema.Draft202012Validator(held)

    checked = 0
    for name in LAYERS:
        collection = json.loads((folder / f"{name}.geojson").read_text())
        collection["features"] = collection["features"][:500]
        schema(name).validate(collection)
        checked += 1
    for name in ["run", "summary"]:
        schema(name).validate(json.loads((folder / f"{name}.json").read_text()))
        checked += 1
    for layer in ["parcels", "turf", "heads", "obstacles", "supply", "soils"]:
        for path in sorted(Path("sample-parcels").glob(f"*/{layer}.geojson")):
            # The town has a few features of the wrong kind on purpose.
            wrong = schema(f"input-{layer}").iter_errors(json.loads(path.read_text()))
            wrong = [error for error in wrong if "geometry" not in error.absolute_path]
            check(not wrong, f"{path}: {wrong[:1]}")
            checked += 1
    for path in sorted(Path("sample-parcels").glob("*/program.toml")):
        schema("program").validate(tomllib.loads(path.read_text()))
        checked += 1
    for path in sorted(Path("src/catalogue").glob("*.toml")):
        schema("catalogue").validate(tomllib.loads(path.read_text()))
        checked += 1
    print(f"check-formats: {checked} files are what their schemas say")


def main(folder, program):
    rows = 0
    for name in LAYERS:
        collection = json.loads((folder / f"{name}.geojson").read_text())
        check_geojson(name, collection)
        features = collection["features"]
        rows += len(features)
        records = (folder / f"{name}.geojsons").read_text().split("\x1e")[1:]
        check([json.loads(record) for record in records] == features, f"{name}: another sequence")
        package = pyogrio.read_dataframe(folder / "evenfall.gpkg", layer=name)
        compare(name, "GeoPackage", features, package)
        check(package.crs == CRS("EPSG:4326"), f"{name} in GeoPackage: another CRS")
        placed = [f for f in features if f["geometry"]]
        compare(name, "FlatGeobuf", placed, pyogrio.read_dataframe(folder / f"{name}.fgb"))
        parquet = folder / f"{name}.parquet"
        compare(name, "GeoParquet", features, geopandas.read_parquet(parquet))
        check_parquet(parquet, features)
        table = pyogrio.read_dataframe(folder / f"{name}.csv")
        check(len(table) == len(features), f"{name} in CSV: another count")
    for name in TABLES:
        lines = pyogrio.read_dataframe(folder / f"{name}.csv")
        table = pyarrow.parquet.read_table(folder / f"{name}.parquet")
        package = pyogrio.read_dataframe(folder / "evenfall.gpkg", layer=name)
        counts = {len(lines), table.num_rows, len(package)}
        check(len(counts) == 1, f"{name}: counts {counts}")
    described = pyogrio.read_dataframe(
        folder / "evenfall.gpkg", sql="SELECT description FROM gpkg_data_columns"
    )
    check(len(described) > 100 and described.description.str.len().min() > 3, "descriptions")
    check(rows > 0, "nothing was compared")
    check_schemas(folder, program)
    print(f"check-formats: {rows} rows of {len(LAYERS)} layers agree in every format")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
