// Draws every .chart from the shared specifications and the rows beside it; saves SVG, PNG, CSV.
(() => {
  "use strict";
  const options = {
    mode: "vega", actions: false, renderer: "svg", logLevel: 1, ast: true, defaultStyle: false,
    tooltip: { disableDefaultStyle: true },
  };
  const views = new Map();

  function filled(name, data) {
    const lists = data.lists;
    const spec = JSON.parse(JSON.stringify(window.limeledgerSpecs[name]), (key, value) => {
      if (Array.isArray(value) && value.length === 1 && typeof value[0] === "string"
          && value[0].startsWith("@")) return lists[value[0].slice(1)] || [];
      return value;
    });
    for (const set of spec.data) if (data.rows[set.name]) set.values = data.rows[set.name];
    return spec;
  }

  // Rows stand by column: a list of names, then a list of values a row.
  function unpacked(part) {
    const rows = {};
    for (const [name, [columns, ...lines]] of Object.entries(part.rows)) {
      rows[name] = lines.map((values) => Object.fromEntries(columns.flatMap(
        (column, at) => (values[at] === null ? [] : [[column, values[at]]]))));
    }
    return { rows, lists: part.lists || {} };
  }

  async function draw(chart, packed) {
    const data = unpacked(packed);
    const plot = chart.querySelector(".plot");
    const old = views.get(chart);
    if (old) old.finalize();
    const result = await vegaEmbed(plot, filled(chart.dataset.chart, data), options);
    plot.setAttribute("role", "group");
    // A layer without a single mark has nothing to say.
    for (const empty of plot.querySelectorAll("[role=graphics-symbol]:not([aria-label])")) {
      empty.setAttribute("aria-hidden", "true");
    }
    views.set(chart, result);
    chart.limeledgerRows = data.rows;
    chart.querySelector(".tools").hidden = false;
    return result.view;
  }

  async function drawAll() {
    for (const chart of document.querySelectorAll(".chart")) {
      const source = chart.querySelector("script[type='application/json']");
      if (source) await draw(chart, JSON.parse(source.textContent));
    }
    document.documentElement.dataset.drawn = "yes";
  }

  async function svgText(chart) {
    const style = getComputedStyle(document.documentElement);
    const text = await views.get(chart).view.toSVG();
    const colored = text.replace(/var\(--([a-z0-9-]+)\)/g,
      (match, token) => style.getPropertyValue(`--${token}`).trim());
    return colored.replace(/fill="transparent"/, `fill="${style.getPropertyValue("--surface").trim()}"`);
  }

  async function pngBlob(chart) {
    const text = await svgText(chart);
    const image = new Image();
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(text)}`;
    await image.decode();
    const canvas = document.createElement("canvas");
    canvas.width = image.naturalWidth * 2;
    canvas.height = image.naturalHeight * 2;
    const context = canvas.getContext("2d");
    context.scale(2, 2);
    context.drawImage(image, 0, 0);
    return new Promise((resolve) => { canvas.toBlob(resolve, "image/png"); });
  }

  // Charts hold days as local midnight; a table holds the day.
  const plain = (value) => (typeof value === "string" ? value.replace(/T00:00:00$/, "") : value);

  function csvText(chart) {
    const rows = Object.values(chart.limeledgerRows)[0];
    const columns = [...new Set(rows.flatMap((row) => Object.keys(row)))];
    return LimeledgerSheet.csv(columns, rows.map((row) => columns.map((name) => plain(row[name]))));
  }

  async function save(chart, kind) {
    const name = `${chart.dataset.file}.${kind}`;
    const blob = kind === "png" ? await pngBlob(chart)
      : kind === "svg" ? new Blob([await svgText(chart)], { type: "image/svg+xml" })
      : new Blob([csvText(chart)], { type: "text/csv;charset=utf-8" });
    LimeledgerSheet.download(blob, name);
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-save]");
    if (button) save(button.closest(".chart"), button.dataset.save);
  });

  window.LimeledgerCharts = { draw, drawAll, view: (chart) => views.get(chart) && views.get(chart).view };
  document.addEventListener("DOMContentLoaded", () => {
    if (document.body.dataset.page !== "field") drawAll();
  });
})();
