// Day or dark: what was chosen here before, otherwise what the system prefers. Runs before anything is painted.
(function () {
  "use strict";
  const KEPT = "swardflow-light";
  const TRIES = 5, AGAIN_MS = 1000;  // of what was lost on its way
  const system = window.matchMedia("(prefers-color-scheme: dark)");
  function chosen() {
    try { return localStorage.getItem(KEPT); } catch (_) { return null; }
  }
  function apply() {
    document.documentElement.dataset.light = chosen() || (system.matches ? "dark" : "day");
  }
  apply();
  system.addEventListener("change", apply);

  // Units of the pages, chosen in this browser: a cookie, for the server writes the numbers.
  const UNITS = "swardflow-units";
  window.swardflow = window.swardflow || {};
  window.swardflow.units = function () {
    const kept = document.cookie.split("; ").find(function (pair) { return pair.startsWith(UNITS + "="); });
    return kept ? kept.slice(UNITS.length + 1) : "";
  };
  function chooseUnits() {
    const chosen = document.getElementById("units");
    chosen.value = window.swardflow.units();
    chosen.addEventListener("change", function () {
      document.cookie = UNITS + "=" + chosen.value + "; Path=/; SameSite=Strict; Max-Age=" + (chosen.value ? 31536000 : 0);
      location.reload();
    });
  }

  // Dash calls the labels of its radio buttons options of a list, with a button inside each: a screen reader would read
  // neither right. Without those roles they are what they are, radio buttons, and the group around them has its name.
  function plainRoles(root) {
    for (const one of root.querySelectorAll(".dash-options-list[role], .dash-options-list-option:is([role], [aria-selected])")) {
      for (const name of ["role", "aria-selected"]) one.removeAttribute(name);
    }
  }

  function wait(ms) { return new Promise(function (done) { setTimeout(done, ms); }); }

  function unheard() {
    const place = document.getElementById("page-failed");
    if (!place) return;
    place.textContent = "No answer to what you pressed. It may have been done: load this page again to see.";
    place.scrollIntoView();
  }

  // How often each thing was tapped or typed into, and at which of these its press was sent: Dash sends one again when it
  // draws a page anew after a part of it could not be loaded.
  const tapped = {}, sent = {};
  for (const kind of ["click", "keydown"]) {
    document.addEventListener(kind, function (event) {
      for (let at = event.target; at; at = at.parentElement) if (at.id) tapped[at.id] = (tapped[at.id] || 0) + 1;
    }, true);
  }
  function again(press) {
    const which = press.output + press.changedPropIds;
    const times = press.changedPropIds.map(function (name) { return tapped[name.replace(/\.[^.]*$/, "")] || 0; }).join();
    const known = sent[which] === times;
    sent[which] = times;
    return known;
  }

  // What Dash asks without a press is asked again when the answer is lost; a press never is, for it may have been heard.
  // A browser that was turned out asks for the code again; without this its pages would only stand still.
  const PRESS = /\.n_(clicks|submit)"/;
  const ask = window.fetch;
  window.fetch = async function (...asked) {
    const of = String(asked[0]), said = asked[1] && asked[1].body;
    const press = of.includes("/_dash-") && said ? JSON.parse(said) : {};
    const lasting = of.includes("/_dash-") && !PRESS.test(JSON.stringify(press.changedPropIds || []));
    if (of.includes("/_dash-") && !lasting && again(press)) return new Response(null, { status: 204 });  // heard already: nothing changes
    for (let left = lasting ? TRIES : 1; ; left -= 1) {
      try {
        const answer = await ask.apply(this, asked);
        if (answer.status === 403 && of.includes("/_dash-update-component")) location.reload();
        return answer;
      } catch (error) {
        if (!lasting && of.includes("/_dash-")) unheard();
        if (left === 1) throw error;
        await wait(AGAIN_MS);
      }
    }
  };

  // Dash's scripts are fetched side by side once the heading has been painted, which reading them would hold up by a
  // second on a phone, and run one after the other: each needs those before it.
  async function startDash(later) {
    const scripts = Array.from(later.content.querySelectorAll("script"));
    for (const { src } of scripts) {
      if (src) document.head.append(Object.assign(document.createElement("link"), { rel: "preload", as: "script", href: src }));
    }
    for (const script of scripts) {
      let left = TRIES;
      while (!(await run(script))) {
        left -= 1;
        if (!left) return say("Not loaded: no contact with the computer. Load this page again.");
        await wait(AGAIN_MS);
      }
    }
  }

  // Whether it could be loaded.
  function run(old) {
    const script = document.createElement("script");
    for (const { name, value } of old.attributes) script.setAttribute(name, value);
    script.textContent = old.textContent;
    const loaded = !old.src || new Promise(function (done) {
      script.onload = function () { done(true); };
      script.onerror = function () { done(false); };
    });
    document.body.append(script);
    return loaded;
  }

  // What stands in the page until Dash has drawn it: its heading, and that it is loading.
  function say(words) {
    const place = document.querySelector("#at-first p");
    if (place) place.textContent = words;
  }

  // On a phone the pages lie behind one button: opened by it, closed by it, by Escape, or by going elsewhere.
  function openable(pages, button) {
    function set(open) {
      pages.toggleAttribute("data-open", open);
      button.setAttribute("aria-expanded", String(open));
    }
    button.addEventListener("click", function () { set(!pages.hasAttribute("data-open")); });
    pages.addEventListener("keydown", function (event) {
      if (event.key === "Tab") setTimeout(function () { if (!pages.contains(document.activeElement)) set(false); });
      if (event.key !== "Escape" || !pages.hasAttribute("data-open")) return;
      set(false);
      button.focus();
    });
    document.addEventListener("pointerdown", function (event) { if (!pages.contains(event.target)) set(false); });
  }

  // Pages that open without the computer: browsers allow that only over https or on the computer itself.
  document.documentElement.toggleAttribute("data-secure", window.isSecureContext);
  window.addEventListener("load", function () {
    if (!window.isSecureContext || !navigator.serviceWorker) return;
    setTimeout(function register() {
      if (!navigator.onLine) { window.addEventListener("online", register, { once: true }); return; }
      navigator.serviceWorker.register("/worker.js").catch(function () { /* no matter */ });
    }, 4000);
  });

  document.addEventListener("DOMContentLoaded", function () {
    const drawn = document.getElementById("react-entry-point"), first = document.getElementById("at-first");
    if (drawn) {
      requestAnimationFrame(function () { setTimeout(startDash, 0, document.getElementById("dash-later")); });
      new MutationObserver(function () {
        if (drawn.querySelector("h1")) first.remove();
        plainRoles(drawn);
      })
        .observe(drawn, { childList: true, subtree: true, attributes: true, attributeFilter: ["role", "aria-selected"] });
    }
    chooseUnits();
    openable(document.getElementById("pages"), document.getElementById("pages-open"));
    document.getElementById("light").addEventListener("click", function () {
      const other = document.documentElement.dataset.light === "dark" ? "day" : "dark";
      try { localStorage.setItem(KEPT, other); } catch (_) { /* private window: holds until the page is left */ }
      document.documentElement.dataset.light = other;
    });
  });
})();
