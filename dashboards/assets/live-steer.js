// Faster, slower and on target as sound and vibration, so that the walker need not look. Off until somebody taps it on;
// the browser remembers. Nothing sounds under a fault, on old numbers, or while nothing is sprayed: what is being
// played then is broken off, for an alarm must not be covered.
window.swardflow = window.swardflow || {};
window.swardflow.steer = function () {
  "use strict";
  const KEPT = "swardflow-steer";
  const HOLDS_MS = 800;       // advice that stands so long is worth a sound
  const AGAIN_MS = 4000;      // and again, as long as it stands
  // [start, length, from, to]: seconds and hertz; and the same to feel, in milliseconds.
  const PATTERNS = {
    faster: { tones: [[0, 0.09, 620, 700], [0.16, 0.09, 760, 860], [0.32, 0.09, 940, 1060]], felt: [70, 60, 70, 60, 70] },
    slower: { tones: [[0, 0.34, 520, 340], [0.46, 0.34, 420, 260]], felt: [320, 120, 320] },
    hold: { tones: [[0, 0.05, 700, 700]], felt: [40] },
  };
  const button = document.getElementById("steer");
  const Sound = window.AudioContext || window.webkitAudioContext;
  let on = false, sound = null, advice = "", since = 0, saidAt = 0, said = "hold", playing = [];
  try { on = localStorage.getItem(KEPT) === "on"; } catch (_) { /* private window: off */ }

  function allow() {
    if (!on || !Sound) return;
    sound = sound || new Sound();
    if (sound.state !== "running") sound.resume().catch(function () { /* a later tap will do */ });
  }

  function show() {
    button.setAttribute("aria-pressed", String(on));
    button.textContent = on ? "Speed sounds: on" : "Speed sounds: off";
  }

  function play(name) {
    const pattern = PATTERNS[name];
    hush();
    if (sound && sound.state === "running") {
      for (const [start, length, from, to] of pattern.tones) {
        const at = sound.currentTime + start, tone = sound.createOscillator(), loudness = sound.createGain();
        tone.type = "triangle";
        tone.frequency.setValueAtTime(from, at);
        tone.frequency.linearRampToValueAtTime(to, at + length);
        loudness.gain.setValueAtTime(0.5, at);
        loudness.gain.setTargetAtTime(0, at + length * 0.8, 0.02);
        tone.connect(loudness).connect(sound.destination);
        tone.start(at);
        tone.stop(at + length + 0.1);
        playing.push(loudness);
      }
    }
    if (navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) navigator.vibrate(pattern.felt);
    button.dataset.played = name;
    button.dataset.times = String(Number(button.dataset.times || 0) + 1);
  }

  function hush() {
    for (const loudness of playing) loudness.disconnect();
    playing = [];
  }

  button.addEventListener("click", function () {
    on = !on;
    hush();
    try { localStorage.setItem(KEPT, on ? "on" : "off"); } catch (_) { /* holds until the page is left */ }
    allow();
    show();
    if (on) play("hold");     // so that it is known to be heard
  });
  for (const kind of ["pointerup", "keydown"]) document.addEventListener(kind, allow);
  show();

  // `row` null: an alarm sounds, or nothing is known that is fresh enough to steer by.
  return function (row) {
    const now = performance.now();
    const wanted = row && !row.fault && PATTERNS[row.advice] ? row.advice : "";
    if (wanted !== advice) {
      if (!wanted) hush();
      advice = wanted;
      since = now;
    }
    if (!on || !advice || now - since < HOLDS_MS) return;
    // On target is said once, after something else; the others as long as they stand.
    if (advice === said && (advice === "hold" || now - saidAt < AGAIN_MS)) return;
    said = advice;
    saidAt = now;
    play(advice);
  };
};
