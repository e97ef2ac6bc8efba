// The connection to the server: a WebSocket that is tried again for ever; while it is down, the same by polling.
window.swardflow = window.swardflow || {};
window.swardflow.connect = function (onMessage, onState) {
  "use strict";
  const RETRY_MS = 2000;     // between two tries of the WebSocket
  const POLL_MS = 500;
  const SILENT_MS = 4000;    // the server repeats itself every second: after this the line is dead
  let socket = null, silence = 0, retry = 0, poll = 0;

  function open() {
    clearTimeout(retry);
    retry = 0;
    if (socket) return;
    try {
      const scheme = location.protocol === "https:" ? "wss://" : "ws://";
      socket = new WebSocket(scheme + location.host + "/live/stream");
    } catch (_) {
      down();
      return;
    }
    const mine = socket;
    listen(mine);
    mine.onmessage = function (event) {
      if (mine !== socket) return;
      listen(mine);
      mine.send("k");        // taken: the server sends no more than a few ahead of this
      clearTimeout(poll);
      poll = 0;
      onState("live");
      onMessage(JSON.parse(event.data));
    };
    mine.onclose = function () { if (mine === socket) down(); };
  }

  function listen(mine) {
    clearTimeout(silence);
    silence = setTimeout(function () {
      if (mine !== socket) return;
      mine.onclose = null;
      mine.close();
      down();
    }, SILENT_MS);
  }

  function down() {
    clearTimeout(silence);
    socket = null;
    if (!retry) retry = setTimeout(open, RETRY_MS);
    if (!poll) poll = setTimeout(ask, 0);
  }

  async function ask() {
    try {
      const answer = await fetch("/live/newest", { cache: "no-store", signal: AbortSignal.timeout(3000) });
      if (answer.status === 403) return location.reload();  // shared anew: the server asks for the code
      if (!answer.ok) throw new Error(answer.status);
      const message = await answer.json();
      if (!poll) return;     // the WebSocket was quicker
      onState("polling");
      onMessage(message);
    } catch (_) {
      if (poll) onState("lost");
    }
    if (poll) poll = setTimeout(ask, POLL_MS);
  }

  window.addEventListener("online", open);
  document.addEventListener("visibilitychange", function () { if (!document.hidden) open(); });
  open();
};
