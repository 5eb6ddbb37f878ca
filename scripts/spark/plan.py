#!/usr/bin/env python3
"""Plans a GeoParquet data set with Apache Spark, on one machine or many.

    spark-submit scripts/spark/plan.py --turf lawns.parquet -o out [--parcels ...] -- [flags of plan]

Every row of the layers is sent to the parcels on which it bears, parcels are shared out in spatial order,
and each task pipes its parcels through one `evenfall plan --arrow`. A task that fails is tried again, on
another machine if need be. The rows are those of one machine: what is sent here is only near enough, in
boxes; the joins themselves are made by `evenfall`.

OUT/TABLE/part-*.parquet are GeoParquet 1.1 with the columns of `evenfall plan -f geoparquet`; OUT/counts.json
is written last. Layers must be in longitude and latitude. Data, OUT, the program, files named behind `--` and
Python with pandas (which Spark asks for), pyarrow and shapely must be there on every machine, under the same names.
"""

import argparse
import functools
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyspark import TaskContext
from pyspark.sql import SparkSession, Window
from pyspark.sql import functions as F
from pyspark.sql import types as T
from pyspark.sql.pandas.types import from_arrow_schema

TABLES = ["parcels", "turf", "heads", "throws", "stations", "laterals", "schedule", "materials",
          "walk", "failures"]
LAYERS = ["parcels", "turf", "heads", "obstacles", "supply"]

# How far the joins of `evenfall` reach is 1 m for heads, 15 m for obstacles, 10 m for supply; boxes here reach
# farther, since a degree is not equally long everywhere and rows that are not needed do no harm.
HEAD_M, OBSTACLE_M, SUPPLY_M = 3.0, 20.0, 15.0
METRES_A_DEGREE = 110_500.0  # the shortest degree of latitude, at the equator
CELL_DEG = 0.001             # about a street block
WIDEST_DEG = 1.0             # most that a feature may span: a million cells

Z_BITS = 31


# --- The layers -------------------------------------------------------------------------------------------


def geometry_column(path):
    """The primary geometry column of a GeoParquet data set, which must be in longitude and latitude."""
    first = sorted(Path(path).rglob("*.parquet"))[0] if Path(path).is_dir() else path
    metadata = pq.read_schema(first).metadata or {}
    if b"geo" not in metadata:
        raise SystemExit(f"{path}: there is no `geo` metadata; it is not GeoParquet")
    geo = json.loads(metadata[b"geo"])
    name = geo["primary_column"]
    column = geo["columns"][name]
    if column["encoding"] != "WKB":
        raise SystemExit(f"{path}: the geometry is {column['encoding']}; write it as WKB")
    # Left out it is longitude and latitude by the specification; null is not known.
    crs = column.get("crs", {"id": {"authority": "OGC", "code": "CRS84"}})
    known = (crs or {}).get("id") or {}
    if (known.get("authority"), str(known.get("code"))) not in [("OGC", "CRS84"), ("EPSG", "4326")]:
        raise SystemExit(f"{path}: its reference system is not longitude and latitude; reproject it first")
    return name


def numbered(frame, path):
    """Adds `feature_number`: the place of the row in the data set, files in the order of their names."""
    files = sorted(Path(path).rglob("*.parquet")) if Path(path).is_dir() else [Path(path)]
    before, rows = {}, 0
    for file in files:
        before[file.name] = rows
        rows += pq.ParquetFile(file).metadata.num_rows
    if len(before) < len(files):
        raise SystemExit(f"{path}: two of its files have the same name")
    first = F.create_map(*[F.lit(value) for pair in before.items() for value in pair])
    name = F.element_at(F.split(F.col("_metadata.file_path"), "/"), -1)
    # Names with signs that an address escapes.
    name = F.url_decode(name)
    return frame.withColumn("feature_number",
                            (first[name] + F.col("_metadata.row_index") + F.lit(1)).cast("long"))


