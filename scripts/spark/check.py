"""Compares Spark with one machine, workers killed included; see `check`.

The city is that of `scripts/make-city`, with what the joins make hard: heads between two lawns, buildings
that throw their shadow on the neighbour, lawns without a parcel's id, and rows that cannot be used.
"""

import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import shapely
import shapely.geometry

HERE = Path(__file__).resolve().parent
# The `geo` metadata is that of the program's own files.
sys.path.insert(0, str(HERE))
import plan as spark_plan  # noqa: E402

FLAGS = ["--effort", "rule", "--families", "spray,rotary-mid"]
LAYERS = ["parcels", "turf", "heads", "obstacles", "supply"]
FAILED = []


def score(name, passed, tried):
    print(f"score: {name}: {passed} of {tried}", flush=True)
    if passed != tried or tried == 0:
        FAILED.append(name)


# --- The data set -----------------------------------------------------------------------------------------


def feature(geometry, properties):
    return {"type": "Feature", "properties": properties,
            "geometry": geometry and json.loads(shapely.to_geojson(geometry))}


def city(home, count):
    """The layers of a made-up city as lists of features, with some that are hard or broken."""
    made = HERE.parent / "make-city"
    subprocess.run([sys.executable, made, str(count), home / "made"], check=True)
    read = lambda name: [json.loads(line.lstrip("\x1e")) for line in open(home / "made" / name) if line.strip()]
    parcels, turf = read("parcels.geojsonl"), read("turf.geojsonl")
    chance = random.Random(1)
    metre = 1 / 111_000
    heads, obstacles, supply = [], [], []
    for number, lawn in enumerate(turf):
        shape = shapely.geometry.shape(lawn["geometry"])
        id_ = lawn["properties"]["parcel_id"]
        if number % 3 == 0:
            ring = shape.geoms[0].exterior if shape.geom_type == "MultiPolygon" else shape.exterior
            for share in (0.1, 0.35, 0.6, 0.85):
                at = ring.interpolate(share, normalized=True)
                # Up to 1.4 m beside the lawn: on it, on the neighbour's, or on none.
                at = shapely.Point(at.x + chance.uniform(-1.4, 1.4) * metre, at.y + chance.uniform(-1.4, 1.4) * metre)
                owner = id_ if chance.random() < 0.8 else None
                heads.append(feature(at, {"parcel_id": owner, "nozzle_family": "spray",
                                          "station": chance.choice(["1", "2"]),
                                          "arc_deg": chance.choice([None, 90, 180])}))
        if number % 4 == 0:
            at = shape.centroid
            side = chance.uniform(2, 6) * metre
            x, y = at.x + chance.uniform(-15, 15) * metre, at.y + chance.uniform(-15, 15) * metre
            obstacles.append(feature(shapely.box(x, y, x + side, y + side),
                                     {"kind": chance.choice(["building", "wall", "trunk", "pavement"]),
                                      "height_m": chance.choice([None, 3.5])}))
        if number % 5 == 0:
            supply.append(feature(shape.centroid, {"parcel_id": id_ if number % 10 else None, "kind": "meter",
                                                   "flow_lpm": 40, "static_kpa": 400, "size_mm": 20}))
        if number % 7 == 0:
            lawn["properties"]["parcel_id"] = None
    # What belongs to nobody, lies nowhere, or is no polygon.
    far = shapely.box(-104.0, 38.0, -103.9999, 38.0001)
    turf.insert(5, feature(far, {"parcel_id": "nobody", "exposure": None, "grass": None}))
    turf.insert(9, feature(far, {"parcel_id": None, "exposure": None, "grass": None}))
    turf.insert(12, feature(None, {"parcel_id": parcels[3]["properties"]["parcel_id"]}))
    turf.append(feature(None, {"parcel_id": None}))
    parcels.insert(7, feature(None, {"parcel_id": "without outline"}))
    obstacles.insert(3, feature(None, {"kind": "building"}))
    obstacles.append(feature(shapely.Point(-104, 38), {"kind": "wall"}))
    heads.append(feature(far, {"station": "1"}))
    heads.append(feature(shapely.Point(-104, 39), {"station": "1"}))
    supply.append(feature(shapely.box(-104, 38, -103, 39), {"kind": "meter"}))
    return dict(zip(LAYERS, [parcels, turf, heads, obstacles, supply]))


