// After Save: what came of it is moved into sight.
(function () {
  "use strict";
  let saved = false;
  document.addEventListener("click", function (event) {
    if (event.target.closest("#setup-go")) saved = true;
  });
  new MutationObserver(function () {
    const place = document.querySelector("#setup-result:not(:empty)");
    if (!saved || !place) return;
    saved = false;
    place.scrollIntoView({ block: "center" });
  }).observe(document, { childList: true, subtree: true, characterData: true });
})();
