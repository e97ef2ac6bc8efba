// Mark, refilled, stop: asked of the server, which asks the recorder. The answer is one sentence for the person.
// What was told can be undone for a while; a dialog stays open, with what was typed, until it has been told.
window.swardflow = window.swardflow || {};
window.swardflow.buttons = function (say) {
  "use strict";
  const SURE_MS = 4000;      // so long a first tap on stop holds
  const UNDO_MS = 20000;     // so long Undo is offered
  const at = function (id) { return document.getElementById(id); };
  let sure = 0, offered = 0, last = "";

  async function ask(action, fields) {
    try {
      const answer = await fetch("/live/tell/" + action, {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(fields),
        signal: AbortSignal.timeout(8000),
      });
      return await answer.json();
    } catch (_) {
      return { ok: false, sentence: "No answer: it may have been done. When the page says Live, look at the numbers before you tap again." };
    }
  }

  // Tell it and say what came of it; `undoes` is what Undo would take back.
  async function tell(action, fields, undoes, dialog) {
    const said = await ask(action, fields);
    if (dialog && !said.ok) {
      at(dialog + "-wrong").textContent = said.sentence;
      return;
    }
    if (dialog) at(dialog).close();
    say(said.sentence, !said.ok);
    offer(said.ok ? undoes || "" : last);
  }

  function offer(what) {
    clearTimeout(offered);
    last = what;
    at("after").hidden = !what;
    at("word").hidden = what !== "mark";
    at("undo").textContent = what === "refill" ? "Undo refill" : "Undo mark";
    if (what) offered = setTimeout(function () { offer(""); }, UNDO_MS);
  }

  function open(dialog) {
    at(dialog + "-wrong").textContent = "";
    at(dialog).showModal();
  }
  for (const button of document.querySelectorAll("dialog .cancel")) {
    button.addEventListener("click", function () { button.closest("dialog").close(); });
  }

  at("mark").addEventListener("click", function () { tell("mark", {}, "mark"); });
  at("undo").addEventListener("click", function () { tell("undo", { of: last }); });

  at("pause").addEventListener("click", function () {
    tell(at("pause").getAttribute("aria-pressed") === "true" ? "resume" : "pause", {});
  });

  at("word").addEventListener("click", function () {
    clearTimeout(offered);
    at("naming-text").value = "";
    open("naming");
  });
  at("naming").addEventListener("close", function () { offer(last); });
  for (const button of document.querySelectorAll("#naming .offered")) {
    button.addEventListener("click", function () { tell("word", { text: button.textContent }, "mark", "naming"); });
  }
  at("naming-form").addEventListener("submit", function (event) {
    event.preventDefault();
    tell("word", { text: at("naming-text").value }, "mark", "naming");
  });

  at("refilled").addEventListener("click", function () {
    at("refill-amount").value = "";
    open("refill");
  });
  at("refill-full").addEventListener("click", function () { tell("refill", { full: true }, "refill", "refill"); });
  at("refill-form").addEventListener("submit", function (event) {
    event.preventDefault();
    if (!at("refill-amount").value.trim()) {
      at("refill-wrong").textContent = "Enter how much was added, such as 5.";
      return;
    }
    const typed = at("refill-amount").value.trim();  // a unit that was typed with it holds
    tell("refill", { added: /[a-z]/i.test(typed) ? typed : typed + " " + at("refill-unit").value }, "refill", "refill");
  });

  function calm() {
    clearTimeout(sure);
    sure = 0;
    at("stop").textContent = "End run";
    at("stop").classList.remove("sure");
  }
  at("stop").addEventListener("click", function () {
    if (sure) {
      calm();
      tell("stop", {});
      return;
    }
    at("stop").textContent = "Tap again to end";
    at("stop").classList.add("sure");
    sure = setTimeout(calm, SURE_MS);
  });

  return {
    enable: function (possible) {
      for (const id of ["mark", "refilled", "stop", "pause"]) at(id).disabled = !possible;
    },
    // After a run: what is next, in the place of what can be done during one.
    over: function (over, run) {
      at("next").hidden = !over;
      at("doing").hidden = at("pause").hidden = over;
      at("see-run").href = run;
      at("see-run").hidden = run === "/runs";
    },
    paused: function (paused) {
      at("pause").setAttribute("aria-pressed", String(paused));
      at("pause").textContent = paused ? "Resume work" : "Pause work";
    },
    unit: function (unit) {
      if (at("refill").open || at("refill-unit").dataset.rig === unit) return;
      at("refill-unit").dataset.rig = unit;
      at("refill-unit").value = unit;
    },
  };
};
