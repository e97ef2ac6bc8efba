// A beat to walk to: the button names it in data-beats, steps a minute; a second tap stops it.
document.addEventListener("click", function (event) {
  "use strict";
  const button = event.target.closest(".beats");
  if (!button) return;
  const beat = window.swardflowBeat = window.swardflowBeat || { context: null, button: null, timer: 0, next: 0 };

  const stop = function () {
    clearInterval(beat.timer);
    if (beat.button) {
      beat.button.textContent = "Sound the beat";
      beat.button.setAttribute("aria-pressed", "false");
    }
    beat.button = null;
  };
  const wasOn = beat.button === button;
  stop();
  if (wasOn) return;

  beat.context = beat.context || new AudioContext();
  beat.context.resume();
  beat.button = button;
  beat.next = beat.context.currentTime + 0.1;
  button.textContent = "Stop the beat";
  button.setAttribute("aria-pressed", "true");
  const every = 60 / Number(button.dataset.beats);
  const click = function (at) {
    const tone = beat.context.createOscillator(), volume = beat.context.createGain();
    tone.frequency.value = 1000;
    volume.gain.setValueAtTime(0.6, at);
    volume.gain.exponentialRampToValueAtTime(0.001, at + 0.06);
    tone.connect(volume).connect(beat.context.destination);
    tone.start(at);
    tone.stop(at + 0.07);
  };
  // Beats are handed to the sound card half a second ahead, so that a busy page does not make them limp.
  beat.timer = setInterval(function () {
    if (!document.contains(button)) { stop(); return; }
    for (; beat.next < beat.context.currentTime + 0.5; beat.next += every) click(beat.next);
  }, 100);
});