def with_box(batches):
    """Adds the bounds of every geometry; null where there are none, or where it cannot be read."""
    import numpy as np
    import shapely

    for batch in batches:
        drawn = batch.column("geometry").to_numpy(zero_copy_only=False)
        shapes = shapely.from_wkb(drawn, on_invalid="ignore")
        bounds = shapely.bounds(shapes)
        usable = np.isfinite(bounds).all(axis=1) & (np.abs(bounds) <= [180, 90, 180, 90]).all(axis=1)
        wide = usable & (bounds[:, 2:] - bounds[:, :2] > WIDEST_DEG).any(axis=1)
        if wide.any():
            number = batch.column("feature_number")[int(wide.argmax())]
            raise ValueError(f"feature {number} spans more than {WIDEST_DEG} degrees; split it")
        columns, names = list(batch.columns), list(batch.schema.names)
        for side, name in enumerate(["_ef_west", "_ef_south", "_ef_east", "_ef_north"]):
            columns.append(pa.array(bounds[:, side], mask=~usable))
            names.append(name)
        yield pa.RecordBatch.from_arrays(columns, names=names)


def layer(spark, path):
    """A layer: geometry, its number, its box, and the attributes that can be sent."""
    geometry = geometry_column(path)
    frame = numbered(spark.read.parquet(path), path)
    kept, left_out = [], []
    for field in frame.schema.fields:
        name, kind = field.name, field.dataType
        if name == geometry or name == "feature_number":
            continue
        if name.lower() in ("geometry", "home") or name.startswith("_ef_"):
            left_out.append(name)
        elif isinstance(kind, (T.StringType, T.BooleanType, T.IntegralType, T.FloatType, T.DoubleType)):
            kept.append(F.col(f"`{name}`"))
        elif isinstance(kind, (T.DecimalType, T.DateType, T.TimestampType, T.TimestampNTZType)):
            kept.append(F.col(f"`{name}`").cast("string").alias(name))
        elif name != "bbox":
            left_out.append(name)
    if left_out:
        tell(f"{path}: left out, for their type or their name: {', '.join(left_out)}")
    frame = frame.select(F.col(f"`{geometry}`").alias("geometry"), "feature_number", *kept)
    sides = [T.StructField(name, T.DoubleType()) for name in ["_ef_west", "_ef_south", "_ef_east", "_ef_north"]]
    return frame.mapInArrow(with_box, T.StructType(frame.schema.fields + sides))


def text_of(frame, *columns):
    """The first of these columns that has a value that is not blank, as text."""
    names = {name.lower(): name for name in reversed(frame.columns)}
    names.update({name: name for name in frame.columns})
    found = []
    for column in columns:
        name = names.get(column) or names.get(column.lower())
        if name:
            kind = frame.schema[name].dataType
            value = F.col(f"`{name}`")
            if isinstance(kind, (T.FloatType, T.DoubleType)):
                raise SystemExit(f"`{name}` holds ids as numbers with decimals; write them as text")
            value = value.cast("string")
            found.append(F.when(F.trim(value) != "", value))
    return F.coalesce(*found, F.lit(None).cast("string"))


# --- What lies near what ----------------------------------------------------------------------------------


def grown(frame, metres):
    """Boxes under `key`, larger by so many metres."""
    up = metres / METRES_A_DEGREE
    # No degree of longitude counts as shorter than at 89°.
    lat = F.least(F.greatest(F.abs("_ef_south"), F.abs("_ef_north")) + F.lit(up), F.lit(89.0))
    along = F.lit(up) / F.cos(F.radians(lat))
    return frame.where("_ef_west is not null").select(
        F.col("_ef_key").alias("key"), (F.col("_ef_west") - along).alias("w"), (F.col("_ef_south") - up).alias("s"),
        (F.col("_ef_east") + along).alias("e"), (F.col("_ef_north") + up).alias("n"))


