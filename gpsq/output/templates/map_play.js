"use strict";
// One ride played: each device a mark on its way, grey and dotted before its first fix, with a clock and what was missed.
const gpsqPlay = (() => {
  const LASTS_MS = 15000, STILL = matchMedia("(prefers-reduced-motion: reduce)");
  const clock = (s) => `${Math.floor(s / 60)}:${String(Math.floor(s % 60)).padStart(2, "0")}`;

  // Where a recording is at a time, between the places that were sent.
  function where(recording, s) {
    const at = (s - recording.play.from) / recording.play.step, places = recording.way;
    if (at < 0) return null;
    const i = Math.min(Math.floor(at), places.length - 1), j = Math.min(i + 1, places.length - 1), share = Math.min(at, places.length - 1) - i;
    return [places[i][0] + share * (places[j][0] - places[i][0]), places[i][1] + share * (places[j][1] - places[i][1])];
  }

  function make({ box, button, slider, said, show }) {
    let recordings = [], end = 0, running = 0, begun = 0, from = 0;

    function tell() {
      const s = Number(slider.value);
      const rows = recordings.map((r) => {
        if (s >= r.play.from) return `${r.who}: fixed${r.play.known ? ` after ${r.flag}` : ""}${r.lost && `, ${r.lost}`}`;
        return `${r.who}: no fix yet`;
      });
      said.textContent = [`${clock(s)} of ${clock(end)}`, ...rows].join(" · ");
      slider.setAttribute("aria-valuetext", clock(s));
      show(recordings.map((r) => ({ recording: r, place: where(r, s) })), s);
    }
    function stop() {
      clearTimeout(running);
      cancelAnimationFrame(running);
      running = 0;
      button.textContent = "Play";
    }
    // With less motion asked for, the ride goes on in a few steps instead of gliding.
    function go() {
      const share = from + (performance.now() - begun) / LASTS_MS;
      slider.value = String(Math.min(share, 1) * end);
      tell();
      if (share >= 1) stop();
      else running = STILL.matches ? setTimeout(go, LASTS_MS / 12) : requestAnimationFrame(go);
    }
    button.addEventListener("click", () => {
      if (running) { stop(); return; }
      from = Number(slider.value) + Number(slider.step) > end ? 0 : Number(slider.value) / end;
      begun = performance.now();
      button.textContent = "Stop";
      go();
    });
    slider.addEventListener("input", () => { stop(); tell(); });

    return (chosen) => {
      stop();
      recordings = chosen.filter((r) => r.play);
      box.hidden = !recordings.length;
      if (!recordings.length) { show([], 0); return; }
      end = Math.max(...recordings.map((r) => r.play.from + r.play.step * (r.way.length - 1)));
      slider.max = String(end);
      slider.step = String(Math.max(1, Math.round(end / 200)));
      slider.value = "0";
      said.textContent = `${clock(end)} long; play it, or move through it with the slider and the arrow keys.`;
      show([], 0);
    };
  }
  return { make };
})();
