// Mark, refilled, stop: asked of the server, which asks the recorder. The answer is one sentence for the person.
window.swardflow = window.swardflow || {};
window.swardflow.buttons = function (say) {
  "use strict";
  const SURE_MS = 4000;      // so long a first tap on stop holds
  const at = function (id) { return document.getElementById(id); };
  let sure = 0;

  async function tell(action, fields) {
    try {
      const answer = await fetch("/live/tell/" + action, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(fields),
        signal: AbortSignal.timeout(8000),
      });
      const said = await answer.json();
      say(said.sentence, !said.ok);
    } catch (_) {
      say("Not done: no contact with the computer. Try again when the page says Live.", true);
    }
  }

  at("mark").addEventListener("click", function () { tell("mark", {}); });

  at("refilled").addEventListener("click", function () {
    at("refill-amount").value = "";
    at("refill").showModal();
  });
  at("refill-form").addEventListener("keydown", function (event) {
    if (event.key !== "Enter" || event.target.id !== "refill-amount") return;
    event.preventDefault();  // Enter must not press "Full"
    at("refill").close("added");
  });
  at("refill").addEventListener("close", function () {
    const choice = at("refill").returnValue;
    at("refill").returnValue = "";
    if (choice === "full") tell("refill", { full: true });
    if (choice === "added") tell("refill", { added: at("refill-amount").value + " " + at("refill-unit").value });
  });

  function calm() {
    clearTimeout(sure);
    sure = 0;
    at("stop").textContent = "Stop";
    at("stop").classList.remove("sure");
  }
  at("stop").addEventListener("click", function () {
    if (sure) {
      calm();
      tell("stop", {});
      return;
    }
    at("stop").textContent = "Tap again to stop";
    at("stop").classList.add("sure");
    sure = setTimeout(calm, SURE_MS);
  });

  return {
    enable: function (possible) {
      for (const id of ["mark", "refilled", "stop"]) at(id).disabled = !possible;
    },
    unit: function (unit) {
      if (at("refill").open || at("refill-unit").dataset.rig === unit) return;
      at("refill-unit").dataset.rig = unit;
      at("refill-unit").value = unit;
    },
  };
};
