// Whether a page asks again when its timer goes by: only once the last answer is there, or has been lost on its way. What a
// failed request leaves behind is the mark that one is being asked.
(function () {
  "use strict";
  const PATIENCE_MS = 5000;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    polling: {
      due: function (times, intervalMs, asked, due) {
        const waits = asked && typeof due === "number" && (times - due) * intervalMs < PATIENCE_MS;
        return waits ? window.dash_clientside.no_update : times || 0;
      },
    },
  });
})();
