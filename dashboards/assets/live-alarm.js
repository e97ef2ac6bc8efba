// The alarm: words first, then brightness, then sound and vibration, until somebody has seen it or muted it.
// Browsers let a page make a sound only after it has been touched once: the page says so from the start of a run on.
window.swardflow = window.swardflow || {};
window.swardflow.alarm = function () {
  "use strict";
  const EVERY_MS = 1600;
  const PRESS_MS = 2000, CLICK_MS = 400;  // so long a press may last, and its click may come after it
  const at = function (id) { return document.getElementById(id); };
  const box = at("fault");
  const Sound = window.AudioContext || window.webkitAudioContext;
  let tank = "", seen = 0, run = "", boot = "", standing = 0, beepedAt = -EVERY_MS, muted = false, sound = null, watching = false, pressing = 0;

  function beep() {
    beepedAt = performance.now();
    if (sound && sound.state === "running") {
      for (const start of [0, 0.25]) {
        const tone = sound.createOscillator(), loudness = sound.createGain();
        tone.type = "square";
        tone.frequency.value = 2200;
        loudness.gain.value = 0.4;
        tone.connect(loudness).connect(sound.destination);
        tone.start(sound.currentTime + start);
        tone.stop(sound.currentTime + start + 0.15);
      }
    }
    if (navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) navigator.vibrate([200, 100, 200]);
    box.dataset.beeps = String(Number(box.dataset.beeps || 0) + 1);
  }

  function sounding() { return standing > seen && !muted; }

  function show() {
    box.dataset.sounding = String(sounding());
    at("fault-seen").hidden = standing <= seen;
    at("fault-mute").textContent = muted ? "Sound back on" : "Mute";
    if (!pressing) at("sound").hidden = !watching || muted || !Sound || Boolean(sound && sound.state === "running");
  }

  // What is being pressed must not move away under the finger: the offer of sound above it goes after the click.
  function hold(ms) {
    clearTimeout(pressing);
    pressing = setTimeout(function () { pressing = 0; show(); }, ms);
  }
  document.addEventListener("pointerdown", function () { hold(PRESS_MS); });
  for (const kind of ["pointerup", "pointercancel"]) document.addEventListener(kind, function () { hold(CLICK_MS); });

  function allow() {
    if (!sound && Sound) {
      sound = new Sound();
      sound.addEventListener("statechange", show);  // a phone call or a locked screen takes the sound away again
    }
    if (sound && sound.state !== "running") sound.resume().then(show, show);
    show();
  }
  // A finger counts when it is lifted, a mouse when it is pressed (HTML standard, user activation).
  for (const kind of ["pointerdown", "pointerup", "keydown"]) document.addEventListener(kind, allow);
  // For the record only: the alarm is quiet on this screen whether or not the computer can be reached.
  function note(tap) {
    fetch("/live/tell/" + tap, { method: "POST", headers: { "content-type": "application/json" }, body: "{}" }).catch(function () {});
  }
  at("fault-seen").addEventListener("click", function () { seen = standing; show(); note("seen"); });
  at("fault-mute").addEventListener("click", function () { muted = !muted; show(); note(muted ? "sound-off" : "sound-on"); });
  setInterval(function () { if (sounding()) beep(); }, EVERY_MS);

  // `row` null: nothing is known that is fresh enough to make a noise about.
  function look(row, from) {
    if (row && (row.run !== run || from !== boot)) {
      run = row.run;
      boot = from;
      seen = 0;
    }
    const before = sounding();
    watching = watching || Boolean(row);
    box.hidden = !row || !row.fault;
    box.dataset.urgent = String(Boolean(row && row.fault_urgent));
    standing = row && row.fault_urgent ? row.fault_number : 0;
    show();
    // Once when the tank gets low, once when it should be empty; a refill arms it again.
    const state = row ? row.tank_state : tank;
    if (state && state !== tank && !(state === "low" && tank === "empty") && !muted) beep();
    tank = state;
    if (sounding() && !before) beep();
  }

  return { look: look, sounds: function () { return sounding() || performance.now() - beepedAt < EVERY_MS; } };
};