def near(left, right, metres):
    """Pairs of keys, `left` and `right`, whose boxes come within so many metres of one another."""
    cell = lambda degrees: F.floor(degrees / F.lit(CELL_DEG))

    def in_cells(boxes, side):
        named = boxes.select(*[F.col(c).alias(f"{side}_{c}") for c in ["key", "w", "s", "e", "n"]])
        w, s, e, n = (F.col(f"{side}_{c}") for c in "wsen")
        across = named.withColumn("x", F.explode(F.sequence(cell(w), cell(e))))
        return across.withColumn("y", F.explode(F.sequence(cell(s), cell(n))))

    a, b = grown(left, metres), grown(right, 0.0)
    meet = ((F.col("a_w") <= F.col("b_e")) & (F.col("b_w") <= F.col("a_e"))
            & (F.col("a_s") <= F.col("b_n")) & (F.col("b_s") <= F.col("a_n")))
    # Of all cells that both boxes share, the one with the corner of what they share counts.
    here = ((F.col("x") == cell(F.greatest("a_w", "b_w")))
            & (F.col("y") == cell(F.greatest("a_s", "b_s"))))
    found = in_cells(a, "a").join(in_cells(b, "b"), ["x", "y"]).where(meet & here)
    return found.select(F.col("a_key").alias("left"), F.col("b_key").alias("right"))


# --- Bundles ----------------------------------------------------------------------------------------------


def sent(frame, pairs, name):
    """The rows of a layer, each for every parcel it is paired with (`subject`, `number`) and told of in one
    of them; a row that bears on none is sent for none, so that what is wrong with it is told."""
    first = Window.partitionBy("_ef_number").orderBy("_ef_subject")
    return sent_from(frame, pairs.distinct().withColumn("_ef_home", F.row_number().over(first) == 1), name)


def sent_from(frame, pairs, name):
    """The same with `home` among the pairs."""
    rows = frame.join(pairs, frame.feature_number == pairs._ef_number, "left")
    home = F.coalesce(F.col("_ef_home"), F.lit(True)).alias("home")
    return rows.select(F.col("_ef_subject").alias("plan_for"), F.struct(*attributes(frame), home).alias(name))


def attributes(frame):
    """The columns of a layer that are sent."""
    return [F.col(f"`{name}`") for name in frame.columns if not name.startswith("_ef_")]


def keyed(frame):
    """A layer under the numbers of its features."""
    return frame.withColumn("_ef_key", F.col("feature_number"))


def pairs_of(frame, subject, number):
    return frame.select(F.col(subject).alias("_ef_subject"), F.col(number).alias("_ef_number"))


