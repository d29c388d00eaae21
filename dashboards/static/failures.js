// The failures that the page's address selects: a table, sorted by any column, and as CSV.
(() => {
  "use strict";
  const { columns } = JSON.parse(document.getElementById("failures-data").textContent);
  const table = document.getElementById("failures");
  const said = document.getElementById("selected");
  const head = [...table.querySelectorAll("th[data-sort]")];
  const names = head.map((cell) => cell.dataset.sort);
  const total = (columns.call || []).length;
  // Doses stand as numbers of their words, since each failure has many and there are few.
  if (columns.dose) columns.dose = columns.dose.of.map((own) => own.map((at) => columns.dose.words[at]));
  const numbers = new Set(["age_days", "cost"]);
  const words = {
    event: "event", first: "first failures of", age_to: "up to day", failed_from: "from", failed_to: "to",
  };
  let rows = [];
  let order = { name: "failed_on", up: false };

  function decoded(text) {
    try { return decodeURIComponent(text); } catch (error) { return text; }
  }

  function pairs() {
    return location.hash.slice(1).split("&").filter(Boolean).map((pair) => {
      const [name, ...rest] = pair.split("=");
      return [decoded(name), decoded(rest.join("="))];
    });
  }

  // A selection in words: `hardness_mg_l_caco3/60:5:unprotected` is a bin of a limit.
  function inWords(name, value) {
    if (name === "dose") {
      const [of, bin, guard] = value.split(":");
      const [analyte, limit] = of.split("/");
      const where = bin === "0" ? "not known" : `in range ${bin} of 10 about its limit of ${limit}`;
      return `${analyte.replaceAll("_", " ")} ${where}${guard ? ", on unprotected days" : ""}`;
    }
    return Object.hasOwn(words, name) ? `${words[name]} ${value}` : `${name.replaceAll("_", " ")} ${value}`;
  }

  function ofEvent(event, i) {
    if (event === "any") return true;
    return event === "water" ? columns.water_related[i] === true : columns.cause_class[i] === event;
  }

  function firstOf(event, i) {
    const flag = { any: "first_any", water: "first_water" }[event] || "first_of_class";
    return columns[flag][i] === true && ofEvent(event, i);
  }

  function holds(name, value, i) {
    if (name === "event") return ofEvent(value, i);
    if (name === "first") return firstOf(value, i);
    if (name === "age_to") return columns.age_days[i] <= Number(value);
    if (name === "failed_from") return columns.failed_on[i] >= value;
    if (name === "failed_to") return columns.failed_on[i] <= value;
    const own = columns[name][i];
    if (name === "need") return own.split("+").includes(value);
    if (name === "dose") return own.includes(value) || own.includes(`${value}:unprotected`);
    return String(own ?? "") === value;
  }

  function known(name) {
    return Object.hasOwn(words, name) || Object.hasOwn(columns, name);
  }

  function choose() {
    const chosen = pairs();
    const strange = chosen.map(([name]) => name).filter((name) => !known(name));
    if (strange.length) {
      rows = [];
      said.textContent = `There is no column ${strange.join(", ")}: nothing is listed.`;
      draw();
      return;
    }
    rows = Array.from({ length: total }, (_, i) => i)
      .filter((i) => chosen.every(([name, value]) => holds(name, value, i)));
    const told = chosen.map(([name, value]) => inWords(name, value));
    const count = `${rows.length.toLocaleString("en-US")} failure${rows.length === 1 ? "" : "s"}`;
    said.textContent = `${count}${told.length ? `: ${told.join(", ")}` : ", all of them"}.`;
    draw();
  }

  function text(name, i) {
    const value = columns[name][i];
    if (value === null || value === undefined) return "";
    if (name === "dose") return value.join("+");
    return name === "cost" ? value.toFixed(2) : String(value);
  }

  function draw() {
    const sign = order.up ? 1 : -1;
    const own = columns[order.name];
    rows.sort((a, b) => {
      const [x, y] = [own[a] ?? "", own[b] ?? ""];
      return x === y ? a - b : sign * (x < y ? -1 : 1);
    });
    for (const cell of head) {
      if (cell.dataset.sort === order.name) cell.setAttribute("aria-sort", order.up ? "ascending" : "descending");
      else cell.removeAttribute("aria-sort");
    }
    const body = document.createElement("tbody");
    for (const i of rows) {
      const line = body.insertRow();
      for (const name of names) {
        const cell = line.insertCell();
        if (numbers.has(name)) cell.className = "number";
        const page = name === "claim" ? columns.page[i] : null;
        if (page) {
          const link = document.createElement("a");
          link.href = page;
          link.textContent = text(name, i);
          cell.append(link);
        } else cell.textContent = text(name, i);
      }
    }
    table.tBodies[0].replaceWith(body);
  }

  function quoted(value) {
    const safe = /^[=+\-@\t\r]/.test(value) ? `'${value}` : value;
    return /[",\n\r]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
  }

  for (const cell of head) {
    cell.querySelector("button").addEventListener("click", () => {
      const name = cell.dataset.sort;
      order = { name, up: order.name === name ? !order.up : true };
      draw();
    });
  }
  document.getElementById("failures-csv").addEventListener("click", () => {
    const every = Object.keys(columns).filter((name) => name !== "page");
    const lines = [every, ...rows.map((i) => every.map((name) => text(name, i)))];
    const blob = new Blob([lines.map((line) => line.map(quoted).join(",")).join("\r\n") + "\r\n"], { type: "text/csv" });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = "failures.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
  addEventListener("hashchange", choose);
  choose();
})();
