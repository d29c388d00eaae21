// The field page: one pick of a region, family or profile, and each section's choice, fill the figures.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("field-data").textContent);
  const picker = document.getElementById("pick");
  const figures = [...document.querySelectorAll(".figure[data-figure]")];

  function readAddress() {
    const read = new URLSearchParams(location.hash.slice(1));
    const pick = read.get("pick") || "all";
    picker.value = [...picker.options].some((option) => option.value === pick) ? pick : "all";
    for (const group of document.querySelectorAll(".choices")) {
      const chosen = read.get(group.dataset.section);
      for (const input of group.querySelectorAll("input")) {
        if (input.value === chosen) input.checked = true;
      }
    }
  }

  function writeAddress() {
    const written = new URLSearchParams();
    if (picker.value !== "all") written.set("pick", picker.value);
    for (const group of document.querySelectorAll(".choices")) {
      const inputs = [...group.querySelectorAll("input")];
      const chosen = inputs.find((input) => input.checked);
      if (chosen && chosen !== inputs[0]) written.set(group.dataset.section, chosen.value);
    }
    const hash = written.toString();
    history.replaceState(null, "", hash ? `#${hash}` : location.pathname + location.search);
  }

  function choiceOf(figure) {
    const group = figure.closest("section").querySelector(".choices input:checked");
    return group ? group.value : "";
  }

  function viewOf(figure) {
    const views = data.views[figure.dataset.figure];
    const find = (pick) => views[`${choiceOf(figure)}/${pick}`] || views[`*/${pick}`];
    const own = find(picker.value);
    const view = own || find("all");
    const shown = view && view.same ? { ...views[view.same], says: view.says, sample: view.sample } : view;
    return [shown, Boolean(own)];
  }

  function fillTable(figure, view) {
    const table = figure.querySelector("table");
    if (!table || !view.table) return;
    const line = (cells, tag) => {
      const made = document.createElement("tr");
      cells.forEach((text, at) => {
        const cell = document.createElement(tag);
        cell.textContent = text;
        if (tag === "th") cell.scope = "col";
        if (at > 0) cell.className = "number";
        made.append(cell);
      });
      return made;
    };
    table.tHead.replaceChildren(line(view.table[0], "th"));
    table.tBodies[0].replaceChildren(...view.table.slice(1).map((cells) => line(cells, "td")));
  }

  async function fill(figure) {
    const [view, own] = viewOf(figure);
    if (!view) return;
    const label = picker.selectedOptions[0].textContent;
    figure.querySelector(".says").textContent = view.says;
    figure.querySelector(".sample").textContent = view.sample;
    figure.querySelector(".elsewhere").hidden = own;
    figure.querySelector(".elsewhere").textContent =
      own ? "" : `This figure is not cut by ${label}; it shows the whole field.`;
    fillTable(figure, view);
    for (const chart of figure.querySelectorAll(".chart")) {
      const part = view.charts[chart.dataset.part || chart.dataset.chart];
      chart.hidden = !part;
      if (!part) continue;
      const title = chart.querySelector("h4");
      if (title) title.textContent = part.title;
      const drawn = await LimeledgerCharts.draw(chart, part);
      linkRegions(chart, drawn);
    }
  }

  // The map and the funnel outline the picked region, and a click on either picks one.
  function linkRegions(chart, view) {
    if (!["tile_map", "funnel"].includes(chart.dataset.chart)) return;
    const [dimension, value] = picker.value.split("=");
    view.signal("picked", dimension === "region" ? value : "").runAsync();
    view.addEventListener("click", (event, item) => {
      const region = item && item.datum && item.datum.region;
      if (!region) return;
      const pick = `region=${region}`;
      picker.value = picker.value === pick ? "all" : pick;
      change();
    });
  }

  let turn = 0;
  async function fillAll(only) {
    turn += 1;
    const mine = turn;
    document.documentElement.dataset.drawn = "no";
    for (const figure of only || figures) {
      if (mine !== turn) return;
      await fill(figure);
    }
    document.documentElement.dataset.drawn = "yes";
  }

  function change() {
    writeAddress();
    fillAll();
  }

  picker.addEventListener("change", change);
  document.getElementById("pick-none").addEventListener("click", () => {
    picker.value = "all";
    change();
  });
  for (const group of document.querySelectorAll(".choices")) {
    group.addEventListener("change", () => {
      writeAddress();
      fillAll([...group.closest("section").querySelectorAll(".figure[data-figure]")]);
    });
  }
  window.addEventListener("hashchange", () => { readAddress(); fillAll(); });
  readAddress();
  fillAll();
})();
