// The live page: places the texts that the server sends, and says when they are no longer true.
(function () {
  "use strict";
  const GONE_MS = 3000;       // from then on a sentence says what is wrong
  const CHECK_MS = 100;
  const AWAKE_MS = 600000;    // without a new number for so long the phone may sleep
  const PAGE_WORDS = { connecting: "Connecting", live: "Live", polling: "Live, slower", lost: "No contact: retrying" };
  // Without contact nothing is known of the recorder and the board.
  const UNKNOWN = {
    recording: "unknown", recording_words: "Recording unknown", link: "unknown", link_words: "Board unknown",
  };
  const ADVICE_WHY = { standing: "You are standing still with the spray on." };

  const at = function (id) { return document.getElementById(id); };
  const page = at("live"), words = at("words"), why = at("why"), notice = at("notice");
  const fields = Array.from(page.querySelectorAll("[data-field]"), function (element) {
    return { element: element, name: element.dataset.field, text: element.textContent };
  });
  const trace = new window.swardflow.Trace(at("trace-line"), at("pointer"), at("span"));
  window.swardflow.zoomable(at("span"), trace, at("trace-chosen"));
  const buttons = window.swardflow.buttons(say);
  const alarm = window.swardflow.alarm();
  const awake = window.swardflow.awake();
  const speaker = window.swardflow.speaker();
  const steer = window.swardflow.steer();

  let boot = "", seq = -1, row = null, readAt = null, contact = "connecting";
  let painting = false, fresh = "none", saidUntil = 0;

  function set(element, text) { if (element.textContent !== text) element.textContent = text; }
  function mark(name, value) { if (page.dataset[name] !== value) page.dataset[name] = value; }

  function take(message) {
    if (message.boot !== boot) {
      boot = message.boot;
      seq = -1;
    }
    if (message.seq < seq) return;
    readAt = message.age_ms === null ? null : performance.now() - message.age_ms;
    if (message.trace) trace.replace(message.trace);
    if (message.seq > seq && message.row.words) {
      seq = message.seq;
      row = inChosenUnits(message.row);
      if (row.frame >= 0) trace.add(row.t, row.position);
    }
    judge();
    ask();
  }

  // The units that this browser has chosen, where they are not those of the row.
  function inChosenUnits(given) {
    const chosen = window.swardflow.units();
    return chosen && chosen !== given.units ? Object.assign(given, given.in_other_units) : given;
  }

  function ask() {
    if (painting) return;
    painting = true;
    requestAnimationFrame(paint);
  }

  function paint() {
    painting = false;
    if (row) {
      const shown = contact === "lost" ? Object.assign({}, row, UNKNOWN) : row;
      for (const field of fields) {
        const text = shown[field.name];
        if (text === field.text || text === undefined) continue;
        field.text = text;
        field.element.textContent = text;
      }
      page.toggleAttribute("data-wide", row.rate.length > 4);
      mark("recording", shown.recording);
      mark("link", shown.link);
      trace.draw(row.t, fresh === "fresh" ? row.position : null);
      buttons.enable(["on", "full", "trouble"].includes(shown.recording));
      // A recorder that has gone silent may be gone for good, as after a power cut: the page is no dead end.
      buttons.over(["none", "ended"].includes(shown.recording) || (shown.recording === "silent" && fresh === "gone"), row.run_link);
      buttons.paused(Boolean(row.paused));
      buttons.unit(row.tank_unit);
    }
    advise();
    const watched = row && fresh === "fresh" && row.recording !== "ended" ? row : null;
    alarm.look(watched, boot);
    if (row) at("look-back").href = row.run_link;
    at("aside").hidden = !row || !row.aside;
    mark("tank", watched ? watched.tank_state : "");
    if (watched && watched.fault_urgent) speaker.alarm(boot + row.run + row.fault_number, row.fault + ". " + row.fault_check);
    page.dataset.frame = row ? row.frame : "";
  }

  // What stands largest on the page: the advice, unless the numbers behind it are old.
  function advise() {
    const old = fresh === "stale" || fresh === "gone";
    const advice = row && !old && fresh !== "none" ? row.advice : "none";
    mark("advice", advice);
    mark("fresh", fresh);
    mark("page", contact);
    set(at("page-words"), PAGE_WORDS[contact]);
    if (old) {
      set(words, row && row.recording === "ended" ? "Run ended" : "Old numbers");
    } else {
      set(words, row && fresh !== "none" ? (advice === "idle" && row.paused ? "Paused" : row.words) : "Waiting");
    }
    set(why, explain(advice));
    if (Date.now() > saidUntil) set(notice, row && row.notice !== why.textContent ? row.notice : "");
  }

  // The advice, or that there is none and what is known of the reason; without the age, which changes all the time.
  function spoken() {
    if (!row || (fresh !== "stale" && fresh !== "gone")) return words.textContent;
    if (row.recording === "ended") return "Run ended";
    const reasons = [];
    if (contact === "lost") reasons.push("No contact with the computer");
    else if (row.recording === "silent") reasons.push(row.recording_words);
    else if (row.link !== "ok") reasons.push(row.link_words);
    return ["Old numbers", ...reasons].join(". ");
  }

  function explain(advice) {
    if (advice === "stop") return row.fault + ".";
    if (ADVICE_WHY[advice]) return ADVICE_WHY[advice] + (row.standing ? " In this run: " + row.standing + "." : "");
    const contactLost = contact === "lost";
    if (fresh === "none") {
      if (contactLost) return "No contact with the computer at the sprayer. Retrying every two seconds.";
      if (!row) return "Connecting to the computer at the sprayer.";
      if (row.recording === "none" || row.notice) return row.notice;
      return "No report from the board yet. Check its plug and its power.";
    }
    if (fresh === "stale" || fresh === "gone") {
      const age = ageWords((performance.now() - readAt) / 1000);
      if (row && row.recording === "ended") return row.verdict || "The run has ended. These are its last numbers.";
      if (fresh === "stale") return "Old numbers: don't rely on them.";
      if (contactLost) return "No contact with the computer at the sprayer for " + age + ". Recording continues without this page.";
      if (row.recording === "silent") return "The recorder has not answered for " + age + ". Maybe nothing is being recorded: check the computer.";
      if (row.link === "lost") return "The board is unplugged. Recording resumes when it is back.";
      return "No report from the board for " + age + ". Check its plug; if it still sends nothing, switch its power off and on.";
    }
    return "";
  }

  function ageWords(seconds) {
    if (seconds < 100) return Math.floor(seconds) + "\u00a0s";
    return seconds < 6000 ? Math.floor(seconds / 60) + "\u00a0min" : Math.floor(seconds / 3600) + "\u00a0h";
  }

  function judge() {
    const age = readAt === null ? null : performance.now() - readAt;
    const before = fresh;
    if (age === null || !row || row.frame < 0) fresh = "none";
    else if (age < row.stale_ms) fresh = "fresh";
    else fresh = age < Math.max(GONE_MS, row.stale_ms) ? "stale" : "gone";
    if (fresh !== before || fresh === "gone" || fresh === "none") ask();
    speaker.advice(spoken());
    steer(row && fresh === "fresh" && row.recording !== "ended" && !alarm.sounds() ? row : null);
    awake(Boolean(row) && !["none", "ended"].includes(row.recording) && age !== null && age < AWAKE_MS);
  }

  function say(sentence, wrong) {
    saidUntil = Date.now() + (wrong ? 10000 : 4000);
    notice.textContent = sentence;
  }

  buttons.enable(false);
  setInterval(judge, CHECK_MS);
  window.swardflow.connect(take, function (state) {
    if (state === contact) return;
    contact = state;
    judge();
    ask();
  });
})();
