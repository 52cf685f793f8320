"use strict";
(() => {
  // Private places are set on a plain map of the centrelines: a click fills in the form, which is then kept.
  const ground = document.getElementById("ground"), field = (name) => document.getElementById(name);
  let map = null, roads = null, circles = null, drawn = "";

  function draw() {
    const lines = JSON.parse(ground.dataset.lines);
    if (!lines.length || typeof L === "undefined") return;
    map ??= made();
    circles.clearLayers();
    for (const [lat, lon, radius] of JSON.parse(ground.dataset.places)) L.circle([lat, lon], { radius, className: "circle-kept", fillOpacity: 0.2, weight: 2, interactive: false }).addTo(circles);
    if (drawn !== ground.dataset.lines) {
      drawn = ground.dataset.lines;
      roads.clearLayers();
      for (const route of lines) L.polyline(route.line, { className: "route-line", weight: 2.5, interactive: false }).addTo(roads);
      map.fitBounds(roads.getBounds(), { padding: [30, 30], animate: false });
    }
    show();
  }

  function made() {
    ground.hidden = false;
    ground.setAttribute("role", "application");
    ground.setAttribute("aria-label", "Map of the centrelines: a click, or Enter for its middle, sets a private place; arrow keys move it");
    const fresh = L.map(ground, { zoomSnap: 0.25, attributionControl: false, maxZoom: 20, center: [0, 0], zoom: 1 });
    roads = L.featureGroup().addTo(fresh);
    circles = L.layerGroup().addTo(fresh);
    L.control.scale({ imperial: false }).addTo(fresh);
    fresh.on("click", (event) => set(event.latlng));
    ground.addEventListener("keydown", (event) => { if (event.key === "Enter" && event.target === ground) set(fresh.getCenter()); });
    return fresh;
  }

  let circle = null;
  function show() {
    circle?.remove();
    circle = null;
    const place = [field("lat"), field("lon")].map((input) => (input.value ? Number(input.value) : NaN)), radius = Number(field("radius").value);
    if (map && place.every(Number.isFinite) && radius > 0) circle = L.circle(place, { radius, className: "circle-new", dashArray: "6 5", weight: 2.5, interactive: false }).addTo(map);
  }
  function set(place) {
    field("lat").value = place.lat.toFixed(6);
    field("lon").value = L.Util.wrapNum(place.lng, [-180, 180], true).toFixed(6);
    show();
  }
  document.addEventListener("input", (event) => { if (["lat", "lon", "radius"].includes(event.target.id)) show(); });
  document.addEventListener("gpsq:renewed", draw);
  draw();
})();
