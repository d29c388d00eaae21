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
  const search = LimeledgerSearch.foldedAll(Array.from({ length: total }, (_, i) =>
    [data.claim[i], data.call[i], data.serial[i], data.agency[i], data.agency_name[i], data.site[i],
      data.site_name[i]]));
  const elsewhere = document.getElementById("elsewhere");
  const narrow = matchMedia("(max-width: 44rem)");
  const HEAD = 48; // of the table, which stays at the top of the list
  const defaults = { scope: "open", sort: "order", dir: "asc" };
  const KEYS = new Set([...Object.keys(controls), "sort", "dir"]);
  let state = {};
  let shown = [];
  let items = []; // what the list draws: a group's heading, or the place of a row in `shown`
  let heights = []; // of each item: guessed, then measured once it was drawn
  let tops = [];
  let here = -1;

  function guessed(item) {
    if (item.group) return 40;
    const i = shown[item.position];
    const letters = data.reason[i].length + data.original[i].length + data.step[i].length;
    return 62 + 20 * Math.ceil(letters / (narrow.matches ? 42 : 58));
  }

  function stack() {
    tops = [0];
    for (const height of heights) tops.push(tops[tops.length - 1] + height);
  }

  // The item that stands at a height of the list.
  function itemAt(top) {
    let [low, high] = [0, items.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (tops[middle + 1] <= top) low = middle + 1; else high = middle;
    }
    return low;
  }

  const money = (amount) => amount.toLocaleString("en-US",
    { minimumFractionDigits: 2, maximumFractionDigits: 2 });
  const counted = (count) => `${count.toLocaleString("en-US")} ${count === 1 ? "claim" : "claims"}`;
  const stakeOf = (rows) => rows.reduce((sum, i) => sum + Math.round(data.at_stake[i] * 100), 0) / 100;

  // Groups have headings where the list is in working order.
  function listed() {
    const inOrder = state.sort === "order" && state.dir !== "desc";
    items = [];
    shown.forEach((i, position) => {
      const group = data.group[i];
      if (inOrder && (position === 0 || data.group[shown[position - 1]] !== group)) {
        const rows = shown.filter((other) => data.group[other] === group);
        items.push({ group, says:
          `${data.groups[group]}: ${counted(rows.length)}, ${money(stakeOf(rows))} at stake` });
      }
      items.push({ position });
    });
    heights = items.map(guessed);
    stack();
  }

  function readAddress() {
    const read = new URLSearchParams(location.hash.slice(1));
    state = { ...defaults };
    for (const [key, value] of read) if (KEYS.has(key)) state[key] = value;
    if (!Object.hasOwn(sorters, state.sort)) state.sort = defaults.sort;
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

  let looked = null; // how the search is matched; null without one

  function kept(i) {
    if (state.scope === "open" && (!data.open[i] || data.held[i])) return false;
    if (state.scope === "held" && !(data.open[i] && data.held[i])) return false;
    for (const name of ["group", "verdict", "due", "region", "agency", "family", "assigned"]) {
      if (state[name] && data[name][i] !== state[name]) return false;
    }
    if (state.missing && !data.documents[i].includes(state.missing)) return false;
    if (state.money && !(data.at_stake[i] >= Number(state.money))) return false;
    return !looked || looked.fits(search[i]);
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

  // A claim is also found by the numbers of its unit and site, which come with the first search.
  let numbers = null;
  function learnNumbers() {
    if (numbers) return;
    numbers = LimeledgerSearch.searched().then((known) => {
      for (let i = 0; i < total; i += 1) search[i].push(...(known.of.get(data.claim[i]) || []));
      update();
    }, () => {});
  }

  function select() {
    shown = [];
    looked = state.q ? LimeledgerSearch.matcher(state.q) : null;
    if (looked) learnNumbers();
    for (let i = 0; i < total; i += 1) if (kept(i)) shown.push(i);
    const key = sorters[state.sort];
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

  function heading(item, place) {
    const made = element("tr", "group");
    made.setAttribute("aria-rowindex", place + 2);
    const head = element("th", "", item.says);
    head.colSpan = 8;
    head.scope = "rowgroup";
    made.append(head);
    return made;
  }

  function what(i) {
    const claim = element("td", "c-claim");
    const link = element("a", "", data.claim[i]);
    link.href = `claims/${data.file[i]}`;
    claim.append(link, element("span", "line sub", data.why[i]));
    if (data.reason[i]) claim.append(element("span", "line", data.reason[i]));
    if (data.original[i]) {
      const first = element("span", "line sub", data.original[i]);
      if (data.original_file[i]) {
        const there = element("a", "quiet-link", "Open it");
        there.href = `claims/${data.original_file[i]}`;
        first.append(" ", there);
      }
      claim.append(first);
    }
    if (data.step[i]) claim.append(element("span", "line step", data.step[i]));
    return claim;
  }

  function row(position, place) {
    const i = shown[position];
    const made = element("tr", position === here ? "row here" : "row");
    made.dataset.position = position;
    made.setAttribute("aria-rowindex", place + 2);
    const verdict = element("td", "c-verdict");
    verdict.append(element("span", `verdict ${data.verdict[i]}`, data.words[data.verdict[i]]),
      element("span", "line sub", data.lead[i]));
    if (data.assigned[i]) verdict.append(element("span", "line sub", `assigned to ${data.assigned[i]}`));
    if (data.held[i]) verdict.append(element("span", "line sub", `on hold until ${data.hold_until[i]}`));
    const due = data.due[i] && `${data.due[i] === "overdue" ? "overdue since" : "due by"} ${data.due_on[i]}`;
    made.append(cell("c-place number", ["line", String(position + 1)]), what(i), verdict,
      cell("c-money number", ["one", data.money[i]], ["line sub", data.age[i]], ["line sub", data.days[i]]),
      cell("c-missing", ["line", data.documents[i].join("; ")], ["line sub", due]),
      cell("c-unit", ["whole", data.serial[i]], ["line sub", data.family[i]]),
      cell("c-site", ["line", data.site_name[i] || data.site[i]], ["line sub", data.region[i]]),
      cell("c-agency", ["line", data.agency_name[i] || data.agency[i]]));
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

  // What is in sight and a little around it; `everything` for paper.
  function windowOf(everything) {
    if (everything) return [0, items.length];
    const bottom = holder.scrollTop + (holder.clientHeight || 700);
    return [Math.max(0, itemAt(holder.scrollTop) - 5), Math.min(items.length, itemAt(bottom) + 6)];
  }

  // Drawn, measured, and drawn again where the true heights let in more or fewer rows.
  function paint(everything) {
    const anchor = itemAt(holder.scrollTop);
    const within = holder.scrollTop - tops[anchor];
    const focused = body.contains(document.activeElement);
    for (let again = 0; again < 5; again += 1) {
      const [first, last] = windowOf(everything);
      draw(first, last);
      if (!everything && anchor > 0) holder.scrollTop = tops[anchor] + within;
      const [from, to] = windowOf(everything);
      if (from === first && to === last) break;
    }
    if (focused) focusHere();
  }

  function draw(first, last) {
    const drawn = items.slice(first, last).map((item, at) =>
      (item.group ? heading(item, first + at) : row(item.position, first + at)));
    const rows = [...drawn];
    if (first > 0) rows.unshift(spacer(tops[first]));
    if (last < items.length) rows.push(spacer(tops[items.length] - tops[last]));
    body.replaceChildren(...rows);
    measure(drawn, first);
  }

  function measure(drawn, first) {
    drawn.forEach((made, at) => { heights[first + at] = made.offsetHeight || heights[first + at]; });
    stack();
  }

  function focusHere() {
    const link = body.querySelector("tr.here a");
    if (link && link !== document.activeElement) link.focus({ preventScroll: true });
  }

  function update() {
    select();
    here = shown.length ? Math.min(Math.max(here, -1), shown.length - 1) : -1;
    listed();
    holder.querySelector("table").setAttribute("aria-rowcount", items.length + 1);
    document.getElementById("shown").textContent = shown.length
      ? `${shown.length.toLocaleString("en-US")} of ${counted(total)}, `
        + `${money(stakeOf(shown))} ${data.currency} at stake`
      : "No claim of the list fits. Clear a filter to see more.";
    LimeledgerSearch.show(elsewhere, state.q || "", new Set(shown.map((i) => data.claim[i])));
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
    const place = items.findIndex((item) => item.position === here);
    const from = place > 0 && items[place - 1].group ? place - 1 : place;
    if (tops[from] < holder.scrollTop) holder.scrollTop = tops[from];
    const below = tops[place + 1] + HEAD - holder.clientHeight;
    if (below > holder.scrollTop) holder.scrollTop = below;
    paint();
    focusHere();
    const row = body.querySelector("tr.here");
    if (row) row.scrollIntoView({ block: "nearest", behavior: "instant" });
  }

  const columns = ["claim", "verdict", "lead", "serial", "family", "site", "site_name", "region",
    "agency", "at_stake", "days_left", "missing", "due_on", "why", "group", "age_days", "reason",
    "original", "step", "assigned", "hold_until", "call"];

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
  function again() {
    heights = items.map(guessed);
    stack();
    paint();
  }
  narrow.addEventListener("change", again);
  window.addEventListener("resize", again);
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