class Neighbourhood:
    """Parcels and lawns, and which lawns may belong to which parcel.

    Frames are cached, not checkpointed, so that what a lost machine held is made again."""

    def __init__(self, parcels, turf, id_field):
        turf = keyed(turf)
        self.parcels = None
        if parcels is None:
            number = F.col("feature_number").cast("string")
            named = F.coalesce(text_of(turf, id_field or "parcel_id"), number)
            self.turf = turf.withColumn("_ef_named", named).cache()
            self.own = pairs_of(self.turf, "_ef_named", "feature_number").cache()
        else:
            columns = ([id_field] if id_field else []) + ["parcel_id", "id"]
            id_ = F.coalesce(text_of(parcels, *columns), F.col("feature_number").cast("string"))
            self.parcels = parcels.withColumn("_ef_id", id_).withColumn("_ef_key", F.col("_ef_id")).cache()
            self.turf = turf.withColumn("_ef_named", text_of(turf, "parcel_id")).cache()
            known = self.parcels.select(F.col("_ef_id").alias("_ef_known")).distinct()
            by_id = self.turf.join(known, F.col("_ef_named") == F.col("_ef_known"))
            by_place = near(self.turf.where("_ef_named is null"), self.parcels, 1.0)
            self.own = pairs_of(by_id, "_ef_known", "feature_number").unionByName(
                pairs_of(by_place, "right", "left")).distinct().cache()
        box = ["_ef_west", "_ef_south", "_ef_east", "_ef_north"]
        owned = self.turf.join(self.own, self.turf.feature_number == self.own._ef_number)
        lawns = owned.select(F.col("_ef_subject").alias("_ef_key"), *box)
        # What a parcel covers, and what it is placed by.
        self.outlines = lawns if parcels is None else self.parcels.select("_ef_key", *box)
        self.ground = lawns if parcels is None else lawns.unionByName(self.outlines)

    def sent_parcels(self):
        """Every parcel for itself; and where a lawn without a parcel's id must be decided, all that it may lie in."""
        without = self.turf.where("_ef_named is null").select(F.col("feature_number").alias("_ef_number"))
        undecided = self.own.join(without, "_ef_number")
        rivals = undecided.select("_ef_number", F.col("_ef_subject").alias("_ef_rival"))
        candidates = undecided.join(rivals, "_ef_number").select("_ef_subject", "_ef_rival")
        itself = self.parcels.select(F.col("_ef_id").alias("_ef_subject"), F.col("_ef_id").alias("_ef_rival"))
        pairs = itself.unionByName(candidates).distinct()
        rows = self.parcels.join(pairs, self.parcels._ef_id == pairs._ef_rival)
        home = (F.col("_ef_subject") == F.col("_ef_rival")).alias("home")
        row = F.struct(*attributes(self.parcels), home).alias("parcels")
        return rows.select(F.col("_ef_subject").alias("plan_for"), row)

    def sent_turf(self, rivals):
        """The lawns of every parcel, and those of others that `rivals` adds to it. A lawn is told of with the first
        parcel that it may belong to, where all of them are known; one that belongs to none, by itself."""
        firsts = self.own.groupBy("_ef_number").agg(F.min("_ef_subject").alias("_ef_first"))
        pairs = self.own if rivals is None else self.own.unionByName(rivals).distinct()
        is_first = F.coalesce(F.col("_ef_subject") == F.col("_ef_first"), F.lit(False))
        pairs = pairs.join(firsts, "_ef_number", "left").select(
            "_ef_subject", "_ef_number", is_first.alias("_ef_home"))
        lost = self.turf.join(self.own, self.turf.feature_number == self.own._ef_number, "left_anti").select(
            F.lit(None).cast("string").alias("_ef_subject"), F.col("feature_number").alias("_ef_number"),
            F.lit(True).alias("_ef_home"))
        return sent_from(self.turf, pairs.unionByName(lost), "turf")

    def sent_heads(self, heads):
        """The heads near the lawns of a parcel; and the lawns of others to which one of these may belong."""
        heads = keyed(heads)
        beside = near(self.turf, heads, HEAD_M).select(
            F.col("left").alias("_ef_lawn"), F.col("right").alias("_ef_number")).cache()
        owners = self.own.select("_ef_subject", F.col("_ef_number").alias("_ef_lawn"))
        pairs = beside.join(owners, "_ef_lawn").select("_ef_subject", "_ef_number").distinct()
        rivals = pairs_of(pairs.join(beside, "_ef_number"), "_ef_subject", "_ef_lawn")
        return sent(heads, pairs, "heads"), rivals

    def sent_obstacles(self, obstacles):
        obstacles = keyed(obstacles)
        return sent(obstacles, pairs_of(near(self.ground, obstacles, OBSTACLE_M), "left", "right"), "obstacles")

    def sent_supply(self, supply):
        """By the parcel's id, else by place."""
        supply = keyed(supply).withColumn("_ef_named", text_of(supply, "parcel_id"))
        frame, column = (self.turf, "_ef_named") if self.parcels is None else (self.parcels, "_ef_id")
        known = frame.select(F.col(column).alias("_ef_known")).distinct()
        by_id = supply.join(known, F.col("_ef_named") == F.col("_ef_known"))
        by_place = near(self.ground, supply.where("_ef_named is null"), SUPPLY_M)
        pairs = pairs_of(by_id, "_ef_known", "feature_number").unionByName(pairs_of(by_place, "left", "right"))
        return sent(supply, pairs, "supply")


