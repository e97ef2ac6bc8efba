// What a screen reader reads out: advice that holds, not oftener than every few seconds; each alarm once, at once.
window.swardflow = window.swardflow || {};
window.swardflow.speaker = function () {
  "use strict";
  const HOLDS_MS = 1500;      // what stands so long is worth reading out
  const APART_MS = 5000;      // a walker who strays about the edge of the band must not flood the reader
  const at = function (id) { return document.getElementById(id); };
  let steady = "", since = 0, saidAt = -APART_MS, alarm = "";

  return {
    // Called whenever the page is painted or judged.
    advice: function (text) {
      const now = performance.now();
      if (text !== steady) {
        steady = text;
        since = now;
      }
      const say = at("say");
      if (text === say.textContent || now - since < HOLDS_MS || now - saidAt < APART_MS) return;
      saidAt = now;
      say.textContent = text;
    },
    // `which` names the alarm: its figures change all the time, it is read out once.
    alarm: function (which, text) {
      if (which === alarm) return;
      alarm = which;
      at("say-alarm").textContent = text;
    },
  };
};
