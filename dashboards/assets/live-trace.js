// The rate of the last minute, or after a tap of the last ten, as one polyline; y is the place in the target's band (0 = target, ±1 = its edges).
window.swardflow = window.swardflow || {};
window.swardflow.Trace = class {
  constructor(line, pointer, button) {
    this.minutes = 1;
    button.addEventListener("click", () => {
      this.minutes = this.minutes === 1 ? 10 : 1;
      this.drawnAt = -1;
      button.textContent = this.minutes + " min ago";
      button.setAttribute("aria-label", this.minutes === 1 ? "1 min ago: show the last 10 minutes" : "10 min ago: show the last minute");
    });
    this.line = line;
    this.pointer = pointer;
    this.points = [];      // [time in s, place or null], oldest first
    this.drawnAt = -1;
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

  // A place between -3 and 3 to a height between 180 and 0; what is further off stays at the edge.
  static height(place) {
    return 90 - 30 * Math.max(-2.9, Math.min(2.9, place));
  }

  draw(now, place) {
    this.pointer.style.visibility = place === null ? "hidden" : "visible";
    if (place !== null) this.pointer.style.top = this.constructor.height(place) / 1.8 + "%";
    if (Math.abs(now - this.drawnAt) < 0.199) return;
    this.drawnAt = now;
    let first = 0;
    while (first < this.points.length && this.points[first][0] < now - 600) first += 1;
    if (first) this.points.splice(0, first);
    this.line.setAttribute("d", this.outline(now));
  }

  outline(now) {
    const span = 60 * this.minutes;
    let path = "", command = "M", before = -1;
    for (const [time, place] of this.points) {
      if (time < now - span) continue;
      if (place === null) { command = "M"; continue; }
      const x = Math.round(600 * (1 + (time - now) / span));
      if (x === before && command === "L") continue;  // no screen shows more
      before = x;
      const y = this.constructor.height(place).toFixed(1);
      path += command + x + " " + y;
      command = "L";
    }
    return path;
  }
};