def bundles(layers, id_field):
    """All rows that bear on a parcel, under the parcel's id, and where the parcel lies (`_ef_z`)."""
    whole = Neighbourhood(layers.get("parcels"), layers["turf"], id_field)
    sendings, rivals = [], None
    if "heads" in layers:
        heads, rivals = whole.sent_heads(layers["heads"])
        sendings.append(heads)
    if "parcels" in layers:
        sendings.append(whole.sent_parcels())
    sendings.append(whole.sent_turf(rivals))
    if "obstacles" in layers:
        sendings.append(whole.sent_obstacles(layers["obstacles"]))
    if "supply" in layers:
        sendings.append(whole.sent_supply(layers["supply"]))
    everything = functools.reduce(lambda all_, rows: all_.unionByName(rows, allowMissingColumns=True), sendings)
    middle = whole.outlines.groupBy("_ef_key").agg(
        ((F.min("_ef_west") + F.max("_ef_east")) / 2).alias("x"),
        ((F.min("_ef_south") + F.max("_ef_north")) / 2).alias("y"))
    places = middle.select(F.col("_ef_key").alias("plan_for"), z_order(F.col("x"), F.col("y")).alias("_ef_z"))
    columns = ["plan_for"] + [name for name in LAYERS if name in everything.columns]
    return everything.join(places, "plan_for", "left").select(*columns, "_ef_z")


def z_order(x, y):
    """The place of a point on a curve that keeps neighbours together: the bits of longitude and latitude
    by turns (G. M. Morton, A computer oriented geodetic data base, IBM, 1966)."""
    def spread(share):
        bits = (share * F.lit(float(2 ** Z_BITS - 1))).cast("long")
        for shift, mask in [(16, 0x0000FFFF0000FFFF), (8, 0x00FF00FF00FF00FF),
                            (4, 0x0F0F0F0F0F0F0F0F), (2, 0x3333333333333333), (1, 0x5555555555555555)]:
            bits = bits.bitwiseOR(F.shiftleft(bits, shift)).bitwiseAND(F.lit(mask))
        return bits
    return spread((x + 180) / 360).bitwiseOR(F.shiftleft(spread((y + 90) / 180), 1))


# --- The program as a child -------------------------------------------------------------------------------


def piped(command, batches, schema):
    """Feeds batches to a child and gives back what it answers. A child that does not end well, or is killed,
    fails the task."""
    complaints = tempfile.TemporaryFile()
    child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=complaints)
    fault = []

    def feed():
        try:
            with pa.ipc.new_stream(child.stdin, schema) as stream:
                for batch in batches:
                    stream.write_batch(batch)
            child.stdin.close()
        except BrokenPipeError:
            pass  # Why it went away is known when it has ended.
        except BaseException as error:
            fault.append(error)
            child.kill()

    feeding = threading.Thread(target=feed, daemon=True)
    feeding.start()
    try:
        broken = None
        try:
            with pa.ipc.open_stream(child.stdout) as answers:
                for answer in answers:
                    yield answer
        except (pa.ArrowInvalid, OSError) as error:
            broken = error
        status = child.wait()
        feeding.join()
        if fault:
            raise fault[0]
        if status not in (0, 1) or broken:
            complaints.seek(0)
            said = complaints.read().decode(errors="replace")[-2000:].strip()
            raise RuntimeError(f"evenfall ended with status {status}: {said or broken}")
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        complaints.close()


def sent_schema(spark_schema):
    """The schema of a data frame as its batches come, without what only sorts them."""
    from pyspark.sql.pandas.types import to_arrow_schema
    whole = to_arrow_schema(spark_schema)
    return pa.schema([field for field in whole if not field.name.startswith("_ef_")])


def planner(command, schema):
    """What `mapInArrow` runs over the bundles of a task."""
    def plan(batches):
        def without_order():
            for batch in batches:
                columns = [batch.column(name) for name in schema.names]
                yield pa.RecordBatch.from_arrays(columns, schema=schema)
        yield from piped(command, without_order(), schema)
    return plan


