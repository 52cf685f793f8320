"use strict";
// Findings and tables can be copied, as they stand here; without scripts the text can be selected as ever.
(() => {
  const said = (node) => node.textContent.replace(/\s+/g, " ").trim();

  async function copy(text, button) {
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      const box = document.createElement("textarea");
      box.value = text;
      box.setAttribute("aria-hidden", "true");
      document.body.append(box);
      box.select();
      document.execCommand("copy");
      box.remove();
      button.focus();
    }
    const was = button.textContent;
    button.textContent = "copied";
    setTimeout(() => { button.textContent = was; }, 1500);
  }

  // A cell is its value, with bounds and other small print in brackets.
  function cellText(cell) {
    const plain = cell.cloneNode(true), notes = [...plain.querySelectorAll(".bounds, .before")];
    for (const note of notes) note.remove();
    for (const form of plain.querySelectorAll("form, svg")) form.remove();
    const more = notes.map(said).filter(Boolean).join("; ");
    return said(plain) + (more ? ` (${more})` : "");
  }
  const rows = (table) => [...table.rows].map((row) => [...row.cells].map(cellText));
  const html = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
  // A spreadsheet takes some first signs for a formula; an apostrophe before them says that this is text.
  const field = (text) => `"${(/^[=+\-@\t\r]/.test(text) ? "'" : "") + text.replaceAll('"', '""')}"`;
  const FORMS = {
    Markdown: (table) => {
      const [head, ...body] = rows(table).map((row) => `| ${row.map((text) => text.replaceAll("|", "\\|")).join(" | ")} |`);
      return [head, `|${" --- |".repeat(table.rows[0].cells.length)}`, ...body].join("\n");
    },
    HTML: (table) => {
      const [head, ...body] = rows(table);
      const line = (tag, row) => `<tr>${row.map((text) => `<${tag}>${html(text)}</${tag}>`).join("")}</tr>`;
      return `<table>\n<caption>${html(said(table.caption))}</caption>\n${[line("th", head), ...body.map((row) => line("td", row))].join("\n")}\n</table>`;
    },
    CSV: (table) => rows(table).map((row) => row.map(field).join(",")).join("\n"),
  };

  function button(text, name, get) {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "copy";
    made.textContent = text;
    made.setAttribute("aria-label", name);
    made.addEventListener("click", () => copy(get(), made));
    return made;
  }
  function offer() {
    for (const finding of document.querySelectorAll("[data-finding]:not([data-offered])")) {
      finding.dataset.offered = "";
      const text = said(finding);
      finding.append(" ", button("copy", "Copy this sentence", () => text));
    }
    for (const table of document.querySelectorAll("table:not([data-offered])")) {
      table.dataset.offered = "";
      const bar = document.createElement("p");
      bar.className = "copies";
      bar.append("Copy as ", ...Object.entries(FORMS).map(([name, form]) => button(name, `Copy the table as ${name}: ${said(table.caption)}`, () => form(table))));
      (table.closest(".wide") ?? table).after(bar);
    }
  }
  offer();
  document.addEventListener("gpsq:renewed", offer);
})();
