// After a press: what is refused is moved into sight, for on a phone it may lie behind the button that was pressed.
(function () {
  "use strict";
  const TOLD = ".wrong, .notice[role=alert]";
  let pressed = false;
  document.addEventListener("click", function (event) {
    if (event.target.closest("main button")) pressed = true;
  });
  new MutationObserver(function (changes) {
    const told = changes.some(function ({ target }) {
      return (target.nodeType === Node.TEXT_NODE ? target.parentElement : target)?.closest(TOLD);
    });
    if (!pressed || !told) return;
    const place = Array.from(document.querySelectorAll(TOLD)).find(function (one) { return one.textContent && one.offsetParent; });
    if (!place) return;
    pressed = false;
    place.scrollIntoView({ block: "center" });
  }).observe(document, { childList: true, subtree: true, characterData: true });
})();
