// Backup: the chosen file is sent, what it would change is shown, and a second tap does it.
(function () {
  "use strict";
  const at = function (id) { return document.getElementById(id); };
  let key = "";

  function show(state, messages) {
    at("backup-state").textContent = state;
    at("backup-said").replaceChildren(...(messages || []).map(function (words) {
      const item = document.createElement("li");
      item.textContent = words;
      return item;
    }));
    at("backup-sure").classList.toggle("hidden", !key);
  }

  // With an upload's progress, which fetch does not tell.
  function send(path, body, progress, lost) {
    return new Promise(function (done) {
      const asked = new XMLHttpRequest();
      asked.open("POST", path);
      asked.responseType = "json";
      asked.upload.onprogress = progress || null;
      asked.onload = function () { done(asked.response || { messages: ["Not done: the computer refused. Load this page again."] }); };
      asked.onerror = function () { done({ messages: [lost] }); };
      asked.send(body);
    });
  }

  async function look(file) {
    key = "";
    show("Sending…");
    const answer = await send("/backup/sent", file, function (event) {
      const part = event.total ? Math.floor(100 * event.loaded / event.total) : 0;
      show(part < 100 ? "Sending… " + part + " %" : "Checking every byte…");
    }, "Not sent: the computer at the sprayer cannot be reached, or the file is too large.");
    key = answer.key || "";
    show(answer.ok ? (key ? "Checked. This would change:" : "Checked.") : "", answer.messages);
  }

  document.addEventListener("click", async function (event) {
    if (event.target.closest("#backup-choose")) {
      const input = document.createElement("input");
      input.type = "file";
      input.accept = ".zip,application/zip";
      input.addEventListener("change", function () { if (input.files.length) look(input.files[0]); });
      input.click();
    }
    if (event.target.closest("#backup-restore") && key) {
      const used = key;
      key = "";
      show("Restoring…");
      const answer = await send("/backup/restore?key=" + encodeURIComponent(used), null, null,
        "No answer from the computer at the sprayer. It may have been restored: choose the backup again to see.");
      show("", answer.messages);
    }
  });
})();
