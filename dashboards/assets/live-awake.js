// The screen stays on while a run is being recorded, where the browser allows it: only over https or on the same computer
// (Screen Wake Lock, W3C Working Draft: secure contexts). Elsewhere a sentence says so, until it has been understood once.
window.swardflow = window.swardflow || {};
window.swardflow.awake = function () {
  "use strict";
  const KEPT = "swardflow-awake";
  const at = function (id) { return document.getElementById(id); };
  let lock = null, wanted = false, asking = false, refused = !navigator.wakeLock, told = false;
  try { told = localStorage.getItem(KEPT) === "told"; } catch (_) { /* private window: told again next time */ }

  function show() {
    document.documentElement.dataset.awake = lock ? "held" : "free";
    at("awake").hidden = !wanted || !refused || told;
  }

  async function hold() {
    if (!wanted || lock || asking || refused || document.hidden) return;
    asking = true;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", function () { lock = null; show(); });  // the browser takes it back with the page
    } catch (_) {
      refused = !document.hidden;  // hidden in the meantime: asked again when it is seen
    }
    asking = false;
    if (!wanted && lock) lock.release();
    show();
  }

  document.addEventListener("visibilitychange", function () {
    refused = !navigator.wakeLock;   // a saver of battery may have refused: perhaps not now
    hold();
  });
  at("awake-told").addEventListener("click", function () {
    told = true;
    try { localStorage.setItem(KEPT, "told"); } catch (_) { /* holds until the page is left */ }
    show();
  });

  return function (on) {
    if (on === wanted) { if (on && !lock) hold(); return; }
    wanted = on;
    if (on) hold(); else if (lock) lock.release();
    show();
  };
};
