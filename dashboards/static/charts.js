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
  // What goes on ends, so far, with the day that all claim pages share.
  function ofDay(value) {
    return value === "@day+1" && window.limeledgerDay ? window.limeledgerDay.next : value;
  }

  function unpacked(part) {
    const rows = {};
    for (const [name, [columns, ...lines]] of Object.entries(part.rows)) {
      rows[name] = lines.map((values) => Object.fromEntries(columns.flatMap(
        (column, at) => (values[at] === null ? [] : [[column, ofDay(values[at])]]))));
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
    opensFailures(chart, result.view, data.rows);
    chart.querySelector(".tools").hidden = false;
    return result.view;
  }

  // A mark whose row says what it selects opens the failures behind it.
  function opensFailures(chart, view, rows) {
    const some = Object.values(rows).some((lines) => lines.some((line) => line.to !== undefined));
    chart.classList.toggle("opens", some);
    if (!some) return;
    view.addEventListener("click", (event, item) => {
      const to = item && item.datum && item.datum.to;
      if (to !== undefined && to !== null) location.href = `${document.body.dataset.root}failures.html#${to}`;
    });
  }

  async function drawAll() {
    for (const chart of document.querySelectorAll(".chart")) {
      const source = chart.querySelector("script[type='application/json']");
      if (source) await draw(chart, JSON.parse(source.textContent));
    }
    document.documentElement.dataset.drawn = "yes";
  }

  // Lines of text no wider than so many pixels in a font.
  function wrapped(text, font, most) {
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = font;
    const lines = [""];
    for (const word of text.split(/\s+/).filter(Boolean)) {
      const longer = lines.at(-1) ? `${lines.at(-1)} ${word}` : word;
      if (lines.at(-1) && pen.measureText(longer).width > most) lines.push(word);
      else lines[lines.length - 1] = longer;
    }
    return lines.filter(Boolean);
  }

  function wordsOf(chart) {
    const figure = chart.closest(".figure, section, main");
    const heading = figure && figure.querySelector("h3, h2, h1");
    const part = chart.querySelector("h4");
    const says = figure && figure.querySelector(".says");
    const title = chart.dataset.title || (heading ? heading.textContent : "");
    const brand = document.querySelector(".brand a, .brand strong");
    const day = document.querySelector(".as-of time");
    return {
      title: part && part.textContent ? `${title}: ${part.textContent}` : title,
      says: says && !says.hidden ? says.textContent : "",
      source: `Source: ${brand ? brand.textContent : ""} warranty ledger, as of ${day ? day.dateTime : ""}`,
    };
  }

  // The picture as it stands on a slide: title, sentence, chart, and whose it is as of which day.
  function framed(inner, words) {
    const [width, height] = ["width", "height"].map((name) =>
      Number(new RegExp(`<svg[^>]*\\s${name}="([0-9.]+)"`).exec(inner)[1]));
    const edge = 16;
    const room = Math.max(width, 320);
    const font = "system-ui, sans-serif";
    const escaped = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;");
    let y = edge;
    const drawn = [];
    const write = (text, size, weight, token) => {
      for (const line of wrapped(text, `${weight} ${size}px ${font}`, room)) {
        y += size * 1.35;
        drawn.push(`<text x="${edge}" y="${y}" font-family="${font}" font-size="${size}" `
          + `font-weight="${weight}" fill="var(--${token})">${escaped(line)}</text>`);
      }
    };
    write(words.title, 18, 700, "ink");
    write(words.says, 13, 400, "ink");
    y += edge / 2;
    const chart = inner.replace("<svg", `<svg x="${edge}" y="${y}"`);
    y += height;
    write(words.source, 11, 400, "muted");
    const [all, tall] = [room + 2 * edge, y + edge];
    return `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" `
      + `width="${all}" height="${tall}" viewBox="0 0 ${all} ${tall}">`
      + `<rect width="${all}" height="${tall}" fill="var(--surface)"/>${chart}${drawn.join("")}</svg>`;
  }

  async function svgText(chart) {
    const style = getComputedStyle(document.documentElement);
    const text = framed(await views.get(chart).view.toSVG(), wordsOf(chart));
    return text.replace(/var\(--([a-z0-9-]+)\)/g,
      (match, token) => style.getPropertyValue(`--${token}`).trim());
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
    const columns = [...new Set(rows.flatMap((row) => Object.keys(row)))].filter((name) => name !== "to");
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
