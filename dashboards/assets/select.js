// Lists of choices: what is chosen goes into the hidden input beside the list, which Dash listens to.
(function () {
  "use strict";
  const put = function (list) {
    const input = list.parentElement.querySelector("input");
    // React sees a value only when it is set as a person would set it.
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(input, list.value);
    input.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const key = function (list) { return "swardflow." + list.dataset.keeps; };

  document.addEventListener("change", function (event) {
    const list = event.target.closest("select.choices");
    if (!list) return;
    if (list.dataset.keeps) localStorage.setItem(key(list), list.value);
    put(list);
  });
  new MutationObserver(function () {
    for (const list of document.querySelectorAll("select.choices:not([data-ready])")) {
      if (!list.parentElement.querySelector("input")) continue;
      list.dataset.ready = "";
      const kept = list.dataset.keeps && localStorage.getItem(key(list));
      if (!kept || !Array.from(list.options).some(function (option) { return option.value === kept; })) continue;
      list.value = kept;
      put(list);
    }
  }).observe(document, { childList: true, subtree: true });
})();
