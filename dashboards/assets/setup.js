// After Save: the first answer that has to be looked at, or what came of it, is moved into sight.
(function () {
  "use strict";
  let saved = false;
  document.addEventListener("click", function (event) {
    if (event.target.closest("#setup-go")) saved = true;
  });
  new MutationObserver(function () {
    if (!saved) return;
    const place = document.querySelector(".field .wrong:not(:empty)") || document.querySelector("#setup-result:not(:empty)");
    if (!place) return;
    saved = false;
    place.scrollIntoView({ block: "center" });
  }).observe(document, { childList: true, subtree: true, characterData: true });
})();