def write_layers(home, layers):
    """Every layer as GeoJSON for one machine and as GeoParquet, in two files, for Spark."""
    for name, features in layers.items():
        with open(home / f"{name}.geojson", "w") as file:
            json.dump({"type": "FeatureCollection", "features": features}, file)
        columns = sorted({key for one in features for key in one["properties"]})
        drawn = [shapely.geometry.shape(one["geometry"]) if one["geometry"] else None for one in features]
        arrays = {"geometry": pa.array([shape and shapely.to_wkb(shape) for shape in drawn], pa.binary())}
        for column in columns:
            arrays[column] = pa.array([one["properties"].get(column) for one in features])
        table = pa.table(arrays)
        geo = {"version": "1.1.0", "primary_column": "geometry",
               "columns": {"geometry": {"encoding": "WKB", "geometry_types": []}}}
        table = table.replace_schema_metadata({"geo": json.dumps(geo)})
        (home / name).mkdir()
        half = len(features) // 2
        pq.write_table(table.slice(0, half), home / name / "a.parquet")
        pq.write_table(table.slice(half), home / name / "b.parquet")


# --- Tables -----------------------------------------------------------------------------------------------


def rows_of(table, name):
    """The rows of a table as sorted texts, in which the name of the input file is left out."""
    columns = [column for column in table.column_names if not (name == "failures" and column == "file")]
    rows = zip(*(table.column(column).to_pylist() for column in columns))
    return sorted(repr(row) for row in rows)


def compare(title, one, spark):
    """Compares all tables; a row passes when the other side has the very same one."""
    tried = passed = 0
    for name in spark_plan.TABLES:
        alone = pq.read_table(one / f"{name}.parquet")
        parts = sorted((spark / name).glob("part-*.parquet"))
        assert not list((spark / name).glob(".*")), f"{name}: files of broken attempts lie about"
        schema = pa.schema([field.with_nullable(True) for field in alone.schema.remove_metadata()])
        tables = [pq.read_table(part) for part in parts]
        columns = [table.column_names for table in tables]
        assert all(names == alone.column_names for names in columns), f"{name}: other columns"
        together = pa.concat_tables([table.replace_schema_metadata(None) for table in tables]) if tables \
            else schema.empty_table()
        left, right = rows_of(alone, name), rows_of(together, name)
        same = sum(a == b for a, b in zip(left, right)) if len(left) == len(right) else \
            len(left) - len(set(left) - set(right))
        tried += max(len(left), len(right))
        passed += same if len(left) == len(right) else min(same, len(left) - abs(len(left) - len(right)))
        if left != right:
            print(f"{title}: {name} differs: {len(left)} rows and {len(right)}", file=sys.stderr)
            for row in sorted(set(left) ^ set(right))[:4]:
                print(f"  {'one machine' if row in left else 'Spark'}: {row[:300]}", file=sys.stderr)
    score(title, passed, tried)


# --- Processes --------------------------------------------------------------------------------------------


