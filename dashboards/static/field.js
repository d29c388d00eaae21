// The field page: one pick of a region, family or profile, and each section's choice, fill the figures.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("field-data").textContent);
  const picker = document.getElementById("pick");
  const figures = [...document.querySelectorAll(".figure[data-figure]")];
  const groups = [...document.querySelectorAll(".choices")];
  const inputsOf = (group) => [...group.querySelectorAll("input, option")];
  const isChosen = (input) => input.checked || input.selected;

  function choose(input) {
    if (input.tagName === "OPTION") input.selected = true;
    else input.checked = true;
  }

  function readAddress() {
    const read = new URLSearchParams(location.hash.slice(1));
    const pick = read.get("pick") || "all";
    picker.value = [...picker.options].some((option) => option.value === pick) ? pick : "all";
    for (const group of groups) {
      const chosen = inputsOf(group).find((input) => input.value === read.get(group.dataset.section));
      if (chosen) choose(chosen);
    }
  }

  function writeAddress() {
    const written = new URLSearchParams();
    if (picker.value !== "all") written.set("pick", picker.value);
    for (const group of groups) {
      const inputs = inputsOf(group);
      const chosen = inputs.find(isChosen);
      if (chosen && chosen !== inputs[0]) written.set(group.dataset.section, chosen.value);
    }
    const hash = written.toString();
    history.replaceState(null, "", hash ? `#${hash}` : location.pathname + location.search);
  }

  function choiceOf(figure) {
    const group = figure.closest("section").querySelector(".choices");
    const chosen = group && inputsOf(group).find(isChosen);
    return chosen ? chosen.value : null;
  }

  // The view of the choice and pick; a section without a choice to make has one choice at most.
  function viewOf(figure) {
    const views = data.views[figure.dataset.figure];
    const choice = choiceOf(figure);
    const find = (pick) => views[`${choice}/${pick}`] || views[`*/${pick}`];
    const own = find(picker.value);
    const whole = find("all") || (choice === null ? Object.values(views)[0] : null);
    return [own || whole, Boolean(own)];
  }

  function cellOf(content, tag, at) {
    const cell = document.createElement(tag);
    if (Array.isArray(content)) {
      const link = document.createElement("a");
      link.href = `failures.html#${content[1]}`;
      link.textContent = content[0];
      const what = document.createElement("span");
      what.className = "unseen";
      what.textContent = " failures";
      link.append(what);
      cell.append(link);
    } else cell.textContent = content;
    if (tag === "th") cell.scope = "col";
    if (at > 0) cell.className = "number";
    return cell;
  }

  function fillTable(figure, view) {
    const table = figure.querySelector("table");
    if (!table || !view.table) return;
    const line = (cells, tag) => {
      const made = document.createElement("tr");
      made.append(...cells.map((content, at) => cellOf(content, tag, at)));
      return made;
    };
    table.tHead.replaceChildren(line(view.table[0], "th"));
    table.tBodies[0].replaceChildren(...view.table.slice(1).map((cells) => line(cells, "td")));
  }

  async function fill(figure) {
    const [view, own] = viewOf(figure);
    const label = picker.selectedOptions[0].textContent;
    const says = figure.querySelector(".says");
    const elsewhere = figure.querySelector(".elsewhere");
    elsewhere.hidden = own && Boolean(view);
    elsewhere.textContent = view ? `This figure is not cut by ${label}; it shows the whole field.`
      : "This figure has nothing to show for this choice.";
    says.hidden = !view || !view.says;
    for (const chart of figure.querySelectorAll(".chart")) chart.hidden = !view;
    if (!view) return;
    says.textContent = view.says;
    figure.querySelector(".count").textContent = view.sample;
    fillTable(figure, view);
    for (const chart of figure.querySelectorAll(".chart")) {
      const part = view.charts[chart.dataset.part || chart.dataset.chart];
      chart.hidden = !part;
      if (!part) continue;
      const title = chart.querySelector("h4");
      if (title) title.textContent = part.title || "";
      await LimeledgerCharts.draw(chart, part);
    }
  }

  let turn = 0;
  async function fillAll(only) {
    turn += 1;
    const mine = turn;
    document.documentElement.dataset.drawn = "no";
    for (const figure of only || figures) {
      if (mine !== turn) return;
      // A folded figure is drawn when it is opened: hidden, it has no width.
      if (figure.tagName === "DETAILS" && !figure.open) continue;
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
  for (const group of groups) {
    group.addEventListener("change", () => {
      writeAddress();
      fillAll([...group.closest("section").querySelectorAll(".figure[data-figure]")]);
    });
  }
  for (const figure of figures) {
    if (figure.tagName === "DETAILS") {
      figure.addEventListener("toggle", () => { if (figure.open) fillAll([figure]); });
    }
  }
  window.addEventListener("hashchange", () => {
    // A link to a question is no pick: what is picked stays.
    if (!document.getElementById(location.hash.slice(1))) { readAddress(); fillAll(); }
  });
  readAddress();
  fillAll();
})();