def answer_schema(command, schema):
    """The schema of the answers: those to a stream without rows."""
    ended = subprocess.run(command, input=bytes(empty_stream(schema)), capture_output=True)
    if ended.returncode:
        raise SystemExit(ended.stderr.decode(errors="replace").strip())
    return pa.ipc.open_stream(ended.stdout).schema


def empty_stream(schema):
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, schema):
        pass
    return sink.getvalue()


def planned(spark, layers, flags, tables=TABLES, id_field=None, evenfall="evenfall", per_task=200):
    """A data frame with a row a parcel and a list of rows for each table."""
    rows = bundles(layers, id_field).cache()
    schema = sent_schema(rows.schema)
    command = [evenfall, "plan", "--arrow", ",".join(tables), "--quiet", "--jobs", "1", *flags]
    if id_field:
        command += ["--id-field", id_field]
    answers = answer_schema(command, schema)
    subjects = rows.where("plan_for is not null").select("plan_for").distinct().count()
    tasks = max(1, math.ceil(subjects / per_task))
    shared = rows.repartitionByRange(tasks, "_ef_z", "plan_for").sortWithinPartitions("_ef_z", "plan_for")
    return shared.mapInArrow(planner(command, schema), from_arrow_schema(answers)), answers


# --- The files --------------------------------------------------------------------------------------------


def crs84():
    axis = lambda name, short, way: {"name": name, "abbreviation": short, "direction": way, "unit": "degree"}
    return {
        "$schema": "https://proj.org/schemas/v0.7/projjson.schema.json", "type": "GeographicCRS",
        "name": "WGS 84 (CRS84)",
        "datum": {"type": "GeodeticReferenceFrame", "name": "World Geodetic System 1984",
                  "ellipsoid": {"name": "WGS 84", "semi_major_axis": 6378137,
                                "inverse_flattening": 298.257223563}},
        "coordinate_system": {"subtype": "ellipsoidal",
                              "axis": [axis("Geodetic longitude", "Lon", "east"),
                                       axis("Geodetic latitude", "Lat", "north")]},
        "id": {"authority": "OGC", "code": "CRS84"}}


def geo():
    """The metadata that makes a Parquet file GeoParquet 1.1."""
    column = {"encoding": "WKB", "geometry_types": [], "crs": crs84(), "orientation": "counterclockwise",
              "edges": "planar",
              "covering": {"bbox": {side: ["bbox", side] for side in ["xmin", "ymin", "xmax", "ymax"]}}}
    return json.dumps({"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": column}})


def settled(column, kind):
    """A column as the program gave it: in a box that is not there Spark leaves sides that are null, which a file
    whose sides must be there cannot hold."""
    if not pa.types.is_struct(kind):
        return column
    sides = [pc.fill_null(column.field(at), 0.0) for at in range(kind.num_fields)]
    return pa.StructArray.from_arrays(sides, fields=list(kind), mask=column.is_null())


def writer(out, schema):
    """What `mapInArrow` runs over the answers of a task: a file for each table that has rows. A file gets its
    name when it is whole, and the name is that of the task, so that an attempt that is repeated replaces what
    an earlier one left."""
    tables = {field.name: pa.schema(list(field.type.value_type)) for field in schema
              if pa.types.is_list(field.type)}

    def write(batches):
        task = TaskContext.get()
        own = f"{task.attemptNumber()}-{task.taskAttemptId()}"
        open_files, counts = {}, {name: 0 for name in tables}
        parcels, part = 0, f"part-{task.partitionId():05}.parquet"
        try:
            for batch in batches:
                parcels += len(batch) - batch.column("parcel_id").null_count
                for name, columns in tables.items():
                    rows = batch.column(name).flatten()
                    if len(rows) == 0:
                        continue
                    if name not in open_files:
                        if "geometry" in columns.names:
                            columns = columns.with_metadata({"geo": geo()})
                        path = os.path.join(out, name, f".{part}.{own}")
                        open_files[name] = path, pq.ParquetWriter(path, columns, compression="snappy")
                    counts[name] += len(rows)
                    file = open_files[name][1]
                    columns = [settled(column, field.type) for column, field in zip(rows.flatten(), file.schema)]
                    file.write_table(pa.Table.from_arrays(columns, schema=file.schema))
            for name, (path, file) in open_files.items():
                file.close()
                os.replace(path, os.path.join(out, name, part))
        except BaseException:
            for path, file in open_files.values():
                if os.path.exists(path):
                    os.remove(path)
            raise
        yield pa.RecordBatch.from_arrays(
            [pa.array([name], pa.string()) for name in [part]] +
            [pa.array([parcels], pa.int64())] + [pa.array([counts[name]], pa.int64()) for name in tables],
            names=["part", "_parcels", *tables])

    answer = T.StructType([T.StructField("part", T.StringType()), T.StructField("_parcels", T.LongType())]
                          + [T.StructField(name, T.LongType()) for name in tables])
    return write, answer