def processes():
    """Every process: its id, its parent and what it was started as."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parent = int(re.sub(r".*\) \S+ ", "", (entry / "stat").read_text()).split()[0])
                found.append((int(entry.name), parent, (entry / "cmdline").read_bytes().decode(errors="replace")))
            except (OSError, ValueError, IndexError):
                pass
    return found


def below(root):
    """The processes that a process started, and those that they did."""
    everyone, inside = processes(), {root}
    while True:
        more = {pid for pid, parent, _ in everyone if parent in inside} - inside
        if not more:
            return [one for one in everyone if one[0] in inside]
        inside |= more


def environment(home):
    """Spark of the virtual environment, on the loopback, with its scratch files in our folder."""
    import pyspark
    return {**os.environ, "SPARK_HOME": str(Path(pyspark.__file__).parent), "PYSPARK_PYTHON": sys.executable,
            "PYSPARK_DRIVER_PYTHON": sys.executable, "SPARK_LOCAL_IP": "127.0.0.1",
            "SPARK_LOCAL_HOSTNAME": "127.0.0.1", "SPARK_LOCAL_DIRS": str(home / "scratch"),
            "SPARK_WORKER_DIR": str(home / "work"), "SPARK_NO_DAEMONIZE": "1"}


def free_port():
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


class Cluster:
    """A master and two workers with a core each."""

    def __init__(self, home):
        self.environment = environment(home)
        self.log = open(home / "cluster.log", "ab")
        port, self.home = free_port(), home
        self.url = f"spark://127.0.0.1:{port}"
        deploy = "org.apache.spark.deploy"
        self.parts = [self.start(f"{deploy}.master.Master", "--host", "127.0.0.1", "--port", str(port),
                                 "--webui-port", "0")]
        time.sleep(3)
        for _ in range(2):
            self.parts.append(self.start(f"{deploy}.worker.Worker", "--host", "127.0.0.1", "--webui-port", "0",
                                         "--cores", "1", "--memory", "2g", self.url))

    def start(self, *line):
        run = Path(self.environment["SPARK_HOME"]) / "bin" / "spark-class"
        return subprocess.Popen([run, *line], env=self.environment, stdout=self.log, stderr=self.log,
                                start_new_session=True)

    def stop(self):
        for part in self.parts:
            for pid, _, _ in below(part.pid):
                try:
                    os.kill(pid, signal.SIGKILL)
                except ProcessLookupError:
                    pass
            part.wait()
        self.log.close()

    def plan(self, evenfall, out, per_task, harm=None):
        """Runs the job and harms it in the middle; gives back its seconds and whether harm was done."""
        settings = {"spark.executor.memory": "1g", "spark.executor.cores": "1", "spark.ui.enabled": "false",
                    "spark.driver.bindAddress": "127.0.0.1", "spark.driver.host": "127.0.0.1",
                    "spark.sql.shuffle.partitions": "2", "spark.task.maxFailures": "4",
                    # Of few rows planning and compiling take longer than the rows.
                    "spark.sql.codegen.wholeStage": "false", "spark.sql.adaptive.enabled": "false",
                    "spark.driver.extraJavaOptions": "-XX:TieredStopAtLevel=1",
                    "spark.executor.extraJavaOptions": "-XX:TieredStopAtLevel=1"}
        line = [Path(self.environment["SPARK_HOME"]) / "bin" / "spark-submit", "--master", self.url]
        for key, value in settings.items():
            line += ["--conf", f"{key}={value}"]
        line += [HERE / "plan.py", "--evenfall", evenfall, "--per-task", str(per_task), "-o", out]
        for name in LAYERS:
            line += [f"--{name}", self.home / name]
        line += ["--", *FLAGS]
        begun, harmed = time.monotonic(), False
        log = open(f"{out}.log", "wb")
        job = subprocess.Popen([str(part) for part in line], env=self.environment, stdout=log, stderr=log)
        while job.poll() is None:
            # In the middle: one task has ended and its file stands there.
            if harm and not harmed and list(Path(out).glob("parcels/part-*.parquet")):
                harmed = harm(self)
            time.sleep(0.05)
        log.close()
        if job.returncode:
            print(Path(f"{out}.log").read_text()[-4000:], file=sys.stderr)
        return job.returncode == 0, time.monotonic() - begun, harmed


def kill_child(cluster):
    """Kills a planning program that is at work."""
    for part in cluster.parts:
        for pid, _, line in below(part.pid):
            if "--arrow" in line and "evenfall" in line.split("\0")[0]:
                os.kill(pid, signal.SIGKILL)
                return True
    return False


def kill_worker(cluster):
    """Kills a worker with all that it runs: its executor, the Python processes, the planning programs. What
    its tasks had sorted for others is lost with it."""
    victim = cluster.parts[2]
    family = below(victim.pid)
    if not any("--arrow" in line for _, _, line in family):
        return False
    for pid, _, _ in family:
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            pass
    return True


def main():
    evenfall, home, count = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
    (home / "scratch").mkdir()
    layers = city(home, count)
    write_layers(home, layers)
    begun = time.monotonic()
    line = [evenfall, "plan", *FLAGS, "-f", "geoparquet", "-q", "-j", "1", "-o", home / "one"]
    for name in LAYERS:
        line += [f"--{name}", home / f"{name}.geojson"]
    ended = subprocess.run([str(part) for part in line])
    assert ended.returncode in (0, 1), ended.returncode
    print(f"one machine, one thread: {time.monotonic() - begun:.1f} s", flush=True)
    per_task = max(5, count // 12)
    cluster = Cluster(home)
    try:
        runs = [("Spark rows as one machine", None), ("Spark rows after a killed program", kill_child),
                ("Spark rows after a killed worker", kill_worker)]
        for place, (title, harm) in enumerate(runs):
            out = home / f"spark-{place}"
            ended, seconds, harmed = cluster.plan(evenfall, str(out), per_task, harm)
            print(f"{title}: {seconds:.1f} s", flush=True)
            if not ended or harm and not harmed:
                print(f"{title}: {'the job failed' if not ended else 'nothing was killed'}", file=sys.stderr)
                score(title, 0, 1)
                continue
            compare(title, home / "one", out)
            if harm:
                log = Path(f"{out}.log").read_text()
                # The number behind the point counts attempts from 0.
                again = len(re.findall(r"Starting task \d+\.[1-9]", log))
                print(f"{title}: {again} tasks were made again", flush=True)
                score(f"{title}, something made again", int(again > 0), 1)
    finally:
        cluster.stop()
    sys.exit(bool(FAILED))


if __name__ == "__main__":
    main()
