/* The report's own script: units, the table, the map, and the rain of a chosen parcel.
   Data reaches the page as text only (textContent), never as markup. */
(function () {
  "use strict";
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("data").textContent);
  const table = $("table");
  const body = table.tBodies[0];
  const rows = Array.from(body.rows);
  const make = (tag, text, parent) => {
    const element = document.createElement(tag);
    if (text !== undefined) element.textContent = text;
    if (parent) parent.appendChild(element);
    return element;
  };

  /* Units. Factors from SI: NIST Special Publication 811, appendix B. */
  const FOOT = 0.3048, GALLON_L = 3.785411784, PSI_KPA = 6.894757, INCH_MM = 25.4;
  const QUANTITIES = {
    volume: { si: ["m³", 1, 0], us: ["kgal", 1 / GALLON_L, 1] },
    cost: { si: ["m³", 1, 0], us: ["kgal", GALLON_L, 0] },
    area: { si: ["m²", 1, 0], us: ["ft²", 1 / (FOOT * FOOT), 0] },
    rate: { si: ["mm/h", 1, 0], us: ["in/h", 1 / INCH_MM, 2] },
    length: { si: ["m", 1, 0], us: ["ft", 1 / FOOT, 0] },
    flow: { si: ["L/min", 1, 0], us: ["gpm", 1 / GALLON_L, 0] },
    pressure: { si: ["kPa", 1, 0], us: ["psi", 1 / PSI_KPA, 0] },
  };
  let units = "si";
  const number = (value, decimals) => {
    if (!Number.isFinite(value)) return "–";
    const [whole, rest] = Math.abs(value).toFixed(decimals).split(".");
    const grouped = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
    const text = rest ? grouped + "." + rest : grouped;
    return value < 0 && /[1-9]/.test(text) ? "−" + text : text;
  };
  const say = (value, quantity, decimals) => {
    if (value === null || value === undefined) return "–";
    const [name, factor, more] = QUANTITIES[quantity][units];
    return number(value * factor, decimals + more) + "\u00a0" + name;
  };
  function setUnits(chosen) {
    units = chosen;
    document.querySelectorAll("[data-q]").forEach((element) => {
      if (element.dataset.d === undefined) {
        const shown = element.textContent.split(".")[1];
        element.dataset.d = shown ? shown.length : 0;
      }
      const [, factor, more] = QUANTITIES[element.dataset.q][units];
      element.textContent = number(Number(element.dataset.v) * factor, Number(element.dataset.d) + more);
    });
    document.querySelectorAll("[data-unit]").forEach((element) => {
      if (!QUANTITIES[element.dataset.unit]) return;
      const name = QUANTITIES[element.dataset.unit][units][0];
      const yearly = element.dataset.unitYr !== undefined ? "/yr" : "";
      element.textContent = (element.dataset.unit === "cost" ? "per " : "") + name + yearly;
    });
    document.querySelectorAll(".units button").forEach((button) => {
      button.setAttribute("aria-pressed", String(button.dataset.set === units));
    });
    if (chosenAt !== null) describe(chosenAt);
    if (scale) { scale.remove(); scale = addScale(); }
  }
  document.querySelectorAll(".units button").forEach((button) => {
    button.addEventListener("click", () => setUnits(button.dataset.set));
  });
  document.querySelector(".units").hidden = false;

  /* The table: sort by a column, filter by words. */
  const titles = Array.from(table.tHead.rows[0].cells);
  const key = (row, column) => {
    const cell = row.cells[column];
    return cell.dataset.s === undefined ? null : Number(cell.dataset.s);
  };
  function sortBy(column) {
    const title = titles[column];
    const isWord = title.classList.contains("w");
    const before = title.getAttribute("aria-sort");
    const up = before === null ? isWord : before === "descending";
    titles.forEach((other) => other.removeAttribute("aria-sort"));
    title.setAttribute("aria-sort", up ? "ascending" : "descending");
    const compare = (a, b) => {
      if (isWord) {
        const order = a.cells[column].textContent.localeCompare(b.cells[column].textContent, undefined, { numeric: true });
        return up ? order : -order;
      }
      const [x, y] = [key(a, column), key(b, column)];
      if (x === null || y === null) return (x === null) - (y === null);
      return up ? x - y : y - x;
    };
    const sorted = rows.slice().sort((a, b) => compare(a, b) || a.dataset.at - b.dataset.at);
    body.append(...sorted);
  }
  titles.forEach((title, column) => {
    const name = title.querySelector(".name");
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name.textContent;
    button.title = "Sort by this column";
    title.dataset.name = name.textContent; // what paper shows: buttons are not repeated there
    name.replaceWith(button);
    button.addEventListener("click", () => sortBy(column));
  });
  function filter() {
    const words = $("filter").value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    rows.forEach((row) => {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
      if (!row.hidden) shown += 1;
    });
    $("count").textContent = shown + " of " + rows.length + " shown";
  }
  $("filter").addEventListener("input", filter);
  document.querySelector(".tools").hidden = false;
  filter();
  rows.forEach((row) => {
    const head = row.cells[0];
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.appendChild(button);
    button.addEventListener("click", () => choose(Number(row.dataset.at), true));
  });

  /* The map. */
  document.querySelector(".noscript").hidden = true;
  document.querySelector(".mapbox").hidden = false;
  const flip = (shape) => shape.map((rings) => rings.map((ring) => ring.map(([lon, lat]) => [lat, lon])));
  const map = L.map("map", { attributionControl: false, preferCanvas: true, maxZoom: 24, minZoom: 1, zoomSnap: 0.25 });
  map.createPane("rain").style.zIndex = 390;
  const claims = data.parcels.map(([claimed]) => claimed).filter((claimed) => claimed > 0).sort((a, b) => a - b);
  // Fifths of the claims; fewer classes where many claims are alike.
  const fifths = [0.2, 0.4, 0.6, 0.8].map((share) => claims[Math.floor(share * claims.length)]);
  const bounds = fifths.filter((bound, at) => number(bound, 1) !== number(at ? fifths[at - 1] : claims[0], 1));
  const last = data.ramp.length - 1;
  const inkOf = (step) => data.ramp[bounds.length ? Math.round((step * last) / bounds.length) : last];
  const colour = (claimed) =>
    (claimed > 0 ? inkOf(bounds.filter((bound) => claimed >= bound).length) : "#d9dcdc");
  const shapes = [];
  const group = L.featureGroup();
  data.parcels.forEach(([claimed, shape], at) => {
    if (!shape.length) return;
    const polygon = L.polygon(flip(shape), { color: "#4d585b", weight: 1, fillColor: colour(claimed), fillOpacity: 0.8 });
    polygon.bindTooltip(() => {
      const box = make("div");
      const id = make("bdi", rows[at].cells[0].textContent, box);
      id.style.fontWeight = "600";
      make("div", "claimed " + say(claimed, "volume", 1) + " a year", box);
      return box;
    }, { sticky: true });
    polygon.on("click", () => choose(at, false));
    shapes[at] = polygon;
    group.addLayer(polygon);
  });
  group.addTo(map);
  const whole = () => {
    if (group.getLayers().length) map.fitBounds(group.getBounds(), { padding: [12, 12], animate: false });
    else map.setView([0, 0], 2);
  };
  whole();
  // On paper the map has another width, and shows all of the run.
  addEventListener("beforeprint", () => {
    map.invalidateSize(false);
    whole();
  });
  addEventListener("afterprint", () => map.invalidateSize(false));
  const addScale = () => L.control.scale({ metric: units === "si", imperial: units === "us" }).addTo(map);
  let scale = addScale();
  function classes() {
    const box = $("classes");
    box.textContent = "";
    if (!claims.length) { make("span", "none", box); return; }
    const edge = (value) => {
      const span = document.createElement("span");
      span.dataset.q = "volume"; span.dataset.v = value; span.dataset.d = 1;
      span.textContent = number(value, 1);
      return span;
    };
    for (let at = 0; at <= bounds.length; at += 1) {
      const item = make("span", undefined, box);
      make("i", undefined, item).style.background = inkOf(at);
      if (!bounds.length) item.append(edge(claims[0]), " and more");
      else if (at === 0) item.append("below ", edge(bounds[0]));
      else if (at === bounds.length) item.append(edge(bounds[at - 1]), " and more");
      else item.append(edge(bounds[at - 1]), " to ", edge(bounds[at]));
    }
  }
  classes();

  /* The rain of a chosen parcel, rebuilt from its heads. */
  const A = 6378137, F = 1 / 298.257223563, E2 = F * (2 - F); // WGS 84
  function frame([lon0, lat0]) {
    const phi = (lat0 * Math.PI) / 180;
    const w = 1 - E2 * Math.sin(phi) ** 2;
    const north = (A * (1 - E2)) / w ** 1.5 * (Math.PI / 180);
    const east = (A / Math.sqrt(w)) * Math.cos(phi) * (Math.PI / 180);
    return {
      ll: (x, y) => [lat0 + y / north, lon0 + x / east],
      xy: ([lon, lat]) => [(lon - lon0) * east, (lat - lat0) * north],
    };
  }
  /* g(s) with the integral of g(s) s ds from 0 to 1 equal to 1. */
  function profile(text) {
    const named = {
      triangular: (s) => 6 * (1 - s),
      elliptical: (s) => 3 * Math.sqrt(1 - s * s),
      uniform: () => 2,
      parabolic: (s) => 4 * (1 - s * s),
    };
    if (Object.hasOwn(named, text)) return named[text];
    const points = JSON.parse(text);
    let whole = 0;
    for (let i = 1; i < points.length; i += 1) {
      const [[s, a], [t, b]] = [points[i - 1], points[i]];
      const slope = (b - a) / (t - s);
      whole += (a - slope * s) * (t * t - s * s) / 2 + slope * (t ** 3 - s ** 3) / 3;
    }
    return (s) => {
      for (let i = 1; i < points.length; i += 1) {
        const [[from, a], [to, b]] = [points[i - 1], points[i]];
        if (s <= to) return (a + ((b - a) * (s - from)) / (to - from)) / whole;
      }
      return 0;
    };
  }
  const isOf = (which, wanted) => which === 2 || which === wanted;
  /* Rate of one head at a place \[mm/h\], as its row describes it. */
  function rateOf(head, shapes) {
    const [, , x0, y0, kind, a, b, azimuth, flow, shape] = head;
    if (kind === 0) {
      const sweep = (b * Math.PI) / 180;
      const g = shapes[shape];
      const scale = (60 * flow) / (sweep * a * a);
      const start = (azimuth * Math.PI) / 180;
      return (x, y) => {
        const [dx, dy] = [x - x0, y - y0];
        const s = Math.sqrt(dx * dx + dy * dy) / a;
        if (s >= 1) return 0;
        if (b < 360) {
          let turn = (Math.atan2(dx, dy) - start) % (2 * Math.PI);
          if (turn < 0) turn += 2 * Math.PI;
          if (turn > sweep) return 0;
        }
        return scale * g(s);
      };
    }
    const [sin, cos] = [Math.sin((azimuth * Math.PI) / 180), Math.cos((azimuth * Math.PI) / 180)];
    const rate = (60 * flow) / (a * b);
    return (x, y) => {
      const ahead = (x - x0) * sin + (y - y0) * cos;
      const across = Math.abs((x - x0) * cos - (y - y0) * sin);
      const inside = kind === 1 ? ahead >= 0 && ahead <= b && across <= a / 2
        : kind === 2 ? ahead >= 0 && ahead <= a && across <= b / 2
          : Math.abs(ahead) <= a / 2 && across <= b / 2;
      return inside ? rate : 0;
    };
  }
  const reach = (head) => (head[4] === 0 ? head[5] : Math.hypot(head[5], head[6]));
  const MOST_CELLS = 250000;
  /* The rain on the lawns: a picture, and for each lawn its mean and low quarter. */
  function rain(shown, wanted) {
    const at = frame(shown.o);
    const lawns = shown.a.map((lawn) => lawn.g.map((rings) => rings.map((ring) => ring.map(at.xy))));
    let [west, south, east, north] = [Infinity, Infinity, -Infinity, -Infinity];
    lawns.flat(3).forEach(([x, y]) => {
      west = Math.min(west, x); east = Math.max(east, x);
      south = Math.min(south, y); north = Math.max(north, y);
    });
    if (!(east > west)) return null;
    const heads = shown.h.filter((head) => isOf(head[0], wanted));
    const smallest = heads.reduce((least, head) => Math.min(least, head[5]), Infinity);
    const fine = Math.min(Math.max(smallest / 20, 0.1), 0.4);
    const cell = Math.max(fine, Math.sqrt(((east - west) * (north - south)) / MOST_CELLS));
    const [wide, tall] = [Math.ceil((east - west) / cell), Math.ceil((north - south) / cell)];
    const shapes = shown.p.map(profile);
    const total = new Float32Array(wide * tall);
    const owner = new Int16Array(wide * tall).fill(-1);
    const inside = document.createElement("canvas");
    inside.width = wide; inside.height = tall;
    const pen = inside.getContext("2d", { willReadFrequently: true });
    const fields = lawns.map((polygons, lawn) => {
      // A lawn's heads water that lawn: the measures of the plan are made that way.
      const field = new Float32Array(wide * tall);
      heads.filter((head) => head[1] === lawn).forEach((head) => {
        const rate = rateOf(head, shapes);
        const far = reach(head);
        const c0 = Math.max(0, Math.floor((head[2] - far - west) / cell));
        const c1 = Math.min(wide - 1, Math.ceil((head[2] + far - west) / cell));
        const r0 = Math.max(0, Math.floor((north - head[3] - far) / cell));
        const r1 = Math.min(tall - 1, Math.ceil((north - head[3] + far) / cell));
        for (let r = r0; r <= r1; r += 1) {
          for (let c = c0; c <= c1; c += 1) {
            field[r * wide + c] += rate(west + (c + 0.5) * cell, north - (r + 0.5) * cell);
          }
        }
      });
      pen.clearRect(0, 0, wide, tall);
      const path = new Path2D();
      polygons.forEach((rings) => rings.forEach((ring) => {
        ring.forEach(([x, y], i) => {
          path[i ? "lineTo" : "moveTo"]((x - west) / cell, (north - y) / cell);
        });
        path.closePath();
      }));
      pen.fill(path, "evenodd");
      const mask = pen.getImageData(0, 0, wide, tall).data;
      const rates = [];
      for (let i = 0; i < field.length; i += 1) {
        if (mask[4 * i + 3] >= 128) { rates.push(field[i]); total[i] = field[i]; owner[i] = lawn; }
      }
      rates.sort((x, y) => x - y);
      const mean = rates.reduce((sum, x) => sum + x, 0) / rates.length;
      const quarter = Math.max(1, Math.round(rates.length / 4));
      const low = rates.slice(0, quarter).reduce((sum, x) => sum + x, 0) / quarter;
      return { mean, du: mean > 0 ? low / mean : null, cells: rates.length };
    });
    const canvas = document.createElement("canvas");
    canvas.width = wide; canvas.height = tall;
    const paint = canvas.getContext("2d");
    const image = paint.createImageData(wide, tall);
    const inks = data.ramp.map((hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16)));
    for (let i = 0; i < total.length; i += 1) {
      if (owner[i] < 0) continue;
      const share = total[i] / (fields[owner[i]].mean || 1) / 2;
      const place = Math.min(Math.max(share, 0), 0.9999) * (inks.length - 1);
      const [low, part] = [Math.floor(place), place % 1];
      for (let k = 0; k < 3; k += 1) {
        image.data[4 * i + k] = inks[low][k] + part * (inks[Math.min(low + 1, inks.length - 1)][k] - inks[low][k]);
      }
      image.data[4 * i + 3] = 255;
    }
    paint.putImageData(image, 0, 0);
    const box = [at.ll(west, north - tall * cell), at.ll(west + wide * cell, north)];
    return { url: canvas.toDataURL(), box, fields, cell };
  }

  /* A chosen parcel. */
  let chosenAt = null;
  let wantedNow = 1;
  let overlay = L.layerGroup().addTo(map);
  let fields = [];
  function outlineOf(head, at) {
    const [, , x0, y0, kind, a, b, azimuth] = head;
    const point = (bearing, far) => {
      const turn = (bearing * Math.PI) / 180;
      return at.ll(x0 + far * Math.sin(turn), y0 + far * Math.cos(turn));
    };
    if (kind === 0) {
      const steps = Math.max(3, Math.ceil(b / 6));
      const arc = Array.from({ length: steps + 1 }, (_, i) => point(azimuth + (b * i) / steps, a));
      return b < 360 ? [at.ll(x0, y0), ...arc] : arc;
    }
    const [sin, cos] = [Math.sin((azimuth * Math.PI) / 180), Math.cos((azimuth * Math.PI) / 180)];
    const [near, far, half] = kind === 1 ? [0, b, a / 2] : kind === 2 ? [0, a, b / 2] : [-a / 2, a / 2, b / 2];
    return [[near, -half], [far, -half], [far, half], [near, half]].map(([ahead, across]) =>
      at.ll(x0 + ahead * sin + across * cos, y0 + ahead * cos - across * sin));
  }
  function draw(at) {
    overlay.clearLayers();
    fields = [];
    const shown = data.shown[at];
    if (!shown) return;
    const place = frame(shown.o);
    const field = rain(shown, wantedNow);
    if (field) {
      L.imageOverlay(field.url, field.box, { pane: "rain", opacity: 0.95, alt: "Rain of the heads" }).addTo(overlay);
      fields = field.fields;
    }
    const ink = wantedNow === 0 ? "#b5533c" : "#1f6f8b";
    shown.a.forEach((lawn) => {
      L.polygon(flip(lawn.g), { color: "#3e4f2d", weight: 1.5, fill: false, interactive: false }).addTo(overlay);
    });
    shown.h.filter((head) => isOf(head[0], wantedNow)).forEach((head) => {
      L.polygon(outlineOf(head, place), { color: ink, weight: 0.8, opacity: 0.6, fill: false, interactive: false }).addTo(overlay);
      L.circleMarker(place.ll(head[2], head[3]), { radius: 4, color: "#22282b", weight: 1, fillColor: ink, fillOpacity: 1 })
        .bindTooltip(() => {
          const box = make("div");
          make("div", "head " + head[10], box);
          const size = head[4] === 0
            ? "throw " + say(head[5], "length", 2) + ", arc " + number(head[6], 0) + "° from " + number(head[7], 0) + "°"
            : "strip " + say(head[5], "length", 2) + " × " + say(head[6], "length", 2);
          make("div", size, box);
          make("div", say(head[8], "flow", 1), box);
          return box;
        }).addTo(overlay);
    });
    if (wantedNow === 1) {
      shown.v.forEach(([lon, lat, name, flow, run]) => {
        L.circleMarker([lat, lon], { radius: 6, color: "#22282b", weight: 2.5, fillColor: "#ffffff", fillOpacity: 1 })
          .bindTooltip(() => make("div", "station " + name + ", " + say(flow, "flow", 1) +
            (run === null ? "" : ", " + number(run, 0) + " min a day in the peak month"))).addTo(overlay);
      });
    }
  }
  function describe(at) {
    const box = $("detail");
    box.textContent = "";
    const row = rows[at];
    const head = make("h3", undefined, box);
    head.append("Parcel ");
    make("bdi", row.cells[0].textContent, head);
    const shown = data.shown[at];
    if (!shown) {
      make("p", "Its heads are not in this page; heads.geojson has them.", box);
      facts(row, box);
      return;
    }
    const choice = make("div", undefined, box);
    choice.className = "row";
    choice.setAttribute("role", "group");
    choice.setAttribute("aria-label", "What is drawn");
    [["as found", 0], ["as recommended", 1]].forEach(([name, wanted]) => {
      const button = make("button", name, choice);
      button.type = "button";
      button.dataset.wanted = wanted;
      button.setAttribute("aria-pressed", String(wanted === wantedNow));
      button.addEventListener("click", () => {
        wantedNow = wanted; draw(at); describe(at);
        box.querySelector("button[data-wanted='" + wanted + "']").focus();
      });
    });
    const bar = make("div", undefined, box);
    bar.className = "bar";
    data.ramp.forEach((fill) => { make("i", undefined, bar).style.background = fill; });
    make("p", "Rain from none to twice the mean of each lawn, in still air, buildings' shadow not taken off.", box).className = "quiet";
    const lawns = make("table", undefined, box);
    lawns.className = "lawns";
    const titleRow = make("tr", undefined, lawns);
    ["Field evenness", "Rate", "Drawing, still air", "Minutes a day"].forEach((name) => make("th", name, titleRow));
    shown.a.forEach((lawn, i) => {
      const plan = lawn.s.find((one) => isOf(one.w, wantedNow));
      if (!plan) return;
      const name = make("th", undefined, make("tr", undefined, lawns));
      name.className = "w";
      name.colSpan = 4;
      make("bdi", lawn.id, name).className = "id";
      make("span", " " + plan.scenario, name).className = "quiet";
      const line = make("tr", undefined, lawns);
      line.dataset.lawn = i;
      make("td", plan.field === null ? "–" : number(plan.field, 2), line).style.fontWeight = "700";
      make("td", say(plan.rate, "rate", 1), line);
      make("td", plan.drawing === null ? "–" : number(plan.drawing, 2), line).className = "quiet";
      make("td", plan.run === null ? "–" : number(plan.run, 0), line);
      if (fields[i]) {
        line.dataset.du = fields[i].du === null ? "" : fields[i].du.toFixed(4);
        line.dataset.planned = plan.drawing === null ? "" : plan.drawing;
        line.dataset.mean = fields[i].mean.toFixed(4);
        line.dataset.rate = plan.rate === null ? "" : plan.rate;
      }
    });
    make("p", "Field evenness is what the lawn can be expected to measure; the still-air drawing value only compares layouts.", box).className = "quiet";
    facts(row, box);
  }
  function facts(row, box) {
    const list = make("table", undefined, box);
    list.className = "facts";
    titles.slice(1).forEach((title, column) => {
      const line = make("tr", undefined, list);
      make("th", title.textContent, line).className = "w";
      make("td", row.cells[column + 1].textContent, line);
    });
  }
  function choose(at, fromTable) {
    if (chosenAt !== null && shapes[chosenAt]) shapes[chosenAt].setStyle({ weight: 1, color: "#4d585b", fillOpacity: 0.8 });
    rows.forEach((row) => row.classList.toggle("chosen", Number(row.dataset.at) === at));
    chosenAt = at;
    draw(at);
    describe(at);
    const shape = shapes[at];
    if (shape) {
      shape.setStyle({ weight: 3, color: "#22282b", fillOpacity: data.shown[at] ? 0.15 : 0.8 });
      map.fitBounds(shape.getBounds(), { padding: [40, 40], animate: false });
    }
    if (fromTable) {
      $("map-part").scrollIntoView();
      $("detail").tabIndex = -1;
      $("detail").focus({ preventScroll: true });
    }
  }
})();
