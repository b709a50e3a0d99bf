"use strict";
(() => {
  const shown = (box) => {
    const toggle = (parts, name) => parts.forEach((part) => {
      if (part.dataset.shot === name) part.classList.toggle("dimmed", !box.checked);
    });
    toggle(document.querySelectorAll("#overview [data-shot]"), box.dataset.shows);
    toggle(box.closest(".group").querySelectorAll("svg [data-shot]"), box.dataset.line);
  };
  document.querySelectorAll("fieldset.choose").forEach((box) => { box.hidden = false; });
  document.querySelectorAll("[data-shows]").forEach((box) => {
    box.addEventListener("change", () => shown(box));
  });

  const held = document.getElementById("numbers");
  const form = document.getElementById("two");
  if (!held || !form) return;
  const data = JSON.parse(held.textContent);
  const [one, other, answer] = ["one", "other", "two-answer"].map((id) => document.getElementById(id));
  if (data.shots.length < 2) return;
  form.hidden = false;

  const places = (u) => {
    if (!(u > 0)) return 1;
    const power = Math.floor(Math.log10(u));
    return Math.min(Math.max((u / 10 ** power < 1.95 ? 1 : 0) - power, 0), 2);
  };
  const cell = (row, kind, text) => {
    const made = document.createElement(kind);
    made.textContent = text;
    if (kind === "td") made.className = "n"; else made.scope = row.parentNode.tagName === "THEAD" ? "col" : "row";
    row.append(made);
  };
  const row = (part, cells) => {
    const made = part.insertRow();
    cells.forEach(([kind, text]) => cell(made, kind, text));
  };
  const compare = () => {
    const [a, b] = [one, other].map((choice) => data.shots.find((shot) => shot.anchor === choice.value));
    const table = document.createElement("table");
    table.createCaption().textContent = "Difference: the second less the first. Its ± takes the two as measured " +
      "independently; what one camera gets wrong in both cancels, so it is rather too large.";
    row(table.createTHead(), [["th", "Number"], ["th", a.name], ["th", b.name], ["th", "Difference"]]);
    const body = table.createTBody();
    data.columns.forEach((column, k) => {
      const [p, q] = [a.numbers[k], b.numbers[k]];
      let difference = "–";
      if (p.value !== null && q.value !== null && p.u !== null && q.u !== null) {
        const u = Math.hypot(p.u, q.u);
        const digits = (q.value - p.value).toFixed(places(u));
        const text = Number(digits) === 0 ? digits.replace("-", "") : digits.replace("-", "−");
        difference = `${text} ± ${u.toFixed(places(u))}`;
      }
      row(body, [["th", column.unit ? `${column.title} (${column.unit})` : column.title], ["td", p.text], ["td", q.text], ["td", difference]]);
    });
    const scroll = document.createElement("div");
    scroll.className = "scroll";
    scroll.tabIndex = 0;
    scroll.setAttribute("role", "region");
    scroll.setAttribute("aria-label", "Two shots compared");
    scroll.append(table);
    answer.replaceChildren(scroll);
  };
  [one, other].forEach((choice) => choice.addEventListener("change", compare));
  form.addEventListener("submit", (event) => event.preventDefault());
  compare();
})();
