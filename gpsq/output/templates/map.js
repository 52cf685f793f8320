"use strict";
(() => {
  const data = JSON.parse(document.getElementById("gpsq-data").textContent);
  const map = gpsq_map;
  const SVG = "http://www.w3.org/2000/svg";
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  // Text from the recordings is only ever set as text content, here.
  function make(tag, text, ...inside) {
    const node = document.createElement(tag);
    if (text) node.textContent = text;
    node.append(...inside);
    return node;
  }

  function places(steps) {
    const out = [];
    let lat = 0, lon = 0;
    for (let i = 0; i < steps.length; i += 2) {
      lat += steps[i];
      lon += steps[i + 1];
      out.push([lat / 1e6, lon / 1e6]);
    }
    return out;
  }

  // ---- marks: a shape for each device, so that colour is not alone ----
  const SHAPES = {
    triangle: [[0, -1.2], [1.1, 0.8], [-1.1, 0.8]],
    square: [[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]],
    diamond: [[0, -1.25], [1.25, 0], [0, 1.25], [-1.25, 0]],
    wedge: [[0, 1.2], [1.1, -0.8], [-1.1, -0.8]],
    cross: [[-0.4, -1.2], [0.4, -1.2], [0.4, -0.4], [1.2, -0.4], [1.2, 0.4], [0.4, 0.4], [0.4, 1.2], [-0.4, 1.2], [-0.4, 0.4], [-1.2, 0.4], [-1.2, -0.4], [-0.4, -0.4]],
  };
  const Mark = L.CircleMarker.extend({
    _updatePath() {
      const renderer = this._renderer, shape = SHAPES[this.options.mark];
      if (!shape || !renderer._ctx) { renderer._updateCircle(this); return; }
      if (!renderer._drawing || this._empty()) return;
      const ctx = renderer._ctx, r = this._radius;
      ctx.beginPath();
      shape.forEach(([x, y], i) => ctx[i ? "lineTo" : "moveTo"](this._point.x + x * r, this._point.y + y * r));
      ctx.closePath();
      renderer._fillStroke(ctx, this);
    },
  });

  // ---- swatches of the legend ----
  function swatch(draw) {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("width", "44");
    svg.setAttribute("height", "18");
    svg.setAttribute("aria-hidden", "true");
    const add = (tag, settings) => {
      const node = document.createElementNS(SVG, tag);
      for (const [key, value] of Object.entries(settings)) node.setAttribute(key, value);
      svg.append(node);
    };
    draw(add);
    return svg;
  }
  const line = (settings) => (add) => add("path", { d: "M2 9H42", fill: "none", ...settings });
  const marked = (device) => (add) => {
    line({ stroke: device.colour, "stroke-width": 2.5, "stroke-dasharray": device.dashes.join(" ") })(add);
    const shape = SHAPES[device.mark];
    const paint = { fill: device.colour, stroke: colour("--halo") };
    if (shape) add("path", { d: "M" + shape.map(([x, y]) => `${22 + x * 5} ${9 + y * 5}`).join("L") + "Z", ...paint });
    else add("circle", { cx: 22, cy: 9, r: 5, ...paint });
  };

  // ---- what is shown ----
  const rides = [...new Set(data.recordings.map((r) => r.ride))];
  const named = (ride) => ride || "recordings without a ride";
  const shown = { ride: -1, routes: new Set([-1, ...data.routes.keys()]), devices: new Set(data.devices.keys()), layers: new Set() };
  const LAYERS = [
    ["centreline", "centreline and spread band", line({ stroke: "currentColor", "stroke-width": 2 }), true],
    ["tracks", "recordings", line({ stroke: "currentColor", "stroke-width": 1.5, "stroke-opacity": 0.7 }), true],
    ["heads", "missed before the first fix", line({ stroke: "currentColor", "stroke-width": 5, "stroke-dasharray": "0.1 8", "stroke-linecap": "round" }), true],
    ["fixes", "first fix", (add) => add("circle", { cx: 22, cy: 9, r: 5, fill: "currentColor" }), true],
    ["unflagged", "deviation, unflagged", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.45 }), true],
    ["intentional", "deviation, intentional", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.45, "stroke-dasharray": "12 6" }), true],
    ["error", "deviation, receiver error", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.45, "stroke-dasharray": "3 5" }), true],
    ["hotspots", "where recordings scatter most", line({ stroke: "var(--accent)", "stroke-width": 14, "stroke-opacity": 0.35 }), true],
  ];
  const DASH = { unflagged: null, intentional: "14 8", error: "3 7" };

  const lines = data.recordings.map((r) => r.parts.map(places));
  const sheet = L.featureGroup().addTo(map);

  function tip(...rows) {
    return make("div", "", ...rows.filter(Boolean).map((row, i) => make(i ? "span" : "strong", row)));
  }
  const about = (r) => tip(`${named(r.ride)} · ${data.devices[r.device].name}`, r.name, r.fix, r.errors, r.status, r.file);
  const visible = (r) => shown.devices.has(r.device) && shown.routes.has(r.route);
  const chosen = (r) => shown.ride >= 0 && r.ride === rides[shown.ride];
  const faded = (r) => shown.ride >= 0 && !chosen(r);
  const has = (layer) => shown.layers.has(layer);

  function add(layer, content, ride) {
    if (content) layer.bindTooltip(content, { sticky: true });
    if (ride !== undefined) layer.on("click", () => choose(rides.indexOf(ride)));
    return layer.addTo(sheet);
  }

  function drawRoutes() {
    data.routes.forEach((route, i) => {
      if (!shown.routes.has(i)) return;
      const name = () => tip(`Route ${route.name}`, `${route.length}, ${route.rides} rides`, route.reason);
      if (has("hotspots")) {
        for (const spot of data.hotspots.filter((s) => s.route === i))
          add(L.polyline(places(spot.line), { color: colour("--accent"), weight: 20, opacity: 0.3, lineCap: "butt" }), () => tip("Recordings scatter most here", spot.text));
      }
      if (!has("centreline")) return;
      L.polygon(places(route.band), { stroke: false, fillColor: colour("--ink"), fillOpacity: 0.13, fillRule: "nonzero", interactive: false }).addTo(sheet);
      add(L.polyline(places(route.line), { color: colour("--ink"), weight: 1.5, opacity: 0.9 }), name);
    });
  }

  function drawHeads() {
    if (!has("heads")) return;
    const byLength = data.recordings.filter((r) => visible(r) && r.head.length > 2).sort((a, b) => b.head.length - a.head.length);
    for (const r of byLength)
      add(L.polyline(places(r.head), { color: data.devices[r.device].colour, weight: chosen(r) ? 7 : 5, opacity: faded(r) ? 0.1 : 0.85, dashArray: "0.1 9", lineCap: "round" }), () => about(r), r.ride);
  }

  function drawTracks() {
    if (!has("tracks")) return;
    const busy = data.recordings.length > 60 ? 0.45 : 0.8;
    const order = data.recordings.map((r, i) => [r, i]).filter(([r]) => visible(r)).sort((a, b) => chosen(a[0]) - chosen(b[0]));
    for (const [r, i] of order) {
      const device = data.devices[r.device];
      const plain = { color: device.colour, weight: chosen(r) ? 3.5 : 2, opacity: faded(r) ? 0.13 : chosen(r) ? 1 : busy, dashArray: device.dashes.join(" ") || null };
      const track = add(L.polyline(lines[i], plain), () => about(r), r.ride);
      track.on("mouseover", () => track.setStyle({ weight: 5, opacity: 1 }));
      track.on("mouseout", () => track.setStyle(plain));
    }
  }

  function drawDeviations() {
    for (const d of data.deviations) {
      const r = data.recordings[d.recording];
      if (!visible(r) || !has(d.state)) continue;
      const text = () => tip(`Deviation ${d.id}: ${d.state}`, `${named(r.ride)} · ${data.devices[r.device].name}`, d.text, `looks like: ${d.suggestion}`, d.evidence, d.note);
      add(L.polyline(d.parts.map(places), { color: colour("--ink"), weight: 10, opacity: faded(r) ? 0.08 : 0.38, dashArray: DASH[d.state], lineCap: "butt" }), text, r.ride);
    }
  }

  const SIDES = ["right", "left", "bottom", "top"], SHIFTS = [[4, 0], [-4, -9], [0, 9], [0, -9]];
  function drawFixes() {
    if (!has("fixes")) return;
    for (const r of data.recordings) {
      if (!visible(r) || !r.at.length) continue;
      const device = data.devices[r.device];
      const mark = new Mark(places(r.at)[0], { mark: device.mark, radius: chosen(r) ? 7 : 5, color: colour("--halo"), weight: 1, fillColor: device.colour, fillOpacity: faded(r) ? 0.15 : 1, opacity: faded(r) ? 0.15 : 1 });
      mark.on("click", () => choose(rides.indexOf(r.ride)));
      if (chosen(r) && r.mark) mark.bindTooltip(make("span", r.mark), { permanent: true, direction: SIDES[r.device % 4], className: "tag", offset: SHIFTS[r.device % 4] });
      else mark.bindTooltip(() => about(r), { sticky: true });
      mark.addTo(sheet);
    }
  }

  function draw() {
    sheet.clearLayers();
    drawRoutes();
    drawDeviations();
    drawTracks();
    drawHeads();
    drawFixes();
    document.body.dataset.recordings = has("tracks") ? data.recordings.filter((r, i) => visible(r) && lines[i].length).length : 0;
    tell();
  }

  // ---- the side sheet ----
  function tell() {
    const box = document.getElementById("chosen");
    box.replaceChildren();
    if (shown.ride < 0) return;
    const list = make("dl");
    for (const r of data.recordings.filter(chosen)) {
      const name = make("dt", "", swatch(marked(data.devices[r.device])), make("bdi", data.devices[r.device].name));
      const said = [r.fix, r.errors, r.status === "scored" ? "" : r.status, r.name, r.file].filter(Boolean).map((row) => make("p", "", make("bdi", row)));
      list.append(name, make("dd", "", ...said));
    }
    box.append(list);
  }

  function choose(number) {
    shown.ride = number;
    picker.value = String(number);
    draw();
  }

  const picker = document.getElementById("ride");
  picker.append(new Option("all rides", "-1"), ...rides.map((ride, i) => new Option(named(ride), String(i))));
  picker.addEventListener("change", () => choose(Number(picker.value)));
  const step = (by) => choose(((shown.ride + 1 + by + rides.length + 1) % (rides.length + 1)) - 1);
  document.getElementById("before").addEventListener("click", () => step(-1));
  document.getElementById("after").addEventListener("click", () => step(1));

  function ticks(where, rows, chosenSet) {
    for (const [key, name, picture] of rows) {
      const box = make("input");
      box.type = "checkbox";
      box.checked = chosenSet.has(key);
      box.addEventListener("change", () => { chosenSet[box.checked ? "add" : "delete"](key); draw(); });
      document.getElementById(where).append(make("label", "", box, ...(picture ? [swatch(picture)] : []), make("bdi", name)));
    }
  }
  LAYERS.filter((row) => row[3]).forEach((row) => shown.layers.add(row[0]));
  const lone = data.recordings.some((r) => r.route < 0) ? [[-1, "without a route"]] : [];
  ticks("routes", [...data.routes.map((r, i) => [i, r.length ? `${r.name} (${r.length})` : r.name]), ...lone], shown.routes);
  ticks("devices", data.devices.map((d, i) => [i, d.name, marked(d)]), shown.devices);
  ticks("layers", LAYERS, shown.layers);
  document.getElementById("title").textContent = data.title;
  const count = (n) => n.toLocaleString("en").replaceAll(",", "\u00a0");
  document.getElementById("drawn").textContent = `${count(data.points)} points, ${count(data.drawn)} drawn: lines are thinned to ${data.tolerance} for drawing only.`;

  L.control.scale({ imperial: false, maxWidth: 160 }).addTo(map);
  function fit() {
    const all = lines.flat(2).concat(data.routes.flatMap((r) => places(r.line)));
    if (all.length) map.fitBounds(L.latLngBounds(all), { padding: [24, 24], animate: false, maxZoom: 19 });
  }
  fit();
  draw();
  // A link may name a recording (#r3) or a deviation (#d1f2e3): then its ride is shown.
  function follow() {
    const wanted = decodeURIComponent(location.hash.slice(1));
    const deviation = data.deviations.find((d) => `d-${d.id}` === wanted);
    const recording = deviation ? deviation.recording : wanted.startsWith("r-") ? Number(wanted.slice(2)) : NaN;
    if (!data.recordings[recording]) return;
    choose(rides.indexOf(data.recordings[recording].ride));
    if (deviation) map.fitBounds(L.latLngBounds(deviation.parts.flatMap(places)).pad(1), { animate: false, maxZoom: 18 });
  }
  follow();
  addEventListener("hashchange", follow);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
})();
