// A closer look at a part of the trace: drag over it with a finger or a mouse, or spread two fingers. The trace stands
// still meanwhile; the numbers do not.
window.swardflow = window.swardflow || {};
window.swardflow.zoomable = function (button, trace, chosen) {
  "use strict";
  const DRAG_PX = 16;        // less is a tap
  const fingers = new Map(); // pointer → where it came down, and where it is, as a share of the width
  let begun = [0, 0];        // what was shown when the first came down
  let moved = false, pinched = false;

  function share(event) {
    const box = button.getBoundingClientRect();
    return Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
  }
  function time(at) { return begun[0] + at * (begun[1] - begun[0]); }

  function mark(from, to) {
    chosen.setAttribute("x", 600 * Math.min(from, to));
    chosen.setAttribute("width", 600 * Math.abs(to - from));
  }

  button.addEventListener("pointerdown", function (event) {
    if (event.button !== 0) return;
    if (!fingers.size) {
      begun = trace.shown();
      moved = pinched = false;
    }
    trace.held = true;
    fingers.set(event.pointerId, { from: share(event), to: share(event) });
    button.setPointerCapture(event.pointerId);
    if (fingers.size > 1) {
      pinched = moved = true;
      mark(0, 0);
    }
  });

  button.addEventListener("pointermove", function (event) {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    finger.to = share(event);
    moved = moved || Math.abs(finger.to - finger.from) * button.clientWidth >= DRAG_PX;
    if (fingers.size > 1) spread(...fingers.values());
    else if (moved && !pinched) mark(finger.from, finger.to);
  });

  function lift(event) {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    fingers.delete(event.pointerId);
    if (event.type === "pointerup" && moved && !pinched) {
      trace.look(time(Math.min(finger.from, finger.to)), time(Math.max(finger.from, finger.to)));
    }
    if (fingers.size) return;
    trace.held = false;
    mark(0, 0);
  }

  // What lay under two fingers when they came down lies under them now.
  function spread(one, other) {
    const [left, right] = one.to < other.to ? [one, other] : [other, one];
    if (right.to - left.to < 0.02 || right.from <= left.from) return;
    const span = (time(right.from) - time(left.from)) / (right.to - left.to);
    const from = time(left.from) - left.to * span;
    trace.look(from, from + span);
  }

  for (const kind of ["pointerup", "pointercancel"]) button.addEventListener(kind, lift);
  // A drag ends with a click, which is none; one by keyboard is always meant.
  button.addEventListener("click", function (event) {
    if (moved && event.detail) event.stopImmediatePropagation();
  }, true);
};
