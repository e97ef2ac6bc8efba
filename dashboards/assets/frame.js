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
  document.addEventListener("DOMContentLoaded", function () {
    document.getElementById("light").addEventListener("click", function () {
      const other = document.documentElement.dataset.light === "dark" ? "day" : "dark";
      try { localStorage.setItem(KEPT, other); } catch (_) { /* private window: holds until the page is left */ }
      document.documentElement.dataset.light = other;
    });
  });
})();
