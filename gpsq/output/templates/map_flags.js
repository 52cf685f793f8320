"use strict";
// Flags of first fixes and other labels over the map: placed anew after each move, none over another, all inside.
const gpsqFlags = (() => {
  const SVG = "http://www.w3.org/2000/svg";
  const HIGH = 20, NOTCH = 6, PAD = 6, AIR = 3;
  // How far a label may stand from its place: a flag a good deal, a name only where it is still seen to belong.
  const REACHES = [14, 24, 38, 56, 78, 104, 134], NAMED = 56;
  const pen = document.createElement("canvas").getContext("2d");

  function node(tag, settings, text) {
    const made = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(settings)) made.setAttribute(key, value);
    if (text) made.textContent = text;
    return made;
  }
  function width(text, bold) {
    pen.font = `${bold ? 700 : 600} 12px ${getComputedStyle(document.body).fontFamily}`;
    return Math.ceil(pen.measureText(text).width) + 2;
  }
  const overlap = (a, b, air) => a[0] < b[2] + air && b[0] < a[2] + air && a[1] < b[3] + air && b[1] < a[3] + air;

  // Boxes round a place: a flag's on an upright mast, or off to a side on a leader where they crowd; the nearest first.
  function choices(label) {
    const { x, y, wide } = label, found = [];
    for (const reach of REACHES) {
      if (!label.flag && reach > NAMED) break;
      if (label.flag)
        for (const top of [y - reach - HIGH, y + reach])
          for (const left of [x, x - wide]) found.push([0.6 * reach, left, top]);
      for (let turn = 0; turn < 12; turn++) {
        const mid = [x + (reach + wide / 2) * Math.cos((turn * Math.PI) / 6), y + (reach + HIGH / 2) * Math.sin((turn * Math.PI) / 6)];
        found.push([reach + (label.flag ? 8 : 0), mid[0] - wide / 2, mid[1] - HIGH / 2]);
      }
    }
    return found.sort((a, b) => a[0] - b[0]).map(([, left, top]) => [left, top, left + wide, top + HIGH]);
  }
  // The mast or leader from a place to its box, as a thin box itself.
  function mast(label, box) {
    const end = [Math.min(Math.max(label.x, box[0]), box[2]), Math.min(Math.max(label.y, box[1]), box[3])];
    return { end, steps: Array.from({ length: 12 }, (_, i) => [label.x + (end[0] - label.x) * (i / 11), label.y + (end[1] - label.y) * (i / 11)]) };
  }
  const crosses = (steps, box) => steps.some(([x, y]) => x > box[0] && x < box[2] && y > box[1] && y < box[3]);

  // Place labels greedily, the most telling first; what finds no room stays a mark without a label.
  function placed(labels, size, lines, blocked) {
    const boxes = [...blocked], masts = [];
    for (const label of labels) {
      if (label.x < 0 || label.y < 0 || label.x > size.x || label.y > size.y) continue;
      label.wide = width(label.text) + 2 * PAD + (label.flag ? NOTCH : 0);
      for (const box of choices(label)) {
        if (box[0] < 2 || box[1] < 2 || box[2] > size.x - 2 || box[3] > size.y - 2) continue;
        if (boxes.some((other) => overlap(box, other, AIR)) || masts.some((steps) => crosses(steps, box))) continue;
        const { end, steps } = mast(label, box);
        if (boxes.some((other) => crosses(steps, other))) continue;
        if (lines.some(([x, y]) => x > box[0] && x < box[2] && y > box[1] && y < box[3])) continue;
        Object.assign(label, { box, end });
        boxes.push(box);
        masts.push(steps);
        break;
      }
    }
    return labels.filter((label) => label.box);
  }

  const middleOf = (a, b) => (a + b) / 2;
  function cloth(label) {
    const [left, top, right, bottom] = label.box, middle = (top + bottom) / 2;
    const toLeft = label.x > middleOf(left, right);
    const [at, end, notch] = toLeft ? [right, left, left + NOTCH] : [left, right, right - NOTCH];
    return { d: `M${at} ${top}H${end}L${notch} ${middle}L${end} ${bottom}H${at}Z`, x: left + PAD + (toLeft ? NOTCH : 0) };
  }

  function draw(svg, labels) {
    for (const label of labels) {
      const group = node("g", { class: label.flag ? "flag" : "name", opacity: label.faded ? 0.35 : 1 });
      const [left, top] = label.box;
      if (label.leader !== false) group.append(node("path", { d: `M${label.x} ${label.y}L${label.end[0]} ${label.end[1]}`, fill: "none", stroke: label.flag ? label.colour : "var(--soft)", "stroke-width": label.flag ? 1.6 : 1 }));
      let x = left + PAD;
      if (label.flag) {
        const shape = cloth(label);
        x = shape.x;
        group.append(node("path", { d: shape.d, fill: "var(--leaf)", stroke: label.colour, "stroke-width": 1.6 }));
      } else group.append(node("rect", { x: left, y: top, width: label.wide, height: HIGH, rx: 2, fill: "var(--leaf)", "fill-opacity": 0.82 }));
      group.append(node("text", { x, y: top + 14.5, "data-label": "" }, label.text));
      svg.append(group);
    }
  }

  return { node, placed, draw };
})();
