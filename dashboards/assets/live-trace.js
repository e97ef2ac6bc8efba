// The rate of the last minutes as one polyline; y is the place in the target's band (0 = target, ±1 = its edges). A tap
// changes between one minute and ten, a look closer (live-zoom.js) shows a part of them, and the next tap goes back.
window.swardflow = window.swardflow || {};
window.swardflow.Trace = class {
  static KEPT_S = 600;
  static LEAST_S = 5;

  constructor(line, pointer, button) {
    this.line = line;
    this.pointer = pointer;
    this.button = button;
    this.points = [];      // [time in s, place or null], oldest first
    this.now = 0;          // time of the newest number
    this.drawnAt = -1;
    this.minutes = 1;
    this.closer = null;    // {span, until} in s while a part is looked at; `until` null: up to the newest, whatever comes
    this.held = false;     // it stands still under a finger
    button.addEventListener("click", () => {
      if (this.closer) this.closer = null;
      else this.minutes = this.minutes === 1 ? 10 : 1;
      this.show();
    });
  }

  replace(points) {
    this.points = points.slice();
    this.drawnAt = -1;
  }

  add(time, place) {
    const last = this.points[this.points.length - 1];
    if (last && time - last[0] < 0.199 && (last[1] === null) === (place === null)) return;
    if (last && time <= last[0]) return;
    this.points.push([time, place]);
  }

  // From when to when is shown.
  shown() {
    const { span, until } = this.closer || { span: 60 * this.minutes, until: null };
    const to = until === null ? this.now : until;
    return [to - span, to];
  }

  // Show no more than that. What reaches to the newest number goes on with it.
  look(from, to) {
    const oldest = this.now - this.constructor.KEPT_S;
    const span = Math.min(Math.max(to - from, this.constructor.LEAST_S), this.constructor.KEPT_S);
    const until = Math.max((from + to + span) / 2, oldest + span);
    this.closer = { span: span, until: until > this.now - span / 20 ? null : until };
    this.show();
  }

  show() {
    this.drawnAt = -1;
    const long = this.minutes === 10;
    let label = long ? "10 min ago" : "1 min ago", meaning = label + (long ? ": show the last minute" : ": show the last 10 minutes");
    if (this.closer) {
      const clock = function (s) { return Math.floor(s / 60) + ":" + String(Math.floor(s % 60)).padStart(2, "0"); };
      const [from, to] = this.shown();
      const part = this.closer.until === null ? "Last " + Math.round(this.closer.span) + "\u00a0s" : clock(Math.max(from, 0)) + " to " + clock(to);
      label = meaning = part + ". Tap to go back";
    }
    (this.button.firstElementChild || this.button).textContent = label;
    this.button.setAttribute("aria-label", meaning);
    this.line.setAttribute("d", this.outline());
  }

  // A place between -3 and 3 to a height between 180 and 0; what is further off stays at the edge.
  static height(place) {
    return 90 - 30 * Math.max(-2.9, Math.min(2.9, place));
  }

  draw(now, place) {
    const past = this.closer && this.closer.until !== null;
    this.pointer.style.visibility = place === null || past ? "hidden" : "visible";
    if (place !== null) this.pointer.style.top = this.constructor.height(place) / 1.8 + "%";
    if (this.drawnAt >= 0 && (this.held || Math.abs(now - this.drawnAt) < 0.199)) return;
    this.drawnAt = now;
    if (!this.held) this.now = now;
    const oldest = this.now - this.constructor.KEPT_S;
    let first = 0;
    while (first < this.points.length && this.points[first][0] < oldest) first += 1;
    if (first) this.points.splice(0, first);
    if (past && this.closer.until < oldest) {  // nothing of it is left
      this.closer = null;
      this.show();
    }
    this.line.setAttribute("d", this.outline());
  }

  outline() {
    const [from, to] = this.shown();
    let path = "", command = "M", before = -1;
    for (const [time, place] of this.points) {
      if (time < from) continue;
      if (time > to) break;
      if (place === null) { command = "M"; continue; }
      const x = Math.round(600 * (time - from) / (to - from));
      if (x === before && command === "L") continue;  // no screen shows more
      before = x;
      const y = this.constructor.height(place).toFixed(1);
      path += command + x + " " + y;
      command = "L";
    }
    return path;
  }
};
