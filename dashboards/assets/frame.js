// Day or dark: what was chosen here before, otherwise what the system prefers. Runs before anything is painted.
(function () {
  "use strict";
  const KEPT = "swardflow-light";
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  function chosen() {
    try { return localStorage.getItem(KEPT); } catch (_) { return null; }
  }
  function apply() {
    document.documentElement.dataset.light = chosen() || (system.matches ? "dark" : "day");
  }
  apply();
  system.addEventListener("change", apply);

  // Units of the pages, chosen in this browser: a cookie, for the server writes the numbers.
  const UNITS = "swardflow-units";
  window.swardflow = window.swardflow || {};
  window.swardflow.units = function () {
    const kept = document.cookie.split("; ").find(function (pair) { return pair.startsWith(UNITS + "="); });
    return kept ? kept.slice(UNITS.length + 1) : "";
  };
  function chooseUnits() {
    const chosen = document.getElementById("units");
    chosen.value = window.swardflow.units();
    chosen.addEventListener("change", function () {
      document.cookie = UNITS + "=" + chosen.value + "; Path=/; SameSite=Strict; Max-Age=" + (chosen.value ? 31536000 : 0);
      location.reload();
    });
  }

  // Dash calls the labels of its radio buttons options of a list, with a button inside each: a screen reader would read
  // neither right. Without those roles they are what they are, radio buttons, and the group around them has its name.
  function plainRoles(root) {
    for (const one of root.querySelectorAll(".dash-options-list[role], .dash-options-list-option:is([role], [aria-selected])")) {
      for (const name of ["role", "aria-selected"]) one.removeAttribute(name);
    }
  }

  // A browser that was turned out asks for the code again; without this its pages would only stand still.
  const ask = window.fetch;
  window.fetch = async function (...asked) {
    const answer = await ask.apply(this, asked);
    if (answer.status === 403 && String(answer.url).includes("/_dash-update-component")) location.reload();
    return answer;
  };

  // Dash's scripts from their template, one after the other: each needs those before it.
  window.swardflow = window.swardflow || {};
  window.swardflow.startDash = async function () {
    const later = document.getElementById("dash-later");
    if (!later) return;
    later.remove();
    for (const old of later.content.querySelectorAll("script")) {
      const script = document.createElement("script");
      for (const { name, value } of old.attributes) script.setAttribute(name, value);
      script.textContent = old.textContent;
      const loaded = !old.src || new Promise(function (done) {
        script.onload = function () { done(true); };
        script.onerror = function () { done(false); };
      });
      document.body.append(script);
      if (!(await loaded)) return;  // the server has gone: the live page goes on without, and those after it need this one
    }
  };

  // On a phone the pages lie behind one button: opened by it, closed by it, by Escape, or by going elsewhere.
  function openable(pages, button) {
    function set(open) {
      pages.toggleAttribute("data-open", open);
      button.setAttribute("aria-expanded", String(open));
    }
    button.addEventListener("click", function () { set(!pages.hasAttribute("data-open")); });
    pages.addEventListener("keydown", function (event) {
      if (event.key === "Tab") setTimeout(function () { if (!pages.contains(document.activeElement)) set(false); });
      if (event.key !== "Escape" || !pages.hasAttribute("data-open")) return;
      set(false);
      button.focus();
    });
    document.addEventListener("pointerdown", function (event) { if (!pages.contains(event.target)) set(false); });
  }

  // Pages that open without the computer: browsers allow that only over https or on the computer itself.
  document.documentElement.toggleAttribute("data-secure", window.isSecureContext);
  window.addEventListener("load", function () {
    if (!window.isSecureContext || !navigator.serviceWorker) return;
    setTimeout(function register() {
      if (!navigator.onLine) { window.addEventListener("online", register, { once: true }); return; }
      navigator.serviceWorker.register("/worker.js").catch(function () { /* no matter */ });
    }, 4000);
  });

  document.addEventListener("DOMContentLoaded", function () {
    if (document.getElementById("dash-later")) setTimeout(window.swardflow.startDash, 3000);
    const drawn = document.getElementById("react-entry-point");
    if (drawn) {
      new MutationObserver(function () { plainRoles(drawn); })
        .observe(drawn, { childList: true, subtree: true, attributes: true, attributeFilter: ["role", "aria-selected"] });
    }
    chooseUnits();
    openable(document.getElementById("pages"), document.getElementById("pages-open"));
    document.getElementById("light").addEventListener("click", function () {
      const other = document.documentElement.dataset.light === "dark" ? "day" : "dark";
      try { localStorage.setItem(KEPT, other); } catch (_) { /* private window: holds until the page is left */ }
      document.documentElement.dataset.light = other;
    });
  });
})();
