// How far what this browser has asked for is: a report, a table, a backup, a run that is read.
(function () {
  "use strict";
  const EVERY_MS = 700;
  const MISSED = 3; // so often nothing is told of what was tapped: it has come, or was refused
  let tapped = 0;

  document.addEventListener("click", function (event) {
    const link = event.target.closest("a");
    if (link && link.querySelector("[data-work]")) tapped = MISSED;
  });

  async function look() {
    const places = Array.from(document.querySelectorAll("[data-work]"));
    const inLink = places.filter(function (place) { return place.closest("a"); });
    if (!tapped && inLink.length === places.length) return;
    let told = {};
    try {
      told = await (await fetch("/work")).json();
    } catch (_) {
      // The line is gone: the page says so elsewhere.
    }
    places.forEach(function (place) {
      const words = told[place.dataset.work] || "";
      if (place.textContent !== words) place.textContent = words;
    });
    tapped = inLink.some(function (place) { return place.textContent; }) ? MISSED : Math.max(tapped - 1, 0);
  }

  (async function () {
    for (;;) {
      await new Promise(function (done) { setTimeout(done, EVERY_MS); });
      if (!document.hidden) await look();
    }
  })();
})();
