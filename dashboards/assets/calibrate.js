// Calibrate beside the sprayer: beeps for a countdown, the amount's field ready when a catch has ended, cautions folded
// once something has been started on this device.
(function () {
  "use strict";
  const READ = "swardflow.cautions-read";
  const DELAY_MS = 700;
  const Sound = window.AudioContext || window.webkitAudioContext;
  const at = function (id) { return document.getElementById(id); };
  let sound = null, counted = "", timers = [];

  // Browsers let a page make a sound only after it has been touched.
  function allow() {
    if (!sound && Sound) sound = new Sound();
    if (sound && sound.state !== "running") sound.resume().catch(function () {});
  }
  for (const kind of ["pointerup", "keydown"]) document.addEventListener(kind, allow);

  function beep(seconds) {
    if (sound && sound.state === "running") {
      const tone = sound.createOscillator(), loudness = sound.createGain();
      tone.frequency.value = seconds > 0.3 ? 1760 : 880;
      loudness.gain.value = 0.4;
      tone.connect(loudness).connect(sound.destination);
      tone.start();
      tone.stop(sound.currentTime + seconds);
    }
    if (navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) navigator.vibrate(1000 * seconds);
    const box = at("calibrate-timed");
    if (box) box.dataset.beeps = String(Number(box.dataset.beeps || 0) + 1);
  }

  // Three short ones, a long one at the start; the same at the end. By this device's clock, so that the time between the
  // two long ones is the countdown whatever the network does. The computer is ahead of that clock by the network's delay,
  // and may say that all is over before the last one is due: that one still sounds.
  function countdown() {
    const box = at("calibrate-timed"), [number, start, end] = box ? box.textContent.split(" ") : [""];
    if (number === counted) return;
    counted = number;
    const now = performance.now();
    for (const timer of timers) if (timer.due - now > DELAY_MS) clearTimeout(timer.id);
    timers = [];
    if (!number) return;
    for (const moment of [Number(start), Number(end)]) {
      for (const before of [3, 2, 1, 0]) {
        const wait = 1000 * (moment - before);
        if (wait >= 0) timers.push({ due: now + wait, id: setTimeout(beep, wait, before ? 0.1 : 0.8) });
      }
    }
  }

  // The field for the amount is ready to be typed in, unless something else is being typed.
  function ready() {
    const page = at("calibrate");
    const field = page && page.classList.contains("in-progress") && page.querySelector("#calibrate-fields div:not(.hidden) > .field label input");
    if (!field) { if (page) delete page.dataset.focused; return; }
    if (page.dataset.focused || (document.activeElement && document.activeElement.matches("input, select"))) return;
    page.dataset.focused = "yes";
    field.focus({ preventScroll: true });
  }

  function fold() {
    const box = at("calibrate-cautions-fold");
    if (!box || box.dataset.ready) return;
    box.dataset.ready = "yes";
    if (localStorage.getItem(READ)) box.open = false;
  }
  document.addEventListener("click", function (event) {
    if (!event.target.closest("#calibrate-act button")) return;
    localStorage.setItem(READ, "yes");
    at("calibrate-cautions-fold").open = false;
  });

  document.addEventListener("DOMContentLoaded", function () {
    new MutationObserver(function () { countdown(); ready(); fold(); }).observe(
      at("react-entry-point") || document.body,
      { childList: true, subtree: true, characterData: true, attributes: true, attributeFilter: ["class"] });
  });
})();
