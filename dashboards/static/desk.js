// The desk, where scripts run: keys of the list, and a form is sent once. All works without.
(() => {
  "use strict";
  const rows = () => [...document.querySelectorAll("#worklist tr.row")];
  let here = -1;

  function move(step) {
    const all = rows();
    if (!all.length) return;
    here = Math.min(Math.max(here + step, 0), all.length - 1);
    all.forEach((row, at) => row.classList.toggle("here", at === here));
    const link = all[here].querySelector("a");
    link.focus({ preventScroll: true });
    all[here].scrollIntoView({ block: "nearest" });
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const field = event.target.closest("input:not([type=checkbox]), select, textarea, dialog[open]");
    if (field) {
      if (event.key === "Escape" && field.tagName !== "DIALOG") field.blur();
      return;
    }
    if (event.key === "/") {
      const find = document.getElementById("find");
      if (!find) return;
      event.preventDefault();
      find.focus();
      find.select();
    } else if ((event.key === "j" || event.key === "k") && rows().length) {
      event.preventDefault();
      move(event.key === "j" ? 1 : -1);
    }
  });

  document.addEventListener("focusin", (event) => {
    const row = event.target.closest("#worklist tr.row");
    if (row) here = rows().indexOf(row);
  });

  // A second press before the answer is here would only be told the first answer again.
  document.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button && event.target.method === "post") {
      setTimeout(() => { button.disabled = true; }, 0);
    }
  });
  window.addEventListener("pageshow", () => {
    for (const button of document.querySelectorAll("button:disabled")) button.disabled = false;
  });

  document.addEventListener("DOMContentLoaded", () => {
    const problem = document.getElementById("problem");
    if (problem) problem.focus();
  });
})();