def tell(line):
    print(f"plan.py: {line}", file=sys.stderr, flush=True)


def arguments():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0],
                                     epilog="Flags behind `--` go to `evenfall plan`, for instance "
                                            "program.toml --effort fast --soils /data/soils.gpkg.")
    for name in LAYERS:
        parser.add_argument(f"--{name}", metavar="PARQUET", required=name == "turf",
                            help=f"{name}: a GeoParquet file or a folder of them")
    parser.add_argument("-o", "--output", metavar="DIR", required=True, help="folder for the tables; must not exist")
    parser.add_argument("--tables", default=",".join(TABLES), help="tables to write [default: all]")
    parser.add_argument("--id-field", metavar="COLUMN", help="column that holds the parcel's id")
    parser.add_argument("--evenfall", default="evenfall", metavar="PROGRAM", help="the program, on every machine")
    parser.add_argument("--per-task", type=int, default=200, metavar="N",
                        help="parcels of a task, about [default: 200]: what is lost when one fails")
    own, flags = sys.argv[1:], []
    if "--" in own:
        at = own.index("--")
        own, flags = own[:at], own[at + 1:]
    return parser.parse_args(own), flags


def main():
    args, flags = arguments()
    out = os.path.abspath(args.output)
    if os.path.exists(out):
        raise SystemExit(f"{out}: it exists; name another folder")
    tables = [name for name in args.tables.split(",") if name]
    evenfall = shutil.which(args.evenfall)
    if not evenfall:
        raise SystemExit(f"{args.evenfall}: there is no such program")
    spark = SparkSession.builder.appName("evenfall plan").getOrCreate()
    layers = {name: layer(spark, getattr(args, name)) for name in LAYERS if getattr(args, name)}
    twice_named(layers["turf"])
    answers, schema = planned(spark, layers, flags, tables, args.id_field, os.path.abspath(evenfall), args.per_task)
    for name in tables:
        os.makedirs(os.path.join(out, name))
    write, answer = writer(out, schema)
    counts = answers.mapInArrow(write, answer).collect()
    # What killed attempts left.
    for name in tables:
        for left in Path(out, name).glob(".part-*"):
            left.unlink()
    whole = {name: sum(row[name] for row in counts) for name in tables}
    whole = {"planned_parcels": sum(row["_parcels"] for row in counts), "rows": whole,
             "tasks": len(counts)}
    with open(os.path.join(out, "counts.json"), "w", encoding="utf-8") as file:
        json.dump(whole, file, indent=2)
        file.write("\n")
    tell(json.dumps(whole))
    spark.stop()


def twice_named(turf):
    """One machine numbers a lawn whose own id was used before; here nobody sees all of them."""
    ids = text_of(turf, "turf_id")
    twice = turf.select(ids.alias("id")).where("id is not null").groupBy("id").count().where("count > 1").first()
    if twice:
        raise SystemExit(f"turf_id `{twice['id']}` stands there {twice['count']} times; "
                         "make ids unique, or drop the column")


if __name__ == "__main__":
    main()
