// Every page: light or dark, the day, the note of a failed refresh, the help on keys, keys of a claim.
(() => {
  "use strict";
  const root = document.documentElement;
  root.classList.add("with-script");
  const remember = (key, value) => {
    try {
      if (value === undefined) return localStorage.getItem(key);
      localStorage.setItem(key, value);
    } catch (error) { /* storage may be off: the choice then lasts for this page only */ }
    return null;
  };
  const chosen = remember("theme");
  if (chosen === "light" || chosen === "dark") root.dataset.theme = chosen;

  const isDark = () => root.dataset.theme
    ? root.dataset.theme === "dark"
    : matchMedia("(prefers-color-scheme: dark)").matches;

  function themeButton() {
    const button = document.getElementById("theme");
    const name = () => { button.textContent = isDark() ? "Light" : "Dark"; };
    button.setAttribute("aria-label", "Change between light and dark");
    button.hidden = false;
    name();
    button.addEventListener("click", () => {
      root.dataset.theme = isDark() ? "light" : "dark";
      remember("theme", root.dataset.theme);
      name();
    });
  }

  function note() {
    const status = window.limeledgerStatus;
    if (!status) return;
    const line = document.createElement("p");
    line.className = "note";
    line.setAttribute("role", "status");
    const at = `${status.failed_at.slice(0, 16).replace("T", " at ")} UTC`;
    const what = status.outcome === "killed" ? `On ${at} a refresh was found killed` : `A refresh failed on ${at}`;
    line.textContent = `${what}, so these pages are older than they should be. ${status.reason}`;
    document.querySelector(".bar").after(line);
  }

  // Claim pages refer to one file for their day, so that they stay as they are when it moves on.
  function day() {
    if (!window.limeledgerDay) return;
    for (const place of document.querySelectorAll("[data-day]")) {
      const time = document.createElement("time");
      time.dateTime = window.limeledgerDay.iso;
      time.textContent = window.limeledgerDay[place.dataset.day];
      place.replaceWith(time);
    }
  }

  function typing(event) {
    return event.ctrlKey || event.metaKey || event.altKey
      || event.target.closest("input, select, textarea, dialog");
  }

  function keys() {
    const help = document.getElementById("help");
    document.addEventListener("keydown", (event) => {
      if (typing(event)) return;
      if (event.key === "?") {
        event.preventDefault();
        help.showModal();
      } else if (document.body.dataset.page === "claim") {
        claimKey(event);
      }
    });
  }

  function claimKey(event) {
    const targets = { f: "findings", t: "life", w: "water", l: "letter", e: "evidence" };
    if (targets[event.key]) {
      const target = document.getElementById(targets[event.key]);
      if (target) {
        event.preventDefault();
        const folded = target.closest("details");
        if (folded) folded.open = true;
        target.scrollIntoView();
        target.focus({ preventScroll: true });
      }
    } else if (event.key === "u") {
      location.href = document.getElementById("up").href;
    } else if (event.key === "n" || event.key === "p") {
      const neighbor = document.getElementById(event.key === "n" ? "next" : "previous");
      if (neighbor && neighbor.href) location.href = neighbor.href;
    }
  }

  // The list hands its view and order over, so that a claim leads back to it and to its neighbors.
  function neighbors() {
    if (document.body.dataset.page !== "claim") return;
    let walk = null;
    try { walk = JSON.parse(sessionStorage.getItem("walk")); } catch (error) { return; }
    if (!walk) return;
    const up = document.getElementById("up");
    up.href = up.getAttribute("href") + (walk.hash || "");
    const here = walk.files.indexOf(decodeURIComponent(location.pathname.split("/").pop()));
    if (here < 0) return;
    for (const [id, step] of [["previous", -1], ["next", 1]]) {
      const file = walk.files[here + step];
      if (!file) continue;
      const link = document.getElementById(id);
      link.href = file;
      link.hidden = false;
    }
  }

  document.addEventListener("DOMContentLoaded", () => {
    themeButton();
    note();
    day();
    keys();
    neighbors();
  });
})();
