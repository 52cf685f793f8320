"use strict";
(() => {
  let map = null;

  // Private places are set on a plain map of the centrelines: a click fills in the form, which is then kept.
  function draw() {
    map?.remove();
    map = null;
    const ground = document.getElementById("ground");
    const lines = JSON.parse(ground.dataset.lines), kept = JSON.parse(ground.dataset.places);
    if (!lines.length || typeof L === "undefined") return;
    ground.hidden = false;
    ground.setAttribute("role", "application");
    ground.setAttribute("aria-label", "Map of the centrelines: a click, or Enter for its middle, sets a private place; arrow keys move it");
    map = L.map(ground, { zoomSnap: 0.25, attributionControl: false, maxZoom: 20 });
    const drawn = L.featureGroup(lines.map((route) => L.polyline(route.line, { className: "route-line", weight: 2.5, interactive: false }))).addTo(map);
    for (const [lat, lon, radius] of kept) L.circle([lat, lon], { radius, className: "circle-kept", fillOpacity: 0.2, weight: 2, interactive: false }).addTo(map);
    map.fitBounds(drawn.getBounds(), { padding: [30, 30], animate: false });
    L.control.scale({ imperial: false }).addTo(map);
    const lat = document.getElementById("lat"), lon = document.getElementById("lon"), radius = document.getElementById("radius");
    let circle = null;
    const show = () => {
      circle?.remove();
      const place = [Number(lat.value), Number(lon.value)], size = Number(radius.value);
      if (lat.value && lon.value && place.every(Number.isFinite) && size > 0) circle = L.circle(place, { radius: size, className: "circle-new", dashArray: "6 5", weight: 2.5, interactive: false }).addTo(map);
    };
    const set = (place) => {
      lat.value = place.lat.toFixed(6);
      lon.value = L.Util.wrapNum(place.lng, [-180, 180], true).toFixed(6);
      show();
    };
    map.on("click", (event) => set(event.latlng));
    ground.addEventListener("keydown", (event) => { if (event.key === "Enter" && event.target === ground) set(map.getCenter()); });
    for (const input of [lat, lon, radius]) input.addEventListener("input", show);
    show();
  }
  document.addEventListener("gpsq:renewed", () => {
    if (!map || !document.body.contains(map.getContainer())) draw();
  });
  draw();
})();
