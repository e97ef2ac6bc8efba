// A link to the notes of a run: they are drawn later than the page, so the browser cannot go there by itself.
(function () {
  "use strict";
  if (location.hash !== "#notes") return;
  const watch = new MutationObserver(function () {
    const notes = document.getElementById("notes");
    if (!notes || notes.classList.contains("hidden")) return;
    watch.disconnect();
    notes.scrollIntoView();
    notes.querySelector("input").focus({ preventScroll: true });
  });
  watch.observe(document.documentElement, { childList: true, subtree: true, attributes: true, attributeFilter: ["class"] });
})();
