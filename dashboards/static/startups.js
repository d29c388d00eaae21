// The page of start-ups: tables with filters, a slice for the chart, and counts that open their units.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("startups-data").textContent);
  const STEP = 50;
  const boxes = Object.fromEntries([...document.querySelectorAll("[data-table]")]
    .map((box) => [box.dataset.table, box]));
  const state = {};

  const plain = (value) => (value === null || value === undefined ? ""
    : value === true ? "yes" : value === false ? "no" : String(value));

  function kept(table, row, wanted) {
    const of = (name) => row[table.names.indexOf(name)];
    for (const [name, value] of Object.entries(wanted)) {
      if (!value) continue;
      if (name === "q") {
        const text = `${of("serial")}\n${of("site_name") || ""}`.toLowerCase();
        if (!text.includes(value.toLowerCase().trim())) return false;
      } else if (name === "from" || name === "to") {
        if (!of(`${value}_on`)) return false;
      } else if (name === "needs") {
        if (plain(of("needs_treatment")) !== value) return false;
      } else if (name === "faults") {
        if (!plain(of("faults")).split("; ").includes(value)) return false;
      } else if ((plain(of(name)) || "none") !== value) return false;
    }
    return true;
  }

  const atDesk = document.body.dataset.root === "/"; // where every unit has a page

  function cells(tag, values) {
    const line = document.createElement("tr");
    values.forEach((value, at) => {
      const cell = document.createElement(tag);
      if (tag === "th") cell.scope = "col";
      if (tag === "td" && at === 0 && atDesk) {
        const link = document.createElement("a");
        link.href = `/units/${encodeURIComponent(value)}`;
        link.textContent = plain(value);
        cell.append(link);
      } else cell.textContent = plain(value);
      line.append(cell);
    });
    return line;
  }

  function paint(key) {
    const [box, table, now] = [boxes[key], data.tables[key], state[key]];
    const rows = table.rows.filter((row) => kept(table, row, now.wanted));
    now.rows = rows;
    box.querySelector("thead").replaceChildren(cells("th", table.columns));
    box.querySelector("tbody").replaceChildren(
      ...rows.slice(0, now.most).map((row) => cells("td", row)));
    box.querySelector(".shown").textContent = rows.length
      ? `${rows.length.toLocaleString("en-US")} of ${table.rows.length.toLocaleString("en-US")} units`
      : "No unit fits. Clear a filter to see more.";
    box.querySelector(".more").hidden = rows.length <= now.most;
  }

  function want(key, wanted) {
    state[key] = { wanted, most: STEP, rows: [] };
    for (const control of boxes[key].querySelectorAll("[data-filter]")) {
      control.value = wanted[control.dataset.filter] || "";
    }
    paint(key);
  }

  // A count's address names a table and its filters: #advised?state=overdue
  function open() {
    const [key, query] = location.hash.slice(1).split("?");
    if (!boxes[key] || query === undefined) return;
    want(key, Object.fromEntries(new URLSearchParams(query)));
    const title = document.getElementById(key);
    title.scrollIntoView();
    title.focus({ preventScroll: true });
  }

  function writeAddress(key) {
    const written = new URLSearchParams(
      Object.entries(state[key].wanted).filter(([, value]) => value)).toString();
    history.replaceState(null, "", written ? `#${key}?${written}` : location.pathname + location.search);
  }

  function listen(key) {
    const box = boxes[key];
    box.addEventListener("input", (event) => {
      const control = event.target.closest("[data-filter]");
      if (!control) return;
      state[key].wanted[control.dataset.filter] = control.value;
      state[key].most = STEP;
      writeAddress(key);
      paint(key);
    });
    box.querySelector("form").addEventListener("submit", (event) => event.preventDefault());
    box.querySelector(".clear").addEventListener("click", () => { want(key, {}); writeAddress(key); });
    box.querySelector(".more").addEventListener("click", () => { state[key].most += STEP; paint(key); });
    box.querySelector(".save").addEventListener("click", () => {
      const text = LimeledgerSheet.csv(data.tables[key].names,
        state[key].rows.map((row) => row.map(plain)));
      LimeledgerSheet.download(new Blob([text], { type: "text/csv;charset=utf-8" }),
        `${box.dataset.file}.csv`);
    });
  }

  function slice(name) {
    const shown = data.slices[name];
    if (!shown) return;
    LimeledgerCharts.draw(document.getElementById("way-chart"), shown.way);
    document.querySelector("#steps tbody").replaceChildren(...shown.steps.map((step) => {
      const line = document.createElement("tr");
      step.forEach((value, at) => {
        const cell = document.createElement("td");
        if (at > 0) cell.className = "number";
        if (Array.isArray(value)) {
          const link = document.createElement("a");
          [link.textContent, link.href] = value;
          cell.append(link);
        } else cell.textContent = value;
        line.append(cell);
      });
      return line;
    }));
  }

  for (const key of Object.keys(boxes)) { want(key, {}); listen(key); }
  const picker = document.getElementById("slice");
  if (picker) picker.addEventListener("change", () => slice(picker.value));
  window.addEventListener("hashchange", open);
  open();
})();
