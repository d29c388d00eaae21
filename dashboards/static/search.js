// Searching as the desk does: both sides folded; what is not in the list is looked up on demand.
const LimeledgerSearch = (() => {
  "use strict";
  const MOST = 200;
  const LEFT_OUT = /[\s\p{Pd}\p{Cf}\u2212./\\_#]+/gu;

  // Case and accents levelled, without spaces, dashes, dots, slashes, underscores and #.
  function fold(text) {
    return String(text).normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase().replace(LEFT_OUT, "");
  }

  // A query fits where the whole of it stands in one field, or each of its words stands in one.
  function matcher(query) {
    const whole = fold(query);
    const words = String(query).split(/\s+/u).map(fold).filter(Boolean);
    if (!whole) return null;
    return {
      fits: (fields) => fields.some((field) => field.includes(whole))
        || words.every((word) => fields.some((field) => field.includes(word))),
      isNumber: (numbers) => numbers.some((number) => number === whole),
    };
  }

  function foldedAll(lists) {
    return lists.map((fields) => fields.filter(Boolean).map(fold));
  }

  // A column whose texts are in the file once each.
  function spelled({ texts, at }) {
    return at.map((place) => texts[place]);
  }

  let asked = null;

  // The claims and rows of the whole store are a file of their own, asked for once.
  function searched() {
    asked = asked || new Promise((done, failed) => {
      const script = document.createElement("script");
      script.src = `${document.body.dataset.root}assets/searched.js`;
      script.addEventListener("load", () => {
        const data = window.limeledgerSearched;
        for (const name of ["kind", "feed", "file", "reason"]) data.rows[name] = spelled(data.rows[name]);
        data.claims.verdict = spelled(data.claims.verdict);
        data.claims.fields = data.claims.fields.map((fields, i) =>
          [data.claims.claim[i], data.claims.call[i], data.claims.serial[i], ...fields]);
        data.claims.folded = foldedAll(data.claims.fields);
        data.claims.numbers = data.claims.claim.map((claim, i) =>
          [claim, data.claims.call[i]].filter(Boolean).map(fold));
        data.rows.folded = foldedAll(data.rows.fields);
        data.of = new Map(data.claims.claim.map((claim, i) => [claim, data.claims.folded[i]]));
        done(data);
      });
      script.addEventListener("error", failed);
      document.head.append(script);
    });
    return asked;
  }

  // Claims that are not among those listed, exact numbers first, then rows that are no records.
  function elsewhere(data, query, listed) {
    const looked = matcher(query);
    if (!looked) return { total: 0, found: [] };
    const exact = [], claims = [], rows = [];
    for (let i = 0; i < data.claims.claim.length; i += 1) {
      if (listed.has(data.claims.claim[i])) continue;
      if (looked.isNumber(data.claims.numbers[i])) exact.push({ kind: "claim", i });
      else if (looked.fits(data.claims.folded[i])) claims.push({ kind: "claim", i });
    }
    for (let i = 0; i < data.rows.kind.length; i += 1) {
      if (looked.fits(data.rows.folded[i])) rows.push({ kind: data.rows.kind[i], i });
    }
    const all = [...exact, ...claims, ...rows];
    return { total: all.length, found: all.slice(0, MOST) };
  }

  function quoted(word) {
    return /^[\w@%+=:,./-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\"'\"'")}'`;
  }

  function element(name, className, text) {
    const made = document.createElement(name);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  }

  function claimLine(data, i) {
    const of = data.claims;
    const line = element("li");
    if (of.page[i]) {
      const link = element("a", "", of.claim[i]);
      link.href = `claims/${of.page[i]}`;
      line.append(link);
    } else line.append(element("strong", "", of.claim[i]));
    line.append(" ", element("span", `verdict ${of.verdict[i]}`, data.words[of.verdict[i]]));
    const told = [of.call[i] && `call ${of.call[i]}`, of.serial[i] && `unit ${of.serial[i]}`,
      of.failed_on[i] && `failed on ${of.failed_on[i]}`].filter(Boolean).join(", ");
    line.append(element("p", "", told));
    if (!of.page[i]) {
      const how = element("p", "", "It has no page; this writes one: ");
      how.append(element("code", "command",
        `limeledger explain ${quoted(of.claim[i])} . --html claim.html`));
      line.append(how);
    }
    return line;
  }

  function rowLine(data, i) {
    const of = data.rows;
    const line = element("li");
    const what = of.kind[i] === "set_aside" ? "Set aside" : "Superseded";
    line.append(element("strong", "", `${what}: ${data.feeds[of.feed[i]] || of.feed[i]}`),
      ` ${of.file[i]}, line ${of.line[i]}`, element("p", "", of.reason[i]),
      element("p", "raw-row", of.fields[i].filter(Boolean).join(" · ")));
    return line;
  }

  async function show(box, query, listed) {
    if (!matcher(query)) {
      box.hidden = true;
      return;
    }
    const said = box.querySelector("[role=status]");
    let data = null;
    try { data = await searched(); } catch (error) {
      box.hidden = false;
      said.textContent = "What is not in the list could not be searched: assets/searched.js is missing.";
      return;
    }
    if (box.dataset.query !== query) return; // something else was typed meanwhile
    const { total, found } = elsewhere(data, query, listed);
    box.hidden = false;
    said.textContent = total === 0 ? "Nothing else fits."
      : `${total.toLocaleString("en-US")} more ${total === 1 ? "fits" : "fit"} that ${total === 1 ? "is" : "are"} not in the list`
        + (total > found.length ? `, the first ${found.length} shown.` : ".");
    box.querySelector("ul").replaceChildren(...found.map(({ kind, i }) =>
      (kind === "claim" ? claimLine(data, i) : rowLine(data, i))));
  }

  return { fold, matcher, foldedAll, elsewhere, searched,
    show: (box, query, listed) => { box.dataset.query = query; return show(box, query, listed); } };
})();
