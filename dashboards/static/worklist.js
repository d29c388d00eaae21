// The worklist: filter, sort, search and walk by keyboard; the view stands in the address.
(() => {
  "use strict";
  const data = JSON.parse(document.getElementById("worklist-data").textContent);
  const total = data.claim.length;
  const holder = document.getElementById("worklist");
  const body = holder.querySelector("tbody");
  const head = [...holder.querySelectorAll("th[data-sort]")];
  const controls = Object.fromEntries(
    [...document.querySelectorAll("[data-filter]")].map((control) => [control.dataset.filter, control]));
  const search = Array.from({ length: total }, (_, i) =>
    [data.claim[i], data.serial[i], data.site[i], data.site_name[i]].join("\n").toLowerCase());
  const narrow = matchMedia("(max-width: 44rem)");
  const defaults = { scope: "open", sort: "order", dir: "asc" };
  let state = {};
  let shown = [];
  let here = -1;

  const rowHeight = () => (narrow.matches ? 200 : 128);

  function readAddress() {
    const read = new URLSearchParams(location.hash.slice(1));
    state = { ...defaults };
    for (const [key, value] of read) state[key] = value;
    for (const [name, control] of Object.entries(controls)) control.value = state[name] || "";
    if (!controls.scope.value) controls.scope.value = "open";
  }

  function writeAddress() {
    const written = new URLSearchParams();
    for (const [key, value] of Object.entries(state)) {
      if (value && value !== defaults[key]) written.set(key, value);
    }
    const hash = written.toString();
    history.replaceState(null, "", hash ? `#${hash}` : location.pathname + location.search);
  }

  function kept(i) {
    if (state.scope === "open" && !data.open[i]) return false;
    for (const name of ["verdict", "due", "region", "agency", "family"]) {
      if (state[name] && data[name][i] !== state[name]) return false;
    }
    if (state.missing && !data.documents[i].includes(state.missing)) return false;
    if (state.money && !(data.at_stake[i] >= Number(state.money))) return false;
    return !state.q || search[i].includes(state.q.toLowerCase().trim());
  }

  const sorters = {
    order: (i) => i,
    claim: (i) => data.claim[i],
    verdict: (i) => data.verdict[i],
    unit: (i) => data.serial[i],
    site: (i) => data.site_name[i] || data.site[i],
    agency: (i) => data.agency[i],
    money: (i) => data.at_stake[i],
    missing: (i) => data.documents[i].length,
  };

  function select() {
    shown = [];
    for (let i = 0; i < total; i += 1) if (kept(i)) shown.push(i);
    const key = Object.hasOwn(sorters, state.sort) ? sorters[state.sort] : sorters.order;
    const sign = state.dir === "desc" ? -1 : 1;
    if (state.sort !== "order" || sign < 0) {
      const keys = new Map(shown.map((i) => [i, key(i)]));
      shown.sort((a, b) => {
        const [x, y] = [keys.get(a), keys.get(b)];
        if (x === y) return a - b;
        if (x === null || x === "") return 1;
        if (y === null || y === "") return -1;
        return (x < y ? -1 : 1) * sign;
      });
    }
  }

  function element(name, className, text) {
    const made = document.createElement(name);
    if (className) made.className = className;
    if (text !== undefined && text !== null) made.textContent = text;
    return made;
  }

  function cell(className, ...lines) {
    const made = element("td", className);
    for (const [style, text] of lines) if (text) made.append(element("span", style, text));
    return made;
  }

  function row(position) {
    const i = shown[position];
    const made = element("tr", position === here ? "row here" : "row");
    made.dataset.position = position;
    made.setAttribute("aria-rowindex", position + 2);
    const claim = element("td", "c-claim");
    const link = element("a", "one", data.claim[i]);
    link.href = `claims/${data.file[i]}`;
    claim.append(link, element("span", "one sub", data.why[i]));
    if (data.reason[i]) claim.append(element("span", "three sub", data.reason[i]));
    const verdict = element("td", "c-verdict");
    verdict.append(element("span", `verdict ${data.verdict[i]}`, data.words[data.verdict[i]]),
      element("span", "one sub", data.lead[i]));
    const money = cell("c-money number", ["one", data.money[i]], ["one sub", data.days[i]],
      ["one sub", data.age_days[i] === null ? "" : `${data.age_days[i]} days old`]);
    made.append(cell("c-place number", ["one", String(position + 1)]), claim, verdict,
      cell("c-unit", ["one", data.serial[i]], ["one sub", data.family[i]]),
      cell("c-site", ["one", data.site_name[i] || data.site[i]], ["one sub", data.region[i]]),
      cell("c-agency", ["two", data.agency[i]]), money,
      cell("c-missing", ["two", data.documents[i].join("; ")],
        ["one sub", data.due[i] && `${data.due[i] === "overdue" ? "overdue:" : "due"} ${data.due_on[i]}`]));
    return made;
  }

  function spacer(height) {
    const made = element("tr", "space");
    made.setAttribute("aria-hidden", "true");
    const inside = element("td");
    inside.colSpan = 8;
    inside.style.height = `${height}px`;
    made.append(inside);
    return made;
  }

  function paint(everything) {
    const height = rowHeight();
    const first = everything ? 0 : Math.max(0, Math.floor(holder.scrollTop / height) - 6);
    const last = everything ? shown.length
      : Math.min(shown.length, Math.ceil((holder.scrollTop + holder.clientHeight) / height) + 6);
    const focused = body.contains(document.activeElement);
    const rows = [];
    if (first > 0) rows.push(spacer(first * height));
    for (let position = first; position < last; position += 1) rows.push(row(position));
    if (last < shown.length) rows.push(spacer((shown.length - last) * height));
    body.replaceChildren(...rows);
    if (focused) focusHere();
  }

  function focusHere() {
    const link = body.querySelector("tr.here a");
    if (link) link.focus({ preventScroll: true });
  }

  function update() {
    select();
    here = shown.length ? Math.min(Math.max(here, -1), shown.length - 1) : -1;
    holder.querySelector("table").setAttribute("aria-rowcount", shown.length + 1);
    const stake = shown.reduce((sum, i) => sum + Math.round(data.at_stake[i] * 100), 0) / 100;
    document.getElementById("shown").textContent = shown.length
      ? `${shown.length.toLocaleString("en-US")} of ${total.toLocaleString("en-US")} claims, `
        + `${stake.toLocaleString("en-US", { minimumFractionDigits: 2 })} ${data.currency} claimed`
      : "No claim fits. Clear a filter to see more.";
    for (const column of head) {
      if (column.dataset.sort === state.sort) {
        column.setAttribute("aria-sort", state.dir === "desc" ? "descending" : "ascending");
      } else column.removeAttribute("aria-sort");
    }
    paint();
    try {
      sessionStorage.setItem("walk",
        JSON.stringify({ hash: location.hash, files: shown.map((i) => data.file[i]) }));
    } catch (error) { /* without storage a claim has no neighbors; the list still works */ }
  }

  function change(name, value) {
    state[name] = value;
    here = -1;
    holder.scrollTop = 0;
    writeAddress();
    update();
  }

  function move(step) {
    if (!shown.length) return;
    here = Math.min(Math.max(here + step, 0), shown.length - 1);
    const height = rowHeight();
    const top = here * height;
    if (top < holder.scrollTop) holder.scrollTop = top;
    const bottom = top + height * 2 - holder.clientHeight;
    if (bottom > holder.scrollTop) holder.scrollTop = bottom;
    paint();
    focusHere();
    const row = body.querySelector("tr.here");
    if (row) row.scrollIntoView({ block: "nearest" });
  }

  const columns = ["claim", "verdict", "lead", "serial", "family", "site", "site_name", "region",
    "agency", "at_stake", "days_left", "missing", "due_on", "why", "group", "age_days", "reason"];

  function viewRows() {
    return shown.map((i) => columns.map((name) => {
      if (name === "missing") return data.documents[i].join("; ");
      return data[name][i];
    }));
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("dialog[open]")) return;
    if (event.key === "Escape" && event.target.closest("input, select")) {
      event.target.blur();
      return;
    }
    if (event.target.closest("input, select")) {
      if (event.key === "Enter" && event.target === controls.q) { event.preventDefault(); here = -1; move(1); }
      return;
    }
    if (event.key === "j" || event.key === "k") {
      event.preventDefault();
      move(event.key === "j" ? 1 : -1);
    } else if (event.key === "/") {
      event.preventDefault();
      controls.q.focus();
      controls.q.select();
    } else if (event.key === "Enter" && here >= 0 && event.target === document.body) {
      location.href = `claims/${data.file[shown[here]]}`;
    } else if (event.key === "x") {
      event.preventDefault();
      reset();
    }
  });

  function reset() {
    state = { ...defaults };
    writeAddress();
    readAddress();
    here = -1;
    update();
  }

  for (const [name, control] of Object.entries(controls)) {
    control.addEventListener("input", () => change(name, control.value));
  }
  for (const column of head) {
    column.querySelector("button").addEventListener("click", () => {
      const again = state.sort === column.dataset.sort;
      state.dir = again && state.dir === "asc" ? "desc" : "asc";
      change("sort", column.dataset.sort);
    });
  }
  body.addEventListener("focusin", (event) => {
    const position = Number(event.target.closest("tr").dataset.position);
    if (position !== here) {
      here = position;
      for (const line of body.querySelectorAll("tr.row")) {
        line.classList.toggle("here", Number(line.dataset.position) === here);
      }
    }
  });
  let waiting = false;
  holder.addEventListener("scroll", () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; paint(); });
  });
  narrow.addEventListener("change", () => paint());
  window.addEventListener("resize", () => paint());
  window.addEventListener("hashchange", () => { readAddress(); update(); });
  window.addEventListener("beforeprint", () => paint(true));
  window.addEventListener("afterprint", () => paint());
  document.getElementById("save-csv").addEventListener("click", () => LimeledgerSheet.download(
    new Blob([LimeledgerSheet.csv(columns, viewRows())], { type: "text/csv;charset=utf-8" }),
    "worklist.csv"));
  document.getElementById("save-xlsx").addEventListener("click", () =>
    LimeledgerSheet.download(LimeledgerSheet.xlsx(columns, viewRows()), "worklist.xlsx"));
  document.getElementById("reset").addEventListener("click", reset);

  // On a phone the list comes first: filters fold until they are asked for or in use.
  const more = document.getElementById("more-filters");
  if (narrow.matches && !location.hash) more.open = false;

  readAddress();
  update();
})();
