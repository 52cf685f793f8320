"use strict";
(() => {
  const data = JSON.parse(document.getElementById("gpsq-data").textContent);
  const map = gpsq_map, by = (id) => document.getElementById(id);
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
    bar: [[-1.2, -0.4], [1.2, -0.4], [1.2, 0.4], [-1.2, 0.4]],
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
    const svg = gpsqFlags.node("svg", { width: "44", height: "18", "aria-hidden": "true" });
    draw((tag, settings) => svg.append(gpsqFlags.node(tag, settings)));
    return svg;
  }
  const line = (settings) => (add) => add("path", { d: "M2 9H42", fill: "none", ...settings });
  const marked = (device) => (add) => {
    line({ stroke: device.colour, "stroke-width": 2.5 })(add);
    const shape = SHAPES[device.mark], paint = { fill: device.colour, stroke: colour("--halo") };
    if (shape) add("path", { d: "M" + shape.map(([x, y]) => `${22 + x * 5} ${9 + y * 5}`).join("L") + "Z", ...paint });
    else add("circle", { cx: 22, cy: 9, r: 5, ...paint });
  };
  const flagSwatch = (add) => { add("path", { d: "M12 17V2", stroke: "currentColor", "stroke-width": 1.6, fill: "none" }); add("path", { d: "M12 2H38L33 6.5L38 11H12Z", stroke: "currentColor", "stroke-width": 1.6, fill: "none" }); };

  // ---- what is shown: at first one way, that of most rides ----
  const rides = data.rides;
  const first = data.routes.reduce((best, r, i) => (best < 0 || r.rides > data.routes[best].rides ? i : best), -1);
  const shown = { ride: -1, routes: new Set([first]), devices: new Set(data.devices.keys()), layers: new Set() };
  const LAYERS = [
    ["centreline", "centreline and usual spread", line({ stroke: "currentColor", "stroke-width": 2 })],
    ["tracks", "recordings", line({ stroke: "currentColor", "stroke-width": 1.5, "stroke-opacity": 0.7 })],
    ["heads", "ridden before the first fix", line({ stroke: "currentColor", "stroke-width": 4, "stroke-dasharray": "0.1 7", "stroke-linecap": "round" })],
    ["fixes", "flag: first fix", flagSwatch],
    ["unflagged", "off the road, undecided", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.4 })],
    ["intentional", "another road, decided", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.2, "stroke-dasharray": "12 6" })],
    ["error", "receiver error, decided", line({ stroke: "currentColor", "stroke-width": 9, "stroke-opacity": 0.2, "stroke-dasharray": "3 5" })],
    ["hotspots", "where recordings scatter most", line({ stroke: "var(--accent)", "stroke-width": 14, "stroke-opacity": 0.3 })],
  ];
  const DASH = { unflagged: null, intentional: "14 8", error: "3 7" };

  const lines = data.recordings.map((r) => r.parts.map(places));
  for (const r of data.recordings) {
    r.who = data.devices[r.device].name;
    if (r.play) r.way = places(r.play.at);
  }
  const sheet = L.featureGroup().addTo(map);

  function tip(...rows) {
    return make("div", "", ...rows.filter(Boolean).map((row, i) => make(i ? "span" : "strong", row)));
  }
  const about = (r, ...more) => tip(`${rides[r.ride].name} · ${r.who}`, r.name, r.fix, r.errors, r.status === "scored" ? "" : r.status, r.file, ...more);
  const visible = (r) => shown.devices.has(r.device) && shown.routes.has(r.route);
  const chosen = (r) => shown.ride >= 0 && r.ride === shown.ride;
  const faded = (r) => shown.ride >= 0 && !chosen(r);
  const has = (layer) => shown.layers.has(layer);

  function add(layer, content, ride) {
    if (content) layer.bindTooltip(content, { sticky: true });
    if (ride !== undefined) layer.on("click", () => choose(ride));
    return layer.addTo(sheet);
  }

  function drawRoutes() {
    data.routes.forEach((route, i) => {
      if (!shown.routes.has(i)) return;
      for (const street of route.streets) L.polyline(places(street), { color: colour("--street"), weight: 2.5, interactive: false }).addTo(sheet);
      if (has("hotspots")) {
        for (const spot of data.hotspots.filter((s) => s.route === i))
          add(L.polygon(places(spot.outline), { stroke: false, fillColor: colour("--accent"), fillOpacity: 0.22 }), () => tip("Recordings scatter most here", spot.text));
      }
      if (!has("centreline")) return;
      L.polygon(places(route.band), { stroke: false, fillColor: colour("--ink"), fillOpacity: 0.1, fillRule: "nonzero", interactive: false }).addTo(sheet);
      add(L.polyline(places(route.line), { color: colour("--rule"), weight: 5, opacity: 1 }), () => tip(`Route ${route.name}`, `${route.length}, ${route.rides} ${route.rides === 1 ? "ride" : "rides"}`, route.reason));
    });
  }

  // Dots of two that began together lie on one another: the longest way is the lowest, so that the end of each is seen.
  const far = (way) => way.slice(1).reduce((gone, place, i) => gone + map.distance(way[i], place), 0);
  function drawHeads() {
    if (!has("heads")) return;
    const own = data.recordings.filter((r) => visible(r) && r.head.length > 2).map((r) => [r, far(places(r.head))]);
    for (const [r] of own.sort((a, b) => b[1] - a[1]))
      add(L.polyline(places(r.head), { color: data.devices[r.device].colour, weight: chosen(r) ? 6 : 4, opacity: faded(r) ? 0.1 : 0.8, dashArray: "0.1 8", lineCap: "round" }), () => about(r), r.ride);
  }

  // Thin lines, the paler the more there are; a casing parts those that cross, where they are few.
  function drawTracks() {
    if (!has("tracks")) return;
    const order = data.recordings.map((r, i) => [r, i]).filter(([r, i]) => visible(r) && lines[i].length).sort((a, b) => chosen(a[0]) - chosen(b[0]));
    const opacity = Math.max(0.16, Math.min(0.8, 9 / order.length));
    for (const [r, i] of order) {
      const plain = { color: data.devices[r.device].colour, weight: chosen(r) ? 3 : 1.5, opacity: faded(r) ? Math.min(0.18, opacity) : chosen(r) ? 1 : opacity };
      if (chosen(r) || order.length <= 12) L.polyline(lines[i], { color: colour("--halo"), weight: plain.weight + 2.5, opacity: faded(r) ? 0 : 0.55, interactive: false }).addTo(sheet);
      const track = add(L.polyline(lines[i], plain), () => about(r), r.ride);
      track.on("mouseover", () => track.setStyle({ weight: 4, opacity: 1 }));
      track.on("mouseout", () => track.setStyle(plain));
    }
  }

  // All excursions are one shape, so that they do not add up to black; each still answers to the pointer.
  function drawDeviations() {
    const off = data.deviations.map((d) => [d, d.recordings.map((i) => data.recordings[i]).filter(visible)]).filter(([d, own]) => own.length && has(d.state));
    for (const state of Object.keys(DASH))
      for (const pale of [true, false]) {
        const parts = off.filter(([d, own]) => d.state === state && own.every(faded) === pale).flatMap(([d]) => d.parts.map(places));
        if (parts.length) L.polyline(parts, { color: colour("--ink"), weight: 9, opacity: pale ? 0.05 : state === "unflagged" ? 0.2 : 0.12, dashArray: DASH[state], lineCap: "butt", interactive: false }).addTo(sheet);
      }
    for (const [d, own] of off) {
      const text = () => tip(`${rides[own[0].ride].name}: ${d.size} off the road`, own.map((r) => r.who).join(", "), d.text, d.state === "unflagged" ? "" : `decided: ${d.state}`, d.suggestion && `looks like: ${d.suggestion}`, d.evidence, d.note, `named ${d.event}`);
      add(L.polyline(d.parts.map(places), { weight: 9, opacity: 0, lineCap: "butt" }), text, own[0].ride);
    }
  }

  function drawFixes() {
    if (!has("fixes")) return;
    for (const r of data.recordings) {
      if (!visible(r)) continue;
      if (r.stopped) add(new Mark(places(r.last)[0], { mark: "bar", radius: 7, color: colour("--halo"), weight: 1, fillColor: data.devices[r.device].colour, fillOpacity: faded(r) ? 0.15 : 1, opacity: faded(r) ? 0.15 : 1 }), () => about(r, r.stopped), r.ride);
      if (!r.at.length) continue;
      const device = data.devices[r.device];
      const mark = new Mark(places(r.at)[0], { mark: device.mark, radius: chosen(r) ? 6 : 3.5, color: colour("--halo"), weight: 1, fillColor: device.colour, fillOpacity: faded(r) ? 0.15 : 1, opacity: faded(r) ? 0.15 : 1 });
      add(mark, () => about(r), r.ride);
    }
  }

  // ---- labels: flags, ends, kilometres, excursions, arrows; placed anew after each move ----
  const pane = map.createPane("labels");
  pane.style.zIndex = 620;
  pane.style.pointerEvents = "none";
  const svg = gpsqFlags.node("svg", { class: "labels", "aria-hidden": "true" });
  pane.append(svg);
  const MOST_FLAGS = 18;
  const pixel = (place) => map.latLngToContainerPoint(place);

  function ends(i) {
    const way = places(data.routes[i].line);
    if (way.length < 2) return [];
    return [[data.cut ? "shown from" : "start", way[0]], [data.cut ? "shown to" : "finish", way.at(-1)]].map(([text, place]) => ({ ...pixel(place), text, rank: 0 }));
  }
  function flags() {
    const many = data.recordings.filter((r) => visible(r) && r.at.length).length;
    return data.recordings.filter((r) => visible(r) && r.at.length && r.flag && !(faded(r) && many > 12)).map((r) => ({
      ...pixel(places(r.at)[0]), flag: true, colour: data.devices[r.device].colour, faded: faded(r),
      text: shown.ride >= 0 ? r.flag : `${r.day} ${r.flag}`, rank: faded(r) ? 9e9 : chosen(r) ? 2 : 3 + 1 / (1 + (r.missed ?? 0)),
    }));
  }
  function excursions() {
    return data.deviations.filter((d) => has(d.state) && d.recordings.some((i) => visible(data.recordings[i]) && !faded(data.recordings[i]))).map((d) => {
      const way = places(d.parts[0]);
      return { ...pixel(way[Math.floor(way.length / 2)]), text: `${data.recordings[d.recordings[0]].day}: ${d.size} off`, rank: 5 };
    });
  }
  // Where a recording stopped before the others of its way end.
  function stops() {
    return data.recordings.filter((r) => visible(r) && r.stopped && !faded(r)).map((r) => ({ ...pixel(places(r.last)[0]), text: `${r.day} ${r.stopped}`, rank: 1 }));
  }
  function kilometres(i) {
    const marks = places(data.routes[i].kilometres), apart = marks.length > 1 ? pixel(marks[0]).distanceTo(pixel(marks[1])) : 999;
    const every = [1, 2, 5, 10, 20, 50, 100].find((n) => n * apart > 55) ?? 100;
    return marks.map((place, k) => ({ ...pixel(place), text: `${k + 1}\u00a0km`, rank: 7, k: k + 1 })).filter((label) => label.k % every === 0);
  }
  // Heads of arrows along a way, about every hand's breadth; and places of it that labels had better not cover.
  function along(i) {
    const way = places(data.routes[i].line).map(pixel), heads = [], near = [];
    for (let k = 1, gone = 60; k < way.length; k++) {
      const a = way[k - 1], b = way[k], step = a.distanceTo(b);
      for (let d = 0; d < step; d += 8) near.push([a.x + ((b.x - a.x) * d) / step, a.y + ((b.y - a.y) * d) / step]);
      gone += step;
      if (gone < 130 || step < 6) continue;
      gone = 0;
      heads.push({ x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, turn: (Math.atan2(b.y - a.y, b.x - a.x) * 180) / Math.PI });
    }
    const size = map.getSize();
    return { heads, near: near.filter(([x, y]) => x > 0 && y > 0 && x < size.x && y < size.y) };
  }
  // What stands over the map, in its pixels: labels keep clear of it.
  function controls() {
    const frame = map.getContainer().getBoundingClientRect();
    return [...document.querySelectorAll(".plate, .play, .key-button, .leaflet-control")].map((node) => node.getBoundingClientRect()).filter((box) => box.width)
      .map((box) => [box.left - frame.left, box.top - frame.top, box.right - frame.left, box.bottom - frame.top]);
  }
  function drawLabels() {
    const size = map.getSize();
    L.DomUtil.setPosition(svg, map.containerPointToLayerPoint([0, 0]));
    svg.setAttribute("width", size.x);
    svg.setAttribute("height", size.y);
    svg.replaceChildren();
    const ways = [...shown.routes].filter((i) => i >= 0), alongs = ways.map(along);
    if (has("centreline"))
      for (const head of alongs.flatMap((a) => a.heads)) svg.append(gpsqFlags.node("path", { d: "M-5 -5L3 0L-5 5", transform: `translate(${head.x} ${head.y}) rotate(${head.turn})`, class: "arrow" }));
    const wanted = [...ways.flatMap(ends), ...(has("fixes") ? flags() : []), ...excursions(), ...stops(), ...(has("centreline") ? ways.flatMap(kilometres) : [])];
    wanted.sort((a, b) => a.rank - b.rank);
    let left = Math.max(6, Math.min(MOST_FLAGS, Math.round(size.x / 60)));
    const few = wanted.filter((label) => !label.flag || left-- > 0);
    const found = gpsqFlags.placed(few, size, alongs.flatMap((a) => a.near), controls());
    gpsqFlags.draw(svg, found);
    const flown = found.filter((label) => label.flag).length, inside = wanted.filter((label) => label.flag && label.x >= 0 && label.y >= 0 && label.x <= size.x && label.y <= size.y).length;
    by("crowd").textContent = inside > flown ? `${inside - flown} of ${inside} flags here find no room; zoom in, or pick a ride.` : "";
  }

  function draw() {
    sheet.clearLayers();
    drawRoutes();
    drawDeviations();
    drawTracks();
    drawHeads();
    drawFixes();
    document.body.dataset.recordings = has("tracks") ? data.recordings.filter((r, i) => visible(r) && lines[i].length).length : 0;
    drawLabels();
    tell();
  }

  // ---- playing a ride ----
  const runners = L.layerGroup().addTo(map);
  const play = gpsqPlay.make({
    box: by("play"), button: by("play-button"), slider: by("play-slider"), said: by("play-said"),
    show: (rows) => {
      runners.clearLayers();
      for (const { recording: r, place } of rows) {
        const device = data.devices[r.device], waits = place === null;
        const at = place ?? (r.head.length > 1 ? places(r.head)[0] : r.way[0]);
        new Mark(at, { mark: device.mark, radius: 9, weight: 2, color: waits ? colour("--soft") : colour("--halo"), fillColor: waits ? colour("--rule") : device.colour, fillOpacity: 1, dashArray: waits ? "2 3" : null, interactive: false }).addTo(runners);
      }
    },
  });

  // ---- the side sheet ----
  function tell() {
    const box = by("chosen");
    box.replaceChildren();
    if (shown.ride < 0) return;
    const list = make("dl");
    for (const r of data.recordings.filter(chosen)) {
      const name = make("dt", "", swatch(marked(data.devices[r.device])), make("bdi", r.who));
      const said = [r.fix, r.errors, r.status === "scored" ? "" : r.status, r.name, r.file].filter(Boolean).map((row) => make("p", "", make("bdi", row)));
      list.append(name, make("dd", "", ...said));
    }
    box.append(list);
  }

  const picker = by("ride");
  function choose(number) {
    shown.ride = number;
    picker.value = String(number);
    const route = number >= 0 ? rides[number].route : first;
    if (number >= 0 && !shown.routes.has(route)) show(new Set([route]));
    const played = !by("play").hidden;
    play(number >= 0 ? data.recordings.filter(chosen) : []);
    if (played === by("play").hidden) fit();
    draw();
  }
  picker.append(new Option("all rides", "-1"), ...rides.map((ride, i) => new Option(ride.label, String(i))));
  picker.addEventListener("change", () => choose(Number(picker.value)));
  const step = (by) => choose(((shown.ride + 1 + by + rides.length + 1) % (rides.length + 1)) - 1);
  by("before").addEventListener("click", () => step(-1));
  by("after").addEventListener("click", () => step(1));

  function ticks(where, rows, chosenSet, changed = draw) {
    for (const [key, name, picture] of rows) {
      const box = make("input");
      box.type = "checkbox";
      box.value = key;
      box.checked = chosenSet.has(key);
      box.addEventListener("change", () => { chosenSet[box.checked ? "add" : "delete"](key); changed(); });
      by(where).append(make("label", "", box, ...(picture ? [swatch(picture)] : []), make("bdi", name)));
    }
  }
  function show(routes) {
    shown.routes = routes;
    for (const box of document.querySelectorAll("#routes input")) box.checked = routes.has(Number(box.value));
    fit();
  }
  LAYERS.forEach((row) => shown.layers.add(row[0]));
  const lone = data.recordings.some((r) => r.route < 0) ? [[-1, "without a route"]] : [];
  if (first < 0) shown.routes.add(-1);
  ticks("routes", [...data.routes.map((r, i) => [i, r.length ? `${r.name} (${r.length})` : r.name]), ...lone], shown.routes, () => { fit(); draw(); });
  ticks("devices", data.devices.map((d, i) => [i, d.name, marked(d)]), shown.devices);
  ticks("layers", LAYERS, shown.layers);
  by("title").textContent = data.title;
  const count = (n) => n.toLocaleString("en").replaceAll(",", "\u00a0");
  by("drawn").textContent = `${count(data.points)} points, ${count(data.drawn)} drawn: lines are thinned to ${data.tolerance} for drawing only.`;
  by("plate").hidden = !data.cut;
  by("plate").textContent = data.cut ? `Published: ${data.cut}.` : "";
  if (data.streets_source) by("streets").textContent = `Streets: ${data.streets_source}.`;

  // ---- where the map looks ----
  L.control.scale({ imperial: false, maxWidth: 160 }).addTo(map);
  const north = L.control({ position: "topright" });
  north.onAdd = () => {
    const box = make("div", "", swatch((add) => { add("path", { d: "M22 17V3M18 8L22 3L26 8", fill: "none", stroke: "currentColor", "stroke-width": 1.6 }); }), make("span", "N"));
    box.className = "north";
    return box;
  };
  north.addTo(map);
  const extent = (chosenRoutes) => lines.filter((_, i) => chosenRoutes.has(data.recordings[i].route)).flat(2).concat(data.routes.filter((_, i) => chosenRoutes.has(i)).flatMap((r) => places(r.line)));
  function fit() {
    const all = extent(shown.routes);
    const below = by("play").hidden ? 44 : map.getSize().y - by("play").offsetTop + 14;
    const above = by("plate").hidden ? 44 : by("plate").offsetHeight + 44;
    if (all.length) map.fitBounds(L.latLngBounds(all), { paddingTopLeft: [44, above], paddingBottomRight: [44, below], animate: false, maxZoom: 19 });
  }
  // Nothing is to be seen far out: the map ends a step beyond the whole, and stays about it.
  const everything = L.latLngBounds(extent(new Set([-1, ...data.routes.keys()])));
  fit();
  if (everything.isValid()) {
    map.setMinZoom(Math.max(1, Math.floor(map.getBoundsZoom(everything.pad(0.3))) - 1));
    map.setMaxBounds(everything.pad(3));
  }
  draw();
  map.on("moveend zoomend resize", drawLabels);
  map.on("zoomstart", () => svg.replaceChildren());
  // A link may name a recording (#r-3) or a deviation (#d-1f2e3): then its ride is shown.
  function follow() {
    const wanted = decodeURIComponent(location.hash.slice(1));
    const deviation = data.deviations.find((d) => [d.event, ...d.ids].some((id) => `d-${id}` === wanted));
    const recording = deviation ? deviation.recordings[0] : wanted.startsWith("r-") ? Number(wanted.slice(2)) : NaN;
    if (!data.recordings[recording]) return;
    choose(data.recordings[recording].ride);
    if (deviation) map.fitBounds(L.latLngBounds(deviation.parts.flatMap(places)).pad(1), { animate: false, maxZoom: 18 });
  }
  follow();
  addEventListener("hashchange", follow);
  for (const change of ["(prefers-color-scheme: dark)", "print"]) matchMedia(change).addEventListener("change", draw);
  // On a phone the key is a sheet that can be drawn over the map.
  by("key-button").addEventListener("click", () => {
    const open = document.body.classList.toggle("key-open");
    by("key-button").setAttribute("aria-expanded", String(open));
    by("key-button").textContent = open ? "Close" : "Rides and key";
  });
})();
