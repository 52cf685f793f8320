({
  // What tests ask of a map that a browser shows.
  layers: () => Object.values(gpsq_map._layers).filter((l) => l.getLatLngs || l.getLatLng).map((l) => {
  const o = l.options, area = l instanceof L.Polygon, line = !area && !o.mark;
  return [o.mark || (area ? "area" : "line"), o.stroke ? o.color : "", o.stroke ? o.weight : 0, o.stroke ? o.opacity : 0,
    line || !o.fillOpacity ? "" : o.fillColor, line ? 0 : o.fillOpacity, o.mark ? o.radius : area ? o.fillRule : o.dashArray || "",
    [].concat(l.getLatLngs ? l.getLatLngs() : l.getLatLng()).flat(3).slice(0, 2).map((p) => [p.lat, p.lng].map((d) => Math.round(1e6 * d)))]; }),
  labels: () => [...document.querySelectorAll(".labels > g")].map((g) => {
  const [mast, cloth] = g.children, [x, y] = mast.getAttribute("d").match(/[-\d.]+/g).map(Number), p = gpsq_map.containerPointToLatLng([x, y]);
  return [g.getAttribute("class"), g.textContent.replace("\u00a0", " "), g.getAttribute("opacity"), mast.getAttribute("stroke"),
    cloth.getAttribute("stroke"), [p.lat, p.lng].map((d) => Math.round(1e6 * d))]; }),
  tips: () => Object.values(gpsq_map._layers).filter((l) => l._tooltip)
  .map((l) => [...l._tooltip._content().childNodes].map((n) => n.tagName + " " + n.textContent)),
  choose: (n) => { const own = document.getElementById('ride'); own.value = n; own.dispatchEvent(new Event('change')); },
  ticked: ([of, value]) => { const box = document.querySelector(`#${of} input[value="${value}"]`), count = [];
      for (let turn = 0; turn < 3; turn++) { count.push(Object.values(gpsq_map._layers).filter((l) => l.getLatLngs || l.getLatLng).length
        + document.querySelectorAll(".labels > *").length / 1000); if (turn < 2) box.click(); }
      return count; },
  looksAt: () => { const b = gpsq_map.getBounds(); return [b.contains([-0.006, 0.01]), b.contains([0.01, 0.02])]; },
  arrows: () => [...document.querySelectorAll('.labels .arrow')].map((n) => [n.getAttribute('d'), n.getAttribute('transform')]),
  pixels: () => [[0, 5000], [0, 15000], [5000, 20000]].map((p) => { const at = gpsq_map.latLngToContainerPoint(p.map((d) => d / 1e6)); return [at.x, at.y]; }),
  shift: () => { const text = document.querySelector(".labels text"), frame = gpsq_map.getContainer().getBoundingClientRect();
      return [text.getBoundingClientRect().x - frame.x - Number(text.getAttribute("x")), text.textContent]; },
  clicks: () => { const chosen = [], picker = document.getElementById("ride");
          const own = () => Object.values(gpsq_map._layers).filter((l) => l._tooltip && !l.options.dashArray?.startsWith("3"));
          for (let i = 0; i < own().length; i++) {
            picker.value = "-1"; picker.dispatchEvent(new Event("change"));
            own()[i].fire("click"); chosen.push(Number(picker.value)); }
          return chosen; },
  hovered: () => { const track = Object.values(gpsq_map._layers).find((l) => l.options?.weight === 1.5), style = [];
          for (const move of ["mouseover", "mouseout"]) { track.fire(move, { latlng: L.latLng(0, 0.005) });
            style.push([track.options.weight, track.options.opacity]); }
          return style; },
  outlines: (marks) => { const layer = Object.values(gpsq_map._layers).find((l) => l.options?.mark === "triangle"), found = {};
          for (const mark of marks) { const own = found[mark] = [], to = (x, y) => own.push([x, y]);
            const ctx = { beginPath() {}, closePath() { own.push("closed"); }, moveTo: to, lineTo: to };
            layer._updatePath.call({ options: { mark }, _point: { x: 50, y: 30 }, _radius: 10, _empty: () => false,
              _renderer: { _ctx: ctx, _drawing: true, _fillStroke() { own.push("filled"); }, _updateCircle() { own.push("circle"); } } }); }
          return found; },
  key: () => [...document.querySelectorAll('#devices svg')].map((s) => [...s.children].map((n) => n.outerHTML.replace(/><.*/, ''))),
  swatches: () => [...document.querySelectorAll("#layers svg, .north svg")].map((s) => [...s.children].map((n) =>
          ["d", "stroke", "stroke-width", "stroke-opacity", "stroke-dasharray", "stroke-linecap"].map((k) => n.getAttribute(k) || "").join("|"))),
  hidden: () => [...document.querySelectorAll('svg')].filter((s) => !s.closest('.leaflet-control-attribution')).every((s) => s.getAttribute('aria-hidden') === 'true'),
  ways: () => [...document.querySelectorAll('#routes input:checked')].map((box) => Number(box.value)),
  follow: (name) => new Promise((done) => { addEventListener('hashchange', () => setTimeout(done), { once: true }); location.hash = name; }),
  shows: (lat) => { const b = gpsq_map.getBounds(); return [b.contains([[lat, 0.006], [lat, 0.008]]), b.getEast() - b.getWest()]; },
  extent: () => { const at = [[0, 0], [10000, 20000]].map((p) => gpsq_map.latLngToContainerPoint(p.map((d) => d / 1e6))), size = gpsq_map.getSize();
          const most = gpsq_map.options.maxBounds;
          return [at.map((p) => p.x), at.map((p) => p.y), [size.x, size.y], gpsq_map.getMinZoom(), most.getSouth(), most.getEast()]; },
  corners: () => [".leaflet-control-zoom", ".north", ".leaflet-control-scale"].map((name) => { const b = document.querySelector(name).getBoundingClientRect(),
          f = gpsq_map.getContainer().getBoundingClientRect(); return [b.left - f.left > f.width / 2, b.top - f.top > f.height / 2, b.top]; }),
  lookNear: () => { gpsq_map.setView([0.0003, 0.004], 15, { animate: false }); gpsq_map.panBy([0, -360], { animate: false }); },
  boxesOfLabels: () => [...document.querySelectorAll('.play, .labels > g > :nth-child(2)')].map((n) => n.getBoundingClientRect()).map((b) => [b.left, b.top, b.right, b.bottom]),
  runners: () => Object.values(gpsq_map._layers).filter((l) => l.options?.radius === 9).map((l) => [l.options.mark, l.options.color,
  l.options.fillColor, l.options.weight, l.options.fillOpacity, l.options.dashArray || "", l.options.interactive,
  Math.round(1e6 * l.getLatLng().lat), Math.round(1e6 * l.getLatLng().lng)]),
  slide: (s) => { const own = document.getElementById('play-slider'); own.step = 'any'; own.value = s; own.dispatchEvent(new Event('input')); },
  slider: () => ['min', 'max', 'step', 'value'].map((k) => document.getElementById('play-slider')[k]),
  plays: () => { const button = document.getElementById("play-button"), slider = document.getElementById("play-slider"), seen = [];
          let now = 1000, next = null; performance.now = () => now;
          const wait = window.setTimeout; window.requestAnimationFrame = (f) => { next = [f, "frame"]; return 1; };
          window.setTimeout = (f, ms) => { if (ms < 1000) return wait(f, ms); next = [f, ms]; return 1; };
          const note = () => seen.push([Number(slider.value), button.textContent]);
          button.click(); note(); seen.push(next[1]);
          now += 7500; next[0](); note();
          button.click(); note();
          now += 9999; button.click(); note();
          now += 1500; next[0](); note();
          now += 15000; next[0](); note();
          button.click(); note();
          slider.dispatchEvent(new Event("input")); note();
          button.click(); now += 3000; next[0](); note(); document.getElementById("after").click(); note();
          return seen; },
  printed: () => ['.stepper', '.play', '.key-button', '.leaflet-bar'].map((s) => getComputedStyle(document.querySelector(s)).display),
  boxes: (names) => names.map((name) => { const b = document.querySelector(name).getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom].map(Math.round); }),
  look: () => { const of = (s, ...names) => names.map((n) => getComputedStyle(document.querySelector(s))[n]);
      L.tooltip({ className: "t" }).setLatLng([0, 0.01]).setContent("<strong>a</strong><span>b</span>").addTo(gpsq_map);
      return [of(".labels text", "fontSize", "fontWeight", "fill"), of(".labels .arrow", "fill", "stroke", "strokeWidth"), of(".t", "backgroundColor", "color"),
        of(".t strong", "display"), of(".t span", "display"), of(".leaflet-bar a", "backgroundColor", "color"), of(".leaflet-control-scale-line", "backgroundColor", "color"),
        of("#gpsq_map", "backgroundColor"), of(".leaflet-labels-pane", "zIndex", "pointerEvents"), of(".play", "zIndex", "backgroundColor"), of(".north", "color", "backgroundColor")]; },
  onTop: (name) => { const b = document.querySelector(name).getBoundingClientRect(), top = document.elementFromPoint(b.left + b.width / 2, b.top + 12); return top.closest(name) !== null; },
  placed: ([labels, size, lines, blocked]) => gpsqFlags.placed(labels, size, lines, blocked).map((l) => [l.text, l.box.map(Math.round), l.end.map(Math.round)]),
  masts: ([labels, size]) => gpsqFlags.placed(labels, size, [], []).map((l) => [l.x, l.y, ...l.end]),
  drawn: () => { const svg = gpsqFlags.node("svg", {}), own = { y: 50, wide: 40, flag: true, colour: "red", text: "a" };
          gpsqFlags.draw(svg, [{ ...own, x: 100, box: [100, 10, 140, 30], end: [100, 30] }, { ...own, x: 140, box: [100, 10, 140, 30], end: [140, 30], faded: true },
            { ...own, flag: false, x: 90, box: [100, 10, 140, 30], end: [100, 30] }, { ...own, flag: false, leader: false, x: 90, box: [100, 10, 140, 30] }]);
          return [...svg.children].map((g) => g.outerHTML.replace(/ xmlns="[^"]*"/g, "").replaceAll('"', "")); },
  lies: () => [...[-300, 10000].map((lat) => gpsq_map.latLngToContainerPoint([lat / 1e6, 0]).y), document.getElementById("play").offsetTop],
  // The page listens before these do, so it has drawn anew when they are told.
  turning: () => { window.turned = new Promise((done) => { for (const change of ["(prefers-color-scheme: dark)", "print"])
    matchMedia(change).addEventListener("change", done, { once: true }); }); },
  turned: () => window.turned.then(() => true),
})
