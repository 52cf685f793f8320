"use strict";
(() => {
  const body = document.body, token = body.dataset.token;
  const by = (id) => document.getElementById(id);
  let number = Number(body.dataset.number), problem = null, published = null, shownOnMap = "";

  // Text from recordings and from the server is only ever set as text content.
  function make(tag, text, className) {
    const node = document.createElement(tag);
    node.textContent = text;
    if (className) node.className = className;
    return node;
  }
  function refuse(text) {
    by("refusal").replaceChildren(...(text ? [make("p", text, "notice")] : []));
    if (text) by("refusal").scrollIntoView({ block: "nearest" });
  }

  async function post(url, data) {
    const answer = await fetch(url, { method: "POST", body: data, headers: { Accept: "application/json", "X-Gpsq-Token": token } });
    const told = await answer.json().catch(() => ({ problem: `The server answered ${answer.status}.` }));
    if (!answer.ok) throw new Error(told.problem);
    return told;
  }
  const LOST = "The page cannot reach gpsq serve. If it was stopped, start it again and load this page anew; nothing that was kept is lost.";
  const why = (error) => (error instanceof TypeError ? LOST : error.message);

  // ---- small forms: the same as without a script, but the page stays where it is ----
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("[data-quiet]")) return;
    event.preventDefault();
    const data = new URLSearchParams(new FormData(form, event.submitter));
    if (/\/(start|paste)$/.test(form.action) && !by("zone").dataset.kept) data.set("zone", by("zone").value);
    const buttons = [...form.querySelectorAll("button")];
    for (const button of buttons) button.ariaBusy = "true";
    try {
      refuse("");
      beside(form, "");
      await post(form.action, data);
      const first = data.get("id");
      if (first) {
        shownOnMap = `d-${first}`;
        for (const id of data.getAll("id")) decided(by(`d-${id}`), data.get("decision"));
      }
      form.querySelectorAll("input, textarea").forEach((input) => (input.defaultValue = input.value));
      if (/\/(place|publish|preview|paste)$/.test(form.action)) await renew(form.action.endsWith("publish"));
      await look();
    } catch (error) {
      if (error instanceof TypeError) refuse(LOST);
      else beside(form, error.message);
    }
    for (const button of buttons) button.ariaBusy = "false";
  });

  // A refusal stands beside the field that it is about, until something else is typed or sent there.
  const refused = new Map(), field = (form) => form.querySelector("input:not([type=hidden]), textarea") ?? form.querySelector("button");
  function beside(form, text) {
    const input = field(form);
    if (text) refused.set(input.id, text); else refused.delete(input.id);
    form.querySelector(".beside")?.remove();
    if (!text) { input.removeAttribute("aria-invalid"); input.removeAttribute("aria-describedby"); return; }
    const told = make("p", text, "beside");
    Object.assign(told, { id: `beside-${input.id}`, role: "alert" });
    if (input.matches("input, textarea")) input.ariaInvalid = "true";
    input.setAttribute("aria-describedby", told.id);
    form.append(told);
  }
  document.addEventListener("input", (event) => { if (refused.has(event.target.id)) beside(event.target.form, ""); });

  // Where no time zone is kept, the computer's own stands in its field.
  function proposeZone() {
    const zone = by("zone");
    if (!zone || zone.dataset.kept) return;
    if (!zone.value) zone.value = zone.defaultValue = Intl.DateTimeFormat().resolvedOptions().timeZone ?? ""; // nobody typed it
    by("zone-said").hidden = false;
    if (!by("zones").options.length) by("zones").append(...(Intl.supportedValuesOf?.("timeZone") ?? []).map((name) => new Option(name, name)));
  }
  proposeZone();

  // A decision is on the disk when it is acknowledged, and shows at once; the figures follow when they are worked out.
  const SAID = { unflagged: "No decision yet", intentional: "Intentional", error: "Receiver error" };
  function decided(part, decision) {
    if (!part) return;
    part.dataset.state = decision === "clear" ? "unflagged" : decision;
    say(part, part.dataset.state, (text) => text.toLowerCase());
    const card = part.closest(".card"), states = new Set([...card.querySelectorAll(".part")].map((one) => one.dataset.state));
    const whole = states.size === 1 ? [...states][0] : "unflagged";
    card.className = `card ${whole}`;
    say(card, whole, (text) => text);
  }
  function say(box, state, words) {
    const said = box.querySelector("[data-said]"), form = box.querySelector("form");
    if (said) said.textContent = words(SAID[state]);
    for (const button of form?.querySelectorAll("[aria-pressed]") ?? []) button.ariaPressed = String(button.value === state);
  }

  // ---- drop ----
  const drop = by("drop"), queue = [];
  let sending = false, sent = 0;
  document.querySelectorAll(".scripted").forEach((node) => (node.hidden = false));
  drop.addEventListener("submit", (event) => {
    event.preventDefault();
    for (const input of [by("files"), by("tree")]) {
      take([...input.files].map((file) => [file.webkitRelativePath || file.name, file]));
      input.value = "";
    }
  });
  for (const input of [by("files"), by("tree")]) input.addEventListener("change", () => drop.requestSubmit());
  for (const kind of ["dragenter", "dragover"]) addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  for (const kind of ["dragleave", "drop"]) addEventListener(kind, (event) => { event.preventDefault(); drop.classList.remove("over"); });
  addEventListener("drop", async (event) => {
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
    const found = [];
    for (const entry of entries) await walk(entry, "", found);
    take(entries.length ? found : [...event.dataTransfer.files].map((file) => [file.name, file]));
  });
  async function walk(entry, above, found) {
    if (found.length > Number(body.dataset.mostFiles)) return;
    if (entry.isFile) {
      found.push([above + entry.name, await new Promise((done, failed) => entry.file(done, failed))]);
      return;
    }
    const reader = entry.createReader();
    for (;;) {
      const some = await new Promise((done, failed) => reader.readEntries(done, failed));
      if (!some.length) return;
      for (const one of some) await walk(one, `${above}${entry.name}/`, found);
    }
  }
  function take(files) {
    if (!files.length) return;
    if (files.length > Number(body.dataset.mostFiles)) {
      refuse(`More than ${body.dataset.mostFiles} files at once; nothing was stored. Put them into the folder instead.`);
      return;
    }
    queue.push(...files);
    if (!sending) send();
  }
  async function send() {
    sending = true;
    sent = 0;
    by("sending").hidden = false;
    while (queue.length) {
      const [name, file] = queue.shift();
      by("sent").max = sent + queue.length + 1;
      by("sent").value = sent;
      by("sent-words").textContent = `${sent + 1} of ${sent + queue.length + 1}`;
      const data = new FormData();
      data.set("path", name);
      if (queue.length) data.set("more", "1");
      data.set("files", file, file.name);
      try {
        await post("/recordings", data);
      } catch (error) {
        refuse(`${name}: ${why(error)}`);
        if (error instanceof TypeError) { queue.length = 0; break; }
        if (!queue.length) post("/analyse", new URLSearchParams()).catch(() => {});
      }
      sent += 1;
      look();
    }
    by("sending").hidden = true;
    sending = false;
    look();
  }

  // ---- what is being done, and what came of it ----
  let timer = 0, looking = false;
  async function look() {
    if (looking) return;
    looking = true;
    clearTimeout(timer);
    let pause = 2000;
    try {
      const state = await (await fetch("/status", { headers: { Accept: "application/json" } })).json();
      if (by("refusal").textContent === LOST) refuse("");
      tell(state);
      const news = state.number !== number || (problem !== null && state.problem !== problem) || (published !== null && state.published !== published);
      problem = state.problem;
      published = state.published;
      if (news) await renew(state.number !== number, state.number);
      if (state.what || sending) pause = 80;
      else if (state.received.some((line) => line.outcome === "being read")) pause = 300;
    } catch (error) {
      refuse(LOST);
    }
    looking = false;
    timer = setTimeout(look, pause);
  }
  function tell(state) {
    by("work").hidden = !state.what;
    const words = state.of ? `${state.what}, ${state.done} of ${state.of}` : state.what;
    const more = state.waiting ? `; ${state.waiting} more waiting` : "";
    if (by("work-words").textContent !== words + more) by("work-words").textContent = words + more;
    if (state.of) { by("work-bar").max = state.of; by("work-bar").value = state.done; } else by("work-bar").removeAttribute("value");
    const list = by("received");
    const text = JSON.stringify(state.received);
    if (list.dataset.text === text) return;
    list.dataset.text = text;
    list.replaceChildren(...state.received.map((line) => {
      const row = make("li", "", line.outcome.replaceAll(" ", "-"));
      const name = make("strong", "");
      name.append(make("bdi", line.given));
      row.append(name, ` ${line.said}`, ...(line.seen ? [make("span", line.seen, "seen")] : []));
      return row;
    }));
    by("noticed").replaceChildren(...state.noticed.map((note) => {
      const row = make("li", "");
      row.append(make("bdi", note));
      return row;
    }));
    list.scrollTop = list.scrollHeight;
  }

  // The server makes the page anew; its parts take the place of those shown, and what is typed or chosen stays.
  async function renew(withMap, now = number) {
    const fresh = new DOMParser().parseFromString(await (await fetch("/")).text(), "text/html");
    number = now;
    const focus = document.activeElement?.id;
    const typed = new Map([...document.querySelectorAll("[data-live] :is(input:not([type=hidden]), textarea)")].filter((i) => i.id && i.value !== i.defaultValue).map((i) => [i.id, i.value]));
    const unfolded = [...document.querySelectorAll("[data-live] details[open]")].map((one) => one.id || one.parentElement.id).filter(Boolean);
    for (const part of document.querySelectorAll("section, nav")) part.hidden = fresh.getElementById(part.id).hidden;
    Object.assign(by("ground").dataset, fresh.getElementById("ground").dataset);
    for (const part of document.querySelectorAll("[data-live]")) {
      const other = fresh.getElementById(part.id);
      if (other.innerHTML !== part.innerHTML) part.replaceChildren(...document.importNode(other, true).childNodes);
    }
    for (const id of unfolded) (by(id)?.matches("details") ? by(id) : by(id)?.querySelector("details"))?.setAttribute("open", "");
    for (const [id, value] of typed) if (by(id)) by(id).value = value;
    if (focus && document.activeElement?.id !== focus) (by(focus) ?? by(focus.replace(/^clear-/, "intentional-")))?.focus({ preventScroll: true });
    for (const [id, text] of [...refused]) if (by(id)) beside(by(id).form, text);
    proposeZone();
    document.title = fresh.title;
    document.querySelector("h1").replaceChildren(...fresh.querySelector("h1").childNodes);
    if (withMap && number) showMap();
    document.dispatchEvent(new Event("gpsq:renewed"));
  }
  function showMap() {
    const src = `/gpsq-results/map.html?n=${number}${shownOnMap ? `#${shownOnMap}` : ""}`;
    const frame = make("iframe", "");
    Object.assign(frame, { name: "map", id: "map-page", title: "Map of the recordings", src });
    by("map-frame").replaceChildren(frame);
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.("[data-show]");
    if (!link) return;
    event.preventDefault();
    shownOnMap = link.dataset.show;
    showMap();
    by("map").scrollIntoView({ block: "start" });
    by("map-page").focus();
  });

  look();
})();
